//! A sample of times, some of them cut off before they ended, in bounded memory.
//!
//! Up to [`EXACT_MAX`] rows every time is kept as it is. From then on times are kept in groups no wider than one part in
//! 16 384, each with its count and its exact mean: at most some hundred thousand groups for times from nanoseconds to years, and an
//! error of an estimate that is a hundredth of its standard error or less. Equal times are one grain with a count in
//! either case, so that work grows with the number of different times. Invariant: grains rise in time; of equal times those
//! that ended come first (a time that was cut off at t is known to be longer than t).

use super::order::{OrderSums, OrderTests};
use std::collections::BTreeMap;

/// Rows of which every time is kept as it is.
pub const EXACT_MAX: usize = 100_000;
/// Bits of a float's mantissa that are not told apart in groups: 14 of 52 are.
const GROUP_BITS: u32 = 52 - 14;

/// Equal times, or times that differ by less than one part in 16 384.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Grain {
    /// The time.
    pub time: f64,
    /// How many there are.
    pub count: u64,
    /// Whether they ended; otherwise they were cut off.
    pub ended: bool,
}

/// A sample that is complete.
#[derive(Debug, Clone, PartialEq)]
pub struct Sample {
    /// Rising in time; of equal times those that ended first.
    pub grains: Vec<Grain>,
    /// Number of times.
    pub n: u64,
    /// Number of times that ended.
    pub n_ended: u64,
    /// Number of times that are zero.
    pub n_zero: u64,
    /// Sum of all times.
    pub total: f64,
    /// Whether every time is kept as it was given.
    pub is_exact: bool,
    /// Trend and correlation in the order of the rows; none if the order says nothing.
    pub order: Option<OrderTests>,
    /// Whether the rows came in order of size.
    pub is_sorted: bool,
}

/// Takes times one by one.
#[derive(Debug, Clone, Default)]
pub struct Collector {
    exact: Vec<Grain>,
    groups: BTreeMap<(u64, bool), (u64, f64)>,
    order: OrderSums,
    counted: bool,
}

impl Collector {
    /// Nothing yet.
    pub fn new() -> Self {
        Self::default()
    }

    /// Adds a time, finite and not negative, that was seen `count` times; with counts above one the order of the rows says
    /// nothing.
    ///
    /// # Panics
    /// If the time is negative or not finite.
    pub fn push(&mut self, time: f64, count: u64, ended: bool) {
        assert!(time.is_finite() && time >= 0.0, "times are checked before they are collected: {time}");
        if count == 0 {
            return;
        }
        self.counted |= count > 1;
        if ended {
            self.order.push(time);
        }
        // Zero without its sign.
        let grain = Grain { time: time + 0.0, count, ended };
        if !self.groups.is_empty() {
            self.group(grain);
        } else if self.exact.len() < EXACT_MAX {
            self.exact.push(grain);
        } else {
            for grain in std::mem::take(&mut self.exact) {
                self.group(grain);
            }
            self.group(grain);
        }
    }

    fn group(&mut self, grain: Grain) {
        // Bits of floats that are not negative rise with them.
        let key = (grain.time.to_bits() >> GROUP_BITS, !grain.ended);
        let (count, sum) = self.groups.entry(key).or_default();
        *count += grain.count;
        *sum += grain.count as f64 * grain.time;
    }

    /// The sample.
    pub fn finish(self) -> Sample {
        let is_exact = self.groups.is_empty();
        let mut grains = self.exact;
        grains.extend(self.groups.into_iter().map(|((_, cut_off), (count, sum))| Grain {
            time: sum / count as f64,
            count,
            ended: !cut_off,
        }));
        let order = (!self.counted).then(|| self.order.tests()).flatten();
        Sample { order, is_exact, is_sorted: self.order.is_sorted(), ..Sample::of(grains) }
    }
}

impl Sample {
    /// A sample of these grains in any order, whose order says nothing.
    pub fn of(mut grains: Vec<Grain>) -> Self {
        grains.sort_by(|a, b| a.time.total_cmp(&b.time).then(b.ended.cmp(&a.ended)));
        grains.dedup_by(|next, kept| {
            let same = next.time == kept.time && next.ended == kept.ended;
            if same {
                kept.count += next.count;
            }
            same
        });
        let counted = |of: &dyn Fn(&Grain) -> bool| grains.iter().filter(|g| of(g)).map(|g| g.count).sum();
        Sample {
            n: counted(&|_| true),
            n_ended: counted(&|grain| grain.ended),
            n_zero: counted(&|grain| grain.time == 0.0),
            total: grains.iter().map(|grain| grain.count as f64 * grain.time).sum(),
            is_exact: true,
            order: None,
            is_sorted: false,
            grains,
        }
    }

    /// Of times that all ended.
    pub fn complete(times: &[f64]) -> Self {
        Sample::of(times.iter().map(|&time| Grain { time, count: 1, ended: true }).collect())
    }

    /// Grains of times that ended.
    pub fn ended(&self) -> impl DoubleEndedIterator<Item = &Grain> + Clone {
        self.grains.iter().filter(|grain| grain.ended)
    }

    /// Grains of times that were cut off.
    pub fn cut_off(&self) -> impl Iterator<Item = &Grain> + Clone {
        self.grains.iter().filter(|grain| !grain.ended)
    }

    /// Number of different times that ended.
    pub fn n_different(&self) -> u64 {
        self.ended().count() as u64
    }

    /// Sum of a function over the times that ended.
    pub(super) fn sum_ended(&self, of: impl Fn(f64) -> f64) -> f64 {
        self.ended().map(|grain| grain.count as f64 * of(grain.time)).sum()
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn grains_rise_and_equal_times_are_one() {
        let mut rows = Collector::new();
        for (time, ended) in [(3.0, true), (1.0, false), (1.0, true), (3.0, true), (0.0, true)] {
            rows.push(time, 1, ended);
        }
        let sample = rows.finish();
        let grain = |time, count, ended| Grain { time, count, ended };
        assert_eq!(
            sample.grains,
            [grain(0.0, 1, true), grain(1.0, 1, true), grain(1.0, 1, false), grain(3.0, 2, true)]
        );
        assert_eq!((sample.n, sample.n_ended, sample.n_zero, sample.total), (5, 4, 1, 8.0));
        assert!(sample.is_exact);
    }

    #[test]
    fn many_rows_stay_in_few_groups_without_losing_count_or_sum() {
        let mut rows = Collector::new();
        let n = 3 * EXACT_MAX as u64;
        let mut total = 0.0;
        for k in 0..n {
            // Whole numbers, so that the sum is exact; spread over one decade.
            let time = (100_000 + (k * 7919) % 900_000) as f64;
            total += time;
            rows.push(time, 1, k % 10 != 0);
        }
        let sample = rows.finish();
        assert_eq!((sample.n, sample.n_ended), (n, n - n / 10));
        assert!((sample.total / total - 1.0).abs() < 1e-12);
        assert!(!sample.is_exact && sample.grains.len() < 120_000, "{}", sample.grains.len());
        assert!(sample.grains.is_sorted_by(|a, b| a.time <= b.time));
    }
}
