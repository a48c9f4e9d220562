//! Bounds of flows around a lift that runs on when its way on is full, and spills back.
//!
//! Such a lift takes more than is demanded, up to its capacity; what is surplus falls back to where it came from. How much it
//! is hangs on chance and on sensors, so the balance gives bounds (ruling 27). Nothing else changes: surplus parts are the
//! same ones again.

use super::demand::{Flows, Pace, load, node_flow};
use super::net::Net;

/// Raises the upper bounds where a lift runs on and spills back: its own, and those of what it takes from.
pub(super) fn widen(net: &Net, flows: &Flows, bounds: &mut [Option<(f64, f64)>]) {
    for lift in (0..net.nodes.len()).filter(|&node| net.nodes[node].spills) {
        let spare = spare(net, flows, lift);
        let gives = |node: usize| net.nodes[node].targets.contains(&Some(lift));
        for node in (0..net.nodes.len()).filter(|&node| node == lift || gives(node)) {
            if let Some(bounds) = bounds[node].as_mut().filter(|_| spare.is_finite() && spare > 0.0) {
                let all =
                    if node == lift { node_flow(net, &flows.total, lift) + spare } else { f64::INFINITY };
                bounds.1 = (bounds.1 + spare).min(all).max(bounds.1);
            }
        }
    }
}

/// What a node could take on top of its flow; of one without any flow, of the parts that take it the least time.
fn spare(net: &Net, flows: &Flows, node: usize) -> f64 {
    let (flow, busy) = (node_flow(net, &flows.total, node), load(net, &flows.total, node, Pace::Best));
    if busy > 0.0 {
        return flow / busy - flow;
    }
    let of = &net.nodes[node];
    let least_s = of.seconds.iter().copied().filter(|seconds| *seconds > 0.0).fold(f64::INFINITY, f64::min);
    if least_s.is_finite() { of.places / least_s } else { f64::INFINITY }
}
