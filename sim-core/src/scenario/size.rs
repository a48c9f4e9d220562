//! Size of a line: what would not fit into the memory or the counters of a replication is refused.
//!
//! Every limit is far above what a line has; it keeps a slip of the pen (a capacity in parts instead of metres, a
//! break every microsecond) from ending in a full memory. Bounds are upper ones: a line may be refused a little
//! before it really is too large.

use super::connections::is_point_of_use;
use super::{Scenario, Start};
use crate::diag::{Diagnostics, Place, Problem, code};
use crate::kernel::UNLIMITED;
use crate::kernel::calendar::TIMERS_MAX;
use crate::kernel::ranks::RANKS_MAX;
use crate::stations::blueprint::STATION_TIMERS;

/// Most part kinds: one byte of a part says which it is.
const KINDS_MAX: usize = u8::MAX as usize;
/// Most stations at which finished parts are counted, equal ones counted apart; the same byte also says "none".
const POINTS_MAX: u64 = u8::MAX as u64;
/// Most parts that stand on tracks at the start.
const STARTERS_MAX: u64 = 10_000_000;
/// Most repetitions of one break.
const BREAKS_MAX: f64 = 100_000.0;

/// Reports what is too large.
pub(super) fn check(scenario: &Scenario, problems: &mut Diagnostics) {
    let Some(first) = scenario.stations.first() else { return };
    let mut refuse = |place: &Place, message: String, expected: String| {
        problems.error(place, Problem::new(code::OUT_OF_RANGE, message).expected(expected));
    };
    let people: u64 = scenario.attendants.iter().map(|pool| u64::from(pool.number)).sum();
    let others = people + scenario.sensors.len() as u64 + u64::from(scenario.plan.changeover.is_some());
    let (mut posts, mut timers) = (others, others + scenario.plan.breaks.len() as u64 + 1);
    let mut starters = 0;
    for entry in &scenario.stations {
        let count = u64::from(entry.count);
        // A body may get a junction of its own at its end.
        posts += 2 * count;
        let stops = entry.stops.len() + entry.blueprint.inner_stops().len();
        timers += count * (STATION_TIMERS + 2 + stops) as u64;
        let own = scenario.plan.start_at.iter().find(|(name, _)| name.value == entry.id.value);
        let start = own.map_or(scenario.plan.start, |(_, start)| *start);
        if start != Start::Empty && entry.blueprint.starts_full() {
            let body = entry.blueprint.body(&scenario.kinds, &entry.id.value);
            let capacity = body.map_or(0, |body| body.capacity());
            starters += if capacity == UNLIMITED { 0 } else { count * u64::from(capacity) };
        }
    }
    let staggered = scenario.plan.breaks.iter().filter(|pause| pause.stagger_s > 0.0).count() as u64;
    timers += staggered * posts + scenario.attendants.len() as u64;
    if posts > RANKS_MAX as u64 {
        let message = format!("the line has {posts} stations, ends of belts, attendants and sensors");
        refuse(&first.place, message, format!("{RANKS_MAX} at most"));
    }
    if timers > TIMERS_MAX as u64 {
        let message = format!("the line needs up to {timers} timers for stations, stops and attendants");
        refuse(&first.place, message, format!("{TIMERS_MAX} at most"));
    }
    if let Some(kind) = scenario.kinds.get(KINDS_MAX) {
        let message = format!("the file has {} part kinds", scenario.kinds.len());
        refuse(&kind.place, message, format!("{KINDS_MAX} at most"));
    }
    let points = n_points(scenario);
    if points > POINTS_MAX {
        let place = scenario.promise.at.first().map_or(&first.place, |name| &name.place);
        refuse(
            place,
            format!("finished parts are counted at {points} stations"),
            format!("{POINTS_MAX} at most"),
        );
    }
    if starters > STARTERS_MAX {
        let message = format!("{starters} parts stand on tracks at the start");
        refuse(&first.place, message, format!("{STARTERS_MAX} at most; or start empty"));
    }
    for pause in &scenario.plan.breaks {
        let times = pause.every_s.map_or(1.0, |every| (scenario.plan.shift_s - pause.at_s) / every);
        if times > BREAKS_MAX {
            let message = format!("a break comes {times:.0} times in a shift");
            refuse(&first.place, message, format!("{BREAKS_MAX} times at most"));
        }
    }
}

/// Stations at which finished parts are counted, equal ones counted apart.
fn n_points(scenario: &Scenario) -> u64 {
    let points = scenario.stations.iter().enumerate().filter(|(n, _)| is_point_of_use(scenario, *n));
    points.map(|(_, entry)| u64::from(entry.count)).sum()
}

#[cfg(test)]
mod tests {
    use crate::network::compile;
    use crate::scenario::read;

    fn refusal(stations: &str, rest: &str) -> String {
        let text = format!(r#"{{"feedproof": 1, "stations": [{stations}]{rest}}}"#);
        let checked = read(&text);
        assert!(checked.scenario.is_none(), "{rest} is accepted");
        checked.problems.iter().map(|problem| problem.message.clone()).collect()
    }

    const FEEDER: &str = r#"{"id": "F", "type": "work", "endless": true, "time": "1 s"}"#;

    #[test]
    fn what_would_fill_the_memory_is_refused() {
        let pool = |n: usize| format!(r#"{{"id": "A{n}", "number": 1000}}"#);
        let pools: Vec<String> = (0..5).map(pool).collect();
        let people = refusal(FEEDER, &format!(r#", "attendants": [{}]"#, pools.join(",")));
        assert!(people.contains("attendants"), "{people}");
        let breakdowns = vec![r#"{"every": "9 s", "time": "1 s"}"#; 400].join(",");
        let many = format!(
            r#"{{"id": "F", "type": "work", "endless": true, "time": "1 s", "count": 64,
            "breakdowns": [{breakdowns}]}}"#
        );
        assert!(refusal(&many, "").contains("timers"));
        let long = format!(r#"{FEEDER}, {{"id": "T", "type": "track", "capacity": 100000000}}"#);
        assert!(refusal(&long, r#", "plan": {"start": "primed"}"#).contains("at the start"));
        let breaks = r#", "plan": {"breaks": [{"at": "0 s", "for": "1 us", "every": "2 us"}]}"#;
        assert!(refusal(FEEDER, breaks).contains("a break comes"));
        let kinds = |n: usize| {
            let kinds: Vec<String> = (0..n).map(|kind| format!(r#""part {kind}": {{}}"#)).collect();
            format!(r#", "parts": {{{}}}"#, kinds.join(","))
        };
        assert!(refusal(FEEDER, &kinds(256)).contains("256 part kinds"));
        assert!(refusal(FEEDER, &kinds(300)).contains("300 part kinds"));
        // As many as can be told apart are compiled.
        let text = format!(r#"{{"feedproof": 1, "stations": [{FEEDER}]{}}}"#, kinds(255));
        let many = read(&text).scenario.expect("255 kinds are few enough");
        assert_eq!(compile(&many).outfit.kinds.len(), 255);
        let ends: Vec<String> = (0..4)
            .map(|n| format!(r#"{{"id": "F{n}", "type": "work", "endless": true, "time": "1 s", "count": 64, "to": "out"}}"#))
            .collect();
        assert!(refusal(&ends.join(","), "").contains("counted at 256 stations"));
        let group = r#"{"id": "F", "type": "stream", "spacing": "1 s", "group": 1000000000}"#;
        assert!(refusal(group, "").contains("too large"));
    }
}
