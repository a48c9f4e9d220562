//! Orienting path with parts in file: they enter one after the other and travel at one speed.
//!
//! **Timing.** A part enters when the part before has cleared the entry: part length x gap factor / speed
//! after it (at the speed of the path, so that standing does not count). It comes to a tool at position x
//! after x / speed, to the end after live length / speed, first in first out. The outcome of a tool falls
//! when the part comes to it; tools at one position act one after another in no time. A rejected part leaves
//! a gap that is not closed. At equal times what is further downstream goes first.
//!
//! A sensed tool that gets a part closer behind the part before (front to front, as both came to this tool)
//! than its least spacing rejects it, or lets it pass as it is, without looking.
//!
//! | what happens | parts under way | entry |
//! |---|---|---|
//! | held, or break (not offered) | go on to the end | nothing is taken |
//! | stopped by a jam by part at a tool | upstream of the tool and at it: stand; past it: go on, tools act | closed |
//! | stopped otherwise (jam by a clock, at start or after, breakdown, freezing hold) | all stand | closed |
//! | slowed down | all go on at the lower speed; a change during a jam or another stop counts from its end | a part clears it later in the same ratio |
//! | blocked: the way on, or the exit of a reject, has no room | all stand, wherever they are | closed |
//! | overflow: the way on has no room and an overflow exit is stated | the part at the end falls there, all go on | open |
//!
//! A jam by part gets its chance before the outcome of its tool; at the end before the part moves on; at
//! the start stops all, and so does one after the part has left. While a jam keeps the upstream part of the
//! path, a part past it that finds no room makes everything past the jam stand as well. Interrupted travel
//! resumes with what was left. Parts between entry and end make the path *working*.
//!
//! Invariant: in each stretch between two points times are in order and lag behind the clock by one amount.

mod stretch;

use super::alarm::Alarm;
use super::clumps::Clumps;
use super::crowding::Coverage;
use super::dice::Dice;
use super::path::PathSetup;
use super::tools::Fate;
use crate::kernel::{Exit, Floor, Intake, Message, Moment, Observer, Offer, Pace, PlaceId, State, StationId};
use crate::part::{Nanos, Part};
use stretch::{At, Rider, Stretch};

/// A point of the path at which tools act; the last one is the end.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Point {
    /// Time of travel from the point before (from the entry for the first), ns.
    pub travel: Nanos,
    /// First tool here.
    pub first: usize,
    /// Tool after the last one here.
    pub end: usize,
}

/// Least spacing of a sensed tool.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Spacing {
    /// Least time from part to part, ns of travel.
    pub least: Nanos,
    /// Exit for parts that are too close; `None`: they pass.
    pub exit: Option<u8>,
}

/// What does not change of a path with parts in file.
#[derive(Clone, Debug)]
pub struct FileSetup {
    /// Inlets, exits, tools.
    pub path: PathSetup,
    /// Points in order; one at least.
    pub points: Vec<Point>,
    /// Time in which a part clears the entry, by class, ns; 1 at least.
    pub spacing: Vec<Nanos>,
    /// By tool: the spacing that it needs.
    pub sensed: Vec<Option<Spacing>>,
    /// Clumps.
    pub clumps: Option<Clumps>,
}

impl FileSetup {
    /// Time from entry to end at full speed, ns.
    fn passage(&self) -> Nanos {
        self.points.iter().map(|point| point.travel).sum()
    }

    /// Time in which a part that entered in this attitude clears the entry, ns.
    fn spacing_of(&self, part: &Part, at_entry: u8) -> Nanos {
        self.spacing[self.path.classes.index(part.kind, part.condition, at_entry)]
    }
}

#[derive(Clone, Copy, Debug, PartialEq, Eq)]
enum Flow {
    Clear,
    Blocked,
    Jammed,
}

/// Which part a jam has got hold of.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
enum Stuck {
    /// The first one before this point.
    Before(usize),
    /// The one that has just entered.
    Entry,
    /// One that has left.
    Gone,
}

