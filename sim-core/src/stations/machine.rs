//! Machine: makes a stroke when every inlet shows its parts; the usual point of use.
//!
//! **Inlets.** *Together*: all parts are taken at the moment the stroke starts. *Nest*: each inlet has a
//! nest of its own that takes parts whenever it has room, after a load time; it is emptied when the stroke
//! starts or when it ends. While all that is missing is being loaded the machine is loading, and not starved.
//!
//! **Presence check.** When the machine is free and all nests are loaded, the presence of each inlet's part
//! is read, independently; a loaded nest may read empty. If any reads empty, all are read again after the
//! re-check time. If the design also reads while nests are unloaded, an empty nest may read full: if then
//! all read full, a stroke is made with a part missing, and the assembly counts as bad, whether any part is in it or
//! none. With one inlet, of which the parts themselves go on, each part that is missing counts as a bad one.
//!
//! **Timing.** A stroke starts when the machine is free, may start and all inlets show their parts; its time
//! is drawn then. What it has made leaves at the end of the stroke; if there is no room it stays (blocking
//! after service). With one inlet the parts themselves go on; with several, one assembly does, bad if any of
//! its parts is bad, the wrong way round or missing. Jams by part: at the start every part of the stroke has its
//! chance, at the end and after it everything that goes on; what goes on after a jam waits until it is cleared.
//!
//! **Batches.** An inlet that takes *the batch* takes all parts that are at the end of its places when the stroke
//! starts, one at least; the stroke then takes `cycle` + x `each`, where x is the number of parts of the inlet that
//! has most.
//!
//! **In the balance** a stroke takes its mean time and that of the checks to be expected again: with a chance f that a
//! loaded nest reads empty, n inlets and a mean time t until the next check, t (1 / (1 - f)^n - 1). A nest loads part by part:
//! one of capacity c from which a stroke takes k parts lets no stroke come sooner than k loads after the last one, and, if
//! it is emptied at the end, keeps the machine waiting for the k - (c - k) loads for which it has no room before. This is
//! so by the means: how long loads and strokes that vary wait for each other on top is left to the simulation.
//!
//! **Shared reach.** Of the stations that name the same `reach` only one is in a stroke at a time. A machine that could
//! start waits for the reach in order of coming, and is held meanwhile; it gives the reach back at the end of the
//! stroke, before what it has made leaves. A machine that fails its presence check gives it back until the next one.

use super::alarm::Alarm;
use super::by_part::ByPart;
use super::dice::Dice;
use crate::kernel::floor::Duty;
use crate::kernel::{
    Draw, Exit, Floor, Inlets, Message, Moment, Note, Observer, Offer, PlaceId, Sampler, State, StationId,
};
use crate::part::{Nanos, Part};

mod spec;

pub(super) use spec::read_reach;
pub use spec::{MachineSpec, read};

/// A nest of one inlet.
#[derive(Clone, Debug)]
pub struct Nest {
    /// Parts that fit.
    pub capacity: u32,
    /// Time to load a part.
    pub load: Sampler,
    /// Whether the parts of a stroke leave the nest when it starts (otherwise when it ends).
    pub emptied_at_start: bool,
    loaded: Vec<Part>,
    loading: Vec<(Nanos, Part)>,
    in_stroke: u32,
}

impl Nest {
    /// An empty nest.
    pub fn new(capacity: u32, load: Sampler, emptied_at_start: bool) -> Self {
        Nest { capacity, load, emptied_at_start, loaded: Vec::new(), loading: Vec::new(), in_stroke: 0 }
    }

    fn has_room(&self) -> bool {
        (self.loaded.len() + self.loading.len()) as u32 + self.in_stroke < self.capacity
    }
}

/// One inlet of a machine.
#[derive(Clone, Debug)]
pub struct MachineInlet {
    /// Where its parts come from.
    pub inlets: Inlets,
    /// Parts per stroke.
    pub per_stroke: u32,
    /// All parts that are at the end when the stroke starts, whatever `per_stroke` says: a batch.
    pub batch: bool,
    /// Its nest, if it has one.
    pub nest: Option<Nest>,
}

/// The presence check of a machine.
#[derive(Clone, Debug)]
pub struct Check {
    /// Chance that a loaded inlet reads empty.
    pub false_empty: f64,
    /// Chance that an empty nest reads full.
    pub false_full: f64,
    /// Whether it reads while nests are unloaded.
    pub reads_unloaded: bool,
    /// Time until all are read again.
    pub again: Sampler,
}

