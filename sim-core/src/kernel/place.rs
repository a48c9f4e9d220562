//! Places: where parts stand between stations.
//!
//! A place is either a FIFO of tokens (track, belt, queue, or the *hand* in which a station holds what it
//! has finished until it is taken) or a well-mixed bin of counts. A place is passive: it owns no timer. Its
//! head is timed by the station that takes from it, and only while that station waits, so that a belt with
//! 500 parts costs the same as one with 5.
//!
//! Invariant: `len` never exceeds `capacity`, except in a bin, where overfilling is reported by the floor.

use super::floor::{Exit, StationId};
use super::luck::{Stream, StreamKey};
use super::pace::Pace;
use crate::part::{Nanos, Part};
use std::hint::select_unpredictable;

/// A content without limit.
pub const UNLIMITED: u32 = u32::MAX;

/// Something in the place's cold half has to be looked at on every change of content.
pub(super) const WATCHED: u16 = 1;
/// The place is the body of a transporter whose state follows the content.
pub(super) const CARRIED: u16 = 2;
/// Several stations take from the place.
pub(super) const SHARED: u16 = 4;
/// Stations wait for room.
pub(super) const AWAITED: u16 = 8;
/// The place is a bin.
pub(super) const BIN: u16 = 16;
/// A belt that stands while its head part can't leave.
pub(super) const STOPPING: u16 = 32;
/// The place stands still as a whole (held, jammed or off).
pub(super) const FROZEN: u16 = 64;
/// Entries keep a least distance.
pub(super) const SPACED: u16 = 128;

/// The place is the hand of a station, which has to be settled when something is taken from it.
pub(super) const HAND: u16 = 256;

/// The hand before a divider through which parts can pass at once.
pub(super) const THROUGH: u16 = 1024;

/// Some stations deliver into the place strictly in turn.
pub(super) const TURNS: u16 = 512;
/// A batch enters only when nothing is here.
pub(super) const ONE_BATCH: u16 = 2048;
/// What a station gives into the place is counted for the product sequence.
pub(super) const COUNTED: u16 = 4096;
/// What a plain take doesn't have to look at; see the floor.
pub(super) const SPECIAL_TAKE: u16 = BIN | SHARED | AWAITED | WATCHED | STOPPING;
/// What a plain entry doesn't have to look at.
pub(super) const SPECIAL_PUT: u16 = BIN | SHARED | WATCHED | STOPPING | SPACED | TURNS | FROZEN | COUNTED;
/// What keeps a part from being offered plainly.
pub(super) const SPECIAL_OFFER: u16 = BIN | SHARED | FROZEN;

/// One token and the time at which it has come to the end (belt time).
#[derive(Clone, Copy, Debug, Default)]
struct Slot {
    part: Part,
    due: Nanos,
}

/// A place: hot fields first, the rest boxed.
#[derive(Clone, Debug)]
pub struct Place {
    slots: Vec<Slot>,
    head: u32,
    pub(super) len: u32,
    pub(super) capacity: u32,
    /// Mark the takers when the content is at or below this after an entry.
    pub(super) wake: u32,
    pub(super) taker: StationId,
    pub(super) flags: u16,
    /// The transporter of which this is the body, or the owner of a hand; [`StationId::NONE`] if neither.
    pub(super) carrier: StationId,
    transit: Nanos,
    /// Belt time at which the head of a FIFO has come to the end; [`Nanos::MAX`] if nothing is in it.
    first: Nanos,
    /// Belt time lags behind the clock by this much (sum of all standstills), ns.
    offset: Nanos,
    pub(super) more: Box<More>,
}

