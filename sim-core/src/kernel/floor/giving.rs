//! Giving parts to places: whether there is room, handing over, putting and pouring.

use super::{Exit, Floor, PlaceId, SHUT, StationId};
use crate::kernel::observer::{Note, Observer};
use crate::kernel::place::{
    AWAITED, BIN, BinClass, CARRIED, COUNTED, HAND, SHARED, SPACED, SPECIAL_PUT, THROUGH, TURNS, WATCHED,
};
use crate::kernel::state::State;
use crate::part::Part;

impl<O: Observer> Floor<O> {
    /// Whether `me` may put a part into the store `place` now: there is room, and nobody else's turn.
    #[inline(always)]
    pub fn has_room(&self, me: StationId, place: PlaceId) -> bool {
        let p = self.places.at(place.ix(), O::NEAR);
        if p.flags & (BIN | SPACED | AWAITED | TURNS) == 0 {
            p.len < p.capacity
        } else {
            self.may_enter(me, place)
        }
    }

    #[inline(never)]
    pub(super) fn may_enter(&self, me: StationId, place: PlaceId) -> bool {
        let p = self.places.at(place.ix(), O::NEAR);
        if p.flags & BIN != 0 {
            return true;
        }
        if !p.has_room(self.now) || !p.is_turn_of(me) {
            return false;
        }
        if p.flags & AWAITED == 0 {
            return true;
        }
        // Whenever there is room and an able station waits, the room has been granted to it.
        match p.more.granted {
            Some(granted) => granted == me,
            None if p.flags & SPACED != 0 => p.more.waiting.first() == Some(&me),
            // Unless the first of them wants more of it than there is: nobody passes it.
            None => self.first_waiting(place).is_none_or(|first| first == me),
        }
    }

    /// Whether a part could be handed to `exit` at once: a store with room, or an empty hand.
    #[inline]
    pub fn is_open(&self, me: StationId, exit: Exit) -> bool {
        match exit {
            Exit::Leave => true,
            Exit::Store(place) => self.has_room(me, place),
            Exit::Hand(place) => self.places.at(place.ix(), O::NEAR).len == 0,
        }
    }

    /// Whether nothing that the station has finished still stands in its hand.
    #[inline]
    pub fn is_clear(&self, exit: Exit) -> bool {
        match exit {
            Exit::Leave | Exit::Store(_) => true,
            Exit::Hand(place) => self.places.at(place.ix(), O::NEAR).len == 0,
        }
    }

    /// Says of the part that is handed on next whether more of the same turn follow, where equal stations deliver in turn.
    pub fn keep_turn(&mut self, exit: Exit, more_follow: bool) {
        if let Exit::Store(place) = exit {
            self.places[place.ix()].more.keeps_turn = more_follow;
        }
    }

    /// The turn that `me` has kept is over.
    pub fn end_turn(&mut self, me: StationId, exit: Exit) {
        self.keep_turn(exit, false);
        if let Exit::Store(place) = exit {
            self.places[place.ix()].pass_turn(me);
        }
    }

    /// Hands a finished part on through exit number `no`. Returns false, and lists the station as waiting,
    /// if there is no room.
    #[inline(always)]
    pub fn hand_over(&mut self, me: StationId, no: u8, exit: Exit, part: &Part) -> bool {
        let (Exit::Hand(place) | Exit::Store(place)) = exit else {
            self.note(me, Note::Exit(no), Some(part));
            if self.goods.is_used() {
                self.count_good(me, no, part);
            }
            self.left += 1;
            self.note(me, Note::Left, Some(part));
            return true;
        };
        let p = self.places.at(place.ix(), O::NEAR);
        if p.flags & (SPECIAL_PUT | AWAITED) != 0 || p.len >= p.capacity {
            return self.hand_over_special(me, no, exit, part);
        }
        self.observer.note(self.now, me, Note::Exit(no), Some(part));
        self.put_plain(place, part);
        true
    }

    /// Lets a part that station `me` has finished pass through its hand `place` and the divider behind it in
    /// one go, if the divider takes from nowhere else and gives to the first exit with room. True if it has
    /// passed. It saves settling the divider and then the station once more.
    ///
    /// Whoever uses it has to let those be settled first who come before it and are marked now.
    #[inline(always)]
    pub(crate) fn pass_divider(&mut self, me: StationId, place: PlaceId, part: &Part) -> bool {
        self.places.at(place.ix(), O::NEAR).flags & THROUGH != 0 && self.pass_this_divider(me, place, part)
    }

