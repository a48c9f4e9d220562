//! Attendants who help others, walks to stations, presences and staggered breaks, through whole lines.

use crate::kernel::{Note, State};
use crate::stations::trial::{Trial, states, times};

/// Three machines that stop after every part and are cleared by hand in 10 s.
fn line(by: [&str; 3], more: &str) -> Trial {
    let one = |(n, by): (usize, &&str)| {
        format!(
            r#"{{"id": "F{n}", "type": "work", "endless": true, "time": "1 s", "to": "out",
            "jams": [{{"per_part": 1.0, "time": "10 s", "by": "{by}"}}]}}"#
        )
    };
    let stations: Vec<String> = by.iter().enumerate().map(one).collect();
    Trial::new(&stations.join(","), more)
}

/// A pool answers the calls of another one only while none of its own waits.
#[test]
fn a_pool_helps_another_when_it_has_nothing_to_do() {
    let crew = r#", "attendants": [{"id": "a"}, {"id": "b", "helps": ["a"]}]"#;
    let trial = line(["a", "a", "b"], crew);
    let run = trial.run(0, 60.0);
    let at = |post: &str| times(&run, trial.post(post), Note::Attended);
    // All three stop at 1 s, in the order of the file: `a` takes F0, `b` has no call of its own yet and helps F1, F2
    // waits until 11 s. At 12 s F0 and F1 stop: `a` takes F0, `b` is still at F2, and helps F1 from 21 s on.
    assert_eq!(at("F0")[..2], [1.0, 12.0]);
    assert_eq!(at("F1")[..2], [1.0, 21.0]);
    assert_eq!(at("F2")[0], 11.0);
    // With nothing of its own to do it takes every second call.
    let trial = line(["a", "a", "a"], crew);
    let run = trial.run(0, 12.0);
    assert_eq!(times(&run, trial.post("F1"), Note::Attended), [1.0]);
    assert_eq!(times(&run, trial.post("F2"), Note::Attended), [11.0]);
}

#[test]
fn a_walk_to_a_station_may_have_its_own_time() {
    let crew = r#", "attendants": [{"id": "a", "number": 3, "walk": "5 s", "walk_to": {"F1": "20 s"}}]"#;
    let trial = line(["a", "a", "a"], crew);
    let run = trial.run(0, 30.0);
    assert_eq!(times(&run, trial.post("F0"), Note::Attended)[0], 6.0);
    assert_eq!(times(&run, trial.post("F1"), Note::Attended)[0], 21.0);
}

/// Ruling 20: a task begun before they go is finished first.
#[test]
fn attendants_are_there_in_their_shifts_only() {
    let crew = r#", "attendants": [{"id": "a", "number": 3, "shifts": [{"from": "5 s", "to": "20 s"}, {"from": "40 s", "to": "50 s"}]}],
        "plan": {"shift": "100 s"}"#;
    let trial = line(["a", "a", "a"], crew);
    let run = trial.run(0, 90.0);
    // Stopped at 1 s, attended at 5 s, cleared at 15 s; stopped at 16 s, cleared at 26 s; the next stop at 27 s waits.
    assert_eq!(times(&run, trial.post("F0"), Note::Attended), [5.0, 16.0, 40.0]);
    let seen = states(&run, trial.post("a 1"));
    let off: Vec<f64> = seen.iter().filter(|(_, state)| *state == State::Off).map(|(at, _)| *at).collect();
    assert_eq!(off, [0.0, 26.0, 50.0]);
}

#[test]
fn staggered_breaks_come_one_after_the_other() {
    let stations = r#"{"id": "F", "count": 3, "type": "work", "endless": true, "time": "1 s", "to": "out"}"#;
    let plan = r#", "plan": {"shift": "200 s", "breaks": [{"at": "10.5 s", "for": "20 s", "stagger": "30 s", "every": "100 s"}]}"#;
    let trial = Trial::new(stations, plan);
    let run = trial.run(0, 199.0);
    for (n, post) in ["F 1", "F 2", "F 3"].into_iter().enumerate() {
        let seen = states(&run, trial.post(post));
        let off: Vec<f64> =
            seen.iter().filter(|(_, state)| *state == State::Off).map(|(at, _)| *at).collect();
        // The cycle in progress is finished first; the second time one ends as the break begins.
        assert_eq!(off, [11.0 + 30.0 * n as f64, 110.5 + 30.0 * n as f64], "{post}");
        let back: Vec<f64> = seen.iter().filter(|(_, s)| *s == State::Working).map(|(at, _)| *at).collect();
        assert_eq!(back[1..], [30.5 + 30.0 * n as f64, 130.5 + 30.0 * n as f64], "{post}");
    }
    // A pool of two: somebody is always there.
    let crew = r#", "attendants": [{"id": "a", "number": 2}],
        "plan": {"shift": "200 s", "breaks": [{"at": "10 s", "for": "20 s", "stagger": "20 s", "of": ["a"]}]}"#;
    let trial = line(["a", "a", "a"], crew);
    let run = trial.run(0, 100.0);
    let offs = |post: &str| -> Vec<f64> {
        states(&run, trial.post(post)).iter().filter(|(_, s)| *s == State::Off).map(|(at, _)| *at).collect()
    };
    assert_eq!((offs("a 1").len(), offs("a 2").len()), (1, 1));
}
