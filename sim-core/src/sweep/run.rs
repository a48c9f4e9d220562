//! Running a sweep: shifts of many points, spread over a crew.
//!
//! Shifts are handed out in batches that are filled from as few points as will do, the first ones first, so that points
//! are finished one after the other and no worker waits for the last shift of a point. Memory holds the points of one
//! batch. Invariant: what is heard of a point is the same whatever the crew, and whichever other points are run.

use super::file::Replications;
use super::pick::picked;
use super::points::{Points, Unsound};
use crate::statistics::precision::FEWEST_TO_STOP;
use crate::statistics::sequential::GROWTH;
use crate::statistics::{Moments, RelativePrecision, Schedule};
use crate::study::result::Figure;
use crate::study::{Crew, Output, Task, Variant, run_tasks, settle_warm_up};

/// Shifts of a batch for each worker: the wait for the last one is short against them all.
const SHIFTS_OF_BATCH: usize = 64;

/// How the points are run.
#[derive(Debug, Clone, PartialEq)]
pub struct Terms {
    /// How often.
    pub replications: Replications,
    /// Seed of all luck.
    pub seed: u64,
    /// Names of the outputs that are kept; `*` stands for anything.
    pub outputs: Vec<String>,
    /// Level of the intervals.
    pub level: f64,
}

/// What became of a point.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum PointState {
    /// All its shifts were run.
    Done,
    /// The precision was not reached with the most replications allowed.
    Imprecise,
    /// Its scenario has errors.
    Unsound,
    /// A shift came to nothing, see [`RunError`](crate::study::RunError).
    Failed,
}

impl PointState {
    /// All of them.
    pub const ALL: [PointState; 4] =
        [PointState::Done, PointState::Imprecise, PointState::Unsound, PointState::Failed];

    /// In a word.
    pub fn word(self) -> &'static str {
        match self {
            PointState::Done => "done",
            PointState::Imprecise => "imprecise",
            PointState::Unsound => "unsound",
            PointState::Failed => "failed",
        }
    }
}

/// The result of a point.
#[derive(Debug, Clone, PartialEq)]
pub struct PointResult {
    /// Its number, from 0.
    pub point: u64,
    /// What became of it.
    pub state: PointState,
    /// Why, if it is unsound or failed.
    pub reason: String,
    /// Shifts that its figures rest on.
    pub replications: u64,
    /// The outputs that are kept.
    pub figures: Vec<(Output, Figure)>,
}

/// Who looks on, and may cancel.
pub struct SweepWatch<'a> {
    /// Whether to stop now. Asked before each shift, by any worker.
    pub cancelled: &'a (dyn Fn() -> bool + Sync),
    /// Hears each point that is finished, in no particular order.
    pub each: &'a mut dyn FnMut(PointResult),
    /// Hears how many points are done, with the points under way in part.
    pub progress: &'a mut dyn FnMut(f64),
}

impl std::fmt::Debug for SweepWatch<'_> {
    fn fmt(&self, f: &mut std::fmt::Formatter<'_>) -> std::fmt::Result {
        f.write_str("SweepWatch")
    }
}

/// Runs the points that `todo` names. False if it was cancelled; the points under way are lost then.
///
/// # Panics
/// If a point is named that there is not.
pub fn run<C: Crew>(
    points: &Points,
    todo: impl Iterator<Item = u64>,
    terms: &Terms,
    crew: &C,
    watch: &mut SweepWatch<'_>,
) -> bool {
    let mut todo = todo.peekable();
    let mut table = Desk { points, terms, variants: Vec::new(), trials: Vec::new(), n_done: 0 };
    while todo.peek().is_some() || !table.trials.is_empty() {
        if !table.take_on(&mut todo, crew, watch) {
            return false;
        }
        let tasks = table.tasks(SHIFTS_OF_BATCH * crew.size());
        if !table.run(&tasks, crew, watch.cancelled) {
            return false;
        }
        table.finish(watch);
    }
    true
}

/// A point under way.
struct Trial {
    point: u64,
    outputs: Vec<Output>,
    kept: Vec<usize>,
    rate: usize,
    moments: Vec<Moments>,
    rate_moments: Moments,
    done: u64,
    /// Shifts until the next decision.
    target: u64,
    fault: Option<String>,
}

/// The points under way, with their lines.
struct Desk<'a> {
    points: &'a Points,
    terms: &'a Terms,
    variants: Vec<Variant>,
    trials: Vec<Trial>,
    n_done: u64,
}

/// A point that is being prepared.
struct Blank {
    point: u64,
    made: Option<Result<Variant, Unsound>>,
}

