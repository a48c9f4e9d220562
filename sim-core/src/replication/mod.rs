//! One replication: a run plan with streams of its own.
//!
//! The loop takes the earliest timer out of the calendar, lets its owner act, and settles stations downstream
//! first until nothing moves; then sensors and others look. Events at the opening of the window are out of
//! it, events at its close are in.

mod acts;
mod changeover;
mod gridlock;

use crate::kernel::calendar::TimerId;
use crate::kernel::shelf::Shelf;
use crate::kernel::{Exit, Floor, Observer, StationId};
use crate::network::{Owner, Plan};
use crate::part::{Nanos, Part, SECOND, TIME_LIMIT};
use crate::stations::Station;
use acts::Act;
use changeover::Change;
use std::hint::select_unpredictable;

/// Most settlings in one fixed point before it counts as an instant loop.
const ROUNDS_MAX: u32 = 1_000_000;
/// Most timed events at one instant before it counts as an instant loop.
const EVENTS_AT_ONCE_MAX: u64 = 10_000_000;
/// How often knots are looked for, ns.
const MINUTE: Nanos = 60 * SECOND;

/// Why a stretch of a replication ended.
#[derive(Clone, Debug, PartialEq, Eq)]
pub enum Stop {
    /// The asked-for time was reached.
    TimeReached,
    /// Stations wait for each other and no pending timer can ever open the knot. It is looked for at every full minute
    /// of simulated time and at the close of the window; each knot is told of once.
    Gridlock {
        /// When the last of them moved.
        at: Nanos,
        /// The stations of the knot.
        stations: Vec<StationId>,
    },
    /// Moves without any passage of time that do not come to an end.
    InstantLoop {
        /// When.
        at: Nanos,
        /// Stations that went round.
        stations: Vec<StationId>,
    },
    /// The budget of events was used up.
    TooManyEvents {
        /// When.
        at: Nanos,
        /// Stations whose timers come next, soonest first: those that use events up are among them.
        stations: Vec<StationId>,
    },
    /// More parts than [`WAITING_MAX`](crate::kernel::floor::WAITING_MAX) wait at a station for which there is no room.
    TooManyWaiting {
        /// Since when.
        at: Nanos,
        /// The station.
        station: StationId,
    },
}

/// A running replication.
#[derive(Clone, Debug)]
pub struct Replica<'a, O> {
    plan: &'a Plan,
    acts: Shelf<Act<'a, O>>,
    /// The shared state.
    pub floor: Floor<O>,
    /// The stations.
    pub stations: Vec<Station>,
    next_break: Vec<usize>,
    /// Timed events so far.
    pub n_events: u64,
    /// Most timed events.
    pub events_max: u64,
    n_events_now: u64,
    /// Why the replication ends, between the settling that found it and the return.
    stop: Option<Stop>,
    /// The product sequence.
    change: Option<Change>,
    /// The line runs empty for a changeover: it has to be seen when it has.
    sees_run_out: bool,
    /// Stations of knots that have been told of, and those that wait for them.
    stuck: Vec<StationId>,
}

impl<'a, O: Observer> Replica<'a, O> {
    /// A replication at time 0, with its streams started.
    pub fn new(plan: &'a Plan, seed: u64, replication: u64, observer: O) -> Self {
        let mut replica = Replica {
            plan,
            acts: acts::acts_of(plan),
            floor: Floor::new(plan.outfit.clone(), observer),
            stations: plan.stations.clone(),
            next_break: vec![0; plan.breaks.len()],
            n_events: 0,
            events_max: u64::MAX,
            n_events_now: 0,
            stop: None,
            stuck: Vec::new(),
            change: plan.change.as_ref().map(|change| Change::new(change, seed, replication)),
            sees_run_out: false,
        };
        for (ix, station) in plan.stations.iter().enumerate() {
            if station.is_shut_at_work() {
                replica.floor.set_shut_at_work(StationId(ix as u16));
            }
            if let Station::Divider(divider) = station
                && let Some((place, exits)) = divider.through()
            {
                replica.floor.set_through(place, exits);
            }
            if let Station::Divider(divider) = station {
                replica.hear_calls(StationId(ix as u16), divider.called_by().unwrap_or_default());
            }
        }
        replica.seed(seed, replication);
        replica
    }

    /// Has a divider that goes by calls settled when one that takes from its hand has nothing to do.
    fn hear_calls(&mut self, divider: StationId, exits: &[Exit]) {
        for exit in exits {
            let Exit::Hand(place) = exit else { continue };
            for taker in self.floor.place(*place).takers().to_vec() {
                self.floor.add_caller(taker, divider);
            }
        }
    }

    fn seed(&mut self, seed: u64, replication: u64) {
        for station in &mut self.stations {
            station.seed(seed, replication);
        }
        for shift in &self.plan.shifts {
            shift.begin(&mut self.floor, seed, replication);
        }
        self.floor.seed(seed, replication);
        self.start_sequence();
        self.fill_tracks();
        self.floor.start_clocks();
        for ix in 0..self.stations.len() {
            self.floor.dirty.insert(ix as u16);
        }
        for ix in self.plan.first_sensor..self.floor.n_posts() as u16 {
            self.floor.looks.insert(ix);
        }
        for ix in 0..self.plan.breaks.len() {
            self.schedule_break(ix);
        }
    }