#[derive(Clone, Copy, Debug, PartialEq, Eq)]
enum Phase {
    Free,
    /// Wait for the next reading; whether all nests were loaded at the last one.
    Checking {
        loaded: bool,
    },
    Stroke,
    /// What has been made finds no room.
    Leaving,
}

/// State of a machine.
#[derive(Clone, Debug)]
pub struct Machine {
    me: StationId,
    alarm: Alarm,
    loads: Option<Alarm>,
    inlets: Vec<MachineInlet>,
    check: Option<Check>,
    cycle: Sampler,
    /// Time for each piece of the largest batch, ns.
    each: Nanos,
    /// What only one of several stations may use at a time.
    reach: Option<u16>,
    exit: Exit,
    luck: Dice,
    phase: Phase,
    /// A part was missing at the start of the stroke.
    short: bool,
    taken: Vec<Part>,
    made: Vec<Part>,
    /// One inlet, one part per stroke, no nest and no check: nothing is assembled or read.
    plain: bool,
    /// The part of a plain machine, in work or made.
    part: Part,
    by_part: ByPart,
}

impl Machine {
    /// A free machine. `loads` is the timer of its nests, if it has any.
    #[expect(clippy::too_many_arguments, reason = "a plain list of what the scenario says of a machine")]
    pub fn new(
        me: StationId,
        alarm: Alarm,
        loads: Option<Alarm>,
        inlets: Vec<MachineInlet>,
        check: Option<Check>,
        cycle: Sampler,
        exit: Exit,
        luck: Dice,
    ) -> Self {
        let room = inlets.iter().map(|inlet| inlet.per_stroke as usize).sum();
        let (taken, made) = (Vec::with_capacity(room), Vec::with_capacity(room));
        let plain = check.is_none()
            && loads.is_none()
            && matches!(&inlets[..], [only] if only.per_stroke == 1 && only.nest.is_none() && !only.batch);
        let (phase, part) = (Phase::Free, Part::default());
        let (each, reach, short) = (0, None, false);
        let by_part = ByPart::default();
        Machine {
            me,
            alarm,
            loads,
            inlets,
            check,
            cycle,
            each,
            reach,
            exit,
            luck,
            phase,
            short,
            taken,
            made,
            plain,
            part,
            by_part,
        }
    }

    /// The same with a time for each piece of the largest batch (ns), and a reach that it shares.
    #[must_use]
    pub fn with(self, each: Nanos, reach: Option<u16>) -> Self {
        Machine { each, reach, plain: self.plain && reach.is_none() && each == 0, ..self }
    }

    /// The same machine with cycles by part.
    #[must_use]
    pub(super) fn with_cycles(self, by_part: ByPart) -> Self {
        Machine { by_part, ..self }
    }

    pub(super) fn set_up(&mut self, kind: u8) {
        self.by_part.set_up(kind, &mut self.cycle);
    }

    pub(super) fn seed(&mut self, seed: u64, replication: u64) {
        self.luck.seed(seed, replication);
    }

    /// Whether a nest can be loaded though the machine stands.
    pub(super) fn takes_while_blocked(&self) -> bool {
        self.inlets.iter().filter_map(|inlet| inlet.nest.as_ref()).any(Nest::has_room)
    }

    /// Starts with a finished part, which goes on as soon as there is room.
    pub(super) fn hold(&mut self, part: Part) {
        self.phase = Phase::Leaving;
        if self.plain {
            self.part = part;
        } else {
            self.made.push(part);
        }
    }

    pub(super) fn content(&self) -> usize {
        let nests = self.inlets.iter().filter_map(|inlet| inlet.nest.as_ref());
        let in_nests: usize = nests.map(|nest| nest.loaded.len() + nest.loading.len()).sum();
        in_nests + self.taken.len() + self.made.len() + usize::from(self.plain && self.phase != Phase::Free)
    }

    fn fire<O: Observer>(&mut self, floor: &mut Floor<O>, which: u8) {
        if which == 1 {
            if let Some(loads) = &mut self.loads {
                loads.spent();
            }
            return;
        }
        self.alarm.spent();
        match self.phase {
            Phase::Stroke => self.finish(floor),
            Phase::Checking { .. } => self.phase = Phase::Free,
            Phase::Free | Phase::Leaving => {}
        }
    }

