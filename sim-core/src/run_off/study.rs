//! The study of a run-off: runs at several levels, judged by the plan.

use super::ignorance::with_ignorance;
use super::levels::{Vary, scaled};
use super::plan::{Judged, Plan};
use super::result::{PassChance, PassLevel, RiskReport, RunOffResult, SmallestPlan};
use super::search::{Found, Held, Side, smallest};
use crate::diag::{Diagnostic, Problem};
use crate::measure::Slice;
use crate::part::SECOND;
use crate::scenario::{self, MostBad, RunOffJams, RunOffSpec, Scenario};
use crate::statistics::CannotSay;
use crate::statistics::proportion::clopper_pearson;
use crate::study::{Crew, RunError, SlicedLine, Task, run_slices};

/// Longest slice, s: the grid of lengths that are looked at.
const SLICE_S: f64 = 900.0;

/// Agreed levels and the most risk of each side.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Risks {
    /// Factor of a line that has to pass.
    pub good: f64,
    /// Factor of a line that has to fail.
    pub bad: f64,
    /// Most chance that the good one fails.
    pub producer: f64,
    /// Most chance that the bad one passes.
    pub consumer: f64,
    /// Greatest length to look at, s.
    pub up_to_s: f64,
}

/// How to study a run-off.
#[derive(Debug, Clone, PartialEq)]
pub struct RunOffOptions {
    /// Runs at each level.
    pub replications: u64,
    /// Seed of all luck.
    pub seed: u64,
    /// Level of the intervals.
    pub level: f64,
    /// What the factors scale.
    pub vary: Vary,
    /// Factors of the operating characteristic.
    pub factors: Vec<f64>,
    /// Risks of both sides, if asked for.
    pub risks: Option<Risks>,
}

/// Why there is no result.
#[derive(Debug, Clone, PartialEq)]
pub enum RunOffError {
    /// What is to be varied cannot be.
    Vary(Problem),
    /// The file at a factor is not sound.
    Unsound {
        /// The factor.
        factor: f64,
        /// What is wrong with it.
        problem: String,
    },
    /// A run was worthless.
    Run(RunError),
}

impl std::fmt::Display for RunOffError {
    fn fmt(&self, f: &mut std::fmt::Formatter<'_>) -> std::fmt::Result {
        match self {
            RunOffError::Vary(problem) => {
                write!(f, "{}", problem.message)?;
                problem.help.iter().chain(&problem.expected).try_for_each(|more| write!(f, " ({more})"))
            }
            RunOffError::Unsound { factor, problem } => {
                write!(f, "with a factor of {factor} the file is not sound: {problem}")
            }
            RunOffError::Run(why) => write!(f, "{why}"),
        }
    }
}

impl std::error::Error for RunOffError {}

/// Studies the run-off of a scenario. None if it was cancelled.
///
/// # Errors
/// See [`RunOffError`].
///
/// # Panics
/// If `source` is not the text of a sound scenario, or a factor is not above zero.
pub fn run_off<C: Crew>(
    source: &str,
    spec: &RunOffSpec,
    options: &RunOffOptions,
    crew: &C,
    cancelled: &(dyn Fn() -> bool + Sync),
    progress: &mut dyn FnMut(usize, usize),
) -> Result<Option<RunOffResult>, RunOffError> {
    let Some(scenario) = scenario::read(source).scenario else { panic!("the scenario was checked") };
    let mut factors = options.factors.clone();
    factors.push(1.0);
    factors.extend(options.risks.iter().flat_map(|risks| [risks.good, risks.bad]));
    factors.sort_by(f64::total_cmp);
    factors.dedup();
    let grid = Grid::of(spec, options);
    let bench = Bench { source, scenario: &scenario, spec, options, grid: &grid };
    let mut done = 0;
    let mut heard = |n_lines: usize| {
        done += n_lines;
        progress(done, done.max(factors.len()));
    };
    let Some(sides) = bench.run(&factors, grid.n_plan, crew, cancelled, &mut heard)? else { return Ok(None) };
    let Some(risks) = bench.risks(&factors, &sides, crew, cancelled, &mut heard)? else { return Ok(None) };
    let now = Runs { spec, slice_ns: grid.slice_ns, n: grid.n_plan };
    let asked = (options.replications, options.seed, options.level);
    let given = with_ignorance(source, &scenario, &now, asked, crew, cancelled).map_err(RunOffError::Run)?;
    let Some(given) = given else { return Ok(None) };
    let found = report(scenario.title.as_deref(), spec, options, &grid, &factors, &sides, risks)
        .map_err(|why| RunOffError::Run(RunError::BadOptions(why)))?;
    Ok(Some(RunOffResult { with_ignorance: given, ..found }))
}

/// How time is cut.
struct Grid {
    slice_ns: u64,
    /// Slices of the plan itself.
    n_plan: usize,
    /// Slices that are simulated.
    n: usize,
}

