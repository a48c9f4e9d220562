//! Runs one scenario in several ways and says which claim it breaks, if any.
//!
//! | claim | where it comes from |
//! |---|---|
//! | parts made = parts gone + parts put together + parts inside, at every step | promise 2 |
//! | the states of every station, attendant and sensor add up to the window, in whole ns | promise 3 |
//! | the causes of starvation add up to the starved time of each point of use, in whole ns | ruling 8 |
//! | the same bytes for a second run, and for a run in small steps | promise 1 |
//! | every run ends, a knot is found and never moves again, nothing blocked is left without a knot | promise 5 |
//! | written anew, the text is the same scenario and gives the same bytes | see [`crate::round_trip`] |
//! | order, capacities, holds, breaks, stops | see [`crate::watch`] |
//! | nobody sleeps: no starved station has a part before it, no blocked one room behind it | ruling 2 |

use crate::luck::Luck;
use crate::round_trip::{content, rewritten};
use crate::watch::{Broken, Watch, entry_of};
use serde_json::Value;
use sim_core::balance;
use sim_core::kernel::{Exit, PlaceId, State, StationId};
use sim_core::measure::{Causes, Tally};
use sim_core::network::{Owner, Plan, compile};
use sim_core::part::{Nanos, TIME_LIMIT};
use sim_core::replication::{Replica, Stop};
use std::panic::{AssertUnwindSafe, catch_unwind};

/// How a trial is run.
#[derive(Clone, Copy, Debug)]
pub struct Limits {
    /// Most timed events of a run; more ends it early.
    pub events: u64,
    /// Longest simulated time, ns.
    pub time: Nanos,
    /// Steps of the run that is stopped and looked at in between.
    pub steps: usize,
    /// Whether the line may go round without end in no time: where times may be zero.
    pub may_loop: bool,
}

/// What came of a scenario.
#[derive(Clone, Debug, PartialEq, Eq)]
pub enum Verdict {
    /// The reader refused it.
    Refused,
    /// It ran; timed events, and whether a knot was found.
    Ran {
        /// Timed events.
        events: u64,
        /// Parts that left the line.
        left: u64,
        /// Whether a knot was found.
        knotted: bool,
        /// Whether it used up its events or went round without end in no time.
        cut: bool,
    },
}

type Watched<'a> = Replica<'a, ((Tally, Causes), Watch)>;

fn broken(claim: &'static str, found: impl Into<String>) -> Broken {
    Broken { claim, found: found.into() }
}

/// Judges a scenario text; `seed` draws the replication and the steps.
///
/// # Errors
/// The claim that was broken.
pub fn judge(text: &str, seed: u64, limits: Limits) -> Result<Verdict, Broken> {
    let result = catch_unwind(AssertUnwindSafe(|| judge_or_panic(text, seed, limits)));
    result.unwrap_or_else(|panic| {
        let text = panic.downcast_ref::<String>().cloned();
        let text = text.or_else(|| panic.downcast_ref::<&str>().map(|text| (*text).to_owned()));
        Err(broken("nothing panics", text.unwrap_or_default()))
    })
}

fn judge_or_panic(text: &str, seed: u64, limits: Limits) -> Result<Verdict, Broken> {
    let checked = balance::read(text);
    let again = balance::read(text);
    if checked.problems != again.problems {
        return Err(broken("the same text gives the same problems", format!("{:?}", checked.problems)));
    }
    let Some(scenario) = checked.scenario else {
        let has_error = checked.problems.iter().any(|p| p.severity == sim_core::diag::Severity::Error);
        return if has_error { Ok(Verdict::Refused) } else { Err(broken("a refusal says why", "no error")) };
    };
    let plan = compile(&scenario);
    let file: Value =
        serde_json::from_str(text).map_err(|e| broken("what is read is JSON", e.to_string()))?;
    let first = run(&plan, &file, seed, limits, 1)?;
    if limits.steps > 1 {
        let anew = rewritten(text).ok_or_else(|| broken("what is read is JSON", ""))?;
        let Some(again) = balance::read(&anew).scenario else {
            return Err(broken("a text written anew is accepted", anew));
        };
        same(&content(&scenario), &content(&again), "a text written anew is the same scenario")?;
        let other_plan = compile(&again);
        same(
            &first.1,
            &run(&other_plan, &file, seed, limits, 1)?.1,
            "the same seed gives the same bytes, whatever the layout",
        )?;
        let stepped = run(&plan, &file, seed, limits, limits.steps)?;
        same(&first.1, &stepped.1, "small steps give the same bytes as one run")?;
    }
    Ok(first.0)
}

