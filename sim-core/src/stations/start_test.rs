//! Tests of the start conditions (ruling 29): primed, full, and station by station.

use super::trial::{Run, Trial, problems};
use crate::kernel::State;

/// A line with every station that can hold a finished part, each before a track that holds two.
const ALL: &str = r#"
    {"id": "F", "type": "work", "endless": true, "time": "1 s"}, {"id": "1", "type": "track", "capacity": 2},
    {"id": "W", "type": "work", "places": 3, "time": "1 s"}, {"id": "2", "type": "track", "capacity": 2},
    {"id": "P", "type": "orienting path", "pass": "1 s"}, {"id": "3", "type": "track", "capacity": 2},
    {"id": "Q", "type": "orienting path", "speed": "0.1 m/s", "live_length": "1 m"},
    {"id": "4", "type": "track", "capacity": 2},
    {"id": "S", "type": "screen", "removes": {"bent": 1}, "removed_to": "out"},
    {"id": "5", "type": "track", "capacity": 2},
    {"id": "E", "type": "escapement", "stroke": "1 s"}, {"id": "6", "type": "track", "capacity": 2},
    {"id": "K", "type": "escapement", "stroke": "1 s", "strokes": "on a clock"},
    {"id": "7", "type": "track", "capacity": 2},
    {"id": "C", "type": "meter conveyor", "index_time": "1 s"}, {"id": "8", "type": "track", "capacity": 2},
    {"id": "M", "type": "machine", "cycle": "1 s"}, {"id": "9", "type": "track", "capacity": 2},
    {"id": "N", "type": "machine", "cycle": "1 s", "inlets": [{"from": "9", "parts": 2}]},
    {"id": "10", "type": "track", "capacity": 2},
    {"id": "D", "type": "work", "time": "1 s"},
    {"id": "L", "type": "work", "time": "1 h", "to": "out"}"#;

const PART: &str = r#", "parts": {"pin": {"length": "10 mm", "conditions": {"bent": 0.001}}}"#;

fn inside(run: &Run<'_>) -> (u64, u64) {
    (run.floor.flow().0, run.n_inside())
}

#[test]
fn a_full_line_holds_a_finished_part_at_every_station() {
    let trial = Trial::new(ALL, &format!(r#"{PART}, "plan": {{"start": "full"}}"#));
    let run = trial.run(0, 0.0);
    // Ten tracks of two; F, W, P, Q, S, E, C, M, N hold one each before their tracks, D in its hand, which L has
    // taken; D has taken the next one, so that N has handed on, and so on up the line: F makes a new one.
    assert_eq!(inside(&run), (20 + 9 + 1 + 1, 31));
    assert_eq!(run.floor.state(trial.post("L")), State::Working);
    assert_eq!(run.floor.state(trial.post("D")), State::Working);
    // N, whose finished part has found the room that D left, takes two parts of track 9; M and all others move up.
    for (name, state) in [("N", State::Working), ("M", State::Working), ("F", State::Working)] {
        assert_eq!(run.floor.state(trial.post(name)), state, "{name}");
    }
    let primed = Trial::new(ALL, &format!(r#"{PART}, "plan": {{"start": "primed"}}"#));
    assert_eq!(primed.plan.held, []);
    // The same without the ten that were held, but F makes its first.
    assert_eq!(inside(&primed.run(0, 0.0)), (20 + 1, 21));
}

#[test]
fn who_can_not_go_on_is_blocked_from_the_start() {
    // Ruling 1: calendars come before stations, at the start as well.
    let full = r#""plan": {"start": "full", "breaks": [{"at": "0 s", "for": "1 h", "of": ["L"]}]}"#;
    let trial = Trial::new(ALL, &format!("{PART}, {full}"));
    let run = trial.run(0, 10.0);
    for name in ["F", "W", "P", "Q", "S", "E", "C", "M", "N", "D"] {
        assert_eq!(run.floor.state(trial.post(name)), State::Blocked, "{name}");
    }
    assert_eq!(run.floor.state(trial.post("L")), State::Off);
    // Nothing has moved but two parts into the other places of W, after which F has made two.
    assert_eq!(inside(&run), (20 + 9 + 1 + 2, 32));
}

#[test]
fn the_start_is_listed_station_by_station() {
    let plan = r#", "plan": {"start": "empty", "start_at": {"1": "primed", "E": "full", "D": "full"}}"#;
    let trial = Trial::new(ALL, &format!("{PART}{plan}"));
    let run = trial.start(0);
    assert_eq!((run.floor.place(trial.place("1")).len(), run.floor.flow().0), (2, 4));
    assert_eq!(trial.plan.held.iter().map(|held| held.station).collect::<Vec<_>>(), [trial.post("E")]);
    assert!(run.conserves_parts());
    // And the other way round: all but these.
    let plan = r#", "plan": {"start": "full", "start_at": {"1": "empty", "E": "empty", "D": "primed"}}"#;
    let trial = Trial::new(ALL, &format!("{PART}{plan}"));
    let run = trial.start(0);
    assert_eq!((run.floor.place(trial.place("1")).len(), run.floor.flow().0), (0, 30 - 4));
    assert!(run.conserves_parts());
}

#[test]
fn a_start_without_any_effect_is_a_likely_slip() {
    let stations = r#"{"id": "F", "type": "work", "endless": true, "time": "1 s"},
        {"id": "B", "type": "belt", "capacity": 5}, {"id": "W", "type": "work", "time": "1 s"}"#;
    let found = problems(stations, r#", "plan": {"start_at": {"B": "full", "F": "full", "W": "empty"}}"#);
    assert!(found.len() == 1 && found[0].contains("nothing with which `B` could start"), "{found:?}");
}