/// State of a path with parts in file.
#[derive(Clone, Debug)]
pub struct PathInFile {
    me: StationId,
    alarm: Alarm,
    /// For parts past a jam; it does not stand still with the station.
    free: Option<Alarm>,
    setup: FileSetup,
    luck: Dice,
    stretches: Vec<Stretch>,
    /// From when on a part is far enough behind the one that each tool saw last, in the time of its stretch.
    apart_from: Vec<Option<Nanos>>,
    /// What parts take up of the path, if some tool depends on it.
    coverage: Option<Coverage>,
    /// Present speed, for which all times are kept.
    pace: Pace,
    /// When the entry is clear, in the time of the first stretch.
    entry_clear: Nanos,
    /// The last stretch that a jam keeps.
    jam: Option<usize>,
    stuck: Stuck,
    /// Listed as waiting for room somewhere.
    waits: bool,
    /// Some stretch may stand.
    may_stand: bool,
    /// Some exit is a hand, so that what has left may still stand there.
    has_hands: bool,
}

impl PathInFile {
    /// An empty path. `free` is needed where a tool before the end may jam.
    pub fn new(me: StationId, alarm: Alarm, free: Option<Alarm>, setup: FileSetup, luck: Dice) -> Self {
        let stretches = vec![Stretch { head: Nanos::MAX, ..Stretch::default() }; setup.points.len()];
        let has_hands = setup.path.exits.iter().any(|exit| matches!(exit.exit, Exit::Hand(_)));
        let apart_from = vec![None; setup.sensed.len()];
        let coverage = setup.path.depends_on_loading().then(Coverage::default);
        PathInFile {
            me,
            alarm,
            free,
            setup,
            luck,
            stretches,
            apart_from,
            coverage,
            pace: Pace::FULL,
            entry_clear: 0,
            jam: None,
            stuck: Stuck::Gone,
            waits: false,
            may_stand: false,
            has_hands,
        }
    }

    pub(super) fn setup(&self) -> &PathSetup {
        &self.setup.path
    }

    pub(super) fn seed(&mut self, seed: u64, replication: u64) {
        self.luck.seed(seed, replication);
        if let Some(clumps) = &mut self.setup.clumps {
            clumps.seed(seed, replication);
        }
    }

    /// Starts with a finished part, which goes on as soon as there is room.
    pub(super) fn hold(&mut self, part: Part) {
        let rider =
            Rider { part, at_entry: part.attitude, due: 0, at: At::Leaving { exit: 0, jammed: true } };
        if let Some(coverage) = &mut self.coverage {
            coverage.taken_up += self.setup.spacing_of(&part, part.attitude);
        }
        if let Some(last) = self.stretches.last_mut() {
            last.riders.push_front(rider);
            last.note_head();
        }
    }

    /// Time from entry to end, ns.
    pub(super) fn passage(&self) -> Nanos {
        self.setup.passage()
    }

    pub(super) fn content(&self) -> usize {
        self.stretches.iter().map(|stretch| stretch.riders.len()).sum()
    }

    /// One of its timers has run out.
    #[inline(always)]
    pub(crate) fn act<O: Observer>(&mut self, floor: &mut Floor<O>, which: u8) {
        self.fire(floor, which);
        if floor.settles_at_once(self.me, floor.stands(self.me)) {
            self.settle(floor);
        }
    }

    /// The alarm `which` = 0 stands still with the station; any other is the free one.
    pub(super) fn fire<O: Observer>(&mut self, floor: &mut Floor<O>, which: u8) {
        if which == 0 {
            return self.alarm.spent();
        }
        if let Some(free) = &mut self.free {
            free.spent();
        }
        self.go_on_past_jam(floor);
    }

    /// Something has changed at an exit: a part past a jam may find room now.
    pub(super) fn look<O: Observer>(&mut self, floor: &mut Floor<O>) {
        self.go_on_past_jam(floor);
    }

    fn go_on_past_jam<O: Observer>(&mut self, floor: &mut Floor<O>) {
        let Some(kept) = self.jam else { return };
        self.release(floor.now, kept + 1);
        if self.advance(floor, kept + 1) == Flow::Blocked {
            self.stand(floor.now, kept + 1);
        }
        self.set_free_alarm(floor);
    }