/// The seldom used half of a place.
#[derive(Clone, Debug, Default)]
pub(super) struct More {
    /// All takers, in file order, where there are several.
    pub(super) takers: Vec<StationId>,
    /// How the takers share what comes.
    pub(super) spread: Spread,
    /// The taker that took last.
    pub(super) last_taker: Option<StationId>,
    /// Takers that found nothing, longest idle first.
    pub(super) idle: Vec<StationId>,
    /// The last taker that was marked because it is its turn: when, who, and what was here.
    pub(super) marked: Option<(Nanos, StationId, u32)>,
    /// Stations whose finished part finds no room, longest waiting first.
    pub(super) waiting: Vec<StationId>,
    /// Equal stations that deliver strictly in turn, and whose turn it is.
    pub(super) turns: Vec<StationId>,
    pub(super) next_turn: usize,
    /// Whose turn it is gives more before it passes.
    pub(super) keeps_turn: bool,
    /// The one of the waiting whose turn it is.
    pub(super) granted: Option<StationId>,
    /// Order in which waiting stations are served, if the join states one.
    pub(super) priority: Vec<StationId>,
    /// Watchers (numbers of the floor's look set).
    pub(super) watchers: Vec<u16>,
    /// Least time between two entries, ns of belt time; at the present and at full speed.
    pub(super) spacing: Nanos,
    full_spacing: Nanos,
    /// Time from entry to the end at full speed, ns.
    full_transit: Nanos,
    /// Belt time at which the last entry is far enough down the belt.
    clear_at: Option<Nanos>,
    /// Present speed; `transit` and `spacing` are those at this speed.
    pace: Pace,
    /// Room for parts in flight, which is not in `capacity` as long.
    pub(super) promised: u32,
    /// Time by which each piece of a batch after the first delays all of it, ns.
    pub(super) each: Nanos,
    frozen_since: Nanos,
    /// What has entered and has not been looked at, for jams by part on tracks and belts.
    entered: Option<Vec<Part>>,
    pub(super) bin: Option<Bin>,
    /// Exits of the divider behind a hand, with their numbers.
    pub(super) through: Vec<(u8, Exit)>,
}

/// How idle takers of one place share what comes.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
pub enum Spread {
    /// The first in file order that is idle.
    #[default]
    Listed,
    /// The next one after the one that took last.
    InTurn,
    /// The one that has been idle for longest.
    LongestIdle,
}

/// A class of parts that a bin tells apart.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct BinClass {
    /// Index of the kind.
    pub kind: u8,
    /// Index of the condition within the kind.
    pub condition: u8,
    /// Rejected by a gauge for a dimension.
    pub off_size: bool,
}

impl BinClass {
    /// The class of a part.
    #[inline]
    pub fn of(part: &Part) -> Self {
        BinClass { kind: part.kind, condition: part.condition, off_size: part.is_off_size() }
    }
}

/// The content of a bin: counts by class, well mixed. What is picked follows the mix, without replacement.
#[derive(Clone, Debug)]
pub struct Bin {
    pub(super) classes: Vec<BinClass>,
    pub(super) counts: Vec<u32>,
    /// Never runs out: picks follow the natural mix of this kind.
    pub(super) endless: Option<u8>,
    /// Kind and number of parts that it starts with.
    start: Option<(u8, u32)>,
    pub(super) key: StreamKey,
    pub(super) luck: Stream,
}

impl Bin {
    /// An empty bin whose picks are drawn from the stream `key`.
    pub fn new(key: StreamKey) -> Self {
        Bin {
            classes: Vec::new(),
            counts: Vec::new(),
            endless: None,
            start: None,
            key,
            luck: key.stream(0, 0),
        }
    }

    /// A bin that never runs out of `kind`.
    pub fn endless(kind: u8, key: StreamKey) -> Self {
        Bin { endless: Some(kind), ..Bin::new(key) }
    }

    /// Adds `n` parts of `class`.
    pub(super) fn add(&mut self, class: BinClass, n: u32) {
        match self.classes.iter().position(|known| *known == class) {
            Some(index) => self.counts[index] += n,
            None => {
                self.classes.push(class);
                self.counts.push(n);
            }
        }
    }

    /// Draws one part of the `total` in the bin by chance.
    pub(super) fn draw(&mut self, total: u32) -> BinClass {
        let mut left = if self.classes.len() == 1 { 0 } else { self.luck.below(u64::from(total)) as u32 };
        for (class, count) in self.classes.iter().zip(&mut self.counts) {
            if left < *count {
                *count -= 1;
                return *class;
            }
            left -= *count;
        }
        panic!("a bin's counts add up to its content");
    }
}

