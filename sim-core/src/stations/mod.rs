//! The stations of a line, one file each.
//!
//! A station is a small state machine over the floor: `fire` when one of its timers runs out, `settle` to
//! make the zero-time moves it can make, `look` after the fixed point, `message` when it has stood still or
//! somebody has done something for it. It knows the places it takes from and gives to, never another
//! station. A station that stands still (jammed, frozen) is not settled.

pub mod air_tube;
mod alarm;
pub mod amounts;
pub mod bath;
pub mod bench;
#[cfg(test)]
mod bench_test;
pub mod bin;
pub mod blueprint;
pub mod boxes;
mod by_part;
pub mod carrier;
pub mod catalogue;
pub mod clumps;
pub mod comes_back;
pub mod crowding;
mod dice;
pub mod divider;
pub mod dumper;
pub mod elevator;
mod errand;
pub mod escapement;
pub mod gauge;
pub mod hand_fill;
pub mod hopper;
pub mod indexing_table;
#[cfg(test)]
mod jam_test;
pub mod lots;
pub mod machine;
pub mod magazine;
pub mod meter;
mod outlet;
#[cfg(test)]
mod pace_test;
pub mod path;
pub mod path_in_file;
pub mod path_spec;
pub mod receiver;
pub mod recipe;
pub mod robot;
pub mod row_pusher;
pub mod scrap_box;
pub mod screen;
pub mod selector;
#[cfg(test)]
mod start_test;
pub mod stream;
pub mod times;
pub mod tool_spec;
pub mod tooling;
pub mod tools;
pub mod track;
#[cfg(test)]
pub(crate) mod trial;
mod unread;
pub mod work;

pub use alarm::Alarm;
pub use dice::Dice;

use crate::kernel::{Floor, Message, Observer, PlaceId, StationId};
use crate::part::{Nanos, Part};

/// Any station of a line.
#[derive(Clone, Debug)]
#[expect(missing_docs, reason = "each variant is documented in its own file")]
#[repr(u8)]
pub enum Station {
    AirTube(air_tube::AirTube),
    Bath(bath::Bath),
    Bench(bench::Bench),
    Carrier(carrier::Carrier),
    Divider(divider::Divider),
    Dumper(dumper::Dumper),
    Elevator(elevator::Elevator),
    Escapement(escapement::Escapement),
    HandFill(hand_fill::HandFill),
    Hopper(hopper::Hopper),
    Machine(machine::Machine),
    Magazine(Box<magazine::Magazine>),
    Meter(meter::Meter),
    PartBox(boxes::PartBox),
    Path(path::Path),
    PathInFile(path_in_file::PathInFile),
    IndexingTable(Box<indexing_table::IndexingTable>),
    Robot(robot::Robot),
    RowPusher(row_pusher::RowPusher),
    ScrapBox(scrap_box::ScrapBox),
    Stream(stream::Stream),
    Work(work::Work),
}

impl Station {
    /// Chance that one that sorts out sends a part of this class on; none if it does not go by the class.
    pub fn chance_onward(&self, kind: u8, condition: u8, attitude: u8) -> Option<f64> {
        match self {
            Station::Path(s) => Some(s.setup().chance_onward(kind, condition, attitude)),
            Station::PathInFile(s) => Some(s.setup().chance_onward(kind, condition, attitude)),
            Station::Bench(s) => s.chance_onward(kind, condition, attitude),
            _ => None,
        }
    }

    /// Starts the station's luck for a replication.
    pub fn seed(&mut self, seed: u64, replication: u64) {
        match self {
            Station::Dumper(s) => s.seed(seed, replication),
            Station::Elevator(s) => s.seed(seed, replication),
            Station::Carrier(_) | Station::ScrapBox(_) => {}
            Station::Divider(s) => s.seed(seed, replication),
            Station::AirTube(s) => s.seed(seed, replication),
            Station::Magazine(s) => s.seed(seed, replication),
            Station::IndexingTable(s) => s.seed(seed, replication),
            Station::Robot(s) => s.seed(seed, replication),
            Station::RowPusher(s) => s.seed(seed, replication),
            Station::Bench(s) => s.seed(seed, replication),
            Station::Escapement(s) => s.seed(seed, replication),
            Station::HandFill(s) => s.seed(seed, replication),
            Station::Bath(s) => s.seed(seed, replication),
            Station::Hopper(s) => s.seed(seed, replication),
            Station::Machine(s) => s.seed(seed, replication),
            Station::Meter(s) => s.seed(seed, replication),
            Station::PartBox(s) => s.seed(seed, replication),
            Station::Path(s) => s.seed(seed, replication),
            Station::PathInFile(s) => s.seed(seed, replication),
            Station::Stream(s) => s.seed(seed, replication),
            Station::Work(s) => s.seed(seed, replication),
        }
    }

