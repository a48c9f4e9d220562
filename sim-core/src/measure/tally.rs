//! The tally of a whole line.

use super::levels::LevelTally;
use super::own::OwnTally;
use crate::kernel::shelf::Shelf;
use crate::kernel::state::N_STATES;
use crate::kernel::{Note, Observer, PlaceId, State, StationId};
use crate::part::{Nanos, Part};

/// Exits told apart by number.
const EXITS: usize = 8;
/// Passes told apart; more are counted together.
const PASSES: usize = 256;

/// What a tally has to know of the line.
#[derive(Clone, Debug, Default)]
pub struct TallySetup {
    /// Number of stations, attendants and sensors.
    pub n_posts: usize,
    /// Capacity of each place.
    pub capacities: Vec<u32>,
    /// Number of troubles.
    pub n_troubles: usize,
    /// Stations at which finished parts are counted as good or bad.
    pub points: Vec<StationId>,
    /// Right attitudes by kind, as bits.
    pub right_way: Vec<u64>,
    /// Measures of the scenario's own: each holds while any of its picks does. The last one is what does not
    /// count in a net rate.
    pub measures: Vec<Vec<Pick>>,
    /// Machines with several inlets, and how many each has.
    pub inlets: Vec<(StationId, u32)>,
}

/// A station in a state.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Pick {
    /// The station.
    pub station: StationId,
    /// The state.
    pub state: State,
}

/// Counts at one station.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
pub struct Counts {
    /// Parts made here.
    pub created: u64,
    /// Parts taken into work.
    pub took: u64,
    /// Parts that left through each exit; later exits are counted with the last.
    pub exits: [u64; EXITS],
    /// Those among them that were not good in condition.
    pub defects: [u64; EXITS],
    /// Stops that began.
    pub stops: u64,
    /// Releases after a hold.
    pub restarts: u64,
    /// Strokes without a part.
    pub empty_strokes: u64,
    /// Parts that found no room and were lost.
    pub lost: u64,
    /// Parts that fell back.
    pub spilled: u64,
    /// Parts that fell off a cleat as they were picked.
    pub dropped_back: u64,
    /// Entries beyond the capacity of a bin.
    pub overfilled: u64,
    /// Containers emptied.
    pub tipped: u64,
    /// Presence checks that failed.
    pub checks_failed: u64,
    /// Strokes with a part missing.
    pub strokes_short: u64,
    /// Calls for an attendant.
    pub calls: u64,
    /// Times a sensor switched on.
    pub switched_on: u64,
}

/// Counts at a point of use.
#[derive(Clone, Debug, Default, PartialEq, Eq)]
pub struct PointTally {
    /// Good parts, the right way round.
    pub good: u64,
    /// Other parts, and what was to be made of missing ones.
    pub bad: u64,
    /// Parts by number of passes (without those that stood in the line at the start).
    pub passes: Vec<u64>,
    /// Sum of time in the line, ns.
    pub time_in_line: u128,
    /// Parts in these two.
    pub n_timed: u64,
    /// Longest spell of starvation, ns.
    pub longest_starved: Nanos,
    /// Time of the first good part, ns, if any.
    pub first_good: Option<Nanos>,
}

/// What is under way at one station.
#[derive(Clone, Copy, Debug)]
struct Account {
    /// Begin of the state.
    since: Nanos,
    /// The inlets that lack parts now, as bits, and since when.
    lacking: (Nanos, u32),
    state: State,
    /// Number among the points of use, or [`NO_POINT`].
    point: u8,
    /// A machine with several inlets.
    tells_inlets: bool,
    /// A measure of the scenario's own picks the station.
    is_picked: bool,
    /// States, as bits, after which more than their time has to be noted.
    special: u16,
}

impl Default for Account {
    fn default() -> Self {
        Account {
            since: 0,
            lacking: (0, 0),
            state: State::Starved,
            point: NO_POINT,
            tells_inlets: false,
            is_picked: false,
            special: 0,
        }
    }
}

