//! Dumper: lifts containers (boxes, totes, stillages, bags) and tips their parts into the bin below.
//!
//! **Two calls** (ruling 21). *Tip:* after each removal from the bin, and after each cycle, if the content is at
//! or below the call level and no tip is under way; it stands until a container is tipped. *Fetch:* for every
//! waiting place that is free and has no container on its way; a place is free from the moment at which its
//! container is taken into a cycle. Without waiting places the tip call is the fetch call, and the container is
//! tipped when it comes. Containers come by a *hauler* a lead time after the fetch call (out of a pool that several
//! dumpers share: a lead time after a hauler is free for it); *at intervals*, the
//! first one an interval after the start (one that finds no free place is taken back); *by hand*, carried by an
//! attendant who is called; or are *always there*. A dumper that is held or off neither tips nor calls.
//!
//! **Cycle:** lift, tip, pour, return, exchange of the empty, a time by law each, drawn when it begins. *Pour at
//! once* (default): everything falls at the end of the tip, whether or not the bin holds it (overfilling is
//! noted). *At a rate:* the container is tilted and empties in equal portions, each of which falls after the
//! time in which the rate brings it; a portion that does not fit waits until it does (one that is larger than
//! the bin until the bin is empty), and the next one starts after it. Counts by condition are kept: each portion
//! has its share of each condition to less than a part.
//!
//! **Luck** (rulings 9 and 11). What a container holds is drawn when it comes to the dumper, from a stream of its
//! own: its number of parts, what its lot is like, and how many parts of each condition are in it. Containers
//! that stand there at the start are drawn first. When it is poured, the attitude chances of the kind and the
//! factor on jams become the mean of the lot and of what lies in the bin, weighted by numbers.
//!
//! **State:** working from lift to exchange; blocked while a portion waits for room, and while the bin is above
//! the call level (it stands ready and is not wanted); starved while a tip is called and no container is there.
//! A jam by part strikes per container: at the start of the lift or at the end of the pour. A stop delays
//! the cycle, not the hauler. At equal times a dumper acts after stations and attendants (ruling 1).

use super::Station;
use super::alarm::Alarm;
use super::amounts::level_of;
use super::dice::Dice;
use super::lots::{Lot, LotLuck, blend, in_this_shift};
use crate::kernel::multinomial::multinomial;
use crate::kernel::{Floor, Job, Message, Moment, Note, Observer, PlaceId, Sampler, State, StationId};
use crate::part::{Nanos, Part, SECOND};
use crate::scenario::Level;
use std::collections::VecDeque;

/// Who brings containers.
#[derive(Clone, Debug)]
pub enum Bringing {
    /// There is always one.
    Always,
    /// A hauler, so long after the call.
    OnCall(Sampler),
    /// They come at these intervals.
    AtIntervals(Sampler),
    /// Attendants of this pool; the time that they work on it.
    ByHand(u16, Sampler),
}

/// How a container empties.
#[derive(Clone, Copy, Debug, PartialEq)]
pub enum Pour {
    /// All at the end of the tip.
    AtOnce,
    /// In portions.
    Rate {
        /// Parts per second.
        per_s: f64,
        /// Portions of a container.
        portions: u32,
    },
}

/// What does not change of a dumper.
#[derive(Clone, Debug)]
pub struct DumperSetup {
    /// The bin.
    pub bin: PlaceId,
    /// Which parts it brings.
    pub kind: u8,
    /// Parts of a container and how containers differ, by kind.
    pub contents: Vec<(Sampler, LotLuck)>,
    /// Whether shifts differ as well, by kind.
    pub shifts_differ: Vec<bool>,
    /// Content of the bin at or below which a tip is called.
    pub call_level: Level,
    /// Places for containers beside it.
    pub places: u32,
    /// How many of them are taken at the start.
    pub at_start: u32,
    /// Who brings containers.
    pub bringing: Bringing,
    /// Times of lift, tip, return and exchange.
    pub times: [Sampler; 4],
    /// How a container empties.
    pub pour: Pour,
}

/// A full container.
#[derive(Clone, Debug)]
struct Container {
    kind: u8,
    lot: Lot,
    /// Parts by condition.
    counts: Vec<u32>,
    /// By condition, where in its systematic row the first portion begins (0 to 1).
    offsets: Vec<f64>,
}

