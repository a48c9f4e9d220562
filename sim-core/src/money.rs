//! Money: pay-back of a line, by plain arithmetic on simulated shifts.
//!
//! What a shift brings is the labour that the line replaces, less the value of the minutes in which the point of use waits for
//! parts, less what running the line costs. Nothing here enters a verdict, and no price is known to the program: all amounts are the
//! user's, in one currency, and taken as certain. Two accounts stand side by side. With inputs as known only the simulation
//! leaves something open: the interval is that of the mean waiting time, carried through. With ignorance the interval holds the
//! own mean of this line, given the evidence. Source: pay-back as cost over yearly gain, without interest (common practice,
//! no source).

use crate::evidence::DrawnShifts;
use crate::evidence::nested::{DRAWS, EACH};
use crate::evidence::pool;
use crate::measure::Slice;
use crate::part::SECOND;
use crate::scenario::{RunOffJams, Scenario};
use crate::statistics::sequential::ERROR_EACH_WAY;
use crate::statistics::{CannotSay, Estimate, Moments};
use crate::study::{Crew, RunError, SlicedLine, Task, run_slices};
use schemars::JsonSchema;
use serde::Serialize;

pub use crate::scenario::Prices;

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
    /// Labour replaced in a year.
    pub labour: f64,
    /// Running costs in a year.
    pub running: f64,
    /// With inputs as known; intervals: what the simulation leaves open of the mean of many shifts.
    pub as_known: Account,
    /// With what the evidence leaves open of the inputs; none without evidence in the file.
    pub with_ignorance: Option<IgnorantAccount>,
}

/// What hangs on the minutes in which the point of use waits for parts: mean, lower and upper limit of each.
#[derive(Debug, Clone, Copy, PartialEq, Serialize, JsonSchema)]
pub struct Account {
    /// Such minutes in a shift.
    pub lost_minutes: [f64; 3],
    /// Their value in a year.
    pub lost: [f64; 3],
    /// Gain in a year.
    pub gain: [f64; 3],
    /// Years until the gain has paid the cost; none: never.
    pub years: [Option<f64>; 3],
}

/// The account with ignorance of the inputs in it: means over what the evidence leaves possible, and the interval that holds
/// those of this line with the probability of the level, given the evidence.
#[derive(Debug, Clone, Copy, PartialEq, Serialize, JsonSchema)]
pub struct IgnorantAccount {
    /// The account.
    pub account: Account,
    /// Pieces of evidence.
    pub pieces: u64,
    /// Outer draws of the inputs.
    pub draws: u64,
    /// Shifts within each draw.
    pub shifts_each: u64,
}

/// How to work it out.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct MoneyOptions {
    /// Shifts with inputs as known, 2 at least.
    pub replications: u64,
    /// Seed of all luck.
    pub seed: u64,
    /// Level of the intervals.
    pub level: f64,
}

