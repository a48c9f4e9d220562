//! Limits, ranked: how much the rate gains if each number that may limit it is relaxed a little, one at a time.
//!
//! Each variation runs the same shifts as the file itself, with common random numbers: streams belong to a replication, a
//! station's name and a purpose, and are drawn by inversion, so that what a change does not touch sees the same luck.
//! The gain is the mean of the paired differences. Its interval is simultaneous over all variations (Bonferroni): all of
//! them hold together with the stated level. A warm-up that is to be found is found for the file and used for all.

use super::crew::Crew;
use super::result::Figure;
use super::run::RunError;
use super::variant::{Task, Variant, run_tasks, settle_warm_up};
use crate::scenario::{self, Scenario};
use crate::statistics::{CannotSay, Moments};
use crate::vary::{Change, knobs};
use schemars::JsonSchema;
use serde::Serialize;

/// What relaxing one number does.
#[derive(Debug, Clone, PartialEq, Serialize, JsonSchema)]
pub struct LimitReport {
    /// Its path in the file.
    pub path: String,
    /// What is written there.
    pub from: String,
    /// What was tried instead.
    pub to: String,
    /// The change in words, such as `x 0.9`.
    pub change: String,
    /// Gain of the mean rate, good parts per minute, with its simultaneous interval.
    pub gain: Figure,
}

/// All of them.
#[derive(Debug, Clone, PartialEq, Serialize, JsonSchema)]
pub struct LimitsResult {
    /// Title of the scenario.
    pub title: Option<String>,
    /// Shifts that each variation ran.
    pub replications: u64,
    /// Seed of all luck.
    pub seed: u64,
    /// Joint level of the intervals of all gains.
    pub level: f64,
    /// Good parts per minute of the file itself.
    pub rate: Figure,
    /// Largest gain first.
    pub limits: Vec<LimitReport>,
    /// Paths whose variation is no sound scenario, such as one more place than equal stations allow.
    pub not_tried: Vec<String>,
    /// Paths of numbers that could not be moved: what is nothing already, or a chance of something good that is one.
    pub unmoved: Vec<String>,
}

/// How to look for limits.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct LimitsOptions {
    /// Shifts for each variation, 2 at least.
    pub replications: u64,
    /// Seed of all luck.
    pub seed: u64,
    /// Joint level of the intervals.
    pub level: f64,
}

/// What was tried of one variation.
#[derive(Default)]
struct Trial {
    path: String,
    from: String,
    to: String,
    change: Option<Change>,
    rates: Vec<f64>,
    fault: Option<RunError>,
}

/// Ranks the limits of the line of a scenario file. None if it was cancelled.
///
/// `progress` hears how many of how many variations are done.
///
/// # Errors
/// Options that cannot be used, and what stops a run of the file itself; see [`RunError`].
///
/// # Panics
/// If `source` is not the text of a sound scenario.
pub fn limits<C: Crew>(
    source: &str,
    options: &LimitsOptions,
    crew: &C,
    cancelled: &(dyn Fn() -> bool + Sync),
    progress: &mut dyn FnMut(usize, usize),
) -> Result<Option<LimitsResult>, RunError> {
    if options.replications < 2 {
        return Err(RunError::BadOptions(CannotSay::TooFew { have: options.replications, need: 2 }));
    }
    let Some(scenario) = scenario::read(source).scenario else { panic!("the scenario was checked") };
    let title = scenario.title.clone();
    let (mut variants, mut trials, untried) = trials(source, scenario);
    if !settle_warm_up(&mut variants[..1], options.seed, crew, cancelled)? {
        return Ok(None);
    }
    let (of_file, varied) = variants.split_at_mut(1);
    varied.iter_mut().for_each(|variant| variant.measure_as(&of_file[0]));
    let tasks: Vec<Task> = (0..variants.len())
        .flat_map(|variant| (0..options.replications).map(move |number| Task { variant, number }))
        .collect();
    let n_variants = variants.len();
    let done = run_tasks(&variants, &tasks, options.seed, crew, cancelled, &mut |task, values| {
        let trial: &mut Trial = &mut trials[task.variant];
        match values {
            Ok(values) => trial.rates.push(values[variants[task.variant].rate_index()]),
            Err(fault) => trial.fault = Some(fault),
        }
        if task.number + 1 == options.replications {
            progress(task.variant + 1, n_variants);
        }
    });
    if done < tasks.len() {
        return Ok(None);
    }
    if let Some(fault) = trials[0].fault.take() {
        return Err(fault);
    }
    Ok(Some(ranked(title, &trials, options, untried)))
}

/// Paths of numbers that were not varied.
#[derive(Default)]
struct Untried {
    unsound: Vec<String>,
    unmoved: Vec<String>,
}