impl Container {
    fn n(&self) -> u32 {
        self.counts.iter().sum()
    }

    /// Parts by condition in portion number `ix` of `of`: every `of` / n-th place of a row that starts at the
    /// offset, so that all portions together are the container and each has its share to less than a part.
    fn portion(&self, ix: u32, of: u32) -> Vec<u32> {
        let upto = |n: u32, offset: f64, ix: u32| {
            (f64::from(n) * f64::from(ix) / f64::from(of) + offset).floor().min(f64::from(n)) as u32
        };
        let rows = self.counts.iter().zip(&self.offsets);
        rows.map(|(&n, &offset)| {
            let to = if ix + 1 == of { n } else { upto(n, offset, ix + 1) };
            to - upto(n, offset, ix)
        })
        .collect()
    }
}

#[derive(Clone, Copy, Debug, PartialEq, Eq)]
enum Stage {
    Ready,
    Lifting,
    Tipping,
    /// Portion number `next` is running out of the container; `due`: it has, and falls when it fits.
    Pouring {
        next: u32,
        due: bool,
    },
    Returning,
    Exchanging,
}

/// State of a dumper.
#[derive(Clone, Debug)]
pub struct Dumper {
    me: StationId,
    cycle: Alarm,
    coming: Alarm,
    setup: Box<DumperSetup>,
    times: Dice,
    parts: Dice,
    stage: Stage,
    /// Full containers beside it.
    beside: VecDeque<Container>,
    /// The one in the cycle.
    aboard: Option<Container>,
    /// Times at which fetched containers come, or the next one by interval, ns.
    arrivals: Vec<Nanos>,
    /// Containers that attendants are bringing, and those they have brought since it was settled last.
    carried: u32,
    brought: u32,
    called: bool,
    started: bool,
}

impl Dumper {
    /// A dumper at rest. `times` is luck for times, `parts` for what is in the containers.
    pub fn new(
        me: StationId,
        cycle: Alarm,
        coming: Alarm,
        setup: DumperSetup,
        times: Dice,
        parts: Dice,
    ) -> Self {
        Dumper {
            me,
            cycle,
            coming,
            setup: Box::new(setup),
            times,
            parts,
            stage: Stage::Ready,
            beside: VecDeque::new(),
            aboard: None,
            arrivals: Vec::new(),
            carried: 0,
            brought: 0,
            called: false,
            started: false,
        }
    }

    pub(super) fn seed(&mut self, seed: u64, replication: u64) {
        self.times.seed(seed, replication);
        self.parts.seed(seed, replication);
    }

    pub(super) fn fire<O: Observer>(&mut self, floor: &mut Floor<O>, which: u8) {
        if which != 0 {
            // Arrivals are seen to when it is settled, by their own times.
            return self.coming.spent();
        }
        self.cycle.spent();
        match self.stage {
            Stage::Ready => panic!("the cycle's timer runs only during a cycle"),
            Stage::Lifting => self.begin(floor, Stage::Tipping, 1),
            Stage::Tipping => match self.setup.pour {
                Pour::AtOnce => {
                    self.pour(floor, 0, 1);
                    self.emptied(floor);
                }
                Pour::Rate { .. } => self.run_out(floor, 0),
            },
            Stage::Pouring { next, .. } => self.stage = Stage::Pouring { next, due: true },
            Stage::Returning => self.begin(floor, Stage::Exchanging, 3),
            Stage::Exchanging => {
                self.stage = Stage::Ready;
                self.aboard = None;
                floor.looks.insert(self.me.0);
            }
        }
    }

    fn begin<O: Observer>(&mut self, floor: &mut Floor<O>, stage: Stage, time: usize) {
        self.stage = stage;
        let time = self.times.time(floor, self.me, &self.setup.times[time]);
        self.cycle.set(floor, floor.now.saturating_add(time));
    }

    /// The container has emptied.
    fn emptied<O: Observer>(&mut self, floor: &mut Floor<O>) {
        floor.note(self.me, Note::Tipped, None);
        self.begin(floor, Stage::Returning, 2);
        let part = self.stand_in(floor);
        floor.jams(self.me, &part, Moment::End);
    }

    /// What stands for a container where a jam asks for a part.
    fn stand_in<O: Observer>(&self, floor: &Floor<O>) -> Part {
        Part::new(self.setup.kind, 0, 0, floor.now)
    }