/// Works out the pay-back of the scenario that was read from `source`. None if it was cancelled.
///
/// # Errors
/// What made a shift worthless, too few shifts, or prices that are no amounts.
pub fn pay_back<C: Crew>(
    source: &str,
    scenario: Scenario,
    prices: Prices,
    options: MoneyOptions,
    crew: &C,
    cancelled: &(dyn Fn() -> bool + Sync),
) -> Result<Option<PayBack>, RunError> {
    check(prices).map_err(RunError::BadOptions)?;
    let MoneyOptions { replications, seed, level } = options;
    let shift_h = scenario.plan.shift_s / 3600.0;
    let account = |lost_minutes| account(prices, shift_h, lost_minutes);
    let title = scenario.title.clone();
    let drawn = DrawnShifts::of(source, &scenario, DRAWS, EACH, seed);
    let line = shift_of(scenario);
    let n_points = line.n_points();
    let with_ignorance = match drawn {
        None => None,
        Some(drawn) => {
            let Some(lost_minutes) = ignorant(&drawn, n_points, level, crew, cancelled)? else {
                return Ok(None);
            };
            let account = account(lost_minutes);
            Some(IgnorantAccount { account, pieces: drawn.pieces(), draws: DRAWS, shifts_each: EACH })
        }
    };
    let tasks: Vec<Task> = (0..replications).map(|number| Task { variant: 0, number }).collect();
    let mut minutes = Moments::new();
    let done = run_slices(&[line], &tasks, seed, crew, cancelled, &mut |_, slices| {
        minutes.push(minutes_of(slices, n_points));
    })?;
    if done < tasks.len() {
        return Ok(None);
    }
    let mean = Estimate::of_mean(&minutes, level).map_err(RunError::BadOptions)?;
    Ok(Some(PayBack {
        title,
        prices,
        shift_h,
        replications,
        seed,
        level,
        labour: in_a_year(prices.labour_per_hour, prices, shift_h),
        running: in_a_year(prices.running_per_hour, prices, shift_h),
        as_known: account([mean.mean, mean.low.max(0.0), mean.high]),
        with_ignorance,
    }))
}

/// One shift in one slice.
fn shift_of(scenario: Scenario) -> SlicedLine {
    let shift_s = scenario.plan.shift_s;
    SlicedLine::new(scenario, RunOffJams::All, (shift_s * SECOND as f64).round() as u64, 1)
}

/// Minutes in which a point of use waited for parts, on the mean over `n_points`.
fn minutes_of(slices: &[Slice], n_points: usize) -> f64 {
    slices.iter().map(|slice| slice.starved).sum::<u64>() as f64 / 6e10 / n_points.max(1) as f64
}

/// Lost minutes of a shift with ignorance in them: mean, and limits of the own mean of this line. None: cancelled.
fn ignorant<C: Crew>(
    drawn: &DrawnShifts<'_>,
    n_points: usize,
    level: f64,
    crew: &C,
    cancelled: &(dyn Fn() -> bool + Sync),
) -> Result<Option<[f64; 3]>, RunError> {
    let mut minutes = vec![Moments::new(); drawn.draws as usize];
    let all = drawn.run(&shift_of, crew, cancelled, &mut |draw, slices| {
        minutes[draw as usize].push(minutes_of(slices, n_points));
    })?;
    if !all {
        return Ok(None);
    }
    let tail = 0.5 * (1.0 - level);
    let own = pool::means(&minutes, &minutes, 0.0, ERROR_EACH_WAY, &[tail, 1.0 - tail]).quantiles;
    let mean: Moments = minutes.iter().filter_map(Moments::mean).collect();
    let mean = mean.mean().unwrap_or(0.0);
    // Of a skewed law the mean may lie beyond; an interval that leaves it out would confuse.
    Ok(Some([mean, own[0].clamp(0.0, mean), own[1].max(mean)]))
}

fn check(prices: Prices) -> Result<(), CannotSay> {
    let amounts = [
        prices.cost,
        prices.labour_per_hour,
        prices.lost_minute,
        prices.running_per_hour,
        prices.shifts_per_year,
    ];
    match amounts.into_iter().find(|value| !(value.is_finite() && *value >= 0.0)) {
        Some(value) => Err(CannotSay::OutOfRange { what: "a price", value }),
        None => Ok(()),
    }
}

fn in_a_year(per_hour: f64, prices: Prices, shift_h: f64) -> f64 {
    per_hour * shift_h * prices.shifts_per_year
}