/// Whole numbers of one replication.
#[derive(Clone, Debug, Default)]
pub struct Tally {
    accounts: Shelf<Account>,
    /// Time by state, per station, attendant and sensor, ns.
    pub time: Shelf<[Nanos; N_STATES]>,
    /// Levels by place.
    pub levels: Shelf<LevelTally>,
    /// Counts by station.
    pub counts: Shelf<Counts>,
    /// Stops by trouble.
    pub stops: Vec<u64>,
    /// Points of use.
    pub points: Vec<PointTally>,
    right_way: Vec<u64>,
    /// Starved time by inlet of machines with several: split evenly over the set of inlets that lack parts,
    /// ns; the machine's first inlet stands at `inlet_of`.
    pub missing: Vec<Nanos>,
    inlet_of: Vec<u16>,
    n_inlets: Vec<u32>,
    /// Measures of the scenario's own.
    pub own: OwnTally,
    /// Length of the window, ns.
    pub window: Nanos,
    opened: Nanos,
}

const NO_POINT: u8 = u8::MAX;
const NO_INLET: u16 = u16::MAX;

impl Tally {
    /// An empty tally.
    pub fn new(setup: &TallySetup) -> Self {
        let own = OwnTally::new(&setup.measures, setup.n_posts);
        let mut accounts = vec![Account::default(); setup.n_posts];
        for (n, point) in setup.points.iter().enumerate() {
            accounts[point.ix()].point = n as u8;
        }
        for (ix, account) in accounts.iter_mut().enumerate() {
            account.is_picked = own.concerns(StationId(ix as u16));
        }
        let mut inlet_of = vec![NO_INLET; setup.n_posts];
        let mut n_inlets = vec![0; setup.n_posts];
        let mut n_missing = 0;
        for &(machine, n) in &setup.inlets {
            accounts[machine.ix()].tells_inlets = true;
            inlet_of[machine.ix()] = n_missing;
            n_inlets[machine.ix()] = n;
            n_missing += n as u16;
        }
        for account in &mut accounts {
            account.special = if account.tells_inlets || account.is_picked {
                u16::MAX
            } else if account.point != NO_POINT {
                1 << State::Starved as u16
            } else {
                0
            };
        }
        let point = PointTally { passes: vec![0; PASSES], ..PointTally::default() };
        let levels = setup.capacities.iter().map(|capacity| LevelTally::new(*capacity));
        Tally {
            accounts: Shelf::new(accounts, Account::default),
            time: Shelf::new(vec![[0; N_STATES]; setup.n_posts], || [0; N_STATES]),
            levels: Shelf::new(levels.collect(), LevelTally::default),
            counts: Shelf::new(vec![Counts::default(); setup.n_posts], Counts::default),
            stops: vec![0; setup.n_troubles],
            points: vec![point; setup.points.len()],
            right_way: setup.right_way.clone(),
            missing: vec![0; usize::from(n_missing)],
            inlet_of,
            n_inlets,
            own,
            window: 0,
            opened: 0,
        }
    }

    /// Makes the tally as good as new, for another replication.
    pub fn restart(&mut self) {
        for account in self.accounts.iter_mut() {
            account.state = State::Starved;
            account.lacking = (0, 0);
        }
        self.own.restart();
        for levels in self.levels.iter_mut() {
            levels.restart();
        }
        self.open(0);
        self.window = 0;
    }

    /// Opens the window: what happened up to and at `now` is forgotten.
    pub fn open(&mut self, now: Nanos) {
        self.opened = now;
        self.time.fill([0; N_STATES]);
        self.counts.fill(Counts::default());
        self.stops.fill(0);
        self.missing.fill(0);
        for account in self.accounts.iter_mut() {
            account.since = now;
            account.lacking.0 = now;
        }
        self.own.open(now);
        for levels in self.levels.iter_mut() {
            levels.open(now);
        }
        for point in &mut self.points {
            point.passes.fill(0);
            (point.good, point.bad, point.n_timed) = (0, 0, 0);
            (point.time_in_line, point.longest_starved, point.first_good) = (0, 0, None);
        }
    }

    /// Closes the window at `now`: what is under way counts with its part inside.
    pub fn close(&mut self, now: Nanos) {
        self.window = now - self.opened;
        for ix in 0..self.accounts.len() {
            let state = self.accounts[ix].state;
            self.charge::<false>(now, ix, state);
            self.charge_missing(now, ix);
        }
        self.own.close(now);
        for levels in self.levels.iter_mut() {
            levels.close(now);
        }
    }

