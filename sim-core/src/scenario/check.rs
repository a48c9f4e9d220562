//! Checks between the parts of a scenario: names, references, connections.

use super::{Doubts, OUT, Scenario, Start, is_reserved};
use crate::diag::{Diagnostics, Problem, code};
use crate::kernel::UNLIMITED;
use crate::stations::blueprint::To;
use crate::stations::catalogue::Entry;
use crate::stations::lots::LotLuck;
use crate::terms::kind::{Kind, must_be_one_of};
use crate::terms::stops::{Cause, StopSpec};
use crate::text::forms::Spanned;
use crate::text::is_name;
use crate::text::suggest::nearest;

/// Most stations, equal ones counted apart.
const STATIONS_MAX: u64 = 2000;

/// Reports everything that is wrong between the parts of the scenario.
pub(super) fn check(scenario: &Scenario, doubts: &Doubts, problems: &mut Diagnostics) {
    check_names(scenario, problems);
    check_references(scenario, doubts, problems);
    check_tests(scenario, problems);
    scenario.kinds.iter().for_each(|kind| check_lots(scenario, kind, problems));
    for entry in &scenario.stations {
        check_start(scenario, entry, problems);
        entry.blueprint.check(&scenario.kinds, problems);
        check_stops(scenario, entry, problems);
    }
    check_slowed(scenario, problems);
    super::batches::check(scenario, doubts, problems);
    if let Some(changeover) = &scenario.plan.changeover {
        let brings = |entry: &Entry| entry.blueprint.brings(&scenario.kinds);
        let brought: Vec<u8> = scenario.stations.iter().filter_map(brings).collect();
        changeover.check(&scenario.kinds, &brought, problems);
    }
    super::size::check(scenario, problems);
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
    let next = |from: usize| -> Vec<Option<usize>> {
        entries[from].blueprint.exits().iter().map(|exit| target_of(scenario, from, &exit.to)).collect()
    };
    let reached_from = |start: usize| -> Vec<usize> {
        let mut reached = Vec::new();
        let mut open = vec![start];
        while let Some(from) = open.pop() {
            for to in next(from).into_iter().flatten().filter(|to| *to < entries.len()) {
                if !reached.contains(&to) {
                    reached.push(to);
                    open.push(to);
                }
            }
        }
        reached.sort_unstable();
        reached
    };
    let leads_out = |from: usize| {
        let exits = next(from);
        let of = &entries[from].blueprint;
        let may = exits.is_empty() || exits.contains(&None) || !doubts.knows_exits(&entries[from]);
        may || of.is_stocked() || of.named_inlets().len() > 1
    };
    let mut told: Vec<usize> = Vec::new();
    for start in 0..entries.len() {
        let ring = reached_from(start);
        // All of it is one ring if everybody in it reaches all of it.
        let is_ring = ring.contains(&start) && ring.iter().all(|one| reached_from(*one) == ring);
        if !is_ring || told.contains(&start) || ring.iter().any(|one| leads_out(*one)) {
            continue;
        }
        let names: Vec<String> = ring.iter().map(|one| format!("`{}`", entries[*one].id.value)).collect();
        let message = format!("no part can leave the loop {}", names.join(", "));
        let problem = Problem::new(code::NO_WAY_OUT, message);
        problems
            .error(&entries[ring[0]].place, problem.help("give one of these stations an exit that leads on"));
        told.extend(ring);
    }
}

/// Inputs that rest on the same test must say the same of it: they are drawn together.
fn check_tests(scenario: &Scenario, problems: &mut Diagnostics) {
    let tests = scenario.inputs.iter().filter_map(|input| {
        let evidence = input.evidence.as_ref()?;
        Some((evidence.test.as_deref()?, &evidence.seen, &input.place))
    });
    let all: Vec<_> = tests.collect();
    for (n, (name, seen, place)) in all.iter().enumerate() {
        let Some((_, first, at)) = all[..n].iter().find(|(other, ..)| other == name) else { continue };
        if first != seen {
            let message = format!("the test `{name}` is said to have had another result before");
            let problem =
                Problem::new(code::DUPLICATE_NAME, message).related(at.span, "it stands here first");
            problems.error(place, problem.help("state the same counts and prior, or name the tests apart"));
        }
    }
}

