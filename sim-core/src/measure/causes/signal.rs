//! Signals: why nothing came, as a step function of time.
//!
//! A station's signal says at each moment what keeps it from giving anything. A gap that it leaves in the flow
//! travels down a place and keeps its cause; so the cause of a gap at the end of a place is the signal of the
//! station that gives to it, at the time at which a part that comes to the end now would have entered.
//! Invariants: steps are in order of time; neighbours differ; the first one lies before all time.

use crate::kernel::{State, StationId};
use std::collections::VecDeque;

/// Simulated time, ns. Signed, for what would have entered before the start.
pub(super) type Time = i64;

/// Before all time.
pub(super) const EVER: Time = Time::MIN / 4;
/// After all time.
pub(super) const NEVER: Time = Time::MAX / 4;

/// Why nothing comes.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Cause {
    /// A station in a state that gives nothing. *Working*: it does what it can, it is at its natural limit.
    At(StationId, State),
    /// The one with this number among the [particular ones](super::CauseSetup::particular) of the line.
    Because(u16),
    /// Parts go round, and the search has come back to where it began.
    Recirculating,
    /// The line fills up: no part has been here since the start.
    FillingUp,
}

/// A cause, and when the interruption began.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(super) struct Reason {
    pub(super) cause: Cause,
    pub(super) began: Time,
}

impl Reason {
    /// How near it is to the one whose part would have come first at a join of several inlets: an interruption before
    /// a natural limit, one further up before that of the `giver` itself; among interruptions the first to begin.
    pub(super) fn order(self, giver: StationId) -> (u8, Time) {
        match self.cause {
            Cause::At(station, State::Working) => (1 + u8::from(station == giver), 0),
            Cause::At(..) | Cause::Because(_) => (0, self.began),
            Cause::FillingUp => (2, 0),
            Cause::Recirculating => (3, 0),
        }
    }
}

#[derive(Clone, Copy, Debug)]
struct Step {
    from: Time,
    reason: Reason,
}

/// A step function of time.
#[derive(Clone, Debug)]
pub(super) struct Signal {
    steps: VecDeque<Step>,
}

impl Signal {
    /// The signal of a station at the start.
    pub(super) fn new() -> Self {
        let filling = Reason { cause: Cause::FillingUp, began: EVER };
        Signal { steps: VecDeque::from([Step { from: EVER, reason: filling }]) }
    }

    pub(super) fn len(&self) -> usize {
        self.steps.len()
    }

    /// What holds now.
    pub(super) fn last(&self) -> Reason {
        let Some(step) = self.steps.back() else { panic!("a signal has a first step") };
        step.reason
    }

    /// From `from` on, which is not before the last step, `reason` holds.
    pub(super) fn set(&mut self, from: Time, reason: Reason) {
        self.revoke(from);
        if self.last() != reason {
            self.steps.push_back(Step { from, reason });
        }
    }

    /// What was to hold from `from` on does not after all.
    pub(super) fn revoke(&mut self, from: Time) {
        while self.steps.len() > 1 && self.steps.back().is_some_and(|step| step.from >= from) {
            self.steps.pop_back();
        }
    }

    /// What holds at `at`, and the next time at which that changes.
    pub(super) fn at(&self, at: Time) -> (Reason, Time) {
        // What is asked for is nearly always among the last steps.
        let mut next = NEVER;
        for step in self.steps.iter().rev() {
            if step.from <= at {
                return (step.reason, next);
            }
            next = step.from;
        }
        panic!("the first step lies before all time")
    }

    /// Forgets what held before `at`.
    pub(super) fn forget(&mut self, at: Time) {
        while self.steps.get(1).is_some_and(|step| step.from <= at) {
            self.steps.pop_front();
        }
        if let Some(first) = self.steps.front_mut() {
            first.from = EVER;
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn reason(n: u16) -> Reason {
        Reason { cause: Cause::At(StationId(n), State::JamClearing), began: i64::from(n) }
    }

    #[test]
    fn holds_from_step_to_step() {
        let mut signal = Signal::new();
        signal.set(10, reason(1));
        signal.set(20, reason(1));
        signal.set(30, reason(2));
        assert_eq!(signal.len(), 3, "what does not change is no step");
        assert_eq!(signal.at(9), (Reason { cause: Cause::FillingUp, began: EVER }, 10));
        assert_eq!(signal.at(10), (reason(1), 30));
        assert_eq!(signal.at(30), (reason(2), NEVER));
        signal.set(30, reason(3));
        assert_eq!(signal.at(40).0, reason(3), "what lasted no time is forgotten");
        signal.forget(29);
        assert_eq!((signal.len(), signal.at(5).0), (2, reason(1)));
        signal.revoke(30);
        assert_eq!(signal.at(40), (reason(1), NEVER));
    }
}
