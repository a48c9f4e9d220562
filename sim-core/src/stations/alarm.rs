//! A station's timer with the time it is set to, so that it is touched only when it changes.

use crate::kernel::{Floor, Observer, Pace, TimerId};
use crate::part::Nanos;

/// One timer of a station.
#[derive(Clone, Copy, Debug)]
pub struct Alarm {
    timer: TimerId,
    at: Nanos,
}

impl Alarm {
    /// An alarm that is not set.
    pub fn new(timer: TimerId) -> Self {
        Alarm { timer, at: Nanos::MAX }
    }

    /// Sets the alarm to a time, ns; `Nanos::MAX` clears it.
    #[inline(always)]
    pub fn set<O: Observer>(&mut self, floor: &mut Floor<O>, at: Nanos) {
        if at == self.at {
            return;
        }
        self.at = at;
        floor.calendar.set_in(self.timer, at, O::NEAR);
    }

    /// Sets the alarm to a time, ns, without looking whether that is the one to which it is set.
    #[inline(always)]
    pub fn start<O: Observer>(&mut self, floor: &mut Floor<O>, at: Nanos) {
        self.at = at;
        floor.calendar.set_in(self.timer, at, O::NEAR);
    }

    /// The station has gone to another speed: what is left until the alarm is stretched.
    pub fn change_pace<O: Observer>(&mut self, floor: &mut Floor<O>, from: Pace, to: Pace) {
        self.set(floor, to.moved(from, floor.now, self.at));
    }

    /// The alarm has gone off.
    #[inline]
    pub fn spent(&mut self) {
        self.at = Nanos::MAX;
    }

    /// The station stood for so long, ns, and the floor has moved the timer.
    pub fn shift(&mut self, stood: Nanos) {
        if self.at != Nanos::MAX {
            self.at += stood;
        }
    }
}
