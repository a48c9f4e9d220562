//! A calm line, simulated for long, beside its balance.
//!
//! | claim | where it comes from |
//! |---|---|
//! | no more good parts come to the points of use than the balance says are possible at most | ruling 27 |
//! | with room enough, as much is delivered as it says | ruling 27 |
//! | no station handles more than it may at most | its doc comment |
//! | at the rate that is delivered, the flow of every station lies within the bounds of the balance | ruling 27 |
//!
//! Allowed on top, and derived: parts that are in the line when the window opens, or in containers that stand ready, can
//! come to the point of use in the window without having been made in it, and so can one part for each place that makes
//! one just then; parts that are in it when the window closes can have passed the point of use without being held up by
//! what is beyond. And chance: a rate seen is the mean of some
//! shifts, with its standard error. What looks like too much in a few shifts is looked at again in many shifts of another
//! seed; the claim is broken if it is too much by `ERRORS` standard errors there.

use crate::calm::calm;
use crate::watch::Broken;
use serde_json::{Value, json};
use sim_core::balance::{self, Balance, StationBalance};
use sim_core::measure::Tally;
use sim_core::network::{Plan, compile};
use sim_core::part::Nanos;
use sim_core::replication::{Replica, Stop};
use sim_core::scenario;
use std::panic::{AssertUnwindSafe, catch_unwind};

/// Shifts of the first look, and of the second.
const SHIFTS: [u64; 2] = [3, 24];
/// Standard errors, by Student's t with 23 degrees of freedom exceeded with a chance of 2e-7.
const ERRORS: f64 = 7.0;
/// Standard errors that send a line to the second look.
const DOUBT: f64 = 2.0;
/// Share by which sums differ in the last digits.
const ROUNDING: f64 = 1e-7;
/// Share that waiting may take in a line with room enough: set beforehand. Of two equal stations with exponential times and
/// room for n between them, 1 / (n + 3) is lost (Hunt 1956); n = 200 here, and a line has a few.
const WAITING: f64 = 0.02;
/// Warm-up and window, ns.
const OPEN: Nanos = 1_800_000_000_000;
const WINDOW: Nanos = 7_200_000_000_000;

/// What came of a line.
#[derive(Clone, Copy, Debug, PartialEq)]
pub enum Steady {
    /// The reader refused it.
    Refused,
    /// The balance does not know the most.
    NotKnown,
    /// The balance says that nothing limits it.
    Unlimited,
    /// It ran into a knot, or used up its events before the window opened.
    Stuck,
    /// It ran.
    Ran {
        /// Good parts a minute, simulated.
        rate: f64,
        /// At least and at most so many by the balance.
        most: (f64, f64),
        /// Allowed on top for what was in the line when the window opened.
        edge: f64,
        /// What the balance says of the flows of its stations.
        known: Known,
    },
}

/// How well the balance knows the flows through the stations of a line: how many each way.
#[derive(Clone, Copy, Debug, PartialEq, Default)]
pub struct Known {
    /// As one number.
    pub exact: usize,
    /// Between bounds.
    pub between: usize,
    /// Without a highest one, or not at all.
    pub open: usize,
}

impl Known {
    fn of(balance: &Balance) -> Known {
        let mut known = Known::default();
        for station in &balance.stations {
            match station.bounds_per_min {
                Some((low, high)) if high <= low * (1.0 + 1e-6) + 1e-9 => known.exact += 1,
                Some(_) => known.between += 1,
                None => known.open += 1,
            }
        }
        known
    }
}

/// What was counted in one window.
struct Shift {
    /// Good parts at the points of use.
    good: u64,
    /// Parts that left each station of the file, or, where parts end, that it took.
    handled: Vec<u64>,
    minutes: f64,
    /// Parts that were in the line when it opened or when it closed.
    edge: u64,
    /// Parts by which the content of the line has grown.
    grown: u64,
}

/// The text of a line made calm, with a promise of a rate at one station (or where the file says).
pub fn calmed(mut file: Value, at: Option<&str>) -> String {
    calm(&mut file);
    file["plan"]["shift"] = json!("150 min");
    if let Some(plan) = file["plan"].as_object_mut() {
        ["warm_up", "events_at_most"].iter().for_each(|key| drop(plan.shift_remove(*key)));
    }
    if let Some(at) = at {
        file["promise"] = json!({"at": at, "clauses": {"mean_rate": "1 /min"}});
    }
    file.to_string()
}

