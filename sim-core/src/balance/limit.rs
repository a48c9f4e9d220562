//! The most that a line can deliver by the count of flows, and the bounds of flows that follow room.

use super::demand::{Demand, Flows, Pace, load, node_flow};
use super::programme::{Aim, Outcome, Programme, Room, Solution};
use super::surplus;

/// Load that still counts as possible.
const FULL: f64 = 1.0 + 1e-11;
/// Two numbers that differ by less, as a share, are one.
const SAME: f64 = 1e-8;
/// A little more than the most, to see what is short.
const OVER: f64 = 1.001;

/// The most good parts/s at the points of use.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(super) enum Most {
    /// So many.
    Of(f64),
    /// From so many, if those that are served before take all that they can, to so many, if they leave as much as can be:
    /// how much room others have hangs on chance.
    Between(f64, f64),
    /// Nothing limits them.
    Unlimited,
    /// Not found: mixes that follow room do not settle, or parts may go more ways than are counted.
    Unknown,
}

impl Most {
    /// The lowest and the highest, if there is a limit and it was found.
    pub(super) fn found(self) -> Option<(f64, f64)> {
        match self {
            Most::Of(most) => Some((most, most)),
            Most::Between(low, high) => Some((low, high)),
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
            see(load(net, &flows.total, node, Pace::Rated), node);
        }
        for (supply, scale) in net.supplies.iter().zip(&flows.scale) {
            if !supply.is_driven {
                see(scale / supply.most_per_s, supply.node);
            }
        }
        highest
    }

    /// The most good parts/s at the points of use, and the station that limits them.
    pub(super) fn most(&self) -> (Most, Option<usize>) {
        if self.net.has_uncounted_ways {
            return (Most::Unknown, None);
        }
        if self.choosers.is_empty() && !self.has_streams() && self.net.is_sure() && self.each_serves_alone() {
            let first = self.flows(1.0, &[]);
            let (load, node) = self.highest_load(&first);
            if first.is_settled && load > 0.0 {
                return (Most::Of(first.good / load), node);
            }
        }
        let programme = self.programme();
        let high = match programme.reach(None, &[Aim::Good], Room::Any) {
            Outcome::Settled(solution) => solution,
            Outcome::Endless => return (Most::Unlimited, None),
            Outcome::Unsettled => return (Most::Unknown, None),
        };
        let by =
            |close: Aim, rules: Aim| match programme.reach(None, &[close, rules, Aim::Good], Room::ByRule) {
                Outcome::Settled(solution) => solution.good.min(high.good),
                // A rule has no end, or mixes do not settle: nothing is known but the most.
                Outcome::Endless | Outcome::Unsettled => 0.0,
            };
        let mut low = by(Aim::FewDisturbed, Aim::Rules).min(by(Aim::FewDisturbed, Aim::RulesTurned));
        if self.net.can_be_disturbed() {
            low = low.min(by(Aim::ManyDisturbed, Aim::Rules)).min(by(Aim::ManyDisturbed, Aim::RulesTurned));
        }
        if high.good - low <= SAME * high.good {
            (Most::Of(high.good), self.short(&high))
        } else {
            (Most::Between(low, high.good), high.limiting)
        }
    }

    /// The station that is short just above the most: by the rules of those who share if that settles.
    fn short(&self, most: &Solution) -> Option<usize> {
        let flows = self.flows(most.good * OVER, &self.choosers);
        let (load, node) = self.highest_load(&flows);
        let stream = self.net.supplies.iter().find(|supply| supply.is_driven).map(|supply| supply.node);
        match load < 1.0 {
            // What others leave may be nothing any more.
            _ if !flows.is_settled || flows.good < most.good * (1.0 - 1e-6) => most.limiting,
            true => stream.or(most.limiting).or(node),
            false => node,
        }
    }

    pub(super) fn programme(&self) -> Programme<'_> {
        let first = self.flows(1.0, &[]);
        Programme::new(self.net, &self.choosers, &first)
    }

    /// Lowest and highest flow through each node at this rate of good parts, whatever room is taken first, and with any
    /// surplus that goes round; `None` where there is no highest, or it was not found. The flows are those at the rate, as
    /// far as they were found.
    pub(super) fn bounds(&self, flows: &Flows, rate: f64, most: Most) -> Vec<Option<(f64, f64)>> {
        let net = self.net;
        let own = |node: usize| node_flow(net, &flows.total, node);
        let nodes = 0..net.nodes.len();
        if net.has_uncounted_ways {
            return vec![None; nodes.len()];
        }
        let mut bounds: Vec<Option<(f64, f64)>> =
            nodes.clone().map(|node| Some((own(node), own(node)))).collect();
        if !self.choosers.is_empty() || !self.net.is_sure() || !self.each_serves_alone() {
            let programme = self.programme();
            // More than the line can deliver is looked at as if all its stations were faster by as much.
            let high = most.found().map_or(f64::INFINITY, |(_, high)| high);
            let are_found = flows.is_settled && (flows.good - rate).abs() <= SAME * rate;
            let rate = if are_found || self.has_streams() { flows.good } else { rate };
            let faster = (rate / high).max(1.0);
            let good = rate / faster;
            for node in nodes {
                let reach = |aim: Aim| match programme.reach(Some(good), &[Aim::Good, aim], Room::Any) {
                    Outcome::Settled(found) => Some(faster * node_flow(net, &found.total, node)),
                    Outcome::Endless | Outcome::Unsettled => None,
                };
                bounds[node] = match (reach(Aim::Little(node)), reach(Aim::Much(node))) {
                    (Some(low), Some(high)) if are_found => Some((low.min(own(node)), high.max(own(node)))),
                    (Some(low), Some(high)) => Some((low, high)),
                    (None, _) | (_, None) => None,
                };
            }
        }
        surplus::widen(net, flows, &mut bounds);
        bounds
    }
}
