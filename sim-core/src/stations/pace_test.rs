//! Tests of stations that a sensor slows down, against a closed form: with the way P(t) that a station has run by
//! the time t, as the integral of its speed in units of the full one, everything happens at the same P as it would
//! without the sensor.

use super::trial::{Run, Trial, problems, states, times};
use crate::kernel::{Note, State};

/// The station that is slowed down, what feeds it, and its exits or takings.
fn line(slowed: &str) -> String {
    format!(
        r#"{slowed}, {{"id": "T", "type": "track", "unlimited": true}},
        {{"id": "W", "type": "work", "time": "1 s", "to": "out"}}"#
    )
}

const MORE: &str = r#", "parts": {"pin": {"length": "20 mm"}},
    "sensors": [{"id": "S", "watches": "T", "high": 9, "low": 2, "off_delay": "0.7 s", "slows": ["X"], "slow_to": "10 %"}]"#;

/// How far station X has run by `at`, s of full speed: a tenth while the sensor is on, nothing while it stands.
fn way(run: &Run<'_>, trial: &Trial, at: f64) -> f64 {
    let on = times(run, trial.post("S"), Note::SensorOn);
    let off = times(run, trial.post("S"), Note::SensorOff);
    let mut edges: Vec<(f64, f64)> =
        on.iter().map(|t| (*t, 0.1)).chain(off.iter().map(|t| (*t, 1.0))).collect();
    edges.sort_by(|a, b| a.0.total_cmp(&b.0));
    let standing = states(run, trial.post("X"));
    let stands = |t: f64| {
        let state = standing.iter().rev().find(|(since, _)| *since <= t).map(|(_, state)| *state);
        matches!(state, Some(State::Off | State::DownRepair))
    };
    let mut cuts: Vec<f64> = edges.iter().map(|(t, _)| *t).chain(standing.iter().map(|(t, _)| *t)).collect();
    cuts.extend([0.0, at]);
    cuts.retain(|t| *t <= at);
    cuts.sort_by(f64::total_cmp);
    let speed = |t: f64| edges.iter().rev().find(|(since, _)| *since <= t).map_or(1.0, |(_, speed)| *speed);
    let piece = |w: &[f64]| if stands(w[0]) { 0.0 } else { speed(w[0]) * (w[1] - w[0]) };
    cuts.windows(2).map(piece).sum()
}

/// Every event of `note` at `post` comes at the stated way, and the sensor has switched often.
fn check(slowed: &str, more: &str, post: &str, note: Note, first: f64, every: f64) {
    let trial = Trial::new(&line(slowed), &format!("{MORE}{more}"));
    let run = trial.run(0, 300.0);
    let (on, off) = (Note::SensorOn, Note::SensorOff);
    let n_switched = times(&run, trial.post("S"), on).len() + times(&run, trial.post("S"), off).len();
    assert!(n_switched > 15, "{n_switched}");
    let events = times(&run, trial.post(post), note);
    assert!(events.len() > 200, "{}", events.len());
    for (n, at) in events.iter().enumerate() {
        let (way, due) = (way(&run, &trial, *at), first + every * n as f64);
        // A nanosecond for each switch, and the digits of the sums.
        assert!((way - due).abs() < 1e-7, "{slowed}: number {n} at {at}: {way} for {due}");
    }
}

const SOURCE: &str = r#"{"id": "F", "type": "work", "endless": true, "time": "1 ms"}"#;
const DOWN: &str = r#""breakdowns": [{"every": "41 s", "clock": "wall", "time": "3.3 s"}]"#;

