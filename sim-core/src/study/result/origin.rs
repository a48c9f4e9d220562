//! What a result rests on: window, warm-up, inputs, and what went wrong.

use schemars::JsonSchema;
use serde::Serialize;

/// Why a run ended.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, JsonSchema)]
#[serde(rename_all = "snake_case")]
pub enum StoppedBecause {
    /// All clauses of the promise were decided together.
    Decided,
    /// All replications of the budget were run.
    BudgetUsed,
    /// The mean rate was known to the precision asked for.
    PrecisionReached,
    /// Nothing in the line is random: one shift tells everything.
    NoLuck,
    /// The run was cancelled; the result covers the replications that were finished.
    Cancelled,
}

/// The time that is measured in each replication.
#[derive(Debug, Clone, Copy, PartialEq, Serialize, JsonSchema)]
pub struct WindowReport {
    /// Length of a replication, s.
    pub shift_s: f64,
    /// Opening of the window, s; events at it are out.
    pub opens_s: f64,
    /// Close of the window, s; events at it are in.
    pub closes_s: f64,
    /// Length of the window, s.
    pub length_s: f64,
}

/// Where a warm-up comes from.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, JsonSchema)]
#[serde(rename_all = "snake_case")]
pub enum WarmUpSource {
    /// The window is the whole shift.
    None,
    /// The scenario gives it.
    Given,
    /// Found from the data: MSER-5 (White, Cobb & Spratt 2000) on good parts per minute.
    Found,
}

/// Where the warm-up was cut.
#[derive(Debug, Clone, PartialEq, Serialize, JsonSchema)]
pub struct WarmUpReport {
    /// Where it comes from.
    pub source: WarmUpSource,
    /// Its length, s.
    pub length_s: f64,
    /// Replications it was found from; 0 if it was not.
    pub replications: u64,
    /// Whether the rate had settled; false means that the cut lies at its limit of half the shift.
    pub settled: Option<bool>,
    /// Good parts in each minute, mean over those replications; empty unless it was found.
    pub per_minute: Vec<f64>,
}

/// A station that waits in a gridlock.
#[derive(Debug, Clone, PartialEq, Serialize, JsonSchema)]
pub struct Waiting {
    /// The station.
    pub station: String,
    /// What it waits for, such as `room in belt (40 of 40)`.
    pub for_what: String,
}

/// Gridlock: stations that wait for each other, which nothing pending can open.
#[derive(Debug, Clone, PartialEq, Serialize, JsonSchema)]
pub struct GridlockReport {
    /// Replications in which it happened. They stay in all figures, with what was made in the full window.
    pub replications: u64,
    /// The first one of them; none if there was none.
    pub first_in: Option<u64>,
    /// When, s from the start of that shift.
    pub first_at_s: Option<f64>,
    /// The stations that wait for each other.
    pub knot: Vec<Waiting>,
    /// What would open it.
    pub opened_by: Option<String>,
}

/// How an input is known.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, JsonSchema)]
#[serde(rename_all = "snake_case")]
pub enum Knowledge {
    /// Counts of a test, or observed values.
    Measured,
    /// Assumed.
    Assumed,
}

/// A random input of the scenario.
#[derive(Debug, Clone, PartialEq, Serialize, JsonSchema)]
pub struct InputReport {
    /// Where it stands in the file.
    pub path: String,
    /// What it is: `chance`, `shares` or `random amount`.
    pub what: String,
    /// How it is known.
    pub knowledge: Knowledge,
    /// Trials or values behind it; none if it was assumed.
    pub trials: Option<u64>,
}
