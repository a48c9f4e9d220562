//! Slowness: what a station that a sensor slows down fails to give because of that.
//!
//! A slowed station is charged as if it ran at full speed; what it gives later than that is charged to the sensor. Of the
//! time between two parts that it gives, the slowness has cost the integral of (1 - pace) over the time for which it
//! did what it could, and this much of it, at its end, is the sensor's: a part that full speed would have brought in
//! time has made nobody wait. Where parts are carried ([`super::passage`]) the same is done for what comes out at the end.

use super::signal::{Cause, Reason, Time};
use super::{Causes, Particular};
use crate::kernel::{Pace, StationId};

/// One part in a million, the unit of [`Pace`].
pub(super) const MILLION: i64 = 1_000_000;

/// A station that sensors can slow down.
#[derive(Clone, Copy, Debug)]
pub(super) struct Slowness {
    /// Its speed now.
    pace: Pace,
    /// The sensor that slows it down, or did so last.
    cause: Cause,
    /// It does what it can.
    works: bool,
    /// Up to when `lost` is known.
    known: Time,
    /// Lost since it last gave something, in millionths of ns.
    lost: i128,
}

impl Slowness {
    fn new(cause: Cause) -> Self {
        Slowness { pace: Pace::FULL, cause, works: false, known: 0, lost: 0 }
    }

    fn settle(&mut self, now: Time) {
        if self.works && now > self.known {
            let share = MILLION - i64::from(self.pace.millionths());
            self.lost += i128::from(now - self.known) * i128::from(share);
        }
        self.known = self.known.max(now);
    }
}

impl Causes {
    /// Finds the stations that sensors can slow down; as at the start of a replication.
    pub(super) fn restart_slowness(&mut self) {
        self.slowness = vec![None; self.nodes.len()];
        for particular in &self.setup.particular {
            if let Particular::SlowedBy { station, .. } = *particular
                && let Some(cause) = self.setup.named(*particular)
            {
                let server = self.intake_of[station.ix()].unwrap_or(station.ix());
                self.slowness[server] = Some(Slowness::new(cause));
                self.any_slow = true;
            }
        }
    }

    /// A sensor has switched: stations have another speed from now on.
    pub(super) fn change_paces(&mut self, sensor: usize, now: Time) {
        for station in self.setup.sensors[sensor].slows.clone() {
            let sensors = self.setup.sensors.iter().zip(&self.sensors_on);
            let slowing = sensors.filter(|(sensor, on)| **on && sensor.slows.contains(&station));
            let slowest = slowing.map(|(sensor, _)| sensor).min_by_key(|sensor| sensor.slow_to);
            let pace = slowest.map_or(Pace::FULL, |sensor| sensor.slow_to);
            let cause = slowest
                .and_then(|sensor| sensor.post)
                .and_then(|sensor| self.setup.named(Particular::SlowedBy { station, sensor }));
            self.change_pace(station, pace, cause, now);
        }
    }

    fn change_pace(&mut self, station: StationId, pace: Pace, cause: Option<Cause>, now: Time) {
        let server = self.intake_of[station.ix()].unwrap_or(station.ix());
        if let Some(slow) = &mut self.slowness[server] {
            slow.settle(now);
            slow.pace = pace;
            slow.cause = cause.unwrap_or(slow.cause);
        }
        let way = match self.intake_of[station.ix()] {
            Some(_) => Some(self.nodes[station.ix()].sources[0][0].place),
            None => self.setup.stations[station.ix()].body.map(|body| body.ix()),
        };
        if let Some(way) = way {
            self.tidy_way(way, now);
            self.ways[way].change_pace(now, pace, cause);
            self.n_slow_ways = self.ways.iter().filter(|way| way.is_slow()).count();
        }
    }

    /// The server works from now on, or does so no more.
    #[inline]
    pub(super) fn works(&mut self, server: usize, works: bool, now: Time) {
        if self.any_slow
            && let Some(slow) = &mut self.slowness[server]
        {
            slow.settle(now);
            slow.works = works;
        }
    }

    /// The server gives something: what slowness has cost since the last time is the sensor's.
    #[inline]
    pub(super) fn charge_slowness(&mut self, server: usize, now: Time) {
        if !self.any_slow {
            return;
        }
        let Some(slow) = &mut self.slowness[server] else { return };
        slow.settle(now);
        let lost = (std::mem::take(&mut slow.lost) / i128::from(MILLION)) as Time;
        let (cause, node) = (slow.cause, &mut self.nodes[server]);
        if lost > 0 && !node.follows {
            let began = now - lost;
            node.signal.set(began, Reason { cause, began });
        }
    }

    /// Something has come out of a place or a station that carries parts.
    #[inline]
    pub(super) fn came_out(&mut self, way: usize, now: Time) {
        if self.n_slow_ways > 0 && self.ways[way].is_slow() {
            self.tidy_way(way, now);
            self.ways[way].came_out(now);
        }
    }
}
