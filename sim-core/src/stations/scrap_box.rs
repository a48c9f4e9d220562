//! Scrap box that never fills: takes every part at once, without limit, and counts it.
//!
//! One that fills and is exchanged is a [box](super::boxes), which also reads both. It ends the line for what goes there: a part in the scrap box has left the line. **Timing.** A part that
//! is ready is taken in no time; one that is still on its way to the end of a track is taken when it comes
//! there. Neither a hold nor a break is meant for it; while off it takes nothing.

use super::alarm::Alarm;
use crate::kernel::{Exit, Floor, Inlets, Message, Observer, Offer, StationId};
use crate::part::Nanos;

/// State of a scrap box.
#[derive(Clone, Debug)]
pub struct ScrapBox {
    me: StationId,
    alarm: Alarm,
    inlets: Inlets,
}

impl ScrapBox {
    /// An empty scrap box.
    pub fn new(me: StationId, alarm: Alarm, inlets: Inlets) -> Self {
        ScrapBox { me, alarm, inlets }
    }

    pub(super) fn fire(&mut self) {
        self.alarm.spent();
    }

    pub(super) fn settle<O: Observer>(&mut self, floor: &mut Floor<O>) {
        let mut due = Nanos::MAX;
        if floor.may_start(self.me) {
            match floor.offer(self.me, &self.inlets) {
                Offer::Ready(place) => {
                    let part = floor.take(self.me, place);
                    let gone = floor.hand_over(self.me, 0, Exit::Leave, &part);
                    assert!(gone, "there is always room outside of the line");
                    // The next one in another settling: a bin that never runs out is found as an instant loop.
                    floor.dirty.insert(self.me.0);
                }
                Offer::Due(at) => due = at,
                Offer::Nothing => {}
            }
        }
        self.alarm.set(floor, due);
        floor.set_idle(self.me, false);
    }

    pub(super) fn message(&mut self, message: Message) {
        match message {
            Message::Thawed(stood) => self.alarm.shift(stood),
            Message::Redirect(_) | Message::Attended(_) => {}
        }
    }
}
