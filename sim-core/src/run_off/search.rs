//! The smallest plan that holds both risks.
//!
//! For each length, from the shortest on, the least number of jams with which the producer's risk is held; the first length at
//! which the consumer's risk is held too is the answer. Where other limits alone break the producer's risk no number of
//! jams helps and the length is passed over. Everything is counted on runs of the greatest length, cut shorter.

use super::Plan;
use crate::measure::Slice;
use crate::statistics::CannotSay;
use crate::statistics::proportion::{lower_limit, upper_limit};

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

/// Most risk of each side, and how surely it has to be held.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Held {
    /// Most chance that the good line fails, retries included.
    pub producer: f64,
    /// Most chance that the bad line passes, retries included.
    pub consumer: f64,
    /// Chance that the plan breaks one of them all the same; none: the shares seen are taken for the risks.
    pub error: Option<f64>,
    /// Lengths among which the error is shared: all that may be looked at, also those that the runs do not reach.
    pub lengths: u64,
}

/// The smallest plan that holds both risks; none if no length of the runs does.
///
/// With an error, one-sided limits of the chances to pass (Clopper & Pearson 1934) take the place of the shares seen, and the
/// error is shared by both sides and all lengths (Bonferroni). Which number of jams is chosen needs no share of its own: the
/// more are allowed the more runs pass, so that at one length the producer's risk is believed held for some number that breaks
/// it only if that is so for the greatest such number, and the consumer's only if for the least.
///
/// # Errors
/// If there are no runs.
pub fn smallest(
    plan: &Plan,
    good: &Side,
    bad: &Side,
    slice_ns: u64,
    held: &Held,
) -> Result<Option<Found>, CannotSay> {
    let lengths = good.runs.first().map_or(0, Vec::len).min(bad.runs.first().map_or(0, Vec::len));
    let (n_good, n_bad) = (good.runs.len() as u64, bad.runs.len() as u64);
    let error = held.error.map(|error| error / (2 * held.lengths.max(lengths as u64).max(1)) as f64);
    let least = |passed: u64| match error {
        None => Ok(passed as f64 / n_good as f64),
        Some(error) => lower_limit(passed, n_good, error),
    };
    let most = |passed: u64| match error {
        None => Ok(passed as f64 / n_bad as f64),
        Some(error) => upper_limit(passed, n_bad, error),
    };
    for n in 1..=lengths {
        let (of_good, of_bad) = (good.jams(plan, n, slice_ns), bad.jams(plan, n, slice_ns));
        // Only numbers of jams that occurred make a difference; none at all is the least.
        let tried: Vec<Option<u64>> = match plan.most_jams {
            None => vec![None],
            Some(_) => std::iter::once(0).chain(of_good.iter().copied()).map(Some).collect(),
        };
        let mut chosen = None;
        for most_jams in tried {
            if plan.with_retries(least(passed(&of_good, most_jams))?) >= 1.0 - held.producer {
                chosen = Some(most_jams);
                break;
            }
        }
        let Some(most_jams) = chosen else { continue };
        let bad_passed = passed(&of_bad, most_jams);
        if plan.with_retries(most(bad_passed)?) <= held.consumer {
            return Ok(Some(Found { n, most_jams, good_passed: passed(&of_good, most_jams), bad_passed }));
        }
    }
    Ok(None)
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::kernel::Stream;

    /// Poisson draws by counting exponential gaps.
    fn poisson(mean: f64, luck: &mut Stream) -> u64 {
        let (mut n, mut at) = (0, -libm::log(luck.open_unit()));
        while at < mean {
            n += 1;
            at -= libm::log(luck.open_unit());
        }
        n
    }

    fn poisson_at_most(c: u64, mean: f64) -> f64 {
        let mut term = libm::exp(-mean);
        let mut sum = term;
        for k in 1..=c {
            term *= mean / k as f64;
            sum += term;
        }
        sum
    }

    fn side(per_slice: f64, runs: u64, luck: &mut Stream) -> Side {
        let slice = |luck: &mut Stream| Slice { jams: poisson(per_slice, luck), ..Slice::default() };
        Side { runs: (0..runs).map(|_| (0..16).map(|_| slice(luck)).collect()).collect() }
    }

    /// A Poisson jam counter of which the risks of a plan are sums of the Poisson law. Over 300 seeds the plan that goes by the
    /// shares seen breaks a risk more often than that, the sure one in 5 % at most: more than 35 of 300 would come with a chance of 1e-5
    /// (binomial) if it did so in just 5 %.
    #[test]
    fn a_sure_plan_holds_its_risks() {
        let plan = Plan {
            least_rate: None,
            net: false,
            most_jams: Some(0),
            most_bad: None,
            most_stops: None,
            retries: 0,
        };
        let (mut broken, mut surely_broken, mut longer) = (0, 0, 0);
        for seed in 0..300 {
            let mut luck = Stream::new(seed, 0, "test", "plans");
            let (good, bad) = (side(0.25, 400, &mut luck), side(1.25, 400, &mut luck));
            let held = Held { producer: 0.05, consumer: 0.10, error: None, lengths: 16 };
            let of = |held: &Held| smallest(&plan, &good, &bad, 1, held).unwrap();
            let breaks = |found: &Found| {
                let (mean, most) = (0.25 * found.n as f64, found.most_jams.unwrap());
                1.0 - poisson_at_most(most, mean) > 0.05 || poisson_at_most(most, 5.0 * mean) > 0.10
            };
            let (seen, sure) = (of(&held).unwrap(), of(&Held { error: Some(0.05), ..held }));
            broken += u64::from(breaks(&seen));
            surely_broken += u64::from(sure.is_some_and(|found| breaks(&found)));
            longer += u64::from(sure.is_some_and(|found| found.n > seen.n));
        }
        assert!(broken > 35 && longer > 200, "{broken} broken, {longer} longer");
        assert!(surely_broken <= 35, "{surely_broken} of 300");
    }
}
