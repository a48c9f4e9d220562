//! What the account of causes has to know of a line: plain data, made with the plan.

use super::signal::Cause;
use crate::kernel::state::N_STATES;
use crate::kernel::{Pace, PlaceId, State, StationId};
use crate::part::Nanos;

/// What has to be known of a line.
#[derive(Clone, Debug, Default)]
pub struct CauseSetup {
    /// Number of stations, attendants and sensors.
    pub n_posts: usize,
    /// Stations by number.
    pub stations: Vec<CauseStation>,
    /// Places by number.
    pub places: Vec<CausePlace>,
    /// Sensors, whose numbers end with the last post.
    pub sensors: Vec<CauseSensor>,
    /// Stations whose starved time is charged.
    pub points: Vec<StationId>,
    /// Causes that say more than a station and its state.
    pub particular: Vec<Particular>,
}

/// A cause that says more than a station and its state.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Particular {
    /// A sensor holds the station, and nothing further down keeps the level that it watches.
    HeldBy {
        /// Who is held.
        station: StationId,
        /// The number of the sensor among the posts.
        sensor: StationId,
    },
    /// A sensor slows the station down: what full speed would have brought by then.
    SlowedBy {
        /// Who is slowed down.
        station: StationId,
        /// The number of the sensor among the posts.
        sensor: StationId,
    },
    /// The box is full and waits for its exchange.
    Full(StationId),
    /// The station waits for a reach that others use.
    Reach {
        /// Who waits.
        station: StationId,
        /// The number of the reach.
        reach: u16,
    },
}

impl CauseSetup {
    /// Number of causes that the line can have.
    pub fn n_causes(&self) -> usize {
        self.n_posts * N_STATES + self.particular.len() + 2
    }

    /// A cause as an index below [`CauseSetup::n_causes`].
    pub fn ix(&self, cause: Cause) -> usize {
        let particular = self.n_posts * N_STATES;
        match cause {
            Cause::At(station, state) => station.ix() * N_STATES + state as usize,
            Cause::Because(number) => particular + usize::from(number),
            Cause::Recirculating => particular + self.particular.len(),
            Cause::FillingUp => particular + self.particular.len() + 1,
        }
    }

    /// The cause with this index.
    ///
    /// # Panics
    /// If there is none.
    pub fn cause(&self, ix: usize) -> Cause {
        let Some(ix) = ix.checked_sub(self.n_posts * N_STATES) else {
            return Cause::At(StationId((ix / N_STATES) as u16), State::ALL[ix % N_STATES]);
        };
        match ix.checked_sub(self.particular.len()) {
            None => Cause::Because(ix as u16),
            Some(0) => Cause::Recirculating,
            Some(1) => Cause::FillingUp,
            Some(_) => panic!("causes have indices below their number"),
        }
    }

    /// A particular cause, if the line can have it.
    pub(super) fn named(&self, what: Particular) -> Option<Cause> {
        self.particular.iter().position(|known| *known == what).map(|ix| Cause::Because(ix as u16))
    }

    /// Whether a station in this state stops the flow whatever there is to do. A full box does.
    pub(super) fn is_stop(&self, ix: usize, state: State) -> bool {
        state.is_stop() || (state == State::Blocked && self.stations[ix].is_box)
    }
}

/// What has to be known of a station.
#[derive(Clone, Debug, Default)]
pub struct CauseStation {
    /// The places from which it takes, inlet by inlet where it tells them apart.
    pub inlets: Vec<Vec<PlaceId>>,
    /// Stations and transporters to which it gives.
    pub next: Vec<StationId>,
    /// Its own place.
    pub body: Option<PlaceId>,
    /// Time from taking to giving, ns, where it carries several parts.
    pub passage: Option<Nanos>,
    /// Blocked is its state of rest: it stands ready and is not wanted.
    pub rests_blocked: bool,
    /// A hold freezes what it does in place of only keeping it from starting.
    pub freezes: bool,
    /// What it gives can come back to it.
    pub is_in_loop: bool,
    /// It is a box, which when full waits for its exchange.
    pub is_box: bool,
    /// Boxes that hold it while they are full.
    pub boxes: Vec<StationId>,
    /// The reach that it shares with others.
    pub reach: Option<u16>,
}

/// What has to be known of a place.
#[derive(Clone, Debug, Default)]
pub struct CausePlace {
    /// Stations that give to it from further up, or those from further down if there are no others.
    pub feeders: Vec<StationId>,
    /// Time from entry to end, ns.
    pub transit: Nanos,
    /// Least time between two entries in a steady flow at full speed, ns.
    pub headway: Nanos,
}

/// What has to be known of a sensor.
#[derive(Clone, Debug, Default)]
pub struct CauseSensor {
    /// Its number.
    pub post: Option<StationId>,
    /// Stations that take from what it watches, and the transporters that it watches.
    pub keepers: Vec<StationId>,
    /// Stations that it holds.
    pub holds: Vec<StationId>,
    /// Stations that it slows down.
    pub slows: Vec<StationId>,
    /// Their speed then.
    pub slow_to: Pace,
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn causes_have_indices() {
        let (station, sensor) = (StationId(2), StationId(6));
        let particular = vec![Particular::HeldBy { station, sensor }, Particular::Full(station)];
        let setup = CauseSetup { n_posts: 7, particular, ..CauseSetup::default() };
        for ix in 0..setup.n_causes() {
            assert_eq!(setup.ix(setup.cause(ix)), ix);
        }
        assert_eq!(setup.named(Particular::Full(station)), Some(Cause::Because(1)));
        assert_eq!(setup.named(Particular::Full(sensor)), None);
    }
}
