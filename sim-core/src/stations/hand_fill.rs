//! Filling by hand: an attendant tops up a bin while the line runs.
//!
//! **When.** *By level:* when the content of the bin is at or below `call_level` and no filling is called or under
//! way. *At intervals:* every `every`, the first one an interval after the start; an interval that ends while a
//! filling is called or under way asks for one more, right after it. One of the two at least; with both whichever
//! comes first. The attendants in `by` are called: notice, queue and walk as for any call, then `time`. Held or off,
//! nobody is called; a filling that is called is done.
//!
//! **How much.** `amount` as a number, a weight or a volume; left out: as many as fit, for bins with a capacity.
//! They fall together at the end of the work, never more than fit: what is left is taken away again. What the parts
//! of a filling are like is drawn then, as for a container (rulings 9 and 11): lot and number of each condition.
//!
//! A bin that only people fill, whole containers at a time or by swapping, is a [hopper](super::hopper), where the choice
//! between the two is explained.
//!
//! **State:** starved from the call until the bin is filled, blocked while none is wanted. A filling counts as a
//! container emptied. By rank it comes with dumpers, after stations and attendants (ruling 1).

use super::Station;
use super::alarm::Alarm;
use super::amounts::{Amount, amount, kind_of, level_of};
use super::blueprint::{
    Attendance, Blueprint, ExitSpec, Site, SourceTraffic, To, TrafficSite, Whose, check_kind, kind_named,
    read_part, read_to,
};
use super::dice::Dice;
use super::lots::{LotLuck, blend, in_this_shift};
use crate::diag::{Diagnostics, Place as FilePlace, Problem, code};
use crate::kernel::multinomial::multinomial;
use crate::kernel::{Exit, Floor, Job, Message, Note, Observer, PlaceId, Sampler, StationId};
use crate::scenario::{Level, level};
use crate::terms::kind::Kind;
use crate::terms::law::Law;
use crate::terms::law_form::law;
use crate::terms::stops::MomentWord;
use crate::text::fields::Object;
use crate::text::forms::{Spanned, name};
use crate::units::Dimension;

/// What does not change of a filling by hand.
#[derive(Clone, Debug)]
pub struct FillSetup {
    /// The bin.
    pub bin: PlaceId,
    /// Which parts are filled in.
    pub kind: u8,
    /// How fillings differ, whether shifts differ as well, and parts of a filling, by kind; as many as fit without it.
    pub lots: Vec<(LotLuck, bool, Option<u32>)>,
    /// Content at or below which it is called.
    pub call_level: Option<Level>,
    /// Time between fillings.
    pub every: Option<Sampler>,
    /// Who does it.
    pub pool: u16,
    /// Time of the work.
    pub time: Sampler,
}

/// State of a filling by hand.
#[derive(Clone, Debug)]
pub struct HandFill {
    me: StationId,
    clock: Alarm,
    setup: Box<FillSetup>,
    times: Dice,
    parts: Dice,
    /// One is to be called.
    wanted: bool,
    /// One is called or under way.
    called: bool,
    /// The work of one is done.
    done: bool,
    started: bool,
}

impl HandFill {
    /// Nobody is called yet. `times` is luck for times, `parts` for what is filled in.
    pub fn new(me: StationId, clock: Alarm, setup: FillSetup, times: Dice, parts: Dice) -> Self {
        let setup = Box::new(setup);
        HandFill { me, clock, setup, times, parts, wanted: false, called: false, done: false, started: false }
    }

    pub(super) fn seed(&mut self, seed: u64, replication: u64) {
        self.times.seed(seed, replication);
        self.parts.seed(seed, replication);
    }

    pub(super) fn fire<O: Observer>(&mut self, floor: &mut Floor<O>) {
        self.clock.spent();
        self.wanted = true;
        self.wind(floor);
    }

    /// Sets the clock to the end of the next interval.
    fn wind<O: Observer>(&mut self, floor: &mut Floor<O>) {
        if let Some(every) = &self.setup.every {
            let time = every.draw_ns(self.times.stream()).max(1);
            self.clock.set(floor, floor.now.saturating_add(time));
        }
    }

    /// Goes over to another kind.
    pub(super) fn bring(&mut self, kind: u8) {
        self.setup.kind = kind;
    }

