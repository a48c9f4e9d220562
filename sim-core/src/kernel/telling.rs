//! Telling of draws: what came of them less what was to be expected, to an observer that hears of it.
//!
//! Invariant: for an observer that does not hear of draws there is nothing left of this in the loop.

use super::floor::{Floor, StationId};
use super::luck::Stream;
use super::observer::{Draw, Observer};
use super::sampler::Sampler;
use crate::part::{Nanos, Part};

impl<O: Observer> Floor<O> {
    /// A time of station `me` by `law`, ns.
    #[inline(always)]
    pub fn draw_time(&mut self, me: StationId, law: &Sampler, luck: &mut Stream) -> Nanos {
        let time = law.draw_ns(luck);
        self.tell_time(me, law, time);
        time
    }

    /// Tells of a time of station `me`, drawn of `law`.
    #[inline(always)]
    pub fn tell_time(&mut self, me: StationId, law: &Sampler, time: Nanos) {
        if O::HEARS_DRAWS {
            self.observer.drew(Draw::Time(me), law.off_mean_ns(time));
        }
    }

    /// Tells of how many of the parts that come in bulk are in each condition, given the share of each. In what order they are
    /// picked is not told of: a bin that has been emptied has given what was in it, whatever the order.
    pub fn tell_contents(&mut self, kind: u8, counts: &[u32], shares: &[f64]) {
        if O::HEARS_DRAWS {
            let n: u32 = counts.iter().sum();
            for ((condition, count), share) in (0..).zip(counts).zip(shares) {
                let off = f64::from(*count) - f64::from(n) * share;
                self.observer.drew(Draw::Condition(kind, condition), off);
            }
        }
    }

    /// Tells of the condition and the attitude of a part that has just been made.
    #[inline(always)]
    pub(super) fn tell_make(&mut self, part: &Part) {
        if O::HEARS_DRAWS {
            self.tell_condition(part);
            self.tell_attitude(part);
        }
    }

    #[inline(never)]
    fn tell_condition(&mut self, part: &Part) {
        for (condition, share) in self.kinds[usize::from(part.kind)].conditions.each_share().enumerate() {
            let fell = f64::from(u8::from(usize::from(part.condition) == condition));
            self.observer.drew(Draw::Condition(part.kind, condition as u8), fell - share);
        }
    }

    /// Tells of the natural attitude in which a part has fallen.
    #[inline(always)]
    pub(super) fn tell_attitude(&mut self, part: &Part) {
        if O::HEARS_DRAWS {
            for (attitude, share) in self.kinds[usize::from(part.kind)].attitudes.each_share().enumerate() {
                let fell = f64::from(u8::from(usize::from(part.attitude) == attitude));
                self.observer.drew(Draw::Attitude(part.kind, attitude as u8), fell - share);
            }
        }
    }
}
