//! The product sequence of the file, as a plan of plain numbers.

use super::layout::Layout;
use crate::kernel::sampler::Method;
use crate::kernel::{PlaceId, Sampler, StationId, StreamKey, TimerId};
use crate::part::{Nanos, SECOND};
use crate::scenario::{ChangeoverSpec, RunEnd, Scenario};
use crate::text::forms::{Choice, Spanned};

/// When a run ends.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum End {
    /// After so many good parts.
    Good(u64),
    /// So long after its start, ns.
    After(Nanos),
    /// Never.
    Never,
}

/// How what is left is taken out.
#[derive(Clone, Debug)]
pub struct Purge {
    /// From where.
    pub places: Vec<PlaceId>,
    /// Parts per second, by kind of the run that ends.
    pub per_s: Vec<f64>,
    /// Who does it.
    pub pool: Option<u16>,
    /// Whether it is scrap.
    pub is_scrap: bool,
}

/// A product sequence.
#[derive(Clone, Debug)]
pub struct ChangePlan {
    /// Its number among the posts, for attendants' calls and counts.
    pub post: StationId,
    /// Ends of runs by time, and of tasks that need nobody.
    pub timer: TimerId,
    /// Where good parts are counted.
    pub counted: Vec<StationId>,
    /// Kind and end of each run.
    pub runs: Vec<(u8, End)>,
    /// Stations that go over from kind to kind, and bins that do so.
    pub sources: Vec<StationId>,
    /// Endless bins among them.
    pub source_bins: Vec<PlaceId>,
    /// Stations that stop starting at the end of a run.
    pub stops: Vec<StationId>,
    /// Stations that have to run empty, with their bodies.
    pub run_out: Vec<(StationId, Option<PlaceId>)>,
    /// Longest run-out, ns.
    pub run_out_most: Option<Nanos>,
    /// What is taken out.
    pub purge: Option<Purge>,
    /// Tasks, each with its pool.
    pub tooling: Vec<(Option<u16>, Sampler)>,
    /// Luck of the tasks.
    pub key: StreamKey,
    /// Stations that stand meanwhile.
    pub of: Vec<StationId>,
}

/// Makes the plan of the scenario's sequence.
pub(super) fn change_plan(
    scenario: &Scenario,
    spec: &ChangeoverSpec,
    layout: &Layout,
    method: Method,
    post: StationId,
    timer: TimerId,
) -> ChangePlan {
    let nanos = |seconds: f64| (seconds * SECOND as f64).round() as Nanos;
    let kind_of = |name: &Spanned<String>| {
        scenario.kinds.iter().position(|kind| kind.name == name.value).unwrap_or(0) as u8
    };
    let pool_of = |name: &Option<Spanned<String>>| {
        let name = name.as_ref()?;
        scenario.attendants.iter().position(|pool| pool.id.value == name.value).map(|pool| pool as u16)
    };
    let runs: Vec<(u8, End)> = spec
        .runs
        .iter()
        .map(|run| {
            let end = match run.end {
                RunEnd::Good(good) => End::Good(good),
                RunEnd::After(seconds) => End::After(nanos(seconds)),
                RunEnd::Never => End::Never,
            };
            (kind_of(&run.part), end)
        })
        .collect();
    let units_of = |names: &[Spanned<String>]| units_named(scenario, layout, names);
    let ids = |names: &[Spanned<String>]| -> Vec<StationId> {
        units_of(names).into_iter().map(|unit| StationId(layout.rank[unit] as u16)).collect()
    };
    let (sources, source_bins) = sources(scenario, layout, runs[0].0);
    let all: Vec<Spanned<String>> = scenario.stations.iter().map(|entry| entry.id.clone()).collect();
    ChangePlan {
        post,
        timer,
        counted: ids(std::slice::from_ref(&spec.counts_at)),
        sources,
        source_bins,
        stops: ids(&spec.stops),
        run_out: units_of(&spec.run_out)
            .into_iter()
            .map(|unit| (StationId(layout.rank[unit] as u16), layout.units[unit].body))
            .collect(),
        run_out_most: spec.run_out_at_most_s.map(nanos),
        purge: spec.purge.as_ref().map(|purge| Purge {
            places: units_of(&purge.of).into_iter().filter_map(|unit| layout.units[unit].body).collect(),
            per_s: scenario
                .kinds
                .iter()
                .map(|kind| match purge.rate {
                    Choice::First(per_s) => per_s,
                    Choice::Second(m3_s) => m3_s * kind.density_m3.unwrap_or(1.0),
                })
                .collect(),
            pool: pool_of(&purge.by),
            is_scrap: purge.is_scrap,
        }),
        tooling: spec
            .tooling
            .iter()
            .map(|task| (pool_of(&task.by), Sampler::new(&task.time, 1.0, method)))
            .collect(),
        key: StreamKey::new("changeover", "tooling"),
        of: ids(if spec.of.is_empty() { &all } else { &spec.of }),
        runs,
    }
}

/// Units of the stations with these names, in the order of the names, each once.
fn units_named(scenario: &Scenario, layout: &Layout, names: &[Spanned<String>]) -> Vec<usize> {
    let mut units = Vec::new();
    for name in names {
        for (ix, unit) in layout.units.iter().enumerate() {
            let id = unit.entry.map(|entry| &scenario.stations[entry].id.value);
            if id == Some(&name.value) && !units.contains(&ix) {
                units.push(ix);
            }
        }
    }
    units
}

/// Stations and endless bins that bring the kind of the first run: they go over from run to run.
fn sources(scenario: &Scenario, layout: &Layout, first: u8) -> (Vec<StationId>, Vec<PlaceId>) {
    let (mut stations, mut bins) = (Vec::new(), Vec::new());
    for (ix, unit) in layout.units.iter().enumerate() {
        let Some(entry) = unit.entry.map(|entry| &scenario.stations[entry]) else { continue };
        if entry.blueprint.brings(&scenario.kinds) != Some(first) {
            continue;
        }
        match unit.body {
            Some(body) if layout.places[body.ix()].is_endless() => bins.push(body),
            Some(_) | None => stations.push(StationId(layout.rank[ix] as u16)),
        }
    }
    (stations, bins)
}
