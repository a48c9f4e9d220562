//! Orienting path that carries one part at a time.
//!
//! **Timing.** The path takes the next part as soon as it is empty; the pass takes a time by law. At the end
//! of the pass the tools act one after another. An accepted part goes on through exit 0; if there is no
//! room it stays on the path (blocked) or, where the designer chose overflow, leaves through the overflow
//! exit. A rejected part leaves through the exit that its tool names, in an attitude by the rule of that
//! exit. A jam strikes at the start, at a tool before its outcome, or at the end.
//!
//! Stopped: the part stays where it is, the pass goes on with what was left of it. Blocked: the part stays
//! at the end, nothing is taken. Held: the pass is finished, nothing is taken. Slowed down: what is left of the pass
//! and those that follow take longer in the ratio of the speeds; a change during a stop counts from its end.

use super::alarm::Alarm;
use super::clumps::Clumps;
use super::crowding::Following;
use super::dice::Dice;
use super::times::Times;
use super::tools::{Classes, Comeback, Fate, Gate, Tool, chance_onward, chance_onward_at};
use crate::kernel::floor::Duty;
use crate::kernel::{
    Draw, Exit, Floor, Inlets, Message, Moment, Observer, Offer, Pace, PlaceId, State, StationId, Stream,
};
use crate::part::{Nanos, Part};

/// An exit of a path and the attitude in which a part comes back through it.
#[derive(Clone, Debug)]
pub struct PathExit {
    /// Where it leads.
    pub exit: Exit,
    /// Attitude rule; not used for exit 0.
    pub comeback: Comeback,
}

/// What does not change of a path.
#[derive(Clone, Debug)]
pub struct PathSetup {
    /// Where parts come from.
    pub inlets: Inlets,
    /// Exit 0 leads onward.
    pub exits: Vec<PathExit>,
    /// The row of tools.
    pub tools: Vec<Tool>,
    /// Classes of parts.
    pub classes: Classes,
    /// Exit for surplus parts when exit 0 has no room.
    pub overflow: Option<u8>,
}

impl PathSetup {
    /// Whether what its tools do depends on the loading.
    pub(super) fn depends_on_loading(&self) -> bool {
        self.tools.iter().any(Tool::depends_on_loading)
    }

    /// The exit to which the tools, which do not depend on the loading, send a part, and its attitude there.
    #[inline(always)]
    fn run(&self, part: &Part, luck: &mut Stream) -> (u8, u8) {
        let of_attitude_0 = self.classes.index(part.kind, part.condition, 0);
        let mut attitude = part.attitude;
        for tool in &self.tools {
            match tool.fate(of_attitude_0 + usize::from(attitude), || 1.0, luck) {
                Fate::Onward(to) => attitude = to,
                Fate::Exit(no) => return (no, attitude),
            }
        }
        (0, attitude)
    }

    /// Chance that a part of this class goes on through exit 0.
    pub(super) fn chance_onward(&self, kind: u8, condition: u8, attitude: u8) -> f64 {
        chance_onward(&self.tools, 0, self.classes.index(kind, condition, attitude))
    }

    /// Tells that the whole row of tools sends `part`, which is as it was before, to `exit`.
    #[inline(always)]
    fn tell_run<O: Observer>(&self, floor: &mut Floor<O>, me: StationId, part: &Part, exit: u8) {
        if O::HEARS_DRAWS {
            let chance = self.chance_onward(part.kind, part.condition, part.attitude);
            floor.observer.drew(Draw::Accepted(me), f64::from(u8::from(exit == 0)) - chance);
        }
    }

    /// What tool number `tool` does with `part` on a path of this loading; it is told.
    #[inline(always)]
    pub(super) fn use_tool<O: Observer>(
        &self,
        floor: &mut Floor<O>,
        me: StationId,
        tool: usize,
        part: &Part,
        loading: impl Fn() -> f64,
        luck: &mut Stream,
    ) -> Fate {
        let class = self.classes.of(part);
        let fate = self.tools[tool].fate(class, &loading, luck);
        if O::HEARS_DRAWS {
            let first = self.classes.index(part.kind, part.condition, 0);
            let after = match fate {
                Fate::Onward(attitude) => chance_onward(&self.tools, tool + 1, first + usize::from(attitude)),
                Fate::Exit(exit) => f64::from(u8::from(exit == 0)),
            };
            let before = chance_onward_at(&self.tools, tool, first, class, loading);
            floor.observer.drew(Draw::Accepted(me), after - before);
        }
        fate
    }

