//! Stations whose time depends on the side on which they stood: a number where the order of parts is known, bounds where
//! it is not. The counts stand beside the lines, by hand.

use super::*;

/// Two attitudes, one for each side; the shuttle takes 0.6 s, 1.6 s across.
fn shuttle_line(left: f64, stations: &str) -> Balance {
    let line = format!(
        r#""parts": {{"a": {{"attitudes": {{"left": {left}, "right": {}}}, "right_way": ["left", "right"]}}}},
        "stations": [{stations},
        {{"id": "S", "type": "selector", "shuttle": {{"sends": {{"left": "X", "right": "Y"}}, "presents": "as it lies",
            "same_side": "0.6 s", "other_side": "1.6 s"}}}},
        {{"id": "X", "type": "work", "time": "0.1 s", "to": "out"}},
        {{"id": "Y", "type": "work", "time": "0.1 s", "to": "out"}}],
        "promise": {{"at": ["X", "Y"], "clauses": {{"mean_rate": "30 /min"}}}}"#,
        1.0 - left
    );
    balance(&scenario(&line))
}

fn most(balance: &Balance) -> (f64, f64) {
    balance.most_bounds_per_min.expect("a limit")
}

/// Left ones to one lane, right ones to the other; both lanes push rows onto the track before the shuttle.
const ROWS: &str = r#"{"id": "B", "type": "bin", "endless": true, "to": "P"},
    {"id": "P", "type": "orienting path", "pass": "0.01 s", "tools": [{"id": "t", "passes": {"left": 1}}],
     "comes_back": {"keeps": 1}, "rejects_to": "TB", "to": "TA"},
    {"id": "TA", "type": "track", "capacity": 50, "to": "RA"},
    {"id": "RA", "type": "row pusher", "row": 8, "push": "0.3 s", "to": "T"},
    {"id": "TB", "type": "track", "capacity": 50, "to": "RB"},
    {"id": "RB", "type": "row pusher", "row": 8, "push": "0.3 s", "to": "T"},
    {"id": "T", "type": "track", "capacity": 40, "to": "S"}"#;

#[test]
fn behind_lanes_that_were_sorted_the_order_may_be_any() {
    let found = shuttle_line(0.5, ROWS);
    let (low, high) = most(&found);
    near(low, 60.0 / 1.6, "the other side for every part");
    near(high, 60.0 / 0.6, "hardly ever");
    let shuttle = station(&found, "S");
    near(shuttle.capacity_per_min.expect("a limit"), 60.0 / 1.6, "rated for any order");
    near(shuttle.capacity_at_most_per_min.expect("a limit"), 60.0 / 0.6, "in the best order");
    // To the right for each of the 20 % that are for it, and back.
    near(most(&shuttle_line(0.8, ROWS)).0, 60.0 / (0.6 + 0.4), "two moves for each of the rarer ones");
}

#[test]
fn parts_in_their_natural_order_have_a_known_number_of_moves() {
    // The next part is for another side in 2 x 0.8 x 0.2 of all cases.
    let known = 60.0 / (0.6 + 0.32);
    let before = [
        r#"{"id": "B", "type": "bin", "endless": true, "to": "S"}"#.to_owned(),
        // A join of two lanes alike, and what was rejected comes back fallen anew.
        r#"{"id": "A", "type": "work", "endless": true, "time": "0.1 s", "to": "T"},
           {"id": "B", "type": "work", "endless": true, "time": "0.1 s", "to": "P"},
           {"id": "P", "type": "orienting path", "pass": "0.01 s", "tools": [{"id": "t", "accepts": 0.5}],
            "rejects_to": "R", "to": "T"},
           {"id": "R", "type": "recirculation belt", "capacity": 50, "travel": "1 s", "to": "P"},
           {"id": "T", "type": "track", "capacity": 40, "to": "S"}"#
            .to_owned(),
    ];
    for line in before {
        let (low, high) = most(&shuttle_line(0.8, &line));
        near(low, known, "as chance has it");
        near(high, known, "as chance has it");
    }
}

