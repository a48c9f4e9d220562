//! A stretch of a path: the parts on their way to one point, in file.
//!
//! It keeps its riders and the time of the first one together; it moves nothing by itself. Invariant: `head` is the
//! time of the rider in front with the lag, `Nanos::MAX` if nobody rides.

use crate::part::{Nanos, Part};
use std::collections::VecDeque;

#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(super) enum At {
    /// On its way to the point.
    Way,
    /// Before the outcome of this tool; `jammed` if its jam has had its chance.
    Tool { tool: u16, jammed: bool },
    /// On its way out through this exit; `jammed` if the jam at the end has had its chance.
    Leaving { exit: u8, jammed: bool },
}

#[derive(Clone, Copy, Debug)]
pub(super) struct Rider {
    pub(super) part: Part,
    pub(super) at_entry: u8,
    /// When it comes to the point, in the time of its stretch.
    pub(super) due: Nanos,
    pub(super) at: At,
}

/// The stretch that ends at one point.
#[derive(Clone, Debug, Default)]
pub(super) struct Stretch {
    pub(super) riders: VecDeque<Rider>,
    /// How long it has stood so far, ns.
    pub(super) lag: Nanos,
    /// Since when it stands.
    pub(super) stands_since: Option<Nanos>,
    /// When the part in front comes to the point if nothing stands; `Nanos::MAX` if there is none. It follows from
    /// the riders and the lag: the list is looked at far more often than it changes.
    pub(super) head: Nanos,
}

impl Stretch {
    pub(super) fn note_head(&mut self) {
        self.head = self.riders.front().map_or(Nanos::MAX, |rider| rider.due + self.lag);
    }

    pub(super) fn push(&mut self, rider: Rider) {
        self.riders.push_back(rider);
        self.note_head();
    }

    pub(super) fn pop(&mut self) -> Option<Rider> {
        let rider = self.riders.pop_front();
        self.note_head();
        rider
    }

    pub(super) fn add_lag(&mut self, stood: Nanos) {
        self.lag += stood;
        self.note_head();
    }
}
