//! The search upstream: what keeps parts from coming to a station that starves, and the charge.

use super::signal::{Cause, NEVER, Reason, Time};
use super::{Causes, Source};
use crate::kernel::{State, StationId};

impl Causes {
    /// Works the signal of a starving node out up to `now`.
    pub(super) fn work_out(&mut self, ix: usize, now: Time) {
        let node = &mut self.nodes[ix];
        if !node.follows || node.is_open || node.known >= now {
            return;
        }
        node.is_open = true;
        let groups = std::mem::take(&mut node.sources);
        let (me, mut at, lacking) = (node.me, node.known, node.lacking);
        for source in groups.iter().flatten() {
            self.work_out(source.node, now);
        }
        while at < now {
            let until = self.find(me, &groups, lacking, at).min(now);
            self.charge(ix, at, until);
            at = until;
        }
        let node = &mut self.nodes[ix];
        node.sources = groups;
        (node.known, node.is_open) = (now, false);
    }

    /// Puts into `found` what bears the charge at `at`, with the number of its inlet; returns until when that holds.
    fn find(&mut self, me: StationId, groups: &[Vec<Source>], lacking: u32, at: Time) -> Time {
        self.found.clear();
        let mut until = NEVER;
        let lacks = |group: usize| group >= 32 || lacking >> group & 1 == 1;
        let none_lacks = !(0..groups.len()).any(lacks);
        for (number, group) in groups.iter().enumerate() {
            if !lacks(number) && !none_lacks {
                continue;
            }
            let start = self.found.len();
            if group.is_empty() {
                // Nobody gives to this inlet: what it had at the start is used up.
                let cause = Cause::At(me, State::Starved);
                self.found.push((number, Reason { cause, began: at }));
            }
            let mut first = (u8::MAX, NEVER);
            for source in group {
                let (reason, next) = self.reason(*source, at);
                until = until.min(next);
                let order = reason.order(self.nodes[source.node].me);
                if order < first {
                    self.found.truncate(start);
                    first = order;
                }
                if order == first {
                    self.found.push((number, reason));
                }
            }
        }
        until
    }

    /// Why nothing comes through a source at `at`, and until when that is so.
    fn reason(&self, source: Source, at: Time) -> (Reason, Time) {
        let way = &self.ways[source.place];
        let (stands, mut until) = way.reason(at);
        if let Some(reason) = stands {
            return (reason, until);
        }
        if let Some((_, reason)) = way.stamp.filter(|(from, _)| *from <= at) {
            return (reason, until);
        }
        let entry = way.entry(at);
        let node = &self.nodes[source.node];
        if node.follows && entry >= node.known {
            return (Reason { cause: Cause::Recirculating, began: entry }, until);
        }
        let (reason, next) = node.signal.at(entry);
        for change in [next, way.next_standstill(entry), if node.follows { node.known } else { NEVER }] {
            until = until.min(at.saturating_add(change - entry));
        }
        (reason, until)
    }

    /// Charges what was found with the time from `from` to `to`.
    fn charge(&mut self, ix: usize, from: Time, to: Time) {
        let Some(&(_, first)) = self.found.first() else { panic!("a node that follows has sources") };
        let order = |reason: Reason| reason.order(self.nodes[ix].me);
        let nearest = self
            .found
            .iter()
            .map(|(_, reason)| *reason)
            .fold(first, |best, reason| if order(reason) < order(best) { reason } else { best });
        self.nodes[ix].signal.set(from, nearest);
        let Some(point) = self.nodes[ix].point else { return };
        let (setup, charges) = (&self.setup, &mut self.charges[point]);
        let mut inlets = self.found.chunk_by(|a, b| a.0 == b.0);
        let n_inlets = inlets.clone().count() as u64;
        for (of_inlet, group) in shares((to - from) as u64, n_inlets).zip(&mut inlets) {
            for (share, (_, reason)) in shares(of_inlet, group.len() as u64).zip(group) {
                charges[setup.ix(reason.cause)] += share;
            }
        }
    }
}

/// Splits `whole` into `n` shares that differ by one at most, the larger ones first.
fn shares(whole: u64, n: u64) -> impl Iterator<Item = u64> {
    (0..n).map(move |k| whole / n + u64::from(k < whole % n))
}