    #[inline(never)]
    pub(super) fn settle<O: Observer>(&mut self, floor: &mut Floor<O>) {
        if floor.pace(self.me) != self.pace {
            self.change_pace(floor.now, floor.pace(self.me));
        }
        self.release(floor.now, 0);
        if let Some(free) = &mut self.free {
            free.set(floor, Nanos::MAX);
        }
        match self.advance_if_due(floor) {
            Flow::Clear => {}
            Flow::Jammed => return self.set_free_alarm(floor),
            Flow::Blocked => {
                self.stand(floor.now, 0);
                self.alarm.set(floor, Nanos::MAX);
                return floor.set_idle(self.me, true);
            }
        }
        let entry = self.enter(floor);
        if floor.stands(self.me) {
            return;
        }
        // Nothing stands here: it would have been found blocked or jammed.
        let due = self.soonest();
        self.alarm.set(floor, due.min(entry));
        if due == Nanos::MAX {
            floor.set_idle(self.me, false);
        } else {
            floor.set_state(self.me, State::Working);
        }
    }

    /// When the first part comes to a point, if nothing stands.
    #[inline(always)]
    fn soonest(&self) -> Nanos {
        self.stretches.iter().fold(Nanos::MAX, |soonest, stretch| soonest.min(stretch.head))
    }

    /// As [`PathInFile::advance`] from the entry on; half of the settlings come before anything is due.
    #[inline(always)]
    fn advance_if_due<O: Observer>(&mut self, floor: &mut Floor<O>) -> Flow {
        if self.has_hands || self.soonest() <= floor.now { self.advance(floor, 0) } else { Flow::Clear }
    }

    /// The path goes at another speed from now on.
    #[cold]
    fn change_pace(&mut self, now: Nanos, pace: Pace) {
        let before = std::mem::replace(&mut self.pace, pace);
        for (n, (stretch, point)) in self.stretches.iter_mut().zip(&self.setup.points).enumerate() {
            let here = stretch.stands_since.unwrap_or(now) - stretch.lag;
            let moved = |due: Nanos| pace.moved(before, here, due);
            stretch.riders.iter_mut().for_each(|rider| rider.due = moved(rider.due));
            stretch.note_head();
            for apart in self.apart_from[point.first..point.end].iter_mut().flatten() {
                *apart = moved(*apart);
            }
            if n == 0 {
                self.entry_clear = moved(self.entry_clear);
            }
        }
    }

    // ---- standing and going -------------------------------------------------------------------------

    /// Sets the stretches from `first` on going again.
    fn release(&mut self, now: Nanos, first: usize) {
        if !self.may_stand {
            return;
        }
        for stretch in &mut self.stretches[first..] {
            if let Some(since) = stretch.stands_since.take() {
                stretch.add_lag(now - since);
            }
        }
        self.may_stand = first > 0;
    }

    /// Makes the stretches from `first` on stand.
    fn stand(&mut self, now: Nanos, first: usize) {
        self.may_stand = true;
        for stretch in &mut self.stretches[first..] {
            stretch.stands_since.get_or_insert(now);
        }
    }

    /// A jam has stopped the station: everything up to stretch `kept` stands.
    fn strike<O: Observer>(&mut self, floor: &mut Floor<O>, kept: usize, stuck: Stuck) {
        let kept = self.jam.map_or(kept, |before| before.max(kept));
        floor.goes_on_ahead(self.me, self.setup.points[kept + 1..].iter().map(|point| point.travel).sum());
        self.jam = Some(kept);
        self.stuck = stuck;
        self.may_stand = true;
        for stretch in &mut self.stretches[..=kept] {
            stretch.stands_since.get_or_insert(floor.now);
        }
    }

    /// The next time at which a part comes to a point, from stretch `first` on.
    fn next_due(&self, first: usize) -> Nanos {
        let moving = self.stretches[first..].iter().filter(|stretch| stretch.stands_since.is_none());
        moving.map(|stretch| stretch.head).min().unwrap_or(Nanos::MAX)
    }

    fn set_free_alarm<O: Observer>(&mut self, floor: &mut Floor<O>) {
        let first = self.jam.map_or(self.stretches.len(), |kept| kept + 1);
        let due = self.next_due(first);
        if let Some(free) = &mut self.free {
            free.set(floor, due);
        }
    }

    // ---- moving -------------------------------------------------------------------------------------

    /// Lets everything happen that is due, from stretch `first` on, downstream first.
    fn advance<O: Observer>(&mut self, floor: &mut Floor<O>, first: usize) -> Flow {
        loop {
            if self.has_hands && !self.setup.path.exits.iter().all(|exit| floor.is_clear(exit.exit)) {
                return Flow::Blocked;
            }
            let Some(at) = self.stretches[first..].iter().rposition(|stretch| stretch.head <= floor.now)
            else {
                return Flow::Clear;
            };
            let at = first + at;
            match self.move_front(floor, at) {
                Flow::Clear => {}
                flow @ (Flow::Blocked | Flow::Jammed) => return flow,
            }
        }
    }

