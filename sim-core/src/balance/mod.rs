//! The balance: the traffic equations of a line solved exactly, before any simulation.
//!
//! Flows with recirculation are linear in what comes in; attitudes and conditions make them an absorbing
//! Markov chain over (station, class of part). The balance scales the supplies until the point of use gets
//! what is promised (without a promise: until the line is at its limit), and gives each station its flow, its
//! rated capacity and its margin. It is what an engineer does by hand; it answers in milliseconds. It knows
//! no randomness of times, no queues and no waiting: where a flow depends on them, it gives bounds. All flows
//! are parts a minute. Invariant: what enters a station leaves it, class by class, to rounding.

mod chain;
mod demand;
mod limit;
pub(crate) mod lu;
mod net;
mod order;
mod programme;
mod report;
mod share_out;
mod simplex;
mod stops;
mod surplus;
#[cfg(test)]
mod tests;
mod ways_out;

pub use report::{
    Balance, ExitFlow, FeedBalance, InletBalance, Note, PointBalance, PoolBalance, SortingBalance,
    StationBalance, SupplyBalance,
};

use crate::diag::{Diagnostics, Problem, code};
use crate::scenario::{self, Checked, Doubts, Goal, Scenario};
use crate::stations::blueprint::{Run, kind_named};
use crate::units::as_stated;
use demand::{Demand, Pace, choosers, load};
use net::Net;
use schemars::JsonSchema;
use serde::Serialize;

/// The balance as a document: of the line, or of each run of its product sequence.
#[derive(Debug, Clone, PartialEq, Serialize, JsonSchema)]
pub struct BalanceResult {
    /// Version of the program.
    pub version: String,
    /// One; or one for each part kind of a product sequence, in the order of their first runs.
    pub balances: Vec<Balance>,
}

impl BalanceResult {
    /// The document of a checked scenario.
    ///
    /// # Errors
    /// As [`solve`].
    pub fn of(scenario: &Scenario) -> Result<Self, Diagnostics> {
        let balances = runs(scenario).into_iter().map(|run| solve_run(scenario, run));
        let version = env!("CARGO_PKG_VERSION").to_owned();
        Ok(BalanceResult { version, balances: balances.collect::<Result<_, _>>()? })
    }

    /// The JSON Schema of this document.
    pub fn schema() -> serde_json::Value {
        schemars::schema_for!(BalanceResult).to_value()
    }
}

/// Solves the balance of a checked scenario; of a product sequence that of the first run.
///
/// # Errors
/// If parts can enter a loop that they can never leave; see [`check`].
pub fn solve(scenario: &Scenario) -> Result<Balance, Diagnostics> {
    solve_run(scenario, runs(scenario)[0])
}

/// The runs of the product sequence that differ in their part; `None` alone where there is no sequence.
fn runs(scenario: &Scenario) -> Vec<Option<Run>> {
    let Some(changeover) = &scenario.plan.changeover else { return vec![None] };
    let mut kinds: Vec<u8> = Vec::new();
    for run in &changeover.runs {
        let kind = kind_named(&scenario.kinds, Some(&run.part));
        if !kinds.contains(&kind) {
            kinds.push(kind);
        }
    }
    kinds.iter().map(|&kind| Some(Run { first: kinds[0], kind })).collect()
}

fn solve_run(scenario: &Scenario, run: Option<Run>) -> Result<Balance, Diagnostics> {
    let mut net = Net::new(scenario, run);
    let mut problems = Diagnostics::new();
    let promised = promised(scenario);
    let rings = ways_out::rings(&net);
    ways_out::report_rings(scenario, &net, &rings, &mut problems);
    if ways_out::check_traps(scenario, &net, &rings, promised, &mut problems) || !rings.is_empty() {
        return Err(problems);
    }
    order::find_orders(&mut net, scenario);
    let choosers = choosers(&net, |supplies| join_order(scenario, &net, supplies));
    let demand = Demand { net: &net, choosers };
    Ok(report::report(scenario, &demand, promised, run))
}