fn check_names(scenario: &Scenario, problems: &mut Diagnostics) {
    let stations = scenario.stations.iter().map(|entry| &entry.id);
    let pools = scenario.attendants.iter().map(|pool| &pool.id);
    let sensors = scenario.sensors.iter().map(|sensor| &sensor.id);
    let all: Vec<&Spanned<String>> = stations.chain(pools).chain(sensors).collect();
    for (n, id) in all.iter().enumerate() {
        if is_reserved(&id.value) {
            problems.error(
                &id.place,
                Problem::new(code::BAD_NAME, format!("`{}` means leaving the line", id.value))
                    .help("choose another name"),
            );
        }
        if let Some(first) = all[..n].iter().find(|first| first.value == id.value) {
            problems.error(
                &id.place,
                Problem::new(code::DUPLICATE_NAME, format!("the name `{}` is taken", id.value))
                    .related(first.place.span, "it stands here first")
                    .help("choose another name"),
            );
        }
    }
    let n: u64 = scenario.stations.iter().map(|entry| u64::from(entry.count)).sum();
    if n > STATIONS_MAX
        && let Some(entry) = scenario.stations.first()
    {
        let problem = Problem::new(code::OUT_OF_RANGE, format!("the line has {n} stations"));
        problems.error(&entry.place, problem.expected(format!("{STATIONS_MAX} at most")));
    }
}

fn known_stations(scenario: &Scenario) -> Vec<&str> {
    scenario.stations.iter().map(|entry| entry.id.value.as_str()).collect()
}

fn check_references(scenario: &Scenario, doubts: &Doubts, problems: &mut Diagnostics) {
    let stations = known_stations(scenario);
    let pools: Vec<&str> = scenario.attendants.iter().map(|pool| pool.id.value.as_str()).collect();
    let mut must = |name: &Spanned<String>, what: &str, known: &[&str]| {
        if !doubts.may_name(&name.value) {
            must_be_one_of(name, what, known, problems);
        }
    };
    let mut ends = stations.clone();
    ends.push(OUT);
    for entry in &scenario.stations {
        for exit in entry.blueprint.exits() {
            if let To::Named(name) = &exit.to {
                must(name, "station", &ends);
            }
        }
        entry.priority.iter().for_each(|name| must(name, "station", &stations));
        entry.blueprint.named_inlets().iter().for_each(|name| must(name, "station", &stations));
        entry.blueprint.pools().iter().for_each(|name| must(name, "pool of attendants", &pools));
        let inner = entry.blueprint.inner_stops();
        for stop in entry.stops.iter().chain(inner.iter().map(|(stop, _)| stop)) {
            stop.by.iter().for_each(|name| must(name, "pool of attendants", &pools));
        }
    }
    for pool in &scenario.attendants {
        pool.priority.iter().for_each(|name| must(name, "station", &stations));
        pool.walk_to.iter().for_each(|(name, _)| must(name, "station", &stations));
        pool.helps.iter().for_each(|name| must(name, "pool of attendants", &pools));
    }
    for sensor in &scenario.sensors {
        let named = sensor.watches.iter().chain(&sensor.holds).chain(&sensor.slows);
        named.for_each(|name| must(name, "station", &stations));
    }
    let mut rest = stations.clone();
    rest.extend(&pools);
    for pause in &scenario.plan.breaks {
        pause.of.iter().for_each(|name| must(name, "station or pool of attendants", &rest));
    }
    if let Some(changeover) = &scenario.plan.changeover {
        changeover.stations().for_each(|name| must(name, "station", &stations));
        changeover.pools().for_each(|name| must(name, "pool of attendants", &pools));
    }
    scenario.plan.start_at.iter().for_each(|(name, _)| must(name, "station", &stations));
    scenario.promise.at.iter().for_each(|name| must(name, "station", &stations));
    let picks = scenario.measures.iter().flat_map(|measure| &measure.any_of);
    picks.chain(&scenario.promise.net_of).for_each(|pick| must(&pick.station, "station", &stations));
}

/// Spreads between shifts that cannot be, and spreads between containers where there are none.
fn check_lots(scenario: &Scenario, kind: &Kind, problems: &mut Diagnostics) {
    if let Err(message) = LotLuck::new(kind, &kind.shifts) {
        let problem = Problem::new(code::OUT_OF_RANGE, format!("shifts can't differ so much: {message}"));
        problems.error(&kind.place, problem);
    }
    let by_container = |entry: &Entry| {
        let brings = entry.blueprint.brings(&scenario.kinds);
        let same = brings.is_some_and(|ix| scenario.kinds[usize::from(ix)].name == kind.name);
        same && matches!(entry.word, "dumper" | "filling by hand")
    };
    if kind.lots.varies() && !scenario.stations.iter().any(by_container) {
        let message = format!(
            "`between_lots` of `{}` is not used: nobody brings it by the container or fills it in by hand",
            kind.name
        );
        let help = "say `between_shifts` if all parts of a shift are alike";
        problems.warning(&kind.place, Problem::new(code::UNUSUAL_VALUE, message).help(help));
    }
}

