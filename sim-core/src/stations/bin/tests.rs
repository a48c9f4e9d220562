use crate::kernel::{Note, State};
use crate::stations::trial::{Trial, problems, states, times};

const PARTS: &str = r#""parts": {"pin": {"mass": "20 g", "density": "5000 /m3",
    "conditions": {"short": 0.1, "bent": 0.02}}}"#;

fn bin(keys: &str) -> String {
    format!(r#"{{"id": "bin", "type": "bin" {keys}}}, {{"id": "use", "type": "work", "time": "1 s"}}"#)
}

fn primed(more: &str) -> String {
    format!(r#", "plan": {{"start": "primed"}} {more}"#)
}

/// The starting content is multinomial by condition; its sum is exact.
#[test]
fn the_starting_content_is_drawn_by_condition() {
    let trial = Trial::new(&bin(r#", "content": 300"#), &primed(&format!(", {PARTS}")));
    const N: u32 = 2000;
    let (mut sum, mut squares) = (0.0, 0.0);
    for replication in 0..N {
        let run = trial.start(u64::from(replication));
        let place = run.floor.place(trial.place("bin"));
        let (classes, counts) = place.counts().expect("it is a bin");
        assert_eq!((counts.iter().sum::<u32>(), place.len()), (300, 300));
        assert_eq!(run.floor.flow(), (300, 0, 0), "starting contents count as input");
        let short = classes.iter().position(|class| class.condition == 1);
        let short = short.map_or(0.0, |ix| f64::from(counts[ix]));
        sum += short;
        squares += short * short;
    }
    let mean = sum / f64::from(N);
    let variance = squares / f64::from(N) - mean * mean;
    assert!((mean - 30.0).abs() < 4.5 * (27.0 / f64::from(N)).sqrt(), "{mean}");
    assert!((variance / 27.0 - 1.0).abs() < 4.5 * (2.0 / f64::from(N)).sqrt(), "{variance}");
}

/// A bin is well mixed and emptied without replacement: all that was in it comes out, no more.
#[test]
fn what_is_in_it_comes_out() {
    let trial = Trial::new(&bin(r#", "content": 300"#), &primed(&format!(", {PARTS}")));
    let start = trial.start(0);
    let (classes, counts) = start.floor.place(trial.place("bin")).counts().expect("it is a bin");
    let bad: u32 = classes.iter().zip(counts).filter(|(class, _)| class.condition > 0).map(|(_, n)| n).sum();
    let run = trial.run(0, 400.0);
    let point = &run.floor.observer.0.points[0];
    assert_eq!((point.good, point.bad), (u64::from(300 - bad), u64::from(bad)));
    assert_eq!(states(&run, trial.post("bin")), [(0.0, State::Working), (299.0, State::Starved)]);
}

#[test]
fn amounts_by_weight_and_volume() {
    let parts = primed(&format!(", {PARTS}"));
    for (content, expected) in [("\"1 kg\"", 50), ("\"4 L\"", 20), ("7", 7)] {
        let trial = Trial::new(&bin(&format!(r#", "capacity": "5 kg", "content": {content}"#)), &parts);
        let run = trial.start(0);
        let place = run.floor.place(trial.place("bin"));
        assert_eq!((place.len(), place.capacity()), (expected, 250), "{content}");
    }
}

/// Overfilling is noted, nothing is lost; a full bin is blocked.
#[test]
fn overfilling_is_noted() {
    let stations = r#"{"id": "feed", "type": "work", "endless": true, "time": "1 s"},
        {"id": "bin", "type": "bin", "capacity": 3},
        {"id": "use", "type": "work", "time": "1 h"}"#;
    let trial = Trial::new(stations, "");
    let run = trial.run(0, 6.0);
    // One goes to work at 1 s; the bin holds 1, 2, 3 and then 4 and 5 at 5 and 6 s.
    assert_eq!(run.floor.place(trial.place("bin")).len(), 5);
    assert_eq!(times(&run, trial.post("bin"), Note::Overfilled), [5.0, 6.0]);
    assert_eq!(states(&run, trial.post("bin"))[1..], [(2.0, State::Working), (4.0, State::Blocked)]);
}

#[test]
fn an_endless_bin_never_runs_out_and_swallows_what_returns() {
    let stations = r#"{"id": "bin", "type": "bin", "endless": true, "to": "use"},
        {"id": "feed", "type": "work", "endless": true, "time": "1 s", "to": "bin"},
        {"id": "use", "type": "work", "time": "0.5 s", "to": "out"}"#;
    let trial = Trial::new(stations, &format!(", {PARTS}"));
    let run = trial.run(0, 10_000.0);
    let point = &run.floor.observer.0.points[0];
    assert_eq!(point.good + point.bad, 20_000);
    // Natural mix: 0.12 of the parts are bad.
    let error = (20_000.0_f64 * 0.12 * 0.88).sqrt();
    assert!((point.bad as f64 - 2400.0).abs() < 4.5 * error, "{}", point.bad);
    // Picked: 20,001 (the last one is at work); fed 10,000, which have left through the bin.
    assert_eq!(run.floor.flow(), (20_001 + 10_000 + 1, 20_000 + 10_000, 0));
    let (_, most) = trial.traffic("bin");
    assert_eq!(most, Some(f64::INFINITY));
}

/// Held or off the outlet is closed, and the powered clock of a bridge stands.
#[test]
fn in_a_break_the_outlet_is_closed() {
    let keys = r#", "content": 50, "jams": [{"every": "10 s", "clock": "powered", "time": "5 s"}]"#;
    let more = r#", "plan": {"start": "primed", "breaks": [{"at": "4 s", "for": "20 s", "of": ["bin"]}]}"#;
    let trial = Trial::new(&bin(keys), more);
    let run = trial.run(0, 37.0);
    let seen = states(&run, trial.post("bin"));
    let working = |at: f64| (at, State::Working);
    let expected =
        [working(0.0), (4.0, State::Off), working(24.0), (30.0, State::JamClearing), working(35.0)];
    assert_eq!(seen, expected);
    let took = times(&run, trial.post("use"), Note::Took);
    assert_eq!(took[..6], [0.0, 1.0, 2.0, 3.0, 24.0, 25.0]);
    // At 30 s the station, which is downstream, acts before the bridge.
    assert_eq!(took[9..12], [29.0, 30.0, 35.0]);
}

#[test]
fn says_what_cannot_be() {
    let found = |keys: &str, more: &str| problems(&bin(keys), more).join("\n");
    assert!(found(r#", "capacity": 5, "content": 6"#, "").contains("starts with 6 parts and holds 5"));
    assert!(found(r#", "capacity": "1 kg", "content": 6"#, "").contains("needs the `mass`"));
    assert!(found(r#", "content": "1 L""#, "").contains("needs the `density`"));
    assert!(found(r#", "endless": true, "content": 6"#, "").contains("has no `content`"));
    assert!(found(r#", "content": 6, "part": "nut""#, &format!(", {PARTS}")).contains("nut"));
    let onto = r#"{"id": "bin", "type": "bin", "content": 6}, {"id": "track", "type": "track", "capacity": 6},
        {"id": "use", "type": "work", "time": "1 s"}"#;
    assert!(problems(onto, "").join("\n").contains("gives nothing by itself"));
    assert!(found("", "").contains("nothing feeds"), "an empty bin needs a feeder");
}
