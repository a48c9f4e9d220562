//! Running a study: batches of replications up to the next look, until there is a verdict or the budget is used up.
//!
//! It decides how many replications are begun, never what they are. Invariants: everything is added up in the order of
//! the replications; memory does not grow with their number but for the eight bytes of each one's rate.

use super::crew::Crew;
use super::knot::Knot;
use super::outputs::{Key, Output, Outputs};
use super::proof::{JUDGED, Proof};
use super::rare::RareStops;
use super::report;
use super::result::{RunResult, StoppedBecause};
use super::shift::{Course, measure_shift};
use super::warm_up::{self, Found};
use crate::kernel::floor::WAITING_MAX;
use crate::measure::{Causes, LevelSums, Tally};
use crate::network::Plan;
use crate::part::{Nanos, SECOND};
use crate::scenario::{Scenario, WarmUp};
use crate::statistics::precision::FEWEST_TO_STOP;
use crate::statistics::sequential::GROWTH;
use crate::statistics::{CannotSay, Moments, RelativePrecision, Schedule, Verdict};
use std::borrow::Cow;

/// Events of a batch for each worker: enough that the wait for the last one is short against the batch.
const EVENTS_OF_BATCH: u64 = 8_000_000;
/// Most replications of a batch for each worker.
const BATCH_MAX: u64 = 256;

/// Replications in which causes are accounted for unless one says otherwise: enough to see what matters.
pub const CAUSES_IN: u64 = 20;

/// When to stop.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Mode {
    /// As soon as the promise is proved or disproved, or the budget is used up.
    UntilDecided,
    /// When the budget is used up; the verdict is taken at the looks of the schedule all the same.
    Fixed,
}

/// How to run.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Options {
    /// Most replications.
    pub replications: u64,
    /// Seed of all luck.
    pub seed: u64,
    /// When to stop.
    pub mode: Mode,
    /// Without a promise: stop when the error of the mean rate is at most this share of it.
    pub precision: Option<f64>,
    /// Level of the intervals, strictly between 0 and 1.
    pub level: f64,
    /// In how many replications, the first ones, to account for the causes of starvation: such a replication takes up
    /// to twice as long.
    pub causes: u64,
}

impl Options {
    /// What the scenario asks for.
    pub fn of(scenario: &Scenario) -> Self {
        Options {
            replications: scenario.plan.replications,
            seed: scenario.plan.seed,
            mode: Mode::UntilDecided,
            precision: None,
            level: 0.95,
            causes: CAUSES_IN,
        }
    }
}

/// What to run.
#[derive(Debug, Clone, Copy)]
pub struct Job<'a> {
    /// The scenario.
    pub scenario: &'a Scenario,
    /// The line compiled from it.
    pub plan: &'a Plan,
    /// The text of the scenario file, for its hash.
    pub source: &'a str,
    /// How to run.
    pub options: Options,
}

/// How far a run has come.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Progress {
    /// Replications done.
    pub done: u64,
    /// Most that will be done.
    pub planned: u64,
    /// Mean rate so far, parts/min.
    pub rate: Option<f64>,
    /// Half the width of its interval, parts/min; not corrected for looking again and again.
    pub half_width: Option<f64>,
    /// Joint verdict so far; none without a promise.
    pub verdict: Option<Verdict>,
}

/// Who looks on, and may cancel.
pub struct Watch<'a> {
    /// Whether to stop now. Asked before each replication, by any worker.
    pub cancelled: &'a (dyn Fn() -> bool + Sync),
    /// Hears how far the run has come, after each batch of replications.
    pub progress: &'a mut dyn FnMut(&Progress),
    /// Hears the outputs of each replication, in order of replications; see [`outputs`]. NaN: no value.
    pub each: &'a mut dyn FnMut(u64, &[f64]),
}

impl std::fmt::Debug for Watch<'_> {
    fn fmt(&self, f: &mut std::fmt::Formatter<'_>) -> std::fmt::Result {
        f.write_str("Watch")
    }
}

