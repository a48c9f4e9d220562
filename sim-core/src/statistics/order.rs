//! Percentiles and predictions from ranks alone.
//!
//! For the spread of shift rates, which need not be normal. All statements come from the binomial law of the number of
//! values below a point, or from the ranks of a sample with one more value; they hold for every continuous law, and at
//! least at the stated level where values can be equal. Invariant: where the sample is too small for a limit there is
//! none, never the sample's extreme in its stead.

use serde::Serialize;

use super::special::{binomial_at_least, binomial_at_most};
use super::{CannotSay, at_least, inside_unit};

/// A percentile with a distribution-free interval. In the unit of the values.
#[derive(Debug, Clone, Copy, PartialEq, Serialize)]
pub struct PercentileInterval {
    /// Which percentile, as a share strictly between 0 and 1.
    pub share: f64,
    /// Point estimate: linear between the ordered values, definition 7 of Hyndman & Fan (1996).
    pub point: f64,
    /// Lower limit; none if the sample is too small for one.
    pub low: Option<f64>,
    /// Upper limit; none if the sample is too small for one.
    pub high: Option<f64>,
    /// Rank (from 1) of the lower limit.
    pub low_rank: Option<u64>,
    /// Rank (from 1) of the upper limit.
    pub high_rank: Option<u64>,
    /// Level asked for.
    pub level: f64,
    /// Level that the ranks reach: at least the one asked for.
    pub reached: f64,
    /// Number of values.
    pub n: u64,
}

/// Interval for a percentile from two order statistics, each tail at most half of 1 - level (Thompson 1936; David &
/// Nagaraja 2003, Order Statistics, section 7.1). `sorted` must be in rising order.
///
/// # Errors
/// No values, or `share` or `level` outside (0, 1).
pub fn percentile(sorted: &[f64], share: f64, level: f64) -> Result<PercentileInterval, CannotSay> {
    inside_unit("share", share)?;
    inside_unit("level", level)?;
    let n = sorted.len() as u64;
    let point = percentile_point(sorted, share)?;
    let tail = 0.5 * (1.0 - level);
    let low_rank = lower_rank(n, share, tail);
    let high_rank = upper_rank(n, share, tail);
    let missed_below = low_rank.map_or(0.0, |rank| binomial_at_most(n, share, rank - 1));
    let missed_above = high_rank.map_or(0.0, |rank| binomial_at_least(n, share, rank));
    let value = |rank: u64| sorted[(rank - 1) as usize];
    Ok(PercentileInterval {
        share,
        point,
        low: low_rank.map(value),
        high: high_rank.map(value),
        low_rank,
        high_rank,
        level,
        reached: 1.0 - missed_below - missed_above,
        n,
    })
}

/// Percentile of ordered values, linear between them: definition 7 of Hyndman & Fan (1996), American Statistician 50.
///
/// # Errors
/// No values, or a share outside [0, 1].
pub fn percentile_point(sorted: &[f64], share: f64) -> Result<f64, CannotSay> {
    at_least(sorted.len() as u64, 1)?;
    if !(0.0..=1.0).contains(&share) {
        return Err(CannotSay::OutOfRange { what: "share", value: share });
    }
    let place = share * (sorted.len() - 1) as f64;
    let below = place.floor() as usize;
    let above = (below + 1).min(sorted.len() - 1);
    Ok(sorted[below] + (place - below as f64) * (sorted[above] - sorted[below]))
}

/// Largest rank whose order statistic lies above the percentile with chance `error` at most; none if even the smallest
/// value does so too often. The order statistic of rank r lies above it when fewer than r values lie below.
pub fn lower_rank(n: u64, share: f64, error: f64) -> Option<u64> {
    let (mut good, mut bad) = (0, n + 1);
    while bad - good > 1 {
        let rank = good + (bad - good) / 2;
        if binomial_at_most(n, share, rank - 1) <= error {
            good = rank;
        } else {
            bad = rank;
        }
    }
    (good > 0).then_some(good)
}

