//! The floor: the state that all stations share, and the moves between them.
//!
//! A station knows its own parameters and the numbers of the places it takes from and gives to; it knows no
//! other station. Everything that happens between stations goes through the floor: taking a part marks
//! those who wait for room, putting one marks those who wait for parts, and marked stations are settled
//! downstream first until nothing moves any more (the *fixed point* after each timed event).
//!
//! Invariants: parts created = parts left + parts absorbed in assemblies + parts inside; a station is in
//! exactly one state at any time.

mod giving;
mod taking;
mod waiting;

use super::calendar::{Calendar, TimerId};
use super::changes::GoodCount;
use super::control::Sensor;
use super::kinds::KindNow;
use super::luck::Stream;
use super::observer::{Intake, Note, Observer};
use super::pace::Pace;
use super::people::Pool;
use super::place::{Place, SHARED, Spread};
use super::ranks::RankSet;
use super::reach::Reach;
use super::shelf::{NEAR, Shelf};
use super::state::State;
use super::troubles::{Moment, Trouble};
use crate::part::{Nanos, Part};

/// A station's number, which is its rank: 0 is the furthest downstream. Attendants and sensors have the
/// numbers after the stations.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord, Hash)]
pub struct StationId(pub u16);

impl StationId {
    /// No station.
    pub const NONE: StationId = StationId(u16::MAX);

    /// As an index.
    #[inline]
    pub fn ix(self) -> usize {
        usize::from(self.0)
    }
}

/// A place's number.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord, Hash)]
pub struct PlaceId(pub u16);

impl PlaceId {
    /// As an index.
    #[inline]
    pub fn ix(self) -> usize {
        usize::from(self.0)
    }
}

/// Where a finished part goes.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Exit {
    /// Out of the line.
    Leave,
    /// Into a track, belt or bin; the part stays in the station while there is no room.
    Store(PlaceId),
    /// Into the station's own hand, from where the next station takes it.
    Hand(PlaceId),
}

/// Which of several inlets a station takes from.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Join {
    /// The first in the stated order that has a part ready.
    Listed,
    /// The one whose part has been ready for longest, then in file order.
    LongestWaiting,
}

/// The places a station takes from.
#[derive(Clone, Debug)]
pub struct Inlets {
    /// In file order, or in the order that the join states.
    pub(crate) places: Vec<PlaceId>,
    /// How to choose.
    pub(crate) join: Join,
    /// The usual cases, seen at a glance.
    pub(super) few: Few,
}

/// Inlets of the usual sorts.
#[derive(Clone, Copy, Debug)]
pub(super) enum Few {
    /// Only this place.
    One(PlaceId),
    /// The first before the second.
    Two(PlaceId, PlaceId),
    /// Neither of these.
    Other,
}

impl Inlets {
    /// Inlets from these places, in the order that the join is to go by.
    pub fn new(places: Vec<PlaceId>, join: Join) -> Self {
        let few = match (&places[..], join) {
            (&[only], _) => Few::One(only),
            (&[first, second], Join::Listed) => Few::Two(first, second),
            _ => Few::Other,
        };
        Inlets { places, join, few }
    }
}

/// What the inlets have to offer.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Offer {
    /// A part is at the end of this place.
    Ready(PlaceId),
    /// The next part comes to an end at this time, ns.
    Due(Nanos),
    /// Nothing is on its way.
    Nothing,
}

/// What the floor tells a station apart from its timers.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Message {
    /// The station stood still for this long, ns; its timers have been moved.
    Thawed(Nanos),
    /// The jammed part is to leave through this exit instead of the one drawn.
    Redirect(u8),
    /// An attendant has done the task with this number.
    Attended(u8),
}

pub(super) const STOPPED: u8 = 1;
pub(super) const HELD: u8 = 2;
pub(super) const OFF: u8 = 4;
pub(super) const FROZEN: u8 = 8;
pub(super) const CLOCKED: u8 = 16;
/// Takes nothing while it works.
const SHUT: u8 = 32;
/// Stopped for a changeover.
pub(super) const CHANGING: u8 = 64;

