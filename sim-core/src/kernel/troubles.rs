//! Jams and breakdowns: what strikes a station, and how it is got going again.
//!
//! A trouble strikes by part (at a stated moment of its work) or by a clock. Three clocks are told apart:
//! *working* (part in work, not stopped), *powered* (not down, held or off, even if empty or blocked) and
//! *wall*. While a station is stopped its own timers stand still; interrupted work resumes with what was
//! left. A second trouble that strikes during a stop begins after it; working and powered clocks stand
//! still meanwhile. A clock starts anew when its own trouble has been cleared.

use super::calendar::TimerId;
use super::dice::Countdown;
use super::floor::{CLOCKED, FROZEN, Floor, Message, STOPPED, StationId};
use super::luck::{Stream, StreamKey};
use super::observer::{Draw, Note, Observer};
use super::people::Job;
use super::sampler::Sampler;
use super::state::State;
use crate::part::{Nanos, Part};

/// What kind of stop a trouble is.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum StopKind {
    /// A part is stuck.
    Jam,
    /// The station itself fails.
    Breakdown,
}

/// When in a part's work a jam by part strikes.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Moment {
    /// When work on the part starts.
    Start,
    /// When it ends, before the part moves on (the default).
    End,
    /// When it has moved on.
    After,
    /// At the tool with this number, before its outcome.
    Tool(u8),
}

impl Moment {
    /// A bit for each moment; all tools share one.
    #[inline(always)]
    pub(super) fn bit(self) -> u8 {
        match self {
            Moment::Start => 1,
            Moment::End => 2,
            Moment::After => 4,
            Moment::Tool(_) => 8,
        }
    }
}

/// A clock that a trouble runs by.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Clock {
    /// Part in work, not stopped.
    Working,
    /// Not down, held or off, even if empty or blocked.
    Powered,
    /// All time.
    Wall,
}

impl Clock {
    fn runs_in(self, state: State) -> bool {
        match self {
            Clock::Working => state == State::Working,
            Clock::Powered => state.is_powered(),
            Clock::Wall => true,
        }
    }
}

/// What makes a trouble strike.
#[derive(Clone, Debug)]
pub enum Trigger {
    /// A chance for each part at a moment of its work; one countdown per condition of the part, or one for
    /// all.
    Part {
        /// When.
        moment: Moment,
        /// Chance by condition (one entry: for all conditions).
        chances: Vec<f64>,
        /// Running countdowns, as many as chances.
        countdowns: Vec<Countdown>,
        /// Where the conditions of each kind begin, if there is a chance for each.
        first: Vec<u16>,
    },
    /// A time between strikes on a clock.
    Time {
        /// Which clock.
        clock: Clock,
        /// Time between strikes.
        between: Sampler,
        /// The clock's timer.
        timer: TimerId,
    },
}

/// Freeing without a person: so many tries of a time each, with a chance of success each.
#[derive(Clone, Debug)]
pub struct Automatic {
    /// Time of one try.
    pub time: Sampler,
    /// Chance that a try succeeds.
    pub success: f64,
    /// Number of tries before a person is called.
    pub tries: u32,
}

/// A trouble of one station: parameters and present state.
#[derive(Clone, Debug)]
pub struct Trouble {
    /// The station.
    pub station: StationId,
    /// Jam or breakdown.
    pub kind: StopKind,
    /// What makes it strike.
    pub trigger: Trigger,
    /// Freeing without a person, tried first.
    pub automatic: Option<Automatic>,
    /// Who clears it; without a pool it clears by itself after the time of work.
    pub pool: Option<u16>,
    /// Time until somebody notices.
    pub notice: Sampler,
    /// Time of the work.
    pub work: Sampler,
    /// Exit through which the jammed part leaves, if not onward.
    pub redirect: Option<u8>,
    /// The stream's key.
    pub key: StreamKey,
    /// Factors of lots and shifts on the chances by part, by kind; 1 beyond the end.
    factors: Vec<f64>,
    luck: Stream,
    remaining: Option<Nanos>,
    running: bool,
    phase: Phase,
}