impl Grid {
    fn of(spec: &RunOffSpec, options: &RunOffOptions) -> Self {
        // The plan is a whole number of slices.
        let n_plan = (spec.length_s / SLICE_S * (1.0 - 1e-12)).ceil().max(1.0) as usize;
        let slice_ns = (spec.length_s * SECOND as f64 / n_plan as f64).round() as u64;
        let up_to = options.risks.map_or(0.0, |risks| risks.up_to_s * SECOND as f64 / slice_ns as f64);
        Grid { slice_ns, n_plan, n: n_plan.max((up_to + 1e-9).floor() as usize) }
    }

    fn hours(&self, n: usize) -> f64 {
        self.slice_ns as f64 * n as f64 / 3.6e12
    }
}

/// Runs of a run-off: how they begin and how they are cut.
pub(super) struct Runs<'a> {
    pub(super) spec: &'a RunOffSpec,
    pub(super) slice_ns: u64,
    /// Slices.
    pub(super) n: usize,
}

impl Runs<'_> {
    /// The line that is run.
    pub(super) fn of(&self, mut scenario: Scenario) -> SlicedLine {
        scenario.plan.start = self.spec.start;
        SlicedLine::new(scenario, self.spec.jams, self.slice_ns, self.n)
    }
}

/// What all runs of a study have in common.
struct Bench<'a> {
    source: &'a str,
    scenario: &'a Scenario,
    spec: &'a RunOffSpec,
    options: &'a RunOffOptions,
    grid: &'a Grid,
}

impl Bench<'_> {
    /// The line at a level, in `n` slices.
    fn line(&self, factor: f64, n: usize) -> Result<SlicedLine, RunOffError> {
        let text =
            scaled(self.source, self.scenario, &self.options.vary, factor).map_err(RunOffError::Vary)?;
        let checked = scenario::read(&text);
        let unsound = |problems: &[Diagnostic]| RunOffError::Unsound {
            factor,
            problem: problems.first().map_or(String::new(), |problem| problem.message.clone()),
        };
        let scenario = checked.scenario.ok_or_else(|| unsound(&checked.problems))?;
        Ok(Runs { spec: self.spec, slice_ns: self.grid.slice_ns, n }.of(scenario))
    }

    /// Runs of `n` slices at each level. None if it was cancelled. `heard` is told when a level is done.
    fn run<C: Crew>(
        &self,
        factors: &[f64],
        n: usize,
        crew: &C,
        cancelled: &(dyn Fn() -> bool + Sync),
        heard: &mut dyn FnMut(usize),
    ) -> Result<Option<Vec<Side>>, RunOffError> {
        let lines: Vec<SlicedLine> =
            factors.iter().map(|factor| self.line(*factor, n)).collect::<Result<_, _>>()?;
        let runs = self.options.replications;
        let mut sides = vec![Side::default(); lines.len()];
        let tasks: Vec<Task> = (0..lines.len())
            .flat_map(|variant| (0..runs).map(move |number| Task { variant, number }))
            .collect();
        let done = run_slices(&lines, &tasks, self.options.seed, crew, cancelled, &mut |task, slices| {
            sides[task.variant].runs.push(slices.to_vec());
            if task.number + 1 == runs {
                heard(1);
            }
        })
        .map_err(RunOffError::Run)?;
        Ok((done == tasks.len()).then_some(sides))
    }

    /// Risks of both sides, if they are asked for: the runs at their levels are made longer, twice as long each time, until a plan
    /// surely holds both or the greatest length is reached. The outer None: cancelled.
    fn risks<C: Crew>(
        &self,
        factors: &[f64],
        sides: &[Side],
        crew: &C,
        cancelled: &(dyn Fn() -> bool + Sync),
        heard: &mut dyn FnMut(usize),
    ) -> Result<Option<Option<RiskReport>>, RunOffError> {
        let Some(risks) = &self.options.risks else { return Ok(Some(None)) };
        let plan = Plan::of(self.spec);
        let report = |sides: [&Side; 2]| {
            risk_report(risks, &plan, self.grid, self.options.level, sides)
                .map_err(|why| RunOffError::Run(RunError::BadOptions(why)))
        };
        let mut found = report([risks.good, risks.bad].map(|factor| &sides[place(factors, factor)]))?;
        let mut n = self.grid.n_plan;
        while found.smallest_sure.is_none() && n < self.grid.n {
            n = (2 * n).min(self.grid.n);
            let longer = self.run(&[risks.good, risks.bad], n, crew, cancelled, heard)?;
            let Some(longer) = longer else { return Ok(None) };
            found = report([&longer[0], &longer[1]])?;
        }
        Ok(Some(Some(found)))
    }
}

/// Where a factor stands among all.
fn place(factors: &[f64], factor: f64) -> usize {
    let place = factors.iter().position(|known| *known == factor);
    place.unwrap_or_else(|| panic!("every factor that is asked for was run: {factor}"))
}

