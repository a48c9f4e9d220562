//! Who gives to whom, by the numbers of the stations: gathered once, since finding a name takes a walk through the file.

use super::{Scenario, target_of};

/// The ways between the stations of a scenario.
#[derive(Debug)]
pub(crate) struct Ways {
    /// For each station the one to which each of its exits leads; `None` out of the line, and for a name of nobody.
    pub(crate) targets: Vec<Vec<Option<usize>>>,
    /// For each station those that give to it, each once, in file order.
    pub(crate) feeders: Vec<Vec<usize>>,
}

impl Ways {
    pub(crate) fn of(scenario: &Scenario) -> Self {
        let n = scenario.stations.len();
        let (mut targets, mut feeders) = (Vec::with_capacity(n), vec![Vec::new(); n]);
        for (from, entry) in scenario.stations.iter().enumerate() {
            let exits = entry.blueprint.exits();
            let to: Vec<Option<usize>> =
                exits.iter().map(|exit| target_of(scenario, from, &exit.to)).collect();
            for &to in to.iter().flatten() {
                if feeders[to].last() != Some(&from) {
                    feeders[to].push(from);
                }
            }
            targets.push(to);
        }
        Ways { targets, feeders }
    }
}
