//! What sensors that slow a station down are charged with.

use super::{causes, charge};

/// The line beside a part that comes every 100 s: X has taken the first one, and the second one stays in U from 200 s on.
fn beside_a_clock(line: &str) -> String {
    format!(
        r#"{line},
        {{"id": "G", "type": "work", "endless": true, "time": "100 s", "to": "U"}},
        {{"id": "U", "type": "track", "unlimited": true, "to": "X"}},
        {{"id": "X", "type": "work", "time": "1 h", "to": "out"}}"#
    )
}

/// A sensor that slows a station down to half its speed, for good, when there are so many parts in U; the rate is that of C.
fn slowing(station: &str, high: u32) -> String {
    format!(
        r#", "parts": {{"pin": {{"length": "20 mm"}}}}, "promise": {{"at": "C", "clauses": {{"mean_rate": "1 /min"}}}},
        "sensors": [{{"id": "S", "watches": "U", "high": {high}, "slows": ["{station}"], "slow_to": "50 %"}}]"#
    )
}

/// F feeds a path P, which feeds C.
fn by_path(feed: &str, path: &str, cycle: &str) -> String {
    beside_a_clock(&format!(
        r#"{{"id": "F", "type": "work", "endless": true, "time": "{feed}"}},
        {{"id": "P", "type": "orienting path", {path}}},
        {{"id": "T", "type": "track", "capacity": 5, "travel": "0 s", "to": "C"}},
        {{"id": "C", "type": "machine", "cycle": "{cycle}", "to": "out"}}"#
    ))
}

