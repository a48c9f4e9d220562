//! Bench: the running part of stations that take one part, judge it and send it on: screen, selector, gauge.
//!
//! **Timing.** A part is taken as soon as the bench is empty, nothing it has finished still stands in its
//! hand, it may start and an inlet has a part ready. Its fate is drawn then, and with it the time; at the end
//! of the time the part leaves through the exit of its fate, or stays until there is room (blocking after
//! service). A time of zero makes the bench a junction that still holds a part for which there is no room. A
//! jam by part strikes at the start, at the end before the part moves on, or after it has left.

use super::alarm::Alarm;
use super::dice::Dice;
use super::gauge::SizeJudge;
use super::tooling::{ReturnRule, comes_back_as};
use super::tools::{Classes, Comeback};
use crate::kernel::dice::Outcomes;
use crate::kernel::{Draw, Exit, Floor, Inlets, Message, Moment, Observer, Offer, Sampler, State, StationId};
use crate::part::{Nanos, Part};
use crate::terms::kind::Kind;

/// What a bench does with a part.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Deed {
    /// The exit.
    pub exit: u8,
    /// The attitude in which it is left.
    pub attitude: u8,
    /// Which of the times it takes.
    pub time: u8,
}

/// Deeds with their chances, which add up to 1, by class.
pub type DeedTable = Vec<Vec<(Deed, f64)>>;

/// The deeds of one class as they run.
#[derive(Clone, Debug)]
pub struct DeedRow {
    deeds: Vec<Deed>,
    outcomes: Outcomes,
}

impl DeedRow {
    /// Tells that `deed` has been drawn, of a bench with so many ways on.
    #[inline(always)]
    fn tell<O: Observer>(&self, floor: &mut Floor<O>, me: StationId, deed: Deed, ways_on: u8) {
        if O::HEARS_DRAWS {
            let went_on = f64::from(u8::from(deed.exit < ways_on));
            floor.observer.drew(Draw::Accepted(me), went_on - self.onward(ways_on));
        }
    }

    /// Chance to go on through one of the first exits, so many.
    fn onward(&self, ways_on: u8) -> f64 {
        let shares = self.deeds.iter().zip(self.outcomes.each_share());
        shares.filter(|(deed, _)| deed.exit < ways_on).map(|(_, share)| share).sum()
    }
}

/// Compiles a table.
pub fn compiled(table: &DeedTable) -> Vec<DeedRow> {
    let row = |row: &Vec<(Deed, f64)>| {
        let weights: Vec<f64> = row.iter().map(|(_, share)| *share).collect();
        let outcomes = Outcomes::new(&weights)
            .unwrap_or_else(|e| panic!("the chances of a row add up to one, so some are above zero: {e}"));
        DeedRow { deeds: row.iter().map(|(deed, _)| *deed).collect(), outcomes }
    };
    table.iter().map(row).collect()
}

/// How a bench judges.
#[derive(Clone, Debug)]
pub enum Judge {
    /// By class, with times by deed.
    ByClass {
        /// Deeds by class.
        rows: Vec<DeedRow>,
        /// Times that deeds name.
        times: Vec<Sampler>,
    },
    /// By class; the time is the first one if the part leaves by the exit at which the shuttle stands (or is
    /// rejected), else the second one.
    Shuttle {
        /// Deeds by class.
        rows: Vec<DeedRow>,
        /// Time if it stands there already, and if it does not.
        times: [Sampler; 2],
        /// Number of exits that are sides.
        sides: u8,
        /// The exit at which it stands.
        at: u8,
    },
    /// By a dimension.
    BySize(SizeJudge),
}

/// What does not change of a bench.
#[derive(Clone, Debug)]
pub struct BenchSetup {
    /// Where parts come from.
    pub inlets: Inlets,
    /// Exits with the rule for the attitude of parts that come back; exit 0 leads onward.
    pub exits: Vec<(Exit, Comeback)>,
    /// Classes of parts.
    pub classes: Classes,
}

#[derive(Clone, Copy, Debug, PartialEq, Eq)]
enum Stage {
    Empty,
    Working(u8),
    Leaving(u8),
}