#[derive(Clone, Copy, Debug, PartialEq, Eq)]
enum Phase {
    Off,
    Queued,
    Trying { left: u32 },
    Noticing,
    Calling,
    Working,
}

impl Trouble {
    /// Whether it strikes parts of the first condition, good, of any kind.
    pub fn strikes_good_parts(&self) -> bool {
        match &self.trigger {
            Trigger::Part { chances, first, .. } if first.is_empty() => {
                chances.iter().any(|chance| *chance > 0.0)
            }
            Trigger::Part { chances, first, .. } => {
                first.iter().any(|good| chances.get(usize::from(*good)).is_some_and(|chance| *chance > 0.0))
            }
            Trigger::Time { .. } => true,
        }
    }

    /// Whether it strikes `part` now; if it strikes by part and at this moment of work, that counts as a chance.
    #[inline(always)]
    fn strikes(&mut self, part: &Part, at: Moment) -> bool {
        let Trigger::Part { moment, countdowns, first, .. } = &mut self.trigger else { return false };
        if *moment != at {
            return false;
        }
        countdowns[which_of(first, part.kind, part.condition)].strikes(&mut self.luck)
    }

    /// The chance that it strikes `part` now; none if this is not its moment.
    fn chance_of(&self, part: &Part, at: Moment) -> Option<f64> {
        let Trigger::Part { moment, countdowns, first, .. } = &self.trigger else { return None };
        (*moment == at).then(|| countdowns[which_of(first, part.kind, part.condition)].chance())
    }

    /// The chance by which it strikes a part of this kind and condition where lots and shifts are as on the mean; 0 if it does
    /// not go by parts.
    pub fn chance_by(&self, kind: u8, condition: u8) -> f64 {
        let Trigger::Part { chances, first, .. } = &self.trigger else { return 0.0 };
        chances.get(which_of(first, kind, condition)).copied().unwrap_or(0.0)
    }

    /// Time for which it stops its station on the mean, but for the wait for an attendant and the walk, ns.
    pub fn mean_stop_ns(&self) -> f64 {
        self.mean_left_ns(self.automatic.as_ref().map_or(0, |automatic| automatic.tries))
    }

    /// The same when it has `left` tries of its own before it.
    fn mean_left_ns(&self, left: u32) -> f64 {
        let notice = if self.pool.is_some() { self.notice.mean() } else { 0.0 };
        let attended = 1e9 * (notice + self.work.mean());
        let Some(automatic) = &self.automatic else { return attended };
        let one = |after: f64, _| 1e9 * automatic.time.mean() + (1.0 - automatic.success) * after;
        (0..left).fold(attended, one)
    }

    /// A trouble at rest; its luck comes from the stream `key`.
    #[expect(clippy::too_many_arguments, reason = "a plain list of what the scenario says of a trouble")]
    pub fn new(
        station: StationId,
        kind: StopKind,
        trigger: Trigger,
        automatic: Option<Automatic>,
        pool: Option<u16>,
        notice: Sampler,
        work: Sampler,
        redirect: Option<u8>,
        key: StreamKey,
    ) -> Self {
        let luck = key.stream(0, 0);
        Trouble {
            station,
            kind,
            trigger,
            automatic,
            pool,
            notice,
            work,
            redirect,
            key,
            factors: Vec::new(),
            luck,
            remaining: None,
            running: false,
            phase: Phase::Off,
        }
    }

    /// The bit by which a station knows that it has to move clocks.
    pub(super) fn bar(&self) -> u8 {
        match self.trigger {
            Trigger::Part { .. } => 0,
            Trigger::Time { .. } => CLOCKED,
        }
    }

    /// The bit of the moment at which it strikes, if it strikes by part.
    pub(super) fn moment(&self) -> u8 {
        match self.trigger {
            Trigger::Part { moment, .. } => moment.bit(),
            Trigger::Time { .. } => 0,
        }
    }

    /// Starts the trouble's luck for a replication.
    pub fn seed(&mut self, seed: u64, replication: u64) {
        self.luck = self.key.stream(seed, replication);
        self.start_countdowns();
        if let Trigger::Time { between, .. } = &self.trigger {
            self.remaining = Some(between.draw_ns(&mut self.luck));
        }
    }

