//! Tests of the nests of a machine: simulated strokes and the balance beside closed forms.

use crate::kernel::state::N_STATES;
use crate::kernel::{Note, State};
use crate::stations::trial::{Run, Trial, states, times};

/// A machine M between an endless feeder and the way out.
fn line(parts: u32, nest: &str, cycle: &str) -> Trial {
    Trial::new(
        &format!(
            r#"{{"id": "F", "type": "work", "endless": true, "time": "0.05 s"}},
            {{"id": "T", "type": "track", "capacity": 40, "travel": "0 s"}},
            {{"id": "M", "type": "machine", {cycle}, "inlets": [{{"from": "T", "parts": {parts}, "nest": {{{nest}}}}}]}}"#
        ),
        "",
    )
}

/// Parts that leave M in an hour, and its capacity by the balance in an hour: at least and at most.
fn an_hour(trial: &Trial) -> (f64, (f64, f64)) {
    let run = trial.run(0, 3600.0);
    let made = times(&run, trial.post("M"), Note::Exit(0)).len() as f64;
    let of = &trial.balance().stations[2];
    let hourly = |per_min: Option<f64>| 60.0 * per_min.expect("a capacity");
    (made, (hourly(of.capacity_per_min), hourly(of.capacity_at_most_per_min)))
}

