//! Jams by part: the gap of a jam is the jam's, and the next one is not.
//!
//! P has a part every second, F gives it as many as it likes, and C needs 0.2 s for one. Clearing takes 0.5 s.

use super::{Seconds, causes, causes_and_states, charge, of};

/// Stations that handle a part in a second, without their jams.
const IN_A_SECOND: [&str; 9] = [
    r#""type": "work", "time": "1 s", JAMS"#,
    r#""type": "machine", "cycle": "1 s", JAMS"#,
    r#""type": "machine", "cycle": "1 s", "inlets": [{"from": "F", "nest": {"capacity": 1}}], JAMS"#,
    r#""type": "escapement", "stroke": "1 s", JAMS"#,
    r#""type": "selector", "time": "1 s", JAMS"#,
    r#""type": "gauge", "time": "1 s", "false_reject": 0, "rejects_to": "out", JAMS"#,
    r#""type": "orienting path", "pass": "1 s", JAMS"#,
    r#""type": "orienting path", "speed": "20 mm/s", "live_length": "20 mm", JAMS"#,
    r#""type": "orienting path", "speed": "20 mm/s", "live_length": "100 mm", JAMS"#,
];

/// Paths whose jams are those of a tool.
const BY_TOOL: [&str; 3] = [
    r#""type": "orienting path", "pass": "1 s", "tools": [{"id": "edge", "accepts": 1, JAMS}]"#,
    r#""type": "orienting path", "speed": "20 mm/s", "live_length": "100 mm", "tools": [{"id": "edge", "accepts": 1, JAMS}]"#,
    r#""type": "orienting path", "speed": "20 mm/s", "live_length": "100 mm",
        "tools": [{"id": "edge", "position": "40 mm", "accepts": 1, JAMS}]"#,
];

