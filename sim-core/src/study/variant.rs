//! Variants: designs that run side by side on the same luck.
//!
//! Streams of luck belong to a replication, the name of a station and a purpose, and are drawn by inversion, so that what
//! two variants have in common sees the same luck. Shifts are tasks, handed to a crew in any order and heard of in the order
//! in which they were given. Invariant: what is heard depends on variants, tasks and seed alone.

use super::controls::{Controls, controls};
use super::crew::Crew;
use super::outputs::{Key, Output, Outputs};
use super::proof::JUDGED;
use super::rare::RareStops;
use super::run::RunError;
use super::shift::measure_shift;
use super::warm_up;
use crate::diag::Diagnostic;
use crate::measure::{Draws, Tally};
use crate::network::{Plan, compile};
use crate::part::{Nanos, SECOND};
use crate::scenario::{self, Scenario, WarmUp};

/// Tasks handed out at once for each worker: the wait for the last one is short against them all.
const TASKS_OF_BATCH: usize = 64;

/// A scenario, compiled to run beside others.
#[derive(Debug)]
pub struct Variant {
    /// What is run.
    pub scenario: Scenario,
    plan: Plan,
    outputs: Outputs,
    /// Controls that follow the outputs of a shift, if it is to have any.
    controls: Controls,
}

/// One shift to run.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Task {
    /// Which of the variants.
    pub variant: usize,
    /// Number of the replication.
    pub number: u64,
}

impl Variant {
    /// Of the text of a scenario file.
    ///
    /// # Errors
    /// All problems of the file, if there is an error among them.
    pub fn read(source: &str) -> Result<Self, Vec<Diagnostic>> {
        let checked = scenario::read(source);
        checked.scenario.map(Variant::new).ok_or(checked.problems)
    }

    /// Of a scenario. All amounts are drawn by inversion from here on.
    pub fn new(mut scenario: Scenario) -> Self {
        scenario.plan.inversion = true;
        Variant::unpaired(scenario)
    }

    /// Of a scenario whose shifts are not paired with those of others: amounts are drawn as its plan says.
    pub fn unpaired(scenario: Scenario) -> Self {
        let plan = compile(&scenario);
        Variant { outputs: Outputs::new(&scenario, &plan), plan, scenario, controls: Controls::default() }
    }

    /// The same with controls: after its outputs a shift has what its luck should have cost; see [`super::reduced`].
    #[must_use]
    pub fn with_controls(mut self) -> Self {
        self.controls = controls(&self.scenario, &self.plan);
        self
    }

    /// Another window, from and to so many seconds.
    #[cfg(test)]
    pub(super) fn cut(&mut self, from_s: f64, to_s: f64) {
        (self.plan.open_ns, self.plan.close_ns) = ((from_s * 1e9) as Nanos, (to_s * 1e9) as Nanos);
    }

    /// Names of the controls, in order.
    pub(super) fn control_names(&self) -> Vec<String> {
        self.controls.list.iter().map(|control| control.name.clone()).collect()
    }

    /// The variance of a shift's rate that its controls can't explain and so many shifts hardly show, (parts/min)2.
    pub(super) fn hardly_seen(&self, shifts: usize) -> f64 {
        self.controls.hardly_seen(shifts, (self.plan.close_ns - self.plan.open_ns) as f64 / 60e9)
    }

    /// Stops that few shifts may hardly show.
    pub(super) fn rare_stops(&self) -> RareStops {
        RareStops::of(&self.scenario, &self.plan)
    }

