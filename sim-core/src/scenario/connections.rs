//! Checks of who gives to whom: stations that nothing feeds, exits that lead to nobody who takes, loops without an exit.
//!
//! A file with other errors is checked as well, as far as it is known: what could not be read may lead anywhere. It does not
//! look at what parts are like.

use super::{Doubts, OUT, Scenario};
use crate::components::components;
use crate::diag::{Diagnostics, Problem, code};
use crate::kernel::UNLIMITED;
use crate::stations::blueprint::To;
use crate::stations::catalogue::Entry;
use crate::text::forms::Spanned;
use crate::text::is_name;
use crate::text::suggest::nearest;

/// Reports what is wrong with the connections.
pub(super) fn check(scenario: &Scenario, doubts: &Doubts, problems: &mut Diagnostics) {
    check_connections(scenario, doubts, problems);
    check_feeders(scenario, doubts, problems);
    if problems.has_errors() {
        // Without any error the balance finds them, and more.
        check_rings(scenario, doubts, problems);
    }
}

/// Reports rings of stations that lead nowhere, as far as connections tell: an exit that is not known counts as a way out.
fn check_rings(scenario: &Scenario, doubts: &Doubts, problems: &mut Diagnostics) {
    let entries = &scenario.stations;
    let leads: Vec<Vec<Lead>> = (0..entries.len()).map(|from| leads_of(scenario, doubts, from)).collect();
    // Who takes nothing is in no loop: that others give to it is told.
    let takes = |to: &usize| entries[*to].blueprint.takes();
    let next = |from: usize| leads[from].iter().filter_map(|lead| lead.station()).filter(takes).collect();
    let leads_out = |from: &usize| {
        let of = &entries[*from];
        let is_endless =
            of.blueprint.body(&scenario.kinds, &of.id.value).is_some_and(|body| body.is_endless());
        let all = &leads[*from];
        all.is_empty()
            || all.iter().any(|lead| lead.station().is_none())
            || is_endless
            || of.blueprint.named_inlets().len() > 1
    };
    let mut rings = components(entries.len(), next);
    rings.retain(|ring| ring.len() > 1 || leads[ring[0]].contains(&Lead::Station(ring[0])));
    rings.sort_unstable();
    for ring in rings.iter().filter(|ring| !ring.iter().any(leads_out) && takes(&ring[0])) {
        // A way into another ring is a way out of this one.
        if ring
            .iter()
            .flat_map(|one| &leads[*one])
            .filter_map(|lead| lead.station())
            .any(|to| !ring.contains(&to))
        {
            continue;
        }
        let names: Vec<String> = ring.iter().map(|one| format!("`{}`", entries[*one].id.value)).collect();
        let message = format!("no part can leave the loop {}", names.join(", "));
        let problem = Problem::new(code::NO_WAY_OUT, message);
        problems
            .error(&entries[ring[0]].place, problem.help("give one of these stations an exit that leads on"));
    }
}

/// Every station that takes is fed, every exit leads to somebody who takes, and something is a source.
fn check_connections(scenario: &Scenario, doubts: &Doubts, problems: &mut Diagnostics) {
    let entries = &scenario.stations;
    for (n, entry) in entries.iter().enumerate() {
        check_inlets(entry, problems);
        for exit in entry.blueprint.exits() {
            let Lead::Station(target) = lead_of(scenario, doubts, n, &exit.to) else { continue };
            let inlets = entries[target].blueprint.named_inlets();
            let is_known = |name: &Spanned<String>| {
                !name.value.is_empty() && entries.iter().any(|entry| entry.id.value == name.value)
            };
            let are_known = !doubts.has_unread(&entries[target]) && inlets.iter().all(is_known);
            if !inlets.is_empty() && are_known && !inlets.iter().any(|name| name.value == entry.id.value) {
                let (from, to) = (&entry.id.value, &entries[target].id.value);
                let message = format!("`{from}` gives to `{to}`, none of whose inlets takes from it");
                problems.error(
                    &entry.place,
                    Problem::new(code::BAD_CONNECTION, message)
                        .help(format!("give `{to}` an inlet with \"from\": \"{from}\"")),
                );
            }
            if !entries[target].blueprint.takes() {
                let to = &entries[target].id.value;
                problems.error(
                    &entry.place,
                    Problem::new(
                        code::BAD_CONNECTION,
                        format!("`{}` gives to `{to}`, which takes nothing", entry.id.value),
                    )
                    .help(format!("name the right station in `{}`, or `{OUT}` to leave the line", exit.key)),
                );
            }
        }
    }
    check_bodies(scenario, doubts, problems);
    check_bins(scenario, doubts, problems);
    super::together::check(scenario, doubts, problems);
}

