//! Machine: makes a stroke when every inlet shows its parts; the usual point of use.
//!
//! **Inlets.** *Together*: all parts are taken at the moment the stroke starts. *Nest*: each inlet has a
//! nest of its own that takes parts whenever it has room, after a load time; it is emptied when the stroke
//! starts or when it ends.
//!
//! **Presence check.** When the machine is free and all nests are loaded, the presence of each inlet's part
//! is read, independently; a loaded nest may read empty. If any reads empty, all are read again after the
//! re-check time. If the design also reads while nests are unloaded, an empty nest may read full: if then
//! all read full, a stroke is made with a part missing, and the assembly counts as bad.
//!
//! **Timing.** A stroke starts when the machine is free, may start and all inlets show their parts; its time
//! is drawn then. What it has made leaves at the end of the stroke; if there is no room it stays (blocking
//! after service). With one inlet the parts themselves go on; with several, one assembly does, bad if any of
//! its parts is bad, the wrong way round or missing. Jams by part: at the start every part of the stroke has its
//! chance, at the end and after it everything that goes on; what goes on after a jam waits until it is cleared.

use super::Station;
use super::alarm::Alarm;
use super::blueprint::{Blueprint, ExitSpec, Site, To, TrafficSite, read_to};
use super::by_part::{ByPart, ByPartSpec, check_by_part};
use super::dice::Dice;
use crate::diag::{Diagnostics, Problem, code};
use crate::kernel::floor::Duty;
use crate::kernel::{
    Exit, Floor, Inlets, Message, Moment, Note, Observer, Offer, PlaceId, Sampler, State, StationId,
};
use crate::part::{Nanos, Part};
use crate::terms::kind::Kind;
use crate::terms::law::Law;
use crate::terms::law_form::law;
use crate::text::fields::Object;
use crate::text::forms::{Chance, Spanned, chance, count, flag, list_of, map_of, name, nested, one_of};
use crate::units::Dimension;

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
    exit: Exit,
    luck: Dice,
    phase: Phase,
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
            && matches!(&inlets[..], [only] if only.per_stroke == 1 && only.nest.is_none());
        let (phase, part) = (Phase::Free, Part::default());
        let by_part = ByPart::default();
        Machine {
            me,
            alarm,
            loads,
            inlets,
            check,
            cycle,
            exit,
            luck,
            phase,
            taken,
            made,
            plain,
            part,
            by_part,
        }
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
        for inlet in &mut self.inlets {
            if let Some(nest) = &mut inlet.nest {
                nest.in_stroke = 0;
            }
        }
        if let [_] = self.inlets[..] {
            std::mem::swap(&mut self.taken, &mut self.made);
        } else {
            self.assemble(floor);
        }
        for n in 0..self.made.len() {
            let part = self.made[n];
            floor.jams(self.me, &part, Moment::End);
        }
    }

    fn assemble<O: Observer>(&mut self, floor: &mut Floor<O>) {
        let wanted: u32 = self.inlets.iter().map(|inlet| inlet.per_stroke).sum();
        let whole = self.taken.len() == wanted as usize;
        let good = whole && self.taken.iter().all(|part| floor.kind(part.kind).is_good(part));
        let Some(mut assembly) = self.taken.first().copied() else { return };
        if !good {
            assembly.mark_spoiled();
        }
        floor.absorb(self.taken.len() as u64 - 1);
        self.taken.clear();
        self.made.push(assembly);
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
    #[inline(never)]
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
                    let time = self.cycle.draw_ns(self.luck.stream());
                    self.alarm.set(floor, floor.now + time);
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
                return self.start_or_check(floor, missing);
            }
        }
        self.alarm.set(floor, due);
        floor.missing(self.me, missing);
        floor.set_idle(self.me, !clear);
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
                        let time = nest.load.draw_ns(self.luck.stream());
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
                None if inlet.per_stroke == 1 => match floor.offer(self.me, &inlet.inlets) {
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
            if !all_full {
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
        for n in 0..self.inlets.len() {
            let inlet = &mut self.inlets[n];
            match &mut inlet.nest {
                Some(nest) => {
                    let k = nest.loaded.len().min(inlet.per_stroke as usize);
                    self.taken.extend(nest.loaded.drain(..k));
                    nest.in_stroke = if nest.emptied_at_start { 0 } else { k as u32 };
                }
                None => {
                    for _ in 0..inlet.per_stroke {
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
        let time = self.cycle.draw_ns(self.luck.stream());
        self.alarm.set(floor, floor.now + time);
        floor.set_state(self.me, State::Working);
        for n in 0..self.taken.len() {
            let part = self.taken[n];
            floor.jams(self.me, &part, Moment::Start);
        }
        if self.loads.is_some() {
            // Nests that were emptied take the next parts at once.
            floor.dirty.insert(self.me.0);
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
fn count_ready<O: Observer>(floor: &Floor<O>, inlets: &Inlets, wanted: u32) -> (u32, Nanos) {
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
        match place.due(n) {
            Some(due) if due <= floor.now => {}
            Some(due) => return (n, due),
            None => return (n, Nanos::MAX),
        }
    }
    (place.len().min(wanted), Nanos::MAX)
}

/// One inlet of a machine as the file states it.
#[derive(Debug, Clone)]
struct InletSpec {
    from: Option<Spanned<String>>,
    parts: u32,
    nest: Option<NestSpec>,
}

#[derive(Debug, Clone)]
struct NestSpec {
    capacity: u32,
    load: Law,
    emptied_at_start: bool,
}

#[derive(Debug, Clone)]
struct CheckSpec {
    false_empty: Chance,
    false_full: Chance,
    reads_unloaded: bool,
    again: Law,
}

/// A machine as the file states it.
#[derive(Debug, Clone)]
pub struct MachineSpec {
    to: To,
    cycle: Law,
    cycle_by_part: ByPartSpec,
    inlets: Vec<InletSpec>,
    check: Option<CheckSpec>,
}

fn read_nest(object: &mut Object<'_>) -> NestSpec {
    const EMPTIED: &[(&str, bool, &str)] = &[
        ("at the end", false, "the parts stay in the nest until the stroke is over"),
        ("at the start", true, "the parts leave the nest when the stroke starts"),
    ];
    NestSpec {
        capacity: object.optional(
            "capacity",
            count().at_least(1).at_most(100_000),
            "1",
            "Parts that it holds",
        ) as u32,
        load: object.optional("load", law(Dimension::Time), "0 s", "Time to load one part"),
        emptied_at_start: object.optional(
            "emptied",
            one_of(EMPTIED),
            "at the end",
            "When a stroke empties it",
        ),
    }
}

fn read_inlet(object: &mut Object<'_>) -> InletSpec {
    let inlet = InletSpec {
        from: Some(object.required("from", name(), "The station from which this inlet takes")),
        parts: object.optional("parts", count().at_least(1).at_most(1000), "1", "Parts for each stroke")
            as u32,
        nest: object.maybe(
            "nest",
            nested("nest", read_nest),
            "A nest that is loaded ahead; left out: the parts are taken when the stroke starts",
        ),
    };
    if let Some(nest) = &inlet.nest
        && nest.capacity < inlet.parts
        && object.sound(&["nest", "parts"])
    {
        let problem = Problem::new(code::OUT_OF_RANGE, "the nest holds fewer parts than a stroke takes");
        object.fail("nest", problem.expected(format!("a capacity of {} or more", inlet.parts)));
    }
    inlet
}

fn read_check(object: &mut Object<'_>) -> CheckSpec {
    CheckSpec {
        false_empty: object.optional(
            "false_empty",
            chance(),
            "0",
            "Chance that a part that is there is not seen",
        ),
        false_full: object.optional("false_full", chance(), "0", "Chance that an empty nest reads full"),
        reads_unloaded: object.optional(
            "reads_unloaded",
            flag(),
            "false",
            "Whether the nests are also read while one of them is not loaded yet",
        ),
        again: object.required(
            "again",
            law(Dimension::Time).positive(),
            "Time after a failed check until all are read again",
        ),
    }
}

/// Reads a machine.
pub fn read(object: &mut Object<'_>) -> MachineSpec {
    MachineSpec {
        to: read_to(object),
        cycle: object.required("cycle", law(Dimension::Time), "Time of one stroke"),
        cycle_by_part: object.optional(
            "cycle_by_part",
            map_of(law(Dimension::Time)),
            "{}",
            "In a product sequence: the cycle during the run of a part, where it is not `cycle`",
        ),
        inlets: object.optional(
            "inlets",
            list_of(nested("inlet", read_inlet)),
            "[]",
            "Its inlets, one for each sort of part in a stroke; left out: one part from whatever feeds it",
        ),
        check: object.maybe(
            "check",
            nested("check", read_check),
            "Presence check before a stroke; left out: none",
        ),
    }
}

impl MachineSpec {
    fn inlet_specs(&self) -> Vec<InletSpec> {
        if self.inlets.is_empty() {
            return vec![InletSpec { from: None, parts: 1, nest: None }];
        }
        self.inlets.clone()
    }
}

impl Blueprint for MachineSpec {
    fn exits(&self) -> Vec<ExitSpec> {
        vec![ExitSpec { key: "to", to: self.to.clone() }]
    }

    fn named_inlets(&self) -> Vec<Spanned<String>> {
        self.inlets.iter().filter_map(|inlet| inlet.from.clone()).collect()
    }

    fn takes_at_once(&self) -> Vec<u32> {
        // A nest is loaded part by part.
        self.inlets.iter().map(|inlet| if inlet.nest.is_some() { 1 } else { inlet.parts }).collect()
    }

    fn stand_at_most(&self) -> u32 {
        if let [only] = &self.inlets[..] { only.parts } else { 1 }
    }

    fn n_told_inlets(&self) -> u32 {
        if self.inlets.len() > 1 { self.inlets.len() as u32 } else { 0 }
    }

    fn check(&self, kinds: &[Kind], problems: &mut Diagnostics) {
        check_by_part(&self.cycle_by_part, kinds, problems);
    }

    fn traffic(&self, traffic: &mut TrafficSite<'_>) {
        let inlets = self.inlet_specs();
        traffic.per_product = inlets.iter().map(|inlet| f64::from(inlet.parts)).collect();
        traffic.seconds.fill(self.cycle.mean());
        if let [inlet] = &inlets[..] {
            traffic.places = f64::from(inlet.parts);
        }
    }

    fn build(&self, site: &mut Site<'_>) -> Station {
        let alarm = site.alarm();
        let mut inlets = Vec::new();
        for (n, spec) in self.inlet_specs().iter().enumerate() {
            let from = site.named_inlets.get(n).unwrap_or(&site.inlets).clone();
            for place in from.places.clone() {
                site.wake_until(place, spec.parts);
            }
            let nest = spec
                .nest
                .as_ref()
                .map(|nest| Nest::new(nest.capacity, site.law(&nest.load), nest.emptied_at_start));
            inlets.push(MachineInlet { inlets: from, per_stroke: spec.parts, nest });
        }
        let has_nests = inlets.iter().any(|inlet| inlet.nest.is_some());
        let loads = has_nests.then(|| site.alarm());
        let check = self.check.as_ref().map(|check| Check {
            false_empty: check.false_empty.value(),
            false_full: check.false_full.value(),
            reads_unloaded: check.reads_unloaded,
            again: site.law(&check.again),
        });
        let (cycle, luck) = (site.law(&self.cycle), site.dice("cycle"));
        let machine = Machine::new(site.me, alarm, loads, inlets, check, cycle, site.exits[0], luck);
        Station::Machine(machine.with_cycles(ByPart::new(site, &self.cycle, &self.cycle_by_part)))
    }
}