/// Why a run has no result.
#[derive(Debug, Clone, PartialEq)]
pub enum RunError {
    /// Moves without any passage of time that do not come to an end.
    InstantLoop {
        /// In which replication.
        replication: u64,
        /// When, s.
        at_s: f64,
        /// Stations that went round.
        stations: Vec<String>,
    },
    /// The budget of events of a replication was used up.
    TooManyEvents {
        /// In which replication.
        replication: u64,
        /// When, s.
        at_s: f64,
        /// The budget.
        events_max: u64,
        /// Stations at work then, the next one first.
        stations: Vec<String>,
    },
    /// More and more parts wait at a station, far more than could be meant.
    TooManyWaiting {
        /// In which replication.
        replication: u64,
        /// When, s.
        at_s: f64,
        /// The station.
        station: String,
    },
    /// Parts came out of nothing or vanished: a fault of the program.
    PartsNotConserved {
        /// In which replication.
        replication: u64,
    },
    /// The warm-up was to be found, and could not be.
    NoWarmUp(CannotSay),
    /// The options cannot be used.
    BadOptions(CannotSay),
    /// Values drawn from the posteriors of the inputs were impossible together nearly always.
    ImpossibleDraws {
        /// Draws in a row.
        tries: u64,
        /// What was wrong with the last one.
        why: String,
    },
}

impl std::fmt::Display for RunError {
    fn fmt(&self, f: &mut std::fmt::Formatter<'_>) -> std::fmt::Result {
        match self {
            RunError::InstantLoop { replication, at_s, stations } => write!(
                f,
                "replication {replication}: at {at_s} s parts move round without any passage of time; stations: {}; give one of them a time",
                stations.join(", ")
            ),
            RunError::TooManyEvents { replication, at_s, events_max, stations } => write!(
                f,
                "replication {replication}: {events_max} events were used up at {at_s} s; at work were {}; see `events_at_most` of the plan",
                stations.join(", ")
            ),
            RunError::TooManyWaiting { replication, at_s, station } => write!(
                f,
                "replication {replication}: at {at_s} s more than {WAITING_MAX} parts wait at `{station}`, since it brings more than the line takes; bring fewer, or let what finds no room be lost, spill back or hold it"
            ),
            RunError::PartsNotConserved { replication } => {
                write!(
                    f,
                    "replication {replication}: parts were lost or came out of nothing; please report this"
                )
            }
            RunError::NoWarmUp(why) => {
                write!(f, "no warm-up can be found from parts per minute ({why}); give `warm_up` a time")
            }
            RunError::BadOptions(why) => write!(f, "{why}"),
            RunError::ImpossibleDraws { tries, why } => write!(
                f,
                "values drawn from the evidence were impossible {tries} times in a row, at last because: {why}; see the counts and priors of the file"
            ),
        }
    }
}

impl std::error::Error for RunError {}

/// Names and units of the outputs of a replication, in the order in which [`Watch::each`] hears them.
pub fn outputs(scenario: &Scenario, plan: &Plan) -> Vec<Output> {
    Outputs::new(scenario, plan).list(scenario, plan)
}

/// What can be said of a promise before the first replication: its schedule of looks, and the fewest shifts that could
/// decide it. None without a promise.
///
/// # Errors
/// Options that cannot be used.
pub fn outlook(
    scenario: &Scenario,
    options: &Options,
) -> Result<Option<super::result::PromiseReport>, RunError> {
    let proof = Proof::new(&scenario.promise, options.replications).map_err(RunError::BadOptions)?;
    Ok(proof.map(|proof| proof.report()))
}

/// Runs a study.
///
/// # Errors
/// See [`RunError`]. A gridlock is no error: it is counted and described in the result.
pub fn run<C: Crew>(job: &Job<'_>, crew: &C, watch: &mut Watch<'_>) -> Result<RunResult, RunError> {
    let mut study = Study::new(job)?;
    let because = match study.settle_warm_up(crew, watch.cancelled)? {
        true => study.run(crew, watch)?,
        false => StoppedBecause::Cancelled,
    };
    Ok(report::result(&study, because))
}

/// A worker's desk: what is reused from replication to replication.
struct Desk {
    tally: Option<Tally>,
    causes: Option<Causes>,
    /// Parts by passes, for each point of use.
    passes: Vec<Vec<u64>>,
    /// Time at each level, for each place.
    levels: Vec<LevelSums>,
}

/// The sheet of one replication.
#[derive(Default)]
struct Sheet {
    number: u64,
    values: Vec<f64>,
    /// Starved time by cause, point by point, ns; empty if causes are not asked for.
    charges: Vec<Nanos>,
    course: Course,
}

