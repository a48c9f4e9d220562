//! Passages: how long ago what comes to the end of a place would have entered it.
//!
//! A place that stands still delays the gaps in it as it does the parts. Times at which it stood are kept as long as
//! something that entered before is still in it.
//!
//! What a jam at a tool leaves moving, between the tool and the end, comes out while the rest stands. The gap of the jam
//! comes to the end behind it, and only then the jam is charged. (Where that is slowed down or made to stand in turn by
//! what it finds no room for, the time that the gap takes to the end is that at the speed of its beginning.)
//!
//! A place that is slowed down stretches the gaps that are in it by then. Of the time between two parts at its end, what
//! is more than lay between them at the entry is charged to the sensor, at the end of the gap; before that the gap is
//! looked up as it was at the entry.

use super::signal::{Cause, EVER, NEVER, Reason, Time};
use super::slow::MILLION;
use crate::kernel::Pace;
use crate::part::Nanos;
use std::collections::VecDeque;

/// A time at which the place stood still.
#[derive(Clone, Copy, Debug)]
struct Standstill {
    from: Time,
    to: Time,
    /// Why, where that is a cause of its own: a belt that stands because its head is not taken starves nobody.
    reason: Option<Reason>,
    /// What was within so much travel of the end at `from` went on, ns at full speed.
    ahead: Time,
    /// When the gap that it made is at the end; `from` and `to` where all stood.
    out_from: Time,
    out_to: Time,
}

impl Standstill {
    /// All stands.
    fn of_all(from: Time, to: Time, reason: Option<Reason>) -> Self {
        Standstill { from, to, reason, ahead: 0, out_from: from, out_to: to }
    }

    /// It goes on at `now`.
    fn end(&mut self, now: Time) {
        (self.to, self.out_to) = (now, now + (self.out_from - self.from));
    }

    /// Going back in time: what is `moved` (ns at full speed) from the end at `at`, when this standstill ended or later,
    /// was as far at its beginning, unless it went on. What would have come in the gap goes with what came last.
    fn before(&self, at: Time, moved: Time, pace: Pace) -> Time {
        if moved >= self.ahead {
            return at.min(self.from);
        }
        let passed = at - stretched(self.ahead - moved, pace);
        at - (passed - self.from).max(0)
    }
}

