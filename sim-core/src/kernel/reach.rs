//! Reaches: what only one of several stations may use at a time, such as an arm, or the space above a nest.
//!
//! Whoever finds the reach taken waits in order of coming; one that can't start any more (stopped, held, off) is
//! passed over, and keeps its turn. It knows nothing of what is done in the reach.
//!
//! Invariant: a reach has at most one user, and none while one that waits is able to use it, after the fixed point.

use super::floor::{Floor, StationId};
use super::observer::Observer;

/// One reach: who uses it and who waits.
#[derive(Clone, Debug, Default)]
pub struct Reach {
    user: Option<StationId>,
    waiting: Vec<StationId>,
}

impl<O: Observer> Floor<O> {
    /// Takes the reach for `me` if it is free and nobody able came before; otherwise `me` waits for it, and is settled
    /// when it becomes free.
    pub fn seize(&mut self, me: StationId, reach: u16) -> bool {
        let ix = usize::from(reach);
        if self.reaches[ix].user.is_some() {
            assert!(
                self.reaches[ix].user != Some(me),
                "who has a reach gives it back before it wants it again"
            );
            self.wait_for_reach(me, ix);
            return false;
        }
        let first = self.reaches[ix].waiting.iter().copied().find(|other| self.may_start(*other));
        match first {
            Some(other) if other != me => {
                self.wait_for_reach(me, ix);
                // It may have been settled before the reach was free.
                self.dirty.insert(other.0);
                false
            }
            Some(_) | None => {
                let reach = &mut self.reaches[ix];
                reach.user = Some(me);
                reach.waiting.retain(|other| *other != me);
                true
            }
        }
    }

    fn wait_for_reach(&mut self, me: StationId, ix: usize) {
        let waiting = &mut self.reaches[ix].waiting;
        if !waiting.contains(&me) {
            waiting.push(me);
        }
    }

    /// `me` has done what it needed the reach for.
    pub fn free(&mut self, me: StationId, reach: u16) {
        let reach = &mut self.reaches[usize::from(reach)];
        assert!(reach.user == Some(me), "only its user gives a reach back");
        reach.user = None;
        reach.waiting.iter().for_each(|other| self.dirty.insert(other.0));
    }

    /// `me` does not want the reach any more, if it did.
    pub fn leave_reach(&mut self, me: StationId, reach: u16) {
        let reach = &mut self.reaches[usize::from(reach)];
        let n = reach.waiting.len();
        reach.waiting.retain(|other| *other != me);
        if reach.user.is_none() && reach.waiting.len() < n {
            reach.waiting.iter().for_each(|other| self.dirty.insert(other.0));
        }
    }
}