    /// Portion number `next` begins to run out.
    fn run_out<O: Observer>(&mut self, floor: &mut Floor<O>, next: u32) {
        let Pour::Rate { per_s, portions } = self.setup.pour else {
            panic!("portions run out of a container only at a rate")
        };
        self.stage = Stage::Pouring { next, due: false };
        let n = self.aboard.as_ref().map_or(0, Container::n);
        let time = f64::from(n) / f64::from(portions) / per_s * SECOND as f64;
        self.cycle.set(floor, floor.now.saturating_add(time.round() as Nanos));
    }

    /// Pours portion number `ix` of `of` of the container in the cycle.
    fn pour<O: Observer>(&mut self, floor: &mut Floor<O>, ix: u32, of: u32) {
        let Some(container) = &self.aboard else { panic!("a container is in the cycle while it pours") };
        let counts = container.portion(ix, of);
        let (n, kind) = (counts.iter().sum(), container.kind);
        blend(floor, self.setup.bin, kind, &container.lot, n);
        floor.count_created(u64::from(n));
        floor.pour_counts(self.setup.bin, kind, &counts);
    }

    /// Lets the portion that is due fall, if it fits; lists the dumper as waiting if not.
    fn drop_portion<O: Observer>(&mut self, floor: &mut Floor<O>, next: u32) {
        let (Some(container), Pour::Rate { portions, .. }) = (&self.aboard, self.setup.pour) else {
            panic!("a portion falls out of the container in the cycle")
        };
        let n: u32 = container.portion(next, portions).iter().sum();
        let bin = floor.place(self.setup.bin);
        let fits =
            bin.is_endless() || bin.is_empty() || n == 0 || n <= bin.capacity().saturating_sub(bin.len());
        if !fits {
            return floor.wait_for_room(self.me, self.setup.bin);
        }
        floor.stop_waiting(self.me, self.setup.bin);
        self.pour(floor, next, portions);
        if next + 1 < portions { self.run_out(floor, next + 1) } else { self.emptied(floor) }
    }

    /// The bin, if it waits for nothing but that the content falls to the call level.
    pub(crate) fn waits_for_level(&self) -> Option<PlaceId> {
        (self.stage == Stage::Ready && !self.called).then_some(self.setup.bin)
    }

    pub(super) fn settle<O: Observer>(&mut self, floor: &mut Floor<O>) {
        if !self.started {
            self.start(floor);
        }
        self.receive(floor.now);
        if self.stage == Stage::Ready && self.called && floor.may_start(self.me) {
            self.start_cycle(floor);
        }
        if let Stage::Pouring { next, due: true } = self.stage {
            self.drop_portion(floor, next);
        }
        if floor.may_start(self.me) {
            self.fetch(floor);
        }
        if floor.stands(self.me) {
            return;
        }
        let next = self.arrivals.iter().copied().fold(Nanos::MAX, Nanos::min);
        self.coming.set(floor, next);
        match self.stage {
            Stage::Ready => floor.set_idle(self.me, !self.called),
            Stage::Pouring { due: true, .. } => floor.set_state(self.me, State::Blocked),
            Stage::Lifting
            | Stage::Tipping
            | Stage::Pouring { due: false, .. }
            | Stage::Returning
            | Stage::Exchanging => floor.set_state(self.me, State::Working),
        }
    }

    fn start<O: Observer>(&mut self, floor: &mut Floor<O>) {
        self.started = true;
        let kinds = self.setup.contents.iter_mut().zip(&self.setup.shifts_differ);
        for (((_, lots), differ), kind) in kinds.zip(0..) {
            in_this_shift(lots, floor, kind, *differ);
        }
        for _ in 0..self.setup.at_start {
            let container = self.draw_container();
            self.beside.push_back(container);
        }
        if let Bringing::AtIntervals(every) = &self.setup.bringing {
            let first = every.draw_ns(self.times.stream()).max(1);
            self.arrivals.push(floor.now.saturating_add(first));
        }
        floor.looks.insert(self.me.0);
    }

