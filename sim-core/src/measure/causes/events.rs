//! What the events of a replication mean for the signals and places of the account.

use super::signal::{Cause, Reason, Time};
use super::slow::Doing;
use super::{Causes, KEPT, Particular, Source};
use crate::kernel::State;

impl Causes {
    /// A stop has begun: it now bears what those who wait for it were charged with.
    pub(super) fn pass_on_stop(&mut self, now: Time) {
        for ix in 0..self.states.len() {
            let waits = matches!(self.states[ix], State::Held | State::Blocked);
            if !waits || self.setup.stations[ix].rests_blocked {
                continue;
            }
            let reason = self.interruption(ix, now);
            if self.is_elsewhere(reason.cause, ix) && self.nodes[ix].signal.last().cause != reason.cause {
                self.nodes[ix].signal.set(now, reason);
            }
        }
    }

    /// Whether a cause is a stop of another station.
    fn is_elsewhere(&self, cause: Cause, ix: usize) -> bool {
        match cause {
            Cause::At(station, state) => station.ix() != ix && self.setup.is_stop(station.ix(), state),
            Cause::Because(number) => match self.setup.particular[usize::from(number)] {
                Particular::Full(full) => full.ix() != ix,
                Particular::HeldBy { .. } | Particular::SlowedBy { .. } | Particular::Reach { .. } => false,
            },
            Cause::Recirculating | Cause::FillingUp => false,
        }
    }

    /// The node follows its sources from now on, or does so no more.
    pub(super) fn follow(&mut self, ix: usize, follows: bool, now: Time) {
        let node = &mut self.nodes[ix];
        if node.follows == follows || node.sources.is_empty() {
            return;
        }
        if follows {
            node.known = now;
        } else {
            self.work_out(ix, now);
        }
        self.nodes[ix].follows = follows;
        self.tidy(ix, now);
    }

    /// The station has given something: what it fails to give from now on is its own.
    pub(super) fn give(&mut self, ix: usize, now: Time) {
        self.charge_slowness(ix, now);
        let node = &mut self.nodes[ix];
        node.gave = now;
        let own = Cause::At(node.me, State::Working);
        if !node.follows && node.signal.last().cause != own {
            node.signal.set(now, Reason { cause: own, began: now });
            self.tidy(ix, now);
        }
    }

    /// The same by a station whose state still is that of a stop: the jam of the part has just been cleared. What follows
    /// is its own if it goes to work at once; until then it is the stop's.
    pub(super) fn give_still_stopped(&mut self, ix: usize, now: Time) {
        self.charge_slowness(ix, now);
        self.nodes[ix].gave = now;
    }

    /// It works from now on. An interruption that took no time was none.
    pub(super) fn go_to_work(&mut self, ix: usize, now: Time) {
        let from = self.at_full_speed(ix, now);
        let node = &mut self.nodes[ix];
        if !node.follows {
            node.signal.revoke(from);
            if node.gave == now {
                self.give(ix, now);
            }
        }
    }

    /// Forgets what nobody will ask for any more.
    fn tidy(&mut self, ix: usize, now: Time) {
        if self.nodes[ix].signal.len() < self.nodes[ix].kept || self.nodes[ix].is_open {
            return;
        }
        for n in 0..self.nodes[ix].takers.len() {
            self.work_out(self.nodes[ix].takers[n], now);
        }
        let entries = self.nodes[ix].gives_to.iter().map(|&place| self.ways[place].entry(now));
        let oldest = entries.min().unwrap_or(now);
        let node = &mut self.nodes[ix];
        node.signal.forget(oldest);
        node.kept = KEPT.max(2 * node.signal.len());
    }

    /// The place stands or goes on.
    pub(super) fn set_standing(&mut self, place: usize, stands: bool, reason: Reason, now: Time) {
        self.tidy_way(place, now);
        let way = &mut self.ways[place];
        let had_stamp = way.stamp.is_some();
        if stands {
            way.stop(now, reason)
        } else {
            way.go(now)
        }
        if !had_stamp && way.stamp.is_some() {
            self.n_stamps += 1;
        }
    }

