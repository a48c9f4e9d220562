//! Indexing table: nests in groups on a ring that is loaded at rest, turned by one group at a time, and discharged.
//!
//! **Keys.** `nests` in all; `group`: nests that stand at a position together (default 1), so that there are nests / group
//! positions, counted from 1 in the direction of turning. `load`: time to load one part (default none). `loads_at`: position
//! by feeding station (default: 1, 2, 3 ... in file order, several at the last
//! one before a discharge). `discharges`: position by station that gets parts (default:
//! `to` at the last position). `index`: time of a turn. `index_when`: *group full* (default: the group at the last load
//! position), *any* (it holds a part), or *on a clock* (each `period`).
//!
//! **Timing.** At rest each load position with a nest free loads one part at a time, beside the others. When the table
//! comes to rest, what can be loaded at once begins to be loaded; when it could turn, no further load begins, and those
//! that have begun are finished first. At a discharge position parts leave one after the other in no time, as far as there
//! is room; what does not leave is carried on to the next one. A turn starts when nothing is being loaded, the group at
//! the last discharge position is empty (*next place open*: nothing is carried round) and the index condition holds; on
//! a clock at each period after the start of the last turn, or as soon after as the table is free to turn. Nothing is
//! loaded or discharged during a turn.
//!
//! **States.** Working while it turns or loads, or waits for its clock; blocked while it could turn but for parts at the
//! last discharge position; starved while the index condition waits for parts. A jam by part strikes when the load of a
//! part starts, when it ends, or after the part has left. The balance counts (index + load x group / lanes) for a full
//! group, and shares the flow evenly over several discharge stations.

use super::alarm::Alarm;
use super::dice::Dice;
use crate::kernel::{Exit, Floor, Inlets, Message, Moment, Note, Observer, Offer, Sampler, State, StationId};
use crate::part::{Nanos, Part};

pub use spec::{IndexingTableSpec, read};

mod spec;

/// When the table turns.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum IndexWhen {
    /// The group at the last load position is full.
    GroupFull,
    /// The group at the last load position holds a part.
    Any,
    /// At every period.
    OnClock,
}

/// A load position.
#[derive(Clone, Debug)]
pub(super) struct LoadPoint {
    pub(super) inlets: Inlets,
    /// Counted from 0.
    pub(super) position: usize,
    /// The part that is being loaded, and until when.
    pub(super) loading: Option<(Nanos, Part)>,
}

/// What does not change of a table.
#[derive(Clone, Debug)]
pub(super) struct Setup {
    pub(super) exits: Vec<Exit>,
    /// Position of each exit, counted from 0.
    pub(super) discharges: Vec<usize>,
    pub(super) group: usize,
    pub(super) index: Sampler,
    pub(super) load: Sampler,
    pub(super) when: IndexWhen,
    /// Period of the clock.
    pub(super) period: Sampler,
    pub(super) last_load: usize,
    pub(super) last_discharge: usize,
}

/// State of a table.
#[derive(Clone, Debug)]
pub struct IndexingTable {
    me: StationId,
    alarm: Alarm,
    setup: Setup,
    points: Vec<LoadPoint>,
    luck: Dice,
    /// Parts of each group; the group at position p is number (p - turned) modulo their number.
    groups: Vec<Vec<Part>>,
    turned: usize,
    /// Until when it turns.
    turning: Option<Nanos>,
    /// Next stroke of the clock.
    clock: Nanos,
    /// It has just come to rest: nothing has been loaded since.
    fresh: bool,
    started: bool,
}

impl IndexingTable {
    pub(super) fn new(
        me: StationId,
        alarm: Alarm,
        setup: Setup,
        points: Vec<LoadPoint>,
        n_positions: usize,
        luck: Dice,
    ) -> Self {
        let groups = vec![Vec::with_capacity(setup.group); n_positions];
        IndexingTable {
            me,
            alarm,
            setup,
            points,
            luck,
            groups,
            turned: 0,
            turning: None,
            clock: 0,
            fresh: true,
            started: false,
        }
    }

    pub(super) fn seed(&mut self, seed: u64, replication: u64) {
        self.luck.seed(seed, replication);
    }

    pub(super) fn content(&self) -> usize {
        let loading = self.points.iter().filter(|point| point.loading.is_some()).count();
        loading + self.groups.iter().map(Vec::len).sum::<usize>()
    }

    /// Whether a nest can be loaded though the table can't turn.
    pub(super) fn takes_while_blocked(&self) -> bool {
        let has_nest = |point: &LoadPoint| self.groups[self.at(point.position)].len() < self.setup.group;
        self.turning.is_none() && self.points.iter().any(has_nest)
    }

    /// Number of the group that stands at a position.
    fn at(&self, position: usize) -> usize {
        let n = self.groups.len();
        (position + n - self.turned % n) % n
    }

    pub(super) fn fire<O: Observer>(&mut self, _floor: &mut Floor<O>) {
        self.alarm.spent();
    }

