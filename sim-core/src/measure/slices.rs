//! A shift in slices of equal length: what a log of a real line has for each quarter of an hour.
//!
//! Counts of good and bad parts at the points of use, jams and other stops at their start, starved time and time that does not
//! count in a net rate. Any stretch from the start is a sum of slices. Invariant: time is charged to the slice in which it
//! lies, so that the slices of a stretch add up to what a tally of it says.

use super::tally::{Pick, TallySetup};
use crate::kernel::{Note, Observer, State, StationId};
use crate::part::{Nanos, Part};

/// What happened in one slice.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
pub struct Slice {
    /// Good parts at the points of use.
    pub good: u64,
    /// Other parts there.
    pub bad: u64,
    /// Stops that count as jams.
    pub jams: u64,
    /// All stops.
    pub stops: u64,
    /// Time in which a point of use was starved, all points added up, ns.
    pub starved: Nanos,
    /// Time that does not count in the net rate, ns.
    pub uncounted: Nanos,
}

impl Slice {
    /// Two slices together.
    #[must_use]
    pub fn plus(&self, other: &Slice) -> Slice {
        Slice {
            good: self.good + other.good,
            bad: self.bad + other.bad,
            jams: self.jams + other.jams,
            stops: self.stops + other.stops,
            starved: self.starved + other.starved,
            uncounted: self.uncounted + other.uncounted,
        }
    }
}

/// The observer.
#[derive(Clone, Debug)]
pub struct Slices {
    length: Nanos,
    slices: Vec<Slice>,
    is_point: Vec<bool>,
    right_way: Vec<u64>,
    counts_as_jam: Vec<bool>,
    picks: Vec<Pick>,
    /// When each point of use fell idle; none while it is not starved.
    starved_since: Vec<Option<Nanos>>,
    /// Picks that hold, and since when any does.
    holding: (u32, Nanos),
}

impl Slices {
    /// `n` slices of `length` ns from the start. `counts_as_jam` says of each trouble whether its stops are jams.
    pub fn new(setup: &TallySetup, counts_as_jam: Vec<bool>, length: Nanos, n: usize) -> Self {
        let mut is_point = vec![false; setup.n_posts];
        setup.points.iter().for_each(|point| is_point[point.ix()] = true);
        // Every station is starved before it starts.
        let starved_since = is_point.iter().map(|is_point| is_point.then_some(0)).collect();
        let picks = setup.measures.last().cloned().unwrap_or_default();
        let holding = picks.iter().filter(|pick| pick.state == State::Starved).count() as u32;
        Slices {
            length,
            slices: vec![Slice::default(); n],
            is_point,
            right_way: setup.right_way.clone(),
            counts_as_jam,
            picks,
            starved_since,
            holding: (holding, 0),
        }
    }

    /// The slices, with what is under way at the end of the last one.
    pub fn finish(mut self) -> Vec<Slice> {
        let end = self.length * self.slices.len() as u64;
        for ix in 0..self.starved_since.len() {
            if let Some(since) = self.starved_since[ix].take() {
                self.charge(since, end, |slice| &mut slice.starved);
            }
        }
        let (holding, since) = self.holding;
        if holding > 0 {
            self.charge(since, end, |slice| &mut slice.uncounted);
        }
        self.slices
    }

    /// Adds the time from `since` to `until` to the slices in which it lies.
    fn charge(&mut self, since: Nanos, until: Nanos, of: impl Fn(&mut Slice) -> &mut Nanos) {
        let mut from = since;
        while from < until {
            let ix = (from / self.length) as usize;
            let Some(slice) = self.slices.get_mut(ix) else { return };
            let to = until.min((ix as u64 + 1) * self.length);
            *of(slice) += to - from;
            from = to;
        }
    }

    /// The slice of something that happens now; what happens at the very end of a slice is in it.
    fn now(&mut self, now: Nanos) -> Option<&mut Slice> {
        let ix = now.saturating_sub(1) / self.length;
        self.slices.get_mut(ix as usize)
    }

    fn pick_changes(&mut self, now: Nanos, station: StationId, old: State, new: State) {
        let n = |state| {
            self.picks.iter().filter(|pick| pick.station == station && pick.state == state).count() as u32
        };
        let (gone, come) = (n(old), n(new));
        let (before, since) = self.holding;
        let after = before + come - gone;
        if before > 0 && after == 0 {
            self.charge(since, now, |slice| &mut slice.uncounted);
        }
        self.holding = (after, if before == 0 { now } else { since });
    }
}

impl Observer for Slices {
    fn state(&mut self, now: Nanos, station: StationId, old: State, new: State) {
        let ix = station.ix();
        if self.is_point.get(ix) == Some(&true) && (old == State::Starved) != (new == State::Starved) {
            if let Some(since) = self.starved_since[ix].take() {
                self.charge(since, now, |slice| &mut slice.starved);
            } else {
                self.starved_since[ix] = Some(now);
            }
        }
        if !self.picks.is_empty() {
            self.pick_changes(now, station, old, new);
        }
    }

    fn note(&mut self, now: Nanos, station: StationId, note: Note, part: Option<&Part>) {
        match (note, part) {
            (Note::Exit(0), Some(part)) if self.is_point[station.ix()] => {
                let right = self.right_way[usize::from(part.kind)] >> part.attitude & 1 == 1;
                let is_good = part.condition == 0 && right && !part.is_spoiled();
                if let Some(slice) = self.now(now) {
                    slice.good += u64::from(is_good);
                    slice.bad += u64::from(!is_good);
                }
            }
            (Note::MadeNothing, _) if self.is_point[station.ix()] => {
                if let Some(slice) = self.now(now) {
                    slice.bad += 1;
                }
            }
            (Note::Stopped(trouble), _) => {
                let jam = self.counts_as_jam.get(usize::from(trouble)).copied().unwrap_or(false);
                if let Some(slice) = self.now(now) {
                    slice.stops += 1;
                    slice.jams += u64::from(jam);
                }
            }
            _ => {}
        }
    }
}
