//! Divider: hands each part that comes to it to one of several exits, in no time.
//!
//! A divider holds no part: it takes one only when an exit that its rule allows has room, so that a part
//! that finds no room stays with the station or on the track before. With one exit it is the junction
//! between two places that nobody works at.
//!
//! **Rules.** *First with room*, in the stated order. *In turn*: the next one able, the turn moves past
//! those that are not (skip), or waits for the one whose turn it is (strict). *Emptiest first*: fewest parts
//! beyond, then file order. *By ratio*: the exit that is furthest behind its share, skip or strict.

use super::alarm::Alarm;
use crate::kernel::{Exit, Floor, Inlets, Observer, Offer, PlaceId, StationId};
use crate::part::{Nanos, Part};

/// How a divider chooses.
#[derive(Clone, Debug, PartialEq)]
pub enum Rule {
    /// The first in order that has room.
    FirstWithRoom,
    /// One after the other.
    InTurn {
        /// Wait for the one whose turn it is.
        strict: bool,
    },
    /// Fewest parts beyond.
    EmptiestFirst,
    /// Shares by exit, adding up to 1.
    ByRatio {
        /// Share of each exit.
        shares: Vec<f64>,
        /// Wait for the one whose turn it is.
        strict: bool,
    },
}

/// State of a divider.
#[derive(Clone, Debug)]
pub struct Divider {
    me: StationId,
    alarm: Alarm,
    inlets: Inlets,
    exits: Vec<Exit>,
    rule: Rule,
    turn: usize,
    sent: Vec<u64>,
    waits: bool,
}

impl Divider {
    /// A divider at its first turn.
    pub fn new(me: StationId, alarm: Alarm, inlets: Inlets, exits: Vec<Exit>, rule: Rule) -> Self {
        let sent = vec![0; exits.len()];
        Divider { me, alarm, inlets, exits, rule, turn: 0, sent, waits: false }
    }

    /// The only place it takes from and its exits, if it gives to the first with room: what it does then
    /// depends on nothing that it remembers.
    pub(crate) fn through(&self) -> Option<(PlaceId, &[Exit])> {
        match (&self.rule, &self.inlets.places[..]) {
            (Rule::FirstWithRoom, [place]) => Some((*place, &self.exits)),
            (Rule::FirstWithRoom, _)
            | (Rule::InTurn { .. } | Rule::EmptiestFirst | Rule::ByRatio { .. }, _) => None,
        }
    }

    pub(super) fn fire(&mut self) {
        self.alarm.spent();
    }

    #[inline(never)]
    pub(super) fn settle<O: Observer>(&mut self, floor: &mut Floor<O>) {
        let mut due = Nanos::MAX;
        let mut blocked = false;
        let mut part = Part::default();
        while floor.may_start(self.me) {
            match floor.offer(self.me, &self.inlets) {
                Offer::Ready(place) => {
                    let Some(exit) = self.choose(floor) else {
                        self.wait(floor);
                        blocked = true;
                        break;
                    };
                    floor.take_into(self.me, place, &mut part);
                    let handed = floor.hand_over(self.me, exit as u8, self.exits[exit], &part);
                    assert!(handed, "a divider takes a part only when the chosen exit has room");
                    if self.waits {
                        self.stop_waiting(floor);
                    }
                    self.sent[exit] += 1;
                    self.turn = if exit + 1 == self.exits.len() { 0 } else { exit + 1 };
                }
                Offer::Due(at) => {
                    due = at;
                    break;
                }
                Offer::Nothing => break,
            }
        }
        if self.waits && !blocked {
            self.stop_waiting(floor);
        }
        self.alarm.set(floor, due);
        floor.set_idle(self.me, blocked);
    }

    fn choose<O: Observer>(&self, floor: &Floor<O>) -> Option<usize> {
        let open = |&exit: &usize| floor.is_open(self.me, self.exits[exit]);
        let n = self.exits.len();
        match &self.rule {
            Rule::FirstWithRoom => (0..n).find(open),
            Rule::InTurn { strict: true } | Rule::ByRatio { strict: true, .. } => {
                self.strict_turn().filter(open)
            }
            Rule::InTurn { strict: false } => (0..n).map(|k| (self.turn + k) % n).find(open),
            Rule::EmptiestFirst => (0..n).filter(open).min_by_key(|&exit| self.beyond(floor, exit)),
            Rule::ByRatio { shares, strict: false } => {
                let wanted = (0..n).filter(|exit| shares[*exit] > 0.0);
                wanted.filter(open).min_by(|a, b| self.behind(shares, *a).total_cmp(&self.behind(shares, *b)))
            }
        }
    }

    /// The exit whose turn it is, where the rule is strict.
    fn strict_turn(&self) -> Option<usize> {
        match &self.rule {
            Rule::InTurn { strict: true } => Some(self.turn),
            Rule::ByRatio { shares, strict: true } => (0..self.exits.len())
                .filter(|exit| shares[*exit] > 0.0)
                .min_by(|a, b| self.behind(shares, *a).total_cmp(&self.behind(shares, *b))),
            Rule::FirstWithRoom
            | Rule::InTurn { strict: false }
            | Rule::EmptiestFirst
            | Rule::ByRatio { strict: false, .. } => None,
        }
    }

    /// Where an exit would stand after one part more, in units of its share: the lowest is furthest behind.
    fn behind(&self, shares: &[f64], exit: usize) -> f64 {
        (self.sent[exit] as f64 + 1.0) / shares[exit]
    }

    fn beyond<O: Observer>(&self, floor: &Floor<O>, exit: usize) -> u32 {
        match self.exits[exit] {
            Exit::Leave => 0,
            Exit::Store(place) | Exit::Hand(place) => floor.place(place).len(),
        }
    }

    fn wait<O: Observer>(&mut self, floor: &mut Floor<O>) {
        self.waits = true;
        let only = self.strict_turn();
        for (no, exit) in self.exits.iter().enumerate() {
            if let Exit::Store(place) = exit
                && only.is_none_or(|only| only == no)
            {
                floor.wait_for_room(self.me, *place);
            }
        }
    }

    fn stop_waiting<O: Observer>(&mut self, floor: &mut Floor<O>) {
        self.waits = false;
        for exit in &self.exits {
            if let Exit::Store(place) = exit {
                floor.stop_waiting(self.me, *place);
            }
        }
    }
}
