//! Loops without a way out, and loops with hardly any (ruling 26).
//!
//! Three things are found: rings of stations that lead nowhere; classes of parts that go round for ever; and
//! classes that go round very often. It judges shares only, not whether there is room.

use super::chain::Chain;
use super::demand::{Demand, node_flow};
use super::net::{Net, bins, comes_back_without_bin};
use crate::components::components;
use crate::diag::{Diagnostics, Place, Problem, code};
use crate::kernel::UNLIMITED;
use crate::scenario::{Scenario, Ways};

/// More passes than this on the mean are worth a warning.
const MANY_PASSES: f64 = 1000.0;

/// Rings of stations that no part can leave, as nodes.
pub(super) fn rings(net: &Net) -> Vec<Vec<usize>> {
    let next = |node: usize| -> Vec<usize> { net.nodes[node].targets.iter().flatten().copied().collect() };
    let mut found = Vec::new();
    for ring in components(net.nodes.len(), next) {
        let loops = ring.len() > 1 || next(ring[0]).contains(&ring[0]);
        let leads_out = |&node: &usize| {
            let of = &net.nodes[node];
            of.absorbs || of.targets.iter().any(|to| to.is_none_or(|to| !ring.contains(&to)))
        };
        if loops && !ring.iter().any(leads_out) {
            found.push(ring);
        }
    }
    found
}

/// Reports rings.
pub(super) fn report_rings(scenario: &Scenario, net: &Net, rings: &[Vec<usize>], problems: &mut Diagnostics) {
    for ring in rings {
        let (names, place) = stations(scenario, net, ring);
        let problem = Problem::new(code::NO_WAY_OUT, format!("no part can leave the loop {names}"));
        problems.error(&place, problem.help("give one of these stations an exit that leads on"));
    }
}

/// A class of parts (several attitudes, maybe) that goes round very often.
#[derive(Debug)]
struct Slow {
    kind: usize,
    condition: usize,
    node: usize,
    /// Its states at the node.
    states: Vec<usize>,
    /// Most mean passes of the attitudes.
    passes: f64,
}

/// A class of parts (several attitudes, maybe) that goes round in a loop for ever.
#[derive(Debug)]
struct Trap {
    kind: usize,
    condition: usize,
    states: Vec<usize>,
}

/// Reports classes that cannot leave a loop; true if there are any. Where no part at all can leave, in `rings`, that was
/// reported. `demand` is in parts/s.
pub(super) fn check_traps(
    scenario: &Scenario,
    net: &Net,
    rings: &[Vec<usize>],
    demand: Option<f64>,
    problems: &mut Diagnostics,
) -> bool {
    let chain = net.chain(&net.even_shares());
    let reached = chain.reached(net.starts(&chain).into_iter());
    let with_way = chain.with_way_out();
    let stuck: Vec<bool> = reached.iter().zip(&with_way).map(|(reached, way)| *reached && !*way).collect();
    if !stuck.contains(&true) {
        return false;
    }
    let flows = demand.map(|demand| Demand { net, choosers: Vec::new() }.flows(demand, &[]).total);
    let in_a_ring = |state: &usize| rings.iter().flatten().any(|node| *node == state / net.n_classes);
    for trap in traps(net, &chain, &stuck).iter().filter(|trap| !trap.states.iter().all(in_a_ring)) {
        report_trap(scenario, net, &chain, trap, flows.as_deref(), problems);
    }
    true
}