/// Judges a calm line.
///
/// # Errors
/// The claim that was broken.
pub fn judge(text: &str, seed: u64, events: u64) -> Result<Steady, Broken> {
    quietly(text, seed, events, false)
}

/// Judges a calm line with room enough, which also delivers as much as the balance says, but for what waiting takes.
///
/// # Errors
/// The claim that was broken.
pub fn judge_roomy(text: &str, seed: u64, events: u64) -> Result<Steady, Broken> {
    quietly(text, seed, events, true)
}

fn quietly(text: &str, seed: u64, events: u64, has_room: bool) -> Result<Steady, Broken> {
    let result = catch_unwind(AssertUnwindSafe(|| judge_or_panic(text, seed, events, has_room)));
    result.unwrap_or_else(|panic| {
        let text = panic.downcast_ref::<String>().cloned();
        let text = text.or_else(|| panic.downcast_ref::<&str>().map(|text| (*text).to_owned()));
        Err(Broken { claim: "nothing panics", found: text.unwrap_or_default() })
    })
}

fn judge_or_panic(text: &str, seed: u64, events: u64, has_room: bool) -> Result<Steady, Broken> {
    let Some(scenario) = scenario::read(text).scenario else { return Ok(Steady::Refused) };
    let Ok(balance) = balance::solve(&scenario) else { return Ok(Steady::Refused) };
    if balance.most_is_unknown {
        return Ok(Steady::NotKnown);
    }
    let Some(most) = balance.most_bounds_per_min else { return Ok(Steady::Unlimited) };
    let plan = compile(&scenario);
    let file: Value = serde_json::from_str(text).unwrap_or_default();
    if has_room && !is_roomy(&file) {
        return Ok(Steady::Refused);
    }
    let ready = containers(&file) + places(&file);
    let mut found = Steady::Stuck;
    for (look, shifts) in SHIFTS.into_iter().enumerate() {
        let seed = seed ^ (look as u64) << 40;
        let seen: Option<Vec<Shift>> = (0..shifts).map(|n| shift(&plan, seed, n, events)).collect();
        let Some(seen) = seen else { return Ok(Steady::Stuck) };
        let rate = Seen::of(seen.iter().map(|shift| shift.good as f64 / shift.minutes));
        let edge = Seen::of(seen.iter().map(|shift| (shift.edge as f64 + ready) / shift.minutes)).mean;
        found = Steady::Ran { rate: rate.mean, most, edge, known: Known::of(&balance) };
        let errors = [DOUBT, ERRORS][look];
        let mut broken = too_much(rate, most.1, edge, errors);
        if has_room {
            let grown = Seen::of(seen.iter().map(|shift| shift.grown as f64 / shift.minutes)).mean;
            broken = broken.or_else(|| too_little(rate, most.0 - grown, errors));
        }
        for (entry, station) in balance.stations.iter().enumerate() {
            let flow = Seen::of(seen.iter().map(|shift| shift.handled[entry] as f64 / shift.minutes));
            broken = broken.or_else(|| above_rated(&file["stations"][entry], station, flow, edge, errors));
        }
        if rate.mean > 0.0 && broken.is_none() {
            broken = out_of_bounds(&file, &seen, rate, edge, errors);
        }
        match broken {
            None => return Ok(found),
            Some(broken) if look == 1 => return Err(broken),
            Some(_) => {}
        }
    }
    Ok(found)
}

/// Whether a track or belt for many parts lies before every station but those that bring parts, and those that take
/// from a bin.
fn is_roomy(file: &Value) -> bool {
    let stations: Vec<&Value> = file["stations"].as_array().into_iter().flatten().collect();
    let is_body =
        |s: &Value| s["capacity"].as_u64().is_some_and(|capacity| capacity >= 100) || s["type"] == "bin";
    let named = |name: &Value| name == "out" || stations.iter().any(|s| s["id"] == *name && is_body(s));
    let leads_to_room = |(n, station): (usize, &&Value)| {
        let next = station.get("to").map_or_else(|| stations.get(n + 1).is_none_or(|s| is_body(s)), named);
        let exits = station["exits"].as_array();
        let rejects = station.get("rejects_to").is_none_or(named);
        is_body(station) || (rejects && exits.map_or(next, |exits| exits.iter().all(named)))
    };
    stations.iter().enumerate().all(leads_to_room)
}

