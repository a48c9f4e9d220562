//! Small lines worked out by hand.

use super::{Sorter, balance, flow, near, put, scenario, station};

/// A supply, a divider with a rule, two work stations of 60 and 30 a minute.
fn two_ways(rule: &str, rate: &str) -> crate::scenario::Scenario {
    scenario(&format!(
        r#""stations": [
            {{"id": "F", "type": "work", "endless": true, "time": "0 s"}},
            {{"id": "D", "type": "divider", "exits": ["A", "B"], {rule}}},
            {{"id": "A", "type": "work", "time": "1 s", "to": "out"}},
            {{"id": "B", "type": "work", "time": "2 s", "to": "out"}}],
            "promise": {{"clauses": {{"mean_rate": "{rate} /min"}}}}"#
    ))
}

#[test]
fn capacity_margin_and_limit_of_a_row() {
    let found = balance(&scenario(
        r#""stations": [
            {"id": "F", "type": "work", "endless": true, "time": "0.5 s"},
            {"id": "T", "type": "track", "capacity": 20},
            {"id": "W", "type": "work", "time": "1.5 s", "count": 2},
            {"id": "M", "type": "machine", "cycle": "0.7 s"}],
            "promise": {"at": "M", "clauses": {"rate": "64 /min"}}"#,
    ));
    near(found.rate_per_min, 64.0, "what is promised");
    near(found.most_per_min.unwrap_or(0.0), 80.0, "two of 40");
    assert_eq!(found.limiting.as_deref(), Some("W"));
    near(station(&found, "W").margin.unwrap_or(0.0), 0.25, "80 / 64 - 1");
    near(station(&found, "F").margin.unwrap_or(0.0), 120.0 / 64.0 - 1.0, "the supply has its own time");
    assert_eq!(station(&found, "T").capacity_per_min, None, "nothing limits a track");
    assert_eq!(station(&found, "T").bounds_per_min, Some((flow(&found, "T"), flow(&found, "T"))));
    near(found.feeds[0].over_feed.unwrap_or(0.0), 1.25, "by W");
    assert_eq!(found.feeds[0].limited_by.as_deref(), Some("W"));
    assert!(found.notes.is_empty(), "nothing unusual: {:?}", found.notes);
}

/// What takes up to a number of parts takes no more than can be there, and hands on no more than find room.
#[test]
fn who_takes_what_is_there_carries_what_can_be_there() {
    let most = |stations: &str| {
        let line = scenario(&format!(
            r#""stations": [{{"id": "F", "type": "work", "endless": true, "time": "0.1 s"}}, {stations},
            {{"id": "X", "type": "track", "capacity": 4}}, {{"id": "W", "type": "work", "time": "0.01 s"}}]"#
        ));
        balance(&line).most_per_min.unwrap_or(f64::INFINITY)
    };
    let track = |n: u32| format!(r#"{{"id": "T", "type": "track", "capacity": {n}}}, "#);
    let meter = r#"{"id": "M", "type": "meter conveyor", "rate": "300 /min"}"#;
    near(most(meter), 60.0, "a station shows one part, once a second");
    near(most(&(track(3) + meter)), 180.0, "three on the track");
    near(most(&(track(9) + meter)), 300.0, "the rate");
    let index = r#"{"id": "M", "type": "meter conveyor", "per_index": 5, "index_time": "1 s"}"#;
    near(most(index), 60.0, "one an index");
    let bath = r#"{"id": "M", "type": "bath", "residence": "1 s", "rate": "300 /min", "portion": "2 s"}"#;
    near(most(&(track(3) + bath)), 90.0, "three each two seconds");
    let clock =
        r#"{"id": "E", "type": "escapement", "stroke": "1 s", "release": 5, "strokes": "on a clock"}"#;
    near(most(clock), 60.0, "one there");
    near(most(&(track(3) + clock)), 180.0, "three there");
    near(most(&(track(9) + clock)), 240.0, "room for four");
}

/// 30 parts a minute, one in ten short, come to two tools: the second takes out the short ones; one in ten jams where it says.
fn jamming(path: &str, at_first: &str, at_second: &str, of_path: &str) -> crate::balance::Balance {
    let jam = |then: &str| match then {
        "" => String::new(),
        _ => format!(r#", "jams": [{{"per_part": 0.1, "time": "0.1 s", "then": "{then}"}}]"#),
    };
    let (at_first, at_second, of_path) = (jam(at_first), jam(at_second), jam(of_path));
    balance(&scenario(&format!(
        r#""parts": {{"pin": {{"length": "20 mm", "conditions": {{"short": 0.1}}}}}}, "stations": [
            {{"id": "F", "type": "work", "endless": true, "time": "2 s"}},
            {{"id": "P", "type": "orienting path", {path}, "rejects_to": "S", "to": "M", "tools": [
                {{"id": "a", "drops": {{"short": 0}} {at_first}}},
                {{"id": "b", "drops": {{"short": 1}} {at_second}}}] {of_path}}},
            {{"id": "M", "type": "machine", "cycle": "0.1 s", "to": "out"}}, {{"id": "S", "type": "scrap box"}}]"#
    )))
}

#[test]
fn jams_of_tools_send_their_part_where_they_say() {
    for path in [r#""pass": "1 s""#, r#""speed": "0.1 m/s", "live_length": "1 m""#] {
        let most = |a, b, of_path| jamming(path, a, b, of_path).most_per_min.unwrap_or(0.0);
        near(most("", "", ""), 27.0, "the good ones");
        near(most("rejects_to", "", ""), 24.3, "one in ten of them is sent off");
        near(most("", "rejects_to", ""), 24.3, "at the second tool as well");
        near(most("rejects_to", "rejects_to", ""), 21.87, "at both");
        near(most("", "", "rejects_to"), 24.3, "and at the end");
        // The good ones go on anyway; of the short ones go on those that jam before the tool has acted, or after it.
        for (a, b, of_path, short) in
            [("to", "", "", 0.3), ("", "to", "", 0.3), ("", "", "to", 0.3), ("to", "to", "", 0.57)]
        {
            let found = jamming(path, a, b, of_path);
            near(found.most_per_min.unwrap_or(0.0), 27.0, "all good ones");
            near(flow(&found, "M") / flow(&found, "F"), (27.0 + short) / 30.0, "and some that are short");
        }
    }
}