    fn start_countdowns(&mut self) {
        if let Trigger::Part { chances, countdowns, .. } = &mut self.trigger {
            countdowns.clear();
            countdowns.extend(chances.iter().map(|&chance| Countdown::new(chance)));
        }
        for kind in 0..self.factors.len() {
            self.restart(kind);
        }
    }

    /// Starts the countdowns for parts of one kind anew, with its factor.
    fn restart(&mut self, kind: usize) {
        let factor = self.factor(kind as u8);
        if let Trigger::Part { chances, countdowns, first, .. } = &mut self.trigger {
            let edge = |kind: usize, none: usize| first.get(kind).map_or(none, |first| usize::from(*first));
            let range = edge(kind, 0)..edge(kind + 1, chances.len());
            // Before the trouble is seeded there are none, and all are started then.
            let started = countdowns.get_mut(range.clone()).unwrap_or_default();
            for (countdown, chance) in started.iter_mut().zip(&chances[range]) {
                *countdown = Countdown::new((chance * factor).min(1.0));
            }
        }
    }

    /// Factor on the chances by part of this kind.
    pub fn factor(&self, kind: u8) -> f64 {
        self.factors.get(usize::from(kind)).copied().unwrap_or(1.0)
    }

    /// Changes the factor on the chances by part of one kind; countdowns have no memory, so they start anew. It
    /// concerns this kind alone where there are chances for each kind.
    pub fn set_factor(&mut self, kind: u8, factor: f64) {
        if self.factor(kind) == factor {
            return;
        }
        let kind = usize::from(kind);
        if self.factors.len() <= kind {
            self.factors.resize(kind + 1, 1.0);
        }
        self.factors[kind] = factor;
        self.restart(kind);
    }

    fn stopped_state(&self, attended: bool) -> State {
        match (self.kind, attended) {
            (StopKind::Jam, false) => State::JamWaiting,
            (StopKind::Jam, true) => State::JamClearing,
            (StopKind::Breakdown, false) => State::DownWaiting,
            (StopKind::Breakdown, true) => State::DownRepair,
        }
    }
}

/// Which of the chances of a trouble is that of a part of this kind and condition.
#[inline(always)]
fn which_of(first: &[u16], kind: u8, condition: u8) -> usize {
    let of_kind = first.get(usize::from(kind));
    of_kind.map_or(0, |first| usize::from(*first) + usize::from(condition))
}

impl<O: Observer> Floor<O> {
    /// A trouble.
    pub fn trouble(&self, trouble: u16) -> &Trouble {
        &self.troubles[usize::from(trouble)]
    }

    /// All troubles, for lots and for seeding.
    pub fn troubles_mut(&mut self) -> &mut [Trouble] {
        &mut self.troubles
    }

    /// Starts the clocks of all troubles, once all streams are seeded.
    pub fn start_clocks(&mut self) {
        for ix in 0..self.troubles.len() {
            let trouble = &self.troubles[ix];
            if let (Trigger::Time { between, .. }, Some(time)) = (&trouble.trigger, trouble.remaining) {
                self.observer.drew(Draw::Between(ix as u16), between.off_mean_ns(time));
            }
            let station = trouble.station;
            self.move_clock(ix, self.state(station));
        }
    }

    /// Gives a jam by part its chance at `moment` of the work of station `me` on `part`. If one strikes the
    /// station is stopped when this returns true, and must not be settled until it has been cleared.
    #[inline(always)]
    pub fn jams(&mut self, me: StationId, part: &Part, moment: Moment) -> bool {
        self.hot.at(me.ix(), O::NEAR).moments & moment.bit() != 0 && self.jams_by_part(me, part, moment)
    }

    #[inline(never)]
    pub(super) fn jams_by_part(&mut self, me: StationId, part: &Part, at: Moment) -> bool {
        let troubles = &self.posts[me.ix()].troubles;
        if let &[only] = &troubles[..] {
            // So it is nearly always.
            if self.strikes(only, part, at) {
                self.strike(only);
                return true;
            }
            return false;
        }
        for n in 0..troubles.len() {
            if self.strikes(self.posts[me.ix()].troubles[n], part, at) {
                self.strike_and_others(me, n, part, at);
                return true;
            }
        }
        false
    }