    /// Gives the station a finished part to start with. False if it never holds one, or finishes batches: nothing
    /// happens then.
    pub(crate) fn hold(&mut self, part: Part) -> bool {
        match self {
            Station::AirTube(_)
            | Station::Bath(_)
            | Station::Hopper(_)
            | Station::IndexingTable(_)
            | Station::Magazine(_)
            | Station::PartBox(_)
            | Station::Robot(_)
            | Station::RowPusher(_) => return false,
            Station::Carrier(_)
            | Station::Divider(_)
            | Station::Dumper(_)
            | Station::HandFill(_)
            | Station::ScrapBox(_) => return false,
            Station::Escapement(s) => return s.hold(part),
            Station::Stream(s) => return s.hold(part),
            Station::Bench(s) => s.hold(part),
            Station::Elevator(s) => s.hold(part),
            Station::Machine(s) => s.hold(part),
            Station::Meter(s) => s.hold(part),
            Station::Path(s) => s.hold(part),
            Station::PathInFile(s) => s.hold(part),
            Station::Work(s) => s.hold(part),
        }
        true
    }

    /// A timer of the station has run out: it acts (`which` tells its timers apart), and is settled at once
    /// unless others come first.
    #[inline(never)]
    pub fn act<O: Observer>(&mut self, floor: &mut Floor<O>, me: StationId, which: u8) {
        match self {
            Station::AirTube(s) => s.fire(),
            Station::Magazine(s) => s.fire(),
            Station::IndexingTable(s) => s.fire(floor),
            Station::Robot(s) => s.fire(floor),
            Station::RowPusher(s) => s.fire(floor),
            Station::Bath(s) => s.fire(floor, which),
            Station::Bench(s) => s.fire(floor),
            Station::Carrier(s) => s.fire(),
            Station::Divider(s) => s.fire(),
            Station::Dumper(s) => s.fire(floor, which),
            Station::Elevator(s) => s.fire(floor, which),
            Station::Escapement(s) => s.fire(floor),
            Station::HandFill(s) => s.fire(floor),
            Station::Hopper(s) => s.fire(),
            Station::Meter(s) => s.fire(floor),
            Station::PartBox(s) => s.fire(which),
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
            Station::AirTube(_)
            | Station::Magazine(_)
            | Station::IndexingTable(_)
            | Station::Robot(_)
            | Station::RowPusher(_)
            | Station::Bath(_)
            | Station::Bench(_)
            | Station::Carrier(_)
            | Station::Divider(_)
            | Station::Dumper(_)
            | Station::Elevator(_)
            | Station::Escapement(_)
            | Station::HandFill(_)
            | Station::Hopper(_)
            | Station::Meter(_)
            | Station::PartBox(_)
            | Station::PathInFile(_)
            | Station::ScrapBox(_)
            | Station::Stream(_) => false,
        }
    }

