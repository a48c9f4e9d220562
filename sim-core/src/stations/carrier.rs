//! Carrier: a track, belt or bin, as the station that owns a place.
//!
//! The place itself is passive; the carrier gives it a state (starved while empty, blocked while full,
//! working in between; a stopping belt is blocked while it stands, one with spaced entries while it is full and its head is
//! at the end), troubles, holds, and for a belt with spaced
//! entries the timer that wakes whoever waits for the entry to be clear.
//!
//! **Timing.** A part is at the end a transit time after it entered, or later if the carrier stood still. A
//! place becomes free when the next station takes the head. A *stopping* belt stands while its head part
//! can't leave; an accumulating one closes up. Held, jammed or off, a powered belt stands as a whole; a
//! gravity track can't be held. A jam by part strikes after the moves of the instant in which a
//! part enters, also if it has gone on by then (`start` and `end` mean the same). Slowed down,
//! parts under way and the entry move at the lower speed; what is at the end stays there.

use super::alarm::Alarm;
use crate::kernel::{Floor, Message, Moment, Observer, PlaceId, StationId};
use crate::part::Nanos;

/// State of a carrier.
#[derive(Clone, Debug)]
pub struct Carrier {
    me: StationId,
    alarm: Option<Alarm>,
    place: PlaceId,
}

impl Carrier {
    /// A carrier of `place`; only a belt that stops or keeps entries apart needs an alarm.
    pub fn new(me: StationId, alarm: Option<Alarm>, place: PlaceId) -> Self {
        Carrier { me, alarm, place }
    }

    pub(super) fn fire(&mut self) {
        if let Some(alarm) = &mut self.alarm {
            alarm.spent();
        }
    }

    #[inline(never)]
    pub(super) fn settle<O: Observer>(&mut self, floor: &mut Floor<O>) {
        floor.settle_carrier(self.place);
        if let Some(alarm) = &mut self.alarm {
            let wait = floor.wake_entry(self.place);
            let at = wait.map_or(Nanos::MAX, |wait| floor.now + wait);
            let stands = floor.place(self.place).stands_at().filter(|at| *at > floor.now);
            alarm.set(floor, stands.map_or(at, |stands| at.min(stands)));
        }
    }

    /// Gives jams by part their chance for every part that has entered.
    pub(super) fn look<O: Observer>(&mut self, floor: &mut Floor<O>) {
        for part in floor.place_mut(self.place).take_entered() {
            for moment in [Moment::Start, Moment::End] {
                floor.jams(self.me, &part, moment);
            }
        }
    }

    pub(super) fn message(&mut self, message: Message) {
        match message {
            Message::Thawed(stood) => {
                if let Some(alarm) = &mut self.alarm {
                    alarm.shift(stood);
                }
            }
            Message::Redirect(_) | Message::Attended(_) => {}
        }
    }
}