fn same(a: &str, b: &str, claim: &'static str) -> Result<(), Broken> {
    let Some(at) = a.bytes().zip(b.bytes()).position(|(x, y)| x != y).or((a.len() != b.len()).then_some(0))
    else {
        return Ok(());
    };
    let shown = |text: &str| text.chars().skip(at.saturating_sub(60)).take(160).collect::<String>();
    Err(broken(claim, format!("at byte {at}: ...{}... against ...{}...", shown(a), shown(b))))
}

/// One run in so many steps: what came of it, and everything that was measured as text.
fn run(
    plan: &Plan,
    file: &Value,
    seed: u64,
    limits: Limits,
    steps: usize,
) -> Result<(Verdict, String), Broken> {
    let measures = (Tally::new(&plan.tally), Causes::new(&plan.causes));
    let observer = (measures, Watch::new(plan, file));
    let mut replica = Replica::new(plan, seed, 0, observer);
    replica.events_max = plan.events_max.min(limits.events);
    let close = plan.close_ns.min(limits.time);
    let open = plan.open_ns.min(close);
    let mut stops = Vec::new();
    let mut luck = Luck::new(seed ^ 0xABCD);
    let mut ends: Vec<Nanos> = (1..steps).map(|_| luck.bits() % (close + 1)).chain([open, close]).collect();
    ends.sort_unstable();
    let mut cut = false;
    for end in ends {
        if end == 0 && open == 0 {
            continue;
        }
        cut = cut || !advance(&mut replica, end, &mut stops);
        if let Some(Stop::InstantLoop { at, stations }) = stops.last()
            && !limits.may_loop
        {
            let names: Vec<&String> = stations.iter().map(|s| &plan.names.posts[s.ix()]).collect();
            return Err(broken("nothing goes round without end in no time", format!("{names:?} at {at} ns")));
        }
        check_step(&mut replica, file, cut)?;
        if end == open && open > 0 && replica.floor.observer.0.0.window == 0 {
            let now = replica.floor.now;
            replica.floor.observer.0.0.open(now);
            replica.floor.observer.0.1.open(now);
            replica.floor.observer.1.open(now);
        }
    }
    let window = replica.floor.now - replica.floor.observer.1.opened();
    check_end(&mut replica, window, cut)?;
    let knotted = stops.iter().any(|stop| matches!(stop, Stop::Gridlock { .. }));
    if !cut && !knotted {
        check_dead(&replica, file)?;
    }
    let events = replica.n_events;
    let tally = &replica.floor.observer.0.0;
    let text = format!("{:?} {events} {stops:?} {tally:?}", replica.floor.flow());
    Ok((Verdict::Ran { events, left: replica.floor.flow().1, knotted, cut }, text))
}

/// Runs until `end`; false if the run is cut short.
fn advance(replica: &mut Watched<'_>, end: Nanos, stops: &mut Vec<Stop>) -> bool {
    loop {
        let stop = replica.run_until(end);
        match &stop {
            Stop::TimeReached => return true,
            Stop::Gridlock { stations, .. } => {
                replica.floor.observer.1.knot(stations);
                stops.push(stop);
                if stops.len() > 100 {
                    return false;
                }
            }
            Stop::InstantLoop { .. } | Stop::TooManyEvents { .. } | Stop::TooManyWaiting { .. } => {
                stops.push(stop);
                return false;
            }
        }
    }
}

fn check_step(replica: &mut Watched<'_>, file: &Value, cut: bool) -> Result<(), Broken> {
    if let Some(broken) = replica.floor.observer.1.broken.clone() {
        return Err(broken);
    }
    if !replica.conserves_parts() && !cut {
        let (created, left, absorbed) = replica.floor.flow();
        let (inside, now) = (replica.n_inside(), replica.floor.now);
        let found =
            format!("{created} made, {left} gone, {absorbed} put together, {inside} inside at {now} ns");
        return Err(broken("no part is lost or made twice", found));
    }
    for ix in 0..replica.floor.n_places() {
        let place = replica.floor.place(PlaceId(ix as u16));
        let (told, real) = (replica.floor.observer.1.level_of(ix), place.len());
        if told != real {
            return Err(broken(
                "the content told is the content",
                format!("place {ix}: {told} told, {real} there"),
            ));
        }
    }
    if cut { Ok(()) } else { check_awake(replica, file) }
}

