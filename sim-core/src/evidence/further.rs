//! What further trials would do to the assurance: pre-posterior analysis by simulation (Raiffa & Schlaifer 1961).
//!
//! Each outer draw in turn is taken as the truth. Results of further trials are drawn from it, the other draws are
//! weighed by the likelihood of these results (importance weights on draws that are there already: Menzies 2016), and
//! the assurance is what they then say. No line is simulated for it. A draw does not weigh in on its own results, which
//! would make the trials look more telling than they are. Where the results leave fewer draws than `LEAST_DRAWS` to
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

#[cfg(test)]
mod tests {
    use super::super::outer::known;
    use super::super::posterior::draw;
    use super::*;
    use crate::scenario;

    /// Two inputs: the promise hangs on the first alone, and in full: it is kept if that chance is below 0.1.
    fn study(seen: u64, of: u64) -> (Vec<FurtherReport>, f64) {
        let line = format!(
            r#"{{"feedproof": 1,
            "parts": {{"pin": {{"conditions": {{"bent": "{seen} of {of}", "short": "5 of 50"}}}}}},
            "stations": [{{"id": "A", "type": "work", "endless": true, "time": "1 s"}}]}}"#
        );
        let known = known(&scenario::read(&line).scenario.expect("a sound line"));
        let mut stream = Stream::new(1, 0, "test", "draws");
        let draws: Vec<Vec<Drawn>> =
            (0..400).map(|_| known.iter().map(|known| draw(&known.seen, &mut stream)).collect()).collect();
        let keeps: Vec<f64> = draws
            .iter()
            .map(|draw| f64::from(u8::from(matches!(draw[0], Drawn::Chance(p) if p < 0.1))))
            .collect();
        let assurance = keeps.iter().sum::<f64>() / 400.0;
        (reports(&known, &draws, &keeps, 0.95, 1), assurance)
    }

    #[test]
    fn the_input_that_matters_is_named_and_more_trials_tell_more() {
        let (all, _) = study(4, 50);
        let names: Vec<Option<&str>> = all.iter().map(|report| report.input.as_deref()).collect();
        assert_eq!(names, [Some("parts.pin.conditions.bent"), Some("parts.pin.conditions.short"), None]);
        let (bent, short) = (&all[0], &all[1]);
        assert!(bent.doubt_taken > 0.25 && short.doubt_taken < 0.05, "{all:?}");
        let left: Vec<f64> = bent.steps.iter().map(|step| step.doubt_left).collect();
        assert!(left.windows(2).all(|pair| pair[1] < pair[0] + 0.03), "{left:?}");
        assert!(bent.trials_to_decide.is_some_and(|n| (50..=1600).contains(&n)), "{bent:?}");
        assert_eq!(short.trials_to_decide, None, "{short:?}");
        assert_eq!(bent.steps[1].trials, Some(50.0));
    }

    /// On the mean further results do not change the assurance, so the chance to prove is bounded by Markov's inequality:
    /// chance to prove x demanded assurance <= assurance.
    #[test]
    fn the_chance_to_prove_is_bounded_by_the_assurance() {
        for (seen, of) in [(4, 50), (12, 100), (2, 50)] {
            let (reports, assurance) = study(seen, of);
            assert!(!reports.is_empty());
            for report in reports {
                for step in &report.steps {
                    assert!(step.chance_to_prove <= step.chance_to_decide);
                    // 400 draws: some 0.02 of error.
                    assert!(step.chance_to_prove * 0.95 <= assurance + 0.09, "{step:?} of {assurance}");
                }
            }
        }
    }

    #[test]
    fn without_doubt_there_is_nothing_to_find_out() {
        assert!(study(0, 1000).0.is_empty());
    }
}