/// While the sensor is on, P takes 2 s for a part in place of 1 s; C uses one a second. What is lacking is the sensor's,
/// and nothing at full speed.
#[test]
fn what_a_slowed_path_brings_late_is_the_sensors() {
    let more = slowing("P", 1);
    for (path, fills) in
        [(r#""pass": "1 s""#, 1.001), (r#""speed": "20 mm/s", "live_length": "200 mm""#, 10.001)]
    {
        let found = causes(&by_path("1 ms", path, "1 s"), &more, 300.0);
        assert!((charge(&found, "filling up") - fills).abs() < 1e-6, "{found:?}");
        assert!((charge(&found, "P slowed by S") - 50.0).abs() < 1.5, "{path}: {found:?}");
        assert!(
            found.iter().all(|(word, time)| word == "P slowed by S" || word == "filling up" || *time < 1.5),
            "{found:?}"
        );
    }
    // C could use two a second: half of what is lacking at full speed is lacking still, for the reason it was.
    for path in [r#""pass": "1 s""#, r#""speed": "20 mm/s", "live_length": "200 mm""#] {
        let found = causes(&by_path("1 ms", path, "0.5 s"), &more, 300.0);
        // 50 parts in 100 s: each 0.5 s late at full speed, and a second later for the sensor.
        assert!((charge(&found, "P slowed by S") - 50.0).abs() < 1.5, "{path}: {found:?}");
    }
}

/// F gives a part every 10 s, which P passes in 2 s, or in 4 s from 200 s on: the rate is F's in either case. Slowness bears
/// no more than the one shift of the parts by 2 s; all else is as at full speed.
#[test]
fn slowness_that_changes_nothing_is_charged_to_nobody() {
    // In file P is clear 2 s, later 4 s, after a part has entered, and as long as the part it carries is its own length.
    let paths = [r#""pass": "2 s""#, r#""speed": "10 mm/s", "live_length": "20 mm""#];
    for path in paths {
        let line = by_path("10 s", path, "1 s");
        let (fast, slow) = (causes(&line, &slowing("P", 90), 600.0), causes(&line, &slowing("P", 1), 600.0));
        let sensor = charge(&slow, "P slowed by S");
        assert!(sensor <= 2.0 + 1e-6, "{path}: {slow:?}");
        assert_eq!(charge(&fast, "P slowed by S"), 0.0, "{fast:?}");
        // Parts are 2 s later at the end of the window.
        for word in ["F working", "P working", "filling up"] {
            let (slow, fast) = (charge(&slow, word), charge(&fast, word));
            assert!((slow - fast).abs() <= 2.0 + 1e-6, "{path}: {word} {slow} and {fast}");
        }
        assert!(charge(&fast, "F working") > 400.0, "{path}: {fast:?}");
    }
}

/// P takes 2 s for a part, 4 s at half speed, and breaks down for 1 s after every 7 s at work: at 4 places of a service in
/// turn, which full speed would reach in half the time. C lacks parts from 0.5 s on. So of the 3 s of such a service
/// at full speed 2.5, 2.5, 2 and 1.5 s are the breakdown's, and 2 s of each service more the sensor's.
#[test]
fn a_breakdown_in_a_slowed_service_keeps_its_charge() {
    let path = r#""pass": "2 s", "breakdowns": [{"every": "7 s", "clock": "working", "time": "1 s"}]"#;
    let (line, more) = (by_path("1 ms", path, "0.5 s"), slowing("P", 1));
    let (before, all) = (causes(&line, &more, 200.0), causes(&line, &more, 1000.0));
    // A hundred breakdowns in 800 s, and 700 s of work.
    for (word, time) in [("P down, repair", 212.5), ("P slowed by S", 350.0)] {
        let since = charge(&all, word) - charge(&before, word);
        assert!((since - time).abs() <= 0.06 * time, "{word}: {before:?}, {all:?}");
    }
}

/// A belt at half speed brings what is on it half as often, and then what is put on it as before: the first is the
/// sensor's, and F bears what it always did.
#[test]
fn a_slowed_belt_costs_once() {
    let line = beside_a_clock(
        r#"{"id": "F", "type": "work", "endless": true, "time": "2 s"},
        {"id": "B", "type": "belt", "capacity": 100, "travel": "20 s"},
        {"id": "C", "type": "machine", "cycle": "1 s", "to": "out"}"#,
    );
    let found = causes(&line, &slowing("B", 1), 400.0);
    // Ten parts are on the belt at 200 s and come in 40 s in place of 20 s.
    assert!((charge(&found, "B slowed by S") - 20.0).abs() < 2.5, "{found:?}");
    // One second of every two is lacking from 22 s on.
    assert!((charge(&found, "F working") - 179.0).abs() < 2.5, "{found:?}");
}

/// Entries are 2 s apart, 4 s at half speed. F has a part ready a second after the last one and waits for the entry: for the
/// belt, which is at its natural limit, until the entry would have been clear at full speed, and then for the sensor.
#[test]
fn who_waits_for_the_entry_of_a_slowed_belt_waits_for_the_sensor() {
    let line = |feed: &str| {
        beside_a_clock(&format!(
            r#"{{"id": "F", "type": "work", "endless": true, "time": "{feed}"}},
            {{"id": "B", "type": "belt", "length": "1 m", "speed": "0.1 m/s", "spacing": "200 mm"}},
            {{"id": "C", "type": "machine", "cycle": "0.2 s", "to": "out"}}"#
        ))
    };
    // By part: what F needs less the 0.2 s of C, the rest of 2 s, and 2 s more at half speed. A part that takes F 3 s waits for
    // a slowed entry only.
    for (feed, [work, belt, sensor], gap) in
        [("1 s", [0.8, 1.0, 2.0], 2.0), ("0.2 s", [0.0, 1.8, 2.0], 2.0), ("3 s", [2.8, 0.0, 1.0], 3.0)]
    {
        let line = line(feed);
        for (high, sensor, gap) in [(90, 0.0, gap), (1, sensor, 4.0)] {
            let found = |seconds| causes(&line, &slowing("B", high), seconds);
            // Long after the speed has changed; 120 s are as many parts at all speeds.
            let (before, all) = (found(260.0), found(380.0));
            for (word, each) in [("F working", work), ("B working", belt), ("B slowed by S", sensor)] {
                let since = charge(&all, word) - charge(&before, word);
                let whole = each * 120.0 / gap;
                assert!((since - whole).abs() < 1e-6, "{feed}, {high}: {word} {since}, not {whole}");
            }
        }
    }
}

/// Five parts come every 10 s; P takes 0.95 s for one, 1.9 s at half speed, and is through with them before the next come. C
/// starves as long either way: 9 s of 10. At half speed the second to the fifth part are 0.95 s later each, and the wait for
/// the next five is shorter by that.
#[test]
fn slowness_within_a_bunch_shortens_the_wait_for_the_next() {
    let line = beside_a_clock(
        r#"{"id": "F", "type": "work", "endless": true, "time": "0.1 s"},
        {"id": "Q", "type": "track", "capacity": 9, "travel": "0 s"},
        {"id": "E", "type": "escapement", "stroke": "10 s", "release": 5},
        {"id": "R", "type": "track", "capacity": 50, "travel": "0 s"},
        {"id": "P", "type": "orienting path", "pass": "0.95 s"},
        {"id": "T", "type": "track", "capacity": 5, "travel": "0 s", "to": "C"},
        {"id": "C", "type": "machine", "cycle": "0.2 s", "to": "out"}"#,
    );
    for (high, wait, slow) in [(90, 6.0, 0.0), (1, 2.2, 3.8)] {
        let found = |seconds| causes(&line, &slowing("P", high), seconds);
        let (before, all) = (found(240.0), found(440.0));
        for (word, each) in [("E working", wait), ("P working", 3.0), ("P slowed by S", slow)] {
            let since = charge(&all, word) - charge(&before, word);
            assert!((since - 20.0 * each).abs() < 1e-6, "{high}: {word} {since}");
        }
    }
}
