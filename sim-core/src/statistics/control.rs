//! The same mean from fewer shifts: controls with known means, and mirrored pairs.
//!
//! A control is a number of a shift whose mean is known exactly, such as jams less their chance times the parts; what it
//! is off by explains part of what the result is off by. Regression on controls is that of Lavenberg & Welch (1981),
//! Management Science 27(3), 322-335: exact intervals for jointly normal values, and a bias that vanishes with more shifts
//! otherwise. A mirrored pair is a shift and the one with u replaced by 1 - u (Hammersley & Morton 1956); its mean is one value,
//! unbiased whatever the law. For estimates of a mean only: a verdict about shifts counts shifts as they are. Invariant: a control that does not
//! vary, or that others explain, is left out, so that the regression always has a solution.

use super::quantiles::student_t_upper;
use super::{CannotSay, Estimate, Moments, at_least, inside_unit};
use serde::Serialize;

/// A control of which less than this share of its variance is its own is explained by the others.
const OWN_SHARE: f64 = 1e-9;

/// A mean with its controls taken into account.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct ControlledMean {
    /// The mean, with a t interval on n - q - 1 degrees of freedom for q controls.
    pub estimate: Estimate,
    /// Without controls, for comparison.
    pub plain: Estimate,
    /// What the mean moves by for each unit of each control; 0 for those that were left out.
    pub coefficients: Vec<f64>,
    /// Controls that were used.
    pub used: usize,
    /// Factor by which the variance of the estimate grows because coefficients are estimated: (n - 2) / (n - q - 2)
    /// (Lavenberg & Welch 1981). It is contained in the interval.
    pub loss: f64,
    /// Squared standard error over that without controls. None if the values do not vary.
    pub variance_ratio: Option<f64>,
}

impl ControlledMean {
    /// The mean of `values`, given for each control what it was off its known mean by in each shift.
    ///
    /// # Errors
    /// A control of another length, fewer than three values more than controls, a level outside (0, 1), or values that are not
    /// finite.
    pub fn of(values: &[f64], controls: &[Vec<f64>], level: f64) -> Result<Self, CannotSay> {
        Self::with_least(values, controls, 0.0, level)
    }

    /// The same where at least this variance of a value is known to be left by the controls, seen or not: rare events that are in
    /// none of them would be taken for nothing in most samples.
    ///
    /// # Errors
    /// As [`ControlledMean::of`].
    pub fn with_least(
        values: &[f64],
        controls: &[Vec<f64>],
        least: f64,
        level: f64,
    ) -> Result<Self, CannotSay> {
        inside_unit("level", level)?;
        let count = values.len() as u64;
        if let Some(odd) = controls.iter().find(|control| control.len() != values.len()) {
            return Err(CannotSay::NotPaired { first: count, second: odd.len() as u64 });
        }
        at_least(count, controls.len() as u64 + 3)?;
        let moments: Moments = values.iter().copied().collect();
        let plain = Estimate::of_mean(&moments, level)?;
        if controls.iter().flatten().any(|value| !value.is_finite()) {
            return Err(CannotSay::NotFinite);
        }
        let n = values.len() as f64;
        let means: Vec<f64> = controls.iter().map(|control| control.iter().sum::<f64>() / n).collect();
        let system = System::new(values, plain.mean, controls, &means);
        let coefficients = system.solve(&system.with_values);
        let explained: f64 = dot(&coefficients, &means);
        let residual: f64 = (0..values.len())
            .map(|t| {
                let fitted: f64 =
                    (0..controls.len()).map(|k| coefficients[k] * (controls[k][t] - means[k])).sum();
                let off = values[t] - plain.mean - fitted;
                off * off
            })
            .sum();
        let used = system.used();
        let df = n - used as f64 - 1.0;
        let spread = 1.0 / n + dot(&means, &system.solve(&means));
        let standard_error = ((residual / df).max(least) * spread).sqrt();
        let half = student_t_upper(0.5 * (1.0 - level), df) * standard_error;
        let mean = plain.mean - explained;
        let own = plain.standard_error * plain.standard_error;
        Ok(ControlledMean {
            estimate: Estimate { mean, standard_error, low: mean - half, high: mean + half, level, n: count },
            plain,
            coefficients,
            used,
            loss: (n - 2.0) / (n - used as f64 - 2.0),
            variance_ratio: (own > 0.0).then(|| standard_error * standard_error / own),
        })
    }
}

fn dot(a: &[f64], b: &[f64]) -> f64 {
    a.iter().zip(b).map(|(a, b)| a * b).sum()
}

