//! The stations of a line, one file each.
//!
//! A station is a small state machine over the floor: `fire` when one of its timers runs out, `settle` to
//! make the zero-time moves it can make, `look` after the fixed point, `message` when it has stood still or
//! somebody has done something for it. It knows the places it takes from and gives to, never another
//! station. A station that stands still (jammed, frozen) is not settled.

mod alarm;
pub mod amounts;
pub mod bench;
#[cfg(test)]
mod bench_test;
pub mod bin;
pub mod blueprint;
pub mod carrier;
pub mod catalogue;
pub mod clumps;
pub mod comes_back;
mod dice;
pub mod divider;
pub mod dumper;
pub mod elevator;
pub mod escapement;
pub mod gauge;
pub mod lots;
pub mod machine;
pub mod meter;
mod outlet;
pub mod path;
pub mod path_in_file;
pub mod path_spec;
pub mod scrap_box;
pub mod screen;
pub mod selector;
pub mod stream;
pub mod tool_spec;
pub mod tooling;
pub mod tools;
pub mod track;
#[cfg(test)]
mod trial;
pub mod work;

pub use alarm::Alarm;
pub use dice::Dice;

use crate::kernel::{Floor, Message, Observer, StationId};

/// Any station of a line.
#[derive(Clone, Debug)]
#[expect(missing_docs, reason = "each variant is documented in its own file")]
#[repr(u8)]
pub enum Station {
    Bench(bench::Bench),
    Carrier(carrier::Carrier),
    Divider(divider::Divider),
    Dumper(dumper::Dumper),
    Elevator(elevator::Elevator),
    Escapement(escapement::Escapement),
    Machine(machine::Machine),
    Meter(meter::Meter),
    Path(path::Path),
    PathInFile(path_in_file::PathInFile),
    ScrapBox(scrap_box::ScrapBox),
    Stream(stream::Stream),
    Work(work::Work),
}

impl Station {
    /// Starts the station's luck for a replication.
    pub fn seed(&mut self, seed: u64, replication: u64) {
        match self {
            Station::Dumper(s) => s.seed(seed, replication),
            Station::Elevator(s) => s.seed(seed, replication),
            Station::Carrier(_) | Station::Divider(_) | Station::ScrapBox(_) => {}
            Station::Bench(s) => s.seed(seed, replication),
            Station::Escapement(s) => s.seed(seed, replication),
            Station::Machine(s) => s.seed(seed, replication),
            Station::Meter(s) => s.seed(seed, replication),
            Station::Path(s) => s.seed(seed, replication),
            Station::PathInFile(s) => s.seed(seed, replication),
            Station::Stream(s) => s.seed(seed, replication),
            Station::Work(s) => s.seed(seed, replication),
        }
    }

    /// A timer of the station has run out: it acts (`which` tells its timers apart), and is settled at once
    /// unless others come first.
    #[inline(never)]
    pub fn act<O: Observer>(&mut self, floor: &mut Floor<O>, me: StationId, which: u8) {
        match self {
            Station::Bench(s) => s.fire(floor),
            Station::Carrier(s) => s.fire(),
            Station::Divider(s) => s.fire(),
            Station::Dumper(s) => s.fire(floor, which),
            Station::Elevator(s) => s.fire(floor, which),
            Station::Escapement(s) => s.fire(floor),
            Station::Meter(s) => s.fire(floor),
            Station::PathInFile(s) => return s.act(floor, which),
            Station::ScrapBox(s) => s.fire(),
            Station::Stream(s) => s.fire(floor),
            Station::Machine(s) => return s.act(floor, which),
            Station::Path(s) => return s.act(floor),
            Station::Work(s) => return s.act(floor),
        }
        if floor.settles_at_once(me, floor.stands(me)) {
            self.settle(floor);
        }
    }