#[test]
fn what_keeps_its_attitude_on_the_way_back_makes_an_order() {
    let line = r#"{"id": "B", "type": "bin", "endless": true, "to": "P"},
        {"id": "P", "type": "orienting path", "pass": "0.01 s", "tools": [{"id": "t", "passes": {"left": 0.9, "right": 0.2}}],
         "comes_back": {"keeps": 1}, "rejects_to": "R", "to": "S"},
        {"id": "R", "type": "recirculation belt", "capacity": 50, "travel": "1 s", "to": "P"}"#;
    let (low, high) = most(&shuttle_line(0.5, line));
    near(low, 60.0 / 1.6, "any order");
    near(high, 60.0 / 0.6, "any order");
}

#[test]
fn lots_that_differ_make_an_order() {
    let line = r#""parts": {"a": {"attitudes": {"left": 0.5, "right": 0.5}, "right_way": ["left", "right"],
            "between_shifts": {"attitudes": 0.3}}},
        "stations": [{"id": "B", "type": "bin", "endless": true, "to": "S"},
        {"id": "S", "type": "selector", "shuttle": {"sends": {"left": "X", "right": "Y"}, "presents": "as it lies",
            "same_side": "0.6 s", "other_side": "1.6 s"}},
        {"id": "X", "type": "work", "time": "0.1 s", "to": "out"},
        {"id": "Y", "type": "work", "time": "0.1 s", "to": "out"}]"#;
    let (low, high) = most(&balance(&scenario(line)));
    assert!(high > 2.0 * low, "{low} {high}");
}

/// Its own flow account: what goes down either track goes on.
#[test]
fn both_tracks_of_a_shuttle_lead_on() {
    let line = r#""parts": {"a": {"attitudes": {"left": 0.5, "right": 0.3, "on edge": 0.2}, "right_way": ["left", "right"]}},
        "stations": [{"id": "B", "type": "bin", "endless": true, "to": "S"},
        {"id": "S", "type": "selector", "rejects_to": "B", "shuttle": {"sends": {"left": "X", "right": "Y"},
            "presents": "as it lies", "same_side": "0.6 s", "other_side": "1.6 s"}},
        {"id": "X", "type": "work", "time": "0.1 s", "to": "out"},
        {"id": "Y", "type": "work", "time": "0.1 s", "to": "out"}],
        "promise": {"at": ["X", "Y"], "clauses": {"mean_rate": "32 /min"}}"#;
    let found = balance(&scenario(line));
    let account = found.sorting.iter().find(|account| account.id == "S").expect("it sorts");
    near(account.offered_per_min, 40.0, "32 of 80 %");
    near(account.accepted_per_min, 32.0, "both tracks");
    near(account.by_attitude_per_min, 8.0, "on edge");
    near(account.passes.expect("some go on"), 1.25, "40 / 32");
    near(account.recirculated_per_min, 8.0, "back to the bin");
}

#[test]
fn the_first_with_room_may_be_another_one_each_time() {
    let line = r#""stations": [{"id": "F", "type": "work", "endless": true, "time": "0 s", "to": "D"},
        {"id": "D", "type": "divider", "move": "2 s", "exits": ["A", "B"]},
        {"id": "A", "type": "work", "time": "1 s", "to": "out"},
        {"id": "B", "type": "work", "time": "1 s", "to": "out"}]"#;
    let (low, high) = most(&balance(&scenario(line)));
    near(high, 120.0, "hardly any moves");
    // The first one can take 60 a minute, and there is time for 30 moves away from it and back.
    near(low, 30.0, "to and fro");
}

