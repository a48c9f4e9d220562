//! Evidence: proofs that contain what is not known of the inputs.
//!
//! Inputs that stand in the file as counts, as events in a time or as observed values have a posterior. An outer draw
//! is the file with values from the posteriors in their place; shifts are run within each. From that come the
//! predictive chance, the assurance and its verdict, the split of the variance, and what to measure next. It prints
//! nothing and reads nothing but the text of the scenario. Invariants: one piece of evidence is drawn once per outer
//! draw; the result depends on text, seed and options alone, to the last bit, whoever runs the shifts.

pub mod further;
mod guide;
pub mod nested;
pub mod outer;
pub mod pool;
pub mod posterior;
pub mod slices;
pub mod split;

pub use nested::{IgnoranceOptions, ignorance};
pub use outer::{Known, estimates, known};
pub use slices::DrawnShifts;