    /// Moves the part in front of stretch `at`, which has come to its point. It is written back only where it stays:
    /// copied back and forth it cost more than all else.
    fn move_front<O: Observer>(&mut self, floor: &mut Floor<O>, at: usize) -> Flow {
        let point = self.setup.points[at];
        let Some(rider) = self.stretches[at].riders.front() else {
            panic!("only a stretch with a part has one in front")
        };
        let (mut part, due, mut stage) = (rider.part, rider.due, rider.at);
        loop {
            stage = match stage {
                At::Way => At::Tool { tool: point.first as u16, jammed: false },
                At::Tool { tool, jammed } if usize::from(tool) < point.end => {
                    if !jammed && floor.jams(self.me, &part, Moment::Tool(tool as u8)) {
                        return self.jam_front(floor, at, part, At::Tool { tool, jammed: true });
                    }
                    self.use_tool(floor, tool, due, &mut part)
                }
                At::Tool { .. } if at + 1 < self.stretches.len() => {
                    self.pass_on(floor.now, at, part);
                    return Flow::Clear;
                }
                At::Tool { .. } => At::Leaving { exit: 0, jammed: false },
                At::Leaving { exit, jammed: false } => {
                    if floor.jams(self.me, &part, Moment::End) {
                        return self.jam_front(floor, at, part, At::Leaving { exit, jammed: true });
                    }
                    At::Leaving { exit, jammed: true }
                }
                At::Leaving { exit, jammed: true } => return self.leave(floor, at, exit, part),
            };
        }
    }

    /// A jam has got hold of the part in front of stretch `at`.
    #[cold]
    fn jam_front<O: Observer>(&mut self, floor: &mut Floor<O>, at: usize, part: Part, stage: At) -> Flow {
        self.set_front(at, part, stage);
        self.strike(floor, at, Stuck::Before(at));
        Flow::Jammed
    }

    fn set_front(&mut self, at: usize, part: Part, stage: At) {
        if let Some(rider) = self.stretches[at].riders.front_mut() {
            (rider.part, rider.at) = (part, stage);
        }
    }

    /// What tool number `tool` does with a part that came to it at `due`, in the time of its stretch.
    fn use_tool<O: Observer>(&mut self, floor: &mut Floor<O>, tool: u16, due: Nanos, part: &mut Part) -> At {
        let on = At::Tool { tool: tool + 1, jammed: false };
        let out = |exit| At::Leaving { exit, jammed: false };
        let tool = usize::from(tool);
        let mut close = None;
        if let Some(spacing) = self.setup.sensed[tool] {
            let apart = due + self.pace.stretched(spacing.least);
            close = self.apart_from[tool].replace(apart).filter(|from| due < *from).map(|_| spacing.exit);
        }
        if tool == 0
            && let Some(clumps) = &mut self.setup.clumps
            && let Some(exit) = clumps.reject(part)
        {
            return out(exit);
        }
        match close {
            Some(Some(exit)) => return out(exit),
            Some(None) => return on,
            None => {}
        }
        let (setup, coverage) = (&self.setup, self.coverage);
        let loading = || coverage.map_or(1.0, |coverage| coverage.loading(setup.passage()));
        match setup.path.use_tool(floor, self.me, tool, part, loading, self.luck.stream()) {
            Fate::Onward(attitude) => {
                part.turn_to(attitude);
                on
            }
            Fate::Exit(exit) => out(exit),
        }
    }

    /// The part in front of stretch `at` goes on to the next one.
    fn pass_on(&mut self, now: Nanos, at: usize, part: Part) {
        let Some(rider) = self.stretches[at].pop() else { return };
        let travel = self.pace.stretched(self.setup.points[at + 1].travel);
        let beyond = &mut self.stretches[at + 1];
        let due = now + travel - beyond.lag;
        beyond.push(Rider { part, at_entry: rider.at_entry, due, at: At::Way });
    }

