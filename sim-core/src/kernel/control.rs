//! Control: sensors that hold stations, and breaks.
//!
//! A sensor watches the content of a place, the queue at its end, or a sum of places. It switches on when
//! the level is at or above `high`, off when it is at or below `low`; a *debounced* change must persist for
//! its delay, a *plain* one comes through the delay whatever happens meanwhile. While it is on it holds the
//! named stations: they start no new work, or they freeze; others it slows down. Sensors look after the fixed point.

use super::calendar::TimerId;
use super::floor::{FROZEN, Floor, HELD, OFF, PlaceId, StationId};
use super::observer::{Note, Observer};
use super::pace::Pace;
use super::place::SHARED;
use super::state::State;
use crate::part::Nanos;

/// What a sensor sees of a place.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Sight {
    /// All parts, in transit and waiting.
    Content,
    /// Only the parts that wait at the end: a part passing is not a full track.
    Queue,
}

/// A sensor: parameters and present state.
#[derive(Clone, Debug)]
pub struct Sensor {
    /// Number among the posts, for the account of its on-share.
    pub post: StationId,
    /// Places whose levels are added up.
    pub places: Vec<PlaceId>,
    /// What it sees of them.
    pub sight: Sight,
    /// On at or above this level.
    pub high: u32,
    /// Off at or below this level.
    pub low: u32,
    /// Delay of switching on, ns.
    pub delay_on: Nanos,
    /// Delay of switching off, ns.
    pub delay_off: Nanos,
    /// Whether a change must persist for its delay.
    pub debounced: bool,
    /// Stations held while it is on.
    pub holds: Vec<StationId>,
    /// Stations slowed down while it is on.
    pub slows: Vec<StationId>,
    /// Their speed then.
    pub slow_to: Pace,
    /// Its timer.
    pub timer: TimerId,
    /// Whether it is on.
    pub on: bool,
    /// The change that waits for its delay.
    pub pending: bool,
}

impl<O: Observer> Floor<O> {
    /// All sensors.
    pub fn sensors(&self) -> &[Sensor] {
        &self.sensors
    }

    /// Number of parts that `sensor` sees, and the time at which it will see one more without any move.
    fn level(&self, sensor: &Sensor) -> (u32, Option<Nanos>) {
        match sensor.sight {
            Sight::Content => (sensor.places.iter().map(|p| self.places[p.ix()].len()).sum(), None),
            Sight::Queue => {
                let mut level = 0;
                let mut next: Option<Nanos> = None;
                for place in &sensor.places {
                    let (here, due) = self.places[place.ix()].at_end(self.now);
                    level += here;
                    if let Some(due) = due {
                        next = Some(next.map_or(due, |n: Nanos| n.min(due)));
                    }
                }
                (level, next)
            }
        }
    }

    /// Lets sensor number `ix` look.
    pub fn look(&mut self, ix: u16) {
        let sensor = &self.sensors[usize::from(ix)];
        let (level, next) = self.level(sensor);
        let (on, pending, timer) = (sensor.on, sensor.pending, sensor.timer);
        let wants = if on { level <= sensor.low } else { level >= sensor.high };
        let delay = if on { sensor.delay_off } else { sensor.delay_on };
        if wants && delay == 0 {
            return self.switch(ix);
        }
        if wants && !pending {
            self.sensors[usize::from(ix)].pending = true;
            self.set_timer(timer, delay);
        } else if !wants && pending && sensor.debounced {
            self.sensors[usize::from(ix)].pending = false;
            self.calendar.clear(timer);
        }
        let waits = self.sensors[usize::from(ix)].pending;
        if let (false, Some(next)) = (waits, next) {
            self.calendar.set(timer, next);
        }
    }

    /// The timer of sensor number `ix` has run out: the delay is over, or the queue has grown.
    pub fn fire_sensor(&mut self, ix: u16) {
        if self.sensors[usize::from(ix)].pending {
            self.switch(ix);
        } else {
            self.look(ix);
        }
    }

