//! Divider: hands each part that comes to it to one of several exits, in no time.
//!
//! A divider holds no part: it takes one only when an exit that its rule allows has room, so that a part
//! that finds no room stays with the station or on the track before. With one exit it is the junction
//! between two places that nobody works at.
//!
//! **Rules.** *First with room*, in the stated order. *In turn*: the next one able, the turn moves past
//! those that are not (skip), or waits for the one whose turn it is (strict). *Emptiest first*: fewest parts
//! beyond, then file order. *By ratio*: the exit that is furthest behind its share, skip or strict. *By call*: the exit
//! that has called for longest; a track, belt or receiver calls while it holds `call_at` parts or fewer (default 0), a
//! station that takes by itself while it has nothing to do. *By recipe*: the first exit of the product model's recipe
//! gets all its pieces, then the next one; then comes the next model.
//!
//! **A moving divider** (`move`: time to go from one exit to another) stands at one exit, at the start at the first. It
//! hands on to the exit at which it stands in no time, and goes to another one first: as soon as it is known which one
//! comes next (strict rules and recipes), otherwise when a part is ready for it; the part stays where it is meanwhile.
//! When it arrives it hands on there if there is room, whatever the rule would say by then; otherwise it chooses
//! anew. It is working while it moves. The balance counts its moves where the rule is strict (a move for each part in turn;
//! by ratio and by recipe where the next part is for another exit). Where room decides it gives bounds: from no move at all
//! to one for each part.
//!
//! A jam by part strikes when a part has passed.

use super::alarm::Alarm;
use super::dice::Dice;
use super::recipe::Need;
use crate::kernel::{
    Exit, Floor, Inlets, Message, Moment, Observer, Offer, PlaceId, Sampler, State, StationId,
};
use crate::part::{Nanos, Part};
use crate::terms::models::ModelOrder;

mod spec;

pub use spec::{DividerSpec, read};

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
    /// The one that has called for longest.
    ByCall {
        /// A place calls while it holds so many parts or fewer.
        level: u32,
    },
    /// Pieces by the recipe of the product model.
    ByRecipe,
}

/// What a divider remembers by its recipe.
#[derive(Clone, Debug)]
struct Recipe {
    order: ModelOrder,
    needs: Vec<Vec<Need>>,
    model: usize,
    /// Line of the recipe, and pieces given of it.
    line: usize,
    given: u32,
    started: bool,
}

impl Recipe {
    /// The exit whose turn it is.
    fn exit(&mut self) -> usize {
        if !self.started {
            self.started = true;
            self.model = self.order.next_model();
        }
        usize::from(self.needs[self.model][self.line].exit)
    }

    fn given(&mut self) {
        self.given += 1;
        if self.given < self.needs[self.model][self.line].pieces {
            return;
        }
        self.given = 0;
        self.line += 1;
        if self.line == self.needs[self.model].len() {
            self.line = 0;
            self.model = self.order.next_model();
        }
    }
}

/// The moving part of a divider.
#[derive(Clone, Debug)]
struct Mover {
    time: Sampler,
    luck: Dice,
    /// The exit at which it stands.
    at: usize,
    /// The exit to which it goes, and until when.
    towards: Option<(usize, Nanos)>,
    /// It has come for this exit and has not handed on there yet.
    came_for: Option<usize>,
}

/// Calls of the exits.
#[derive(Clone, Debug)]
struct Calls {
    /// When each exit that calls began to, as a running number.
    since: Vec<Option<u64>>,
    next: u64,
}

/// What only some dividers have.
#[derive(Clone, Debug, Default)]
struct Extras {
    recipe: Option<Recipe>,
    mover: Option<Mover>,
    calls: Option<Calls>,
}

/// Where an exit would stand after one part more, in units of its share: the lowest is furthest behind.
fn behind(shares: &[f64], sent: &[u64], exit: usize) -> f64 {
    (sent[exit] as f64 + 1.0) / shares[exit]
}

/// The exit that is furthest behind its share; of equals the first.
fn furthest_behind(shares: &[f64], sent: &[u64]) -> Option<usize> {
    let wanted = (0..shares.len()).filter(|exit| shares[*exit] > 0.0);
    wanted.min_by(|a, b| behind(shares, sent, *a).total_cmp(&behind(shares, sent, *b)))
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
    extras: Option<Box<Extras>>,
}

