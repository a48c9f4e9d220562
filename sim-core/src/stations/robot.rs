//! Robot: fetches parts from several stations one after the other, then sets what it has gathered down.
//!
//! **Keys.** `fetches`: for each station to fetch from, `from`, `parts` at once (default 1) and `time`. `order`: *as listed*
//! (default: it waits for the one whose turn it is) or *whichever is there* (the first of the list that has its parts).
//! `set_down`: time to set down what was gathered (default none). `reach`: what only one of several stations may use at a
//! time.
//!
//! **Timing.** A fetch starts when the robot has set down the last product and it has left, its parts are at the end of
//! the place, and it may start; the parts are taken then. Between fetches of a product the robot keeps what it has.
//! When all are fetched it sets them down; what it has made leaves at the end of that, or stays until there is room
//! (blocking after service). Fetched from one station the parts themselves go on; from several, one assembly does, bad
//! if any of its parts is bad or the wrong way round; it is what the first part of the first fetch in the list is, whichever came
//! first. Of the stations that name the same `reach` one at a time moves:
//! it is taken for each fetch and for each setting down, in order of coming, and given back in between.
//!
//! **States.** Working while it moves; held while it waits for the reach; blocked while the product finds no room; starved
//! while parts are missing, charged to the inlets that lack them (strictly as listed: to the one whose turn it is). A
//! jam by part strikes at the start of a fetch on its first part, at the end of setting down, or after the product has
//! left.

use super::Station;
use super::alarm::Alarm;
use super::blueprint::{Blueprint, ExitSpec, Site, To, TrafficSite, read_to};
use super::dice::Dice;
use super::machine::{count_ready, read_reach};
use crate::kernel::{
    Exit, Floor, Inlets, Message, Moment, Observer, Offer, PlaceId, Sampler, State, StationId,
};
use crate::part::{Nanos, Part};
use crate::terms::law::Law;
use crate::terms::law_form::law;
use crate::text::fields::Object;
use crate::text::forms::{Spanned, count, list_of, name, nested, no_limit, one_of};
use crate::units::Dimension;

/// One fetch.
#[derive(Clone, Debug)]
struct Fetch {
    inlets: Inlets,
    parts: u32,
    time: Sampler,
    done: bool,
}

#[derive(Clone, Copy, Debug, PartialEq, Eq)]
enum Stage {
    /// Between moves.
    Still,
    Fetching,
    SettingDown,
    Leaving,
}

/// State of a robot.
#[derive(Clone, Debug)]
pub struct Robot {
    me: StationId,
    alarm: Alarm,
    fetches: Vec<Fetch>,
    strict: bool,
    set_down: Sampler,
    reach: Option<u16>,
    exit: Exit,
    luck: Dice,
    stage: Stage,
    /// Gathered parts, or the product.
    load: Vec<Part>,
}

impl Robot {
    pub(super) fn seed(&mut self, seed: u64, replication: u64) {
        self.luck.seed(seed, replication);
    }

    pub(super) fn content(&self) -> usize {
        self.load.len()
    }

    /// Places from which it needs parts for the next fetch.
    pub(super) fn lacks(&self) -> Vec<PlaceId> {
        let open = self.fetches.iter().filter(|fetch| !fetch.done);
        let n = if self.strict { 1 } else { self.fetches.len() };
        open.take(n).flat_map(|fetch| fetch.inlets.places.iter().copied()).collect()
    }

    pub(super) fn fire<O: Observer>(&mut self, floor: &mut Floor<O>) {
        self.alarm.spent();
        match self.stage {
            Stage::Fetching => {
                self.give_back(floor);
                self.stage = Stage::Still;
            }
            Stage::SettingDown => {
                self.give_back(floor);
                self.finish(floor);
            }
            Stage::Still | Stage::Leaving => {}
        }
    }

    /// The product is made; true if a jam has struck.
    fn finish<O: Observer>(&mut self, floor: &mut Floor<O>) -> bool {
        self.assemble(floor);
        self.stage = Stage::Leaving;
        floor.jams(self.me, &self.load[0], Moment::End)
    }

