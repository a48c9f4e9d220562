//! Where the rate is lost: the time account of each point of use, and the flow account of each path (ruling 7).

use super::super::outputs::{Count, Fate, Key, entry_of, sorts_out, went_on};
use super::super::result::{Figure, FlowReport, LossKind, LossReport, LossStep};
use super::super::run::Study;
use crate::balance::{Balance, BalanceResult};
use crate::kernel::{State, StationId};
use crate::measure::{Cause, Particular};
use crate::scenario::RunEnd;
use crate::stations::Station;

/// States of the point of use that cost it time, in the order of the account.
const OWN_STATES: [State; 11] = [
    State::Checking,
    State::Loading,
    State::Blocked,
    State::Held,
    State::JamAutomatic,
    State::JamWaiting,
    State::JamClearing,
    State::DownWaiting,
    State::DownRepair,
    State::Changeover,
    State::Off,
];

pub(super) fn losses(study: &Study<'_>) -> Vec<LossReport> {
    (0..study.plan.tally.points.len()).map(|point| loss(study, point)).collect()
}

/// A figure over the replications that account for causes, so that the steps add up.
fn first(study: &Study<'_>, key: Key) -> Figure {
    Figure::of(&study.moments_of_first(key), study.job.options.level)
}

fn loss(study: &Study<'_>, point: usize) -> LossReport {
    let post = study.plan.tally.points[point].ix();
    let free = free_rate(study, post);
    let mean = |key: Key| first(study, key).mean.unwrap_or(0.0);
    let step = |kind, state, what: String, share: Option<Figure>| LossStep {
        kind,
        state,
        station: None,
        station_state: None,
        by: None,
        what,
        per_minute: free.and_then(|free| Some(free * share.as_ref()?.mean?)),
        share,
    };
    let mut steps = Vec::new();
    if let Some(free) = free {
        let made = mean(Key::PointGood(point)) + mean(Key::PointBad(point));
        let variation = free * mean(Key::Share(post, State::Working)) - made;
        let what = "its own cycles, against the nominal one".to_owned();
        steps
            .push(LossStep { per_minute: Some(variation), ..step(LossKind::OwnVariation, None, what, None) });
    }
    for (cause, share) in starved(study, point, post) {
        let Named { station, station_state, by, what } = named(study, cause);
        let starved = step(LossKind::Starved, Some(State::Starved), what, Some(share));
        steps.push(LossStep { station, station_state, by, ..starved });
    }
    for state in OWN_STATES {
        let share = first(study, Key::Share(post, state));
        if share.mean.is_some_and(|mean| mean > 0.0) {
            let what = if state == State::Loading { "loading its nests" } else { state.word() };
            steps.push(step(LossKind::OwnState, Some(state), what.to_owned(), Some(share)));
        }
    }
    let bad = mean(Key::PointBad(point));
    if bad > 0.0 {
        let bad_parts = step(LossKind::BadParts, None, "bad parts".to_owned(), None);
        steps.push(LossStep { per_minute: free.map(|_| bad), ..bad_parts });
    }
    LossReport {
        station: study.plan.names.posts[post].clone(),
        free_per_minute: free,
        steps,
        good_per_minute: first(study, Key::PointGood(point)),
        replications: study.moments_of_first(Key::PointGood(point)).count(),
    }
}

/// Parts per minute of a station that never waits, at its mean cycle; none if it has no cycle of its own. Over a product
/// sequence it is that of one pass through all runs, changeovers left out.
fn free_rate(study: &Study<'_>, post: usize) -> Option<f64> {
    let scenario = study.job.scenario;
    let id = &scenario.stations[entry_of(&study.plan, post)?].id.value;
    let rate_in = |balance: &Balance| {
        let station = balance.stations.iter().find(|station| station.id == *id)?;
        let rate = station.free_per_min? / f64::from(station.count);
        rate.is_finite().then_some(rate)
    };
    let balances = BalanceResult::of(scenario).ok()?.balances;
    let Some(changeover) = &scenario.plan.changeover else { return rate_in(balances.first()?) };
    let (mut parts, mut minutes) = (0.0, 0.0);
    for run in &changeover.runs {
        let rate = rate_in(balances.iter().find(|one| one.run.as_ref() == Some(&run.part.value))?)?;
        let (made, taken) = match run.end {
            RunEnd::Good(good) => (good as f64, good as f64 / rate),
            RunEnd::After(seconds) => (seconds / 60.0 * rate, seconds / 60.0),
            RunEnd::Never => return Some(rate),
        };
        parts += made;
        minutes += taken;
    }
    (minutes > 0.0).then(|| parts / minutes)
}