impl Place {
    /// An empty FIFO for `capacity` parts, each of which takes `transit` (ns) to come to its end.
    pub fn fifo(capacity: u32, transit: Nanos) -> Self {
        let room = if capacity == UNLIMITED { 16 } else { capacity.clamp(1, 1 << 10) };
        Place {
            slots: vec![Slot::default(); (room as usize).next_power_of_two()],
            head: 0,
            len: 0,
            capacity,
            wake: 1,
            taker: StationId::NONE,
            flags: 0,
            carrier: StationId::NONE,
            transit,
            first: Nanos::MAX,
            offset: 0,
            more: Box::new(More { full_transit: transit, ..More::default() }),
        }
    }

    /// A place that is none, where one is needed to fill up a list.
    pub(super) fn spare() -> Self {
        Place { slots: Vec::new(), ..Place::fifo(0, 0) }
    }

    /// The hand of station `owner`: what it has finished and nobody has taken yet.
    pub fn hand(owner: StationId) -> Self {
        let mut place = Place::fifo(UNLIMITED, 0);
        place.flags |= HAND;
        place.carrier = owner;
        place
    }

    /// Has a FIFO that is watched keep what enters for [`Place::take_entered`].
    pub fn set_keeps_entered(&mut self) {
        self.more.entered = Some(Vec::new());
    }

    /// What has entered since it was asked last, if it keeps that.
    pub fn take_entered(&mut self) -> Vec<Part> {
        self.more.entered.as_mut().map(std::mem::take).unwrap_or_default()
    }

    /// Names the stations that take from the place, in file order.
    pub fn set_takers(&mut self, takers: &[StationId], spread: Spread) {
        self.taker = takers.first().copied().unwrap_or(StationId::NONE);
        if takers.len() > 1 {
            self.flags |= SHARED;
        }
        self.more.takers = takers.to_vec();
        self.more.spread = spread;
    }

    /// Marks takers after an entry while the content is at or below `level` (for those that take several
    /// parts at once).
    pub fn set_wake(&mut self, level: u32) {
        self.wake = self.wake.max(level);
    }

    /// Makes the place the body of a transporter or bin station.
    pub fn set_carrier(&mut self, carrier: StationId) {
        self.flags |= CARRIED;
        self.carrier = carrier;
    }

    /// States the order in which waiting stations are served.
    pub fn set_priority(&mut self, order: Vec<StationId>) {
        self.more.priority = order;
    }

    /// Has these stations deliver strictly one after the other.
    pub fn set_turns(&mut self, turns: Vec<StationId>) {
        self.flags |= TURNS;
        self.more.turns = turns;
    }

    /// Whether a station may deliver, where some do so strictly in turn.
    pub(super) fn is_turn_of(&self, me: StationId) -> bool {
        let more = &self.more;
        more.turns.get(more.next_turn).is_none_or(|turn| *turn == me) || !more.turns.contains(&me)
    }

    /// Who may deliver before `me`, if anybody: whose strict turn it is, or to whom the room was offered.
    pub fn turn_before(&self, me: StationId) -> Option<StationId> {
        let turn = if self.is_turn_of(me) { None } else { self.more.turns.get(self.more.next_turn).copied() };
        turn.or(self.more.granted.filter(|granted| *granted != me))
    }

    /// `me` has delivered.
    pub(super) fn pass_turn(&mut self, me: StationId) {
        let more = &mut self.more;
        if !more.keeps_turn && more.turns.get(more.next_turn) == Some(&me) {
            more.next_turn = (more.next_turn + 1) % more.turns.len();
        }
    }

    /// Has what is given into the place counted; see [`super::Floor::count_good_at`].
    pub fn set_counted(&mut self) {
        self.flags |= COUNTED;
    }

    /// Has a bin that never runs out bring another kind. Nothing happens to other places.
    pub fn set_endless(&mut self, kind: u8) {
        if let Some(bin) = &mut self.more.bin
            && bin.endless.is_some()
        {
            bin.endless = Some(kind);
        }
    }

    /// Takes all parts out; returns how many. A bin that never runs out keeps what it has.
    pub(super) fn take_all(&mut self, now: Nanos) -> u32 {
        let n = self.len;
        match &mut self.more.bin {
            Some(bin) if bin.endless.is_some() => return 0,
            Some(bin) => {
                bin.classes.clear();
                bin.counts.clear();
                self.len = 0;
            }
            None => (0..n).for_each(|_| {
                self.pop(now);
            }),
        }
        n
    }

