//! The study: from a compiled line to a documented result.
//!
//! Replications are run by a crew, their tallies become named numbers ([`Output`]), these become moments in the order
//! of the replications, and the promise is judged at the looks of a schedule that is fixed beforehand. What
//! comes out is one [`RunResult`]. The study prints nothing, knows no clock and writes no file. Invariant: the result
//! depends on scenario, seed and budget alone, to the last bit, whoever runs the replications.

pub mod compare;
mod controls;
pub mod crew;
mod kept;
mod knot;
mod limits;
mod outputs;
mod profile;
mod proof;
mod rare;
pub mod reduced;
mod replay;
mod report;
pub mod result;
mod run;
mod shift;
pub mod size;
mod slices;
#[cfg(test)]
mod tests;
mod variant;
mod warm_up;

#[cfg(feature = "threads")]
pub use crew::Hands;
pub use crew::{Alone, Crew};
pub(crate) use kept::Shifts;
#[cfg(test)]
pub(crate) use kept::tests::Shelf;
pub use kept::{Kept, NothingKept};
pub use limits::{LimitReport, LimitsOptions, LimitsResult, limits};
pub use outputs::Output;
pub use profile::{Band, PROFILE_SHIFTS, PlaceProfile, Profile, profile, profile_of_start};
pub(crate) use proof::reaches;
pub use replay::{Replay, ReplayCode, ReplayPlace, ReplayPost, WhichShift, poorest, replay};
pub use result::{RunResult, schema};
pub use run::{CAUSES_IN, Job, Mode, Options, Progress, RunError, Watch, outlook, outputs, run};
pub use slices::{SlicedLine, run_slices};
pub use variant::{Desk, Heard, Task, Variant, run_tasks, settle_warm_up};
