//! Checks of recipes, batches and shared reaches between stations.
//!
//! A batch that can never be complete, or never finds room, is an error here: no run has to find it.

use super::{Doubts, Scenario, target_of};
use crate::diag::{Diagnostics, Problem, code};
use crate::kernel::UNLIMITED;
use crate::stations::catalogue::Entry;
use crate::terms::kind::must_be_one_of;

/// Reports everything that is wrong with recipes, batches and reaches.
pub(super) fn check(scenario: &Scenario, doubts: &Doubts, problems: &mut Diagnostics) {
    for (n, entry) in scenario.stations.iter().enumerate() {
        if let Some(recipe) = entry.blueprint.recipes() {
            recipe.check_models(&scenario.models, problems);
            check_sources(scenario, n, problems);
        }
        check_room(scenario, doubts, n, entry, problems);
        check_reach(scenario, entry, problems);
    }
    let is_used = scenario.stations.iter().any(|entry| entry.blueprint.recipes().is_some());
    if !scenario.models.names.is_empty() && !is_used {
        let problem = Problem::new(code::UNUSUAL_VALUE, "no station goes by `models`");
        problems.warning(&scenario.models.place(), problem.help("give a magazine or a divider `recipes`"));
    }
}

/// What a recipe asks for has to be a part kind, or a station that feeds it.
fn check_sources(scenario: &Scenario, station: usize, problems: &mut Diagnostics) {
    let entries = &scenario.stations;
    let Some(recipe) = entries[station].blueprint.recipes() else { return };
    let feeds = |from: &usize| {
        let exits = entries[*from].blueprint.exits();
        exits.iter().any(|exit| target_of(scenario, *from, &exit.to) == Some(station))
    };
    let feeders = (0..entries.len()).filter(feeds).map(|from| entries[from].id.value.as_str());
    let kinds = scenario.kinds.iter().map(|kind| kind.name.as_str());
    let known: Vec<&str> = feeders.chain(kinds).collect();
    for name in recipe.sources() {
        must_be_one_of(name, "feeding station or part", &known, problems);
    }
}

/// All parts that land together have to fit.
fn check_room(scenario: &Scenario, doubts: &Doubts, n: usize, entry: &Entry, problems: &mut Diagnostics) {
    for exit in entry.blueprint.exits() {
        let to = target_of(scenario, n, &exit.to).map(|to| &scenario.stations[to]);
        let Some(to) = to.filter(|to| doubts.knows_all(entry) && doubts.knows_all(to)) else { continue };
        let id = &to.id.value;
        let of_recipe = entry.blueprint.recipes().filter(|_| entry.blueprint.gives_batches());
        let pieces =
            of_recipe.map_or(0, |recipe| recipe.most_pieces(id)).max(entry.blueprint.lands_together());
        let Some(body) = to.blueprint.body(&scenario.kinds, id) else { continue };
        let room = body.capacity();
        if pieces > room && room != UNLIMITED && body.counts().is_none() {
            let from = &entry.id.value;
            let message = format!("`{from}` gives {pieces} parts together to `{id}`, which holds {room}");
            let problem = Problem::new(code::OUT_OF_RANGE, message);
            problems.error(&to.place, problem.help(format!("let `{id}` hold {pieces} or more")));
        }
    }
}

/// A reach that nobody else uses is a likely slip.
fn check_reach(scenario: &Scenario, entry: &Entry, problems: &mut Diagnostics) {
    let Some(reach) = entry.blueprint.reach() else { return };
    let all = scenario.stations.iter().filter_map(|entry| Some((entry, entry.blueprint.reach()?)));
    let users: u32 = all.filter(|(_, name)| name.value == reach.value).map(|(entry, _)| entry.count).sum();
    if users < 2 {
        let message = format!("no other station shares the reach `{}`", reach.value);
        let problem = Problem::new(code::UNUSUAL_VALUE, message);
        problems.warning(&reach.place, problem.help("give the other stations the same `reach`"));
    }
}
