//! Meter conveyor: brings parts on by the index, or at a continuous rate; also trays and step feeders.
//!
//! **By the index**, on demand: an index starts when the place beyond has room for a part (or what was handed
//! to the next station has been taken) and at least one part is there to be taken. It takes a number of parts
//! by law (never more than are there) and a time by law; the parts go on together at its end. An index that
//! brings none is counted as an empty stroke. What finds no room waits (blocked after the index).
//!
//! **At a rate:** every portion time, the first one a portion time after the start, rate x time parts go on;
//! whole numbers by random rounding, with the fraction carried on, so that the sum never differs from the exact
//! amount by a whole part. What is not there is missed and not made up for. While a portion finds no room the
//! conveyor stands; the next portion comes a portion time after it has found room.
//!
//! **Held or off:** no index starts, no portion goes on; an index in progress is finished. **State:** blocked
//! only with parts ready to be taken or handed on. A jam by part strikes when an index or portion starts,
//! at the end of an index (each of its parts has its chance), or when a part has gone on.
//!
//! **In the balance** an index or a portion brings no more parts than can ever be there to be taken.

use super::Station;
use super::alarm::Alarm;
use super::amounts::kind_of;
use super::blueprint::{Blueprint, ExitSpec, Site, To, TrafficSite, check_kind, part_needs, read_to};
use super::dice::Dice;
use super::outlet::Outlet;
use super::track::nanos;
use crate::diag::{Diagnostics, Place as FilePlace, Problem, code};
use crate::kernel::{Exit, Floor, Inlets, Message, Moment, Note, Observer, Offer, Sampler, State, StationId};
use crate::part::{Nanos, Part, SECOND};
use crate::terms::kind::Kind;
use crate::terms::law::Law;
use crate::terms::law_form::{HANDFUL_MAX, count_law, law};
use crate::text::fields::Object;
use crate::text::forms::{Choice, Spanned, either, name, rate, time, volume_rate};
use crate::units::Dimension;

/// How a meter conveyor brings parts on.
#[derive(Clone, Debug)]
pub enum Drive {
    /// One index on demand.
    Index {
        /// Parts of an index.
        parts: Sampler,
        /// Its time.
        time: Sampler,
    },
    /// Portions on a clock.
    Rate {
        /// Parts of a portion, not a whole number.
        parts: f64,
        /// Time between portions, ns, 1 at least.
        period: Nanos,
    },
}

/// State of a meter conveyor.
#[derive(Clone, Debug)]
pub struct Meter {
    me: StationId,
    alarm: Alarm,
    inlets: Inlets,
    drive: Drive,
    luck: Dice,
    outlet: Outlet,
    /// An index is in progress.
    busy: bool,
    /// The portion clock runs.
    ticking: bool,
    /// Parts that portions have brought too few so far.
    carry: f64,
}

impl Meter {
    /// A conveyor at rest.
    pub fn new(me: StationId, alarm: Alarm, inlets: Inlets, exit: Exit, drive: Drive, luck: Dice) -> Self {
        let outlet = Outlet::new(me, exit);
        Meter { me, alarm, inlets, drive, luck, outlet, busy: false, ticking: false, carry: 0.0 }
    }

    pub(super) fn runs_at_a_rate(&self) -> bool {
        matches!(self.drive, Drive::Rate { .. })
    }

    pub(super) fn seed(&mut self, seed: u64, replication: u64) {
        self.luck.seed(seed, replication);
    }

    /// Starts with a finished part, which goes on as soon as there is room.
    pub(super) fn hold(&mut self, part: Part) {
        self.outlet.parts.push_back(part);
    }

    pub(super) fn content(&self) -> usize {
        self.outlet.parts.len()
    }

    pub(super) fn fire<O: Observer>(&mut self, floor: &mut Floor<O>) {
        self.alarm.spent();
        match self.drive {
            Drive::Index { .. } => {
                if std::mem::take(&mut self.busy) {
                    for part in &self.outlet.parts {
                        floor.jams(self.me, part, Moment::End);
                    }
                }
            }
            Drive::Rate { parts, .. } => {
                self.ticking = false;
                if floor.may_start(self.me) {
                    let due = self.carry + parts;
                    let n = (due + self.luck.stream().unit()).floor().max(0.0);
                    self.carry = due - n;
                    self.take(floor, n as u64);
                }
            }
        }
    }