/// A rate as seen in some shifts, 1/min.
#[derive(Clone, Copy)]
struct Seen {
    mean: f64,
    error: f64,
}

impl Seen {
    fn of(values: impl Iterator<Item = f64>) -> Seen {
        let values: Vec<f64> = values.collect();
        let n = values.len() as f64;
        let mean = values.iter().sum::<f64>() / n;
        let variance = values.iter().map(|value| (value - mean) * (value - mean)).sum::<f64>() / (n - 1.0);
        Seen { mean, error: (variance / n).sqrt() }
    }
}

fn too_much(rate: Seen, most: f64, edge: f64, errors: f64) -> Option<Broken> {
    let Seen { mean, error } = rate;
    (mean > most * (1.0 + ROUNDING) + edge + errors * error).then(|| Broken {
        claim: "no more is delivered than the balance says is possible",
        found: format!(
            "{mean:.4} +/- {error:.5} a minute simulated, {most:.4} by the balance, {edge:.4} of the edge"
        ),
    })
}

fn too_little(rate: Seen, least: f64, errors: f64) -> Option<Broken> {
    let Seen { mean, error } = rate;
    (mean < least * (1.0 - WAITING) - errors * error).then(|| Broken {
        claim: "with room enough as much is delivered as the balance says",
        found: format!("{mean:.4} +/- {error:.5} a minute simulated, {least:.4} by the balance"),
    })
}

/// A station that handles more than it may at most. Not asked of those whose rate hangs on what comes: on the mix of the
/// parts, on how many come together, on where a divider stands, on whose turn it is when its
/// clock runs out.
fn above_rated(file: &Value, station: &StationBalance, flow: Seen, edge: f64, errors: f64) -> Option<Broken> {
    let is_plain = match file["type"].as_str() {
        Some("divider") => file.get("move").is_none(),
        Some("selector") => file.get("shuttle").is_none() && file.get("time_with_turn").is_none(),
        Some("machine") => {
            !file["inlets"].as_array().into_iter().flatten().any(|inlet| inlet["parts"] == "the batch")
        }
        Some("orienting path") => file.get("lengths").is_none(),
        Some("escapement") => file["strokes"] != "on a clock" || file["in_turn"] != true,
        _ => true,
    };
    let rated = station.capacity_at_most_per_min.filter(|_| is_plain)?;
    let Seen { mean, error } = flow;
    (mean > rated * (1.0 + ROUNDING) + edge + errors * error).then(|| Broken {
        claim: "no station handles more than it may at most",
        found: format!(
            "`{}`: {mean:.4} +/- {error:.5} a minute, at most {rated:.4}, {edge:.4} of the edge",
            station.id
        ),
    })
}

