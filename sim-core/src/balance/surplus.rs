//! Bounds of flows around a path or lift that runs on when its way on is full (overflow, spilling back).
//!
//! Such a path takes more than is demanded, up to its capacity; what is surplus goes round. How much it is hangs on
//! chance and on sensors, so the balance gives bounds (ruling 27): from the demanded flow up to the capacity for the
//! path, and as much more for what lies between its exits and its entry. What leaves the loop does not change: surplus
//! parts are the same ones again.

use super::demand::{Flows, Pace, load, node_flow};
use super::net::Net;

/// Raises the upper bounds.
pub(super) fn widen(net: &Net, flows: &Flows, bounds: &mut [Option<(f64, f64)>]) {
    widen_lifts(net, flows, bounds);
    for path in (0..net.nodes.len()).filter(|&node| net.nodes[node].overflow.is_some()) {
        let spare = spare(net, flows, path);
        if !spare.is_finite() || spare <= 0.0 {
            continue;
        }
        widen_ahead(net, flows, path, spare, bounds);
        let between = loop_of(net, path);
        for node in (0..net.nodes.len()).filter(|&node| between[node]) {
            if let Some(bounds) = &mut bounds[node] {
                bounds.1 += spare.min(self::spare(net, flows, node).max(0.0));
            }
        }
    }
}

/// Raises the upper bounds of what leads to a path whose surplus does not come back, and of what its surplus goes to: as
/// much more has to come as goes away.
fn widen_ahead(net: &Net, flows: &Flows, path: usize, spare: f64, bounds: &mut [Option<(f64, f64)>]) {
    let away = net.nodes[path].overflow.and_then(|exit| net.nodes[path].targets[exit]);
    let away = away.map(|node| net.node_of[net.nodes[node].entry]);
    let beyond = net.beyond(away);
    let flow = node_flow(net, &flows.total, path);
    if beyond[path] || flow <= 0.0 {
        return;
    }
    for node in (0..net.nodes.len()).filter(|&node| node != path) {
        let more = if beyond[node] {
            spare
        } else if net.beyond(Some(node))[path] {
            node_flow(net, &flows.total, node) * spare / flow
        } else {
            continue;
        };
        if let Some(bounds) = &mut bounds[node] {
            bounds.1 += more.min(self::spare(net, flows, node).max(0.0));
        }
    }
}

/// Raises the upper bounds where a lift runs on and spills back: its own, and those of what it takes from.
fn widen_lifts(net: &Net, flows: &Flows, bounds: &mut [Option<(f64, f64)>]) {
    for lift in (0..net.nodes.len()).filter(|&node| net.nodes[node].spills) {
        let spare = spare(net, flows, lift);
        let gives = |node: usize| net.nodes[node].targets.contains(&Some(lift));
        for node in (0..net.nodes.len()).filter(|&node| node == lift || gives(node)) {
            if let Some(bounds) = bounds[node].as_mut().filter(|_| spare.is_finite() && spare > 0.0) {
                bounds.1 += spare;
            }
        }
    }
}

/// What a node could take on top of its flow.
fn spare(net: &Net, flows: &Flows, node: usize) -> f64 {
    let (flow, busy) = (node_flow(net, &flows.total, node), load(net, &flows.total, node, Pace::Best));
    if busy > 0.0 { flow / busy - flow } else { f64::INFINITY }
}

/// The path itself, and the nodes on a way from an exit other than the way on back to it. What goes back into an
/// endless bin can come out of it.
fn loop_of(net: &Net, path: usize) -> Vec<bool> {
    let open = |node: usize| net.beyond(Some(net.node_of[net.nodes[node].entry]));
    let mut between = vec![false; net.nodes.len()];
    between[path] = true;
    for &target in net.nodes[path].targets[1..].iter().flatten() {
        let from_exit = open(target);
        for node in (0..net.nodes.len()).filter(|&node| from_exit[node] && net.beyond(Some(node))[path]) {
            between[node] = true;
        }
    }
    between
}
