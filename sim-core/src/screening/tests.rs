//! Each method on a line whose rate is known: 60 s over the slower of two times.

use super::*;
use crate::study::Shelf;
use crate::study::result::Figure;
use crate::study::{Alone, NothingKept};
use crate::sweep;

/// F is never short of parts; the track between is never a limit.
const LINE: &str = r#"{"feedproof": 1, "stations": [
    {"id": "F", "type": "work", "endless": true, "time": "1 s"},
    {"id": "T", "type": "track", "capacity": 5, "travel": "0 s"},
    {"id": "M", "type": "machine", "cycle": "1.2 s"}],
    "plan": {"shift": "30 min"}}"#;

const FACTORS: &str = r#"{"feedproof_sweep": 1, "scenario": "x",
    "design": {"type": "sobol", "points": 8}, "factors": {
    "track": {"set": "T.capacity", "low": 4, "high": 7},
    "feeder": {"set": "F.time", "low": "0.8 s", "high": "1.2 s"},
    "machine": {"set": "M.cycle", "low": "0.9 s", "high": "1.3 s"}}}"#;

/// Parts a minute at shares of the ranges of feeder and machine.
fn rate(feeder: f64, machine: f64) -> f64 {
    60.0 / (0.8 + 0.4 * feeder).max(0.9 + 0.4 * machine)
}

fn options(method: Method) -> ScreenOptions {
    ScreenOptions { method, replications: 2, seed: 1, level: 0.95, output: "rate".to_owned() }
}

fn run(line: &str, dials: Vec<Dial>, options: &ScreenOptions) -> Result<Option<ScreenResult>, ScreenError> {
    let mut last = (0, 0);
    let mut progress = |done, of| last = (done, of);
    let mut watch = ScreenWatch { cancelled: &|| false, progress: &mut progress, kept: &mut NothingKept };
    let found = screen(line, dials, options, &Alone, &mut watch);
    if let Ok(Some(found)) = &found {
        assert_eq!(last, (found.points, found.points));
    }
    found
}

fn by_factors(method: Method) -> ScreenResult {
    let sweep::ReadSweep { sweep, problems, .. } = sweep::read(FACTORS);
    assert_eq!(problems, []);
    let dials = dials_of_factors(&sweep.unwrap().factors);
    run(LINE, dials, &options(method)).unwrap().unwrap()
}

/// Whether an interval holds a value, allowing for the parts that are under way when a shift of 30 min ends: 2 in 1500.
fn holds(figure: &Figure, exact: f64, rounding: f64) -> bool {
    figure.low.unwrap() - rounding <= exact && exact <= figure.high.unwrap() + rounding
}

#[test]
fn a_tornado_begins_where_the_scenario_stands() {
    let found = by_factors(Method::Tornado);
    let Findings::Tornado { as_it_stands, factors } = &found.findings else { panic!("{found:?}") };
    assert!((as_it_stands.mean.unwrap() - 50.0).abs() < 0.1);
    let names: Vec<&str> = factors.iter().map(|finding| finding.factor.as_str()).collect();
    // The machine at 0.9 s leaves the feeder with 1 s: 60 instead of 50. The feeder alone changes nothing up to 1.2 s.
    assert_eq!(names[0], "machine");
    let machine = &factors[0];
    assert_eq!((machine.low.value.as_str(), machine.high.value.as_str()), ("0.9 s", "1.3 s"));
    assert!((machine.low.change.mean.unwrap() - 10.0).abs() < 0.2, "{machine:?}");
    assert!((machine.high.change.mean.unwrap() - (60.0 / 1.3 - 50.0)).abs() < 0.2, "{machine:?}");
    assert!(machine.is_clear && factors[1..].iter().all(|finding| finding.swing < 0.2), "{factors:?}");
    assert_eq!(found.points, 7);
}

#[test]
fn elementary_effects_are_those_of_the_formula() {
    let found = by_factors(Method::Effects { trajectories: 40, levels: 4 });
    let Findings::Effects { factors, .. } = &found.findings else { panic!("{found:?}") };
    // All effects of the grid: from shares 0 and 1/3 up by 2/3, at each level of the other.
    let exact = |rate: &dyn Fn(f64, f64) -> f64| {
        let all = [0.0, 1.0 / 3.0].into_iter().flat_map(|from: f64| {
            (0..4).map(move |other| {
                let other = f64::from(other) / 3.0;
                (rate(from + 2.0 / 3.0, other) - rate(from, other)) * 1.5
            })
        });
        all.sum::<f64>() / 8.0
    };
    for finding in factors {
        let expected = match finding.factor.as_str() {
            "feeder" => exact(&|own, other| rate(own, other)),
            "machine" => exact(&|own, other| rate(other, own)),
            _ => 0.0,
        };
        assert!(holds(&finding.mean, expected, 0.15), "{finding:?}, {expected}");
        assert!(holds(&finding.size, expected.abs(), 0.15), "{finding:?}, {expected}");
        // Each matters only where it is the slower one.
        assert_eq!(finding.depends, finding.factor != "track", "{finding:?}");
    }
    assert_eq!(factors[0].factor, "machine");
    assert_eq!((factors[2].factor.as_str(), factors[2].is_clear), ("track", false));
}

