//! Air tube: blows parts through a tube, one shot at a time.
//!
//! **Keys.** `length` and `speed` of the parts, or `travel` as a law; `shots`: parts under way at once (default 1).
//!
//! **Timing.** A shot starts when a part is at the end of an inlet, fewer than `shots` are under way, and there is room
//! beyond, the parts under way counted: the room is promised to the part at that moment. It lands a travel time
//! later, not before one that was blown earlier. Where the next station takes from the tube's end by itself, the
//! end must be empty, and one shot is under way at most. On a belt that keeps its parts apart a part may find the
//! entry not clear when it lands: it then waits at the end of the tube, and no shot starts.
//!
//! **States.** Working while a part is under way; blocked while a part is ready and there is no room for it. A jam by
//! part strikes at the start of the shot, when it lands before it moves on, or after it has moved on.

use super::Station;
use super::alarm::Alarm;
use super::blueprint::{Blueprint, ExitSpec, Site, To, TrafficSite, read_to};
use super::dice::Dice;
use crate::diag::{Problem, code};
use crate::kernel::{Exit, Floor, Inlets, Message, Moment, Observer, Offer, Sampler, State, StationId};
use crate::part::{Nanos, Part};
use crate::terms::law::Law;
use crate::terms::law_form::law;
use crate::text::fields::Object;
use crate::text::forms::{count, length, speed};
use crate::units::Dimension;
use std::collections::VecDeque;

/// State of a tube.
#[derive(Clone, Debug)]
pub struct AirTube {
    me: StationId,
    alarm: Alarm,
    inlets: Inlets,
    exit: Exit,
    shots: u32,
    travel: Sampler,
    luck: Dice,
    /// Parts under way with the time at which each lands, first the first.
    flying: VecDeque<(Nanos, Part)>,
    /// A part at the end of the tube, and whether room is still promised to it.
    landed: Option<(Part, bool)>,
}

impl AirTube {
    /// An empty tube.
    pub fn new(
        me: StationId,
        alarm: Alarm,
        inlets: Inlets,
        exit: Exit,
        shots: u32,
        travel: Sampler,
        luck: Dice,
    ) -> Self {
        AirTube { me, alarm, inlets, exit, shots, travel, luck, flying: VecDeque::new(), landed: None }
    }

    pub(super) fn seed(&mut self, seed: u64, replication: u64) {
        self.luck.seed(seed, replication);
    }

    pub(super) fn content(&self) -> usize {
        self.flying.len() + usize::from(self.landed.is_some())
    }

    pub(super) fn fire(&mut self) {
        self.alarm.spent();
    }

    pub(super) fn settle<O: Observer>(&mut self, floor: &mut Floor<O>) {
        if !self.land(floor) {
            return;
        }
        let mut due = Nanos::MAX;
        let mut blocked = self.landed.is_some();
        let mut demanded = false;
        while !blocked && floor.may_start(self.me) && (self.flying.len() as u32) < self.shots {
            match floor.offer(self.me, &self.inlets) {
                Offer::Ready(place) if self.is_open(floor) => {
                    let part = floor.take(self.me, place);
                    if self.shoot(floor, part) {
                        return;
                    }
                }
                Offer::Ready(_) => {
                    (blocked, demanded) = (true, true);
                    if let Exit::Store(place) = self.exit {
                        floor.wait_for_room(self.me, place);
                    }
                }
                Offer::Due(at) => {
                    due = at;
                    break;
                }
                Offer::Nothing => break,
            }
        }
        if !demanded
            && self.landed.is_none()
            && let Exit::Store(place) = self.exit
        {
            floor.stop_waiting(self.me, place);
        }
        self.alarm.set(floor, self.flying.front().map_or(due, |(end, _)| due.min(*end)));
        if self.flying.is_empty() {
            floor.set_idle(self.me, blocked || !floor.is_clear(self.exit));
        } else {
            floor.set_state(self.me, State::Working);
        }
    }

    /// Lands what has come; false if a jam has struck.
    fn land<O: Observer>(&mut self, floor: &mut Floor<O>) -> bool {
        loop {
            if let Some((part, promised)) = self.landed {
                if !self.hand_on(floor, &part, promised) {
                    self.landed = Some((part, false));
                    return true;
                }
                self.landed = None;
                if floor.jams(self.me, &part, Moment::After) {
                    return false;
                }
            }
            match self.flying.front().copied() {
                Some((end, part)) if end <= floor.now => {
                    self.flying.pop_front();
                    self.landed = Some((part, true));
                    if floor.jams(self.me, &part, Moment::End) {
                        return false;
                    }
                }
                Some(_) | None => return true,
            }
        }
    }