    /// Gives a part that leaves through exit `no` the attitude that the exit's rule says.
    pub(super) fn turn_back<O: Observer>(
        &self,
        floor: &mut Floor<O>,
        no: u8,
        at_entry: u8,
        part: &mut Part,
        luck: &mut Dice,
    ) {
        self.exits[usize::from(no)].comeback.turn(floor, at_entry, part, luck.stream());
    }

    /// The exit a part really takes: surplus parts overflow where the designer chose so.
    #[inline(always)]
    pub(super) fn exit_or_overflow<O: Observer>(&self, floor: &Floor<O>, me: StationId, no: u8) -> u8 {
        match self.overflow {
            Some(overflow) if no == 0 && !floor.is_open(me, self.exits[0].exit) => overflow,
            Some(_) | None => no,
        }
    }

    /// Lists the path as waiting for room at exit `no`; a surplus part waits for the way on as well.
    #[cold]
    pub(super) fn wait<O: Observer>(&self, floor: &mut Floor<O>, me: StationId, no: u8) {
        let on = (self.overflow == Some(no)).then_some(0);
        for exit in std::iter::once(no).chain(on) {
            if let Exit::Store(place) = self.exits[usize::from(exit)].exit {
                floor.wait_for_room(me, place);
            }
        }
    }

    /// Gives up waiting, once the part has left: room that was kept for it goes to the next.
    #[cold]
    pub(super) fn stop_waiting<O: Observer>(&self, floor: &mut Floor<O>, me: StationId) {
        for exit in &self.exits {
            if let Exit::Store(place) = exit.exit {
                floor.stop_waiting(me, place);
            }
        }
    }
}

#[derive(Clone, Copy, Debug, PartialEq, Eq)]
enum Stage {
    Empty,
    Passing,
    /// Before the tool with this number; `jammed` if its jam has had its chance.
    AtTool {
        tool: usize,
        jammed: bool,
    },
    /// Past the tools, on the way out through this exit.
    Leaving {
        exit: u8,
        jammed: bool,
    },
}

/// State of an orienting path for single parts.
#[derive(Clone, Debug)]
pub struct Path {
    me: StationId,
    alarm: Alarm,
    setup: PathSetup,
    pass: Times,
    luck: Dice,
    part: Part,
    at_entry: u8,
    stage: Stage,
    clumps: Option<Box<Clumps>>,
    /// How closely parts follow one another, if some tool depends on it.
    following: Option<Box<Following>>,
    /// Listed as waiting for room somewhere.
    waits: bool,
    /// Present speed.
    pace: Pace,
    /// Some exit is a hand, so that what has left may still stand there.
    has_hands: bool,
    /// Nothing overflows, no exit is a hand, and no tool depends on the loading.
    is_plain: bool,
    /// What the tools do by class, where there is only one and it is simple; otherwise empty.
    gates: Vec<Gate>,
    /// Some rejected part may come back in another attitude than the tools left it in.
    turns_back: bool,
}

impl Path {
    /// An empty path.
    pub fn new(me: StationId, alarm: Alarm, setup: PathSetup, pass: Times, luck: Dice) -> Self {
        let has_hands = setup.exits.iter().any(|exit| matches!(exit.exit, Exit::Hand(_)));
        let following = setup.depends_on_loading().then(Box::default);
        let is_plain = !has_hands && setup.overflow.is_none() && following.is_none();
        let (part, stage) = (Part::default(), Stage::Empty);
        let pace = Pace::FULL;
        let exits: Vec<Exit> = setup.exits.iter().map(|exit| exit.exit).collect();
        let gates = Gate::of(&setup.tools, &setup.classes, &exits);
        let turns_back = !setup.exits.iter().skip(1).all(|exit| exit.comeback.is_idle(&setup.classes));
        Path {
            me,
            alarm,
            setup,
            pass,
            luck,
            part,
            at_entry: 0,
            stage,
            clumps: None,
            following,
            waits: false,
            pace,
            has_hands,
            is_plain,
            gates,
            turns_back,
        }
    }

    /// The same path for parts that come tangled.
    #[must_use]
    pub fn with_clumps(self, clumps: Clumps) -> Self {
        Path { clumps: Some(Box::new(clumps)), is_plain: false, ..self }
    }

    pub(super) fn setup(&self) -> &PathSetup {
        &self.setup
    }