/// What is looked at for every move of a station.
#[derive(Clone, Copy, Debug)]
#[repr(align(4))]
pub(super) struct Hot {
    pub(super) state: State,
    pub(super) bars: u8,
    /// Moments of work at which a jam by part may strike, as bits.
    pub(super) moments: u8,
    /// It may stand in the list of idle takers of some place.
    idles: bool,
}

/// A station's state and what keeps it, as seen at the start of a settling.
#[derive(Clone, Copy, Debug)]
pub(crate) struct Duty {
    me: StationId,
    hot: Hot,
}

impl Duty {
    /// Whether nothing keeps the station from working on as ever, and no jam by part can strike.
    #[inline(always)]
    pub(crate) fn is_unhindered(self) -> bool {
        self.hot.bars & (HELD | OFF | STOPPED | FROZEN | CHANGING) == 0 && self.hot.moments == 0
    }

    /// As [`Floor::may_start`].
    #[inline(always)]
    pub(crate) fn may_start(self) -> bool {
        self.hot.bars & (HELD | OFF | STOPPED | FROZEN | CHANGING) == 0
    }

    /// As [`Floor::jams`].
    #[inline(always)]
    pub(crate) fn jams<O: Observer>(self, floor: &mut Floor<O>, part: &Part, moment: Moment) -> bool {
        self.hot.moments & moment.bit() != 0 && floor.jams_by_part(self.me, part, moment)
    }

    /// As [`Floor::set_state`].
    #[inline(always)]
    pub(crate) fn set_state<O: Observer>(self, floor: &mut Floor<O>, new: State) {
        if self.hot.state != new {
            floor.change_state(self.me, new);
        }
    }

    /// As [`Floor::set_idle`].
    #[inline(always)]
    pub(crate) fn set_idle<O: Observer>(self, floor: &mut Floor<O>, blocked: bool) {
        if self.hot.bars & (OFF | HELD | CHANGING) != 0 {
            return floor.set_barred(self.me, blocked);
        }
        self.set_state(floor, if blocked { State::Blocked } else { State::Starved });
    }
}

/// What the floor keeps for each station beside its state.
#[derive(Clone, Debug, Default)]
pub struct Post {
    /// The station's own timers, which stand still while it is stopped.
    pub timers: Vec<TimerId>,
    /// The timer of the phases of a stop.
    pub stop_timer: Option<TimerId>,
    /// Troubles of this station.
    pub troubles: Vec<u16>,
    /// Body of a transporter, which stands still with it.
    pub body: Option<PlaceId>,
    /// A hold freezes clock and parts instead of only keeping it from starting.
    pub freezes: bool,
    /// A break leaves the station alone (gravity tracks).
    pub no_breaks: bool,
    /// Present speed, where sensors slow it down.
    pub(super) pace: Pace,
    pub(super) current: Option<u16>,
    pub(super) queued: Vec<u16>,
    pub(super) n_holds: u16,
    /// Breaks that concern it now: breaks of several plans may overlap.
    pub(super) n_breaks: u16,
    pub(super) frozen: Vec<(TimerId, Nanos)>,
    pub(super) frozen_since: Option<Nanos>,
}

/// Most parts that may wait at a station that brings more than there is room for: far more than a line ever has, and few
/// enough to be kept.
pub const WAITING_MAX: usize = 2_000_000;

