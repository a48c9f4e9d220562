//! Variations of a scenario file: the same text with some of its values changed.
//!
//! A change is made in the text, where the value stands, so that everything else of the file stays as it is and the new
//! text is read and checked like any other. A value is found by its [`Address`]; [`knobs`] lists the numbers that mean
//! something. Invariant: only the bytes of what is changed differ.

mod address;
mod edit;
mod knob;

pub use address::{Address, Spot, find, short};
pub use edit::{Setting, Unchanged, plain, set, value_of};
pub use knob::{Change, Knob, knobs, knobs_under};
