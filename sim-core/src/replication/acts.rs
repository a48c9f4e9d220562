//! Acts: what to do when a timer runs out, worked out once for each timer.
//!
//! The owner of a timer is known beforehand, and for the most usual sorts of stations so is the function to
//! call. One small table holds it for each timer, so that the choice is made in one step and as early as can be:
//! which timer comes next is what the processor can foresee least. Stations without a function of their own here
//! go through [`Station::act`]; that is slower, not different.

use super::Replica;
use crate::kernel::calendar::TimerId;
use crate::kernel::shelf::Shelf;
use crate::kernel::{Observer, StationId};
use crate::network::{Owner, Plan};
use crate::stations::Station;
use std::fmt;

/// What to do for one timer.
pub(super) struct Act<'a, O> {
    go: fn(&mut Replica<'a, O>, TimerId, StationId),
    /// The station, if it is a station's own timer.
    station: StationId,
}

impl<O> Clone for Act<'_, O> {
    fn clone(&self) -> Self {
        *self
    }
}

impl<O> Copy for Act<'_, O> {}

impl<O> fmt::Debug for Act<'_, O> {
    fn fmt(&self, out: &mut fmt::Formatter<'_>) -> fmt::Result {
        write!(out, "act of {:?}", self.station)
    }
}

/// The acts of all timers of a line.
pub(super) fn acts_of<'a, O: Observer>(plan: &Plan) -> Shelf<Act<'a, O>> {
    let other = Act { go: Replica::fire_other, station: StationId::NONE };
    let act = |owner: &Owner| match *owner {
        Owner::Station { ix, which } => {
            Act { go: function_of(&plan.stations[usize::from(ix)], which), station: StationId(ix) }
        }
        Owner::Stop(_)
        | Owner::Trouble(_)
        | Owner::Attendant { .. }
        | Owner::Sensor(_)
        | Owner::Breaks(_)
        | Owner::Change => other,
    };
    Shelf::new(plan.owners.iter().map(act).collect(), || other)
}

fn function_of<'a, O: Observer>(station: &Station, which: u8) -> fn(&mut Replica<'a, O>, TimerId, StationId) {
    match station {
        Station::Path(path) if path.is_plain() => Replica::pass,
        Station::PathInFile(_) if which == 0 => Replica::file_on,
        Station::Machine(machine) if machine.is_plain() && which == 0 => Replica::stroke,
        Station::Work(work) => match work.is_single() {
            (true, true) => Replica::make,
            (true, false) => Replica::work,
            (false, _) => Replica::act,
        },
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
        | Station::Machine(_)
        | Station::Meter(_)
        | Station::PartBox(_)
        | Station::Path(_)
        | Station::PathInFile(_)
        | Station::ScrapBox(_)
        | Station::Stream(_) => Replica::act,
    }
}

impl<'a, O: Observer> Replica<'a, O> {
    #[inline(always)]
    pub(super) fn fire(&mut self, timer: TimerId) {
        let act = *self.acts.at(usize::from(timer.0), O::NEAR);
        (act.go)(self, timer, act.station);
    }

    /// Any station.
    fn act(&mut self, timer: TimerId, me: StationId) {
        let Owner::Station { which, .. } = self.plan.owners[usize::from(timer.0)] else {
            panic!("a station's act is that of its own timer")
        };
        self.stations[me.ix()].act(&mut self.floor, me, which);
    }

    /// Plain path.
    fn pass(&mut self, timer: TimerId, me: StationId) {
        match &mut self.stations[me.ix()] {
            Station::Path(path) => path.act_plain(&mut self.floor),
            _ => self.act(timer, me),
        }
    }

    /// Path with parts in file.
    fn file_on(&mut self, timer: TimerId, me: StationId) {
        match &mut self.stations[me.ix()] {
            Station::PathInFile(file) => file.act(&mut self.floor, 0),
            _ => self.act(timer, me),
        }
    }

    /// Machine that takes one part and hands it on.
    fn stroke(&mut self, timer: TimerId, me: StationId) {
        match &mut self.stations[me.ix()] {
            Station::Machine(machine) => machine.act_plain(&mut self.floor),
            _ => self.act(timer, me),
        }
    }

    /// Work station with one place that makes its parts itself.
    fn make(&mut self, timer: TimerId, me: StationId) {
        match &mut self.stations[me.ix()] {
            Station::Work(work) => work.act_single::<O, true>(&mut self.floor),
            _ => self.act(timer, me),
        }
    }

    /// Work station with one place.
    fn work(&mut self, timer: TimerId, me: StationId) {
        match &mut self.stations[me.ix()] {
            Station::Work(work) => work.act_single::<O, false>(&mut self.floor),
            _ => self.act(timer, me),
        }
    }

    fn fire_other(&mut self, timer: TimerId, _: StationId) {
        match self.plan.owners[usize::from(timer.0)] {
            Owner::Station { ix, .. } => self.floor.dirty.insert(ix),
            Owner::Stop(station) => self.floor.fire_stop(station),
            Owner::Trouble(trouble) => self.floor.fire_trouble(trouble),
            Owner::Attendant { pool, who } => self.floor.fire_attendant(pool, who),
            Owner::Sensor(sensor) => self.floor.fire_sensor(sensor),
            Owner::Breaks(ix) => self.turn_break(usize::from(ix)),
            Owner::Change => self.fire_change(),
        }
    }
}
