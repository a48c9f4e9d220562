//! Difference of two chances, from shifts that two designs ran on the same luck.
//!
//! Only the shifts in which the designs differ tell them apart (McNemar 1947, Psychometrika 12): the difference of the
//! chances is the chance that the second alone makes it less the chance that the first alone does. Each of the two has
//! an exact limit (Clopper & Pearson 1934) at half the error; their difference is then wrong with the stated chance at most
//! (Bonferroni), whatever the truth and however few shifts there are. It is wider than approximate intervals, and may be
//! looked at often and early, which those may not. Invariant: limits lie within -1 to 1.

use super::proportion::{lower_limit, upper_limit};
use super::{CannotSay, inside_unit};
use serde::Serialize;

/// Difference of two chances, second minus first.
#[derive(Debug, Clone, Copy, PartialEq, Serialize)]
pub struct PairedChance {
    /// Share of the second minus share of the first.
    pub difference: f64,
    /// Standard error of it.
    pub standard_error: f64,
    /// Lower limit.
    pub low: f64,
    /// Upper limit.
    pub high: f64,
    /// Confidence level, two-sided; held at least.
    pub level: f64,
    /// Pairs.
    pub n: u64,
    /// Pairs in which the first alone succeeded.
    pub first_alone: u64,
    /// Pairs in which the second alone succeeded.
    pub second_alone: u64,
}

impl PairedChance {
    /// The difference with its guaranteed interval.
    ///
    /// # Errors
    /// No pairs, more of one kind than pairs, or a level outside (0, 1).
    pub fn of(first_alone: u64, second_alone: u64, n: u64, level: f64) -> Result<Self, CannotSay> {
        inside_unit("level", level)?;
        if first_alone.saturating_add(second_alone) > n {
            return Err(CannotSay::OutOfRange { what: "pairs that differ", value: first_alone as f64 });
        }
        let least = |more: u64, less: u64| -> Result<f64, CannotSay> {
            let error = 0.25 * (1.0 - level);
            let more = lower_limit(more, n, error)?;
            // The two chances add up to 1 at most.
            Ok(more - upper_limit(less, n, error)?.min(1.0 - more))
        };
        let (a, b, pairs) = (first_alone as f64, second_alone as f64, n as f64);
        let (low, high) = (least(second_alone, first_alone)?, -least(first_alone, second_alone)?);
        Ok(PairedChance {
            difference: (b - a) / pairs,
            standard_error: ((a + b) - (b - a) * (b - a) / pairs).max(0.0).sqrt() / pairs,
            low,
            high,
            level,
            n,
            first_alone,
            second_alone,
        })
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::statistics::special::binomial_at_most;

    fn exactly(n: u64, p: f64, k: u64) -> f64 {
        (binomial_at_most(n, p, k) - if k == 0 { 0.0 } else { binomial_at_most(n, p, k - 1) }).max(0.0)
    }

    /// By summation over all outcomes, not by simulation: the number of differing pairs is binomial, and which way
    /// they differ is binomial again.
    #[test]
    fn neither_limit_is_wrong_more_often_than_stated() {
        let (n, level) = (24, 0.9);
        for (first, second) in
            [(0.0, 0.0), (0.02, 0.02), (0.1, 0.3), (0.3, 0.1), (0.45, 0.45), (0.0, 0.9), (0.05, 0.9)]
        {
            let (differ, truth) = (first + second, second - first);
            let (mut above, mut below, mut total) = (0.0, 0.0, 0.0);
            for d in 0..=n {
                let way = if differ > 0.0 { second / differ } else { 0.5 };
                for second_alone in 0..=d {
                    let chance = exactly(n, differ, d) * exactly(d, way, second_alone);
                    let found = PairedChance::of(d - second_alone, second_alone, n, level).unwrap();
                    assert!(found.low <= found.difference && found.difference <= found.high);
                    assert!(found.low >= -1.0 && found.high <= 1.0);
                    above += if found.low > truth + 1e-12 { chance } else { 0.0 };
                    below += if found.high < truth - 1e-12 { chance } else { 0.0 };
                    total += chance;
                }
            }
            assert!((total - 1.0).abs() < 1e-9, "{total}");
            assert!(above <= 0.05 && below <= 0.05, "{first} {second}: {above} {below}");
        }
    }

    #[test]
    fn the_two_sides_mirror_each_other_and_more_pairs_tell_more() {
        let one = PairedChance::of(3, 14, 60, 0.95).unwrap();
        let other = PairedChance::of(14, 3, 60, 0.95).unwrap();
        assert_eq!((one.low, one.high), (-other.high, -other.low));
        assert!(one.low > -0.05 && PairedChance::of(30, 140, 600, 0.95).unwrap().low > 0.1);
        // All pairs differ the same way: 1 - 2 (1 - 0.0125^(1/20)), by hand 0.6064.
        let all = PairedChance::of(0, 20, 20, 0.95).unwrap();
        assert!((all.low - (1.0 - 2.0 * (1.0 - libm::pow(0.0125, 0.05)))).abs() < 1e-12, "{}", all.low);
        assert_eq!((all.high, all.standard_error), (1.0, 0.0));
        assert!(PairedChance::of(11, 10, 20, 0.95).is_err() && PairedChance::of(0, 0, 0, 0.95).is_err());
    }
}
