//! Jams and breakdowns to be expected, and what they ask of the attendants, to first order.
//!
//! Chances times flows, clocks times shares of time. It does not count queues of calls, nor that a stopped
//! line handles fewer parts.

use super::net::{Net, Node};
use crate::scenario::Scenario;
use crate::stations::catalogue::Entry;
use crate::terms::stops::{Cause, ClockWord, StopSpec};

/// What the stops of one station come to.
#[derive(Debug, Clone, Default)]
pub(super) struct StopCount {
    /// Jams, 1/s.
    pub(super) jams_per_s: f64,
    /// Breakdowns, 1/s.
    pub(super) breakdowns_per_s: f64,
    /// Time stopped for each second of the station (all equal ones together).
    pub(super) stopped: f64,
    /// Of this what comes with the parts: jams by part, and what strikes by the time of work.
    by_flow: f64,
    /// Time stopped for each second in which one of the stations has power, whatever flows.
    by_power: f64,
    /// Share of all time for which one of the stations is stopped by what strikes at any time.
    by_wall: f64,
    /// Attendance by pool, s/s.
    pub(super) attendance: Vec<f64>,
}

/// Counts the stops of a station with a flow (by class, parts/s) and a load.
pub(super) fn count_stops(scenario: &Scenario, net: &Net, node: &Node, flow: &[f64], load: f64) -> StopCount {
    let entry = &scenario.stations[node.entry];
    let mut count = StopCount { attendance: vec![0.0; scenario.attendants.len()], ..StopCount::default() };
    let inner = entry.blueprint.inner_stops();
    let of_tools = inner.iter().enumerate().map(|(n, (stop, _))| (stop, node.strikes.get(n)));
    for (stop, strikes) in entry.stops.iter().map(|stop| (stop, None)).chain(of_tools) {
        let per_s = match &stop.cause {
            Cause::PerPart(_) | Cause::PerPartByCondition(_) => {
                let of = |class: usize| {
                    let (kind, condition, _) = net.class_names[class];
                    let chance = stop.cause.chance(&scenario.kinds[kind].conditions[condition]);
                    flow[class] * chance * strikes.map_or(1.0, |strikes| strikes[class])
                };
                (0..net.n_classes).map(of).sum()
            }
            Cause::Every(law, ClockWord::Working) => load * node.at_once / law.mean(),
            Cause::Every(law, ClockWord::Powered | ClockWord::Wall) => f64::from(entry.count) / law.mean(),
        };
        // No station works for more than all of its time.
        let is_of_work = matches!(&stop.cause, Cause::Every(_, ClockWord::Working));
        let kept = if is_of_work { 1.0 / load.max(1.0) } else { 1.0 };
        let each_s = count.add(scenario, entry, stop, per_s * kept);
        match &stop.cause {
            Cause::Every(law, ClockWord::Powered) => count.by_power += each_s / law.mean(),
            // A clock starts anew when its own stop is over.
            Cause::Every(law, ClockWord::Wall) => count.by_wall += each_s / (law.mean() + each_s),
            Cause::PerPart(_) | Cause::PerPartByCondition(_) | Cause::Every(_, ClockWord::Working) => {
                count.by_flow += per_s * each_s;
            }
        }
    }
    let all: f64 = flow.iter().sum();
    for (name, asked) in entry.blueprint.pools().iter().zip(&node.attendance) {
        if let Some(pool) = scenario.attendants.iter().position(|pool| pool.id.value == name.value) {
            let walk_s = scenario.attendants[pool].walk.mean();
            count.attendance[pool] += all * asked.calls * (walk_s + asked.work_s);
        }
    }
    count
}

impl StopCount {
    /// What is left of a capacity (parts/s of `number` equal stations) beside the stops that were counted at a flow
    /// (parts/s). At the most c, a station has power for the time c / capacity in which it works; that time, what strikes
    /// in it by the clock, c times the stops of a part, and what strikes at any time are all the time there is.
    pub(super) fn left_of(&self, capacity: f64, flow: f64, number: f64) -> f64 {
        let of_part = if flow > 0.0 { self.by_flow / number / flow } else { 0.0 };
        capacity * (1.0 - self.by_wall).max(0.0) / (1.0 + self.by_power + capacity * of_part)
    }

    /// Adds so many stops a second; returns how long one stops the station, s.
    fn add(&mut self, scenario: &Scenario, entry: &Entry, stop: &StopSpec, per_s: f64) -> f64 {
        let (mut by_itself_s, mut to_person) = (0.0, 1.0);
        if let Some(automatic) = &stop.automatic {
            let (success, tries) = (automatic.success.value(), f64::from(automatic.tries));
            to_person = libm::pow(1.0 - success, tries);
            let mean_tries = if success > 0.0 { (1.0 - to_person) / success } else { tries };
            by_itself_s = mean_tries * automatic.time.mean();
        }
        let pool = stop
            .by
            .as_ref()
            .and_then(|name| scenario.attendants.iter().position(|pool| pool.id.value == name.value));
        let mut by_hand_s = stop.time.mean();
        if let Some(pool_ix) = pool {
            let pool = &scenario.attendants[pool_ix];
            let walk = pool.walk_to.iter().find(|(name, _)| name.value == entry.id.value);
            let walk_s = walk.map_or(&pool.walk, |(_, walk)| walk).mean();
            self.attendance[pool_ix] += per_s * to_person * (walk_s + by_hand_s);
            by_hand_s += walk_s + stop.notice.mean();
        }
        if stop.is_breakdown {
            self.breakdowns_per_s += per_s;
        } else {
            self.jams_per_s += per_s;
        }
        let each_s = by_itself_s + to_person * by_hand_s;
        self.stopped += per_s * each_s;
        each_s
    }
}
