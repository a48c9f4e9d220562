//! What further trials would do to the assurance: pre-posterior analysis by simulation (Raiffa & Schlaifer 1961).
//!
//! Each outer draw in turn is taken as the truth. Results of further trials are drawn from it, the other draws are
//! weighed by the likelihood of these results (importance weights on draws that are there already: Menzies 2016), and
//! the assurance is what they then say. No line is simulated for it. A draw does not weigh in on its own results, which
//! would make the trials look more telling than they are. Where the results leave fewer draws than [`LEAST_DRAWS`] to
//! speak of (effective number, Kish 1965) nothing is said. Pure numbers but for the drawing of results.

use super::outer::Known;
use super::posterior::{Drawn, Trials, further, ln_likelihood};
use crate::kernel::Stream;
use crate::study::result::{FurtherReport, FurtherStep};
use crate::text::evidence::Seen;

/// Multiples of the trials that there are.
const TIMES: [f64; 7] = [0.5, 1.0, 2.0, 4.0, 8.0, 16.0, 32.0];
/// Fewest draws, in effect, from which an assurance after further trials is told.
const LEAST_DRAWS: f64 = 8.0;
/// Chance to decide from which on trials are said to decide.
const LIKELY: f64 = 0.5;

/// What further trials of each input alone, and of all by the same factor, would do: most telling first, all last.
///
/// `draws`: what was drawn, draw by draw; `keeps`: for each draw the chance that its line keeps the promise; `demanded`:
/// assurance that is demanded. Empty where there is no doubt.
pub fn reports(
    known: &[Known],
    draws: &[Vec<Drawn>],
    keeps: &[f64],
    demanded: f64,
    seed: u64,
) -> Vec<FurtherReport> {
    let now = keeps.iter().sum::<f64>() / keeps.len().max(1) as f64;
    if draws.len() < 3 || now * (1.0 - now) < 1e-4 {
        return Vec::new();
    }
    let report = |name: Option<&Known>, inputs: &[usize]| {
        let mut stream = Stream::new(seed, 0, name.map_or("", |known| &known.name), "further trials");
        let steps = TIMES.iter().map_while(|times| {
            step(known, draws, keeps, demanded, &Trial { inputs, times: *times }, &mut stream)
        });
        let mut steps: Vec<FurtherStep> = steps.collect();
        for step in &mut steps {
            step.trials = name.map(|known| step.times * size(&known.seen));
        }
        let again = steps.iter().find(|step| step.times == 1.0);
        FurtherReport {
            input: name.map(|known| known.name.clone()),
            doubt_taken: again.map_or(0.0, |step| (1.0 - step.doubt_left).max(0.0)),
            trials_to_decide: steps
                .iter()
                .find(|step| step.chance_to_decide >= LIKELY)
                .and_then(|step| step.trials)
                .map(|trials| trials.ceil() as u64),
            steps,
        }
    };
    let mut all: Vec<FurtherReport> =
        known.iter().enumerate().map(|(n, known)| report(Some(known), &[n])).collect();
    // Stable: equal ones stay in the order of the file.
    all.sort_by(|a, b| b.doubt_taken.total_cmp(&a.doubt_taken));
    if known.len() > 1 {
        let every: Vec<usize> = (0..known.len()).collect();
        all.push(report(None, &every));
    }
    all
}

/// What trials are counted in: trials, values, or hours of watching for events.
fn size(seen: &Seen) -> f64 {
    match seen {
        Seen::Chance { of, .. } => *of as f64,
        Seen::Shares { rows, .. } => rows.iter().map(|(_, count)| *count as f64).sum(),
        Seen::Events { time_s, .. } => time_s / 3600.0,
        Seen::Values { values, .. } => values.len() as f64,
    }
}

/// Further trials: of which inputs, and how many times as many as there were.
struct Trial<'a> {
    inputs: &'a [usize],
    times: f64,
}

fn step(
    known: &[Known],
    draws: &[Vec<Drawn>],
    keeps: &[f64],
    demanded: f64,
    trial: &Trial<'_>,
    stream: &mut Stream,
) -> Option<FurtherStep> {
    let (mut proved, mut disproved, mut doubt, mut speak) = (0_u64, 0_u64, 0.0, 0.0);
    let mut logs = vec![0.0; draws.len()];
    for truth in 0..draws.len() {
        logs.fill(0.0);
        for &input in trial.inputs {
            let seen = &known[input].seen;
            let results: Trials = further(seen, &draws[truth][input], trial.times, stream);
            for (log, draw) in logs.iter_mut().zip(draws) {
                *log += ln_likelihood(&results, &draw[input]);
            }
        }
        logs[truth] = f64::NEG_INFINITY;
        let best = logs.iter().copied().fold(f64::NEG_INFINITY, f64::max);
        if best == f64::NEG_INFINITY {
            return None;
        }
        let (mut sum, mut squares, mut kept) = (0.0, 0.0, 0.0);
        for (log, keep) in logs.iter().zip(keeps) {
            let weight = libm::exp(log - best);
            sum += weight;
            squares += weight * weight;
            kept += weight * keep;
        }
        let assurance = kept / sum;
        speak += sum * sum / squares;
        proved += u64::from(assurance >= demanded);
        disproved += u64::from(assurance <= 1.0 - demanded);
        doubt += assurance * (1.0 - assurance);
    }
    let count = draws.len() as f64;
    if speak / count < LEAST_DRAWS {
        return None;
    }
    let now = keeps.iter().sum::<f64>() / count;
    Some(FurtherStep {
        times: trial.times,
        trials: None,
        chance_to_decide: (proved + disproved) as f64 / count,
        chance_to_prove: proved as f64 / count,
        doubt_left: doubt / count / (now * (1.0 - now)),
    })
}
