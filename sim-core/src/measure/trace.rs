//! Trace: everything that happens in one replication, as it happens.
//!
//! An observer that hands each happening in a span of time to a sink. It knows no names and keeps nothing; names,
//! filters and text are the sink's. Invariant: the happenings come in the order in which they happen, and a run that is
//! traced takes the same course as one that is not.

use crate::kernel::{Note, Observer, PlaceId, State, StationId};
use crate::part::{Nanos, Part};

/// Something that happened.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Happening {
    /// A station, attendant or sensor went from one state to another.
    State {
        /// Who.
        station: StationId,
        /// Until now.
        old: State,
        /// From now on.
        new: State,
    },
    /// The content of a place changed.
    Level {
        /// Which place.
        place: PlaceId,
        /// Parts until now.
        old: u32,
        /// Parts from now on.
        new: u32,
    },
    /// The inlets of a machine whose bits are set lack parts from now on.
    Missing {
        /// The machine.
        station: StationId,
        /// One bit for each inlet.
        inlets: u32,
    },
    /// Something worth counting.
    Note {
        /// Where.
        station: StationId,
        /// What.
        note: Note,
        /// The part concerned, if it is about one.
        part: Option<Part>,
    },
}

/// Hands on what happens in the span of time `from..=to`, ns.
#[derive(Clone, Debug)]
pub struct Trace<S> {
    from: Nanos,
    to: Nanos,
    sink: S,
}

impl<S: FnMut(Nanos, Happening)> Trace<S> {
    /// A trace of the span `from..=to`, ns.
    pub fn new(from: Nanos, to: Nanos, sink: S) -> Self {
        Trace { from, to, sink }
    }

    #[inline]
    fn hand_on(&mut self, now: Nanos, happening: Happening) {
        if (self.from..=self.to).contains(&now) {
            (self.sink)(now, happening);
        }
    }
}

impl<S: FnMut(Nanos, Happening)> Observer for Trace<S> {
    fn state(&mut self, now: Nanos, station: StationId, old: State, new: State) {
        if old != new {
            self.hand_on(now, Happening::State { station, old, new });
        }
    }

    fn level(&mut self, now: Nanos, place: PlaceId, old: u32, new: u32) {
        self.hand_on(now, Happening::Level { place, old, new });
    }

    fn missing(&mut self, now: Nanos, station: StationId, inlets: u32) {
        self.hand_on(now, Happening::Missing { station, inlets });
    }

    fn note(&mut self, now: Nanos, station: StationId, note: Note, part: Option<&Part>) {
        self.hand_on(now, Happening::Note { station, note, part: part.copied() });
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::measure::Tally;
    use crate::network::compile;
    use crate::part::SECOND;
    use crate::replication::Replica;

    const LINE: &str = r#"{"feedproof": 1, "stations": [
        {"id": "feeder", "type": "work", "endless": true, "time": "2 s"},
        {"id": "track", "type": "track", "capacity": 3},
        {"id": "user", "type": "work", "time": "3 s", "to": "out"}]}"#;

    #[test]
    fn a_span_of_time_is_handed_on_edges_included_and_the_course_is_the_same() {
        let scenario = crate::scenario::read(LINE).scenario.expect("the line is sound");
        let plan = compile(&scenario);
        let mut seen = Vec::new();
        let trace = Trace::new(2 * SECOND, 8 * SECOND, |now, what| seen.push((now, what)));
        let mut traced = Replica::new(&plan, 1, 0, (trace, Tally::new(&plan.tally)));
        traced.run_until(60 * SECOND);
        let mut plain = Replica::new(&plan, 1, 0, Tally::new(&plan.tally));
        plain.run_until(60 * SECOND);
        assert_eq!(traced.floor.observer.1.counts, plain.floor.observer.counts);
        assert_eq!(traced.n_events, plain.n_events);
        drop(traced);
        assert!(seen.is_sorted_by_key(|(now, _)| *now));
        assert_eq!(seen.first().map(|(now, _)| *now), Some(2 * SECOND));
        assert_eq!(seen.last().map(|(now, _)| *now), Some(8 * SECOND));
        // Parts are finished at 2, 4, 6, 8 s and taken at 2, 5, 8 s.
        let took: Vec<u64> = seen
            .iter()
            .filter(|(_, what)| {
                matches!(what, Happening::Note { station, note: Note::Took, .. }
                    if plan.names.posts[station.ix()] == "user")
            })
            .map(|(now, _)| now / SECOND)
            .collect();
        assert_eq!(took, [2, 5, 8]);
    }
}
