//! Row pusher: a gate makes up rows of n parts, ends touching, and pushes each row on in one go.
//!
//! **Keys.** `row`: parts of a row. `push`: time of a push. `to`: where the row lands as n parts together; or `lanes`: n
//! stations of which each gets one part of the row, in the order in which the parts came.
//!
//! **Timing.** The gate takes parts in no time as they come, until the row is complete; it takes none during a push.
//! The push starts when the row is complete and there is room for all of it (in every lane for one), which is promised
//! to it; the parts land together at its end. Where the next station takes by itself, the pusher's hand must be
//! empty. A belt that keeps its parts apart counts a row as one entry; if its entry is not clear when the row lands,
//! the row waits there.
//!
//! **States.** Working during a push; blocked while a complete row finds no room; starved while the row is not
//! complete. A jam by part strikes on the first part of the row: at the start of the push, at its end before the row
//! moves on, or after it has moved on.

use super::Station;
use super::alarm::Alarm;
use super::blueprint::{Blueprint, ExitSpec, Site, Split, To, TrafficSite, read_to};
use super::dice::Dice;
use super::recipe::read_names;
use crate::diag::{Problem, code};
use crate::kernel::{Exit, Floor, Inlets, Message, Moment, Observer, Offer, Sampler, State, StationId};
use crate::part::{Nanos, Part};
use crate::terms::law::Law;
use crate::terms::law_form::law;
use crate::text::fields::Object;
use crate::text::forms::{Spanned, count, no_limit};
use crate::units::Dimension;

#[derive(Clone, Copy, Debug, PartialEq, Eq)]
enum Stage {
    /// The row is made up, or waits for room.
    Gathering,
    Pushing,
    /// The push is over; whether the room is still promised.
    Landing {
        promised: bool,
    },
}

/// State of a row pusher.
#[derive(Clone, Debug)]
pub struct RowPusher {
    me: StationId,
    alarm: Alarm,
    inlets: Inlets,
    /// One, or one for each part of a row.
    exits: Vec<Exit>,
    n: u32,
    push: Sampler,
    luck: Dice,
    row: Vec<Part>,
    /// By exit, whether its parts of the row have landed.
    gone: Vec<bool>,
    stage: Stage,
}

impl RowPusher {
    /// A pusher at rest. `exits` are one, or as many as the parts of a row.
    pub fn new(
        me: StationId,
        alarm: Alarm,
        inlets: Inlets,
        exits: Vec<Exit>,
        n: u32,
        push: Sampler,
        luck: Dice,
    ) -> Self {
        let (row, gone) = (Vec::with_capacity(n as usize), vec![false; exits.len()]);
        RowPusher { me, alarm, inlets, exits, n, push, luck, row, gone, stage: Stage::Gathering }
    }

    pub(super) fn seed(&mut self, seed: u64, replication: u64) {
        self.luck.seed(seed, replication);
    }

    pub(super) fn content(&self) -> usize {
        self.row.len() - self.gone.iter().filter(|gone| **gone).count() * self.each() as usize
    }

    pub(super) fn fire<O: Observer>(&mut self, floor: &mut Floor<O>) {
        self.alarm.spent();
        if self.stage == Stage::Pushing {
            self.stage = Stage::Landing { promised: true };
            floor.jams(self.me, &self.row[0], Moment::End);
        }
    }

    pub(super) fn settle<O: Observer>(&mut self, floor: &mut Floor<O>) {
        if self.stage == Stage::Pushing {
            // After a stop in mid-push the state is still that of the stop.
            return floor.set_state(self.me, State::Working);
        }
        if let Stage::Landing { promised } = self.stage {
            let first = self.row[0];
            if !self.land(floor, promised) {
                self.stage = Stage::Landing { promised: false };
                return floor.set_idle(self.me, true);
            }
            self.stage = Stage::Gathering;
            if floor.jams(self.me, &first, Moment::After) {
                return;
            }
        }
        let due = self.gather(floor);
        let complete = self.row.len() as u32 == self.n;
        let open = complete && self.is_open(floor);
        if open && floor.may_start(self.me) {
            return self.start(floor);
        }
        self.wait(floor, complete && !open);
        self.alarm.set(floor, due);
        floor.set_idle(self.me, complete && !open);
    }

    /// Takes parts until the row is complete; returns when the next one comes.
    fn gather<O: Observer>(&mut self, floor: &mut Floor<O>) -> Nanos {
        while (self.row.len() as u32) < self.n && floor.may_start(self.me) {
            match floor.offer(self.me, &self.inlets) {
                Offer::Ready(place) => self.row.push(floor.take(self.me, place)),
                Offer::Due(at) => return at,
                Offer::Nothing => break,
            }
        }
        Nanos::MAX
    }

    /// Parts of a row that go through each exit.
    fn each(&self) -> u32 {
        if self.exits.len() == 1 { self.n } else { 1 }
    }