    pub(super) fn seed(&mut self, seed: u64, replication: u64) {
        self.luck.seed(seed, replication);
        self.pass.seed(seed, replication);
        if let Some(clumps) = &mut self.clumps {
            clumps.seed(seed, replication);
        }
    }

    /// Starts with a finished part, which goes on as soon as there is room.
    pub(super) fn hold(&mut self, part: Part) {
        (self.part, self.at_entry) = (part, part.attitude);
        self.stage = Stage::Leaving { exit: 0, jammed: true };
    }

    pub(super) fn content(&self) -> usize {
        usize::from(self.stage != Stage::Empty)
    }

    /// The pass is over, or the next part has come.
    #[inline(never)]
    pub(crate) fn act<O: Observer>(&mut self, floor: &mut Floor<O>) {
        let duty = floor.duty(self.me);
        self.alarm.spent();
        let struck = self.stage == Stage::Passing && self.run_tools(floor, duty, 0, false);
        if floor.settles_at_once(self.me, struck) {
            self.settle_now(floor, duty);
        }
    }

    /// Whether nothing overflows, no exit is a hand, no part comes tangled and no tool depends on the loading.
    pub(crate) fn is_plain(&self) -> bool {
        self.is_plain
    }

    /// The same as [`Path::act`] for a plain path, in one go where nothing stands in the way: a pass is over, there
    /// is room beyond, and nobody comes first. It takes 3/4 of the instructions.
    #[inline(always)]
    pub(crate) fn act_plain<O: Observer>(&mut self, floor: &mut Floor<O>) {
        let duty = floor.duty(self.me);
        let usual = self.stage == Stage::Passing && duty.is_unhindered() && floor.is_settled();
        if !usual {
            return self.act(floor);
        }
        self.alarm.spent();
        if !self.finish(floor) {
            return self.settle_now(floor, duty);
        }
        let (due, place) = floor.next_part(self.me, &self.setup.inlets);
        if due <= floor.now {
            return self.start(floor, duty, place);
        }
        self.alarm.set(floor, due);
        duty.set_state(floor, State::Starved);
    }

    /// Lets the tools act, and hands the part on. False if there is no plain room for it beyond.
    #[inline(always)]
    fn finish<O: Observer>(&mut self, floor: &mut Floor<O>) -> bool {
        if let Some(gate) = self.gates.get(self.setup.classes.of(&self.part)) {
            let way = gate.pass(self.luck.stream());
            self.setup.tell_run(floor, self.me, &self.part, way.exit);
            self.part.turn_to(way.attitude);
            if !floor.is_plainly_open(way.place) {
                self.stage = Stage::Leaving { exit: way.exit, jammed: false };
                return false;
            }
            if self.turns_back && way.exit != 0 {
                let comeback = &self.setup.exits[usize::from(way.exit)].comeback;
                comeback.turn(floor, self.at_entry, &mut self.part, self.luck.stream());
            }
            floor.put_plainly(self.me, way.exit, way.place, &self.part);
            self.stage = Stage::Empty;
            return true;
        }
        let (exit, attitude) = self.setup.run(&self.part, self.luck.stream());
        self.setup.tell_run(floor, self.me, &self.part, exit);
        self.part.turn_to(attitude);
        let way = &self.setup.exits[usize::from(exit)];
        match way.exit {
            Exit::Store(place) if floor.is_plainly_open(place) => {
                if exit != 0 {
                    way.comeback.turn(floor, self.at_entry, &mut self.part, self.luck.stream());
                }
                floor.put_plainly(self.me, exit, place, &self.part);
                self.stage = Stage::Empty;
                true
            }
            Exit::Leave | Exit::Store(_) | Exit::Hand(_) => {
                self.stage = Stage::Leaving { exit, jammed: false };
                false
            }
        }
    }

    /// Lets the tools act from number `tool` on; stops short where a jam strikes. `jammed` if the jam of the
    /// first has had its chance. True if a jam strikes.
    #[inline(always)]
    fn run_tools<O: Observer>(
        &mut self,
        floor: &mut Floor<O>,
        duty: Duty,
        mut tool: usize,
        mut jammed: bool,
    ) -> bool {
        let mut exit = 0;
        while tool < self.setup.tools.len() {
            if !jammed && duty.jams(floor, &self.part, Moment::Tool(tool as u8)) {
                self.stage = Stage::AtTool { tool, jammed: true };
                return true;
            }
            if tool == 0
                && let Some(clumps) = &mut self.clumps
                && let Some(no) = clumps.reject(&mut self.part)
            {
                exit = no;
                break;
            }
            let loading = || self.following.as_ref().map_or(1.0, |following| following.loading);
            let fate = self.setup.use_tool(floor, self.me, tool, &self.part, loading, self.luck.stream());
            match fate {
                Fate::Onward(attitude) => self.part.turn_to(attitude),
                Fate::Exit(no) => {
                    exit = no;
                    break;
                }
            }
            tool += 1;
            jammed = false;
        }
        let jammed = duty.jams(floor, &self.part, Moment::End);
        self.stage = Stage::Leaving { exit, jammed };
        jammed
    }