    fn hand_on<O: Observer>(&mut self, floor: &mut Floor<O>, part: &Part, promised: bool) -> bool {
        match self.exit {
            Exit::Store(place) if promised => {
                floor.land(self.me, 0, place, std::slice::from_ref(part))
                    || floor.hand_over(self.me, 0, self.exit, part)
            }
            Exit::Leave | Exit::Hand(_) | Exit::Store(_) => floor.hand_over(self.me, 0, self.exit, part),
        }
    }

    fn is_open<O: Observer>(&self, floor: &Floor<O>) -> bool {
        match self.exit {
            Exit::Leave => true,
            Exit::Store(_) => floor.has_room_later(self.me, self.exit, 1),
            Exit::Hand(_) => self.flying.is_empty() && floor.is_clear(self.exit),
        }
    }

    /// Starts a shot; true if a jam has struck.
    fn shoot<O: Observer>(&mut self, floor: &mut Floor<O>, part: Part) -> bool {
        if let Exit::Store(place) = self.exit {
            floor.promise(self.me, place, 1);
        }
        let lands = floor.now + self.luck.time(floor, self.me, &self.travel);
        let before = self.flying.back().map_or(0, |(end, _)| *end);
        self.flying.push_back((lands.max(before), part));
        // Set before a jam may strike, so that it stands still with the station.
        self.alarm.set(floor, self.flying[0].0);
        floor.set_state(self.me, State::Working);
        floor.jams(self.me, &part, Moment::Start)
    }

    pub(super) fn message(&mut self, message: Message) {
        match message {
            Message::Thawed(stood) => {
                self.alarm.shift(stood);
                self.flying.iter_mut().for_each(|(end, _)| *end += stood);
            }
            Message::Redirect(_) | Message::Attended(_) => {}
        }
    }
}

/// A tube as the file states it.
#[derive(Debug, Clone)]
pub struct AirTubeSpec {
    to: To,
    shots: u32,
    travel: Law,
}

/// Reads an air tube.
pub fn read(object: &mut Object<'_>) -> AirTubeSpec {
    let long = object.maybe("length", length().positive().at_most("1000 m"), "Length of the tube");
    let fast = object.maybe(
        "speed",
        speed().positive().usual("15 ft/s", "40 ft/s", "15 to 40 ft/s"),
        "Speed of the parts in it; gives the travel time from the length",
    );
    let travel = object.maybe(
        "travel",
        law(Dimension::Time).at_most(3600.0),
        "Travel time of a part; left out: length / speed",
    );
    let sound = object.sound(&["length", "speed", "travel"]);
    let travel = match (travel, long, fast) {
        (Some(travel), None, None) => travel,
        (None, Some(length), Some(speed)) => Law::fixed(length / speed),
        _ => {
            if sound {
                let problem = Problem::new(code::MISSING_KEY, "how long a part travels is not clear");
                object.fail_here(problem.expected("`length` and `speed`, or `travel`"));
            }
            Law::fixed(1.0)
        }
    };
    AirTubeSpec {
        to: read_to(object),
        shots: object.optional("shots", count().at_least(1).at_most(1000), "1", "Parts under way at once")
            as u32,
        travel,
    }
}

impl Blueprint for AirTubeSpec {
    fn exits(&self) -> Vec<ExitSpec> {
        vec![ExitSpec { key: "to", to: self.to.clone() }]
    }

    fn traffic(&self, traffic: &mut TrafficSite<'_>) {
        traffic.places = f64::from(self.shots);
        traffic.seconds.fill(self.travel.mean());
    }

    fn build(&self, site: &mut Site<'_>) -> Station {
        let (alarm, travel, luck) = (site.alarm(), site.law(&self.travel), site.dice("travel"));
        let (inlets, exit) = (site.inlets.clone(), site.exits[0]);
        Station::AirTube(AirTube::new(site.me, alarm, inlets, exit, self.shots, travel, luck))
    }
}

#[cfg(test)]
mod tests;
