//! The floor: the state that all stations share, and the moves between them.
//!
//! A station knows its own parameters and the numbers of the places it takes from and gives to; it knows no
//! other station. Everything that happens between stations goes through the floor: taking a part marks
//! those who wait for room, putting one marks those who wait for parts, and marked stations are settled
//! downstream first until nothing moves any more (the *fixed point* after each timed event).
//!
//! Invariants: parts created = parts left + parts absorbed in assemblies + parts inside; a station is in
//! exactly one state at any time.

use super::calendar::{Calendar, TimerId};
use super::changes::GoodCount;
use super::control::Sensor;
use super::kinds::KindNow;
use super::luck::Stream;
use super::observer::{Intake, Note, Observer};
use super::pace::Pace;
use super::people::Pool;
use super::place::{
    AWAITED, BIN, BinClass, CARRIED, COUNTED, HAND, Place, SHARED, SPACED, SPECIAL_OFFER, SPECIAL_PUT,
    SPECIAL_TAKE, STOPPING, Spread, THROUGH, TURNS, WATCHED,
};
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
    pub places: Vec<PlaceId>,
    /// How to choose.
    pub join: Join,
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
    /// Stations that began to wait since the last fixed point: blocked, held, or starved while others are one of these.
    pub newly_blocked: Vec<StationId>,
    /// Stations that are blocked or held.
    pub(super) n_blocked: u32,
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
            newly_blocked: Vec::with_capacity(16),
            n_blocked: 0,
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

    /// When the first of the station's own timers runs out, ns.
    pub fn next_timer(&self, me: StationId) -> Option<Nanos> {
        self.posts[me.ix()].timers.iter().filter_map(|timer| self.calendar.at(*timer)).min()
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
        let room = self.newly_blocked.len() < self.newly_blocked.capacity();
        if hot.bars & CLOCKED != 0 || turns || calls || !room || self.observer.is_special(me, old) {
            return self.change_state_fully(me, new);
        }
        hot.state = new;
        self.observer.state_plainly(self.now, me, old, new);
        if matches!(old, State::Blocked | State::Held) {
            self.n_blocked -= 1;
        }
        if new == State::Working {
            return;
        }
        self.n_blocked += u32::from(matches!(new, State::Blocked | State::Held));
        if matches!(new, State::Blocked | State::Held) || (new == State::Starved && self.n_blocked > 0) {
            self.newly_blocked.push(me);
        }
    }

    #[inline(never)]
    fn change_state_fully(&mut self, me: StationId, new: State) {
        self.enter_state(me, new);
        // Who starves can complete a knot only where somebody is blocked or held.
        let waits =
            matches!(new, State::Blocked | State::Held) || (new == State::Starved && self.n_blocked > 0);
        if waits {
            self.newly_blocked.push(me);
        }
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
        self.n_blocked += u32::from(matches!(new, State::Blocked | State::Held));
        self.n_blocked -= u32::from(matches!(old, State::Blocked | State::Held));
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
    pub fn remix(&self, part: &mut Part, luck: &mut Stream) {
        part.turn_to(self.kinds[usize::from(part.kind)].attitude(luck));
    }

    /// Counts `n` parts that have been put into an assembly and no longer stand for themselves.
    #[inline]
    pub fn absorb(&mut self, n: u64) {
        self.absorbed += n;
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

    /// What the inlets have to offer to station `me` now.
    #[inline(always)]
    pub fn offer(&mut self, me: StationId, inlets: &Inlets) -> Offer {
        let (due, place) = self.next_part(me, inlets);
        if due <= self.now {
            Offer::Ready(place)
        } else if due == Nanos::MAX {
            Offer::Nothing
        } else {
            Offer::Due(due)
        }
    }

    /// An offer in two plain numbers: when the next part comes to an end, or has come, and where.
    /// `Nanos::MAX` is never.
    #[inline(always)]
    pub(crate) fn next_part(&mut self, me: StationId, inlets: &Inlets) -> (Nanos, PlaceId) {
        match (&inlets.places[..], inlets.join) {
            (&[place], _) => (self.next_at(me, place), place),
            (&[first, second], Join::Listed) => {
                let due = self.next_at(me, first);
                if due <= self.now {
                    return (due, first);
                }
                (due.min(self.next_at(me, second)), second)
            }
            _ => self.next_of_several(me, inlets),
        }
    }

    #[inline(always)]
    fn next_at(&mut self, me: StationId, place: PlaceId) -> Nanos {
        let p = self.places.at(place.ix(), O::NEAR);
        if p.flags & SPECIAL_OFFER == 0 { p.plain_due() } else { self.next_at_special(me, place) }
    }

    #[inline(never)]
    fn next_at_special(&mut self, me: StationId, place: PlaceId) -> Nanos {
        let offer = match self.places.at(place.ix(), O::NEAR).head_due() {
            None => self.nothing_at(me, place),
            Some(due) if due > self.now => Offer::Due(due),
            Some(_) => self.ready_at(me, place),
        };
        match offer {
            Offer::Ready(_) => 0,
            Offer::Due(due) => due,
            Offer::Nothing => Nanos::MAX,
        }
    }

    /// Who has taken a part, is blocked or waits for a check is not idle where it takes in turn with others: they
    /// must not wait for it.
    #[inline(always)]
    fn be_idle_no_more(&mut self, me: StationId) {
        if self.hot.at(me.ix(), O::NEAR).idles {
            self.leave_idle_lists(me);
        }
    }

    #[inline(never)]
    fn leave_idle_lists(&mut self, me: StationId) {
        self.hot.at_mut(me.ix(), O::NEAR).idles = false;
        for n in 0..self.turns_of[me.ix()].len() {
            let p = &mut self.places[self.turns_of[me.ix()][n].ix()];
            if !p.more.idle.contains(&me) {
                continue;
            }
            p.more.idle.retain(|idle| *idle != me);
            if p.len > 0 {
                for taker in p.more.takers.iter().filter(|taker| **taker != me) {
                    self.dirty.insert_in(taker.0, O::NEAR);
                }
            }
        }
    }

    #[inline(never)]
    fn next_of_several(&mut self, me: StationId, inlets: &Inlets) -> (Nanos, PlaceId) {
        if inlets.join == Join::LongestWaiting {
            return self.oldest_of_several(me, &inlets.places);
        }
        let mut next = Nanos::MAX;
        for &place in &inlets.places {
            let due = self.next_at(me, place);
            if due <= self.now {
                return (due, place);
            }
            next = next.min(due);
        }
        (next, PlaceId(0))
    }

    #[inline(never)]
    fn oldest_of_several(&mut self, me: StationId, places: &[PlaceId]) -> (Nanos, PlaceId) {
        match self.oldest_offer(me, places) {
            Offer::Ready(place) => (0, place),
            Offer::Due(due) => (due, PlaceId(0)),
            Offer::Nothing => (Nanos::MAX, PlaceId(0)),
        }
    }

    fn oldest_offer(&mut self, me: StationId, places: &[PlaceId]) -> Offer {
        let mut best: Option<(Nanos, PlaceId)> = None;
        let mut next: Option<Nanos> = None;
        for &place in places {
            match self.places.at(place.ix(), O::NEAR).head_due() {
                None => {
                    self.nothing_at(me, place);
                }
                Some(due) if due > self.now => next = Some(next.map_or(due, |n| n.min(due))),
                Some(due) => {
                    if self.ready_at(me, place) == Offer::Nothing {
                        continue;
                    }
                    let longer = best.is_none_or(|(since, _)| due < since);
                    if longer {
                        best = Some((due, place));
                    }
                }
            }
        }
        match (best, next) {
            (Some((_, place)), _) => Offer::Ready(place),
            (None, Some(due)) => Offer::Due(due),
            (None, None) => Offer::Nothing,
        }
    }

    #[inline]
    fn nothing_at(&mut self, me: StationId, place: PlaceId) -> Offer {
        if self.places.at(place.ix(), O::NEAR).flags & SHARED != 0 {
            self.register_idle(me, place);
        }
        Offer::Nothing
    }

    #[inline]
    fn ready_at(&mut self, me: StationId, place: PlaceId) -> Offer {
        if self.places.at(place.ix(), O::NEAR).flags & SHARED != 0 && !self.is_my_turn(me, place) {
            return Offer::Nothing;
        }
        Offer::Ready(place)
    }

    #[cold]
    fn register_idle(&mut self, me: StationId, place: PlaceId) {
        let more = &mut self.places.at_mut(place.ix(), O::NEAR).more;
        if more.spread != Spread::Listed && !more.idle.contains(&me) {
            more.idle.push(me);
            self.hot.at_mut(me.ix(), O::NEAR).idles = true;
        }
    }

    /// Whether `me` is the idle taker that the place's spread prefers; if not, the preferred one is marked.
    fn is_my_turn(&mut self, me: StationId, place: PlaceId) -> bool {
        self.register_idle(me, place);
        let more = &self.places.at(place.ix(), O::NEAR).more;
        let able = |&&taker: &&StationId| {
            // Who has found a part elsewhere is idle no more, whatever this place's list says.
            taker == me || (self.may_start(taker) && self.state(taker) == State::Starved)
        };
        let preferred = match more.spread {
            Spread::Listed => return true,
            Spread::LongestIdle => more.idle.iter().find(able).copied(),
            Spread::InTurn => {
                let n = more.takers.len();
                let last = more.last_taker.and_then(|last| more.takers.iter().position(|t| *t == last));
                let from = last.map_or(0, |last| last + 1);
                let turn = (0..n).map(|k| &more.takers[(from + k) % n]);
                turn.filter(|taker| more.idle.contains(taker)).find(able).copied()
            }
        };
        match preferred {
            Some(other) if other != me => {
                // Once is enough: if it does not take the part (it wants more of them), marking it again would go
                // round without end where it in turn marks this one.
                let p = self.places.at_mut(place.ix(), O::NEAR);
                let mark = Some((self.now, other, p.len));
                if p.more.marked != mark {
                    p.more.marked = mark;
                    self.dirty.insert_in(other.0, O::NEAR);
                }
                false
            }
            Some(_) | None => true,
        }
    }

    /// Takes the part at the end of `place` into station `me`; marks those who wait for room there.
    #[inline(always)]
    pub fn take(&mut self, me: StationId, place: PlaceId) -> Part {
        let mut part = Part::default();
        self.take_into(me, place, &mut part);
        part
    }

    /// The same, straight to where the part is kept: a part that is copied on and on costs more than all
    /// else of a move.
    #[inline(always)]
    pub(crate) fn take_into(&mut self, me: StationId, place: PlaceId, part: &mut Part) {
        let p = self.places.at_mut(place.ix(), O::NEAR);
        if p.flags & SPECIAL_TAKE != 0 {
            *part = self.take_special(me, place);
            return;
        }
        let old = p.len;
        p.pop_plain(part);
        let follows = p.flags & CARRIED != 0 && p.is_at_edge(old);
        if p.flags & HAND != 0 {
            self.dirty.insert_in(p.carrier.0, O::NEAR);
        }
        self.observer.falls(self.now, place, old);
        if follows {
            self.follow_content(place);
        }
        if self.has_turns {
            self.be_idle_no_more(me);
        }
        self.note(me, Note::Took, Some(part));
    }

    #[inline(never)]
    fn take_special(&mut self, me: StationId, place: PlaceId) -> Part {
        let p = self.places.at_mut(place.ix(), O::NEAR);
        let part = if p.flags & BIN == 0 {
            self.observer.level(self.now, place, p.len, p.len - 1);
            if let Some(since) = p.stands_at() {
                self.observer.stood(self.now, place, since);
            }
            p.pop(self.now)
        } else {
            self.pick_from_bin(me, place)
        };
        self.after_take(me, place);
        self.note(me, Note::Took, Some(&part));
        part
    }

    fn pick_from_bin(&mut self, me: StationId, place: PlaceId) -> Part {
        let p = self.places.at_mut(place.ix(), O::NEAR);
        let old = p.len;
        let Some(bin) = p.more.bin.as_mut() else { panic!("a place flagged as a bin has a bin") };
        if let Some(kind) = bin.endless {
            let part = self.kinds[usize::from(kind)].make(kind, self.now, &mut bin.luck);
            self.created += 1;
            self.note(me, Note::Created, Some(&part));
            return part;
        }
        let class = bin.draw(old);
        let part = self.kinds[usize::from(class.kind)].make_of(class, self.now, &mut bin.luck);
        p.len -= 1;
        self.observer.level(self.now, place, old, old - 1);
        part
    }

    pub(super) fn after_take(&mut self, me: StationId, place: PlaceId) {
        let p = self.places.at_mut(place.ix(), O::NEAR);
        if p.flags & HAND != 0 {
            self.dirty.insert_in(p.carrier.0, O::NEAR);
        }
        if p.flags & SHARED != 0 {
            p.more.last_taker = Some(me);
            if p.len > 0 {
                for taker in &p.more.takers {
                    if *taker != me {
                        self.dirty.insert_in(taker.0, O::NEAR);
                    }
                }
            }
        }
        if p.flags & AWAITED != 0 {
            self.grant(place);
        }
        if self.has_turns {
            self.be_idle_no_more(me);
        }
        self.mark_watchers(place);
        self.follow_content(place);
        self.wake_stopping(place);
    }

    /// A stopping belt times the arrival of its head, which has just changed.
    #[inline]
    fn wake_stopping(&mut self, place: PlaceId) {
        let p = self.places.at(place.ix(), O::NEAR);
        if p.flags & STOPPING != 0 && p.carrier != StationId::NONE {
            self.dirty.insert_in(p.carrier.0, O::NEAR);
        }
    }

    /// Marks those who look at the content of `place` after the fixed point.
    #[inline]
    pub(super) fn mark_watchers(&mut self, place: PlaceId) {
        let p = self.places.at(place.ix(), O::NEAR);
        if p.flags & WATCHED != 0 {
            for &watcher in &p.more.watchers {
                self.looks.insert(watcher);
            }
        }
    }

    /// The state of a transporter follows its content: empty, full, or moving with parts aboard.
    #[inline(never)]
    fn follow_content(&mut self, place: PlaceId) {
        let p = self.places.at(place.ix(), O::NEAR);
        let carrier = p.carrier;
        if p.flags & CARRIED == 0 {
            return;
        }
        let hot = *self.hot.at(carrier.ix(), O::NEAR);
        if hot.bars & (STOPPED | FROZEN) != 0 {
            return;
        }
        // A stopping belt stands as soon as its head is at the end, and moves as long as it is not, even if full.
        let blocked = if p.flags & STOPPING == 0 {
            p.len >= p.capacity
        } else {
            p.stands_at().is_some_and(|at| at <= self.now)
        };
        let state = if p.len == 0 {
            State::Starved
        } else if blocked {
            State::Blocked
        } else {
            State::Working
        };
        // A full track waits for nobody by itself, so it is no new blocking for the search of knots.
        if hot.bars & (OFF | CHANGING) != 0 && p.len == 0 {
            return self.set_barred(carrier, false);
        }
        if hot.state != state {
            self.enter_carrier_state(carrier, hot, state);
        }
    }

    /// The same as [`Floor::enter_state`], in one piece where nothing else hangs on it.
    #[inline(always)]
    fn enter_carrier_state(&mut self, carrier: StationId, hot: Hot, new: State) {
        if hot.bars & CLOCKED != 0 || self.observer.is_special(carrier, hot.state) {
            return self.enter_state(carrier, new);
        }
        self.hot.at_mut(carrier.ix(), O::NEAR).state = new;
        self.n_blocked += u32::from(matches!(new, State::Blocked | State::Held));
        self.n_blocked -= u32::from(matches!(hot.state, State::Blocked | State::Held));
        self.observer.state_plainly(self.now, carrier, hot.state, new);
    }

    /// Re-evaluates the state of a transporter, for its own settling.
    pub fn settle_carrier(&mut self, place: PlaceId) {
        self.follow_content(place);
    }

    /// Offers the room in `place` to the station whose turn it is.
    pub(super) fn grant(&mut self, place: PlaceId) {
        let now = self.now;
        let p = self.places.at(place.ix(), O::NEAR);
        if p.more.granted.is_some() || p.len >= p.capacity {
            return;
        }
        let Some(next) = self.first_waiting(place) else { return };
        let p = &mut self.places[place.ix()];
        if p.flags & SPACED != 0 && p.entry_clear_in(now) != Some(0) {
            // The belt itself wakes the waiting ones when its entry is clear.
            if p.carrier != StationId::NONE {
                self.dirty.insert_in(p.carrier.0, O::NEAR);
            }
            return;
        }
        p.more.granted = Some(next);
        self.dirty.insert_in(next.0, O::NEAR);
    }

    /// Who is the first to get room in `place`: of those that wait and are able to take it, by the priority of the
    /// join, then the longest waiting.
    pub(crate) fn first_waiting(&self, place: PlaceId) -> Option<StationId> {
        let p = &self.places[place.ix()];
        let able = |s: &&StationId| self.hot[s.ix()].bars & (STOPPED | FROZEN) == 0 && p.is_turn_of(**s);
        let first = p.more.priority.iter().filter(|s| p.more.waiting.contains(s)).find(able);
        first.or_else(|| p.more.waiting.iter().find(able)).copied()
    }

    /// Gives room that was granted to a station that now stands to the next one that waits.
    #[cold]
    pub(super) fn pass_grants(&mut self, me: StationId) {
        for ix in 0..self.places.len() {
            if self.places[ix].more.granted == Some(me) {
                self.places[ix].more.granted = None;
                self.grant(PlaceId(ix as u16));
            }
        }
    }

    /// For a spaced belt: time until the entry is clear for a waiting station, if one waits.
    pub fn wake_entry(&mut self, place: PlaceId) -> Option<Nanos> {
        let p = self.places.at(place.ix(), O::NEAR);
        if p.more.waiting.is_empty() || p.more.granted.is_some() || p.len >= p.capacity {
            return None;
        }
        match p.entry_clear_in(self.now) {
            Some(0) => {
                self.grant(place);
                None
            }
            later => later,
        }
    }

    /// Whether `me` may put a part into the store `place` now: there is room, and nobody else's turn.
    #[inline(always)]
    pub fn has_room(&self, me: StationId, place: PlaceId) -> bool {
        let p = self.places.at(place.ix(), O::NEAR);
        if p.flags & (BIN | SPACED | AWAITED | TURNS) == 0 {
            p.len < p.capacity
        } else {
            self.may_enter(me, place)
        }
    }

    #[inline(never)]
    fn may_enter(&self, me: StationId, place: PlaceId) -> bool {
        let p = self.places.at(place.ix(), O::NEAR);
        if p.flags & BIN != 0 {
            return true;
        }
        if !p.has_room(self.now) || !p.is_turn_of(me) {
            return false;
        }
        if p.flags & AWAITED == 0 {
            return true;
        }
        // Whenever there is room and an able station waits, the room has been granted to it.
        match p.more.granted {
            Some(granted) => granted == me,
            None if p.flags & SPACED != 0 => p.more.waiting.first() == Some(&me),
            // Unless the first of them wants more of it than there is: nobody passes it.
            None => self.first_waiting(place).is_none_or(|first| first == me),
        }
    }

    /// Whether a part could be handed to `exit` at once: a store with room, or an empty hand.
    #[inline]
    pub fn is_open(&self, me: StationId, exit: Exit) -> bool {
        match exit {
            Exit::Leave => true,
            Exit::Store(place) => self.has_room(me, place),
            Exit::Hand(place) => self.places.at(place.ix(), O::NEAR).len == 0,
        }
    }

    /// Whether nothing that the station has finished still stands in its hand.
    #[inline]
    pub fn is_clear(&self, exit: Exit) -> bool {
        match exit {
            Exit::Leave | Exit::Store(_) => true,
            Exit::Hand(place) => self.places.at(place.ix(), O::NEAR).len == 0,
        }
    }

    /// Hands a finished part on through exit number `no`. Returns false, and lists the station as waiting,
    /// if there is no room.
    #[inline(always)]
    pub fn hand_over(&mut self, me: StationId, no: u8, exit: Exit, part: &Part) -> bool {
        let (Exit::Hand(place) | Exit::Store(place)) = exit else {
            self.note(me, Note::Exit(no), Some(part));
            if self.goods.is_used() {
                self.count_good(me, no, part);
            }
            self.left += 1;
            self.note(me, Note::Left, Some(part));
            return true;
        };
        let p = self.places.at(place.ix(), O::NEAR);
        if p.flags & (SPECIAL_PUT | AWAITED) != 0 || p.len >= p.capacity {
            return self.hand_over_special(me, no, exit, part);
        }
        self.observer.note(self.now, me, Note::Exit(no), Some(part));
        self.put_plain(place, part);
        true
    }

    /// Lets a part that station `me` has finished pass through its hand `place` and the divider behind it in
    /// one go, if the divider takes from nowhere else and gives to the first exit with room. True if it has
    /// passed. It saves settling the divider and then the station once more.
    ///
    /// Whoever uses it has to let those be settled first who come before it and are marked now.
    #[inline(always)]
    pub(crate) fn pass_divider(&mut self, me: StationId, place: PlaceId, part: &Part) -> bool {
        self.places.at(place.ix(), O::NEAR).flags & THROUGH != 0 && self.pass_this_divider(me, place, part)
    }

    #[inline(never)]
    fn pass_this_divider(&mut self, me: StationId, place: PlaceId, part: &Part) -> bool {
        let p = self.places.at(place.ix(), O::NEAR);
        let divider = p.taker;
        if p.len > 0 || !self.may_start(divider) || self.hot[divider.ix()].moments != 0 {
            return false;
        }
        for n in 0..p.more.through.len() {
            let (no, exit) = self.places.at(place.ix(), O::NEAR).more.through[n];
            match exit {
                Exit::Store(store) if self.is_plainly_open(store) => {
                    self.note_passage(me, place, divider, part);
                    self.put_plainly(divider, no, store, part);
                    return true;
                }
                Exit::Leave | Exit::Store(_) | Exit::Hand(_) if self.is_open(divider, exit) => {
                    self.note_passage(me, place, divider, part);
                    let handed = self.hand_over(divider, no, exit, part);
                    assert!(handed, "a divider hands on only into an exit with room");
                    return true;
                }
                Exit::Leave | Exit::Store(_) | Exit::Hand(_) => {}
            }
        }
        false
    }

    #[inline(always)]
    fn note_passage(&mut self, me: StationId, place: PlaceId, divider: StationId, part: &Part) {
        self.note(me, Note::Exit(0), Some(part));
        self.observer.passes(self.now, place);
        self.note(divider, Note::Took, Some(part));
    }

    /// States that a station takes nothing while its state is working: it isn't told of parts then.
    pub(crate) fn set_shut_at_work(&mut self, me: StationId) {
        self.hot.at_mut(me.ix(), O::NEAR).bars |= SHUT;
    }

    /// Names the exits of the divider that takes from the hand `place`, for [`Floor::pass_divider`].
    pub(crate) fn set_through(&mut self, place: PlaceId, exits: &[Exit]) {
        let p = self.places.at_mut(place.ix(), O::NEAR);
        if p.flags & (HAND | SHARED | WATCHED | COUNTED) == HAND {
            p.flags |= THROUGH;
            p.more.through = (0..).zip(exits.iter().copied()).collect();
        }
    }

    #[inline(never)]
    fn hand_over_special(&mut self, me: StationId, no: u8, exit: Exit, part: &Part) -> bool {
        match exit {
            Exit::Leave => panic!("who leaves the line needs no room"),
            Exit::Hand(place) => {
                self.note(me, Note::Exit(no), Some(part));
                self.count_good(me, no, part);
                self.put(place, *part);
                true
            }
            Exit::Store(place) => {
                if !self.has_room(me, place) {
                    self.wait_for_room(me, place);
                    return false;
                }
                self.note(me, Note::Exit(no), Some(part));
                self.count_good(me, no, part);
                self.put(place, *part);
                self.places.at_mut(place.ix(), O::NEAR).pass_turn(me);
                if self.places.at(place.ix(), O::NEAR).flags & AWAITED != 0 {
                    self.stop_waiting(me, place);
                }
                true
            }
        }
    }

    /// Lists `me` as waiting for room in `place`.
    #[cold]
    pub fn wait_for_room(&mut self, me: StationId, place: PlaceId) {
        let p = self.places.at_mut(place.ix(), O::NEAR);
        p.flags |= AWAITED;
        // Who was offered the room and wants more of it is not offered the same again at once.
        let declined = p.more.granted == Some(me);
        if declined {
            p.more.granted = None;
        }
        if !p.more.waiting.contains(&me) {
            p.more.waiting.push(me);
        }
        if declined || p.len >= p.capacity {
            return;
        }
        let (spaced, carrier, is_free) = (p.flags & SPACED != 0, p.carrier, p.more.granted.is_none());
        if spaced && carrier != StationId::NONE {
            self.dirty.insert_in(carrier.0, O::NEAR);
        } else if is_free && self.first_waiting(place) != Some(me) {
            // The one before may not know of the room: it could not take it when it appeared.
            self.grant(place);
        }
    }

    /// Takes `me` off the list of those who wait for room in `place`, and offers the room to the next.
    #[cold]
    pub fn stop_waiting(&mut self, me: StationId, place: PlaceId) {
        let p = self.places.at_mut(place.ix(), O::NEAR);
        if p.more.granted == Some(me) {
            p.more.granted = None;
        }
        p.more.waiting.retain(|waiting| *waiting != me);
        if p.more.waiting.is_empty() {
            p.flags &= !AWAITED;
        } else {
            self.grant(place);
        }
    }

    /// Puts a part into a place, whatever its capacity; marks the takers and watchers.
    pub fn put(&mut self, place: PlaceId, part: Part) {
        if self.places.at(place.ix(), O::NEAR).flags & SPECIAL_PUT == 0 {
            self.put_plain(place, &part);
        } else {
            self.put_special(place, part);
        }
    }

    /// Whether a part can be put into a store with [`Floor::put_plainly`].
    #[inline(always)]
    pub(crate) fn is_plainly_open(&self, place: PlaceId) -> bool {
        let p = self.places.at(place.ix(), O::NEAR);
        p.flags & (SPECIAL_PUT | AWAITED) == 0 && p.len < p.capacity
    }

    /// Hands a part to a store that is plainly open, through exit number `no` of `me`.
    #[inline(always)]
    pub(crate) fn put_plainly(&mut self, me: StationId, no: u8, place: PlaceId, part: &Part) {
        self.observer.note(self.now, me, Note::Exit(no), Some(part));
        self.put_plain(place, part);
    }

    #[inline(always)]
    fn put_plain(&mut self, place: PlaceId, part: &Part) {
        let p = self.places.at_mut(place.ix(), O::NEAR);
        p.push_plain(part, self.now);
        let (len, taker) = (p.len, p.taker);
        let follows = p.flags & CARRIED != 0 && p.is_at_edge(len);
        if len <= p.wake && taker != StationId::NONE {
            let hot = *self.hot.at(taker.ix(), O::NEAR);
            if hot.state != State::Working || hot.bars & SHUT == 0 {
                self.dirty.insert_in(taker.0, O::NEAR);
            }
        }
        self.observer.rises(self.now, place, len - 1);
        if follows {
            self.follow_content(place);
        }
    }

    #[inline(never)]
    fn put_special(&mut self, place: PlaceId, part: Part) {
        let p = self.places.at_mut(place.ix(), O::NEAR);
        if p.flags & BIN != 0 {
            return self.pour(place, BinClass::of(&part), 1);
        }
        self.observer.level(self.now, place, p.len, p.len + 1);
        p.push(part, self.now);
        self.after_put(place);
    }

    pub(super) fn after_put(&mut self, place: PlaceId) {
        let p = self.places.at(place.ix(), O::NEAR);
        if p.len <= p.wake {
            if p.flags & SHARED == 0 {
                if p.taker != StationId::NONE {
                    self.dirty.insert_in(p.taker.0, O::NEAR);
                }
            } else {
                for taker in &p.more.takers {
                    self.dirty.insert_in(taker.0, O::NEAR);
                }
            }
        }
        if p.flags & (WATCHED | CARRIED) != 0 {
            self.mark_watchers(place);
            self.follow_content(place);
            self.wake_stopping(place);
        }
    }

    /// Pours `n` parts of a class into a bin; marks takers and watchers. What returns to a bin without
    /// limit leaves the line. Filling a bin beyond its capacity is noted, nothing is lost.
    pub fn pour(&mut self, place: PlaceId, class: BinClass, n: u32) {
        let p = self.places.at_mut(place.ix(), O::NEAR);
        let Some(bin) = p.more.bin.as_mut() else { panic!("only a bin can be poured into") };
        if bin.endless.is_some() {
            self.left += u64::from(n);
            return;
        }
        if n == 0 {
            return;
        }
        bin.add(class, n);
        let old = p.len;
        p.len += n;
        let (overfilled, carrier) = (p.len > p.capacity, p.carrier);
        let takers = if p.flags & SHARED == 0 { std::slice::from_ref(&p.taker) } else { &p.more.takers[..] };
        if old < p.wake {
            for taker in takers.iter().filter(|taker| **taker != StationId::NONE) {
                self.dirty.insert_in(taker.0, O::NEAR);
            }
        }
        self.observer.level(self.now, place, old, old + n);
        if overfilled && carrier != StationId::NONE {
            self.note(carrier, Note::Overfilled, None);
        }
        self.mark_watchers(place);
        self.follow_content(place);
    }

    /// Takes the part in a station's own hand back, without the mark of a taker.
    pub fn retract(&mut self, place: PlaceId) -> Part {
        let p = self.places.at_mut(place.ix(), O::NEAR);
        self.observer.level(self.now, place, p.len, p.len - 1);
        p.pop(self.now)
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