/// Only what has a speed can be slowed down.
fn check_slowed(scenario: &Scenario, problems: &mut Diagnostics) {
    for name in scenario.sensors.iter().flat_map(|sensor| &sensor.slows) {
        let entry = scenario.stations.iter().find(|entry| entry.id.value == name.value);
        if let Some(entry) = entry.filter(|entry| !entry.blueprint.has_speed()) {
            let message = format!("`{}` has no speed that could be lowered ({})", name.value, entry.word);
            let problem = Problem::new(code::BAD_CONNECTION, message);
            problems.error(
                &name.place,
                problem.expected("an orienting path, an elevator, a belt or a live track"),
            );
        }
    }
}

/// A content that the plan leaves out is a likely slip.
fn check_start(scenario: &Scenario, entry: &Entry, problems: &mut Diagnostics) {
    let stock = entry.blueprint.body(&scenario.kinds, &entry.id.value).and_then(|place| place.start());
    let unused = stock.is_some_and(|(_, n)| n > 0) && scenario.plan.start_of(&entry.id.value) == Start::Empty;
    if unused {
        let message = format!("the content of `{}` is not used: the plan starts empty", entry.id.value);
        let help = "set \"start\": \"primed\" in `plan`, or name this station in `start_at`";
        problems.warning(&entry.place, Problem::new(code::UNUSUAL_VALUE, message).help(help));
    }
    let own = scenario.plan.start_at.iter().find(|(name, _)| name.value == entry.id.value);
    if let Some((name, start)) = own
        && *start != Start::Empty
        && !has_a_start(scenario, entry, *start)
    {
        let message = format!("there is nothing with which `{}` could start", name.value);
        let help =
            "tracks with a capacity, bins with a `content`, and (`full`) stations that hand parts on can";
        problems.warning(&name.place, Problem::new(code::UNUSUAL_VALUE, message).help(help));
    }
}

/// Whether a station starts in another way than empty if that is asked for.
fn has_a_start(scenario: &Scenario, entry: &Entry, start: Start) -> bool {
    match entry.blueprint.body(&scenario.kinds, &entry.id.value) {
        Some(body) => {
            let fills = entry.blueprint.starts_full() && body.capacity() != UNLIMITED;
            fills || body.start().is_some_and(|(_, n)| n > 0)
        }
        None => start == Start::Full && !entry.blueprint.exits().is_empty(),
    }
}

fn check_stops(scenario: &Scenario, entry: &Entry, problems: &mut Diagnostics) {
    let keys: Vec<&str> = entry.blueprint.exits().iter().map(|exit| exit.key).collect();
    entry.stops.iter().for_each(|stop| check_moment(entry, stop, problems));
    let inner = entry.blueprint.inner_stops();
    for stop in entry.stops.iter().chain(inner.iter().map(|(stop, _)| stop)) {
        check_stop(scenario, stop, &keys, problems);
        if let Some(then) = stop.then.as_ref().filter(|_| !entry.blueprint.redirects_jammed_parts()) {
            let message = format!("a jammed part goes onward here ({}), once it is cleared", entry.word);
            let problem = Problem::new(code::BAD_CONNECTION, message);
            let help =
                "take `then` out; screens, selectors, gauges and orienting paths can send it another way";
            problems.error(&then.place, problem.help(help));
            continue;
        }
        if let Some(then) = stop.then.as_ref().filter(|_| stop.is_by_clock())
            && !entry.blueprint.clock_jams_hold_a_part()
        {
            let problem = Problem::new(code::BAD_CONNECTION, "a jam by a clock has hold of no part here");
            problems.error(&then.place, problem.help("take `then` out, or let it jam by part at a tool"));
        }
    }
}

/// A jam by part that could never strike is refused.
fn check_moment(entry: &Entry, stop: &StopSpec, problems: &mut Diagnostics) {
    if stop.is_by_clock() {
        return;
    }
    let (moments, why) = entry.blueprint.jam_moments();
    if !moments.contains(&stop.when) {
        let problem = Problem::new(code::BAD_CONNECTION, why);
        let words: Vec<String> =
            moments.iter().map(|when| format!("\"when\": \"{}\"", when.word())).collect();
        let expected = if words.is_empty() { "no jams by part here".to_owned() } else { words.join(" or ") };
        problems.error(&stop.place, problem.expected(expected));
    }
    if matches!(stop.cause, Cause::PerPartByCondition(_)) && !entry.blueprint.jams_by_condition() {
        let problem = Problem::new(code::BAD_CONNECTION, "it jams by the container, whatever is in it");
        problems.error(&stop.place, problem.expected("`per_part`: the chance for each container"));
    }
}

