//! Gaps of every sort, on their way from who left them to the point of use.

use super::{Seconds, causes, charge, of};

/// F makes a part a second and is down once from 100.5 s on; C uses one a second; four parts lie between them.
fn down_for(seconds: u32) -> Seconds {
    let stations = format!(
        r#"{{"id": "F", "type": "work", "endless": true, "time": "1 s",
            "breakdowns": [{{"every": "100.5 s", "clock": "wall", "time": "{seconds} s"}}]}},
        {{"id": "T", "type": "track", "capacity": 5, "travel": "0 s"}},
        {{"id": "C", "type": "machine", "cycle": "1 s"}}"#
    );
    causes(&stations, r#", "plan": {"start": "primed"}"#, 190.0)
}

#[test]
fn a_stop_shorter_than_or_equal_to_the_reserve_starves_nobody() {
    assert_eq!(down_for(3), []);
    assert_eq!(down_for(4), []);
}

/// Also the half second that F still needs after it is up again.
#[test]
fn a_stop_longer_than_the_reserve_bears_the_rest() {
    assert_eq!(down_for(8), of(&[("F down, repair", 4.0)]));
}

#[test]
fn a_gap_keeps_its_cause_on_its_way() {
    let stations = r#"{"id": "F", "type": "work", "endless": true, "time": "1 s",
            "breakdowns": [{"every": "100.5 s", "clock": "wall", "time": "8 s"}]},
        {"id": "B", "type": "belt", "capacity": 50, "travel": "7 s"},
        {"id": "C", "type": "machine", "cycle": "1 s"}"#;
    assert_eq!(causes(stations, "", 190.0), of(&[("F down, repair", 8.0), ("filling up", 8.0)]));
    // At 112 s the gap has just begun to come to the end: at 108 s it does, and lasts until 116 s.
    assert_eq!(causes(stations, "", 112.0), of(&[("F down, repair", 4.0), ("filling up", 8.0)]));
}

#[test]
fn who_is_too_slow_is_at_its_natural_limit() {
    let stations = r#"{"id": "F", "type": "work", "endless": true, "time": "0.5 s"},
        {"id": "T", "type": "track", "capacity": 5, "travel": "0 s"},
        {"id": "M", "type": "work", "time": "1.5 s"},
        {"id": "U", "type": "track", "capacity": 5, "travel": "3 s"},
        {"id": "C", "type": "machine", "cycle": "1 s"}"#;
    // The first part comes at 0.5 + 1.5 + 3 s; from then on half a second is lacking every 1.5 s.
    assert_eq!(causes(stations, "", 155.0), of(&[("M working", 50.0), ("filling up", 5.0)]));
}

/// The belt stands for 10 s; its parts come 10 s later.
#[test]
fn a_belt_that_stands_bears_the_time_itself() {
    let stations = r#"{"id": "F", "type": "work", "endless": true, "time": "1 s"},
        {"id": "B", "type": "belt", "capacity": 50, "travel": "7 s",
            "breakdowns": [{"every": "100.3 s", "clock": "wall", "time": "10 s"}]},
        {"id": "C", "type": "machine", "cycle": "0.9 s"}"#;
    // From 8 s on a part comes every second and 0.1 s are lacking. The part due at 101 s comes at 111 s: starved from
    // 100.9 s on, when the belt has long stood. Ten seconds are lacking then, and 0.1 s that would have been anyway.
    let found = causes(stations, "", 150.0);
    // What entered while it stood comes at once at 117 s, and nothing is lacking after that.
    let rest = f64::from(92 + 6) * 0.1;
    assert_eq!(found[0].0, "B down, repair");
    assert!((found[0].1 - 10.1).abs() < 1e-9, "{found:?}");
    assert!(found[1].0 == "F working" && (found[1].1 - rest).abs() < 1e-6, "{found:?}");
}

/// A container of 20 comes 100 s after it was called for; the lift takes 30 s.
#[test]
fn a_late_container_is_charged_behind_the_lift() {
    let stations = r#"{"id": "tip", "type": "dumper", "contents": 20, "call_level": 0, "lift": "0 s", "tip": "2 s",
            "return": "0 s", "exchange": "0 s", "waiting_places": 1, "containers": {"how": "hauler", "lead": "100 s"}},
        {"id": "bin", "type": "bin", "capacity": 100},
        {"id": "lift", "type": "elevator", "cleats": "60 /min", "per_cleat": 1, "lift": "30 s"},
        {"id": "T", "type": "track", "capacity": 50, "travel": "5 s"},
        {"id": "C", "type": "machine", "cycle": "0.5 s"}"#;
    let found = causes(stations, "", 300.0);
    // Tips end at 2, 102, 202 s; parts are picked at 3..22, 103..122, 203..222 s and come to C 35 s later. Nothing is
    // there to be picked from 23 s on; C is told 35 s after that, and until the next part comes.
    assert_eq!(charge(&found, "filling up"), 38.0, "{found:?}");
    assert_eq!(charge(&found, "tip starved"), 80.0 + 80.0 + (300.0 - 258.0), "{found:?}");
    assert_eq!(charge(&found, "lift working"), 3.0 * 20.0 * 0.5, "{found:?}");
}

