//! Money: pay-back of a line, by plain arithmetic on simulated shifts.
//!
//! What a shift brings is the labour that the line replaces, less the value of the minutes in which the point of use waits for
//! parts, less what running the line costs. Nothing here enters a verdict, and no price is known to the program: all amounts are the
//! user's, in one currency. Uncertain is only what the simulation leaves open: the interval is that of the mean waiting time,
//! carried through. Source: pay-back as cost over yearly gain, without interest (common practice, no source).

use crate::scenario::{RunOffJams, Scenario};
use crate::statistics::{CannotSay, Estimate, Moments};
use crate::study::{Crew, RunError, SlicedLine, Task, run_slices};
use schemars::JsonSchema;
use serde::Serialize;

/// Prices, all in one currency.
#[derive(Debug, Clone, Copy, PartialEq, Serialize, JsonSchema)]
pub struct Prices {
    /// Cost of the line, once.
    pub cost: f64,
    /// Labour that the line replaces, for each hour of a shift.
    pub labour_per_hour: f64,
    /// Value of a minute in which the point of use waits for parts.
    pub lost_minute: f64,
    /// What running the line costs, for each hour of a shift.
    pub running_per_hour: f64,
    /// Shifts in a year.
    pub shifts_per_year: f64,
}

/// The account.
#[derive(Debug, Clone, PartialEq, Serialize, JsonSchema)]
pub struct PayBack {
    /// Title of the scenario.
    pub title: Option<String>,
    /// The prices that were given.
    pub prices: Prices,
    /// Length of a shift, h.
    pub shift_h: f64,
    /// Simulated shifts.
    pub replications: u64,
    /// Seed of all luck.
    pub seed: u64,
    /// Level of the intervals.
    pub level: f64,
    /// Minutes of a shift in which the point of use waits for parts: mean, lower and upper limit.
    pub lost_minutes: [f64; 3],
    /// Labour replaced in a year.
    pub labour: f64,
    /// Running costs in a year.
    pub running: f64,
    /// Value of lost minutes in a year: mean, lower and upper limit.
    pub lost: [f64; 3],
    /// Gain in a year: mean, lower and upper limit.
    pub gain: [f64; 3],
    /// Years until the gain has paid the cost: mean, lower and upper limit; none: never.
    pub years: [Option<f64>; 3],
}

/// Works out the pay-back from `replications` shifts. None if it was cancelled.
///
/// # Errors
/// What made a shift worthless, or too few shifts.
pub fn pay_back<C: Crew>(
    scenario: Scenario,
    prices: Prices,
    replications: u64,
    seed: u64,
    crew: &C,
    cancelled: &(dyn Fn() -> bool + Sync),
) -> Result<Option<PayBack>, RunError> {
    let (title, shift_s) = (scenario.title.clone(), scenario.plan.shift_s);
    let line = SlicedLine::new(scenario, RunOffJams::All, (shift_s * 1e9).round() as u64, 1);
    let n_points = line.n_points().max(1) as f64;
    let tasks: Vec<Task> = (0..replications).map(|number| Task { variant: 0, number }).collect();
    let mut minutes = Moments::new();
    let done = run_slices(&[line], &tasks, seed, crew, cancelled, &mut |_, slices| {
        minutes.push(slices.iter().map(|slice| slice.starved).sum::<u64>() as f64 / 6e10 / n_points);
    })?;
    if done < tasks.len() {
        return Ok(None);
    }
    let level = 0.95;
    let mean = Estimate::of_mean(&minutes, level).map_err(RunError::BadOptions)?;
    let lost_minutes = [mean.mean, mean.low.max(0.0), mean.high];
    account(prices, shift_s / 3600.0, lost_minutes)
        .map(|figures| Some(PayBack { title, prices, replications, seed, level, ..figures }))
        .map_err(RunError::BadOptions)
}

/// The arithmetic, for lost minutes of a shift with their limits.
fn account(prices: Prices, shift_h: f64, lost_minutes: [f64; 3]) -> Result<PayBack, CannotSay> {
    let amounts = [
        prices.cost,
        prices.labour_per_hour,
        prices.lost_minute,
        prices.running_per_hour,
        prices.shifts_per_year,
    ];
    if let Some(value) = amounts.into_iter().find(|value| !(value.is_finite() && *value >= 0.0)) {
        return Err(CannotSay::OutOfRange { what: "a price", value });
    }
    let year = |per_hour: f64| per_hour * shift_h * prices.shifts_per_year;
    let (labour, running) = (year(prices.labour_per_hour), year(prices.running_per_hour));
    let lost = lost_minutes.map(|minutes| minutes * prices.lost_minute * prices.shifts_per_year);
    // Few minutes lost is the upper limit of the gain.
    let gain = [lost[0], lost[2], lost[1]].map(|lost| labour - running - lost);
    let years = [gain[0], gain[2], gain[1]].map(|gain| (gain > 0.0).then(|| prices.cost / gain));
    Ok(PayBack {
        title: None,
        prices,
        shift_h,
        replications: 0,
        seed: 0,
        level: 0.0,
        lost_minutes,
        labour,
        running,
        lost,
        gain,
        years,
    })
}

impl PayBack {
    /// Its JSON Schema.
    pub fn schema() -> serde_json::Value {
        schemars::schema_for!(PayBack).to_value()
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    const PRICES: Prices = Prices {
        cost: 100_000.0,
        labour_per_hour: 30.0,
        lost_minute: 2.0,
        running_per_hour: 5.0,
        shifts_per_year: 250.0,
    };

    #[test]
    fn the_account_by_hand() {
        let found = account(PRICES, 8.0, [20.0, 15.0, 25.0]).unwrap();
        // 8 h x 250 = 2000 h a year; 250 x 2 = 500 for each lost minute of a shift.
        assert_eq!((found.labour, found.running), (60_000.0, 10_000.0));
        assert_eq!(found.lost, [10_000.0, 7_500.0, 12_500.0]);
        assert_eq!(found.gain, [40_000.0, 37_500.0, 42_500.0]);
        assert_eq!(found.years[0], Some(2.5));
        assert!(found.years[1] < found.years[0] && found.years[0] < found.years[2], "{:?}", found.years);
        let never = account(Prices { labour_per_hour: 5.0, ..PRICES }, 8.0, [20.0, 15.0, 25.0]).unwrap();
        assert_eq!(never.years, [None, None, None]);
        assert!(account(Prices { cost: -1.0, ..PRICES }, 8.0, [0.0; 3]).is_err());
    }
}