    /// Makes the zero-time moves that the station can make now.
    #[inline(always)]
    pub fn settle<O: Observer>(&mut self, floor: &mut Floor<O>) {
        match self {
            Station::AirTube(s) => s.settle(floor),
            Station::Magazine(s) => s.settle(floor),
            Station::IndexingTable(s) => s.settle(floor),
            Station::Robot(s) => s.settle(floor),
            Station::RowPusher(s) => s.settle(floor),
            Station::Bath(s) => s.settle(floor),
            Station::Bench(s) => s.settle(floor),
            Station::Carrier(s) => s.settle(floor),
            Station::Divider(s) => s.settle(floor),
            Station::Dumper(s) => s.settle(floor),
            Station::Elevator(s) => s.settle(floor),
            Station::Escapement(s) => s.settle(floor),
            Station::HandFill(s) => s.settle(floor),
            Station::Hopper(s) => s.settle(floor),
            Station::Machine(s) => s.settle(floor),
            Station::Meter(s) => s.settle(floor),
            Station::PartBox(s) => s.settle(floor),
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
            Station::Divider(s) => s.look(floor),
            Station::Dumper(s) => s.look(floor),
            Station::Elevator(s) => s.look(floor),
            Station::HandFill(s) => s.look(floor),
            Station::Hopper(s) => s.look(floor),
            Station::PathInFile(s) => s.look(floor),
            Station::Stream(s) => s.look(floor),
            Station::AirTube(_)
            | Station::Magazine(_)
            | Station::IndexingTable(_)
            | Station::Robot(_)
            | Station::RowPusher(_)
            | Station::Bench(_)
            | Station::Bath(_)
            | Station::Escapement(_)
            | Station::Machine(_)
            | Station::Meter(_)
            | Station::PartBox(_)
            | Station::Path(_)
            | Station::ScrapBox(_)
            | Station::Work(_) => {}
        }
    }

    /// Hears that it has stood still, or that somebody has done something for it.
    pub fn message(&mut self, message: Message) {
        match self {
            Station::AirTube(s) => s.message(message),
            Station::Magazine(s) => s.message(message),
            Station::IndexingTable(s) => s.message(message),
            Station::Robot(s) => s.message(message),
            Station::RowPusher(s) => s.message(message),
            Station::Bath(s) => s.message(message),
            Station::Bench(s) => s.message(message),
            Station::Carrier(s) => s.message(message),
            Station::Divider(s) => s.message(message),
            Station::Dumper(s) => s.message(message),
            Station::Elevator(s) => s.message(message),
            Station::Escapement(s) => s.message(message),
            Station::HandFill(s) => s.message(message),
            Station::Hopper(s) => s.message(message),
            Station::Machine(s) => s.message(message),
            Station::Meter(s) => s.message(message),
            Station::PartBox(s) => s.message(message),
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
            Station::IndexingTable(s) => s.takes_while_blocked(),
            Station::AirTube(_)
            | Station::Magazine(_)
            | Station::Robot(_)
            | Station::RowPusher(_)
            | Station::Bath(_)
            | Station::Bench(_)
            | Station::Carrier(_)
            | Station::Divider(_)
            | Station::Dumper(_)
            | Station::Elevator(_)
            | Station::Escapement(_)
            | Station::HandFill(_)
            | Station::Hopper(_)
            | Station::Meter(_)
            | Station::Path(_)
            | Station::PartBox(_)
            | Station::PathInFile(_)
            | Station::ScrapBox(_)
            | Station::Stream(_) => false,
        }
    }

    /// The bin whose content has to fall before the station does anything, if it waits for that alone.
    pub(crate) fn waits_for_level(&self) -> Option<PlaceId> {
        match self {
            Station::Dumper(s) => s.waits_for_level(),
            Station::HandFill(s) => s.waits_for_level(),
            _ => None,
        }
    }

    /// A source that goes over to another kind of part.
    pub fn bring(&mut self, kind: u8) {
        match self {
            Station::Dumper(s) => s.bring(kind),
            Station::HandFill(s) => s.bring(kind),
            Station::Hopper(s) => s.bring(kind),
            Station::Stream(s) => s.bring(kind),
            Station::Work(s) => s.bring(kind),
            Station::AirTube(_)
            | Station::Bath(_)
            | Station::Bench(_)
            | Station::Carrier(_)
            | Station::Divider(_)
            | Station::Elevator(_)
            | Station::IndexingTable(_)
            | Station::Magazine(_)
            | Station::Robot(_)
            | Station::RowPusher(_)
            | Station::Escapement(_)
            | Station::Machine(_)
            | Station::Meter(_)
            | Station::PartBox(_)
            | Station::Path(_)
            | Station::PathInFile(_)
            | Station::ScrapBox(_) => {}
        }
    }

