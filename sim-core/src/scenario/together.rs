//! Parts that are taken or handed on together: stations that could never start are refused.
//!
//! A machine that takes two parts at once from a track for one part waits for ever, as does an escapement that
//! releases three parts at once onto a track for two. That can be seen from the file. Invariant: only what is
//! impossible for sure is refused, whatever else the line does. What takes fewer parts where fewer are there is warned
//! of if there can never be as many as it is stated to take; the balance then goes by what there can be.

use super::{Doubts, Scenario, Ways, target_of};
use crate::diag::{Diagnostics, Problem, code};
use crate::kernel::UNLIMITED;
use crate::stations::catalogue::Entry;

/// Reports stations that want more parts at once than can be before them, or more room than there is beyond.
pub(super) fn check(scenario: &Scenario, doubts: &Doubts, problems: &mut Diagnostics) {
    let known = |entry: &&Entry| doubts.knows_all(entry);
    let feeders = Ways::of(scenario).feeders;
    for (n, entry) in scenario.stations.iter().enumerate().filter(|(_, entry)| known(entry)) {
        check_inlets(scenario, &feeders[n], entry, known, problems);
        check_room(scenario, n, entry, known, problems);
        if feeders[n].iter().all(|from| known(&&scenario.stations[*from])) {
            check_most(scenario, &feeders[n], n, entry, problems);
        }
    }
}

/// Parts that can stand at once at the end of a station, in one of its equals.
fn most_at(scenario: &Scenario, entry: &Entry) -> u32 {
    let body = entry.blueprint.body(&scenario.kinds, &entry.id.value);
    body.map_or(entry.blueprint.stand_at_most(), |body| body.most_at_end())
}

/// Most parts that can be before one of the equals of a station to be taken at a time, from all that feed it.
pub(crate) fn most_before(scenario: &Scenario, feeders: &[usize], entry: &Entry) -> f64 {
    let most_of = |&from: &usize| {
        let feeding = &scenario.stations[from];
        let equals = if feeding.count == entry.count { 1 } else { feeding.count };
        // What is given by the batch lies there together.
        let batch = feeding.blueprint.recipes().map_or(0, |recipe| recipe.most_pieces(&entry.id.value));
        let most = most_at(scenario, feeding).max(batch).max(feeding.blueprint.lands_together());
        if most == UNLIMITED { f64::INFINITY } else { f64::from(most) * f64::from(equals) }
    };
    feeders.iter().map(most_of).sum()
}

/// Most parts that a station can hand on through its first exit at one time.
pub(crate) fn most_beyond(scenario: &Scenario, n: usize) -> f64 {
    let exits = scenario.stations[n].blueprint.exits();
    let Some(to) = exits.first().and_then(|exit| target_of(scenario, n, &exit.to)) else {
        return f64::INFINITY;
    };
    let to = &scenario.stations[to];
    let most = to.blueprint.body(&scenario.kinds, &to.id.value).map_or(1, |body| body.most_in_at_once());
    if most == UNLIMITED { f64::INFINITY } else { f64::from(most) }
}

/// Warns of a station that can never take as many parts at a time as it is stated to.
fn check_most(scenario: &Scenario, feeders: &[usize], n: usize, entry: &Entry, problems: &mut Diagnostics) {
    let Some(parts) = entry.blueprint.takes_up_to(&scenario.kinds) else { return };
    let before = most_before(scenario, feeders, entry);
    let beyond = if entry.blueprint.releases_at_once() { most_beyond(scenario, n) } else { f64::INFINITY };
    if feeders.is_empty() || parts <= before.min(beyond) {
        return;
    }
    let id = &entry.id.value;
    let (what, help) = if before <= beyond {
        (
            format!("`{id}` takes {parts} parts at a time, and never more than {before} can be there"),
            "put a track that holds enough before it, or state fewer parts at a time, more often",
        )
    } else {
        (
            format!(
                "`{id}` hands on {parts} parts at a time, and never more than {beyond} find room beyond it"
            ),
            "put a track that holds enough behind it, or state fewer parts at a time, more often",
        )
    };
    problems.warning(&entry.place, Problem::new(code::UNUSUAL_VALUE, what).help(help));
}

