//! The smallest plan that holds both risks.
//!
//! For each length, from the shortest on, the least number of jams with which the producer's risk is held; the first length at
//! which the consumer's risk is held too is the answer. Where other limits alone break the producer's risk no number of
//! jams helps and the length is passed over. Everything is counted on runs of the greatest length, cut shorter.

use super::Plan;
use crate::measure::Slice;

/// Runs of a line at one level, each as its slices from the start.
#[derive(Debug, Clone, Default)]
pub struct Side {
    /// Of each run.
    pub runs: Vec<Vec<Slice>>,
}

/// What was found.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Found {
    /// Slices.
    pub n: usize,
    /// Most jams, if the plan limits them.
    pub most_jams: Option<u64>,
    /// Runs of the good line that passed once.
    pub good_passed: u64,
    /// Runs of the bad line that passed once.
    pub bad_passed: u64,
}

impl Side {
    /// Jams of the runs that keep all other limits over the first `n` slices, in rising order.
    fn jams(&self, plan: &Plan, n: usize, slice_ns: u64) -> Vec<u64> {
        let sum = |run: &Vec<Slice>| run[..n].iter().fold(Slice::default(), |sum, slice| sum.plus(slice));
        let length = slice_ns * n as u64;
        let kept = self.runs.iter().map(sum).filter(|run| plan.judge(run, length).but_for_jams());
        let mut jams: Vec<u64> = kept.map(|run| run.jams).collect();
        jams.sort_unstable();
        jams
    }
}

/// Runs with at most so many jams.
fn passed(jams: &[u64], most: Option<u64>) -> u64 {
    most.map_or(jams.len(), |most| jams.partition_point(|n| *n <= most)) as u64
}

/// The smallest plan: `producer` and `consumer` are the most risks, retries of the plan included. None if no length of the
/// runs holds both.
pub fn smallest(
    plan: &Plan,
    good: &Side,
    bad: &Side,
    slice_ns: u64,
    producer: f64,
    consumer: f64,
) -> Option<Found> {
    let lengths = good.runs.first().map_or(0, Vec::len).min(bad.runs.first().map_or(0, Vec::len));
    let share = |n: u64, side: &Side| plan.with_retries(n as f64 / side.runs.len() as f64);
    (1..=lengths).find_map(|n| {
        let (of_good, of_bad) = (good.jams(plan, n, slice_ns), bad.jams(plan, n, slice_ns));
        let holds = |most: Option<u64>| share(passed(&of_good, most), good) >= 1.0 - producer;
        let most_jams = match plan.most_jams {
            None => holds(None).then_some(None),
            // Only numbers of jams that occurred make a difference; none at all is the least.
            Some(_) => std::iter::once(0).chain(of_good.iter().copied()).map(Some).find(|most| holds(*most)),
        }?;
        let bad_passed = passed(&of_bad, most_jams);
        (share(bad_passed, bad) <= consumer).then(|| Found {
            n,
            most_jams,
            good_passed: passed(&of_good, most_jams),
            bad_passed,
        })
    })
}
