//! Taking parts out of places: what inlets offer, whose turn it is, and the move itself.

use super::{Few, Floor, Inlets, Join, Offer, PlaceId, StationId};
use crate::kernel::observer::{Note, Observer};
use crate::kernel::place::{BIN, CARRIED, HAND, SHARED, SPECIAL_OFFER, SPECIAL_TAKE, Spread};
use crate::kernel::state::State;
use crate::part::{Nanos, Part};

impl<O: Observer> Floor<O> {
    /// What the inlets have to offer to station `me` now.
    #[inline(always)]
    pub fn offer(&mut self, me: StationId, inlets: &Inlets) -> Offer {
        let (due, place) = self.next_part(me, inlets);
        if due <= self.now {
            Offer::Ready(place)
        } else if due == Nanos::MAX {
            Offer::Nothing
        } else {
            Offer::Due(due)
        }
    }

    /// An offer in two plain numbers: when the next part comes to an end, or has come, and where.
    /// `Nanos::MAX` is never.
    #[inline(always)]
    pub(crate) fn next_part(&mut self, me: StationId, inlets: &Inlets) -> (Nanos, PlaceId) {
        match inlets.few {
            Few::One(place) => (self.next_at(me, place), place),
            Few::Two(first, second) => {
                let due = self.next_at(me, first);
                if due <= self.now {
                    return (due, first);
                }
                (due.min(self.next_at(me, second)), second)
            }
            Few::Other => self.next_of_several(me, inlets),
        }
    }

    #[inline(always)]
    pub(super) fn next_at(&mut self, me: StationId, place: PlaceId) -> Nanos {
        let p = self.places.at(place.ix(), O::NEAR);
        if p.flags & SPECIAL_OFFER == 0 { p.plain_due() } else { self.next_at_special(me, place) }
    }

    #[inline(never)]
    pub(super) fn next_at_special(&mut self, me: StationId, place: PlaceId) -> Nanos {
        let offer = match self.places.at(place.ix(), O::NEAR).head_due() {
            None => self.nothing_at(me, place),
            Some(due) if due > self.now => Offer::Due(due),
            Some(_) => self.ready_at(me, place),
        };
        match offer {
            Offer::Ready(_) => 0,
            Offer::Due(due) => due,
            Offer::Nothing => Nanos::MAX,
        }
    }

    /// Who has taken a part, is blocked or waits for a check is not idle where it takes in turn with others: they
    /// must not wait for it.
    #[inline(always)]
    pub(super) fn be_idle_no_more(&mut self, me: StationId) {
        if self.hot.at(me.ix(), O::NEAR).idles {
            self.leave_idle_lists(me);
        }
    }

    #[inline(never)]
    pub(super) fn leave_idle_lists(&mut self, me: StationId) {
        self.hot.at_mut(me.ix(), O::NEAR).idles = false;
        for n in 0..self.turns_of[me.ix()].len() {
            let p = &mut self.places[self.turns_of[me.ix()][n].ix()];
            if !p.more.idle.contains(&me) {
                continue;
            }
            p.more.idle.retain(|idle| *idle != me);
            if p.len > 0 {
                for taker in p.more.takers.iter().filter(|taker| **taker != me) {
                    self.dirty.insert_in(taker.0, O::NEAR);
                }
            }
        }
    }

    #[inline(never)]
    pub(super) fn next_of_several(&mut self, me: StationId, inlets: &Inlets) -> (Nanos, PlaceId) {
        if inlets.join == Join::LongestWaiting {
            return self.oldest_of_several(me, &inlets.places);
        }
        let mut next = Nanos::MAX;
        for &place in &inlets.places {
            let due = self.next_at(me, place);
            if due <= self.now {
                return (due, place);
            }
            next = next.min(due);
        }
        (next, PlaceId(0))
    }

    #[inline(never)]
    pub(super) fn oldest_of_several(&mut self, me: StationId, places: &[PlaceId]) -> (Nanos, PlaceId) {
        match self.oldest_offer(me, places) {
            Offer::Ready(place) => (0, place),
            Offer::Due(due) => (due, PlaceId(0)),
            Offer::Nothing => (Nanos::MAX, PlaceId(0)),
        }
    }

    pub(super) fn oldest_offer(&mut self, me: StationId, places: &[PlaceId]) -> Offer {
        let mut best: Option<(Nanos, PlaceId)> = None;
        let mut next: Option<Nanos> = None;
        for &place in places {
            match self.places.at(place.ix(), O::NEAR).head_due() {
                None => {
                    self.nothing_at(me, place);
                }
                Some(due) if due > self.now => next = Some(next.map_or(due, |n| n.min(due))),
                Some(due) => {
                    if self.ready_at(me, place) == Offer::Nothing {
                        continue;
                    }
                    let longer = best.is_none_or(|(since, _)| due < since);
                    if longer {
                        best = Some((due, place));
                    }
                }
            }
        }
        match (best, next) {
            (Some((_, place)), _) => Offer::Ready(place),
            (None, Some(due)) => Offer::Due(due),
            (None, None) => Offer::Nothing,
        }
    }

