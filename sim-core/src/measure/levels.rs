//! How long each level of a place held.
//!
//! **Resolution.** Levels up to 1023 are told apart one by one. Beyond them levels stand in groups, 512 to each
//! doubling: 1024 and 1025, 1026 and 1027 ... 2048 to 2051 ..., so that a group is never wider than a 512th of its
//! level. Mean, time at empty and time at full are exact at any level. Invariant: once the window is closed, the
//! times add up to it.

use crate::kernel::UNLIMITED;
use crate::part::Nanos;

/// Levels told apart one by one.
const EXACT: u32 = 1024;
/// Groups into which each doubling beyond them is divided.
const PER_DOUBLING: u32 = EXACT / 2;

/// Group of a level that is not told apart, from 0.
fn group_of(level: u32) -> usize {
    let doublings = (level / EXACT).ilog2();
    (doublings * PER_DOUBLING + (level >> (doublings + 1)) - PER_DOUBLING) as usize
}

/// Lowest level of a group.
fn lowest_of(group: usize) -> u32 {
    let (doublings, rest) = (group as u32 / PER_DOUBLING, group as u32 % PER_DOUBLING);
    (PER_DOUBLING + rest) << (doublings + 1)
}

/// Time at each level of one place.
#[derive(Clone, Debug, Default)]
pub struct LevelTally {
    since: Nanos,
    level: u32,
    /// Time at each level told apart, ns.
    time: Vec<Nanos>,
    /// Time at each group of levels beyond, ns.
    grouped: Vec<Nanos>,
    /// Sum of level times time over the groups, which lose it.
    area: u128,
    capacity: u32,
    /// Time at or above the capacity, of what is in groups, ns.
    full: Nanos,
    /// Parts that left.
    pub n_left: u64,
    /// Highest level seen.
    pub highest: u32,
}

impl LevelTally {
    /// An empty tally for a place of this capacity.
    pub fn new(capacity: u32) -> Self {
        let n = if capacity == UNLIMITED { 64 } else { capacity.saturating_add(2).min(EXACT) };
        LevelTally { time: vec![0; n as usize], capacity, ..LevelTally::default() }
    }

    /// Time that has been charged to any level, ns: the whole window, once it is closed.
    pub fn charged(&self) -> Nanos {
        self.time.iter().chain(&self.grouped).sum()
    }

    /// The level changes at `now`.
    #[inline(always)]
    pub fn change(&mut self, now: Nanos, old: u32, new: u32) {
        self.level = new;
        if old > new {
            self.n_left += u64::from(old - new);
        }
        self.charge(now, old);
    }

    /// The level rises by one at `now`; as [`LevelTally::change`].
    #[inline(always)]
    pub(super) fn rise(&mut self, now: Nanos, old: u32) {
        self.level = old.wrapping_add(1);
        self.charge(now, old);
    }

    /// The level falls by one at `now`; as [`LevelTally::change`].
    #[inline(always)]
    pub(super) fn fall(&mut self, now: Nanos, old: u32) {
        self.level = old.wrapping_sub(1);
        self.n_left += 1;
        self.charge(now, old);
    }

    #[inline(always)]
    fn charge(&mut self, now: Nanos, old: u32) {
        let spent = now - self.since;
        self.since = now;
        match self.time.get_mut(old as usize) {
            Some(time) => *time += spent,
            None => self.add_high(old, spent),
        }
    }

    #[cold]
    fn add_high(&mut self, level: u32, spent: Nanos) {
        if level < EXACT {
            self.time.resize(level as usize + 1, 0);
            self.time[level as usize] += spent;
            return;
        }
        self.highest = self.highest.max(level);
        let group = group_of(level);
        if self.grouped.len() <= group {
            self.grouped.resize(group + 1, 0);
        }
        self.grouped[group] += spent;
        self.area += u128::from(level) * u128::from(spent);
        self.full += if level >= self.capacity { spent } else { 0 };
    }

    /// Opens the window at `now`: everything before is forgotten.
    pub fn open(&mut self, now: Nanos) {
        self.time.fill(0);
        self.grouped.fill(0);
        (self.area, self.full, self.n_left, self.highest) = (0, 0, 0, 0);
        self.since = now;
    }

    /// As good as new.
    pub(super) fn restart(&mut self) {
        self.level = 0;
        self.open(0);
    }

    /// Closes the window at `now`.
    pub fn close(&mut self, now: Nanos) {
        let (level, n_left) = (self.level, self.n_left);
        self.change(now, level, level);
        self.n_left = n_left;
        let reached = self.time.iter().rposition(|time| *time > 0).unwrap_or(0) as u32;
        self.highest = self.highest.max(reached);
    }

    /// Sum of level times time, parts x ns.
    pub fn area(&self) -> u128 {
        let exact = self.time.iter().enumerate().map(|(level, time)| level as u128 * u128::from(*time));
        exact.sum::<u128>() + self.area
    }

    /// Time at or above the capacity, ns.
    pub fn full(&self) -> Nanos {
        let told_apart = self.time.get(self.capacity as usize..).map_or(0, |full| full.iter().sum());
        self.full + told_apart
    }

    /// Time at level 0, ns.
    pub fn empty(&self) -> Nanos {
        self.time.first().copied().unwrap_or(0)
    }

    /// Level now.
    pub fn level(&self) -> u32 {
        self.level
    }

    /// Sets the level at the start.
    pub fn start_at(&mut self, level: u32) {
        self.level = level;
    }
}

