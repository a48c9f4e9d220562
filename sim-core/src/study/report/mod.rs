//! From a finished study to its result.
//!
//! It computes nothing that the study has not: it asks for figures by what they are about and puts them where they
//! belong, with the notes and cautions that have to stand beside them.

mod line;
mod losses;
mod rate;
mod words;

use super::outputs::Key;
use super::result::{
    Figure, GridlockReport, InputReport, Knowledge, RESULT_FORMAT, RunResult, StoppedBecause, WarmUpReport,
    WarmUpSource, WindowReport,
};
use super::run::Study;
use super::shift::seconds;
use crate::scenario::WarmUp;
use crate::text::hash::fnv_1a;

/// The result of a study that ended for this reason.
pub(super) fn result(study: &Study<'_>, because: StoppedBecause) -> RunResult {
    let (scenario, options) = (study.job.scenario, &study.job.options);
    RunResult {
        result_format: RESULT_FORMAT,
        program_version: env!("CARGO_PKG_VERSION").to_owned(),
        title: scenario.title.clone(),
        scenario_hash: format!("{:016x}", fnv_1a(study.job.source.as_bytes())),
        seed: options.seed,
        replications: study.rates.len() as u64,
        budget: options.replications,
        stopped_because: because,
        events: study.events,
        level: options.level,
        window: WindowReport {
            shift_s: seconds(study.plan.close_ns),
            opens_s: seconds(study.plan.open_ns),
            closes_s: seconds(study.plan.close_ns),
            length_s: seconds(study.plan.close_ns - study.plan.open_ns),
        },
        warm_up: warm_up(study),
        promise: study.proof.as_ref().map(super::proof::Proof::report),
        ignorance: None,
        reduced: None,
        pay_back: None,
        rate: rate::rate(study),
        line: line::line(study),
        points: line::points(study),
        losses: losses::losses(study),
        flows: losses::flows(study),
        stations: line::stations(study),
        places: line::places(study),
        stops: line::stops(study),
        attendants: line::attendants(study),
        sensors: line::sensors(study),
        measures: line::measures(study),
        gridlock: gridlock(study),
        inputs: inputs(study),
        notes: words::notes(study),
        cautions: words::cautions(),
    }
}

impl Study<'_> {
    /// The figure of an output; missing if the plan has no such output.
    fn figure(&self, key: Key) -> Figure {
        let moments = self.moments_of(key);
        let least = match key {
            Key::Rate | Key::GrossRate => self.rare.of_rate(moments.count()),
            _ => 0.0,
        };
        Figure::of(&moments.spread_at_least(least), self.job.options.level)
    }
}

fn warm_up(study: &Study<'_>) -> WarmUpReport {
    let source = match study.job.scenario.plan.warm_up {
        WarmUp::Found => WarmUpSource::Found,
        WarmUp::Given(length) if length > 0.0 => WarmUpSource::Given,
        WarmUp::Given(_) => WarmUpSource::None,
    };
    let found = study.warm_up.as_ref();
    WarmUpReport {
        source,
        length_s: seconds(study.plan.open_ns),
        replications: found.map_or(0, |_| super::warm_up::REPLICATIONS),
        settled: found.map(|found| found.settled),
        per_minute: found.map(|found| found.per_minute.clone()).unwrap_or_default(),
    }
}

fn gridlock(study: &Study<'_>) -> GridlockReport {
    let first = study.first_gridlock.as_ref();
    GridlockReport {
        replications: study.n_gridlocks,
        first_in: first.map(|(number, _)| *number),
        first_at_s: first.map(|(_, knot)| knot.at_s),
        knot: first.map(|(_, knot)| knot.waiting.clone()).unwrap_or_default(),
        opened_by: first.map(|(_, knot)| knot.opened_by.clone()),
    }
}

fn inputs(study: &Study<'_>) -> Vec<InputReport> {
    let inputs = study.job.scenario.inputs.iter().map(|input| InputReport {
        path: input.place.path.clone(),
        what: input.what.to_owned(),
        knowledge: if input.trials.is_some() { Knowledge::Measured } else { Knowledge::Assumed },
        trials: input.trials,
    });
    inputs.collect()
}