    /// A run of this kind of part begins: settings by part are taken over.
    pub fn set_up(&mut self, kind: u8) {
        match self {
            Station::Machine(s) => s.set_up(kind),
            Station::Work(s) => s.set_up(kind),
            Station::Bath(_)
            | Station::AirTube(_)
            | Station::Bench(_)
            | Station::Carrier(_)
            | Station::Divider(_)
            | Station::Dumper(_)
            | Station::Elevator(_)
            | Station::Escapement(_)
            | Station::HandFill(_)
            | Station::Hopper(_)
            | Station::IndexingTable(_)
            | Station::Magazine(_)
            | Station::Meter(_)
            | Station::PartBox(_)
            | Station::Path(_)
            | Station::PathInFile(_)
            | Station::Robot(_)
            | Station::RowPusher(_)
            | Station::ScrapBox(_)
            | Station::Stream(_) => {}
        }
    }

    /// Whether it has a clock of its own that goes on whether or not there is anything to take.
    pub fn strikes_by_clock(&self) -> bool {
        match self {
            Station::Escapement(s) => s.is_on_clock(),
            Station::Meter(s) => s.runs_at_a_rate(),
            Station::AirTube(_)
            | Station::Bench(_)
            | Station::Carrier(_)
            | Station::Divider(_)
            | Station::Dumper(_)
            | Station::Elevator(_)
            | Station::HandFill(_)
            | Station::IndexingTable(_)
            | Station::Machine(_)
            | Station::Magazine(_)
            | Station::Path(_)
            | Station::PathInFile(_)
            | Station::Robot(_)
            | Station::RowPusher(_)
            | Station::ScrapBox(_)
            | Station::Stream(_)
            | Station::Bath(_)
            | Station::Hopper(_)
            | Station::PartBox(_)
            | Station::Work(_) => false,
        }
    }

    /// Time from taking to giving, ns, of a station that carries several parts one behind the other.
    pub(crate) fn passage(&self) -> Option<Nanos> {
        if let Station::Elevator(s) = self {
            Some(s.passage())
        } else if let Station::PathInFile(s) = self {
            Some(s.passage())
        } else {
            None
        }
    }

    /// Places from which it needs parts to go on, where it tells them apart: what the others bring does not help.
    pub fn lacks(&self) -> Option<Vec<PlaceId>> {
        match self {
            Station::Magazine(s) => Some(s.lacks()),
            Station::Robot(s) => Some(s.lacks()),
            Station::AirTube(_)
            | Station::Bath(_)
            | Station::Bench(_)
            | Station::Carrier(_)
            | Station::Divider(_)
            | Station::Dumper(_)
            | Station::Elevator(_)
            | Station::Escapement(_)
            | Station::HandFill(_)
            | Station::IndexingTable(_)
            | Station::Machine(_)
            | Station::Hopper(_)
            | Station::PartBox(_)
            | Station::Meter(_)
            | Station::Path(_)
            | Station::PathInFile(_)
            | Station::RowPusher(_)
            | Station::ScrapBox(_)
            | Station::Stream(_)
            | Station::Work(_) => None,
        }
    }

    /// Parts inside the station itself, for the count of parts.
    pub fn content(&self) -> usize {
        match self {
            Station::Elevator(s) => s.content(),
            Station::Carrier(_)
            | Station::Divider(_)
            | Station::Dumper(_)
            | Station::HandFill(_)
            | Station::Hopper(_)
            | Station::ScrapBox(_) => 0,
            Station::AirTube(s) => s.content(),
            Station::Magazine(s) => s.content(),
            Station::IndexingTable(s) => s.content(),
            Station::Robot(s) => s.content(),
            Station::RowPusher(s) => s.content(),
            Station::Bath(s) => s.content(),
            Station::Bench(s) => s.content(),
            Station::Escapement(s) => s.content(),
            Station::Machine(s) => s.content(),
            Station::Meter(s) => s.content(),
            Station::PartBox(s) => s.content(),
            Station::Path(s) => s.content(),
            Station::PathInFile(s) => s.content(),
            Station::Stream(s) => s.content(),
            Station::Work(s) => s.content(),
        }
    }
}