    /// The jam at a tool has been cleared: the pass goes on.
    #[cold]
    fn go_on<O: Observer>(&mut self, floor: &mut Floor<O>, duty: Duty, tool: usize, jammed: bool) -> bool {
        self.run_tools(floor, duty, tool, jammed)
    }

    /// Moves the part out if there is room; true if the path is empty then.
    #[inline(always)]
    fn move_out<O: Observer>(&mut self, floor: &mut Floor<O>, duty: Duty) -> bool {
        if let Stage::AtTool { tool, jammed } = self.stage
            && self.go_on(floor, duty, tool, jammed)
        {
            return false;
        }
        let Stage::Leaving { exit, .. } = self.stage else { return false };
        let exit = self.setup.exit_or_overflow(floor, self.me, exit);
        let leads = self.setup.exits[usize::from(exit)].exit;
        if exit != 0 {
            if !floor.is_open(self.me, leads) {
                self.waits = true;
                self.setup.wait(floor, self.me, exit);
                return false;
            }
            self.setup.turn_back(floor, exit, self.at_entry, &mut self.part, &mut self.luck);
        }
        if !floor.hand_over(self.me, exit, leads, &self.part) {
            self.waits = true;
            return false;
        }
        if self.waits {
            self.waits = false;
            self.setup.stop_waiting(floor, self.me);
        }
        self.stage = Stage::Empty;
        if let Some(following) = &mut self.following {
            following.leave(floor.now);
        }
        !duty.jams(floor, &self.part, Moment::After)
    }

    #[inline(never)]
    pub(super) fn settle<O: Observer>(&mut self, floor: &mut Floor<O>) {
        // Whoever changes its pace has it settled.
        let before = std::mem::replace(&mut self.pace, floor.pace(self.me));
        if self.stage != Stage::Passing {
            self.settle_now(floor, floor.duty(self.me));
        } else {
            if before != self.pace {
                self.alarm.change_pace(floor, before, self.pace);
            }
            // After a stop in mid-pass the state is still that of the stop.
            floor.set_state(self.me, State::Working);
        }
    }

    #[inline(always)]
    fn settle_now<O: Observer>(&mut self, floor: &mut Floor<O>, duty: Duty) {
        if self.stage != Stage::Empty && !self.move_out(floor, duty) {
            if !floor.stands(self.me) {
                duty.set_idle(floor, true);
            }
            return;
        }
        let clear = !self.has_hands || self.setup.exits.iter().all(|exit| floor.is_clear(exit.exit));
        let mut due = Nanos::MAX;
        if clear && duty.may_start() {
            match floor.offer(self.me, &self.setup.inlets) {
                Offer::Ready(place) => return self.start(floor, duty, place),
                Offer::Due(at) => due = at,
                Offer::Nothing => {}
            }
        }
        self.alarm.set(floor, due);
        duty.set_idle(floor, !clear);
    }

    #[inline(always)]
    fn start<O: Observer>(&mut self, floor: &mut Floor<O>, duty: Duty, place: PlaceId) {
        floor.take_into(self.me, place, &mut self.part);
        self.part.count_pass();
        if let Some(clumps) = &mut self.clumps {
            clumps.enter(&mut self.part);
        }
        self.at_entry = self.part.attitude;
        self.stage = Stage::Passing;
        let time = self.pace.stretched(self.pass.take(floor, self.me));
        if let Some(following) = &mut self.following {
            following.start(floor.now, time);
        }
        self.alarm.start(floor, floor.now + time);
        duty.set_state(floor, State::Working);
        duty.jams(floor, &self.part, Moment::Start);
    }

    pub(super) fn message(&mut self, message: Message) {
        match message {
            Message::Thawed(stood) => self.alarm.shift(stood),
            Message::Redirect(exit) => {
                if self.stage != Stage::Empty {
                    self.stage = Stage::Leaving { exit, jammed: true };
                }
            }
            Message::Attended(_) => {}
        }
    }
}
