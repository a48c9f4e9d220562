use crate::kernel::{Note, State};
use crate::stations::trial::{Trial, ns, problems, states, times};

/// Parts every second into a box.
fn line(boxed: &str) -> String {
    format!(
        r#"{{"id": "make", "type": "work", "endless": true, "time": "1 s"}},
           {{"id": "box", "type": "box out", {boxed}}}"#
    )
}

#[test]
fn a_box_is_exchanged_when_full_and_counts_its_parts_as_out() {
    let trial = Trial::new(&line(r#""holds": 4"#), "");
    let run = trial.run(0, 10.0);
    // An empty one is always there: after 4 and 8 parts.
    assert_eq!(times(&run, trial.post("box"), Note::Tipped), [4.0, 8.0]);
    assert_eq!(run.floor.flow().1, 10);
}

/// Ruling 22: when full, the sender takes no new part.
#[test]
fn a_full_box_holds_its_sender_until_the_hauler_has_come() {
    let spec = r#""holds": 4, "exchange": {"how": "hauler", "lead": "10 s"}"#;
    let trial = Trial::new(&line(spec), "");
    let run = trial.run(0, 30.0);
    // Full and called at 4 s; exchanged at 14 s. Four more take until 18 s.
    assert_eq!(times(&run, trial.post("box"), Note::Tipped), [14.0, 28.0]);
    let make = states(&run, trial.post("make"));
    assert_eq!(make[..3], [(0.0, State::Working), (4.0, State::Held), (14.0, State::Working)]);
    assert_eq!(
        states(&run, trial.post("box"))[..3],
        [(4.0, State::Blocked), (14.0, State::Starved), (18.0, State::Blocked)]
    );
}

#[test]
fn called_in_time_the_exchange_costs_nothing() {
    let spec = r#""holds": 20, "call_level": "50 %", "exchange": {"how": "hauler", "lead": "6 s"}"#;
    let trial = Trial::new(&line(spec), "");
    let run = trial.run(0, 60.0);
    // Called at ten parts, exchanged six seconds later. At equal times the box goes first, since it is further
    // downstream: the part of that second is the first one in the empty box.
    assert_eq!(times(&run, trial.post("box"), Note::Tipped)[..3], [16.0, 31.0, 46.0]);
    assert_eq!(states(&run, trial.post("make")), [(0.0, State::Working)]);
}

#[test]
fn an_attendant_exchanges_it_and_senders_that_block_stand_with_their_part() {
    let spec = r#""holds": 4, "when_full": "senders block", "exchange": {"how": "by hand", "by": "crew", "time": "5 s"}"#;
    let crew = r#", "attendants": [{"id": "crew", "walk": "3 s"}]"#;
    let trial = Trial::new(&line(spec), crew);
    let run = trial.run(0, 24.0);
    // Called at 4 s, exchanged at 12 s. The fifth part is ready at 5 s and blocks; it goes at 12 s, and 15 s is
    // the time of the fourth after that.
    assert_eq!(times(&run, trial.post("box"), Note::Tipped), [12.0, 23.0]);
    let make = states(&run, trial.post("make"));
    assert_eq!(make[..3], [(0.0, State::Working), (5.0, State::Blocked), (12.0, State::Working)]);
    assert_eq!(times(&run, trial.post("box"), Note::Called), [4.0, 15.0]);
}

/// A scrap box that holds its gauge stops good parts too; ruling 22.
#[test]
fn a_full_scrap_box_holds_the_gauge_that_fills_it() {
    let parts = r#", "parts": {"pin": {"conditions": {"bent": 1.0}}}"#;
    let stations = r#"{"id": "make", "type": "work", "endless": true, "time": "1 s"},
        {"id": "gauge", "type": "gauge", "catches": {"bent": 1.0}, "time": "0.5 s", "rejects_to": "scrap", "to": "out"},
        {"id": "scrap", "type": "scrap box", "holds": 3, "exchange": {"how": "hauler", "lead": "20 s"}}"#;
    let trial = Trial::new(stations, parts);
    let run = trial.run(0, 30.0);
    assert_eq!(times(&run, trial.post("scrap"), Note::Tipped), [23.5]);
    let gauge = states(&run, trial.post("gauge"));
    assert!(gauge.contains(&(3.5, State::Held)), "{gauge:?}");
}

/// Rulings 9 and 10: parts set aside are run again as a new life, repaired or not.
#[test]
fn what_is_set_aside_is_run_again_and_may_be_put_right() {
    let parts = r#", "parts": {"pin": {"conditions": {"bent": 0.5}}}, "plan": {"start": "primed"}"#;
    let stations = |repairs: &str| {
        format!(
            r#"{{"id": "bin", "type": "bin", "content": 200, "capacity": 1000, "to": "gauge"}},
            {{"id": "gauge", "type": "gauge", "catches": {{"bent": 1.0}}, "time": "1 s", "rejects_to": "aside", "to": "out"}},
            {{"id": "aside", "type": "box out", "holds": 10, "empties_to": "bin" {repairs}}}"#
        )
    };
    let trial = Trial::new(&stations(r#", "repairs": {"bent": 1.0}"#), parts);
    let mut run = trial.start(0);
    run.run_until(ns(1000.0));
    assert!(run.conserves_parts());
    let (created, left, _) = run.floor.flow();
    let gauge = trial.post("gauge").ix();
    let exits = run.floor.observer.0.counts[gauge].exits;
    assert_eq!(created, 200);
    // Every bent part goes into the box once; the last box may not be full.
    let in_box = exits[1] % 10;
    assert_eq!(left, 200 - in_box);
    assert_eq!(exits[0], left);
    let boxes = times(&run, trial.post("aside"), Note::Tipped).len() as u64;
    assert_eq!(exits[1], 10 * boxes + in_box);
    // Without repair they go round for ever, and none of them gets out.
    let trial = Trial::new(&stations(r#", "repairs": {"bent": "40 %"}"#), parts);
    let mut run = trial.start(0);
    // It ends when all that is left lies in a box that is not full: nobody brings that back.
    run.run_until(ns(3000.0));
    assert!(run.conserves_parts());
    let (_, left, _) = run.floor.flow();
    let exits = run.floor.observer.0.counts[trial.post("gauge").ix()].exits;
    assert!(left > 190, "nearly all are put right at last: {left}");
    // Each bent part comes by 1 / 0.4 times on the mean; 100 of them at first (sd 7), passes sd 1.94.
    let passes = exits[1] as f64;
    assert!((passes - 250.0).abs() < 5.0 * (100.0 * 1.94_f64.powi(2) + 49.0 * 6.25).sqrt(), "{passes}");
}

#[test]
fn what_makes_no_sense_is_refused() {
    assert!(!problems(&line(r#""holds": 0"#), "").is_empty());
    assert!(!problems(&line(r#""holds": 4, "call_level": 5"#), "").is_empty());
    assert!(!problems(&line(r#""holds": 4, "repairs": {"bent": 1.0}"#), "").is_empty());
    assert!(!problems(&line(r#""holds": 4, "empties_to": "make"}"#), "").is_empty());
    let scrap = r#"{"id": "make", "type": "work", "endless": true, "time": "1 s"},
        {"id": "scrap", "type": "scrap box", "exchange": {"how": "hauler", "lead": "200 s"}}"#;
    assert!(!problems(scrap, "").is_empty());
}
