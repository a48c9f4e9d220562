//! Screening: which of many numbers matter, by one of three methods.
//!
//! Factors ([`Dial`]) are those of a sweep file, or all numbers of a scenario that limit it, each moved by a share. The
//! designs and estimators are those of [`crate::design`]; here points become scenarios, and scenarios are run. Points
//! that are compared with each other run the same shifts on the same luck; see [`crate::design`] for which those are.
//! Invariant: the result depends on the scenario, the factors and the options alone, whoever runs the shifts.

mod dial;
mod methods;
mod result;
mod runs;
#[cfg(test)]
mod tests;

pub use dial::{Dial, dials_of_factors, dials_of_knobs};
pub use result::{
    EffectFinding, End, Findings, LeftOut, PairFinding, ScreenResult, ShareFinding, TornadoFinding, schema,
};

use crate::diag::Diagnostic;
use crate::statistics::CannotSay;
use crate::study::{Crew, Kept, RunError};
use crate::sweep::{Unsound, prepare};
use crate::text::hash::fnv_1a;
use methods::Ranked;
use runs::Runs;

/// By which method.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Method {
    /// Each factor alone, down and up, from the scenario as it stands.
    Tornado,
    /// Elementary effects.
    Effects {
        /// Random ways through the ranges, 2 at least.
        trajectories: u64,
        /// Levels of each factor, an even number.
        levels: u64,
    },
    /// Variance shares.
    Shares {
        /// Rows of the design, in all groups together.
        rows: u64,
        /// Whether to look at each pair of factors.
        with_pairs: bool,
    },
}

/// How to screen.
#[derive(Debug, Clone, PartialEq)]
pub struct ScreenOptions {
    /// By which method.
    pub method: Method,
    /// Shifts at each point, 2 at least: what tells luck from effects.
    pub replications: u64,
    /// Seed of all luck and of the design.
    pub seed: u64,
    /// Level at which all intervals of one kind hold together.
    pub level: f64,
    /// Name of the output that is looked at.
    pub output: String,
}

/// Why nothing came of it.
#[derive(Debug, Clone, PartialEq)]
pub enum ScreenError {
    /// The scenario as it stands has errors.
    Unsound(Vec<Diagnostic>),
    /// There is no factor that can be moved.
    NoFactor,
    /// There is no such output.
    NoOutput {
        /// What was asked for.
        name: String,
        /// What there is.
        names: Vec<String>,
    },
    /// The scenario as it stands cannot be run.
    Run(RunError),
    /// A point cannot be run, and the method needs them all.
    Point {
        /// Which levels.
        levels: String,
        /// Why.
        reason: String,
    },
    /// The options, or the values, allow no answer.
    Statistics(CannotSay),
    /// The value does not vary over the ranges.
    NoVariance,
}

impl From<CannotSay> for ScreenError {
    fn from(why: CannotSay) -> Self {
        ScreenError::Statistics(why)
    }
}

impl std::fmt::Display for ScreenError {
    fn fmt(&self, f: &mut std::fmt::Formatter<'_>) -> std::fmt::Result {
        match self {
            ScreenError::Unsound(problems) => {
                write!(f, "the scenario has errors: {}", problems.first().map_or("", |one| &one.message))
            }
            ScreenError::NoFactor => f.write_str("there is no factor that can be moved"),
            ScreenError::NoOutput { name, .. } => write!(f, "no output is called `{name}`"),
            ScreenError::Run(why) => write!(f, "{why}"),
            ScreenError::Point { levels, reason } => {
                write!(f, "a point of the design cannot be run ({levels}): {reason}")
            }
            ScreenError::Statistics(why) => write!(f, "{why}"),
            ScreenError::NoVariance => {
                f.write_str("the value does not vary over these ranges beyond the luck of the shifts")
            }
        }
    }
}

/// Who looks on, and may cancel.
pub struct ScreenWatch<'a> {
    /// Whether to stop now. Asked before each shift, by any worker.
    pub cancelled: &'a (dyn Fn() -> bool + Sync),
    /// Hears how many of how many points are done.
    pub progress: &'a mut dyn FnMut(u64, u64),
    /// What was kept of shifts that were run before: one value each, by the number of the point.
    pub kept: &'a mut dyn Kept,
}

impl std::fmt::Debug for ScreenWatch<'_> {
    fn fmt(&self, f: &mut std::fmt::Formatter<'_>) -> std::fmt::Result {
        f.write_str("ScreenWatch")
    }
}

/// Screens the factors of a scenario. None if it was cancelled.
///
/// # Errors
/// See [`ScreenError`].
pub fn screen<C: Crew>(
    source: &str,
    dials: Vec<Dial>,
    options: &ScreenOptions,
    crew: &C,
    watch: &mut ScreenWatch<'_>,
) -> Result<Option<ScreenResult>, ScreenError> {
    if options.replications < 2 {
        return Err(CannotSay::TooFew { have: options.replications, need: 2 }.into());
    }
    let base =
        prepare(source.to_owned()).map_err(|Unsound { problems, .. }| ScreenError::Unsound(problems))?;
    let title = base.scenario.title.clone();
    let outputs = base.outputs();
    let Some(output) = outputs.iter().find(|output| output.name == options.output).cloned() else {
        let names = outputs.into_iter().map(|output| output.name).collect();
        return Err(ScreenError::NoOutput { name: options.output.clone(), names });
    };
    let (dials, mut left_out) = dial::that_move(dials, source);
    if dials.is_empty() {
        return Err(ScreenError::NoFactor);
    }
    let Some(mut runs) = Runs::new(source, &dials, base, options, crew, watch)? else { return Ok(None) };
    let ranked = match options.method {
        Method::Tornado => methods::tornado(&mut runs)?,
        Method::Effects { trajectories, levels } => methods::effects(&mut runs, trajectories, levels)?,
        Method::Shares { rows, with_pairs } => methods::shares(&mut runs, rows, with_pairs)?,
    };
    let Some(Ranked { findings, points, left_out: more }) = ranked else { return Ok(None) };
    left_out.extend(more);
    Ok(Some(ScreenResult {
        screen_format: result::SCREEN_FORMAT,
        program_version: env!("CARGO_PKG_VERSION").to_owned(),
        title,
        scenario_hash: format!("{:016x}", fnv_1a(source.as_bytes())),
        output: output.name,
        unit: output.unit.to_owned(),
        seed: options.seed,
        level: options.level,
        points,
        replications: options.replications,
        findings,
        left_out,
    }))
}
