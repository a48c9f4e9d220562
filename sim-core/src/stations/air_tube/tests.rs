//! Tests of the air tube: each named after a sentence of its documentation.

use crate::kernel::{Note, State};
use crate::stations::trial::{Trial, go, problems, states, times};

const FEEDER: &str = r#"{"id": "F", "type": "work", "endless": true, "time": "0.1 s"},
    {"id": "T", "type": "track", "capacity": 10},"#;

fn line(rest: &str) -> Trial {
    Trial::new(&format!("{FEEDER} {rest}"), "")
}

#[test]
fn a_shot_lands_a_travel_time_later_and_the_next_one_waits_for_it() {
    let trial = line(
        r#"{"id": "B", "type": "air tube", "length": "6 m", "speed": "8 m/s"},
        {"id": "M", "type": "machine", "cycle": "0.2 s"}"#,
    );
    let run = trial.run(0, 3.2);
    let tube = trial.post("B");
    assert_eq!(times(&run, tube, Note::Took), [0.1, 0.85, 1.6, 2.35, 3.1]);
    assert_eq!(times(&run, tube, Note::Exit(0)), [0.85, 1.6, 2.35, 3.1]);
    let working = run.floor.observer.0.time[tube.ix()][State::Working as usize];
    assert_eq!(working, 3_000_000_000, "from the first shot on it is always at work, up to the last change");
}

#[test]
fn a_part_under_way_counts_against_the_room_of_its_destination() {
    let trial = line(
        r#"{"id": "B", "type": "air tube", "travel": "0.5 s", "count": 2, "to": "N"},
        {"id": "N", "type": "receiver"},
        {"id": "M", "type": "machine", "cycle": "2 s"}"#,
    );
    let mut run = trial.start(0);
    for step in 1..200 {
        go(&mut run, f64::from(step) * 0.1);
        let place = run.floor.place(trial.place("N"));
        let flying: usize = ["B 1", "B 2"].iter().map(|b| run.stations[trial.post(b).ix()].content()).sum();
        assert!(flying + place.len() as usize <= 1, "at {step}: {flying} under way");
        assert_eq!(place.capacity() + place.promised(), 1);
    }
    // The receiver is free when the machine takes: a shot leaves then, and is there long before it is wanted.
    assert_eq!(
        times(&run, trial.post("M"), Note::Took),
        (0..10).map(|n| 0.6 + 2.0 * f64::from(n)).collect::<Vec<_>>()
    );
}

#[test]
fn several_shots_under_way_bring_as_many_times_more() {
    let at = |shots: u32| {
        let trial = line(&format!(
            r#"{{"id": "B", "type": "air tube", "travel": "1.5 s", "shots": {shots}, "to": "N"}},
            {{"id": "N", "type": "track", "capacity": 5}}, {{"id": "M", "type": "machine", "cycle": "0.1 s"}}"#
        ));
        times(&trial.run(0, 150.0), trial.post("M"), Note::Took).len()
    };
    // A shot every 1.5 s for each that may be under way, the first at 0.1 s.
    assert_eq!((at(1), at(3)), (99, 297));
}

#[test]
fn an_entry_that_is_not_clear_keeps_the_part_at_the_end_of_the_tube() {
    let trial = line(
        r#"{"id": "B", "type": "air tube", "travel": "0.3 s", "to": "N"},
        {"id": "N", "type": "belt", "length": "1 m", "speed": "0.1 m/s", "spacing": "0.1 m"}"#,
    );
    let run = trial.run(0, 6.0);
    let tube = trial.post("B");
    // The belt takes a part a second; the first lands at 0.4 s.
    assert_eq!(times(&run, tube, Note::Exit(0)), [0.4, 1.4, 2.4, 3.4, 4.4, 5.4]);
    assert!(states(&run, tube).iter().any(|(_, state)| *state == State::Blocked));
}

#[test]
fn jams_strike_at_each_moment_and_lose_no_part() {
    for when in ["start", "end", "after"] {
        let trial = Trial::new(
            &format!(
                r#"{FEEDER} {{"id": "B", "type": "air tube", "travel": "0.5 s", "to": "N",
                "jams": [{{"per_part": 1, "when": "{when}", "time": "2 s"}}]}},
                {{"id": "N", "type": "receiver"}}, {{"id": "M", "type": "machine", "cycle": "0.1 s"}}"#
            ),
            "",
        );
        let run = trial.run(0, 26.0);
        // Each part costs the travel and the jam.
        let gone = times(&run, trial.post("M"), Note::Exit(0));
        let ends: Vec<f64> = gone.windows(2).map(|pair| pair[1] - pair[0]).collect();
        assert!(ends.len() >= 8 && ends.iter().all(|gap| (gap - 2.5).abs() < 1e-9), "{when}: {ends:?}");
    }
}

#[test]
fn how_long_a_part_travels_has_to_be_clear() {
    let said = problems(&format!(r#"{FEEDER} {{"id": "B", "type": "air tube", "length": "6 m"}}"#), "");
    assert!(said.iter().any(|problem| problem.contains("travels is not clear")), "{said:?}");
}
