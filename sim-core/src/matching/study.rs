//! The comparison itself.
//!
//! **Outside or not**: the place of each output of the log among the simulated ones gives its chance (Besag & Diggle 1977: the log counts
//! as one of them); all together by Holm (1979). **Which inputs**: shifts are simulated with one input changed, then with two and
//! more at once, guided by what the fewer ones have told; see [`super::sets`] and [`super::explain`]. In every shift what is known
//! from evidence only is drawn anew, but for inputs that are changed: a factor is on what the file says.

use super::candidates::candidates;
use super::explain::{Target, Tried, explain};
use super::outputs::{Interval, Outputs, Sight, outputs};
use super::result::{MatchResult, OutputReport};
use super::sets::{Proposal, before};
use crate::diag::Problem;
use crate::evidence::outer::outer;
use crate::evidence::{Known, known};
use crate::kernel::Stream;
use crate::part::SECOND;
use crate::run_off::{Vary, scaled};
use crate::scenario::{self, RunOffJams, Scenario};
use crate::statistics::order::percentile_point;
use crate::study::{Crew, RunError, SlicedLine};
use crate::vary::Address;

/// Rounds in which the sets of one size are drawn.
const ROUNDS: u64 = 5;

/// How to compare.
#[derive(Debug, Clone, PartialEq)]
pub struct MatchOptions {
    /// Length of an interval of the log, s.
    pub interval_s: f64,
    /// Shifts of the file as it stands.
    pub replications: u64,
    /// Shifts for each input that is tried, and as many in all again for each size of sets; 0: no input is tried.
    pub draws: u64,
    /// Most inputs that differ at once, 1 at least.
    pub together: usize,
    /// Largest factor, above 1; the smallest is its inverse.
    pub widest: f64,
    /// Seed of all luck.
    pub seed: u64,
    /// Family-wise error of calling an output outside.
    pub error: f64,
    /// Inputs to try by address; empty: see [`candidates`].
    pub inputs: Vec<Address>,
}

/// Why there is no comparison.
#[derive(Debug, Clone, PartialEq)]
pub enum MatchError {
    /// An input that cannot be tried.
    Input(Problem),
    /// The log is too short, or longer than a plan may be.
    Length(usize),
    /// A shift of the file as it stands was worthless.
    Run(RunError),
}

impl std::fmt::Display for MatchError {
    fn fmt(&self, f: &mut std::fmt::Formatter<'_>) -> std::fmt::Result {
        match self {
            MatchError::Input(problem) => {
                write!(f, "{}", problem.message)?;
                problem.help.iter().chain(&problem.expected).try_for_each(|more| write!(f, " ({more})"))
            }
            MatchError::Length(n) => {
                write!(
                    f,
                    "the log has {n} intervals: 4 at least are needed, and 12 days at most are simulated"
                )
            }
            MatchError::Run(why) => write!(f, "{why}"),
        }
    }
}

impl std::error::Error for MatchError {}

/// A shift to simulate.
struct Sheet {
    /// Which inputs, in rising order, with the places of their factors; none: the file as it stands.
    places: Vec<(usize, f64)>,
    /// What it counts.
    weight: f64,
    number: u64,
    found: Option<Result<Outputs, MatchError>>,
}

impl Sheet {
    fn new(places: Vec<(usize, f64)>, weight: f64, number: u64) -> Self {
        Sheet { places, weight, number, found: None }
    }

    /// What was tried; none if the factors made the line worthless, which explains nothing.
    fn tried(self) -> Option<Tried> {
        Some(Tried { places: self.places, outputs: self.found?.ok()?, weight: self.weight })
    }
}

/// Intervals of one simulated shift of a scenario: an example of a log.
///
/// # Errors
/// What made the shift worthless.
pub fn intervals_of_model(
    scenario: Scenario,
    n: usize,
    interval_s: f64,
    seed: u64,
    number: u64,
) -> Result<Vec<Interval>, RunError> {
    let slice_ns = (interval_s * SECOND as f64).round() as u64;
    let line = SlicedLine::new(scenario, RunOffJams::All, slice_ns, n);
    let slices = line.shift(seed, number)?;
    Ok(slices.iter().map(|slice| Interval::of(slice, slice_ns, line.n_points())).collect())
}