/// A flow that is out of the bounds which the balance gives at the rate that was simulated.
fn out_of_bounds(file: &Value, seen: &[Shift], rate: Seen, edge: f64, errors: f64) -> Option<Broken> {
    let at = |rate: f64| {
        let mut file = file.clone();
        file["promise"]["clauses"] = json!({"mean_rate": format!("{} /min", rate.max(1e-3))});
        balance::solve(&scenario::read(&file.to_string()).scenario?).ok()
    };
    // Within what chance and the edges of the window do to the rate.
    let near = errors * rate.error + edge;
    // Highest flows are concave in the rate and lowest ones convex: the extremes may lie between.
    let (fewer, same, more) = (at(rate.mean - near)?, at(rate.mean)?, at(rate.mean + near)?);
    let mut sources = more.stations.iter().filter_map(|station| station.supply.as_ref());
    if sources.any(|supply| supply.is_driven) {
        // The balance is about what streams bring, not about what is delivered.
        return None;
    }
    for (entry, station) in same.stations.iter().enumerate() {
        let flow = Seen::of(seen.iter().map(|shift| shift.handled[entry] as f64 / shift.minutes));
        let of = |balance: &Balance| balance.stations[entry].bounds_per_min;
        let bounds = [of(&fewer), of(&same), of(&more)];
        let [Some(of_fewer), Some(of_same), Some(of_more)] = bounds else { continue };
        if flow.mean <= 0.0 {
            continue;
        }
        // Where others are served before, they get less if more is delivered.
        let low = of_fewer.0.min(of_same.0).min(of_more.0);
        let high = of_fewer.1.max(of_same.1).max(of_more.1);
        let each = (flow.mean / rate.mean).max(1.0);
        let slack = errors * flow.error + edge * each;
        if flow.mean > high * (1.0 + ROUNDING) + slack || flow.mean < low * (1.0 - ROUNDING) - slack {
            let Seen { mean, error } = flow;
            return Some(Broken {
                claim: "flows lie within the bounds of the balance at the rate that is delivered",
                found: format!(
                    "`{}`: {mean:.4} +/- {error:.5} a minute, bounds {low:.4} to {high:.4} at {:.4} +/- {:.5}, {edge:.4} of the edge",
                    station.id, rate.mean, rate.error
                ),
            });
        }
    }
    None
}

/// Parts in containers that can stand ready when the window opens.
fn containers(file: &Value) -> f64 {
    let number = |value: &Value, usual: f64| {
        let mean = value["mean"].as_f64().or(value["trials"].as_f64()).or(value["high"].as_f64());
        value.as_f64().or(mean).unwrap_or(usual)
    };
    let of = |station: &Value| match station["type"].as_str() {
        Some("dumper") => {
            number(&station["contents"], 200.0) * (number(&station["waiting_places"], 1.0) + 1.0)
        }
        Some("filling by hand") => number(&station["amount"], 600.0),
        Some("hopper") => {
            let refill = &station["refill"];
            number(&refill["parts"], 60.0) * (number(&refill["spares"], 0.0) + 1.0)
        }
        _ => 0.0,
    };
    file["stations"].as_array().into_iter().flatten().map(of).sum()
}

/// Places of all stations: a part that is made when the window opens is in none of them yet.
fn places(file: &Value) -> f64 {
    let number = |value: &Value| value.as_f64().unwrap_or(1.0);
    let of = |station: &Value| number(&station["count"]) * number(&station["places"]);
    file["stations"].as_array().into_iter().flatten().map(of).sum()
}

fn shift(plan: &Plan, seed: u64, replication: u64, events: u64) -> Option<Shift> {
    let mut replica = Replica::new(plan, seed, replication, Tally::new(&plan.tally));
    replica.events_max = events;
    if replica.run_until(OPEN) != Stop::TimeReached {
        return None;
    }
    replica.floor.observer.open(OPEN);
    let inside = replica.n_inside();
    match replica.run_until(OPEN + WINDOW) {
        Stop::TimeReached | Stop::TooManyEvents { .. } => {}
        Stop::Gridlock { .. } | Stop::InstantLoop { .. } | Stop::TooManyWaiting { .. } => return None,
    }
    let now = replica.floor.now;
    replica.floor.observer.close(now);
    let tally = &replica.floor.observer;
    let good = tally.points.iter().map(|point| point.good).sum();
    let n = plan.names.entries.iter().flatten().max().map_or(0, |entry| entry + 1);
    let (mut handled, mut took) = (vec![0; n], vec![0; n]);
    for (post, entry) in plan.names.entries.iter().enumerate() {
        if let Some(entry) = *entry {
            handled[entry] += tally.counts[post].exits.iter().sum::<u64>();
            took[entry] += tally.counts[post].took;
        }
    }
    let ends = handled.iter_mut().zip(took).filter(|(handled, _)| **handled == 0);
    ends.for_each(|(handled, took)| *handled = took);
    let edge = inside + replica.n_inside();
    let grown = replica.n_inside().saturating_sub(inside);
    (tally.window > 0).then(|| Shift { good, handled, minutes: tally.window as f64 / 6e10, edge, grown })
}
