//! The tally of a small line, with every look-up a plain mask.
//!
//! It hears and counts what [`Tally`] does, and nothing else: the loop is compiled once more for it (see
//! [`Observer::NEAR`]). Invariant: after the same events both hold the same numbers.

use super::tally::Tally;
use crate::kernel::{Note, Observer, PlaceId, State, StationId};
use crate::part::{Nanos, Part};

/// The tally of a line of which all lies near; see [`Observer::NEAR`].
#[derive(Clone, Debug)]
pub struct NearTally(pub Tally);

impl Observer for NearTally {
    const NEAR: bool = true;

    #[inline(always)]
    fn state(&mut self, now: Nanos, station: StationId, old: State, new: State) {
        self.0.enter::<true>(now, station, old, new);
    }

    #[inline(always)]
    fn is_special(&self, station: StationId, old: State) -> bool {
        self.0.is_special_end::<true>(station, old)
    }

    #[inline(always)]
    fn state_plainly(&mut self, now: Nanos, station: StationId, old: State, new: State) {
        self.0.enter_plainly::<true>(now, station, old, new);
    }

    #[inline(always)]
    fn level(&mut self, now: Nanos, place: PlaceId, old: u32, new: u32) {
        self.0.change_level::<true>(now, place, old, new);
    }

    #[inline(always)]
    fn rises(&mut self, now: Nanos, place: PlaceId, old: u32) {
        self.0.levels.at_mut(place.ix(), true).rise(now, old);
    }

    #[inline(always)]
    fn falls(&mut self, now: Nanos, place: PlaceId, old: u32) {
        self.0.levels.at_mut(place.ix(), true).fall(now, old);
    }

    #[inline(always)]
    fn passes(&mut self, now: Nanos, place: PlaceId) {
        self.0.let_pass::<true>(now, place);
    }

    #[inline(always)]
    fn missing(&mut self, now: Nanos, station: StationId, inlets: u32) {
        self.0.miss::<true>(now, station, inlets);
    }

    #[inline(always)]
    fn note(&mut self, now: Nanos, station: StationId, note: Note, part: Option<&Part>) {
        self.0.count::<true>(now, station, note, part);
    }
}
