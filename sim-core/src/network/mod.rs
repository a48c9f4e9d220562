//! From a checked scenario to a compiled line.

mod build;
mod causes;
mod changeover;
mod layout;
mod people;
pub mod plan;
mod sensors;
mod troubles;

pub use build::compile;
pub use changeover::{ChangePlan, End, Purge};
pub use plan::{BreakPlan, Fill, Links, Names, Owner, Plan};