    /// Whether a trouble strikes `part` now.
    #[inline(always)]
    fn strikes(&mut self, ix: u16, part: &Part, at: Moment) -> bool {
        let trouble = &mut self.troubles[usize::from(ix)];
        let struck = trouble.strikes(part, at);
        if O::HEARS_DRAWS
            && let Some(chance) = trouble.chance_of(part, at)
        {
            self.observer.drew(Draw::Struck(ix), f64::from(u8::from(struck)) - chance);
        }
        struck
    }

    /// Strikes the station's trouble number `n`, and gives those after it their chance.
    #[cold]
    fn strike_and_others(&mut self, me: StationId, n: usize, part: &Part, at: Moment) {
        self.strike(self.posts[me.ix()].troubles[n]);
        for n in n + 1..self.posts[me.ix()].troubles.len() {
            let ix = self.posts[me.ix()].troubles[n];
            if self.strikes(ix, part, at) {
                self.strike(ix);
            }
        }
    }

    /// Lets a trouble's clock run or stand as the new state of its station demands.
    pub(super) fn move_clocks(&mut self, me: StationId, new: State) {
        for n in 0..self.posts[me.ix()].troubles.len() {
            let ix = usize::from(self.posts[me.ix()].troubles[n]);
            self.move_clock(ix, new);
        }
    }

    fn move_clock(&mut self, ix: usize, state: State) {
        let now = self.now;
        let trouble = &mut self.troubles[ix];
        let Trigger::Time { clock, timer, .. } = trouble.trigger else { return };
        let runs = clock.runs_in(state) && trouble.phase == Phase::Off;
        match (runs, trouble.running) {
            (true, false) => {
                let Some(remaining) = trouble.remaining.take() else { return };
                trouble.running = true;
                self.calendar.set(timer, now.saturating_add(remaining));
            }
            (false, true) => {
                trouble.running = false;
                if let Some(at) = self.calendar.at(timer) {
                    trouble.remaining = Some(at - now);
                    self.calendar.clear(timer);
                }
            }
            (true, true) | (false, false) => {}
        }
    }

    /// Tells of what lies ahead of clocks and stops whose times have no memory, `times` over: once at the opening of a window,
    /// -1 times at its close, so that what comes after it is left out: it is no luck yet. A few long stops that reach far beyond the
    /// close would spoil the intervals of short shifts.
    pub fn tell_ahead(&mut self, times: f64) {
        for ix in 0..self.troubles.len() as u16 {
            let ahead = [
                self.clock_ahead(ix).map(|(law, left)| (Draw::Between(ix), law, left)),
                self.stop_ahead(ix).map(|(law, left)| (Draw::Stop(ix), law, left)),
            ];
            let without_memory = ahead.into_iter().flatten().filter(|(_, law, _)| law.has_no_memory());
            let told = without_memory.map(|(draw, law, left)| (draw, times * law.off_mean_ns(left)));
            for (draw, off) in told.collect::<Vec<_>>() {
                self.observer.drew(draw, off);
            }
        }
    }

    /// The law of the clock of a trouble and what is left on it.
    fn clock_ahead(&self, ix: u16) -> Option<(&Sampler, Nanos)> {
        let trouble = self.trouble(ix);
        let Trigger::Time { between, timer, .. } = &trouble.trigger else { return None };
        let left = trouble.remaining.or_else(|| self.left_on(*timer).filter(|_| trouble.running))?;
        Some((between, left))
    }

    /// The law of the phase of a stop that is under way, and what is left of it.
    fn stop_ahead(&self, ix: u16) -> Option<(&Sampler, Nanos)> {
        let trouble = self.trouble(ix);
        let law = match trouble.phase {
            Phase::Trying { .. } => &trouble.automatic.as_ref()?.time,
            Phase::Noticing => &trouble.notice,
            Phase::Working => &trouble.work,
            Phase::Off | Phase::Queued | Phase::Calling => return None,
        };
        let by_hand = trouble.pool.is_some() && trouble.phase == Phase::Working;
        let own = self.posts[trouble.station.ix()].stop_timer;
        let timer = if by_hand { self.timer_of_clearing(ix) } else { own };
        Some((law, self.left_on(timer?)?))
    }