/// Shares of feeder and machine, first order and total, and the variance, from a fine grid.
fn exact_shares() -> ([f64; 2], [f64; 2], f64) {
    const N: usize = 400;
    let at = |n: usize| (n as f64 + 0.5) / N as f64;
    let mean = |f: &dyn Fn(usize) -> f64| (0..N).map(f).sum::<f64>() / N as f64;
    let all = mean(&|i| mean(&|j| rate(at(i), at(j))));
    let variance = mean(&|i| mean(&|j| (rate(at(i), at(j)) - all).powi(2)));
    let feeder = mean(&|i| (mean(&|j| rate(at(i), at(j))) - all).powi(2)) / variance;
    let machine = mean(&|j| (mean(&|i| rate(at(i), at(j))) - all).powi(2)) / variance;
    ([feeder, machine], [1.0 - machine, 1.0 - feeder], variance)
}

#[test]
fn variance_shares_are_those_of_the_formula() {
    let found = by_factors(Method::Shares { rows: 512, with_pairs: true });
    let Findings::Shares { factors, pairs, variance, rows, .. } = &found.findings else {
        panic!("{found:?}")
    };
    let (first, total, exact_variance) = exact_shares();
    assert_eq!(*rows, 512);
    assert!(holds(variance, exact_variance, 0.2), "{variance:?} for {exact_variance}");
    for finding in factors {
        let (first, total) = match finding.factor.as_str() {
            "feeder" => (first[0], total[0]),
            "machine" => (first[1], total[1]),
            _ => (0.0, 0.0),
        };
        assert!(holds(&finding.first_order, first, 0.005), "{finding:?}, {first}");
        assert!(holds(&finding.total, total, 0.005), "{finding:?}, {total}");
        assert!(holds(&finding.interactions, total - first, 0.005), "{finding:?}");
        assert_eq!(finding.interacts, finding.factor != "track", "{finding:?}");
        let half = finding.total.half_width().unwrap();
        assert!(half < 0.2, "the interval says something: {finding:?}");
    }
    let names: Vec<&str> = factors.iter().map(|finding| finding.factor.as_str()).collect();
    assert_eq!(names, ["machine", "feeder", "track"]);
    assert_eq!((pairs[0].factor.as_str(), pairs[0].with.as_str()), ("feeder", "machine"));
    assert!(holds(&pairs[0].share, total[0] - first[0], 0.005), "{pairs:?}");
    assert!(pairs[1..].iter().all(|pair| holds(&pair.share, 0.0, 0.005) && !pair.is_clear), "{pairs:?}");
}

#[test]
fn all_numbers_that_limit_are_moved_by_a_share() {
    let scenario = crate::scenario::read(LINE).scenario.unwrap();
    let dials = dials_of_knobs(LINE, &scenario, 0.1);
    let names: Vec<&str> = dials.iter().map(|dial| dial.name.as_str()).collect();
    assert!(names.contains(&"M.cycle") && names.contains(&"T.capacity"), "{names:?}");
    let found = run(LINE, dials, &options(Method::Tornado)).unwrap().unwrap();
    let Findings::Tornado { factors, .. } = &found.findings else { panic!("{found:?}") };
    let machine = &factors[0];
    assert_eq!((machine.factor.as_str(), machine.low.value.as_str()), ("M.cycle", "1.08 s"));
    assert!((machine.whole.mean.unwrap() - (60.0 / 1.32 - 60.0 / 1.08)).abs() < 0.2, "{machine:?}");
    let track = factors.iter().find(|finding| finding.factor == "T.capacity").unwrap();
    assert_eq!((track.low.value.as_str(), track.high.value.as_str()), ("4", "6"));
}

/// One place is the least: the track is moved up only.
#[test]
fn a_number_that_cannot_go_down_goes_up() {
    let line = LINE.replace("\"capacity\": 5", "\"capacity\": 1");
    let scenario = crate::scenario::read(&line).scenario.unwrap();
    let found =
        run(&line, dials_of_knobs(&line, &scenario, 0.1), &options(Method::Tornado)).unwrap().unwrap();
    let Findings::Tornado { factors, .. } = &found.findings else { panic!("{found:?}") };
    let track = factors.iter().find(|finding| finding.factor == "T.capacity").unwrap();
    assert_eq!((track.low.value.as_str(), track.high.value.as_str()), ("1", "2"));
}