/// Compares a log with the model of a file. None if it was cancelled.
///
/// # Errors
/// See [`MatchError`].
///
/// # Panics
/// If `source` is not the text of a sound scenario.
pub fn match_log<C: Crew>(
    source: &str,
    log: &[Interval],
    options: &MatchOptions,
    crew: &C,
    cancelled: &(dyn Fn() -> bool + Sync),
    progress: &mut dyn FnMut(usize, usize),
) -> Result<Option<MatchResult>, MatchError> {
    let Some(scenario) = scenario::read(source).scenario else { panic!("the scenario was checked") };
    const LONGEST_S: f64 = 12.0 * 86_400.0;
    if log.len() < 4 || log.len() as f64 * options.interval_s > LONGEST_S {
        return Err(MatchError::Length(log.len()));
    }
    let inputs = inputs(source, &scenario, options)?;
    let bench = Bench { source, known: known(&scenario), inputs: &inputs, n: log.len(), options };
    let sizes = options.together.min(inputs.len());
    let total = options.replications as usize + sizes * inputs.len() * options.draws as usize;
    let mut count = 0;
    let mut run = |sheets: &mut [Sheet]| {
        let all = bench.run(sheets, crew, cancelled, &mut |done| progress(count + done, total));
        count += sheets.len();
        all
    };
    let mut plain = bench.plain(sizes);
    if !run(&mut plain) {
        return Ok(None);
    }
    let own: Vec<Outputs> = plain.into_iter().filter_map(|sheet| sheet.found).collect::<Result<_, _>>()?;
    let target = Target::of(outputs(log, options.interval_s), &own);
    let weight = bench.weight_of_file(sizes);
    let mut tried: Vec<Tried> =
        own.iter().map(|outputs| Tried { places: Vec::new(), outputs: *outputs, weight }).collect();
    for size in 1..=sizes {
        let (smaller, mut proposals) = (tried.len(), Vec::new());
        for round in 0..ROUNDS {
            let near = if round == 0 { Vec::new() } else { target.near_changes(&tried) };
            let proposal = Proposal::of(&near, inputs.len());
            let mut sheets = bench.sets(size, round, &proposal);
            if !run(&mut sheets) {
                return Ok(None);
            }
            tried.extend(sheets.into_iter().filter_map(Sheet::tried));
            proposals.push(proposal);
            bench.weigh(&mut tried[smaller..], size, sizes, &proposals);
        }
    }
    let mut reports = output_reports(&target.log, &own);
    holm(&mut reports, options.error);
    let (explanations, combinations) = explain(&target, &tried, &inputs, &|place| bench.factor(place));
    Ok(Some(MatchResult {
        title: scenario.title.clone(),
        n_intervals: log.len() as u64,
        interval_s: options.interval_s,
        replications: options.replications,
        pieces: bench.known.len() as u64,
        draws: options.draws,
        together: sizes as u64,
        widest: options.widest,
        seed: options.seed,
        error: options.error,
        outputs: reports,
        explanations,
        combinations,
        n_tried: inputs.len() as u64,
        reach: (!inputs.is_empty()).then(|| target.reach(&tried)),
    }))
}

/// What all shifts of a comparison have in common.
struct Bench<'a> {
    source: &'a str,
    /// What is known from evidence only.
    known: Vec<Known>,
    inputs: &'a [Address],
    /// Intervals of the log.
    n: usize,
    options: &'a MatchOptions,
}

