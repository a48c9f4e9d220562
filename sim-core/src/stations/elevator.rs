//! Elevator: cleated or magnetic; lifts parts out of a bin to a place above.
//!
//! **Timing.** One cleat passes the bin in every cleat time (spacing / speed, or 1 / `cleats`), the first one a
//! cleat time after the start. It picks a number of parts by law; while the bin holds less than the `mark`, each
//! of them is picked only with the chance content / mark, so that picks fall linearly to zero. Never more are
//! picked than are there. Each picked part falls back at once with the chance `drop_back`: it stays in the bin
//! and is counted. What is left aboard lands together, a lift time later. A part that comes into an empty bin at
//! the very instant at which a cleat passes waits for the next one.
//!
//! **Place above full** when parts land: what has room goes in; the lift then *stops* (default: all of it stands
//! until the landing parts have found room), *spills back* (what finds no room when everything else has
//! happened falls back into the bin and is counted), or *queues* (they wait at the top, the lift runs on). A lift
//! that hands straight to the next station has no room above but that station's own.
//!
//! **Held, jammed, broken down, off:** the lift stands, cleats and parts aboard go on from where they were. **Slowed
//! down:** cleats and parts aboard come later in the ratio of the speeds; a change during a stop counts from its end.
//! **State:** working while it moves with parts aboard, starved while it moves empty, blocked while it stands
//! because of the place above. A jam by part strikes when the part is picked, when it lands, or when it has gone.

use super::Station;
use super::alarm::Alarm;
use super::amounts::level_of;
use super::dice::Dice;
use super::outlet::Outlet;
use crate::kernel::floor::WAITING_MAX;
use crate::kernel::{
    Exit, Floor, Inlets, Intake, Message, Moment, Note, Observer, Pace, PlaceId, Sampler, State, StationId,
};
use crate::part::{Nanos, Part};
use crate::scenario::Level;
use std::collections::VecDeque;

/// What happens when parts land and the place above is full.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum WhenFull {
    /// The lift stands.
    Stops,
    /// They fall back into the bin.
    SpillsBack,
    /// They wait at the top, the lift runs on.
    Queues,
}

/// What does not change of an elevator.
#[derive(Clone, Debug)]
pub struct ElevatorSetup {
    /// Where it picks.
    pub inlets: Inlets,
    /// Where it lands.
    pub exit: Exit,
    /// Time between cleats, ns, 1 at least.
    pub cleat: Nanos,
    /// Time from pick to landing, ns.
    pub lift: Nanos,
    /// Parts picked by a cleat out of a well filled bin.
    pub per_cleat: Sampler,
    /// Content of the bin below which picks fall.
    pub mark: Level,
    /// Chance of each picked part to fall back at once.
    pub drop_back: f64,
    /// What happens when the place above is full.
    pub when_full: WhenFull,
}

/// State of an elevator. *Lift time* stands while the lift does; it lags behind the clock by `lag`.
#[derive(Clone, Debug)]
pub struct Elevator {
    me: StationId,
    landing: Alarm,
    cleats: Alarm,
    setup: Box<ElevatorSetup>,
    picks: Dice,
    drops: Dice,
    /// Parts aboard with the lift time of landing.
    aboard: VecDeque<(Nanos, Part)>,
    top: Outlet,
    /// Lift time at which the next cleat passes the bin.
    next_cleat: Nanos,
    lag: Nanos,
    /// Present speed, for which all times are kept.
    pace: Pace,
    /// Since when the place above makes it stand.
    stands_since: Option<Nanos>,
    /// Nothing is there to be picked: no cleat is timed until something comes.
    asleep: bool,
}

impl Elevator {
    /// An empty lift. The alarm of landings comes before that of cleats, so that what lands goes first.
    pub fn new(
        me: StationId,
        landing: Alarm,
        cleats: Alarm,
        setup: ElevatorSetup,
        picks: Dice,
        drops: Dice,
    ) -> Self {
        let (top, next_cleat) = (Outlet::new(me, setup.exit), setup.cleat);
        Elevator {
            me,
            landing,
            cleats,
            setup: Box::new(setup),
            picks,
            drops,
            aboard: VecDeque::new(),
            top,
            next_cleat,
            lag: 0,
            pace: Pace::FULL,
            stands_since: None,
            asleep: false,
        }
    }