    fn switch(&mut self, ix: u16) {
        let sensor = &mut self.sensors[usize::from(ix)];
        sensor.pending = false;
        sensor.on = !sensor.on;
        let (on, post) = (sensor.on, sensor.post);
        self.set_state(post, if on { State::Working } else { State::Starved });
        self.note(post, if on { Note::SensorOn } else { Note::SensorOff }, None);
        for n in 0..self.sensors[usize::from(ix)].holds.len() {
            let station = self.sensors[usize::from(ix)].holds[n];
            if on { self.hold(station) } else { self.release(station) }
        }
        for n in 0..self.sensors[usize::from(ix)].slows.len() {
            self.set_pace(self.sensors[usize::from(ix)].slows[n]);
        }
        self.looks.insert(post.0);
    }

    /// Gives a station the speed that the sensors which are on allow it: the slowest one counts.
    fn set_pace(&mut self, me: StationId) {
        let slowing = self.sensors.iter().filter(|sensor| sensor.on && sensor.slows.contains(&me));
        let pace = slowing.map(|sensor| sensor.slow_to).min().unwrap_or_default();
        let post = &mut self.posts[me.ix()];
        if post.pace == pace {
            return;
        }
        post.pace = pace;
        // A belt or track moves by itself; other stations see to their times when they are settled, or go on.
        if let Some(body) = post.body {
            self.places[body.ix()].set_pace(self.now, pace);
            self.wake_takers(body);
        }
        self.dirty.insert(me.0);
    }

    /// Holds a station, once more if it is held already.
    pub fn hold(&mut self, me: StationId) {
        let post = &mut self.posts[me.ix()];
        post.n_holds += 1;
        if post.n_holds == 1 {
            let freezes = post.freezes;
            self.bar(me, HELD, freezes);
        }
    }

    /// Releases one hold of a station.
    pub fn release(&mut self, me: StationId) {
        let post = &mut self.posts[me.ix()];
        post.n_holds -= 1;
        if post.n_holds == 0 {
            self.unbar(me, HELD);
            self.note(me, Note::Restarted, None);
        }
    }

    fn bar(&mut self, me: StationId, bar: u8, freezes: bool) {
        self.hot[me.ix()].bars |= bar;
        if !freezes {
            self.dirty.insert(me.0);
            return;
        }
        self.hot[me.ix()].bars |= FROZEN;
        self.freeze(me);
        if self.posts[me.ix()].current.is_none() {
            let state = Self::frozen_state(self.hot[me.ix()].bars);
            self.set_state(me, state);
        }
    }

    fn unbar(&mut self, me: StationId, bar: u8) {
        let hot = &mut self.hot[me.ix()];
        hot.bars &= !bar;
        if hot.bars & FROZEN == 0 {
            self.dirty.insert(me.0);
        } else if hot.bars & (HELD | OFF) == 0 {
            hot.bars &= !FROZEN;
            self.thaw(me);
        } else if self.posts[me.ix()].current.is_none() {
            let state = Self::frozen_state(self.hot[me.ix()].bars);
            self.set_state(me, state);
        }
    }

    /// A break begins for a station or an attendant: the work in progress is finished first, except on
    /// transporters that stop.
    pub fn begin_break(&mut self, me: StationId) {
        let post = &mut self.posts[me.ix()];
        if post.no_breaks {
            return;
        }
        post.n_breaks += 1;
        if post.n_breaks == 1 {
            let freezes = post.freezes;
            self.bar(me, OFF, freezes);
        }
    }

    /// A break ends for a station or an attendant.
    pub fn end_break(&mut self, me: StationId) {
        let post = &mut self.posts[me.ix()];
        if post.no_breaks {
            return;
        }
        post.n_breaks -= 1;
        if post.n_breaks == 0 {
            self.unbar(me, OFF);
        }
    }

    /// Sets the state of all attendants that are idle, and sends those who are back to waiting calls.
    pub fn muster(&mut self, pool: u16, attendants: &[StationId]) {
        for &post in attendants {
            if self.state(post) != State::Working {
                self.set_idle(post, false);
            }
        }
        self.assign_all(pool);
    }

    /// Marks the takers of a place whose content moves again.
    pub(super) fn wake_takers(&mut self, place: PlaceId) {
        let p = &self.places[place.ix()];
        if p.flags & SHARED == 0 {
            if p.taker != StationId::NONE {
                self.dirty.insert(p.taker.0);
            }
        } else {
            for taker in &p.more.takers {
                self.dirty.insert(taker.0);
            }
        }
        self.mark_watchers(place);
    }
}