    #[inline(never)]
    pub(super) fn pass_this_divider(&mut self, me: StationId, place: PlaceId, part: &Part) -> bool {
        let p = self.places.at(place.ix(), O::NEAR);
        let divider = p.taker;
        if p.len > 0 || !self.may_start(divider) || self.hot[divider.ix()].moments != 0 {
            return false;
        }
        for n in 0..p.more.through.len() {
            let (no, exit) = self.places.at(place.ix(), O::NEAR).more.through[n];
            match exit {
                Exit::Store(store) if self.is_plainly_open(store) => {
                    self.note_passage(me, place, divider, part);
                    self.put_plainly(divider, no, store, part);
                    return true;
                }
                Exit::Leave | Exit::Store(_) | Exit::Hand(_) if self.is_open(divider, exit) => {
                    self.note_passage(me, place, divider, part);
                    let handed = self.hand_over(divider, no, exit, part);
                    assert!(handed, "a divider hands on only into an exit with room");
                    return true;
                }
                Exit::Leave | Exit::Store(_) | Exit::Hand(_) => {}
            }
        }
        false
    }

    #[inline(always)]
    pub(super) fn note_passage(&mut self, me: StationId, place: PlaceId, divider: StationId, part: &Part) {
        self.note(me, Note::Exit(0), Some(part));
        self.observer.passes(self.now, place);
        self.note(divider, Note::Took, Some(part));
    }

    /// States that a station takes nothing while its state is working: it isn't told of parts then.
    pub(crate) fn set_shut_at_work(&mut self, me: StationId) {
        self.hot.at_mut(me.ix(), O::NEAR).bars |= SHUT;
    }

    /// Names the exits of the divider that takes from the hand `place`, for [`Floor::pass_divider`].
    pub(crate) fn set_through(&mut self, place: PlaceId, exits: &[Exit]) {
        let p = self.places.at_mut(place.ix(), O::NEAR);
        if p.flags & (HAND | SHARED | WATCHED | COUNTED) == HAND {
            p.flags |= THROUGH;
            p.more.through = (0..).zip(exits.iter().copied()).collect();
        }
    }

    #[inline(never)]
    pub(super) fn hand_over_special(&mut self, me: StationId, no: u8, exit: Exit, part: &Part) -> bool {
        match exit {
            Exit::Leave => panic!("who leaves the line needs no room"),
            Exit::Hand(place) => {
                self.note(me, Note::Exit(no), Some(part));
                self.count_good(me, no, part);
                self.put(place, *part);
                true
            }
            Exit::Store(place) => {
                if !self.has_room(me, place) {
                    self.wait_for_room(me, place);
                    return false;
                }
                self.note(me, Note::Exit(no), Some(part));
                self.count_good(me, no, part);
                self.put(place, *part);
                self.places.at_mut(place.ix(), O::NEAR).pass_turn(me);
                if self.places.at(place.ix(), O::NEAR).flags & AWAITED != 0 {
                    self.stop_waiting(me, place);
                }
                true
            }
        }
    }

    /// Lists `me` as waiting for room in `place`.
    #[cold]
    pub fn wait_for_room(&mut self, me: StationId, place: PlaceId) {
        let p = self.places.at_mut(place.ix(), O::NEAR);
        let way = Some(p.carrier).filter(|carrier| *carrier != StationId::NONE && p.is_on_its_way(self.now));
        self.observer.waits_for_room(self.now, me, way);
        p.flags |= AWAITED;
        // Who was offered the room and wants more of it is not offered the same again at once.
        let declined = p.more.granted == Some(me);
        if declined {
            p.more.granted = None;
        }
        if !p.more.waiting.contains(&me) {
            p.more.waiting.push(me);
        }
        if declined || p.len >= p.capacity {
            return;
        }
        let (spaced, carrier, is_free) = (p.flags & SPACED != 0, p.carrier, p.more.granted.is_none());
        if spaced && carrier != StationId::NONE {
            self.dirty.insert_in(carrier.0, O::NEAR);
        } else if is_free && self.first_waiting(place) != Some(me) {
            // The one before may not know of the room: it could not take it when it appeared.
            self.grant(place);
        }
    }

    /// Takes `me` off the list of those who wait for room in `place`, and offers the room to the next.
    #[cold]
    pub fn stop_waiting(&mut self, me: StationId, place: PlaceId) {
        let p = self.places.at_mut(place.ix(), O::NEAR);
        if p.more.granted == Some(me) {
            p.more.granted = None;
        }
        p.more.waiting.retain(|waiting| *waiting != me);
        if p.more.waiting.is_empty() {
            p.flags &= !AWAITED;
        } else {
            self.grant(place);
        }
    }