    pub(super) fn seed(&mut self, seed: u64, replication: u64) {
        self.picks.seed(seed, replication);
        self.drops.seed(seed, replication);
    }

    /// Starts with a finished part, which goes on as soon as there is room.
    pub(super) fn hold(&mut self, part: Part) {
        self.top.parts.push_back(part);
    }

    /// Time from pick to landing, ns.
    pub(super) fn passage(&self) -> Nanos {
        self.setup.lift
    }

    pub(super) fn content(&self) -> usize {
        self.aboard.len() + self.top.parts.len()
    }

    pub(super) fn fire<O: Observer>(&mut self, floor: &mut Floor<O>, which: u8) {
        if which == 0 {
            self.landing.spent();
            self.land(floor);
        } else {
            self.cleats.spent();
            self.next_cleat += self.pace.stretched(self.setup.cleat);
            self.pass_cleat(floor);
        }
    }

    /// All that is due at the top lands together.
    fn land<O: Observer>(&mut self, floor: &mut Floor<O>) {
        while let Some((due, part)) = self.aboard.front().copied() {
            if due + self.lag > floor.now {
                break;
            }
            self.aboard.pop_front();
            self.top.parts.push_back(part);
            floor.jams(self.me, &part, Moment::End);
        }
    }

    /// A cleat passes the bin.
    fn pass_cleat<O: Observer>(&mut self, floor: &mut Floor<O>) {
        if !floor.may_start(self.me) {
            let barred = floor.barred(self.me);
            return floor.intake(self.me, barred);
        }
        if self.content() > WAITING_MAX {
            return floor.flood(self.me);
        }
        let (content, mark) = self.content_and_mark(floor);
        if content == 0 {
            floor.intake(self.me, Intake::Idle(floor.now));
            self.asleep = !self.is_anything_there(floor);
            return;
        }
        let mut n = self.setup.per_cleat.draw_count(self.picks.stream()).min(u64::from(u32::MAX)) as u32;
        if content < mark {
            let chance = f64::from(content) / f64::from(mark);
            n = (0..n).map(|_| u32::from(self.picks.stream().chance(chance))).sum();
        }
        let before = self.aboard.len();
        for _ in 0..n.min(content) {
            if self.setup.drop_back > 0.0 && self.drops.stream().chance(self.setup.drop_back) {
                floor.note(self.me, Note::DroppedBack, None);
                continue;
            }
            let Some(place) = self.first_ready(floor) else { break };
            let part = floor.take(self.me, place);
            self.aboard.push_back((floor.now - self.lag + self.pace.stretched(self.setup.lift), part));
        }
        for n in before..self.aboard.len() {
            let part = self.aboard[n].1;
            floor.jams(self.me, &part, Moment::Start);
        }
    }

    /// Parts that can be picked now, and the mark that belongs to them.
    fn content_and_mark<O: Observer>(&self, floor: &Floor<O>) -> (u32, u32) {
        let (mut content, mut mark) = (0_u32, 0);
        for &place in &self.setup.inlets.places {
            mark = u32::max(mark, level_of(self.setup.mark, floor, place));
            if Self::is_ready(floor, place) {
                let here = floor.place(place);
                content = content.saturating_add(if here.is_endless() { u32::MAX } else { here.len() });
            }
        }
        (content, mark)
    }

    fn is_ready<O: Observer>(floor: &Floor<O>, place: PlaceId) -> bool {
        floor.place(place).head_due().is_some_and(|due| due <= floor.now)
    }

    fn first_ready<O: Observer>(&self, floor: &Floor<O>) -> Option<PlaceId> {
        self.setup.inlets.places.iter().copied().find(|place| Self::is_ready(floor, *place))
    }

