//! One shift: a replication run from its start to the close of its window.
//!
//! A gridlock does not end it: whatever is not part of the knot goes on, the knot stays, and the window is closed at
//! its time, so that the shift counts in full. Invariant: parts are conserved, or there is a fault.

use super::knot::Knot;
use super::run::RunError;
use crate::kernel::{Observer, StationId};
use crate::measure::{Film, LevelCourse, Measure, PerMinute, Slice, Slices};
use crate::network::Plan;
use crate::part::{Nanos, SECOND};
use crate::replication::{Replica, Stop};

/// What there is to say of a shift apart from its numbers.
#[derive(Debug, Default)]
pub(super) struct Course {
    /// Timed events.
    pub(super) events: u64,
    /// The first gridlock.
    pub(super) knot: Option<Box<Knot>>,
    /// What made it worthless.
    pub(super) fault: Option<RunError>,
}

/// Seconds of a time in ns.
pub(super) fn seconds(time: Nanos) -> f64 {
    time as f64 / SECOND as f64
}

/// Runs a shift and hands back its measure, which was made for the plan; it is made as good as new first.
pub(super) fn measure_shift<M: Measure>(plan: &Plan, seed: u64, number: u64, measure: M) -> (M, Course) {
    if plan.outfit.is_near() {
        let (near, course) = see_shift(plan, seed, number, measure.near());
        (M::from_near(near), course)
    } else {
        see_shift(plan, seed, number, measure)
    }
}

fn see_shift<M: Measure>(plan: &Plan, seed: u64, number: u64, mut measure: M) -> (M, Course) {
    measure.restart();
    let mut replica = Replica::new(plan, seed, number, measure);
    let mut course = Course::default();
    if plan.open_ns > 0 && run_on(&mut replica, plan, number, plan.open_ns, &mut course) {
        replica.floor.observer.open(plan.open_ns);
        tell_ahead(&mut replica, 1.0);
    }
    if course.fault.is_none() && run_on(&mut replica, plan, number, plan.close_ns, &mut course) {
        tell_ahead(&mut replica, -1.0);
        replica.floor.observer.close(plan.close_ns);
        if !replica.conserves_parts() {
            course.fault = Some(RunError::PartsNotConserved { replication: number });
        }
    }
    course.events = replica.n_events;
    (replica.floor.observer, course)
}

/// Tells who hears of draws of what lies ahead at an edge of the window.
fn tell_ahead<M: Measure>(replica: &mut Replica<'_, M>, times: f64) {
    if M::HEARS_DRAWS {
        replica.floor.tell_ahead(times);
    }
}

/// Films a shift until `end`.
pub(super) fn film_shift(
    plan: &Plan,
    seed: u64,
    number: u64,
    end: Nanos,
    film: Film,
) -> Result<Film, RunError> {
    let mut replica = Replica::new(plan, seed, number, film);
    let mut course = Course::default();
    run_on(&mut replica, plan, number, end, &mut course);
    course.fault.map_or(Ok(replica.floor.observer), Err)
}

/// Cuts a shift into slices until `end`.
pub(super) fn slice_shift(
    plan: &Plan,
    seed: u64,
    number: u64,
    end: Nanos,
    slices: Slices,
) -> Result<Vec<Slice>, RunError> {
    let mut replica = Replica::new(plan, seed, number, slices);
    let mut course = Course::default();
    run_on(&mut replica, plan, number, end, &mut course);
    course.fault.map_or_else(|| Ok(replica.floor.observer.finish()), Err)
}

/// Good parts per minute of a whole shift.
pub(super) fn minutes_of_shift(plan: &Plan, seed: u64, number: u64) -> (Vec<u64>, Course) {
    let mut replica = Replica::new(plan, seed, number, PerMinute::new(&plan.tally, plan.close_ns));
    let mut course = Course::default();
    run_on(&mut replica, plan, number, plan.close_ns, &mut course);
    (replica.floor.observer.good, course)
}

/// Good parts in each step (ns) of a whole shift, and the contents of all places at the end of each.
pub(super) fn course_of_shift(
    plan: &Plan,
    seed: u64,
    number: u64,
    step: Nanos,
) -> (Vec<u64>, Vec<u32>, Course) {
    let good = PerMinute::in_steps(&plan.tally, plan.close_ns, step);
    let levels = LevelCourse::new(plan.names.places.len(), step);
    let mut replica = Replica::new(plan, seed, number, (good, levels));
    let mut course = Course::default();
    run_on(&mut replica, plan, number, plan.close_ns, &mut course);
    let (good, mut levels) = replica.floor.observer;
    levels.close(plan.close_ns);
    (good.good, levels.contents, course)
}

/// Runs until `end`, past any gridlock. False if there was a fault.
fn run_on<O: Observer>(
    replica: &mut Replica<'_, O>,
    plan: &Plan,
    replication: u64,
    end: Nanos,
    course: &mut Course,
) -> bool {
    replica.events_max = plan.events_max;
    let fault = loop {
        match replica.run_until(end) {
            Stop::TimeReached => return true,
            Stop::Gridlock { at, stations } => {
                if course.knot.is_none() {
                    course.knot = Some(Box::new(Knot::of(replica, at, &stations)));
                }
            }
            Stop::InstantLoop { at, stations } => {
                let stations = stations.into_iter().map(|station| name_of(plan, station)).collect();
                break RunError::InstantLoop { replication, at_s: seconds(at), stations };
            }
            Stop::TooManyWaiting { at, station } => {
                let station = name_of(plan, station);
                break RunError::TooManyWaiting { replication, at_s: seconds(at), station };
            }
            Stop::TooManyEvents { at, stations } => {
                break RunError::TooManyEvents {
                    stations: stations.into_iter().map(|station| name_of(plan, station)).collect(),
                    replication,
                    at_s: seconds(at),
                    events_max: plan.events_max,
                };
            }
        }
    };
    course.fault = Some(fault);
    false
}

/// Name of a station.
pub(super) fn name_of(plan: &Plan, station: StationId) -> String {
    plan.names.posts[station.ix()].clone()
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::measure::Tally;
    use crate::{network, scenario};

    const LINES: &[&str] = &[
        include_str!("../../../scenarios/starter.json"),
        include_str!("../../../scenarios/knob-two-paths.json"),
        include_str!("../../../scenarios/reference/ref12.json"),
        include_str!("../../../scenarios/reference/tandem.json"),
    ];

    #[test]
    fn a_near_line_gives_the_same_tally_when_things_are_looked_up_as_in_a_large_line() {
        for text in LINES {
            let checked = scenario::read(text);
            let Some(scenario) = checked.scenario else { panic!("{:?}", checked.problems) };
            let mut plan = network::compile(&scenario);
            plan.close_ns = plan.open_ns + 2 * 3600 * SECOND;
            assert!(plan.outfit.is_near());
            let tally = Tally::new(&plan.tally);
            let (near, course) = see_shift(&plan, 1, 0, tally.clone().near());
            let (far, other) = see_shift(&plan, 1, 0, tally);
            assert_eq!(course.events, other.events);
            assert_eq!(format!("{:?}", near.0), format!("{far:?}"));
        }
    }
}
