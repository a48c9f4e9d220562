//! Hopper: a bin that people keep filled, by topping it up while it runs or by swapping in a full spare.
//!
//! It is a [bin](super::bin) (well mixed, picks without replacement) with somebody who sees to it. **Call:** after
//! each removal, and at the start, if the content is at or below the call level, nobody is on the way, and, where
//! spares are swapped in, a full one is there. **Topped up:** at the end of the attendant's work what he brings is
//! poured in, whether or not the hopper holds it (overfilling is noted); parts can be taken all the time. **Swapped:** from the
//! beginning of his work, when he has walked there, to its end the outlet is closed; then the full spare stands
//! there. What was left in the old one is tipped over into it. The old one is a full spare again after the filling
//! time.
//!
//! **Hopper or filling by hand.** A hopper is a place with people of its own: only here a spare is swapped in and the outlet is
//! closed meanwhile, and what is brought is poured in whole, however much is there. A
//! [filling by hand](super::hand_fill) is a task beside other supplies: it tops up a bin that a dumper or returns may feed
//! as well, also by the clock, and stops at the brim. Neither could do the other's work without all keys of both.
//!
//! **Luck** (rulings 9 and 11): as with a [dumper](super::dumper), what is brought is a lot of its own; it is drawn
//! when it is poured. Starting content as with a bin.
//!
//! **State:** held while the outlet is closed; otherwise as a bin: starved while empty, blocked while full or over,
//! working in between. Held or off by others its outlet is closed too. Held, off or in a changeover it calls for nobody.

use super::Station;
use super::alarm::Alarm;
use super::amounts::{Amount, amount, kind_of, level_of, parts_of};
use super::blueprint::{
    Attendance, Blueprint, ExitSpec, Site, SourceTraffic, To, TrafficSite, Whose, check_kind, kind_named,
    read_to,
};
use super::dice::Dice;
use super::lots::{LotLuck, blend, in_this_shift};
use crate::diag::{Diagnostics, Place as FilePlace, Problem, code};
use crate::kernel::multinomial::multinomial;
use crate::kernel::{
    Bin, Floor, Job, Message, Note, Observer, Place, PlaceId, Sampler, State, StationId, StreamKey, UNLIMITED,
};
use crate::part::Nanos;
use crate::scenario::{Level, level};
use crate::terms::kind::Kind;
use crate::terms::law::Law;
use crate::terms::law_form::{count_law, law};
use crate::terms::stops::MomentWord;
use crate::text::fields::Object;
use crate::text::forms::{Spanned, Variant, count, name, variants};
use crate::units::Dimension;

/// How it is filled.
#[derive(Clone, Debug)]
pub enum Filling {
    /// Poured in while it runs.
    ToppedUp,
    /// A spare is swapped in; time until the old one is full again.
    Swapped(Sampler),
}

/// What does not change of a hopper.
#[derive(Clone, Debug)]
pub struct HopperSetup {
    /// Its body.
    pub body: PlaceId,
    /// What it is filled with.
    pub kind: u8,
    /// Parts of a filling, how lots differ, and whether shifts differ as well, by kind.
    pub parts: Vec<(Sampler, LotLuck, bool)>,
    /// Content at or below which it is called for.
    pub call_level: Level,
    /// Who fills it, and the time that it takes.
    pub by: (u16, Sampler),
    /// How.
    pub filling: Filling,
    /// Full spares at the start.
    pub spares: u32,
}

/// State of a hopper.
#[derive(Clone, Debug)]
pub struct Hopper {
    me: StationId,
    filled: Alarm,
    setup: Box<HopperSetup>,
    times: Dice,
    parts: Dice,
    /// Full spares.
    spares: u32,
    /// Times at which others will be full, ns.
    filling: Vec<Nanos>,
    called: bool,
    closed: bool,
    /// Somebody has finished since it was settled last.
    done: bool,
    started: bool,
}

impl Hopper {
    /// A hopper at rest.
    pub fn new(me: StationId, filled: Alarm, setup: HopperSetup, times: Dice, parts: Dice) -> Self {
        Hopper {
            me,
            filled,
            spares: setup.spares,
            setup: Box::new(setup),
            times,
            parts,
            filling: Vec::new(),
            called: false,
            closed: false,
            done: false,
            started: false,
        }
    }

    pub(super) fn seed(&mut self, seed: u64, replication: u64) {
        self.times.seed(seed, replication);
        self.parts.seed(seed, replication);
    }

    pub(super) fn fire(&mut self) {
        self.filled.spent();
    }

    pub(super) fn bring(&mut self, kind: u8) {
        self.setup.kind = kind;
    }

