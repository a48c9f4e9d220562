//! Fitting: laws, chances and tool tables from what was measured.
//!
//! From a log of times (to a jam, of a clearing, of a cycle), some of them cut off before they ended, to laws of random
//! times with their errors and with the reasons to believe in them or not; from drop tests to chances of attitudes; from
//! orienting trials to the table of a tool. Everything comes with the text that is pasted into a scenario. It reads no file and
//! chooses nothing silently: why a law is proposed is part of the result. Invariants: equal rows in equal order give equal
//! bytes; memory is bounded however many rows there are (see [`Sample`]); what cannot be fitted says why.
//!
//! | module | idea |
//! |---|---|
//! | [`sample`] | rows, as many as there are, in bounded memory |
//! | [`order`] | trend and correlation of neighbours, while the rows go by |
//! | [`estimators`] | maximum likelihood with times that were cut off |
//! | [`fitted`] | a fitted law: distribution function, quantiles, parameters with errors |
//! | [`survival`] | the empirical law (Kaplan & Meier) |
//! | [`goodness`] | distance from a law, and how likely it is by luck |
//! | [`counts`] | drop tests and orienting trials |
//! | [`paste`] | the text for a scenario |
//! | [`times`], [`result`] | all of it together, as a document |

pub mod counts;
pub mod estimators;
pub mod fitted;
mod gamma_functions;
pub mod goodness;
pub mod order;
pub mod paste;
pub mod result;
pub mod sample;
pub mod survival;
pub mod times;

pub use fitted::{Family, Fitted};
pub use result::{CountsFit, TimesFit};
pub use sample::{Collector, Sample};
pub use times::{TimesOptions, fit_times};

/// Why a law cannot be fitted.
#[derive(Debug, Clone, Copy, PartialEq)]
pub enum CannotFit {
    /// Too few times that ended.
    TooFewEnded {
        /// Times at hand that ended.
        have: u64,
        /// Needed at least.
        need: u64,
    },
    /// A law of times above zero, and some times are zero.
    Zeros {
        /// How many.
        n: u64,
    },
    /// All times that ended are equal, and none was cut off later.
    AllEqual,
    /// The likelihood has no maximum among the laws that a scenario accepts.
    NoMaximum,
}

impl std::fmt::Display for CannotFit {
    fn fmt(&self, f: &mut std::fmt::Formatter<'_>) -> std::fmt::Result {
        match self {
            Self::TooFewEnded { have, need } => {
                write!(f, "{have} times ended, at least {need} different ones are needed")
            }
            Self::Zeros { n } => write!(f, "{n} times are zero, and it has times above zero only"),
            Self::AllEqual => write!(f, "all times are equal: a fixed time says the same"),
            Self::NoMaximum => {
                write!(f, "its likelihood has no maximum among the laws that a scenario accepts")
            }
        }
    }
}

impl std::error::Error for CannotFit {}