    /// Adds a watcher, by its number among stations, attendants and sensors.
    pub fn add_watcher(&mut self, watcher: u16) {
        self.flags |= WATCHED;
        self.more.watchers.push(watcher);
    }

    /// Stations that take from the place.
    pub fn takers(&self) -> &[StationId] {
        &self.more.takers
    }

    /// The first station that takes from the place, [`StationId::NONE`] if nobody does.
    #[inline]
    pub fn first_taker(&self) -> StationId {
        self.taker
    }

    /// Stations that wait for room.
    pub fn waiting(&self) -> &[StationId] {
        &self.more.waiting
    }

    /// A bin for `capacity` parts.
    pub fn bin(capacity: u32, bin: Bin) -> Self {
        let endless = bin.endless.is_some();
        let mut place = Place::fifo(0, 0);
        place.capacity = capacity;
        place.flags |= BIN;
        place.len = u32::from(endless);
        place.more.bin = Some(bin);
        place
    }

    /// Has a bin start each replication with `n` parts of `kind` (0: empty); they count as input of the line.
    /// Nothing happens to other places.
    pub fn set_start(&mut self, kind: u8, n: u32) {
        if let Some(bin) = &mut self.more.bin {
            bin.start = Some((kind, n));
        }
    }

    /// Kind and number of parts with which a bin starts, if it does.
    pub fn start(&self) -> Option<(u8, u32)> {
        self.more.bin.as_ref().and_then(|bin| bin.start)
    }

    /// Makes a belt stand while its head part can't leave, instead of closing up behind it.
    pub fn stopping(mut self) -> Self {
        self.flags |= STOPPING;
        self
    }

    /// Has the place take one batch at a time, all of whose pieces come to its end `each` (ns) later for every piece
    /// after the first.
    pub fn for_batches(mut self, each: Nanos) -> Self {
        self.flags |= ONE_BATCH;
        self.more.each = each;
        self
    }

    /// Keeps entries at least `spacing` (ns of belt time) apart.
    pub fn spaced(mut self, spacing: Nanos) -> Self {
        if spacing > 0 {
            self.flags |= SPACED;
            (self.more.spacing, self.more.full_spacing) = (spacing, spacing);
        }
        self
    }

    /// Least time between two entries in a steady flow at full speed, by spacing and by room for what is on its way, ns.
    pub fn headway(&self) -> Nanos {
        self.more.full_spacing.max(self.more.full_transit / Nanos::from(self.capacity.max(1)))
    }

    /// Parts here, in transit and waiting.
    #[inline]
    pub fn len(&self) -> u32 {
        self.len
    }

    /// Whether nothing is here.
    #[inline]
    pub fn is_empty(&self) -> bool {
        self.len == 0
    }

    /// Room that is promised to parts in flight.
    pub fn promised(&self) -> u32 {
        self.more.promised
    }

    /// Most parts that fit, room for parts in flight left out; [`UNLIMITED`] if there is no limit.
    pub fn capacity(&self) -> u32 {
        self.capacity
    }

    /// Parts that can be at the end at once: on a stopping belt those that lie where its head does, one if entries keep a
    /// distance.
    pub fn most_at_end(&self) -> u32 {
        if self.flags & STOPPING != 0 && self.flags & SPACED != 0 { 1 } else { self.capacity }
    }

    /// Parts that can come in at one time: one if entries keep a distance.
    pub fn most_in_at_once(&self) -> u32 {
        if self.flags & SPACED != 0 { 1 } else { self.capacity }
    }

    /// Time from entry to the end, ns.
    pub fn transit(&self) -> Nanos {
        self.transit
    }

    /// The bin's counts, if this is one.
    pub fn counts(&self) -> Option<(&[BinClass], &[u32])> {
        self.more.bin.as_ref().map(|bin| (&bin.classes[..], &bin.counts[..]))
    }

    /// Whether the place is a bin that never runs out.
    pub fn is_endless(&self) -> bool {
        self.more.bin.as_ref().is_some_and(|bin| bin.endless.is_some())
    }