/// Smallest rank whose order statistic lies below the percentile with chance `error` at most; none if even the largest
/// value does so too often.
pub fn upper_rank(n: u64, share: f64, error: f64) -> Option<u64> {
    // The mirror image: ranks counted from the top, percentile from above.
    lower_rank(n, 1.0 - share, error).map(|from_top| n + 1 - from_top)
}

/// Where one future value will lie, from ranks alone.
#[derive(Debug, Clone, Copy, PartialEq, Serialize)]
pub struct RankPrediction {
    /// Lower limit for one future value.
    pub low: f64,
    /// Upper limit for one future value.
    pub high: f64,
    /// Rank (from 1) of the lower limit; the upper has the same rank from the top.
    pub rank: u64,
    /// Level asked for.
    pub level: f64,
    /// Level that the ranks reach: at least the one asked for.
    pub reached: f64,
    /// Number of values.
    pub n: u64,
}

/// Two-sided distribution-free interval for one future value: it lies below the r-th of n values with chance r/(n+1)
/// (Wilks 1941). `sorted` must be in rising order.
///
/// # Errors
/// Too few values for the level (39 are needed for 95 %), or a level outside (0, 1).
pub fn predict_one(sorted: &[f64], level: f64) -> Result<RankPrediction, CannotSay> {
    inside_unit("level", level)?;
    let n = sorted.len() as u64;
    let rank = prediction_rank(n, 0.5 * (1.0 - level))?;
    Ok(RankPrediction {
        low: sorted[(rank - 1) as usize],
        high: sorted[(n - rank) as usize],
        rank,
        level,
        reached: 1.0 - 2.0 * rank as f64 / (n + 1) as f64,
        n,
    })
}

/// Limit below which one future value falls with chance `error` at most, from ranks alone (Wilks 1941).
///
/// # Errors
/// Too few values for the error, or an error outside (0, 1).
pub fn predict_lower_limit(sorted: &[f64], error: f64) -> Result<f64, CannotSay> {
    inside_unit("error", error)?;
    let rank = prediction_rank(sorted.len() as u64, error)?;
    Ok(sorted[(rank - 1) as usize])
}

/// Limit above which one future value falls with chance `error` at most, from ranks alone (Wilks 1941).
///
/// # Errors
/// Too few values for the error, or an error outside (0, 1).
pub fn predict_upper_limit(sorted: &[f64], error: f64) -> Result<f64, CannotSay> {
    inside_unit("error", error)?;
    let rank = prediction_rank(sorted.len() as u64, error)?;
    Ok(sorted[sorted.len() - rank as usize])
}

/// Largest rank r with r/(n+1) <= error. The allowance is for levels such as 0.95, whose complement is not exact.
fn prediction_rank(n: u64, error: f64) -> Result<u64, CannotSay> {
    let rank = (error * (n + 1) as f64 * (1.0 + 1e-12)).floor();
    // At an error beyond one half the rank could pass the last value.
    let rank = (rank as u64).min(n);
    if rank == 0 {
        let need = (1.0 / error * (1.0 - 1e-12)).ceil() as u64 - 1;
        return Err(CannotSay::TooFew { have: n, need });
    }
    Ok(rank)
}

/// Fewest values whose largest is, with the given confidence, above the given share of all future values: smallest n
/// with 1 - share^n >= confidence (Wilks 1941, Annals of Mathematical Statistics 12).
///
/// # Errors
/// `share` or `confidence` outside (0, 1).
pub fn fewest_for_extreme(share: f64, confidence: f64) -> Result<u64, CannotSay> {
    inside_unit("share", share)?;
    inside_unit("confidence", confidence)?;
    Ok(fewest_powers(share, 1.0 - confidence))
}