    /// Inlets of a machine in `missing`.
    pub fn missing_of(&self, machine: StationId) -> &[Nanos] {
        let first = self.inlet_of[machine.ix()];
        if first == NO_INLET {
            return &[];
        }
        &self.missing[usize::from(first)..usize::from(first) + self.n_inlets[machine.ix()] as usize]
    }

    #[inline(always)]
    fn charge<const IS_NEAR: bool>(&mut self, now: Nanos, ix: usize, state: State) {
        let account = self.accounts.at_mut(ix, IS_NEAR);
        let spent = now - account.since;
        account.since = now;
        self.time.at_mut(ix, IS_NEAR)[state as usize] += spent;
        if state == State::Starved && account.point != NO_POINT {
            let point = &mut self.points[usize::from(account.point)];
            point.longest_starved = point.longest_starved.max(spent);
        }
    }

    #[cold]
    fn charge_missing(&mut self, now: Nanos, ix: usize) {
        let account = &mut self.accounts[ix];
        let (since, lacking) = account.lacking;
        account.lacking.0 = now;
        // A machine that stands, is off or held may lack parts too, but that time is not starved time.
        if !account.tells_inlets || lacking == 0 || account.state != State::Starved {
            return;
        }
        let first = usize::from(self.inlet_of[ix]);
        let among = u64::from(lacking.count_ones());
        let (share, mut rest) = ((now - since) / among, (now - since) % among);
        for n in (0..32).filter(|n| lacking >> n & 1 == 1) {
            // The remainder goes to the first inlets, so that the split adds up exactly.
            self.missing[first + n] += share + rest.min(1);
            rest = rest.saturating_sub(1);
        }
    }

    #[inline(never)]
    fn finished(&mut self, now: Nanos, point: u8, part: &Part) {
        let right = self.right_way[usize::from(part.kind)] >> part.attitude & 1 == 1;
        let point = &mut self.points[usize::from(point)];
        if part.condition == 0 && right && !part.is_spoiled() {
            point.good += 1;
            point.first_good.get_or_insert(now);
            self.own.finished(now);
        } else {
            point.bad += 1;
        }
        if !part.is_starter() {
            let top = point.passes.len() - 1;
            point.passes[(part.passes() as usize).min(top)] += 1;
            point.time_in_line += u128::from(now - part.entered_ns());
            point.n_timed += 1;
        }
    }
}

/// What [`Observer`] hears; `IS_NEAR` as [`Observer::NEAR`].
impl Tally {
    #[inline(always)]
    pub(super) fn enter<const IS_NEAR: bool>(
        &mut self,
        now: Nanos,
        station: StationId,
        old: State,
        new: State,
    ) {
        let ix = station.ix();
        self.charge::<IS_NEAR>(now, ix, old);
        if self.accounts.at(ix, IS_NEAR).tells_inlets {
            self.charge_missing(now, ix);
        }
        let account = self.accounts.at_mut(ix, IS_NEAR);
        account.state = new;
        if account.is_picked {
            self.own.change(now, station, old, new);
        }
    }

    /// Whether the end of `old` asks for more than [`Tally::enter_plainly`].
    #[inline(always)]
    pub(super) fn is_special_end<const IS_NEAR: bool>(&self, station: StationId, old: State) -> bool {
        self.accounts.at(station.ix(), IS_NEAR).special >> old as u16 & 1 == 1
    }

    #[inline(always)]
    pub(super) fn enter_plainly<const IS_NEAR: bool>(
        &mut self,
        now: Nanos,
        station: StationId,
        old: State,
        new: State,
    ) {
        let account = self.accounts.at_mut(station.ix(), IS_NEAR);
        let spent = now - account.since;
        account.since = now;
        account.state = new;
        self.time.at_mut(station.ix(), IS_NEAR)[old as usize] += spent;
    }

    #[inline(always)]
    pub(super) fn change_level<const IS_NEAR: bool>(
        &mut self,
        now: Nanos,
        place: PlaceId,
        old: u32,
        new: u32,
    ) {
        self.levels.at_mut(place.ix(), IS_NEAR).change(now, old, new);
    }