/// State of a bench.
#[derive(Clone, Debug)]
pub struct Bench {
    me: StationId,
    alarm: Alarm,
    setup: BenchSetup,
    judge: Judge,
    luck: Dice,
    part: Part,
    at_entry: u8,
    stage: Stage,
    /// Listed as waiting for room somewhere.
    waits: bool,
}

impl Bench {
    /// An empty bench.
    pub fn new(me: StationId, alarm: Alarm, setup: BenchSetup, judge: Judge, luck: Dice) -> Self {
        Bench {
            me,
            alarm,
            setup,
            judge,
            luck,
            part: Part::default(),
            at_entry: 0,
            stage: Stage::Empty,
            waits: false,
        }
    }

    /// Chance that a part of this class goes on; none if it does not go by the class.
    pub(super) fn chance_onward(&self, kind: u8, condition: u8, attitude: u8) -> Option<f64> {
        let class = self.setup.classes.index(kind, condition, attitude);
        match &self.judge {
            Judge::ByClass { rows, .. } => Some(rows[class].onward(1)),
            Judge::Shuttle { rows, sides, .. } => Some(rows[class].onward(*sides)),
            Judge::BySize(_) => None,
        }
    }

    pub(super) fn seed(&mut self, seed: u64, replication: u64) {
        self.luck.seed(seed, replication);
    }

    /// Starts with a finished part, which goes on as soon as there is room.
    pub(super) fn hold(&mut self, part: Part) {
        (self.part, self.at_entry) = (part, part.attitude);
        self.stage = Stage::Leaving(0);
    }

    pub(super) fn content(&self) -> usize {
        usize::from(self.stage != Stage::Empty)
    }

    pub(super) fn fire<O: Observer>(&mut self, floor: &mut Floor<O>) {
        self.alarm.spent();
        self.finish(floor);
    }

    fn finish<O: Observer>(&mut self, floor: &mut Floor<O>) {
        if let Stage::Working(exit) = self.stage {
            self.stage = Stage::Leaving(exit);
            floor.jams(self.me, &self.part, Moment::End);
        }
    }

    pub(super) fn settle<O: Observer>(&mut self, floor: &mut Floor<O>) {
        if let Stage::Working(_) = self.stage {
            // After a stop in mid-work the state is still that of the stop.
            return floor.set_state(self.me, State::Working);
        }
        if let Stage::Leaving(exit) = self.stage {
            if !self.leave(floor, exit) {
                return floor.set_idle(self.me, true);
            }
            self.stage = Stage::Empty;
            let part = self.part;
            if floor.jams(self.me, &part, Moment::After) {
                return;
            }
        }
        let clear = self.setup.exits.iter().all(|(exit, _)| floor.is_clear(*exit));
        let mut due = Nanos::MAX;
        if clear && floor.may_start(self.me) {
            match floor.offer(self.me, &self.setup.inlets) {
                Offer::Ready(place) => {
                    self.part = floor.take(self.me, place);
                    return self.start(floor);
                }
                Offer::Due(at) => due = at,
                Offer::Nothing => {}
            }
        }
        self.alarm.set(floor, due);
        floor.set_idle(self.me, !clear);
    }

    fn start<O: Observer>(&mut self, floor: &mut Floor<O>) {
        self.at_entry = self.part.attitude;
        let (exit, time) = self.decide(floor);
        self.stage = Stage::Working(exit);
        floor.set_state(self.me, State::Working);
        let part = self.part;
        // Set before a jam may strike, so that it stands still with the station.
        self.alarm.set(floor, floor.now + time);
        if floor.jams(self.me, &part, Moment::Start) || time > 0 {
            return;
        }
        self.alarm.set(floor, Nanos::MAX);
        self.finish(floor);
        // One part for each settling, so that an endless flow in no time is found by the count of rounds.
        if !floor.stands(self.me) {
            floor.dirty.insert(self.me.0);
        }
    }