impl Divider {
    /// A divider at its first turn.
    pub fn new(me: StationId, alarm: Alarm, inlets: Inlets, exits: Vec<Exit>, rule: Rule) -> Self {
        let sent = vec![0; exits.len()];
        Divider { me, alarm, inlets, exits, rule, turn: 0, sent, waits: false, extras: None }
    }

    pub(super) fn seed(&mut self, seed: u64, replication: u64) {
        let Some(extras) = &mut self.extras else { return };
        if let Some(recipe) = &mut extras.recipe {
            recipe.order.seed(seed, replication);
        }
        if let Some(mover) = &mut extras.mover {
            mover.luck.seed(seed, replication);
        }
    }

    /// Its exits, if it goes by calls: whoever takes there by itself calls by having nothing to do.
    pub(crate) fn called_by(&self) -> Option<&[Exit]> {
        self.extras.as_ref().is_some_and(|extras| extras.calls.is_some()).then_some(&self.exits[..])
    }

    /// The only place it takes from and its exits, if it gives to the first with room: what it does then
    /// depends on nothing that it remembers.
    pub(crate) fn through(&self) -> Option<(PlaceId, &[Exit])> {
        match (&self.rule, &self.inlets.places[..]) {
            (Rule::FirstWithRoom, [place]) if self.extras.is_none() => Some((*place, &self.exits)),
            (Rule::FirstWithRoom, _)
            | (Rule::InTurn { .. } | Rule::EmptiestFirst | Rule::ByRatio { .. }, _)
            | (Rule::ByCall { .. } | Rule::ByRecipe, _) => None,
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
        if self.extras.is_some() && self.prepare(floor) {
            return;
        }
        while floor.may_start(self.me) {
            match floor.offer(self.me, &self.inlets) {
                Offer::Ready(place) => {
                    let Some(exit) = self.choose(floor) else {
                        self.wait(floor);
                        blocked = true;
                        break;
                    };
                    if self.extras.is_some() && self.goes_to(floor, exit) {
                        return;
                    }
                    floor.take_into(self.me, place, &mut part);
                    let handed = floor.hand_over(self.me, exit as u8, self.exits[exit], &part);
                    assert!(handed, "a divider takes a part only when the chosen exit has room");
                    if self.waits {
                        self.stop_waiting(floor);
                    }
                    self.sent[exit] += 1;
                    self.turn = if exit + 1 == self.exits.len() { 0 } else { exit + 1 };
                    let struck = floor.jams(self.me, &part, Moment::After);
                    if (self.extras.is_some() && self.has_given(floor)) || struck {
                        return;
                    }
                    moved += 1;
                    if moved == MOVES_MAX {
                        // The rest in another settling: a loop without any time is found as an instant loop.
                        floor.dirty.insert_in(self.me.0, O::NEAR);
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
            Message::Thawed(stood) => {
                self.alarm.shift(stood);
                let mover = self.extras.as_mut().and_then(|extras| extras.mover.as_mut());
                if let Some((_, end)) = mover.and_then(|mover| mover.towards.as_mut()) {
                    *end += stood;
                }
            }
            Message::Redirect(_) | Message::Attended(_) => {}
        }
    }

    /// A place beyond has another content: maybe it calls.
    pub(super) fn look<O: Observer>(&mut self, floor: &mut Floor<O>) {
        floor.dirty.insert(self.me.0);
    }

    /// Ends a move, listens to calls, and starts the next move if it is known where to. True while it moves.
    fn prepare<O: Observer>(&mut self, floor: &mut Floor<O>) -> bool {
        self.listen(floor);
        let target = self.strict_turn();
        let Some(mover) = self.extras.as_mut().and_then(|extras| extras.mover.as_mut()) else { return false };
        if let Some((exit, end)) = mover.towards {
            if end > floor.now {
                self.alarm.set(floor, end);
                floor.set_state(self.me, State::Working);
                return true;
            }
            (mover.at, mover.towards, mover.came_for) = (exit, None, Some(exit));
        }
        target.is_some_and(|target| self.goes_to(floor, target))
    }

    /// Starts to move if it does not stand at `exit`; true if it moves.
    fn goes_to<O: Observer>(&mut self, floor: &mut Floor<O>, exit: usize) -> bool {
        let may = floor.may_start(self.me);
        let Some(mover) = self.extras.as_mut().and_then(|extras| extras.mover.as_mut()) else { return false };
        if mover.at == exit || !may {
            return false;
        }
        let end = floor.now + mover.luck.time(floor, self.me, &mover.time).max(1);
        mover.towards = Some((exit, end));
        if self.waits {
            self.stop_waiting(floor);
        }
        self.alarm.set(floor, end);
        floor.set_state(self.me, State::Working);
        true
    }

    /// A part has been handed on: what comes next? True if it moves now.
    fn has_given<O: Observer>(&mut self, floor: &mut Floor<O>) -> bool {
        if let Some(extras) = &mut self.extras {
            if let Some(recipe) = &mut extras.recipe {
                recipe.given();
            }
            if let Some(mover) = &mut extras.mover {
                mover.came_for = None;
            }
        }
        self.prepare(floor)
    }

    /// Notes which exits call, in order.
    fn listen<O: Observer>(&mut self, floor: &Floor<O>) {
        let Rule::ByCall { level } = self.rule else { return };
        let Some(calls) = self.extras.as_mut().and_then(|extras| extras.calls.as_mut()) else { return };
        for (exit, since) in self.exits.iter().zip(&mut calls.since) {
            let is_calling = match *exit {
                Exit::Leave => true,
                Exit::Store(place) => floor.place(place).len() + floor.place(place).promised() <= level,
                Exit::Hand(place) => {
                    let idle =
                        |taker: &StationId| floor.may_start(*taker) && floor.state(*taker) == State::Starved;
                    floor.place(place).is_empty() && floor.place(place).takers().iter().any(idle)
                }
            };
            if !is_calling {
                *since = None;
            } else if since.is_none() {
                *since = Some(calls.next);
                calls.next += 1;
            }
        }
    }

    fn choose<O: Observer>(&mut self, floor: &Floor<O>) -> Option<usize> {
        let came_for = self.extras.as_ref().and_then(|extras| extras.mover.as_ref()?.came_for);
        let strict = self.strict_turn();
        let open = |&exit: &usize| floor.is_open(self.me, self.exits[exit]);
        if came_for.as_ref().is_some_and(open) {
            return came_for;
        }
        let n = self.exits.len();
        match &self.rule {
            Rule::FirstWithRoom => (0..n).find(open),
            Rule::InTurn { strict: true } | Rule::ByRatio { strict: true, .. } | Rule::ByRecipe => {
                strict.filter(open)
            }
            Rule::ByCall { .. } => {
                let calls = self.extras.as_ref().and_then(|extras| extras.calls.as_ref())?;
                (0..n)
                    .filter(|exit| calls.since[*exit].is_some())
                    .filter(open)
                    .min_by_key(|exit| calls.since[*exit])
            }
            Rule::InTurn { strict: false } => (0..n).map(|k| (self.turn + k) % n).find(open),
            Rule::EmptiestFirst => (0..n).filter(open).min_by_key(|&exit| self.beyond(floor, exit)),
            Rule::ByRatio { shares, strict: false } => {
                let wanted = (0..n).filter(|exit| shares[*exit] > 0.0);
                wanted
                    .filter(open)
                    .min_by(|a, b| behind(shares, &self.sent, *a).total_cmp(&behind(shares, &self.sent, *b)))
            }
        }
    }

    /// The exit whose turn it is, where the rule is strict.
    fn strict_turn(&mut self) -> Option<usize> {
        if let Some(recipe) = self.extras.as_mut().and_then(|extras| extras.recipe.as_mut()) {
            return Some(recipe.exit());
        }
        match &self.rule {
            Rule::InTurn { strict: true } => Some(self.turn),
            Rule::ByRatio { shares, strict: true } => furthest_behind(shares, &self.sent),
            Rule::FirstWithRoom
            | Rule::InTurn { strict: false }
            | Rule::EmptiestFirst
            | Rule::ByCall { .. }
            | Rule::ByRecipe
            | Rule::ByRatio { strict: false, .. } => None,
        }
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
        let calls = self.extras.as_ref().and_then(|extras| extras.calls.as_ref());
        // It takes no turn for room into which nobody has called it.
        let is_called = |no: usize| calls.is_none_or(|calls| calls.since[no].is_some());
        for (no, exit) in self.exits.iter().enumerate() {
            let Exit::Store(place) = exit else { continue };
            if !is_called(no) {
                floor.stop_waiting(self.me, *place);
            } else if only.is_none_or(|only| only == no) {
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

#[cfg(test)]
mod tests;
