//! What is known of a run-off before it is signed, as a document.

use schemars::JsonSchema;
use serde::Serialize;

/// A chance to pass.
#[derive(Debug, Clone, Copy, PartialEq, Serialize, JsonSchema)]
pub struct PassChance {
    /// The chance, retries included.
    pub chance: f64,
    /// Lower limit (Clopper & Pearson 1934 for one run, carried through the retries).
    pub low: f64,
    /// Upper limit.
    pub high: f64,
    /// Runs that passed.
    pub passed: u64,
    /// Runs.
    pub n: u64,
}

/// What happens at one level.
#[derive(Debug, Clone, PartialEq, Serialize, JsonSchema)]
pub struct PassLevel {
    /// Factor on what is varied.
    pub factor: f64,
    /// Chance to pass.
    pub pass: PassChance,
    /// Mean rate, good parts per minute.
    pub mean_rate: f64,
    /// Mean number of jams that count.
    pub mean_jams: f64,
    /// Mean number of bad parts.
    pub mean_bad: f64,
    /// Share of runs that kept each limit, for limits that there are.
    pub rate_kept: Option<f64>,
    /// The same for jams.
    pub jams_kept: Option<f64>,
    /// The same for bad parts.
    pub bad_kept: Option<f64>,
    /// The same for stops.
    pub stops_kept: Option<f64>,
}

/// The chance to pass with what the evidence leaves open of the inputs in it.
#[derive(Debug, Clone, Copy, PartialEq, Serialize, JsonSchema)]
pub struct PassGiven {
    /// Chance to pass, retries included: luck and ignorance pooled.
    pub chance: f64,
    /// Lower limit of its simulation (Korn & Graubard 1998).
    pub low: f64,
    /// Upper limit.
    pub high: f64,
    /// This line's own chance to pass lies above this with a probability of half of one and the level.
    pub own_low: f64,
    /// Its median.
    pub own_median: f64,
    /// Upper end of the interval of the own chance, which holds it with the probability of the level, given the evidence.
    pub own_high: f64,
    /// Pieces of evidence.
    pub pieces: u64,
    /// Outer draws of the inputs.
    pub draws: u64,
    /// Run-offs within each draw.
    pub runs_each: u64,
}

/// Risks of both sides.
#[derive(Debug, Clone, PartialEq, Serialize, JsonSchema)]
pub struct RiskReport {
    /// Factor of a line that is good enough.
    pub good: f64,
    /// Factor of a line that is too bad.
    pub bad: f64,
    /// Chance that the good line fails.
    pub producer: PassChance,
    /// Chance that the bad line passes.
    pub consumer: PassChance,
    /// Most producer's risk.
    pub producer_most: f64,
    /// Most consumer's risk.
    pub consumer_most: f64,
    /// The smallest plan that holds both by the shares seen; none if there is none up to the greatest length.
    pub smallest: Option<SmallestPlan>,
    /// The smallest plan that surely holds both: a search finds one that does not with a chance of one minus the level at most,
    /// both sides and all lengths looked at together. None if the runs are too few to be sure of one.
    pub smallest_sure: Option<SmallestPlan>,
    /// Greatest length that was looked at, h.
    pub up_to_h: f64,
}

/// The smallest plan that holds both risks.
#[derive(Debug, Clone, PartialEq, Serialize, JsonSchema)]
pub struct SmallestPlan {
    /// Length, h.
    pub length_h: f64,
    /// Most jams, if the plan limits them.
    pub most_jams: Option<u64>,
    /// Its producer's risk.
    pub producer: PassChance,
    /// Its consumer's risk.
    pub consumer: PassChance,
}

/// Everything about a run-off.
#[derive(Debug, Clone, PartialEq, Serialize, JsonSchema)]
pub struct RunOffResult {
    /// Title of the scenario.
    pub title: Option<String>,
    /// Length, h.
    pub length_h: f64,
    /// Least rate, good parts per minute.
    pub least_rate: Option<f64>,
    /// Whether the rate is net.
    pub net: bool,
    /// Most jams.
    pub most_jams: Option<u64>,
    /// Which jams count, as the file says it.
    pub jams: String,
    /// Most bad parts, in words.
    pub most_bad: Option<String>,
    /// Most stops.
    pub most_stops: Option<u64>,
    /// Retries.
    pub retries: u64,
    /// Runs for each level.
    pub replications: u64,
    /// Seed of all luck.
    pub seed: u64,
    /// Level of the intervals.
    pub level: f64,
    /// What the factors scale, in words.
    pub varied: String,
    /// The line as the file states it, its inputs as known.
    pub now: PassLevel,
    /// The same with ignorance of the inputs; none without evidence in the file.
    pub with_ignorance: Option<PassGiven>,
    /// The operating characteristic, by rising factor, with all other inputs as known.
    pub characteristic: Vec<PassLevel>,
    /// Risks, if a bad level was named.
    pub risks: Option<RiskReport>,
}

impl RunOffResult {
    /// Its JSON Schema.
    pub fn schema() -> serde_json::Value {
        schemars::schema_for!(RunOffResult).to_value()
    }
}
