//! The course of a shift: rate and contents over its time, as they spread over replications.
//!
//! A few shifts of a study, the first ones, are run once more with other observers, so that a study without pictures
//! pays nothing for them. Flat memory: the number of shifts and of steps is bounded. Invariant: these are the same
//! shifts as those of the study with this seed.

use super::crew::Crew;
use super::run::RunError;
use super::shift::{Course, course_of_shift, seconds};
use crate::kernel::UNLIMITED;
use crate::network::Plan;
use crate::part::{Nanos, SECOND};
use crate::statistics::order::percentile_point;
use schemars::JsonSchema;
use serde::Serialize;

/// Most shifts of a profile.
pub const PROFILE_SHIFTS: u64 = 60;
/// Steps into which a shift is divided, about.
const STEPS: u64 = 160;

/// The course of a shift over its time.
#[derive(Debug, Clone, PartialEq, Serialize, JsonSchema)]
pub struct Profile {
    /// Shifts behind it, the first ones of the study.
    pub replications: u64,
    /// Length of a step, s.
    pub step_s: f64,
    /// Good parts a minute in each step: mean over the shifts.
    pub mean_rate: Vec<f64>,
    /// The same rate as it spreads over the shifts.
    pub rate: Band,
    /// Contents at the end of each step, place by place.
    pub places: Vec<PlaceProfile>,
}

/// How something spreads over shifts, step by step: percentiles by definition 7 of Hyndman & Fan (1996).
#[derive(Debug, Clone, Default, PartialEq, Serialize, JsonSchema)]
pub struct Band {
    /// A tenth of the shifts lies below.
    pub p10: Vec<f64>,
    /// Half of the shifts.
    pub p50: Vec<f64>,
    /// Nine tenths of the shifts.
    pub p90: Vec<f64>,
}

/// The content of a place over the shift.
#[derive(Debug, Clone, PartialEq, Serialize, JsonSchema)]
pub struct PlaceProfile {
    /// Its name.
    pub name: String,
    /// Parts that it holds; none if it has no limit.
    pub capacity: Option<u32>,
    /// Parts in it.
    pub content: Band,
}

/// What one shift leaves behind.
#[derive(Debug, Default)]
struct Sheet {
    number: u64,
    good: Vec<u64>,
    contents: Vec<u32>,
    course: Course,
}

/// The profile of the first `shifts` (at most [`PROFILE_SHIFTS`]) of a study with this seed; none if it was cancelled
/// or there is nothing to show.
///
/// # Errors
/// A shift that cannot be run; one that the study has run can.
pub fn profile<C: Crew>(
    plan: &Plan,
    seed: u64,
    shifts: u64,
    crew: &C,
    cancelled: &(dyn Fn() -> bool + Sync),
) -> Result<Option<Profile>, RunError> {
    let step = step_of(plan.close_ns);
    in_steps(plan, seed, shifts, step, plan.close_ns / step, crew, cancelled)
}

/// Steps to the end of the warm-up, and how many times its length is shown.
const WARM_UP_STEPS: u64 = 20;
const WARM_UPS_SHOWN: u64 = 4;

/// The beginning of the same shifts in finer steps, so that a person can judge where the warm-up was cut; none if the
/// profile shows it as well, which is so where the warm-up is an eighth of the shift or longer, or if there is none.
///
/// # Errors
/// As [`profile`].
pub fn profile_of_start<C: Crew>(
    plan: &Plan,
    seed: u64,
    shifts: u64,
    warm_up_s: f64,
    crew: &C,
    cancelled: &(dyn Fn() -> bool + Sync),
) -> Result<Option<Profile>, RunError> {
    let warm_up = (warm_up_s * SECOND as f64) as Nanos;
    if warm_up == 0 || warm_up >= plan.close_ns / 8 {
        return Ok(None);
    }
    let step = warm_up.div_ceil(WARM_UP_STEPS).div_ceil(SECOND).max(1) * SECOND;
    in_steps(plan, seed, shifts, step, (WARM_UPS_SHOWN * warm_up).div_ceil(step), crew, cancelled)
}

