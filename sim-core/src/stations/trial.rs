//! Small lines from scenario text, run step by step: for tests of stations.

use super::blueprint::TrafficSite;
use crate::balance::{self, Balance};
use crate::kernel::{Note, Observer, PlaceId, State, StationId};
use crate::measure::Tally;
use crate::network::{Plan, compile};
use crate::part::{Nanos, Part, SECOND};
use crate::replication::{Replica, Stop};
use crate::scenario::{self, Scenario};
use crate::stations::tools::Classes;

/// Writes down what happens, with times.
#[derive(Debug, Clone, Default)]
pub(crate) struct Log {
    pub(crate) notes: Vec<(Nanos, StationId, Note)>,
    pub(crate) states: Vec<(Nanos, StationId, State)>,
    pub(crate) levels: Vec<(Nanos, PlaceId, u32)>,
}

impl Observer for Log {
    fn state(&mut self, now: Nanos, station: StationId, _old: State, new: State) {
        self.states.push((now, station, new));
    }

    fn level(&mut self, now: Nanos, place: PlaceId, _old: u32, new: u32) {
        self.levels.push((now, place, new));
    }

    fn note(&mut self, now: Nanos, station: StationId, note: Note, _part: Option<&Part>) {
        self.notes.push((now, station, note));
    }
}

/// A compiled line.
#[derive(Debug)]
pub(crate) struct Trial {
    pub(crate) scenario: Scenario,
    pub(crate) plan: Plan,
}

/// A line under way.
pub(crate) type Run<'a> = Replica<'a, (Tally, Log)>;

/// Text of a scenario: `stations` as the inside of the list, `more` as further keys with a leading comma.
pub(crate) fn text(stations: &str, more: &str) -> String {
    format!(r#"{{"feedproof": 1, "stations": [{stations}] {more}}}"#)
}

/// Codes and messages of all problems of a line.
pub(crate) fn problems(stations: &str, more: &str) -> Vec<String> {
    scenario::read(&text(stations, more)).problems.iter().map(|problem| format!("{problem:?}")).collect()
}

impl Trial {
    pub(crate) fn new(stations: &str, more: &str) -> Self {
        let checked = scenario::read(&text(stations, more));
        let Some(scenario) = checked.scenario else { panic!("{:#?}", checked.problems) };
        let plan = compile(&scenario);
        Trial { scenario, plan }
    }

    pub(crate) fn balance(&self) -> Balance {
        balance::solve(&self.scenario).expect("a balance")
    }

    pub(crate) fn start(&self, replication: u64) -> Run<'_> {
        Replica::new(&self.plan, 1, replication, (Tally::new(&self.plan.tally), Log::default()))
    }

    /// A run up to and with `seconds`.
    pub(crate) fn run(&self, replication: u64, seconds: f64) -> Run<'_> {
        let mut run = self.start(replication);
        go(&mut run, seconds);
        run
    }

    pub(crate) fn post(&self, name: &str) -> StationId {
        let ix = self.plan.names.posts.iter().position(|known| known == name);
        StationId(ix.unwrap_or_else(|| panic!("there is a post {name}")) as u16)
    }

    pub(crate) fn place(&self, name: &str) -> PlaceId {
        let ix = self.plan.names.places.iter().position(|known| known == name);
        PlaceId(ix.unwrap_or_else(|| panic!("there is a place {name}")) as u16)
    }

    /// What a station says to the balance.
    pub(crate) fn traffic(&self, name: &str) -> (Vec<f64>, Option<f64>) {
        let kinds = &self.scenario.kinds;
        let sizes: Vec<(usize, usize)> =
            kinds.iter().map(|kind| (kind.conditions.len(), kind.attitudes.len())).collect();
        let classes = Classes::new(&sizes);
        let entry = self.scenario.stations.iter().find(|entry| entry.id.value == name);
        let mut site = TrafficSite::new(kinds, &classes, &self.scenario.models);
        entry.expect("there is such a station").blueprint.traffic(&mut site);
        (site.seconds, site.source.map(|source| source.most_per_s))
    }
}

/// Goes on up to and with `seconds`; counts parts.
pub(crate) fn go(run: &mut Run<'_>, seconds: f64) {
    assert_eq!(run.run_until(ns(seconds)), Stop::TimeReached);
    assert!(run.conserves_parts(), "parts created = left + absorbed + inside: {:?}", run.floor.flow());
}

/// Nanoseconds of seconds.
pub(crate) fn ns(seconds: f64) -> Nanos {
    (seconds * SECOND as f64).round() as Nanos
}

/// Times, s, at which `note` happened at `station`.
pub(crate) fn times(run: &Run<'_>, station: StationId, note: Note) -> Vec<f64> {
    let notes = run.floor.observer.1.notes.iter();
    notes.filter(|(_, who, what)| (*who, *what) == (station, note)).map(|(at, ..)| seconds(*at)).collect()
}

/// Times, s, and states of `station`, without those that held for no time.
pub(crate) fn states(run: &Run<'_>, station: StationId) -> Vec<(f64, State)> {
    let mut all: Vec<(f64, State)> = Vec::new();
    for (at, who, state) in &run.floor.observer.1.states {
        if *who == station {
            if all.last().is_some_and(|(last, _)| *last == seconds(*at)) {
                all.pop();
            }
            if all.last().is_none_or(|(_, last)| last != state) {
                all.push((seconds(*at), *state));
            }
        }
    }
    all
}

/// Times, s, at which a place came to a level.
pub(crate) fn levels(run: &Run<'_>, place: PlaceId) -> Vec<(f64, u32)> {
    let levels = run.floor.observer.1.levels.iter();
    levels.filter(|(_, which, _)| *which == place).map(|(at, _, level)| (seconds(*at), *level)).collect()
}

fn seconds(at: Nanos) -> f64 {
    at as f64 / SECOND as f64
}