#[test]
fn first_with_room_fills_the_first() {
    let found = balance(&two_ways(r#""rule": "first with room""#, "75"));
    near(flow(&found, "A"), 60.0, "all that it can");
    near(flow(&found, "B"), 15.0, "the rest");
    near(found.most_per_min.unwrap_or(0.0), 90.0, "both full");
    assert_eq!(found.limiting.as_deref(), Some("B"), "the last one is short of room");
    let (low, high) = station(&found, "A").bounds_per_min.unwrap_or_default();
    near(low, 45.0, "if B were filled first");
    near(high, 60.0, "its capacity");
    let (low, high) = station(&found, "B").bounds_per_min.unwrap_or_default();
    near(low, 15.0, "if A is filled first");
    near(high, 30.0, "its capacity");
}

#[test]
fn in_turn_is_even_until_one_is_full() {
    let rule = r#""rule": "in turn""#;
    let found = balance(&two_ways(rule, "40"));
    near(flow(&found, "A"), 20.0, "half");
    near(flow(&found, "B"), 20.0, "half");
    let found = balance(&two_ways(rule, "75"));
    near(flow(&found, "A"), 45.0, "the rest");
    near(flow(&found, "B"), 30.0, "full");
    near(found.most_per_min.unwrap_or(0.0), 90.0, "both full");
    let strict = balance(&two_ways(r#""rule": "in turn", "strict": true"#, "40"));
    near(strict.most_per_min.unwrap_or(0.0), 60.0, "strictly in turn the slow one holds the other up");
    assert_eq!(strict.limiting.as_deref(), Some("B"));
}

#[test]
fn shares_follow_room_in_a_loop() {
    // Two unequal paths, first with room: A (1 s, accepts 0.5) is filled, B (1 s, accepts 0.25) gets what is
    // left. For 40 a minute: 60 * 0.5 + b * 0.25 = 40, so b = 40. Rejects come back to the divider.
    let mut line = two_ways(r#""rule": "first with room""#, "40");
    for (id, accept) in [("A", 0.5), ("B", 0.25)] {
        let sorter = Sorter {
            exits: vec![("to", "out".to_owned()), ("rejects_to", "D".to_owned())],
            routes: vec![vec![(0, 0, accept), (1, 0, 1.0 - accept)]],
            seconds: vec![1.0],
        };
        put(&mut line, id, sorter);
    }
    let found = balance(&line);
    near(flow(&found, "A"), 60.0, "full");
    near(flow(&found, "B"), 40.0, "what is left");
    near(found.most_per_min.unwrap_or(0.0), 45.0, "60 * 0.5 + 60 * 0.25");
    near(station(&found, "F").supply.as_ref().map_or(0.0, |s| s.brings_per_min), 40.0, "nothing is lost");
}

#[test]
fn joins_with_and_without_priority() {
    let line = |priority: &str| {
        balance(&scenario(&format!(
            r#""stations": [
                {{"id": "A", "type": "work", "endless": true, "time": "1 s", "to": "M"}},
                {{"id": "B", "type": "work", "endless": true, "time": "1 s", "to": "M"}},
                {{"id": "M", "type": "machine", "cycle": "0.5 s"{priority}}}],
                "promise": {{"clauses": {{"mean_rate": "80 /min"}}}}"#
        )))
    };
    let found = line(r#", "priority": ["B"]"#);
    near(flow(&found, "B"), 60.0, "first");
    near(flow(&found, "A"), 20.0, "the rest");
    let found = line("");
    near(flow(&found, "A"), 40.0, "half");
    let (low, high) = station(&found, "A").bounds_per_min.unwrap_or_default();
    near(low, 20.0, "if B goes first");
    near(high, 60.0, "if A goes first");
    near(found.most_per_min.unwrap_or(0.0), 120.0, "both full, and so is the machine");
}

#[test]
fn each_inlet_gets_its_parts() {
    // 1 % and 2 % bad: good products 0.99 * 0.98^2 of all.
    let found = balance(&scenario(
        r#""parts": {"x": {"conditions": {"bad": "1 %"}}, "y": {"conditions": {"bad": "2 %"}}},
        "stations": [
            {"id": "X", "type": "work", "endless": true, "part": "x", "time": "1 s", "to": "M"},
            {"id": "Y", "type": "work", "endless": true, "part": "y", "time": "1 s", "to": "M"},
            {"id": "M", "type": "machine", "cycle": "1.5 s",
             "inlets": [{"from": "X"}, {"from": "Y", "parts": 2, "nest": {"capacity": 2}}], "to": "N"},
            {"id": "N", "type": "work", "time": "0.1 s"}],
            "promise": {"at": "N", "clauses": {"mean_rate": "20 /min"}}"#,
    ));
    let good = 0.99 * 0.98 * 0.98;
    near(flow(&found, "M"), 20.0 / good, "products");
    near(flow(&found, "X"), 20.0 / good, "one each");
    near(flow(&found, "Y"), 40.0 / good, "two each");
    near(flow(&found, "N"), 20.0 / good, "products go on");
    near(found.most_per_min.unwrap_or(0.0), 30.0 * good, "Y can feed 30 products");
    assert_eq!(found.limiting.as_deref(), Some("Y"));
    near(found.point.bad_per_million, (1.0 - good) * 1e6, "bad products");
    let inlet = &station(&found, "M").inlets[1];
    near(inlet.demanded_per_min, 40.0 / good, "demand of the inlet");
    near(inlet.flow_per_min, inlet.demanded_per_min, "it gets that");
}

#[test]
fn a_stream_brings_what_it_brings() {
    let line = |cycle: &str| {
        balance(&scenario(&format!(
            r#""stations": [
                {{"id": "S", "type": "stream", "spacing": "1 s"}},
                {{"id": "M", "type": "machine", "cycle": "{cycle}"}}],
                "promise": {{"at": "M", "clauses": {{"mean_rate": "50 /min"}}}}"#
        )))
    };
    let found = line("0.8 s");
    near(flow(&found, "M"), 60.0, "wanted or not");
    near(station(&found, "S").margin.unwrap_or(0.0), 0.2, "60 / 50 - 1");
    near(station(&found, "M").margin.unwrap_or(0.0), 0.25, "75 / 60 - 1");
    near(found.most_per_min.unwrap_or(0.0), 60.0, "no more comes");
    let found = line("1.25 s");
    near(found.most_per_min.unwrap_or(0.0), 48.0, "no more goes through");
    assert_eq!(found.limiting.as_deref(), Some("M"));
}

#[test]
fn a_stream_and_a_supply_that_fills_up() {
    let found = balance(&scenario(
        r#""stations": [
            {"id": "S", "type": "stream", "spacing": "3 s", "to": "M"},
            {"id": "F", "type": "work", "endless": true, "time": "1.5 s", "to": "M"},
            {"id": "M", "type": "machine", "cycle": "0.5 s"}],
            "promise": {"at": "M", "clauses": {"mean_rate": "50 /min"}}"#,
    ));
    near(flow(&found, "F"), 30.0, "50 - 20");
    near(found.most_per_min.unwrap_or(0.0), 60.0, "20 + 40");
    assert_eq!(found.limiting.as_deref(), Some("F"));
}

#[test]
fn account_of_a_sorting_station_and_bad_parts() {
    // 4 % chipped; a pass accepts 60 % of good and 5 % of chipped parts, the others leave.
    let mut line = scenario(
        r#""parts": {"p": {"conditions": {"chipped": "4 %"}}},
        "stations": [
            {"id": "F", "type": "work", "endless": true, "time": "0 s"},
            {"id": "P", "type": "work", "time": "1 s", "to": "C"},
            {"id": "C", "type": "work", "time": "0 s"}],
            "promise": {"at": "C", "clauses": {"mean_rate": "57.6 /min"}}"#,
    );
    let sorter = Sorter {
        exits: vec![("to", "C".to_owned()), ("rejects_to", "out".to_owned())],
        routes: vec![vec![(0, 0, 0.6), (1, 0, 0.4)], vec![(0, 1, 0.05), (1, 1, 0.95)]],
        seconds: vec![0.25, 0.75],
    };
    put(&mut line, "P", sorter);
    let found = balance(&line);
    let account = &found.sorting[0];
    near(account.offered_per_min, 100.0, "57.6 / 0.96 / 0.6");
    near(account.by_attitude_per_min, 38.4, "good ones sent off");
    near(account.by_defect_per_min, 3.8, "chipped ones sent off");
    near(account.accepted_per_min, 57.8, "both accepted");
    near(account.passes.unwrap_or(0.0), 100.0 / 57.8, "passes");
    assert_eq!(account.recirculated_per_min, 0.0);
    near(found.point.bad_per_million, 0.2 / 57.8 * 1e6, "chipped ones at the point of use");
    near(
        station(&found, "P").capacity_per_min.unwrap_or(0.0),
        60.0 / (0.96 * 0.25 + 0.04 * 0.75),
        "at the mix",
    );
}

#[test]
fn jams_and_attendance_to_first_order() {
    // 60 a minute, 1 in 1000 jams: 3.6 an hour. A kicker frees half of them with two tries of chance
    // 0.5 (1.5 tries of 2 s on the mean): 0.25 go to a person, who walks 10 s and works 20 s after 5 s of notice.
    let found = balance(&scenario(
        r#""stations": [
            {"id": "F", "type": "work", "endless": true, "time": "0.5 s"},
            {"id": "M", "type": "machine", "cycle": "0.5 s", "jams": [{"per_part": 0.001, "by": "A",
             "time": "20 s", "notice": "5 s", "automatic": {"time": "2 s", "success": 0.5, "tries": 2}}]}],
            "attendants": [{"id": "A", "walk": "10 s"}],
            "promise": {"at": "M", "clauses": {"mean_rate": "60 /min"}}"#,
    ));
    near(station(&found, "M").jams_per_hour, 3.6, "jams");
    near(found.attendants[0].minutes_per_hour, 3.6 * 0.25 * 0.5, "30 s for each that needs a person");
    near(found.attendants[0].load, 3.6 * 0.25 * 30.0 / 3600.0, "share of the time");
    near(station(&found, "M").stopped, 0.001 * (1.5 * 2.0 + 0.25 * 35.0), "a part a second");
    let each_s = 0.5 + 0.001 * (1.5 * 2.0 + 0.25 * 35.0);
    near(station(&found, "M").capacity_with_stops_per_min.unwrap_or(0.0), 60.0 / each_s, "part and stops");
}

#[test]
fn stops_by_the_clock_leave_the_same_capacity_at_any_load() {
    // A station that is up 540 s and then down 60 s has 0.9 of its time, however little it is asked for; one that is stopped
    // by the time of work alone, too, at full load, and a jam of 1 s in each tenth part costs 0.1 s of a part's time.
    let with_stops = |every_s: f64, stops: &str| {
        let found = balance(&scenario(&format!(
            r#""stations": [
                {{"id": "F", "type": "work", "endless": true, "time": "{every_s} s"}},
                {{"id": "M", "type": "machine", "cycle": "1 s", {stops}}}]"#
        )));
        station(&found, "M").capacity_with_stops_per_min.unwrap_or(0.0)
    };
    for every_s in [0.5, 1.0, 10.0] {
        for clock in ["powered", "wall", "working"] {
            let breakdown =
                format!(r#""breakdowns": [{{"every": "540 s", "clock": "{clock}", "time": "60 s"}}]"#);
            near(with_stops(every_s, &breakdown), 54.0, clock);
        }
        let both = r#""breakdowns": [{"every": "500 s", "time": "100 s"}], "jams": [{"per_part": 0.1, "time": "1 s"}]"#;
        near(with_stops(every_s, both), 60.0 / (1.0 + 0.2 + 0.1), "both");
    }
}

#[test]
fn a_bin_to_which_only_rejects_come_back_lives_from_its_stock() {
    // W does 60 a minute. Of the fresh parts f a tenth is short, and half of the short ones is repaired: of the flow F a
    // share s is short with 0.1 f + 0.5 s F = s F and f = (1 - s) F, so s = 1/6, and 50 are good.
    let found = balance(&scenario(
        r#""parts": {"p": {"conditions": {"short": "10 %"}}}, "stations": [
            {"id": "B", "type": "bin", "content": 100000, "to": "W"},
            {"id": "W", "type": "work", "time": "1 s", "to": "G"},
            {"id": "G", "type": "gauge", "time": "0.5 s", "catches": {"short": 1}, "rejects_to": "S", "to": "M"},
            {"id": "M", "type": "machine", "cycle": "0.2 s", "to": "out"},
            {"id": "S", "type": "scrap box", "holds": 20, "empties_to": "B", "repairs": {"short": 0.5},
             "exchange": {"how": "hauler", "lead": "1 s"}}]"#,
    ));
    near(found.most_per_min.unwrap_or(0.0), 50.0, "all that is not short");
    assert_eq!(found.limiting.as_deref(), Some("W"));
    let note = found.notes.iter().find(|note| note.code == "stock");
    assert!(note.is_some_and(|note| note.message.contains("`B`")), "{:?}", found.notes);
}

#[test]
fn without_a_limit_it_says_so() {
    let found = balance(&scenario(
        r#""stations": [
            {"id": "F", "type": "work", "endless": true, "time": "0 s"},
            {"id": "M", "type": "machine", "cycle": "0 s"}]"#,
    ));
    assert_eq!(found.most_per_min, None);
    near(found.rate_per_min, 1.0, "shown for one a minute");
    assert_eq!(found.notes[0].code, "no-limit");
}

