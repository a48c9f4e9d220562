//! The plan of a run-off as a rule: slices of a run in, passed or not out.

use crate::measure::Slice;
use crate::scenario::{MostBad, RunOffSpec};

/// Nanoseconds of a minute.
const MINUTE_NS: f64 = 6e10;
/// Rounding by which a rate that is exactly the least one may lie below it.
const ROUNDING: f64 = 1e-9;

/// Limits of a run-off.
#[derive(Debug, Clone, PartialEq)]
pub struct Plan {
    /// Least good parts per minute.
    pub least_rate: Option<f64>,
    /// Whether uncounted time is taken out of the rate.
    pub net: bool,
    /// Most jams.
    pub most_jams: Option<u64>,
    /// Most bad parts.
    pub most_bad: Option<MostBad>,
    /// Most stops.
    pub most_stops: Option<u64>,
    /// Tries after a failure.
    pub retries: u64,
}

/// Which limits a run kept; true for limits that there are not.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Judged {
    /// The rate.
    pub rate: bool,
    /// The jams.
    pub jams: bool,
    /// The bad parts.
    pub bad: bool,
    /// The stops.
    pub stops: bool,
}

impl Judged {
    /// Whether all were kept.
    pub fn passed(self) -> bool {
        self.jams && self.but_for_jams()
    }

    /// Whether all but the limit of jams were kept.
    pub fn but_for_jams(self) -> bool {
        self.rate && self.bad && self.stops
    }
}

impl Plan {
    /// The limits that a scenario states.
    pub fn of(spec: &RunOffSpec) -> Self {
        Plan {
            least_rate: spec.least_rate.map(|per_s| 60.0 * per_s),
            net: spec.net,
            most_jams: spec.most_jams,
            most_bad: spec.most_bad,
            most_stops: spec.most_stops,
            retries: spec.retries,
        }
    }

    /// Good parts per minute of a run of `length_ns`.
    pub fn rate(&self, run: &Slice, length_ns: u64) -> f64 {
        let uncounted = if self.net { run.uncounted } else { 0 };
        let counted = length_ns.saturating_sub(uncounted);
        if counted == 0 { 0.0 } else { run.good as f64 * MINUTE_NS / counted as f64 }
    }

    /// Judges a run, its slices added up.
    pub fn judge(&self, run: &Slice, length_ns: u64) -> Judged {
        let bad = match self.most_bad {
            None => true,
            Some(MostBad::Count(most)) => run.bad <= most,
            Some(MostBad::Share(most)) => {
                run.bad as f64 <= most * (run.good + run.bad) as f64 * (1.0 + ROUNDING)
            }
        };
        Judged {
            rate: self.least_rate.is_none_or(|least| self.rate(run, length_ns) >= least * (1.0 - ROUNDING)),
            jams: self.most_jams.is_none_or(|most| run.jams <= most),
            bad,
            stops: self.most_stops.is_none_or(|most| run.stops <= most),
        }
    }

    /// Chance to pass with the retries of the plan, each a new run, from the chance of one run.
    pub fn with_retries(&self, once: f64) -> f64 {
        1.0 - (0..=self.retries).fold(1.0, |fails, _| fails * (1.0 - once))
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn every_limit_is_judged_by_itself() {
        let plan = Plan {
            least_rate: Some(10.0),
            net: true,
            most_jams: Some(2),
            most_bad: Some(MostBad::Share(0.1)),
            most_stops: Some(3),
            retries: 1,
        };
        let minutes = |n: u64| n * 60_000_000_000;
        let run = Slice { good: 90, bad: 10, jams: 2, stops: 3, starved: 0, uncounted: minutes(1) };
        // 90 parts in ten minutes of which one does not count.
        let judged = plan.judge(&run, minutes(10));
        assert!(judged.passed(), "{judged:?}: each limit is just kept");
        let one_more = |run: Slice| plan.judge(&run, minutes(10));
        assert!(!one_more(Slice { good: 89, bad: 9, ..run }).rate);
        assert!(
            !one_more(Slice { jams: 3, ..run }).jams && one_more(Slice { jams: 3, ..run }).but_for_jams()
        );
        assert!(!one_more(Slice { bad: 11, ..run }).bad);
        assert!(!one_more(Slice { stops: 4, ..run }).stops);
        assert!((plan.with_retries(0.6) - 0.84).abs() < 1e-15);
    }
}
