//! How long each level of a place held.

use crate::kernel::UNLIMITED;
use crate::part::Nanos;

/// Most levels told apart; larger places are counted in groups of levels.
pub const LEVELS_MAX: usize = 1024;

/// Time at each level of one place.
#[derive(Clone, Debug, Default)]
pub struct LevelTally {
    since: Nanos,
    level: u32,
    /// Time at each level, ns; empty where levels are grouped.
    time: Vec<Nanos>,
    /// Time at level group `n`, ns: levels from `n << shift` on; empty where they are not grouped.
    grouped: Vec<Nanos>,
    /// Each group holds 2^shift levels.
    shift: u32,
    /// Sum of level times time, kept where groups lose it.
    area: u128,
    capacity: u32,
    /// Time at or above the capacity, ns.
    full: Nanos,
    /// Parts that left.
    pub n_left: u64,
    /// Highest level seen.
    pub highest: u32,
}

impl LevelTally {
    /// An empty tally for a place of this capacity.
    pub fn new(capacity: u32) -> Self {
        let (n, shift) = match capacity {
            UNLIMITED => (64, 0),
            capacity => {
                let shift = (0..32).find(|shift| (capacity >> shift) < LEVELS_MAX as u32).unwrap_or(31);
                ((capacity >> shift) as usize + 2, shift)
            }
        };
        let (time, grouped) = if shift == 0 { (n, 0) } else { (0, n) };
        LevelTally {
            time: vec![0; time],
            grouped: vec![0; grouped],
            shift,
            capacity,
            ..LevelTally::default()
        }
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
            None => self.add_coarse((old >> self.shift) as usize, old, spent),
        }
    }

    #[cold]
    fn add_coarse(&mut self, group: usize, level: u32, spent: Nanos) {
        if self.shift == 0 && group < LEVELS_MAX {
            self.time.resize(group + 1, 0);
            self.time[group] += spent;
            return;
        }
        self.highest = self.highest.max(level);
        let times = if self.shift == 0 { &mut self.time } else { &mut self.grouped };
        let top = times.len() - 1;
        times[group.min(top)] += spent;
        if self.shift == 0 {
            // Beyond the last group of an unlimited place: its excess over the group's own level.
            self.area += u128::from(level as usize as u64 - top as u64) * u128::from(spent);
        } else {
            self.area += u128::from(level) * u128::from(spent);
            self.full += if level >= self.capacity { spent } else { 0 };
        }
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
        let reached = self.times().iter().rposition(|time| *time > 0).unwrap_or(0) as u32;
        self.highest = self.highest.max(reached << self.shift);
    }

    /// Time at level group `n`, ns: levels from `n << shift` on, where the shift is zero but for large places.
    fn times(&self) -> &[Nanos] {
        if self.shift == 0 { &self.time } else { &self.grouped }
    }

    /// Sum of level times time, parts x ns.
    pub fn area(&self) -> u128 {
        if self.shift > 0 {
            return self.area;
        }
        let exact = self.time.iter().enumerate().map(|(level, time)| level as u128 * u128::from(*time));
        exact.sum::<u128>() + self.area
    }

    /// Time at or above the capacity, ns.
    pub fn full(&self) -> Nanos {
        if self.shift > 0 {
            return self.full;
        }
        self.time.get(self.capacity as usize..).map_or(0, |full| full.iter().sum())
    }

    /// Time at level 0 (or in the lowest group of levels), ns.
    pub fn empty(&self) -> Nanos {
        self.times().first().copied().unwrap_or(0)
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
    fn very_long_queues_keep_an_exact_mean() {
        let mut levels = LevelTally::new(UNLIMITED);
        levels.open(0);
        levels.change(10, 0, 5000);
        levels.close(20);
        assert_eq!(levels.area(), 50_000);
        assert_eq!(levels.highest, 5000);
    }
}