/// One station feeds one inlet: which of two a part is for nobody can say.
fn check_inlets(entry: &Entry, problems: &mut Diagnostics) {
    let inlets = entry.blueprint.named_inlets();
    for (n, name) in inlets.iter().enumerate().filter(|(_, name)| !name.value.is_empty()) {
        if let Some(first) = inlets[..n].iter().find(|first| first.value == name.value) {
            let message = format!("`{}` takes from `{}` by two inlets", entry.id.value, name.value);
            let problem =
                Problem::new(code::DUPLICATE_NAME, message).related(first.place.span, "it stands here first");
            problems.error(
                &name.place,
                problem.help("set `parts` of one inlet to the number of all, or put a divider before them"),
            );
        }
    }
}

/// Stations that nothing feeds, and inlets whose station does not give to them.
fn check_feeders(scenario: &Scenario, doubts: &Doubts, problems: &mut Diagnostics) {
    let entries = &scenario.stations;
    let leads: Vec<Vec<Lead>> = (0..entries.len()).map(|from| leads_of(scenario, doubts, from)).collect();
    let may_lead_anywhere = |from: usize| {
        doubts.has_other_exits(&entries[from], scenario) || leads[from].contains(&Lead::Unknown)
    };
    let misspelt: Vec<String> = names_of_nobody(scenario);
    let anybody_may_be_fed = misspelt.iter().any(|name| !is_name(name)) || doubts.has_unread_names();
    let may_be_fed = |n: usize| {
        let id = entries[n].id.value.as_str();
        let is_meant = misspelt.iter().any(|name| nearest(name, [id]).is_some()) || doubts.may_mean(id);
        let is_another = id.is_empty() || entries[..n].iter().any(|entry| entry.id.value == id);
        is_meant || is_another || anybody_may_be_fed || (n > 0 && may_lead_anywhere(n - 1))
    };
    let may_be_stocked = |entry: &Entry| {
        entry.blueprint.is_stocked()
            || doubts.has_unread(entry)
            || doubts.has_error_at(entry, &["endless", "content"])
    };
    let mut fed = vec![false; entries.len()];
    for (n, entry) in entries.iter().enumerate() {
        let targets = entry.blueprint.exits().into_iter().filter_map(|exit| target_of(scenario, n, &exit.to));
        targets.for_each(|target| fed[target] = true);
    }
    for (n, entry) in entries.iter().enumerate() {
        if entry.blueprint.takes() && !fed[n] && !may_be_stocked(entry) && !may_be_fed(n) {
            problems.error(
                &entry.id.place,
                Problem::new(code::NOT_FED, format!("nothing feeds `{}`", entry.id.value))
                    .help("name it in the `to` of another station, or take it out"),
            );
        }
        for name in entry.blueprint.named_inlets() {
            let feeds = |from: usize| {
                entries[from].id.value == name.value
                    && entries[from]
                        .blueprint
                        .exits()
                        .iter()
                        .any(|e| target_of(scenario, from, &e.to) == Some(n))
            };
            let named = |from: &usize| entries[*from].id.value == name.value;
            // A name of nobody is told as such.
            let is_known = (0..entries.len()).find(named).is_some_and(|from| !may_lead_anywhere(from));
            if is_known && !(0..entries.len()).any(feeds) {
                problems.error(
                    &name.place,
                    Problem::new(
                        code::BAD_CONNECTION,
                        format!("`{}` does not give to `{}`", name.value, entry.id.value),
                    )
                    .help(format!("set `to` of `{}` to `{}`", name.value, entry.id.value)),
                );
            }
        }
    }
}