#[test]
fn numbers_that_no_share_moves_are_named() {
    let scenario = crate::scenario::read(LINE).scenario.unwrap();
    let found = run(LINE, dials_of_knobs(LINE, &scenario, 0.1), &options(Method::Tornado)).unwrap().unwrap();
    let Findings::Tornado { factors, .. } = &found.findings else { panic!("{found:?}") };
    let left: Vec<&str> = found.left_out.iter().map(|left| left.factor.as_str()).collect();
    assert!(left.contains(&"T.travel"), "{left:?}");
    assert!(factors.iter().all(|finding| finding.factor != "T.travel"), "{factors:?}");
}

#[test]
fn points_that_cannot_be_run_are_named() {
    let text = FACTORS.replace("\"low\": 4", "\"low\": 0");
    let dials = || dials_of_factors(&sweep::read(&text).sweep.unwrap().factors);
    let tornado = run(LINE, dials(), &options(Method::Tornado)).unwrap().unwrap();
    assert_eq!(tornado.left_out.len(), 1);
    assert!(tornado.left_out[0].factor == "track" && !tornado.left_out[0].reason.is_empty());
    let shares = run(LINE, dials(), &options(Method::Shares { rows: 32, with_pairs: false }));
    assert!(
        matches!(&shares, Err(ScreenError::Point { levels, .. }) if levels.contains("track = 0")),
        "{shares:?}"
    );
    let effects = run(LINE, dials(), &options(Method::Effects { trajectories: 12, levels: 4 }));
    match effects {
        // A trajectory has room for the track between 1 and 7 only if it does not begin or end at 0.
        Ok(Some(found)) => assert!(!found.left_out.is_empty(), "{found:?}"),
        other => panic!("{other:?}"),
    }
}

#[test]
fn what_cannot_be_answered_says_why() {
    let dials = || dials_of_factors(&sweep::read(FACTORS).sweep.unwrap().factors);
    let no_output = ScreenOptions { output: "rat".to_owned(), ..options(Method::Tornado) };
    assert!(matches!(run(LINE, dials(), &no_output), Err(ScreenError::NoOutput { .. })));
    assert!(matches!(run(LINE, Vec::new(), &options(Method::Tornado)), Err(ScreenError::NoFactor)));
    let once = ScreenOptions { replications: 1, ..options(Method::Tornado) };
    assert!(matches!(run(LINE, dials(), &once), Err(ScreenError::Statistics(_))));
    let track = vec![dials().remove(0)];
    let still = run(LINE, track, &options(Method::Shares { rows: 32, with_pairs: false }));
    assert!(matches!(still, Err(ScreenError::NoVariance)), "{still:?}");
    let mut watch = ScreenWatch { cancelled: &|| true, progress: &mut |_, _| {}, kept: &mut NothingKept };
    assert_eq!(screen(LINE, dials(), &options(Method::Tornado), &Alone, &mut watch), Ok(None));
}

/// Interrupted at whichever point, it goes on to the same result.
#[test]
fn an_interrupted_screening_goes_on_where_it_was() {
    let dials = || dials_of_factors(&sweep::read(FACTORS).sweep.unwrap().factors);
    for (method, points) in [
        (Method::Tornado, 7),
        (Method::Effects { trajectories: 3, levels: 4 }, 12),
        (Method::Shares { rows: 32, with_pairs: false }, 160),
    ] {
        let whole = by_factors(method);
        assert_eq!(whole.points, points);
        let mut shelf = Shelf::default();
        // It is asked once for each line that is made and once for each shift; lines are made some at a time.
        for after in [0, 1, points.min(32) + 4, points.min(32) + 6] {
            let (left, order) =
                (std::sync::atomic::AtomicU64::new(after), std::sync::atomic::Ordering::Relaxed);
            let cancelled = || left.fetch_update(order, order, |left: u64| left.checked_sub(1)).is_err();
            let mut progress = |_, _| {};
            let mut watch = ScreenWatch { cancelled: &cancelled, progress: &mut progress, kept: &mut shelf };
            assert_eq!(screen(LINE, dials(), &options(method), &Alone, &mut watch), Ok(None));
        }
        assert_eq!(shelf.0.len(), 4 + 6, "{method:?}");
        let mut progress = |_, _| {};
        let mut watch = ScreenWatch { cancelled: &|| false, progress: &mut progress, kept: &mut shelf };
        let found = screen(LINE, dials(), &options(method), &Alone, &mut watch);
        assert_eq!(found, Ok(Some(whole.clone())), "{method:?}");
        assert_eq!(shelf.0.len() as u64, 2 * points);
    }
}
