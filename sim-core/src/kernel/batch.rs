//! Batches and promised room: parts that land together, and parts in flight that count against the room of
//! their destination.
//!
//! A batch is its pieces: tokens that enter a place at one moment, so that nothing is lost of what they are.
//! Room is *promised* to a part in flight by making the place that much smaller until the part lands: everybody
//! else then sees a place with less room, and nobody has to know of the flight. A place that takes *one batch at
//! a time* (a receiver) takes a batch only when nothing is in it; the pieces under way stand in it from the start
//! of the release. It knows no station and no recipe.
//!
//! Invariant: capacity plus promised room of a place never changes.

use super::floor::{Exit, Floor, PlaceId, StationId};
use super::observer::{Note, Observer};
use super::place::{AWAITED, BIN, ONE_BATCH, SHARED, SPACED, TURNS, UNLIMITED};
use crate::part::Part;

impl<O: Observer> Floor<O> {
    /// Whether `n` parts may land together beyond `exit` now. Of a hand, whether it is empty.
    pub fn has_room_for(&self, me: StationId, exit: Exit, n: u32) -> bool {
        match exit {
            Exit::Leave => true,
            Exit::Hand(place) => self.places[place.ix()].len == 0,
            Exit::Store(place) => {
                let p = &self.places[place.ix()];
                if p.flags & BIN != 0 || n == 0 {
                    return true;
                }
                let fits = if p.flags & ONE_BATCH != 0 && n > 1 {
                    p.len == 0 && p.capacity >= n
                } else {
                    p.capacity.saturating_sub(p.len) >= n
                };
                fits && self.has_room(me, place)
            }
        }
    }

    /// The same for parts that will land later: a belt that keeps its parts apart need not be clear yet.
    pub fn has_room_later(&self, me: StationId, exit: Exit, n: u32) -> bool {
        if let Exit::Store(place) = exit {
            let p = &self.places[place.ix()];
            if p.flags & SPACED != 0 {
                return p.capacity.saturating_sub(p.len) >= n && p.is_turn_of(me);
            }
        }
        self.has_room_for(me, exit, n)
    }

    /// Promises room for `n` parts in `place` to station `me`, for which there must be room. It no longer waits
    /// for room there, and its turn, if any, is over.
    pub fn promise(&mut self, me: StationId, place: PlaceId, n: u32) {
        let p = &mut self.places[place.ix()];
        if p.flags & BIN == 0 && p.capacity != UNLIMITED {
            assert!(p.capacity - p.len >= n, "room is promised only where there is some");
            p.capacity -= n;
            p.more.promised += n;
        }
        if p.flags & TURNS != 0 {
            p.pass_turn(me);
        }
        if p.flags & AWAITED != 0 {
            self.stop_waiting(me, place);
        }
        self.settle_carrier(place);
    }

    /// Gives promised room up; if others wait for it, it is offered to them.
    pub fn give_up(&mut self, place: PlaceId, n: u32) {
        self.take_promise(place, n);
        if self.places[place.ix()].flags & AWAITED != 0 {
            self.grant(place);
        }
    }

    fn take_promise(&mut self, place: PlaceId, n: u32) {
        let p = &mut self.places[place.ix()];
        if p.flags & BIN == 0 && p.capacity != UNLIMITED {
            assert!(p.more.promised >= n, "what lands was promised room before");
            p.capacity += n;
            p.more.promised -= n;
        }
    }

    /// Lands parts in `place` that were promised room there, all at one moment. False for a belt whose entry is
    /// not clear: the promise is over then, and the parts have to wait for room like any other.
    pub fn land(&mut self, me: StationId, no: u8, place: PlaceId, parts: &[Part]) -> bool {
        self.take_promise(place, parts.len() as u32);
        let p = &self.places[place.ix()];
        if p.flags & SPACED != 0 && p.entry_clear_in(self.now) != Some(0) {
            return false;
        }
        self.put_together(me, no, place, parts);
        true
    }

    /// Hands parts on together through exit number `no`; there must be room for all of them, see
    /// [`Floor::has_room_for`].
    pub fn hand_over_together(&mut self, me: StationId, no: u8, exit: Exit, parts: &[Part]) {
        match exit {
            Exit::Leave => {
                for part in parts {
                    let handed = self.hand_over(me, no, exit, part);
                    assert!(handed, "there is always room outside of the line");
                }
            }
            Exit::Hand(place) => self.put_together(me, no, place, parts),
            Exit::Store(place) => {
                self.put_together(me, no, place, parts);
                self.places[place.ix()].pass_turn(me);
                if self.places[place.ix()].flags & AWAITED != 0 {
                    self.stop_waiting(me, place);
                }
            }
        }
    }

    /// Puts parts into a place at one moment. The last comes to its end a little later for each piece where the
    /// place says so; all of a batch come there together.
    fn put_together(&mut self, me: StationId, no: u8, place: PlaceId, parts: &[Part]) {
        let p = &self.places[place.ix()];
        let is_bin = p.flags & BIN != 0;
        let later = (parts.len() as u64).saturating_sub(1) * p.more.each;
        for part in parts {
            self.note(me, Note::Exit(no), Some(part));
            if is_bin {
                self.put(place, *part);
                continue;
            }
            let p = &mut self.places[place.ix()];
            self.observer.level(self.now, place, p.len, p.len + 1);
            p.push_late(*part, self.now, later);
        }
        if is_bin {
            return;
        }
        let p = &self.places[place.ix()];
        // Whoever takes from here may want several, or the whole batch.
        let takers = if p.flags & SHARED == 0 { std::slice::from_ref(&p.taker) } else { &p.more.takers[..] };
        for taker in takers.iter().filter(|taker| **taker != StationId::NONE) {
            self.dirty.insert(taker.0);
        }
        self.after_put(place);
    }

    /// Parts at the end of a place now.
    pub fn n_ready(&self, place: PlaceId) -> u32 {
        let p = &self.places[place.ix()];
        if p.is_endless() { UNLIMITED } else { p.at_end(self.now).0 }
    }
}
