//! The calendar: one slot per timer, and minima over slots.
//!
//! Key = time << 14 | slot, so that a plain minimum picks both the earliest time and, at equal times, the
//! lowest slot. Slots are numbered by rank when the line is compiled: **at equal times the lower rank goes
//! first**, which is how "the downstream event first" is built into the key.
//!
//! Cost: a line of up to 64 timers keeps them in groups of four with the earliest of each group, and again
//! four groups each with the earliest of theirs, and the earliest of all. What comes next is what the loop waits for:
//! so setting a timer looks at its neighbours only, which are known before its own time is, and leaves the answer ready.
//! With up to 16 timers the groups alone do. Larger lines use a tree of winners, where setting one replays its path,
//! log2(slots) minima. There is at most one pending time per slot.

use crate::part::{Nanos, TIME_LIMIT};

/// Bits of a key that name the slot.
const SLOT_BITS: u32 = 14;

/// Most timers that a line may have.
pub const TIMERS_MAX: usize = 1 << SLOT_BITS;

/// A time that never comes.
const NEVER_AT: Nanos = TIME_LIMIT - 1;

/// The key of a slot that is spent, cleared or not in use. A time beyond the limit has other keys with this time.
const NEVER: u64 = NEVER_AT << SLOT_BITS | (TIMERS_MAX as u64 - 1);

/// A timer's slot; its number is its rank.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord)]
pub struct TimerId(pub u16);

/// Members of a group.
const GROUP: usize = 4;
/// Groups of a small line.
const GROUPS: usize = 16;

/// Pending times of all timers.
#[derive(Clone, Debug)]
pub struct Calendar {
    /// Keys of the slots of a small line. The fixed size spares the checks of every index.
    keys: [[u64; GROUP]; GROUPS],
    /// Earliest key of each group; it may be one that is spent.
    firsts: [[u64; GROUP]; GROUP],
    /// Earliest key of each four groups, or of each group where four groups are enough.
    tops: [u64; GROUP],
    /// Earliest key of all; it may be one that is spent.
    next: u64,
    /// At most four groups.
    is_tiny: bool,
    /// Tree of a line with more timers, otherwise empty: `tree[1]` is the winner; leaves start at the middle.
    tree: Vec<u64>,
}

/// The least of four of which the one at `place` is `key`, whatever stands there.
#[inline(always)]
fn least_with(keys: &[u64; GROUP], place: usize, key: u64) -> u64 {
    let other = |n: usize| keys[(place ^ n) % GROUP];
    key.min(other(1).min(other(2)).min(other(3)))
}

impl Calendar {
    /// A calendar with `n_timers` slots, none of them pending.
    ///
    /// # Panics
    /// If `n_timers` exceeds [`TIMERS_MAX`]; the network refuses such a line before.
    pub fn new(n_timers: usize) -> Self {
        assert!(n_timers <= TIMERS_MAX, "a line has at most {TIMERS_MAX} timers, found {n_timers}");
        let is_small = n_timers <= GROUP * GROUPS;
        let tree = if is_small { Vec::new() } else { vec![NEVER; 2 * n_timers.next_power_of_two()] };
        let (firsts, tops) = ([[NEVER; GROUP]; GROUP], [NEVER; GROUP]);
        let is_tiny = n_timers <= GROUP * GROUP;
        Calendar { keys: [[NEVER; GROUP]; GROUPS], firsts, tops, next: NEVER, is_tiny, tree }
    }

    /// Schedules `timer` at `at` (ns), replacing its pending time. Times beyond the limit of simulated time
    /// can never come and count as not pending.
    #[inline]
    pub fn set(&mut self, timer: TimerId, at: Nanos) {
        self.set_in(timer, at, false);
    }

    /// The same; `near` says that the line has no more timers than fit into the groups.
    #[inline(always)]
    pub(crate) fn set_in(&mut self, timer: TimerId, at: Nanos, near: bool) {
        self.put(timer, at.min(NEVER_AT) << SLOT_BITS | u64::from(timer.0), near);
    }

    /// Cancels `timer`.
    #[inline]
    pub fn clear(&mut self, timer: TimerId) {
        self.put(timer, NEVER, false);
    }

    /// Pending time of `timer` (ns), if any.
    #[inline]
    pub fn at(&self, timer: TimerId) -> Option<Nanos> {
        let slot = usize::from(timer.0);
        let key = match self.tree.len() {
            0 => self.keys[slot / GROUP % GROUPS][slot % GROUP],
            nodes => self.tree[nodes / 2 + slot],
        };
        let at = key >> SLOT_BITS;
        (at != NEVER_AT).then_some(at)
    }