/// The arithmetic, for lost minutes of a shift with their limits.
fn account(prices: Prices, shift_h: f64, lost_minutes: [f64; 3]) -> Account {
    let before = in_a_year(prices.labour_per_hour - prices.running_per_hour, prices, shift_h);
    let lost = lost_minutes.map(|minutes| minutes * prices.lost_minute * prices.shifts_per_year);
    // Few minutes lost is the upper limit of the gain.
    let gain = [lost[0], lost[2], lost[1]].map(|lost| before - lost);
    let years = [gain[0], gain[2], gain[1]].map(|gain| (gain > 0.0).then(|| prices.cost / gain));
    Account { lost_minutes, lost, gain, years }
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
    use crate::scenario;

    const PRICES: Prices = Prices {
        cost: 100_000.0,
        labour_per_hour: 30.0,
        lost_minute: 2.0,
        running_per_hour: 5.0,
        shifts_per_year: 250.0,
    };

    #[test]
    fn the_account_by_hand() {
        let found = account(PRICES, 8.0, [20.0, 15.0, 25.0]);
        // 8 h x 250 = 2000 h a year; 250 x 2 = 500 for each lost minute of a shift.
        assert_eq!(in_a_year(PRICES.labour_per_hour, PRICES, 8.0), 60_000.0);
        assert_eq!(found.lost, [10_000.0, 7_500.0, 12_500.0]);
        assert_eq!(found.gain, [40_000.0, 37_500.0, 42_500.0]);
        assert_eq!(found.years[0], Some(2.5));
        assert!(found.years[1] < found.years[0] && found.years[0] < found.years[2], "{:?}", found.years);
        let never = account(Prices { labour_per_hour: 5.0, ..PRICES }, 8.0, [20.0, 15.0, 25.0]);
        assert_eq!(never.years, [None, None, None]);
        assert!(check(PRICES).is_ok() && check(Prices { cost: -1.0, ..PRICES }).is_err());
    }

    /// A station makes a part in 36 s from what a machine gives it in 40 s and jams hold up: seen once in 400 parts, each for
    /// 2 min. So the wait of a part is 4 s and 120 s times the chance, 720 parts in a shift of 8 h: 48 min and 1440 min times the
    /// chance, less the few parts that the jams take away. With one jam seen of 400 the chance is gamma-like between 0.00027 and
    /// 0.0117 (Jeffreys, 1.5 jams: chi-square of 3 degrees of freedom, 0.2158 and 9.348, over 800, any table).
    #[test]
    fn ignorance_widens_the_interval_as_the_posterior_says() {
        let line = r#"{"feedproof": 1, "stations": [
            {"id": "A", "type": "work", "endless": true, "time": "40 s",
             "jams": [{"per_part": "1 of 400", "time": "120 s"}]},
            {"id": "B", "type": "work", "time": "36 s"}],
            "plan": {"shift": "8 h"}, "promise": {"at": "B", "clauses": {"rate": "1 /min", "in_shifts": "50 %"}}}"#;
        let scenario = scenario::read(line).scenario.unwrap();
        let options = MoneyOptions { replications: 100, seed: 1, level: 0.95 };
        let found = pay_back(line, scenario, PRICES, options, &crate::study::Alone, &|| false);
        let found = found.unwrap().unwrap();
        let minutes = |chance: f64| 480.0 - 480.0 * 36.0 / (40.0 + 120.0 * chance);
        let known = found.as_known.lost_minutes;
        assert!((known[0] - minutes(1.0 / 400.0)).abs() < 1.5 && known[2] - known[1] < 3.0, "{known:?}");
        let given = found.with_ignorance.unwrap();
        assert_eq!((given.pieces, given.draws), (1, 120));
        let [_, low, high] = given.account.lost_minutes;
        let (exact_low, exact_high) = (minutes(0.2158 / 800.0), minutes(9.348 / 800.0));
        // 120 draws: the outer quantiles of a skewed law are known to some 10 % of its width.
        let allowed = 0.35 * (exact_high - exact_low);
        assert!((low - exact_low).abs() < allowed && (high - exact_high).abs() < allowed, "{low} {high}");
        assert!(high - low > 3.0 * (known[2] - known[1]), "{low} {high}");
        assert!(given.account.years[2] > found.as_known.years[2], "{given:?}");
    }
}