    fn give_back<O: Observer>(&self, floor: &mut Floor<O>) {
        if let Some(reach) = self.reach {
            floor.free(self.me, reach);
        }
    }

    fn assemble<O: Observer>(&mut self, floor: &mut Floor<O>) {
        if self.fetches.len() < 2 {
            return;
        }
        let good = self.load.iter().all(|part| floor.kind(part.kind).is_good(part));
        floor.absorb(self.load.len() as u64 - 1);
        self.load.truncate(1);
        if !good {
            self.load[0].mark_spoiled();
        }
    }

    pub(super) fn settle<O: Observer>(&mut self, floor: &mut Floor<O>) {
        match self.stage {
            Stage::Fetching | Stage::SettingDown => return floor.set_state(self.me, State::Working),
            Stage::Leaving => {
                if !self.leave(floor) {
                    return;
                }
            }
            Stage::Still => {}
        }
        if self.fetches.iter().all(|fetch| fetch.done) {
            if !(self.set_down.is_fixed() && self.set_down.mean() == 0.0) {
                return self.start(floor, None);
            }
            // Nothing moves: no reach is needed for it.
            if self.finish(floor) || !self.leave(floor) {
                return;
            }
        }
        let clear = floor.is_clear(self.exit);
        let (mut due, mut missing) = (Nanos::MAX, 0);
        if clear && floor.may_start(self.me) {
            match self.next_fetch(floor) {
                Ok(fetch) => return self.start(floor, Some(fetch)),
                Err(lack) => (due, missing) = lack,
            }
        }
        if let Some(reach) = self.reach {
            floor.leave_reach(self.me, reach);
        }
        self.alarm.set(floor, due);
        floor.missing(self.me, missing);
        floor.set_idle(self.me, !clear);
    }

    /// The fetch that can be made now; otherwise when the next part comes, and which inlets lack parts, as bits.
    fn next_fetch<O: Observer>(&self, floor: &Floor<O>) -> Result<usize, (Nanos, u32)> {
        let (mut due, mut missing) = (Nanos::MAX, 0);
        for (n, fetch) in self.fetches.iter().enumerate().filter(|(_, fetch)| !fetch.done) {
            let (ready, next) = count_ready(floor, &fetch.inlets, fetch.parts);
            if ready >= fetch.parts {
                return Ok(n);
            }
            missing |= 1 << n.min(31);
            due = due.min(next);
            if self.strict {
                break;
            }
        }
        Err((due, missing))
    }

    /// Starts a fetch, or setting down.
    fn start<O: Observer>(&mut self, floor: &mut Floor<O>, fetch: Option<usize>) {
        floor.missing(self.me, 0);
        if let Some(reach) = self.reach
            && !floor.seize(self.me, reach)
        {
            self.alarm.set(floor, Nanos::MAX);
            return floor.set_state(self.me, State::Held);
        }
        let mut fetched = None;
        let time = match fetch {
            Some(n) => {
                self.stage = Stage::Fetching;
                self.fetches[n].done = true;
                // What is listed first comes first, so that it is the one that goes on.
                let at = if n == 0 { 0 } else { self.load.len() };
                for place in 0..self.fetches[n].parts as usize {
                    if let Offer::Ready(from) = floor.offer(self.me, &self.fetches[n].inlets) {
                        self.load.insert(at + place, floor.take(self.me, from));
                    }
                }
                fetched = self.load.get(at).copied();
                self.luck.time(floor, self.me, &self.fetches[n].time)
            }
            None => {
                self.stage = Stage::SettingDown;
                self.luck.time(floor, self.me, &self.set_down)
            }
        };
        self.alarm.set(floor, floor.now + time);
        floor.set_state(self.me, State::Working);
        if let Some(part) = fetched {
            floor.jams(self.me, &part, Moment::Start);
        }
    }

    /// Hands on what has been made; true when the robot is free.
    fn leave<O: Observer>(&mut self, floor: &mut Floor<O>) -> bool {
        let mut last = None;
        while let Some(part) = self.load.first().copied() {
            if !floor.hand_over(self.me, 0, self.exit, &part) {
                floor.set_idle(self.me, true);
                return false;
            }
            self.load.remove(0);
            last = Some(part);
        }
        self.stage = Stage::Still;
        self.fetches.iter_mut().for_each(|fetch| fetch.done = false);
        !last.is_some_and(|part| floor.jams(self.me, &part, Moment::After))
    }

