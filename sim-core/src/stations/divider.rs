//! Divider: hands each part that comes to it to one of several exits, in no time.
//!
//! A divider holds no part: it takes one only when an exit that its rule allows has room, so that a part
//! that finds no room stays with the station or on the track before. With one exit it is the junction
//! between two places that nobody works at.
//!
//! **Rules.** *First with room*, in the stated order. *In turn*: the next one able, the turn moves past
//! those that are not (skip), or waits for the one whose turn it is (strict). *Emptiest first*: fewest parts
//! beyond, then file order. *By ratio*: the exit that is furthest behind its share, skip or strict.
//!
//! A jam by part strikes when a part has passed.

use super::Station;
use super::alarm::Alarm;
use super::blueprint::{Blueprint, ExitSpec, Site, Split, To, TrafficSite};
use crate::diag::{Problem, code};
use crate::kernel::{Exit, Floor, Inlets, Message, Moment, Observer, Offer, PlaceId, StationId};
use crate::part::{Nanos, Part};
use crate::terms::stops::MomentWord;
use crate::text::fields::Object;
use crate::text::forms::{Spanned, flag, list_of, name, one_of, real};

/// Most parts handed on in one settling.
const MOVES_MAX: u32 = 16;

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
        let mut moved = 0;
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
                    if floor.jams(self.me, &part, Moment::After) {
                        return;
                    }
                    moved += 1;
                    if moved == MOVES_MAX {
                        // The rest in another settling: a loop without any time is found as an instant loop.
                        floor.dirty.insert(self.me.0);
                        break;
                    }
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

    pub(super) fn message(&mut self, message: Message) {
        match message {
            Message::Thawed(stood) => self.alarm.shift(stood),
            Message::Redirect(_) | Message::Attended(_) => {}
        }
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

/// A divider as the file states it.
#[derive(Debug, Clone)]
pub struct DividerSpec {
    exits: Vec<Spanned<String>>,
    rule: Rule,
}

#[derive(Debug, Clone, Copy)]
enum RuleWord {
    FirstWithRoom,
    InTurn,
    EmptiestFirst,
    ByRatio,
}

/// Reads a divider.
pub fn read(object: &mut Object<'_>) -> DividerSpec {
    const RULES: &[(&str, RuleWord, &str)] = &[
        ("first with room", RuleWord::FirstWithRoom, "the first exit in the order of `exits` that has room"),
        ("in turn", RuleWord::InTurn, "one exit after the other"),
        ("emptiest first", RuleWord::EmptiestFirst, "the exit with the fewest parts beyond it"),
        ("by ratio", RuleWord::ByRatio, "the exit that is furthest behind its share of `ratio`"),
    ];
    let exits = object.required(
        "exits",
        list_of(name()).at_least(1),
        "The stations that it gives to, in the stated order",
    );
    let word = object.optional("rule", one_of(RULES), "first with room", "How it chooses");
    let strict = object.optional(
        "strict",
        flag(),
        "false",
        "Wait for the exit whose turn it is (otherwise the turn moves past one that has no room)",
    );
    let ratio = object.maybe(
        "ratio",
        list_of(real().at_least(0.0)),
        "Parts for each exit, in the order of `exits`; needed for the rule `by ratio`",
    );
    let rule = match word {
        RuleWord::FirstWithRoom => Rule::FirstWithRoom,
        RuleWord::InTurn => Rule::InTurn { strict },
        RuleWord::EmptiestFirst => Rule::EmptiestFirst,
        RuleWord::ByRatio => Rule::ByRatio { shares: shares_of(object, ratio, exits.len()), strict },
    };
    DividerSpec { exits, rule }
}

fn shares_of(object: &mut Object<'_>, ratio: Option<Vec<f64>>, n: usize) -> Vec<f64> {
    let ratio = ratio.unwrap_or_default();
    let sum: f64 = ratio.iter().sum();
    if ratio.len() == n && sum > 0.0 {
        return ratio.iter().map(|share| share / sum).collect();
    }
    if object.sound(&["exits", "ratio", "rule"]) {
        object.fail(
            "ratio",
            Problem::new(code::OUT_OF_RANGE, "the rule `by ratio` needs a number for each exit")
                .expected(format!("{n} numbers, not all of them zero, such as [2, 1]")),
        );
    }
    vec![1.0; n]
}

impl Blueprint for DividerSpec {
    fn exits(&self) -> Vec<ExitSpec> {
        let exit = |name: &Spanned<String>| ExitSpec { key: "exits", to: To::Named(name.clone()) };
        self.exits.iter().map(exit).collect()
    }

    fn jam_moments(&self) -> (&'static [MomentWord], &'static str) {
        (&[MomentWord::After], "a divider holds no part: a part jams when it has passed")
    }

    fn traffic(&self, traffic: &mut TrafficSite<'_>) {
        let n = self.exits.len();
        traffic.split = match &self.rule {
            Rule::FirstWithRoom => Split::FillFirst,
            Rule::InTurn { strict: true } => Split::Fixed(vec![1.0 / n as f64; n]),
            Rule::InTurn { strict: false } | Rule::EmptiestFirst => Split::Even,
            Rule::ByRatio { shares, .. } => Split::Fixed(shares.clone()),
        };
    }

    fn build(&self, site: &mut Site<'_>) -> Station {
        let alarm = site.alarm();
        let divider =
            Divider::new(site.me, alarm, site.inlets.clone(), site.exits.clone(), self.rule.clone());
        Station::Divider(divider)
    }
}