#[test]
fn a_path_with_parts_in_file_runs_at_the_lower_speed() {
    for down in ["", DOWN] {
        let down = if down.is_empty() { String::new() } else { format!(", {down}") };
        let path = r#""type": "orienting path", "speed": "80 mm/s", "live_length": "800 mm""#;
        let path = format!(r#"{SOURCE}, {{"id": "X", {path}{down}}}"#);
        // Parts of 20 mm enter every 0.25 s and run for 10 s.
        check(&path, "", "X", Note::Exit(0), 10.001, 0.25);
    }
}

#[test]
fn a_path_for_single_parts_takes_longer_for_what_is_left_of_the_pass() {
    let path = format!(r#"{SOURCE}, {{"id": "X", "type": "orienting path", "pass": "0.25 s", {DOWN}}}"#);
    check(&path, "", "X", Note::Exit(0), 0.251, 0.25);
}

#[test]
fn a_belt_and_its_entry_run_at_the_lower_speed() {
    let off = r#", "plan": {"breaks": [{"at": "30 s", "for": "20 s", "every": "70 s", "of": ["X"]}]}"#;
    let size = r#""capacity": 100, "length": "800 mm", "speed": "80 mm/s", "spacing": "20 mm""#;
    for (word, off) in [("belt", ""), ("belt", off), ("recirculation belt", off)] {
        let belt = format!(r#"{SOURCE}, {{"id": "X", "type": "{word}", {size}}}"#);
        check(&belt, off, "X end", Note::Took, 10.001, 0.25);
    }
}

#[test]
fn a_lift_and_what_is_aboard_run_at_the_lower_speed() {
    let off = r#", "plan": {"breaks": [{"at": "30 s", "for": "20 s", "every": "70 s", "of": ["X"]}]}"#;
    let lift = r#"{"id": "B", "type": "bin", "endless": true},
        {"id": "X", "type": "elevator", "cleats": "4 /s", "lift": "10 s", "per_cleat": 1}"#;
    for off in ["", off] {
        check(lift, off, "X", Note::Exit(0), 10.25, 0.25);
    }
}

/// Of several sensors that are on the slowest speed counts; without any it is the full one again.
#[test]
fn the_slowest_speed_counts() {
    let sensors = r#", "sensors": [
        {"id": "S", "watches": "T", "high": 1, "slows": ["X"], "slow_to": "50 %"},
        {"id": "R", "watches": "T", "high": 2, "slows": ["X"], "slow_to": "25 %"}]"#;
    let path = format!(r#"{SOURCE}, {{"id": "X", "type": "orienting path", "pass": "1 s"}}"#);
    let stations = line(&path).replace(r#""time": "1 s", "to": "out""#, r#""time": "9.001 s", "to": "out""#);
    let trial = Trial::new(&stations, sensors);
    let run = trial.run(0, 20.0);
    // W takes the first part at once. The second part waits, 50 %; the third one, 25 %, until W has taken the second
    // at 10.002 s, when the fourth pass has 3.001 / 4 s behind it and goes on at 50 %.
    assert_eq!(times(&run, trial.post("X"), Note::Exit(0))[..4], [1.001, 2.001, 4.001, 8.001]);
    assert_eq!(times(&run, trial.post("S"), Note::SensorOn), [2.001]);
}

#[test]
fn says_what_cannot_be_slowed_down() {
    let found = |rest: &str| {
        let sensor = format!(r#", "sensors": [{{"id": "S", "watches": "T", "high": 5 {rest}}}]"#);
        problems(&line(SOURCE), &sensor).join("\n")
    };
    assert!(found("").contains("does nothing"));
    assert!(found(r#", "slows": ["F"], "slow_to": "50 %""#).contains("`F` has no speed"));
    assert!(found(r#", "slows": ["T"], "slow_to": "50 %""#).contains("`T` has no speed"));
    assert!(found(r#", "slows": ["W"]"#).contains("how slow"));
    assert!(found(r#", "holds": ["F"], "slow_to": "50 %""#).contains("for the stations in `slows`"));
    assert!(found(r#", "slows": ["nobody"], "slow_to": "50 %""#).contains("nobody"));
    assert_eq!(found(r#", "holds": ["F"]"#), "");
}