    pub(super) fn message(&mut self, message: Message) {
        match message {
            Message::Thawed(stood) => self.alarm.shift(stood),
            Message::Redirect(_) | Message::Attended(_) => {}
        }
    }
}

/// One fetch as the file states it.
#[derive(Debug, Clone)]
struct FetchSpec {
    from: Spanned<String>,
    parts: u32,
    time: Law,
}

/// A robot as the file states it.
#[derive(Debug, Clone)]
pub struct RobotSpec {
    to: To,
    fetches: Vec<FetchSpec>,
    strict: bool,
    set_down: Law,
    reach: Option<Spanned<String>>,
}

fn read_fetch(object: &mut Object<'_>) -> FetchSpec {
    FetchSpec {
        from: object.required("from", name(), "The station from which it fetches"),
        parts: object.optional(
            "parts",
            no_limit(count().at_least(1).at_most(1000)),
            "1",
            "Parts that it takes at once",
        ) as u32,
        time: object.required(
            "time",
            law(Dimension::Time).positive().usual("0.5 s", "6 s", "0.5 to 6 s"),
            "Time of the fetch: there, take, and back",
        ),
    }
}

/// Reads a robot.
pub fn read(object: &mut Object<'_>) -> RobotSpec {
    const ORDERS: &[(&str, bool, &str)] = &[
        ("as listed", true, "one after the other, waiting for the one whose turn it is"),
        ("whichever is there", false, "the first of the list that has its parts"),
    ];
    RobotSpec {
        to: read_to(object),
        fetches: object.required(
            "fetches",
            list_of(nested("fetch", read_fetch)).at_least(1),
            "What it fetches for one product, in order",
        ),
        strict: object.optional("order", one_of(ORDERS), "as listed", "In which order it fetches"),
        set_down: object.optional(
            "set_down",
            law(Dimension::Time),
            "0 s",
            "Time to set down what was gathered",
        ),
        reach: read_reach(object),
    }
}

impl Blueprint for RobotSpec {
    fn exits(&self) -> Vec<ExitSpec> {
        vec![ExitSpec { key: "to", to: self.to.clone() }]
    }

    fn named_inlets(&self) -> Vec<Spanned<String>> {
        self.fetches.iter().map(|fetch| fetch.from.clone()).collect()
    }

    fn n_told_inlets(&self) -> u32 {
        if self.fetches.len() > 1 { self.fetches.len() as u32 } else { 0 }
    }

    fn reach(&self) -> Option<&Spanned<String>> {
        self.reach.as_ref()
    }

    fn traffic(&self, traffic: &mut TrafficSite<'_>) {
        let fetching: f64 = self.fetches.iter().map(|fetch| fetch.time.mean()).sum();
        traffic.reach_s = fetching + self.set_down.mean();
        traffic.seconds.fill(traffic.reach_s);
        traffic.per_product = self.fetches.iter().map(|fetch| f64::from(fetch.parts)).collect();
        if let [parts] = traffic.per_product[..] {
            traffic.places = parts;
        }
    }

    fn build(&self, site: &mut Site<'_>) -> Station {
        let alarm = site.alarm();
        let mut fetches = Vec::new();
        for (spec, inlets) in self.fetches.iter().zip(site.named_inlets.clone()) {
            for place in inlets.places.clone() {
                site.wake_until(place, spec.parts);
            }
            fetches.push(Fetch { inlets, parts: spec.parts, time: site.law(&spec.time), done: false });
        }
        let (set_down, luck) = (site.law(&self.set_down), site.dice("fetch"));
        Station::Robot(Robot {
            me: site.me,
            alarm,
            fetches,
            strict: self.strict,
            set_down,
            reach: site.reach,
            exit: site.exits[0],
            luck,
            stage: Stage::Still,
            load: Vec::new(),
        })
    }
}

#[cfg(test)]
mod tests;