    #[inline]
    pub(super) fn nothing_at(&mut self, me: StationId, place: PlaceId) -> Offer {
        if self.places.at(place.ix(), O::NEAR).flags & SHARED != 0 {
            self.register_idle(me, place);
        }
        Offer::Nothing
    }

    #[inline]
    pub(super) fn ready_at(&mut self, me: StationId, place: PlaceId) -> Offer {
        if self.places.at(place.ix(), O::NEAR).flags & SHARED != 0 && !self.is_my_turn(me, place) {
            return Offer::Nothing;
        }
        Offer::Ready(place)
    }

    #[cold]
    pub(super) fn register_idle(&mut self, me: StationId, place: PlaceId) {
        let more = &mut self.places.at_mut(place.ix(), O::NEAR).more;
        if more.spread != Spread::Listed && !more.idle.contains(&me) {
            more.idle.push(me);
            self.hot.at_mut(me.ix(), O::NEAR).idles = true;
        }
    }

    /// Whether `me` is the idle taker that the place's spread prefers; if not, the preferred one is marked.
    pub(super) fn is_my_turn(&mut self, me: StationId, place: PlaceId) -> bool {
        self.register_idle(me, place);
        let more = &self.places.at(place.ix(), O::NEAR).more;
        let able = |&&taker: &&StationId| {
            // Who has found a part elsewhere is idle no more, whatever this place's list says.
            let waits = matches!(self.state(taker), State::Starved | State::Loading);
            taker == me || (self.may_start(taker) && waits)
        };
        let preferred = match more.spread {
            Spread::Listed => return true,
            Spread::LongestIdle => more.idle.iter().find(able).copied(),
            Spread::InTurn => {
                let n = more.takers.len();
                let last = more.last_taker.and_then(|last| more.takers.iter().position(|t| *t == last));
                let from = last.map_or(0, |last| last + 1);
                let turn = (0..n).map(|k| &more.takers[(from + k) % n]);
                turn.filter(|taker| more.idle.contains(taker)).find(able).copied()
            }
        };
        match preferred {
            Some(other) if other != me => {
                // Once is enough: if it does not take the part (it wants more of them), marking it again would go
                // round without end where it in turn marks this one.
                let p = self.places.at_mut(place.ix(), O::NEAR);
                let mark = Some((self.now, other, p.len));
                if p.more.marked != mark {
                    p.more.marked = mark;
                    self.dirty.insert_in(other.0, O::NEAR);
                }
                false
            }
            Some(_) | None => true,
        }
    }

    /// Takes the part at the end of `place` into station `me`; marks those who wait for room there.
    #[inline(always)]
    pub fn take(&mut self, me: StationId, place: PlaceId) -> Part {
        let mut part = Part::default();
        self.take_into(me, place, &mut part);
        part
    }

    /// The same, straight to where the part is kept: a part that is copied on and on costs more than all
    /// else of a move.
    #[inline(always)]
    pub(crate) fn take_into(&mut self, me: StationId, place: PlaceId, part: &mut Part) {
        let p = self.places.at_mut(place.ix(), O::NEAR);
        if p.flags & SPECIAL_TAKE != 0 {
            *part = self.take_special(me, place);
            return;
        }
        let old = p.len;
        p.pop_plain(part);
        let follows = p.flags & CARRIED != 0 && p.is_at_edge(old);
        if p.flags & HAND != 0 {
            self.dirty.insert_in(p.carrier.0, O::NEAR);
        }
        self.observer.falls(self.now, place, old);
        if follows {
            self.follow_content(place);
        }
        if self.has_turns {
            self.be_idle_no_more(me);
        }
        self.note(me, Note::Took, Some(part));
    }

    #[inline(never)]
    pub(super) fn take_special(&mut self, me: StationId, place: PlaceId) -> Part {
        let p = self.places.at_mut(place.ix(), O::NEAR);
        let part = if p.flags & BIN == 0 {
            self.observer.level(self.now, place, p.len, p.len - 1);
            if let Some(since) = p.stands_at() {
                self.observer.stood(self.now, place, since);
            }
            p.pop(self.now)
        } else {
            self.pick_from_bin(me, place)
        };
        self.after_take(me, place);
        self.note(me, Note::Took, Some(&part));
        part
    }

    pub(super) fn pick_from_bin(&mut self, me: StationId, place: PlaceId) -> Part {
        let p = self.places.at_mut(place.ix(), O::NEAR);
        let old = p.len;
        let Some(bin) = p.more.bin.as_mut() else { panic!("a place flagged as a bin has a bin") };
        if let Some(kind) = bin.endless {
            let part = self.kinds[usize::from(kind)].make(kind, self.now, &mut bin.luck);
            self.tell_make(&part);
            self.created += 1;
            self.note(me, Note::Created, Some(&part));
            return part;
        }
        let class = bin.draw(old);
        let part = self.kinds[usize::from(class.kind)].make_of(class, self.now, &mut bin.luck);
        p.len -= 1;
        self.tell_attitude(&part);
        self.observer.level(self.now, place, old, old - 1);
        part
    }
}
