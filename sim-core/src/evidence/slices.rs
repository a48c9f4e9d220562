//! Shifts in slices of lines whose inputs are drawn anew from what the evidence leaves open.
//!
//! For whatever is asked of shifts beside the promise: a run-off, the minutes in which the point of use waits. Each outer draw
//! has equally many shifts, with luck of their own. Invariant: draws and luck are those that the nested study of the same seed
//! would have.

use super::nested::luck_of;
use super::outer::{Known, known, outer};
use crate::measure::Slice;
use crate::scenario::Scenario;
use crate::study::{Crew, RunError, SlicedLine, Task, run_slices};

/// Draws whose lines are kept at a time.
const AT_ONCE: u64 = 64;

/// Outer draws of a scenario, and shifts within each.
#[derive(Debug)]
pub struct DrawnShifts<'a> {
    source: &'a str,
    known: Vec<Known>,
    /// Outer draws.
    pub draws: u64,
    /// Shifts within each draw.
    pub each: u64,
    seed: u64,
}

impl<'a> DrawnShifts<'a> {
    /// Draws of the scenario that was read from `source`; none if it has no evidence.
    pub fn of(source: &'a str, scenario: &Scenario, draws: u64, each: u64, seed: u64) -> Option<Self> {
        let known = known(scenario);
        (!known.is_empty()).then_some(DrawnShifts { source, known, draws, each, seed })
    }

    /// Pieces of evidence.
    pub fn pieces(&self) -> u64 {
        self.known.len() as u64
    }

    /// Runs them all: `line` makes what is run of a scenario, `hear` gets the draw and the slices of each shift, in order of
    /// draws and shifts. False if it was cancelled.
    ///
    /// # Errors
    /// The first shift that was worthless, or evidence of which no draw is possible.
    pub fn run<C: Crew>(
        &self,
        line: &dyn Fn(Scenario) -> SlicedLine,
        crew: &C,
        cancelled: &(dyn Fn() -> bool + Sync),
        hear: &mut dyn FnMut(u64, &[Slice]),
    ) -> Result<bool, RunError> {
        for first in (0..self.draws).step_by(AT_ONCE as usize) {
            let numbers = first..self.draws.min(first + AT_ONCE);
            let lines: Vec<SlicedLine> = numbers
                .clone()
                .map(|number| Ok(line(outer(self.source, &self.known, self.seed, number)?.scenario)))
                .collect::<Result<_, RunError>>()?;
            let tasks: Vec<Task> = numbers
                .enumerate()
                .flat_map(|(variant, draw)| {
                    (0..self.each).map(move |shift| Task { variant, number: luck_of(draw, shift) })
                })
                .collect();
            let done = run_slices(&lines, &tasks, self.seed, crew, cancelled, &mut |task, slices| {
                hear(first + task.variant as u64, slices);
            })?;
            if done < tasks.len() {
                return Ok(false);
            }
        }
        Ok(true)
    }
}