/// Nobody sleeps: whoever waits has reason to.
fn check_awake(replica: &Watched<'_>, file: &Value) -> Result<(), Broken> {
    for ix in 0..replica.stations.len() {
        let me = StationId(ix as u16);
        let now = replica.floor.now;
        let name = &replica.plan().names.posts[ix];
        if replica.plan().links.bodies[ix].is_some() {
            continue;
        }
        match replica.floor.state(me) {
            State::Starved if takes_any(replica.plan(), file, ix) => {
                for place in &replica.plan().links.inlets[ix] {
                    let here = replica.floor.place(*place).head_due().is_some_and(|due| due <= now);
                    if here {
                        let from = &replica.plan().names.places[place.ix()];
                        let found = format!("`{name}` is starved at {now} ns, a part waits on `{from}`");
                        return Err(broken("no starved station has a part before it", found));
                    }
                }
            }
            State::Blocked if !waits_for_one_turn(replica.plan(), file, ix) => {
                let exits = &replica.plan().links.exits[ix];
                let open = exits.iter().find(|exit| match exit {
                    Exit::Leave => true,
                    Exit::Store(place) => {
                        replica.floor.has_room(me, *place) && !is_reserved(replica, file, me, *place)
                    }
                    Exit::Hand(place) => replica.floor.place(*place).is_empty() && exits.len() == 1,
                });
                if let Some(exit) = open {
                    let found = format!("`{name}` is blocked at {now} ns, and {exit:?} is open");
                    return Err(broken("no blocked station has room behind it", found));
                }
            }
            _ => {}
        }
    }
    Ok(())
}

/// Whether the room in a place is not to be had: the belt stands, or somebody before wants more of it.
fn is_reserved(replica: &Watched<'_>, file: &Value, me: StationId, place: PlaceId) -> bool {
    let plan = replica.plan();
    let carrier = plan.links.bodies.iter().position(|body| *body == Some(place));
    let stands = carrier.is_some_and(|ix| replica.floor.stands(StationId(ix as u16)));
    let wants_more = |other: &&StationId| {
        **other != me
            && entry_of(plan, file, other.ix()).is_some_and(|e| {
                let together = matches!(e["type"].as_str(), Some("row pusher" | "magazine"));
                together || e["release"].as_u64().unwrap_or(1) > 1
            })
    };
    stands || replica.floor.place(place).waiting().iter().any(|other| wants_more(&other))
}

/// Whether a station takes as soon as one part is before it.
fn takes_any(plan: &Plan, file: &Value, ix: usize) -> bool {
    let Some(entry) = entry_of(plan, file, ix) else { return true };
    match entry["type"].as_str() {
        Some("work" | "divider" | "screen" | "selector" | "gauge") => true,
        Some("orienting path") => entry.get("pass").is_some(),
        // A machine that also reads empty nests looks again after the re-check time.
        Some("machine") => entry.get("inlets").is_none() && entry["check"]["reads_unloaded"] != true,
        Some("escapement") => entry["release"].as_u64().unwrap_or(1) == 1,
        _ => false,
    }
}

/// Whether a blocked station may have room behind it: it waits for one exit, or for more room than one part's.
fn waits_for_one_turn(plan: &Plan, file: &Value, ix: usize) -> bool {
    let Some(entry) = entry_of(plan, file, ix) else { return false };
    match entry["type"].as_str() {
        Some("divider") => {
            let one = ["ratio", "recipe", "recipes", "move"].iter().any(|key| entry.get(key).is_some());
            entry["strict"] == true || entry["rule"] == "by call" || one
        }
        Some("escapement") => entry["release"].as_u64().unwrap_or(1) > 1,
        Some("work" | "stream" | "machine") => false,
        _ => true,
    }
}