    fn is_open<O: Observer>(&self, floor: &Floor<O>) -> bool {
        self.exits.iter().all(|exit| floor.has_room_later(self.me, *exit, self.each()))
    }

    fn wait<O: Observer>(&self, floor: &mut Floor<O>, waits: bool) {
        for exit in &self.exits {
            let Exit::Store(place) = exit else { continue };
            if waits && !floor.has_room_later(self.me, *exit, self.each()) {
                floor.wait_for_room(self.me, *place);
            } else {
                floor.stop_waiting(self.me, *place);
            }
        }
    }

    fn start<O: Observer>(&mut self, floor: &mut Floor<O>) {
        for exit in &self.exits {
            if let Exit::Store(place) = exit {
                floor.promise(self.me, *place, self.each());
            }
        }
        self.stage = Stage::Pushing;
        let time = self.luck.time(floor, self.me, &self.push);
        self.alarm.set(floor, floor.now + time);
        floor.set_state(self.me, State::Working);
        floor.jams(self.me, &self.row[0], Moment::Start);
    }

    /// Lets the row land; true when all of it has gone. Only belts that keep their parts apart can refuse a row that
    /// was promised room.
    fn land<O: Observer>(&mut self, floor: &mut Floor<O>, promised: bool) -> bool {
        let each = self.each() as usize;
        for (no, exit) in self.exits.iter().enumerate() {
            if self.gone[no] {
                continue;
            }
            let parts = &self.row[no * each..(no + 1) * each];
            self.gone[no] = match exit {
                Exit::Store(place) if promised => floor.land(self.me, no as u8, *place, parts),
                Exit::Leave | Exit::Hand(_) | Exit::Store(_) => false,
            };
            if !self.gone[no] && floor.has_room_for(self.me, *exit, each as u32) {
                floor.hand_over_together(self.me, no as u8, *exit, parts);
                self.gone[no] = true;
            }
            if let (false, Exit::Store(place)) = (self.gone[no], exit) {
                floor.wait_for_room(self.me, *place);
            }
        }
        if self.gone.contains(&false) {
            return false;
        }
        self.gone.fill(false);
        self.row.clear();
        true
    }

    pub(super) fn message(&mut self, message: Message) {
        match message {
            Message::Thawed(stood) => self.alarm.shift(stood),
            Message::Redirect(_) | Message::Attended(_) => {}
        }
    }
}

/// A row pusher as the file states it.
#[derive(Debug, Clone)]
pub struct RowPusherSpec {
    to: To,
    lanes: Vec<Spanned<String>>,
    row: u32,
    push: Law,
}

/// Reads a row pusher.
pub fn read(object: &mut Object<'_>) -> RowPusherSpec {
    let row = object.required("row", no_limit(count().at_least(1).at_most(1000)), "Parts of a row") as u32;
    let lanes = read_names(
        object,
        "lanes",
        "Stations of which each gets one part of a row; empty: the row goes to `to` as parts that land together",
    );
    if !lanes.is_empty() && object.sound(&["row", "lanes"]) {
        if lanes.len() != row as usize {
            let problem =
                Problem::new(code::OUT_OF_RANGE, format!("a row of {row} goes to {} lanes", lanes.len()));
            object.fail("lanes", problem.expected(format!("{row} stations, one for each part of a row")));
        }
        if object.has("to") {
            let problem = Problem::new(code::BAD_CONNECTION, "`lanes` and `to` both say where rows go");
            object.fail("to", problem.help("take one of the two out"));
        }
    }
    RowPusherSpec {
        to: read_to(object),
        lanes,
        row,
        push: object.required(
            "push",
            law(Dimension::Time).positive().usual("0.3 s", "3 s", "0.3 to 3 s"),
            "Time of a push",
        ),
    }
}

impl Blueprint for RowPusherSpec {
    fn exits(&self) -> Vec<ExitSpec> {
        if self.lanes.is_empty() {
            return vec![ExitSpec { key: "to", to: self.to.clone() }];
        }
        let exit = |name: &Spanned<String>| ExitSpec { key: "lanes", to: To::Named(name.clone()) };
        self.lanes.iter().map(exit).collect()
    }

    fn lands_together(&self) -> u32 {
        if self.lanes.is_empty() { self.row } else { 1 }
    }

    fn traffic(&self, traffic: &mut TrafficSite<'_>) {
        traffic.places = f64::from(self.row);
        traffic.seconds.fill(self.push.mean());
        if !self.lanes.is_empty() {
            traffic.split = Split::Fixed(vec![1.0 / self.lanes.len() as f64; self.lanes.len()]);
        }
    }

    fn build(&self, site: &mut Site<'_>) -> Station {
        let (alarm, push, luck) = (site.alarm(), site.law(&self.push), site.dice("push"));
        let (inlets, exits) = (site.inlets.clone(), site.exits.clone());
        Station::RowPusher(RowPusher::new(site.me, alarm, inlets, exits, self.row, push, luck))
    }
}

#[cfg(test)]
mod tests;