    pub(super) fn settle<O: Observer>(&mut self, floor: &mut Floor<O>) {
        if !std::mem::replace(&mut self.started, true) {
            for (kind, (_, lots, shifts_differ)) in self.setup.parts.iter_mut().enumerate() {
                in_this_shift(lots, floor, kind as u8, *shifts_differ);
            }
            floor.looks.insert(self.me.0);
        }
        let now = floor.now;
        let before = self.filling.len();
        self.filling.retain(|at| *at > now);
        self.spares += (before - self.filling.len()) as u32;
        if std::mem::take(&mut self.done) {
            self.fill(floor);
        } else if before != self.filling.len() {
            floor.looks.insert(self.me.0);
        }
        let next = self.filling.iter().copied().fold(Nanos::MAX, Nanos::min);
        self.filled.set(floor, next);
        if self.closed {
            floor.close_outlet(self.setup.body);
            floor.set_state(self.me, State::Held);
        } else {
            floor.settle_carrier(self.setup.body);
        }
    }

    /// What has been brought is poured in.
    fn fill<O: Observer>(&mut self, floor: &mut Floor<O>) {
        let (body, kind) = (self.setup.body, self.setup.kind);
        let (parts, lots, _) = &self.setup.parts[usize::from(kind)];
        let luck = self.parts.stream();
        let n = parts.draw_count(luck).min(1_000_000_000) as u32;
        let lot = lots.draw(luck);
        let counts = multinomial(n, &lot.conditions, luck);
        if let Filling::Swapped(time) = &self.setup.filling {
            let full_at = floor.now.saturating_add(time.draw_ns(self.times.stream()));
            self.filling.push(full_at);
            if full_at == floor.now {
                floor.dirty.insert(self.me.0);
            }
        }
        if std::mem::take(&mut self.closed) {
            floor.open_outlet(body);
        }
        self.called = false;
        floor.tell_contents(kind, &counts, &lot.conditions);
        blend(floor, body, kind, &lot, n);
        floor.count_created(u64::from(n));
        floor.pour_counts(body, kind, &counts);
        floor.note(self.me, Note::Tipped, None);
        floor.looks.insert(self.me.0);
    }

    /// After the fixed point: calls for somebody if it runs low.
    pub(super) fn look<O: Observer>(&mut self, floor: &mut Floor<O>) {
        let body = self.setup.body;
        let is_low = floor.place(body).len() <= level_of(self.setup.call_level, floor, body);
        if self.called || !is_low || !floor.may_start(self.me) {
            return;
        }
        let (pool, time) = &self.setup.by;
        let time = self.times.time(floor, self.me, time);
        match self.setup.filling {
            Filling::ToppedUp => floor.call(*pool, self.me, Job::Task(1, time)),
            Filling::Swapped(_) if self.spares == 0 => return,
            Filling::Swapped(_) => {
                self.spares -= 1;
                floor.call(*pool, self.me, Job::Visit(0, time));
            }
        }
        self.called = true;
    }

    pub(super) fn message(&mut self, message: Message) {
        match message {
            // Whoever fills the spares does not stand with the hopper.
            Message::Thawed(_) | Message::Redirect(_) => {}
            Message::Attended(0) => self.closed = true,
            Message::Attended(_) => self.done = true,
        }
    }
}

#[derive(Debug, Clone)]
enum FillingSpec {
    ToppedUp,
    Swapped { spares: u32, time: Law },
}

/// Who fills it, how.
#[derive(Debug, Clone)]
struct RefillSpec {
    by: Spanned<String>,
    time: Law,
    parts: Law,
    filling: FillingSpec,
}

const REFILLS: &[Variant<RefillSpec>] = &[
    Variant { word: "topped up", doc: "An attendant pours parts in while it runs", read: read_topped_up },
    Variant { word: "swapped", doc: "An attendant swaps in a full spare", read: read_swapped },
];

fn read_refill(object: &mut Object<'_>, filling: FillingSpec) -> RefillSpec {
    RefillSpec {
        by: object.required("by", name(), "The attendants who do it"),
        time: object.required("time", law(Dimension::Time), "Time for which it keeps an attendant"),
        parts: object.required("parts", count_law().positive(), "Parts of a filling, fixed or random"),
        filling,
    }
}

fn read_topped_up(object: &mut Object<'_>) -> RefillSpec {
    read_refill(object, FillingSpec::ToppedUp)
}

fn read_swapped(object: &mut Object<'_>) -> RefillSpec {
    let spares =
        object.optional("spares", count().at_least(1).at_most(1000), "1", "Full spares at the start");
    let time = object.optional(
        "filling",
        law(Dimension::Time),
        "0 s",
        "Time from a swap until the hopper that was taken away is a full spare",
    );
    read_refill(object, FillingSpec::Swapped { spares: spares as u32, time })
}