    pub(super) fn settle<O: Observer>(&mut self, floor: &mut Floor<O>) {
        if !self.started {
            self.started = true;
            for (kind, (lots, shifts_differ, _)) in self.setup.lots.iter_mut().enumerate() {
                in_this_shift(lots, floor, kind as u8, *shifts_differ);
            }
            self.wind(floor);
            floor.looks.insert(self.me.0);
        }
        if std::mem::take(&mut self.done) {
            self.called = false;
            self.fill(floor);
            floor.looks.insert(self.me.0);
        }
        if self.wanted && !self.called && floor.may_start(self.me) {
            (self.wanted, self.called) = (false, true);
            let time = self.times.time(floor, self.me, &self.setup.time);
            floor.call(self.setup.pool, self.me, Job::Task(0, time));
        }
        floor.set_idle(self.me, !self.wanted && !self.called);
    }

    /// The bin, if nobody is called before its content falls to the call level, or its clock says so.
    pub(crate) fn waits_for_level(&self) -> Option<PlaceId> {
        (!self.wanted && !self.called).then_some(self.setup.bin)
    }

    /// The parts fall.
    fn fill<O: Observer>(&mut self, floor: &mut Floor<O>) {
        let bin = floor.place(self.setup.bin);
        let room = bin.capacity().saturating_sub(bin.len());
        let (lots, _, amount) = &self.setup.lots[usize::from(self.setup.kind)];
        let n = if bin.is_endless() { 0 } else { amount.unwrap_or(u32::MAX).min(room) };
        floor.note(self.me, Note::Tipped, None);
        if n == 0 {
            return;
        }
        let luck = self.parts.stream();
        let lot = lots.draw(luck);
        let counts = multinomial(n, &lot.conditions, luck);
        floor.tell_contents(self.setup.kind, &counts, &lot.conditions);
        blend(floor, self.setup.bin, self.setup.kind, &lot, n);
        floor.count_created(u64::from(n));
        floor.pour_counts(self.setup.bin, self.setup.kind, &counts);
    }

    /// After the fixed point: calls if the bin is low.
    pub(super) fn look<O: Observer>(&mut self, floor: &mut Floor<O>) {
        let Some(level) = self.setup.call_level else { return };
        let bin = floor.place(self.setup.bin);
        if self.wanted || self.called || bin.is_endless() {
            return;
        }
        if bin.len() <= level_of(level, floor, self.setup.bin) {
            self.wanted = true;
            floor.dirty.insert(self.me.0);
        }
    }

    pub(super) fn message(&mut self, message: Message) {
        match message {
            Message::Thawed(stood) => self.clock.shift(stood),
            Message::Attended(_) => self.done = true,
            Message::Redirect(_) => {}
        }
    }
}

/// A filling by hand as the file states it.
#[derive(Debug, Clone)]
pub struct HandFillSpec {
    to: To,
    place: FilePlace,
    part: Option<Spanned<String>>,
    amount: Option<Spanned<Amount>>,
    call_level: Option<Level>,
    every: Option<Law>,
    by: Spanned<String>,
    time: Law,
}

/// Reads a filling by hand.
pub fn read(object: &mut Object<'_>) -> HandFillSpec {
    let spec = HandFillSpec {
        to: read_to(object),
        place: object.place(),
        part: read_part(object),
        amount: object.maybe(
            "amount",
            amount(),
            "What is filled in at a time, as a number of parts, a weight or a volume; left out: as many as fit",
        ),
        call_level: object.maybe(
            "call_level",
            level(),
            "Content of the bin, in parts or as a share of its capacity, at or below which somebody is called",
        ),
        every: object.maybe(
            "every",
            law(Dimension::Time).positive(),
            "Time between fillings that come whatever the level; the first one after the first interval",
        ),
        by: object.required("by", name(), "The attendants who do it"),
        time: object.required("time", law(Dimension::Time), "Time of the work, once somebody is there"),
    };
    if spec.call_level.is_none() && spec.every.is_none() && object.sound(&["call_level", "every"]) {
        let problem = Problem::new(code::MISSING_KEY, "when the bin is filled is not given");
        object.fail_here(problem.expected("`call_level`, `every`, or both"));
    }
    spec
}

