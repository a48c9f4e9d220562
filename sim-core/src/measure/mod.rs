//! Measures: what one replication adds up while its window is open.
//!
//! A tally is an observer of whole numbers: nanoseconds by state, nanoseconds by level, counts. It is exact;
//! rates and shares are worked out from it later. Invariant: the states of each station add up to the
//! length of the window.

mod causes;
mod levels;
mod own;
mod per_minute;
mod tally;
mod trace;

pub use causes::{Cause, CausePlace, CauseSensor, CauseSetup, CauseStation, Causes};
pub use levels::{LevelSums, LevelTally};
pub use own::OwnTally;
pub use per_minute::PerMinute;
pub use tally::{Counts, Pick, PointTally, Tally, TallySetup};
pub use trace::{Happening, Trace};

use crate::kernel::Observer;
use crate::part::Nanos;

/// An observer with a window: it counts what happens between its opening and its close.
pub trait Measure: Observer {
    /// Makes it as good as new, for another replication.
    fn restart(&mut self);

    /// Opens the window: what happened up to and at `now` is forgotten.
    fn open(&mut self, now: Nanos);

    /// Closes the window at `now`: what is under way counts with its part inside.
    fn close(&mut self, now: Nanos);
}

impl Measure for Tally {
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

impl<A: Measure, B: Measure> Measure for (A, B) {
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
