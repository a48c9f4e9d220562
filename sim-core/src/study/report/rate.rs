//! The rate at the point of use: mean, one shift, percentiles, chances.

use super::super::outputs::Key;
use super::super::proof::reaches;
use super::super::result::{
    ChanceToMake, HistogramReport, Interval, OneShift, Percentile, RateBasis, RateReached, RateReport,
};
use super::super::run::Study;
use crate::scenario::Goal;
use crate::statistics::{Prediction, order, proportion};

/// Percentiles that are shown.
const SHARES: [f64; 5] = [0.05, 0.25, 0.5, 0.75, 0.95];
/// Most classes of a histogram.
const CLASSES_MAX: usize = 40;
/// Chance for which the rate reached is shown if no clause names one.
const USUAL_CHANCE: f64 = 0.95;

pub(super) fn rate(study: &Study<'_>) -> RateReport {
    let (promise, level) = (&study.job.scenario.promise, study.job.options.level);
    let moments = study.moments_of(Key::Rate);
    let mut sorted = study.rates.clone();
    sorted.sort_by(f64::total_cmp);
    let picks = promise
        .net_of
        .iter()
        .flat_map(|pick| pick.states.iter().map(|state| format!("{}: {}", pick.station.value, state.word())));
    RateReport {
        at: study.plan.tally.points.iter().map(|point| study.plan.names.posts[point.ix()].clone()).collect(),
        basis: if promise.net_of.is_empty() { RateBasis::Gross } else { RateBasis::Net },
        net_of: picks.collect(),
        mean_rate: study.figure(Key::Rate),
        mean_gross_rate: study.figure(Key::GrossRate),
        good_in_uncounted_time: (!promise.net_of.is_empty()).then(|| study.figure(Key::UncountedGood)),
        one_shift: OneShift {
            normal: Prediction::of_one(&moments, level).ok().map(|p| Interval { low: p.low, high: p.high }),
            by_rank: order::predict_one(&sorted, level).ok().map(|p| Interval { low: p.low, high: p.high }),
            level,
            n: moments.count(),
        },
        standard_deviation: moments.standard_deviation(),
        min: moments.min(),
        max: moments.max(),
        percentiles: percentiles(&sorted, level),
        histogram: histogram(&sorted),
        chance_to_make: chances(study, level),
        reached: reached(study, &sorted, level),
        good_parts: study.figure(Key::GoodParts),
        bad_ppm: study.figure(Key::BadPpm),
    }
}

fn percentiles(sorted: &[f64], level: f64) -> Vec<Percentile> {
    let found = SHARES.iter().filter_map(|share| order::percentile(sorted, *share, level).ok());
    found
        .map(|found| Percentile {
            share: found.share,
            point: found.point,
            low: found.low,
            high: found.high,
            level,
        })
        .collect()
}

/// As many classes of equal width as the root of the number of shifts, within limits.
fn histogram(sorted: &[f64]) -> Option<HistogramReport> {
    let (from, to) = (*sorted.first()?, *sorted.last()?);
    if from >= to {
        return None;
    }
    let classes = ((sorted.len() as f64).sqrt() as usize).clamp(5, CLASSES_MAX);
    let width = (to - from) / classes as f64;
    let mut counts = vec![0; classes];
    for rate in sorted {
        counts[(((rate - from) / width) as usize).min(classes - 1)] += 1;
    }
    Some(HistogramReport { from, width, counts })
}

/// The chance to make each rate that a clause names.
fn chances(study: &Study<'_>, level: f64) -> Vec<ChanceToMake> {
    let mut rates: Vec<f64> = Vec::new();
    for clause in &study.job.scenario.promise.clauses {
        match clause.goal {
            Goal::MeanRate(rate) | Goal::ShiftRate { rate, .. } => rates.push(60.0 * rate),
            Goal::FeedAvailability(_) => {}
        }
    }
    rates.dedup();
    let of = study.rates.len() as u64;
    let chance = |rate: f64| {
        let made = study.rates.iter().filter(|shift| reaches(**shift, rate)).count() as u64;
        let interval = proportion::clopper_pearson(made, of, level).ok();
        ChanceToMake {
            rate,
            made,
            of,
            share: interval.map(|interval| interval.share),
            low: interval.map(|interval| interval.low),
            high: interval.map(|interval| interval.high),
            level,
        }
    };
    rates.into_iter().map(chance).collect()
}

/// The rate that a shift reaches with each chance that a clause demands.
fn reached(study: &Study<'_>, sorted: &[f64], level: f64) -> Vec<RateReached> {
    let mut demanded: Vec<f64> = Vec::new();
    for clause in &study.job.scenario.promise.clauses {
        match clause.goal {
            Goal::ShiftRate { chance, .. } => demanded.push(chance),
            Goal::MeanRate(_) | Goal::FeedAvailability(_) => {}
        }
    }
    if demanded.is_empty() {
        demanded.push(USUAL_CHANCE);
    }
    demanded.dedup();
    let rate = |chance: f64| {
        let found = order::percentile(sorted, 1.0 - chance, level).ok();
        RateReached {
            chance,
            point: found.map(|found| found.point),
            low: found.and_then(|found| found.low),
            level,
        }
    };
    demanded.into_iter().map(rate).collect()
}
