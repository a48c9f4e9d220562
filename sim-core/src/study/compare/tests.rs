use super::*;
use crate::statistics::Moments;
use crate::study::{Alone, NothingKept, Shelf};

fn line(capacity: u32, extra: &str) -> String {
    format!(
        r#"{{"feedproof": 1, "stations": [
        {{"id": "F", "type": "work", "endless": true, "time": {{"law": "exponential", "mean": "1 s"}}}},
        {{"id": "T", "type": "track", "capacity": {capacity}, "travel": "0 s"}},
        {{"id": "M", "type": "work", "time": {{"law": "exponential", "mean": "1 s"}}}}],
        "plan": {{"shift": "10 min"{extra}}}, "promise": {{"clauses": {{"rate": "45 /min", "in_shifts": "90 %"}}}}}}"#
    )
}

fn design(name: &str, text: &str) -> Design {
    let variant = Variant::read(text).unwrap_or_else(|problems| panic!("{problems:?}"));
    Design { name: name.to_owned(), settings: Vec::new(), variant, text: text.to_owned() }
}

fn options(replications: u64, indifference: Option<f64>) -> CompareOptions {
    CompareOptions {
        replications,
        mode: Mode::UntilDecided,
        seed: 1,
        level: 0.95,
        indifference,
        draws_inputs: false,
        own_luck: false,
        controls: false,
    }
}

fn compared(capacities: &[u32], options: &CompareOptions) -> CompareResult {
    let designs =
        capacities.iter().map(|capacity| design(&format!("b{capacity}"), &line(*capacity, ""))).collect();
    compare(designs, options, &Alone, &|| false, &mut |_| (), &mut NothingKept).unwrap().unwrap()
}

#[test]
fn the_longer_track_is_surely_better_and_pairing_helps() {
    let found = compared(&[1, 8], &options(400, None));
    assert_eq!(found.choice, Choice::Sure { best: "b8".to_owned() });
    assert_eq!(found.stopped_because, StoppedBecause::Decided);
    let [pair] = &found.differences[..] else { panic!("one pair") };
    assert!(pair.rate.low > 0.0 && pair.variance_ratio.unwrap() < 0.8, "{pair:?}");
    assert!(pair.chance.unwrap().difference > 0.0 && pair.attendance.is_none());
    assert!(found.designs[0].shifts < 30 && found.designs[0].given_up_at == Some(found.designs[1].shifts));
}

/// With luck of its own for each design pairing saves nothing: the ratio of variances is 1 but for its error, which over 400
/// pairs of nothing in common is that of a correlation, 1/20 (Fisher 1915: 1/sqrt(n)); four of them are allowed. Equal designs
/// then differ by luck, and the truth, 0, lies inside.
#[test]
fn luck_of_its_own_saves_nothing_and_the_intervals_still_hold() {
    let fixed = CompareOptions { mode: Mode::Fixed, ..options(400, None) };
    let own = compared(&[3, 3], &CompareOptions { own_luck: true, ..fixed });
    let same = compared(&[3, 3], &fixed);
    let pair = &own.differences[0];
    assert!((pair.variance_ratio.unwrap() - 1.0).abs() < 0.2, "{pair:?}");
    assert!(pair.rate.difference != 0.0 && pair.rate.low < 0.0 && pair.rate.high > 0.0, "{pair:?}");
    assert_eq!(same.differences[0].rate.difference, 0.0);
    assert_eq!(own.designs[0].rate, same.designs[0].rate, "the first design keeps its luck");
    assert!(own.own_luck && !same.own_luck);
}

/// Of 200 comparisons of equal designs, each with luck of its own, at 90 %: the share whose interval holds 0 is 90 % or more,
/// less three standard errors of a share (binomial).
#[test]
fn intervals_with_luck_of_its_own_cover() {
    let n = 200;
    let covers = |seed: u64| {
        let own = CompareOptions { mode: Mode::Fixed, own_luck: true, seed, level: 0.9, ..options(20, None) };
        let rate = compared(&[2, 2], &own).differences[0].rate;
        rate.low <= 0.0 && rate.high >= 0.0
    };
    let held = (0..n).filter(|seed| covers(1000 + seed)).count() as f64 / n as f64;
    assert!(held >= 0.9 - 3.0 * (0.9_f64 * 0.1 / n as f64).sqrt() && held < 1.0, "{held}");
}

