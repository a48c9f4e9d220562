//! Gridlock: a knot of stations that wait for each other and that no pending timer can open.
//!
//! Looked for when a station begins to wait: when it blocks, is held, or starves while others are blocked. A blocked station waits for whoever takes from the places it
//! can't give to; a starved one for whoever feeds the places that it finds empty or with too little; a held one for whoever takes
//! from the places its sensors watch. If everything that can be reached along these lines waits as well,
//! and no part is on its way to an end that somebody waits at, nothing can ever move again (the knot of the
//! OR model of deadlocks; Holt 1972).

use super::{Replica, Stop};
use crate::kernel::{Exit, Observer, PlaceId, State, StationId};

impl<O: Observer> Replica<'_, O> {
    /// True if there is a knot, which is then the stop of the replication.
    #[inline(never)]
    pub(super) fn find_knot(&mut self) -> bool {
        let mut n = 0;
        while let Some(&station) = self.floor.newly_blocked.get(n) {
            n += 1;
            if self.may_be_knotted(station)
                && let Some(stations) = self.knot_from(station)
            {
                self.floor.newly_blocked.clear();
                self.stop = Some(Stop::Gridlock { at: self.floor.now, stations });
                return true;
            }
        }
        self.floor.newly_blocked.clear();
        false
    }

    /// The stations of a knot that stands now, if any. Whether a knot has formed is only looked for when a station
    /// newly blocks; one that is complete only when a part has come to the end of its belt stands unseen until then.
    #[cold]
    pub fn standing_knot(&self) -> Option<Vec<StationId>> {
        let stations = (0..self.stations.len()).map(|ix| StationId(ix as u16));
        stations.filter(|&s| self.floor.state(s) == State::Blocked).find_map(|s| self.knot_from(s))
    }

    /// What can be seen at a glance: whether a station that began to wait may be part of a knot.
    fn may_be_knotted(&self, me: StationId) -> bool {
        match self.floor.state(me) {
            State::Blocked => !self.sees_work(me),
            State::Starved => {
                me.ix() < self.stations.len() && !self.has_own_clock(me) && !self.sees_feeder(me)
            }
            State::Held => true,
            State::JamAutomatic
            | State::JamWaiting
            | State::JamClearing
            | State::DownWaiting
            | State::DownRepair
            | State::Changeover
            | State::Off
            | State::Working
            | State::Checking => false,
        }
    }

    /// Whether somebody who feeds `me` is at work.
    fn sees_feeder(&self, me: StationId) -> bool {
        let links = &self.plan.links;
        let inlets = links.inlets[me.ix()].iter();
        let mut feeders = inlets.flat_map(|place| &links.feeders[place.ix()]);
        feeders.any(|feeder| self.floor.state(*feeder) == State::Working)
    }

    /// Whether somebody who takes from where `me` stands is at work, which is so nearly always: then there is
    /// no knot, and nothing has to be searched.
    fn sees_work(&self, me: StationId) -> bool {
        me.ix() < self.stations.len()
            && self.plan.links.exits[me.ix()].iter().any(|exit| match exit {
                Exit::Leave => false,
                Exit::Store(place) | Exit::Hand(place) => {
                    let taker = self.floor.place(*place).first_taker();
                    taker != StationId::NONE
                        && self.floor.state(taker) == State::Working
                        && self.stands_before(me, *exit)
                }
            })
    }

    /// All that can be reached from `start` along who-waits-for-whom, if nothing among it is alive.
    #[cold]
    fn knot_from(&self, start: StationId) -> Option<Vec<StationId>> {
        if start.ix() >= self.stations.len() {
            return None;
        }
        // The first is nearly always alive: then nothing is listed.
        let mut others = self.waits_for(start)?;
        let mut reached = vec![start];
        let mut next = 1;
        loop {
            for other in others {
                if !reached.contains(&other) {
                    reached.push(other);
                }
            }
            let Some(&station) = reached.get(next) else { return Some(reached) };
            others = self.waits_for(station)?;
            next += 1;
        }
    }

    /// Whom a station waits for; `None` if it is alive: a timer of its own can still change something.
    fn waits_for(&self, me: StationId) -> Option<Vec<StationId>> {
        let links = &self.plan.links;
        let state = self.floor.state(me);
        if let Some(body) = links.bodies[me.ix()]
            && matches!(state, State::Blocked | State::Working | State::Starved)
        {
            return self.carrier_waits_for(body);
        }
        match state {
            State::Blocked => {
                if self.has_own_clock(me) {
                    return None;
                }
                let mut others = Vec::new();
                for exit in &links.exits[me.ix()] {
                    if let Exit::Store(place) | Exit::Hand(place) = exit
                        && self.stands_before(me, *exit)
                    {
                        others.extend_from_slice(self.takers_of(*place)?);
                    }
                }
                if self.stations[me.ix()].takes_while_blocked(&self.floor) {
                    others.extend(self.feeders_of(me)?);
                }
                (!others.is_empty()).then_some(others)
            }
            State::Starved => {
                if self.has_own_clock(me) {
                    return None;
                }
                let others = self.feeders_of(me)?;
                (!others.is_empty()).then_some(others)
            }
            State::Held => {
                let mut others = Vec::new();
                for sensor in self.floor.sensors().iter().filter(|s| s.on && s.holds.contains(&me)) {
                    if sensor.pending {
                        return None;
                    }
                    for place in &sensor.places {
                        others.extend_from_slice(self.takers_of(*place)?);
                    }
                }
                (!others.is_empty()).then_some(others)
            }
            State::JamAutomatic
            | State::JamWaiting
            | State::JamClearing
            | State::DownWaiting
            | State::DownRepair
            | State::Changeover
            | State::Off
            | State::Working
            | State::Checking => None,
        }
    }

    /// Who can bring something to the inlets of a station; `None` if something is on its way or can be taken.
    fn feeders_of(&self, me: StationId) -> Option<Vec<StationId>> {
        let links = &self.plan.links;
        let mut others = Vec::new();
        for place in &links.inlets[me.ix()] {
            let content = self.floor.place(*place);
            match content.head_due() {
                Some(due) if due > self.floor.now || content.counts().is_some() => return None,
                // What stands still waits for the transporter on which it stands.
                None if !content.is_empty() => {
                    others.extend(
                        (0..links.bodies.len()).filter(|ix| links.bodies[*ix] == Some(*place)).map(station),
                    );
                }
                // Nothing is there, or too little for one stroke.
                Some(_) | None => others.extend_from_slice(&links.feeders[place.ix()]),
            }
        }
        Some(others)
    }

    /// Whether one of the station's own timers is pending.
    fn has_own_clock(&self, me: StationId) -> bool {
        self.floor.has_pending_timer(me)
    }

    /// Whether something of station `me` stands before this exit.
    fn stands_before(&self, me: StationId, exit: Exit) -> bool {
        match exit {
            Exit::Leave => false,
            Exit::Hand(place) => !self.floor.place(place).is_empty(),
            Exit::Store(place) => self.floor.place(place).waiting().contains(&me),
        }
    }

    /// Takers of a place; `None` if a part is still on its way to its end.
    fn takers_of(&self, place: PlaceId) -> Option<&[StationId]> {
        let content = self.floor.place(place);
        if content.head_due().is_some_and(|due| due > self.floor.now) {
            return None;
        }
        Some(content.takers())
    }

    fn carrier_waits_for(&self, body: PlaceId) -> Option<Vec<StationId>> {
        let content = self.floor.place(body);
        if content.is_empty() {
            let feeders = self.plan.links.feeders[body.ix()].clone();
            return (!feeders.is_empty()).then_some(feeders);
        }
        let takers = self.takers_of(body)?;
        (!takers.is_empty()).then(|| takers.to_vec())
    }
}

fn station(ix: usize) -> StationId {
    StationId(ix as u16)
}
