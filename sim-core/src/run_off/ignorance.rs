//! The chance to pass a run-off with what the evidence leaves open of the inputs in it.
//!
//! Inputs are drawn anew, and a few run-offs are run with each draw. A retry is a new run of the *same* line, so the chance to
//! pass in the end is the mean, over draws, of one minus the chance that so many runs of one line all fail; for that there is an
//! estimate without bias from a few runs of each draw (Hoeffding 1948). The line's own chances are seen through these runs only,
//! and their noise is taken out of the interval as in the nested study of a promise.

use super::plan::Plan;
use super::result::PassGiven;
use super::study::Runs;
use crate::evidence::DrawnShifts;
use crate::evidence::nested::{EACH, FEWEST_DRAWS};
use crate::evidence::pool::{self, Hits};
use crate::measure::Slice;
use crate::scenario::Scenario;
use crate::statistics::Moments;
use crate::statistics::quantiles::beta;
use crate::statistics::sequential::ERROR_EACH_WAY;
use crate::study::{Crew, RunError};

/// The outer None: cancelled; the inner: there is no evidence. `asked`: run-offs, seed and level.
pub(super) fn with_ignorance<C: Crew>(
    source: &str,
    scenario: &Scenario,
    runs: &Runs<'_>,
    asked: (u64, u64, f64),
    crew: &C,
    cancelled: &(dyn Fn() -> bool + Sync),
) -> Result<Option<Option<PassGiven>>, RunError> {
    let (replications, seed, level) = asked;
    let plan = Plan::of(runs.spec);
    let each = EACH.max(plan.retries + 1);
    let draws = FEWEST_DRAWS.max(replications / each);
    let Some(shifts) = DrawnShifts::of(source, scenario, draws, each, seed) else { return Ok(Some(None)) };
    let mut passed = vec![0_u64; draws as usize];
    let length = runs.slice_ns * runs.n as u64;
    let all = shifts.run(&|scenario| runs.of(scenario), crew, cancelled, &mut |draw, slices| {
        let run = slices.iter().fold(Slice::default(), |sum, slice| sum.plus(slice));
        passed[draw as usize] += u64::from(plan.judge(&run, length).passed());
    })?;
    if !all {
        return Ok(None);
    }
    let pooled: Moments =
        passed.iter().map(|passed| 1.0 - all_fail(each - passed, each, plan.retries + 1)).collect();
    let (low, high) = limits_of_clusters(&pooled, 0.5 * (1.0 - level));
    let members: Vec<Hits> = passed.iter().map(|n| Hits { first: *n, all: *n, of: each }).collect();
    let tail = 0.5 * (1.0 - level);
    let own = pool::chances(&members, each, 0.5, ERROR_EACH_WAY, &[tail, 0.5, 1.0 - tail]).quantiles;
    Ok(Some(Some(PassGiven {
        chance: pooled.mean().unwrap_or(0.0),
        low,
        high,
        own_low: plan.with_retries(own[0]),
        own_median: plan.with_retries(own[1]),
        own_high: plan.with_retries(own[2]),
        pieces: shifts.pieces(),
        draws,
        runs_each: each,
    })))
}

/// Estimate of the chance that `tries` runs all fail, from `n` runs of which `failed` did: the share of all ways to choose
/// so many runs in which all of them failed (Hoeffding 1948).
fn all_fail(failed: u64, n: u64, tries: u64) -> f64 {
    (0..tries).map(|k| failed.saturating_sub(k) as f64 / (n - k) as f64).product()
}

/// Limits of a chance from estimates by draw, which are independent: exact binomial limits with as many trials as would
/// have the same error (Korn & Graubard 1998), as many as there are draws where the estimates do not differ.
fn limits_of_clusters(estimates: &Moments, tail: f64) -> (f64, f64) {
    let (mean, n) = (estimates.mean().unwrap_or(0.0).clamp(0.0, 1.0), estimates.count() as f64);
    let variance = estimates.variance().unwrap_or(0.0) / n;
    let worth = if variance > 0.0 { mean * (1.0 - mean) / variance } else { n };
    let (hits, misses) = (mean * worth, (1.0 - mean) * worth);
    let low = if hits > 0.0 { beta(tail, hits, misses + 1.0) } else { 0.0 };
    let high = if misses > 0.0 { 1.0 - beta(tail, misses, hits + 1.0) } else { 1.0 };
    (low, high)
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn chance_that_all_tries_fail_by_hand() {
        assert_eq!(all_fail(3, 4, 1), 0.75);
        // Of the six pairs of four runs three have both among the three that failed.
        assert_eq!(all_fail(3, 4, 2), 0.5);
        assert_eq!((all_fail(1, 4, 2), all_fail(4, 4, 3)), (0.0, 1.0));
    }

    #[test]
    fn draws_that_are_all_alike_count_once_each() {
        let (low, high) = limits_of_clusters(&[1.0; 100].into_iter().collect(), 0.025);
        // Clopper-Pearson for 100 of 100: 0.025^(1/100).
        assert!((low - 0.963_783).abs() < 1e-5 && high == 1.0, "{low} {high}");
        // One run a draw: the usual interval, 10 of 20 (0.2720 to 0.7280, any table). The variance of a sample has n - 1.
        let halves: Moments = (0..20).map(|n| f64::from(n % 2)).collect();
        let (low, high) = limits_of_clusters(&halves, 0.025);
        assert!((low - 0.272).abs() < 0.01 && (high - 0.728).abs() < 0.01, "{low} {high}");
    }
}