/// Everything that changes while a replication runs, apart from the stations' own insides.
#[derive(Clone, Debug)]
pub struct Floor<O> {
    /// Simulated time, ns.
    pub now: Nanos,
    /// Pending times.
    pub calendar: Calendar,
    pub(super) places: Shelf<Place>,
    pub(super) hot: Shelf<Hot>,
    pub(super) posts: Vec<Post>,
    /// Stations that have to be settled.
    pub dirty: RankSet,
    /// Stations and sensors that have to look after the fixed point.
    pub looks: RankSet,
    /// Messages to stations.
    pub messages: Vec<(StationId, Message)>,
    /// When each station moved last, ns.
    pub(super) rests_since: Shelf<Nanos>,
    /// Places from which each station takes in turn with others, and whether there are any.
    turns_of: Vec<Vec<PlaceId>>,
    has_turns: bool,
    pub(super) kinds: Vec<KindNow>,
    pub(super) troubles: Vec<Trouble>,
    pub(super) pools: Vec<Pool>,
    pub(super) sensors: Vec<Sensor>,
    pub(super) reaches: Vec<Reach>,
    /// Stations to be settled when a station has nothing to do any more, and whether there are any.
    pub(super) callers: Vec<(StationId, StationId)>,
    pub(super) goods: GoodCount,
    pub(super) created: u64,
    pub(super) left: u64,
    pub(super) absorbed: u64,
    /// The first station before which more parts wait than [`WAITING_MAX`], and since when.
    flooded: Option<(Nanos, StationId)>,
    /// Who looks on.
    pub observer: O,
}

/// The parts from which a floor is made; see [`Floor::new`].
#[derive(Clone, Debug, Default)]
pub struct Outfit {
    /// Number of timers.
    pub n_timers: usize,
    /// All places.
    pub places: Vec<Place>,
    /// One post per station, attendant and sensor, in the order of their numbers.
    pub posts: Vec<Post>,
    /// Part kinds.
    pub kinds: Vec<KindNow>,
    /// Jams and breakdowns.
    pub troubles: Vec<Trouble>,
    /// Attendants.
    pub pools: Vec<Pool>,
    /// Sensors.
    pub sensors: Vec<Sensor>,
    /// Number of reaches that stations share.
    pub n_reaches: usize,
}

impl Outfit {
    /// Whether all posts, places and timers lie near; see [`Observer::NEAR`].
    pub fn is_near(&self) -> bool {
        self.posts.len().max(self.places.len()).max(self.n_timers) <= NEAR
    }
}

impl<O: Observer> Floor<O> {
    /// An empty floor at time 0; every station is starved and will be settled first of all.
    pub fn new(outfit: Outfit, observer: O) -> Self {
        let n = outfit.posts.len();
        assert!(
            !O::NEAR || outfit.is_near(),
            "an observer of near lines is chosen only where all posts, places and timers are near"
        );
        let hot = |post: &Post| {
            let troubles = post.troubles.iter().map(|&ix| &outfit.troubles[usize::from(ix)]);
            let bits = troubles.map(|trouble| (trouble.bar(), trouble.moment()));
            let (bars, moments) = bits.fold((0, 0), |all, bits| (all.0 | bits.0, all.1 | bits.1));
            Hot { state: State::Starved, bars, moments, idles: false }
        };
        let spare = || Hot { state: State::Starved, bars: 0, moments: 0, idles: false };
        let hot = Shelf::new(outfit.posts.iter().map(hot).collect(), spare);
        let mut turns_of = vec![Vec::new(); n];
        for (ix, place) in outfit.places.iter().enumerate() {
            if place.flags & SHARED != 0 && place.more.spread != Spread::Listed {
                place.more.takers.iter().for_each(|taker| turns_of[taker.ix()].push(PlaceId(ix as u16)));
            }
        }
        Floor {
            now: 0,
            calendar: Calendar::new(outfit.n_timers),
            places: Shelf::new(outfit.places, Place::spare),
            hot,
            dirty: RankSet::new(n),
            looks: RankSet::new(n),
            messages: Vec::with_capacity(16),
            rests_since: Shelf::new(vec![0; n], || 0),
            has_turns: turns_of.iter().any(|places| !places.is_empty()),
            turns_of,
            posts: outfit.posts,
            kinds: outfit.kinds,
            troubles: outfit.troubles,
            pools: outfit.pools,
            sensors: outfit.sensors,
            reaches: vec![Reach::default(); outfit.n_reaches],
            callers: Vec::new(),
            goods: GoodCount::default(),
            created: 0,
            left: 0,
            absorbed: 0,
            flooded: None,
            observer,
        }
    }