    pub(super) fn tidy_way(&mut self, place: usize, now: Time) {
        if self.ways[place].n_kept() < KEPT {
            return;
        }
        for taker in 0..self.nodes.len() {
            if self.nodes[taker].sources.iter().flatten().any(|source| source.place == place) {
                self.work_out(taker, now);
            }
        }
        self.ways[place].forget(now);
        self.n_slow_ways = self.ways.iter().filter(|way| way.is_slow()).count();
    }

    /// A part has come out: the gap that a standstill made longer is over.
    #[inline]
    pub(super) fn unstamp(&mut self, place: usize, now: Time) {
        if self.ways[place].stamp.is_none_or(|(from, _)| from > now) {
            return;
        }
        for taker in 0..self.nodes.len() {
            if self.nodes[taker].sources.iter().flatten().any(|source| source.place == place) {
                self.work_out(taker, now);
            }
        }
        self.ways[place].stamp = None;
        self.n_stamps -= 1;
    }

    /// The state of a station that carries parts: they come out of it a passage after they were taken, unless it stands.
    pub(super) fn carrying_state(&mut self, ix: usize, new: State, now: Time) {
        let flows = matches!(new, State::Working | State::Checking | State::Loading | State::Starved);
        let Source { place: way, node: intake } = self.nodes[ix].sources[0][0];
        self.slow_stands(intake, !flows, now);
        if flows {
            self.set_standing(way, false, self.nodes[ix].signal.last(), now);
            return self.follow(ix, true, now);
        }
        let reason = self.interruption(ix, now);
        self.set_standing(way, true, reason, now);
        self.follow_if_moving(ix, way, now);
    }

    /// A station that carries parts has been stopped, but goes on with those within `ahead` of its end.
    pub(super) fn go_on_ahead(&mut self, ix: usize, ahead: Time, now: Time) {
        let way = self.nodes[ix].sources[0][0].place;
        self.ways[way].go_on_ahead(now, ahead);
        self.follow_if_moving(ix, way, now);
    }

    /// While all that it carries stands, its signal is that of the stop; while something goes on, that of what comes out.
    fn follow_if_moving(&mut self, ix: usize, way: usize, now: Time) {
        let stands = self.ways[way].stands_wholly();
        self.follow(ix, stands.is_none(), now);
        if let Some(reason) = stands {
            self.nodes[ix].signal.set(now, reason);
        }
    }

    pub(super) fn plain_state(&mut self, ix: usize, new: State, now: Time) {
        self.does(ix, self.doing_in(ix, new), now);
        self.follow(ix, new == State::Starved, now);
        let is_source = self.nodes[ix].sources.is_empty();
        match new {
            State::Working | State::Checking | State::Loading => self.go_to_work(ix, now),
            State::Blocked if self.setup.stations[ix].rests_blocked => {}
            State::Starved if !is_source => {}
            State::Blocked
            | State::Starved
            | State::Held
            | State::Off
            | State::Changeover
            | State::JamAutomatic
            | State::JamWaiting
            | State::JamClearing
            | State::DownWaiting
            | State::DownRepair => {
                let reason = self.interruption(ix, now);
                let from = self.at_full_speed(ix, now);
                self.nodes[ix].signal.set(from, reason);
                if let (State::Blocked, Cause::At(belt, State::Working)) = (new, reason.cause) {
                    self.charge_slow_entry(ix, belt, now);
                }
                self.tidy(ix, now);
            }
        }
    }

    /// What a station does in this state, as far as its slowness goes.
    pub(super) fn doing_in(&self, ix: usize, state: State) -> Doing {
        match state {
            State::Working => Doing::Works,
            State::Held | State::Off if self.setup.stations[ix].freezes => Doing::Stands,
            State::Starved | State::Blocked | State::Held | State::Off => Doing::Waits,
            State::Checking
            | State::Loading
            | State::JamAutomatic
            | State::JamWaiting
            | State::JamClearing
            | State::DownWaiting
            | State::DownRepair
            | State::Changeover => Doing::Stands,
        }
    }
}
