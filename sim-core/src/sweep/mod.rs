//! Sweeps: one scenario at many points.
//!
//! A sweep file ([`Sweep`]) says which values of a scenario are changed ([`factor`]), at which points, and how often each
//! point is run. A point ([`Points`]) is the text of the scenario with the levels of all factors set, read and checked like
//! any other. Nothing here reads or writes files. Invariant: what a point gives depends on its text, the seed and the
//! replications alone, not on the other points.

pub mod factor;
mod file;
mod pick;
mod points;
mod range;
mod run;
#[cfg(test)]
mod tests;
mod values;

pub use factor::{Factor, Level};
pub use file::{Design, ReadSweep, Replications, Sweep, is_sweep, read, schema};
pub use pick::unmatched;
pub use points::{Points, Table, TableProblem, Unsound, check_addresses, levels_of_list, prepare};
pub use range::Range;
pub use run::{PointResult, PointState, SweepWatch, Terms, run};
pub use values::{address, anything};