    /// The controls among the values of a shift.
    pub(super) fn controls_of<'a>(&self, values: &'a [f64]) -> &'a [f64] {
        &values[self.outputs.len()..]
    }

    /// Names and units of the outputs of a shift, in order.
    pub fn outputs(&self) -> Vec<Output> {
        self.outputs.list(&self.scenario, &self.plan)
    }

    /// Where the net rate stands among the outputs, good parts per minute.
    pub fn rate_index(&self) -> usize {
        self.judged_index(0)
    }

    /// Where the feed availability stands among the outputs.
    pub fn feed_availability_index(&self) -> usize {
        self.judged_index(1)
    }

    /// Attendants at work on average among the outputs of a shift, people; NaN if there are none.
    pub fn people_at_work(&self, values: &[f64]) -> f64 {
        let loads = self.outputs.loads();
        if loads.is_empty() {
            return f64::NAN;
        }
        loads.iter().map(|(index, people)| values[*index] * *people as f64).sum()
    }

    fn judged_index(&self, n: usize) -> usize {
        let key: Key = JUDGED[n];
        let Some(ix) = self.outputs.index(key) else { panic!("every line has {key:?}") };
        ix
    }

    /// Takes the warm-up over that was found for another variant, if this one asks for one as well.
    pub fn measure_as(&mut self, other: &Variant) {
        if self.scenario.plan.warm_up == WarmUp::Found {
            self.plan.open_ns = other.plan.open_ns;
        }
    }

    /// When the window opens and closes.
    pub fn window(&self) -> (Nanos, Nanos) {
        (self.plan.open_ns, self.plan.close_ns)
    }

    /// Runs one shift; its outputs are put into `values`. Returns the number of events.
    ///
    /// # Errors
    /// What made the shift worthless; see [`RunError`].
    pub fn shift(
        &self,
        seed: u64,
        number: u64,
        desk: &mut Desk,
        values: &mut Vec<f64>,
    ) -> Result<u64, RunError> {
        let tally = desk.tally.take().unwrap_or_else(|| Tally::new(&self.plan.tally));
        let (tally, course) = if self.controls.list.is_empty() {
            measure_shift(&self.plan, seed, number, tally)
        } else {
            let draws = desk.draws.take().unwrap_or_else(|| Draws::new(&self.plan.outfit));
            let ((tally, draws), course) = measure_shift(&self.plan, seed, number, (tally, draws));
            desk.draws = Some(draws);
            (tally, course)
        };
        if let Some(fault) = course.fault {
            return Err(fault);
        }
        self.outputs.read(&tally, values);
        if let Some(draws) = desk.draws.as_ref().filter(|_| !self.controls.list.is_empty()) {
            values.extend(self.controls.list.iter().map(|control| control.value(draws)));
        }
        desk.tally = Some(tally);
        Ok(course.events)
    }
}

/// What a worker reuses from shift to shift of the same variant.
#[derive(Debug, Default)]
pub struct Desk {
    variant: usize,
    tally: Option<Tally>,
    draws: Option<Draws>,
}

impl Desk {
    fn of(&mut self, variant: usize) -> &mut Self {
        if self.variant != variant {
            *self = Desk { variant, ..Desk::default() };
        }
        self
    }
}

/// Finds the warm-up of each variant that asks for one. All of those use the largest, so that they are measured over the
/// same window. False if it was cancelled.
///
/// # Errors
/// If none can be found, or a shift is worthless.
pub fn settle_warm_up<C: Crew>(
    variants: &mut [Variant],
    seed: u64,
    crew: &C,
    cancelled: &(dyn Fn() -> bool + Sync),
) -> Result<bool, RunError> {
    let mut largest = 0;
    let asks = |variant: &Variant| variant.scenario.plan.warm_up == WarmUp::Found;
    for variant in variants.iter().filter(|variant| asks(variant)) {
        let Some(found) = warm_up::find(&variant.plan, seed, crew, cancelled)? else { return Ok(false) };
        largest = largest.max(found.minutes);
    }
    for variant in variants.iter_mut().filter(|variant| asks(variant)) {
        variant.plan.open_ns = largest * 60 * SECOND;
    }
    Ok(true)
}

/// Outputs of a shift, or what made it worthless.
pub type Heard<'a> = Result<&'a [f64], RunError>;

/// The sheet of one task.
struct Sheet {
    task: Task,
    values: Vec<f64>,
    fault: Option<RunError>,
}