/// A study under way.
pub(super) struct Study<'a> {
    pub(super) job: Job<'a>,
    /// The plan, with the warm-up that was found.
    pub(super) plan: Cow<'a, Plan>,
    pub(super) warm_up: Option<Found>,
    pub(super) outputs: Outputs,
    /// Moments of each output.
    pub(super) moments: Vec<Moments>,
    /// Moments of starved time by cause, point by point, as a share of the window; empty if causes are not asked for.
    pub(super) charges: Vec<Moments>,
    /// Moments of each output over the replications that account for causes, once there are more.
    first: Option<Vec<Moments>>,
    /// Rate of each replication, parts/min.
    pub(super) rates: Vec<f64>,
    /// Parts by passes, for each point of use.
    pub(super) passes: Vec<Vec<u64>>,
    /// Time at each level over all replications, for each place.
    pub(super) levels: Vec<LevelSums>,
    pub(super) proof: Option<Proof>,
    /// Stops that the shifts may hardly show.
    pub(super) rare: RareStops,
    precision: Option<RelativePrecision>,
    pub(super) n_gridlocks: u64,
    pub(super) first_gridlock: Option<(u64, Box<Knot>)>,
    pub(super) events: u64,
    /// Outputs of the first replication, as long as all others were the same.
    same: Option<Vec<f64>>,
}

impl<'a> Study<'a> {
    fn new(job: &Job<'a>) -> Result<Self, RunError> {
        let options = &job.options;
        if !(options.level > 0.0 && options.level < 1.0) {
            return Err(RunError::BadOptions(CannotSay::OutOfRange { what: "level", value: options.level }));
        }
        if options.replications == 0 {
            return Err(RunError::BadOptions(CannotSay::TooFew { have: 0, need: 1 }));
        }
        let proof = Proof::new(&job.scenario.promise, options.replications).map_err(RunError::BadOptions)?;
        let precision = match options.precision {
            Some(gamma) if proof.is_none() && options.replications >= FEWEST_TO_STOP => {
                let schedule = Schedule::geometric(FEWEST_TO_STOP, GROWTH, options.replications);
                let rule = schedule.and_then(|looks| RelativePrecision::new(gamma, options.level, &looks));
                Some(rule.map_err(RunError::BadOptions)?)
            }
            Some(_) | None => None,
        };
        let outputs = Outputs::new(job.scenario, job.plan);
        Ok(Study {
            job: *job,
            plan: Cow::Borrowed(job.plan),
            warm_up: None,
            moments: vec![Moments::new(); outputs.len()],
            charges: Vec::new(),
            first: None,
            rates: Vec::new(),
            passes: Vec::new(),
            levels: Vec::new(),
            proof,
            rare: RareStops::of(job.scenario, job.plan),
            precision,
            n_gridlocks: 0,
            first_gridlock: None,
            events: 0,
            same: None,
            outputs,
        })
    }

    /// Finds the warm-up if the scenario asks for it. False if it was cancelled.
    fn settle_warm_up<C: Crew>(
        &mut self,
        crew: &C,
        cancelled: &(dyn Fn() -> bool + Sync),
    ) -> Result<bool, RunError> {
        if self.job.scenario.plan.warm_up != WarmUp::Found {
            return Ok(true);
        }
        let Some(found) = warm_up::find(self.job.plan, self.job.options.seed, crew, cancelled)? else {
            return Ok(false);
        };
        self.plan.to_mut().open_ns = found.minutes * 60 * SECOND;
        self.warm_up = Some(found);
        Ok(true)
    }

