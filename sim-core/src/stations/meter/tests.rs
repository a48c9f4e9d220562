use crate::kernel::{Note, State};
use crate::stations::trial::{Trial, problems, states, times};

fn line(content: &str, meter: &str, above: &str, time: &str) -> String {
    format!(
        r#"{{"id": "bin", "type": "bin", "content": {content}}},
           {{"id": "meter", "type": "meter conveyor", {meter}}},
           {{"id": "above", "type": "track", {above}}},
           {{"id": "use", "type": "work", "time": {time}}}"#
    )
}

const PRIMED: &str = r#", "plan": {"start_at": {"bin": "primed"}}"#;

#[test]
fn an_index_starts_on_demand_and_its_parts_go_on_at_its_end() {
    let meter = r#""per_index": 3, "index_time": "2 s""#;
    let trial = Trial::new(&line("100", meter, r#""capacity": 4"#, "\"10 s\""), PRIMED);
    let run = trial.run(0, 30.0);
    let me = trial.post("meter");
    // 3 at 2 s, one of which goes to work; room for two: the index brings three at 4 s, one of which waits until
    // 12 s. Then the track is full until 22 s.
    assert_eq!(times(&run, me, Note::Exit(0)), [2.0, 2.0, 2.0, 4.0, 4.0, 12.0, 24.0]);
    assert_eq!(times(&run, me, Note::Took), [0.0, 0.0, 0.0, 2.0, 2.0, 2.0, 22.0, 22.0, 22.0]);
    assert_eq!(
        states(&run, me),
        [(0.0, State::Working), (4.0, State::Blocked), (22.0, State::Working), (24.0, State::Blocked)]
    );
    let (seconds, _) = trial.traffic("meter");
    assert!((seconds[0] - 2.0 / 3.0).abs() < 1e-12);
}

#[test]
fn straight_to_a_station_the_next_index_waits_until_all_is_taken() {
    let stations = r#"{"id": "bin", "type": "bin", "content": 100},
        {"id": "meter", "type": "meter conveyor", "per_index": 2, "index_time": "1 s"},
        {"id": "use", "type": "work", "time": "5 s"}"#;
    let trial = Trial::new(stations, PRIMED);
    let run = trial.run(0, 20.0);
    assert_eq!(times(&run, trial.post("use"), Note::Took), [1.0, 6.0, 11.0, 16.0]);
    assert_eq!(times(&run, trial.post("meter"), Note::Took), [0.0, 0.0, 6.0, 6.0, 16.0, 16.0]);
}

#[test]
fn an_index_brings_no_more_than_is_there_and_starves_when_nothing_is() {
    let meter = r#""per_index": 3, "index_time": "2 s""#;
    let trial = Trial::new(&line("4", meter, r#""capacity": 40"#, "\"10 s\""), PRIMED);
    let run = trial.run(0, 30.0);
    let me = trial.post("meter");
    assert_eq!(times(&run, me, Note::Exit(0)), [2.0, 2.0, 2.0, 4.0]);
    assert_eq!(states(&run, me), [(0.0, State::Working), (4.0, State::Starved)]);
}

#[test]
fn an_index_that_brings_none_is_counted() {
    let law = r#"{"law": "binomial", "trials": 1, "chance": 0.25}"#;
    let meter = format!(r#""per_index": {law}, "index_time": "1 s""#);
    let trial = Trial::new(&line("10000", &meter, r#""unlimited": true"#, "\"1 s\""), PRIMED);
    let run = trial.run(0, 4000.0);
    let counts = &run.floor.observer.0.counts[trial.post("meter").ix()];
    // The index that begins at 4000 s counts too.
    assert_eq!(counts.empty_strokes + counts.took, 4001);
    assert!((counts.took as f64 - 1000.25).abs() < 4.5 * (4001.0_f64 * 0.1875).sqrt(), "{counts:?}");
}

#[test]
fn at_a_rate_the_sum_is_exact_within_a_part() {
    for (rate, per_s) in [("\"0.37 /s\"", 0.37), ("\"250 /min\"", 250.0 / 60.0), ("\"3.6 m3/h\"", 5.0)] {
        let meter = format!(r#""rate": {rate}"#);
        let parts = r#", "parts": {"pin": {"density": "5000 /m3"}}, "plan": {"start_at": {"bin": "primed"}}"#;
        let trial = Trial::new(&line("10000", &meter, r#""unlimited": true"#, "\"0.1 s\""), parts);
        let me = trial.post("meter");
        let mut counts = std::collections::BTreeSet::new();
        for replication in 0..20 {
            for seconds in [1.0, 37.0, 1000.0] {
                let n = trial.run(replication, seconds).floor.observer.0.counts[me.ix()].exits[0];
                assert!((n as f64 - per_s * seconds).abs() < 1.0, "{rate} for {seconds} s: {n}");
                counts.insert((seconds as u64, n));
            }
        }
        let rounds = (per_s * 37.0).fract() > 0.0;
        assert_eq!(counts.len() > 3, rounds, "rounding is random: {counts:?}");
        let (seconds, _) = trial.traffic("meter");
        assert!((seconds[0] * per_s - 1.0).abs() < 1e-9);
    }
}

#[test]
fn at_a_rate_it_stands_while_a_portion_finds_no_room() {
    let meter = r#""rate": "2 /s""#;
    let trial = Trial::new(&line("100", meter, r#""capacity": 3"#, "\"10 s\""), PRIMED);
    let run = trial.run(0, 30.0);
    let me = trial.post("meter");
    // Two at 1 s (one goes to work), two at 2 s, two at 3 s that wait: 11 s and 21 s; a second later the next ones.
    assert_eq!(times(&run, me, Note::Exit(0)), [1.0, 1.0, 2.0, 2.0, 11.0, 21.0]);
    assert_eq!(
        states(&run, me),
        [(0.0, State::Working), (3.0, State::Blocked), (21.0, State::Working), (22.0, State::Blocked)]
    );
}

/// Ruling 23: held, a meter conveyor starts nothing; what is in progress is finished.
#[test]
fn a_hold_keeps_it_from_starting() {
    let sensor = r#", "plan": {"start_at": {"bin": "primed"}},
        "sensors": [{"id": "eye", "watches": "above", "high": 3, "low": 1, "holds": ["meter"]}]"#;
    let meter = r#""index_time": "2 s""#;
    let trial = Trial::new(&line("100", meter, r#""capacity": 40"#, "\"10 s\""), sensor);
    let run = trial.run(0, 40.0);
    let me = trial.post("meter");
    // One goes to work at 2 s; three are there at 8 s and the eye, which looks last, holds: the index that has
    // begun is finished. One is left at 32 s.
    assert_eq!(times(&run, me, Note::Exit(0)), [2.0, 4.0, 6.0, 8.0, 10.0, 34.0, 36.0, 38.0]);
    assert_eq!(
        states(&run, me),
        [(0.0, State::Working), (10.0, State::Held), (32.0, State::Working), (38.0, State::Held)]
    );
    let at_a_rate = Trial::new(&line("100", r#""rate": "1 /s""#, r#""capacity": 40"#, "\"10 s\""), sensor);
    let run = at_a_rate.run(0, 20.0);
    assert_eq!(times(&run, me, Note::Exit(0)), [1.0, 2.0, 3.0, 4.0]);
    assert_eq!(states(&run, me), [(0.0, State::Working), (4.0, State::Held)]);
}

#[test]
fn says_what_is_missing_or_said_twice() {
    let wrong = |meter: &str| problems(&line("9", meter, r#""capacity": 9"#, "\"1 s\""), "").join("\n");
    assert!(wrong(r#""per_index": 3"#).contains("by one of the two"));
    assert!(wrong(r#""rate": "1 /s", "index_time": "1 s""#).contains("by one of the two"));
    assert!(wrong(r#""rate": "1 /s", "per_index": 3"#).contains("has no index"));
    assert!(wrong(r#""rate": "1 m3/h""#).contains("needs the `density`"));
}

#[test]
fn trays_and_step_feeders_do_the_same() {
    let meter = r#""per_index": 3, "index_time": "2 s""#;
    let text = line("100", meter, r#""capacity": 4"#, "\"10 s\"");
    let out = |word: &str| {
        let trial = Trial::new(&text.replace("meter conveyor", word), PRIMED);
        let run = trial.run(0, 30.0);
        times(&run, trial.post("meter"), Note::Exit(0))
    };
    assert_eq!(out("metering tray"), out("meter conveyor"));
    assert_eq!(out("step feeder"), out("meter conveyor"));
}
