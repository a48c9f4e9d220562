//! What follows a take or an entry: who is marked, who is offered room, and the state of a transporter.

use super::{CHANGING, CLOCKED, FROZEN, Floor, Hot, OFF, PlaceId, STOPPED, StationId};
use crate::kernel::observer::Observer;
use crate::kernel::place::{self, AWAITED, CARRIED, HAND, SHARED, SPACED, STOPPING, WATCHED};
use crate::kernel::state::State;
use crate::part::Nanos;

impl<O: Observer> Floor<O> {
    pub(in crate::kernel) fn after_take(&mut self, me: StationId, place: PlaceId) {
        let p = self.places.at_mut(place.ix(), O::NEAR);
        if p.flags & HAND != 0 {
            self.dirty.insert_in(p.carrier.0, O::NEAR);
        }
        if p.flags & SHARED != 0 {
            p.more.last_taker = Some(me);
            if p.len > 0 {
                for taker in &p.more.takers {
                    if *taker != me {
                        self.dirty.insert_in(taker.0, O::NEAR);
                    }
                }
            }
        }
        if p.flags & AWAITED != 0 {
            self.grant(place);
        }
        if self.has_turns {
            self.be_idle_no_more(me);
        }
        self.mark_watchers(place);
        self.follow_content(place);
        self.wake_stopping(place);
    }

    /// A stopping belt times the arrival of its head, which has just changed; one with spaced entries, when it is full.
    #[inline]
    pub(super) fn wake_stopping(&mut self, place: PlaceId) {
        let p = self.places.at(place.ix(), O::NEAR);
        let is_timed = p.flags & STOPPING != 0 || (p.flags & SPACED != 0 && p.len >= p.capacity);
        if is_timed && p.carrier != StationId::NONE {
            self.dirty.insert_in(p.carrier.0, O::NEAR);
        }
    }

    /// Marks those who look at the content of `place` after the fixed point.
    #[inline]
    pub(in crate::kernel) fn mark_watchers(&mut self, place: PlaceId) {
        let p = self.places.at(place.ix(), O::NEAR);
        if p.flags & WATCHED != 0 {
            for &watcher in &p.more.watchers {
                self.looks.insert(watcher);
            }
        }
    }

    /// The state of a transporter follows its content: empty, full, or moving with parts aboard.
    #[inline(never)]
    pub(super) fn follow_content(&mut self, place: PlaceId) {
        let p = self.places.at(place.ix(), O::NEAR);
        let carrier = p.carrier;
        if p.flags & CARRIED == 0 {
            return;
        }
        let hot = *self.hot.at(carrier.ix(), O::NEAR);
        // What people have closed to swap it stays held, whatever comes back into it meanwhile.
        let is_closed = hot.state == State::Held && p.flags & place::FROZEN != 0;
        if hot.bars & (STOPPED | FROZEN) != 0 || is_closed {
            return;
        }
        // A stopping belt stands as soon as its head is at the end, and moves as long as it is not, even if full. Where entries
        // are spaced a belt that is full of moving parts moves as well.
        let blocked = if p.flags & (STOPPING | SPACED) == 0 {
            p.len >= p.capacity
        } else {
            p.stands_at().is_some_and(|at| at <= self.now)
        };
        let state = if p.len == 0 {
            State::Starved
        } else if blocked {
            State::Blocked
        } else {
            State::Working
        };
        if hot.bars & (OFF | CHANGING) != 0 && p.len == 0 {
            return self.set_barred(carrier, false);
        }
        if hot.state != state {
            self.enter_carrier_state(carrier, hot, state);
        }
    }

    /// The same as [`Floor::enter_state`], in one piece where nothing else hangs on it.
    #[inline(always)]
    pub(super) fn enter_carrier_state(&mut self, carrier: StationId, hot: Hot, new: State) {
        if hot.bars & CLOCKED != 0 || self.observer.is_special(carrier, hot.state) {
            return self.enter_state(carrier, new);
        }
        self.hot.at_mut(carrier.ix(), O::NEAR).state = new;
        self.note_rest(carrier, hot.state, new);
        self.observer.state_plainly(self.now, carrier, hot.state, new);
    }

    /// Re-evaluates the state of a transporter, for its own settling.
    pub fn settle_carrier(&mut self, place: PlaceId) {
        self.follow_content(place);
    }

    /// Offers the room in `place` to the station whose turn it is.
    pub(in crate::kernel) fn grant(&mut self, place: PlaceId) {
        let now = self.now;
        let p = self.places.at(place.ix(), O::NEAR);
        if p.more.granted.is_some() || p.len >= p.capacity {
            return;
        }
        let Some(next) = self.first_waiting(place) else { return };
        let p = &mut self.places[place.ix()];
        if p.flags & SPACED != 0 && p.entry_clear_in(now) != Some(0) {
            // The belt itself wakes the waiting ones when its entry is clear.
            if p.carrier != StationId::NONE {
                self.dirty.insert_in(p.carrier.0, O::NEAR);
            }
            return;
        }
        p.more.granted = Some(next);
        self.dirty.insert_in(next.0, O::NEAR);
    }

    /// Who is the first to get room in `place`: of those that wait and are able to take it, by the priority of the
    /// join, then the longest waiting.
    pub(crate) fn first_waiting(&self, place: PlaceId) -> Option<StationId> {
        let p = &self.places[place.ix()];
        let able = |s: &&StationId| self.hot[s.ix()].bars & (STOPPED | FROZEN) == 0 && p.is_turn_of(**s);
        let first = p.more.priority.iter().filter(|s| p.more.waiting.contains(s)).find(able);
        first.or_else(|| p.more.waiting.iter().find(able)).copied()
    }

    /// Gives room that was granted to a station that now stands to the next one that waits.
    #[cold]
    pub(in crate::kernel) fn pass_grants(&mut self, me: StationId) {
        for ix in 0..self.places.len() {
            if self.places[ix].more.granted == Some(me) {
                self.places[ix].more.granted = None;
                self.grant(PlaceId(ix as u16));
            }
        }
    }

    /// For a spaced belt: time until the entry is clear for a waiting station, if one waits.
    pub fn wake_entry(&mut self, place: PlaceId) -> Option<Nanos> {
        let p = self.places.at(place.ix(), O::NEAR);
        if p.more.waiting.is_empty() || p.more.granted.is_some() || p.len >= p.capacity {
            return None;
        }
        match p.entry_clear_in(self.now) {
            Some(0) => {
                self.grant(place);
                None
            }
            later => later,
        }
    }
}