/// Smallest n with chance^n <= error.
pub(crate) fn fewest_powers(chance: f64, error: f64) -> u64 {
    let guess = libm::log(error) / libm::log(chance);
    // An n that meets the error in exact arithmetic must not be lost to the last bit.
    (guess * (1.0 - 1e-12)).ceil().max(1.0) as u64
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::statistics::test_draws::{Draws, assert_share};
    use statrs::distribution::{Binomial, Discrete};

    #[test]
    fn fewest_values_for_the_maximum() {
        // Check row S-39: coverage 0.95, confidence 0.95, Wilks (1941).
        assert_eq!(fewest_for_extreme(0.95, 0.95), Ok(59));
        // One half to the n: exact powers must not round up.
        assert_eq!(fewest_for_extreme(0.5, 0.875), Ok(3));
    }

    #[test]
    fn ranks_reach_the_level_exactly_as_summed_and_are_the_closest_that_do() {
        for n in [10_u64, 59, 200] {
            for share in [0.05, 0.25, 0.5, 0.9] {
                let law = Binomial::new(share, n).unwrap();
                let sorted: Vec<f64> = (1..=n).map(|rank| rank as f64).collect();
                let found = percentile(&sorted, share, 0.95).unwrap();
                // The percentile lies between ranks l and u when at least l and at most u - 1 values lie below it.
                let first = found.low_rank.unwrap_or(0);
                let last = found.high_rank.map_or(n, |rank| rank - 1);
                let covered: f64 = (first..=last).map(|k| law.pmf(k)).sum();
                assert!((covered - found.reached).abs() < 1e-9, "n {n} share {share}");
                assert!(covered >= 0.95 - 1e-12, "n {n} share {share}: {covered}");
                let tail: f64 = (0..=first).map(|k| law.pmf(k)).sum();
                assert!(tail > 0.025, "n {n} share {share}: a higher rank would do");
                let tail: f64 = (last..=n).map(|k| law.pmf(k)).sum();
                assert!(tail > 0.025, "n {n} share {share}: a lower rank would do");
            }
        }
    }

    #[test]
    fn a_small_sample_has_no_limit_rather_than_a_wrong_one() {
        let sorted: Vec<f64> = (0..10).map(f64::from).collect();
        let found = percentile(&sorted, 0.05, 0.95).unwrap();
        assert_eq!(found.low, None);
        assert!(found.high.is_some());
        assert_eq!(predict_one(&sorted, 0.95), Err(CannotSay::TooFew { have: 10, need: 39 }));
        assert_eq!(predict_lower_limit(&sorted, 0.05), Err(CannotSay::TooFew { have: 10, need: 19 }));
        let enough: Vec<f64> = (0..39).map(f64::from).collect();
        let found = predict_one(&enough, 0.95).unwrap();
        assert_eq!((found.low, found.high, found.rank), (0.0, 38.0, 1));
    }

    #[test]
    fn point_estimates_by_hand() {
        // Definition 7 of Hyndman & Fan (1996).
        let sorted = [1.0, 2.0, 4.0, 8.0];
        assert_eq!(percentile_point(&sorted, 0.5), Ok(3.0));
        assert_eq!(percentile_point(&sorted, 0.0), Ok(1.0));
        assert_eq!(percentile_point(&sorted, 1.0), Ok(8.0));
        assert!((percentile_point(&sorted, 0.9).unwrap() - 6.8).abs() < 1e-12);
        assert!(percentile_point(&[], 0.5).is_err());
    }

    #[test]
    fn a_future_value_falls_outside_as_often_as_the_ranks_say() {
        let mut draws = Draws::seeded(3);
        let trials = 20_000;
        let (mut inside, mut above) = (0, 0);
        for _ in 0..trials {
            let mut sample: Vec<f64> = (0..49).map(|_| draws.exponential(1.0)).collect();
            sample.sort_by(f64::total_cmp);
            let next = draws.exponential(1.0);
            let found = predict_one(&sample, 0.9).unwrap();
            inside += u32::from(found.low <= next && next <= found.high);
            above += u32::from(next > predict_upper_limit(&sample, 0.1).unwrap());
        }
        assert_share("two ranks of 49", inside, trials, 1.0 - 2.0 * 2.0 / 50.0, 0.0);
        assert_share("upper rank of 49", above, trials, 0.1, 0.0);
    }
}