/// Starved time by cause, largest first; all of it in one piece if causes were not asked for.
fn starved(study: &Study<'_>, point: usize, post: usize) -> Vec<(Option<Cause>, Figure)> {
    let setup = &study.plan.causes;
    let n = setup.n_causes();
    let Some(charges) = study.charges.get(point * n..(point + 1) * n) else {
        let share = first(study, Key::Share(post, State::Starved));
        return if share.mean.is_some_and(|mean| mean > 0.0) { vec![(None, share)] } else { Vec::new() };
    };
    let level = study.job.options.level;
    let figures =
        charges.iter().enumerate().map(|(ix, moments)| (Some(setup.cause(ix)), Figure::of(moments, level)));
    let mut found: Vec<_> = figures.filter(|(_, share)| share.mean.is_some_and(|mean| mean > 0.0)).collect();
    // The sort is stable: equal ones stay in order of stations.
    found.sort_by(|(_, a), (_, b)| b.mean.unwrap_or(0.0).total_cmp(&a.mean.unwrap_or(0.0)));
    found
}

/// A cause in words.
#[derive(Default)]
struct Named {
    station: Option<String>,
    station_state: Option<State>,
    by: Option<String>,
    what: String,
}

fn named(study: &Study<'_>, cause: Option<Cause>) -> Named {
    let only = |what: &str| Named { what: what.to_owned(), ..Named::default() };
    match cause {
        None => only("starved"),
        Some(Cause::Recirculating) => only("parts that only go round"),
        Some(Cause::FillingUp) => only("the line fills up at the start"),
        Some(Cause::At(station, state)) => {
            let name = &study.plan.names.posts[station.ix()];
            let is_hopper = matches!(study.plan.stations.get(station.ix()), Some(Station::Hopper(_)));
            let why = if is_hopper && state == State::Held {
                "closed for a swap"
            } else {
                instead_of_giving(state)
            };
            let what = format!("{name} {why}");
            Named { station: Some(name.clone()), station_state: Some(state), by: None, what }
        }
        Some(Cause::Because(number)) => {
            named_particular(study, study.plan.causes.particular[usize::from(number)])
        }
    }
}

fn named_particular(study: &Study<'_>, cause: Particular) -> Named {
    let names = &study.plan.names;
    let post = |post: StationId| names.posts[post.ix()].clone();
    let (station, station_state, by, why) = match cause {
        Particular::HeldBy { station, sensor } => (station, State::Held, Some(post(sensor)), "held by"),
        Particular::SlowedBy { station, sensor } => {
            (station, State::Working, Some(post(sensor)), "slowed down by")
        }
        Particular::Full(station) => (station, State::Blocked, None, "full until it is exchanged"),
        Particular::Reach { station, reach } => {
            let reach = names.reaches[usize::from(reach)].clone();
            (station, State::Held, Some(reach), "waiting for its turn in the reach")
        }
    };
    let by_what = by.as_ref().map_or(String::new(), |by| format!(" {by}"));
    let what = format!("{} {why}{by_what}", post(station));
    Named { station: Some(post(station)), station_state: Some(station_state), by, what }
}

/// What a station did when it gave nothing.
fn instead_of_giving(state: State) -> &'static str {
    match state {
        State::Working | State::Checking | State::Loading => "at its natural limit",
        State::JamAutomatic => "jammed, clearing itself",
        State::JamWaiting => "jammed, waiting for somebody",
        State::JamClearing => "jammed, being cleared",
        State::DownWaiting => "down, waiting for somebody",
        State::DownRepair => "down, under repair",
        State::Changeover => "in changeover",
        State::Off => "off",
        State::Blocked => "blocked",
        State::Held => "held",
        State::Starved => "had nothing to give",
    }
}

pub(super) fn flows(study: &Study<'_>) -> Vec<FlowReport> {
    let (plan, scenario) = (&study.plan, study.job.scenario);
    let sorting = study.outputs.stations.iter().copied().filter(|&post| sorts_out(scenario, plan, post));
    sorting
        .map(|post| FlowReport {
            station: plan.names.posts[post].clone(),
            offered_per_hour: study.figure(Key::PerHour(post, Count::Taken)),
            by_attitude_per_hour: study.figure(Key::Lost(post, Fate::ByAttitude)),
            by_defect_per_hour: study.figure(Key::Lost(post, Fate::ByDefect)),
            overflow_per_hour: study.figure(Key::Lost(post, Fate::Overflow)),
            accepted_per_hour: study.figure(went_on(scenario, plan, post)),
        })
        .collect()
}
