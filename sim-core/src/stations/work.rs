//! Plain work station: `places` parts at once, a time for each, blocking after service.
//!
//! Feeders without detail, spindles, probes and the queues of the textbooks are this.
//!
//! **Timing.** A part is taken as soon as a place is free, the station may start and an inlet has a part at
//! its end; its time is drawn then. A finished part that finds no room keeps its place (blocking after
//! service). A station with an endless source starts the next service when the finished part has left. A
//! jam by part strikes when work starts, ends (before the part moves on) or after it has moved on.

use super::Station;
use super::alarm::Alarm;
use super::blueprint::{
    Blueprint, ExitSpec, Site, SourceTraffic, To, TrafficSite, check_kind, kind_named, read_part, read_to,
};
use super::by_part::{ByPart, ByPartSpec, check_by_part, mean_by_part};
use super::dice::Dice;
use super::times::Times;
use crate::diag::{Diagnostics, Problem, code};
use crate::kernel::floor::Duty;
use crate::kernel::{Exit, Floor, Inlets, Message, Moment, Observer, Offer, State, StationId};
use crate::part::{Nanos, Part};
use crate::terms::kind::Kind;
use crate::terms::law::Law;
use crate::terms::law_form::law;
use crate::text::fields::Object;
use crate::text::forms::{Spanned, count, flag, map_of};
use crate::units::Dimension;

/// Where a work station's parts come from.
#[derive(Clone, Debug)]
pub enum Source {
    /// From the places upstream.
    Inlets(Inlets),
    /// Never runs out: makes parts of this kind itself, with luck of its own.
    Endless(u8, Dice),
}

#[derive(Clone, Copy, Debug)]
struct Job {
    part: Part,
    end: Nanos,
}

/// What a station with one place is doing.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
enum Stage {
    Empty,
    Busy,
    Done,
}

/// State of a work station.
#[derive(Clone, Debug)]
pub struct Work {
    me: StationId,
    alarm: Alarm,
    source: Source,
    exit: Exit,
    places: u32,
    service: Times,
    by_part: ByPart,
    /// Several places.
    busy: Vec<Job>,
    done: Vec<Part>,
    /// One place: it is all that a station with one place uses.
    stage: Stage,
    job: Job,
}

impl Work {
    /// An idle station.
    pub fn new(me: StationId, alarm: Alarm, source: Source, exit: Exit, places: u32, service: Times) -> Self {
        let room = if places == 1 { 0 } else { places.min(1024) as usize };
        let (busy, done) = (Vec::with_capacity(room), Vec::with_capacity(room));
        let job = Job { part: Part::default(), end: 0 };
        let by_part = ByPart::default();
        Work { me, alarm, source, exit, places, service, by_part, busy, done, stage: Stage::Empty, job }
    }

    /// The same station with times by part.
    #[must_use]
    pub(super) fn with_times(self, by_part: ByPart) -> Self {
        let service = if by_part.is_empty() { self.service } else { self.service.changing() };
        Work { by_part, service, ..self }
    }

    pub(super) fn set_up(&mut self, kind: u8) {
        self.service.set_up(&self.by_part, kind);
    }

    pub(super) fn bring(&mut self, kind: u8) {
        if let Source::Endless(brought, _) = &mut self.source {
            *brought = kind;
        }
    }

    pub(super) fn seed(&mut self, seed: u64, replication: u64) {
        self.service.seed(seed, replication);
        if let Source::Endless(_, luck) = &mut self.source {
            luck.seed(seed, replication);
        }
    }

    /// Starts with a finished part, which goes on as soon as there is room.
    pub(super) fn hold(&mut self, part: Part) {
        if self.places == 1 {
            (self.stage, self.job.part) = (Stage::Done, part);
        } else {
            self.done.push(part);
        }
    }

    pub(super) fn content(&self) -> usize {
        self.busy.len() + self.done.len() + usize::from(self.stage != Stage::Empty)
    }

    /// Whether it has one place, and if so, whether it makes its parts itself.
    pub(crate) fn is_single(&self) -> (bool, bool) {
        (self.places == 1, matches!(self.source, Source::Endless(..)))
    }

    /// The time of a part is over, or the next part has come.
    pub(super) fn act<O: Observer>(&mut self, floor: &mut Floor<O>) {
        match self.is_single() {
            (true, true) => self.act_single::<O, true>(floor),
            (true, false) => self.act_single::<O, false>(floor),
            (false, _) => {
                self.alarm.spent();
                self.fire_several(floor);
                if floor.settles_at_once(self.me, floor.stands(self.me)) {
                    self.settle_several(floor);
                }
            }
        }
    }