impl HandFillSpec {
    /// Parts of a filling; `None` if it fills the bin up.
    fn parts(&self, kind: &Kind) -> Option<u32> {
        Some(self.amount.as_ref()?.value.parts(kind).unwrap_or(1))
    }
}

impl Blueprint for HandFillSpec {
    fn share_of_capacity(&self) -> Option<(&'static str, Whose)> {
        matches!(self.call_level, Some(Level::Share(_))).then_some(("call_level", Whose::Next))
    }

    fn exits(&self) -> Vec<ExitSpec> {
        vec![ExitSpec { key: "to", to: self.to.clone() }]
    }

    fn takes(&self) -> bool {
        false
    }

    fn brings(&self, kinds: &[Kind]) -> Option<u8> {
        Some(kind_named(kinds, self.part.as_ref()))
    }

    fn ranks_last(&self) -> bool {
        true
    }

    fn gives_to_bin(&self) -> bool {
        true
    }

    fn jam_moments(&self) -> (&'static [MomentWord], &'static str) {
        (&[], "a filling by hand is done by people")
    }

    fn fills_up(&self) -> bool {
        self.amount.is_none()
    }

    fn pools(&self) -> Vec<Spanned<String>> {
        vec![self.by.clone()]
    }

    fn check(&self, kinds: &[Kind], problems: &mut Diagnostics) {
        check_kind(kinds, self.part.as_ref(), problems);
        let Some(kind) = kind_of(kinds, self.part.as_ref()) else { return };
        if let Some(given) = &self.amount {
            given.value.check(&given.place, kind, "an amount by weight or volume", problems);
            if given.value.parts(kind) == Some(0) {
                problems
                    .error(&given.place, Problem::new(code::OUT_OF_RANGE, "that is less than half a part"));
            }
        }
        if let Err(message) = LotLuck::new(kind, &kind.lots) {
            let problem =
                Problem::new(code::OUT_OF_RANGE, format!("fillings can't differ so much: {message}"));
            problems.error(&self.place, problem);
        }
    }

    /// Rated capacity: what is filled in, over the time of the work or, without calls by level, the interval.
    fn traffic(&self, traffic: &mut TrafficSite<'_>) {
        let kind = traffic.brought(self.part.as_ref());
        let n = self.parts(&traffic.kinds[usize::from(kind)]).map_or(f64::INFINITY, f64::from);
        let time = match (&self.call_level, &self.every) {
            (None, Some(every)) => every.mean().max(self.time.mean()),
            (Some(_), _) | (None, None) => self.time.mean(),
        };
        traffic.source = Some(SourceTraffic {
            kind,
            most_per_s: if time > 0.0 { n / time } else { f64::INFINITY },
            is_driven: false,
            waits_for_call: self.every.is_none(),
        });
        traffic.attendance = vec![Attendance { calls: 1.0 / n, work_s: self.time.mean() }];
    }

    fn build(&self, site: &mut Site<'_>) -> Station {
        let Exit::Store(bin) = site.exits[0] else { panic!("a filling by hand is checked to give to a bin") };
        let of_kind = |kind: &Kind| {
            let amount = self.amount.as_ref().map(|amount| amount.value.parts(kind).unwrap_or(1));
            (LotLuck::possible(kind), kind.shifts.varies(), amount)
        };
        let setup = FillSetup {
            bin,
            kind: site.kind(self.part.as_ref()),
            lots: site.kinds.iter().map(of_kind).collect(),
            call_level: self.call_level,
            every: self.every.as_ref().map(|every| site.law(every)),
            pool: site.pools[0],
            time: site.law(&self.time),
        };
        site.watch(bin);
        let clock = site.alarm();
        let (times, parts) = (site.dice("times"), site.dice("parts"));
        Station::HandFill(HandFill::new(site.me, clock, setup, times, parts))
    }
}

#[cfg(test)]
mod tests {
    use crate::kernel::Note;
    use crate::stations::trial::{Trial, levels, problems, states, times};