/// Loads of 1.5 s one after the other beside strokes of 1 s. Emptied at the start the nest is loaded while the stroke goes
/// on: the longer counts. Emptied at the end what has no room before is loaded after it: k - (c - k) parts of k, and never
/// are there more strokes than loads.
#[test]
fn nests_of_fixed_times_follow_closed_forms() {
    let cases = [
        (1, 1, "at the end", 1.0, 1.5, 2.5),
        (1, 1, "at the start", 1.0, 1.5, 1.5),
        (1, 1, "at the start", 2.0, 1.5, 2.0),
        (1, 2, "at the end", 1.0, 1.5, 1.5),
        (1, 2, "at the end", 2.0, 1.5, 2.0),
        (2, 2, "at the end", 1.0, 0.3, 1.6),
        (3, 4, "at the end", 1.0, 0.3, 1.0 + 2.0 * 0.3),
        (3, 4, "at the end", 0.2, 0.3, 3.0 * 0.3),
        (3, 5, "at the end", 1.0, 0.3, 1.0 + 0.3),
        (3, 6, "at the end", 1.0, 0.3, 1.0),
        (3, 3, "at the start", 0.5, 0.3, 3.0 * 0.3),
    ];
    for (parts, capacity, emptied, cycle, load, period) in cases {
        let nest = format!(r#""capacity": {capacity}, "load": "{load} s", "emptied": "{emptied}""#);
        let (made, (rated, at_most)) = an_hour(&line(parts, &nest, &format!(r#""cycle": "{cycle} s""#)));
        let wanted = 3600.0 * f64::from(parts) / period;
        // The first stroke comes later, and the hour ends within one.
        assert!(
            made <= wanted && made >= wanted - 3.0 * f64::from(parts) - 2.0,
            "{nest}: {made} not {wanted}"
        );
        for capacity in [rated, at_most] {
            assert!(
                (capacity / wanted - 1.0).abs() < 1e-9,
                "{nest}: {capacity} by the balance, not {wanted}"
            );
        }
    }
}

/// Time for each piece comes on top of the stroke. Nests of several inlets are loaded at the same time: the longest counts.
#[test]
fn nests_of_several_inlets_load_at_the_same_time() {
    let trial = Trial::new(
        r#"{"id": "F", "type": "work", "endless": true, "time": "0.05 s"},
        {"id": "T", "type": "track", "capacity": 40, "travel": "0 s", "to": "M"},
        {"id": "G", "type": "work", "endless": true, "time": "0.05 s"},
        {"id": "U", "type": "track", "capacity": 40, "travel": "0 s", "to": "M"},
        {"id": "M", "type": "machine", "cycle": "1 s", "each": "0.1 s", "inlets": [
            {"from": "T", "parts": 2, "nest": {"capacity": 2, "load": "0.3 s"}},
            {"from": "U", "parts": 1, "nest": {"load": "0.8 s"}}]}"#,
        "",
    );
    let run = trial.run(0, 3600.0);
    let made = times(&run, trial.post("M"), Note::Exit(0)).len() as f64;
    let wanted = 3600.0 / (1.0 + 2.0 * 0.1 + 0.8);
    assert!(made <= wanted && made >= wanted - 2.0, "{made} strokes, not {wanted}");
    let most = trial.balance().most_per_min.expect("a limit");
    assert!((60.0 * most / wanted - 1.0).abs() < 1e-9, "{most} a minute by the balance");
}

/// One part at a time loaded between strokes: the means add up, whatever the law. Loaded while the stroke goes on it is
/// the mean of the longer of two times: of exponential ones with means a and b it is a + b - ab / (a + b), more than the
/// balance says by the means alone.
#[test]
fn the_balance_knows_the_means_of_varying_times() {
    let cycle = r#""cycle": {"law": "exponential", "mean": "1 s"}"#;
    let nest = |emptied: &str| {
        format!(r#""load": {{"law": "exponential", "mean": "0.5 s"}}, "emptied": "{emptied}""#)
    };
    let (made, (rated, at_most)) = an_hour(&line(1, &nest("at the end"), cycle));
    assert!((rated - 2400.0).abs() < 1e-6 && (at_most - 2400.0).abs() < 1e-6, "{rated} to {at_most}");
    // A period has a standard deviation of 1.12 s, so that an hour has one of 36 strokes; six of them are allowed.
    assert!((made - 2400.0).abs() < 216.0, "{made}");
    let (made, (rated, at_most)) = an_hour(&line(1, &nest("at the start"), cycle));
    assert!((rated - 3600.0).abs() < 1e-6 && (at_most - 3600.0).abs() < 1e-6, "{rated} to {at_most}");
    let wanted = 3600.0 / (1.5 - 0.5 / 1.5);
    assert!((made - wanted).abs() < 250.0, "{made} not {wanted}");
}

/// A machine with these inlets that reads its nests while they are empty, and takes one for full at three looks in ten.
fn hasty(feeders: &[(&str, &str)], parts: u32) -> Trial {
    let feeder = |(id, time): &(&str, &str)| {
        format!(r#"{{"id": "{id}", "type": "work", "endless": true, "time": "{time}", "to": "m"}}, "#)
    };
    let inlet = |(id, _): &(&str, &str)| {
        format!(r#"{{"from": "{id}", "parts": {parts}, "nest": {{"capacity": {parts}}}}}"#)
    };
    let inlets: Vec<String> = feeders.iter().map(inlet).collect();
    let machine = format!(
        r#"{{"id": "m", "type": "machine", "cycle": "0.5 s", "to": "out", "inlets": [{}],
        "check": {{"again": "0.25 s", "false_full": 0.3, "reads_unloaded": true}}}}"#,
        inlets.join(", ")
    );
    Trial::new(&(feeders.iter().map(feeder).collect::<String>() + &machine), "")
}

/// Good and bad of the machine, strokes with a part missing, and parts that went on.
fn made(trial: &Trial, run: &Run<'_>) -> (usize, usize, usize, usize) {
    let (point, m) = (&run.floor.observer.0.points[0], trial.post("m"));
    let n = |note| times(run, m, note).len();
    (point.good as usize, point.bad as usize, n(Note::StrokeShort), n(Note::Left))
}

#[test]
fn a_stroke_without_any_part_counts_as_a_bad_assembly() {
    let two = hasty(&[("a", "2 s"), ("b", "2.3 s")], 1);
    let run = two.run(0, 3600.0);
    let (good, bad, short, left) = made(&two, &run);
    // A stroke may be under way at the end.
    assert!(bad == short || bad + 1 == short, "{bad} bad, {short} strokes with a part missing");
    assert!(left < good + bad, "strokes without any part were made");
}

#[test]
fn of_one_inlet_each_missing_part_counts_as_a_bad_one() {
    let one = hasty(&[("a", "2 s")], 1);
    let (good, bad, short, left) = made(&one, &one.run(0, 3600.0));
    assert!(short > 1000 && (bad == short || bad + 1 == short), "{bad} bad, {short} strokes");
    assert_eq!(left, good);
    let three = hasty(&[("a", "0.4 s")], 3);
    let run = three.run(0, 3600.0);
    let (good, bad, short, left) = made(&three, &run);
    assert_eq!(left, good);
    // Two strokes or fewer are under way or waiting: three parts, good or missing, come of each.
    let strokes = (good + bad) / 3;
    assert_eq!((good + bad) % 3, 0);
    assert!(short > 100 && bad >= short - 1 && strokes >= short, "{good} good, {bad} bad, {short} short");
}

/// While all that is missing is being loaded the machine is loading, and not starved: 1.5 s of 2.5 s, and, if a part comes
/// every 4 s, 1.5 s of these, after 1.5 s in which there was nothing. Its free rate is that of its strokes.
#[test]
fn the_time_of_loading_is_its_own() {
    for (every, period, starved) in [("0.05 s", 2.5, 0.0), ("4 s", 4.0, 1.5)] {
        let trial = Trial::new(
            &format!(
                r#"{{"id": "F", "type": "work", "endless": true, "time": "{every}"}},
                {{"id": "T", "type": "track", "capacity": 40, "travel": "0 s"}},
                {{"id": "M", "type": "machine", "cycle": "1 s", "inlets": [{{"from": "T", "nest": {{"load": "1.5 s"}}}}]}}"#
            ),
            "",
        );
        let run = trial.run(0, 3600.0);
        let mut spent = [0.0_f64; N_STATES];
        let all = states(&run, trial.post("M"));
        for ((from, state), (to, _)) in all.iter().zip(&all[1..]) {
            spent[*state as usize] += to - from;
        }
        let periods = 3600.0 / period;
        for (state, each) in [(State::Working, 1.0), (State::Loading, 1.5), (State::Starved, starved)] {
            let found = spent[state as usize];
            assert!((found - each * periods).abs() < 10.0, "{every}: {state:?} {found} s");
        }
        let free = trial.balance().stations[2].free_per_min.expect("a limit");
        assert!((free - 60.0).abs() < 1e-9, "{free}");
    }
}

/// Of two inlets the one that has nothing to load bears the lack alone.
#[test]
fn an_inlet_that_is_being_loaded_lacks_nothing() {
    let trial = Trial::new(
        r#"{"id": "F", "type": "work", "endless": true, "time": "0.05 s"},
        {"id": "T", "type": "track", "capacity": 40, "travel": "0 s", "to": "M"},
        {"id": "G", "type": "work", "endless": true, "time": "10 s"},
        {"id": "U", "type": "track", "capacity": 40, "travel": "0 s", "to": "M"},
        {"id": "M", "type": "machine", "cycle": "1 s", "inlets": [
            {"from": "T", "nest": {"load": "2 s"}}, {"from": "U"}]}"#,
        "",
    );
    let run = trial.run(0, 1000.0);
    let account = &run.floor.observer.0;
    let me = trial.post("M").ix();
    // The first part for U comes at 10 s; each stroke leaves 9 s, in which T is loaded for 2 s and U has nothing.
    assert_eq!(account.time[me][State::Loading as usize], 0);
    let starved = account.time[me][State::Starved as usize] as f64 / 1e9;
    assert!((starved - 900.0).abs() < 12.0, "{starved}");
}
