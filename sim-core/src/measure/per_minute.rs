//! Good parts in each minute, or other step, for finding a warm-up and for pictures of a shift.

use super::tally::TallySetup;
use crate::kernel::{Note, Observer, StationId};
use crate::part::{Nanos, Part, SECOND};

const MINUTE: Nanos = 60 * SECOND;

/// Good parts finished at the points of use, by minute; a part finished at the very end of a minute is in it.
#[derive(Clone, Debug)]
pub struct PerMinute {
    /// Length of a step, ns.
    step: Nanos,
    is_point: Vec<bool>,
    right_way: Vec<u64>,
    /// Good parts by minute: only whole minutes.
    pub good: Vec<u64>,
}

impl PerMinute {
    /// Nothing finished yet; `length` (ns) is the time to be seen, of which only whole minutes count.
    pub fn new(setup: &TallySetup, length: Nanos) -> Self {
        PerMinute::in_steps(setup, length, MINUTE)
    }

    /// The same in steps of another length (ns, more than 0) than a minute.
    pub fn in_steps(setup: &TallySetup, length: Nanos, step: Nanos) -> Self {
        let mut is_point = vec![false; setup.n_posts];
        setup.points.iter().for_each(|point| is_point[point.ix()] = true);
        let good = vec![0; (length / step) as usize];
        PerMinute { step, is_point, right_way: setup.right_way.clone(), good }
    }
}

impl Observer for PerMinute {
    fn note(&mut self, now: Nanos, station: StationId, note: Note, part: Option<&Part>) {
        let (Note::Exit(0), true, Some(part)) = (note, self.is_point[station.ix()], part) else { return };
        let right = self.right_way[usize::from(part.kind)] >> part.attitude & 1 == 1;
        let minute = (now.saturating_sub(1) / self.step) as usize;
        if part.condition == 0
            && right
            && !part.is_spoiled()
            && let Some(good) = self.good.get_mut(minute)
        {
            *good += 1;
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn good_parts_fall_into_the_minute_that_they_end() {
        let setup = TallySetup {
            n_posts: 2,
            points: vec![StationId(1)],
            right_way: vec![0b10],
            ..TallySetup::default()
        };
        let mut minutes = PerMinute::new(&setup, 2 * MINUTE + 1);
        let good = Part::new(0, 0, 1, 0);
        let mut note = |now, station, part: &Part| {
            minutes.note(now, StationId(station), Note::Exit(0), Some(part));
        };
        note(1, 1, &good);
        note(MINUTE, 1, &good);
        note(MINUTE + 1, 1, &good);
        // The third minute is not whole; neither another station nor parts the wrong way or bad count.
        note(2 * MINUTE + 1, 1, &good);
        note(5, 0, &good);
        note(5, 1, &Part::new(0, 0, 0, 0));
        note(5, 1, &Part::new(0, 1, 1, 0));
        assert_eq!(minutes.good, [2, 1]);
    }
}