/// Causes of the starved time of C behind P.
fn behind(p: &str, per_part: f64, when: &str, seconds: f64) -> Seconds {
    let jams = format!(r#""jams": [{{"per_part": {per_part}{when}, "time": "0.5 s"}}]"#);
    let line = format!(
        r#"{{"id": "F", "type": "work", "endless": true, "time": "1 ms", "to": "P"}},
        {{"id": "P", {}, "to": "T"}},
        {{"id": "T", "type": "track", "capacity": 5, "travel": "0 s", "to": "C"}},
        {{"id": "C", "type": "machine", "cycle": "0.2 s", "to": "out"}}"#,
        p.replace("JAMS", &jams)
    );
    let more = r#", "parts": {"pin": {"length": "20 mm"}}, "promise": {"at": "C", "clauses": {"mean_rate": "1 /min"}}"#;
    causes(&line, more, seconds)
}

/// What jams and P itself are charged with between two times that are so far apart as two parts.
fn jams_and_work(p: &str, per_part: f64, when: &str, from: f64, to: f64) -> (f64, f64) {
    let (before, all) = (behind(p, per_part, when, from), behind(p, per_part, when, to));
    let since = |word| charge(&all, word) - charge(&before, word);
    (since("P jam, clearing"), since("P working"))
}

/// All that strikes at the end: a part each 1.5 s, of which C lacks the first second less its own 0.2 s for P's work, and
/// the last half second for the jam.
#[test]
fn a_jam_before_the_part_moves_on_is_charged_with_its_clearing_alone() {
    for p in IN_A_SECOND.iter().chain(&BY_TOOL) {
        let (jams, work) = jams_and_work(p, 1.0, "", 101.001, 101.001 + 20.0 * 1.5);
        assert!((jams - 10.0).abs() < 1e-6 && (work - 16.0).abs() < 1e-6, "{p}: {jams} and {work}");
    }
    // To the nanosecond, from the start.
    let found = behind(IN_A_SECOND[0], 1.0, "", 0.001 + 11.0 * 1.5);
    assert_eq!(found, of(&[("P jam, clearing", 5.5), ("P working", 8.0), ("filling up", 1.001)]));
}

/// At the start, or when the part has moved on, the jam is followed by a second of work in which P has given nothing since:
/// that is the jam's too.
#[test]
fn a_jam_before_the_work_is_charged_until_the_next_part() {
    for p in IN_A_SECOND {
        for when in [r#", "when": "start""#, r#", "when": "after""#] {
            let (jams, work) = jams_and_work(p, 1.0, when, 101.001, 101.001 + 20.0 * 1.5);
            assert!((jams - 26.0).abs() < 1e-6 && work.abs() < 1e-6, "{p}{when}: {jams} and {work}");
        }
    }
}

/// One part in ten jams. Each lengthens its own gap, and only that: of 1.3 s of starving with a jam and 0.8 s without.
#[test]
fn the_gap_after_a_jam_is_not_the_jams() {
    for p in IN_A_SECOND.iter().chain(&BY_TOOL) {
        let (jams, work) = jams_and_work(p, 0.1, "", 100.0, 2100.0);
        // 2,000 s are n parts and k jams: n + 0.5 k.
        let k = jams / 0.5;
        let n = 2000.0 - 0.5 * k;
        assert!((120.0..280.0).contains(&k), "{p}: {k} jams");
        assert!((work - 0.8 * n).abs() <= 2.6, "{p}: {jams} and {work}");
    }
    for p in IN_A_SECOND {
        for when in [r#", "when": "start""#, r#", "when": "after""#] {
            let (jams, work) = jams_and_work(p, 0.1, when, 100.0, 2100.0);
            let k = jams / 1.3;
            let n = 2000.0 - 0.5 * k;
            assert!((120.0..280.0).contains(&k), "{p}{when}: {k} jams");
            assert!((work - 0.8 * (n - k)).abs() <= 2.6, "{p}{when}: {jams} and {work}");
        }
    }
}

/// A path in file with two tools that jam, 3 s and 1 s of travel before the end, and breakdowns that stop all of it, also
/// while a jam is cleared or its gap is on its way. C lacks parts in all of each gap: a jam is charged with its clearing, a
/// breakdown with its repair and the rest of the gap into which it falls, a second at most.
#[test]
fn jams_at_tools_keep_their_gaps_among_other_stops() {
    for (clearing, every) in [("0.5 s", "7.3 s"), ("2 s", "9.1 s"), ("4.5 s", "11.7 s"), ("2 s", "5.3 s")] {
        let tool = |id: &str, position: &str| {
            format!(
                r#"{{"id": "{id}", "position": "{position}", "accepts": 1, "jams": [{{"per_part": 0.07, "time": "{clearing}"}}]}}"#
            )
        };
        let line = format!(
            r#"{{"id": "F", "type": "work", "endless": true, "time": "1 ms", "to": "P"}},
            {{"id": "P", "type": "orienting path", "speed": "20 mm/s", "live_length": "100 mm", "to": "T",
                "tools": [{}, {}], "breakdowns": [{{"every": "{every}", "clock": "wall", "time": "1.7 s"}}]}},
            {{"id": "T", "type": "track", "capacity": 5, "travel": "0 s", "to": "C"}},
            {{"id": "C", "type": "machine", "cycle": "0.2 s", "to": "out"}}"#,
            tool("edge", "40 mm"),
            tool("rail", "80 mm")
        );
        let more = r#", "parts": {"pin": {"length": "20 mm"}}, "promise": {"at": "C", "clauses": {"mean_rate": "1 /min"}}"#;
        let (found, states) = causes_and_states(&line, more, 2000.0);
        let (jams, cleared) = (charge(&found, "P jam, clearing"), charge(&states, "P jam, clearing"));
        let (downs, repaired) = (charge(&found, "P down, repair"), charge(&states, "P down, repair"));
        assert!(cleared > 60.0 && repaired > 150.0, "{states:?}");
        // A part of a gap may be on its way at the end; C is at work on a part for 0.2 s when a breakdown begins.
        assert!((jams - cleared).abs() <= 1.1, "{clearing}, {every}: {jams} of {cleared}");
        let stops = repaired / 1.7;
        assert!(
            (repaired - 0.2 * stops..=repaired + stops).contains(&downs),
            "{clearing}, {every}: {downs} of {repaired}"
        );
    }
}