impl Desk<'_> {
    /// Takes on points until there are shifts enough for a batch. False if it was cancelled.
    fn take_on<C: Crew>(
        &mut self,
        todo: &mut impl Iterator<Item = u64>,
        crew: &C,
        watch: &mut SweepWatch<'_>,
    ) -> bool {
        let room = (SHIFTS_OF_BATCH * crew.size()) as u64;
        let under_way: u64 = self.trials.iter().map(|trial| trial.target - trial.done).sum();
        let wanted = room.saturating_sub(under_way).div_ceil(self.first_target());
        let blank = |point| Blank { point, made: None };
        let mut blanks: Vec<Blank> = todo.take(wanted as usize).map(blank).collect();
        let mut hands: Vec<()> = vec![(); crew.size()];
        let points = self.points;
        let n = crew.fill(&mut hands, &mut blanks, watch.cancelled, &|(), blank: &mut Blank| {
            blank.made = Some(points.prepare(blank.point));
        });
        if n < blanks.len() {
            return false;
        }
        for blank in blanks {
            match blank.made {
                Some(Ok(mut variant)) => {
                    let found = settle_warm_up(
                        std::slice::from_mut(&mut variant),
                        self.terms.seed,
                        crew,
                        watch.cancelled,
                    );
                    match found {
                        Ok(true) => self.begin(blank.point, variant),
                        Ok(false) => return false,
                        Err(why) => self.refuse(blank.point, PointState::Failed, why.to_string(), watch),
                    }
                }
                Some(Err(why)) => self.refuse(blank.point, PointState::Unsound, why.reason(), watch),
                None => panic!("every point that was taken on is prepared"),
            }
        }
        true
    }

    fn first_target(&self) -> u64 {
        match self.terms.replications {
            Replications::Fixed(n) => n,
            Replications::Precision { at_most, .. } => FEWEST_TO_STOP.min(at_most),
        }
    }

    fn begin(&mut self, point: u64, variant: Variant) {
        let outputs = variant.outputs();
        let kept = picked(&self.terms.outputs, &outputs);
        self.trials.push(Trial {
            point,
            moments: vec![Moments::new(); kept.len()],
            outputs,
            kept,
            rate: variant.rate_index(),
            rate_moments: Moments::new(),
            done: 0,
            target: self.first_target(),
            fault: None,
        });
        self.variants.push(variant);
    }

    fn refuse(&mut self, point: u64, state: PointState, reason: String, watch: &mut SweepWatch<'_>) {
        self.n_done += 1;
        (watch.each)(PointResult { point, state, reason, replications: 0, figures: Vec::new() });
    }

    /// The next shifts, at most so many, of the first points first.
    fn tasks(&self, most: usize) -> Vec<Task> {
        let of_trial = |(variant, trial): (usize, &Trial)| {
            (trial.done..trial.target).map(move |number| Task { variant, number })
        };
        self.trials.iter().enumerate().flat_map(of_trial).take(most).collect()
    }

    /// False if it was cancelled.
    fn run<C: Crew>(&mut self, tasks: &[Task], crew: &C, cancelled: &(dyn Fn() -> bool + Sync)) -> bool {
        let trials = &mut self.trials;
        let n = run_tasks(&self.variants, tasks, self.terms.seed, crew, cancelled, &mut |task, heard| {
            let trial = &mut trials[task.variant];
            trial.done += 1;
            match heard {
                Ok(values) => trial.take_in(values),
                Err(why) => {
                    trial.fault.get_or_insert_with(|| why.to_string());
                }
            }
        });
        n == tasks.len()
    }

    /// Decides at each point whose shifts are done whether it goes on.
    fn finish(&mut self, watch: &mut SweepWatch<'_>) {
        let mut ix = 0;
        while ix < self.trials.len() {
            let state = self.trials[ix].decided(self.terms);
            match state {
                None => ix += 1,
                Some(state) => {
                    let trial = self.trials.remove(ix);
                    self.variants.remove(ix);
                    self.n_done += 1;
                    (watch.each)(trial.result(state, self.terms.level));
                }
            }
        }
        let part = |trial: &Trial| trial.done as f64 / trial.target as f64;
        (watch.progress)(self.n_done as f64 + self.trials.iter().map(part).sum::<f64>());
    }
}

impl Trial {
    fn take_in(&mut self, values: &[f64]) {
        for (moments, ix) in self.moments.iter_mut().zip(&self.kept) {
            if values[*ix].is_finite() {
                moments.push(values[*ix]);
            }
        }
        self.rate_moments.push(values[self.rate]);
    }

    /// What became of the point; none if it goes on, up to the next look.
    fn decided(&mut self, terms: &Terms) -> Option<PointState> {
        if self.fault.is_some() {
            return Some(PointState::Failed);
        }
        if self.done < self.target {
            return None;
        }
        let Replications::Precision { share, at_most } = terms.replications else {
            return Some(PointState::Done);
        };
        let looks = Schedule::geometric(FEWEST_TO_STOP.min(at_most), GROWTH, at_most).ok()?;
        let rule = RelativePrecision::new(share, terms.level, &looks);
        if rule.is_ok_and(|rule| rule.look(&self.rate_moments).is_ok_and(|look| look.reached)) {
            return Some(PointState::Done);
        }
        match looks.looks().iter().find(|look| **look > self.done) {
            Some(next) => self.target = *next,
            None => return Some(PointState::Imprecise),
        }
        None
    }

    fn result(self, state: PointState, level: f64) -> PointResult {
        let figure =
            |(moments, ix): (&Moments, &usize)| (self.outputs[*ix].clone(), Figure::of(moments, level));
        let is_failed = state == PointState::Failed;
        PointResult {
            point: self.point,
            state,
            replications: if is_failed { 0 } else { self.done },
            figures: if is_failed {
                Vec::new()
            } else {
                self.moments.iter().zip(&self.kept).map(figure).collect()
            },
            reason: self.fault.unwrap_or_default(),
        }
    }
}
