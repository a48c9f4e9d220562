//! A small line for tests: a scenario text is run, and everything that happens is written down.

use super::bench::Routes;
use super::blueprint::TrafficSite;
use super::tooling::classes_of;
use crate::kernel::{Note, Observer, StationId};
use crate::network::{Plan, compile};
use crate::part::{Nanos, Part, SECOND};
use crate::replication::{Replica, Stop};
use crate::scenario;

/// Everything that happened.
#[derive(Clone, Debug, Default)]
pub(super) struct Log {
    notes: Vec<(Nanos, StationId, Note, Option<Part>)>,
}

impl Observer for Log {
    fn note(&mut self, now: Nanos, station: StationId, note: Note, part: Option<&Part>) {
        self.notes.push((now, station, note, part.copied()));
    }
}

/// One run of a line.
#[derive(Debug)]
pub(super) struct Run {
    plan: Plan,
    log: Log,
    pub(super) stop: Stop,
}

/// The messages of all problems of a scenario, errors and warnings.
pub(super) fn problems(parts: &str, stations: &str) -> Vec<String> {
    let checked = scenario::read(&text(parts, stations, ""));
    checked
        .problems
        .iter()
        .map(|p| format!("{}: {} {}", p.path, p.message, p.help.clone().unwrap_or_default()))
        .collect()
}

fn text(parts: &str, stations: &str, more: &str) -> String {
    format!("{{\"feedproof\": 1, \"parts\": {{{parts}}}, \"stations\": [{stations}] {more}}}")
}

/// Runs a line for so many seconds.
pub(super) fn run(parts: &str, stations: &str, more: &str, seconds: u64) -> Run {
    let checked = scenario::read(&text(parts, stations, more));
    let Some(scenario) = checked.scenario else { panic!("a test's line is sound: {:#?}", checked.problems) };
    let plan = compile(&scenario);
    let (stop, log) = {
        let mut replica = Replica::new(&plan, 7, 0, Log::default());
        let stop = replica.run_until(seconds * SECOND);
        assert!(replica.conserves_parts(), "no part is made or lost");
        (stop, replica.floor.observer.clone())
    };
    Run { plan, log, stop }
}

impl Run {
    fn number(&self, name: &str) -> StationId {
        let found = self.plan.names.posts.iter().position(|known| known == name);
        StationId(found.unwrap_or_else(|| panic!("there is a station {name}")) as u16)
    }

    /// Times (ns) and parts of one note of a station.
    pub(super) fn notes(&self, name: &str, note: Note) -> Vec<(Nanos, Part)> {
        let me = self.number(name);
        let mine = self.log.notes.iter().filter(|(_, station, what, _)| *station == me && *what == note);
        mine.map(|(at, _, _, part)| (*at, part.unwrap_or_default())).collect()
    }

    /// Times of one note, ns.
    pub(super) fn times(&self, name: &str, note: Note) -> Vec<Nanos> {
        self.notes(name, note).into_iter().map(|(at, _)| at).collect()
    }

    /// Spans of the stops of a station, ns; the last one may be open.
    pub(super) fn stops(&self, name: &str) -> Vec<(Nanos, Nanos)> {
        let me = self.number(name);
        let mut spans = Vec::new();
        for (at, station, note, _) in &self.log.notes {
            match note {
                Note::Stopped(_) if *station == me => spans.push((*at, Nanos::MAX)),
                Note::Cleared(_) if *station == me => {
                    if let Some((_, end)) = spans.last_mut() {
                        *end = *at;
                    }
                }
                _ => {}
            }
        }
        spans
    }
}

/// What one station tells the balance: routes by class, and seconds.
pub(super) fn traffic(parts: &str, stations: &str, name: &str) -> (Routes, Vec<f64>) {
    let checked = scenario::read(&text(parts, stations, ""));
    let Some(scenario) = checked.scenario else { panic!("a test's line is sound: {:#?}", checked.problems) };
    let classes = classes_of(&scenario.kinds);
    let mut site = TrafficSite::new(&scenario.kinds, &classes, &scenario.models);
    let entry = scenario.stations.iter().find(|entry| entry.id.value == name);
    entry.unwrap_or_else(|| panic!("there is a station {name}")).blueprint.traffic(&mut site);
    (site.routes, site.seconds)
}