/// The file itself, then its variations.
fn trials(source: &str, scenario: Scenario) -> (Vec<Variant>, Vec<Trial>, Untried) {
    let knobs = knobs(source, &scenario);
    let (mut variants, mut trials) = (vec![Variant::new(scenario)], vec![Trial::default()]);
    let mut untried = Untried::default();
    for knob in knobs {
        let Some(change) = knob.relaxed() else { continue };
        let Some((text, to)) = knob.changed(source, change) else {
            untried.unmoved.push(knob.path);
            continue;
        };
        match Variant::read(&text) {
            Ok(variant) => {
                variants.push(variant);
                let (path, from) = (knob.path, knob.written);
                trials.push(Trial { path, from, to, change: Some(change), ..Trial::default() });
            }
            Err(_) => untried.unsound.push(knob.path),
        }
    }
    (variants, trials, untried)
}

fn ranked(
    title: Option<String>,
    trials: &[Trial],
    options: &LimitsOptions,
    untried: Untried,
) -> LimitsResult {
    let base = &trials[0].rates;
    // Bonferroni: each interval errs at most so often that all together err at most as often as asked for.
    let each = 1.0 - (1.0 - options.level) / (trials.len().max(2) - 1) as f64;
    let (mut limits, mut not_tried) = (Vec::new(), untried.unsound);
    for trial in &trials[1..] {
        if trial.fault.is_some() {
            not_tried.push(trial.path.clone());
            continue;
        }
        let gaps: Moments = base.iter().zip(&trial.rates).map(|(base, rate)| rate - base).collect();
        limits.push(LimitReport {
            path: trial.path.clone(),
            from: trial.from.clone(),
            to: trial.to.clone(),
            change: trial.change.map(Change::words).unwrap_or_default(),
            gain: Figure::of(&gaps, each),
        });
    }
    // The sort is stable: equal gains stay in the order of the file.
    limits.sort_by(|a, b| b.gain.mean.unwrap_or(0.0).total_cmp(&a.gain.mean.unwrap_or(0.0)));
    LimitsResult {
        title,
        replications: options.replications,
        seed: options.seed,
        level: options.level,
        rate: Figure::of(&base.iter().copied().collect(), options.level),
        limits,
        not_tried,
        unmoved: untried.unmoved,
    }
}

#[cfg(test)]
mod tests {
    use super::super::Alone;
    use super::*;

    /// M is slower than F and C: only its cycle limits the rate, and by how much is known.
    #[test]
    fn the_slowest_station_is_the_limit() {
        let source = r#"{"feedproof": 1, "stations": [
            {"id": "F", "type": "work", "endless": true, "time": "0.5 s"},
            {"id": "T", "type": "track", "capacity": 5, "travel": "0 s"},
            {"id": "M", "type": "work", "time": "1.5 s"},
            {"id": "U", "type": "track", "capacity": 5, "travel": "0 s"},
            {"id": "C", "type": "machine", "cycle": "1 s"}],
            "plan": {"shift": "1 h"}}"#;
        let options = LimitsOptions { replications: 2, seed: 1, level: 0.95 };
        let found = limits(source, &options, &Alone, &|| false, &mut |_, _| {}).unwrap().unwrap();
        assert!(
            found.limits[0].path.contains("\"M\"") && found.limits[0].path.ends_with(".time"),
            "{found:?}"
        );
        let gain = found.limits[0].gain.mean.unwrap();
        assert!((gain - (60.0 / 1.35 - 40.0)).abs() < 0.1, "40 a minute become 44.4: {gain}");
        for rest in &found.limits[1..] {
            assert!(rest.gain.mean.unwrap().abs() < 0.05, "{rest:?}");
        }
    }

    #[test]
    fn what_cannot_be_moved_is_named() {
        let source = r#"{"feedproof": 1, "stations": [
            {"id": "F", "type": "work", "endless": true, "time": "2 s"},
            {"id": "P", "type": "orienting path", "pass": "1 s", "tools": [{"id": "t", "accepts": 1}], "rejects_to": "S", "to": "M"},
            {"id": "M", "type": "machine", "cycle": "0 s", "to": "out"},
            {"id": "S", "type": "scrap box"}],
            "plan": {"shift": "10 min"}}"#;
        let options = LimitsOptions { replications: 2, seed: 1, level: 0.95 };
        let found = limits(source, &options, &Alone, &|| false, &mut |_, _| {}).unwrap().unwrap();
        for end in [".accepts", ".cycle"] {
            assert!(found.unmoved.iter().any(|path| path.ends_with(end)), "{end}: {:?}", found.unmoved);
            assert!(found.limits.iter().all(|limit| !limit.path.ends_with(end)), "{end}: {:?}", found.limits);
        }
    }

    #[test]
    fn one_shift_gives_no_interval() {
        let options = LimitsOptions { replications: 1, seed: 1, level: 0.95 };
        let source =
            r#"{"feedproof": 1, "stations": [{"id": "F", "type": "work", "endless": true, "time": "1 s"}]}"#;
        assert!(limits(source, &options, &Alone, &|| false, &mut |_, _| {}).is_err());
    }
}