    fn left_on(&self, timer: TimerId) -> Option<Nanos> {
        self.calendar.at(timer).map(|at| at - self.now)
    }

    /// A trouble's clock has run out.
    pub fn fire_trouble(&mut self, ix: u16) {
        self.troubles[usize::from(ix)].running = false;
        self.strike(ix);
    }

    /// A trouble strikes its station.
    fn strike(&mut self, ix: u16) {
        let me = self.troubles[usize::from(ix)].station;
        if self.posts[me.ix()].current.is_some() {
            // It may be the very trouble that is being cleared: several parts come at once. Then its phase stays.
            let phase = &mut self.troubles[usize::from(ix)].phase;
            if *phase == Phase::Off {
                *phase = Phase::Queued;
            }
            self.posts[me.ix()].queued.push(ix);
            return;
        }
        self.hot[me.ix()].bars |= STOPPED;
        self.freeze(me);
        self.begin(ix);
    }

    fn begin(&mut self, ix: u16) {
        let trouble = &mut self.troubles[usize::from(ix)];
        let me = trouble.station;
        let tries = trouble.automatic.as_ref().map_or(0, |automatic| automatic.tries);
        trouble.phase = Phase::Trying { left: tries };
        self.posts[me.ix()].current = Some(ix);
        self.note(me, Note::Stopped(ix), None);
        self.try_or_call(ix);
    }

    fn try_or_call(&mut self, ix: u16) {
        let trouble = &mut self.troubles[usize::from(ix)];
        let me = trouble.station;
        if let (Some(automatic), Phase::Trying { left: 1.. }) = (&trouble.automatic, trouble.phase) {
            let time = automatic.time.draw_ns(&mut trouble.luck);
            self.observer.drew(Draw::Stop(ix), automatic.time.off_mean_ns(time));
            self.set_state(me, State::JamAutomatic);
            self.set_stop_timer(me, time);
            return;
        }
        if trouble.pool.is_none() {
            let time = trouble.work.draw_ns(&mut trouble.luck);
            self.observer.drew(Draw::Stop(ix), trouble.work.off_mean_ns(time));
            trouble.phase = Phase::Working;
            let state = trouble.stopped_state(true);
            self.set_state(me, state);
            self.set_stop_timer(me, time);
            return;
        }
        trouble.phase = Phase::Noticing;
        let state = trouble.stopped_state(false);
        let notice = trouble.notice.draw_ns(&mut trouble.luck);
        self.observer.drew(Draw::Stop(ix), trouble.notice.off_mean_ns(notice));
        self.set_state(me, state);
        if notice == 0 { self.call_for(ix) } else { self.set_stop_timer(me, notice) }
    }

    fn set_stop_timer(&mut self, me: StationId, after: Nanos) {
        let Some(timer) = self.posts[me.ix()].stop_timer else {
            panic!("a station with troubles has a timer for their phases")
        };
        self.set_timer(timer, after);
    }

    fn call_for(&mut self, ix: u16) {
        let trouble = &mut self.troubles[usize::from(ix)];
        trouble.phase = Phase::Calling;
        let Some(pool) = trouble.pool else { panic!("only a trouble with a pool calls for one") };
        let station = trouble.station;
        self.call(pool, station, Job::Clear(ix));
    }

    /// The timer of the present stop of station `me` has run out.
    pub fn fire_stop(&mut self, me: StationId) {
        let Some(ix) = self.posts[me.ix()].current else { panic!("a stop timer runs only during a stop") };
        let trouble = &mut self.troubles[usize::from(ix)];
        match trouble.phase {
            Phase::Trying { left } => {
                let success = trouble.automatic.as_ref().map_or(0.0, |automatic| automatic.success);
                let succeeds = trouble.luck.chance(success);
                if O::HEARS_DRAWS {
                    let after = trouble.mean_left_ns(left - 1);
                    let off = if succeeds { success - 1.0 } else { success } * after;
                    self.observer.drew(Draw::Stop(ix), off);
                }
                if succeeds {
                    self.end(ix);
                } else {
                    trouble.phase = Phase::Trying { left: left - 1 };
                    self.try_or_call(ix);
                }
            }
            Phase::Noticing => self.call_for(ix),
            Phase::Working => self.end(ix),
            Phase::Off | Phase::Queued | Phase::Calling => {
                panic!("a stop timer runs only in the timed phases of a stop")
            }
        }
    }

