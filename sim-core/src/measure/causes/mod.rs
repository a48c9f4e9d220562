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
//!   back, ends the interruption: what it then fails to give is its own;
//! - held by a sensor: to the stop, further down, that keeps the level there; if nothing stands there, to the sensor;
//! - held by a full box: to the box, until it is exchanged; held because others use the reach that it shares: to that, or to
//!   the stop of the one who has it;
//! - slowed down by a sensor: what it gives later than at full speed is the sensor's (see `slow.rs`);
//! - blocked: to the stop further down; if it waits for itself by way of a loop, *recirculating*; else to the blocking.
//!
//! A place that stands (a belt that jams) bears the time that it stands, and the rest of the gap at its end. Stations
//! that carry parts themselves (an elevator, a path with parts in file) are a place for this purpose: what counts is
//! what kept them from *taking* a part a passage ago.
//!
//! **Joins.** Where several stations give, the charge goes to the one whose part would have come first: one that is
//! interrupted, before one that is at its natural limit; among interrupted ones the first that was. Ties are split
//! evenly, in whole nanoseconds. What comes back from further down bears a charge only where nothing else gives. A
//! machine with several inlets charges those that lack parts in equal shares. A station that the search comes back to
//! is *recirculating*. Until the first part has passed, the line is *filling up*.
//!
//! Signals are worked out when a station ceases to starve, for the time that it did. Invariant: what is charged to all
//! causes together is, to the nanosecond, the time that the point of use starved.

mod below;
mod hearing;
mod passage;
mod setup;
mod signal;
mod slow;

pub use setup::{CausePlace, CauseSensor, CauseSetup, CauseStation, Particular};
pub use signal::Cause;