    fn line(fill: &str, bin: &str) -> String {
        format!(
            r#"{{"id": "fill", "type": "filling by hand", "by": "A", {fill}}},
            {{"id": "bin", "type": "bin" {bin}}}, {{"id": "W", "type": "work", "time": "1 s"}}"#
        )
    }

    const CREW: &str = r#", "attendants": [{"id": "A", "walk": "2 s"}], "plan": {"start": "primed"}"#;

    /// Levels of the bin right after each filling.
    fn filled(trial: &Trial, seconds: f64) -> Vec<(f64, u32)> {
        let run = trial.run(0, seconds);
        let all = levels(&run, trial.place("bin"));
        let ups = all.windows(2).filter(|pair| pair[1].1 > pair[0].1);
        ups.map(|pair| pair[1]).collect()
    }

    #[test]
    fn called_at_the_level_it_fills_up_after_walk_and_work() {
        let bin = r#", "capacity": 50, "content": 30"#;
        let trial = Trial::new(&line(r#""call_level": 10, "time": "8 s""#, bin), CREW);
        // W takes one at 0 s and one a second: 10 are left at 19 s. Ten seconds later there is none (the one due at
        // 29 s goes first, ruling 1), and 50 fit. Then 10 are left 40 s later, and so on.
        assert_eq!(filled(&trial, 130.0), [(29.0, 50), (79.0, 50), (129.0, 50)]);
        let run = trial.run(0, 130.0);
        assert_eq!(times(&run, trial.post("fill"), Note::Tipped), [29.0, 79.0, 129.0]);
        assert_eq!(times(&run, trial.post("fill"), Note::Called), [19.0, 69.0, 119.0]);
        use crate::kernel::State::{Blocked, Starved};
        let seen = states(&run, trial.post("fill"));
        assert_eq!(seen[..4], [(0.0, Blocked), (19.0, Starved), (29.0, Blocked), (69.0, Starved)]);
    }

    #[test]
    fn at_intervals_it_brings_its_amount_but_never_more_than_fits() {
        for (amount, n) in [("20", 20), (r#""2 kg""#, 20), (r#""1 L""#, 20)] {
            let part = r#", "parts": {"pin": {"mass": "100 g", "density": "20000 /m3"}}"#;
            let fill = format!(r#""amount": {amount}, "every": "30 s", "time": "4 s""#);
            let trial =
                Trial::new(&line(&fill, r#", "capacity": 100, "content": 100"#), &format!("{part}{CREW}"));
            // At 36 s 63 are left (one was taken at 0 s and at each full second), at 66 s 53, at 96 s 43.
            assert_eq!(filled(&trial, 100.0), [(36.0, 63 + n), (66.0, 53 + n), (96.0, 43 + n)]);
        }
        let trial = Trial::new(
            &line(r#""amount": 80, "every": "30 s", "time": "4 s""#, r#", "capacity": 70, "content": 5"#),
            CREW,
        );
        assert_eq!(filled(&trial, 70.0), [(36.0, 70), (66.0, 70)]);
    }

    #[test]
    fn who_is_off_calls_nobody_and_finishes_what_was_called() {
        let plan = r#", "attendants": [{"id": "A", "walk": "2 s", "breaks": false}], "plan": {"start": "primed",
            "breaks": [{"at": "25 s", "for": "100 s", "of": ["fill"]}]}"#;
        let trial = Trial::new(
            &line(r#""call_level": 10, "time": "8 s""#, r#", "capacity": 50, "content": 30"#),
            plan,
        );
        assert_eq!(filled(&trial, 200.0)[..2], [(29.0, 50), (135.0, 50)]);
    }

    #[test]
    fn says_what_cannot_be() {
        let found = |fill: &str, bin: &str| problems(&line(fill, bin), CREW).join("\n");
        assert!(found(r#""time": "1 s""#, r#", "capacity": 9"#).contains("when the bin is filled"));
        assert!(found(r#""time": "1 s", "every": "1 h""#, "").contains("no capacity"));
        assert!(found(r#""time": "1 s", "every": "1 h", "amount": "1 kg""#, "").contains("`mass`"));
        let nobody = line(r#""time": "1 s", "every": "1 h", "amount": 3"#, "").replace(r#""A""#, r#""B""#);
        assert!(problems(&nobody, CREW).join("\n").contains("`B`"));
    }
}
