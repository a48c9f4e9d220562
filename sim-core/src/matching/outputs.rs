//! What is compared: a few numbers that sum up a series of intervals.

use crate::measure::Slice;
use schemars::JsonSchema;
use serde::Serialize;

/// One interval of a log.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Interval {
    /// Good parts per minute.
    pub rate: f64,
    /// Jams, if the log has them.
    pub jams: Option<f64>,
    /// Share of the time that the point of use was starved, if the log has it.
    pub starved: Option<f64>,
}

impl Interval {
    /// Of a simulated slice of `length_ns`, with `n_points` points of use.
    pub fn of(slice: &Slice, length_ns: u64, n_points: usize) -> Self {
        Interval {
            rate: slice.good as f64 * 6e10 / length_ns as f64,
            jams: Some(slice.jams as f64),
            starved: Some(slice.starved as f64 / (length_ns as f64 * n_points.max(1) as f64)),
        }
    }
}

/// An output that is compared.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, JsonSchema)]
#[serde(rename_all = "snake_case")]
pub enum Sight {
    /// Mean rate, good parts per minute.
    MeanRate,
    /// Standard deviation of the rate between intervals.
    RateSpread,
    /// Jams in an hour.
    JamsPerHour,
    /// Good parts per minute that an interval loses for each jam in it: slope of the rate over jams.
    LostPerJam,
    /// Share of time in which the point of use was starved.
    Starved,
    /// Share of intervals with more than one per cent of starved time.
    StarvedIntervals,
}

impl Sight {
    /// All of them.
    pub const ALL: [Sight; 6] = [
        Sight::MeanRate,
        Sight::RateSpread,
        Sight::JamsPerHour,
        Sight::LostPerJam,
        Sight::Starved,
        Sight::StarvedIntervals,
    ];

    /// In words, with its unit.
    pub fn words(self) -> &'static str {
        match self {
            Sight::MeanRate => "mean rate, parts/min",
            Sight::RateSpread => "spread of the rate, parts/min",
            Sight::JamsPerHour => "jams, 1/h",
            Sight::LostPerJam => "rate lost per jam, parts/min",
            Sight::Starved => "starved, share of time",
            Sight::StarvedIntervals => "intervals with starvation, share",
        }
    }
}

/// The outputs of a series, in the order of [`Sight::ALL`]; none where the series does not say.
pub type Outputs = [Option<f64>; 6];

/// Sums up a series of intervals of `interval_s` each.
pub(super) fn outputs(series: &[Interval], interval_s: f64) -> Outputs {
    let n = series.len() as f64;
    let mean = |of: &dyn Fn(&Interval) -> f64| series.iter().map(of).sum::<f64>() / n;
    let rate = mean(&|interval| interval.rate);
    let square = mean(&|interval| (interval.rate - rate) * (interval.rate - rate));
    let has_jams = series.iter().all(|interval| interval.jams.is_some());
    let has_starved = series.iter().all(|interval| interval.starved.is_some());
    let jams_of = |interval: &Interval| interval.jams.unwrap_or(0.0);
    let starved_of = |interval: &Interval| interval.starved.unwrap_or(0.0);
    let jams = mean(&jams_of);
    let about = mean(&|interval| (jams_of(interval) - jams) * (jams_of(interval) - jams));
    let together = mean(&|interval| (jams_of(interval) - jams) * (interval.rate - rate));
    // Without jams, or with as many in each interval, nothing is lost for one.
    let slope = if about > 0.0 { -together / about } else { 0.0 };
    [
        Some(rate),
        Some(square.sqrt()),
        has_jams.then_some(jams * 3600.0 / interval_s),
        has_jams.then_some(slope),
        has_starved.then(|| mean(&starved_of)),
        has_starved.then(|| mean(&|interval| f64::from(u8::from(starved_of(interval) > 0.01)))),
    ]
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn outputs_by_hand() {
        let interval = |rate, jams, starved| Interval { rate, jams: Some(jams), starved: Some(starved) };
        let series = [interval(10.0, 0.0, 0.0), interval(8.0, 1.0, 0.02), interval(6.0, 2.0, 0.04)];
        let found = outputs(&series, 900.0).map(|value| value.unwrap_or(f64::NAN));
        let expected = [8.0, (8.0_f64 / 3.0).sqrt(), 4.0, 2.0, 0.02, 2.0 / 3.0];
        assert!(found.iter().zip(expected).all(|(a, b)| (a - b).abs() < 1e-12), "{found:?}");
        let blind = [Interval { rate: 1.0, jams: None, starved: None }; 2];
        assert_eq!(outputs(&blind, 900.0), [Some(1.0), Some(0.0), None, None, None, None]);
    }
}