fn check_inlets(
    scenario: &Scenario,
    feeders: &[usize],
    entry: &Entry,
    known: impl Fn(&&Entry) -> bool,
    problems: &mut Diagnostics,
) {
    let wanted = entry.blueprint.takes_at_once();
    let named = entry.blueprint.named_inlets();
    if !feeders.iter().all(|from| known(&&scenario.stations[*from])) {
        return;
    }
    for (inlet, &parts) in wanted.iter().enumerate() {
        let from = |feeder: &&usize| {
            named.is_empty()
                || named.get(inlet).is_some_and(|name| scenario.stations[**feeder].id.value == name.value)
        };
        let of_one = |&feeder: &usize| {
            let (feeding, most) = (&scenario.stations[feeder], most_at(scenario, &scenario.stations[feeder]));
            // An inlet with a name counts what is at all equal stations before it, another one takes from one place.
            let equals = if named.is_empty() || feeding.count == entry.count { 1 } else { feeding.count };
            if most == UNLIMITED { UNLIMITED } else { most.saturating_mul(equals) }
        };
        let most = feeders.iter().filter(from).map(of_one).max();
        if let Some(most) = most.filter(|most| *most < parts) {
            let names: Vec<String> = feeders
                .iter()
                .filter(from)
                .map(|&f| format!("`{}`", scenario.stations[f].id.value))
                .collect();
            let message = format!(
                "`{}` takes {parts} parts at once from {}, where never more than {most} can be",
                entry.id.value,
                names.join(" or ")
            );
            let problem = Problem::new(code::BAD_CONNECTION, message);
            let help = "put a track that holds enough before it, or (machines) give the inlet a nest";
            problems.error(&entry.place, problem.expected(format!("room for {parts} or more")).help(help));
        }
    }
}

fn check_room(
    scenario: &Scenario,
    n: usize,
    entry: &Entry,
    known: impl Fn(&&Entry) -> bool,
    problems: &mut Diagnostics,
) {
    let parts = entry.blueprint.room_at_once();
    for exit in entry.blueprint.exits() {
        let to = target_of(scenario, n, &exit.to).map(|to| &scenario.stations[to]);
        let Some(to) = to.filter(&known) else { continue };
        let Some(body) = to.blueprint.body(&scenario.kinds, &to.id.value) else { continue };
        if body.capacity() < parts {
            let message = format!(
                "`{}` hands on {parts} parts at once to `{}`, which holds {}",
                entry.id.value,
                to.id.value,
                body.capacity()
            );
            let problem = Problem::new(code::BAD_CONNECTION, message);
            problems.error(&entry.place, problem.expected(format!("room for {parts} or more beyond it")));
        }
    }
}

#[cfg(test)]
mod tests {
    use crate::scenario::read;

    fn problems(stations: &str) -> String {
        let text = format!(
            r#"{{"feedproof": 1, "stations": [{{"id": "F", "type": "work", "endless": true, "time": "1 s"}}, {stations}]}}"#
        );
        read(&text).problems.iter().map(|problem| problem.message.clone()).collect::<Vec<_>>().join("; ")
    }