    /// Takes up to `most` parts that are there, and gives a jam its chance.
    fn take<O: Observer>(&mut self, floor: &mut Floor<O>, most: u64) {
        for _ in 0..most {
            let Offer::Ready(place) = floor.offer(self.me, &self.inlets) else { break };
            self.outlet.parts.push_back(floor.take(self.me, place));
        }
        // A portion that rounding has made empty is none.
        if self.outlet.parts.is_empty() && (most > 0 || self.busy) {
            floor.note(self.me, Note::EmptyStroke, None);
        }
        for part in &self.outlet.parts {
            floor.jams(self.me, part, Moment::Start);
        }
    }

    pub(super) fn settle<O: Observer>(&mut self, floor: &mut Floor<O>) {
        if self.busy {
            // After a stop in mid-index the state is still that of the stop.
            return floor.set_state(self.me, State::Working);
        }
        let handed = self.outlet.hand_on(floor);
        if floor.stands(self.me) {
            return;
        }
        if !handed {
            self.ticking = false;
            self.alarm.set(floor, Nanos::MAX);
            return floor.set_idle(self.me, true);
        }
        match self.drive {
            Drive::Index { .. } => self.seek_index(floor),
            Drive::Rate { period, .. } => {
                if !self.ticking {
                    self.ticking = true;
                    self.alarm.set(floor, floor.now.saturating_add(period));
                }
                match floor.offer(self.me, &self.inlets) {
                    Offer::Ready(_) if floor.may_start(self.me) => floor.set_state(self.me, State::Working),
                    Offer::Ready(_) | Offer::Due(_) | Offer::Nothing => floor.set_idle(self.me, false),
                }
            }
        }
    }

    /// Starts an index if it is wanted and there is something to be taken.
    fn seek_index<O: Observer>(&mut self, floor: &mut Floor<O>) {
        let wanted = self.outlet.is_wanted(floor);
        let (mut ready, mut due) = (false, Nanos::MAX);
        if floor.may_start(self.me) {
            match floor.offer(self.me, &self.inlets) {
                Offer::Ready(_) if wanted => return self.start_index(floor),
                Offer::Ready(_) => ready = true,
                Offer::Due(at) => due = at,
                Offer::Nothing => {}
            }
        }
        if let Exit::Store(place) = self.outlet.exit {
            // Listed only while it could start, so that it keeps no room from others.
            if ready { floor.wait_for_room(self.me, place) } else { floor.stop_waiting(self.me, place) }
        }
        self.alarm.set(floor, due);
        floor.set_idle(self.me, ready);
    }

    fn start_index<O: Observer>(&mut self, floor: &mut Floor<O>) {
        let Drive::Index { parts, time } = &self.drive else {
            panic!("only a conveyor that goes by the index starts one")
        };
        let n = parts.draw_count(self.luck.stream());
        // An index without any time could bring nothing for ever at one instant.
        let time = self.luck.time(floor, self.me, time).max(1);
        self.busy = true;
        self.alarm.set(floor, floor.now.saturating_add(time));
        floor.set_state(self.me, State::Working);
        self.take(floor, n);
    }

    pub(super) fn message(&mut self, message: Message) {
        match message {
            Message::Thawed(stood) => self.alarm.shift(stood),
            Message::Redirect(_) | Message::Attended(_) => {}
        }
    }
}

/// How parts are brought on, as the file states it.
#[derive(Debug, Clone)]
enum DriveSpec {
    Index { parts: Law, time: Law },
    Rate { flow: Choice<f64, f64>, portion_s: f64 },
}

/// A meter conveyor as the file states it.
#[derive(Debug, Clone)]
pub struct MeterSpec {
    to: To,
    place: FilePlace,
    part: Option<Spanned<String>>,
    drive: DriveSpec,
}

