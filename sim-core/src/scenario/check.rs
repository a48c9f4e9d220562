//! Checks between the parts of a scenario: names, references, starts, stops; connections have a file of their own.

use super::connections::is_point_of_use;
use super::{Doubts, OUT, Scenario, Start, connections, is_reserved};
use crate::diag::{Diagnostics, Problem, code};
use crate::kernel::{State, UNLIMITED};
use crate::stations::blueprint::To;
use crate::stations::catalogue::Entry;
use crate::stations::lots::LotLuck;
use crate::terms::kind::{Kind, must_be_one_of};
use crate::terms::stops::{Cause, StopSpec};
use crate::text::forms::Spanned;
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
    super::levels::check(scenario, doubts, problems);
    check_net(scenario, problems);
    super::batches::check(scenario, doubts, problems);
    if let Some(changeover) = &scenario.plan.changeover {
        let brings = |entry: &Entry| entry.blueprint.brings(&scenario.kinds);
        let brought: Vec<u8> = scenario.stations.iter().filter_map(brings).collect();
        let knows_sources = scenario.stations.iter().all(|entry| doubts.knows_source(entry, scenario));
        let lists = ["stations", "plan.changeover.runs"];
        let knows_lists = !lists.iter().any(|key| doubts.has_unread_entries(key));
        let brought = (knows_sources && knows_lists).then_some(brought);
        changeover.check(&scenario.kinds, brought.as_deref(), problems);
    }
    super::size::check(scenario, problems);
    connections::check(scenario, doubts, problems);
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
        let first = all[..n].iter().find(|first| first.value == id.value && !id.value.is_empty());
        if let Some(first) = first {
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
        let lists: &[&str] = match what {
            "station" => &["stations"],
            "pool of attendants" => &["attendants"],
            _ => &["stations", "attendants"],
        };
        // Where one of the known names could not be read, that may be the one; but not for what is near to another.
        let is_open = lists.iter().any(|list| doubts.has_unread_entries(list)) || known.contains(&"");
        let known: Vec<&str> = known.iter().copied().filter(|name| !name.is_empty()).collect();
        let may_be_another = is_open && nearest(&name.value, known.iter().copied()).is_none();
        if !doubts.may_name(&name.value) && !may_be_another {
            must_be_one_of(name, what, &known, problems);
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
        if let Some(entry) = entry.filter(|entry| entry.is_read() && !entry.blueprint.has_speed()) {
            let message = format!("`{}` has no speed that could be lowered ({})", name.value, entry.word);
            let problem = Problem::new(code::BAD_CONNECTION, message);
            problems.error(
                &name.place,
                problem.expected("an orienting path, an elevator, a belt or a live track"),
            );
        }
    }
}

/// Good parts count in a net rate whenever they come out (ruling 6): where the point of use goes on in the time that is left
/// out, it seems faster than it can be.
fn check_net(scenario: &Scenario, problems: &mut Diagnostics) {
    for pick in &scenario.promise.net_of {
        let at = scenario.stations.iter().position(|entry| entry.id.value == pick.station.value);
        let Some(n) = at.filter(|n| scenario.stations[*n].is_read()) else { continue };
        let name = &pick.station.value;
        let goes_on = if !is_point_of_use(scenario, n) {
            format!(
                "the point of use may go on while `{name}` is in a state that is left out of the net rate"
            )
        } else if pick.states.contains(&State::Working) {
            format!("time in which `{name}` is working is left out of the net rate")
        } else {
            continue;
        };
        let message = format!("{goes_on}; its parts count then, and their time does not");
        let help = "name states of the point of use in which it makes nothing, or leave `net_of` out";
        problems.warning(&pick.station.place, Problem::new(code::UNUSUAL_VALUE, message).help(help));
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

#[cfg(test)]
mod tests {
    use crate::scenario::read;

    fn warnings(watches: &str, high: &str) -> Vec<String> {
        let checked = read(&format!(
            r#"{{"feedproof": 1, "stations": [
            {{"id": "F", "type": "work", "endless": true, "time": "1 s"}},
            {{"id": "T", "type": "track", "capacity": 40, "travel": "1 s"}},
            {{"id": "U", "type": "track", "capacity": 10, "travel": "1 s"}},
            {{"id": "M", "type": "machine", "cycle": "2 s", "to": "out"}}],
            "sensors": [{{"id": "eye", "watches": {watches}, "high": {high}, "low": 1, "holds": ["F"]}}]}}"#
        ));
        assert!(checked.scenario.is_some(), "{:?}", checked.problems);
        checked.problems.into_iter().map(|problem| problem.message).collect()
    }

    #[test]
    fn a_level_that_is_never_reached_is_told() {
        let told = warnings(r#""T""#, "41");
        assert!(
            told.len() == 1 && told[0].contains("looks for 41 parts, and `T` holds 40 at most"),
            "{told:?}"
        );
        let told = warnings(r#"["T", "U"]"#, "51");
        assert!(told[0].contains("`T` and `U` hold 50 at most together"), "{told:?}");
        assert_eq!(warnings(r#""T""#, "40"), [""; 0]);
        assert_eq!(warnings(r#"["T", "U"]"#, "50"), [""; 0]);
    }
}