use crate::kernel::{PlaceId, State, StationId};
use crate::part::Nanos;
use passage::Passage;
use signal::{EVER, NEVER, Reason, Signal, Time};
use slow::{Doing, Slowness};

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
    /// No charges yet.
    pub fn new(setup: &CauseSetup) -> Self {
        let n = setup.stations.len();
        let mut causes = Causes {
            nodes: (0..n).map(|ix| Node::new(StationId(ix as u16))).collect(),
            ways: setup.places.iter().map(|place| Passage::new(place.transit as Time)).collect(),
            intake_of: vec![None; n],
            account_of: Vec::new(),
            states: Vec::new(),
            sensors_on: Vec::new(),
            n_stopped: 0,
            n_stamps: 0,
            slowness: Vec::new(),
            any_slow: false,
            n_slow_ways: 0,
            charges: vec![vec![0; setup.n_causes()]; setup.points.len()],
            found: Vec::new(),
            setup: setup.clone(),
        };
        for ix in 0..n {
            causes.wire(ix);
        }
        for (number, point) in setup.points.iter().enumerate() {
            let ix = point.ix();
            let account = if causes.intake_of[ix].is_some() {
                causes.add_node(*point, setup.stations[ix].inlets.clone())
            } else if causes.nodes[ix].sources.is_empty() {
                causes.add_source_account(*point)
            } else {
                ix
            };
            let node = &mut causes.nodes[account];
            if node.sources.is_empty() {
                // Nobody gives to it: it bears its starving itself.
                node.sources.push(Vec::new());
            }
            node.point = Some(number);
            causes.account_of.push(account);
        }
        causes.link_back();
        causes.restart();
        causes
    }

    fn wire(&mut self, ix: usize) {
        let station = &self.setup.stations[ix];
        let (inlets, me) = (station.inlets.clone(), StationId(ix as u16));
        let Some(passage) = station.passage.filter(|_| !inlets.is_empty()) else {
            self.nodes[ix].sources = self.sources(&inlets);
            return;
        };
        let intake = self.add_node(me, inlets);
        self.ways.push(Passage::new(passage as Time));
        self.nodes[ix].sources = vec![vec![Source { place: self.ways.len() - 1, node: intake }]];
        self.intake_of[ix] = Some(intake);
    }

    fn add_node(&mut self, me: StationId, inlets: Vec<Vec<PlaceId>>) -> usize {
        let sources = self.sources(&inlets);
        self.nodes.push(Node { sources, ..Node::new(me) });
        self.nodes.len() - 1
    }

    /// The account of a point of use that takes from nowhere: a source, or a place, which starves when it is empty.
    fn add_source_account(&mut self, me: StationId) -> usize {
        let body = self.setup.stations[me.ix()].body;
        let feeders = body.map(|body| self.setup.places[body.ix()].feeders.clone()).unwrap_or_default();
        let place = self.ways.len();
        self.ways.push(Passage::default());
        let sources = vec![feeders.iter().map(|feeder| Source { place, node: feeder.ix() }).collect()];
        self.nodes.push(Node { sources, ..Node::new(me) });
        self.nodes.len() - 1
    }

    fn sources(&self, inlets: &[Vec<PlaceId>]) -> Vec<Vec<Source>> {
        let of_place = |place: &PlaceId| {
            let feeders = self.setup.places[place.ix()].feeders.iter();
            let place = place.ix();
            feeders.map(move |feeder| Source { place, node: feeder.ix() })
        };
        let groups: Vec<Vec<Source>> =
            inlets.iter().map(|places| places.iter().flat_map(of_place).collect()).collect();
        if groups.iter().all(Vec::is_empty) { Vec::new() } else { groups }
    }

    fn link_back(&mut self) {
        for taker in 0..self.nodes.len() {
            for source in self.nodes[taker].sources.concat() {
                let giver = &mut self.nodes[source.node];
                giver.takers.push(taker);
                giver.gives_to.push(source.place);
            }
        }
    }

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
            (node.gave, node.kept) = (EVER, KEPT);
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

    // ---- working out --------------------------------------------------------------------------------

    /// Works the signal of a starving node out up to `now`.
    fn work_out(&mut self, ix: usize, now: Time) {
        let node = &mut self.nodes[ix];
        if !node.follows || node.is_open || node.known >= now {
            return;
        }
        node.is_open = true;
        let groups = std::mem::take(&mut node.sources);
        let (me, mut at, lacking) = (node.me, node.known, node.lacking);
        for source in groups.iter().flatten() {
            self.work_out(source.node, now);
        }
        while at < now {
            let until = self.find(me, &groups, lacking, at).min(now);
            self.charge(ix, at, until);
            at = until;
        }
        let node = &mut self.nodes[ix];
        node.sources = groups;
        (node.known, node.is_open) = (now, false);
    }

    /// Puts into `found` what bears the charge at `at`, with the number of its inlet; returns until when that holds.
    fn find(&mut self, me: StationId, groups: &[Vec<Source>], lacking: u32, at: Time) -> Time {
        self.found.clear();
        let mut until = NEVER;
        let lacks = |group: usize| group >= 32 || lacking >> group & 1 == 1;
        let none_lacks = !(0..groups.len()).any(lacks);
        for (number, group) in groups.iter().enumerate() {
            if !lacks(number) && !none_lacks {
                continue;
            }
            let start = self.found.len();
            if group.is_empty() {
                // Nobody gives to this inlet: what it had at the start is used up.
                let cause = Cause::At(me, State::Starved);
                self.found.push((number, Reason { cause, began: at }));
            }
            let mut first = (u8::MAX, NEVER);
            for source in group {
                let (reason, next) = self.reason(*source, at);
                until = until.min(next);
                let order = reason.order(self.nodes[source.node].me);
                if order < first {
                    self.found.truncate(start);
                    first = order;
                }
                if order == first {
                    self.found.push((number, reason));
                }
            }
        }
        until
    }

    /// Why nothing comes through a source at `at`, and until when that is so.
    fn reason(&self, source: Source, at: Time) -> (Reason, Time) {
        let way = &self.ways[source.place];
        let (stands, mut until) = way.reason(at);
        if let Some(reason) = stands {
            return (reason, until);
        }
        if let Some((_, reason)) = way.stamp.filter(|(from, _)| *from <= at) {
            return (reason, until);
        }
        let entry = way.entry(at);
        let node = &self.nodes[source.node];
        if node.follows && entry >= node.known {
            return (Reason { cause: Cause::Recirculating, began: entry }, until);
        }
        let (reason, next) = node.signal.at(entry);
        for change in [next, way.next_standstill(entry), if node.follows { node.known } else { NEVER }] {
            until = until.min(at.saturating_add(change - entry));
        }
        (reason, until)
    }

    /// Charges what was found with the time from `from` to `to`.
    fn charge(&mut self, ix: usize, from: Time, to: Time) {
        let Some(&(_, first)) = self.found.first() else { panic!("a node that follows has sources") };
        let order = |reason: Reason| reason.order(self.nodes[ix].me);
        let nearest = self
            .found
            .iter()
            .map(|(_, reason)| *reason)
            .fold(first, |best, reason| if order(reason) < order(best) { reason } else { best });
        self.nodes[ix].signal.set(from, nearest);
        let Some(point) = self.nodes[ix].point else { return };
        let (setup, charges) = (&self.setup, &mut self.charges[point]);
        let mut inlets = self.found.chunk_by(|a, b| a.0 == b.0);
        let n_inlets = inlets.clone().count() as u64;
        for (of_inlet, group) in shares((to - from) as u64, n_inlets).zip(&mut inlets) {
            for (share, (_, reason)) in shares(of_inlet, group.len() as u64).zip(group) {
                charges[setup.ix(reason.cause)] += share;
            }
        }
    }

    // ---- what happens -------------------------------------------------------------------------------

    /// A stop has begun: it now bears what those who wait for it were charged with.
    fn pass_on_stop(&mut self, now: Time) {
        for ix in 0..self.states.len() {
            let waits = matches!(self.states[ix], State::Held | State::Blocked);
            if !waits || self.setup.stations[ix].rests_blocked {
                continue;
            }
            let reason = self.interruption(ix, now);
            if self.is_elsewhere(reason.cause, ix) && self.nodes[ix].signal.last().cause != reason.cause {
                self.nodes[ix].signal.set(now, reason);
            }
        }
    }

    /// Whether a cause is a stop of another station.
    fn is_elsewhere(&self, cause: Cause, ix: usize) -> bool {
        match cause {
            Cause::At(station, _) => station.ix() != ix,
            Cause::Because(number) => match self.setup.particular[usize::from(number)] {
                Particular::Full(full) => full.ix() != ix,
                Particular::HeldBy { .. } | Particular::SlowedBy { .. } | Particular::Reach { .. } => false,
            },
            Cause::Recirculating | Cause::FillingUp => false,
        }
    }

    /// The node follows its sources from now on, or does so no more.
    fn follow(&mut self, ix: usize, follows: bool, now: Time) {
        let node = &mut self.nodes[ix];
        if node.follows == follows || node.sources.is_empty() {
            return;
        }
        if follows {
            node.known = now;
        } else {
            self.work_out(ix, now);
        }
        self.nodes[ix].follows = follows;
        self.tidy(ix, now);
    }

    /// The station has given something: what it fails to give from now on is its own.
    fn give(&mut self, ix: usize, now: Time) {
        self.charge_slowness(ix, now);
        let node = &mut self.nodes[ix];
        node.gave = now;
        let own = Cause::At(node.me, State::Working);
        if !node.follows && node.signal.last().cause != own {
            node.signal.set(now, Reason { cause: own, began: now });
            self.tidy(ix, now);
        }
    }

    /// It works from now on. An interruption that took no time was none.
    fn go_to_work(&mut self, ix: usize, now: Time) {
        let from = self.at_full_speed(ix, now);
        let node = &mut self.nodes[ix];
        if !node.follows {
            node.signal.revoke(from);
            if node.gave == now {
                self.give(ix, now);
            }
        }
    }

    /// Forgets what nobody will ask for any more.
    fn tidy(&mut self, ix: usize, now: Time) {
        if self.nodes[ix].signal.len() < self.nodes[ix].kept || self.nodes[ix].is_open {
            return;
        }
        for n in 0..self.nodes[ix].takers.len() {
            self.work_out(self.nodes[ix].takers[n], now);
        }
        let entries = self.nodes[ix].gives_to.iter().map(|&place| self.ways[place].entry(now));
        let oldest = entries.min().unwrap_or(now);
        let node = &mut self.nodes[ix];
        node.signal.forget(oldest);
        node.kept = KEPT.max(2 * node.signal.len());
    }

    /// The place stands or goes on.
    fn set_standing(&mut self, place: usize, stands: bool, reason: Reason, now: Time) {
        self.tidy_way(place, now);
        let way = &mut self.ways[place];
        let had_stamp = way.stamp.is_some();
        if stands {
            way.stop(now, reason)
        } else {
            way.go(now)
        }
        if !had_stamp && way.stamp.is_some() {
            self.n_stamps += 1;
        }
    }

    fn tidy_way(&mut self, place: usize, now: Time) {
        if self.ways[place].n_kept() < KEPT {
            return;
        }
        for taker in 0..self.nodes.len() {
            if self.nodes[taker].sources.iter().flatten().any(|source| source.place == place) {
                self.work_out(taker, now);
            }
        }
        self.ways[place].forget(now);
        self.n_slow_ways = self.ways.iter().filter(|way| way.is_slow()).count();
    }

    /// A part has come out: the gap that a standstill made longer is over.
    #[inline]
    fn unstamp(&mut self, place: usize, now: Time) {
        if self.ways[place].stamp.is_none() {
            return;
        }
        for taker in 0..self.nodes.len() {
            if self.nodes[taker].sources.iter().flatten().any(|source| source.place == place) {
                self.work_out(taker, now);
            }
        }
        self.ways[place].stamp = None;
        self.n_stamps -= 1;
    }

    /// The state of a station that carries parts: they come out of it a passage after they were taken, unless it stands.
    fn carrying_state(&mut self, ix: usize, new: State, now: Time) {
        let flows = matches!(new, State::Working | State::Checking | State::Starved);
        let Source { place: way, node: intake } = self.nodes[ix].sources[0][0];
        self.slow_stands(intake, !flows, now);
        if flows {
            self.set_standing(way, false, self.nodes[ix].signal.last(), now);
            return self.follow(ix, true, now);
        }
        self.follow(ix, false, now);
        let reason = self.interruption(ix, now);
        self.nodes[ix].signal.set(now, reason);
        self.set_standing(way, true, reason, now);
    }

    fn plain_state(&mut self, ix: usize, new: State, now: Time) {
        self.does(ix, self.doing_in(ix, new), now);
        self.follow(ix, new == State::Starved, now);
        let is_source = self.nodes[ix].sources.is_empty();
        match new {
            State::Working | State::Checking => self.go_to_work(ix, now),
            State::Blocked if self.setup.stations[ix].rests_blocked => {}
            State::Starved if !is_source => {}
            State::Blocked
            | State::Starved
            | State::Held
            | State::Off
            | State::Changeover
            | State::JamAutomatic
            | State::JamWaiting
            | State::JamClearing
            | State::DownWaiting
            | State::DownRepair => {
                let reason = self.interruption(ix, now);
                let from = self.at_full_speed(ix, now);
                self.nodes[ix].signal.set(from, reason);
                self.tidy(ix, now);
            }
        }
    }

    /// What a station does in this state, as far as its slowness goes.
    fn doing_in(&self, ix: usize, state: State) -> Doing {
        match state {
            State::Working => Doing::Works,
            State::Held | State::Off if self.setup.stations[ix].freezes => Doing::Stands,
            State::Starved | State::Blocked | State::Held | State::Off => Doing::Waits,
            State::Checking
            | State::JamAutomatic
            | State::JamWaiting
            | State::JamClearing
            | State::DownWaiting
            | State::DownRepair
            | State::Changeover => Doing::Stands,
        }
    }
}

impl Node {
    fn new(me: StationId) -> Self {
        Node {
            me,
            signal: Signal::new(),
            sources: Vec::new(),
            takers: Vec::new(),
            gives_to: Vec::new(),
            follows: false,
            known: 0,
            is_open: false,
            lacking: u32::MAX,
            point: None,
            gave: EVER,
            kept: KEPT,
        }
    }
}

/// Splits `whole` into `n` shares that differ by one at most, the larger ones first.
fn shares(whole: u64, n: u64) -> impl Iterator<Item = u64> {
    (0..n).map(move |k| whole / n + u64::from(k < whole % n))
}

#[cfg(test)]
mod tests;