    /// Starts all streams of the floor for a replication.
    pub fn seed(&mut self, seed: u64, replication: u64) {
        for place in self.places.iter_mut() {
            place.seed(seed, replication);
        }
        self.stock_bins();
        for pool in &mut self.pools {
            pool.seed(seed, replication);
        }
        for trouble in &mut self.troubles {
            trouble.seed(seed, replication);
        }
    }

    /// Whether one of the station's own timers is pending.
    pub fn has_pending_timer(&self, me: StationId) -> bool {
        self.posts[me.ix()].timers.iter().any(|timer| self.calendar.at(*timer).is_some())
    }

    // ---- states -------------------------------------------------------------------------------------

    /// State of a station.
    #[inline]
    pub fn state(&self, me: StationId) -> State {
        self.hot.at(me.ix(), O::NEAR).state
    }

    /// When a station last ended work or a stop, or, if it works in no time, began to wait for room, ns; 0 if never.
    pub fn rests_since(&self, me: StationId) -> Nanos {
        *self.rests_since.at(me.ix(), O::NEAR)
    }

    #[inline(always)]
    pub(super) fn note_rest(&mut self, me: StationId, old: State, new: State) {
        const MOVES: u16 = 1 << State::Working as u16
            | 1 << State::Checking as u16
            | 1 << State::Loading as u16
            | 1 << State::JamAutomatic as u16
            | 1 << State::JamClearing as u16
            | 1 << State::DownRepair as u16;
        let has_moved = MOVES >> old as u16 & 1 == 1 || (old == State::Starved && new == State::Blocked);
        let since = self.rests_since.at_mut(me.ix(), O::NEAR);
        *since = if has_moved { self.now } else { *since };
    }

    /// What matters for the moves of a station, looked up once for a settling. It holds until the station
    /// changes its own state or a jam strikes it.
    #[inline(always)]
    pub(crate) fn duty(&self, me: StationId) -> Duty {
        Duty { me, hot: *self.hot.at(me.ix(), O::NEAR) }
    }

    /// Whether station `me`, whose timer has just run out, is the next to be settled; if not, it is marked.
    /// `struck` if a jam has just struck it (before that it can't have stood still, or its timer would have).
    #[inline(always)]
    pub(crate) fn settles_at_once(&mut self, me: StationId, struck: bool) -> bool {
        let at_once = !struck && self.dirty.is_empty_in(O::NEAR) && self.messages.is_empty();
        debug_assert!(!at_once || !self.stands(me), "the timers of a station that stands do not run");
        if !at_once {
            self.dirty.insert_in(me.0, O::NEAR);
        }
        at_once
    }

    /// Whether nobody has to be settled or told anything.
    #[inline(always)]
    pub(crate) fn is_settled(&self) -> bool {
        self.dirty.is_empty_in(O::NEAR) && self.messages.is_empty()
    }

    /// Changes the state of a station.
    #[inline(always)]
    pub fn set_state(&mut self, me: StationId, new: State) {
        if self.hot.at(me.ix(), O::NEAR).state != new {
            self.change_state(me, new);
        }
    }

    /// The usual change, with nothing that has to be told or moved beside: it calls nobody, and so keeps no registers.
    #[inline(never)]
    fn change_state(&mut self, me: StationId, new: State) {
        let hot = self.hot.at_mut(me.ix(), O::NEAR);
        let old = hot.state;
        let turns = self.has_turns && matches!(new, State::Blocked | State::Checking);
        let calls = new == State::Starved && !self.callers.is_empty();
        if hot.bars & CLOCKED != 0 || turns || calls || self.observer.is_special(me, old) {
            return self.change_state_fully(me, new);
        }
        hot.state = new;
        self.note_rest(me, old, new);
        self.observer.state_plainly(self.now, me, old, new);
    }