fn ratio_line(exits: &str, ratio: &str, strict: bool) -> (f64, f64) {
    let line = format!(
        r#""stations": [{{"id": "F", "type": "work", "endless": true, "time": "0 s", "to": "D"}},
        {{"id": "D", "type": "divider", "move": "2 s", "rule": "by ratio", "ratio": {ratio}, "strict": {strict}, "exits": {exits}}},
        {{"id": "A", "type": "work", "time": "0 s", "to": "out"}},
        {{"id": "B", "type": "work", "time": "0 s", "to": "out"}},
        {{"id": "C", "type": "work", "time": "0 s", "to": "out"}}]"#
    );
    most(&balance(&scenario(&line)))
}

#[test]
fn moves_by_a_strict_ratio_are_counted_over_a_round() {
    // A, B, C, A, B, C, A, B, C, A: then A again.
    near(ratio_line(r#"["A", "B", "C"]"#, "[4, 3, 3]", true).1, 60.0 / (0.9 * 2.0), "nine of ten move");
    near(ratio_line(r#"["A", "B", "C"]"#, "[4, 3, 3]", true).0, 60.0 / (0.9 * 2.0), "nine of ten move");
    // B, B, A, B: the round ends where the next one begins.
    near(ratio_line(r#"["A", "B", "C"]"#, "[1, 3, 0]", true).1, 60.0 / (0.5 * 2.0), "two of four move");
}

fn recipe_line(models: &str, recipe: &str) -> (f64, f64) {
    let line = format!(
        r#"{models} "stations": [{{"id": "F", "type": "work", "endless": true, "time": "0 s", "to": "D"}},
        {{"id": "D", "type": "divider", "move": "2 s", "rule": "by recipe", {recipe}}},
        {{"id": "A", "type": "work", "time": "0 s", "to": "out"}},
        {{"id": "B", "type": "work", "time": "0 s", "to": "out"}}]"#
    );
    most(&balance(&scenario(&line)))
}

#[test]
fn moves_by_recipe_follow_the_order_of_the_models() {
    near(
        recipe_line("", r#""recipe": {"A": 3, "B": 2}"#).1,
        60.0 / (2.0 * 2.0 / 5.0),
        "there and back for five",
    );
    let by_model = r#""recipes": {"p": {"A": 3}, "q": {"B": 3}}"#;
    // p p q q: two changes for four batches of three.
    let in_a_row = r#""models": {"list": {"p": 2, "q": 2}},"#;
    near(recipe_line(in_a_row, by_model).1, 60.0 / (2.0 * 2.0 / 12.0), "two for twelve");
    // At random: the next batch is another model's in 2 x 0.75 x 0.25 of all cases.
    let at_random = r#""models": {"list": {"p": 3, "q": 1}, "order": "random"},"#;
    near(recipe_line(at_random, by_model).1, 60.0 / (2.0 * 0.375 / 3.0), "0.375 a batch");
}

/// Where room decides what comes, nothing is known of the shares of the sides either.
#[test]
fn sides_that_hang_on_room_have_the_widest_bounds() {
    let line = r#""parts": {"a": {"attitudes": {"left": 0.9, "right": 0.1}, "right_way": ["left", "right"]},
                  "b": {"attitudes": {"left": 0.2, "right": 0.8}, "right_way": ["left", "right"]}},
        "stations": [{"id": "A", "type": "work", "endless": true, "part": "a", "time": "0.1 s", "to": "T"},
        {"id": "B", "type": "work", "endless": true, "part": "b", "time": "0.1 s", "to": "T"},
        {"id": "T", "type": "track", "capacity": 40, "to": "S"},
        {"id": "S", "type": "selector", "shuttle": {"sends": {"left": "X", "right": "Y"}, "presents": "as it lies",
            "same_side": "1 s", "other_side": "0.5 s"}},
        {"id": "X", "type": "work", "time": "0.1 s", "to": "out"},
        {"id": "Y", "type": "work", "time": "0.1 s", "to": "out"}]"#;
    let (low, high) = most(&balance(&scenario(line)));
    near(low, 60.0, "it stays where it is");
    near(high, 120.0, "going across takes less here, and it may for every part");
}