/// Endless exponential times of 1 s and 0.8 s: 60 and 75 a minute, exactly, in a shift of any length. 1000 comparisons of 20 shifts
/// each, with luck of its own for each design: the share of intervals that hold 15 lies within four standard errors of 95 %
/// (binomial, 0.0069), the mean of the differences within 4.5 of theirs.
#[test]
fn with_controls_differences_are_unbiased_and_their_intervals_hold() {
    let text = |mean: &str| {
        format!(
            r#"{{"feedproof": 1, "stations": [{{"id": "F", "type": "work", "endless": true,
            "time": {{"law": "exponential", "mean": "{mean}"}}}}], "plan": {{"shift": "5 min"}}}}"#
        )
    };
    let pair = |seed: u64, controls: bool| {
        let designs = vec![design("slow", &text("1 s")), design("fast", &text("0.8 s"))];
        let own = CompareOptions { mode: Mode::Fixed, own_luck: true, seed, controls, ..options(20, None) };
        let found = compare(designs, &own, &Alone, &|| false, &mut |_| (), &mut NothingKept);
        let found = found.unwrap().unwrap();
        assert_eq!(found.controls, controls);
        found.differences[0].clone()
    };
    let (mut means, mut holds) = (Moments::new(), 0);
    for seed in 0..1000 {
        let found = pair(seed, true);
        means.push(found.rate.difference);
        // The interval of the rate has half of the error.
        let level = (found.rate.high - found.rate.low) / (2.0 * found.rate.standard_error);
        assert!(level > 2.0, "{level}");
        holds += u32::from(found.rate.low <= 15.0 && 15.0 <= found.rate.high);
    }
    let off = (means.mean().unwrap() - 15.0) / means.standard_error().unwrap();
    println!("{off:.2} standard errors off, held by {holds} of 1000");
    assert!(off.abs() < 4.5, "{off}");
    // 97.5 % for the rate: standard error 0.0049.
    assert!((955..=994).contains(&holds), "{holds}");
    let (with, without) = (pair(1, true), pair(1, false));
    assert_eq!((&with.controls[..], without.controls.len()), (&["F: times and outcomes".to_owned()][..], 0));
    assert!(with.variance_ratio.unwrap() < 0.1 && without.variance_ratio.unwrap() > 0.4, "{with:?}");
    assert!(with.unpaired_shifts.unwrap() > 200.0);
}