    /// Time at which the head is at the end (it may lie in the past); `None` if nothing is here or all
    /// stands still.
    #[inline]
    pub fn head_due(&self) -> Option<Nanos> {
        if self.len == 0 || self.flags & FROZEN != 0 {
            return None;
        }
        if self.flags & BIN != 0 {
            return Some(0);
        }
        Some(self.plain_due())
    }

    /// The same for a FIFO that is not frozen; `Nanos::MAX` if nothing is here.
    #[inline(always)]
    pub(super) fn plain_due(&self) -> Nanos {
        self.first.saturating_add(self.offset)
    }

    /// Has `first` follow the head. Whether something is left is hard to foresee, so nothing is made to hang on it.
    #[inline(always)]
    fn renew_first(&mut self) {
        self.first = select_unpredictable(self.len == 0, Nanos::MAX, self.slot(0).due);
    }

    /// Time at which a stopping belt, or a full one with spaced entries, stands unless its head is taken (it may lie in the
    /// past); `None` for others.
    pub fn stands_at(&self) -> Option<Nanos> {
        let is_full = self.flags & SPACED != 0 && self.len >= self.capacity;
        if self.flags & STOPPING != 0 || is_full { self.head_due() } else { None }
    }

    /// Time at which the part number `index` from the head is at the end, for FIFOs.
    pub fn due(&self, index: u32) -> Option<Nanos> {
        (index < self.len && self.flags & (FROZEN | BIN) == 0).then(|| self.slot(index).due + self.offset)
    }

    /// Time at which the part number `index` from the head is at the end if nothing is taken before; `None` if it never is:
    /// a stopping belt brings no other part there than those that lie where its head does.
    pub fn there_at(&self, index: u32) -> Option<Nanos> {
        let behind =
            self.flags & STOPPING != 0 && index < self.len && self.slot(index).due != self.slot(0).due;
        if behind { None } else { self.due(index) }
    }

    /// Number of parts at the end, and when the next one comes there without any move. What stands still stays
    /// where it is; all parts of a bin are at its end.
    pub fn at_end(&self, now: Nanos) -> (u32, Option<Nanos>) {
        if self.flags & BIN != 0 {
            return (self.len, None);
        }
        let belt_now = self.belt_time(now);
        // Entries come to the end in order, so the waiting ones are the first.
        let here = (0..self.len).take_while(|&n| self.slot(n).due <= belt_now).count() as u32;
        let stands = self.flags & FROZEN != 0 || (self.flags & STOPPING != 0 && here > 0);
        let next = (here < self.len && !stands).then(|| self.slot(here).due + self.offset);
        (here, next)
    }

    /// The head of a FIFO.
    #[inline]
    pub fn head(&self) -> Option<&Part> {
        (self.len > 0 && self.flags & BIN == 0).then(|| &self.slots[self.index(0)].part)
    }

    #[inline]
    fn index(&self, n: u32) -> usize {
        (self.head.wrapping_add(n)) as usize & (self.slots.len() - 1)
    }

    #[inline]
    fn slot(&self, n: u32) -> &Slot {
        &self.slots[self.index(n)]
    }

    /// Puts a part at the tail of a FIFO that is neither stopping nor spaced.
    #[inline(always)]
    pub(super) fn push_plain(&mut self, part: &Part, now: Nanos) {
        if self.len as usize == self.slots.len() {
            self.grow();
        }
        let index = self.index(self.len);
        let due = now + self.transit - self.offset;
        self.slots[index] = Slot { part: *part, due };
        self.first = select_unpredictable(self.len == 0, due, self.first);
        self.len += 1;
    }

    /// Takes the head out of a FIFO that is not stopping.
    #[inline(always)]
    pub(super) fn pop_plain(&mut self, part: &mut Part) {
        *part = self.slots[self.index(0)].part;
        self.head = self.head.wrapping_add(1);
        self.len -= 1;
        self.renew_first();
    }

    /// Whether the content has just come to, or left, empty or full: only then a transporter's state changes.
    /// `most` is the larger of the contents before and after.
    #[inline(always)]
    pub(super) fn is_at_edge(&self, most: u32) -> bool {
        most == 1 || most >= self.capacity
    }