    /// Whether it takes nothing as long as its state is working, so that it need not be told of parts.
    pub(crate) fn is_shut_at_work(&self) -> bool {
        match self {
            Station::Machine(s) => s.is_plain(),
            Station::Path(_) => true,
            Station::Work(s) => s.is_single().0,
            Station::Bench(_)
            | Station::Carrier(_)
            | Station::Divider(_)
            | Station::Dumper(_)
            | Station::Elevator(_)
            | Station::Escapement(_)
            | Station::Meter(_)
            | Station::PathInFile(_)
            | Station::ScrapBox(_)
            | Station::Stream(_) => false,
        }
    }

    /// Makes the zero-time moves that the station can make now.
    #[inline(always)]
    pub fn settle<O: Observer>(&mut self, floor: &mut Floor<O>) {
        match self {
            Station::Bench(s) => s.settle(floor),
            Station::Carrier(s) => s.settle(floor),
            Station::Divider(s) => s.settle(floor),
            Station::Dumper(s) => s.settle(floor),
            Station::Elevator(s) => s.settle(floor),
            Station::Escapement(s) => s.settle(floor),
            Station::Machine(s) => s.settle(floor),
            Station::Meter(s) => s.settle(floor),
            Station::Path(s) => s.settle(floor),
            Station::PathInFile(s) => s.settle(floor),
            Station::ScrapBox(s) => s.settle(floor),
            Station::Stream(s) => s.settle(floor),
            Station::Work(s) => s.settle(floor),
        }
    }

    /// Looks around after the fixed point.
    pub fn look<O: Observer>(&mut self, floor: &mut Floor<O>) {
        match self {
            Station::Carrier(s) => s.look(floor),
            Station::Dumper(s) => s.look(floor),
            Station::Elevator(s) => s.look(floor),
            Station::PathInFile(s) => s.look(floor),
            Station::Stream(s) => s.look(floor),
            Station::Bench(_)
            | Station::Divider(_)
            | Station::Escapement(_)
            | Station::Machine(_)
            | Station::Meter(_)
            | Station::Path(_)
            | Station::ScrapBox(_)
            | Station::Work(_) => {}
        }
    }

    /// Hears that it has stood still, or that somebody has done something for it.
    pub fn message(&mut self, message: Message) {
        match self {
            Station::Bench(s) => s.message(message),
            Station::Carrier(s) => s.message(message),
            Station::Divider(s) => s.message(message),
            Station::Dumper(s) => s.message(message),
            Station::Elevator(s) => s.message(message),
            Station::Escapement(s) => s.message(message),
            Station::Machine(s) => s.message(message),
            Station::Meter(s) => s.message(message),
            Station::Path(s) => s.message(message),
            Station::PathInFile(s) => s.message(message),
            Station::ScrapBox(s) => s.message(message),
            Station::Stream(s) => s.message(message),
            Station::Work(s) => s.message(message),
        }
    }

    /// Whether the station, though blocked or held, can take another part: it has several places, or nests.
    pub fn takes_while_blocked<O: Observer>(&self, floor: &Floor<O>) -> bool {
        match self {
            Station::Work(s) => s.takes_while_blocked(floor),
            Station::Machine(s) => s.takes_while_blocked(),
            Station::Bench(_)
            | Station::Carrier(_)
            | Station::Divider(_)
            | Station::Dumper(_)
            | Station::Elevator(_)
            | Station::Escapement(_)
            | Station::Meter(_)
            | Station::Path(_)
            | Station::PathInFile(_)
            | Station::ScrapBox(_)
            | Station::Stream(_) => false,
        }
    }

    /// Parts inside the station itself, for the count of parts.
    pub fn content(&self) -> usize {
        match self {
            Station::Elevator(s) => s.content(),
            Station::Carrier(_) | Station::Divider(_) | Station::Dumper(_) | Station::ScrapBox(_) => 0,
            Station::Bench(s) => s.content(),
            Station::Escapement(s) => s.content(),
            Station::Machine(s) => s.content(),
            Station::Meter(s) => s.content(),
            Station::Path(s) => s.content(),
            Station::PathInFile(s) => s.content(),
            Station::Stream(s) => s.content(),
            Station::Work(s) => s.content(),
        }
    }
}