/// A design has the controls of its own stations: what only one of two has costs the other nothing.
#[test]
fn controls_belong_to_designs_and_kept_shifts_have_them() {
    let jams =
        r#""time": {"law": "exponential", "mean": "1 s"}, "jams": [{"per_part": 0.01, "time": "20 s"}]}],"#;
    let jammed = line(3, "").replace(r#""time": {"law": "exponential", "mean": "1 s"}}],"#, jams);
    assert_ne!(jammed, line(3, ""));
    let designs = || vec![design("plain", &line(3, "")), design("jams", &jammed)];
    let with = CompareOptions { mode: Mode::Fixed, controls: true, ..options(40, None) };
    let mut shelf = Shelf::default();
    let run =
        |kept: &mut Shelf| compare(designs(), &with, &Alone, &|| false, &mut |_| (), kept).unwrap().unwrap();
    let found = run(&mut shelf);
    assert!(
        found.differences[0].controls.contains(&"M: stops".to_owned()),
        "{:?}",
        found.differences[0].controls
    );
    assert_eq!(run(&mut shelf), found, "nothing is run again");
    let plain = compare(
        designs(),
        &CompareOptions { controls: false, ..with },
        &Alone,
        &|| false,
        &mut |_| (),
        &mut NothingKept,
    );
    let plain = plain.unwrap().unwrap();
    assert_eq!(plain.designs, found.designs, "each design by itself is as it was");
    assert!(found.differences[0].variance_ratio < plain.differences[0].variance_ratio);
}

#[test]
fn equal_designs_stay_open_and_use_the_budget() {
    let found = compared(&[3, 3], &options(30, None));
    let both = vec!["b3".to_owned(), "b3".to_owned()];
    assert_eq!(found.choice, Choice::Open { in_play: both });
    assert_eq!((found.stopped_because, found.designs[0].shifts), (StoppedBecause::BudgetUsed, 30));
    assert_eq!(found.differences[0].rate.difference, 0.0);
}

#[test]
fn many_designs_are_chosen_from_by_elimination() {
    let found = compared(&[1, 2, 3, 4, 20], &options(400, Some(0.5)));
    let choice = Choice::Chosen { best: "b20".to_owned(), indifference: 0.5, level: 0.95 };
    assert_eq!(found.choice, choice);
    assert!(found.designs[0].shifts <= found.designs[4].shifts);
    assert_eq!(found.differences.len(), 10);
}

#[test]
fn a_fixed_number_of_shifts_is_run_of_all_and_told_more_closely() {
    let sequential = compared(&[1, 2, 8], &options(40, None));
    let fixed = compared(&[1, 2, 8], &CompareOptions { mode: Mode::Fixed, ..options(40, None) });
    assert!(fixed.designs.iter().all(|design| design.shifts == 40));
    assert_eq!(fixed.choice, sequential.choice);
    let width = |found: &CompareResult| found.differences[0].rate.high - found.differences[0].rate.low;
    assert!(width(&fixed) < 0.7 * width(&sequential));
}

#[test]
fn the_number_of_workers_changes_nothing() {
    #[cfg(feature = "threads")]
    {
        let run = |n: usize| {
            let designs =
                [1, 2, 4].map(|capacity| design(&format!("b{capacity}"), &line(capacity, ""))).into();
            let hands = crate::study::Hands { n };
            compare(designs, &options(100, Some(1.0)), &hands, &|| false, &mut |_| (), &mut NothingKept)
                .unwrap()
        };
        assert_eq!(run(1), run(3));
    }
}

#[test]
fn designs_without_luck_are_told_at_once() {
    let fixed = |cycle: &str| {
        line(3, "").replace(r#"{"law": "exponential", "mean": "1 s"}"#, &format!("\"{cycle}\""))
    };
    let designs = vec![design("slow", &fixed("1.1 s")), design("fast", &fixed("1 s"))];
    let found = compare(designs, &options(400, None), &Alone, &|| false, &mut |_| (), &mut NothingKept)
        .unwrap()
        .unwrap();
    assert_eq!(found.choice, Choice::WithoutLuck { best: Some("fast".to_owned()) });
    assert_eq!(found.designs[0].shifts, 10);
}

#[test]
fn what_cannot_be_compared_is_refused() {
    let none = compare(Vec::new(), &options(400, None), &Alone, &|| false, &mut |_| (), &mut NothingKept);
    assert!(matches!(none, Err(RunError::BadOptions(_))));
    let two = || vec![design("a", &line(1, "")), design("b", &line(2, ""))];
    let few = compare(two(), &options(9, None), &Alone, &|| false, &mut |_| (), &mut NothingKept);
    assert!(matches!(few, Err(RunError::BadOptions(_))));
    let stopped = compare(two(), &options(400, None), &Alone, &|| true, &mut |_| (), &mut NothingKept);
    assert_eq!(stopped, Ok(None));
}

/// Interrupted after whichever shift, it goes on to the same result.
#[test]
fn an_interrupted_comparison_goes_on_where_it_was() {
    for (capacities, options) in [(&[1, 8][..], options(60, None)), (&[1, 2, 3, 20], options(200, Some(1.0)))]
    {
        let whole = compared(capacities, &options);
        for after in [0, 1, 7, 13, 19] {
            let mut shelf = Shelf::default();
            let designs = || {
                capacities
                    .iter()
                    .map(|capacity| design(&format!("b{capacity}"), &line(*capacity, "")))
                    .collect()
            };
            let left = std::sync::atomic::AtomicU64::new(after);
            let cancelled = || {
                let one_less = |left: u64| left.checked_sub(1);
                let order = std::sync::atomic::Ordering::Relaxed;
                left.fetch_update(order, order, one_less).is_err()
            };
            compare(designs(), &options, &Alone, &cancelled, &mut |_| (), &mut shelf).unwrap();
            assert_eq!(shelf.0.len() as u64, after);
            let found = compare(designs(), &options, &Alone, &|| false, &mut |_| (), &mut shelf);
            assert_eq!(found, Ok(Some(whole.clone())), "after {after}");
        }
    }
}

/// A machine that jams by part with a chance known from 3 in 200, cleared in 10 s or 5 s, loses 10 p or 5 p seconds at each
/// part: 60/(1 + 5 p) - 60/(1 + 10 p) parts a minute between the two, with the posterior beta 3.5, 197.5 of p (Jeffreys) or at
/// p = 0.015. Moments over the posterior by the midpoint rule.
#[test]
fn inputs_drawn_anew_bring_what_is_not_known_of_them_into_the_difference() {
    let line = |seconds: u32| {
        format!(
            r#"{{"feedproof": 1, "stations": [
            {{"id": "F", "type": "work", "endless": true, "time": "1 s",
              "jams": [{{"per_part": "3 of 200", "time": "{seconds} s"}}]}}], "plan": {{"shift": "2 h"}}}}"#
        )
    };
    let run = |draws_inputs: bool| {
        let designs = vec![design("10 s", &line(10)), design("5 s", &line(5))];
        let options = CompareOptions { mode: Mode::Fixed, draws_inputs, ..options(400, None) };
        compare(designs, &options, &Alone, &|| false, &mut |_| (), &mut NothingKept).unwrap().unwrap()
    };
    let gap = |p: f64| 60.0 / (1.0 + 5.0 * p) - 60.0 / (1.0 + 10.0 * p);
    let over_posterior = |of: &dyn Fn(f64) -> f64| {
        let weight = |p: f64| p.powf(2.5) * (1.0 - p).powf(196.5);
        let cells = (0..20_000).map(|n| (f64::from(n) + 0.5) * 1e-5);
        let (sum, all) = cells.fold((0.0, 0.0), |(sum, all), p| (sum + weight(p) * of(p), all + weight(p)));
        sum / all
    };
    let mean = over_posterior(&gap);
    let spread = (over_posterior(&|p| gap(p) * gap(p)) - mean * mean).sqrt();
    let (drawn, as_known) = (run(true), run(false));
    assert_eq!((drawn.evidence, as_known.evidence), (EvidenceUse::DrawnAnew, EvidenceUse::AsKnown));
    let [drawn, as_known] = [drawn, as_known].map(|found| found.differences[0].rate);
    // The part under way at the end of the shift, and jams that reach over it: less than 0.03 a minute.
    let off = |gap: &Gap, exact: f64| ((gap.difference - exact).abs() - 0.03).max(0.0) / gap.standard_error;
    assert!(off(&drawn, mean) < 4.5, "{drawn:?}, exact {mean}");
    assert!(off(&as_known, gap(0.015)) < 4.5, "{as_known:?}, exact {}", gap(0.015));
    // The luck of a shift adds little to the spread of the posterior.
    let seen = drawn.standard_error * 20.0;
    assert!((0.9..1.4).contains(&(seen / spread)), "{seen}, of the posterior {spread}");
    assert!(as_known.standard_error < 0.5 * drawn.standard_error, "{as_known:?} {drawn:?}");
}

/// A piece of evidence that two designs share is drawn alike in both, so that what it moves in both cancels out.
#[test]
fn designs_that_share_evidence_share_its_draws() {
    let line = |more: &str| {
        format!(
            r#"{{"feedproof": 1, "stations": [
            {{"id": "F", "type": "work", "endless": true, "time": ["1 s", "2 s", "3 s"]{more}}}], "plan": {{"shift": "1 h"}}}}"#
        )
    };
    let stop = r#", "breakdowns": [{"every": "10 min", "time": "30 s"}]"#;
    let designs = vec![design("a", &line("")), design("b", &line(stop))];
    let options = CompareOptions { mode: Mode::Fixed, draws_inputs: true, ..options(40, None) };
    let found =
        compare(designs, &options, &Alone, &|| false, &mut |_| (), &mut NothingKept).unwrap().unwrap();
    assert!(found.differences[0].variance_ratio.unwrap() < 0.1, "{:?}", found.differences);
}
