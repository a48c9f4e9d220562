//! Measures: what one replication adds up while its window is open.
//!
//! A tally is an observer of whole numbers: nanoseconds by state, nanoseconds by level, counts. It is exact;
//! rates and shares are worked out from it later. Invariant: the states of each station add up to the
//! length of the window.

mod levels;
mod near;
mod own;
mod per_minute;
mod tally;
mod trace;

pub use levels::{LEVELS_MAX, LevelTally};
pub use near::NearTally;
pub use own::OwnTally;
pub use per_minute::PerMinute;
pub use tally::{Counts, Pick, PointTally, Tally, TallySetup};
pub use trace::{Happening, Trace};