    fn decide<O: Observer>(&mut self, floor: &mut Floor<O>) -> (u8, Nanos) {
        let class = self.setup.classes.of(&self.part);
        let (me, luck) = (self.me, self.luck.stream());
        match &mut self.judge {
            Judge::ByClass { rows, times } => {
                let deed = rows[class].deeds[rows[class].outcomes.pick(luck)];
                rows[class].tell(floor, me, deed, 1);
                self.part.attitude = deed.attitude;
                (deed.exit, floor.draw_time(me, &times[usize::from(deed.time)], luck))
            }
            Judge::Shuttle { rows, times, sides, at } => {
                let deed = rows[class].deeds[rows[class].outcomes.pick(luck)];
                rows[class].tell(floor, me, deed, *sides);
                self.part.attitude = deed.attitude;
                let moves = deed.exit < *sides && deed.exit != *at;
                if moves {
                    *at = deed.exit;
                }
                (deed.exit, floor.draw_time(me, &times[usize::from(moves)], luck))
            }
            Judge::BySize(judge) => judge.decide(&mut self.part, luck),
        }
    }

    /// Hands the part on; false if there is no room.
    fn leave<O: Observer>(&mut self, floor: &mut Floor<O>, exit: u8) -> bool {
        let (leads, comeback) = &self.setup.exits[usize::from(exit)];
        if !floor.is_open(self.me, *leads) {
            if let Exit::Store(place) = leads {
                floor.wait_for_room(self.me, *place);
                self.waits = true;
            }
            return false;
        }
        comeback.turn(floor, self.at_entry, &mut self.part, self.luck.stream());
        let handed = floor.hand_over(self.me, exit, *leads, &self.part);
        assert!(handed, "an open exit takes a part");
        if self.waits {
            // A jam that was cleared by another exit may have changed the place since.
            self.waits = false;
            for (exit, _) in &self.setup.exits {
                if let Exit::Store(place) = exit {
                    floor.stop_waiting(self.me, *place);
                }
            }
        }
        true
    }

    pub(super) fn message(&mut self, message: Message) {
        match message {
            Message::Thawed(stood) => self.alarm.shift(stood),
            Message::Redirect(exit) => {
                // What was left of its time is dropped.
                if self.stage != Stage::Empty {
                    self.stage = Stage::Leaving(exit);
                }
            }
            Message::Attended(_) => {}
        }
    }
}

/// For each class rows of (exit, class in which it leaves, share).
pub type Routes = Vec<Vec<(u8, usize, f64)>>;

/// Routes and mean times of a table, for the balance: for each class rows of (exit, class out, share), and
/// seconds.
pub fn table_traffic(
    table: &DeedTable,
    times_s: &[f64],
    rules: &[ReturnRule],
    kinds: &[Kind],
) -> (Routes, Vec<f64>) {
    let classes = super::tooling::classes_of(kinds);
    let names = super::tooling::class_names(kinds);
    let mut routes = Vec::with_capacity(table.len());
    let mut seconds = Vec::with_capacity(table.len());
    for (row, name) in table.iter().zip(names) {
        let kind = &kinds[usize::from(name.kind)];
        let mut out = vec![vec![0.0; kind.attitudes.len()]; rules.len()];
        for (deed, share) in row {
            match comes_back_as(&rules[usize::from(deed.exit)], kind, usize::from(name.attitude)) {
                None => out[usize::from(deed.exit)][usize::from(deed.attitude)] += share,
                Some(shares) => {
                    for (sum, part) in out[usize::from(deed.exit)].iter_mut().zip(shares) {
                        *sum += share * part;
                    }
                }
            }
        }
        let class = |attitude: usize| classes.index(name.kind, name.condition, attitude as u8);
        let rows = out.iter().enumerate().flat_map(|(exit, shares)| {
            let some = shares.iter().enumerate().filter(|(_, share)| **share > 0.0);
            some.map(move |(attitude, share)| (exit as u8, class(attitude), *share))
        });
        routes.push(rows.collect());
        seconds.push(row.iter().map(|(deed, share)| share * times_s[usize::from(deed.time)]).sum());
    }
    (routes, seconds)
}

#[cfg(test)]
mod tests;
