//! Acts: what to do when a timer runs out, worked out once for each timer.
//!
//! The owner of a timer is known beforehand, and for the most usual sorts of stations so is the function to
//! call. Looking both up in one small table leaves one choice per timed event, made as early as can be:
//! which timer comes next is what the processor can foresee least. Stations without a sort of their own here
//! go through [`Station::act`]; that is slower, not different.

use super::Replica;
use crate::kernel::calendar::TimerId;
use crate::kernel::shelf::Shelf;
use crate::kernel::{Observer, StationId};
use crate::network::{Owner, Plan};
use crate::stations::Station;

/// Sorts of timers.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
enum Sort {
    /// Plain path.
    Path,
    /// Work station with one place.
    Work,
    /// Work station with one place that makes its parts itself.
    Maker,
    /// Machine that takes one part and hands it on.
    Machine,
    /// Path with parts in file.
    File,
    Station,
    /// Not a station's own timer.
    Other,
}

/// What to do for one timer.
#[derive(Clone, Copy, Debug)]
pub(super) struct Act {
    sort: Sort,
    which: u8,
    ix: u16,
}

/// The acts of all timers of a line.
pub(super) fn acts_of(plan: &Plan) -> Shelf<Act> {
    const OTHER: Act = Act { sort: Sort::Other, which: 0, ix: 0 };
    let act = |owner: &Owner| match *owner {
        Owner::Station { ix, which } => Act { sort: sort_of(&plan.stations[usize::from(ix)]), which, ix },
        Owner::Stop(_)
        | Owner::Trouble(_)
        | Owner::Attendant { .. }
        | Owner::Sensor(_)
        | Owner::Breaks(_)
        | Owner::Change => OTHER,
    };
    Shelf::new(plan.owners.iter().map(act).collect(), || OTHER)
}

fn sort_of(station: &Station) -> Sort {
    match station {
        Station::Path(path) if path.is_plain() => Sort::Path,
        Station::PathInFile(_) => Sort::File,
        Station::Machine(machine) if machine.is_plain() => Sort::Machine,
        Station::Work(work) => match work.is_single() {
            (true, true) => Sort::Maker,
            (true, false) => Sort::Work,
            (false, _) => Sort::Station,
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
        | Station::ScrapBox(_)
        | Station::Stream(_) => Sort::Station,
    }
}

impl<O: Observer> Replica<'_, O> {
    #[inline(always)]
    pub(super) fn fire(&mut self, timer: TimerId) {
        let act = *self.acts.at(usize::from(timer.0), O::NEAR);
        if act.sort == Sort::Other {
            return self.fire_other(timer);
        }
        let floor = &mut self.floor;
        let station = &mut self.stations[usize::from(act.ix)];
        match (act.sort, station) {
            (Sort::Path, Station::Path(path)) => path.act_plain(floor),
            (Sort::Work, Station::Work(work)) => work.act_single::<O, false>(floor),
            (Sort::Maker, Station::Work(work)) => work.act_single::<O, true>(floor),
            (Sort::Machine, Station::Machine(machine)) => machine.act_plain(floor),
            (Sort::File, Station::PathInFile(file)) => file.act(floor, act.which),
            (_, station) => station.act(floor, StationId(act.ix), act.which),
        }
    }

    #[inline(never)]
    fn fire_other(&mut self, timer: TimerId) {
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
