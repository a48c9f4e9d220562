//! How a built line compares with its model, as a document.

use super::Sight;
use schemars::JsonSchema;
use serde::Serialize;

/// An output beside what the model says of it.
#[derive(Debug, Clone, PartialEq, Serialize, JsonSchema)]
pub struct OutputReport {
    /// Which.
    pub output: Sight,
    /// In the log.
    pub log: f64,
    /// Mean over simulated shifts.
    pub mean: f64,
    /// 2.5 % of simulated shifts lie below.
    pub low: f64,
    /// 2.5 % lie above.
    pub high: f64,
    /// Chance of a value as far out, on either side, if the model is right.
    pub chance: f64,
    /// The same with all outputs looked at together (Holm 1979).
    pub joint_chance: f64,
    /// Whether it lies outside at the stated family-wise error.
    pub is_outside: bool,
}

/// An input that would explain the log, alone or together with others.
#[derive(Debug, Clone, PartialEq, Serialize, JsonSchema)]
pub struct Explanation {
    /// Its path in the file; none: the file as it stands.
    pub path: Option<String>,
    /// Posterior weight of all sets with this input among all that were tried.
    pub weight: f64,
    /// Factor on the input, median of the accepted ones.
    pub factor: Option<f64>,
    /// 5 % of the accepted factors lie below.
    pub low: Option<f64>,
    /// 5 % lie above.
    pub high: Option<f64>,
    /// Accepted shifts.
    pub accepted: u64,
}

/// Inputs that together would explain the log.
#[derive(Debug, Clone, PartialEq, Serialize, JsonSchema)]
pub struct Combination {
    /// Their paths in the file; empty: the file as it stands.
    pub paths: Vec<String>,
    /// Factor on each, median of the accepted ones.
    pub factors: Vec<f64>,
    /// Posterior weight among all sets that were tried.
    pub weight: f64,
    /// Accepted shifts.
    pub accepted: u64,
}

/// How near what was tried comes to the log, in standard deviations (the root of the sum of squares over all outputs).
#[derive(Debug, Clone, Copy, PartialEq, Serialize, JsonSchema)]
pub struct Reach {
    /// From the log to the kept shifts; half of them lie further off.
    pub kept: f64,
    /// Between two shifts of the file as it stands; 99 % of pairs lie nearer.
    pub own: f64,
    /// Whether the kept ones lie beyond: then nothing that was tried explains the log, and the weights are worth nothing.
    pub is_beyond: bool,
}

/// The whole comparison.
#[derive(Debug, Clone, PartialEq, Serialize, JsonSchema)]
pub struct MatchResult {
    /// Title of the scenario.
    pub title: Option<String>,
    /// Intervals of the log.
    pub n_intervals: u64,
    /// Length of each, s.
    pub interval_s: f64,
    /// Simulated shifts of the file as it stands.
    pub replications: u64,
    /// Pieces of evidence, of which each simulated shift has its own draw.
    pub pieces: u64,
    /// Simulated shifts for each input that was tried, and as many in all again for each size of sets.
    pub draws: u64,
    /// Most inputs that were changed at once. No input, one, and so on up to these are equally likely before, and so are all sets
    /// of one size.
    pub together: u64,
    /// Largest factor that was tried; the smallest is its inverse.
    pub widest: f64,
    /// Seed of all luck.
    pub seed: u64,
    /// Family-wise error of the first question.
    pub error: f64,
    /// Outputs that the log has.
    pub outputs: Vec<OutputReport>,
    /// Explanations by input, the likeliest first; those that nothing speaks for are left out. Weights of inputs that differ
    /// together add up to more than one.
    pub explanations: Vec<Explanation>,
    /// Explanations by set of inputs, the likeliest first, 20 at most.
    pub combinations: Vec<Combination>,
    /// Inputs that were tried.
    pub n_tried: u64,
    /// How near they come; none if none was tried.
    pub reach: Option<Reach>,
}

impl MatchResult {
    /// Its JSON Schema.
    pub fn schema() -> serde_json::Value {
        schemars::schema_for!(MatchResult).to_value()
    }
}
