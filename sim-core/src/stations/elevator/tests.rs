use crate::kernel::{Note, State};
use crate::stations::trial::{Trial, go, levels, problems, states, times};

const PRIMED: &str = r#", "plan": {"start_at": {"bin": "primed"}}"#;

/// A bin of parts, a lift and a place above.
fn line(content: &str, lift: &str, above: &str) -> String {
    format!(
        r#"{{"id": "bin", "type": "bin", "content": {content}}},
           {{"id": "lift", "type": "elevator", {lift}}},
           {{"id": "above", "type": "track", {above}}},
           {{"id": "use", "type": "work", "time": "10 s"}}"#
    )
}

#[test]
fn parts_land_together_a_lift_time_after_their_cleat_passed_the_bin() {
    let lift = r#""cleats": "60 /min", "lift": "2.5 s", "per_cleat": 3"#;
    let trial = Trial::new(&line("100", lift, r#""capacity": 100"#), PRIMED);
    let run = trial.run(0, 6.0);
    let me = trial.post("lift");
    assert_eq!(times(&run, me, Note::Took), [1.0, 2.0, 3.0, 4.0, 5.0, 6.0].repeat_each(3));
    assert_eq!(times(&run, me, Note::Exit(0)), [3.5, 4.5, 5.5].repeat_each(3));
    assert_eq!(states(&run, me), [(1.0, State::Working)], "starved until something is aboard");
}

#[test]
fn a_lift_with_more_parts_aboard_than_can_be_meant_is_refused() {
    let found = |lift: &str| problems(&line("100", lift, r#""capacity": 100"#), PRIMED).join(" ");
    assert!(
        found(r#""cleats": "1000 /s", "lift": "1 day", "per_cleat": 1000"#)
            .contains("86400000000 parts are aboard")
    );
    assert!(
        found(r#""spacing": "1 mm", "speed": "1 m/s", "length": "10000 m", "per_cleat": 1"#)
            .contains("parts are aboard")
    );
    assert_eq!(found(r#""cleats": "90 /min", "lift": "60 s", "per_cleat": 200"#), "");
}

trait RepeatEach {
    fn repeat_each(self, n: usize) -> Vec<f64>;
}

impl<const N: usize> RepeatEach for [f64; N] {
    fn repeat_each(self, n: usize) -> Vec<f64> {
        self.iter().flat_map(|at| vec![*at; n]).collect()
    }
}

/// K-02: 0.20 m/s, cleat pitch 0.10 m, mean 3.2 parts a cleat: 384 parts a minute (plain kinematics).
#[test]
fn rated_and_run_rate_agree_with_kinematics() {
    let law = r#"{"law": "table", "values": [{"value": 3, "weight": 8}, {"value": 4, "weight": 2}]}"#;
    let lift = format!(r#""spacing": "0.1 m", "speed": "0.2 m/s", "length": "4 m", "per_cleat": {law}"#);
    let more = r#", "plan": {"start_at": {"bin": "primed"}}"#;
    let trial = Trial::new(&line("1000000", &lift, r#""unlimited": true"#), more);
    let (seconds, _) = trial.traffic("lift");
    assert!((60.0 / seconds[0] - 384.0).abs() < 1e-9);
    // Landed in (20 s, 1020 s]: the cleats that passed in 1000 s, 2000 of them.
    let mut run = trial.run(0, 20.0);
    let before = run.floor.observer.0.counts[trial.post("lift").ix()].exits[0];
    go(&mut run, 1020.0);
    let landed = run.floor.observer.0.counts[trial.post("lift").ix()].exits[0] - before;
    // Variance of a cleat 0.16.
    assert!((landed as f64 - 6400.0).abs() < 4.5 * (2000.0_f64 * 0.16).sqrt(), "{landed}");
}

/// Delivered counts of 10 s with two cleats a second and Binomial(6, 1/2) parts a cleat: mean and variance.
fn delivered(drop_back: &str, replications: u32) -> (f64, f64) {
    let law = r#"{"law": "binomial", "trials": 6, "chance": 0.5}"#;
    let lift = format!(r#""cleats": "2 /s", "lift": "0 s", "per_cleat": {law}, "drop_back": {drop_back}"#);
    let trial = Trial::new(&line("1000", &lift, r#""unlimited": true"#), PRIMED);
    let me = trial.post("lift");
    let (mut sum, mut squares) = (0.0, 0.0);
    for replication in 0..replications {
        let run = trial.run(u64::from(replication), 10.0);
        let counts = &run.floor.observer.0.counts[me.ix()];
        let n = counts.exits[0] as f64;
        sum += n;
        squares += n * n;
    }
    let mean = sum / f64::from(replications);
    (mean, squares / f64::from(replications) - mean * mean)
}

/// K-03: the standard deviation of the delivered count is 5.477225575 (binomial law).
#[test]
fn deliveries_spread_as_the_binomial_law_says() {
    let (mean, variance) = delivered("0", 4000);
    assert!((mean - 60.0).abs() < 4.5 * 5.477225575 / 4000.0_f64.sqrt(), "{mean}");
    // A nearly normal variance has the standard error v sqrt(2 / n).
    assert!(
        (variance / (5.477225575 * 5.477225575) - 1.0).abs() < 4.5 * (2.0_f64 / 4000.0).sqrt(),
        "{variance}"
    );
}

/// K-04: of these a share of 0.35 goes on, 2.1 a second (enumeration). The others fall back here.
#[test]
fn what_falls_back_stays_in_the_bin_and_is_counted() {
    let (mean, _) = delivered("0.65", 2000);
    // Variance of 120 independent parts with chance 0.175 each.
    let error = (120.0 * 0.175 * 0.825 / 2000.0_f64).sqrt();
    assert!((mean - 21.0).abs() < 4.5 * error, "{mean}");
    let lift = r#""cleats": "1 /s", "lift": "1 s", "per_cleat": 2, "drop_back": 0.25"#;
    let trial = Trial::new(&line("500", lift, r#""unlimited": true"#), PRIMED);
    let run = trial.run(0, 100.0);
    let counts = &run.floor.observer.0.counts[trial.post("lift").ix()];
    assert_eq!(counts.took + counts.dropped_back, 200);
    assert_eq!(u64::from(run.floor.place(trial.place("bin")).len()), 500 - counts.took);
    let (seconds, _) = trial.traffic("lift");
    assert!((seconds[0] - 1.0 / 1.5).abs() < 1e-12);
}

/// Ruling 21: picks fall linearly from a mark to zero.
#[test]
fn below_the_mark_picks_fall_with_the_content() {
    for (content, mark, expected) in [("25", "100", 1.0), ("50", "\"50 %\"", 2.0), ("200", "\"50 %\"", 4.0)] {
        let lift = format!(r#""cleats": "1 /s", "lift": "1 s", "per_cleat": 4, "mark": {mark}"#);
        let stations = line(content, &lift, r#""capacity": 100"#)
            .replace(r#""type": "bin","#, r#""type": "bin", "capacity": 200,"#);
        let trial = Trial::new(&stations, PRIMED);
        const N: u32 = 3000;
        let picked: u64 = (0..N)
            .map(|n| trial.run(u64::from(n), 1.0).floor.observer.0.counts[trial.post("lift").ix()].took)
            .sum();
        let p: f64 = expected / 4.0;
        let error = (4.0 * p * (1.0 - p) / f64::from(N)).sqrt();
        let mean = picked as f64 / f64::from(N);
        assert!((mean - expected).abs() <= 4.5 * error, "{content} of mark {mark}: {mean}");
    }
}

#[test]
fn never_more_is_picked_than_is_there() {
    let lift = r#""cleats": "1 /s", "lift": "1 s", "per_cleat": 4"#;
    let trial = Trial::new(&line("6", lift, r#""capacity": 100"#), PRIMED);
    let run = trial.run(0, 9.0);
    let me = trial.post("lift");
    assert_eq!(times(&run, me, Note::Took), [1.0, 1.0, 1.0, 1.0, 2.0, 2.0]);
    assert_eq!(states(&run, me), [(1.0, State::Working), (3.0, State::Starved)]);
}

/// Ruling 21: lift onto a full place stops by default; the whole lift stands.
#[test]
fn a_lift_that_stops_stands_until_its_landing_parts_have_room() {
    let lift = r#""cleats": "1 /s", "lift": "2 s", "per_cleat": 4"#;
    let trial = Trial::new(&line("100", lift, r#""capacity": 6"#), PRIMED);
    let run = trial.run(0, 40.0);
    let me = trial.post("lift");
    // Landing at 3 s: four, one of which goes to work at once (until 13 s, 23 s, ...). At 4 s three of four find
    // room; the last one at 13 s. Then what was aboard since 3 s lands a second later.
    let exits = times(&run, me, Note::Exit(0));
    assert_eq!(exits, [3.0, 3.0, 3.0, 3.0, 4.0, 4.0, 4.0, 13.0, 23.0, 33.0]);
    let took = times(&run, me, Note::Took);
    // At 4 s the landing goes first and stands the lift before the cleat passes; the cleat is due when it goes on.
    assert_eq!(took, [1.0, 2.0, 3.0, 13.0].repeat_each(4));
    let stood = states(&run, me);
    assert_eq!(
        stood,
        [(1.0, State::Working), (4.0, State::Blocked), (13.0, State::Working), (14.0, State::Blocked)]
    );
}

#[test]
fn a_lift_that_spills_goes_on_and_returns_what_finds_no_room() {
    let lift = r#""cleats": "1 /s", "lift": "2 s", "per_cleat": 4, "when_full": "spills back""#;
    let trial = Trial::new(&line("100", lift, r#""capacity": 6"#), PRIMED);
    let run = trial.run(0, 12.0);
    let me = trial.post("lift");
    assert_eq!(times(&run, me, Note::Exit(0)).len(), 7);
    // Ten landings of four, 3 s to 12 s.
    assert_eq!(run.floor.observer.0.counts[me.ix()].spilled, 33);
    assert_eq!(times(&run, me, Note::Spilled)[0], 4.0);
    assert_eq!(states(&run, me), [(1.0, State::Working)]);
    // Two cleats are aboard.
    assert_eq!(run.floor.place(trial.place("bin")).len(), 100 - 7 - 8);
    assert!(run.floor.place(trial.place("above")).waiting().is_empty());
}

#[test]
fn a_lift_that_queues_goes_on_and_keeps_what_has_landed() {
    let lift = r#""cleats": "1 /s", "lift": "2 s", "per_cleat": 4, "when_full": "queues""#;
    let trial = Trial::new(&line("100", lift, r#""capacity": 6"#), PRIMED);
    let run = trial.run(0, 13.0);
    let me = trial.post("lift");
    assert_eq!(times(&run, me, Note::Exit(0)).len(), 8);
    assert_eq!(times(&run, me, Note::Took).len(), 13 * 4);
    assert_eq!(states(&run, me), [(1.0, State::Working)]);
}

#[test]
fn a_bin_above_is_not_overfilled() {
    let stations = r#"{"id": "bin", "type": "bin", "content": 100},
        {"id": "lift", "type": "elevator", "cleats": "1 /s", "lift": "1 s", "per_cleat": 4},
        {"id": "hopper", "type": "bin", "capacity": 10},
        {"id": "use", "type": "work", "time": "10 s"}"#;
    let trial = Trial::new(stations, PRIMED);
    let run = trial.run(0, 30.0);
    let highest = levels(&run, trial.place("hopper")).iter().map(|(_, level)| *level).max();
    assert_eq!(highest, Some(10));
    assert_eq!(run.floor.observer.0.counts[trial.post("hopper").ix()].overfilled, 0);
    let exits = times(&run, trial.post("lift"), Note::Exit(0));
    assert_eq!(exits, [2.0, 2.0, 2.0, 2.0, 3.0, 3.0, 3.0, 3.0, 4.0, 4.0, 4.0, 12.0, 22.0]);
}

#[test]
fn straight_to_the_next_station_parts_land_one_after_the_other_and_the_lift_stands() {
    let stations = r#"{"id": "bin", "type": "bin", "content": 100},
        {"id": "lift", "type": "elevator", "cleats": "1 /s", "lift": "1 s", "per_cleat": 2},
        {"id": "use", "type": "work", "time": "3 s"}"#;
    let trial = Trial::new(stations, PRIMED);
    let run = trial.run(0, 8.0);
    // Two land at 2 s: one goes to work, the other one stands until 5 s, and the lift with it.
    assert_eq!(times(&run, trial.post("use"), Note::Took), [2.0, 5.0, 8.0]);
    let lift = trial.post("lift");
    assert_eq!(
        states(&run, lift)[..3],
        [(1.0, State::Working), (2.0, State::Blocked), (5.0, State::Working)]
    );
    let spills = stations.replace("\"per_cleat\": 2", "\"per_cleat\": 2, \"when_full\": \"spills back\"");
    let trial = Trial::new(&spills, PRIMED);
    let run = trial.run(0, 8.0);
    assert_eq!(times(&run, trial.post("use"), Note::Took), [2.0, 5.0, 8.0]);
    assert_eq!(run.floor.observer.0.counts[trial.post("lift").ix()].spilled, 14 - 3);
}

/// Ruling 23: freeze (clock and parts stand still) is the default for lifts.
#[test]
fn a_break_freezes_cleats_and_parts_aboard() {
    let lift = r#""cleats": "1 /s", "lift": "2.5 s", "per_cleat": 1"#;
    let more = r#", "plan": {"start_at": {"bin": "primed"}, "breaks": [{"at": "2.25 s", "for": "10 s", "of": ["lift"]}]}"#;
    let trial = Trial::new(&line("100", lift, r#""capacity": 100"#), more);
    let run = trial.run(0, 15.0);
    let me = trial.post("lift");
    assert_eq!(times(&run, me, Note::Took), [1.0, 2.0, 13.0, 14.0, 15.0]);
    assert_eq!(times(&run, me, Note::Exit(0)), [13.5, 14.5]);
    assert_eq!(states(&run, me), [(1.0, State::Working), (2.25, State::Off), (12.25, State::Working)]);
}

#[test]
fn a_break_while_the_place_above_is_full_counts_once() {
    let lift = r#""cleats": "1 /s", "lift": "2 s", "per_cleat": 4"#;
    let breaks = r#""breaks": [{"at": "6.5 s", "for": "2 s", "of": ["lift"]}, {"at": "12.5 s", "for": "4 s", "of": ["lift"]}]"#;
    let more = format!(r#", "plan": {{"start_at": {{"bin": "primed"}}, {breaks}}}"#);
    let trial = Trial::new(&line("100", lift, r#""capacity": 6"#), &more);
    let run = trial.run(0, 20.0);
    let me = trial.post("lift");
    // Blocked since 4 s; room comes at 13 s, in the second break, and is used at its end.
    assert_eq!(times(&run, me, Note::Exit(0))[7..], [16.5]);
    assert_eq!(
        times(&run, me, Note::Took)[12..],
        [16.5, 16.5, 16.5, 16.5],
        "a cleat was due when it stopped"
    );
    assert_eq!(
        states(&run, me)[1..],
        [
            (4.0, State::Blocked),
            (6.5, State::Off),
            (8.5, State::Blocked),
            (12.5, State::Off),
            (16.5, State::Working),
            (17.5, State::Blocked),
        ]
    );
}

#[test]
fn cleats_keep_their_phase_while_the_bin_is_empty() {
    let stations = r#"{"id": "tip", "type": "dumper", "contents": 5, "call_level": 0, "tip": "7.25 s", "exchange": "1 h"},
        {"id": "bin", "type": "bin"},
        {"id": "lift", "type": "elevator", "cleats": "1 /s", "lift": "1 s", "per_cleat": 2},
        {"id": "above", "type": "track", "capacity": 100},
        {"id": "use", "type": "work", "time": "1 s"}"#;
    let trial = Trial::new(stations, "");
    let run = trial.run(0, 20.0);
    assert_eq!(times(&run, trial.post("lift"), Note::Took), [8.0, 8.0, 9.0, 9.0, 10.0]);
    assert!(run.n_events < 20, "an idle lift has no events: {}", run.n_events);
    // What comes at the very instant of a cleat waits for the next one.
    let trial = Trial::new(&stations.replace("7.25 s", "7 s"), "");
    assert_eq!(times(&trial.run(0, 20.0), trial.post("lift"), Note::Took)[0], 8.0);
}

#[test]
fn a_jam_at_the_pick_stops_the_lift_and_all_aboard() {
    let lift = r#""cleats": "1 /s", "lift": "2.5 s", "per_cleat": 1,
        "jams": [{"per_part": 1, "when": "start", "time": "4 s"}]"#;
    let trial = Trial::new(&line("100", lift, r#""capacity": 100"#), PRIMED);
    let run = trial.run(0, 17.0);
    let me = trial.post("lift");
    // Every pick stops it for 4 s.
    assert_eq!(times(&run, me, Note::Took), [1.0, 6.0, 11.0, 16.0]);
    assert_eq!(times(&run, me, Note::Exit(0)), [15.5]);
}

#[test]
fn a_bridged_bin_gives_nothing() {
    let stations = line("100", r#""cleats": "1 /s", "lift": "0.5 s", "per_cleat": 1"#, r#""capacity": 100"#)
        .replace(
            r#""content": 100"#,
            r#""content": 100, "jams": [{"every": "3.25 s", "clock": "powered", "time": "2 s"}]"#,
        );
    let trial = Trial::new(&stations, PRIMED);
    let run = trial.run(0, 12.0);
    assert_eq!(times(&run, trial.post("lift"), Note::Took), [1.0, 2.0, 3.0, 6.0, 7.0, 8.0, 11.0, 12.0]);
    assert_eq!(
        states(&run, trial.post("bin")),
        [
            (0.0, State::Working),
            (3.25, State::JamClearing),
            (5.25, State::Working),
            (8.5, State::JamClearing),
            (10.5, State::Working)
        ]
    );
}

#[test]
fn says_what_is_missing_or_said_twice() {
    let wrong = |lift: &str| problems(&line("100", lift, r#""capacity": 9"#), "").join("\n");
    assert!(wrong(r#""lift": "1 s", "per_cleat": 1"#).contains("how often a cleat passes"));
    assert!(wrong(r#""cleats": "1 /s", "per_cleat": 1"#).contains("how long parts are under way"));
    let twice = r#""cleats": "1 /s", "spacing": "1 m", "speed": "1 m/s", "lift": "1 s", "length": "1 m", "per_cleat": 1"#;
    assert_eq!(wrong(twice).matches("say the same twice").count(), 2);
    assert!(
        wrong(r#""cleats": "1 /s", "lift": "1 s", "per_cleat": 1, "drop_back": 1"#)
            .contains("none is lifted")
    );
    let no_bin = r#"{"id": "feeder", "type": "work", "endless": true, "time": "1 s"},
        {"id": "lift", "type": "elevator", "cleats": "1 /s", "lift": "1 s", "per_cleat": 1}"#;
    assert!(problems(no_bin, "").join("\n").contains("lifts parts out of a bin"));
}