    fn run<C: Crew>(&mut self, crew: &C, watch: &mut Watch<'_>) -> Result<StoppedBecause, RunError> {
        let (plan, seed) = (self.plan.clone().into_owned(), self.job.options.seed);
        let budget = self.job.options.replications;
        let desk = || Desk {
            tally: None,
            causes: None,
            passes: vec![Vec::new(); plan.tally.points.len()],
            levels: vec![LevelSums::default(); plan.tally.capacities.len()],
        };
        let mut desks: Vec<Desk> = (0..crew.size()).map(|_| desk()).collect();
        let mut sheets: Vec<Sheet> = Vec::new();
        let mut because = None;
        while because.is_none() {
            let done = self.rates.len() as u64;
            let n = self.batch(done, crew.size() as u64) as usize;
            if sheets.len() < n {
                sheets.resize_with(n, Sheet::default);
            }
            sheets.iter_mut().zip(done..).for_each(|(sheet, number)| sheet.number = number);
            let (outputs, causes_in) = (&self.outputs, self.job.options.causes);
            let n_done = crew.fill(&mut desks, &mut sheets[..n], watch.cancelled, &|desk, sheet| {
                let with_causes = sheet.number < causes_in;
                run_shift(&plan, seed, with_causes, desk, sheet);
                desk.fill(outputs, with_causes, sheet);
            });
            for sheet in &mut sheets[..n_done] {
                self.take_in(sheet, watch)?;
            }
            because = self.after_batch();
            if because.is_none() && n_done < n {
                because = Some(StoppedBecause::Cancelled);
            }
            (watch.progress)(&Progress {
                done: self.rates.len() as u64,
                planned: budget,
                rate: self.moments[0].mean(),
                half_width: super::result::Figure::of(&self.rates_spread(), self.job.options.level)
                    .half_width(),
                verdict: self.proof.as_ref().map(Proof::verdict),
            });
        }
        self.levels = merged_levels(&desks);
        self.passes = merged_passes(desks, plan.tally.points.len());
        Ok(because.unwrap_or(StoppedBecause::BudgetUsed))
    }

    /// Replications of the next batch: not beyond the next look, and so many that all hands are busy.
    fn batch(&self, done: u64, hands: u64) -> u64 {
        let budget = self.job.options.replications;
        let mut end = self.proof.as_ref().map_or(budget, |proof| proof.next_look(done));
        if let Some(rule) = &self.precision {
            end = rule.looks().iter().copied().find(|look| *look > done).unwrap_or(budget);
        }
        if done < 2 && self.job.scenario.is_certain() {
            end = 2.min(budget);
        }
        let of_hand = match self.events.checked_div(done) {
            None => 1,
            Some(events) => (EVENTS_OF_BATCH / events.max(1)).clamp(1, BATCH_MAX),
        };
        (end - done).min(of_hand * hands)
    }

    fn take_in(&mut self, sheet: &mut Sheet, watch: &mut Watch<'_>) -> Result<(), RunError> {
        if let Some(fault) = sheet.course.fault.take() {
            return Err(fault);
        }
        (watch.each)(sheet.number, &sheet.values);
        for (moments, value) in self.moments.iter_mut().zip(&sheet.values) {
            if value.is_finite() {
                moments.push(*value);
            }
        }
        let window = (self.plan.close_ns - self.plan.open_ns) as f64;
        self.charges.resize_with(self.charges.len().max(sheet.charges.len()), Moments::new);
        for (moments, charge) in self.charges.iter_mut().zip(&sheet.charges) {
            moments.push(*charge as f64 / window);
        }
        let [rate, feed_availability] =
            JUDGED.map(|key| self.outputs.index(key).map_or(f64::NAN, |ix| sheet.values[ix]));
        self.rates.push(rate);
        if let Some(proof) = &mut self.proof {
            proof.push(rate, feed_availability);
        }
        self.events += sheet.course.events;
        if let Some(knot) = sheet.course.knot.take() {
            self.n_gridlocks += 1;
            self.first_gridlock.get_or_insert((sheet.number, knot));
        }
        if self.rates.len() as u64 == self.job.options.causes {
            self.first = Some(self.moments.clone());
        }
        if self.rates.len() == 1 {
            self.same = Some(sheet.values.clone());
        } else if self.same.as_ref().is_some_and(|first| !alike(first, &sheet.values)) {
            self.same = None;
        }
        Ok(())
    }