    /// Puts the parts in place that stand on tracks and in stations at the start. They count as input.
    fn fill_tracks(&mut self) {
        for fill in &self.plan.fills {
            let part = Part::starter(fill.kind, 0, fill.attitude);
            self.floor.fill(fill.place, fill.n, part);
        }
        for held in &self.plan.held {
            if self.stations[held.station.ix()].hold(Part::starter(held.kind, 0, held.attitude)) {
                self.floor.count_starters(1);
            }
        }
    }

    /// Runs until all events at or before `end` (ns) have happened, or something ends the replication.
    // A function of its own, whoever calls it: taken into a caller, the loop within gets registers that the caller needs.
    #[inline(never)]
    pub fn run_until(&mut self, end: Nanos) -> Stop {
        if self.n_events == 0 && self.settle_start() {
            return self.take_stop();
        }
        // There may be another knot of the time at which the last stretch ended.
        if let Some(knot) = self.knot_of_now() {
            return knot;
        }
        loop {
            let minute = (self.floor.now / MINUTE + 1) * MINUTE;
            if let Some(stop) = self.run_stretch(end.min(minute)) {
                return stop;
            }
            if let Some((at, station)) = self.floor.flooded() {
                return Stop::TooManyWaiting { at, station };
            }
            if let Some(knot) = self.knot_of_now() {
                return knot;
            }
            if self.floor.now >= end {
                return Stop::TimeReached;
            }
        }
    }

    /// Knots are looked for at full minutes of simulated time and at the close of the window, so that they are the same
    /// however far a replication is run at a time.
    fn knot_of_now(&mut self) -> Option<Stop> {
        let now = self.floor.now;
        if now.is_multiple_of(MINUTE) || now == self.plan.close_ns { self.find_knot() } else { None }
    }

    /// Runs until all events at or before `end` (ns) have happened; what ends the replication before, if anything.
    fn run_stretch(&mut self, end: Nanos) -> Option<Stop> {
        // Counted here, for nobody else asks before the end of the stretch.
        let (mut n, mut n_now, events_max) = (self.n_events, self.n_events_now, self.events_max);
        while let Some((at, timer)) = self.floor.calendar.next_in(end, O::NEAR) {
            // Whether time goes on is hard to foresee, so no branch is made to hang on it.
            n_now = select_unpredictable(at == self.floor.now, n_now, 0) + 1;
            self.floor.now = at;
            n += 1;
            self.fire(timer);
            if self.settle_all() || (self.sees_run_out && self.sees_the_line_run_out()) {
                (self.n_events, self.n_events_now) = (n, n_now);
                return Some(self.take_stop());
            }
            if n > events_max || n_now > EVENTS_AT_ONCE_MAX {
                (self.n_events, self.n_events_now) = (n, n_now);
                return Some(self.out_of_events(timer));
            }
        }
        (self.n_events, self.n_events_now) = (n, n_now);
        self.floor.now = end;
        None
    }

    #[cold]
    fn out_of_events(&self, timer: TimerId) -> Stop {
        let at = self.floor.now;
        if self.n_events > self.events_max {
            return Stop::TooManyEvents { at, stations: self.next_at_work(timer, TIME_LIMIT - 2) };
        }
        Stop::InstantLoop { at, stations: self.next_at_work(timer, at) }
    }

    fn station_of(&self, timer: TimerId) -> Option<StationId> {
        match self.plan.owners[usize::from(timer.0)] {
            Owner::Station { ix, .. } => Some(StationId(ix)),
            Owner::Stop(station) => Some(station),
            Owner::Trouble(trouble) => Some(self.floor.trouble(trouble).station),
            Owner::Attendant { .. } | Owner::Sensor(_) | Owner::Breaks(_) | Owner::Change => None,
        }
    }

    /// The station of this timer, and those whose timers come next, until a time.
    fn next_at_work(&self, timer: TimerId, until: u64) -> Vec<StationId> {
        const MOST: usize = 5;
        let mut stations: Vec<StationId> = self.station_of(timer).into_iter().collect();
        let mut calendar = self.floor.calendar.clone();
        while let Some((_, timer)) = calendar.next_until(until) {
            let next = self.station_of(timer).filter(|next| !stations.contains(next));
            stations.extend(next);
            if stations.len() >= MOST {
                break;
            }
        }
        stations
    }

    /// Moves until nothing moves, then lets those look who look, until nobody has anything to do.
    /// True if that ends the replication; see `stop`.
    #[inline(always)]
    fn settle_all(&mut self) -> bool {
        let floor = &self.floor;
        let is_settled = floor.dirty.is_empty_in(O::NEAR) && floor.looks.is_empty_in(O::NEAR);
        !is_settled && self.settle_some()
    }