/// Places that nobody works at don't choose, and are no point of use.
fn check_bodies(scenario: &Scenario, doubts: &Doubts, problems: &mut Diagnostics) {
    let entries = &scenario.stations;
    let has_body = |entry: &Entry| entry.blueprint.body(&scenario.kinds, "").is_some();
    for (n, entry) in entries.iter().enumerate() {
        for exit in entry.blueprint.exits() {
            let Some(to) = target_of(scenario, n, &exit.to).map(|to| &entries[to]) else { continue };
            let are_known = doubts.knows_all(entry) && doubts.knows_all(to);
            if are_known && has_body(to) && to.count > 1 && to.count != entry.count {
                let message =
                    format!("`{}` is {} side by side, and nothing chooses among them", to.id.value, to.count);
                problems.error(
                    &entry.place,
                    Problem::new(code::BAD_CONNECTION, message)
                        .help("put a divider before them, or give both stations the same `count`"),
                );
            }
            if has_body(to) && entry.blueprint.needs_a_taker() {
                let message = format!(
                    "`{}` gives nothing by itself, and `{}` takes nothing by itself",
                    entry.id.value, to.id.value
                );
                problems.error(
                    &entry.place,
                    Problem::new(code::BAD_CONNECTION, message)
                        .help("put an elevator, a meter conveyor or another station between them"),
                );
            }
        }
        if entry.in_turn && entry.count > 1 {
            let beyond = entry.blueprint.exits().first().map(|exit| lead_of(scenario, doubts, n, &exit.to));
            let is_one = |to: usize| has_body(&entries[to]) && entries[to].count == 1;
            if !matches!(beyond, Some(Lead::Unknown)) && !beyond.and_then(Lead::station).is_some_and(is_one) {
                problems.error(
                    &entry.place,
                    Problem::new(
                        code::BAD_CONNECTION,
                        "stations deliver in turn onto one track, belt or bin",
                    )
                    .help("let `to` lead to one track, or take `in_turn` out"),
                );
            }
        }
    }
    let counts_at = scenario.plan.changeover.iter().map(|changeover| &changeover.counts_at);
    for name in scenario.promise.at.iter().chain(counts_at) {
        let Some(entry) = entries.iter().find(|entry| entry.id.value == name.value) else { continue };
        let only = match (has_body(entry), entry.blueprint.gives_to_bin()) {
            (true, _) => "only holds parts",
            (_, true) => "only pours parts",
            (false, false) => continue,
        };
        let message = format!("`{}` {only}; they are counted where a station hands them on", name.value);
        problems.error(
            &name.place,
            Problem::new(code::BAD_CONNECTION, message).help("name the station after it"),
        );
    }
}

/// Who pours gives to a bin, and who lifts out of bulk takes from bins only.
fn check_bins(scenario: &Scenario, doubts: &Doubts, problems: &mut Diagnostics) {
    let entries = &scenario.stations;
    let body = |n: usize| entries[n].blueprint.body(&scenario.kinds, &entries[n].id.value);
    let is_bin = |n: usize| body(n).is_some_and(|place| place.counts().is_some());
    for (n, entry) in entries.iter().enumerate() {
        for (no, exit) in entry.blueprint.exits().iter().enumerate() {
            let lead = lead_of(scenario, doubts, n, &exit.to);
            if !entry.is_read() || lead == Lead::Unknown {
                continue;
            }
            let target = lead.station();
            let id = &entry.id.value;
            if no == 0 && entry.blueprint.gives_to_bin() && !target.is_some_and(is_bin) {
                problems.error(
                    &entry.place,
                    Problem::new(code::BAD_CONNECTION, format!("`{id}` pours parts, but not into a bin"))
                        .help("put a station of the type `bin` next, or name one in `to`"),
                );
            }
            let limitless = |n: usize| body(n).is_some_and(|place| place.capacity() == UNLIMITED);
            if no == 0 && entry.blueprint.fills_up() && target.is_some_and(limitless) {
                let message = format!("`{id}` fills the bin up, and the bin has no capacity");
                let problem = Problem::new(code::MISSING_KEY, message);
                problems
                    .error(&entry.place, problem.expected("an `amount` here, or a `capacity` of the bin"));
            }
            if let Some(target) = target
                && entries[target].blueprint.takes_without_limit()
                && body(n).is_some_and(|place| place.is_endless())
            {
                let to = &entries[target].id.value;
                let message = format!("`{to}` takes all that is in `{id}`, and `{id}` never runs out");
                let problem = Problem::new(code::BAD_CONNECTION, message);
                problems.error(&entry.place, problem.help(format!("give `{to}` a `rate`")));
            }
            if let Some(target) = target
                && entries[target].blueprint.takes_from_bin()
                && !is_bin(n)
            {
                let to = &entries[target].id.value;
                problems.error(
                    &entry.place,
                    Problem::new(
                        code::BAD_CONNECTION,
                        format!("`{to}` lifts parts out of a bin, and `{id}` is none"),
                    )
                    .help("put a station of the type `bin` between the two"),
                );
            }
        }
    }
}

