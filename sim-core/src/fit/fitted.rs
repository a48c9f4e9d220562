//! A fitted law: what it says of a time, and how far its parameters are known.
//!
//! Natural parameters are those of the textbooks; what a scenario wants (mean and spread of the time itself) follows from them,
//! with errors carried over by first derivatives (the delta method). Invariant: the covariance is the inverse of the observed
//! information at the maximum of the likelihood, so that an error comes with every parameter.

use crate::statistics::quantiles::{chi_square, normal, normal_upper};
use crate::statistics::special::{gamma_tails, normal_cdf};
use crate::terms::law::{Law, Shape};
use schemars::JsonSchema;
use serde::Serialize;

/// Families of laws that are fitted.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, JsonSchema)]
#[serde(rename_all = "lowercase")]
pub enum Family {
    /// Memoryless.
    Exponential,
    /// Survival exp(-(t / scale)^shape).
    Weibull,
    /// The logarithm is normal.
    Lognormal,
    /// Sums of exponential stages and what lies between.
    Gamma,
}

impl Family {
    /// All of them.
    pub const ALL: [Family; 4] = [Family::Exponential, Family::Weibull, Family::Lognormal, Family::Gamma];

    /// Its word in a scenario.
    pub fn word(self) -> &'static str {
        match self {
            Family::Exponential => "exponential",
            Family::Weibull => "weibull",
            Family::Lognormal => "lognormal",
            Family::Gamma => "gamma",
        }
    }

    /// Number of parameters.
    pub fn n_parameters(self) -> u64 {
        match self {
            Family::Exponential => 1,
            Family::Weibull | Family::Lognormal | Family::Gamma => 2,
        }
    }
}

/// A law fitted by maximum likelihood.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Fitted {
    /// Which law.
    pub family: Family,
    /// Exponential: mean and nothing; Weibull: shape and scale; lognormal: mean and standard deviation of the logarithms;
    /// gamma: shape and scale.
    pub natural: [f64; 2],
    /// Covariance of the natural parameters.
    pub covariance: [[f64; 2]; 2],
    /// Logarithm of the likelihood at its maximum.
    pub log_likelihood: f64,
    /// Times that ended.
    pub n_ended: u64,
    /// All times.
    pub n: u64,
}

/// A parameter with its error.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Parameter {
    /// Its name.
    pub name: &'static str,
    /// Whether it is a time; otherwise a plain number.
    pub is_time: bool,
    /// Its value.
    pub value: f64,
    /// Its standard error.
    pub standard_error: f64,
    /// Lower limit of its interval.
    pub low: f64,
    /// Upper limit of its interval.
    pub high: f64,
}

impl Fitted {
    /// Chance of a time up to `t`, and of a longer one.
    pub fn tails(&self, t: f64) -> (f64, f64) {
        if t <= 0.0 {
            return (0.0, 1.0);
        }
        let [a, b] = self.natural;
        let from_hazard = |hazard: f64| (-libm::expm1(-hazard), libm::exp(-hazard));
        match self.family {
            Family::Exponential => from_hazard(t / a),
            Family::Weibull => from_hazard(libm::pow(t / b, a)),
            Family::Lognormal => {
                let z = (libm::log(t) - a) / b;
                (normal_cdf(z), normal_cdf(-z))
            }
            Family::Gamma => {
                let tails = gamma_tails(a, t / b);
                (tails.lower, tails.upper)
            }
        }
    }

    /// The time that is not exceeded with chance `p`, 0 < p < 1.
    pub fn quantile(&self, p: f64) -> f64 {
        let [a, b] = self.natural;
        match self.family {
            Family::Exponential => -a * libm::log1p(-p),
            Family::Weibull => b * libm::pow(-libm::log1p(-p), 1.0 / a),
            Family::Lognormal => libm::exp(a + b * normal(p)),
            Family::Gamma => 0.5 * b * chi_square(p, 2.0 * a),
        }
    }

    /// Mean and standard deviation of the time.
    pub fn mean_and_spread(&self) -> (f64, f64) {
        let law = self.law();
        (law.mean(), law.variance().sqrt())
    }

    /// As a law of a scenario, in the unit of the times.
    pub fn law(&self) -> Law {
        let [a, b] = self.natural;
        Law::from(match self.family {
            Family::Exponential => Shape::Exponential { mean: a },
            Family::Weibull => Shape::Weibull { shape: a, scale: b },
            Family::Lognormal => {
                let mean = libm::exp(a + 0.5 * b * b);
                Shape::Lognormal { mean, spread: mean * libm::expm1(b * b).sqrt() }
            }
            Family::Gamma => Shape::Gamma { mean: a * b, spread: a.sqrt() * b },
        })
    }