/// Reads a scenario file and checks all of it: what [`check`] can tell is told together with what the reading finds.
pub fn read(source: &str) -> Checked {
    let mut checked = scenario::read(source);
    let found = match (&checked.scenario, &checked.unsound) {
        (Some(scenario), _) => check(scenario),
        (None, Some((scenario, doubts))) => check_unsound(scenario, doubts),
        (None, None) => Diagnostics::new(),
    };
    if found.has_errors() {
        checked.scenario = None;
    }
    checked.problems.extend(found.into_vec());
    checked.problems.sort_by_key(|problem| (problem.span.start, problem.severity));
    checked
}

/// Classes of parts without a way out, as far as they can be told of a scenario with other errors. Rings were told by its
/// reading.
fn check_unsound(scenario: &Scenario, doubts: &Doubts) -> Diagnostics {
    let mut problems = Diagnostics::new();
    if doubts.knows_parts_and_runs(scenario) {
        for run in runs(scenario) {
            let net = Net::of_known(scenario, run, doubts);
            ways_out::check_traps(scenario, &net, &ways_out::rings(&net), None, &mut problems);
        }
    }
    problems
}

/// Checks what the balance can tell of a scenario whose names and connections are sound: loops without a way
/// out (errors), loops with hardly any, and points of use that are too slow for the promise (warnings).
pub fn check(scenario: &Scenario) -> Diagnostics {
    let mut all = Diagnostics::new();
    let mut told = Vec::new();
    for run in runs(scenario) {
        let found = check_run(scenario, run).into_vec();
        // What is wrong in every run is said once.
        for problem in found.iter().filter(|problem| !told.contains(*problem)) {
            all.push(problem.clone());
        }
        told.extend(found);
    }
    if let (Some(rate), false) = (promised(scenario), all.has_errors()) {
        check_points(scenario, rate, &mut all);
    }
    check_points_in_a_row(scenario, &mut all);
    all
}

/// Points of use one of which is beyond another: what passes both counts twice.
fn check_points_in_a_row(scenario: &Scenario, problems: &mut Diagnostics) {
    let at = &scenario.promise.at;
    if at.len() < 2 {
        return;
    }
    let net = Net::new(scenario, runs(scenario)[0]);
    let entry = |name: &str| scenario.stations.iter().position(|entry| entry.id.value == name);
    for (n, first) in at.iter().enumerate() {
        let Some(from) = entry(&first.value) else { continue };
        let beyond = net.beyond(net.nodes[net.node_of[from]].targets.first().copied().flatten());
        let is_beyond = |name: &str| {
            (0..beyond.len()).any(|node| beyond[node] && Some(net.nodes[node].entry) == entry(name))
        };
        for (_, second) in at
            .iter()
            .enumerate()
            .filter(|(m, second)| *m != n && second.value != first.value && is_beyond(&second.value))
        {
            let (one, two) = (&first.value, &second.value);
            let message =
                format!("what `{one}` hands on comes to `{two}`: parts that pass both are counted twice");
            let problem = Problem::new(code::UNUSUAL_VALUE, message);
            problems.warning(&second.place, problem.help("name one of them"));
        }
    }
}

fn check_run(scenario: &Scenario, run: Option<Run>) -> Diagnostics {
    let net = Net::new(scenario, run);
    let mut problems = Diagnostics::new();
    let promised = promised(scenario);
    let rings = ways_out::rings(&net);
    ways_out::report_rings(scenario, &net, &rings, &mut problems);
    ways_out::check_clumps(scenario, &mut problems);
    if ways_out::check_traps(scenario, &net, &rings, promised, &mut problems) || !rings.is_empty() {
        return problems;
    }
    ways_out::check_slow_loops(scenario, &net, promised.unwrap_or(1.0), &mut problems);
    problems
}