    #[inline(always)]
    pub(super) fn let_pass<const IS_NEAR: bool>(&mut self, _now: Nanos, place: PlaceId) {
        // No time is spent at the level of one.
        self.levels.at_mut(place.ix(), IS_NEAR).n_left += 1;
    }

    #[inline(always)]
    pub(super) fn miss<const IS_NEAR: bool>(&mut self, now: Nanos, station: StationId, inlets: u32) {
        let account = self.accounts.at(station.ix(), IS_NEAR);
        if account.tells_inlets && account.lacking.1 != inlets {
            self.charge_missing(now, station.ix());
            self.accounts[station.ix()].lacking = (now, inlets);
        }
    }

    #[inline(always)]
    pub(super) fn count<const IS_NEAR: bool>(
        &mut self,
        now: Nanos,
        station: StationId,
        note: Note,
        part: Option<&Part>,
    ) {
        let counts = self.counts.at_mut(station.ix(), IS_NEAR);
        match note {
            Note::Created => counts.created += 1,
            Note::Took => counts.took += 1,
            Note::Exit(no) => {
                let exit = usize::from(no).min(EXITS - 1);
                counts.exits[exit] += 1;
                if let Some(part) = part {
                    counts.defects[exit] += u64::from(part.condition != 0);
                    let point = self.accounts.at(station.ix(), IS_NEAR).point;
                    if point != NO_POINT && no == 0 {
                        self.finished(now, point, part);
                    }
                }
            }
            Note::Left | Note::Attended | Note::SensorOff => {}
            Note::Stopped(trouble) => {
                counts.stops += 1;
                self.stops[usize::from(trouble)] += 1;
            }
            Note::Cleared(_) => {}
            Note::Restarted => counts.restarts += 1,
            Note::EmptyStroke => counts.empty_strokes += 1,
            Note::Lost => counts.lost += 1,
            Note::Spilled => counts.spilled += 1,
            Note::DroppedBack => counts.dropped_back += 1,
            Note::Overfilled => counts.overfilled += 1,
            Note::Tipped => counts.tipped += 1,
            Note::CheckFailed => counts.checks_failed += 1,
            Note::StrokeShort => counts.strokes_short += 1,
            Note::MadeNothing => {
                let point = self.accounts.at(station.ix(), IS_NEAR).point;
                if point != NO_POINT {
                    self.points[usize::from(point)].bad += 1;
                }
            }
            Note::SensorOn => counts.switched_on += 1,
            Note::Called => counts.calls += 1,
        }
    }
}

impl Observer for Tally {
    #[inline(always)]
    fn state(&mut self, now: Nanos, station: StationId, old: State, new: State) {
        self.enter::<false>(now, station, old, new);
    }

    #[inline(always)]
    fn is_special(&self, station: StationId, old: State) -> bool {
        self.is_special_end::<false>(station, old)
    }

    #[inline(always)]
    fn state_plainly(&mut self, now: Nanos, station: StationId, old: State, new: State) {
        self.enter_plainly::<false>(now, station, old, new);
    }

    #[inline(always)]
    fn level(&mut self, now: Nanos, place: PlaceId, old: u32, new: u32) {
        self.change_level::<false>(now, place, old, new);
    }

    #[inline(always)]
    fn rises(&mut self, now: Nanos, place: PlaceId, old: u32) {
        self.levels.at_mut(place.ix(), false).rise(now, old);
    }

    #[inline(always)]
    fn falls(&mut self, now: Nanos, place: PlaceId, old: u32) {
        self.levels.at_mut(place.ix(), false).fall(now, old);
    }

    #[inline(always)]
    fn passes(&mut self, now: Nanos, place: PlaceId) {
        self.let_pass::<false>(now, place);
    }

    #[inline(always)]
    fn missing(&mut self, now: Nanos, station: StationId, inlets: u32) {
        self.miss::<false>(now, station, inlets);
    }

    #[inline(always)]
    fn note(&mut self, now: Nanos, station: StationId, note: Note, part: Option<&Part>) {
        self.count::<false>(now, station, note, part);
    }
}
