//! Tests of the indexing table: each named after a sentence of its documentation.

use crate::kernel::{Note, State};
use crate::stations::trial::{Trial, problems, states, times};

fn line(table: &str, cycle: &str) -> Trial {
    let text = format!(
        r#"{{"id": "F", "type": "work", "count": 2, "endless": true, "time": "0.01 s"}},
        {{"id": "T", "type": "track", "count": 2, "capacity": 10, "to": "I"}},
        {{"id": "I", "type": "indexing table", {table}}},
        {{"id": "N", "type": "track", "capacity": 2}}, {{"id": "M", "type": "machine", "cycle": "{cycle}"}}"#
    );
    Trial::new(&text, "")
}

#[test]
fn a_full_group_goes_on_after_its_load_and_a_turn() {
    let trial = line(r#""nests": 6, "group": 2, "load": "0.1 s", "index": "0.5 s""#, "0.01 s");
    let run = trial.run(0, 3.6);
    // Loads begin at 0.01; both groups are full at 0.21. Then each rest takes one load at each of two positions.
    let out = times(&run, trial.post("I"), Note::Exit(0));
    assert_eq!(out[..8], [0.71, 0.71, 1.31, 1.31, 1.91, 1.91, 2.51, 2.51]);
    let (seconds, _) = trial.traffic("I");
    assert!((seconds[0] - 0.7).abs() < 1e-12, "index + load x group, told of one feeder: {seconds:?}");
}

#[test]
fn a_turn_waits_until_the_last_place_is_open() {
    let trial = line(r#""nests": 6, "group": 2, "load": "0.1 s", "index": "0.5 s""#, "1 s");
    let run = trial.run(0, 100.0);
    // The machine takes one a second; nothing is carried round.
    assert_eq!(times(&run, trial.post("M"), Note::Took).len(), 100);
    let took = times(&run, trial.post("I"), Note::Took).len();
    let out = times(&run, trial.post("I"), Note::Exit(0)).len();
    assert!(took - out <= 6, "{took} loaded, {out} discharged");
    assert!(states(&run, trial.post("I")).iter().any(|(_, state)| *state == State::Blocked));
}

#[test]
fn on_a_clock_it_turns_at_each_period_whatever_is_loaded() {
    let text = r#"{"id": "F", "type": "stream", "spacing": "2.5 s"}, {"id": "T", "type": "track", "capacity": 5, "to": "I"},
        {"id": "I", "type": "indexing table", "nests": 4, "index": "0.3 s", "index_when": "on a clock", "period": "1 s"},
        {"id": "M", "type": "machine", "cycle": "0.1 s"}"#;
    let trial = Trial::new(text, "");
    let run = trial.run(0, 20.0);
    // Loaded at 2.5 at position 1 of 4; turns start at 3, 4, 5 and end 0.3 s later.
    let out = times(&run, trial.post("I"), Note::Exit(0));
    assert_eq!(out[..3], [5.3, 8.3, 10.3], "at 5 s the table turns before the part comes: downstream first");
    let empty = times(&run, trial.post("I"), Note::EmptyStroke);
    assert_eq!(empty[..2], [1.0, 2.0]);
}

#[test]
fn any_part_is_enough_where_the_file_says_so() {
    let trial =
        line(r#""nests": 6, "group": 2, "index": "0.5 s", "load": "0.1 s", "index_when": "any""#, "0.01 s");
    let run = trial.run(0, 60.0);
    // Each rest takes one load at both positions: two parts for 0.6 s, as with full groups.
    let out = times(&run, trial.post("I"), Note::Exit(0)).len();
    assert!((196..=200).contains(&out), "{out}");
}

#[test]
fn what_finds_no_room_at_a_discharge_is_carried_on_to_the_next_one() {
    let text = r#"{"id": "F", "type": "work", "endless": true, "time": "0.1 s"}, {"id": "T", "type": "track", "capacity": 5, "to": "I"},
        {"id": "I", "type": "indexing table", "nests": 8, "group": 2, "index": "0.5 s",
         "loads_at": {"T": 1}, "discharges": {"A": 3, "B": 4}},
        {"id": "A", "type": "machine", "cycle": "10 s", "to": "out"}, {"id": "B", "type": "machine", "cycle": "0.01 s", "to": "out"}"#;
    let trial = Trial::new(text, "");
    let run = trial.run(0, 200.0);
    let counts = |post: &str| times(&run, trial.post(post), Note::Took).len();
    assert_eq!(counts("A"), 20);
    // Two parts a turn of 0.5 s, the first rest of 0.2 s aside, less what A has.
    let all = counts("A") + counts("B");
    assert!((792..=800).contains(&all), "{all}");
}

#[test]
fn positions_are_checked() {
    let said = |table: &str| {
        let text = format!(
            r#"{{"id": "F", "type": "work", "endless": true, "time": "1 s", "to": "I"}},
            {{"id": "I", "type": "indexing table", "index": "1 s", {table}}}, {{"id": "N", "type": "track", "capacity": 2, "to": "out"}}"#
        );
        problems(&text, "").join("\n")
    };
    assert!(said(r#""nests": 7, "group": 2"#).contains("7 nests are no groups of 2"));
    assert!(said(r#""nests": 4, "loads_at": {"F": 5}"#).contains("4 positions"));
    assert!(
        said(r#""nests": 4, "loads_at": {"F": 3}, "discharges": {"N": 2}"#)
            .contains("before the last load position")
    );
    assert!(said(r#""nests": 4, "index_when": "on a clock""#).contains("`period` is missing"));
}

#[test]
fn jams_lose_no_part() {
    for when in ["start", "end", "after"] {
        let jams = format!(r#""jams": [{{"per_part": 0.2, "when": "{when}", "time": "1 s"}}]"#);
        let trial =
            line(&format!(r#""nests": 6, "group": 2, "load": "0.1 s", "index": "0.5 s", {jams}"#), "0.3 s");
        let run = trial.run(0, 200.0);
        assert!(run.floor.observer.0.counts[trial.post("I").ix()].stops > 20, "{when}");
    }
}
