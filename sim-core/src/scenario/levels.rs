//! Levels that are a share of a capacity, where there is none.
//!
//! It looks at sensors and at stations that are called by a level. It knows nothing of what happens at a level.

use super::connections::target_of;
use super::{Doubts, Level, Scenario, Ways};
use crate::diag::{Diagnostics, Problem, code};
use crate::kernel::UNLIMITED;
use crate::stations::blueprint::Whose;
use crate::stations::catalogue::Entry;

/// Reports shares of what has no end.
pub(super) fn check(scenario: &Scenario, doubts: &Doubts, problems: &mut Diagnostics) {
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