    /// The stroke is over: what was taken becomes what has been made.
    fn finish<O: Observer>(&mut self, floor: &mut Floor<O>) {
        self.phase = Phase::Leaving;
        if let Some(reach) = self.reach {
            floor.free(self.me, reach);
        }
        for inlet in &mut self.inlets {
            if let Some(nest) = &mut inlet.nest {
                nest.in_stroke = 0;
            }
        }
        if let [only] = &self.inlets[..] {
            let lacks = only.per_stroke.saturating_sub(self.taken.len() as u32);
            std::mem::swap(&mut self.taken, &mut self.made);
            self.miss_out(floor, lacks);
        } else {
            self.assemble(floor);
        }
        for n in 0..self.made.len() {
            let part = self.made[n];
            floor.jams(self.me, &part, Moment::End);
        }
    }

    fn assemble<O: Observer>(&mut self, floor: &mut Floor<O>) {
        let good = !self.short && self.taken.iter().all(|part| floor.kind(part.kind).is_good(part));
        let Some(mut assembly) = self.taken.first().copied() else { return self.miss_out(floor, 1) };
        if !good {
            assembly.mark_spoiled();
        }
        floor.absorb(self.taken.len() as u64 - 1);
        self.taken.clear();
        self.made.push(assembly);
    }

    /// Counts what a stroke with a part missing should have made, and of which nothing goes on.
    fn miss_out<O: Observer>(&self, floor: &mut Floor<O>, n: u32) {
        if self.short {
            (0..n).for_each(|_| floor.note(self.me, Note::MadeNothing, None));
        }
    }

    /// Whether one part is taken, worked and handed on, and that is all.
    pub(crate) fn is_plain(&self) -> bool {
        self.plain
    }

    /// One of its timers has run out.
    pub(super) fn act<O: Observer>(&mut self, floor: &mut Floor<O>, which: u8) {
        if self.plain {
            return self.act_plain(floor);
        }
        self.fire(floor, which);
        if floor.settles_at_once(self.me, floor.stands(self.me)) {
            self.settle_full(floor);
        }
    }

    /// The stroke of a plain machine is over, or the next part has come.
    #[inline(always)]
    pub(crate) fn act_plain<O: Observer>(&mut self, floor: &mut Floor<O>) {
        let duty = floor.duty(self.me);
        self.alarm.spent();
        let mut struck = false;
        if self.phase == Phase::Stroke {
            self.phase = Phase::Leaving;
            struck = duty.jams(floor, &self.part, Moment::End);
        }
        if floor.settles_at_once(self.me, struck) {
            self.settle_plain(floor, duty);
        }
    }

    #[inline(never)]
    pub(super) fn settle<O: Observer>(&mut self, floor: &mut Floor<O>) {
        if !self.plain {
            self.settle_full(floor);
        } else if self.phase != Phase::Stroke {
            self.settle_plain(floor, floor.duty(self.me));
        } else {
            // After a stop in mid-stroke the state is still that of the stop.
            floor.set_state(self.me, State::Working);
        }
    }

    /// The same as the full settling where there is nothing but one part to take and to hand on.
    #[inline(always)]
    fn settle_plain<O: Observer>(&mut self, floor: &mut Floor<O>, duty: Duty) {
        if self.phase == Phase::Leaving {
            if !floor.hand_over(self.me, 0, self.exit, &self.part) {
                return duty.set_idle(floor, true);
            }
            self.phase = Phase::Free;
            if duty.jams(floor, &self.part, Moment::After) {
                return;
            }
        }
        let clear = floor.is_clear(self.exit);
        let mut due = Nanos::MAX;
        let mut missing = 0;
        if clear && duty.may_start() {
            missing = 1;
            match floor.offer(self.me, &self.inlets[0].inlets) {
                Offer::Ready(place) => {
                    floor.missing(self.me, 0);
                    floor.take_into(self.me, place, &mut self.part);
                    self.phase = Phase::Stroke;
                    let time = self.luck.time(floor, self.me, &self.cycle);
                    self.alarm.start(floor, floor.now + time);
                    duty.set_state(floor, State::Working);
                    duty.jams(floor, &self.part, Moment::Start);
                    return;
                }
                Offer::Due(at) => due = at,
                Offer::Nothing => {}
            }
        }
        self.alarm.set(floor, due);
        floor.missing(self.me, missing);
        duty.set_idle(floor, !clear);
    }

