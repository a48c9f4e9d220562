//! Running a study.

use super::Crew;
use super::result::RunResult;
use crate::network::Plan;
use crate::scenario::Scenario;
use crate::statistics::{CannotSay, Verdict};

/// When to stop.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Mode {
    /// As soon as the promise is proved or disproved, or the budget is used up.
    UntilDecided,
    /// When the budget is used up; the verdict is taken at the looks of the schedule all the same.
    Fixed,
}

/// How to run.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Options {
    /// Most replications.
    pub replications: u64,
    /// Seed of all luck.
    pub seed: u64,
    /// When to stop.
    pub mode: Mode,
    /// Without a promise: stop when the error of the mean rate is at most this share of it.
    pub precision: Option<f64>,
    /// Level of the intervals, strictly between 0 and 1.
    pub level: f64,
}

impl Options {
    /// What the scenario asks for.
    pub fn of(scenario: &Scenario) -> Self {
        Options {
            replications: scenario.plan.replications,
            seed: scenario.plan.seed,
            mode: Mode::UntilDecided,
            precision: None,
            level: 0.95,
        }
    }
}

/// What to run.
#[derive(Debug, Clone, Copy)]
pub struct Job<'a> {
    /// The scenario.
    pub scenario: &'a Scenario,
    /// The line compiled from it.
    pub plan: &'a Plan,
    /// The bytes of the scenario file: for its hash, and for the list of inputs.
    pub source: &'a str,
    /// How to run.
    pub options: Options,
}

/// How far a run has come.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Progress {
    /// Replications done.
    pub done: u64,
    /// Most that will be done.
    pub planned: u64,
    /// Mean rate so far, parts/min.
    pub rate: Option<f64>,
    /// Joint verdict so far; none without a promise.
    pub verdict: Option<Verdict>,
}

/// Who looks on, and may cancel.
pub struct Watch<'a> {
    /// Whether to stop now. Asked before each replication, by any worker.
    pub cancelled: &'a (dyn Fn() -> bool + Sync),
    /// Hears how far the run has come, after each batch of replications.
    pub progress: &'a mut dyn FnMut(&Progress),
    /// Hears the outputs of each replication, in order of replications; see [`outputs`]. NaN: no value.
    pub each: &'a mut dyn FnMut(u64, &[f64]),
}

impl std::fmt::Debug for Watch<'_> {
    fn fmt(&self, f: &mut std::fmt::Formatter<'_>) -> std::fmt::Result {
        f.write_str("Watch")
    }
}

/// A named number of one replication.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Output {
    /// Its name, such as `C1.share.starved`.
    pub name: String,
    /// Its unit, such as `parts/min`; empty for a share.
    pub unit: &'static str,
}

/// Why a run has no result.
#[derive(Debug, Clone, PartialEq)]
pub enum RunError {
    /// Moves without any passage of time that do not come to an end.
    InstantLoop {
        /// In which replication.
        replication: u64,
        /// When, s.
        at_s: f64,
        /// Stations that went round.
        stations: Vec<String>,
    },
    /// The budget of events of a replication was used up.
    TooManyEvents {
        /// In which replication.
        replication: u64,
        /// When, s.
        at_s: f64,
        /// The budget.
        events_max: u64,
    },
    /// Parts came out of nothing or vanished: a fault of the program.
    PartsNotConserved {
        /// In which replication.
        replication: u64,
    },
    /// The warm-up was to be found, and could not be.
    NoWarmUp(CannotSay),
    /// The options cannot be used.
    BadOptions(CannotSay),
}

impl std::fmt::Display for RunError {
    fn fmt(&self, f: &mut std::fmt::Formatter<'_>) -> std::fmt::Result {
        match self {
            RunError::InstantLoop { replication, at_s, stations } => write!(
                f,
                "replication {replication}: at {at_s} s parts move round without any passage of time; stations: {}",
                stations.join(", ")
            ),
            RunError::TooManyEvents { replication, at_s, events_max } => write!(
                f,
                "replication {replication}: {events_max} events were used up at {at_s} s; see `events_at_most` of the plan"
            ),
            RunError::PartsNotConserved { replication } => {
                write!(
                    f,
                    "replication {replication}: parts were lost or came out of nothing; please report this"
                )
            }
            RunError::NoWarmUp(why) => {
                write!(f, "no warm-up can be found from parts per minute ({why}); give `warm_up` a time")
            }
            RunError::BadOptions(why) => write!(f, "{why}"),
        }
    }
}

impl std::error::Error for RunError {}

/// Names and units of the outputs of a replication, in the order in which [`Watch::each`] hears them.
pub fn outputs(_scenario: &Scenario, _plan: &Plan) -> Vec<Output> {
    Vec::new()
}

/// Runs a study.
///
/// # Errors
/// See [`RunError`]. A gridlock is no error: it is counted and described in the result.
pub fn run<C: Crew>(_job: &Job<'_>, _crew: &C, _watch: &mut Watch<'_>) -> Result<RunResult, RunError> {
    Err(RunError::BadOptions(CannotSay::TooFew { have: 0, need: 1 }))
}
