use crate::kernel::troubles::Trigger;
use crate::kernel::{Note, State};
use crate::replication::Stop;
use crate::stations::trial::{Run, Trial, go, levels, ns, problems, states, times};

/// A dumper, a bin for 100 parts and a station that takes one every second.
fn line(dumper: &str) -> String {
    format!(
        r#"{{"id": "tip", "type": "dumper", {dumper}}},
           {{"id": "bin", "type": "bin", "capacity": 100}},
           {{"id": "use", "type": "work", "time": "1 s"}}"#
    )
}

const CYCLE: &str = r#""lift": "5 s", "tip": "3 s", "return": "4 s", "exchange": "6 s""#;

/// Times at which the bin's content jumps up, and to what.
fn pours(run: &Run<'_>, trial: &Trial) -> Vec<(f64, u32)> {
    let all = levels(run, trial.place("bin"));
    let mut last = 0;
    let mut up = Vec::new();
    for (at, level) in all {
        if level > last {
            up.push((at, level));
        }
        last = level;
    }
    up
}

#[test]
fn a_tip_is_called_at_the_level_and_all_falls_at_the_end_of_the_tip() {
    let trial = Trial::new(&line(&format!(r#""contents": 30, "call_level": "20 %", {CYCLE}"#)), "");
    let run = trial.run(0, 60.0);
    // Called at 0: lift and tip end at 8 s, the cycle at 18 s. One part is taken at 8, 9 ... s (at equal times
    // before the dumper acts): 19 are left at 18 s, and the next tip is called at once. At 36 s, when its cycle
    // ends, 31 are left; at 47 s 20.
    assert_eq!(pours(&run, &trial), [(8.0, 30), (26.0, 41), (55.0, 42)]);
    assert_eq!(times(&run, trial.post("tip"), Note::Tipped), [8.0, 26.0, 55.0]);
    let wait = states(&run, trial.post("tip"));
    assert_eq!(wait, [(0.0, State::Working), (36.0, State::Blocked), (47.0, State::Working)]);
}

#[test]
fn the_call_level_itself_calls() {
    let trial = Trial::new(&line(&format!(r#""contents": 30, "call_level": 5, {CYCLE}"#)), "");
    let run = trial.run(0, 60.0);
    // 30 at 8 s; taken at 8, 9 ... s: five are left at 32 s.
    assert_eq!(times(&run, trial.post("tip"), Note::Tipped), [8.0, 40.0]);
    assert_eq!(
        states(&run, trial.post("tip")),
        [(0.0, State::Working), (18.0, State::Blocked), (32.0, State::Working), (50.0, State::Blocked)]
    );
}

/// Ruling 21: fetch when a waiting place is free; its container is taken at the start of the cycle.
#[test]
fn a_hauler_is_called_when_a_waiting_place_is_free() {
    let hauler = r#""contents": 10, "call_level": 0, "containers": {"how": "hauler", "lead": "100 s"}"#;
    let trial = Trial::new(&line(&format!("{hauler}, {CYCLE}")), "");
    let run = trial.run(0, 330.0);
    // The container beside it goes at 0, the next one comes 100 s later and is wanted at once (the bin has run
    // out), and so on.
    let tip = trial.post("tip");
    assert_eq!(times(&run, tip, Note::Tipped), [8.0, 108.0, 208.0, 308.0]);
    let seen = states(&run, tip);
    // Ten parts are picked at 8 to 17 s, the cycle ends at 18 s.
    assert_eq!(
        seen[..4],
        [(0.0, State::Working), (18.0, State::Starved), (100.0, State::Working), (118.0, State::Starved)]
    );
    let (_, most) = trial.traffic("tip");
    assert!((most.expect("a source") - 10.0 / 100.0).abs() < 1e-12);
}

/// Ruling 21: with no places the tip call is the fetch call.
#[test]
fn without_waiting_places_the_tip_call_fetches() {
    let hauler = r#""contents": 10, "call_level": 0, "waiting_places": 0, "containers": {"how": "hauler", "lead": "100 s"}"#;
    let trial = Trial::new(&line(&format!("{hauler}, {CYCLE}")), "");
    let run = trial.run(0, 350.0);
    assert_eq!(times(&run, trial.post("tip"), Note::Tipped), [108.0, 226.0, 344.0]);
    let (_, most) = trial.traffic("tip");
    assert!((most.expect("a source") - 10.0 / 118.0).abs() < 1e-12);
}

#[test]
fn several_places_and_those_taken_at_the_start() {
    let hauler = r#""contents": 10, "call_level": 0, "waiting_places": 3, "waiting_at_start": 1,
        "containers": {"how": "hauler", "lead": "100 s"}"#;
    let trial = Trial::new(&line(&format!("{hauler}, {CYCLE}")), "");
    let run = trial.run(0, 190.0);
    // Three calls at 0: two free places and the one from which the first container went. All come at 100 s.
    assert_eq!(times(&run, trial.post("tip"), Note::Tipped), [8.0, 108.0, 126.0, 144.0]);
    let (_, most) = trial.traffic("tip");
    assert!((most.expect("a source") - 10.0 * 3.0 / 100.0).abs() < 1e-12);
}

#[test]
fn at_intervals_what_finds_no_place_is_taken_back() {
    let spec = r#""contents": 10, "call_level": 0, "waiting_at_start": 0, "containers": {"how": "intervals", "every": "7 s"}"#;
    let trial = Trial::new(&line(&format!("{spec}, {CYCLE}")), "");
    let run = trial.run(0, 60.0);
    // One comes at 7 s and is tipped; of those at 14, 21 and 28 s the first waits. From 25 s on it is tipped.
    assert_eq!(times(&run, trial.post("tip"), Note::Tipped), [15.0, 33.0, 51.0]);
    assert_eq!(states(&run, trial.post("tip"))[..2], [(0.0, State::Starved), (7.0, State::Working)]);
    assert_eq!(run.floor.flow().0, 30);
}

#[test]
fn by_hand_an_attendant_brings_it() {
    let spec =
        r#""contents": 10, "call_level": 0, "containers": {"how": "by hand", "by": "crew", "time": "30 s"}"#;
    let crew = r#", "attendants": [{"id": "crew", "walk": "15 s"}]"#;
    let trial = Trial::new(&line(&format!("{spec}, {CYCLE}")), crew);
    let run = trial.run(0, 110.0);
    // Called at 0 for the place that the first container has left: 15 s of walk, 30 s of work.
    assert_eq!(times(&run, trial.post("tip"), Note::Called), [0.0, 45.0, 90.0]);
    assert_eq!(times(&run, trial.post("tip"), Note::Tipped), [8.0, 53.0, 98.0]);
    assert_eq!(times(&run, trial.post("tip"), Note::Attended), [15.0, 60.0, 105.0]);
}

#[test]
fn a_stop_delays_the_cycle_but_not_the_hauler() {
    let spec = r#""contents": 10, "call_level": 0, "containers": {"how": "hauler", "lead": "25 s"},
        "breakdowns": [{"every": "20 s", "clock": "wall", "time": "100 s"}]"#;
    let trial = Trial::new(&line(&format!("{spec}, {CYCLE}")), "");
    let run = trial.run(0, 135.0);
    // It breaks at 20 s, ready; the container comes at 25 s and is tipped when it is repaired, at 120 s.
    assert_eq!(times(&run, trial.post("tip"), Note::Tipped), [8.0, 128.0]);
    let spec = spec.replace("\"20 s\"", "\"6 s\"");
    let trial = Trial::new(&line(&format!("{spec}, {CYCLE}")), "");
    // It breaks at 6 s, a second after the lift; the two seconds of tip that are left come after the repair.
    assert_eq!(times(&trial.run(0, 110.0), trial.post("tip"), Note::Tipped), [108.0]);
}

#[test]
fn during_a_break_the_cycle_is_finished_and_none_is_started() {
    let more = r#", "plan": {"breaks": [{"at": "6 s", "for": "50 s", "of": ["tip"]}]}"#;
    let trial = Trial::new(&line(&format!(r#""contents": 10, "call_level": 0, {CYCLE}"#)), more);
    let run = trial.run(0, 70.0);
    assert_eq!(times(&run, trial.post("tip"), Note::Tipped), [8.0, 64.0]);
    assert_eq!(
        states(&run, trial.post("tip")),
        [(0.0, State::Working), (18.0, State::Off), (56.0, State::Working)]
    );
}

/// Ruling 21: pours come in portions, counts kept; held while the place below is full.
#[test]
fn at_a_rate_portions_fall_in_time_and_wait_for_room() {
    let spec = r#""contents": 60, "call_level": 50, "pour_rate": "10 /s", "portions": 6, "exchange": "1 s""#;
    let trial = Trial::new(&line(&format!(r#"{spec}, "tip": "2 s""#)), "");
    let run = trial.run(0, 30.0);
    let up = pours(&run, &trial);
    // Tilted at 2 s; ten parts every second from 3 s on, while one is taken every second.
    assert_eq!(up[..6], [(3.0, 10), (4.0, 18), (5.0, 27), (6.0, 36), (7.0, 45), (8.0, 54)]);
    // The cycle ends at 9 s; at 12 s 50 are left. Tilted at 14 s; the sixth portion, at 20 s, finds 92 parts and
    // waits until 90 are left.
    assert_eq!(up[6..12], [(15.0, 57), (16.0, 66), (17.0, 75), (18.0, 84), (19.0, 93), (22.0, 100)]);
    assert_eq!(times(&run, trial.post("tip"), Note::Tipped), [8.0, 22.0]);
    assert_eq!(run.floor.observer.0.counts[trial.post("bin").ix()].overfilled, 0);
    let seen = states(&run, trial.post("tip"));
    assert_eq!(seen[3..5], [(20.0, State::Blocked), (22.0, State::Working)], "{seen:?}");
}

#[test]
fn at_once_everything_falls_and_overfilling_is_noted() {
    let trial = Trial::new(&line(&format!(r#""contents": 120, "call_level": 0, {CYCLE}"#)), "");
    let run = trial.run(0, 10.0);
    assert_eq!(pours(&run, &trial), [(8.0, 120)]);
    assert_eq!(run.floor.observer.0.counts[trial.post("bin").ix()].overfilled, 1);
}

const PARTS: &str = r#", "parts": {"pin": {"mass": "20 g", "density": "5000 /m3",
    "conditions": {"short": 0.1, "bent": 0.02}, "attitudes": {"up": 0.5, "down": 0.3, "side": 0.2} LOTS}}"#;

/// Counts by condition of the first container, as they lie in the bin (nobody takes any yet).
fn first_container(trial: &Trial, replication: u64) -> [u32; 3] {
    let run = trial.run(replication, 8.0);
    let place = run.floor.place(trial.place("bin"));
    let (classes, counts) = place.counts().expect("it is a bin");
    let mut by_condition = [0; 3];
    for (class, count) in classes.iter().zip(counts) {
        by_condition[usize::from(class.condition)] += count;
    }
    by_condition
}

/// Mean and variance of the short parts of a container of 400.
fn short_parts(lots: &str, pour: &str) -> (f64, f64) {
    let spec = format!(r#""contents": 400, "call_level": 0, "tip": "1 s" {pour}"#);
    let stations = line(&spec).replace("\"time\": \"1 s\"", "\"time\": \"1 s\", \"note\": \"off\"");
    let more = format!(
        r#"{}, "plan": {{"breaks": [{{"at": "0 s", "for": "1 h", "of": ["use"]}}]}}"#,
        PARTS.replace("LOTS", lots)
    );
    let trial = Trial::new(&stations.replace("\"capacity\": 100", "\"capacity\": 1000"), &more);
    const N: u32 = 1500;
    let (mut sum, mut squares) = (0.0, 0.0);
    for replication in 0..N {
        let counts = first_container(&trial, u64::from(replication));
        assert_eq!(counts.iter().sum::<u32>(), 400);
        let short = f64::from(counts[1]);
        sum += short;
        squares += short * short;
    }
    let mean = sum / f64::from(N);
    (mean, squares / f64::from(N) - mean * mean)
}

/// Without between-lot variation the conditions of a container are multinomial: 40 short parts in the mean, with
/// variance 400 x 0.1 x 0.9.
#[test]
fn contents_by_condition_are_multinomial_whether_poured_at_once_or_in_portions() {
    for pour in ["", r#", "pour_rate": "100 /s", "portions": 7"#] {
        let (mean, variance) = short_parts("", pour);
        assert!((mean - 40.0).abs() < 4.5 * (36.0_f64 / 1500.0).sqrt(), "{mean}");
        assert!((variance / 36.0 - 1.0).abs() < 4.5 * (2.0_f64 / 1500.0).sqrt(), "{variance}");
    }
}

/// Ruling 11: with a standard deviation of 0.04 between lots the variance is n m (1 - m) + n (n - 1) s^2
/// (beta-binomial law).
#[test]
fn lots_spread_far_beyond_independent_parts() {
    let (mean, variance) = short_parts(r#", "between_lots": {"conditions": {"short": 0.04}}"#, "");
    let expected = 36.0 + 400.0 * 399.0 * 0.0016 - 400.0 * 0.0016;
    assert!((mean - 40.0).abs() < 4.5 * (expected / 1500.0_f64).sqrt(), "{mean}");
    // The kurtosis of this law is below 4, so the standard error of the variance is below v sqrt(3 / n).
    assert!((variance / expected - 1.0).abs() < 4.5 * (3.0_f64 / 1500.0).sqrt(), "{variance} {expected}");
}

/// Attitude chances and jam factor are the mean of what lies there and what is poured, by numbers.
#[test]
fn lots_mix_in_the_bin_by_their_numbers() {
    let lots = r#", "between_lots": {"attitudes": 0.1, "jams": 0.5}"#;
    let more = format!(
        r#"{}, "plan": {{"breaks": [{{"at": "0 s", "for": "1 h", "of": ["use"]}}]}}"#,
        PARTS.replace("LOTS", lots)
    );
    let stations = line(r#""contents": 10, "call_level": 35, "tip": "1 s""#)
        .replace(r#""time": "1 s""#, r#""time": "1 s", "jams": [{"per_part": "1 in 5000", "time": "1 s"}]"#)
        .replace(r#""capacity": 100"#, r#""capacity": 100, "content": 30"#);
    let trial = Trial::new(&stations, &more);
    let mut run = trial.start(3);
    let first_share = |run: &Run<'_>| run.floor.kind(0).attitudes.shares()[0];
    let factor = |run: &mut Run<'_>| {
        let mut all = run.floor.troubles_mut().iter();
        all.find(|t| matches!(t.trigger, Trigger::Part { .. })).map_or(0.0, |t| t.factor(0))
    };
    assert_eq!((first_share(&run), factor(&mut run)), (0.5, 1.0));
    go(&mut run, 1.0);
    // One part in four is of the lot: a lot of chances x and factor f gives 0.5 + (x - 0.5) / 4, 1 + (f - 1) / 4.
    let lot = (4.0 * first_share(&run) - 1.5, 4.0 * factor(&mut run) - 3.0);
    assert!(lot.0 > 0.0 && lot.0 < 1.0 && (lot.0 - 0.5).abs() > 1e-6, "{lot:?}");
    assert!(lot.1 > 0.0 && (lot.1 - 1.0).abs() > 1e-6, "{lot:?}");
    assert!((run.floor.kind(0).attitudes.shares().iter().sum::<f64>() - 1.0).abs() < 1e-12);
}

#[test]
fn contents_by_weight_and_volume() {
    let parts = PARTS.replace("LOTS", "");
    for (contents, expected) in [("\"1 kg\"", 50), ("\"4 L\"", 20), ("\"10 lb\"", 227)] {
        let stations =
            line(&format!(r#""contents": {contents}, "call_level": 0, "tip": "1 s", "exchange": "1 min""#));
        let run_to = Trial::new(&stations, &parts);
        let run = run_to.run(0, 1.0);
        assert_eq!(run.floor.flow().0, expected, "{contents}");
    }
    let missing = line(r#""contents": "1 kg", "call_level": 0, "tip": "1 s", "pour_rate": "1 m3/h""#);
    let found = problems(&missing, "").join("\n");
    assert!(found.contains("needs the `mass`") && found.contains("needs the `density`"), "{found}");
}

#[test]
fn containers_of_one_replication_differ_and_replications_repeat() {
    let law = r#"{"law": "uniform", "from": 10, "to": 1000}"#;
    let spec = format!(r#""contents": {law}, "call_level": 5000, "waiting_places": 2, "tip": "1 s""#);
    let trial = Trial::new(&line(&spec), "");
    let (a, b) = (trial.run(5, 4.0), trial.run(5, 4.0));
    assert_eq!(pours(&a, &trial), pours(&b, &trial));
    let up = pours(&a, &trial);
    let sizes: Vec<u32> = up.windows(2).map(|pair| pair[1].1 - pair[0].1).collect();
    assert!(sizes.windows(2).any(|pair| pair[0].abs_diff(pair[1]) > 1), "{sizes:?}");
    assert_ne!(pours(&trial.run(6, 4.0), &trial), up);
}

/// Ruling 1: at equal times attendants come before dumpers.
#[test]
fn a_dumper_acts_after_what_happens_at_the_same_time() {
    let trial = Trial::new(&line(r#""contents": 10, "call_level": 0, "tip": "1 s""#), "");
    let run = trial.run(0, 30.0);
    // Ten parts are taken at 1 to 10 s; the tip that is called then ends at 11 s, as does the work on the last
    // part: the station finds nothing first, and takes in the same instant.
    assert_eq!(times(&run, trial.post("tip"), Note::Tipped), [1.0, 11.0, 21.0]);
    assert_eq!(run.floor.observer.0.time[trial.post("use").ix()][State::Starved as usize], ns(1.0));
}

#[test]
fn says_what_cannot_be() {
    let found = |dumper: &str| problems(&line(dumper), "").join("\n");
    let base = r#""contents": 5, "call_level": 0, "tip": "1 s""#;
    assert!(found(&format!(r#"{base}, "waiting_at_start": 2"#)).contains("do not fit on 1 places"));
    let intervals = r#""waiting_places": 0, "containers": {"how": "intervals", "every": "1 s"}"#;
    assert!(found(&format!("{base}, {intervals}")).contains("need a place to wait"));
    let nobody = r#""containers": {"how": "by hand", "by": "crew", "time": "1 s"}"#;
    assert!(found(&format!("{base}, {nobody}")).contains("crew"));
    let no_bin = format!(
        r#"{{"id": "tip", "type": "dumper", {base}}}, {{"id": "use", "type": "work", "time": "1 s"}}"#
    );
    assert!(problems(&no_bin, "").join("\n").contains("not into a bin"));
    let parts = PARTS.replace("LOTS", r#", "between_lots": {"attitudes": 0.6}"#);
    assert!(problems(&line(base), &parts).join("\n").contains("differ so much"));
}

/// Knots around a dumper: the bin or what takes from it is held by the level of that bin, which nobody else lowers,
/// whatever takes from it, a clock of its own included.
#[test]
fn a_bin_that_only_its_own_taker_could_lower_is_a_knot_whoever_fills_it() {
    let use_up = r#"{"id": "use", "type": "work", "time": "2 s"}"#;
    let takers = [
        r#"{"id": "X", "type": "elevator", "cleats": "60 /min", "lift": "3 s", "per_cleat": 1}"#,
        r#"{"id": "X", "type": "work", "time": "1 s"}"#,
        r#"{"id": "X", "type": "meter conveyor", "rate": "2 /s"}"#,
        r#"{"id": "X", "type": "meter conveyor", "index_time": "2 s"}"#,
        r#"{"id": "X", "type": "orienting path", "pass": "1 s"}"#,
        r#"{"id": "X", "type": "escapement", "stroke": "1 s", "strokes": "on a clock"}"#,
    ];
    let pours = [r#""call_level": 50, "pour_rate": "10 /s", "portions": 6"#, r#""call_level": 39"#];
    for (taker, pour) in takers.iter().flat_map(|taker| pours.map(|pour| (taker, pour))) {
        for holds in [r#""bin""#, r#""X""#, r#""bin", "X""#, r#""tip", "bin""#, r#""tip", "X""#] {
            let line = format!(
                r#"{{"id": "tip", "type": "dumper", "contents": 60, "tip": "1 s", {pour}}},
                {{"id": "bin", "type": "bin", "capacity": 55}}, {taker}, {use_up}"#
            );
            let sensor = r#""id": "S", "watches": "bin", "high": 40, "low": 10"#;
            let trial = Trial::new(&line, &format!(r#", "sensors": [{{{sensor}, "holds": [{holds}]}}]"#));
            let mut run = trial.start(0);
            let stop = run.run_until(ns(600.0));
            let Stop::Gridlock { stations: knot, .. } = &stop else { panic!("{line} {holds}: {stop:?}") };
            assert!(knot.contains(&trial.post("X")), "{line} {holds}: {knot:?}");
        }
    }
}

/// Several dumpers share the haulers of a pool: the second container comes after the first one.
#[test]
fn dumpers_share_the_haulers_of_a_pool() {
    let dumper = |id: &str| {
        format!(
            r#"{{"id": "{id}", "type": "dumper", "contents": 10, "call_level": 0, "tip": "3 s", "to": "bin {id}",
            "containers": {{"how": "hauler", "lead": "100 s", "by": "trucks"}}, "waiting_places": 0}},
            {{"id": "bin {id}", "type": "bin", "capacity": 100}},
            {{"id": "use {id}", "type": "work", "time": "1 s", "to": "out"}}"#
        )
    };
    let stations = format!("{}, {}", dumper("a"), dumper("b"));
    let tips = |trucks: u32| {
        let trial =
            Trial::new(&stations, &format!(r#", "attendants": [{{"id": "trucks", "number": {trucks}}}]"#));
        let run = trial.run(0, 215.0);
        [times(&run, trial.post("a"), Note::Tipped), times(&run, trial.post("b"), Note::Tipped)].concat()
    };
    // Ten parts are picked from 103 to 112 s, then the next one is called for.
    assert_eq!(tips(1), [103.0, 203.0]);
    assert_eq!(tips(2), [103.0, 215.0, 103.0, 215.0]);
}
