//! Sweeps: one scenario at many points.
//!
//! A sweep file says which values of a scenario are changed ([`factor`]), at which points, and how often each point is
//! run. A point is the text of the scenario with the levels of all factors set, read and checked like any other. Nothing
//! here reads or writes files. Invariant: what a point gives depends on its text, the seed and the replications
//! alone, not on the other points.

pub mod factor;
mod range;
mod values;

pub use factor::{Factor, Level};
pub use values::{address, anything};