#[test]
fn checks_that_fail_are_part_of_a_stroke() {
    let found = balance(&scenario(
        r#""stations": [
            {"id": "A", "type": "work", "endless": true, "time": "0.1 s", "to": "M"},
            {"id": "B", "type": "work", "endless": true, "time": "0.1 s", "to": "M"},
            {"id": "M", "type": "machine", "cycle": "0.75 s", "inlets": [{"from": "A"}, {"from": "B"}],
             "check": {"false_empty": 0.5, "again": "0.25 s"}}],
            "promise": {"at": "M", "clauses": {"mean_rate": "10 /min"}}"#,
    ));
    // Both read full once in four times: three checks to be made again, 0.75 s.
    near(found.most_per_min.unwrap_or(0.0), 40.0, "0.75 + 3 x 0.25 s");
}

/// A path at 0.1 s a pass that accepts half of what comes, and where its rejects and its surplus go.
fn path_that_runs_on(back: &str, rest: &str) -> crate::scenario::Scenario {
    let belt = r#"{"id": "R", "type": "recirculation belt", "capacity": 100, "to": "P"},"#;
    let belt = if back == "R" { belt } else { "" };
    scenario(&format!(
        r#""parts": {{"pin": {{"attitudes": {{"up": 0.5, "down": 0.5}}, "right_way": "up"}}}},
        "stations": [
            {{"id": "bin", "type": "bin", "endless": true}},
            {{"id": "lift", "type": "elevator", "cleats": "60 /min", "lift": "1 s", "per_cleat": 5, "to": "P"}},
            {{"id": "P", "type": "orienting path", "pass": "0.1 s", "tools": [{{"id": "t", "passes": {{"up": 1}}}}],
              "rejects_to": "{back}", "to": "M" {rest}}},
            {belt}
            {{"id": "M", "type": "machine", "cycle": "0.5 s", "to": "out"}}],
            "promise": {{"at": "M", "clauses": {{"mean_rate": "100 /min"}}}}"#
    ))
}

