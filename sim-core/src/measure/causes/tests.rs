//! Lines on which the cause of each starved second is known.

use super::{Cause, Causes, Particular};
use crate::kernel::{State, StationId};
use crate::measure::Tally;
use crate::network::compile;
use crate::part::SECOND;
use crate::replication::Replica;
use crate::scenario;

/// Starved seconds of the point of use by cause, in words, of one replication; they are checked to add up to the
/// starved time of the time account.
fn causes(stations: &str, more: &str, seconds: f64) -> Vec<(String, f64)> {
    let text = format!(r#"{{"feedproof": 1, "stations": [{stations}] {more}}}"#);
    let checked = scenario::read(&text);
    let Some(scenario) = checked.scenario else { panic!("a test's line is sound: {:#?}", checked.problems) };
    let plan = compile(&scenario);
    let observers = (Tally::new(&plan.tally), Causes::new(&plan.causes));
    let mut replica = Replica::new(&plan, 1, 0, observers);
    let end = (seconds * SECOND as f64) as u64;
    replica.run_until(end);
    let (tally, causes) = &mut replica.floor.observer;
    tally.close(end);
    causes.close(end);
    let mut all = Vec::new();
    for (number, point) in plan.tally.points.iter().enumerate() {
        let charges = causes.charges(number);
        let starved = tally.time[point.ix()][State::Starved as usize];
        assert_eq!(charges.iter().sum::<u64>(), starved, "every starved second has its cause");
        for (ix, &charge) in charges.iter().enumerate().filter(|(_, charge)| **charge > 0) {
            let post = |station| name(&plan.names.posts, station);
            let word = match plan.causes.cause(ix) {
                Cause::At(station, state) => format!("{} {}", post(station), state.word()),
                Cause::Because(number) => match plan.causes.particular[usize::from(number)] {
                    Particular::HeldBy { station, sensor } => {
                        format!("{} held by {}", post(station), post(sensor))
                    }
                    Particular::SlowedBy { station, sensor } => {
                        format!("{} slowed by {}", post(station), post(sensor))
                    }
                    Particular::Full(station) => format!("{} full", post(station)),
                    Particular::Reach { station, reach } => {
                        format!("{} waiting for {}", post(station), plan.names.reaches[usize::from(reach)])
                    }
                },
                Cause::Recirculating => "recirculating".to_owned(),
                Cause::FillingUp => "filling up".to_owned(),
            };
            all.push((word, charge as f64 / SECOND as f64));
        }
    }
    all.sort_by(|a, b| a.0.cmp(&b.0));
    all
}

fn name(posts: &[String], station: StationId) -> &str {
    &posts[station.ix()]
}

fn of(list: &[(&str, f64)]) -> Vec<(String, f64)> {
    list.iter().map(|(word, time)| ((*word).to_owned(), *time)).collect()
}

/// F makes a part a second and is down once from 100.5 s on; C uses one a second; four parts lie between them.
fn down_for(seconds: u32) -> Vec<(String, f64)> {
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
    let charge = |word: &str| found.iter().find(|(known, _)| known == word).map_or(0.0, |(_, time)| *time);
    // Tips end at 2, 102, 202 s; parts are picked at 3..22, 103..122, 203..222 s and come to C 35 s later. Nothing is
    // there to be picked from 23 s on; C is told 35 s after that, and until the next part comes.
    assert_eq!(charge("filling up"), 38.0, "{found:?}");
    assert_eq!(charge("tip starved"), 80.0 + 80.0 + (300.0 - 258.0), "{found:?}");
    assert_eq!(charge("lift working"), 3.0 * 20.0 * 0.5, "{found:?}");
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
    let g = found.iter().find(|(word, _)| word == "G working").map_or(0.0, |(_, time)| *time);
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
    let reach = found.iter().find(|(word, _)| word == "A waiting for arm").map_or(0.0, |(_, time)| *time);
    assert!((reach - 196.0).abs() <= 8.0, "{found:?}");
    assert!(found.iter().all(|(word, time)| word == "A waiting for arm" || *time < 10.0), "{found:?}");
    // Where B breaks down in the reach, A waits for that.
    let down = stations.replace(
        r#""cycle": "4 s", "reach": "arm", "to": "out""#,
        r#""cycle": "4 s", "reach": "arm", "to": "out",
            "breakdowns": [{"every": "102 s", "clock": "wall", "time": "50 s"}]"#,
    );
    let found = causes(&down, r#", "promise": {"at": "C", "clauses": {"mean_rate": "1 /min"}}"#, 200.0);
    let down = found.iter().find(|(word, _)| word == "B down, repair").map_or(0.0, |(_, time)| *time);
    assert!((40.0..=56.0).contains(&down), "{found:?}");
}

/// While the sensor is on, P takes 2 s for a part in place of 1 s; C uses one a second. What is lacking is the sensor's,
/// and nothing at full speed.
#[test]
fn what_a_slowed_path_brings_late_is_the_sensors() {
    let line = |path: &str| {
        format!(
            r#"{{"id": "F", "type": "work", "endless": true, "time": "1 ms"}},
        {{"id": "P", "type": "orienting path", {path}}},
        {{"id": "T", "type": "track", "capacity": 5, "travel": "0 s", "to": "C"}},
        {{"id": "C", "type": "machine", "cycle": "1 s", "to": "out"}},
        {{"id": "G", "type": "work", "endless": true, "time": "100 s", "to": "U"}},
        {{"id": "U", "type": "track", "unlimited": true, "to": "X"}},
        {{"id": "X", "type": "work", "time": "1 h", "to": "out"}}"#
        )
    };
    // X has taken the first part of G; the second one, at 200 s, switches the sensor on for good.
    let more = r#", "parts": {"pin": {"length": "20 mm"}}, "promise": {"at": "C", "clauses": {"mean_rate": "1 /min"}},
        "sensors": [{"id": "S", "watches": "U", "high": 1, "slows": ["P"], "slow_to": "50 %"}]"#;
    for (path, fills) in
        [(r#""pass": "1 s""#, 1.001), (r#""speed": "20 mm/s", "live_length": "200 mm""#, 10.001)]
    {
        let found = causes(&line(path), more, 300.0);
        let charge =
            |word: &str| found.iter().find(|(known, _)| known == word).map_or(0.0, |(_, time)| *time);
        assert!((charge("filling up") - fills).abs() < 1e-6, "{found:?}");
        assert!((charge("P slowed by S") - 50.0).abs() < 1.5, "{path}: {found:?}");
        assert!(
            found.iter().all(|(word, time)| word == "P slowed by S" || word == "filling up" || *time < 1.5),
            "{found:?}"
        );
    }
    // C could use two a second: half of what is lacking at full speed is lacking still, for the reason it was.
    for path in [r#""pass": "1 s""#, r#""speed": "20 mm/s", "live_length": "200 mm""#] {
        let found = causes(&line(path).replace(r#""cycle": "1 s""#, r#""cycle": "0.5 s""#), more, 300.0);
        let charge =
            |word: &str| found.iter().find(|(known, _)| known == word).map_or(0.0, |(_, time)| *time);
        // 50 parts in 100 s: each 0.5 s late at full speed, and a second later for the sensor.
        assert!((charge("P slowed by S") - 50.0).abs() < 1.5, "{path}: {found:?}");
    }
}

/// F gives a part every 10 s, which P passes in 2 s, or in 4 s from 200 s on: the rate is F's in either case. Slowness bears
/// no more than the one shift of the parts by 2 s; all else is as at full speed.
#[test]
fn slowness_that_changes_nothing_is_charged_to_nobody() {
    let line = |path: &str| {
        format!(
            r#"{{"id": "F", "type": "work", "endless": true, "time": "10 s"}},
        {{"id": "P", "type": "orienting path", {path}}},
        {{"id": "T", "type": "track", "capacity": 5, "travel": "0 s", "to": "C"}},
        {{"id": "C", "type": "machine", "cycle": "1 s", "to": "out"}},
        {{"id": "G", "type": "work", "endless": true, "time": "100 s", "to": "U"}},
        {{"id": "U", "type": "track", "unlimited": true, "to": "X"}},
        {{"id": "X", "type": "work", "time": "1 h", "to": "out"}}"#
        )
    };
    let more = |high: u32| {
        format!(
            r#", "parts": {{"pin": {{"length": "20 mm"}}}}, "promise": {{"at": "C", "clauses": {{"mean_rate": "1 /min"}}}},
        "sensors": [{{"id": "S", "watches": "U", "high": {high}, "slows": ["P"], "slow_to": "50 %"}}]"#
        )
    };
    // In file P is clear 2 s, later 4 s, after a part has entered, and as long as the part it carries is its own length.
    let paths = [r#""pass": "2 s""#, r#""speed": "10 mm/s", "live_length": "20 mm""#];
    for path in paths {
        let (fast, slow) = (causes(&line(path), &more(90), 600.0), causes(&line(path), &more(1), 600.0));
        let charge = |found: &[(String, f64)], word: &str| {
            found.iter().find(|(known, _)| known == word).map_or(0.0, |(_, time)| *time)
        };
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
    let stations = r#"{"id": "F", "type": "work", "endless": true, "time": "1 ms"},
        {"id": "P", "type": "orienting path", "pass": "2 s",
            "breakdowns": [{"every": "7 s", "clock": "working", "time": "1 s"}]},
        {"id": "T", "type": "track", "capacity": 5, "travel": "0 s", "to": "C"},
        {"id": "C", "type": "machine", "cycle": "0.5 s", "to": "out"},
        {"id": "G", "type": "work", "endless": true, "time": "100 s", "to": "U"},
        {"id": "U", "type": "track", "unlimited": true, "to": "X"},
        {"id": "X", "type": "work", "time": "1 h", "to": "out"}"#;
    let more = r#", "promise": {"at": "C", "clauses": {"mean_rate": "1 /min"}},
        "sensors": [{"id": "S", "watches": "U", "high": 1, "slows": ["P"], "slow_to": "50 %"}]"#;
    let (before, all) = (causes(stations, more, 200.0), causes(stations, more, 1000.0));
    let charge = |word: &str| {
        let of = |found: &[(String, f64)]| {
            found.iter().find(|(known, _)| known == word).map_or(0.0, |(_, time)| *time)
        };
        of(&all) - of(&before)
    };
    // A hundred breakdowns in 800 s, and 700 s of work.
    for (word, time) in [("P down, repair", 212.5), ("P slowed by S", 350.0)] {
        assert!((charge(word) - time).abs() <= 0.06 * time, "{word}: {before:?}, {all:?}");
    }
}

/// A belt at half speed brings what is on it half as often, and then what is put on it as before: the first is the
/// sensor's, and F bears what it always did.
#[test]
fn a_slowed_belt_costs_once() {
    let stations = r#"{"id": "F", "type": "work", "endless": true, "time": "2 s"},
        {"id": "B", "type": "belt", "capacity": 100, "travel": "20 s"},
        {"id": "C", "type": "machine", "cycle": "1 s", "to": "out"},
        {"id": "G", "type": "work", "endless": true, "time": "100 s", "to": "U"},
        {"id": "U", "type": "track", "unlimited": true, "to": "X"},
        {"id": "X", "type": "work", "time": "1 h", "to": "out"}"#;
    let more = r#", "promise": {"at": "C", "clauses": {"mean_rate": "1 /min"}},
        "sensors": [{"id": "S", "watches": "U", "high": 1, "slows": ["B"], "slow_to": "50 %"}]"#;
    let found = causes(stations, more, 400.0);
    let charge = |word: &str| found.iter().find(|(known, _)| known == word).map_or(0.0, |(_, time)| *time);
    // Ten parts are on the belt at 200 s and come in 40 s in place of 20 s.
    assert!((charge("B slowed by S") - 20.0).abs() < 2.5, "{found:?}");
    // One second of every two is lacking from 22 s on.
    assert!((charge("F working") - 179.0).abs() < 2.5, "{found:?}");
}
