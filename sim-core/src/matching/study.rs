//! The comparison itself.
//!
//! **Outside or not**: the place of each output of the log among the simulated ones gives its chance (Besag & Diggle 1977: the log counts
//! as one of them); all together by Holm (1979). **Which input**: shifts are simulated with one input at a time multiplied by a
//! factor, evenly spread over logarithms, and with the file as it stands; those nearest to the log are kept, and the share of each
//! input among them is its posterior weight (rejection with a choice of models: Grelaud et al. 2009), from equal weights before.
//! Distances are in standard deviations of the file's own shifts.

use super::candidates::candidates;
use super::outputs::{Interval, Outputs, Sight, outputs};
use super::result::{Explanation, MatchResult, OutputReport};
use crate::diag::Problem;
use crate::kernel::Stream;
use crate::part::SECOND;
use crate::run_off::{Vary, scaled};
use crate::scenario::{self, RunOffJams, Scenario};
use crate::statistics::order::percentile_point;
use crate::study::{Crew, RunError, SlicedLine};
use crate::vary::Address;

/// Fewest shifts that are kept as nearest.
const KEPT_MIN: usize = 25;
/// Share of shifts that are kept as nearest.
const KEPT_SHARE: f64 = 0.02;

/// How to compare.
#[derive(Debug, Clone, PartialEq)]
pub struct MatchOptions {
    /// Length of an interval of the log, s.
    pub interval_s: f64,
    /// Shifts of the file as it stands.
    pub replications: u64,
    /// Shifts for each input that is tried; 0: no input is tried.
    pub draws: u64,
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
    /// Which input, and by what factor; none: the file as it stands.
    change: Option<(usize, f64)>,
    number: u64,
    found: Option<Result<Outputs, MatchError>>,
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

fn outputs_of(
    text: &str,
    n: usize,
    options: &MatchOptions,
    number: u64,
) -> Result<Option<Outputs>, RunError> {
    let Some(scenario) = scenario::read(text).scenario else { return Ok(None) };
    let series = intervals_of_model(scenario, n, options.interval_s, options.seed, number)?;
    Ok(Some(outputs(&series, options.interval_s)))
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
    let mut sheets = sheets(&inputs, options);
    let mut desks = vec![(); crew.size()];
    let work = |_: &mut (), sheet: &mut Sheet| {
        let text = match sheet.change {
            None => Ok(source.to_owned()),
            Some((input, factor)) => {
                scaled(source, &scenario, &Vary::Addresses(vec![inputs[input].clone()]), factor)
            }
        };
        sheet.found = match text {
            Err(problem) => Some(Err(MatchError::Input(problem))),
            Ok(text) => {
                outputs_of(&text, log.len(), options, sheet.number).map_err(MatchError::Run).transpose()
            }
        };
    };
    let total = sheets.len();
    let mut done = 0;
    // In batches, so that somebody can see how far it has come.
    for batch in sheets.chunks_mut(64 * crew.size()) {
        let n_done = crew.fill(&mut desks, batch, cancelled, &work);
        done += n_done;
        progress(done, total);
        if n_done < batch.len() {
            return Ok(None);
        }
    }
    let seen = outputs(log, options.interval_s);
    judge(scenario.title.as_deref(), log.len(), &seen, sheets, &inputs, options).map(Some)
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

/// Shifts of the file, then of each input with factors spread evenly over logarithms, one in each equal stretch.
fn sheets(inputs: &[Address], options: &MatchOptions) -> Vec<Sheet> {
    let plain = (0..options.replications).map(|number| Sheet { change: None, number, found: None });
    let mut sheets: Vec<Sheet> = plain.collect();
    for (input, address) in inputs.iter().enumerate() {
        let mut luck = Stream::new(options.seed, 0, address.text(), "factor");
        for draw in 0..options.draws {
            let place = (draw as f64 + luck.unit()) / options.draws as f64;
            let factor = libm::exp((2.0 * place - 1.0) * libm::log(options.widest));
            // Numbers that no shift of the file itself has: an explanation has its own luck.
            let number = options.replications + input as u64 * options.draws + draw;
            sheets.push(Sheet { change: Some((input, factor)), number, found: None });
        }
    }
    sheets
}

fn judge(
    title: Option<&str>,
    n_intervals: usize,
    seen: &Outputs,
    sheets: Vec<Sheet>,
    inputs: &[Address],
    options: &MatchOptions,
) -> Result<MatchResult, MatchError> {
    let mut own: Vec<Outputs> = Vec::new();
    let mut varied: Vec<(usize, f64, Outputs)> = Vec::new();
    for sheet in sheets {
        match (sheet.change, sheet.found) {
            (None, Some(found)) => own.push(found?),
            // A line that a factor makes worthless explains nothing.
            (Some((input, factor)), Some(Ok(found))) => varied.push((input, factor, found)),
            (Some(_), Some(Err(_))) | (_, None) => {}
        }
    }
    let mut reports = output_reports(seen, &own);
    holm(&mut reports, options.error);
    Ok(MatchResult {
        title: title.map(str::to_owned),
        n_intervals: n_intervals as u64,
        interval_s: options.interval_s,
        replications: options.replications,
        draws: options.draws,
        widest: options.widest,
        seed: options.seed,
        error: options.error,
        outputs: reports,
        explanations: explain(seen, &own, &varied, inputs, options),
        n_tried: inputs.len() as u64,
    })
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

fn explain(
    seen: &Outputs,
    own: &[Outputs],
    varied: &[(usize, f64, Outputs)],
    inputs: &[Address],
    options: &MatchOptions,
) -> Vec<Explanation> {
    if inputs.is_empty() {
        return Vec::new();
    }
    let scales = scales(own);
    let distance = |outputs: &Outputs| -> f64 {
        let one = |n: usize| match (seen[n], outputs[n]) {
            (Some(log), Some(value)) => (log - value) * (log - value) / (scales[n] * scales[n]),
            (Some(_), None) | (None, _) => 0.0,
        };
        (0..seen.len()).map(one).sum()
    };
    // As many shifts of the file itself as of each input: equal weights before.
    let of_file = own.iter().take(options.draws as usize).map(|outputs| (distance(outputs), None, 1.0));
    let of_inputs = varied.iter().map(|(input, factor, outputs)| (distance(outputs), Some(*input), *factor));
    let mut all: Vec<(f64, Option<usize>, f64)> = of_file.chain(of_inputs).collect();
    all.sort_by(|a, b| a.0.total_cmp(&b.0));
    let kept = ((all.len() as f64 * KEPT_SHARE) as usize).max(KEPT_MIN).min(all.len());
    all.truncate(kept);
    let mut found: Vec<Explanation> = std::iter::once(None)
        .chain((0..inputs.len()).map(Some))
        .filter_map(|who| {
            let mut factors: Vec<f64> =
                all.iter().filter(|(_, input, _)| *input == who).map(|(_, _, factor)| *factor).collect();
            factors.sort_by(f64::total_cmp);
            let at = |share| who.and_then(|_| percentile_point(&factors, share).ok());
            (!factors.is_empty()).then(|| Explanation {
                path: who.map(|input| inputs[input].text().to_owned()),
                weight: factors.len() as f64 / kept as f64,
                factor: at(0.5),
                low: at(0.05),
                high: at(0.95),
                accepted: factors.len() as u64,
            })
        })
        .collect();
    found.sort_by(|a, b| b.weight.total_cmp(&a.weight));
    found
}

/// Standard deviations of the outputs of the file's own shifts; one where they do not vary.
fn scales(own: &[Outputs]) -> [f64; 6] {
    let mut scales = [1.0; 6];
    for (n, scale) in scales.iter_mut().enumerate() {
        let values: Vec<f64> = own.iter().filter_map(|outputs| outputs[n]).collect();
        let count = values.len() as f64;
        let mean = values.iter().sum::<f64>() / count;
        let square = values.iter().map(|value| (value - mean) * (value - mean)).sum::<f64>() / count;
        if square > 0.0 {
            *scale = square.sqrt();
        }
    }
    scales
}