/// The entry to which an exit leads; `None` out of the line, and for a name of nobody.
pub fn target_of(scenario: &Scenario, from: usize, to: &To) -> Option<usize> {
    match to {
        To::Next => (from + 1 < scenario.stations.len()).then_some(from + 1),
        To::Named(name) => {
            let has_name = |entry: &Entry| entry.id.value == name.value && !name.value.is_empty();
            scenario.stations.iter().position(has_name)
        }
    }
}

/// Whether the good parts of station number `n` are counted.
pub(super) fn is_point_of_use(scenario: &Scenario, n: usize) -> bool {
    let (at, entry) = (&scenario.promise.at, &scenario.stations[n]);
    if !at.is_empty() {
        return at.iter().any(|name| name.value == entry.id.value);
    }
    entry.blueprint.exits().first().is_some_and(|exit| target_of(scenario, n, &exit.to).is_none())
}

/// Where an exit leads in a file that may have errors.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
enum Lead {
    Out,
    Station(usize),
    /// To a name of nobody, or to a station of which nothing is known.
    Unknown,
}

impl Lead {
    fn station(self) -> Option<usize> {
        match self {
            Lead::Station(ix) => Some(ix),
            Lead::Out | Lead::Unknown => None,
        }
    }
}

/// Where the exits of a station lead.
fn leads_of(scenario: &Scenario, doubts: &Doubts, from: usize) -> Vec<Lead> {
    let exits = scenario.stations[from].blueprint.exits();
    exits.iter().map(|exit| lead_of(scenario, doubts, from, &exit.to)).collect()
}

fn lead_of(scenario: &Scenario, doubts: &Doubts, from: usize, to: &To) -> Lead {
    if doubts.has_other_exits(&scenario.stations[from], scenario) {
        return Lead::Unknown;
    }
    match (target_of(scenario, from, to), to) {
        (Some(ix), _) if scenario.stations[ix].is_read() => Lead::Station(ix),
        (None, To::Named(name)) if name.value != OUT => Lead::Unknown,
        (Some(_), _) => Lead::Unknown,
        (None, _) => Lead::Out,
    }
}

/// Names to which stations give and that nobody has.
fn names_of_nobody(scenario: &Scenario) -> Vec<String> {
    let mut names = Vec::new();
    for (from, entry) in scenario.stations.iter().enumerate() {
        for exit in entry.blueprint.exits() {
            if let To::Named(name) = &exit.to
                && name.value != OUT
                && target_of(scenario, from, &exit.to).is_none()
            {
                names.push(name.value.clone());
            }
        }
    }
    names
}

#[cfg(test)]
mod tests {
    use crate::scenario::read;