    #[inline(always)]
    fn settle_some(&mut self) -> bool {
        let mut rounds = 0;
        loop {
            while let Some(rank) = self.floor.dirty.pop_in(O::NEAR) {
                if !self.floor.messages.is_empty() {
                    self.deliver();
                }
                let ix = usize::from(rank);
                if ix < self.stations.len() && !self.floor.stands(StationId(rank)) {
                    self.stations[ix].settle(&mut self.floor);
                }
                rounds += 1;
                if rounds > ROUNDS_MAX {
                    self.stop = Some(self.instant_loop());
                    return true;
                }
            }
            if self.floor.looks.is_empty_in(O::NEAR) {
                break;
            }
            self.look_around();
            rounds += 1;
            if rounds > ROUNDS_MAX {
                self.stop = Some(self.instant_loop());
                return true;
            }
        }
        false
    }

    #[cold]
    fn settle_start(&mut self) -> bool {
        // Calendars come before the stations: a break from the very start lets nothing start.
        for ix in 0..self.plan.breaks.len() {
            if self.next_break[ix] == 0 && self.plan.breaks[ix].spans.first().is_some_and(|span| span.0 == 0)
            {
                self.turn_break(ix);
            }
        }
        self.settle_all()
    }

    #[cold]
    fn take_stop(&mut self) -> Stop {
        self.stop.take().unwrap_or_else(|| panic!("what ends a replication says why"))
    }

    #[cold]
    fn instant_loop(&mut self) -> Stop {
        let mut stations = Vec::new();
        for _ in 0..256 {
            let Some(rank) = self.floor.dirty.pop() else {
                // A sensor that switches itself goes round without any station.
                let Some(watcher) = self.floor.looks.pop() else { break };
                self.floor.looks.insert(watcher);
                if !stations.contains(&StationId(watcher)) {
                    stations.push(StationId(watcher));
                }
                self.look_around();
                continue;
            };
            let ix = usize::from(rank);
            if ix < self.stations.len() {
                if !stations.contains(&StationId(rank)) {
                    stations.push(StationId(rank));
                }
                if !self.floor.stands(StationId(rank)) {
                    self.stations[ix].settle(&mut self.floor);
                }
            }
        }
        Stop::InstantLoop { at: self.floor.now, stations }
    }

    #[cold]
    fn deliver(&mut self) {
        for n in 0..self.floor.messages.len() {
            let (station, message) = self.floor.messages[n];
            if station.ix() < self.stations.len() {
                self.stations[station.ix()].message(message);
            } else {
                self.change_attended();
            }
        }
        self.floor.messages.clear();
    }

    /// Lets each watcher look once: who has to look again does so after the next fixed point.
    fn look_around(&mut self) {
        let mut next = 0;
        while let Some(watcher) = self.floor.looks.pop() {
            if watcher < next {
                return self.floor.looks.insert(watcher);
            }
            next = watcher + 1;
            if self.plan.change.as_ref().is_some_and(|change| change.post.0 == watcher) {
                self.look_at_count();
            } else if watcher >= self.plan.first_sensor {
                self.floor.look(watcher - self.plan.first_sensor);
            } else if let Some(station) = self.stations.get_mut(usize::from(watcher)) {
                station.look(&mut self.floor);
            }
        }
    }

    fn schedule_break(&mut self, ix: usize) {
        let spans = &self.plan.breaks[ix].spans;
        let edge = self.next_break[ix];
        let Some(&(from, to)) = spans.get(edge / 2) else { return };
        let at = if edge.is_multiple_of(2) { from } else { to };
        let owner = self.plan.owners.iter().position(|owner| *owner == Owner::Breaks(ix as u16));
        if let Some(slot) = owner {
            self.floor.calendar.set(TimerId(slot as u16), at);
        }
    }

    fn turn_break(&mut self, ix: usize) {
        let plan = &self.plan.breaks[ix];
        let begins = self.next_break[ix].is_multiple_of(2);
        for &post in &plan.posts {
            if begins { self.floor.begin_break(post) } else { self.floor.end_break(post) }
        }
        for (pool, attendants) in &plan.pools {
            self.floor.muster(*pool, attendants);
        }
        self.next_break[ix] += 1;
        self.schedule_break(ix);
    }

    /// Parts inside all places and stations.
    pub fn n_inside(&self) -> u64 {
        let in_places: u64 = (0..self.floor.n_places())
            .map(|ix| self.floor.place(crate::kernel::PlaceId(ix as u16)))
            .map(|place| if place.is_endless() { 0 } else { u64::from(place.len()) })
            .sum();
        in_places + self.stations.iter().map(|station| station.content() as u64).sum::<u64>()
    }

    /// Whether parts created = parts left + parts absorbed + parts inside.
    pub fn conserves_parts(&self) -> bool {
        let (created, left, absorbed) = self.floor.flow();
        created == left + absorbed + self.n_inside()
    }

    /// The plan it runs on.
    pub fn plan(&self) -> &Plan {
        self.plan
    }
}
