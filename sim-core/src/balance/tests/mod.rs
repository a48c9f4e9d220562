//! Tests of the balance: published rows, small lines by hand, random networks against a plain iteration.

mod crowded;
mod lines;
mod loops;
mod published;
mod random;
mod reach;
mod runs;
mod sides;

use super::{Balance, solve};
use crate::scenario::{Scenario, read};
use crate::stations::Station;
use crate::stations::blueprint::{Blueprint, ExitSpec, Site, To, TrafficSite};
use crate::text::forms::Spanned;

/// Routes of one class: (exit, class, share).
pub(super) type Routes = Vec<(u8, usize, f64)>;

/// A station that sends classes different ways, for tests of the balance only.
#[derive(Debug, Clone)]
pub(super) struct Sorter {
    pub(super) exits: Vec<(&'static str, String)>,
    /// By class.
    pub(super) routes: Vec<Routes>,
    /// By class.
    pub(super) seconds: Vec<f64>,
}

impl Blueprint for Sorter {
    fn exits(&self) -> Vec<ExitSpec> {
        let exit = |(key, to): &(&'static str, String)| {
            let to = Spanned { value: to.clone(), ..Spanned::default() };
            ExitSpec { key, to: To::Named(to) }
        };
        self.exits.iter().map(exit).collect()
    }

    fn traffic(&self, traffic: &mut TrafficSite<'_>) {
        traffic.routes.clone_from(&self.routes);
        traffic.seconds.clone_from(&self.seconds);
    }

    fn build(&self, _site: &mut Site<'_>) -> Station {
        panic!("a station for tests of the balance does not run")
    }
}

/// A scenario with these keys besides the version, checked.
pub(super) fn scenario(text: &str) -> Scenario {
    let checked = read(&format!("{{\"feedproof\": 1, {text}}}"));
    checked.scenario.unwrap_or_else(|| panic!("the scenario is sound: {:?}", checked.problems))
}

/// Puts a station for tests in the place of one of the file.
pub(super) fn put(scenario: &mut Scenario, id: &str, sorter: Sorter) {
    let entry = scenario.stations.iter_mut().find(|entry| entry.id.value == id);
    entry.unwrap_or_else(|| panic!("there is a station {id}")).blueprint = Box::new(sorter);
}

pub(super) fn balance(scenario: &Scenario) -> Balance {
    solve(scenario).unwrap_or_else(|problems| panic!("it can be solved: {:?}", problems.into_vec()))
}

/// Flow and bounds of a station.
pub(super) fn flow(balance: &Balance, id: &str) -> f64 {
    station(balance, id).flow_per_min
}

pub(super) fn station<'a>(balance: &'a Balance, id: &str) -> &'a super::StationBalance {
    balance.stations.iter().find(|s| s.id == id).unwrap_or_else(|| panic!("there is a station {id}"))
}

pub(super) fn near(found: f64, wanted: f64, what: &str) {
    let error = (found - wanted).abs() / wanted.abs().max(1e-300);
    assert!(error < 1e-9, "{what}: found {found}, wanted {wanted}");
}