    /// Whether anything is at the pick or on its way to it; if not, the lift is woken by what comes.
    fn is_anything_there<O: Observer>(&self, floor: &Floor<O>) -> bool {
        self.setup.inlets.places.iter().any(|place| floor.place(*place).head_due().is_some())
    }

    /// The lift goes at another speed from now on.
    #[cold]
    fn change_pace(&mut self, now: Nanos, pace: Pace) {
        let here = self.stands_since.unwrap_or(now) - self.lag;
        if self.asleep {
            // Cleats that passed unseen did so at the speed before.
            self.wake(here);
            self.asleep = true;
        }
        let before = std::mem::replace(&mut self.pace, pace);
        self.next_cleat = pace.moved(before, here, self.next_cleat);
        self.aboard.iter_mut().for_each(|(due, _)| *due = pace.moved(before, here, *due));
    }

    pub(super) fn settle<O: Observer>(&mut self, floor: &mut Floor<O>) {
        if floor.pace(self.me) != self.pace {
            self.change_pace(floor.now, floor.pace(self.me));
        }
        let clear = self.top.hand_on(floor);
        if floor.stands(self.me) {
            return;
        }
        if !clear && self.setup.when_full == WhenFull::Stops {
            self.stands_since.get_or_insert(floor.now);
            self.landing.set(floor, Nanos::MAX);
            self.cleats.set(floor, Nanos::MAX);
            return floor.set_state(self.me, State::Blocked);
        }
        if !clear && self.setup.when_full == WhenFull::SpillsBack {
            floor.looks.insert(self.me.0);
        }
        if let Some(since) = self.stands_since.take() {
            self.lag += floor.now - since;
        }
        if self.asleep && self.is_anything_there(floor) {
            self.wake(floor.now - self.lag);
            floor.intake(self.me, Intake::Busy);
        }
        let landing = self.aboard.front().map_or(Nanos::MAX, |(due, _)| due + self.lag);
        self.landing.set(floor, landing);
        let cleat = if self.asleep { Nanos::MAX } else { self.next_cleat + self.lag };
        self.cleats.set(floor, cleat);
        if self.aboard.is_empty() {
            floor.set_idle(self.me, false);
        } else {
            floor.set_state(self.me, State::Working);
        }
    }

    /// Finds the next cleat after the lift time `now`, once cleats have passed unseen.
    fn wake(&mut self, now: Nanos) {
        self.asleep = false;
        if self.next_cleat <= now {
            let cleat = self.pace.stretched(self.setup.cleat);
            let passed = (now - self.next_cleat) / cleat + 1;
            self.next_cleat += passed * cleat;
        }
    }

    /// After the fixed point: what has found no room above falls back.
    pub(super) fn look<O: Observer>(&mut self, floor: &mut Floor<O>) {
        if self.setup.when_full != WhenFull::SpillsBack || floor.stands(self.me) {
            return;
        }
        match self.top.exit {
            Exit::Hand(place) if !floor.is_clear(self.top.exit) => {
                let part = floor.retract(place);
                self.top.parts.push_front(part);
            }
            Exit::Store(place) => floor.stop_waiting(self.me, place),
            Exit::Hand(_) | Exit::Leave => {}
        }
        let inlets = &self.setup.inlets.places;
        let bin = inlets.iter().copied().find(|place| floor.place(*place).counts().is_some());
        while let Some(part) = self.top.parts.pop_front() {
            match bin {
                Some(bin) => {
                    floor.note(self.me, Note::Spilled, Some(&part));
                    floor.put(bin, part);
                }
                None => floor.count_lost(self.me, &part),
            }
        }
        floor.dirty.insert(self.me.0);
    }

    pub(super) fn message(&mut self, message: Message) {
        match message {
            Message::Thawed(stood) => {
                self.landing.shift(stood);
                self.cleats.shift(stood);
                // While the place above makes it stand, lift time stands anyway.
                if self.stands_since.is_none() {
                    self.lag += stood;
                }
            }
            Message::Redirect(_) | Message::Attended(_) => {}
        }
    }
}

mod spec;
pub use spec::{ElevatorSpec, read};

#[cfg(test)]
mod tests;
