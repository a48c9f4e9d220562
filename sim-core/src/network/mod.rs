//! From a checked scenario to a compiled line.

pub mod plan;

pub use plan::{BreakPlan, Links, Owner, Plan};
