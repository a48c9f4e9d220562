//! The most that a line can deliver by the count of flows, and the bounds of flows that follow room.

use super::demand::{Chooser, Demand, Flows, load, node_flow};
use super::share_out::Rule;
use super::surplus;

/// Load that still counts as possible.
const FULL: f64 = 1.0 + 1e-11;
/// Most times that a demand is doubled or halved.
const DOUBLINGS: usize = 200;
/// Most combinations of orders that are tried for bounds.
const COMBINATIONS: usize = 32;

/// The most good parts/s at the points of use.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(super) enum Most {
    /// So many.
    Of(f64),
    /// Nothing limits them.
    Unlimited,
    /// Not found: shares that follow room do not settle, as where others are filled before a point of use.
    Unknown,
}

impl Most {
    /// The most, if there is a limit and it was found.
    pub(super) fn found(self) -> Option<f64> {
        match self {
            Most::Of(most) => Some(most),
            Most::Unlimited | Most::Unknown => None,
        }
    }
}

impl Demand<'_> {
    /// Highest load of all stations and supplies that are not driven, and the node where it is.
    pub(super) fn highest_load(&self, flows: &Flows) -> (f64, Option<usize>) {
        let net = self.net;
        let mut highest = (0.0, None);
        let mut see = |load: f64, node: usize| {
            if load > highest.0 * FULL {
                highest = (load, Some(node));
            }
        };
        for node in (0..net.nodes.len()).filter(|&node| !net.nodes[node].absorbs) {
            see(load(net, &flows.total, node), node);
        }
        for (supply, scale) in net.supplies.iter().zip(&flows.scale) {
            if !supply.is_driven {
                see(scale / supply.most_per_s, supply.node);
            }
        }
        highest
    }

    fn at(&self, demand: f64) -> Flows {
        self.flows(demand, &self.choosers)
    }

    /// The most good parts/s at the points of use.
    pub(super) fn most(&self) -> Most {
        let net = self.net;
        let first = self.at(1.0);
        let has_streams = net.supplies.iter().any(|supply| supply.is_driven);
        if has_streams && (self.at(2.0).good - first.good).abs() <= 1e-9 * first.good {
            // Only streams serve the points of use: they bring what they bring, or what the line lets through.
            return Most::Of(first.good / self.highest_load(&first).0.max(1.0));
        }
        if self.choosers.is_empty() && !has_streams {
            let (load, _) = self.highest_load(&first);
            return if load > 0.0 { Most::Of(first.good / load) } else { Most::Unlimited };
        }
        self.search(first)
    }

    /// By bisection: loads never fall when the demand rises.
    fn search(&self, first: Flows) -> Most {
        let is_possible = |flows: &Flows, demand: f64| {
            self.highest_load(flows).0 <= FULL && flows.good >= demand * (2.0 - FULL)
        };
        let start = self.highest_load(&first).0;
        if start <= 0.0 {
            return if first.is_settled { Most::Unlimited } else { Most::Unknown };
        }
        let (mut low, mut high) = (0.0, 1.0 / start);
        for _ in 0..DOUBLINGS {
            if !is_possible(&self.at(high), high) {
                break;
            }
            (low, high) = (high, high * 2.0);
        }
        if low == 0.0 {
            for _ in 0..DOUBLINGS {
                low = high / 2.0;
                if is_possible(&self.at(low), low) {
                    break;
                }
                (low, high) = (0.0, low);
            }
        }
        for _ in 0..45 {
            let middle = (low + high) / 2.0;
            if is_possible(&self.at(middle), middle) { low = middle } else { high = middle }
        }
        // A demand just above has to be too much for sure, and the one below to be had for sure.
        let is_sure = low > 0.0 && self.at(low).is_settled && self.at(high * 1.001).is_settled;
        if is_sure { Most::Of(low) } else { Most::Unknown }
    }

    /// Lowest and highest flow through each node over all orders in which room may be taken, and with any surplus
    /// that goes round; `None` if there are too many orders. Exact where at most three share, and for stations that only one of them leads to.
    pub(super) fn bounds(&self, demand: f64, flows: &Flows) -> Option<Vec<(f64, f64)>> {
        let net = self.net;
        let of = |flows: &Flows, node: usize| node_flow(net, &flows.total, node);
        let mut bounds: Vec<(f64, f64)> =
            (0..net.nodes.len()).map(|node| (of(flows, node), of(flows, node))).collect();
        let mut all: Vec<Vec<(Chooser, Rule)>> = vec![Vec::new()];
        for (chooser, _) in &self.choosers {
            let orders = orders(chooser.len(net));
            if all.len() * orders.len() > COMBINATIONS {
                return None;
            }
            let with = |before: &Vec<(Chooser, Rule)>| -> Vec<Vec<(Chooser, Rule)>> {
                let one = |order: &Vec<usize>| {
                    let mut choosers = before.clone();
                    choosers.push((chooser.clone(), Rule::InOrder(order.clone())));
                    choosers
                };
                orders.iter().map(one).collect()
            };
            all = all.iter().flat_map(with).collect();
        }
        for choosers in all.iter().filter(|choosers| !choosers.is_empty()) {
            let flows = self.flows(demand, choosers);
            for (node, bounds) in bounds.iter_mut().enumerate() {
                let flow = of(&flows, node);
                *bounds = (bounds.0.min(flow), bounds.1.max(flow));
            }
        }
        surplus::widen(net, flows, &mut bounds);
        Some(bounds)
    }
}

/// Orders of `n` takers in which each is first once and last once, at least.
fn orders(n: usize) -> Vec<Vec<usize>> {
    let turned = |by: usize| -> Vec<usize> { (0..n).map(|k| (k + by) % n).collect() };
    let mut orders: Vec<Vec<usize>> = (0..n).map(turned).collect();
    if n > 2 {
        let back: Vec<Vec<usize>> =
            orders.iter().map(|order| order.iter().rev().copied().collect()).collect();
        orders.extend(back);
    }
    orders
}
