//! Statistics of the proof: from numbers to intervals and verdicts.
//!
//! For turning the results of replications into estimates with their error, intervals for one future shift, verdicts
//! with a bounded chance of being wrong, and the constants that selection procedures need. It knows nothing of lines,
//! parts or simulation and reads nothing. Invariants: an estimate never travels without its standard error, level and
//! count; a function that cannot answer says why ([`CannotSay`]); every transcendental function comes from `libm`, so
//! that a verdict is the same on every platform.
//!
//! | module | idea |
//! |---|---|
//! | [`moments`] | running count, mean, variance, extremes |
//! | [`quantiles`] | normal, Student t, beta, chi-square |
//! | [`estimate`] | t intervals, paired and Welch differences, prediction intervals |
//! | [`proportion`] | Clopper-Pearson and Wilson |
//! | [`order`] | percentiles and predictions without a law |
//! | [`tolerance`] | normal tolerance factors |
//! | [`warm_up`] | MSER-5 |
//! | [`selection`] | Rinott and Dudewicz-Dalal constants |
//! | [`elimination`] | the best of several designs, under common random numbers |
//! | [`paired_chance`] | difference of two chances from pairs |
//! | [`control`] | a mean with controls, or from mirrored pairs |
//! | [`search`] | the first setting that is good enough |
//! | [`spending`] | schedule of looks and error spending |
//! | [`sequential`] | proved, disproved, open: a chance, and several clauses together |
//! | [`mean_plan`] | the same for a mean |
//! | [`characteristic`] | how often a verdict is wrong, exactly |
//! | [`precision`] | stopping at a relative precision |

pub mod characteristic;
pub mod control;
pub mod elimination;
pub mod estimate;
pub mod mean_plan;
pub mod moments;
pub mod order;
pub mod paired_chance;
pub mod precision;
pub mod proportion;
mod quadrature;
pub mod quantiles;
pub mod search;
pub mod selection;
pub mod sequential;
pub(crate) mod special;
pub mod spending;
#[cfg(test)]
pub(crate) mod test_draws;
pub mod tolerance;
pub mod warm_up;

pub use characteristic::Characteristic;
pub use control::{ControlledMean, MirroredMean};
pub use elimination::Elimination;
pub use estimate::{Estimate, PairedDifference, Prediction, WelchDifference};
pub use mean_plan::{MeanLook, MeanPlan};
pub use moments::Moments;
pub use order::{PercentileInterval, RankPrediction};
pub use paired_chance::PairedChance;
pub use precision::RelativePrecision;
pub use proportion::Proportion;
pub use search::{Judge, Search};
pub use sequential::{ChanceLook, ChancePlan, Verdict, joint_verdict};
pub use spending::{Schedule, Spending};
pub use warm_up::WarmUp;

/// Why a statistic has no answer.
#[derive(Debug, Clone, Copy, PartialEq, serde::Serialize)]
#[serde(rename_all = "snake_case")]
pub enum CannotSay {
    /// Too few values for this statistic.
    TooFew {
        /// Values at hand.
        have: u64,
        /// Values needed at least.
        need: u64,
    },
    /// An argument lies outside the range in which the question makes sense.
    OutOfRange {
        /// Name of the argument.
        what: &'static str,
        /// Its value.
        value: f64,
    },
    /// Two samples that belong together have different counts.
    NotPaired {
        /// Values in the first sample.
        first: u64,
        /// Values in the second sample.
        second: u64,
    },
    /// A value is not a number, or infinite.
    NotFinite,
}

impl std::fmt::Display for CannotSay {
    fn fmt(&self, f: &mut std::fmt::Formatter<'_>) -> std::fmt::Result {
        match self {
            Self::TooFew { have, need } => write!(f, "{have} values, at least {need} are needed"),
            Self::OutOfRange { what, value } => write!(f, "{what} is {value}, out of its range"),
            Self::NotPaired { first, second } => {
                write!(f, "pairs need equally many values, not {first} and {second}")
            }
            Self::NotFinite => write!(f, "a value is not a finite number"),
        }
    }
}

impl std::error::Error for CannotSay {}

/// Checks that a level, an error or a chance lies strictly between 0 and 1.
pub(crate) fn inside_unit(what: &'static str, value: f64) -> Result<f64, CannotSay> {
    if value > 0.0 && value < 1.0 { Ok(value) } else { Err(CannotSay::OutOfRange { what, value }) }
}

/// Checks that there are enough values.
pub(crate) fn at_least(have: u64, need: u64) -> Result<(), CannotSay> {
    if have >= need { Ok(()) } else { Err(CannotSay::TooFew { have, need }) }
}