    pub(super) fn settle<O: Observer>(&mut self, floor: &mut Floor<O>) {
        if !self.started {
            self.started = true;
            self.wind(floor);
        }
        if let Some(end) = self.turning {
            if end > floor.now {
                self.alarm.set(floor, end);
                return floor.set_state(self.me, State::Working);
            }
            self.turning = None;
            self.turned += 1;
            self.fresh = true;
        }
        if !self.discharge(floor) || !self.end_loads(floor) {
            return;
        }
        let mut due = Nanos::MAX;
        if std::mem::take(&mut self.fresh) {
            match self.load(floor) {
                None => return,
                Some(next) => due = next,
            }
        }
        let loads = self.points.iter().any(|point| point.loading.is_some());
        let empty = self.groups[self.at(self.setup.last_discharge)].is_empty();
        let goes = empty && self.is_asked(floor);
        if goes && !loads && floor.may_start(self.me) {
            return self.turn(floor);
        }
        if !goes {
            match self.load(floor) {
                None => return,
                Some(next) => due = due.min(next),
            }
        }
        if self.setup.when == IndexWhen::OnClock && floor.now < self.clock {
            due = due.min(self.clock);
        }
        let ends = self.points.iter().filter_map(|point| point.loading).map(|(end, _)| end);
        let next = ends.fold(due, Nanos::min);
        self.alarm.set(floor, next);
        self.tell(floor, empty);
    }

    /// Sets the state at rest.
    fn tell<O: Observer>(&self, floor: &mut Floor<O>, empty: bool) {
        let loads = self.points.iter().any(|point| point.loading.is_some());
        let asked = self.is_asked(floor);
        let ticks = self.setup.when == IndexWhen::OnClock && !asked && floor.may_start(self.me);
        if loads || ticks {
            floor.set_state(self.me, State::Working);
        } else {
            floor.set_idle(self.me, asked && !empty);
        }
    }

    /// Whether the index condition holds.
    fn is_asked<O: Observer>(&self, floor: &Floor<O>) -> bool {
        let there = self.groups[self.at(self.setup.last_load)].len();
        match self.setup.when {
            IndexWhen::GroupFull => there == self.setup.group,
            IndexWhen::Any => there > 0,
            IndexWhen::OnClock => floor.now >= self.clock,
        }
    }

    fn wind<O: Observer>(&mut self, floor: &mut Floor<O>) {
        if self.setup.when == IndexWhen::OnClock {
            self.clock = floor.now + self.luck.time(floor, self.me, &self.setup.period).max(1);
        }
    }

    fn turn<O: Observer>(&mut self, floor: &mut Floor<O>) {
        let is_empty = self.groups.iter().all(Vec::is_empty);
        if is_empty {
            floor.note(self.me, Note::EmptyStroke, None);
        }
        self.wind(floor);
        let end = floor.now + self.luck.time(floor, self.me, &self.setup.index).max(1);
        self.turning = Some(end);
        for exit in &self.setup.exits {
            if let Exit::Store(place) = exit {
                floor.stop_waiting(self.me, *place);
            }
        }
        self.alarm.set(floor, end);
        floor.set_state(self.me, State::Working);
    }

    /// Hands out what there is room for; false if a jam has struck.
    fn discharge<O: Observer>(&mut self, floor: &mut Floor<O>) -> bool {
        for no in 0..self.setup.exits.len() {
            let exit = self.setup.exits[no];
            let group = self.at(self.setup.discharges[no]);
            while let Some(part) = self.groups[group].first().copied() {
                if !floor.is_clear(exit) || !floor.hand_over(self.me, no as u8, exit, &part) {
                    break;
                }
                self.groups[group].remove(0);
                if floor.jams(self.me, &part, Moment::After) {
                    return false;
                }
            }
        }
        true
    }

    /// Ends loads that are over; false if a jam has struck.
    fn end_loads<O: Observer>(&mut self, floor: &mut Floor<O>) -> bool {
        for n in 0..self.points.len() {
            let Some((end, part)) = self.points[n].loading else { continue };
            if end > floor.now {
                continue;
            }
            self.points[n].loading = None;
            let group = self.at(self.points[n].position);
            self.groups[group].push(part);
            if floor.jams(self.me, &part, Moment::End) {
                return false;
            }
        }
        true
    }

    /// Starts loads where a nest is free and a part is there; the time of the next part, or `None` if a jam has struck.
    fn load<O: Observer>(&mut self, floor: &mut Floor<O>) -> Option<Nanos> {
        let mut next = Nanos::MAX;
        for n in 0..self.points.len() {
            let group = self.at(self.points[n].position);
            let has_nest = self.groups[group].len() < self.setup.group;
            if self.points[n].loading.is_some() || !has_nest || !floor.may_start(self.me) {
                continue;
            }
            match floor.offer(self.me, &self.points[n].inlets) {
                Offer::Ready(place) => {
                    let part = floor.take(self.me, place);
                    let time = self.luck.time(floor, self.me, &self.setup.load);
                    self.points[n].loading = Some((floor.now + time, part));
                    if time == 0 {
                        // It ends in another settling, so that all load points have their turn.
                        floor.dirty.insert(self.me.0);
                    }
                    if floor.jams(self.me, &part, Moment::Start) {
                        return None;
                    }
                }
                Offer::Due(at) => next = next.min(at),
                Offer::Nothing => {}
            }
        }
        Some(next)
    }

    pub(super) fn message(&mut self, message: Message) {
        match message {
            Message::Thawed(stood) => {
                self.alarm.shift(stood);
                self.clock += stood;
                if let Some(end) = &mut self.turning {
                    *end += stood;
                }
                for (end, _) in self.points.iter_mut().filter_map(|point| point.loading.as_mut()) {
                    *end += stood;
                }
            }
            Message::Redirect(_) | Message::Attended(_) => {}
        }
    }
}

#[cfg(test)]
mod tests;