#[test]
fn surplus_that_goes_round_has_bounds() {
    let found = balance(&path_that_runs_on("R", r#", "overflow_to": "R""#));
    // 600 passes a minute are possible, 200 are needed, half of which come back.
    let bounds = |id| bounds(&found, id);
    for (id, low, high) in
        [("P", 200.0, 600.0), ("R", 100.0, 500.0), ("lift", 100.0, 100.0), ("M", 100.0, 100.0)]
    {
        near(bounds(id).0, low, id);
        near(bounds(id).1, high, id);
    }
    let blocks = balance(&path_that_runs_on("R", ""));
    near(station(&blocks, "P").bounds_per_min.unwrap_or_default().1, 200.0, "nothing runs on");
}

#[test]
fn surplus_that_goes_back_into_the_bin_is_lifted_again() {
    let found = balance(&path_that_runs_on("bin", r#", "overflow_to": "bin""#));
    let bounds = |id| bounds(&found, id);
    near(bounds("P").1, 300.0, "what is lifted, though it could do 600");
    near(bounds("lift").0, 200.0, "two passes for each part");
    near(bounds("lift").1, 300.0, "five parts a second");
}

#[test]
fn tangled_parts_are_rejected_once_if_a_bin_untangles_them() {
    let clumps = r#", "clumps": {"chance": 0.1, "parts": 2, "breaks_up": 0.25}"#;
    // Of the untangled ones 2 x 0.1 / (0.9 + 2 x 0.1) = 2 / 11 tangle.
    let through_bin = balance(&path_that_runs_on("bin", clumps));
    near(flow(&through_bin, "P"), 200.0 / (9.0 / 11.0), "9 of 11 meet the tool untangled");
    // On the belt they stay tangled for 4 passes: (8 / 11) / (9 / 11 + 8 / 11) of all that enter.
    let by_belt = balance(&path_that_runs_on("R", clumps));
    near(flow(&by_belt, "P"), 200.0 / (9.0 / 17.0), "9 of 17 meet the tool untangled");
}

/// Stations before a divider that fills its exits in order: the most at one of them.
fn most_left(stations: &str, at: &str) -> (f64, f64) {
    let line = format!(
        r#""stations": [{stations}], "promise": {{"at": {at}, "clauses": {{"mean_rate": "15 /min"}}}}"#
    );
    balance(&scenario(&line)).most_bounds_per_min.expect("a limit")
}

/// 60 a minute come, the first machine takes 40 of them if there is always one before it: 20 are left for the second one,
/// which could take 30 if the first one missed some.
#[test]
fn a_point_that_gets_what_others_leave_has_bounds() {
    let line = r#""stations": [
        {"id": "F", "type": "work", "endless": true, "time": "1 s"},
        {"id": "D", "type": "divider", "exits": ["M1", "M2"]},
        {"id": "M1", "type": "machine", "cycle": "1.5 s", "to": "out"},
        {"id": "M2", "type": "machine", "cycle": "2 s", "to": "out"}],
        "promise": {"at": "M2", "clauses": {"mean_rate": "15 /min"}}"#;
    let balance = balance(&scenario(line));
    let (low, high) = balance.most_bounds_per_min.expect("a limit");
    near(low, 20.0, "60 - 40");
    near(high, 30.0, "its own cycle");
    near(balance.most_per_min.expect("a limit"), 30.0, "at most");
    assert_eq!(balance.limiting.as_deref(), Some("M2"));
    near(flow(&balance, "M1"), 40.0, "filled first");
    near(flow(&balance, "M2"), 15.0, "what is promised");
    near(flow(&balance, "F"), 55.0, "both");
    let (low, high) = station(&balance, "M1").bounds_per_min.expect("bounds");
    near(low, 0.0, "if the second one is filled first");
    near(high, 40.0, "its cycle");
    assert!(!balance.most_is_unknown && !balance.notes.iter().any(|note| note.code == "not-settled"));
}

/// A cascade: each full path hands on to its neighbour, the last one gets what is left, and what it cannot take goes round.
#[test]
fn the_last_of_a_cascade_gets_the_rest() {
    let machines = |n: usize| {
        let machine = |k| format!(r#"{{"id": "M{k}", "type": "machine", "cycle": "2 s", "to": "out"}}"#);
        (1..=n).map(machine).collect::<Vec<_>>().join(", ")
    };
    let line = format!(
        r#"{{"id": "F", "type": "work", "endless": true, "time": "0.8 s"}},
        {{"id": "D", "type": "divider", "exits": ["M1", "M2", "M3"]}}, {}"#,
        machines(3)
    );
    let (low, high) = most_left(&line, r#""M3""#);
    near(low, 15.0, "75 - 2 x 30");
    near(high, 30.0, "its cycle");
    let (low, high) = most_left(&line, r#"["M1", "M3"]"#);
    near(low, 45.0, "30 + 15");
    near(high, 60.0, "if M2 missed some");
    let (low, high) = most_left(&line, r#"["M1", "M2", "M3"]"#);
    near(low, 75.0, "all that comes");
    near(high, 75.0, "whoever gets it");
    // With a supply that has no end, and a belt that brings back what nobody takes, the last one is full as well.
    let round = format!(
        r#"{{"id": "F", "type": "work", "endless": true, "time": "0.1 s"}},
        {{"id": "D", "type": "divider", "exits": ["M1", "M2", "R"]}}, {},
        {{"id": "R", "type": "recirculation belt", "capacity": 30, "travel": "5 s", "to": "D"}}"#,
        machines(2)
    );
    let (low, high) = most_left(&round, r#""M2""#);
    near(low, 30.0, "what M1 leaves is more than it can take");
    near(high, 30.0, "its cycle");
}

#[test]
fn a_ratio_that_need_not_be_kept_goes_by_room() {
    // One in four goes to A, which could take 20: 60 can get past it all the same unless the divider waits for it.
    let line = |strict: &str| {
        most_left(
            &format!(
                r#"{{"id": "F", "type": "work", "endless": true, "time": "0.5 s"}},
                {{"id": "D", "type": "divider", "exits": ["A", "B"], "rule": "by ratio", "ratio": [1, 3] {strict}}},
                {{"id": "A", "type": "work", "time": "6 s", "to": "out"}},
                {{"id": "B", "type": "work", "time": "1 s", "to": "out"}}"#
            ),
            r#""B""#,
        )
    };
    near(line("").1, 60.0, "B is full");
    near(line(r#", "strict": true"#).1, 30.0, "three for each that A takes");
}

#[test]
fn a_divider_that_moves_may_stay_where_it_is() {
    let line = |rule: &str| {
        most_left(
            &format!(
                r#"{{"id": "F", "type": "work", "endless": true, "time": "0 s"}},
                {{"id": "D", "type": "divider", "exits": ["A", "B"], {rule}, "move": "2 s"}},
                {{"id": "A", "type": "work", "time": "1 s", "to": "out"}},
                {{"id": "B", "type": "work", "time": "1 s", "to": "out"}}"#
            ),
            r#"["A", "B"]"#,
        )
    };
    let (low, high) = line(r#""rule": "in turn""#);
    near(low, 30.0, "a move for each part");
    near(high, 120.0, "both full, hardly any moves");
    let (low, high) = line(r#""rule": "by ratio", "ratio": [3, 1], "strict": true"#);
    near(low, 60.0, "A A B A: two moves for four parts");
    near(high, 60.0, "it waits for the one whose turn it is");
}

#[test]
fn a_shuttle_moves_as_often_as_the_side_changes() {
    let line = r#""parts": {"p": {"attitudes": {"up": 0.8, "down": 0.2}, "right_way": ["up", "down"]}},
        "stations": [
        {"id": "F", "type": "work", "endless": true, "time": "0 s"},
        {"id": "S", "type": "selector", "shuttle": {"sends": {"up": "A", "down": "B"}, "same_side": "0.5 s", "other_side": "1 s",
            "presents": "as it lies"}},
        {"id": "A", "type": "work", "time": "0.1 s", "to": "out"},
        {"id": "B", "type": "work", "time": "0.1 s", "to": "out"}]"#;
    let found = balance(&scenario(line));
    // The next part is for the other side in 2 x 0.8 x 0.2 of all cases.
    near(found.most_per_min.expect("a limit"), 60.0 / (0.5 + 0.32 * 0.5), "0.66 s a part");
}

#[test]
fn what_is_beyond_a_reservoir_holds_up_nothing() {
    let line = |kind: &str| {
        most_left(
            &format!(
                r#"{{"id": "F", "type": "work", "endless": true, "time": "1 s"}},
                {{"id": "M", "type": "machine", "cycle": "0.5 s"}},
                {{"id": "T", "type": "track", {kind}, "travel": "1 s"}},
                {{"id": "W", "type": "work", "time": "3 s"}}"#
            ),
            r#""M""#,
        )
    };
    near(line(r#""capacity": 100"#).1, 20.0, "it fills");
    near(line(r#""unlimited": true"#).1, 60.0, "it never does");
}

#[test]
fn parts_keep_their_room_on_a_track_as_long_as_they_travel() {
    let stations = r#"{"id": "F", "type": "work", "endless": true, "time": "0.1 s"},
        {"id": "T", "type": "track", "capacity": 2, "travel": "4 s"},
        {"id": "M", "type": "machine", "cycle": "0.5 s"}"#;
    near(most_left(stations, r#""M""#).1, 30.0, "two in 4 s");
}

#[test]
fn an_assembly_can_get_the_better_supply_first() {
    // A is always good and brings 20; B is good half of the time and brings what is wanted.
    let line = r#""parts": {"a": {}, "b": {"attitudes": {"up": 0.5, "down": 0.5}}},
        "stations": [
        {"id": "A", "type": "work", "endless": true, "time": "3 s", "part": "a", "to": "T"},
        {"id": "B", "type": "work", "endless": true, "time": "0.1 s", "part": "b", "to": "T"},
        {"id": "T", "type": "track", "capacity": 9, "to": "M"},
        {"id": "C", "type": "work", "endless": true, "time": "1.5 s", "part": "a", "to": "M"},
        {"id": "M", "type": "machine", "cycle": "0.5 s", "inlets": [{"from": "T"}, {"from": "C"}], "to": "out"}],
        "promise": {"at": "M", "clauses": {"mean_rate": "15 /min"}}"#;
    let (_, high) = balance(&scenario(line)).most_bounds_per_min.expect("a limit");
    near(high, 30.0, "20 + half of the other 20");
}

#[test]
fn products_and_parts_that_leave_beside_them_are_counted_together() {
    let stations = r#"{"id": "A", "type": "work", "endless": true, "time": "0.5 s", "to": "M"},
        {"id": "B", "type": "work", "endless": true, "time": "2 s", "to": "M"},
        {"id": "M", "type": "machine", "cycle": "0.1 s", "inlets": [{"from": "A"}, {"from": "B"}], "to": "out"},
        {"id": "C", "type": "work", "endless": true, "time": "1 s", "to": "out"}"#;
    near(most_left(stations, r#"["M", "C"]"#).1, 90.0, "30 products and 60 parts");
}

#[test]
fn what_waits_is_taken_as_one_batch() {
    let stations = r#"{"id": "F", "type": "work", "endless": true, "time": "0.7 s"},
        {"id": "R", "type": "receiver", "holds": 9},
        {"id": "M", "type": "machine", "cycle": "1.5 s", "inlets": [{"from": "R", "parts": "the batch"}]}"#;
    let (low, high) = most_left(stations, r#""M""#);
    near(low, 40.0, "one at a time");
    near(high, 60.0 / 0.7, "two and more at a time: all that comes");
}

#[test]
fn strokes_with_a_part_missing_take_what_there_is() {
    let stations = r#"{"id": "A", "type": "work", "endless": true, "time": "1 s", "to": "M"},
        {"id": "B", "type": "work", "endless": true, "time": "3 s", "to": "M"},
        {"id": "M", "type": "machine", "cycle": "0.5 s", "inlets": [{"from": "A"}, {"from": "B"}], "to": "out",
         "check": {"again": "1 s", "false_full": 0.2, "reads_unloaded": true}}"#;
    near(most_left(stations, r#""A""#).1, 60.0, "it goes on without B");
    near(most_left(stations, r#""M""#).1, 20.0, "good products need both");
}

#[test]
fn a_divider_counts_what_goes_on_through_its_first_exit() {
    let stations = r#"{"id": "F", "type": "work", "endless": true, "time": "1 s"},
        {"id": "D", "type": "divider", "exits": ["out", "B"], "rule": "in turn", "strict": true},
        {"id": "B", "type": "work", "time": "0.1 s", "to": "out"}"#;
    near(most_left(stations, r#""D""#).1, 30.0, "each second one");
}

#[test]
fn a_stream_that_brings_nothing_is_no_hindrance() {
    let stations = r#"{"id": "S", "type": "stream", "spacing": "1 s", "group": 0, "to": "M"},
        {"id": "F", "type": "work", "endless": true, "time": "2 s", "to": "M"},
        {"id": "M", "type": "machine", "cycle": "0.5 s"}"#;
    near(most_left(stations, r#""M""#).1, 30.0, "F alone");
}

#[test]
fn a_lift_that_spills_back_lifts_more_than_goes_on() {
    let found = balance(&scenario(
        r#""stations": [
            {"id": "bin", "type": "bin", "endless": true},
            {"id": "lift", "type": "elevator", "cleats": "60 /min", "lift": "1 s", "per_cleat": 2, "when_full": "spills back"},
            {"id": "M", "type": "machine", "cycle": "1 s"}],
            "promise": {"at": "M", "clauses": {"mean_rate": "50 /min"}}"#,
    ));
    let (low, high) = station(&found, "lift").bounds_per_min.expect("bounds");
    near(low, 50.0, "what goes on");
    near(high, 120.0, "all that it can lift");
}

/// M1 is served first, and takes 30 a minute; M2 can take no more than 30 of what it leaves.
#[test]
fn a_promise_beyond_the_last_of_a_cascade_is_limited_there() {
    let line = |rate: &str| {
        balance(&scenario(&format!(
            r#""stations": [
            {{"id": "F", "type": "work", "endless": true, "time": "0.3 s"}},
            {{"id": "D", "type": "divider", "exits": ["M1", "M2"]}},
            {{"id": "M1", "type": "machine", "cycle": "2 s", "to": "out"}},
            {{"id": "M2", "type": "machine", "cycle": "2 s", "to": "out"}}],
            "promise": {{"at": "M2", "clauses": {{"mean_rate": "{rate} /min"}}}}"#
        )))
    };
    let found = line("33");
    assert_eq!(found.limiting.as_deref(), Some("M2"));
    near(found.most_per_min.expect("a limit"), 30.0, "its own cycle");
    near(flow(&found, "M2"), 33.0, "what is promised");
    near(flow(&found, "F"), 63.0, "the first one is full, and what is promised");
    near(flow(&line("12"), "F"), 42.0, "the first one is full");
}

#[test]
fn a_lift_that_spills_back_lifts_on_though_another_one_is_served_first() {
    let found = balance(&scenario(
        r#""parts": {"pin": {"length": "40 mm"}}, "stations": [
            {"id": "B", "type": "bin", "endless": true},
            {"id": "L", "type": "elevator", "cleats": "30 /min", "lift": "2 s", "per_cleat": 3, "when_full": "spills back", "to": "T"},
            {"id": "F", "type": "work", "endless": true, "time": "0.1 s"},
            {"id": "T", "type": "track", "capacity": 5, "priority": ["F"]},
            {"id": "M", "type": "machine", "cycle": "2 s", "to": "out"}]"#,
    ));
    near(bounds(&found, "L").1, 90.0, "all that it can lift");
}

/// Lowest and highest flow of a station.
fn bounds(balance: &crate::balance::Balance, id: &str) -> (f64, f64) {
    station(balance, id).bounds_per_min.unwrap_or_else(|| panic!("bounds of {id}"))
}

fn near_both(found: (f64, f64), wanted: (f64, f64), what: &str) {
    near(found.0, wanted.0, &format!("{what}, least"));
    near(found.1, wanted.1, &format!("{what}, most"));
}

/// 48 a minute come to a path of 120 passes; one in ten is scrapped at each pass, the machine takes 30, the rest runs over.
fn scrap_at_each_pass(bin: &str, rule: &str) -> crate::balance::Balance {
    balance(&scenario(&format!(
        r#""parts": {{"pin": {{"attitudes": {{"up": 0.9, "down": 0.1}}, "right_way": "up"}}}},
        "stations": [
            {{"id": "F", "type": "work", "endless": true, "time": "1.25 s", "to": "B"}},
            {{"id": "B", {bin}, "to": "P"}},
            {{"id": "P", "type": "orienting path", "pass": "0.5 s", "tools": [{{"id": "t", "passes": {{"up": 1}}}}],
              "rejects_to": "scrap", "overflow_to": "B", "to": "M" {rule}}},
            {{"id": "M", "type": "machine", "cycle": "2 s", "to": "out"}},
            {{"id": "scrap", "type": "scrap box"}}],
            "promise": {{"at": "M", "clauses": {{"mean_rate": "30 /min"}}}}"#
    )))
}

#[test]
fn what_is_scrapped_of_the_surplus_has_to_come_as_well() {
    let found = scrap_at_each_pass(r#""type": "belt", "capacity": 500, "travel": "1 s""#, "");
    near(found.most_per_min.expect("a limit"), 30.0, "what the machine takes");
    near_both(bounds(&found, "P"), (30.0 / 0.9, 120.0), "from one pass of each to all that it can");
    near_both(bounds(&found, "scrap"), (3.0 / 0.9, 12.0), "one in ten");
    near_both(bounds(&found, "F"), (30.0 / 0.9, 42.0), "what is taken and what is scrapped");
    near_both(bounds(&found, "M"), (30.0, 30.0), "what is promised");
}

#[test]
fn what_a_bin_takes_in_may_be_more_than_what_it_gives() {
    // What does not fit lies on top (and is told by a run).
    for bin in [r#""type": "bin""#, r#""type": "bin", "capacity": 500"#] {
        let found = scrap_at_each_pass(bin, "");
        near_both(bounds(&found, "F"), (30.0 / 0.9, 48.0), "all that it can: nothing holds it up");
        near_both(bounds(&found, "scrap"), (3.0 / 0.9, 12.0), "one in ten of what passes");
    }
}

#[test]
fn surplus_that_lies_as_the_tools_left_it_is_accepted_again() {
    let belt = r#""type": "recirculation belt", "capacity": 50, "travel": "1 s""#;
    let found = scrap_at_each_pass(belt, r#", "overflow_comes_back": "as the tools left it""#);
    near_both(
        bounds(&found, "scrap"),
        (3.0 / 0.9, 3.0 / 0.9),
        "each part is scrapped at its first pass or never",
    );
    near_both(bounds(&found, "F"), (30.0 / 0.9, 30.0 / 0.9), "and has to come once");
    near_both(bounds(&found, "P"), (30.0 / 0.9, 120.0), "it goes round all the same");
    let found = scrap_at_each_pass(belt, "");
    near_both(bounds(&found, "scrap"), (3.0 / 0.9, 12.0), "remixed");
    let keeps = r#", "overflow_comes_back": {"keeps": 0.5}"#;
    // 120 passes: f fresh ones of which 0.1 are scrapped, 120 - f again of which 0.05 are (half kept up, 0.1 of the others);
    // what is accepted and runs over is what comes again: 0.9 f + 0.95 (120 - f) - 30 = 120 - f, so f = 36 / 0.95.
    let fresh = 36.0 / 0.95;
    let scrapped = 0.1 * fresh + 0.05 * (120.0 - fresh);
    near_both(bounds(&scrap_at_each_pass(belt, keeps), "scrap"), (3.0 / 0.9, scrapped), "half kept");
}

#[test]
fn a_neighbour_gets_what_runs_over() {
    let line = |at: &str| {
        let stations = r#"{"id": "F", "type": "work", "endless": true, "time": "1.25 s"},
            {"id": "P", "type": "orienting path", "pass": "0.5 s", "overflow_to": "M2", "to": "M1"},
            {"id": "M1", "type": "machine", "cycle": "2 s", "to": "out"},
            {"id": "M2", "type": "machine", "cycle": "1 s", "to": "out"}"#;
        most_left(stations, at)
    };
    near_both(line(r#""M2""#), (18.0, 48.0), "48 come, the first one takes 30 if it is never short of room");
    near_both(line(r#""M1""#), (30.0, 30.0), "its cycle");
    near_both(line(r#"["M1", "M2"]"#), (48.0, 48.0), "all that comes, whoever gets it");
}

/// Parts of 20 mm in file, 24 mm apart at the least, before a tool that needs 30 mm, or as much as is stated.
fn sensed(least: &str, rest: &str, lengths: &str) -> crate::balance::Balance {
    balance(&scenario(&format!(
        r#""parts": {{"pin": {{"length": "20 mm", "attitudes": {{"up": 0.5, "down": 0.5}}, "right_way": "up"}}}},
        "stations": [
            {{"id": "B", "type": "bin", "endless": true}},
            {{"id": "P", "type": "orienting path", "live_length": "1 m", "speed": "6 m/min", "gap": 1.2 {lengths},
              "tools": [{{"id": "t", "passes": {{"up": 1}}, "sensed": {{"least_spacing": "{least}" {rest}}}}}],
              "rejects_to": "scrap", "to": "M"}},
            {{"id": "M", "type": "machine", "cycle": "0.5 s", "to": "out"}},
            {{"id": "scrap", "type": "scrap box"}}],
            "promise": {{"at": "M", "clauses": {{"mean_rate": "100 /min"}}}}"#
    )))
}

#[test]
fn parts_that_enter_far_enough_apart_are_never_too_close() {
    let found = sensed("24 mm", "", "");
    assert_eq!(
        found.most_bounds_per_min,
        Some((found.most_per_min.unwrap_or(0.0), found.most_per_min.unwrap_or(0.0)))
    );
    near(
        found.most_per_min.expect("a limit"),
        120.0,
        "the machine: the path lets 250 pass, half of them good",
    );
    near_both(bounds(&found, "scrap"), (100.0, 100.0), "each second one");
}

#[test]
fn parts_too_close_for_a_sensed_tool_are_bounds() {
    // In close file each part is too close behind the one before: nothing is let on.
    let found = sensed("30 mm", "", "");
    let (low, high) = found.most_bounds_per_min.expect("a limit");
    assert_eq!(low, 0.0);
    near(high, 120.0, "if none is too close");
    near_both(bounds(&found, "P"), (200.0, 250.0), "from none too close to all that fit in file");
    near_both(bounds(&found, "scrap"), (100.0, 150.0), "what is not delivered");
    assert!(found.notes.iter().any(|note| note.code == "perhaps-too-little"), "{:?}", found.notes);
    // Passed unseen, half of what comes to the machine lies the wrong way round.
    let found = sensed("30 mm", r#", "too_close": "passes""#, "");
    near_both(found.most_bounds_per_min.expect("a limit"), (60.0, 120.0), "all or none unseen");
    near_both(bounds(&found, "scrap"), (80.0, 100.0), "100 of 120 good: 20 of the other 100 pass");
    near_both(bounds(&found, "M"), (100.0, 120.0), "20 of them the wrong way round");
}

#[test]
fn only_who_comes_behind_a_short_part_can_be_too_close() {
    // A part that lies down is 60 mm long: the next one is 72 mm behind. Half of 125 a minute come behind one that is up.
    let found = sensed("30 mm", "", r#", "lengths": {"down": "60 mm"}"#);
    near_both(found.most_bounds_per_min.expect("a limit"), (31.25, 62.5), "half or none of them too close");
    let found = sensed("30 mm", "", r#", "lengths": {"up": "60 mm", "down": "60 mm"}"#);
    near_both(
        found.most_bounds_per_min.expect("a limit"),
        (50.0 / 1.2, 50.0 / 1.2),
        "never: 83.3 pass, half of them good",
    );
}

#[test]
fn more_ways_than_are_counted_are_told_as_not_known() {
    let tool = |n: usize| {
        format!(
            r#"{{"id": "t{n}", "position": "0.{n} m", "sensed": {{"reaction": "0 s", "least_spacing": "{} mm"}}}}"#,
            30 + n
        )
    };
    let line = |tools: usize| {
        let tools: Vec<String> = (1..=tools).map(tool).collect();
        balance(&scenario(&format!(
            r#""parts": {{"pin": {{"length": "20 mm"}}}}, "stations": [
            {{"id": "B", "type": "bin", "endless": true}},
            {{"id": "P", "type": "orienting path", "live_length": "1 m", "speed": "6 m/min", "tools": [{}],
              "rejects_to": "out", "to": "M"}},
            {{"id": "M", "type": "machine", "cycle": "1 s"}}]"#,
            tools.join(", ")
        )))
    };
    let found = line(7);
    assert!(found.most_is_unknown && found.most_per_min.is_none());
    assert_eq!(station(&found, "P").bounds_per_min, None);
    assert!(found.notes.iter().any(|note| note.code == "no-most"), "{:?}", found.notes);
    near(line(6).most_per_min.expect("64 ways are counted"), 60.0, "the machine");
}

#[test]
fn a_flow_without_a_highest_has_no_bounds() {
    let found = balance(&scenario(
        r#""stations": [
            {"id": "F", "type": "work", "endless": true, "time": "0 s"},
            {"id": "D", "type": "divider", "exits": ["M", "out"]},
            {"id": "M", "type": "machine", "cycle": "1 s", "to": "out"}],
            "promise": {"at": "M", "clauses": {"mean_rate": "30 /min"}}"#,
    ));
    assert_eq!(station(&found, "F").bounds_per_min, None, "any number can leave beside the machine");
    near_both(bounds(&found, "M"), (30.0, 30.0), "what is promised");
}

/// An assembly beyond the point of use makes of what passes there; one beside it takes what it can be fed with.
#[test]
fn an_assembly_that_serves_no_point_of_use_asks_for_no_more_than_can_come() {
    let line = |at: &str, second: &str| {
        balance(&scenario(&format!(
            r#""stations": [
                {{"id": "A", "type": "work", "endless": true, "time": "2 s", "to": "P"}},
                {{"id": "P", "type": "work", "time": "0.5 s", "to": "M"}},
                {{"id": "B", "type": "work", "endless": true, "time": "{second}", "to": "M"}},
                {{"id": "M", "type": "machine", "cycle": "0.25 s", "inlets": [{{"from": "P"}}, {{"from": "B"}}], "to": "out"}}],
                "promise": {{"at": "{at}", "clauses": {{"mean_rate": "12 /min"}}}}"#
        )))
    };
    let found = line("P", "1 s");
    for id in ["A", "P", "B", "M"] {
        near_both(bounds(&found, id), (12.0, 12.0), id);
    }
    near(found.rate_per_min, 12.0, "what is promised");
    near(found.most_per_min.expect("a limit"), 30.0, "all that A brings");
    let found = line("P", "4 s");
    near(found.most_per_min.expect("a limit"), 15.0, "what B has parts for");
    near(flow(&found, "M"), 12.0, "what passes the point");
}

#[test]
fn more_products_are_made_than_with_the_best_parts_if_the_worst_are_taken() {
    // A is always good and brings 20, B is good half of the time and brings up to 60; 15 good products need 15 to 30.
    let line = r#""parts": {"a": {}, "b": {"attitudes": {"up": 0.5, "down": 0.5}}},
        "stations": [
        {"id": "A", "type": "work", "endless": true, "time": "3 s", "part": "a", "to": "T"},
        {"id": "B", "type": "work", "endless": true, "time": "1 s", "part": "b", "to": "T"},
        {"id": "T", "type": "track", "capacity": 9, "to": "M"},
        {"id": "C", "type": "work", "endless": true, "time": "1 s", "part": "a", "to": "M"},
        {"id": "M", "type": "machine", "cycle": "0.5 s", "inlets": [{"from": "C"}, {"from": "T"}], "to": "out"}],
        "promise": {"at": "M", "clauses": {"mean_rate": "15 /min"}}"#;
    let found = balance(&scenario(line));
    near_both(bounds(&found, "M"), (15.0, 30.0), "all of A, or all of B");
    near_both(bounds(&found, "C"), (15.0, 30.0), "one each");
}

#[test]
fn the_account_of_a_path_counts_what_runs_over_where_it_is_wanted() {
    let line = r#""stations": [
        {"id": "F", "type": "work", "endless": true, "time": "1.25 s"},
        {"id": "P", "type": "orienting path", "pass": "0.5 s", "tools": [{"id": "t", "accepts": 0.75}], "rejects_to": "out",
         "overflow_to": "M2", "to": "M1"},
        {"id": "M1", "type": "machine", "cycle": "6 s", "to": "out"},
        {"id": "M2", "type": "machine", "cycle": "1 s", "to": "out"}],
        "promise": {"at": "M2", "clauses": {"mean_rate": "20 /min"}}"#;
    let found = balance(&scenario(line));
    let (f, m1, m2) = (flow(&found, "F"), flow(&found, "M1"), flow(&found, "M2"));
    near(m2, 20.0, "what is promised runs over");
    near(m1, 10.0, "after the first machine is full");
    near(f, 40.0, "three of four go on");
    let account = &found.sorting[0];
    let of =
        |key: &str| account.exits.iter().find(|exit| exit.key == key).map_or(0.0, |exit| exit.flow_per_min);
    near(of("overflow_to"), 20.0, "surplus");
    near(of("to"), 10.0, "what goes on");
    near(of("rejects_to"), 10.0, "what the tool rejects");
}

/// Half of A's parts come round again, and have their way into its track: that is no order between A and B, of which each
/// brings half of the 60 a minute that W takes.
#[test]
fn a_priority_of_what_comes_round_is_none_between_supplies() {
    let line = r#""stations": [
        {"id": "A", "type": "work", "endless": true, "time": "0.1 s", "to": "T"},
        {"id": "T", "type": "track", "capacity": 9, "priority": ["R"], "to": "P"},
        {"id": "P", "type": "orienting path", "pass": "0.01 s", "tools": [{"id": "t", "accepts": 0.5}], "rejects_to": "R", "to": "J"},
        {"id": "R", "type": "recirculation belt", "capacity": 50, "travel": "1 s", "to": "T"},
        {"id": "B", "type": "work", "endless": true, "time": "0.1 s", "to": "J"},
        {"id": "J", "type": "track", "capacity": 9, "to": "W"},
        {"id": "W", "type": "work", "time": "1 s", "to": "out"}]"#;
    let found = balance(&scenario(line));
    near(flow(&found, "A"), 30.0, "half of it");
    near(flow(&found, "B"), 30.0, "half of it");
}
