//! Stops further down: what keeps a station from going on that is held or blocked.
//!
//! A held station waits for the level that its sensor watches, which somebody further down keeps; a blocked one for those
//! to whom it gives. The search follows both to the first stop; each station is visited once.

use super::signal::{Cause, Reason, Time};
use super::{Causes, Particular};
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
        let own = Reason { cause: self.own_cause(me, state), began: now };
        let stops = self.setup.is_stop(ix, state);
        if stops || (self.n_stopped == 0 && !self.setup.stations[ix].is_in_loop) {
            return own;
        }
        let cause = match self.stop_in(me, state, &mut vec![false; self.states.len()]) {
            Below::Stop(station, state) => self.own_cause(station, state),
            Below::Loop if state == State::Blocked => Cause::Recirculating,
            Below::Loop | Below::Nothing => own.cause,
        };
        Reason { cause, began: now }
    }

    /// What a station in this state is charged with where nothing further down is to blame.
    pub(super) fn own_cause(&self, me: StationId, state: State) -> Cause {
        if let (State::Blocked, Some(transporter)) = (state, self.nodes[me.ix()].waits_for) {
            return Cause::At(transporter, State::Working);
        }
        let particular = match state {
            State::Blocked if self.setup.stations[me.ix()].is_box => Some(Particular::Full(me)),
            State::Held => self.hold_of(me),
            State::Blocked
            | State::Working
            | State::Checking
            | State::Loading
            | State::Starved
            | State::JamAutomatic
            | State::JamWaiting
            | State::JamClearing
            | State::DownWaiting
            | State::DownRepair
            | State::Changeover
            | State::Off => None,
        };
        particular.and_then(|what| self.setup.named(what)).unwrap_or(Cause::At(me, state))
    }

    /// Who holds a station: a sensor, a full box, or those that use the reach it waits for.
    fn hold_of(&self, me: StationId) -> Option<Particular> {
        let holding = self.sensors_holding(me).next().and_then(|sensor| self.setup.sensors[sensor].post);
        if let Some(sensor) = holding {
            return Some(Particular::HeldBy { station: me, sensor });
        }
        if let Some(full) = self.full_boxes(me).next() {
            return Some(Particular::Full(full));
        }
        let reach = self.setup.stations[me.ix()].reach?;
        Some(Particular::Reach { station: me, reach })
    }

    /// Numbers of the sensors that hold a station now.
    fn sensors_holding(&self, me: StationId) -> impl Iterator<Item = usize> {
        let sensors = self.setup.sensors.iter().zip(&self.sensors_on).enumerate();
        sensors.filter(move |(_, (sensor, on))| **on && sensor.holds.contains(&me)).map(|(ix, _)| ix)
    }

    /// The boxes that hold a station now.
    fn full_boxes(&self, me: StationId) -> impl Iterator<Item = StationId> {
        let boxes = self.setup.stations[me.ix()].boxes.iter().copied();
        boxes.filter(|full| self.states[full.ix()] == State::Blocked)
    }

    /// Stations that share the reach for which this one waits, if none of them is at work in it.
    fn sharers_that_stand(&self, me: StationId) -> Vec<StationId> {
        let Some(reach) = self.setup.stations[me.ix()].reach else { return Vec::new() };
        let all = self.setup.stations.iter().enumerate();
        let sharers: Vec<usize> = all
            .filter(|(ix, station)| *ix != me.ix() && station.reach == Some(reach))
            .map(|(ix, _)| ix)
            .collect();
        if sharers.iter().any(|ix| self.states[*ix] == State::Working) {
            return Vec::new();
        }
        sharers.into_iter().map(|ix| StationId(ix as u16)).collect()
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
        if self.setup.is_stop(station.ix(), state) {
            return Below::Stop(station, state);
        }
        match state {
            State::Blocked => self.stop_among(&self.setup.stations[station.ix()].next, seen),
            State::Held => self.stop_behind_hold(station, seen),
            State::Working
            | State::Checking
            | State::Loading
            | State::Starved
            | State::JamAutomatic
            | State::JamWaiting
            | State::JamClearing
            | State::DownWaiting
            | State::DownRepair
            | State::Changeover
            | State::Off => Below::Nothing,
        }
    }

    /// The stop that keeps up the level of a sensor which holds a station, a full box that does, or a stop of who has the
    /// reach that it waits for.
    fn stop_behind_hold(&self, station: StationId, seen: &mut [bool]) -> Below {
        let sensors: Vec<usize> = self.sensors_holding(station).collect();
        if !sensors.is_empty() {
            let keepers = sensors.iter().flat_map(|sensor| &self.setup.sensors[*sensor].keepers);
            return self.stop_among(&keepers.copied().collect::<Vec<_>>(), seen);
        }
        let full: Vec<StationId> = self.full_boxes(station).collect();
        if !full.is_empty() {
            return self.stop_among(&full, seen);
        }
        self.stop_among(&self.sharers_that_stand(station), seen)
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