/// The first `n_steps` steps of the first shifts.
fn in_steps<C: Crew>(
    plan: &Plan,
    seed: u64,
    shifts: u64,
    step: Nanos,
    n_steps: u64,
    crew: &C,
    cancelled: &(dyn Fn() -> bool + Sync),
) -> Result<Option<Profile>, RunError> {
    let n_steps = n_steps.min(plan.close_ns / step) as usize;
    let n = shifts.min(PROFILE_SHIFTS);
    let mut sheets: Vec<Sheet> = (0..n).map(|number| Sheet { number, ..Sheet::default() }).collect();
    let mut desks = vec![(); crew.size()];
    let done = crew.fill(&mut desks, &mut sheets, cancelled, &|(), sheet: &mut Sheet| {
        (sheet.good, sheet.contents, sheet.course) = course_of_shift(plan, seed, sheet.number, step);
    });
    if (done as u64) < n || n == 0 || n_steps == 0 {
        return Ok(None);
    }
    if let Some(fault) = sheets.iter_mut().find_map(|sheet| sheet.course.fault.take()) {
        return Err(fault);
    }
    let per_minute = |good: u64| good as f64 * (60 * SECOND) as f64 / step as f64;
    let n_places = plan.names.places.len();
    let mean = |at: usize| sheets.iter().map(|sheet| per_minute(sheet.good[at])).sum::<f64>() / n as f64;
    let place = |place: usize| PlaceProfile {
        name: plan.names.places[place].clone(),
        capacity: plan.tally.capacities.get(place).copied().filter(|capacity| *capacity != UNLIMITED),
        content: band(n_steps, &sheets, |sheet, at| f64::from(sheet.contents[at * n_places + place])),
    };
    Ok(Some(Profile {
        replications: n,
        step_s: seconds(step),
        mean_rate: (0..n_steps).map(mean).collect(),
        rate: band(n_steps, &sheets, |sheet, at| per_minute(sheet.good[at])),
        places: (0..n_places).map(place).collect(),
    }))
}

/// Length of a step, ns: whole minutes for a shift of some hours, else whole seconds.
fn step_of(length: Nanos) -> Nanos {
    let unit = if length >= STEPS * 60 * SECOND { 60 * SECOND } else { SECOND };
    length.div_ceil(STEPS).div_ceil(unit).max(1) * unit
}

fn band(n_steps: usize, sheets: &[Sheet], value: impl Fn(&Sheet, usize) -> f64) -> Band {
    let mut band = Band::default();
    for at in 0..n_steps {
        let mut values: Vec<f64> = sheets.iter().map(|sheet| value(sheet, at)).collect();
        values.sort_by(f64::total_cmp);
        let of = |share| percentile_point(&values, share).unwrap_or(f64::NAN);
        band.p10.push(of(0.1));
        band.p50.push(of(0.5));
        band.p90.push(of(0.9));
    }
    band
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::study::Alone;
    use crate::{network, scenario};

    /// A source that never runs out and a machine of one second without luck: 60 a minute from the second minute on.
    #[test]
    fn the_course_of_a_line_without_luck_is_known() {
        let text = r#"{ "feedproof": 1, "stations": [
            { "id": "a", "type": "stream", "spacing": "0.5 s", "to": "t" },
            { "id": "t", "type": "track", "capacity": 10, "travel": "2 s" },
            { "id": "m", "type": "machine", "cycle": "1 s", "to": "out" } ],
            "plan": { "shift": "1 h", "start": "empty" } }"#;
        let checked = scenario::read(text);
        let Some(scenario) = checked.scenario else { panic!("{:?}", checked.problems) };
        let plan = network::compile(&scenario);
        let profile = profile(&plan, 1, 3, &Alone, &|| false).unwrap().unwrap();
        assert_eq!((profile.replications, profile.step_s, profile.mean_rate.len()), (3, 23.0, 156));
        assert!(profile.mean_rate[1..].iter().all(|rate| *rate == 60.0), "{:?}", profile.mean_rate);
        assert_eq!(profile.rate.p10, profile.rate.p90);
        let track = profile.places.iter().find(|place| place.name == "t").unwrap();
        assert_eq!(track.capacity, Some(10));
        assert_eq!(track.content.p50[100], 10.0);
        // A warm-up of a minute: in steps of 3 s to the fourth minute, and full from the third step on.
        let start = profile_of_start(&plan, 1, 3, 60.0, &Alone, &|| false).unwrap().unwrap();
        assert_eq!((start.step_s, start.mean_rate.len()), (3.0, 80));
        assert!(start.mean_rate[0] < 60.0 && start.mean_rate[2..].iter().all(|rate| *rate == 60.0));
        assert_eq!(profile_of_start(&plan, 1, 3, 0.0, &Alone, &|| false).unwrap(), None);
        assert_eq!(profile_of_start(&plan, 1, 3, 600.0, &Alone, &|| false).unwrap(), None);
    }
}
