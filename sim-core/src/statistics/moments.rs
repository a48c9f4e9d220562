//! Count, mean, spread and extremes of a stream of values in constant memory.
//!
//! For every measure that is averaged over replications. It keeps no values and knows no interval. Invariant: the sum of
//! squares about the mean is never negative and is never found by subtracting large squares. Merging is exact algebra
//! but not exact floating point: who wants the same bits merges in the same order.

use serde::Serialize;

/// Running moments of a sample (Welford 1962, Technometrics 4). Values must be finite; see [`Moments::push`].
#[derive(Debug, Clone, Copy, PartialEq, Default, Serialize)]
#[serde(into = "MomentsReport")]
pub struct Moments {
    count: u64,
    mean: f64,
    /// Sum of squared deviations from the mean.
    m2: f64,
    min: f64,
    max: f64,
}

/// What a report shows of moments: nothing that the count does not bear.
#[derive(Serialize)]
struct MomentsReport {
    count: u64,
    mean: Option<f64>,
    standard_deviation: Option<f64>,
    min: Option<f64>,
    max: Option<f64>,
}

impl From<Moments> for MomentsReport {
    fn from(m: Moments) -> Self {
        Self {
            count: m.count,
            mean: m.mean(),
            standard_deviation: m.standard_deviation(),
            min: m.min(),
            max: m.max(),
        }
    }
}

impl Moments {
    /// An empty sample.
    pub fn new() -> Self {
        Self::default()
    }

    /// Adds a value. A value that is not finite makes mean and variance not finite; the intervals then refuse.
    pub fn push(&mut self, value: f64) {
        self.count += 1;
        let before = value - self.mean;
        self.mean += before / self.count as f64;
        self.m2 += before * (value - self.mean);
        if self.count == 1 {
            self.min = value;
            self.max = value;
        } else {
            self.min = self.min.min(value);
            self.max = self.max.max(value);
        }
    }

    /// Adds the sample behind `other` (Chan, Golub & LeVeque 1979).
    pub fn merge(&mut self, other: &Self) {
        if other.count == 0 {
            return;
        }
        if self.count == 0 {
            *self = *other;
            return;
        }
        let (here, there) = (self.count as f64, other.count as f64);
        let total = here + there;
        let apart = other.mean - self.mean;
        self.mean += apart * there / total;
        self.m2 += other.m2 + apart * apart * here * there / total;
        self.count += other.count;
        self.min = self.min.min(other.min);
        self.max = self.max.max(other.max);
    }

    /// The same sample with a variance of at least this: for values whose spread is known from elsewhere to be as large, though
    /// so few of them may not show it.
    #[must_use]
    pub fn spread_at_least(mut self, variance: f64) -> Self {
        self.m2 = self.m2.max(variance * self.count.saturating_sub(1) as f64);
        self
    }

    /// Number of values.
    pub fn count(&self) -> u64 {
        self.count
    }

    /// Mean; none of an empty sample.
    pub fn mean(&self) -> Option<f64> {
        (self.count > 0).then_some(self.mean)
    }

    /// Sample variance with divisor n - 1; none below two values.
    pub fn variance(&self) -> Option<f64> {
        (self.count > 1).then(|| self.m2 / (self.count - 1) as f64)
    }

    /// Sample standard deviation; none below two values.
    pub fn standard_deviation(&self) -> Option<f64> {
        self.variance().map(f64::sqrt)
    }

    /// Standard error of the mean of independent values; none below two values.
    pub fn standard_error(&self) -> Option<f64> {
        self.variance().map(|v| (v / self.count as f64).sqrt())
    }

    /// Smallest value; none of an empty sample.
    pub fn min(&self) -> Option<f64> {
        (self.count > 0).then_some(self.min)
    }

    /// Largest value; none of an empty sample.
    pub fn max(&self) -> Option<f64> {
        (self.count > 0).then_some(self.max)
    }
}

impl FromIterator<f64> for Moments {
    fn from_iter<I: IntoIterator<Item = f64>>(values: I) -> Self {
        let mut moments = Self::new();
        for value in values {
            moments.push(value);
        }
        moments
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::statistics::test_draws::Lehmer;

    #[test]
    fn small_sample_by_hand() {
        let m: Moments = [2.0, 4.0, 4.0, 4.0, 5.0, 5.0, 7.0, 9.0].into_iter().collect();
        assert_eq!((m.count(), m.mean(), m.min(), m.max()), (8, Some(5.0), Some(2.0), Some(9.0)));
        assert!((m.variance().unwrap() - 32.0 / 7.0).abs() < 1e-14);
        assert!((m.standard_error().unwrap() - (32.0_f64 / 56.0).sqrt()).abs() < 1e-14);
    }

    #[test]
    fn a_large_offset_does_not_eat_the_spread() {
        let m: Moments = [1e9 + 4.0, 1e9 + 7.0, 1e9 + 13.0, 1e9 + 16.0].into_iter().collect();
        assert_eq!(m.variance(), Some(30.0));
    }

    #[test]
    fn merging_equals_pushing_wherever_the_cut_is() {
        let mut generator = Lehmer::new();
        let values: Vec<f64> = (0..100).map(|_| generator.uniform() * 10.0 - 3.0).collect();
        let whole: Moments = values.iter().copied().collect();
        for cut in [0, 1, 37, 99, 100] {
            let mut first: Moments = values[..cut].iter().copied().collect();
            first.merge(&values[cut..].iter().copied().collect());
            assert_eq!((first.count(), first.min(), first.max()), (100, whole.min(), whole.max()));
            assert!((first.mean().unwrap() - whole.mean().unwrap()).abs() < 1e-13, "cut at {cut}");
            assert!((first.variance().unwrap() - whole.variance().unwrap()).abs() < 1e-12, "cut at {cut}");
        }
    }

    #[test]
    fn a_report_never_shows_what_the_count_does_not_bear() {
        let empty = serde_json::to_string(&Moments::new()).unwrap();
        assert_eq!(empty, r#"{"count":0,"mean":null,"standard_deviation":null,"min":null,"max":null}"#);
        let one = serde_json::to_string(&Moments::from_iter([3.5])).unwrap();
        assert_eq!(one, r#"{"count":1,"mean":3.5,"standard_deviation":null,"min":3.5,"max":3.5}"#);
    }

    #[test]
    fn variance_of_the_mean_of_an_autocorrelated_series() {
        // Check row S-14: the mean of 100 terms of a stationary AR(1), phi 0.8, unit noise variance, has variance
        // 0.2388888889 (time-series textbooks). First the closed form as a double sum, then 4000 series.
        let phi = 0.8;
        let level = 1.0 / (1.0 - phi * phi);
        let lags: f64 = (1..100).map(|lag| f64::from(100 - lag) * libm::pow(phi, f64::from(lag))).sum();
        let exact = level * (100.0 + 2.0 * lags) / 1e4;
        assert!((exact - 0.238_888_888_9).abs() < 1e-10);

        let mut generator = Lehmer::new();
        let mut means = Moments::new();
        for _ in 0..4000 {
            let mut x = generator.noise() * level.sqrt();
            let mut series = Moments::new();
            for _ in 0..100 {
                series.push(x);
                x = phi * x + generator.noise();
            }
            means.push(series.mean().unwrap());
        }
        // Relative standard error of a variance from 4000 nearly normal means: sqrt(2/4000); 4.5 of them allowed.
        let ratio = means.variance().unwrap() / exact;
        assert!((ratio - 1.0).abs() < 4.5 * (2.0_f64 / 4000.0).sqrt(), "ratio {ratio}");
    }
}
