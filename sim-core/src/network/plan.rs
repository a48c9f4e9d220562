//! The compiled line: flat arrays of plain numbers, made once from a checked scenario and shared read-only
//! by all replications.

use super::changeover::ChangePlan;
use crate::kernel::{Exit, Outfit, PlaceId, StationId};
use crate::measure::{CauseSetup, TallySetup};
use crate::part::Nanos;
use crate::stations::Station;
use crate::stations::lots::ShiftLots;

/// Who a timer belongs to.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Owner {
    /// Timer number `which` of a station.
    Station {
        /// Whose.
        ix: u16,
        /// Which of its timers.
        which: u8,
    },
    /// The phases of a station's stops.
    Stop(StationId),
    /// The clock of a trouble.
    Trouble(u16),
    /// Walk and work of an attendant.
    Attendant {
        /// The pool.
        pool: u16,
        /// Number within the pool.
        who: u16,
    },
    /// Delay of a sensor.
    Sensor(u16),
    /// Edges of a break plan.
    Breaks(u16),
    /// The product sequence.
    Change,
}

/// Breaks of some stations and attendants.
#[derive(Clone, Debug, Default)]
pub struct BreakPlan {
    /// Stations and attendants concerned.
    pub posts: Vec<StationId>,
    /// Pools concerned, with their attendants.
    pub pools: Vec<(u16, Vec<StationId>)>,
    /// Start and end of each break, ascending, ns.
    pub spans: Vec<(Nanos, Nanos)>,
}

/// How stations and places hang together, for the search of knots.
#[derive(Clone, Debug, Default)]
pub struct Links {
    /// Places each station takes from.
    pub inlets: Vec<Vec<PlaceId>>,
    /// Where each station gives to.
    pub exits: Vec<Vec<Exit>>,
    /// Stations that give to each place.
    pub feeders: Vec<Vec<StationId>>,
    /// The body of each carrier.
    pub bodies: Vec<Option<PlaceId>>,
}

/// Parts on a track at the start.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Fill {
    /// Which place.
    pub place: PlaceId,
    /// How many.
    pub n: u32,
    /// Of which kind.
    pub kind: u8,
    /// Lying in which attitude.
    pub attitude: u8,
}

/// A finished part with which a station starts.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Held {
    /// Which station.
    pub station: StationId,
    /// Of which kind.
    pub kind: u8,
    /// In which attitude.
    pub attitude: u8,
}

/// Names, for reports and messages only.
#[derive(Clone, Debug, Default)]
pub struct Names {
    /// Names of stations by rank, then of attendants, then of sensors.
    pub posts: Vec<String>,
    /// Station of the file for each station by rank; `None` for a junction between two places.
    pub entries: Vec<Option<usize>>,
    /// Names of places.
    pub places: Vec<String>,
}

/// A compiled line.
#[derive(Clone, Debug)]
pub struct Plan {
    /// Stations by rank.
    pub stations: Vec<Station>,
    /// What the floor is made of.
    pub outfit: Outfit,
    /// Owner of each timer.
    pub owners: Vec<Owner>,
    /// Break plans.
    pub breaks: Vec<BreakPlan>,
    /// Post number of the first sensor.
    pub first_sensor: u16,
    /// The product sequence, if there is one.
    pub change: Option<ChangePlan>,
    /// How things hang together.
    pub links: Links,
    /// What stands on tracks at the start.
    pub fills: Vec<Fill>,
    /// Stations that start with a finished part which has to find room on a track, belt or bin.
    pub held: Vec<Held>,
    /// How shifts differ, by kind.
    pub shifts: Vec<ShiftLots>,
    /// Names of things.
    pub names: Names,
    /// What the tally has to know.
    pub tally: TallySetup,
    /// What the account of causes has to know.
    pub causes: CauseSetup,
    /// Most timed events of a replication.
    pub events_max: u64,
    /// End of the warm-up, ns: the window is open after it.
    pub open_ns: Nanos,
    /// End of the window, ns: events at this time are still in.
    pub close_ns: Nanos,
}