    /// The part in front of stretch `at` leaves, if there is room.
    fn leave<O: Observer>(&mut self, floor: &mut Floor<O>, at: usize, drawn: u8, mut part: Part) -> Flow {
        let exit = self.setup.path.exit_or_overflow(floor, self.me, drawn);
        let leads = self.setup.path.exits[usize::from(exit)].exit;
        if !floor.is_open(self.me, leads) {
            self.set_front(at, part, At::Leaving { exit: drawn, jammed: true });
            self.waits = true;
            self.setup.path.wait(floor, self.me, exit);
            return Flow::Blocked;
        }
        let Some(rider) = self.stretches[at].pop() else { panic!("only a part that is there leaves") };
        if let Some(coverage) = &mut self.coverage {
            coverage.taken_up -= self.setup.spacing_of(&part, rider.at_entry);
        }
        if exit != 0 {
            self.setup.path.turn_back(floor, exit, rider.at_entry, &mut part, &mut self.luck);
        }
        let handed = floor.hand_over(self.me, exit, leads, &part);
        assert!(handed, "an open exit takes a part");
        if self.waits {
            self.waits = false;
            self.setup.path.stop_waiting(floor, self.me);
        }
        if floor.jams(self.me, &part, Moment::After) {
            self.strike(floor, self.stretches.len() - 1, Stuck::Gone);
            return Flow::Jammed;
        }
        Flow::Clear
    }

    /// Takes a part if the entry is clear; returns when to look again.
    fn enter<O: Observer>(&mut self, floor: &mut Floor<O>) -> Nanos {
        if !floor.may_start(self.me) {
            let barred = floor.barred(self.me);
            floor.intake(self.me, barred);
            return Nanos::MAX;
        }
        let lag = self.stretches[0].lag;
        if floor.now >= self.entry_clear + lag {
            match floor.offer(self.me, &self.setup.path.inlets) {
                Offer::Ready(place) => self.take(floor, place),
                Offer::Due(at) => {
                    floor.intake(self.me, Intake::Idle(floor.now));
                    return at;
                }
                Offer::Nothing => {
                    floor.intake(self.me, Intake::Idle(floor.now));
                    return Nanos::MAX;
                }
            }
        }
        let clear = self.entry_clear + lag;
        let mut due = Nanos::MAX;
        for place in &self.setup.path.inlets.places {
            due = due.min(floor.place(*place).head_due().unwrap_or(Nanos::MAX));
        }
        floor.intake(self.me, if due > clear { Intake::Idle(clear) } else { Intake::Busy });
        due.max(clear)
    }

    fn take<O: Observer>(&mut self, floor: &mut Floor<O>, place: PlaceId) {
        let mut part = floor.take(self.me, place);
        part.count_pass();
        if let Some(clumps) = &mut self.setup.clumps {
            clumps.enter(&mut part);
        }
        let now = floor.now - self.stretches[0].lag;
        let due = now + self.pace.stretched(self.setup.points[0].travel);
        let spacing = self.setup.spacing_of(&part, part.attitude);
        if let Some(coverage) = &mut self.coverage {
            coverage.taken_up += spacing;
        }
        self.entry_clear = now + self.pace.stretched(spacing);
        self.stretches[0].push(Rider { part, at_entry: part.attitude, due, at: At::Way });
        floor.set_state(self.me, State::Working);
        if floor.jams(self.me, &part, Moment::Start) {
            self.strike(floor, self.stretches.len() - 1, Stuck::Entry);
        }
    }

    pub(super) fn message(&mut self, message: Message) {
        match message {
            Message::Thawed(stood) => {
                self.alarm.shift(stood);
                if self.jam.take().is_none() {
                    // Stopped from outside; what stood of itself is set right when it goes on.
                    for stretch in self.stretches.iter_mut().filter(|s| s.stands_since.is_none()) {
                        stretch.add_lag(stood);
                    }
                }
            }
            Message::Redirect(exit) => self.redirect(exit),
            Message::Attended(_) => {}
        }
    }

    fn redirect(&mut self, exit: u8) {
        let rider = match self.stuck {
            Stuck::Before(at) => self.stretches[at].riders.front_mut(),
            Stuck::Entry => self.stretches[0].riders.back_mut(),
            Stuck::Gone => None,
        };
        if let Some(rider) = rider {
            rider.at = At::Leaving { exit, jammed: true };
        }
    }
}

#[cfg(test)]
mod tests;
