//! Tests of the row pusher: each named after a sentence of its documentation.

use crate::kernel::{Note, State};
use crate::stations::trial::{Trial, levels, problems, states, times};

fn line(pusher: &str, rest: &str) -> Trial {
    let text = format!(
        r#"{{"id": "F", "type": "work", "endless": true, "time": "0.1 s"}},
        {{"id": "T", "type": "track", "capacity": 10}},
        {{"id": "P", "type": "row pusher", {pusher}}}, {rest}"#
    );
    Trial::new(&text, "")
}

#[test]
fn a_row_is_made_up_then_pushed_and_lands_together() {
    let trial = line(
        r#""row": 3, "push": "0.5 s""#,
        r#"{"id": "N", "type": "track", "capacity": 30}, {"id": "M", "type": "machine", "cycle": "10 s"}"#,
    );
    let run = trial.run(0, 2.0);
    let pusher = trial.post("P");
    // Three parts come in 0.3 s; in a push of 0.5 s five more come up and make the next row at once.
    assert_eq!(times(&run, pusher, Note::Exit(0)), [0.8, 0.8, 0.8, 1.3, 1.3, 1.3, 1.8, 1.8, 1.8]);
    // The machine has one of the first row.
    let mut last = levels(&run, trial.place("N"));
    last.dedup_by(|later, before| {
        later.0 == before.0 && {
            before.1 = later.1;
            true
        }
    });
    assert_eq!(last, [(0.8, 2), (1.3, 5), (1.8, 8)]);
    assert_eq!(states(&run, pusher), [(0.3, State::Working)]);
}

#[test]
fn a_push_starts_only_when_there_is_room_for_the_whole_row() {
    let trial = line(
        r#""row": 3, "push": "0.5 s""#,
        r#"{"id": "N", "type": "track", "capacity": 4}, {"id": "M", "type": "machine", "cycle": "1 s"}"#,
    );
    let run = trial.run(0, 5.0);
    // From 0.8 s on three parts, one taken at once; the third of them is taken at 2.8: room for three more at 1.8.
    assert_eq!(times(&run, trial.post("P"), Note::Exit(0))[..6], [0.8, 0.8, 0.8, 2.3, 2.3, 2.3]);
    assert!(states(&run, trial.post("P")).contains(&(0.8, State::Blocked)));
}

#[test]
fn each_lane_gets_one_part_of_a_row() {
    let lanes = r#"{"id": "a", "type": "track", "capacity": 2, "to": "A"}, {"id": "b", "type": "track", "capacity": 2, "to": "B"},
        {"id": "A", "type": "machine", "cycle": "1 s", "to": "out"}, {"id": "B", "type": "machine", "cycle": "3 s", "to": "out"}"#;
    let trial = line(r#""row": 2, "push": "0.4 s", "lanes": ["a", "b"]"#, lanes);
    let run = trial.run(0, 300.0);
    let counts = |post: &str, note| times(&run, trial.post(post), note).len();
    // The slower lane decides for both: a row for every 3 s, once its track is full.
    assert_eq!(counts("P", Note::Exit(0)), counts("P", Note::Exit(1)));
    assert_eq!((counts("A", Note::Took), counts("B", Note::Took)), (102, 100));
}

#[test]
fn a_row_on_a_spaced_belt_counts_as_one_entry() {
    let trial = line(
        r#""row": 2, "push": "0.2 s""#,
        r#"{"id": "N", "type": "belt", "length": "1 m", "speed": "0.1 m/s", "spacing": "0.1 m"}"#,
    );
    let run = trial.run(0, 3.5);
    assert_eq!(times(&run, trial.post("P"), Note::Exit(0)), [0.4, 0.4, 1.4, 1.4, 2.4, 2.4, 3.4, 3.4]);
}

#[test]
fn lanes_are_as_many_as_a_row_has_parts() {
    let text = r#"{"id": "F", "type": "work", "endless": true, "time": "0.1 s"},
        {"id": "P", "type": "row pusher", "row": 3, "push": "1 s", "lanes": ["a", "b"]},
        {"id": "a", "type": "track", "capacity": 2, "to": "out"}, {"id": "b", "type": "track", "capacity": 2, "to": "out"}"#;
    let said = problems(text, "");
    assert!(said.iter().any(|problem| problem.contains("a row of 3 goes to 2 lanes")), "{said:?}");
    let small = r#"{"id": "F", "type": "work", "endless": true, "time": "0.1 s"},
        {"id": "P", "type": "row pusher", "row": 3, "push": "1 s"}, {"id": "a", "type": "track", "capacity": 2, "to": "out"}"#;
    let said = problems(small, "");
    assert!(said.iter().any(|problem| problem.contains("3 parts together")), "{said:?}");
}
