//! A scenario: the line, the people, the plan and the promise, as one file states them.
//!
//! Reading never stops at the first problem; all of a file's problems come back at once, each with its
//! place. A scenario with errors is never handed out, so that nothing can be compiled from an unchecked one.

mod batches;
mod changeover;
mod check;
mod connections;
mod control;
mod doubts;
mod levels;
mod money;
mod people;
mod plan;
mod promise;
mod run_off;
mod size;
mod together;
mod ways;

pub use changeover::{ChangeoverSpec, PurgeSpec, RunEnd, RunSpec, ToolingSpec};
pub use connections::target_of;
pub use control::{Level, SensorSpec, SightWord, level};
pub(crate) use doubts::Doubts;
pub use money::Prices;
pub use people::PoolSpec;
pub use plan::{BreakSpec, RunPlan, Start, WarmUp};
pub use promise::{ASSURANCE, Clause, Goal, MeasureSpec, Promise, StatePick};
pub(crate) use together::{most_before, most_beyond};
pub(crate) use ways::Ways;

pub use run_off::{MostBad, RunOffJams, RunOffSpec};

use crate::diag::Diagnostic;
use crate::stations::catalogue::{Entry, station};
use crate::terms::kind::{self, Kind};
use crate::terms::models::{self, Models};
use crate::text::fields::{Input, Object, Recorded, Setting, read_recorded};
use crate::text::forms::{Spanned, count, list_of, map_of, nested, one_of, text};
use crate::text::schema;
use crate::units::System;

/// Version of the file format that this program reads.
pub const FORMAT: u64 = 1;

/// The word that leaves the line.
pub const OUT: &str = "out";

/// A checked scenario.
#[derive(Debug)]
pub struct Scenario {
    /// What it is about.
    pub title: Option<String>,
    /// Units of the report.
    pub units: System,
    /// Part kinds, at least one.
    pub kinds: Vec<Kind>,
    /// Stations in flow order.
    pub stations: Vec<Entry>,
    /// Pools of attendants.
    pub attendants: Vec<PoolSpec>,
    /// Sensors.
    pub sensors: Vec<SensorSpec>,
    /// Measures of the file's own.
    pub measures: Vec<MeasureSpec>,
    /// Product models.
    pub models: Models,
    /// What is run.
    pub plan: RunPlan,
    /// What is promised.
    pub promise: Promise,
    /// The acceptance test, if one is agreed.
    pub run_off: Option<RunOffSpec>,
    /// Prices, if the pay-back is asked for.
    pub money: Option<Prices>,
    /// Inputs that are not certain, in the order of the reading.
    pub inputs: Vec<Input>,
    /// All numbers of the file that mean something, in the order of the reading.
    pub settings: Vec<Setting>,
}

impl Scenario {
    /// Whether nothing in it is left to chance: no input is random, but for those that were observed to be always the same.
    pub fn is_certain(&self) -> bool {
        self.inputs
            .iter()
            .all(|input| input.evidence.as_ref().is_some_and(|evidence| evidence.seen.is_constant()))
    }
}

/// What came of reading a file.
#[derive(Debug)]
pub struct Checked {
    /// The scenario, if there was no error.
    pub scenario: Option<Scenario>,
    /// Errors and warnings in order of position.
    pub problems: Vec<Diagnostic>,
    /// What was read of a file with errors: good for nothing but finding more of them.
    pub(crate) unsound: Option<(Scenario, Doubts)>,
}

/// Reads and checks a scenario file.
pub fn read(source: &str) -> Checked {
    let (scenario, Recorded { mut problems, inputs, settings, unread }) = read_recorded(source, read_root);
    let Some(mut scenario) = scenario else {
        return Checked { scenario: None, problems: problems.into_vec(), unsound: None };
    };
    (scenario.inputs, scenario.settings) = (inputs, settings);
    scenario.promise.resolve(&scenario.kinds, &mut problems);
    // Names and connections are checked even where fields had errors, but only on what was really read.
    let mut doubts = Doubts::new(unread, &problems);
    check::check(&scenario, &doubts, &mut problems);
    doubts.remember(&problems);
    let (scenario, unsound) = match problems.has_errors() {
        false => (Some(scenario), None),
        // Where so much is wrong that not all of it was kept, nobody needs more.
        true => (None, (!problems.is_full()).then_some((scenario, doubts))),
    };
    Checked { scenario, problems: problems.into_vec(), unsound }
}