    #[inline(never)]
    fn change_state_fully(&mut self, me: StationId, new: State) {
        self.enter_state(me, new);
        if self.has_turns && matches!(new, State::Blocked | State::Checking) {
            self.be_idle_no_more(me);
        }
        if new == State::Starved {
            for (_, caller) in self.callers.iter().filter(|(station, _)| *station == me) {
                self.dirty.insert(caller.0);
            }
        }
    }

    /// Has `caller` settled whenever `station` has nothing to do any more.
    pub fn add_caller(&mut self, station: StationId, caller: StationId) {
        self.callers.push((station, caller));
    }

    #[inline(never)]
    fn enter_state(&mut self, me: StationId, new: State) {
        let hot = self.hot.at_mut(me.ix(), O::NEAR);
        let old = hot.state;
        hot.state = new;
        let clocked = hot.bars & CLOCKED != 0;
        self.note_rest(me, old, new);
        self.observer.state(self.now, me, old, new);
        if clocked {
            self.move_clocks(me, new);
        }
    }

    /// Whether the station may start new work: neither held nor off.
    #[inline]
    pub fn may_start(&self, me: StationId) -> bool {
        self.hot.at(me.ix(), O::NEAR).bars & (HELD | OFF | STOPPED | FROZEN | CHANGING) == 0
    }

    /// Present speed of a station that sensors can slow down.
    #[inline]
    pub fn pace(&self, me: StationId) -> Pace {
        self.posts[me.ix()].pace
    }

    /// Whether the station stands still (jammed, broken down, frozen): it must not be settled.
    #[inline]
    pub fn stands(&self, me: StationId) -> bool {
        self.hot.at(me.ix(), O::NEAR).bars & (STOPPED | FROZEN) != 0
    }

    /// Whether the station has a break, also if its state shows something else.
    pub fn is_off(&self, me: StationId) -> bool {
        self.hot.at(me.ix(), O::NEAR).bars & OFF != 0
    }

    /// Sets the state of a station that has nothing in work, by precedence: changeover, off, blocked, held, starved.
    #[inline(always)]
    pub fn set_idle(&mut self, me: StationId, blocked: bool) {
        if self.hot.at(me.ix(), O::NEAR).bars & (OFF | HELD | CHANGING) != 0 {
            return self.set_barred(me, blocked);
        }
        self.set_state(me, if blocked { State::Blocked } else { State::Starved });
    }

    #[inline(never)]
    fn set_barred(&mut self, me: StationId, blocked: bool) {
        let bars = self.hot.at(me.ix(), O::NEAR).bars;
        let state = if bars & CHANGING != 0 {
            State::Changeover
        } else if bars & OFF != 0 {
            State::Off
        } else if blocked {
            State::Blocked
        } else if bars & HELD != 0 {
            State::Held
        } else {
            State::Starved
        };
        self.set_state(me, state);
    }

    /// Tells the observer.
    #[inline(always)]
    pub fn note(&mut self, me: StationId, note: Note, part: Option<&Part>) {
        self.observer.note(self.now, me, note, part);
    }

    /// Schedules one of the station's timers, `after` (ns) from now.
    #[inline]
    pub fn set_timer(&mut self, timer: TimerId, after: Nanos) {
        self.calendar.set(timer, self.now.saturating_add(after));
    }

    // ---- parts --------------------------------------------------------------------------------------

    /// Makes a part of `kind` with the luck of its source: condition, dimensions, first attitude.
    #[inline]
    pub fn create(&mut self, me: StationId, kind: u8, luck: &mut Stream) -> Part {
        let mut part = Part::default();
        self.create_into(me, kind, luck, &mut part);
        part
    }

    /// The same, straight to where the part is kept.
    #[inline(always)]
    pub(crate) fn create_into(&mut self, me: StationId, kind: u8, luck: &mut Stream, part: &mut Part) {
        *part = self.kinds[usize::from(kind)].make(kind, self.now, luck);
        self.tell_make(part);
        self.created += 1;
        self.note(me, Note::Created, Some(part));
    }