/// Reads a meter conveyor.
pub fn read(object: &mut Object<'_>) -> MeterSpec {
    let to = read_to(object);
    let per_index = object.maybe(
        "per_index",
        count_law().positive().at_most(HANDFUL_MAX),
        "Parts that an index brings; one if left out",
    );
    let index_time = object.maybe(
        "index_time",
        law(Dimension::Time).positive(),
        "Time of an index, which starts on demand; left out: it runs at a `rate`",
    );
    let flow = object.maybe(
        "rate",
        either(rate().positive().at_most("1000 /s"), volume_rate().positive()),
        "Parts or volume per time, brought on continuously; left out: it goes by the index",
    );
    let portion_s = object.optional(
        "portion",
        time().at_least("1 ms").at_most("1 h"),
        "1 s",
        "At a rate: time between portions",
    );
    let part = object.maybe(
        "part",
        name(),
        "The part kind whose density turns a volume into parts; left out: the first one of the file",
    );
    let place = object.place_of("rate");
    let drive = match (index_time, flow) {
        (Some(time), None) => DriveSpec::Index { parts: per_index.unwrap_or_else(|| Law::fixed(1.0)), time },
        (None, Some(flow)) => {
            if per_index.is_some() {
                let problem =
                    Problem::new(code::BAD_CONNECTION, "a conveyor that runs at a rate has no index");
                object.fail("per_index", problem.help("take `per_index` or `rate` out"));
            }
            DriveSpec::Rate { flow, portion_s }
        }
        (Some(_), Some(_)) | (None, None) => {
            if object.sound(&["index_time", "rate"]) {
                object.fail_here(
                    Problem::new(code::MISSING_KEY, "it goes by the index or at a rate, by one of the two")
                        .expected("one of `index_time`, `rate`"),
                );
            }
            DriveSpec::Index { parts: Law::fixed(1.0), time: Law::fixed(1.0) }
        }
    };
    MeterSpec { to, place, part, drive }
}

impl MeterSpec {
    /// Parts per second at a rate; 1 where a density is missing, which is an error of its own.
    fn per_s(&self, kinds: &[Kind], flow: Choice<f64, f64>) -> f64 {
        match flow {
            Choice::First(per_s) => per_s,
            Choice::Second(m3_s) => {
                kind_of(kinds, self.part.as_ref()).and_then(|kind| kind.density_m3).map_or(1.0, |d| m3_s * d)
            }
        }
    }
}

impl Blueprint for MeterSpec {
    fn exits(&self) -> Vec<ExitSpec> {
        vec![ExitSpec { key: "to", to: self.to.clone() }]
    }

    fn check(&self, kinds: &[Kind], problems: &mut Diagnostics) {
        check_kind(kinds, self.part.as_ref(), problems);
        if let (DriveSpec::Rate { flow: Choice::Second(_), .. }, Some(kind)) =
            (&self.drive, kind_of(kinds, self.part.as_ref()))
            && kind.density_m3.is_none()
        {
            part_needs(&self.place, kind, "density", "a rate by volume", problems);
        }
    }

    fn takes_up_to(&self, kinds: &[Kind]) -> Option<f64> {
        Some(match &self.drive {
            DriveSpec::Index { parts, .. } => parts.mean(),
            DriveSpec::Rate { flow, portion_s } => self.per_s(kinds, *flow) * portion_s,
        })
    }

    /// Rated capacity: parts per index / time of an index, or the rate; less where never as many parts can be there.
    fn traffic(&self, traffic: &mut TrafficSite<'_>) {
        let per_s = match &self.drive {
            DriveSpec::Index { parts, time } => parts.mean().min(traffic.most_before) / time.mean(),
            DriveSpec::Rate { flow, portion_s } => {
                self.per_s(traffic.kinds, *flow).min(traffic.most_before / portion_s)
            }
        };
        traffic.seconds.fill(1.0 / per_s);
    }

    fn build(&self, site: &mut Site<'_>) -> Station {
        let drive = match &self.drive {
            DriveSpec::Index { parts, time } => Drive::Index { parts: site.law(parts), time: site.law(time) },
            DriveSpec::Rate { flow, portion_s } => {
                let period = nanos(*portion_s).max(1);
                let parts = self.per_s(site.kinds, *flow) * period as f64 / SECOND as f64;
                Drive::Rate { parts, period }
            }
        };
        let (alarm, luck) = (site.alarm(), site.dice("portions"));
        Station::Meter(Meter::new(site.me, alarm, site.inlets.clone(), site.exits[0], drive, luck))
    }
}

#[cfg(test)]
mod tests;
