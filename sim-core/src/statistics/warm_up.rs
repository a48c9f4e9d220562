//! How much of the start of a series to leave out of a long-run mean.
//!
//! For long-run measures only; a shift that starts empty is measured whole. The rule is MSER-5: leave out so many
//! batches of five that the squared standard error of what is kept, taken as if independent, is smallest. It does not
//! prove that the line has settled. Invariant: at most half of the batches is removed, and a smallest value right at
//! that limit is reported as "not settled", never as a warm-up.

use serde::Serialize;

use super::{CannotSay, Moments, at_least};

/// Terms in a batch.
const BATCH: usize = 5;
/// Fewest terms for which the rule is asked: ten batches.
const FEWEST: u64 = 50;

/// What MSER-5 found.
#[derive(Debug, Clone, Copy, PartialEq, Serialize)]
pub struct WarmUp {
    /// Terms of the series to leave out; a multiple of five.
    pub removed: u64,
    /// Mean of the batches kept (a last incomplete batch is never used).
    pub mean: f64,
    /// The smallest value of the statistic, in the squared unit of the series.
    pub statistic: f64,
    /// Whole batches in the series.
    pub batches: u64,
    /// Whether the smallest value lies at the limit of half of the batches: the series has not settled, and a longer
    /// one is needed.
    pub at_limit: bool,
}

/// MSER-5 (White, Cobb & Spratt 2000, Winter Simulation Conference): over d = 0 to half of the b batch means, the first
/// d with the smallest sum of squared deviations of the kept batch means divided by (b - d)^2.
///
/// # Errors
/// Fewer than fifty terms, or terms that are not finite.
pub fn mser_5(series: &[f64]) -> Result<WarmUp, CannotSay> {
    at_least(series.len() as u64, FEWEST)?;
    if series.iter().any(|y| !y.is_finite()) {
        return Err(CannotSay::NotFinite);
    }
    let means: Vec<f64> = series.chunks_exact(BATCH).map(|b| b.iter().sum::<f64>() / BATCH as f64).collect();
    let limit = means.len() / 2;
    let mut kept = Moments::new();
    let mut best: Option<(usize, f64, f64)> = None;
    // From the end, so that every set of kept batches is the last one and one more; of equal values the earliest wins.
    for (d, &batch) in means.iter().enumerate().rev() {
        kept.push(batch);
        if d > limit {
            continue;
        }
        let count = kept.count() as f64;
        let (Some(mean), Some(variance)) = (kept.mean(), kept.variance()) else {
            continue;
        };
        let statistic = variance * (count - 1.0) / (count * count);
        if best.is_none_or(|(_, smallest, _)| statistic <= smallest) {
            best = Some((d, statistic, mean));
        }
    }
    let (d, statistic, mean) = best.expect("ten batches leave at least five to keep");
    Ok(WarmUp {
        removed: (d * BATCH) as u64,
        mean,
        statistic,
        batches: means.len() as u64,
        at_limit: d == limit,
    })
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::statistics::test_draws::Lehmer;

    fn digits(value: f64, expected: f64) {
        assert!((value - expected).abs() < 0.6e-9 * expected.abs(), "{value} is not {expected}");
    }

    #[test]
    fn a_decaying_series() {
        // Check rows S-10 and S-11: rule of White, Cobb & Spratt (2000); series A is an own case:
        // y(i) = 10 + 20 exp(-i/40) + 3 sin(1.7 i) + 2 cos(0.9 i), i = 1 to 400.
        let series: Vec<f64> = (1..=400)
            .map(|i| {
                let i = f64::from(i);
                10.0 + 20.0 * libm::exp(-i / 40.0) + 3.0 * libm::sin(1.7 * i) + 2.0 * libm::cos(0.9 * i)
            })
            .collect();
        let found = mser_5(&series).unwrap();
        assert_eq!((found.removed, found.batches, found.at_limit), (120, 80, false));
        digits(found.mean, 10.137_108_63);
    }

    #[test]
    fn an_autoregressive_series() {
        // Check rows S-12 and S-13: series B is an own case: AR(1), phi 0.8, started 20 above its mean 100, noise the
        // sum of twelve uniforms minus 6 from the 16807 generator with seed 1.
        let mut generator = Lehmer::new();
        let mut x = 20.0;
        let series: Vec<f64> = (0..1000)
            .map(|_| {
                x = 0.8 * x + generator.noise();
                100.0 + x
            })
            .collect();
        assert!((series[0] - 115.340_34).abs() < 1e-5);
        let found = mser_5(&series).unwrap();
        assert_eq!((found.removed, found.at_limit), (10, false));
        digits(found.mean, 100.027_796_6);
    }

    #[test]
    fn a_series_still_rising_is_not_settled() {
        let rising: Vec<f64> = (0..203).map(f64::from).collect();
        let found = mser_5(&rising).unwrap();
        assert!(found.at_limit);
        assert_eq!((found.removed, found.batches), (100, 40));
    }

    #[test]
    fn a_constant_series_loses_nothing() {
        let found = mser_5(&[7.5; 60]).unwrap();
        assert_eq!((found.removed, found.mean, found.at_limit), (0, 7.5, false));
    }

    #[test]
    fn short_or_broken_series_are_refused() {
        assert_eq!(mser_5(&[1.0; 49]), Err(CannotSay::TooFew { have: 49, need: 50 }));
        let mut broken = [1.0; 60];
        broken[3] = f64::INFINITY;
        assert_eq!(mser_5(&broken), Err(CannotSay::NotFinite));
    }
}
