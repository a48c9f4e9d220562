use crate::kernel::{Note, State};
use crate::stations::trial::{Trial, go, problems, states, times};

/// K-01: a belt of 0.25 m/s with a pitch of 0.05 m brings 300 parts a minute (plain kinematics).
#[test]
fn a_belt_with_a_fixed_pitch_brings_speed_over_pitch() {
    for end in ["accumulating", "stopping"] {
        let stations = format!(
            r#"{{"id": "feed", "type": "work", "endless": true, "time": "0.01 s"}},
               {{"id": "belt", "type": "belt", "length": "2 m", "speed": "0.25 m/s", "spacing": "0.05 m", "end": "{end}"}},
               {{"id": "use", "type": "work", "time": "0.001 s"}}"#
        );
        let trial = Trial::new(&stations, "");
        let run = trial.run(0, 128.0);
        // First entry at 0.01 s, first arrival at 8.01 s, one every 0.2 s.
        let arrivals = times(&run, trial.post("use"), Note::Took);
        assert_eq!(arrivals.len(), 600, "{end}");
        assert!((arrivals[0] - 8.01).abs() < 1e-9 && (arrivals[300] - 68.01).abs() < 1e-9);
        let (seconds, _) = trial.traffic("belt");
        assert!((60.0 / seconds[0] - 300.0).abs() < 1e-9);
    }
}

/// 40 parts fit a belt of 2 m with a pitch of 0.05 m, and as many are under way at full flow: it moves. Behind a station that
/// takes half of them it closes up, and is blocked while its head is at the end and no other part can enter.
#[test]
fn a_belt_that_is_full_of_moving_parts_works() {
    let line = |time: &str| {
        format!(
            r#"{{"id": "feed", "type": "work", "endless": true, "time": "0.01 s"}},
               {{"id": "belt", "type": "belt", "length": "2 m", "speed": "0.25 m/s", "spacing": "0.05 m"}},
               {{"id": "use", "type": "work", "time": "{time}"}}"#
        )
    };
    let blocked = |time: &str| {
        let trial = Trial::new(&line(time), "");
        let run = trial.run(0, 128.0);
        let changes = states(&run, trial.post("belt"));
        let ends = changes.iter().skip(1).map(|(at, _)| *at).chain([128.0]);
        let spells = changes.iter().zip(ends).filter(|((_, state), _)| *state == State::Blocked);
        spells.map(|((from, _), to)| to - from).sum::<f64>()
    };
    assert_eq!(blocked("0.001 s"), 0.0);
    assert!(blocked("0.4 s") > 60.0, "{}", blocked("0.4 s"));
}

/// K-08: 60 places, 1.5 parts/s in, 1.2 parts/s out: full after 200 s (fluid; here within one part).
#[test]
fn a_track_fills_at_the_difference_of_the_rates() {
    let stations = r#"{"id": "feed", "type": "stream", "spacing": "0.666666666667 s"},
        {"id": "track", "type": "track", "capacity": 60},
        {"id": "use", "type": "work", "time": "0.833333333333 s"}"#;
    let trial = Trial::new(stations, "");
    let run = trial.run(0, 250.0);
    let full =
        states(&run, trial.post("track")).iter().find(|(_, state)| *state == State::Blocked).map(|s| s.0);
    let full = full.expect("the track fills");
    // A whole part more or less is 1 / 0.3 s.
    assert!((full - 200.0).abs() <= 1.0 / 0.3 + 1e-6, "{full}");
}

