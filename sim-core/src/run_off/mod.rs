//! Run-offs: the acceptance test of a line, and what both sides risk when they sign it.
//!
//! A run-off is passed if every limit of its plan is kept: rate, jams, bad parts, stops. The chance to pass comes from simulated
//! run-offs; as a function of the true jam rate (or of any number of the file) it is the operating characteristic of the plan. The
//! *producer's risk* is the chance that a line as good as agreed fails, the *consumer's risk* the chance that one as bad as agreed
//! passes (the words of acceptance sampling: ISO 2859, MIL-STD-105). Where jams alone are counted and come by a Poisson process
//! the plan is a single sampling plan, and the numbers are those of its tables. Invariant: every line is judged on
//! the same luck, and by the same rule, as the run-off would be. Levels are lines that are agreed upon, so they take inputs as
//! known; only for the line as the file states it is there a second chance, with what its evidence leaves open.

mod ignorance;
mod levels;
mod plan;
mod result;
mod search;
mod study;

pub use levels::{Vary, scaled};
pub use plan::{Judged, Plan};
pub use result::{PassChance, PassGiven, PassLevel, RiskReport, RunOffResult, SmallestPlan};
pub use search::{Side, smallest};
pub use study::{Risks, RunOffError, RunOffOptions, run_off};