/// Runs tasks. `each` hears their outputs, or what made the shift worthless, in the order of the tasks. Returns how many
/// were done before it was cancelled: the first ones.
///
/// # Panics
/// If a task names a variant that there is not.
pub fn run_tasks<C: Crew>(
    variants: &[Variant],
    tasks: &[Task],
    seed: u64,
    crew: &C,
    cancelled: &(dyn Fn() -> bool + Sync),
    each: &mut dyn FnMut(Task, Heard<'_>),
) -> usize {
    let mut desks: Vec<Desk> = (0..crew.size()).map(|_| Desk::default()).collect();
    let mut sheets: Vec<Sheet> = Vec::new();
    let mut done = 0;
    for batch in tasks.chunks(TASKS_OF_BATCH * crew.size()) {
        let blank = |task: &Task| Sheet { task: *task, values: Vec::new(), fault: None };
        sheets.resize_with(sheets.len().max(batch.len()), || blank(&batch[0]));
        sheets.iter_mut().zip(batch).for_each(|(sheet, task)| sheet.task = *task);
        let n_done =
            crew.fill(&mut desks, &mut sheets[..batch.len()], cancelled, &|desk, sheet: &mut Sheet| {
                let Task { variant, number } = sheet.task;
                let ran = variants[variant].shift(seed, number, desk.of(variant), &mut sheet.values);
                sheet.fault = ran.err();
            });
        for sheet in &mut sheets[..n_done] {
            match sheet.fault.take() {
                Some(fault) => each(sheet.task, Err(fault)),
                None => each(sheet.task, Ok(&sheet.values)),
            }
        }
        done += n_done;
        if n_done < batch.len() {
            break;
        }
    }
    done
}

#[cfg(test)]
mod tests {
    use super::super::Alone;
    use super::*;

    const LINE: &str = r#"{"feedproof": 1, "stations": [
        {"id": "F", "type": "work", "endless": true, "time": {"law": "exponential", "mean": "1 s"}},
        {"id": "T", "type": "track", "capacity": 5, "travel": "0 s"},
        {"id": "M", "type": "work", "time": "0.5 s"}],
        "plan": {"shift": "10 min"}}"#;

    /// The stream of F is the same in both, and a faster M hardly matters: the rates go up and down together.
    #[test]
    fn variants_share_the_luck_of_what_they_share() {
        let faster = LINE.replace("0.5 s", "0.4 s");
        let variants = [Variant::read(LINE).unwrap(), Variant::read(&faster).unwrap()];
        let tasks: Vec<Task> =
            (0..20).flat_map(|number| [0, 1].map(|variant| Task { variant, number })).collect();
        let mut heard = Vec::new();
        let rate = variants[0].rate_index();
        let done = run_tasks(&variants, &tasks, 1, &Alone, &|| false, &mut |task, values| {
            heard.push((task, values.unwrap()[rate]));
        });
        assert_eq!((done, heard.len()), (40, 40));
        assert!(heard.iter().map(|(task, _)| *task).eq(tasks.iter().copied()));
        assert!(heard.chunks(2).all(|pair| (pair[0].1 - pair[1].1).abs() < 0.2), "{heard:?}");
        assert!((0..20).any(|n| (heard[2 * n].1 - heard[0].1).abs() > 0.5), "luck differs between shifts");
    }

    #[test]
    fn a_cancelled_run_has_done_the_first_tasks() {
        let variants = [Variant::read(LINE).unwrap()];
        let tasks: Vec<Task> = (0..200).map(|number| Task { variant: 0, number }).collect();
        let asked = std::sync::atomic::AtomicUsize::new(0);
        let cancelled = || asked.fetch_add(1, std::sync::atomic::Ordering::Relaxed) >= 100;
        let mut heard = 0;
        let done = run_tasks(&variants, &tasks, 1, &Alone, &cancelled, &mut |task, _| {
            assert_eq!(task.number, heard);
            heard += 1;
        });
        assert_eq!((done, heard), (100, 100));
    }
}
