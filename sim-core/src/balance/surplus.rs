//! Bounds of flows around a path that runs on when its way on is full (overflow).
//!
//! Such a path takes more than is demanded, up to its capacity; what is surplus goes round. How much it is hangs on
//! chance and on sensors, so the balance gives bounds (ruling 27): from the demanded flow up to the capacity for the
//! path, and as much more for what lies between its exits and its entry. What leaves the loop does not change: surplus
//! parts are the same ones again.

use super::demand::{Flows, load, node_flow};
use super::net::Net;

/// Raises the upper bounds.
pub(super) fn widen(net: &Net, flows: &Flows, bounds: &mut [(f64, f64)]) {
    for path in (0..net.nodes.len()).filter(|&node| net.nodes[node].overflows) {
        let spare = spare(net, flows, path);
        if !spare.is_finite() || spare <= 0.0 {
            continue;
        }
        let between = loop_of(net, path);
        for node in (0..net.nodes.len()).filter(|&node| between[node]) {
            bounds[node].1 += spare.min(self::spare(net, flows, node).max(0.0));
        }
    }
}

/// What a node could take on top of its flow.
fn spare(net: &Net, flows: &Flows, node: usize) -> f64 {
    let (flow, busy) = (node_flow(net, &flows.total, node), load(net, &flows.total, node));
    if busy > 0.0 { flow / busy - flow } else { f64::INFINITY }
}

/// The path itself, and the nodes on a way from an exit other than the way on back to it. What goes back into an
/// endless bin can come out of it.
fn loop_of(net: &Net, path: usize) -> Vec<bool> {
    let open = |node: usize| net.beyond(Some(net.node_of[net.nodes[node].entry]));
    let mut between = vec![false; net.nodes.len()];
    for &target in net.nodes[path].targets[1..].iter().flatten() {
        let from_exit = open(target);
        for node in (0..net.nodes.len()).filter(|&node| from_exit[node] && net.beyond(Some(node))[path]) {
            between[node] = true;
        }
    }
    between
}