    /// Takes the earliest timer that is due at or before `end` (ns, below the limit less one) out of the calendar.
    ///
    /// The slot is only marked spent: its minima are worked out when the timer is set again, or here when it
    /// was not. That saves half of the work for each of the usual events, which reschedule themselves.
    #[inline]
    pub fn next_until(&mut self, end: Nanos) -> Option<(Nanos, TimerId)> {
        self.next_in(end, false)
    }

    /// The same; `near` as for setting.
    #[inline(always)]
    pub(crate) fn next_in(&mut self, end: Nanos, near: bool) -> Option<(Nanos, TimerId)> {
        loop {
            let key = self.next;
            let at = key >> SLOT_BITS;
            if at > end {
                return None;
            }
            let timer = TimerId((key & (TIMERS_MAX as u64 - 1)) as u16);
            let slot = self.slot(timer, near);
            let pending = *slot;
            if pending == key {
                *slot = NEVER;
                return Some((at, timer));
            }
            self.put(timer, pending, near);
        }
    }

    #[inline(always)]
    fn slot(&mut self, timer: TimerId, near: bool) -> &mut u64 {
        let slot = usize::from(timer.0);
        if near || self.tree.is_empty() {
            return &mut self.keys.as_flattened_mut()[slot % (GROUP * GROUPS)];
        }
        let leaves = self.tree.len() / 2;
        &mut self.tree[leaves + slot]
    }

    #[inline(always)]
    fn put(&mut self, timer: TimerId, key: u64, near: bool) {
        if !near && !self.tree.is_empty() {
            return self.replay(timer, key);
        }
        let slot = usize::from(timer.0) % (GROUP * GROUPS);
        let group = slot / GROUP;
        let mut first = least_with(&self.keys[group], slot % GROUP, key);
        self.keys.as_flattened_mut()[slot] = key;
        let mut four = group;
        if !self.is_tiny {
            four = group / GROUP;
            let least = least_with(&self.firsts[four], group % GROUP, first);
            self.firsts.as_flattened_mut()[group] = first;
            first = least;
        }
        self.next = least_with(&self.tops, four % GROUP, first);
        self.tops[four % GROUP] = first;
    }

    #[inline(never)]
    fn replay(&mut self, timer: TimerId, key: u64) {
        let mut node = self.tree.len() / 2 + usize::from(timer.0);
        self.tree[node] = key;
        let mut winner = key;
        while node > 1 {
            winner = winner.min(self.tree[node ^ 1]);
            node >>= 1;
            self.tree[node] = winner;
        }
        self.next = winner;
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn equal_times_come_in_order_of_rank() {
        let mut calendar = Calendar::new(5);
        for slot in [3, 1, 4, 0] {
            calendar.set(TimerId(slot), 7);
        }
        let order: Vec<u16> =
            std::iter::from_fn(|| calendar.next_until(7).map(|(_, timer)| timer.0)).collect();
        assert_eq!(order, [0, 1, 3, 4]);
    }

    #[test]
    fn agrees_with_a_sorted_list_under_random_use() {
        for n in [1, 2, 16, 17, 37, 64, 65, 300] {
            compare_with_list(n);
        }
    }

    fn compare_with_list(n: usize) {
        let mut calendar = Calendar::new(n);
        let mut plain: Vec<Option<u64>> = vec![None; n];
        let mut x = 88_172_645_463_325_252_u64;
        let mut now = 0;
        for _ in 0..50_000 {
            x ^= x << 13;
            x ^= x >> 7;
            x ^= x << 17;
            let slot = (x >> 20) as usize % n;
            match x % 4 {
                0 | 1 => {
                    let at = now + (x >> 40) % 50;
                    calendar.set(TimerId(slot as u16), at);
                    plain[slot] = Some(at);
                }
                2 => {
                    calendar.clear(TimerId(slot as u16));
                    plain[slot] = None;
                }
                _ => {
                    let expected = (0..n).filter_map(|s| plain[s].map(|at| (at, s))).min();
                    let found = calendar.next_until(TIME_LIMIT - 2);
                    assert_eq!(found.map(|(at, t)| (at, usize::from(t.0))), expected);
                    if let Some((at, s)) = expected {
                        plain[s] = None;
                        now = at;
                    }
                }
            }
        }
    }

    #[test]
    fn a_time_beyond_the_limit_never_comes() {
        let mut calendar = Calendar::new(1);
        calendar.set(TimerId(0), TIME_LIMIT);
        assert_eq!(calendar.at(TimerId(0)), None);
        assert_eq!(calendar.next_until(TIME_LIMIT - 2), None);
    }
}
