//! Causes: to what each starved second of a point of use is charged (ruling 8). Exact accounting, not sampling.
//!
//! **What is charged.** A station that takes from a place and starves does so because no part is at the end of it: the
//! gap there was left by the station that gives to the place, so long ago as a part needs from end to end. So the
//! charge goes to what kept the giver from giving *at that time*:
//! - a stop, a break, a changeover of the giver: to that;
//! - starving: to what was missing in its own inlets, and so on upstream; a source that starves bears it itself (no
//!   container, nothing on its way);
//! - working: to the last interruption since it gave its last part, for the seconds after a jam is cleared still belong
//!   to the jam; if there was none, to the giver, which is *at its natural limit*. A part that it gives anywhere, also
//!   back, ends the interruption, as does the part whose jam has just been cleared: what it then fails to give is its own;
//! - held by a sensor: to the stop, further down, that keeps the level there; if nothing stands there, to the sensor;
//! - held by a full box: to the box, until it is exchanged; held because others use the reach that it shares: to that, or to
//!   the stop of the one who has it;
//! - slowed down by a sensor: what it gives later than at full speed is the sensor's (see `slow.rs`);
//! - blocked: to the stop further down; if it waits for itself by way of a loop, *recirculating*; if only what is on its
//!   way on a belt or track is in the way, to that, which is at its natural limit; else to the blocking.
//!
//! A place that stands (a belt that jams) bears the time that it stands, and the rest of the gap at its end. Stations
//! that carry parts themselves (an elevator, a path with parts in file) are a place for this purpose: what counts is
//! what kept them from *taking* a part a passage ago.
//!
//! **Joins.** Where several stations give, the charge goes to the one whose part would have come first: one that is
//! interrupted, before one that is at its natural limit; among interrupted ones the first that was. Ties are split
//! evenly, in whole nanoseconds. What comes back from further down bears a charge only where nothing else gives. A
//! machine with several inlets charges those that lack parts in equal shares. A station that the search comes back to
//! is *recirculating*. Until the first part has passed, the line is *filling up*, but for stops.
//!
//! Signals are worked out when a station ceases to starve, for the time that it did. Invariant: what is charged to all
//! causes together is, to the nanosecond, the time that the point of use starved.

mod below;
mod events;
mod hearing;
mod passage;
mod search;
mod setup;
mod signal;
mod slow;
mod wiring;

pub use setup::{CausePlace, CauseSensor, CauseSetup, CauseStation, Particular};
pub use signal::Cause;

use crate::kernel::{State, StationId};
use crate::part::Nanos;
use passage::Passage;
use signal::{EVER, Reason, Signal, Time};
use slow::Slowness;

/// Signals and standstills kept before what is no longer needed is looked for.
const KEPT: usize = 64;

/// A place through which something may come, and who gives to it.
#[derive(Clone, Copy, Debug)]
struct Source {
    place: usize,
    node: usize,
}

/// A station, or a virtual one: the intake of a station that carries parts, or the account of a point of use.
#[derive(Clone, Debug)]
struct Node {
    /// The station that bears its charges.
    me: StationId,
    signal: Signal,
    /// By inlet.
    sources: Vec<Vec<Source>>,
    /// Nodes that take from it.
    takers: Vec<usize>,
    /// Places by which they do.
    gives_to: Vec<usize>,
    /// It starves: its signal is that of its sources, worked out up to `known`.
    follows: bool,
    known: Time,
    /// It is being worked out.
    is_open: bool,
    /// Inlets that lack parts, as bits.
    lacking: u32,
    /// Number of the point of use whose account it is.
    point: Option<usize>,
    /// When it gave something last.
    gave: Time,
    /// The transporter for which it waits or waited last: what is on its way there is in the way.
    waits_for: Option<StationId>,
    /// Steps of the signal at which to look for what is no longer needed.
    kept: usize,
}

/// Charges of starved time to causes; an observer.
#[derive(Clone, Debug)]
pub struct Causes {
    setup: CauseSetup,
    nodes: Vec<Node>,
    ways: Vec<Passage>,
    /// By station: the virtual node of its intake.
    intake_of: Vec<Option<usize>>,
    /// By point: the node of its account.
    account_of: Vec<usize>,
    states: Vec<State>,
    sensors_on: Vec<bool>,
    /// Stations in a stop.
    n_stopped: u32,
    /// Places with a stamp.
    n_stamps: u32,
    /// By node: those that sensors can slow down, and whether there are any.
    slowness: Vec<Option<Slowness>>,
    any_slow: bool,
    /// Places that have been slowed down.
    n_slow_ways: usize,
    charges: Vec<Vec<Nanos>>,
    /// Reused from step to step.
    found: Vec<(usize, Reason)>,
}

impl Causes {
    /// As at the start of a replication, with every station starved.
    pub fn restart(&mut self) {
        self.states = vec![State::Starved; self.setup.stations.len()];
        self.sensors_on = vec![false; self.setup.sensors.len()];
        (self.n_stopped, self.n_stamps) = (0, 0);
        self.ways.iter_mut().for_each(Passage::restart);
        self.n_slow_ways = 0;
        self.restart_slowness();
        let n_stations = self.states.len();
        for (ix, node) in self.nodes.iter_mut().enumerate() {
            node.signal = Signal::new();
            (node.known, node.is_open, node.lacking) = (0, false, u32::MAX);
            (node.gave, node.waits_for, node.kept) = (EVER, None, KEPT);
            node.follows = !node.sources.is_empty();
            if !node.follows && ix < n_stations {
                node.signal.set(0, Reason { cause: Cause::At(node.me, State::Starved), began: 0 });
            }
        }
        self.clear();
    }

    fn clear(&mut self) {
        self.charges.iter_mut().for_each(|charges| charges.fill(0));
    }

    /// Opens the window: what was charged up to `now` is forgotten.
    pub fn open(&mut self, now: Nanos) {
        self.close(now);
        self.clear();
    }

    /// Closes the window: what is under way is charged with its part inside.
    pub fn close(&mut self, now: Nanos) {
        for account in self.account_of.clone() {
            self.work_out(account, now as Time);
        }
    }

    /// Starved time of point number `point` by [`CauseSetup::ix`], ns.
    pub fn charges(&self, point: usize) -> &[Nanos] {
        &self.charges[point]
    }
}

#[cfg(test)]
mod tests;