fn chance(passed: u64, n: u64, plan: &Plan, level: f64) -> Result<PassChance, CannotSay> {
    let once = clopper_pearson(passed, n, level)?;
    Ok(PassChance {
        chance: plan.with_retries(once.share),
        low: plan.with_retries(once.low),
        high: plan.with_retries(once.high),
        passed,
        n,
    })
}

/// The chance of the contrary.
fn against(pass: PassChance) -> PassChance {
    PassChance { chance: 1.0 - pass.chance, low: 1.0 - pass.high, high: 1.0 - pass.low, ..pass }
}

fn level_report(
    factor: f64,
    side: &Side,
    plan: &Plan,
    grid: &Grid,
    level: f64,
) -> Result<PassLevel, CannotSay> {
    let length = grid.slice_ns * grid.n_plan as u64;
    let sums: Vec<Slice> = side
        .runs
        .iter()
        .map(|run| run[..grid.n_plan].iter().fold(Slice::default(), |sum, slice| sum.plus(slice)))
        .collect();
    let judged: Vec<Judged> = sums.iter().map(|run| plan.judge(run, length)).collect();
    let n = sums.len() as f64;
    let share = |kept: fn(&Judged) -> bool| judged.iter().filter(|judged| kept(judged)).count() as f64 / n;
    let mean = |of: &dyn Fn(&Slice) -> f64| sums.iter().map(of).sum::<f64>() / n;
    let passed = judged.iter().filter(|judged| judged.passed()).count() as u64;
    Ok(PassLevel {
        factor,
        pass: chance(passed, sums.len() as u64, plan, level)?,
        mean_rate: mean(&|run| plan.rate(run, length)),
        mean_jams: mean(&|run| run.jams as f64),
        mean_bad: mean(&|run| run.bad as f64),
        rate_kept: plan.least_rate.map(|_| share(|judged| judged.rate)),
        jams_kept: plan.most_jams.map(|_| share(|judged| judged.jams)),
        bad_kept: plan.most_bad.map(|_| share(|judged| judged.bad)),
        stops_kept: plan.most_stops.map(|_| share(|judged| judged.stops)),
    })
}

/// Risks, from runs of the good and of the bad line that are as long as the plan at least.
fn risk_report(
    risks: &Risks,
    plan: &Plan,
    grid: &Grid,
    level: f64,
    [good, bad]: [&Side; 2],
) -> Result<RiskReport, CannotSay> {
    let n = good.runs.len() as u64;
    let shown = |found: Found| {
        Ok(SmallestPlan {
            length_h: grid.hours(found.n),
            most_jams: found.most_jams,
            producer: against(chance(found.good_passed, n, plan, level)?),
            consumer: chance(found.bad_passed, n, plan, level)?,
        })
    };
    let holding = |error: Option<f64>| {
        let held = Held { producer: risks.producer, consumer: risks.consumer, error, lengths: grid.n as u64 };
        smallest(plan, good, bad, grid.slice_ns, &held)?.map(shown).transpose()
    };
    Ok(RiskReport {
        good: risks.good,
        bad: risks.bad,
        producer: against(level_report(risks.good, good, plan, grid, level)?.pass),
        consumer: level_report(risks.bad, bad, plan, grid, level)?.pass,
        producer_most: risks.producer,
        consumer_most: risks.consumer,
        smallest: holding(None)?,
        smallest_sure: holding(Some(1.0 - level))?,
        up_to_h: grid.hours(grid.n),
    })
}

fn report(
    title: Option<&str>,
    spec: &RunOffSpec,
    options: &RunOffOptions,
    grid: &Grid,
    factors: &[f64],
    sides: &[Side],
    risks: Option<RiskReport>,
) -> Result<RunOffResult, CannotSay> {
    let plan = Plan::of(spec);
    let levels: Result<Vec<PassLevel>, CannotSay> = factors
        .iter()
        .zip(sides)
        .map(|(factor, side)| level_report(*factor, side, &plan, grid, options.level))
        .collect();
    let levels = levels?;
    Ok(RunOffResult {
        title: title.map(str::to_owned),
        length_h: grid.hours(grid.n_plan),
        least_rate: plan.least_rate,
        net: plan.net,
        most_jams: plan.most_jams,
        jams: match spec.jams {
            RunOffJams::All => "all",
            RunOffJams::Attended => "attended",
            RunOffJams::OfGoodParts => "of good parts",
        }
        .to_owned(),
        most_bad: plan.most_bad.map(|most| match most {
            MostBad::Count(n) => n.to_string(),
            MostBad::Share(share) => format!("{} %", 100.0 * share),
        }),
        most_stops: plan.most_stops,
        retries: plan.retries,
        replications: options.replications,
        seed: options.seed,
        level: options.level,
        varied: match &options.vary {
            Vary::Jams => "how often jams come".to_owned(),
            Vary::Addresses(addresses) => {
                addresses.iter().map(|address| address.text().to_owned()).collect::<Vec<_>>().join(", ")
            }
        },
        now: levels[place(factors, 1.0)].clone(),
        with_ignorance: None,
        characteristic: levels,
        risks,
    })
}