    fn machine(before: &str, from: &str, parts: u32, nest: &str) -> String {
        format!(
            r#"{before} {{"id": "M", "type": "machine", "cycle": "1 s",
            "inlets": [{{"from": "{from}", "parts": {parts} {nest}}}]}}"#
        )
    }

    #[test]
    fn who_could_never_start_is_refused() {
        let track = |n: u32| format!(r#"{{"id": "T", "type": "track", "capacity": {n}}},"#);
        assert!(problems(&machine(&track(1), "T", 2, "")).contains("never more than 1"));
        assert_eq!(problems(&machine(&track(2), "T", 2, "")), "");
        assert_eq!(problems(&machine(&track(1), "T", 2, r#", "nest": {"capacity": 2}"#)), "");
        // Without a track between them a station holds one finished part until it is taken.
        assert!(problems(&machine("", "F", 2, "")).contains("from `F`, where never more than 1"));
        assert_eq!(problems(&machine("", "F", 1, "")), "");
        let three = r#"{"id": "W", "type": "work", "time": "1 s", "places": 3},"#;
        assert_eq!(problems(&machine(three, "W", 3, "")), "");
        assert!(problems(&machine(three, "W", 4, "")).contains("never more than 3"));
        let bin = r#"{"id": "B", "type": "bin", "capacity": 3},"#;
        assert!(problems(&machine(bin, "B", 4, "")).contains("never more than 3"));
        assert_eq!(problems(&machine(r#"{"id": "B", "type": "bin", "endless": true},"#, "B", 4, "")), "");
    }

    /// Entries keep a distance, so that what comes behind the head of a stopping belt never lies where it does; an
    /// accumulating belt closes up.
    #[test]
    fn a_stopping_belt_with_a_spacing_brings_one_part_at_a_time() {
        let line = |belt: &str| {
            let belt =
                format!(r#"{{"id": "T", "type": "belt", "length": "1 m", "speed": "0.1 m/s", {belt}}},"#);
            problems(&machine(&belt, "T", 2, ""))
        };
        let spaced = line(r#""spacing": "0.2 m", "end": "stopping""#);
        assert!(
            spaced.contains("`M` takes 2 parts at once from `T`, where never more than 1 can be"),
            "{spaced}"
        );
        assert_eq!(line(r#""spacing": "0.2 m", "end": "accumulating""#), "");
        assert_eq!(line(r#""capacity": 5, "end": "stopping""#), "");
    }

    #[test]
    fn escapements_need_as_many_before_and_as_much_room_beyond() {
        let line = |before: u32, beyond: u32, strokes: &str| {
            problems(&format!(
                r#"{{"id": "T", "type": "track", "capacity": {before}}},
                {{"id": "E", "type": "escapement", "stroke": "1 s", "release": 3 {strokes}}},
                {{"id": "X", "type": "track", "capacity": {beyond}}}, {{"id": "W", "type": "work", "time": "1 s"}}"#
            ))
        };
        assert_eq!(line(3, 3, ""), "");
        assert!(line(2, 3, "").contains("takes 3 parts at once from `T`"));
        assert!(line(3, 2, "").contains("hands on 3 parts at once to `X`, which holds 2"));
        let on_a_clock = |before, beyond| line(before, beyond, r#", "strokes": "on a clock""#);
        assert!(on_a_clock(1, 5).contains("takes 3 parts at a time, and never more than 1 can be there"));
        assert!(on_a_clock(5, 2).contains("hands on 3 parts at a time, and never more than 2 find room"));
        assert_eq!(on_a_clock(3, 3), "");
    }

    #[test]
    fn who_takes_fewer_where_fewer_are_there_is_warned_of() {
        let after =
            r#"{"id": "X", "type": "track", "capacity": 40}, {"id": "W", "type": "work", "time": "1 s"}"#;
        let line = |before: &str, taker: &str| problems(&format!("{before}{taker}, {after}"));
        let meter = r#"{"id": "M", "type": "meter conveyor", "rate": "300 /min"}"#;
        let track = |n: u32| format!(r#"{{"id": "T", "type": "track", "capacity": {n}}},"#);
        assert!(line("", meter).contains("`M` takes 5 parts at a time, and never more than 1 can be there"));
        assert!(line(&track(3), meter).contains("never more than 3"));
        assert_eq!(line(&track(5), meter), "");
        assert_eq!(line(r#"{"id": "B", "type": "bin"},"#, meter), "");
        let bath = r#"{"id": "M", "type": "bath", "residence": "9 s", "rate": "60 /min", "portion": "4 s"}"#;
        assert!(line(&track(3), bath).contains("`M` takes 4 parts at a time"));
        assert_eq!(line(&track(4), bath), "");
    }
}
