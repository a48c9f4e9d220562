//! Laws: the checked form of a random amount in base units (seconds, parts, kilograms).
//!
//! A law says what an amount may be and how likely; its moments are exact. It does not draw (see
//! `kernel::sampler`) and it does not read units. Invariant: whatever passes [`Law::check`] has finite,
//! non-negative amounts, a finite mean and a finite variance, so nothing built on it has to ask again.

use serde::Serialize;

/// Largest number of trials, and largest mean count, that a counting law accepts. Counts are drawn from
/// a table whose length grows with the root of the mean; 10^9 means some 5 MB.
const MOST_COUNTED: f64 = 1e9;
/// Spreads of gamma and lognormal laws in means, unless zero. Wider ones put nearly every draw near zero; narrower
/// ones are lost in rounding.
const SPREADS: std::ops::RangeInclusive<f64> = 1e-9..=100.0;
/// Largest shape of a Weibull law; there its spread is 0.13 % of its mean.
const STEEPEST_WEIBULL: f64 = 1000.0;
/// Largest mean of a geometric law, in steps.
const MOST_STEPS: f64 = 1e15;

/// A random amount: a least addition and a shape. All numbers are in base units.
#[derive(Clone, Debug, PartialEq, Serialize)]
pub struct Law {
    /// Added to every draw; zero unless stated.
    pub minimum: f64,
    /// How the rest is distributed.
    pub shape: Shape,
}

/// The distribution of an amount. Mean and spread are the mean and the standard deviation of the amount
/// itself (not of its logarithm), before the minimum is added.
#[derive(Clone, Debug, PartialEq, Serialize)]
#[serde(rename_all = "lowercase")]
pub enum Shape {
    /// Always the same.
    Fixed(f64),
    /// Every amount from `from` to `to` equally likely.
    Uniform {
        /// Smallest amount.
        from: f64,
        /// Largest amount.
        to: f64,
    },
    /// Triangle over `low..=high` with its peak at `likely`.
    Triangular {
        /// Smallest amount.
        low: f64,
        /// Most likely amount.
        likely: f64,
        /// Largest amount.
        high: f64,
    },
    /// Memoryless.
    Exponential {
        /// Mean amount.
        mean: f64,
    },
    /// Gamma law: sums of exponential stages and what lies between.
    Gamma {
        /// Mean amount.
        mean: f64,
        /// Standard deviation.
        spread: f64,
    },
    /// The logarithm is normal.
    Lognormal {
        /// Mean amount.
        mean: f64,
        /// Standard deviation.
        spread: f64,
    },
    /// Survival `exp(-(x / scale)^shape)`.
    Weibull {
        /// Below one: early failures; one: exponential; above one: wear.
        shape: f64,
        /// Amount reached with chance 1/e.
        scale: f64,
    },
    /// `step` times the number of trials up to and including the first success: 1, 2, 3 ... steps.
    Geometric {
        /// Mean of the whole amount; at least one step.
        mean: f64,
        /// Amount of one trial.
        step: f64,
    },
    /// Number of successes in `trials` independent trials.
    Binomial {
        /// Number of trials.
        trials: u32,
        /// Chance of success of each.
        chance: f64,
    },
    /// Number of independent rare happenings.
    Poisson {
        /// Mean number.
        mean: f64,
    },
    /// Amounts with their weights (need not add up to one).
    Table(Vec<(f64, f64)>),
    /// Amounts as observed, each equally likely.
    Observed(Vec<f64>),
}

impl From<Shape> for Law {
    fn from(shape: Shape) -> Self {
        Law { minimum: 0.0, shape }
    }
}

impl Law {
    /// A law that always gives `amount`.
    pub fn fixed(amount: f64) -> Self {
        Shape::Fixed(amount).into()
    }

    /// Exact mean, base units.
    pub fn mean(&self) -> f64 {
        self.minimum + self.shape.mean()
    }

    /// Exact variance, base units squared.
    pub fn variance(&self) -> f64 {
        if self.is_fixed() { 0.0 } else { self.shape.variance() }
    }

    /// Smallest amount that can occur, or the bound that draws can come close to.
    pub fn least(&self) -> f64 {
        self.minimum + self.shape.least()
    }

    /// Whether every draw is the same.
    pub fn is_fixed(&self) -> bool {
        self.shape.is_fixed()
    }

    /// Tests that the law makes sense. The message says what was expected, not where.
    pub fn check(&self) -> Result<(), String> {
        amount("a minimum", self.minimum)?;
        self.shape.check()?;
        if !self.mean().is_finite() || !self.variance().is_finite() {
            return Err("expected a law with a finite mean and variance".to_owned());
        }
        Ok(())
    }
}

