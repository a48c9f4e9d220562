//! The compiled line: flat arrays of plain numbers, made once from a checked scenario and shared read-only
//! by all replications.

use crate::kernel::{Exit, Outfit, PlaceId, StationId};
use crate::part::Nanos;
use crate::stations::Station;

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

/// A compiled line.
#[derive(Clone, Debug, Default)]
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
    /// How things hang together.
    pub links: Links,
    /// End of the warm-up, ns: the window is open after it.
    pub open_ns: Nanos,
    /// End of the window, ns: events at this time are still in.
    pub close_ns: Nanos,
}
