//! What a changeover does to the floor: it counts good parts, stops stations and takes parts out.

use super::floor::{CHANGING, FROZEN, Floor, PlaceId, StationId};
use super::observer::Observer;
use crate::part::Part;

/// Good parts completed at some stations, for the end of a run.
#[derive(Clone, Debug)]
pub(super) struct GoodCount {
    stations: Vec<StationId>,
    /// Who looks when the count is complete.
    watcher: StationId,
    n: u64,
    target: u64,
}

impl Default for GoodCount {
    fn default() -> Self {
        GoodCount { stations: Vec::new(), watcher: StationId::NONE, n: 0, target: u64::MAX }
    }
}

impl GoodCount {
    /// Whether anything is counted.
    #[inline(always)]
    pub(super) fn is_used(&self) -> bool {
        !self.stations.is_empty()
    }
}

impl<O: Observer> Floor<O> {
    /// Counts good parts that leave these stations through exit 0; `watcher` looks once the count is complete.
    /// The places into which they give must have been marked by [`super::Place::set_counted`].
    pub fn count_good_at(&mut self, stations: Vec<StationId>, watcher: StationId) {
        (self.goods.stations, self.goods.watcher) = (stations, watcher);
    }

    /// Counts anew, up to `target`.
    pub fn start_count(&mut self, target: u64) {
        (self.goods.n, self.goods.target) = (0, target);
    }

    /// Whether the target has been reached.
    pub fn count_is_complete(&self) -> bool {
        self.goods.n >= self.goods.target
    }

    /// A part leaves `me` through exit `no`.
    #[inline(never)]
    pub(super) fn count_good(&mut self, me: StationId, no: u8, part: &Part) {
        if no != 0 || !self.goods.stations.contains(&me) || !self.kind(part.kind).is_good(part) {
            return;
        }
        self.goods.n += 1;
        if self.goods.n == self.goods.target {
            self.looks.insert(self.goods.watcher.0);
        }
    }

    /// A station stops starting for a changeover; the work in progress is finished.
    pub fn begin_changeover(&mut self, me: StationId) {
        self.hot[me.ix()].bars |= CHANGING;
        self.look_at_bars(me);
    }

    /// A station may start again.
    pub fn end_changeover(&mut self, me: StationId) {
        self.hot[me.ix()].bars &= !CHANGING;
        self.look_at_bars(me);
    }

    fn look_at_bars(&mut self, me: StationId) {
        let bars = self.hot[me.ix()].bars;
        if bars & FROZEN != 0 && self.posts[me.ix()].current.is_none() {
            self.set_state(me, Self::frozen_state(bars));
        }
        self.dirty.insert(me.0);
    }

    /// Closes a place: what is in it stands still and can't be taken, until it is opened again.
    pub fn close_outlet(&mut self, place: PlaceId) {
        let now = self.now;
        self.places[place.ix()].freeze(now);
    }

    /// Opens a place that was closed.
    pub fn open_outlet(&mut self, place: PlaceId) {
        let now = self.now;
        self.places[place.ix()].thaw(now);
        self.wake_takers(place);
    }

    /// Takes everything out of a place and out of the line; returns how many parts. What comes back to a bin that
    /// never runs out is not there to be taken.
    pub fn clear_out(&mut self, place: PlaceId) -> u32 {
        let now = self.now;
        let old = self.places[place.ix()].len();
        let n = self.places[place.ix()].take_all(now);
        if n == 0 {
            return 0;
        }
        self.observer.level(now, place, old, old - n);
        self.left += u64::from(n);
        self.grant(place);
        self.mark_watchers(place);
        let carrier = self.places[place.ix()].carrier;
        if carrier != StationId::NONE {
            self.dirty.insert(carrier.0);
        }
        n
    }
}