    /// Puts a part into a place, whatever its capacity; marks the takers and watchers.
    pub fn put(&mut self, place: PlaceId, part: Part) {
        if self.places.at(place.ix(), O::NEAR).flags & SPECIAL_PUT == 0 {
            self.put_plain(place, &part);
        } else {
            self.put_special(place, part);
        }
    }

    /// Whether a part can be put into a store with [`Floor::put_plainly`].
    #[inline(always)]
    pub(crate) fn is_plainly_open(&self, place: PlaceId) -> bool {
        let p = self.places.at(place.ix(), O::NEAR);
        p.flags & (SPECIAL_PUT | AWAITED) == 0 && p.len < p.capacity
    }

    /// Hands a part to a store that is plainly open, through exit number `no` of `me`.
    #[inline(always)]
    pub(crate) fn put_plainly(&mut self, me: StationId, no: u8, place: PlaceId, part: &Part) {
        self.observer.note(self.now, me, Note::Exit(no), Some(part));
        self.put_plain(place, part);
    }

    #[inline(always)]
    pub(super) fn put_plain(&mut self, place: PlaceId, part: &Part) {
        let p = self.places.at_mut(place.ix(), O::NEAR);
        p.push_plain(part, self.now);
        let (len, taker) = (p.len, p.taker);
        let follows = p.flags & CARRIED != 0 && p.is_at_edge(len);
        if len <= p.wake && taker != StationId::NONE {
            let hot = *self.hot.at(taker.ix(), O::NEAR);
            if hot.state != State::Working || hot.bars & SHUT == 0 {
                self.dirty.insert_in(taker.0, O::NEAR);
            }
        }
        self.observer.rises(self.now, place, len - 1);
        if follows {
            self.follow_content(place);
        }
    }

    #[inline(never)]
    pub(super) fn put_special(&mut self, place: PlaceId, part: Part) {
        let p = self.places.at_mut(place.ix(), O::NEAR);
        if p.flags & BIN != 0 {
            return self.pour(place, BinClass::of(&part), 1);
        }
        self.observer.level(self.now, place, p.len, p.len + 1);
        p.push(part, self.now);
        self.after_put(place);
    }

    pub(in crate::kernel) fn after_put(&mut self, place: PlaceId) {
        let p = self.places.at(place.ix(), O::NEAR);
        if p.len <= p.wake {
            if p.flags & SHARED == 0 {
                if p.taker != StationId::NONE {
                    self.dirty.insert_in(p.taker.0, O::NEAR);
                }
            } else {
                for taker in &p.more.takers {
                    self.dirty.insert_in(taker.0, O::NEAR);
                }
            }
        }
        if p.flags & (WATCHED | CARRIED) != 0 {
            self.mark_watchers(place);
            self.follow_content(place);
            self.wake_stopping(place);
        }
    }

    /// Pours `n` parts of a class into a bin; marks takers and watchers. What returns to a bin without
    /// limit leaves the line. Filling a bin beyond its capacity is noted, nothing is lost.
    pub fn pour(&mut self, place: PlaceId, class: BinClass, n: u32) {
        let p = self.places.at_mut(place.ix(), O::NEAR);
        let Some(bin) = p.more.bin.as_mut() else { panic!("only a bin can be poured into") };
        if bin.endless.is_some() {
            self.left += u64::from(n);
            return;
        }
        if n == 0 {
            return;
        }
        bin.add(class, n);
        let old = p.len;
        p.len += n;
        let (overfilled, carrier) = (p.len > p.capacity, p.carrier);
        let takers = if p.flags & SHARED == 0 { std::slice::from_ref(&p.taker) } else { &p.more.takers[..] };
        if old < p.wake {
            for taker in takers.iter().filter(|taker| **taker != StationId::NONE) {
                self.dirty.insert_in(taker.0, O::NEAR);
            }
        }
        self.observer.level(self.now, place, old, old + n);
        if overfilled && carrier != StationId::NONE {
            self.note(carrier, Note::Overfilled, None);
        }
        self.mark_watchers(place);
        self.follow_content(place);
    }

    /// Takes the part in a station's own hand back, without the mark of a taker.
    pub fn retract(&mut self, place: PlaceId) -> Part {
        let p = self.places.at_mut(place.ix(), O::NEAR);
        self.observer.level(self.now, place, p.len, p.len - 1);
        p.pop(self.now)
    }
}