impl Bench<'_> {
    /// What a shift of the file as it stands counts, beside sets of up to `sizes` inputs.
    fn weight_of_file(&self, sizes: usize) -> f64 {
        before(self.inputs.len(), 0, sizes) / self.options.replications as f64
    }

    /// Shifts of the file as it stands.
    fn plain(&self, sizes: usize) -> Vec<Sheet> {
        let weight = self.weight_of_file(sizes);
        (0..self.options.replications).map(|number| Sheet::new(Vec::new(), weight, number)).collect()
    }

    /// A factor at `place` of the way from the smallest to the largest, evenly over logarithms.
    fn factor(&self, place: f64) -> f64 {
        libm::exp((2.0 * place - 1.0) * libm::log(self.options.widest))
    }

    /// Shifts of one round with `size` inputs changed at once. Their numbers are those of no other shift: an explanation has its own
    /// luck.
    fn sets(&self, size: usize, round: u64, proposal: &Proposal) -> Vec<Sheet> {
        let count = self.options.draws * self.inputs.len() as u64;
        let first = self.options.replications + count * (size as u64 - 1);
        let mut luck =
            Stream::new(self.options.seed, size as u64 * ROUNDS + round, "sets of inputs", "factor");
        (count * round / ROUNDS..count * (round + 1) / ROUNDS)
            .map(|draw| Sheet::new(proposal.choose(size, &mut luck), 0.0, first + draw))
            .collect()
    }

    /// What shifts with `size` inputs changed count, once these rounds have been drawn.
    fn weigh(&self, tried: &mut [Tried], size: usize, sizes: usize, proposals: &[Proposal]) {
        // All that were drawn, also those whose factors made the line worthless.
        let drawn = self.options.draws * self.inputs.len() as u64 * proposals.len() as u64 / ROUNDS;
        let before = before(self.inputs.len(), size, sizes);
        for one in tried {
            let density: f64 = proposals.iter().map(|proposal| proposal.density(&one.places)).sum();
            one.weight = before * proposals.len() as f64 / (drawn as f64 * density);
        }
    }

    /// Simulates; false if it was cancelled.
    fn run<C: Crew>(
        &self,
        sheets: &mut [Sheet],
        crew: &C,
        cancelled: &(dyn Fn() -> bool + Sync),
        progress: &mut dyn FnMut(usize),
    ) -> bool {
        let mut desks = vec![(); crew.size()];
        let work = |_: &mut (), sheet: &mut Sheet| sheet.found = self.outputs_of(sheet).transpose();
        let mut done = 0;
        // In batches, so that somebody can see how far it has come.
        for batch in sheets.chunks_mut(64 * crew.size()) {
            let n_done = crew.fill(&mut desks, batch, cancelled, &work);
            done += n_done;
            progress(done);
            if n_done < batch.len() {
                return false;
            }
        }
        true
    }

    /// Outputs of a shift; none if its file is not sound.
    fn outputs_of(&self, sheet: &Sheet) -> Result<Option<Outputs>, MatchError> {
        let path = |input: usize| self.inputs[input].text();
        let is_drawn = |known: &&Known| {
            !known.paths.iter().any(|known| sheet.places.iter().any(|(input, _)| path(*input) == known))
        };
        let drawn: Vec<Known> = self.known.iter().filter(is_drawn).cloned().collect();
        let seed = self.options.seed;
        let drawn = outer(self.source, &drawn, seed, sheet.number).map_err(MatchError::Run)?;
        let (mut text, mut scenario) = (drawn.text, drawn.scenario);
        for (input, place) in &sheet.places {
            let vary = Vary::Addresses(vec![self.inputs[*input].clone()]);
            text = scaled(&text, &scenario, &vary, self.factor(*place)).map_err(MatchError::Input)?;
            let Some(changed) = scenario::read(&text).scenario else { return Ok(None) };
            scenario = changed;
        }
        let series = intervals_of_model(scenario, self.n, self.options.interval_s, seed, sheet.number);
        series.map(|series| Some(outputs(&series, self.options.interval_s))).map_err(MatchError::Run)
    }
}

fn inputs(source: &str, scenario: &Scenario, options: &MatchOptions) -> Result<Vec<Address>, MatchError> {
    if options.draws == 0 {
        return Ok(Vec::new());
    }
    let read = |path: &String| Address::read(path).map_err(MatchError::Input);
    let all: Vec<Address> = if options.inputs.is_empty() {
        candidates(source, scenario).iter().map(read).collect::<Result<_, _>>()?
    } else {
        options.inputs.clone()
    };
    for address in &all {
        // Tried once, so that a name that leads nowhere is told before anything runs.
        scaled(source, scenario, &Vary::Addresses(vec![address.clone()]), 1.0).map_err(MatchError::Input)?;
    }
    Ok(all)
}

fn output_reports(seen: &Outputs, own: &[Outputs]) -> Vec<OutputReport> {
    let mut reports = Vec::new();
    for (n, output) in Sight::ALL.into_iter().enumerate() {
        let Some(log) = seen[n] else { continue };
        let mut values: Vec<f64> = own.iter().filter_map(|outputs| outputs[n]).collect();
        values.sort_by(f64::total_cmp);
        let (Ok(low), Ok(high)) = (percentile_point(&values, 0.025), percentile_point(&values, 0.975)) else {
            continue;
        };
        let count = values.len() as f64;
        let below = values.iter().filter(|value| **value <= log).count() as f64;
        let above = values.iter().filter(|value| **value >= log).count() as f64;
        reports.push(OutputReport {
            output,
            log,
            mean: values.iter().sum::<f64>() / count,
            low,
            high,
            chance: (2.0 * (below.min(above) + 1.0) / (count + 1.0)).min(1.0),
            joint_chance: 1.0,
            is_outside: false,
        });
    }
    reports
}

/// Chances of a family of questions (Holm 1979): the smallest times their number, the next times one less, and so on, rising.
fn holm(reports: &mut [OutputReport], error: f64) {
    let mut order: Vec<usize> = (0..reports.len()).collect();
    order.sort_by(|a, b| reports[*a].chance.total_cmp(&reports[*b].chance));
    let mut largest: f64 = 0.0;
    for (rank, ix) in order.iter().enumerate() {
        largest = largest.max(reports[*ix].chance * (reports.len() - rank) as f64).min(1.0);
        reports[*ix].joint_chance = largest;
        reports[*ix].is_outside = largest <= error;
    }
}