/// The JSON Schema of the file.
pub fn schema() -> serde_json::Value {
    schema::describe("feedproof scenario", read_root)
}

fn read_root(object: &mut Object<'_>) -> Scenario {
    const UNITS: &[(&str, System, &str)] = &[
        ("metric", System::Metric, "reports in metres and kilograms"),
        ("inch", System::Inch, "reports in inches, feet and pounds"),
    ];
    object.maybe("$schema", text(), "Where an editor finds the schema; not read");
    object.required("feedproof", count().at_least(FORMAT).at_most(FORMAT), "Version of the file format: 1");
    Scenario {
        title: object.maybe("title", text(), "What the line is, in a few words"),
        units: object.optional("units", one_of(UNITS), "metric", "Units of the report"),
        kinds: read_kinds(object),
        stations: object.required("stations", list_of(station()).at_least(1), "The stations, in flow order"),
        attendants: object.optional(
            "attendants",
            list_of(nested("attendants", people::read)),
            "[]",
            "People who clear jams, bring containers and repair, in pools with the same duties",
        ),
        sensors: object.optional(
            "sensors",
            list_of(nested("sensor", control::read)),
            "[]",
            "Sensors that watch levels and hold stations",
        ),
        measures: object.optional(
            "measures",
            list_of(nested("measure", promise::read_measure)),
            "[]",
            "Measures of one's own: share of time in which any of a list of station states holds",
        ),
        models: read_models(object),
        plan: object.optional("plan", nested("plan", plan::read), "{}", "What is run"),
        promise: object
            .maybe(
                "promise",
                nested("promise", promise::read),
                "What the line has to reach; left out: no verdict",
            )
            .unwrap_or_default(),
        run_off: object.maybe(
            "run_off",
            nested("run-off", run_off::read),
            "The acceptance test that the customer will watch, for the command `runoff`; left out: none",
        ),
        money: object.maybe(
            "money",
            nested("money", money::read),
            "Prices in one currency: `run` then works out the pay-back, apart from the proof; left out: no money is shown",
        ),
        inputs: Vec::new(),
        settings: Vec::new(),
    }
}

fn read_models(object: &mut Object<'_>) -> Models {
    let models = object.maybe(
        "models",
        nested("models", models::read),
        "Product models, for stations with a recipe for each; left out: one model",
    );
    match models {
        Some(models) if !models.names.is_empty() => models,
        // Nobody knows what they are called.
        _ if object.has("models") => {
            Models { names: vec![Spanned::default()], amounts: vec![1.0], at_random: false }
        }
        _ => Models::default(),
    }
}

fn read_kinds(object: &mut Object<'_>) -> Vec<Kind> {
    let parts: Option<Vec<(Spanned<String>, Kind)>> = object.maybe(
        "parts",
        map_of(nested("part", kind::read)).at_least(1),
        "The part kinds by name; left out: one kind named `part`, always good, without attitudes",
    );
    let is_object = |key: &str| {
        object.node("parts").and_then(|node| node.entry(key)).is_none_or(|entry| entry.node.is_object())
    };
    match parts {
        None if object.has("parts") => vec![Kind::unread("")],
        None => vec![Kind::plain("part")],
        Some(parts) if parts.is_empty() => vec![Kind::plain("part")],
        Some(parts) => parts
            .into_iter()
            .map(|(name, kind)| {
                let kind = if is_object(&name.value) { kind } else { Kind::unread(&name.value) };
                Kind { name: name.value, place: name.place, ..kind }
            })
            .collect(),
    }
}

/// Whether the name is one of those that mean something to the file format.
pub(crate) fn is_reserved(name: &str) -> bool {
    name == OUT
}