    /// Looks, where there is a look, and says whether the run is over.
    fn after_batch(&mut self) -> Option<StoppedBecause> {
        let options = &self.job.options;
        let done = self.rates.len() as u64;
        let may_stop = options.mode == Mode::UntilDecided;
        if self.is_without_luck() && done >= 2.min(options.replications) {
            if let Some(proof) = &mut self.proof {
                proof.decide_without_luck(done);
            }
            if may_stop {
                return Some(StoppedBecause::NoLuck);
            }
        }
        if let Some(proof) = &mut self.proof {
            proof.look(done, &self.rare);
            if may_stop && proof.verdict() != Verdict::Open {
                return Some(StoppedBecause::Decided);
            }
        }
        if done >= options.replications {
            return Some(StoppedBecause::BudgetUsed);
        }
        let reached = self.precision.as_ref().and_then(|rule| rule.look(&self.rates_spread()).ok());
        (may_stop && reached.is_some_and(|look| look.reached)).then_some(StoppedBecause::PrecisionReached)
    }

    /// Whether nothing is random: no uncertain input was read, and all replications were the same so far.
    pub(super) fn is_without_luck(&self) -> bool {
        self.job.scenario.is_certain() && self.same.is_some()
    }

    /// Moments of an output over the replications that account for causes; over all if none does.
    pub(super) fn moments_of_first(&self, key: Key) -> Moments {
        match (&self.first, self.outputs.index(key)) {
            (Some(first), Some(ix)) => first[ix],
            _ => self.moments_of(key),
        }
    }

    /// Moments of the rate, with the spread that rare stops give it at least.
    pub(super) fn rates_spread(&self) -> Moments {
        let rates = self.moments[0];
        rates.spread_at_least(self.rare.of_rate(rates.count()))
    }

    /// Moments of an output.
    pub(super) fn moments_of(&self, key: Key) -> Moments {
        self.outputs.index(key).map_or_else(Moments::new, |ix| self.moments[ix])
    }
}

/// Runs the shift of a sheet; its measures are left on the desk.
fn run_shift(plan: &Plan, seed: u64, with_causes: bool, desk: &mut Desk, sheet: &mut Sheet) {
    let tally = desk.tally.take().unwrap_or_else(|| Tally::new(&plan.tally));
    if with_causes {
        let causes = desk.causes.take().unwrap_or_else(|| Causes::new(&plan.causes));
        let ((tally, causes), course) = measure_shift(plan, seed, sheet.number, (tally, causes));
        (desk.tally, desk.causes, sheet.course) = (Some(tally), Some(causes), course);
    } else {
        let (tally, course) = measure_shift(plan, seed, sheet.number, tally);
        (desk.tally, sheet.course) = (Some(tally), course);
    }
}

impl Desk {
    /// Fills a sheet from the measures of its shift.
    fn fill(&mut self, outputs: &Outputs, with_causes: bool, sheet: &mut Sheet) {
        let Some(tally) = self.tally.as_ref().filter(|_| sheet.course.fault.is_none()) else { return };
        outputs.read(tally, &mut sheet.values);
        for (all, point) in self.passes.iter_mut().zip(&tally.points) {
            all.resize(point.passes.len(), 0);
            all.iter_mut().zip(&point.passes).for_each(|(sum, n)| *sum += n);
        }
        self.levels.iter_mut().zip(tally.levels.iter()).for_each(|(all, place)| all.add(place));
        sheet.charges.clear();
        if let Some(causes) = self.causes.as_ref().filter(|_| with_causes) {
            (0..tally.points.len()).for_each(|point| sheet.charges.extend(causes.charges(point)));
        }
    }
}

/// Whole numbers: their sum is the same whoever counted what.
fn merged_passes(desks: Vec<Desk>, n_points: usize) -> Vec<Vec<u64>> {
    let mut all = vec![Vec::new(); n_points];
    for desk in desks {
        for (sum, passes) in all.iter_mut().zip(desk.passes) {
            let sum: &mut Vec<u64> = sum;
            sum.resize(sum.len().max(passes.len()), 0);
            sum.iter_mut().zip(passes).for_each(|(sum, n)| *sum += n);
        }
    }
    all
}

fn merged_levels(desks: &[Desk]) -> Vec<LevelSums> {
    let mut all: Vec<LevelSums> = Vec::new();
    for desk in desks {
        all.resize(desk.levels.len(), LevelSums::default());
        all.iter_mut().zip(&desk.levels).for_each(|(sum, levels)| sum.merge(levels));
    }
    all
}

/// Whether two rows of outputs are the same to the last bit.
fn alike(first: &[f64], second: &[f64]) -> bool {
    first.iter().map(|value| value.to_bits()).eq(second.iter().map(|value| value.to_bits()))
}