    /// The same for a station with one place, once for those that make their parts themselves and once for
    /// those that do not: what each does is then easier to foresee for the processor.
    #[inline(always)]
    pub(crate) fn act_single<O: Observer, const ENDLESS: bool>(&mut self, floor: &mut Floor<O>) {
        let duty = floor.duty(self.me);
        self.alarm.spent();
        let mut struck = false;
        if self.stage == Stage::Busy {
            self.stage = Stage::Done;
            struck = duty.jams(floor, &self.job.part, Moment::End);
        }
        if floor.settles_at_once(self.me, struck) {
            self.settle_single::<O, ENDLESS>(floor, duty);
        }
    }

    #[inline(never)]
    pub(super) fn settle<O: Observer>(&mut self, floor: &mut Floor<O>) {
        match self.is_single() {
            (true, true) => self.settle_single::<O, true>(floor, floor.duty(self.me)),
            (true, false) => self.settle_single::<O, false>(floor, floor.duty(self.me)),
            (false, _) => self.settle_several(floor),
        }
    }

    #[inline(always)]
    fn settle_single<O: Observer, const ENDLESS: bool>(&mut self, floor: &mut Floor<O>, duty: Duty) {
        match self.stage {
            Stage::Busy => {
                self.alarm.set(floor, self.job.end);
                return duty.set_state(floor, State::Working);
            }
            Stage::Done => {
                let passed = match self.exit {
                    Exit::Hand(place) => floor.pass_divider(self.me, place, &self.job.part),
                    Exit::Leave | Exit::Store(_) => false,
                };
                if !passed && !floor.hand_over(self.me, 0, self.exit, &self.job.part) {
                    return duty.set_idle(floor, true);
                }
                self.stage = Stage::Empty;
                if duty.jams(floor, &self.job.part, Moment::After) {
                    return;
                }
                if passed {
                    if floor.dirty.has_below(self.me.0) {
                        return floor.dirty.insert_in(self.me.0, O::NEAR);
                    }
                } else if let Exit::Hand(place) = self.exit {
                    // Whoever takes from the hand is settled first: it is seen then whether the part stays.
                    let taker = floor.place(place).first_taker();
                    if taker < self.me && floor.state(taker) != State::Working {
                        return floor.dirty.insert_in(self.me.0, O::NEAR);
                    }
                }
            }
            Stage::Empty => {}
        }
        let clear = floor.is_clear(self.exit);
        let mut due = Nanos::MAX;
        if clear && duty.may_start() {
            if ENDLESS {
                if let Source::Endless(kind, luck) = &mut self.source {
                    floor.create_into(self.me, *kind, luck.stream(), &mut self.job.part);
                    return self.start(floor, duty);
                }
            } else if let Source::Inlets(inlets) = &self.source {
                match floor.offer(self.me, inlets) {
                    Offer::Ready(place) => {
                        floor.take_into(self.me, place, &mut self.job.part);
                        return self.start(floor, duty);
                    }
                    Offer::Due(at) => due = at,
                    Offer::Nothing => {}
                }
            }
        }
        self.alarm.set(floor, due);
        duty.set_idle(floor, !clear);
    }

    #[inline(always)]
    fn start<O: Observer>(&mut self, floor: &mut Floor<O>, duty: Duty) {
        let end = floor.now + self.service.take(floor, self.me);
        self.stage = Stage::Busy;
        self.job.end = end;
        if duty.jams(floor, &self.job.part, Moment::Start) {
            // Nothing of the service has passed: it begins when the jam is cleared.
            return;
        }
        self.alarm.set(floor, end);
        duty.set_state(floor, State::Working);
    }

    fn fire_several<O: Observer>(&mut self, floor: &mut Floor<O>) {
        let mut n = 0;
        while n < self.busy.len() {
            if self.busy[n].end > floor.now {
                n += 1;
                continue;
            }
            let job = self.busy.remove(n);
            self.done.push(job.part);
            if floor.jams(self.me, &job.part, Moment::End) {
                return;
            }
        }
    }

