//! Measures of the scenario's own: share of time in which any of a list of (station, state) holds.

use super::tally::Pick;
use crate::kernel::{State, StationId};
use crate::part::Nanos;

/// One measure: how many of its picks hold, and for how long any did.
#[derive(Clone, Debug, Default)]
struct Held {
    n: u32,
    since: Nanos,
    time: Nanos,
    /// Good parts that were finished while it held, not at its ends.
    good: u64,
    /// When the last of these were, and how many.
    latest: (Nanos, u64),
}

/// All measures.
#[derive(Clone, Debug, Default)]
pub struct OwnTally {
    held: Vec<Held>,
    /// By station: (measure, states as bits).
    picks: Vec<Vec<(u16, u16)>>,
}

impl OwnTally {
    /// Nothing holds yet; every station is starved.
    pub(super) fn new(measures: &[Vec<Pick>], n_posts: usize) -> Self {
        let mut own =
            OwnTally { held: vec![Held::default(); measures.len()], picks: vec![Vec::new(); n_posts] };
        for (ix, measure) in measures.iter().enumerate() {
            for pick in measure {
                let (ix, bit) = (ix as u16, 1 << pick.state as u16);
                let of_station = &mut own.picks[pick.station.ix()];
                match of_station.iter_mut().find(|(known, _)| *known == ix) {
                    Some((_, bits)) => *bits |= bit,
                    None => of_station.push((ix, bit)),
                }
            }
        }
        for station in 0..n_posts {
            own.enter(0, station, State::Starved);
        }
        own
    }

    /// As good as new.
    pub(super) fn restart(&mut self) {
        self.held.fill(Held::default());
        for station in 0..self.picks.len() {
            self.enter(0, station, State::Starved);
        }
    }

    /// Whether a station is picked by any measure.
    pub(super) fn concerns(&self, station: StationId) -> bool {
        !self.picks[station.ix()].is_empty()
    }

    #[cold]
    pub(super) fn change(&mut self, now: Nanos, station: StationId, old: State, new: State) {
        self.enter(now, station.ix(), new);
        self.leave(now, station.ix(), old);
    }

    fn enter(&mut self, now: Nanos, station: usize, state: State) {
        for &(ix, bits) in &self.picks[station] {
            let held = &mut self.held[usize::from(ix)];
            if bits >> state as u16 & 1 == 1 {
                if held.n == 0 {
                    held.since = now;
                }
                held.n += 1;
            }
        }
    }

    fn leave(&mut self, now: Nanos, station: usize, state: State) {
        for &(ix, bits) in &self.picks[station] {
            let held = &mut self.held[usize::from(ix)];
            if bits >> state as u16 & 1 == 1 {
                held.n -= 1;
                if held.n == 0 {
                    held.time += now - held.since;
                    if held.latest.0 == now {
                        held.good -= held.latest.1;
                    }
                    held.latest = (0, 0);
                }
            }
        }
    }

    pub(super) fn open(&mut self, now: Nanos) {
        for held in &mut self.held {
            *held = Held { n: held.n, since: now, ..Held::default() };
        }
    }

    pub(super) fn close(&mut self, now: Nanos) {
        for held in self.held.iter_mut().filter(|held| held.n > 0) {
            held.time += now - held.since;
            held.since = now;
        }
    }

    /// A good part is finished at a point of use.
    pub(super) fn finished(&mut self, now: Nanos) {
        for held in self.held.iter_mut().filter(|held| held.n > 0 && held.since < now) {
            held.good += 1;
            held.latest = (now, if held.latest.0 == now { held.latest.1 + 1 } else { 1 });
        }
    }

    /// Good parts that were finished at the points of use while the last measure held, which is what does not count in a
    /// net rate.
    pub fn good_in_last(&self) -> u64 {
        self.held.last().map_or(0, |held| held.good)
    }

    /// Time for which each measure held, ns.
    pub fn times(&self) -> impl Iterator<Item = Nanos> + '_ {
        self.held.iter().map(|held| held.time)
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn times_overlap_once() {
        let pick = |station, state| Pick { station: StationId(station), state };
        let measures = [vec![pick(0, State::Blocked), pick(1, State::Starved), pick(1, State::Held)]];
        let mut own = OwnTally::new(&measures, 2);
        own.open(100);
        own.change(110, StationId(1), State::Starved, State::Working);
        own.change(120, StationId(0), State::Starved, State::Blocked);
        own.change(130, StationId(1), State::Working, State::Held);
        own.change(140, StationId(0), State::Blocked, State::Working);
        own.change(150, StationId(1), State::Held, State::Starved);
        own.close(160);
        assert_eq!(own.times().collect::<Vec<_>>(), [10 + 40]);
    }

    #[test]
    fn parts_at_the_ends_of_a_measure_are_not_in_it() {
        let measures = [vec![Pick { station: StationId(0), state: State::Blocked }]];
        let mut own = OwnTally::new(&measures, 1);
        own.open(100);
        own.finished(105);
        own.change(110, StationId(0), State::Starved, State::Blocked);
        own.finished(110);
        own.finished(115);
        own.finished(120);
        own.finished(120);
        own.change(120, StationId(0), State::Blocked, State::Working);
        own.finished(120);
        own.close(160);
        assert_eq!(own.good_in_last(), 1, "that at 115");
    }
}