/// A hopper as the file states it.
#[derive(Debug, Clone)]
pub struct HopperSpec {
    to: To,
    place: FilePlace,
    part: Option<Spanned<String>>,
    capacity: Option<Spanned<Amount>>,
    content: Option<Spanned<Amount>>,
    call_level: Level,
    refill: RefillSpec,
}

/// Reads a hopper.
pub fn read(object: &mut Object<'_>) -> HopperSpec {
    HopperSpec {
        to: read_to(object),
        place: object.place(),
        part: object.maybe("part", name(), "The part kind that it is filled with; left out: the first one of the file"),
        capacity: object.maybe(
            "capacity",
            amount(),
            "What it holds, as a number of parts, a weight or a volume; left out: there is no limit",
        ),
        content: object.maybe(
            "content",
            amount(),
            "What it holds at the start, as a number of parts, a weight or a volume; left out: nothing",
        ),
        call_level: object.required(
            "call_level",
            level(),
            "Content, in parts or as a share of its capacity, at or below which somebody is called to fill it",
        ),
        refill: object.required("refill", variants("refill", "how", REFILLS), "Who fills it, and how"),
    }
}

impl Blueprint for HopperSpec {
    fn share_of_capacity(&self) -> Option<(&'static str, Whose)> {
        matches!(self.call_level, Level::Share(_)).then_some(("call_level", Whose::Own))
    }

    fn exits(&self) -> Vec<ExitSpec> {
        vec![ExitSpec { key: "to", to: self.to.clone() }]
    }

    fn body(&self, kinds: &[Kind], name: &str) -> Option<Place> {
        let capacity = parts_of(kinds, self.part.as_ref(), self.capacity.as_ref()).unwrap_or(UNLIMITED);
        let mut place = Place::bin(capacity, Bin::new(StreamKey::new(name, "picks")));
        let kind = kind_named(kinds, self.part.as_ref());
        place.set_start(kind, parts_of(kinds, self.part.as_ref(), self.content.as_ref()).unwrap_or(0));
        Some(place)
    }

    fn brings(&self, kinds: &[Kind]) -> Option<u8> {
        Some(kind_named(kinds, self.part.as_ref()))
    }

    fn is_stocked(&self) -> bool {
        true
    }

    fn needs_a_taker(&self) -> bool {
        true
    }

    fn freezes(&self) -> bool {
        true
    }

    fn pools(&self) -> Vec<Spanned<String>> {
        vec![self.refill.by.clone()]
    }

    fn check(&self, kinds: &[Kind], problems: &mut Diagnostics) {
        check_kind(kinds, self.part.as_ref(), problems);
        let Some(kind) = kind_of(kinds, self.part.as_ref()) else { return };
        for given in [&self.capacity, &self.content].into_iter().flatten() {
            given.value.check(&given.place, kind, "an amount by weight or volume", problems);
        }
        if let (Some(capacity), Some(given)) =
            (parts_of(kinds, self.part.as_ref(), self.capacity.as_ref()), &self.capacity)
        {
            if capacity == 0 {
                let problem = Problem::new(code::OUT_OF_RANGE, "not even one part fits into the hopper");
                problems.error(&given.place, problem);
            } else if parts_of(kinds, self.part.as_ref(), self.content.as_ref())
                .is_some_and(|start| start > capacity)
            {
                let problem = Problem::new(code::OUT_OF_RANGE, "the hopper starts with more than it holds");
                problems.error(&given.place, problem);
            }
        }
        if let Err(message) = LotLuck::new(kind, &kind.lots) {
            let problem = Problem::new(code::OUT_OF_RANGE, format!("lots can't differ so much: {message}"));
            problems.error(&self.place, problem);
        }
    }

    fn jam_moments(&self) -> (&'static [MomentWord], &'static str) {
        (&[], "a hopper handles no single part: a bridge over its outlet comes by the powered clock")
    }

    /// At most a filling for each time that one keeps an attendant, or a spare is filled.
    fn traffic(&self, traffic: &mut TrafficSite<'_>) {
        let parts = self.refill.parts.mean();
        let by_hand = parts / self.refill.time.mean();
        let by_spares = match &self.refill.filling {
            FillingSpec::ToppedUp => f64::INFINITY,
            FillingSpec::Swapped { spares, time } => {
                f64::from(*spares) * parts / (time.mean() + self.refill.time.mean())
            }
        };
        traffic.source = Some(SourceTraffic {
            kind: traffic.brought(self.part.as_ref()),
            most_per_s: by_hand.min(by_spares),
            is_driven: false,
            waits_for_call: true,
        });
        traffic.attendance = vec![Attendance { calls: 1.0 / parts, work_s: self.refill.time.mean() }];
    }

