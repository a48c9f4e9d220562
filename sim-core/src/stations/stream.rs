//! Stream: parts that come from a process upstream, one at a time or in groups, on a clock of their own.
//!
//! **Timing.** The first arrival comes one spacing after the start. Spacing and group size are drawn by
//! law. Arrivals that find no room wait outside, in order, or are lost and counted. Held (by default it
//! freezes): the clock stands still, nothing comes.

use super::alarm::Alarm;
use super::dice::Dice;
use crate::kernel::{Exit, Floor, Message, Observer, Sampler, State, StationId};
use crate::part::Part;
use std::collections::VecDeque;

/// State of a stream.
#[derive(Clone, Debug)]
pub struct Stream {
    me: StationId,
    alarm: Alarm,
    kind: u8,
    exit: Exit,
    spacing: Sampler,
    group: Sampler,
    loses: bool,
    clock: Dice,
    parts: Dice,
    outside: VecDeque<Part>,
    started: bool,
}

impl Stream {
    /// A stream of `kind`; what finds no room is lost if `loses`, otherwise it waits.
    #[expect(clippy::too_many_arguments, reason = "a plain list of what the scenario says of a stream")]
    pub fn new(
        me: StationId,
        alarm: Alarm,
        kind: u8,
        exit: Exit,
        spacing: Sampler,
        group: Sampler,
        loses: bool,
        clock: Dice,
        parts: Dice,
    ) -> Self {
        let outside = VecDeque::new();
        Stream { me, alarm, kind, exit, spacing, group, loses, clock, parts, outside, started: false }
    }

    pub(super) fn seed(&mut self, seed: u64, replication: u64) {
        self.clock.seed(seed, replication);
        self.parts.seed(seed, replication);
    }

    pub(super) fn content(&self) -> usize {
        self.outside.len()
    }

    pub(super) fn fire<O: Observer>(&mut self, floor: &mut Floor<O>) {
        self.alarm.spent();
        for _ in 0..self.group.draw_count(self.clock.stream()) {
            let part = floor.create(self.me, self.kind, self.parts.stream());
            self.outside.push_back(part);
        }
        self.schedule(floor);
    }

    fn schedule<O: Observer>(&mut self, floor: &mut Floor<O>) {
        let spacing = self.spacing.draw_ns(self.clock.stream());
        self.alarm.set(floor, floor.now + spacing);
    }

    #[inline(never)]
    pub(super) fn settle<O: Observer>(&mut self, floor: &mut Floor<O>) {
        if !self.started {
            self.started = true;
            self.schedule(floor);
        }
        while let Some(part) = self.outside.front().copied() {
            // Into a hand one by one, so that what is lost is known after the fixed point.
            if !floor.is_clear(self.exit) || !floor.hand_over(self.me, 0, self.exit, &part) {
                break;
            }
            self.outside.pop_front();
        }
        if self.loses {
            floor.looks.insert(self.me.0);
        }
        let waits = !self.outside.is_empty() || !floor.is_clear(self.exit);
        if waits { floor.set_idle(self.me, true) } else { floor.set_state(self.me, State::Working) }
    }

    /// After the fixed point: what has found no room is lost.
    pub(super) fn look<O: Observer>(&mut self, floor: &mut Floor<O>) {
        if let Exit::Hand(place) = self.exit
            && floor.place(place).len() > 0
        {
            let part = floor.retract(place);
            floor.count_lost(self.me, &part);
            // The rest of the group had its chance to be taken from the hand in the same fixed point.
        }
        while let Some(part) = self.outside.pop_front() {
            floor.count_lost(self.me, &part);
        }
        if let Exit::Store(place) = self.exit {
            floor.stop_waiting(self.me, place);
        }
        floor.set_state(self.me, State::Working);
    }

    pub(super) fn message(&mut self, message: Message) {
        match message {
            Message::Thawed(stood) => self.alarm.shift(stood),
            Message::Redirect(_) | Message::Attended(_) => {}
        }
    }
}
