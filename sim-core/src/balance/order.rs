//! Whether parts come to a station that goes from side to side in an order that is independent of their sides.
//!
//! Then the next part is for another side than the last one with a known chance, and the time in which the station goes
//! across is a number; in any other order it has bounds only (ruling 27). Sources draw each part by itself, and places keep
//! the order. What can make an order is a join of flows in which not the same share of the parts is for each side (rows
//! of one sort from one lane, rows of another from the next), times by class where parts can overtake each other, and
//! containers or shifts that differ. It computes no times.

use super::chain::Solver;
use super::demand::{Demand, Flows, to_sides};
use super::net::{Net, SideOrder};
use crate::scenario::Scenario;
use crate::stations::blueprint::Split;
use crate::terms::kind::LotSpread;

/// Shares that differ by less are the same.
const SAME: f64 = 1e-9;

/// Parts that come to a node on one way, from one supply.
struct Arrival {
    to: usize,
    /// Whether a source brings them there.
    is_fresh: bool,
    /// Parts/s by class.
    mix: Vec<f64>,
}

/// Notes at the stations that go from side to side what is known of the sides of their parts.
pub(super) fn find_orders(net: &mut Net, scenario: &Scenario) {
    let has_sides =
        |node: &usize| net.nodes[*node].sides.is_some() && net.nodes[*node].split == Split::ByClass;
    let with_sides: Vec<usize> = (0..net.nodes.len()).filter(has_sides).collect();
    let differs = |spread: &LotSpread| *spread != LotSpread::default();
    let lots_differ = scenario.kinds.iter().any(|kind| differs(&kind.lots) || differs(&kind.shifts));
    if with_sides.is_empty() {
        return;
    }
    let flows = Demand { net, choosers: Vec::new() }.flows(1.0, &[]);
    let arrivals = arrivals(net, &flows);
    let orders: Vec<SideOrder> =
        with_sides.iter().map(|&node| order_at(net, &flows, &arrivals, node)).collect();
    for (node, order) in with_sides.into_iter().zip(orders) {
        net.nodes[node].order = if lots_differ { order.max(SideOrder::Shares) } else { order };
    }
}

/// What comes to each node on each way.
fn arrivals(net: &Net, flows: &Flows) -> Vec<Arrival> {
    let mut arrivals = Vec::new();
    for (supply, response) in net.supplies.iter().zip(&flows.response) {
        if supply.assembly.is_none() {
            let mut mix = vec![0.0; net.n_classes];
            supply.mix.iter().for_each(|(class, share)| mix[*class] += share);
            arrivals.push(Arrival { to: supply.node, is_fresh: true, mix });
        }
        for node in 0..net.nodes.len() {
            for (exit, mix) in exits_of(net, flows, response, node).into_iter().enumerate() {
                if let Some(to) = net.nodes[node].targets[exit].filter(|_| mix.iter().any(|flow| *flow > 0.0))
                {
                    arrivals.push(Arrival { to, is_fresh: false, mix });
                }
            }
        }
    }
    arrivals
}

/// Parts/s by class through each exit of a node.
fn exits_of(net: &Net, flows: &Flows, flow: &[f64], node: usize) -> Vec<Vec<f64>> {
    let of = &net.nodes[node];
    let mut exits = vec![vec![0.0; net.n_classes]; of.targets.len()];
    for class in (0..net.n_classes).filter(|_| !of.absorbs) {
        for (exit, to, share) in of.routes_by(&flows.shares[node], class) {
            if let Some(exit) = exits.get_mut(exit) {
                exit[to] += flow[net.state(node, class)] * share;
            }
        }
    }
    exits
}

fn order_at(net: &Net, flows: &Flows, arrivals: &[Arrival], node: usize) -> SideOrder {
    let ahead: Vec<bool> = (0..net.nodes.len()).map(|from| net.beyond(Some(from))[node]).collect();
    // What is assembled comes in an order that hangs on more than one flow.
    if net.supplies.iter().any(|supply| supply.assembly.is_some() && ahead[supply.node]) {
        return SideOrder::Any;
    }
    let kept: Vec<bool> = (0..net.n_states()).map(|state| state / net.n_classes != node).collect();
    let starts =
        arrivals.iter().flat_map(|arrival| (0..net.n_classes).map(|class| net.state(arrival.to, class)));
    let to_node = net.chain(&net.even_shares()).absorbing_outside(&kept).prepared(starts);
    let coming: Vec<(&Arrival, Vec<f64>)> = arrivals
        .iter()
        .filter(|arrival| ahead[arrival.to])
        .filter_map(|arrival| Some((arrival, sides_of(net, &to_node, arrival, node)?)))
        .collect();
    let before = |other: &usize| ahead[*other] && *other != node;
    let before: Vec<usize> = (0..net.nodes.len()).filter(before).collect();
    let fresh: Vec<&Vec<f64>> =
        coming.iter().filter(|(arrival, _)| arrival.is_fresh).map(|(_, sides)| sides).collect();
    let shares_hang_on_room =
        before.iter().any(|&other| !net.nodes[other].split.is_stated() || net.nodes[other].has_other_ways());
    if fresh.iter().any(|sides| differ(sides, fresh[0])) || shares_hang_on_room {
        return SideOrder::Any;
    }
    let mut joins = false;
    for &other in before.iter().chain([&node]) {
        let mut into = coming.iter().filter(|(arrival, _)| arrival.to == other).map(|(_, sides)| sides);
        let Some(first) = into.next() else { continue };
        let more: Vec<&Vec<f64>> = into.collect();
        if more.iter().any(|sides| differ(sides, first)) {
            return SideOrder::Shares;
        }
        joins |= !more.is_empty();
    }
    let can_overtake = joins || before.iter().any(|&other| net.nodes[other].places > 1.0);
    if can_overtake && before.iter().any(|&other| has_times_by_class(net, flows, other)) {
        SideOrder::Shares
    } else {
        SideOrder::Independent
    }
}

fn differ(one: &[f64], other: &[f64]) -> bool {
    one.iter().zip(other).any(|(a, b)| (a - b).abs() > SAME)
}

/// Shares of the sides to which a station sends what comes to it of an arrival; `None` if nothing does.
fn sides_of(net: &Net, to_node: &Solver, arrival: &Arrival, node: usize) -> Option<Vec<f64>> {
    let mut start = vec![0.0; net.n_states()];
    for (class, flow) in arrival.mix.iter().enumerate() {
        start[net.state(arrival.to, class)] = *flow;
    }
    let to = to_sides(net, &to_node.flows(&start), node);
    let all: f64 = to.iter().sum();
    (all > 0.0).then(|| to.iter().map(|one| one / all).collect())
}

fn has_times_by_class(net: &Net, flows: &Flows, node: usize) -> bool {
    let comes = |class: &usize| flows.response.iter().any(|flow| flow[net.state(node, *class)] > 0.0);
    let seconds = &net.nodes[node].seconds;
    let mut times = (0..net.n_classes).filter(comes).map(|class| seconds[class]);
    let Some(first) = times.next() else { return false };
    times.any(|time| time != first)
}