#[test]
fn a_bin_that_nobody_fills_bears_the_charge_itself() {
    let stations = r#"{"id": "bin", "type": "bin", "capacity": 100, "content": 20},
        {"id": "lift", "type": "elevator", "cleats": "60 /min", "per_cleat": 1, "lift": "30 s"},
        {"id": "C", "type": "machine", "cycle": "0.5 s"}"#;
    let found = causes(stations, r#", "plan": {"start_at": {"bin": "primed"}}"#, 100.0);
    // Picked from 1 to 20 s; nothing is there from 21 s on, which C is told 30 s later.
    assert_eq!(found, of(&[("bin starved", 49.0), ("filling up", 31.0), ("lift working", 10.0)]));
}

/// C has a break; the track before it fills up, and its sensor holds F far upstream until C has emptied the track again:
/// then the first part is 40 s away.
#[test]
fn a_hold_is_charged_to_the_break_that_keeps_the_level() {
    let stations = r#"{"id": "F", "type": "work", "endless": true, "time": "0.5 s"},
        {"id": "B", "type": "belt", "capacity": 500, "travel": "40 s"},
        {"id": "T", "type": "track", "capacity": 500, "travel": "2 s"},
        {"id": "C", "type": "machine", "cycle": "0.5 s"}"#;
    let more = r#", "sensors": [{"id": "S", "watches": "T", "high": 20, "low": 4, "holds": ["F"]}],
        "plan": {"breaks": [{"at": "200 s", "for": "100 s", "of": ["C"]}]}"#;
    // Four parts are left besides the one in work when F starts again; C has used them up 2.5 s later, and the first part comes 42.5 s after the start.
    assert_eq!(causes(stations, more, 450.0), of(&[("C off", 40.0), ("filling up", 42.5)]));
    let without =
        causes(stations, &more.replace(r#""of": ["C"]"#, r#""of": ["F"]"#).replace("200 s", "449 s"), 300.0);
    assert_eq!(without, of(&[("filling up", 42.5)]));
}

/// C is slower than F: the track fills up by itself, and the hold is to blame.
#[test]
fn a_hold_that_nothing_keeps_is_charged_to_its_sensor() {
    let stations = r#"{"id": "F", "type": "work", "endless": true, "time": "0.4 s"},
        {"id": "B", "type": "belt", "capacity": 500, "travel": "40 s"},
        {"id": "T", "type": "track", "capacity": 500, "travel": "2 s"},
        {"id": "C", "type": "machine", "cycle": "0.5 s"}"#;
    let more = r#", "sensors": [{"id": "S", "watches": "T", "high": 20, "low": 4, "holds": ["F"]}]"#;
    let found = causes(stations, more, 450.0);
    assert!(found.len() == 2 && found[0].0 == "F held by S" && found[0].1 > 35.0, "{found:?}");
}

/// Both paths give to one track; one is down for a long time and bears all that its share is lacking.
#[test]
fn at_a_join_the_interrupted_one_is_charged() {
    let stations = r#"{"id": "F", "type": "work", "endless": true, "time": "2 s", "to": "T",
            "breakdowns": [{"every": "50 s", "clock": "wall", "time": "1 h"}]},
        {"id": "G", "type": "work", "endless": true, "time": "2 s", "to": "T"},
        {"id": "T", "type": "track", "capacity": 5, "travel": "0 s"},
        {"id": "C", "type": "machine", "cycle": "1 s"}"#;
    let found = causes(stations, "", 150.0);
    // They give two parts at once every two seconds: none is lacking but at the start. Alone, G gives half.
    assert_eq!(found, of(&[("F down, repair", 49.0), ("filling up", 2.0)]));
}

#[test]
fn equal_ones_at_their_limit_share_the_charge() {
    let stations = r#"{"id": "F", "type": "work", "endless": true, "time": "4 s", "to": "T"},
        {"id": "G", "type": "work", "endless": true, "time": "4 s", "to": "T"},
        {"id": "T", "type": "track", "capacity": 5, "travel": "0 s"},
        {"id": "C", "type": "machine", "cycle": "1 s"}"#;
    let found = causes(stations, "", 104.0);
    assert_eq!(found, of(&[("F working", 25.0), ("G working", 25.0), ("filling up", 4.0)]));
}

#[test]
fn a_machine_charges_the_inlets_that_lack_parts() {
    let stations = r#"{"id": "F", "type": "work", "endless": true, "time": "1 s", "to": "T"},
        {"id": "G", "type": "work", "endless": true, "time": "3 s", "to": "U"},
        {"id": "T", "type": "track", "capacity": 5, "travel": "0 s", "to": "C"},
        {"id": "U", "type": "track", "capacity": 5, "travel": "0 s", "to": "C"},
        {"id": "C", "type": "machine", "cycle": "1 s", "inlets": [{"from": "T"}, {"from": "U"}]}"#;
    let found = causes(stations, "", 93.0);
    let g = charge(&found, "G working");
    assert!((58.0..=60.0).contains(&g), "two of three seconds: {found:?}");
}

/// A path that sends every second part back does what it can: it is at its limit, and what it rejects ends the
/// interruptions before it.
#[test]
fn a_path_that_rejects_is_at_its_limit() {
    let stations = r#"{"id": "F", "type": "work", "endless": true, "time": "0.2 s"},
        {"id": "P", "type": "orienting path", "pass": "0.6 s", "tools": [{"id": "edge", "accepts": 0.5}], "rejects_to": "out"},
        {"id": "T", "type": "track", "capacity": 5, "travel": "1 s"},
        {"id": "C", "type": "machine", "cycle": "1 s"}"#;
    let found = causes(stations, "", 4000.0);
    assert!(found.iter().all(|(word, time)| word == "P working" || *time < 15.0), "{found:?}");
}

/// F gives a part a second, one in two to the box. The box is full after ten, and its exchange takes 30 s.
#[test]
fn a_full_box_is_charged_until_it_is_exchanged() {
    let line = |when_full: &str| {
        format!(
            r#"{{"id": "F", "type": "work", "endless": true, "time": "1 s"}},
        {{"id": "D", "type": "divider", "rule": "in turn", "strict": true, "exits": ["T", "B"]}},
        {{"id": "T", "type": "track", "capacity": 5, "travel": "0 s", "to": "C"}},
        {{"id": "B", "type": "box out", "holds": 10, "when_full": "{when_full}",
            "exchange": {{"how": "hauler", "lead": "30 s"}}}},
        {{"id": "C", "type": "machine", "cycle": "2 s", "to": "out"}}"#
        )
    };
    // C takes a part every two seconds from 1 s on; the tenth one for the box comes at 20 s, and the box goes at 50 s. Held,
    // D takes what C could have had at 21 s only then. Blocked it puts the next one before the box and stands with the one
    // after that: C has its part at 23 s, and the next one, due at 25 s, at 51 s.
    for (when_full, late) in [("senders take no new part", 29.0), ("senders block", 26.0)] {
        let found =
            causes(&line(when_full), r#", "promise": {"at": "C", "clauses": {"mean_rate": "1 /min"}}"#, 60.0);
        assert_eq!(found, of(&[("B full", late), ("filling up", 1.0)]), "{when_full}");
    }
}

/// Both machines need the arm for 4 s; C takes what A makes, in 4 s: half of its time it waits because B has the arm.
#[test]
fn a_wait_for_a_shared_reach_is_charged_to_it() {
    let stations = r#"{"id": "F", "type": "work", "endless": true, "time": "0.1 s", "to": "A"},
        {"id": "G", "type": "work", "endless": true, "time": "0.1 s", "to": "B"},
        {"id": "A", "type": "machine", "cycle": "4 s", "reach": "arm", "to": "T"},
        {"id": "B", "type": "machine", "cycle": "4 s", "reach": "arm", "to": "out"},
        {"id": "T", "type": "track", "capacity": 5, "travel": "0 s"},
        {"id": "C", "type": "machine", "cycle": "4 s", "to": "out"}"#;
    let found = causes(stations, r#", "promise": {"at": "C", "clauses": {"mean_rate": "1 /min"}}"#, 404.0);
    let reach = charge(&found, "A waiting for arm");
    assert!((reach - 196.0).abs() <= 8.0, "{found:?}");
    assert!(found.iter().all(|(word, time)| word == "A waiting for arm" || *time < 10.0), "{found:?}");
    // Where B breaks down in the reach, A waits for that.
    let down = stations.replace(
        r#""cycle": "4 s", "reach": "arm", "to": "out""#,
        r#""cycle": "4 s", "reach": "arm", "to": "out",
            "breakdowns": [{"every": "102 s", "clock": "wall", "time": "50 s"}]"#,
    );
    let found = causes(&down, r#", "promise": {"at": "C", "clauses": {"mean_rate": "1 /min"}}"#, 200.0);
    let down = charge(&found, "B down, repair");
    assert!((40.0..=56.0).contains(&down), "{found:?}");
}
