//! Levels that cannot be: a share of a capacity where there is none, more than what is watched can hold.
//!
//! It looks at sensors and at stations that are called by a level. It knows nothing of what happens at a level.

use super::connections::target_of;
use super::{Doubts, Level, Scenario, SensorSpec, Ways};
use crate::diag::{Diagnostics, Problem, code};
use crate::kernel::UNLIMITED;
use crate::stations::blueprint::Whose;
use crate::stations::catalogue::Entry;
use crate::text::forms::Spanned;

/// Reports shares of what has no end, and levels that are never reached.
pub(super) fn check(scenario: &Scenario, doubts: &Doubts, problems: &mut Diagnostics) {
    check_shares(scenario, doubts, problems);
    scenario.sensors.iter().for_each(|sensor| check_level(scenario, doubts, sensor, problems));
}

fn check_shares(scenario: &Scenario, doubts: &Doubts, problems: &mut Diagnostics) {
    let entries = &scenario.stations;
    // A capacity may be a volume, which depends on the parts.
    let knows_parts = scenario.kinds.iter().all(|kind| kind.misread.is_empty());
    let has_no_end = |entry: &&Entry| {
        if !knows_parts || !doubts.knows_all(entry) {
            return false;
        }
        let body = entry.blueprint.body(&scenario.kinds, &entry.id.value);
        body.is_some_and(|place| place.capacity() == UNLIMITED && !place.is_endless())
    };
    for sensor in &scenario.sensors {
        let is_share = [sensor.high, sensor.low].into_iter().any(|level| matches!(level, Level::Share(_)));
        let watched = sensor.watches.iter().filter(|_| is_share);
        for name in watched {
            let watched = entries.iter().filter(|entry| entry.is_read() && entry.id.value == name.value);
            for of in watched.filter(has_no_end) {
                let message =
                    format!("the level is a share of the capacity of `{}`, which has none", of.id.value);
                problems.error(&name.place, nothing_to_share(message, &of.id.value));
            }
        }
    }
    let ways = Ways::of(scenario);
    for (n, entry) in entries.iter().enumerate().filter(|(_, entry)| entry.is_read()) {
        let Some((key, whose)) = entry.blueprint.share_of_capacity() else { continue };
        let of: Vec<usize> = match whose {
            Whose::Own => vec![n],
            Whose::Before => ways.feeders[n].clone(),
            Whose::Next => {
                let exits = entry.blueprint.exits();
                exits.first().and_then(|exit| target_of(scenario, n, &exit.to)).into_iter().collect()
            }
        };
        for of in of.into_iter().map(|of| &entries[of]).filter(|of| of.is_read()).filter(has_no_end) {
            let message = format!("`{key}` is a share of the capacity of `{}`, which has none", of.id.value);
            problems.error(&entry.place, nothing_to_share(message, &of.id.value));
        }
    }
}

/// A level above what tracks and belts hold is never reached.
fn check_level(scenario: &Scenario, doubts: &Doubts, sensor: &SensorSpec, problems: &mut Diagnostics) {
    let Level::Parts(high) = sensor.high else { return };
    let room_of = |name: &Spanned<String>| {
        let entry = scenario.stations.iter().find(|entry| entry.id.value == name.value)?;
        let body =
            entry.blueprint.body(&scenario.kinds, &entry.id.value).filter(|_| doubts.knows_all(entry))?;
        // A bin may be overfilled.
        let is_track = body.counts().is_none() && body.capacity() != UNLIMITED;
        is_track.then_some(u64::from(body.capacity()) * u64::from(entry.count))
    };
    let Some(room) = sensor.watches.iter().map(room_of).sum::<Option<u64>>() else { return };
    if u64::from(high) > room {
        let watched: Vec<String> = sensor.watches.iter().map(|name| format!("`{}`", name.value)).collect();
        let (holds, together) = if watched.len() == 1 { ("holds", "") } else { ("hold", " together") };
        let message = format!(
            "`{}` never switches on: it looks for {high} parts, and {} {holds} {room} at most{together}",
            sensor.id.value,
            watched.join(" and ")
        );
        let problem = Problem::new(code::UNUSUAL_VALUE, message);
        problems.warning(
            &sensor.id.place,
            problem.help("lower `high`, or write it as a share, such as \"80 %\""),
        );
    }
}

fn nothing_to_share(message: String, of: &str) -> Problem {
    let help = format!("give `{of}` a `capacity`, or the level as a number of parts");
    Problem::new(code::MISSING_KEY, message).help(help)
}

#[cfg(test)]
mod tests {
    use crate::stations::trial::problems;

    #[test]
    fn a_share_of_what_has_no_end_is_refused_and_a_number_is_not() {
        let line = |tip: &str, mark: &str, bin: &str| {
            format!(
                r#"{{"id": "tip", "type": "dumper", "contents": 500, "call_level": {tip}}}, {{"id": "bin", "type": "bin" {bin}}},
                {{"id": "lift", "type": "elevator", "cleats": "1 /s", "lift": "5 s", "per_cleat": 1, "mark": {mark}}},
                {{"id": "track", "type": "track", "unlimited": true}}, {{"id": "use", "type": "work", "time": "1 s"}}"#
            )
        };
        let eye = |high: &str| {
            format!(
                r#", "sensors": [{{"id": "eye", "watches": "track", "high": {high}, "holds": ["lift"]}}]"#
            )
        };
        let problems = |stations: &str, more: &str| -> Vec<String> {
            problems(stations, more)
                .into_iter()
                .filter(|found| found.contains("a share of the capacity"))
                .collect()
        };
        assert_eq!(problems(&line("100", "50", ""), &eye("40")), Vec::<String>::new());
        let found = problems(&line(r#""20 %""#, r#""10 %""#, ""), &eye(r#""80 %""#));
        assert_eq!(found.len(), 3, "{found:?}");
        for (words, found) in
            ["`call_level` is a share", "`mark` is a share", "capacity of `track`"].iter().zip(&found)
        {
            assert!(found.contains(words), "{found}");
        }
        let found = problems(&line(r#""20 %""#, r#""10 %""#, r#", "capacity": 3000"#), &eye("40"));
        assert_eq!(found, Vec::<String>::new());
    }
}