fn check_stop(scenario: &Scenario, stop: &StopSpec, exits: &[&str], problems: &mut Diagnostics) {
    if let Some(then) = &stop.then {
        must_be_one_of(then, "exit key of this station named", exits, problems);
    }
    if let Cause::PerPartByCondition(map) = &stop.cause {
        let all = scenario.kinds.iter().flat_map(|kind| kind.conditions.iter().map(String::as_str));
        let conditions: Vec<&str> = all.collect();
        map.iter().for_each(|(name, _)| must_be_one_of(name, "condition", &conditions, problems));
    }
}

/// Every station that takes is fed, every exit leads to somebody who takes, and something is a source.
fn check_connections(scenario: &Scenario, doubts: &Doubts, problems: &mut Diagnostics) {
    let entries = &scenario.stations;
    for (n, entry) in entries.iter().enumerate() {
        for exit in entry.blueprint.exits() {
            let Lead::Station(target) = lead_of(scenario, n, &exit.to) else { continue };
            let inlets = entries[target].blueprint.named_inlets();
            let is_known = |name: &Spanned<String>| entries.iter().any(|entry| entry.id.value == name.value);
            let are_known = doubts.knows_exits(&entries[target]) && inlets.iter().all(is_known);
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
    check_bins(scenario, problems);
    super::together::check(scenario, doubts, problems);
}

/// Stations that nothing feeds, and inlets whose station does not give to them.
fn check_feeders(scenario: &Scenario, doubts: &Doubts, problems: &mut Diagnostics) {
    let entries = &scenario.stations;
    let leads = |from: usize| -> Vec<Lead> {
        let exits = entries[from].blueprint.exits();
        exits.iter().map(|exit| lead_of(scenario, from, &exit.to)).collect()
    };
    let may_lead_anywhere =
        |from: usize| !doubts.knows_exits(&entries[from]) || leads(from).contains(&Lead::Unknown);
    let misspelt: Vec<String> = names_of_nobody(scenario);
    let anybody_may_be_fed =
        misspelt.iter().any(|name| !is_name(name)) || !entries.iter().all(Entry::is_read);
    let may_be_fed = |n: usize| {
        let id = entries[n].id.value.as_str();
        let is_meant = misspelt.iter().any(|name| nearest(name, [id]).is_some()) || doubts.may_name(id);
        let is_another = entries[..n].iter().any(|entry| entry.id.value == id);
        is_meant || is_another || anybody_may_be_fed || (n > 0 && may_lead_anywhere(n - 1))
    };
    let mut fed = vec![false; entries.len()];
    for (n, entry) in entries.iter().enumerate() {
        let targets = entry.blueprint.exits().into_iter().filter_map(|exit| target_of(scenario, n, &exit.to));
        targets.for_each(|target| fed[target] = true);
    }
    for (n, entry) in entries.iter().enumerate() {
        if entry.blueprint.takes() && !fed[n] && !entry.blueprint.is_stocked() && !may_be_fed(n) {
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
            let beyond = entry.blueprint.exits().first().map(|exit| lead_of(scenario, n, &exit.to));
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
    for name in &scenario.promise.at {
        if entries.iter().any(|entry| entry.id.value == name.value && has_body(entry)) {
            let message =
                format!("`{}` only holds parts; they are counted where a station hands them on", name.value);
            problems.error(
                &name.place,
                Problem::new(code::BAD_CONNECTION, message).help("name the station after it"),
            );
        }
    }
}

/// Who pours gives to a bin, and who lifts out of bulk takes from bins only.
fn check_bins(scenario: &Scenario, problems: &mut Diagnostics) {
    let entries = &scenario.stations;
    let body = |n: usize| entries[n].blueprint.body(&scenario.kinds, &entries[n].id.value);
    let is_bin = |n: usize| body(n).is_some_and(|place| place.counts().is_some());
    for (n, entry) in entries.iter().enumerate() {
        for (no, exit) in entry.blueprint.exits().iter().enumerate() {
            let lead = lead_of(scenario, n, &exit.to);
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

fn lead_of(scenario: &Scenario, from: usize, to: &To) -> Lead {
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
