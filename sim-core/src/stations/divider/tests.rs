//! Tests of dividers by call and by recipe, and of moving ones: each named after a sentence of their documentation.

use crate::kernel::{Note, State};
use crate::stations::trial::{Trial, problems, states, times};

const FEEDER: &str = r#"{"id": "F", "type": "work", "endless": true, "time": "0.5 s"}, {"id": "T", "type": "track", "capacity": 9},"#;
const TAKERS: &str = r#"{"id": "a", "type": "track", "capacity": 5, "to": "A"}, {"id": "b", "type": "track", "capacity": 5, "to": "B"},
    {"id": "A", "type": "machine", "cycle": "1 s", "to": "out"}, {"id": "B", "type": "machine", "cycle": "3 s", "to": "out"}"#;

fn line(divider: &str) -> Trial {
    Trial::new(&format!(r#"{FEEDER} {{"id": "D", "type": "divider", {divider}}}, {TAKERS}"#), "")
}

#[test]
fn a_track_calls_when_it_is_empty_and_the_longest_call_goes_first() {
    let trial = line(r#""exits": ["a", "b"], "rule": "by call""#);
    let run = trial.run(0, 100.0);
    // Each track holds one part at most, so that both machines are always served from a track that was full for them.
    let most = |place: &str| {
        let levels = crate::stations::trial::levels(&run, trial.place(place));
        levels.iter().map(|(_, n)| *n).max()
    };
    assert_eq!((most("a"), most("b")), (Some(1), Some(1)));
    assert_eq!(times(&run, trial.post("B"), Note::Took).len(), 34);
    assert_eq!(times(&run, trial.post("A"), Note::Took).len(), 100);
}

#[test]
fn a_station_calls_by_having_nothing_to_do() {
    let text = format!(
        r#"{FEEDER} {{"id": "D", "type": "divider", "exits": ["A", "B"], "rule": "by call"}},
        {{"id": "A", "type": "machine", "cycle": "1.2 s", "to": "out"}}, {{"id": "B", "type": "machine", "cycle": "1.7 s", "to": "out"}}"#
    );
    let trial = Trial::new(&text, "");
    let run = trial.run(0, 60.0);
    // Parts are plenty (2 a second): nobody waits, and nothing is put aside for one that is at work.
    assert_eq!(times(&run, trial.post("A"), Note::Took)[..4], [0.5, 1.7, 2.9, 4.1]);
    assert_eq!(times(&run, trial.post("B"), Note::Took)[..4], [1.0, 2.7, 4.4, 6.1]);
}

#[test]
fn by_recipe_each_exit_gets_its_pieces_in_order() {
    let models = r#", "models": {"list": {"x": 1, "y": 1}}"#;
    let text = format!(
        r#"{FEEDER} {{"id": "D", "type": "divider", "rule": "by recipe", "recipes": {{"x": {{"a": 2, "b": 1}}, "y": {{"b": 1}}}}}}, {TAKERS}"#
    );
    let trial = Trial::new(&text, models);
    let run = trial.run(0, 2.0);
    assert_eq!(times(&run, trial.post("D"), Note::Exit(0)), [0.5, 1.0]);
    assert_eq!(times(&run, trial.post("D"), Note::Exit(1)), [1.5, 2.0]);
    let run = trial.run(0, 900.0);
    let (a, b) =
        (times(&run, trial.post("A"), Note::Took).len(), times(&run, trial.post("B"), Note::Took).len());
    // B takes one in 3 s, and A as many by the recipe.
    assert!(b >= 299 && a.abs_diff(b) <= 6, "{a}, {b}");
}

#[test]
fn a_moving_divider_needs_its_time_between_exits_and_none_at_one() {
    let trial = line(r#""rule": "by recipe", "recipe": {"a": 2, "b": 1}, "move": "0.7 s""#);
    let run = trial.run(0, 4.6);
    // It stands at a: 0.5, 1.0; it moves at once, arrives at 1.7 for the part of 1.5; then back, 2.4: those of 2.0 and 2.5.
    assert_eq!(times(&run, trial.post("D"), Note::Exit(0)), [0.5, 1.0, 2.4, 2.5, 3.9, 4.0]);
    assert_eq!(times(&run, trial.post("D"), Note::Exit(1)), [1.7, 3.2]);
    assert!(states(&run, trial.post("D")).contains(&(1.0, State::Working)));
    let (seconds, _) = trial.traffic("D");
    assert!((seconds[0] - 2.0 * 0.7 / 3.0).abs() < 1e-12, "two moves for three parts: {seconds:?}");
}

#[test]
fn without_a_known_turn_it_moves_when_a_part_is_ready() {
    let trial = line(r#""exits": ["a", "b"], "rule": "emptiest first", "move": "0.3 s""#);
    let run = trial.run(0, 2.05);
    // a, since both are empty and it stands there (its part goes on to A at once); then a again while it is empty.
    assert_eq!(times(&run, trial.post("D"), Note::Exit(0))[..2], [0.5, 1.0]);
    // At 1.5 a holds the part of 1.0 no more: A took it at 1.5.
    let moves = states(&run, trial.post("D")).iter().filter(|(_, state)| *state == State::Working).count();
    assert!(moves <= 1, "{moves}");
}

#[test]
fn a_moving_divider_in_turn_does_one_part_a_move() {
    let text = r#"{"id": "F", "type": "work", "endless": true, "time": "0.1 s"}, {"id": "T", "type": "track", "capacity": 9},
        {"id": "D", "type": "divider", "exits": ["A", "B"], "rule": "in turn", "strict": true, "move": "0.8 s"},
        {"id": "A", "type": "machine", "cycle": "0.1 s", "to": "out"}, {"id": "B", "type": "machine", "cycle": "0.1 s", "to": "out"}"#;
    let trial = Trial::new(text, "");
    let run = trial.run(0, 80.05);
    let n = times(&run, trial.post("A"), Note::Took).len() + times(&run, trial.post("B"), Note::Took).len();
    assert_eq!(n, 100, "a part every 0.8 s from 0.1 s on");
}

#[test]
fn a_recipe_and_a_list_of_exits_exclude_each_other() {
    let said = |divider: &str| {
        problems(&format!(r#"{FEEDER} {{"id": "D", "type": "divider", {divider}}}, {TAKERS}"#), "").join("\n")
    };
    assert!(
        said(r#""rule": "by recipe", "recipe": {"a": 1, "b": 1}, "exits": ["a"]"#)
            .contains("stand in the recipe")
    );
    assert!(said(r#""rule": "by recipe", "exits": ["a"]"#).contains("needs `recipe`"));
    assert!(said(r#""rule": "in turn""#).contains("one exit at least"));
    assert!(said(r#""rule": "by recipe", "recipe": {"a": {"T": 1}, "b": 1}"#).contains("does not sort"));
}

/// Several moving dividers that deliver in turn: each may wait for the turn of the others, and none has to move if it finds
/// room where it stands.
#[test]
fn moving_dividers_in_turn_lie_within_their_bounds() {
    for (count, spread) in [(2, "listed"), (3, "longest idle"), (3, "in turn")] {
        let trial = Trial::new(
            &format!(
                r#"{{"id": "F", "type": "work", "endless": true, "time": "0.05 s"}},
                {{"id": "T", "type": "track", "capacity": 40, "travel": "0 s"}},
                {{"id": "D", "type": "divider", "exits": ["A", "B"], "rule": "in turn", "move": "1 s",
                "count": {count}, "spread": "{spread}", "in_turn": true}},
                {{"id": "A", "type": "track", "capacity": 40, "travel": "0 s", "to": "M"}},
                {{"id": "B", "type": "track", "capacity": 40, "travel": "0 s", "to": "M"}},
                {{"id": "M", "type": "machine", "cycle": "0.2 s", "to": "out"}}"#
            ),
            "",
        );
        let run = trial.run(0, 3600.0);
        let a_minute = times(&run, trial.post("M"), Note::Exit(0)).len() as f64 / 60.0;
        let (low, high) = trial.balance().most_bounds_per_min.expect("bounds");
        assert!((low - 60.0).abs() < 1e-6 && (high - 300.0).abs() < 1e-6, "{low} to {high}");
        assert!(a_minute >= low - 1.0 && a_minute <= high, "{count} {spread}: {a_minute}");
    }
}
