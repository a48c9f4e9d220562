//! Results of fitting as documents. Plain data; what does not exist is `null`.

use super::Family;
use super::order::OrderTests;
use schemars::JsonSchema;
use serde::Serialize;
use serde_json::Value;

/// What a log of times says.
#[derive(Debug, Clone, PartialEq, Serialize, JsonSchema)]
pub struct TimesFit {
    /// Unit of all times here.
    pub unit: String,
    /// Number of times.
    pub n: u64,
    /// Number of times that ended.
    pub n_ended: u64,
    /// Number of times that were cut off.
    pub n_cut_off: u64,
    /// Sum of all times.
    pub total: f64,
    /// Shortest and longest time.
    pub range: Option<(f64, f64)>,
    /// Whether every time was kept as it is; otherwise in groups of one part in 16 384.
    pub is_exact: bool,
    /// Level of the intervals.
    pub level: f64,
    /// Seed of the bootstrap samples.
    pub seed: u64,
    /// Trend and correlation in the order of the rows; none where the order says nothing.
    pub order: Option<OrderTests>,
    /// Fitted laws, the one that is proposed first, then by the corrected criterion of Akaike.
    pub laws: Vec<LawFit>,
    /// Laws that could not be fitted, and why.
    pub not_fitted: Vec<NotFitted>,
    /// The empirical law for a scenario, as it is pasted; none if no time ended.
    pub empirical: Option<Value>,
    /// Which law is proposed: a word of a scenario.
    pub proposed: Option<String>,
    /// Why.
    pub reason: String,
    /// What has to be known before the law is believed.
    pub warnings: Vec<String>,
}

/// A law and how well it does.
#[derive(Debug, Clone, PartialEq, Serialize, JsonSchema)]
pub struct LawFit {
    /// Which law.
    pub law: Family,
    /// Parameters that a scenario takes.
    pub parameters: Vec<ParameterFit>,
    /// Parameters as in textbooks.
    pub natural: Vec<ParameterFit>,
    /// Mean of the law.
    pub mean: f64,
    /// Standard deviation of the law.
    pub spread: f64,
    /// Logarithm of the likelihood.
    pub log_likelihood: f64,
    /// Akaike's criterion, corrected for few data (Hurvich & Tsai 1989); smaller is better.
    pub aicc: Option<f64>,
    /// Bayesian criterion (Schwarz 1978).
    pub bic: f64,
    /// Distance of the times from the law.
    pub goodness: GoodnessFit,
    /// The law for a scenario, as it is pasted.
    pub paste: Value,
}

/// A parameter with its error.
#[derive(Debug, Clone, PartialEq, Serialize, JsonSchema)]
pub struct ParameterFit {
    /// Its name.
    pub name: String,
    /// Its unit; empty for a plain number.
    pub unit: String,
    /// Its value.
    pub value: f64,
    /// Its standard error.
    pub standard_error: f64,
    /// Lower limit of its interval.
    pub low: f64,
    /// Upper limit of its interval.
    pub high: f64,
}

/// Distance of times from a law.
#[derive(Debug, Clone, PartialEq, Serialize, JsonSchema)]
pub struct GoodnessFit {
    /// Which statistic.
    pub statistic: String,
    /// Its value.
    pub value: f64,
    /// Chance of such a distance if the law were right (parametric bootstrap).
    pub chance: Option<f64>,
    /// Bootstrap samples.
    pub samples: u64,
}

/// A law that could not be fitted.
#[derive(Debug, Clone, PartialEq, Serialize, JsonSchema)]
pub struct NotFitted {
    /// Which law.
    pub law: Family,
    /// Why.
    pub why: String,
}

/// What counts say: a drop test, or orienting trials.
#[derive(Debug, Clone, PartialEq, Serialize, JsonSchema)]
pub struct CountsFit {
    /// Trials in all.
    pub n: u64,
    /// Joint level of all intervals (Clopper & Pearson 1934, each at 1 - (1 - level) / number of intervals: Bonferroni).
    pub level: f64,
    /// Chances.
    pub rows: Vec<CountFit>,
    /// For a scenario, as it is pasted.
    pub paste: Value,
    /// What has to be known before it is believed.
    pub warnings: Vec<String>,
}

/// A chance from counts.
#[derive(Debug, Clone, PartialEq, Serialize, JsonSchema)]
pub struct CountFit {
    /// Attitude before; none in a drop test.
    pub from: Option<String>,
    /// Attitude found; none if the part was rejected.
    pub into: Option<String>,
    /// Times that it was seen.
    pub seen: u64,
    /// Of so many.
    pub of: u64,
    /// Share seen.
    pub share: f64,
    /// Lower limit.
    pub low: f64,
    /// Upper limit.
    pub high: f64,
}

impl TimesFit {
    /// Its JSON Schema.
    pub fn schema() -> serde_json::Value {
        schemars::schema_for!(TimesFit).to_value()
    }
}

impl CountsFit {
    /// Its JSON Schema.
    pub fn schema() -> serde_json::Value {
        schemars::schema_for!(CountsFit).to_value()
    }
}