    /// Draws what is in a container that comes.
    fn draw_container(&mut self) -> Container {
        let luck = self.parts.stream();
        let kind = self.setup.kind;
        let (contents, lots) = &self.setup.contents[usize::from(kind)];
        let n = contents.draw_count(luck).min(1_000_000_000) as u32;
        let lot = lots.draw(luck);
        let counts = multinomial(n, &lot.conditions, luck);
        let offsets = counts.iter().map(|_| luck.unit()).collect();
        Container { kind, lot, counts, offsets }
    }

    /// Takes in the containers that have come up to now.
    fn receive(&mut self, now: Nanos) {
        for _ in 0..std::mem::take(&mut self.brought) {
            let container = self.draw_container();
            self.beside.push_back(container);
        }
        // Earliest first, so that containers are drawn in the order in which they come.
        while let Some(ix) = (0..self.arrivals.len()).min_by_key(|&ix| self.arrivals[ix]) {
            let at = self.arrivals[ix];
            if at > now {
                break;
            }
            self.arrivals.remove(ix);
            if let Bringing::AtIntervals(every) = &self.setup.bringing {
                let next = at.saturating_add(every.draw_ns(self.times.stream()).max(1));
                self.arrivals.push(next);
                if self.beside.len() >= self.setup.places as usize {
                    continue;
                }
            }
            let container = self.draw_container();
            self.beside.push_back(container);
        }
    }

    fn start_cycle<O: Observer>(&mut self, floor: &mut Floor<O>) {
        let container = match (self.beside.pop_front(), &self.setup.bringing) {
            (Some(container), _) => container,
            (None, Bringing::Always) => self.draw_container(),
            (None, Bringing::OnCall(_) | Bringing::AtIntervals(_) | Bringing::ByHand(..)) => return,
        };
        floor.tell_contents(container.kind, &container.counts, &container.lot.conditions);
        self.aboard = Some(container);
        self.called = false;
        self.begin(floor, Stage::Lifting, 0);
        let part = self.stand_in(floor);
        floor.set_state(self.me, State::Working);
        floor.jams(self.me, &part, Moment::Start);
    }

    /// Calls for a container for every free place that has none on its way.
    fn fetch<O: Observer>(&mut self, floor: &mut Floor<O>) {
        let wanted = if self.setup.places == 0 {
            u32::from(self.called && self.stage == Stage::Ready)
        } else {
            self.setup.places
        };
        let there = self.beside.len() as u32 + self.brought;
        match &self.setup.bringing {
            Bringing::Always | Bringing::AtIntervals(_) => {}
            Bringing::OnCall(lead) => {
                for _ in there + self.arrivals.len() as u32..wanted {
                    let lead = lead.draw_ns(self.times.stream());
                    self.arrivals.push(floor.now.saturating_add(lead));
                    // One without lead time is there at once.
                    floor.dirty.insert(self.me.0);
                }
            }
            Bringing::ByHand(pool, time) => {
                for _ in there + self.carried..wanted {
                    let time = self.times.time(floor, self.me, time);
                    self.carried += 1;
                    floor.call(*pool, self.me, Job::Task(0, time));
                }
            }
        }
    }

    /// After the fixed point: calls for a tip if the bin is low and none is called or under way.
    pub(super) fn look<O: Observer>(&mut self, floor: &mut Floor<O>) {
        if self.called || self.stage != Stage::Ready || floor.place(self.setup.bin).is_endless() {
            return;
        }
        let level = level_of(self.setup.call_level, floor, self.setup.bin);
        if floor.place(self.setup.bin).len() <= level {
            self.called = true;
            floor.dirty.insert(self.me.0);
        }
    }

    /// Goes over to another kind: full containers beside it are exchanged for ones of that kind; those that are on
    /// their way bring it when they come. The one in the cycle pours what it holds.
    pub(super) fn bring(&mut self, kind: u8) {
        if self.setup.kind == kind {
            return;
        }
        self.setup.kind = kind;
        for n in 0..self.beside.len() {
            self.beside[n] = self.draw_container();
        }
    }

    pub(super) fn message(&mut self, message: Message) {
        match message {
            // Containers on their way do not stand with the dumper.
            Message::Thawed(stood) => self.cycle.shift(stood),
            Message::Attended(_) => {
                self.carried -= 1;
                self.brought += 1;
            }
            Message::Redirect(_) => {}
        }
    }
}

mod spec;
pub use spec::{DumperSpec, read};

#[cfg(test)]
mod tests;
