//! Stops further down: what keeps a station from going on that is held or blocked.
//!
//! A held station waits for the level that its sensor watches, which somebody further down keeps; a blocked one for those
//! to whom it gives. The search follows both to the first stop; each station is visited once.

use super::Causes;
use super::signal::{Cause, Reason, Time};
use crate::kernel::{State, StationId};

/// What was found further down.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
enum Below {
    Stop(StationId, State),
    Loop,
    Nothing,
}

impl Causes {
    /// What an interruption of a station is charged to now.
    pub(super) fn interruption(&self, ix: usize, now: Time) -> Reason {
        self.interruption_in(ix, self.states[ix], now)
    }

    /// The same, if it were in this state.
    pub(super) fn interruption_in(&self, ix: usize, state: State, now: Time) -> Reason {
        let me = StationId(ix as u16);
        let at_me = Reason { cause: Cause::At(me, state), began: now };
        if state.is_stop() || (self.n_stopped == 0 && !self.setup.stations[ix].is_in_loop) {
            return at_me;
        }
        let cause = match self.stop_in(me, state, &mut vec![false; self.states.len()]) {
            Below::Stop(station, state) => Cause::At(station, state),
            Below::Loop if state == State::Blocked => Cause::Recirculating,
            Below::Loop | Below::Nothing => at_me.cause,
        };
        Reason { cause, began: now }
    }

    /// The stop that keeps a station from going on: its own, or one further down that it waits for.
    fn stop_below(&self, station: StationId, seen: &mut [bool]) -> Below {
        match self.states.get(station.ix()) {
            Some(state) => self.stop_in(station, *state, seen),
            None => Below::Nothing,
        }
    }

    fn stop_in(&self, station: StationId, state: State, seen: &mut [bool]) -> Below {
        if std::mem::replace(&mut seen[station.ix()], true) {
            return Below::Loop;
        }
        match state {
            State::Blocked => self.stop_among(&self.setup.stations[station.ix()].next, seen),
            State::Held => {
                let sensors = self.setup.sensors.iter().zip(&self.sensors_on);
                let holding = sensors.filter(|(sensor, on)| **on && sensor.holds.contains(&station));
                let keepers: Vec<StationId> =
                    holding.flat_map(|(sensor, _)| sensor.keepers.clone()).collect();
                self.stop_among(&keepers, seen)
            }
            State::Working | State::Checking | State::Starved => Below::Nothing,
            state => Below::Stop(station, state),
        }
    }

    fn stop_among(&self, stations: &[StationId], seen: &mut [bool]) -> Below {
        let mut found = Below::Nothing;
        for &station in stations {
            match self.stop_below(station, seen) {
                stop @ Below::Stop(..) => return stop,
                Below::Loop => found = Below::Loop,
                Below::Nothing => {}
            }
        }
        found
    }
}