impl Law {
    /// The largest amount that the law lists, or its mean where it lists none.
    pub fn largest(&self) -> f64 {
        let listed = match &self.shape {
            Shape::Table(rows) => rows.iter().map(|row| row.0).fold(0.0, f64::max),
            Shape::Observed(amounts) => amounts.iter().copied().fold(0.0, f64::max),
            Shape::Uniform { to, .. } | Shape::Triangular { high: to, .. } => *to,
            Shape::Fixed(_)
            | Shape::Exponential { .. }
            | Shape::Gamma { .. }
            | Shape::Lognormal { .. }
            | Shape::Weibull { .. }
            | Shape::Geometric { .. }
            | Shape::Binomial { .. }
            | Shape::Poisson { .. } => self.shape.mean(),
        };
        self.minimum + listed
    }
}

impl Shape {
    fn mean(&self) -> f64 {
        match self {
            Shape::Fixed(x) => *x,
            Shape::Uniform { from, to } => from + (to - from) / 2.0,
            Shape::Triangular { low, likely, high } => (low + likely + high) / 3.0,
            Shape::Exponential { mean }
            | Shape::Gamma { mean, .. }
            | Shape::Lognormal { mean, .. }
            | Shape::Geometric { mean, .. }
            | Shape::Poisson { mean } => *mean,
            Shape::Weibull { shape, scale } => scale * libm::tgamma(1.0 + 1.0 / shape),
            Shape::Binomial { trials, chance } => f64::from(*trials) * chance,
            Shape::Table(rows) => weighted_mean(rows, |x| x),
            Shape::Observed(list) => list.iter().sum::<f64>() / list.len() as f64,
        }
    }

    /// Variance; each form needs more than one possible amount only to be meaningful, never to be finite.
    fn variance(&self) -> f64 {
        match self {
            Shape::Fixed(_) => 0.0,
            Shape::Uniform { from, to } => (to - from) * (to - from) / 12.0,
            Shape::Triangular { low, likely, high } => {
                let (a, b) = (likely - low, high - likely);
                (a * a + a * b + b * b) / 18.0
            }
            Shape::Exponential { mean } => mean * mean,
            Shape::Gamma { spread, .. } | Shape::Lognormal { spread, .. } => spread * spread,
            Shape::Weibull { shape, scale } => {
                let first = libm::tgamma(1.0 + 1.0 / shape);
                scale * scale * (libm::tgamma(1.0 + 2.0 / shape) - first * first).max(0.0)
            }
            // With p = step / mean: (1 - p) / p^2 steps squared.
            Shape::Geometric { mean, step } => mean * (mean - step),
            Shape::Binomial { trials, chance } => f64::from(*trials) * chance * (1.0 - chance),
            Shape::Poisson { mean } => *mean,
            Shape::Table(rows) => {
                let mean = weighted_mean(rows, |x| x);
                weighted_mean(rows, |x| (x - mean) * (x - mean))
            }
            Shape::Observed(list) => {
                let mean = self.mean();
                list.iter().map(|x| (x - mean) * (x - mean)).sum::<f64>() / list.len() as f64
            }
        }
    }

    fn least(&self) -> f64 {
        match self {
            Shape::Fixed(x) => *x,
            Shape::Uniform { from, .. } => *from,
            Shape::Triangular { low, .. } => *low,
            Shape::Gamma { mean, spread } | Shape::Lognormal { mean, spread } => {
                if *spread > 0.0 {
                    0.0
                } else {
                    *mean
                }
            }
            Shape::Exponential { .. } | Shape::Weibull { .. } | Shape::Poisson { .. } => 0.0,
            Shape::Geometric { step, .. } => *step,
            Shape::Binomial { trials, chance } => {
                if *chance < 1.0 {
                    0.0
                } else {
                    f64::from(*trials)
                }
            }
            Shape::Table(rows) => {
                rows.iter().filter(|row| row.1 > 0.0).map(|row| row.0).fold(f64::INFINITY, f64::min)
            }
            Shape::Observed(list) => list.iter().copied().fold(f64::INFINITY, f64::min),
        }
    }

