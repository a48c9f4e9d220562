//! Whether times came in no particular order: trend and correlation of neighbours.
//!
//! A law can only be fitted to times that are alike and do not depend on each other; a feeder that wears, or jams that come in
//! bursts, are not. Only times that ended count, in the order of the rows. Everything is summed while the rows go by:
//! memory does not grow with them. Invariant: no test is given for fewer than [`FEWEST`] times.

use crate::statistics::special::normal_cdf;
use schemars::JsonSchema;
use serde::Serialize;

/// Fewest times for a test of order.
pub const FEWEST: u64 = 8;

/// Running sums.
#[derive(Debug, Clone, Copy, Default)]
pub(super) struct OrderSums {
    n: u64,
    /// The first time: what is summed is the distance from it, so that nothing cancels where times hardly differ.
    first: f64,
    last: f64,
    sum: f64,
    squares: f64,
    products: f64,
    /// Sum of the moments at which times ended, all laid end to end: sum of times.
    elapsed: f64,
    /// Sum of those moments.
    moments: f64,
    previous: f64,
    /// Rows that went down.
    falls: u64,
    /// Rows that went up.
    rises: u64,
}

/// Tests of the order of rows.
#[derive(Debug, Clone, Copy, PartialEq, Serialize, JsonSchema)]
pub struct OrderTests {
    /// Times that ended, in the order of the rows.
    pub n: u64,
    /// Trend: Laplace's statistic over the coefficient of variation of the times (Lewis & Robinson 1974), standard normal
    /// without a trend. Above zero: times get shorter.
    pub trend: f64,
    /// Chance of a trend as large without any.
    pub trend_chance: f64,
    /// Correlation of neighbours (lag 1).
    pub lag_1: f64,
    /// Chance of a correlation as large without any (normal, with mean -1/n and variance 1/n: Moran 1948).
    pub lag_1_chance: f64,
}

impl OrderSums {
    pub(super) fn push(&mut self, time: f64) {
        if self.n == 0 {
            self.first = time;
        }
        let shifted = time - self.first;
        self.falls += u64::from(self.n > 0 && time < self.previous);
        self.rises += u64::from(self.n > 0 && time > self.previous);
        self.previous = time;
        if self.n > 0 {
            self.products += shifted * self.last;
        }
        self.n += 1;
        self.sum += shifted;
        self.squares += shifted * shifted;
        self.last = shifted;
        self.elapsed += time;
        self.moments += self.elapsed;
    }

    /// Whether the rows are in order of size, so that their order says nothing of time.
    pub(super) fn is_sorted(&self) -> bool {
        self.n >= FEWEST && (self.falls == 0 || self.rises == 0)
    }

    /// The tests; none for too few times, where all are equal, or where somebody has sorted them.
    pub(super) fn tests(&self) -> Option<OrderTests> {
        if self.n < FEWEST || self.is_sorted() {
            return None;
        }
        let n = self.n as f64;
        let mean = self.sum / n;
        let about_mean = self.squares - n * mean * mean;
        if about_mean <= 1e-12 * self.squares.max(f64::MIN_POSITIVE) {
            return None;
        }
        // The first time is zero when shifted, so the ends cost only the last one.
        let covered = self.products - mean * (2.0 * self.sum - self.last) + (n - 1.0) * mean * mean;
        let lag_1 = covered / about_mean;
        let spread = (about_mean / (n - 1.0)).sqrt();
        let variation = spread * n / self.elapsed;
        // Moments of all but the last end, against half of the whole.
        let middle = (self.moments - self.elapsed) / (n - 1.0) / self.elapsed - 0.5;
        let trend = middle * (12.0 * (n - 1.0)).sqrt() / variation;
        Some(OrderTests {
            n: self.n,
            trend,
            trend_chance: 2.0 * normal_cdf(-trend.abs()),
            lag_1,
            lag_1_chance: 2.0 * normal_cdf(-((lag_1 + 1.0 / n) * n.sqrt()).abs()),
        })
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::statistics::test_draws::{Draws, assert_share};

    fn tests_of(times: &[f64]) -> Option<OrderTests> {
        let mut sums = OrderSums::default();
        times.iter().for_each(|&time| sums.push(time));
        sums.tests()
    }

    #[test]
    fn sums_are_those_of_the_definitions() {
        let times = [3.0, 5.0, 4.0, 8.0, 7.0, 9.0, 12.0, 10.0];
        let n = times.len() as f64;
        let mean = times.iter().sum::<f64>() / n;
        let about: f64 = times.iter().map(|x| (x - mean) * (x - mean)).sum();
        let lag: f64 = times.windows(2).map(|pair| (pair[0] - mean) * (pair[1] - mean)).sum();
        let mut clock = 0.0;
        let ends: Vec<f64> = times
            .iter()
            .map(|x| {
                clock += x;
                clock
            })
            .collect();
        let before_last: f64 = ends[..ends.len() - 1].iter().sum();
        let laplace = (before_last / (n - 1.0) - clock / 2.0) / (clock * (1.0 / (12.0 * (n - 1.0))).sqrt());
        let found = tests_of(&times).unwrap();
        assert!((found.lag_1 - lag / about).abs() < 1e-12);
        let variation = (about / (n - 1.0)).sqrt() / mean;
        assert!((found.trend - laplace / variation).abs() < 1e-9);
        assert!(found.trend < 0.0, "times get longer, so ends come early");
    }

    #[test]
    fn too_few_or_equal_times_have_no_test() {
        assert_eq!(tests_of(&[1.0, 2.0, 3.0]), None);
        assert_eq!(tests_of(&[2.0; 50]), None);
        let sorted: Vec<f64> = (0..50).map(f64::from).collect();
        assert_eq!(tests_of(&sorted), None);
    }

    /// 4000 samples of 200 exponential times each: what is called unlikely at 5 % happens in 5 % of them. Approximation of
    /// the normal law allowed for: 0.2 per cent.
    #[test]
    fn times_in_no_order_are_rarely_suspected() {
        let mut draws = Draws::seeded(11);
        let (mut trends, mut lags) = (0, 0);
        for _ in 0..4000 {
            let times: Vec<f64> = (0..200).map(|_| draws.exponential(3.0)).collect();
            let found = tests_of(&times).unwrap();
            trends += u32::from(found.trend_chance < 0.05);
            lags += u32::from(found.lag_1_chance < 0.05);
        }
        assert_share("trend", trends, 4000, 0.05, 0.002);
        assert_share("lag 1", lags, 4000, 0.05, 0.002);
    }

    #[test]
    fn a_trend_and_a_dependence_are_seen() {
        let mut draws = Draws::seeded(5);
        let wearing: Vec<f64> = (0..200).map(|k| draws.exponential(10.0 - 0.04 * f64::from(k))).collect();
        assert!(tests_of(&wearing).unwrap().trend > 3.0);
        let mut level = 0.0;
        let bursts: Vec<f64> = (0..200)
            .map(|_| {
                level = 0.8 * level + draws.normal();
                libm::exp(level)
            })
            .collect();
        assert!(tests_of(&bursts).unwrap().lag_1_chance < 1e-6);
    }
}