/// How long so much travel at full speed takes at this one.
fn stretched(travel: Time, pace: Pace) -> Time {
    pace.stretched(travel as Nanos) as Time
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
    /// When something came out last of a station that carries parts and still stands.
    let_out: Option<Time>,
    /// Something went on at the end while the rest stood, at least once.
    went_on_ahead: bool,
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
        (self.stamp, self.slowed_by, self.came_out, self.let_out) = (None, None, None, None);
        self.went_on_ahead = false;
    }

    /// Number of standstills, speeds and gaps that it remembers.
    pub(super) fn n_kept(&self) -> usize {
        self.standstills.len() + self.paces.len() + self.gaps.len()
    }

    /// Whether it has been slowed down, as far as it remembers.
    pub(super) fn is_slow(&self) -> bool {
        !self.paces.is_empty()
    }

    /// Its speed now.
    fn pace(&self) -> Pace {
        self.paces.back().map_or(Pace::FULL, |(_, pace)| *pace)
    }

    /// The sensor that slows it down now.
    pub(super) fn slowed_by(&self) -> Option<Cause> {
        self.slowed_by.filter(|_| self.pace() != Pace::FULL)
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

    /// From now on it stands still, or goes on doing so for another reason.
    pub(super) fn stop(&mut self, now: Time, reason: Reason) {
        let ahead = self.halt(now).map_or(0, |before| before.ahead);
        self.standstills.push_back(Standstill::of_all(now, NEVER, Some(reason)));
        self.keep_ahead(ahead);
    }

    /// What is within `ahead` of its end goes on while the rest stands.
    pub(super) fn go_on_ahead(&mut self, now: Time, ahead: Time) {
        let Some(before) = self.halt(now) else { return };
        self.standstills.push_back(Standstill::of_all(now, NEVER, before.reason));
        self.keep_ahead(ahead);
    }

    fn keep_ahead(&mut self, ahead: Time) {
        let pace = self.pace();
        if let Some(still) = self.standstills.back_mut().filter(|_| ahead > 0) {
            (still.ahead, still.out_from) = (ahead, still.from + stretched(ahead, pace));
            self.went_on_ahead = true;
        }
    }

    pub(super) fn stands(&self) -> bool {
        self.standstills.back().is_some_and(|still| still.to == NEVER)
    }

    /// Why it stands, if nothing of it goes on.
    pub(super) fn stands_wholly(&self) -> Option<Reason> {
        let still = self.standstills.back().filter(|still| still.to == NEVER && still.ahead == 0)?;
        still.reason
    }

    /// Ends the standstill under way, and returns it; one that took no time is forgotten.
    fn halt(&mut self, now: Time) -> Option<Standstill> {
        let still = self.standstills.back_mut().filter(|still| still.to == NEVER)?;
        still.end(now);
        let still = *still;
        if still.from == now {
            self.standstills.pop_back();
        } else if self.went_on_ahead {
            self.delay(still);
        }
        Some(still)
    }

    /// Gaps on their way to the end have stood with the rest.
    fn delay(&mut self, last: Standstill) {
        let stood = last.to - last.from;
        if let Some((from, _)) = self.stamp.as_mut().filter(|(from, _)| *from > last.out_from) {
            *from += stood;
        }
        let on_their_way = self.standstills.iter_mut().rev().skip(1);
        for gap in on_their_way.filter(|gap| gap.out_to > last.out_from) {
            gap.out_to += stood;
            if gap.out_from >= last.out_from {
                gap.out_from += stood;
            }
        }
    }

    /// Something has come out of it, which may end the gap of a standstill.
    pub(super) fn let_out(&mut self, now: Time) {
        self.let_out = Some(now);
    }

    /// From now on it goes on. The rest of the gap belongs to the standstill, unless what stuck has come out at once.
    pub(super) fn go(&mut self, now: Time) {
        let Some(still) = self.halt(now).filter(|still| still.from < now) else { return };
        let is_closed = self.let_out.is_some_and(|at| at >= still.out_to);
        self.stamp = still.reason.filter(|_| !is_closed).map(|reason| (still.out_to, reason)).or(self.stamp);
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
            last.out_from = last.from;
            from = last.to;
        }
        self.standstills.push_back(Standstill::of_all(from, to, None));
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
            at = still.before(at - moving, self.transit - left, Pace::FULL);
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
                let millionths = i128::from(pace.millionths());
                let moved = i128::from(at - from) * millionths;
                if moved >= left {
                    return at - (left / millionths) as Time;
                }
                left -= moved;
                at = from;
                if let Some(still) = still {
                    let moved = self.transit - (left / i128::from(MILLION)) as Time;
                    at = still.before(at, moved, pace);
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
            if still.out_to <= at {
                if self.went_on_ahead {
                    // The gap of an earlier one may still be on its way.
                    continue;
                }
                break;
            }
            if still.out_from <= at {
                return (still.reason, still.out_to.min(until));
            }
            until = until.min(still.out_from);
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
        self.went_on_ahead = self.standstills.iter().any(|still| still.ahead > 0);
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

    /// A jam at a tool 40 ns before the end: what is past it comes out as ever, and the gap of the jam 40 ns after it.
    #[test]
    fn what_is_past_a_jam_comes_first() {
        let mut way = Passage::new(100);
        way.stop(1000, reason());
        way.go_on_ahead(1000, 40);
        assert_eq!(way.stands_wholly(), None);
        assert_eq!((way.reason(1030), way.entry(1030)), ((None, 1040), 930));
        way.go(1020);
        assert_eq!((way.reason(1039), way.entry(1039)), ((None, 1040), 939));
        assert_eq!(way.reason(1040), (Some(reason()), 1060), "as long as the jam");
        assert_eq!(way.stamp, Some((1060, reason())));
        // What stood at the tool entered 60 ns before; what entered at the end of the jam stood nowhere.
        assert_eq!((way.entry(1060), way.entry(1119), way.entry(1120)), (940, 999, 1020));
        // All stands while the gap is on its way.
        way.stop(1030, reason());
        way.go(1037);
        assert_eq!((way.reason(1040), way.reason(1047)), ((None, 1047), (Some(reason()), 1067)));
        assert_eq!((way.entry(1040), way.entry(1067)), (933, 940));
        assert_eq!(way.stamp, Some((1037, reason())), "until something comes out");
        // While it is at the end it goes on afterwards.
        let other = Reason { began: 1, ..reason() };
        way.stop(1050, other);
        way.go(1052);
        assert_eq!((way.reason(1049), way.reason(1051)), ((Some(reason()), 1050), (Some(other), 1052)));
        assert_eq!(way.reason(1052), (Some(reason()), 1069));
        way.forget(1300);
        assert_eq!(way.n_kept(), 0);
    }

    #[test]
    fn what_stuck_and_comes_out_at_once_closes_the_gap() {
        let mut way = Passage::new(100);
        way.stop(1000, reason());
        way.let_out(1010);
        way.go(1010);
        assert_eq!(way.stamp, None);
        way.stop(1020, reason());
        way.let_out(1025);
        way.go(1030);
        assert_eq!(way.stamp, Some((1030, reason())), "it stood for longer");
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