/// Highest rate that a clause asks for, good parts/s.
fn promised(scenario: &Scenario) -> Option<f64> {
    let rates = scenario.promise.clauses.iter().filter_map(|clause| match clause.goal {
        Goal::MeanRate(rate) | Goal::ShiftRate { rate, .. } => Some(rate),
        Goal::FeedAvailability(_) => None,
    });
    rates.reduce(f64::max)
}

/// Whether the points of use are fast enough by their own cycle (ruling 6), in the fastest run of a product sequence: a
/// rate is promised for all runs together.
fn check_points(scenario: &Scenario, rate: f64, problems: &mut Diagnostics) {
    let net_of = |run: Option<Run>| {
        let mut net = Net::new(scenario, run);
        order::find_orders(&mut net, scenario);
        net
    };
    let nets: Vec<Net> = runs(scenario).into_iter().map(net_of).collect();
    let capacity = nets.iter().map(|net| capacity_of_points(net, rate)).fold(0.0, f64::max);
    let net = &nets[0];
    let Some(&first) = net.points.first() else { return };
    if !capacity.is_finite() || capacity >= rate * 1.01 {
        return;
    }
    let names: Vec<String> = net
        .points
        .iter()
        .map(|&point| format!("`{}`", scenario.stations[net.nodes[point].entry].id.value))
        .collect();
    let (names, can, wanted) = (names.join(" and "), as_stated(60.0 * capacity), as_stated(60.0 * rate));
    let message = if capacity < rate {
        format!("{names} can do {can} a minute at most; the promised {wanted} cannot be reached")
    } else {
        format!(
            "{names} can do {can} a minute at most, hardly more than the promised {wanted}: any lack of parts breaks the promise"
        )
    };
    let problem = Problem::new(code::CANNOT_REACH, message);
    let place = &scenario.stations[net.nodes[first].entry].place;
    problems.warning(place, problem.help("shorten the cycle, or promise less"));
}

/// Good parts/s that the points of use can do together.
fn capacity_of_points(net: &Net, rate: f64) -> f64 {
    let demand = Demand { net, choosers: Vec::new() };
    let flows = demand.flows(rate, &[]);
    let of_point = |point: &usize| {
        let busy = load(net, &flows.total, *point, Pace::Best);
        let flow = demand::node_flow(net, &flows.total, *point);
        if busy > 0.0 { flow / busy } else { f64::INFINITY }
    };
    let capacity: f64 = net.points.iter().map(of_point).sum();
    // Only good parts count.
    capacity * if flows.completed > 0.0 { flows.good / flows.completed } else { 1.0 }
}

/// Order in which supplies are taken at a join that states a priority between them.
fn join_order(scenario: &Scenario, net: &Net, supplies: &[usize]) -> Option<Vec<usize>> {
    for (entry, of) in scenario.stations.iter().enumerate() {
        if of.priority.is_empty() {
            continue;
        }
        // On the way there for the first time: what comes round again was let in before.
        let join = net.node_of[entry];
        let ways = |supply: usize| net.beyond_without(Some(net.supplies[supply].node), &[join]);
        if !supplies.iter().all(|&supply| ways(supply)[join]) {
            continue;
        }
        let rank = |&supply: &usize| {
            let through = |name: &str| {
                let beyond = ways(supply);
                let named = |node: &net::Node| scenario.stations[node.entry].id.value == name;
                (0..net.nodes.len()).any(|node| {
                    let gives =
                        net.nodes[node].targets.iter().flatten().any(|&to| net.nodes[to].entry == entry);
                    beyond[node] && named(&net.nodes[node]) && gives
                })
            };
            of.priority.iter().position(|name| through(&name.value)).unwrap_or(of.priority.len())
        };
        let ranks: Vec<usize> = supplies.iter().map(rank).collect();
        if ranks.iter().any(|rank| *rank != ranks[0]) {
            let mut order: Vec<usize> = (0..supplies.len()).collect();
            order.sort_by_key(|&n| ranks[n]);
            return Some(order);
        }
    }
    None
}