/// Times at the levels of one place, added up over many replications.
#[derive(Clone, Debug, Default, PartialEq, Eq)]
pub struct LevelSums {
    time: Vec<u128>,
    grouped: Vec<u128>,
}

impl LevelSums {
    /// Adds one replication. Whole numbers: the sum is the same in any order.
    pub fn add(&mut self, tally: &LevelTally) {
        let widened = |times: &[Nanos]| times.iter().map(|time| u128::from(*time)).collect::<Vec<_>>();
        add_up(&mut self.time, widened(&tally.time).into_iter());
        add_up(&mut self.grouped, widened(&tally.grouped).into_iter());
    }

    /// Adds what another worker has added up.
    pub fn merge(&mut self, other: &LevelSums) {
        add_up(&mut self.time, other.time.iter().copied());
        add_up(&mut self.grouped, other.grouped.iter().copied());
    }

    /// Percentile weighted by time: the lowest level that the content did not exceed in at least `percent` of
    /// all time; of levels in groups the lowest of the group. `None` without any time.
    pub fn percentile(&self, percent: u32) -> Option<u32> {
        let all: u128 = self.time.iter().chain(&self.grouped).sum();
        if all == 0 {
            return None;
        }
        let apart = self.time.iter().enumerate().map(|(level, time)| (level as u32, *time));
        let grouped = self.grouped.iter().enumerate().map(|(group, time)| (lowest_of(group), *time));
        let mut sum = 0;
        let reached = |&(_, time): &(u32, u128)| {
            sum += time;
            sum * 100 >= all * u128::from(percent.min(100))
        };
        apart.chain(grouped).find(reached).map(|(level, _)| level)
    }
}

fn add_up(sums: &mut Vec<u128>, times: impl ExactSizeIterator<Item = u128>) {
    if sums.len() < times.len() {
        sums.resize(times.len(), 0);
    }
    sums.iter_mut().zip(times).for_each(|(sum, time)| *sum += time);
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn mean_full_and_empty_are_exact() {
        for capacity in [3, UNLIMITED] {
            let mut levels = LevelTally::new(capacity);
            levels.open(100);
            levels.change(110, 0, 1);
            levels.change(130, 1, 3);
            levels.change(160, 3, 2);
            levels.close(200);
            assert_eq!(levels.area(), 20 + 3 * 30 + 2 * 40);
            assert_eq!(levels.empty(), 10);
            assert_eq!(levels.full(), if capacity == 3 { 30 } else { 0 });
            assert_eq!(levels.n_left, 1);
            assert_eq!(levels.highest, 3);
        }
    }

    #[test]
    fn large_places_keep_an_exact_mean() {
        let mut levels = LevelTally::new(5000);
        levels.open(0);
        levels.change(10, 0, 4999);
        levels.change(30, 4999, 5000);
        levels.close(60);
        assert_eq!(levels.area(), 4999 * 20 + 5000 * 30);
        assert_eq!(levels.full(), 30);
    }

    #[test]
    fn groups_are_narrow_and_follow_each_other() {
        let mut before = EXACT - 1;
        for group in 0..11_264 {
            let lowest = lowest_of(group);
            assert!(lowest > before, "group {group}");
            assert_eq!(group_of(lowest), group);
            if group > 0 {
                assert_eq!(group_of(lowest - 1), group - 1);
                assert!(u64::from(lowest - before) * 512 <= u64::from(before.max(EXACT)), "group {group}");
            }
            before = lowest;
        }
        assert_eq!(group_of(u32::MAX), 11_263);
        assert_eq!(lowest_of(0), EXACT);
    }

    /// Levels 0, 1, ... 99 for a second each: half of the time at or below 49, and so on; by hand.
    #[test]
    fn percentiles_are_weighted_by_time_and_pooled() {
        let mut tally = LevelTally::new(99);
        tally.open(0);
        for level in 0..99 {
            tally.change((u64::from(level) + 1) * 10, level, level + 1);
        }
        tally.close(1000);
        let mut sums = LevelSums::default();
        assert_eq!(sums.percentile(50), None);
        sums.add(&tally);
        assert_eq!([5, 50, 95, 100].map(|p| sums.percentile(p)), [Some(4), Some(49), Some(94), Some(99)]);
        // A second replication of the same length that is empty all the time.
        let mut empty = LevelTally::new(99);
        empty.open(0);
        empty.close(1000);
        let mut both = LevelSums::default();
        both.add(&empty);
        both.merge(&sums);
        assert_eq!([5, 50, 51, 95].map(|p| both.percentile(p)), [Some(0), Some(0), Some(1), Some(89)]);
    }

    #[test]
    fn large_contents_have_percentiles_to_a_512th() {
        for capacity in [20_000, UNLIMITED] {
            let mut tally = LevelTally::new(capacity);
            tally.open(0);
            tally.change(10, 0, 9_999);
            tally.change(100, 9_999, 0);
            tally.close(100);
            let mut sums = LevelSums::default();
            sums.add(&tally);
            assert_eq!(sums.percentile(5), Some(0));
            // 8192 to 16383 stand in 512 groups of 16.
            assert_eq!(sums.percentile(50), Some(9_984));
            assert_eq!((tally.empty(), tally.area(), tally.highest), (10, 9_999 * 90, 9_999));
        }
    }

    #[test]
    fn very_long_queues_keep_an_exact_mean() {
        let mut levels = LevelTally::new(UNLIMITED);
        levels.open(0);
        levels.change(10, 0, 5000);
        levels.close(20);
        assert_eq!(levels.area(), 50_000);
        assert_eq!(levels.highest, 5000);
    }
}
