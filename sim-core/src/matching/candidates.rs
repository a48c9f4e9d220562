//! Inputs that may differ in the built line.
//!
//! Unless they are named: how often each jam comes, how long its clearing takes, and the times, speeds and rates of the
//! stations. Lengths, capacities and levels are seen on the drawing and need no guess.

use crate::scenario::Scenario;
use crate::vary::{Knob, knobs};

/// Keys of stations that say how fast they are.
const PACES: [&str; 14] = [
    ".time",
    ".cycle",
    ".speed",
    ".cleats",
    ".travel",
    ".stroke",
    ".index",
    ".every",
    ".per_cleat",
    ".pass",
    ".pour",
    ".lead",
    ".per_part",
    ".drop_back",
];

/// Paths of inputs that are tried.
pub fn candidates(source: &str, scenario: &Scenario) -> Vec<String> {
    let is_pace = |knob: &Knob| {
        PACES.iter().any(|key| knob.path.ends_with(key)) || knob.path.contains(".per_part_by_condition.")
    };
    knobs(source, scenario).into_iter().filter(is_pace).map(|knob| knob.path).collect()
}
