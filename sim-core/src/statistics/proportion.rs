//! Intervals for a chance from counted successes.
//!
//! For "so many of n shifts made the rate". Clopper-Pearson is exact: its chance of missing is never above the stated
//! one, whatever the truth; verdicts use it. Wilson's interval is shorter and right only on average over truths; it is
//! for display. Invariant: limits lie within 0 to 1, and no success (or no failure) gives the limit 0 (or 1) exactly.

use serde::Serialize;

use super::quantiles::{beta, normal_upper};
use super::{CannotSay, inside_unit};

/// A share with its interval.
#[derive(Debug, Clone, Copy, PartialEq, Serialize)]
pub struct Proportion {
    /// Number of successes.
    pub successes: u64,
    /// Number of independent trials.
    pub n: u64,
    /// Share of successes.
    pub share: f64,
    /// Standard error of the share, from the share itself (0 if all trials ended alike: then only the interval speaks).
    pub standard_error: f64,
    /// Lower limit for the chance.
    pub low: f64,
    /// Upper limit for the chance.
    pub high: f64,
    /// Confidence level, two-sided.
    pub level: f64,
    /// How the limits were found.
    pub method: Method,
}

/// Kind of interval for a chance.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize)]
#[serde(rename_all = "snake_case")]
pub enum Method {
    /// Exact binomial tails (Clopper & Pearson 1934, Biometrika 26).
    ClopperPearson,
    /// Score interval (Wilson 1927, Journal of the American Statistical Association 22).
    Wilson,
}

fn check(successes: u64, n: u64) -> Result<(), CannotSay> {
    if n == 0 {
        return Err(CannotSay::TooFew { have: 0, need: 1 });
    }
    if successes > n {
        return Err(CannotSay::OutOfRange { what: "successes", value: successes as f64 });
    }
    Ok(())
}

/// Two-sided Clopper-Pearson interval (Clopper & Pearson 1934).
///
/// # Errors
/// No trials, more successes than trials, or a level outside (0, 1).
pub fn clopper_pearson(successes: u64, n: u64, level: f64) -> Result<Proportion, CannotSay> {
    inside_unit("level", level)?;
    let tail = 0.5 * (1.0 - level);
    let low = lower_limit(successes, n, tail)?;
    let high = upper_limit(successes, n, tail)?;
    Ok(assemble(successes, n, (low, high), level, Method::ClopperPearson))
}

/// One-sided lower limit: it lies above the true chance with chance `error` at most (Clopper & Pearson 1934).
///
/// # Errors
/// No trials, more successes than trials, or an error outside (0, 1).
pub fn lower_limit(successes: u64, n: u64, error: f64) -> Result<f64, CannotSay> {
    check(successes, n)?;
    inside_unit("error", error)?;
    if successes == 0 {
        return Ok(0.0);
    }
    Ok(beta(error, successes as f64, (n - successes) as f64 + 1.0))
}

/// One-sided upper limit: it lies below the true chance with chance `error` at most (Clopper & Pearson 1934).
///
/// # Errors
/// No trials, more successes than trials, or an error outside (0, 1).
pub fn upper_limit(successes: u64, n: u64, error: f64) -> Result<f64, CannotSay> {
    check(successes, n)?;
    // By symmetry, so that a tiny error is never taken as one minus itself.
    Ok(1.0 - lower_limit(n - successes, n, error)?)
}

/// Two-sided Wilson score interval (Wilson 1927).
///
/// # Errors
/// No trials, more successes than trials, or a level outside (0, 1).
pub fn wilson(successes: u64, n: u64, level: f64) -> Result<Proportion, CannotSay> {
    check(successes, n)?;
    inside_unit("level", level)?;
    let z = normal_upper(0.5 * (1.0 - level));
    let (x, trials) = (successes as f64, n as f64);
    let middle = (x + 0.5 * z * z) / (trials + z * z);
    let half = z / (trials + z * z) * (x * (trials - x) / trials + 0.25 * z * z).sqrt();
    let low = if successes == 0 { 0.0 } else { middle - half };
    let high = if successes == n { 1.0 } else { middle + half };
    Ok(assemble(successes, n, (low, high), level, Method::Wilson))
}

fn assemble(successes: u64, n: u64, limits: (f64, f64), level: f64, method: Method) -> Proportion {
    let share = successes as f64 / n as f64;
    let standard_error = (share * (1.0 - share) / n as f64).sqrt();
    Proportion { successes, n, share, standard_error, low: limits.0, high: limits.1, level, method }
}

#[cfg(test)]
mod tests {
    use super::*;
    use statrs::distribution::{Binomial, Discrete};

    fn digits(value: f64, expected: f64) {
        assert!((value - expected).abs() < 0.6e-9 * expected.abs(), "{value} is not {expected}");
    }

    #[test]
    fn published_intervals() {
        // Check rows S-26 to S-32: Newcombe (1998), Statistics in Medicine 17, 857-872.
        let w = wilson(81, 263, 0.95).unwrap();
        digits(w.low, 0.255_288_519_9); // S-26
        digits(w.high, 0.366_209_577); // S-27
        let c = clopper_pearson(81, 263, 0.95).unwrap();
        digits(c.low, 0.252_736_745_6); // S-28
        digits(c.high, 0.367_621_922_6); // S-29
        digits(clopper_pearson(15, 148, 0.95).unwrap().high, 0.161_650_490_3); // S-30
        let none = clopper_pearson(0, 20, 0.95).unwrap();
        digits(none.high, 0.168_433_471); // S-31
        assert_eq!(none.low, 0.0);
        digits(wilson(0, 20, 0.95).unwrap().high, 0.161_125_158_1); // S-32
    }

    #[test]
    fn clopper_pearson_misses_no_more_often_than_stated_on_either_side() {
        // By summation over all counts, not by simulation.
        for n in [7_u64, 40, 173] {
            let intervals: Vec<_> = (0..=n).map(|x| clopper_pearson(x, n, 0.9).unwrap()).collect();
            for step in 1..200 {
                let p = f64::from(step) / 200.0;
                let law = Binomial::new(p, n).unwrap();
                let (mut below, mut above) = (0.0, 0.0);
                for interval in &intervals {
                    let chance = law.pmf(interval.successes);
                    below += if p < interval.low { chance } else { 0.0 };
                    above += if p > interval.high { chance } else { 0.0 };
                }
                assert!(below <= 0.05 + 1e-9 && above <= 0.05 + 1e-9, "n {n} p {p}: {below} {above}");
            }
        }
    }

    #[test]
    fn the_limit_is_where_the_tail_equals_the_error() {
        for (x, n, error) in [(3, 10, 0.025), (380, 400, 1e-6), (1, 5000, 0.01)] {
            let low = lower_limit(x, n, error).unwrap();
            let at_least: f64 = (x..=n).map(|k| Binomial::new(low, n).unwrap().pmf(k)).sum();
            assert!((at_least / error - 1.0).abs() < 1e-7, "{x} of {n}: {at_least}");
        }
    }

    #[test]
    fn nonsense_is_refused() {
        assert!(
            wilson(1, 0, 0.9).is_err() && lower_limit(3, 2, 0.1).is_err() && upper_limit(3, 2, 0.1).is_err()
        );
        assert!(clopper_pearson(1, 2, 1.0).is_err());
    }
}
