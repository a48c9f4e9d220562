//! A line that was built, compared with its model.
//!
//! A log of the real line (good parts, jams, starved time for each quarter of an hour) is put beside many simulated shifts of the same
//! length. First: which outputs lie outside of what the model says, all of them judged together. Then: which inputs, one or
//! several at once, would explain the log if they differed from the file by a factor, by approximate Bayesian rejection. What the
//! file knows from evidence only is drawn anew in every shift. It changes no file. Invariants: the log and
//! the shifts are summed up by the same code; everything depends on file, log, seed and numbers of shifts alone.

mod candidates;
mod explain;
mod outputs;
mod result;
mod sets;
mod study;

pub use candidates::candidates;
pub use outputs::{Interval, Outputs, Sight};
pub use result::{Combination, Explanation, MatchResult, OutputReport, Reach};
pub use study::{MatchError, MatchOptions, intervals_of_model, match_log};
