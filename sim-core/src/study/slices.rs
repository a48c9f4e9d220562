//! Shifts in slices: many of them, of several variants of a line, run by a crew.
//!
//! For run-off plans and for comparing a log with its model. Shifts are heard in the order in which they were asked for.
//! Invariant: what is heard depends on the lines, the tasks and the seed alone.

use super::crew::Crew;
use super::run::RunError;
use super::shift::slice_shift;
use super::variant::Task;
use crate::kernel::troubles::StopKind;
use crate::measure::{Slice, Slices};
use crate::network::{Plan, compile};
use crate::part::{Nanos, SECOND};
use crate::scenario::{RunOffJams, Scenario, WarmUp};

/// Tasks handed out at once for each worker.
const TASKS_OF_BATCH: usize = 64;

/// A line whose shifts are cut into slices.
#[derive(Debug)]
pub struct SlicedLine {
    plan: Plan,
    counts_as_jam: Vec<bool>,
    slice_ns: Nanos,
    n: usize,
}

impl SlicedLine {
    /// The line of a scenario, in `n` slices of `slice_ns` from its start. Amounts are drawn by inversion, so that lines that
    /// have much in common share their luck.
    pub fn new(mut scenario: Scenario, jams: RunOffJams, slice_ns: Nanos, n: usize) -> Self {
        scenario.plan.inversion = true;
        scenario.plan.warm_up = WarmUp::Given(0.0);
        scenario.plan.shift_s = slice_ns as f64 * n as f64 / SECOND as f64;
        let mut plan = compile(&scenario);
        (plan.open_ns, plan.close_ns) = (0, slice_ns * n as u64);
        let counts_as_jam = plan
            .outfit
            .troubles
            .iter()
            .map(|trouble| match (trouble.kind, jams) {
                (StopKind::Breakdown, _) => false,
                (StopKind::Jam, RunOffJams::All) => true,
                (StopKind::Jam, RunOffJams::Attended) => trouble.pool.is_some(),
                (StopKind::Jam, RunOffJams::OfGoodParts) => trouble.strikes_good_parts(),
            })
            .collect();
        SlicedLine { plan, counts_as_jam, slice_ns, n }
    }

    /// Number of points of use.
    pub fn n_points(&self) -> usize {
        self.plan.tally.points.len()
    }

    /// Slices of one shift.
    ///
    /// # Errors
    /// What made it worthless; see [`RunError`].
    pub fn shift(&self, seed: u64, number: u64) -> Result<Vec<Slice>, RunError> {
        let slices = Slices::new(&self.plan.tally, self.counts_as_jam.clone(), self.slice_ns, self.n);
        slice_shift(&self.plan, seed, number, self.slice_ns * self.n as u64, slices)
    }
}

struct Sheet {
    task: Task,
    slices: Option<Result<Vec<Slice>, RunError>>,
}

/// Runs tasks, of which `variant` names a line; `each` hears their slices in the order of the tasks. Returns how many were done
/// before it was cancelled.
///
/// # Errors
/// The first shift, in the order of the tasks, that was worthless.
pub fn run_slices<C: Crew>(
    lines: &[SlicedLine],
    tasks: &[Task],
    seed: u64,
    crew: &C,
    cancelled: &(dyn Fn() -> bool + Sync),
    each: &mut dyn FnMut(Task, &[Slice]),
) -> Result<usize, RunError> {
    let mut desks = vec![(); crew.size()];
    let mut done = 0;
    for batch in tasks.chunks(TASKS_OF_BATCH * crew.size()) {
        let mut sheets: Vec<Sheet> = batch.iter().map(|task| Sheet { task: *task, slices: None }).collect();
        let n_done = crew.fill(&mut desks, &mut sheets, cancelled, &|_: &mut (), sheet: &mut Sheet| {
            let Task { variant, number } = sheet.task;
            sheet.slices = Some(lines[variant].shift(seed, number));
        });
        for sheet in sheets.into_iter().take(n_done) {
            let Some(slices) = sheet.slices else { panic!("a sheet that is done has slices") };
            each(sheet.task, &slices?);
        }
        done += n_done;
        if n_done < batch.len() {
            break;
        }
    }
    Ok(done)
}