    #[inline(never)]
    fn settle_full<O: Observer>(&mut self, floor: &mut Floor<O>) {
        if self.phase == Phase::Leaving && !self.leave(floor) {
            return;
        }
        if self.loads.is_some() {
            self.load_nests(floor);
        }
        match self.phase {
            Phase::Stroke => return floor.set_state(self.me, State::Working),
            Phase::Checking { loaded: true } => return floor.set_state(self.me, State::Checking),
            Phase::Checking { loaded: false } => return floor.set_idle(self.me, false),
            Phase::Free | Phase::Leaving => {}
        }
        let clear = floor.is_clear(self.exit);
        let mut due = Nanos::MAX;
        let mut missing = 0;
        if clear && floor.may_start(self.me) {
            (missing, due) = self.missing(floor);
            let reads = self.check.as_ref().is_some_and(|check| check.reads_unloaded && missing != 0);
            if missing == 0 || reads {
                floor.missing(self.me, 0);
                if let Some(reach) = self.reach
                    && !floor.seize(self.me, reach)
                {
                    self.alarm.set(floor, Nanos::MAX);
                    return floor.set_state(self.me, State::Held);
                }
                return self.start_or_check(floor, missing);
            }
        }
        if let Some(reach) = self.reach {
            floor.leave_reach(self.me, reach);
        }
        self.alarm.set(floor, due);
        // What is being loaded is not missing: that is the time of the machine itself.
        let lacking = missing & self.lacking();
        floor.missing(self.me, lacking);
        if clear && missing != 0 && lacking == 0 {
            return floor.set_state(self.me, State::Loading);
        }
        floor.set_idle(self.me, !clear);
    }

    /// Which inlets lack parts in their nests, those being loaded counted, as bits; all bits of those without a nest.
    fn lacking(&self) -> u32 {
        let lacks = |inlet: &MachineInlet| match &inlet.nest {
            Some(nest) => ((nest.loaded.len() + nest.loading.len()) as u32) < inlet.per_stroke,
            None => true,
        };
        let all = self.inlets.iter().enumerate();
        all.map(|(n, inlet)| u32::from(lacks(inlet)) << n.min(31)).fold(0, |bits, bit| bits | bit)
    }

    /// Hands on what has been made; true when the machine is free.
    fn leave<O: Observer>(&mut self, floor: &mut Floor<O>) -> bool {
        while let Some(part) = self.made.first().copied() {
            if !floor.hand_over(self.me, 0, self.exit, &part) {
                floor.set_idle(self.me, true);
                return false;
            }
            self.made.remove(0);
            if self.made.is_empty() {
                self.phase = Phase::Free;
            }
            if floor.jams(self.me, &part, Moment::After) {
                return false;
            }
        }
        self.phase = Phase::Free;
        true
    }

    fn load_nests<O: Observer>(&mut self, floor: &mut Floor<O>) {
        let mut next = Nanos::MAX;
        for inlet in &mut self.inlets {
            let Some(nest) = &mut inlet.nest else { continue };
            while let Some(&(end, part)) = nest.loading.first() {
                if end > floor.now {
                    break;
                }
                nest.loading.remove(0);
                nest.loaded.push(part);
            }
            while nest.has_room() {
                match floor.offer(self.me, &inlet.inlets) {
                    Offer::Ready(place) => {
                        let part = floor.take(self.me, place);
                        let time = self.luck.time(floor, self.me, &nest.load);
                        if time == 0 {
                            nest.loaded.push(part);
                        } else {
                            let after = nest.loading.last().map_or(floor.now, |(end, _)| *end);
                            nest.loading.push((after + time, part));
                        }
                    }
                    Offer::Due(at) => {
                        next = next.min(at);
                        break;
                    }
                    Offer::Nothing => break,
                }
            }
            if let Some(&(end, _)) = nest.loading.first() {
                next = next.min(end);
            }
        }
        if let Some(loads) = &mut self.loads {
            loads.set(floor, next);
        }
    }

    /// Which inlets lack parts, as bits, and when the next part comes to the end of a place.
    fn missing<O: Observer>(&mut self, floor: &mut Floor<O>) -> (u32, Nanos) {
        let mut missing = 0;
        let mut due = Nanos::MAX;
        for (n, inlet) in self.inlets.iter().enumerate() {
            let lacks = match &inlet.nest {
                Some(nest) => (nest.loaded.len() as u32) < inlet.per_stroke,
                None if inlet.per_stroke == 1 || inlet.batch => match floor.offer(self.me, &inlet.inlets) {
                    Offer::Ready(_) => false,
                    Offer::Due(at) => {
                        due = due.min(at);
                        true
                    }
                    Offer::Nothing => true,
                },
                None => {
                    let (ready, next) = count_ready(floor, &inlet.inlets, inlet.per_stroke);
                    due = due.min(next);
                    ready < inlet.per_stroke
                }
            };
            missing |= u32::from(lacks) << n.min(31);
        }
        (missing, due)
    }

