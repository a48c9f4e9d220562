//! Pace: the speed of a station as a share of its full speed, while a sensor slows it down.
//!
//! A station keeps its times as if it ran at its present pace for ever. When the pace changes, the times that are
//! still to go are stretched in the ratio of the two paces, and what is drawn or looked up from then on is
//! stretched from full speed. Invariant: order is kept, each change moves a time by less than half a nanosecond
//! from the exact one.

use crate::part::Nanos;

/// A share of the full speed, in millionths, from one on.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord)]
pub struct Pace(u32);

impl Default for Pace {
    fn default() -> Self {
        Pace::FULL
    }
}

impl Pace {
    /// Full speed.
    pub const FULL: Pace = Pace(1_000_000);

    /// This share of the full speed, rounded to a millionth; at least one millionth, at most full.
    pub fn of(share: f64) -> Self {
        Pace((share * 1e6).round().clamp(1.0, 1e6) as u32)
    }

    /// In millionths of the full speed.
    pub fn millionths(self) -> u32 {
        self.0
    }

    /// How long something takes at this pace that takes `time` (ns) at full speed.
    #[inline]
    pub fn stretched(self, time: Nanos) -> Nanos {
        if self == Pace::FULL { time } else { stretch(time, Pace::FULL, self) }
    }

    /// When something comes at this pace that was to come at `due` at the pace `before`, the pace having changed at
    /// `now`. What has come stays.
    pub fn moved(self, before: Pace, now: Nanos, due: Nanos) -> Nanos {
        if due <= now || due == Nanos::MAX {
            due
        } else {
            now.saturating_add(stretch(due - now, before, self))
        }
    }
}

fn stretch(time: Nanos, from: Pace, to: Pace) -> Nanos {
    let (from, to) = (u128::from(from.0), u128::from(to.0));
    let stretched = (u128::from(time) * from + to / 2) / to;
    Nanos::try_from(stretched).unwrap_or(Nanos::MAX)
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn times_to_go_are_stretched_in_the_ratio_of_the_paces() {
        let (half, quarter) = (Pace::of(0.5), Pace::of(0.25));
        assert_eq!((half.stretched(30), Pace::FULL.stretched(30)), (60, 30));
        assert_eq!(half.moved(Pace::FULL, 100, 130), 160);
        assert_eq!(quarter.moved(half, 100, 160), 220);
        assert_eq!(Pace::FULL.moved(quarter, 100, 220), 130);
        assert_eq!(
            (half.moved(Pace::FULL, 100, 90), half.moved(Pace::FULL, 100, Nanos::MAX)),
            (90, Nanos::MAX)
        );
        assert_eq!((Pace::of(0.0), Pace::of(7.0)), (Pace(1), Pace::FULL));
        assert_eq!(Pace(1).stretched(Nanos::MAX), Nanos::MAX);
    }
}