    fn is_fixed(&self) -> bool {
        match self {
            Shape::Fixed(_) => true,
            Shape::Uniform { from, to } => from == to,
            Shape::Triangular { low, high, .. } => low == high,
            Shape::Exponential { mean } | Shape::Poisson { mean } => *mean == 0.0,
            Shape::Gamma { spread, .. } | Shape::Lognormal { spread, .. } => *spread == 0.0,
            Shape::Weibull { scale, .. } => *scale == 0.0,
            Shape::Geometric { mean, step } => mean == step,
            Shape::Binomial { trials, chance } => *trials == 0 || *chance == 0.0 || *chance == 1.0,
            Shape::Table(rows) => {
                let least = self.least();
                rows.iter().all(|row| row.1 == 0.0 || row.0 == least)
            }
            Shape::Observed(list) => list.iter().all(|x| *x == list[0]),
        }
    }

    fn check(&self) -> Result<(), String> {
        match self {
            Shape::Fixed(x) => amount("a fixed amount", *x),
            Shape::Uniform { from, to } => {
                amount("`from`", *from)?;
                amount("`to`", *to)?;
                wanted(from <= to, || format!("expected `from` at or below `to`, found {from} and {to}"))
            }
            Shape::Triangular { low, likely, high } => {
                amount("`low`", *low)?;
                amount("`likely`", *likely)?;
                amount("`high`", *high)?;
                wanted(low <= likely && likely <= high, || {
                    format!("expected low <= likely <= high, found {low}, {likely} and {high}")
                })
            }
            Shape::Exponential { mean } => amount("a mean", *mean),
            Shape::Gamma { mean, spread } | Shape::Lognormal { mean, spread } => {
                check_mean_spread(*mean, *spread)
            }
            Shape::Weibull { shape, scale } => {
                amount("a scale", *scale)?;
                wanted(*shape > 0.0 && *shape <= STEEPEST_WEIBULL, || {
                    format!("expected a shape above 0, at most {STEEPEST_WEIBULL}, found {shape}")
                })
            }
            Shape::Geometric { mean, step } => {
                amount("a mean", *mean)?;
                wanted(step.is_finite() && *step > 0.0, || {
                    format!("expected a step above zero, found {step}")
                })?;
                wanted(mean >= step && mean / step <= MOST_STEPS, || {
                    format!("expected a mean of 1 to {MOST_STEPS} steps, found {mean} for a step of {step}")
                })
            }
            Shape::Binomial { trials, chance } => {
                wanted((0.0..=1.0).contains(chance), || {
                    format!("expected a chance from 0 to 1, found {chance}")
                })?;
                wanted(f64::from(*trials) <= MOST_COUNTED, || {
                    format!("expected at most {MOST_COUNTED} trials, found {trials}")
                })
            }
            Shape::Poisson { mean } => {
                amount("a mean", *mean)?;
                wanted(*mean <= MOST_COUNTED, || {
                    format!("expected a mean of at most {MOST_COUNTED}, found {mean}")
                })
            }
            Shape::Table(rows) => check_table(rows),
            Shape::Observed(list) => {
                wanted(!list.is_empty(), || "expected at least one observed amount".to_owned())?;
                list.iter().try_for_each(|x| amount("an observed amount", *x))
            }
        }
    }
}

fn weighted_mean(rows: &[(f64, f64)], of: impl Fn(f64) -> f64) -> f64 {
    let weights: f64 = rows.iter().map(|row| row.1).sum();
    rows.iter().map(|row| of(row.0) * (row.1 / weights)).sum()
}

fn wanted(holds: bool, message: impl FnOnce() -> String) -> Result<(), String> {
    if holds { Ok(()) } else { Err(message()) }
}

fn amount(what: &str, x: f64) -> Result<(), String> {
    wanted(x.is_finite() && x >= 0.0, || format!("expected {what} of zero or more, found {x}"))
}

fn check_mean_spread(mean: f64, spread: f64) -> Result<(), String> {
    amount("a mean", mean)?;
    amount("a spread", spread)?;
    wanted(spread == 0.0 || SPREADS.contains(&(spread / mean)), || {
        let (least, most) = (SPREADS.start(), SPREADS.end());
        format!("expected a spread of zero or {least} to {most} means, found {spread} for a mean of {mean}")
    })
}

fn check_table(rows: &[(f64, f64)]) -> Result<(), String> {
    for (x, weight) in rows {
        amount("an amount", *x)?;
        amount("a weight", *weight)?;
    }
    let sum: f64 = rows.iter().map(|row| row.1).sum();
    wanted(sum > 0.0 && sum.is_finite(), || {
        format!("expected weights with a sum above zero, found a sum of {sum}")
    })
}

#[cfg(test)]
mod tests;