    /// The current make-up of a kind.
    #[inline]
    pub fn kind(&self, kind: u8) -> &KindNow {
        &self.kinds[usize::from(kind)]
    }

    /// The current make-up of a kind, to be changed when a lot differs.
    pub fn kind_mut(&mut self, kind: u8) -> &mut KindNow {
        &mut self.kinds[usize::from(kind)]
    }

    /// Gives a part an attitude from the natural chances of its kind.
    #[inline]
    pub fn remix(&mut self, part: &mut Part, luck: &mut Stream) {
        part.turn_to(self.kinds[usize::from(part.kind)].attitude(luck));
        self.tell_attitude(part);
    }

    /// Counts `n` parts that have been put into an assembly and no longer stand for themselves.
    #[inline]
    pub fn absorb(&mut self, n: u64) {
        self.absorbed += n;
    }

    /// Station `me` finds more parts waiting at it than [`WAITING_MAX`]: it brings no more of them, and the replication ends.
    #[cold]
    pub fn flood(&mut self, me: StationId) {
        self.flooded.get_or_insert((self.now, me));
    }

    /// The first station that [`Floor::flood`] was told of, and when.
    pub fn flooded(&self) -> Option<(Nanos, StationId)> {
        self.flooded
    }

    /// Parts created, left and absorbed so far.
    pub fn flow(&self) -> (u64, u64, u64) {
        (self.created, self.left, self.absorbed)
    }

    /// Puts `n` equal parts into a FIFO at the start, past its transit; they count as input.
    pub fn fill(&mut self, place: PlaceId, n: u32, part: Part) {
        let p = self.places.at_mut(place.ix(), O::NEAR);
        let old = p.len;
        for _ in 0..n {
            p.push_settled(part);
        }
        self.created += u64::from(n);
        self.observer.level(self.now, place, old, old + n);
    }

    /// Counts parts that stand in the line at the start as input.
    pub fn count_starters(&mut self, n: u64) {
        self.created += n;
    }

    // ---- places -------------------------------------------------------------------------------------

    /// A place.
    #[inline]
    pub fn place(&self, place: PlaceId) -> &Place {
        self.places.at(place.ix(), O::NEAR)
    }

    /// A place, for setting it up.
    pub fn place_mut(&mut self, place: PlaceId) -> &mut Place {
        self.places.at_mut(place.ix(), O::NEAR)
    }

    /// Number of places.
    pub fn n_places(&self) -> usize {
        self.places.len()
    }

    /// Number of stations, attendants and sensors.
    pub fn n_posts(&self) -> usize {
        self.posts.len()
    }

    /// Tells the observer which inlets of a machine lack parts, as bits.
    #[inline]
    pub fn missing(&mut self, me: StationId, inlets: u32) {
        self.observer.missing(self.now, me, inlets);
    }

    /// Tells the observer whether a station that carries several parts takes one.
    #[inline]
    pub fn intake(&mut self, me: StationId, intake: Intake) {
        self.observer.intake(self.now, me, intake);
    }

    /// Tells the observer that a stopped station goes on with what is within `ahead` of its end, ns at full speed.
    #[inline]
    pub fn goes_on_ahead(&mut self, me: StationId, ahead: Nanos) {
        self.observer.goes_on_ahead(self.now, me, ahead);
    }

    /// What keeps the station from starting new work, for its intake.
    pub fn barred(&self, me: StationId) -> Intake {
        Intake::Barred(if self.hot[me.ix()].bars & OFF != 0 { State::Off } else { State::Held })
    }

    /// Counts `n` parts that a source brings into the line in bulk.
    pub fn count_created(&mut self, n: u64) {
        self.created += n;
    }

    /// Counts a part that was lost outside of the line.
    pub fn count_lost(&mut self, me: StationId, part: &Part) {
        self.left += 1;
        self.note(me, Note::Lost, Some(part));
    }
}