    #[inline(never)]
    fn settle_several<O: Observer>(&mut self, floor: &mut Floor<O>) {
        while let Some(part) = self.done.first() {
            let part = *part;
            if !floor.hand_over(self.me, 0, self.exit, &part) {
                break;
            }
            self.done.remove(0);
            if floor.jams(self.me, &part, Moment::After) {
                return;
            }
        }
        let mut due = Nanos::MAX;
        while self.standing(floor) + self.busy.len() < self.places as usize && floor.may_start(self.me) {
            let part = match &mut self.source {
                Source::Endless(kind, luck) => floor.create(self.me, *kind, luck.stream()),
                Source::Inlets(inlets) => match floor.offer(self.me, inlets) {
                    Offer::Ready(place) => floor.take(self.me, place),
                    Offer::Due(at) => {
                        due = at;
                        break;
                    }
                    Offer::Nothing => break,
                },
            };
            let end = floor.now + self.service.take(floor, self.me);
            self.busy.push(Job { part, end });
            if floor.jams(self.me, &part, Moment::Start) {
                // Nothing of the service has passed: it begins when the jam is cleared.
                return;
            }
        }
        let next = self.busy.iter().map(|job| job.end).fold(due, Nanos::min);
        self.alarm.set(floor, next);
        if self.busy.is_empty() {
            floor.set_idle(self.me, self.standing(floor) > 0);
        } else {
            floor.set_state(self.me, State::Working);
        }
    }

    /// Whether a part of it is blocked while another place is free.
    pub(super) fn takes_while_blocked<O: Observer>(&self, floor: &Floor<O>) -> bool {
        self.places > 1 && self.standing(floor) + self.busy.len() < self.places as usize
    }

    /// Finished parts that have not been taken away.
    fn standing<O: Observer>(&self, floor: &Floor<O>) -> usize {
        let in_hand = match self.exit {
            Exit::Hand(place) => floor.place(place).len() as usize,
            Exit::Leave | Exit::Store(_) => 0,
        };
        in_hand + self.done.len()
    }

    pub(super) fn message(&mut self, message: Message) {
        match message {
            Message::Thawed(stood) => {
                self.alarm.shift(stood);
                self.job.end += stood;
                for job in &mut self.busy {
                    job.end += stood;
                }
            }
            Message::Redirect(_) | Message::Attended(_) => {}
        }
    }
}

/// A work station as the file states it.
#[derive(Debug, Clone)]
pub struct WorkSpec {
    to: To,
    places: u32,
    time: Law,
    time_by_part: ByPartSpec,
    endless: bool,
    part: Option<Spanned<String>>,
}

/// Reads a work station.
pub fn read(object: &mut Object<'_>) -> WorkSpec {
    let endless = object.optional(
        "endless",
        flag(),
        "false",
        "Never runs out: it makes parts itself, the next one starts when the finished one has left",
    );
    let part = read_part(object);
    if part.is_some() && !endless && object.sound(&["endless", "part"]) {
        let problem = Problem::new(code::BAD_CONNECTION, "`part` is for a station that brings parts itself");
        object.fail("part", problem.help("add \"endless\": true, or take `part` out"));
    }
    WorkSpec {
        to: read_to(object),
        places: object.optional("places", count().at_least(1).at_most(1000), "1", "Parts worked on at once")
            as u32,
        time: object.required("time", law(Dimension::Time), "Time for one part"),
        time_by_part: object.optional(
            "time_by_part",
            map_of(law(Dimension::Time)),
            "{}",
            "In a product sequence: the time during the run of a part, where it is not `time`",
        ),
        endless,
        part,
    }
}

impl Blueprint for WorkSpec {
    fn exits(&self) -> Vec<ExitSpec> {
        vec![ExitSpec { key: "to", to: self.to.clone() }]
    }

    fn takes(&self) -> bool {
        !self.endless
    }

    fn stand_at_most(&self) -> u32 {
        self.places
    }

    fn brings(&self, kinds: &[Kind]) -> Option<u8> {
        self.endless.then(|| kind_named(kinds, self.part.as_ref()))
    }

    fn check(&self, kinds: &[Kind], problems: &mut Diagnostics) {
        check_kind(kinds, self.part.as_ref(), problems);
        check_by_part(&self.time_by_part, kinds, problems);
    }

    fn traffic(&self, traffic: &mut TrafficSite<'_>) {
        traffic.places = f64::from(self.places);
        let time_s = mean_by_part(&self.time, &self.time_by_part, traffic.kind_of_run());
        traffic.seconds.fill(time_s);
        if self.endless {
            let kind = traffic.brought(self.part.as_ref());
            traffic.source = Some(SourceTraffic {
                kind,
                most_per_s: f64::INFINITY,
                is_driven: false,
                waits_for_call: false,
            });
        }
    }

    fn build(&self, site: &mut Site<'_>) -> Station {
        let source = if self.endless {
            Source::Endless(site.kind(self.part.as_ref()), site.dice("parts"))
        } else {
            Source::Inlets(site.inlets.clone())
        };
        let (alarm, service) = (site.alarm(), Times::new(site.law(&self.time), site.dice("time")));
        let work = Work::new(site.me, alarm, source, site.exits[0], self.places, service);
        Station::Work(work.with_times(ByPart::new(site, &self.time, &self.time_by_part)))
    }
}
