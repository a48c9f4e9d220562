//! What the account of causes has to know of a line: plain data, made with the plan.

use crate::kernel::{PlaceId, StationId};
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
    /// What it gives can come back to it.
    pub is_in_loop: bool,
}

/// What has to be known of a place.
#[derive(Clone, Debug, Default)]
pub struct CausePlace {
    /// Stations that give to it from further up, or those from further down if there are no others.
    pub feeders: Vec<StationId>,
    /// Time from entry to end, ns.
    pub transit: Nanos,
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
}
