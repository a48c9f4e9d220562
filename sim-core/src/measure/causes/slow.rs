//! Slowness: what a station that a sensor slows down fails to give because of that.
//!
//! A slowed station is charged as if it ran at full speed; what it gives later than that is charged to the sensor. How
//! *late* it is grows by the integral of (1 - pace) while it does what it can. Where it has waited for what others did (a
//! part, room, the end of a hold or a break) it would have waited at full speed too, and it is late no more. By what it
//! is later at one part than at the part before, the time between the two has become longer; this much of it, at its end,
//! is the sensor's: a part that full speed would have brought in time has made nobody wait. What interrupts it in between
//! counts from when full speed would have been as far. Where parts are carried ([`super::passage`]) the same is done for
//! what comes out at the end.
//!
//! A belt that is slowed down also takes parts less often, where its entries keep a spacing or it has no more room: who waits
//! for it longer than at full speed waits for the sensor.
//!
//! It is an account of seconds, as for all causes, not of what would be gained. Where parts come in bunches, what a slowed
//! station gives late within a bunch is the sensor's, and the wait for the next bunch is so much shorter: at full speed
//! the line would have starved as long, but then. (A jam of the same length in each part would bear the same seconds.) What
//! would be gained is found by running the line without.

use super::signal::{Cause, EVER, Reason, Time};
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
    does: Doing,
    /// What it carries stands, whatever it does: it is not getting later.
    stands: bool,
    /// Up to when `late` is known.
    known: Time,
    /// How much later it is than at full speed, in millionths of ns.
    late: i128,
    /// How late it was when it last gave something.
    gave_late: i128,
}

/// What a station does, as far as its slowness goes.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(super) enum Doing {
    /// What it can.
    Works,
    /// What it can until then, which may lie ahead; then it waits.
    WorksUntil(Time),
    /// It waits for what others do; at full speed it would have waited too.
    Waits,
    /// It stands for so long as it would at full speed.
    Stands,
}

impl Slowness {
    fn new(cause: Cause) -> Self {
        let (does, pace) = (Doing::Waits, Pace::FULL);
        Slowness { pace, cause, does, stands: false, known: 0, late: 0, gave_late: 0 }
    }

    fn settle(&mut self, now: Time) {
        let works_until = match self.does {
            Doing::Works => now,
            Doing::WorksUntil(end) => now.min(end),
            Doing::Waits | Doing::Stands => self.known,
        };
        if works_until > self.known && !self.stands {
            let share = MILLION - i64::from(self.pace.millionths());
            self.late += i128::from(works_until - self.known) * i128::from(share);
        }
        let waits = matches!(self.does, Doing::Waits | Doing::WorksUntil(_));
        if waits && now > works_until.max(self.known) {
            self.late = 0;
        }
        self.known = self.known.max(now);
    }

    /// By how much it is later at `at` than when it last gave something, ns.
    fn later(mut self, at: Time) -> Time {
        self.settle(at);
        ((self.late - self.gave_late).max(0) / i128::from(MILLION)) as Time
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

    /// What the server does from now on.
    #[inline]
    pub(super) fn does(&mut self, server: usize, does: Doing, now: Time) {
        if self.any_slow
            && let Some(slow) = &mut self.slowness[server]
        {
            slow.settle(now);
            slow.does = does;
        }
    }

    /// What the server carries stands from now on, or goes on.
    pub(super) fn slow_stands(&mut self, server: usize, stands: bool, now: Time) {
        if self.any_slow
            && let Some(slow) = &mut self.slowness[server]
        {
            slow.settle(now);
            slow.stands = stands;
        }
    }

    /// When the server would have been as far as it is at `at`, had slowness cost nothing since it last gave something.
    #[inline]
    pub(super) fn at_full_speed(&self, server: usize, at: Time) -> Time {
        if !self.any_slow {
            return at;
        }
        at - self.slowness[server].map_or(0, |slow| slow.later(at))
    }

    /// The server gives something: by how much it is later than the last time is the sensor's.
    #[inline]
    pub(super) fn charge_slowness(&mut self, server: usize, now: Time) {
        if !self.any_slow {
            return;
        }
        let Some(slow) = &mut self.slowness[server] else { return };
        slow.settle(now);
        let (cause, began, node) = (slow.cause, now - slow.later(now), &mut self.nodes[server]);
        slow.gave_late = slow.late;
        if began < now && !node.follows {
            node.signal.set(began, Reason { cause, began });
        }
    }

    /// A station waits for what is on its way on a belt that a sensor slows down: at full speed the next part could have
    /// entered a headway after the last one, and the rest is the sensor's.
    pub(super) fn charge_slow_entry(&mut self, server: usize, belt: StationId, now: Time) {
        let Some(body) = self.setup.stations[belt.ix()].body else { return };
        let Some(cause) = self.ways[body.ix()].slowed_by() else { return };
        let place = &self.setup.places[body.ix()];
        let entered = place.feeders.iter().map(|feeder| self.nodes[feeder.ix()].gave).max();
        let clear = entered.unwrap_or(EVER) + place.headway as Time;
        self.nodes[server].signal.set(clear.max(now), Reason { cause, began: now });
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

#[cfg(test)]
mod tests {
    use super::*;

    fn at_half_speed() -> Slowness {
        let mut slow = Slowness::new(Cause::Because(0));
        slow.pace = Pace::of(0.5);
        slow
    }

    impl Slowness {
        fn then(&mut self, does: Doing, now: Time) {
            self.settle(now);
            self.does = does;
        }

        fn gives(&mut self, now: Time) -> Time {
            self.settle(now);
            let later = self.later(now);
            self.gave_late = self.late;
            later
        }
    }

    #[test]
    fn work_without_a_wait_is_later_from_part_to_part() {
        let mut slow = at_half_speed();
        slow.then(Doing::Works, 0);
        assert_eq!((slow.gives(4), slow.gives(8)), (2, 2));
        slow.then(Doing::Stands, 9);
        slow.then(Doing::Works, 13);
        assert_eq!((slow.later(14), slow.gives(16)), (1, 2), "it stands for as long at full speed");
    }

    #[test]
    fn a_wait_before_the_work_makes_every_part_as_late() {
        let mut slow = at_half_speed();
        slow.then(Doing::Works, 0);
        assert_eq!(slow.gives(4), 2);
        slow.then(Doing::Waits, 4);
        slow.then(Doing::Works, 10);
        assert_eq!(slow.gives(14), 0, "it was late by 2 at the last part and is so at this one");
        slow.then(Doing::Waits, 14);
        slow.then(Doing::Works, 14);
        assert_eq!(slow.gives(18), 2, "a wait that took no time was none");
    }

    #[test]
    fn a_wait_after_the_work_makes_up_for_it() {
        let mut slow = at_half_speed();
        slow.then(Doing::Works, 0);
        slow.then(Doing::Waits, 4);
        assert_eq!(slow.later(4), 2);
        assert_eq!(slow.gives(5), 0, "room would have come at 5 at full speed too");
        slow.then(Doing::WorksUntil(9), 5);
        assert_eq!((slow.later(7), slow.later(9), slow.later(10)), (1, 2, 0));
        slow.then(Doing::Works, 8);
        assert_eq!(slow.gives(9), 2, "what came before the wait ends it");
    }
}