    /// An attendant begins to work on a trouble; returns how long it takes, ns.
    pub(super) fn attend_trouble(&mut self, ix: u16) -> Nanos {
        let trouble = &mut self.troubles[usize::from(ix)];
        trouble.phase = Phase::Working;
        let (me, state) = (trouble.station, trouble.stopped_state(true));
        let time = trouble.work.draw_ns(&mut trouble.luck);
        self.observer.drew(Draw::Stop(ix), trouble.work.off_mean_ns(time));
        self.set_state(me, state);
        time
    }

    /// A trouble is over: the next one begins, or the station goes on.
    pub(super) fn end(&mut self, ix: u16) {
        let trouble = &mut self.troubles[usize::from(ix)];
        let (me, redirect) = (trouble.station, trouble.redirect);
        trouble.phase = Phase::Off;
        if let Trigger::Time { between, .. } = &trouble.trigger {
            let time = between.draw_ns(&mut trouble.luck);
            trouble.remaining = Some(time);
            self.observer.drew(Draw::Between(ix), between.off_mean_ns(time));
        }
        self.note(me, Note::Cleared(ix), None);
        if let Some(exit) = redirect {
            self.messages.push((me, Message::Redirect(exit)));
        }
        let post = &mut self.posts[me.ix()];
        post.current = None;
        if !post.queued.is_empty() {
            let next = post.queued.remove(0);
            self.begin(next);
            // The state may have stayed the same, and the clock of what is over runs again (wall).
            let state = self.state(me);
            return self.move_clocks(me, state);
        }
        self.hot[me.ix()].bars &= !STOPPED;
        self.thaw(me);
    }

    // ---- standing still -----------------------------------------------------------------------------

    /// Stops the station's own timers and its body. It may be stopped and frozen by a hold at once; it goes
    /// on when neither holds any more.
    pub(super) fn freeze(&mut self, me: StationId) {
        let (now, post) = (self.now, &mut self.posts[me.ix()]);
        if post.frozen_since.is_some() {
            return;
        }
        post.frozen_since = Some(now);
        for &timer in &post.timers {
            if let Some(at) = self.calendar.at(timer) {
                post.frozen.push((timer, at - now));
                self.calendar.clear(timer);
            }
        }
        if let Some(body) = post.body {
            self.places[body.ix()].freeze(now);
            self.observer.stands(now, body, me, true);
        }
        self.pass_grants(me);
    }

    /// Sets the station going again, if nothing keeps it any more.
    pub(super) fn thaw(&mut self, me: StationId) {
        let hot = &mut self.hot[me.ix()];
        if hot.bars & STOPPED != 0 {
            return;
        }
        if hot.bars & FROZEN != 0 {
            let bars = hot.bars;
            self.set_state(me, Self::frozen_state(bars));
            return;
        }
        let now = self.now;
        let post = &mut self.posts[me.ix()];
        let Some(since) = post.frozen_since.take() else { return };
        let stood = now - since;
        for (timer, remaining) in std::mem::take(&mut post.frozen) {
            self.calendar.set(timer, now.saturating_add(remaining));
        }
        if let Some(body) = post.body {
            self.places[body.ix()].thaw(now);
            self.observer.stands(now, body, me, false);
            self.wake_takers(body);
        }
        self.messages.push((me, Message::Thawed(stood)));
        self.dirty.insert(me.0);
    }

    pub(super) fn frozen_state(bars: u8) -> State {
        if bars & super::floor::CHANGING != 0 {
            State::Changeover
        } else if bars & super::floor::OFF != 0 {
            State::Off
        } else {
            State::Held
        }
    }
}

#[cfg(test)]
mod tests;
