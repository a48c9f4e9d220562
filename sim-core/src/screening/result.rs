//! What a screening found, as a document.
//!
//! Only plain data. Invariants: factors stand in the order of their importance; every estimate carries its standard error,
//! level and count; the same screening gives the same bytes.

use crate::statistics::Estimate;
use crate::study::result::Figure;
use schemars::JsonSchema;
use serde::Serialize;

/// Number of the format of a result. It changes when the meaning of anything in it changes.
pub(super) const SCREEN_FORMAT: u32 = 1;

/// Which numbers matter.
#[derive(Debug, Clone, PartialEq, Serialize, JsonSchema)]
pub struct ScreenResult {
    /// Number of the format of this result.
    pub screen_format: u32,
    /// Version of the program that made it.
    pub program_version: String,
    /// Title of the scenario.
    pub title: Option<String>,
    /// 64-bit FNV-1a hash of the bytes of the scenario file, 16 hexadecimal digits.
    pub scenario_hash: String,
    /// Which output was looked at.
    pub output: String,
    /// Its unit; empty for a plain number.
    pub unit: String,
    /// Seed of all luck and of the design.
    pub seed: u64,
    /// Level at which all intervals of one kind hold together.
    pub level: f64,
    /// Points that were run.
    pub points: u64,
    /// Shifts at each of them.
    pub replications: u64,
    /// What was found.
    pub findings: Findings,
    /// Factors, or parts of the design, that could not be run.
    pub left_out: Vec<LeftOut>,
}

/// What was found, by method; the most important factor first.
#[derive(Debug, Clone, PartialEq, Serialize, JsonSchema)]
#[serde(tag = "method", rename_all = "snake_case")]
pub enum Findings {
    /// One factor at a time. It sees no interactions.
    Tornado {
        /// The output of the scenario as it stands.
        as_it_stands: Figure,
        /// Each factor.
        factors: Vec<TornadoFinding>,
    },
    /// Elementary effects (Morris 1991), for the whole range of a factor.
    Effects {
        /// Trajectories that were run.
        trajectories: u64,
        /// Levels of each factor.
        levels: u64,
        /// Each factor.
        factors: Vec<EffectFinding>,
    },
    /// Variance shares (Sobol 1993).
    Shares {
        /// Rows of the design in all groups.
        rows: u64,
        /// Groups, which are independent of each other.
        groups: u64,
        /// Mean of the output over all ranges.
        mean: Figure,
        /// Variance of the output over all ranges, without luck: what the shares divide up.
        variance: Figure,
        /// Variance of the output of single shifts at a point: luck.
        luck_variance: Option<Figure>,
        /// Each factor.
        factors: Vec<ShareFinding>,
        /// Pairs of factors that work together, if they were looked at.
        pairs: Vec<PairFinding>,
    },
}

/// An end of a range.
#[derive(Debug, Clone, PartialEq, Serialize, JsonSchema)]
pub struct End {
    /// The value there, as it is written.
    pub value: String,
    /// What the output is more than in the scenario as it stands.
    pub change: Figure,
}

/// What moving one factor alone does.
#[derive(Debug, Clone, PartialEq, Serialize, JsonSchema)]
pub struct TornadoFinding {
    /// Its name.
    pub factor: String,
    /// At the low end.
    pub low: End,
    /// At the high end.
    pub high: End,
    /// Output at the high end less that at the low end.
    pub whole: Figure,
    /// From the lowest to the highest of low end, middle and high end: by this factors are ranked.
    pub swing: f64,
    /// Whether one of the changes is told from none.
    pub is_clear: bool,
}

/// The elementary effects of one factor.
#[derive(Debug, Clone, PartialEq, Serialize, JsonSchema)]
pub struct EffectFinding {
    /// Its name.
    pub factor: String,
    /// The value at the low end of its range.
    pub low: String,
    /// The value at the high end.
    pub high: String,
    /// Mean size of the effects (mu*): by this factors are ranked.
    pub size: Figure,
    /// Mean effect (mu).
    pub mean: Figure,
    /// Standard deviation of the effects (sigma), without luck.
    pub spread: Figure,
    /// Whether its effect is told from none.
    pub is_clear: bool,
    /// Whether its effect depends on where it or the others stand: the spread is told from none and at least half of the size.
    pub depends: bool,
}

/// The shares of one factor.
#[derive(Debug, Clone, PartialEq, Serialize, JsonSchema)]
pub struct ShareFinding {
    /// Its name.
    pub factor: String,
    /// The value at the low end of its range.
    pub low: String,
    /// The value at the high end.
    pub high: String,
    /// First-order share: what would go if it were known.
    pub first_order: Figure,
    /// Total share: what would stay if all others were known. By this factors are ranked.
    pub total: Figure,
    /// Total less first order: what it does together with others.
    pub interactions: Figure,
    /// Whether the total share is told from none.
    pub is_clear: bool,
    /// Whether the interactions are told from none.
    pub interacts: bool,
}

/// What two factors do together.
#[derive(Debug, Clone, PartialEq, Serialize, JsonSchema)]
pub struct PairFinding {
    /// Name of the one.
    pub factor: String,
    /// Name of the other.
    pub with: String,
    /// Second-order share.
    pub share: Figure,
    /// Whether it is told from none.
    pub is_clear: bool,
}

/// What could not be run.
#[derive(Debug, Clone, PartialEq, Serialize, JsonSchema)]
pub struct LeftOut {
    /// Which factor, or which levels of several.
    pub factor: String,
    /// Why.
    pub reason: String,
}

/// An estimate in the form of results.
pub(super) fn figure(estimate: &Estimate) -> Figure {
    Figure {
        mean: Some(estimate.mean),
        standard_error: Some(estimate.standard_error),
        low: Some(estimate.low),
        high: Some(estimate.high),
        level: estimate.level,
        n: estimate.n,
    }
}

/// The JSON Schema of [`ScreenResult`].
pub fn schema() -> serde_json::Value {
    schemars::schema_for!(ScreenResult).to_value()
}