    /// Natural parameters with their errors.
    pub fn natural_parameters(&self, level: f64) -> Vec<Parameter> {
        let named: &[(&'static str, bool)] = match self.family {
            Family::Exponential => &[("mean", true)],
            Family::Weibull => &[("shape", false), ("scale", true)],
            Family::Lognormal => &[("mean of logarithms", false), ("deviation of logarithms", false)],
            Family::Gamma => &[("shape", false), ("scale", true)],
        };
        let z = normal_upper(0.5 * (1.0 - level));
        let plain = |n: usize| {
            let (name, is_time) = named[n];
            let value = self.natural[n];
            let error = self.covariance[n][n].sqrt();
            let (low, high) = if name == "mean of logarithms" {
                (value - z * error, value + z * error)
            } else {
                around(value, error, z)
            };
            Parameter { name, is_time, value, standard_error: error, low, high }
        };
        match self.family {
            Family::Exponential => vec![self.exponential_mean(level)],
            Family::Weibull | Family::Lognormal | Family::Gamma => vec![plain(0), plain(1)],
        }
    }

    /// The parameters that a scenario takes, with their errors.
    pub fn parameters(&self, level: f64) -> Vec<Parameter> {
        let [a, b] = self.natural;
        let z = normal_upper(0.5 * (1.0 - level));
        let (mean, spread) = self.mean_and_spread();
        let derived = |name, value: f64, slopes: [f64; 2]| {
            let error = self.carried(slopes);
            let (low, high) = around(value, error, z);
            Parameter { name, is_time: true, value, standard_error: error, low, high }
        };
        match self.family {
            Family::Exponential | Family::Weibull => self.natural_parameters(level),
            Family::Lognormal => {
                let widened = mean * b * libm::exp(b * b) / libm::expm1(b * b).sqrt();
                vec![
                    derived("mean", mean, [mean, mean * b]),
                    derived("spread", spread, [spread, spread * b + widened]),
                ]
            }
            Family::Gamma => {
                vec![derived("mean", mean, [b, a]), derived("spread", spread, [0.5 * b / a.sqrt(), a.sqrt()])]
            }
        }
    }

    /// Standard error of a function of the natural parameters with these slopes.
    fn carried(&self, slopes: [f64; 2]) -> f64 {
        let c = &self.covariance;
        let variance = slopes[0] * slopes[0] * c[0][0]
            + 2.0 * slopes[0] * slopes[1] * c[0][1]
            + slopes[1] * slopes[1] * c[1][1];
        variance.max(0.0).sqrt()
    }

    /// The mean of the exponential law with its exact interval.
    fn exponential_mean(&self, level: f64) -> Parameter {
        let mean = self.natural[0];
        let is_cut_off = self.n_ended < self.n;
        let (low, high) = mean_factors(self.n_ended, is_cut_off, level);
        Parameter {
            name: "mean",
            is_time: true,
            value: mean,
            standard_error: self.covariance[0][0].sqrt(),
            low: low * mean,
            high: high * mean,
        }
    }

    /// Akaike's criterion corrected for few data (Hurvich & Tsai 1989), none for too few, and the Bayesian criterion (Schwarz
    /// 1978). Times that ended count as the data, as Volinsky & Raftery (2000) advise for times that are cut off.
    pub fn criteria(&self) -> (Option<f64>, f64) {
        let (k, n) = (self.family.n_parameters() as f64, self.n_ended as f64);
        let akaike = 2.0 * k - 2.0 * self.log_likelihood;
        let corrected = (n > k + 1.0).then(|| akaike + 2.0 * k * (k + 1.0) / (n - k - 1.0));
        (corrected, k * libm::log(n) - 2.0 * self.log_likelihood)
    }
}

/// An interval of a positive parameter: normal on the scale of its logarithm, so that it stays positive.
fn around(value: f64, error: f64, z: f64) -> (f64, f64) {
    let factor = libm::exp(z * error / value);
    (value / factor, value * factor)
}

/// Factors on total time over number of ends between which the mean time lies, if the times are exponential (Epstein & Sobel
/// 1953): `2 r / chi-square`. Exact where all ended or the watch ended with the r-th end; where it ended at a given time the
/// lower factor has two degrees of freedom more and the interval is safe.
pub fn mean_factors(n_ended: u64, is_cut_off: bool, level: f64) -> (f64, f64) {
    let r = n_ended as f64;
    let tail = 0.5 * (1.0 - level);
    let more = if is_cut_off { 2.0 } else { 0.0 };
    (2.0 * r / chi_square(1.0 - tail, 2.0 * r + more), 2.0 * r / chi_square(tail, 2.0 * r))
}
