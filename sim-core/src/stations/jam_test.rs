//! Tests of jams by part at every station that handles parts: each part has its chance at the stated moment, also
//! where several are handled at once or in no time; where a jam could never strike the file is refused.

use super::trial::{Trial, go, problems, states, times};
use crate::kernel::{Note, State};

/// A line in which every part jams at station X, and how many stops and parts there were.
fn count(x: &str, when: &str, after: &str) -> (u64, u64) {
    let jam = format!(r#""jams": [{{"per_part": 1, "when": "{when}", "time": "0.1 s"}}]"#);
    let x = x.replace("JAM", &jam);
    let stations = format!(
        r#"{{"id": "F", "type": "work", "endless": true, "time": "0.5 s"}},
        {x}, {after} {{"id": "W", "type": "work", "places": 50, "time": "0.25 s", "to": "out"}}"#
    );
    let trial =
        Trial::new(&stations, r#", "parts": {"pin": {"length": "20 mm"}}, "plan": {"start": "primed"}"#);
    // An odd time, so that nothing is just being handled.
    let run = trial.run(0, 120.07);
    let tally = &run.floor.observer.0;
    (tally.stops[0], tally.counts[trial.post("W").ix()].took)
}

#[test]
fn every_part_has_its_chance_at_its_moment() {
    let track = r#"{"id": "T", "type": "track", "capacity": 40},"#;
    let bin = r#"{"id": "B", "type": "bin", "content": 500},"#;
    let nests = r#""inlets": [{"from": "T", "parts": 3, "nest": {"capacity": 3}}]"#;
    for (x, moments) in [
        (r#"{"id": "X", "type": "work", "time": "0.3 s", JAM}"#.to_owned(), "sea"),
        (r#"{"id": "X", "type": "work", "places": 3, "time": "0.3 s", JAM}"#.to_owned(), "sea"),
        (r#"{"id": "X", "type": "machine", "cycle": "0.3 s", JAM}"#.to_owned(), "sea"),
        (
            format!(
                r#"{track} {{"id": "X", "type": "machine", "cycle": "0.3 s", "inlets": [{{"from": "T", "parts": 3}}], JAM}}"#
            ),
            "sea",
        ),
        (format!(r#"{track} {{"id": "X", "type": "machine", "cycle": "0.3 s", {nests}, JAM}}"#), "sea"),
        (
            format!(r#"{track} {{"id": "X", "type": "escapement", "stroke": "0.3 s", "release": 3, JAM}}"#),
            "sea",
        ),
        (
            format!(
                r#"{track} {{"id": "X", "type": "escapement", "stroke": "0.3 s", "release": 3, "strokes": "on a clock", JAM}}"#
            ),
            "a",
        ),
        (format!(r#"{track} {{"id": "X", "type": "divider", "exits": ["W"], JAM}}"#), "a"),
        (r#"{"id": "X", "type": "divider", "exits": ["W"], JAM}"#.to_owned(), "a"),
        (r#"{"id": "X", "type": "track", "capacity": 9, JAM}"#.to_owned(), "se"),
        (r#"{"id": "X", "type": "track", "capacity": 9, "travel": "3 s", JAM}"#.to_owned(), "se"),
        (
            r#"{"id": "X", "type": "belt", "capacity": 9, "travel": "3 s", "end": "stopping", JAM}"#
                .to_owned(),
            "se",
        ),
        (r#"{"id": "X", "type": "orienting path", "pass": "0.3 s", JAM}"#.to_owned(), "sea"),
        (
            r#"{"id": "X", "type": "orienting path", "speed": "0.1 m/s", "live_length": "0.3 m", JAM}"#
                .to_owned(),
            "sea",
        ),
        (
            r#"{"id": "X", "type": "gauge", "time": "0.3 s", "false_reject": 0, "rejects_to": "out", JAM}"#
                .to_owned(),
            "sea",
        ),
        (
            format!(
                r#"{bin} {{"id": "X", "type": "elevator", "cleats": "60 /min", "lift": "3 s", "per_cleat": 3, JAM}}"#
            ),
            "sea",
        ),
        (
            format!(
                r#"{bin} {{"id": "X", "type": "meter conveyor", "index_time": "0.3 s", "per_index": 3, JAM}}"#
            ),
            "sea",
        ),
        (format!(r#"{bin} {{"id": "X", "type": "meter conveyor", "rate": "3 /s", JAM}}"#), "sa"),
    ] {
        for (letter, when) in [("s", "start"), ("e", "end"), ("a", "after")] {
            if !moments.contains(letter) {
                continue;
            }
            let (stops, parts) = count(&x, when, "");
            assert!(parts > 60, "{x}: {parts}");
            // Those that are in work or stand just before W.
            assert!(stops.abs_diff(parts) <= 13, "{x} {when}: {stops} stops for {parts} parts");
        }
    }
}

#[test]
fn a_jam_that_could_never_strike_is_refused() {
    let feed = r#"{"id": "F", "type": "work", "endless": true, "time": "1 s"},"#;
    let found = |before: &str, x: &str, jam: &str, after: &str| {
        let x = x.replace("JAM", &format!(r#""jams": [{{{jam}, "time": "1 s"}}]"#));
        problems(&format!("{before} {x} {after}"), r#", "attendants": [{"id": "A"}]"#).join("\n")
    };
    let part = r#""per_part": 0.001"#;
    let bin = r#", {"id": "B", "type": "bin", "capacity": 9}, {"id": "W", "type": "work", "time": "1 s"}"#;
    assert!(
        found(feed, r#"{"id": "X", "type": "divider", "exits": ["out"], JAM}"#, part, "")
            .contains("holds no part")
    );
    let clock = r#"{"id": "X", "type": "escapement", "stroke": "1 s", "strokes": "on a clock", JAM}"#;
    assert!(found(feed, clock, part, "").contains("takes no time"));
    assert!(
        found("", r#"{"id": "X", "type": "stream", "spacing": "1 s", JAM}"#, part, "")
            .contains("a stream handles")
    );
    assert!(found(feed, r#"{"id": "X", "type": "scrap box", JAM}"#, part, "").contains("a box handles"));
    let track = r#"{"id": "X", "type": "track", "capacity": 2, JAM}"#;
    assert!(found(feed, track, &format!(r#"{part}, "when": "after""#), "").contains("when they enter"));
    let dumper = r#"{"id": "X", "type": "dumper", "contents": 9, "tip": "60 s", "call_level": 0, JAM}"#;
    assert!(found("", dumper, &format!(r#"{part}, "when": "after""#), bin).contains("lifted or poured"));
    assert!(
        found("", dumper, r#""per_part_by_condition": {"good": 0.001}"#, bin).contains("by the container")
    );
    let held = r#"{"id": "X", "type": "bin", "content": 9, JAM}, {"id": "W", "type": "work", "time": "1 s"}"#;
    assert!(found("", held, part, "").contains("powered clock"));
    let fill = r#"{"id": "X", "type": "filling by hand", "by": "A", "call_level": 2, "time": "1 s", JAM}"#;
    assert!(found("", fill, part, bin).contains("done by people"));
    let path = r#"{"id": "X", "type": "orienting path", "speed": "0.1 m/s", "live_length": "1 m", "rejects_to": "out", JAM}"#;
    let every = r#""every": "1 h", "then": "rejects_to""#;
    assert!(found(feed, path, every, "").contains("hold of no part"));
    let tube = r#"{"id": "X", "type": "air tube", "travel": "1 s", JAM}"#;
    assert!(
        found(feed, tube, &format!(r#"{part}, "then": "to""#), "").contains("goes onward here (air tube)")
    );
}

/// Rulings 5 and 24: an escapement on a clock has nothing in work between its strokes, so it is off in a break and
/// held while it is held; its strokes then are none, while the clock goes on.
#[test]
fn a_clocked_escapement_is_off_in_a_break() {
    let stations = r#"{"id": "F", "type": "work", "endless": true, "time": "0.1 s"},
        {"id": "T", "type": "track", "capacity": 40},
        {"id": "E", "type": "escapement", "stroke": "1 s", "strokes": "on a clock", "to": "out"}"#;
    let breaks = r#", "plan": {"breaks": [{"at": "4.5 s", "for": "3 s", "of": ["E"]}]}"#;
    let trial = Trial::new(stations, breaks);
    let run = trial.run(0, 10.0);
    let e = trial.post("E");
    assert_eq!(states(&run, e), [(0.0, State::Working), (4.5, State::Off), (7.5, State::Working)]);
    assert_eq!(times(&run, e, Note::Exit(0)), [1.0, 2.0, 3.0, 4.0, 8.0, 9.0, 10.0]);
    assert_eq!(times(&run, e, Note::EmptyStroke), [] as [f64; 0]);
}

/// The path is blocked for ever, and so is all before it: a knot, unless a jam by a clock that runs while it is blocked
/// can send the part off through another exit.
#[test]
fn a_jam_that_sends_a_part_off_can_open_what_looks_like_a_knot() {
    let line = |jams: &str| {
        let stations = format!(
            r#"{{"id": "F", "type": "work", "endless": true, "time": "1 s"}},
            {{"id": "B", "type": "track", "capacity": 1}},
            {{"id": "P", "type": "orienting path", "pass": "1 s", "rejects_to": "S" {jams}}},
            {{"id": "T", "type": "track", "capacity": 1, "to": "M"}},
            {{"id": "S", "type": "scrap box"}},
            {{"id": "G", "type": "work", "time": "1 s", "endless": true, "to": "U"}},
            {{"id": "U", "type": "track", "capacity": 2, "to": "D"}},
            {{"id": "D", "type": "divider", "exits": ["T", "V"], "rule": "in turn", "strict": true}},
            {{"id": "V", "type": "track", "capacity": 1, "to": "M"}},
            {{"id": "M", "type": "machine", "cycle": "1 s", "inlets": [{{"from": "T"}}, {{"from": "V"}}]}}"#
        );
        Trial::new(&stations, "")
    };
    // P and D give to T in turn as it gets room; D, whose turn is T, never brings anything to V while P fills T.
    let trial = line("");
    let mut run = trial.start(0);
    let stop = run.run_until(60_000_000_000);
    assert!(matches!(stop, crate::replication::Stop::Gridlock { .. }), "{stop:?}");
    let jam = |clock: &str| {
        format!(r#", "jams": [{{"every": "7 s", "clock": "{clock}", "time": "1 s", "then": "rejects_to"}}]"#)
    };
    let trial = line(&jam("working"));
    let mut run = trial.start(0);
    assert!(matches!(run.run_until(60_000_000_000), crate::replication::Stop::Gridlock { .. }));
    for clock in ["powered", "wall"] {
        let trial = line(&jam(clock));
        let mut run = trial.start(0);
        go(&mut run, 60.0);
        let sent_off = times(&run, trial.post("P"), Note::Exit(1)).len();
        assert!(sent_off > 3, "{clock}: {sent_off}");
    }
}