/// The normal equations, factored (Cholesky).
struct System {
    /// Rows of the factor; the diagonal is 0 for a control that was left out.
    factor: Vec<Vec<f64>>,
    /// Sums of products of values and controls about their means.
    with_values: Vec<f64>,
}

impl System {
    fn new(values: &[f64], mean: f64, controls: &[Vec<f64>], means: &[f64]) -> Self {
        let product = |a: &[f64], a_mean: f64, b: &[f64], b_mean: f64| -> f64 {
            a.iter().zip(b).map(|(a, b)| (a - a_mean) * (b - b_mean)).sum()
        };
        let mut factor: Vec<Vec<f64>> = Vec::with_capacity(controls.len());
        for (row, control) in controls.iter().enumerate() {
            let whole = product(control, means[row], control, means[row]);
            let mut line = vec![0.0; row + 1];
            for column in 0..row {
                let pivot = factor[column][column];
                if pivot > 0.0 {
                    let both = product(control, means[row], &controls[column], means[column]);
                    line[column] = (both - dot(&line[..column], &factor[column][..column])) / pivot;
                }
            }
            let own = whole - dot(&line[..row], &line[..row]);
            line[row] = if own > OWN_SHARE * whole { own.sqrt() } else { 0.0 };
            if line[row] == 0.0 {
                line.fill(0.0);
            }
            factor.push(line);
        }
        let with_values = controls.iter().zip(means).map(|(c, m)| product(values, mean, c, *m)).collect();
        System { factor, with_values }
    }

    fn used(&self) -> usize {
        self.factor.iter().enumerate().filter(|(row, line)| line[*row] > 0.0).count()
    }

    /// The solution for a right-hand side; 0 for controls that were left out.
    fn solve(&self, right: &[f64]) -> Vec<f64> {
        let n = self.factor.len();
        let mut x = vec![0.0; n];
        for row in 0..n {
            let pivot = self.factor[row][row];
            if pivot > 0.0 {
                x[row] = (right[row] - dot(&self.factor[row][..row], &x[..row])) / pivot;
            }
        }
        for row in (0..n).rev() {
            let pivot = self.factor[row][row];
            if pivot > 0.0 {
                let below: f64 = (row + 1..n).map(|lower| self.factor[lower][row] * x[lower]).sum();
                x[row] = (x[row] - below) / pivot;
            }
        }
        x
    }
}

/// A mean from mirrored pairs.
#[derive(Debug, Clone, Copy, PartialEq, Serialize)]
pub struct MirroredMean {
    /// The mean, with a t interval over the means of pairs; its count is that of pairs.
    pub estimate: Estimate,
    /// Squared standard error over that of as many shifts without mirroring: above 1 mirroring did harm. None if the values
    /// do not vary.
    pub variance_ratio: Option<f64>,
}