/// K-09: 1.8 m at 0.3 m/s and 2.5 parts/s: 15 parts on the belt in the mean (Little, 1961).
#[test]
fn the_mean_content_of_a_belt_obeys_littles_law() {
    let stations = r#"{"id": "feed", "type": "stream", "spacing": {"law": "exponential", "mean": "0.4 s"}},
        {"id": "belt", "type": "belt", "length": "1.8 m", "speed": "0.3 m/s", "unlimited": true},
        {"id": "use", "type": "work", "places": 1000, "time": "0.001 s"}"#;
    let trial = Trial::new(stations, r#", "plan": {"shift": "2 h"}"#);
    let mut run = trial.run(0, 10.0);
    run.floor.observer.0.open(run.floor.now);
    go(&mut run, 7210.0);
    run.floor.observer.0.close(run.floor.now);
    let tally = &run.floor.observer.0;
    let mean = tally.levels[trial.place("belt").ix()].area() as f64 / tally.window as f64;
    // A Poisson content with mean 15 and correlation 1 - t/6 s: variance of the mean 15 x 6 / 7200.
    assert!((mean - 15.0).abs() < 4.5 * (15.0_f64 * 6.0 / 7200.0).sqrt(), "{mean}");
}

/// An accumulating belt closes up at its end, a stopping one stands with its head.
#[test]
fn stopping_and_accumulating_belts_differ_after_a_standstill() {
    let line = |end: &str| {
        format!(
            r#"{{"id": "feed", "type": "stream", "spacing": "3 s"}},
               {{"id": "belt", "type": "belt", "capacity": 100, "travel": "10 s", "end": "{end}"}},
               {{"id": "use", "type": "work", "time": {{"law": "observed", "values": ["20 s"]}}}}"#
        )
    };
    // Parts enter at 3, 6, 9 ... s. Accumulating: at the end at 13, 16, 19 ... s, so that all are there when the
    // station asks for the next one.
    let trial = Trial::new(&line("accumulating"), "");
    let took = times(&trial.run(0, 100.0), trial.post("use"), Note::Took);
    assert_eq!(took, [13.0, 33.0, 53.0, 73.0, 93.0]);
    // Stopping: the second part is at the end at 16 s and stands, and the belt with it, until 33 s; the third is
    // 3 s behind. So the belt moves 3 s and stands 17 s of every 20 s, and the station never waits.
    let trial = Trial::new(&line("stopping"), "");
    let run = trial.run(0, 100.0);
    assert_eq!(times(&run, trial.post("use"), Note::Took), [13.0, 33.0, 53.0, 73.0, 93.0]);
    // It has stood 16-33, 36-53, 56-73 and 76-93 s. The part of 18 s was put on it at belt time 16 s, a second
    // behind the one of 15 s, which was at the end when the belt had stood for 51 s, at 76 s.
    assert_eq!(run.floor.place(trial.place("belt")).due(0), Some(94_000_000_000));
    // Ruling 5: it is blocked while it stands.
    let seen = states(&run, trial.post("belt"));
    let (moves, stands) = (State::Working, State::Blocked);
    assert_eq!(seen[..5], [(3.0, moves), (16.0, stands), (33.0, moves), (36.0, stands), (53.0, moves)]);
}

/// Parts that come while a stopping belt stands are put on it where it stands: they come to the end together.
#[test]
fn what_is_put_on_a_standing_belt_stays_together() {
    let stations = r#"{"id": "feed", "type": "stream", "spacing": "4 s"},
        {"id": "belt", "type": "belt", "capacity": 100, "travel": "10 s", "end": "stopping"},
        {"id": "use", "type": "work", "time": {"law": "observed", "values": ["30 s"]}}"#;
    let trial = Trial::new(stations, "");
    let run = trial.run(0, 40.0);
    // Enter 4, 8, 12 s; 14 s: the first is taken (until 44 s); 18 s: the second is at the end, the belt stands.
    // Those of 20, 24, 28 ... s are put on it at belt time 18 s.
    let belt = run.floor.place(trial.place("belt"));
    let due: Vec<_> = (0..belt.len()).filter_map(|ix| belt.due(ix)).map(|due| due / 1_000_000_000).collect();
    assert_eq!(due, [18, 22, 26, 28, 28, 28, 28, 28, 28]);
}

/// Ruling 5: a transporter is off while a break freezes it; what enters meanwhile moves on afterwards.
#[test]
fn a_frozen_belt_goes_on_where_it_stood() {
    for end in ["accumulating", "stopping"] {
        let stations = format!(
            r#"{{"id": "feed", "type": "stream", "spacing": "4 s"}},
               {{"id": "belt", "type": "belt", "capacity": 100, "travel": "10 s", "end": "{end}"}},
               {{"id": "use", "type": "work", "time": "0.5 s"}}"#
        );
        let more = r#", "plan": {"breaks": [{"at": "9 s", "for": "20 s", "of": ["belt"]}]}"#;
        let trial = Trial::new(&stations, more);
        let run = trial.run(0, 50.0);
        // Entered 4 s and 8 s: 5 s and 9 s to go at 29 s. Entered 12 to 28 s, in the break: ten seconds to go.
        let took = times(&run, trial.post("use"), Note::Took);
        assert_eq!(took[..2], [34.0, 38.0], "{end}");
        let together = [39.0, 39.5, 40.0, 40.5, 41.0];
        assert_eq!(took[2..7], together, "{end}");
        assert_eq!(
            states(&run, trial.post("belt"))[..3],
            [(4.0, State::Working), (9.0, State::Off), (29.0, State::Working)]
        );
    }
}

/// Gravity tracks go on in a break; live ones stand.
#[test]
fn a_break_stops_live_tracks_and_leaves_gravity_alone() {
    let line = |drive: &str| {
        format!(
            r#"{{"id": "feed", "type": "stream", "spacing": "4 s"}},
               {{"id": "track", "type": "track", "capacity": 100, "travel": "10 s", "drive": "{drive}"}},
               {{"id": "use", "type": "work", "time": "0.5 s"}}"#
        )
    };
    let more = r#", "plan": {"breaks": [{"at": "9 s", "for": "20 s", "of": ["track"]}]}"#;
    for (drive, first) in [("gravity", 14.0), ("live", 34.0)] {
        let trial = Trial::new(&line(drive), more);
        assert_eq!(times(&trial.run(0, 40.0), trial.post("use"), Note::Took)[0], first, "{drive}");
    }
}

/// Spacing is kept on the belt: while the belt stands nothing enters.
#[test]
fn entries_keep_their_spacing_when_the_belt_has_stood() {
    let stations = r#"{"id": "feed", "type": "work", "endless": true, "time": "0.1 s"},
        {"id": "belt", "type": "belt", "length": "1 m", "speed": "0.1 m/s", "spacing": "0.2 m", "end": "stopping", "capacity": 100},
        {"id": "use", "type": "work", "time": "3 s"}"#;
    let trial = Trial::new(stations, "");
    let run = trial.run(0, 60.0);
    // Spacing 2 s of belt time; the station takes one every 3 s, so that the belt moves 2 s and stands 1 s.
    let entered = times(&run, trial.post("feed"), Note::Exit(0));
    assert_eq!(entered[..5], [0.1, 2.1, 4.1, 6.1, 8.1]);
    let took = times(&run, trial.post("use"), Note::Took);
    assert_eq!(took[..4], [10.1, 13.1, 16.1, 19.1]);
    // Entries at belt times 0.1 + 2 k s; the belt stands from 12.1 to 13.1 s, 15.1 to 16.1 s, ...
    assert_eq!(entered[5..10], [10.1, 12.1, 15.1, 18.1, 21.1]);
}

#[test]
fn capacity_follows_from_length_and_part_or_spacing() {
    let parts = r#", "parts": {"pin": {"length": "40 mm"}}"#;
    let line = |keys: &str| {
        format!(
            r#"{{"id": "feed", "type": "work", "endless": true, "time": "1 s"}},
               {{"id": "track", "type": "{keys}}}, {{"id": "use", "type": "work", "time": "1 s"}}"#
        )
    };
    for (keys, expected) in [
        (r#"track", "length": "1.2 m""#, 30),
        (r#"track", "length": "1.19 m""#, 29),
        (r#"track", "length": "1.2 m", "capacity": 7"#, 7),
        (r#"belt", "length": "1.2 m", "speed": "1 m/s", "spacing": "0.1 m""#, 12),
    ] {
        let trial = Trial::new(&line(keys), parts);
        let run = trial.start(0);
        assert_eq!(run.floor.place(trial.place("track")).capacity(), expected, "{keys}");
    }
    let found = |keys: &str| problems(&line(keys), "").join("\n");
    assert!(found(r#"track", "length": "1.2 m""#).contains("needs the `length`"));
    assert!(found(r#"track""#).contains("how many parts fit"));
    assert!(found(r#"belt", "capacity": 5, "speed": "1 m/s""#).contains("no travel time"));
}