    fn start_or_check<O: Observer>(&mut self, floor: &mut Floor<O>, missing: u32) {
        if let Some(check) = &self.check {
            let luck = self.luck.stream();
            let mut all_full = true;
            for n in 0..self.inlets.len() {
                let lacks = missing >> n.min(31) & 1 == 1;
                let reads_full =
                    if lacks { luck.chance(check.false_full) } else { !luck.chance(check.false_empty) };
                all_full &= reads_full;
            }
            if O::HEARS_DRAWS && missing == 0 {
                // A failed check costs the time until the next one.
                let fails = 1.0 - libm::pow(1.0 - check.false_empty, self.inlets.len() as f64);
                let off = f64::from(u8::from(!all_full)) - fails;
                floor.observer.drew(Draw::Time(self.me), 1e9 * check.again.mean() * off);
            }
            if !all_full {
                if let Some(reach) = self.reach {
                    floor.free(self.me, reach);
                }
                let again = check.again.draw_ns(luck).max(1);
                self.phase = Phase::Checking { loaded: missing == 0 };
                floor.note(self.me, Note::CheckFailed, None);
                self.alarm.set(floor, floor.now + again);
                // Reading empty nests is no wait for a check: the machine is starved.
                if missing == 0 {
                    floor.set_state(self.me, State::Checking);
                } else {
                    floor.missing(self.me, missing);
                    floor.set_idle(self.me, false);
                }
                return;
            }
        }
        self.start(floor, missing);
    }

    fn start<O: Observer>(&mut self, floor: &mut Floor<O>, missing: u32) {
        self.short = missing != 0;
        let mut largest = 0;
        for n in 0..self.inlets.len() {
            let inlet = &mut self.inlets[n];
            match &mut inlet.nest {
                Some(nest) => {
                    let k = nest.loaded.len().min(inlet.per_stroke as usize);
                    largest = largest.max(k as u32);
                    self.taken.extend(nest.loaded.drain(..k));
                    nest.in_stroke = if nest.emptied_at_start { 0 } else { k as u32 };
                }
                None => {
                    let batch: u32 = inlet.inlets.places.iter().map(|place| floor.n_ready(*place)).sum();
                    let n = if inlet.batch { batch } else { inlet.per_stroke };
                    largest = largest.max(n);
                    for _ in 0..n {
                        if let Offer::Ready(place) = floor.offer(self.me, &inlet.inlets) {
                            self.taken.push(floor.take(self.me, place));
                        }
                    }
                }
            }
        }
        if missing != 0 {
            floor.note(self.me, Note::StrokeShort, None);
        }
        self.phase = Phase::Stroke;
        let time = self.luck.time(floor, self.me, &self.cycle) + u64::from(largest) * self.each;
        self.alarm.set(floor, floor.now + time);
        floor.set_state(self.me, State::Working);
        for n in 0..self.taken.len() {
            let part = self.taken[n];
            floor.jams(self.me, &part, Moment::Start);
        }
        if self.loads.is_some() {
            // Nests that were emptied take the next parts at once.
            floor.dirty.insert_in(self.me.0, O::NEAR);
        }
    }

    pub(super) fn message(&mut self, message: Message) {
        match message {
            Message::Thawed(stood) => {
                self.alarm.shift(stood);
                if let Some(loads) = &mut self.loads {
                    loads.shift(stood);
                }
                for inlet in &mut self.inlets {
                    for (end, _) in inlet.nest.iter_mut().flat_map(|nest| nest.loading.iter_mut()) {
                        *end += stood;
                    }
                }
            }
            Message::Redirect(_) | Message::Attended(_) => {}
        }
    }
}

/// Parts that are at the end of the places of an inlet, up to `wanted`, and when the next one comes.
pub(super) fn count_ready<O: Observer>(floor: &Floor<O>, inlets: &Inlets, wanted: u32) -> (u32, Nanos) {
    let mut ready = 0;
    let mut next = Nanos::MAX;
    for &place in &inlets.places {
        let (here, due) = ready_in(floor, place, wanted);
        ready += here;
        next = next.min(due);
    }
    (ready, next)
}

fn ready_in<O: Observer>(floor: &Floor<O>, place: PlaceId, wanted: u32) -> (u32, Nanos) {
    let place = floor.place(place);
    if place.counts().is_some() {
        return (if place.is_endless() { wanted } else { place.len() }, Nanos::MAX);
    }
    for n in 0..place.len().min(wanted) {
        match place.there_at(n) {
            Some(due) if due <= floor.now => {}
            Some(due) => return (n, due),
            None => return (n, Nanos::MAX),
        }
    }
    (place.len().min(wanted), Nanos::MAX)
}

#[cfg(test)]
mod tests;