    /// Puts a part at the tail of a FIFO.
    pub(super) fn push(&mut self, part: Part, now: Nanos) {
        if self.len as usize == self.slots.len() {
            self.grow();
        }
        let due = if self.flags & (STOPPING | SPACED | FROZEN) == 0 {
            now + self.transit - self.offset
        } else {
            self.entry(now)
        };
        let index = self.index(self.len);
        self.slots[index] = Slot { part, due };
        self.len += 1;
        self.renew_first();
        if let Some(entered) = &mut self.more.entered {
            entered.push(part);
        }
    }

    /// Puts a part at the tail of a FIFO, which comes to the end `later` (ns) than others would.
    pub(super) fn push_late(&mut self, part: Part, now: Nanos, later: Nanos) {
        self.push(part, now);
        let index = self.index(self.len - 1);
        self.slots[index].due += later;
        self.renew_first();
    }

    /// Takes the head out of a FIFO.
    pub(super) fn pop(&mut self, now: Nanos) -> Part {
        debug_assert!(self.len > 0, "only a part that is there can be taken");
        let index = self.index(0);
        let slot = self.slots[index];
        if self.flags & STOPPING != 0 {
            // The belt stood from the moment when the head came to the end until now.
            self.offset += now.saturating_sub(slot.due + self.offset);
        }
        self.head = self.head.wrapping_add(1);
        self.len -= 1;
        self.renew_first();
        slot.part
    }

    /// Starts the luck of a bin for a replication.
    pub(super) fn seed(&mut self, seed: u64, replication: u64) {
        if let Some(bin) = &mut self.more.bin {
            bin.luck = bin.key.stream(seed, replication);
        }
    }

    /// Puts a starting part at the tail, past its transit.
    pub fn push_settled(&mut self, part: Part) {
        if self.len as usize == self.slots.len() {
            self.grow();
        }
        let index = self.index(self.len);
        self.slots[index] = Slot { part, due: 0 };
        self.len += 1;
        self.renew_first();
    }

    #[cold]
    fn grow(&mut self) {
        let mut slots = Vec::with_capacity(2 * self.slots.len());
        slots.extend((0..self.len).map(|n| *self.slot(n)));
        slots.resize(2 * self.slots.len(), Slot::default());
        self.slots = slots;
        self.head = 0;
    }

    /// Belt time: stands while the belt stands.
    fn belt_time(&self, now: Nanos) -> Nanos {
        let moving_until = match (self.flags & STOPPING != 0, self.len) {
            (false, _) | (true, 0) => now,
            (true, _) => now.min(self.slot(0).due + self.offset),
        };
        let frozen = if self.flags & FROZEN != 0 { self.more.frozen_since } else { now };
        moving_until.min(frozen).saturating_sub(self.offset)
    }

    fn entry(&mut self, now: Nanos) -> Nanos {
        let belt_now = self.belt_time(now);
        self.more.clear_at = Some(belt_now + self.more.spacing);
        belt_now + self.transit
    }

    /// Whether there is room for one more part, capacity and spacing considered.
    #[inline]
    pub(super) fn has_room(&self, now: Nanos) -> bool {
        self.len < self.capacity && (self.flags & SPACED == 0 || self.entry_clear_in(now) == Some(0))
    }

    /// Whether it takes nothing only because of what is on its way: it moves, and nothing waits at its end.
    pub(super) fn is_on_its_way(&self, now: Nanos) -> bool {
        let waits = self.len > 0 && self.slot(0).due + self.offset <= now;
        self.flags & (BIN | FROZEN) == 0 && !self.has_room(now) && !waits
    }

    /// Time until the last entry is far enough down the belt: `Some(0)` now, `None` if the belt stands.
    pub(super) fn entry_clear_in(&self, now: Nanos) -> Option<Nanos> {
        let Some(clear_at) = self.more.clear_at else { return Some(0) };
        let missing = clear_at.saturating_sub(self.belt_time(now));
        let moves = self.flags & FROZEN == 0
            && (self.flags & STOPPING == 0 || self.len == 0 || self.slot(0).due + self.offset > now);
        if missing == 0 || moves { Some(missing) } else { None }
    }

