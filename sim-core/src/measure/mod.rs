//! Measures: what one replication adds up while its window is open.
//!
//! A tally is an observer of whole numbers: nanoseconds by state, nanoseconds by level, counts. It is exact;
//! rates and shares are worked out from it later. Invariant: the states of each station add up to the
//! length of the window.

mod causes;
mod draws;
mod film;
mod level_course;
mod levels;
mod near;
mod own;
mod per_minute;
mod slices;
mod tally;
mod trace;

pub use causes::{Cause, CausePlace, CauseSensor, CauseSetup, CauseStation, Causes, Particular};
pub use draws::Draws;
pub use film::{FRAME, Film, Scene};
pub use level_course::LevelCourse;
pub use levels::{LevelSums, LevelTally};
pub use near::NearTally;
pub use own::OwnTally;
pub use per_minute::PerMinute;
pub use slices::{Slice, Slices};
pub use tally::{Counts, Pick, PointTally, Tally, TallySetup};
pub use trace::{Happening, Trace};

use crate::kernel::Observer;
use crate::part::Nanos;

/// An observer with a window: it counts what happens between its opening and its close.
pub trait Measure: Observer + Sized {
    /// The same for a line of which all lies near; see [`Observer::NEAR`].
    type Near: Measure;

    /// It as one for such a line.
    fn near(self) -> Self::Near;

    /// It back from one for such a line.
    fn from_near(near: Self::Near) -> Self;

    /// Makes it as good as new, for another replication.
    fn restart(&mut self);

    /// Opens the window: what happened up to and at `now` is forgotten.
    fn open(&mut self, now: Nanos);

    /// Closes the window at `now`: what is under way counts with its part inside.
    fn close(&mut self, now: Nanos);
}

impl Measure for Tally {
    type Near = NearTally;

    fn near(self) -> NearTally {
        NearTally(self)
    }

    fn from_near(near: NearTally) -> Self {
        near.0
    }

    fn restart(&mut self) {
        Tally::restart(self);
    }

    fn open(&mut self, now: Nanos) {
        Tally::open(self, now);
    }

    fn close(&mut self, now: Nanos) {
        Tally::close(self, now);
    }
}

impl Measure for Causes {
    type Near = Causes;

    fn near(self) -> Self {
        self
    }

    fn from_near(near: Self) -> Self {
        near
    }

    fn restart(&mut self) {
        Causes::restart(self);
    }

    fn open(&mut self, now: Nanos) {
        Causes::open(self, now);
    }

    fn close(&mut self, now: Nanos) {
        Causes::close(self, now);
    }
}

impl Measure for NearTally {
    type Near = NearTally;

    fn near(self) -> Self {
        self
    }

    fn from_near(near: Self) -> Self {
        near
    }

    fn restart(&mut self) {
        self.0.restart();
    }

    fn open(&mut self, now: Nanos) {
        self.0.open(now);
    }

    fn close(&mut self, now: Nanos) {
        self.0.close(now);
    }
}

impl<A: Measure, B: Measure> Measure for (A, B) {
    type Near = (A::Near, B::Near);

    fn near(self) -> Self::Near {
        (self.0.near(), self.1.near())
    }

    fn from_near(near: Self::Near) -> Self {
        (A::from_near(near.0), B::from_near(near.1))
    }

    fn restart(&mut self) {
        self.0.restart();
        self.1.restart();
    }

    fn open(&mut self, now: Nanos) {
        self.0.open(now);
        self.1.open(now);
    }

    fn close(&mut self, now: Nanos) {
        self.0.close(now);
        self.1.close(now);
    }
}