fn check_end(replica: &mut Watched<'_>, window: Nanos, cut: bool) -> Result<(), Broken> {
    let now = replica.floor.now;
    let ((tally, causes), watch) = &mut replica.floor.observer;
    tally.close(now);
    causes.close(now);
    let own = watch.close(now);
    let plan_names = watch_names(replica);
    let tally = &replica.floor.observer.0.0;
    for (ix, (told, own)) in tally.time.iter().zip(&own).enumerate() {
        let sum: Nanos = told.iter().sum();
        if sum != window {
            let found = format!("`{}`: {sum} ns of {window} ns", plan_names[ix]);
            return Err(broken("the states of a station add up to the window", found));
        }
        if told != own {
            let found = format!("`{}`: {told:?} in the tally, {own:?} by the watcher", plan_names[ix]);
            return Err(broken("the tally agrees with what was told", found));
        }
    }
    for (ix, levels) in tally.levels.iter().enumerate() {
        let sum = levels.charged();
        if sum != window {
            return Err(broken(
                "the levels of a place add up to the window",
                format!("place {ix}: {sum} of {window}"),
            ));
        }
    }
    check_causes(replica)?;
    check_missing(replica, cut)
}

/// Every starved nanosecond of a point of use has its cause, and only one.
fn check_causes(replica: &Watched<'_>) -> Result<(), Broken> {
    let (tally, causes) = &replica.floor.observer.0;
    for (number, point) in replica.plan().tally.points.iter().enumerate() {
        let charged: Nanos = causes.charges(number).iter().sum();
        let starved = tally.time[point.ix()][State::Starved as usize];
        if charged != starved {
            let found = format!("point {number}: {charged} of {starved} ns");
            return Err(broken("every starved second has its cause", found));
        }
    }
    Ok(())
}

fn watch_names(replica: &Watched<'_>) -> Vec<String> {
    replica.plan().names.posts.clone()
}

/// The starved time of a machine is split over its inlets without a rest.
fn check_missing(replica: &Watched<'_>, cut: bool) -> Result<(), Broken> {
    let tally = &replica.floor.observer.0.0;
    for &(machine, _) in &replica.plan().tally.inlets {
        let split: Nanos = tally.missing_of(machine).iter().sum();
        let starved = tally.time[machine.ix()][State::Starved as usize];
        if split != starved && !cut {
            let name = &replica.plan().names.posts[machine.ix()];
            let found = format!("`{name}`: {starved} ns starved, {split} ns split over its inlets");
            return Err(broken("starved time is split over the inlets that lack parts", found));
        }
    }
    Ok(())
}

fn is_anyone_off(replica: &Watched<'_>) -> bool {
    (0..replica.floor.n_posts()).any(|ix| replica.floor.state(StationId(ix as u16)) == State::Off)
}

/// Where no knot was found, a blocked station has something to wait for.
fn check_dead(replica: &Watched<'_>, file: &Value) -> Result<(), Broken> {
    let plan = replica.plan();
    let mut floor = replica.floor.clone();
    while let Some((_, timer)) = floor.calendar.next_until(TIME_LIMIT - 2) {
        let opens = match plan.owners[usize::from(timer.0)] {
            Owner::Breaks(_) => is_anyone_off(replica),
            Owner::Trouble(_) => false,
            Owner::Station { .. } | Owner::Stop(_) | Owner::Attendant { .. } | Owner::Sensor(_) => true,
            Owner::Change => true,
        };
        if opens {
            return Ok(());
        }
    }
    // A part is on its way to the end of a belt.
    let now = replica.floor.now;
    let mut places = (0..replica.floor.n_places()).map(|ix| replica.floor.place(PlaceId(ix as u16)));
    if places.any(|place| place.counts().is_none() && place.head_due().is_some_and(|due| due > now)) {
        return Ok(());
    }
    // A stop whose end lies beyond the limit of simulated time has no timer, and is no knot.
    if (0..replica.stations.len()).any(|ix| replica.floor.stands(StationId(ix as u16))) {
        return Ok(());
    }
    // Who waits for parts out of a bin that has run dry waits for nobody.
    let ran_dry = plan.links.bodies.iter().flatten().any(|body| {
        let place = replica.floor.place(*body);
        place.counts().is_some() && place.is_empty() && plan.links.feeders[body.ix()].is_empty()
    });
    if ran_dry {
        return Ok(());
    }
    let is_dumper = |ix: usize| {
        entry_of(plan, file, ix)
            .is_some_and(|entry| entry["type"] == "dumper" || entry["type"] == "filling by hand")
    };
    let blocked = (0..replica.stations.len()).find(|&ix| {
        plan.links.bodies[ix].is_none()
            && !is_dumper(ix)
            && replica.floor.state(StationId(ix as u16)) == State::Blocked
    });
    match blocked {
        Some(ix) => Err(broken(
            "a line in which nothing can move any more is found",
            format!("`{}` is blocked, and no timer is pending", plan.names.posts[ix]),
        )),
        None => Ok(()),
    }
}
