//! Passages: how long ago what comes to the end of a place would have entered it.
//!
//! A place that stands still delays the gaps in it as it does the parts. Times at which it stood are kept as long as
//! something that entered before is still in it.
//!
//! A place that is slowed down stretches the gaps that are in it by then. Of the time between two parts at its end, what
//! is more than lay between them at the entry is charged to the sensor, at the end of the gap; before that the gap is
//! looked up as it was at the entry.

use super::signal::{Cause, EVER, NEVER, Reason, Time};
use super::slow::MILLION;
use crate::kernel::Pace;
use std::collections::VecDeque;

/// A time at which the place stood still.
#[derive(Clone, Copy, Debug)]
struct Standstill {
    from: Time,
    to: Time,
    /// Why, where that is a cause of its own: a belt that stands because its head is not taken starves nobody.
    reason: Option<Reason>,
}

/// The time between two parts at the end of a place that was slowed down, and between them at its entry.
#[derive(Clone, Copy, Debug)]
struct Gap {
    from: Time,
    to: Time,
    entry_from: Time,
    entry_to: Time,
    cause: Cause,
}

impl Gap {
    /// From when on it lasts longer than at the entry.
    fn stretched_from(&self) -> Time {
        self.from + (self.entry_to - self.entry_from).min(self.to - self.from)
    }

    /// When what is at the end at `at` entered; of a gap that has become shorter the last part is left.
    fn entry(&self, at: Time) -> Time {
        let shift = if self.stretched_from() < self.to {
            self.from - self.entry_from
        } else {
            self.to - self.entry_to
        };
        (at - shift).min(self.entry_to)
    }
}

/// The way through one place.
#[derive(Clone, Debug, Default)]
pub(super) struct Passage {
    transit: Time,
    standstills: VecDeque<Standstill>,
    /// Speeds, each from its time on; empty: the full speed.
    paces: VecDeque<(Time, Pace)>,
    /// The sensor that slows it down, or did so last.
    slowed_by: Option<Cause>,
    /// When something came out last, and when that had entered.
    came_out: Option<(Time, Time)>,
    gaps: VecDeque<Gap>,
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
        self.paces.clear();
        self.gaps.clear();
        (self.stamp, self.slowed_by, self.came_out) = (None, None, None);
    }

    /// Number of standstills, speeds and gaps that it remembers.
    pub(super) fn n_kept(&self) -> usize {
        self.standstills.len() + self.paces.len() + self.gaps.len()
    }

    /// Whether it has been slowed down, as far as it remembers.
    pub(super) fn is_slow(&self) -> bool {
        !self.paces.is_empty()
    }

    /// It moves at this speed from now on.
    pub(super) fn change_pace(&mut self, now: Time, pace: Pace, cause: Option<Cause>) {
        if self.paces.is_empty() {
            self.paces.push_back((EVER, Pace::FULL));
            self.came_out = None;
        }
        self.paces.push_back((now, pace));
        self.slowed_by = cause.or(self.slowed_by);
    }

    /// Something has come to its end and out.
    pub(super) fn came_out(&mut self, now: Time) {
        let entry = self.way_back(now);
        let before = self.came_out.replace((now, entry));
        let (Some((from, entry_from)), Some(cause)) = (before, self.slowed_by) else { return };
        // A standstill in between is charged by itself.
        let stood = self.standstills.back().is_some_and(|still| still.to > from);
        if !stood && now > from && now - from != entry - entry_from {
            self.gaps.push_back(Gap { from, to: now, entry_from, entry_to: entry, cause });
        }
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
        if self.paces.is_empty() {
            return self.way_at_full_speed(at);
        }
        let gap = self.gaps.iter().rev().find(|gap| gap.from <= at);
        gap.filter(|gap| at < gap.to).map_or_else(|| self.way_back(at), |gap| gap.entry(at))
    }

    fn way_at_full_speed(&self, at: Time) -> Time {
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

    /// The same, each stretch at its speed.
    fn way_back(&self, at: Time) -> Time {
        let mut left = i128::from(self.transit) * i128::from(MILLION);
        let (mut at, from_now) = (at, at);
        let mut standstills =
            self.standstills.iter().rev().skip_while(|still| still.from >= from_now).peekable();
        for &(since, pace) in self.paces.iter().rev() {
            // Stretches at one speed, cut by standstills.
            while at > since {
                let still = standstills.peek().filter(|still| still.to > since);
                let from = still.map_or(since, |still| still.to.min(at));
                let pace = i128::from(pace.millionths());
                let moved = i128::from(at - from) * pace;
                if moved >= left {
                    return at - (left / pace) as Time;
                }
                left -= moved;
                at = from;
                if let Some(still) = still {
                    at = at.min(still.from);
                    standstills.next();
                }
            }
        }
        at
    }

    /// Why it stands at `at`, or what has stretched the gap there, and until when that is so.
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
        for gap in self.gaps.iter().rev().take_while(|gap| gap.to > at) {
            let stretched = gap.stretched_from();
            if at >= stretched.max(gap.from) {
                return (Some(Reason { cause: gap.cause, began: stretched }), gap.to.min(until));
            }
            until = until.min(if at >= gap.from { stretched } else { gap.from });
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

    /// Forgets what nothing in it has seen, as of `now`.
    pub(super) fn forget(&mut self, now: Time) {
        let entry = self.entry(now);
        while self.standstills.front().is_some_and(|still| still.to <= entry) {
            self.standstills.pop_front();
        }
        while self.gaps.front().is_some_and(|gap| gap.to <= now) {
            self.gaps.pop_front();
        }
        while self.paces.get(1).is_some_and(|(since, _)| *since <= entry) {
            self.paces.pop_front();
        }
        if let [(_, Pace::FULL)] = self.paces.make_contiguous() {
            self.paces.clear();
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
        assert_eq!(way.n_kept(), 1);
        way.forget(300);
        assert_eq!(way.n_kept(), 0);
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

    /// A place of 100 ns at half speed from 1,000 on: parts enter every 20 ns, and come out every 40 until those are
    /// gone that were in it by then.
    #[test]
    fn a_slow_place_stretches_what_is_in_it() {
        let slow = Cause::Because(0);
        let mut way = Passage::new(100);
        way.change_pace(1000, Pace::of(0.5), Some(slow));
        assert_eq!((way.way_back(1000), way.way_back(1050), way.way_back(1200)), (900, 925, 1000));
        assert_eq!(way.way_back(1300), 1100, "200 ns for what entered since");
        for out in [1000, 1040, 1200, 1240] {
            way.came_out(out);
        }
        // Between 1,000 and 1,040 what lay 20 ns apart comes: 20 ns of the gap are the sensor's.
        assert_eq!((way.entry(1010), way.reason(1010)), (910, (None, 1020)));
        assert_eq!(way.reason(1020), (Some(Reason { cause: slow, began: 1020 }), 1040));
        assert_eq!(way.reason(1125).0.map(|reason| reason.cause), Some(slow), "80 of 160 ns");
        assert_eq!(
            way.reason(1210).0,
            None,
            "at a steady speed what comes out is as far apart as what went in"
        );
        assert_eq!(way.entry(1210), 1010);
        way.change_pace(1240, Pace::FULL, None);
        way.came_out(1260);
        // Closer together again: 40 ns apart at the entry, 20 ns at the end.
        assert_eq!((way.reason(1250).0, way.entry(1259)), (None, 1079));
        way.forget(2000);
        assert!(!way.is_slow());
    }
}
