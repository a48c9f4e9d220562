//! Finding a warm-up: MSER-5 on good parts per minute, averaged over the first replications, then frozen.
//!
//! Only for plans that ask for it; a shift that starts empty is otherwise measured whole. Invariant: what is found
//! depends on plan, seed and the fixed number of replications alone.

use super::crew::Crew;
use super::run::RunError;
use super::shift::{Course, minutes_of_shift};
use crate::network::Plan;
use crate::statistics::warm_up::mser_5;

/// Replications from which a warm-up is found.
pub(super) const REPLICATIONS: u64 = 20;

/// A warm-up that was found.
#[derive(Debug)]
pub(super) struct Found {
    /// Minutes to leave out: at most half of the shift.
    pub(super) minutes: u64,
    /// Whether the rate had settled before the limit.
    pub(super) settled: bool,
    /// Good parts in each minute, mean over the replications.
    pub(super) per_minute: Vec<f64>,
}

/// Finds the warm-up of a plan; none if it was cancelled.
pub(super) fn find<C: Crew>(
    plan: &Plan,
    seed: u64,
    crew: &C,
    cancelled: &(dyn Fn() -> bool + Sync),
) -> Result<Option<Found>, RunError> {
    let mut desks = vec![(); crew.size()];
    let mut sheets: Vec<(u64, Vec<u64>, Course)> =
        (0..REPLICATIONS).map(|number| (number, Vec::new(), Course::default())).collect();
    let done = crew.fill(&mut desks, &mut sheets, cancelled, &|(), sheet: &mut (u64, Vec<u64>, Course)| {
        (sheet.1, sheet.2) = minutes_of_shift(plan, seed, sheet.0);
    });
    if (done as u64) < REPLICATIONS {
        return Ok(None);
    }
    let mut total: Vec<u64> = Vec::new();
    for (_, good, course) in &mut sheets {
        if let Some(fault) = course.fault.take() {
            return Err(fault);
        }
        total.resize(good.len(), 0);
        total.iter_mut().zip(good.iter()).for_each(|(sum, good)| *sum += *good);
    }
    let per_minute: Vec<f64> = total.iter().map(|sum| *sum as f64 / REPLICATIONS as f64).collect();
    let found = mser_5(&per_minute).map_err(RunError::NoWarmUp)?;
    Ok(Some(Found { minutes: found.removed, settled: !found.at_limit, per_minute }))
}