/// Closed loops of stuck states, put together by condition and stations.
fn traps(net: &Net, chain: &Chain, stuck: &[bool]) -> Vec<Trap> {
    let mut traps: Vec<Trap> = Vec::new();
    let next = |state: usize| -> Vec<usize> {
        if stuck[state] { chain.row(state).iter().map(|(to, _)| *to).collect() } else { Vec::new() }
    };
    let nodes = |states: &[usize]| -> Vec<usize> {
        let mut nodes: Vec<usize> = states.iter().map(|state| state / net.n_classes).collect();
        nodes.sort_unstable();
        nodes.dedup();
        nodes
    };
    for component in components(net.n_states(), next) {
        let is_closed = |&state: &usize| next(state).iter().all(|to| component.binary_search(to).is_ok());
        if !stuck[component[0]] || !component.iter().all(is_closed) {
            continue;
        }
        let (kind, condition, _) = net.class_names[component[0] % net.n_classes];
        let same = traps.iter_mut().find(|trap| {
            (trap.kind, trap.condition) == (kind, condition) && nodes(&trap.states) == nodes(&component)
        });
        match same {
            Some(trap) => trap.states.extend(component),
            None => traps.push(Trap { kind, condition, states: component }),
        }
    }
    traps.sort_by_key(|trap| (trap.kind, trap.condition, trap.states.clone()));
    traps
}

fn report_trap(
    scenario: &Scenario,
    net: &Net,
    chain: &Chain,
    trap: &Trap,
    flows: Option<&[f64]>,
    problems: &mut Diagnostics,
) {
    let nodes: Vec<usize> = trap.states.iter().map(|state| state / net.n_classes).collect();
    let attitudes: Vec<usize> =
        trap.states.iter().map(|state| net.class_names[state % net.n_classes].2).collect();
    let class = class_text(scenario, trap.kind, trap.condition, &attitudes);
    let (names, place) = stations(scenario, net, &nodes);
    let mut message = format!("{class} can never leave the loop {names}");
    // Stuck states absorb in the flows: what comes into them is what enters the loop.
    let leading = chain.leading_to(trap.states.iter().copied());
    let with_way = chain.with_way_out();
    let entering = flows.map(|flows| -> f64 {
        let stuck = (0..flows.len()).filter(|&state| leading[state] && !with_way[state]);
        stuck.map(|state| flows[state]).sum()
    });
    if let (Some(entering), Some(room)) = (entering, room(scenario, net, &nodes))
        && entering > 0.0
    {
        let text = time_text(room / entering);
        message.push_str(&format!("; at the demanded rate they fill it ({room} places) in {text}"));
    }
    let problem = Problem::new(code::NO_WAY_OUT, message);
    problems.error(
        &place,
        problem.help("give these parts an exit out of the loop, such as a screen or a scrap box"),
    );
}

/// Reports clumps that go round for ever: what goes back to a bin is untangled there, other ways keep them tangled.
pub(super) fn check_clumps(scenario: &Scenario, problems: &mut Diagnostics) {
    let (ways, bins) = (Ways::of(scenario), bins(scenario));
    for (ix, entry) in scenario.stations.iter().enumerate() {
        let Some((exit, place)) = entry.blueprint.exit_of_lasting_clumps() else { continue };
        if comes_back_without_bin(&ways, &bins, ix).get(usize::from(exit)) == Some(&true) {
            let message =
                "clumps never break up, and come back without a bin on the way: they fill their loop";
            let help =
                "give a chance above 0 for `breaks_up`, or lead the rejects of the first tool back to a bin";
            problems.warning(place, Problem::new(code::NO_WAY_OUT, message).help(help));
        }
    }
}