    fn errors(stations: &str) -> Vec<String> {
        let problems = read(&format!(r#"{{"feedproof": 1, "stations": [{stations}]}}"#)).problems;
        problems.into_iter().map(|problem| problem.message).collect()
    }

    #[test]
    fn loops_and_missing_feeders_are_told_together_with_wrong_values() {
        let found = errors(
            r#"{"id": "F", "type": "work", "endless": true, "time": "3 kg", "to": "A"},
            {"id": "A", "type": "work", "time": "1 s", "to": "B"},
            {"id": "B", "type": "work", "time": "1 s", "to": "A"},
            {"id": "C", "type": "work", "time": "1 s", "to": "out"}"#,
        );
        assert!(
            found.iter().any(|message| message.contains("no part can leave the loop `A`, `B`")),
            "{found:?}"
        );
        assert!(found.iter().any(|message| message.contains("nothing feeds `C`")), "{found:?}");
        assert_eq!(found.len(), 3, "{found:?}");
    }

    /// The way on leads to the next station: where that could not be read, or the key of the way was misspelt, it seems to
    /// lead round.
    #[test]
    fn what_could_not_be_read_makes_no_loop() {
        let ring = |last: &str, to: &str| {
            errors(&format!(
                r#"{{"id": "F", "type": "work", "endless": true, "time": "1 s", "to": "A"}},
                {{"id": "A", "type": "work", "time": "1 s", {to}}}, {last}
                {{"id": "B", "type": "belt", "travel": "1 s", "to": "A"}}"#
            ))
        };
        let press = r#"{"id": "press", "type": "machin", "cycle": "1 s", "to": "out"},"#;
        for found in [ring(press, r#""note": "on""#), ring("", r#""too": "out""#)] {
            assert!(!found.is_empty() && !found.iter().any(|message| message.contains("loop")), "{found:?}");
        }
    }

    /// A station without a name may be the one that is meant, unless the name is a slip for another.
    #[test]
    fn a_slip_is_told_beside_a_missing_name() {
        let found = errors(
            r#"{"id": "F", "type": "work", "endless": true, "time": "1 s", "to": "prss"},
            {"id": "G", "type": "work", "endless": true, "time": "1 s", "to": "elsewhere"},
            {"type": "work", "time": "1 s", "to": "press"},
            {"id": "press", "type": "work", "time": "1 s", "to": "out"}"#,
        );
        assert_eq!(found, ["there is no station `prss`", "`id` is missing"], "{found:?}");
    }

    /// An entry inside of a station that is of another sort leaves the names of stations known.
    #[test]
    fn what_is_wrong_inside_of_a_station_hides_no_unknown_name() {
        let found = errors(
            r#"{"id": "F", "type": "work", "endless": true, "time": "1 s", "to": "P"},
            {"id": "P", "type": "orienting path", "pass": "1 s", "tools": [3], "rejects_to": "nowhere", "to": "out"}"#,
        );
        assert!(found.contains(&"there is no station `nowhere`".to_owned()), "{found:?}");
    }

    /// Two inlets with one feeder would each take all that comes.
    #[test]
    fn two_inlets_from_one_station_are_refused() {
        let line = |first: &str, second: &str| {
            errors(&format!(
                r#"{{"id": "F", "type": "work", "endless": true, "time": "1 s", "to": "M"}},
                {{"id": "G", "type": "work", "endless": true, "time": "1 s", "to": "M"}},
                {{"id": "M", "type": "machine", "cycle": "1 s", "to": "out",
                  "inlets": [{{"from": "{first}"}}, {{"from": "{second}"}}, {{"from": "G"}}]}}"#
            ))
        };
        let found = line("F", "F");
        assert_eq!(found, ["`M` takes from `F` by two inlets"]);
        assert_eq!(line("F", "G"), ["`M` takes from `G` by two inlets"]);
    }

    #[test]
    fn a_loop_is_told_together_with_a_station_that_nothing_feeds() {
        let found = errors(
            r#"{"id": "F", "type": "work", "endless": true, "time": "1 s", "to": "A"},
            {"id": "A", "type": "work", "time": "1 s", "to": "A"},
            {"id": "C", "type": "work", "time": "1 s", "to": "out"}"#,
        );
        assert!(found.iter().any(|message| message.contains("loop `A`")), "{found:?}");
        assert!(found.iter().any(|message| message.contains("nothing feeds `C`")), "{found:?}");
    }
}
