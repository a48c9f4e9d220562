//! Contents of all places at fixed times, for pictures of a shift.
//!
//! What is noted is the content after everything that happens at that time. Invariant: as many contents are noted for
//! each time as there are places, and times that were not reached are not noted.

use crate::kernel::{Observer, PlaceId};
use crate::part::Nanos;

/// Contents of all places every so often.
#[derive(Clone, Debug)]
pub struct LevelCourse {
    every: Nanos,
    next: Nanos,
    now: Vec<u32>,
    /// Contents at the end of each step, place by place within a step.
    pub contents: Vec<u32>,
}

impl LevelCourse {
    /// Nothing noted yet of `n_places`; `every` (ns, more than 0) is the length of a step.
    pub fn new(n_places: usize, every: Nanos) -> Self {
        LevelCourse { every, next: every, now: vec![0; n_places], contents: Vec::new() }
    }

    /// Notes what is still to be noted up to and at `end`.
    pub fn close(&mut self, end: Nanos) {
        while self.next <= end {
            self.contents.extend_from_slice(&self.now);
            self.next += self.every;
        }
    }
}

impl Observer for LevelCourse {
    fn level(&mut self, now: Nanos, place: PlaceId, _old: u32, new: u32) {
        if now > self.next {
            self.close(now - 1);
        }
        if let Some(content) = self.now.get_mut(place.ix()) {
            *content = new;
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn contents_are_noted_after_what_happens_at_the_time() {
        let mut course = LevelCourse::new(2, 10);
        course.level(0, PlaceId(0), 0, 5);
        course.level(10, PlaceId(1), 0, 1);
        course.level(31, PlaceId(0), 5, 4);
        course.close(40);
        assert_eq!(course.contents, [5, 1, 5, 1, 5, 1, 4, 1]);
    }
}