    /// The belt goes at another speed from `now` on: what is still to go is stretched.
    pub(super) fn set_pace(&mut self, now: Nanos, pace: Pace) {
        let before = std::mem::replace(&mut self.more.pace, pace);
        let belt_now = self.belt_time(now);
        for n in 0..self.len {
            let index = self.index(n);
            if let Some(slot) = self.slots.get_mut(index) {
                slot.due = pace.moved(before, belt_now, slot.due);
            }
        }
        self.renew_first();
        self.more.clear_at = self.more.clear_at.map(|at| pace.moved(before, belt_now, at));
        self.transit = pace.stretched(self.more.full_transit);
        self.more.spacing = pace.stretched(self.more.full_spacing);
    }

    /// Stops all motion from `now` on.
    pub(super) fn freeze(&mut self, now: Nanos) {
        if self.flags & FROZEN == 0 {
            self.flags |= FROZEN;
            self.more.frozen_since = now;
        }
    }

    /// Sets all in motion again. Parts that had come to the end stay there.
    pub(super) fn thaw(&mut self, now: Nanos) {
        if self.flags & FROZEN != 0 {
            self.flags &= !FROZEN;
            // Time that a stopping belt had already stood is added when its head is taken.
            self.offset += now - self.more.frozen_since;
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn part(n: u8) -> Part {
        Part::new(n, 0, 0, 0)
    }

    #[test]
    fn keeps_order_and_grows() {
        let mut place = Place::fifo(UNLIMITED, 10);
        for n in 0..100 {
            place.push(part(n), u64::from(n));
        }
        assert_eq!(place.head_due(), Some(10));
        assert_eq!(place.due(99), Some(109));
        for n in 0..100 {
            assert_eq!(place.pop(200).kind, n);
        }
    }

    #[test]
    fn a_stopping_belt_stands_until_its_head_is_taken() {
        let mut place = Place::fifo(UNLIMITED, 100).stopping();
        place.push(part(0), 0);
        place.push(part(1), 30);
        place.pop(150);
        assert_eq!(place.head_due(), Some(180), "fifty of standstill are added to 130");
        place.push(part(2), 150);
        place.pop(200);
        assert_eq!(place.head_due(), Some(150 + 100 + 20));
    }

    #[test]
    fn entries_keep_their_distance_in_belt_time() {
        let mut place = Place::fifo(UNLIMITED, 100).stopping().spaced(20);
        place.push(part(0), 0);
        assert!(!place.has_room(19));
        assert!(place.has_room(20));
        place.push(part(1), 95);
        assert_eq!(place.entry_clear_in(98), Some(17));
        assert_eq!(place.entry_clear_in(130), None, "the belt has stood since 100");
        place.pop(130);
        assert_eq!(place.entry_clear_in(130), Some(15));
    }

    #[test]
    fn the_queue_at_the_end_is_seen_while_the_place_stands() {
        let mut place = Place::fifo(UNLIMITED, 100);
        place.push(part(0), 0);
        place.push(part(1), 50);
        place.freeze(120);
        assert_eq!(place.at_end(400), (1, None), "one had come to the end before it stood");
        place.thaw(400);
        assert_eq!(place.at_end(400), (1, Some(430)));
        let mut belt = Place::fifo(UNLIMITED, 100).stopping();
        belt.push(part(0), 0);
        belt.push(part(1), 50);
        assert_eq!(belt.at_end(99), (0, Some(100)));
        assert_eq!(belt.at_end(170), (1, None), "the belt stands with the second part under way");
        assert_eq!((belt.there_at(0), belt.there_at(1)), (Some(100), None), "the second one never comes");
        belt.push(part(2), 170);
        belt.push(part(3), 175);
        belt.pop(180);
        belt.pop(230);
        assert_eq!((belt.there_at(0), belt.there_at(1)), (Some(280), Some(280)), "put on it while it stood");
    }

    #[test]
    fn a_frozen_belt_goes_on_where_it_stood() {
        let mut place = Place::fifo(UNLIMITED, 100);
        place.push(part(0), 0);
        place.push(part(1), 90);
        place.freeze(110);
        assert_eq!(place.head_due(), None);
        place.thaw(150);
        assert!(place.head_due().is_some_and(|due| due <= 150), "what had arrived stays at the end");
        place.pop(150);
        assert_eq!(place.head_due(), Some(230));
    }
}
