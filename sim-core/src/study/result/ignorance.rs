//! What the evidence leaves unknown, and what that does to the promise.

use super::{ClauseKind, Figure};
use crate::statistics::Verdict;
use schemars::JsonSchema;
use serde::Serialize;

/// An input that is known from evidence.
#[derive(Debug, Clone, PartialEq, Serialize, JsonSchema)]
pub struct KnownReport {
    /// Name of the test, or the path of the input.
    pub name: String,
    /// Paths of the inputs that rest on it.
    pub paths: Vec<String>,
    /// What it is: `chance`, `shares` or `random amount`.
    pub what: String,
    /// Times that it happened, of chances and events.
    pub seen: Option<u64>,
    /// Trials, events or values behind it.
    pub trials: u64,
    /// Hours in which events were seen.
    pub in_hours: Option<f64>,
    /// The prior.
    pub prior: String,
    /// Unit of the estimates; none for chances, shares and whole numbers.
    pub unit: String,
    /// The numbers with their intervals.
    pub estimates: Vec<EstimateReport>,
    /// Chance that a number lies in its interval, given the evidence (central credible interval).
    pub level: f64,
}

/// A number that is known from evidence.
#[derive(Debug, Clone, PartialEq, Serialize, JsonSchema)]
pub struct EstimateReport {
    /// Which of the shares; empty if there is one number only.
    pub name: String,
    /// What is used where inputs are taken as known.
    pub estimate: f64,
    /// Lower end of the interval.
    pub low: f64,
    /// Upper end of the interval.
    pub high: f64,
}

/// Why a verdict on the assurance is open.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, JsonSchema)]
#[serde(rename_all = "snake_case")]
pub enum OpenBecause {
    /// The evidence does not suffice: further trials may decide, more simulation does not.
    Ignorance,
    /// The assurance is not simulated sharply enough: more outer draws or shifts may decide.
    Simulation,
}

/// The assurance of one clause.
#[derive(Debug, Clone, PartialEq, Serialize, JsonSchema)]
pub struct AssuranceReport {
    /// What it asks for.
    pub kind: ClauseKind,
    /// What is required: parts/min, or a share for feed availability.
    pub required: f64,
    /// Demanded chance; none for means.
    pub demanded_chance: Option<f64>,
    /// Verdict on the assurance.
    pub verdict: Verdict,
    /// Why it is open; none if it is not.
    pub open_because: Option<OpenBecause>,
    /// Luck and ignorance pooled: chance that one shift makes the rate, or mean, with its simulation error.
    pub predictive: Figure,
    /// Posterior probability that the line's own chance (or mean) reaches what is demanded.
    pub assurance: f64,
    /// Lower limit of the assurance: what finitely many draws and shifts leave open.
    pub low: f64,
    /// Upper limit of the assurance.
    pub high: f64,
    /// Level of the interval of the assurance: the verdict rests on its ends.
    pub level: f64,
    /// The line's own chance (or mean) lies in here with the probability `own_level`, given the evidence.
    pub own_low: f64,
    /// Its median.
    pub own_median: f64,
    /// Upper end.
    pub own_high: f64,
    /// Probability of that interval.
    pub own_level: f64,
    /// Draws whose own chance (or mean) was not clear at the end: neither below 5 % nor above 95 % sure.
    pub unclear_draws: u64,
}

/// A share of the variance with its interval.
#[derive(Debug, Clone, Copy, PartialEq, Serialize, JsonSchema)]
pub struct VarianceShare {
    /// Share of the variance of one shift's rate; may be a little below zero by its error.
    pub share: f64,
    /// Lower end of the interval.
    pub low: f64,
    /// Upper end of the interval.
    pub high: f64,
}

/// Where the variance of one shift's rate comes from. Shares of luck, of each input alone, and of inputs together add
/// up to one.
#[derive(Debug, Clone, PartialEq, Serialize, JsonSchema)]
pub struct VarianceReport {
    /// Standard deviation of one shift's rate, luck and ignorance pooled, parts/min.
    pub standard_deviation: f64,
    /// From luck: shifts differ, whatever the inputs.
    pub luck: VarianceShare,
    /// From ignorance of all inputs together.
    pub ignorance: VarianceShare,
    /// From each piece of evidence alone, in the order of `known`.
    pub inputs: Vec<VarianceShare>,
    /// What only appears when several inputs are off together, or curves more than a parabola.
    pub together: f64,
    /// Level of the intervals.
    pub level: f64,
}

/// What further trials of one input, or of all, would do to the promise.
#[derive(Debug, Clone, PartialEq, Serialize, JsonSchema)]
pub struct FurtherReport {
    /// Which piece of evidence; none: all of them, each by the same factor.
    pub input: Option<String>,
    /// Share of the doubt that as many trials again would take away, on the mean.
    pub doubt_taken: f64,
    /// Steps of more and more trials.
    pub steps: Vec<FurtherStep>,
    /// Fewest further trials among the steps that decide with a chance of one half at least; none if none of them does.
    pub trials_to_decide: Option<u64>,
}

/// So many further trials.
#[derive(Debug, Clone, Copy, PartialEq, Serialize, JsonSchema)]
pub struct FurtherStep {
    /// Further trials as a multiple of those that there are.
    pub times: f64,
    /// Further trials, values, or hours (of events); none for all inputs together.
    pub trials: Option<f64>,
    /// Chance that the assurance is then clear: at least the demanded one, or at most one minus that.
    pub chance_to_decide: f64,
    /// Chance that it then proves the promise.
    pub chance_to_prove: f64,
    /// Doubt that is left on the mean: A (1 - A) of the assurance A, over that of now.
    pub doubt_left: f64,
}

/// The promise with what is not known of the inputs in it.
#[derive(Debug, Clone, PartialEq, Serialize, JsonSchema)]
pub struct IgnoranceReport {
    /// Joint verdict on the assurance of all clauses; none without a promise.
    pub verdict: Option<Verdict>,
    /// Assurance that is demanded.
    pub demanded_assurance: f64,
    /// Chance of a wrong verdict on each side by the simulation, over all clauses.
    pub error_each_way: f64,
    /// Outer draws.
    pub draws: u64,
    /// Whether the draws ended as soon as the verdict was clear, at one of four looks that share the chance of error.
    pub draws_until_clear: bool,
    /// Shifts run within each draw at first.
    pub shifts_each: u64,
    /// Shifts in all.
    pub shifts: u64,
    /// Impossible draws that were drawn again.
    pub redrawn: u64,
    /// Mean rate, luck and ignorance pooled, parts/min, with its simulation error.
    pub mean_rate: Figure,
    /// The line's own mean rate lies in here with the probability `level`, given the evidence.
    pub own_mean_low: f64,
    /// Upper end.
    pub own_mean_high: f64,
    /// Probability of credible intervals.
    pub level: f64,
    /// The clauses.
    pub clauses: Vec<AssuranceReport>,
    /// Where the variance comes from; none if there is no variance.
    pub variance: Option<VarianceReport>,
    /// What further trials would do: most telling input first, all together last. Empty without a promise, and where the
    /// assurance leaves no doubt.
    pub further: Vec<FurtherReport>,
    /// The evidence.
    pub known: Vec<KnownReport>,
}