impl MirroredMean {
    /// The mean of the pairs of a shift and its mirrored one.
    ///
    /// # Errors
    /// Unequal counts, fewer than two pairs, a level outside (0, 1), or values that are not finite.
    pub fn of(plain: &[f64], mirrored: &[f64], level: f64) -> Result<Self, CannotSay> {
        if plain.len() != mirrored.len() {
            return Err(CannotSay::NotPaired { first: plain.len() as u64, second: mirrored.len() as u64 });
        }
        let pairs: Moments = plain.iter().zip(mirrored).map(|(a, b)| 0.5 * (a + b)).collect();
        let estimate = Estimate::of_mean(&pairs, level)?;
        // Each half is a sample of independent shifts.
        let of = |half: &[f64]| half.iter().copied().collect::<Moments>().variance().unwrap_or(0.0);
        let apart = 0.25 * (of(plain) + of(mirrored)) / plain.len() as f64;
        let own = estimate.standard_error * estimate.standard_error;
        Ok(MirroredMean { estimate, variance_ratio: (apart > 0.0).then(|| own / apart) })
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::statistics::test_draws::{Draws, assert_share};

    #[test]
    fn one_control_by_hand() {
        // Deviations of c about 2: -2, -1, 0, 3; of y about 5: -3, -1, 0, 4; S_cc 14, S_cy 19, slope 19/14; the control is
        // 2 above its mean, so the mean moves by -38/14. Residuals -4/14, 5/14, 0, -1/14: sum of squares 42/196; on 2 degrees
        // of freedom times 1/4 + 4/14.
        let found = ControlledMean::of(&[2.0, 4.0, 5.0, 9.0], &[vec![0.0, 1.0, 2.0, 5.0]], 0.95).unwrap();
        assert!((found.coefficients[0] - 19.0 / 14.0).abs() < 1e-12);
        assert!((found.estimate.mean - (5.0 - 38.0 / 14.0)).abs() < 1e-12);
        let variance = 42.0 / 196.0 / 2.0 * (0.25 + 4.0 / 14.0);
        assert!((found.estimate.standard_error - f64::sqrt(variance)).abs() < 1e-12);
        assert_eq!((found.used, found.loss), (1, 2.0));
    }

    #[test]
    fn controls_that_say_nothing_new_are_left_out() {
        let values = [2.0, 4.0, 5.0, 9.0, 3.0, 7.0, 8.0];
        let control = vec![0.0, 1.0, 2.0, 5.0, -1.0, 1.0, 3.0];
        let twice: Vec<f64> = control.iter().map(|c| 2.0 * c - 1.0).collect();
        let alone = ControlledMean::of(&values, std::slice::from_ref(&control), 0.95).unwrap();
        let all = ControlledMean::of(&values, &[vec![0.0; 7], control, twice], 0.95).unwrap();
        assert_eq!((all.used, all.coefficients[0], all.coefficients[2]), (1, 0.0, 0.0));
        assert_eq!(all.estimate, alone.estimate);
        assert!(ControlledMean::of(&values, &[vec![0.0]], 0.95).is_err());
    }

    /// Mean of the estimates in standard errors of it, and share of intervals that hold the mean 0.
    fn honest(what: &str, runs: u32, expected: f64, mut study: impl FnMut() -> Estimate) -> f64 {
        let (mut means, mut holds) = (Moments::new(), 0);
        for _ in 0..runs {
            let found = study();
            means.push(found.mean);
            holds += u32::from(found.low <= 0.0 && 0.0 <= found.high);
        }
        let off = means.mean().unwrap() / means.standard_error().unwrap();
        assert!(off.abs() < 4.5, "{what}: {off} standard errors off");
        assert_share(what, holds, runs, expected, 0.003);
        means.variance().unwrap()
    }

    /// Seed 31, 4000 studies of 20 shifts: two controls explain 0.9 of the variance.
    #[test]
    fn the_interval_with_controls_holds_its_level_and_is_short() {
        let mut draws = Draws::seeded(31);
        let (mut plain, mut lost) = (Moments::new(), 0.0);
        let variance = honest("controls", 4000, 0.95, || {
            let controls: Vec<Vec<f64>> = (0..2).map(|_| (0..20).map(|_| draws.normal()).collect()).collect();
            let value = |t: usize, noise: f64| {
                0.6_f64.sqrt() * controls[0][t] - 0.3_f64.sqrt() * controls[1][t] + noise
            };
            let values: Vec<f64> = (0..20).map(|t| value(t, 0.1_f64.sqrt() * draws.normal())).collect();
            let found = ControlledMean::of(&values, &controls, 0.95).unwrap();
            plain.push(found.plain.mean);
            lost = found.loss;
            found.estimate
        });
        // The variance that is left, 0.1, times the loss 18/16 (Lavenberg & Welch 1981); each variance of 4000 means has a
        // relative standard error of sqrt(2/4000) = 0.022, their quotient of 0.032.
        let ratio = variance / plain.variance().unwrap();
        assert!((ratio / (0.1 * lost) - 1.0).abs() < 4.5 * 0.032, "{ratio} {lost}");
    }

    /// Seed 32, 1000 studies of 15 pairs of a monotone function of one uniform: exponential less its mean.
    #[test]
    fn the_interval_over_mirrored_pairs_holds_its_level_and_is_short() {
        let mut draws = Draws::seeded(32);
        let mut ratios = Moments::new();
        honest("mirrored", 1000, 0.95, || {
            let u: Vec<f64> = (0..60).map(|_| draws.uniform()).collect();
            let of = |mirror: bool| -> Vec<f64> {
                // Four draws a shift: nearly normal.
                u.chunks(4)
                    .map(|us| us.iter().map(|u| -libm::log(if mirror { 1.0 - u } else { *u }) - 1.0).sum())
                    .collect()
            };
            let found = MirroredMean::of(&of(false), &of(true), 0.95).unwrap();
            ratios.push(found.variance_ratio.unwrap());
            found.estimate
        });
        // Correlation of -ln u and -ln(1 - u): 1 - pi^2/6 = -0.645, so that the variance is 0.355 times (textbooks).
        let mean = ratios.mean().unwrap();
        assert!((mean - 0.355).abs() < 4.5 * ratios.standard_error().unwrap() + 0.02, "{mean}");
    }
}