    fn build(&self, site: &mut Site<'_>) -> Station {
        let Some(body) = site.body else { panic!("a hopper is built around its body") };
        let of_kind =
            |kind: &Kind| (site.law(&self.refill.parts), LotLuck::possible(kind), kind.shifts.varies());
        let (filling, spares) = match &self.refill.filling {
            FillingSpec::ToppedUp => (Filling::ToppedUp, 0),
            FillingSpec::Swapped { spares, time } => (Filling::Swapped(site.law(time)), *spares),
        };
        let setup = HopperSetup {
            body,
            kind: site.kind(self.part.as_ref()),
            parts: site.kinds.iter().map(of_kind).collect(),
            call_level: self.call_level,
            by: (site.pools[0], site.law(&self.refill.time)),
            filling,
            spares,
        };
        site.watch(body);
        let (filled, times, parts) = (site.free_alarm(), site.dice("times"), site.dice("parts"));
        Station::Hopper(Hopper::new(site.me, filled, setup, times, parts))
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::stations::trial::{Run, Trial, levels, problems, states, times};

    /// A hopper with ten parts and a station that takes one every second from 1 s on.
    fn line(refill: &str, more: &str) -> Trial {
        let stations = format!(
            r#"{{"id": "hopper", "type": "hopper", "content": 10, "capacity": 40, "call_level": 4, "refill": {{{refill}}}}},
            {{"id": "use", "type": "work", "time": "1 s"}}"#
        );
        let crew = r#", "attendants": [{"id": "crew", "walk": "2 s"}], "plan": {"start": "primed"}"#;
        Trial::new(&stations, &format!("{crew}{more}"))
    }

    fn fillings(run: &Run<'_>, trial: &Trial) -> Vec<f64> {
        times(run, trial.post("hopper"), Note::Tipped)
    }

    #[test]
    fn it_is_topped_up_while_it_runs() {
        let trial = line(r#""how": "topped up", "by": "crew", "time": "3 s", "parts": 12"#, "");
        let run = trial.run(0, 60.0);
        // Taken at 0, 1, ... s: four are left at 5 s; two seconds of walk and three of work. After the pick at 10 s
        // nothing would be left: at equal times the attendant comes after the stations.
        assert_eq!(fillings(&run, &trial)[..2], [10.0, 22.0]);
        assert!(times(&run, trial.post("use"), Note::Took).len() >= 60);
        let (_, most) = trial.traffic("hopper");
        assert_eq!(most, Some(4.0));
    }

    /// A spare is swapped in: the outlet is closed meanwhile, what was left is tipped over.
    #[test]
    fn a_spare_is_swapped_in_and_the_outlet_is_closed_meanwhile() {
        let refill = r#""how": "swapped", "by": "crew", "time": "3 s", "parts": 12, "filling": "30 s""#;
        let trial = line(refill, "");
        let run = trial.run(0, 30.0);
        // Called at 5 s, closed from 7 s to 10 s. The part taken at 7 s is the last one before (the station comes
        // first at equal times), two are left.
        assert_eq!(fillings(&run, &trial), [10.0]);
        let picks = times(&run, trial.post("use"), Note::Took);
        assert_eq!(picks[..10], [0.0, 1.0, 2.0, 3.0, 4.0, 5.0, 6.0, 7.0, 10.0, 11.0]);
        assert!(levels(&run, trial.place("hopper")).contains(&(10.0, 14)));
        let seen = states(&run, trial.post("hopper"));
        assert!(seen.contains(&(7.0, State::Held)) && seen.contains(&(10.0, State::Working)), "{seen:?}");
        // Fourteen parts from 10 s on: low again at 19 s, but the spare is full only at 40 s, and swapped in at 45 s.
        assert_eq!(fillings(&trial.run(0, 60.0), &trial), [10.0, 45.0]);
        let (_, most) = trial.traffic("hopper");
        assert!((most.expect("a source") - 12.0 / 33.0).abs() < 1e-12);
    }

    #[test]
    fn what_makes_no_sense_is_refused() {
        let hopper = |rest: &str| {
            let refill = r#""refill": {"how": "topped up", "by": "crew", "time": "3 s", "parts": 12}"#;
            let stations = format!(
                r#"{{"id": "h", "type": "hopper", "call_level": 4, {rest} {refill}}}, {{"id": "use", "type": "work", "time": "1 s"}}"#
            );
            problems(&stations, r#", "attendants": [{"id": "crew"}], "plan": {"start": "primed"}"#)
        };
        assert_eq!(hopper(""), Vec::<String>::new());
        assert!(!hopper(r#""capacity": 5, "content": 9,"#).is_empty());
        assert!(!hopper(r#""capacity": 0,"#).is_empty());
        assert!(!hopper(r#""capacity": "9 L","#).is_empty());
    }
}
