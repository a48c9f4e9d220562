//! Knots made by hand, and lines that only look like one.

use sim_core::network::compile;
use sim_core::replication::{Replica, Stop};
use sim_core::scenario;

/// Runs a line for ten simulated minutes; the time (s) and the stations of the knot, if one is found.
fn knot_of(stations: &str, rest: &str) -> Option<(f64, Vec<String>)> {
    let text = format!(r#"{{"feedproof": 1, "stations": [{stations}]{rest}}}"#);
    let checked = scenario::read(&text);
    let scenario = checked.scenario.unwrap_or_else(|| panic!("{text}: {:?}", checked.problems));
    let plan = compile(&scenario);
    let mut replica = Replica::new(&plan, 1, 0, ());
    let stop = replica.run_until(600_000_000_000);
    assert!(replica.conserves_parts());
    match stop {
        Stop::TimeReached => None,
        Stop::Gridlock { at, stations } => {
            let mut names: Vec<String> =
                stations.iter().map(|station| plan.names.posts[station.ix()].clone()).collect();
            names.sort();
            let flow = replica.floor.flow();
            // Stations further up that block later wait for the same knot, which is told of once.
            let end = replica.floor.now.max(590_000_000_000);
            assert_eq!(replica.run_until(end), Stop::TimeReached, "{text}");
            let left = (flow.1, flow.2);
            assert_eq!(
                (replica.floor.flow().1, replica.floor.flow().2),
                left,
                "nothing leaves after the knot"
            );
            Some((at as f64 / 1e9, names))
        }
        Stop::InstantLoop { .. } | Stop::TooManyEvents { .. } | Stop::TooManyWaiting { .. } => {
            panic!("{text}: {stop:?}")
        }
    }
}

/// A path that is fed from outside and from its own returns; every part goes round.
const RING: &str = r#"
    {"id": "F", "type": "work", "endless": true, "time": "1 s", "to": "O"},
    {"id": "O", "type": "work", "time": "0.5 s", "to": "D"},
    {"id": "D", "type": "divider", "exits": ["B"]},
    {"id": "B", "type": "recirculation belt", "capacity": 3, "travel": "2 s", "to": "O"}"#;

#[test]
fn a_full_return_belt_that_feeds_the_station_that_fills_it_is_a_knot() {
    let (at, names) = knot_of(RING, "").expect("the belt fills and nothing can leave it");
    // O takes the parts of F at 1 s, 2 s and then mostly its own returns; three on the belt and one in O's hand.
    assert!(at < 30.0, "found at {at} s");
    assert_eq!(names, ["D", "O"]);
}

/// The divider and the end of the belt never are at work: the knot is as old as the last wait for room.
#[test]
fn a_knot_of_stations_that_work_in_no_time_has_its_time() {
    let stations = r#"
        {"id": "F", "type": "work", "endless": true, "time": "1 s", "to": "B1"},
        {"id": "B1", "type": "recirculation belt", "capacity": 3, "travel": "2 s", "to": "D"},
        {"id": "D", "type": "divider", "exits": ["B2", "out"], "rule": "in turn", "strict": true},
        {"id": "B2", "type": "recirculation belt", "capacity": 1, "travel": "4 s", "to": "B1"}"#;
    let (at, names) = knot_of(stations, "").expect("D waits for room in B2, whose part waits for room in B1");
    assert!(at > 2.0 && at < 60.0, "found at {at} s");
    // F is the first that waits for B1, so that its part would go before the one of B2.
    assert_eq!(names, ["B2 end", "D", "F"]);
}

#[test]
fn a_knot_is_told_of_also_where_the_window_is_shorter_than_a_minute() {
    let text = format!(r#"{{"feedproof": 1, "stations": [{RING}], "plan": {{"shift": "40 s"}}}}"#);
    let scenario = scenario::read(&text).scenario.expect("a sound line");
    let plan = compile(&scenario);
    let mut replica = Replica::new(&plan, 1, 0, ());
    assert!(matches!(replica.run_until(plan.close_ns), Stop::Gridlock { .. }));
    assert_eq!(replica.run_until(plan.close_ns), Stop::TimeReached);
}

#[test]
fn two_stations_in_a_ring_that_wait_for_each_other_are_a_knot() {
    let stations = r#"
        {"id": "F", "type": "work", "endless": true, "time": "0.7 s", "to": "A"},
        {"id": "A", "type": "work", "time": "1 s", "to": "B"},
        {"id": "B", "type": "work", "time": "1 s", "to": "A"}"#;
    let (_, names) = knot_of(stations, "").expect("both hold a part for the other");
    assert_eq!(names, ["A", "B"]);
}

#[test]
fn a_stroke_that_wants_more_than_can_ever_stand_before_it_is_a_knot() {
    let stations = r#"
        {"id": "F", "type": "work", "endless": true, "time": "1 s"},
        {"id": "T", "type": "track", "capacity": 4},
        {"id": "E", "type": "escapement", "stroke": "0.3 s", "release": 4}"#;
    let sensor = r#", "sensors": [{"id": "S", "watches": "T", "high": 2, "low": 0, "holds": ["F"]}]"#;
    let (at, names) = knot_of(stations, sensor).expect("F is held before a fourth part stands there");
    assert_eq!(at, 3.0, "F is held after its third part");
    assert_eq!(names, ["E", "F"]);
}

#[test]
fn a_hold_by_the_level_that_only_the_held_station_lowers_is_a_knot() {
    let stations = r#"
        {"id": "F", "type": "work", "endless": true, "time": "1 s"},
        {"id": "T", "type": "track", "capacity": 4},
        {"id": "M", "type": "machine", "cycle": "9 s"}"#;
    let sensors = r#", "sensors": [{"id": "N", "watches": "T", "high": 3, "low": 0, "holds": ["M"]}]"#;
    let (at, names) = knot_of(stations, sensors).expect("M is held until M takes");
    assert_eq!(at, 10.0, "its stroke from 1 s to 10 s is finished first");
    assert_eq!(names, ["M"]);
}

/// A feeder, a track for two and a machine that is much faster than the feeder when it works.
const TANDEM: &str = r#"
    {"id": "F", "type": "work", "endless": true, "time": "1 s"},
    {"id": "T", "type": "track", "capacity": 2},
    {"id": "M", "type": "machine", "cycle": "0.5 s" STOPS}"#;

fn tandem(stops: &str) -> String {
    TANDEM.replace("STOPS", stops)
}

#[test]
fn waiting_for_what_ends_by_itself_is_no_knot() {
    let with_person = r#", "attendants": [{"id": "A", "walk": "20 s"}]"#;
    let breaks = r#", "plan": {"breaks": [{"at": "20 s", "for": "60 s", "every": "100 s", "of": ["M"]}]}"#;
    let released = r#", "sensors": [{"id": "N", "watches": "T", "high": 2, "low": 1, "off_delay": "30 s",
        "on_delay": "10 s", "delay": "plain", "holds": ["M"]}]"#;
    let cases = [
        ("a breakdown without a person", r#", "breakdowns": [{"every": "30 s", "time": "50 s"}]"#, ""),
        (
            "a breakdown with one",
            r#", "breakdowns": [{"every": "30 s", "time": "50 s", "by": "A"}]"#,
            with_person,
        ),
        ("a jam by part", r#", "jams": [{"per_part": 1, "time": "8 s", "by": "A"}]"#, with_person),
        ("a break", "", breaks),
        ("a delayed sensor", "", released),
    ];
    for (what, stops, rest) in cases {
        assert_eq!(knot_of(&tandem(stops), rest), None, "{what} is taken for a knot");
    }
}

#[test]
fn an_attendant_away_on_a_break_is_no_knot() {
    let stops = r#", "breakdowns": [{"every": "30 s", "time": "5 s", "by": "A"}]"#;
    let rest =
        r#", "attendants": [{"id": "A"}], "plan": {"breaks": [{"at": "10 s", "for": "200 s", "of": ["A"]}]}"#;
    assert_eq!(knot_of(&tandem(stops), rest), None);
}

#[test]
fn a_loop_with_a_way_out_is_no_knot() {
    let stations = r#"
        {"id": "F", "type": "work", "endless": true, "time": "1 s", "to": "O"},
        {"id": "O", "type": "work", "time": "0.5 s", "to": "D"},
        {"id": "D", "type": "divider", "exits": ["B", "out"]},
        {"id": "B", "type": "recirculation belt", "capacity": 3, "travel": "2 s", "to": "O"}"#;
    assert_eq!(knot_of(stations, ""), None);
}

#[test]
fn a_hopper_that_people_refill_is_no_part_of_a_knot() {
    let stations = r#"
        {"id": "H", "type": "hopper", "call_level": 11,
         "refill": {"how": "swapped", "by": "A", "time": "2.1 s", "parts": 1}},
        {"id": "M", "type": "machine", "cycle": "1 s"},
        {"id": "D", "type": "divider", "exits": ["out", "M"]}"#;
    assert_eq!(knot_of(stations, r#", "attendants": [{"id": "A"}]"#), None);
    let spills_back = r#"
        {"id": "H", "type": "hopper", "call_level": 11,
         "refill": {"how": "swapped", "by": "A", "time": "2.1 s", "parts": 1}},
        {"id": "L", "type": "elevator", "cleats": "80 /min", "lift": "2 s",
         "per_cleat": {"law": "binomial", "trials": 3, "chance": 0.5}, "when_full": "spills back"},
        {"id": "M", "type": "machine", "cycle": "1 s"}"#;
    assert_eq!(knot_of(spills_back, r#", "attendants": [{"id": "A"}]"#), None);
}

/// The clock of E goes on for ever, and finds nothing: F is held until M takes from U, which waits for a second part of F.
#[test]
fn a_clock_that_ticks_in_vain_keeps_no_knot_open() {
    let stations = r#"
        {"id": "F", "type": "work", "endless": true, "time": "1 s", "to": "T"},
        {"id": "G", "type": "work", "endless": true, "time": "0.5 s", "to": "U"},
        {"id": "T", "type": "track", "capacity": 4, "to": "E"},
        {"id": "U", "type": "track", "capacity": 1, "to": "M"},
        {"id": "E", "type": "escapement", "strokes": "on a clock", "stroke": "0.3 s", "to": "V"},
        {"id": "V", "type": "track", "capacity": 4, "to": "M"},
        {"id": "M", "type": "machine", "cycle": "1 s", "to": "out", "inlets": [{"from": "U"}, {"from": "V", "parts": 2}]}"#;
    let sensors = r#", "sensors": [{"id": "S", "watches": "U", "high": 1, "low": 0, "holds": ["F"]}]"#;
    let (at, names) = knot_of(stations, sensors).expect("nobody gives M its second part");
    assert!(at < 5.0, "found at {at} s");
    assert_eq!(names, ["E", "F", "G", "M"]);
    assert_eq!(knot_of(stations, ""), None, "without the sensor F goes on");
}

/// As the ring, but the belt keeps its parts apart: that its entry comes clear is no help once it is full.
#[test]
fn a_belt_whose_entry_comes_clear_is_no_way_out_of_a_knot() {
    let spaced = RING.replace(
        r#""capacity": 3, "travel": "2 s""#,
        r#""length": "0.3 m", "speed": "0.15 m/s", "spacing": "0.1 m""#,
    );
    assert_ne!(spaced, RING);
    let (at, names) = knot_of(&spaced, "").expect("the belt fills and nothing can leave it");
    assert!(at < 60.0, "found at {at} s");
    assert_eq!(names, ["D", "O"]);
}

/// Both stations go strictly in turn: the one that has finished first waits for the other, which gets its part.
#[test]
fn waiting_for_a_turn_that_will_come_is_no_knot() {
    let stations = r#"
        {"id": "F", "type": "work", "endless": true, "time": "0.7 s"},
        {"id": "T", "type": "track", "capacity": 1},
        {"id": "W", "type": "work", "count": 2, "in_turn": true, "time": {"from": "0.1 s", "to": "3 s"}},
        {"id": "U", "type": "track", "capacity": 2},
        {"id": "M", "type": "machine", "cycle": "0.5 s"}"#;
    assert_eq!(knot_of(stations, ""), None);
}

/// A receiver that is full of one model keeps the magazine from making up the next one, for which the machine waits.
#[test]
fn a_receiver_that_never_gets_its_model_is_a_knot() {
    let stations = r#"
        {"id": "F", "type": "work", "endless": true, "time": "0.5 s"},
        {"id": "T", "type": "track", "capacity": 20},
        {"id": "G", "type": "magazine", "recipes": {"long": {"R": 4}, "short": {"Q": 2}}},
        {"id": "R", "type": "receiver", "holds": 4, "to": "M"},
        {"id": "Q", "type": "receiver", "holds": 2, "to": "M"},
        {"id": "M", "type": "machine", "cycle": "2 s", "to": "out",
            "inlets": [{"from": "R", "parts": "the batch"}, {"from": "Q", "parts": "the batch"}]}"#;
    let models = |list: &str| format!(r#", "models": {{"list": {list}}}"#);
    let (at, names) = knot_of(stations, &models(r#"{"long": 2, "short": 1}"#))
        .expect("the second long batch is in the way");
    assert!(at < 10.0, "found at {at} s");
    assert_eq!(names, ["G", "M"]);
    assert_eq!(knot_of(stations, &models(r#"{"long": 1, "short": 1}"#)), None, "in turn each gets its batch");
}
