//! Passages: how long ago what comes to the end of a place would have entered it.
//!
//! A place that stands still delays the gaps in it as it does the parts. Times at which it stood are kept as long as
//! something that entered before is still in it.

use super::signal::{NEVER, Reason, Time};
use std::collections::VecDeque;

/// A time at which the place stood still.
#[derive(Clone, Copy, Debug)]
struct Standstill {
    from: Time,
    to: Time,
    /// Why, where that is a cause of its own: a belt that stands because its head is not taken starves nobody.
    reason: Option<Reason>,
}

/// The way through one place.
#[derive(Clone, Debug, Default)]
pub(super) struct Passage {
    transit: Time,
    standstills: VecDeque<Standstill>,
    /// The gap at the end has been made longer by a standstill: from when on, and why. It holds until a part is taken.
    pub(super) stamp: Option<(Time, Reason)>,
}

impl Passage {
    /// A way that takes so long, ns.
    pub(super) fn new(transit: Time) -> Self {
        Passage { transit, ..Passage::default() }
    }

    /// As at the start.
    pub(super) fn restart(&mut self) {
        self.standstills.clear();
        self.stamp = None;
    }

    pub(super) fn n_standstills(&self) -> usize {
        self.standstills.len()
    }

    /// From now on it stands still.
    pub(super) fn stop(&mut self, now: Time, reason: Reason) {
        if self.stands() {
            self.go(now);
        }
        self.standstills.push_back(Standstill { from: now, to: NEVER, reason: Some(reason) });
    }

    pub(super) fn stands(&self) -> bool {
        self.standstills.back().is_some_and(|still| still.to == NEVER)
    }

    /// From now on it goes on.
    pub(super) fn go(&mut self, now: Time) {
        let Some(still) = self.standstills.back_mut().filter(|still| still.to == NEVER) else { return };
        still.to = now;
        if still.from == now {
            self.standstills.pop_back();
        } else if let Some(reason) = still.reason {
            self.stamp = Some((now, reason));
        }
    }

    /// It has stood from `from` to `to` with a part at its end.
    pub(super) fn stood(&mut self, from: Time, to: Time) {
        if from >= to || self.stands() {
            return;
        }
        let mut from = from;
        if let Some(last) = self.standstills.back_mut().filter(|last| last.to > from) {
            // It had already stood for its head when it was stopped from outside.
            last.from -= last.to - from;
            from = last.to;
        }
        self.standstills.push_back(Standstill { from, to, reason: None });
    }

    /// When what comes to the end at `at` entered.
    pub(super) fn entry(&self, at: Time) -> Time {
        let (mut at, mut left) = (at, self.transit);
        let from_now = at;
        for still in self.standstills.iter().rev().skip_while(|still| still.from >= from_now) {
            let moving = at - still.to.min(at);
            if moving >= left {
                break;
            }
            left -= moving;
            at = still.from;
        }
        at - left
    }

    /// Why it stands at `at`, if it does, and until when that is so.
    pub(super) fn reason(&self, at: Time) -> (Option<Reason>, Time) {
        let mut until = NEVER;
        for still in self.standstills.iter().rev() {
            if still.to <= at {
                break;
            }
            if still.from <= at {
                return (still.reason, still.to.min(until));
            }
            until = still.from;
        }
        (None, until)
    }

    /// The first time after `entry` at which it began to stand.
    pub(super) fn next_standstill(&self, entry: Time) -> Time {
        let mut next = NEVER;
        for still in self.standstills.iter().rev().take_while(|still| still.from > entry) {
            next = still.from;
        }
        next
    }

    /// Forgets standstills that nothing in it has seen, as of `now`.
    pub(super) fn forget(&mut self, now: Time) {
        let entry = self.entry(now);
        while self.standstills.front().is_some_and(|still| still.to <= entry) {
            self.standstills.pop_front();
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::kernel::{State, StationId};
    use crate::measure::causes::signal::Cause;

    fn reason() -> Reason {
        Reason { cause: Cause::At(StationId(0), State::JamClearing), began: 0 }
    }

    #[test]
    fn standing_delays() {
        let mut way = Passage::new(100);
        assert_eq!(way.entry(150), 50);
        way.stop(120, reason());
        assert_eq!(way.entry(150), 20, "as at 120");
        way.go(160);
        assert_eq!(way.entry(160), 20);
        assert_eq!(way.entry(200), 60, "80 before the stop, 40 after it have passed");
        assert_eq!(way.entry(259), 119);
        assert_eq!(way.entry(260), 160, "what would have entered while it stood entered at its end");
        assert_eq!(way.entry(300), 200);
        way.forget(259);
        assert_eq!(way.n_standstills(), 1);
        way.forget(300);
        assert_eq!(way.n_standstills(), 0);
    }

    #[test]
    fn says_why_it_stands() {
        let mut way = Passage::new(10);
        way.stood(5, 8);
        way.stop(20, reason());
        way.go(30);
        assert_eq!(way.reason(6), (None, 8));
        assert_eq!(way.reason(9), (None, 20));
        assert_eq!(way.reason(20), (Some(reason()), 30));
        assert_eq!(way.reason(30), (None, NEVER));
        assert_eq!(way.stamp, Some((30, reason())));
        assert_eq!((way.next_standstill(4), way.next_standstill(5), way.next_standstill(20)), (5, 20, NEVER));
    }
}