/// Reports classes that go round very often on the mean. `demand` is in parts/s.
pub(super) fn check_slow_loops(scenario: &Scenario, net: &Net, demand: f64, problems: &mut Diagnostics) {
    let flows = Demand { net, choosers: Vec::new() }.flows(demand, &[]);
    let chain = net.chain(&net.even_shares());
    let starts = net.starts(&chain);
    let solver = chain.prepared(starts.into_iter());
    let busiest = |states: &[usize]| {
        let nodes = states.iter().map(|state| state / net.n_classes);
        nodes.max_by(|&a, &b| {
            node_flow(net, &flows.total, a).total_cmp(&node_flow(net, &flows.total, b)).then(b.cmp(&a))
        })
    };
    let mut found: Vec<Slow> = Vec::new();
    for block in solver.loops() {
        let Some(node) = busiest(&block) else { continue };
        let visits = solver.visits(&block, |state| state / net.n_classes == node);
        for (&state, passes) in block.iter().zip(visits) {
            if state / net.n_classes != node || passes <= MANY_PASSES || flows.total[state] <= 0.0 {
                continue;
            }
            let (kind, condition, _) = net.class_names[state % net.n_classes];
            match found.iter_mut().find(|f| (f.kind, f.condition, f.node) == (kind, condition, node)) {
                Some(same) => {
                    same.states.push(state);
                    same.passes = same.passes.max(passes);
                }
                None => found.push(Slow { kind, condition, node, states: vec![state], passes }),
            }
        }
    }
    for Slow { kind, condition, node, states, passes } in found {
        let attitudes: Vec<usize> = states.iter().map(|s| net.class_names[s % net.n_classes].2).collect();
        let class = class_text(scenario, kind, condition, &attitudes);
        let station = &scenario.stations[net.nodes[node].entry];
        let flow: f64 = states.iter().map(|&state| flows.total[state]).sum();
        let share = 100.0 * flow / node_flow(net, &flows.total, node);
        let message = format!(
            "{class} pass `{}` {passes:.0} times on the mean before they leave its loop, and make up {share:.2} % of what passes there",
            station.id.value
        );
        let problem = Problem::new(code::HARDLY_A_WAY_OUT, message);
        problems.warning(&station.place, problem.help("give these parts a surer way out of the loop"));
    }
}

/// "`knob`, chipped, face up or on its side": kind, condition, attitudes, as far as there are several.
fn class_text(scenario: &Scenario, kind: usize, condition: usize, attitudes: &[usize]) -> String {
    let of = &scenario.kinds[kind];
    let mut text = format!("parts `{}`", of.name);
    if of.conditions.len() > 1 {
        text.push_str(&format!(", {}", of.conditions[condition]));
    }
    let named: Vec<&str> =
        (0..of.attitudes.len()).filter(|a| attitudes.contains(a)).map(|a| of.attitudes[a].as_str()).collect();
    let natural = (0..of.attitudes.len()).filter(|&a| of.attitude_shares[a] > 0.0);
    if !natural.clone().all(|a| attitudes.contains(&a)) {
        text.push_str(&format!(", {}", named.join(" or ")));
    }
    text
}

/// Names of the stations of some nodes in file order, and the place of the first.
fn stations(scenario: &Scenario, net: &Net, nodes: &[usize]) -> (String, Place) {
    let mut entries: Vec<usize> = nodes.iter().map(|&node| net.nodes[node].entry).collect();
    entries.sort_unstable();
    entries.dedup();
    let names: Vec<String> =
        entries.iter().map(|&entry| format!("`{}`", scenario.stations[entry].id.value)).collect();
    (names.join(", "), scenario.stations[entries[0]].place.clone())
}

/// Parts that the tracks, belts and bins of a loop hold; `None` without a limit, or if there are none.
fn room(scenario: &Scenario, net: &Net, nodes: &[usize]) -> Option<f64> {
    let mut entries: Vec<usize> = nodes.iter().map(|&node| net.nodes[node].entry).collect();
    entries.sort_unstable();
    entries.dedup();
    let mut room = 0.0;
    for entry in entries {
        let of = &scenario.stations[entry];
        if let Some(body) = of.blueprint.body(&scenario.kinds, &of.id.value) {
            if body.capacity() == UNLIMITED {
                return None;
            }
            room += f64::from(body.capacity()) * f64::from(of.count);
        }
    }
    (room > 0.0).then_some(room)
}

fn time_text(seconds: f64) -> String {
    if seconds < 120.0 {
        format!("{seconds:.0} s")
    } else if seconds < 7200.0 {
        format!("{:.0} min", seconds / 60.0)
    } else {
        format!("{:.1} h", seconds / 3600.0)
    }
}
