//! Outlet: parts that have come to the end of a lift or meter together and go on one after the other.
//!
//! A track or belt takes as many as it has room for; a bin as many as it holds (it is not overfilled); into a
//! hand they go one at a time, since a hand has no room of its own. The station is listed as waiting while
//! parts stand here.

use crate::kernel::{Exit, Floor, Moment, Observer, StationId};
use crate::part::Part;
use std::collections::VecDeque;

/// Parts on their way out of a station.
#[derive(Clone, Debug)]
pub(super) struct Outlet {
    me: StationId,
    pub(super) exit: Exit,
    pub(super) parts: VecDeque<Part>,
}

impl Outlet {
    pub(super) fn new(me: StationId, exit: Exit) -> Self {
        Outlet { me, exit, parts: VecDeque::new() }
    }

    /// Whether the place beyond has room for one more part; its spacing is not asked for.
    pub(super) fn is_wanted<O: Observer>(&self, floor: &Floor<O>) -> bool {
        match self.exit {
            Exit::Leave => true,
            Exit::Store(place) => floor.place(place).len() < floor.place(place).capacity(),
            Exit::Hand(_) => floor.is_clear(self.exit),
        }
    }

    /// Hands on what there is room for. True if nothing is left here nor in the hand; false too if a jam has
    /// struck.
    pub(super) fn hand_on<O: Observer>(&mut self, floor: &mut Floor<O>) -> bool {
        while let Some(part) = self.parts.front().copied() {
            if !self.is_wanted(floor) {
                if let Exit::Store(place) = self.exit {
                    floor.wait_for_room(self.me, place);
                }
                return false;
            }
            if !floor.hand_over(self.me, 0, self.exit, &part) {
                return false;
            }
            self.parts.pop_front();
            if floor.jams(self.me, &part, Moment::After) {
                return false;
            }
        }
        floor.is_clear(self.exit)
    }
}
