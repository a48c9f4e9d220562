//! Rows of families F and D: laws fitted to published data, critical values, and the data sets themselves.
//!
//! The data stand in `data/times`, with their sources. Nothing here is simulated; rounding alone is allowed for.

use super::Row;
use super::table::value_of;
use sim_core::fit::goodness::{
    anderson_darling, anderson_darling_limit, distance, kolmogorov, kolmogorov_limit,
};
use sim_core::fit::{Collector, Family, Fitted, Sample, estimators, fitted::mean_factors};

/// Rounding of the ten digits of the table, as a share.
const ROUNDING: f64 = 1e-9;
/// Rounding of values of which the table has eight digits.
const SIX_DIGITS: f64 = 1e-6;

const BEARINGS: &str = include_str!("../../data/times/bearings.csv");
const TEST_STOPPED: &str = include_str!("../../data/times/test-stopped.csv");
const INTERVALS: &str = include_str!("../../data/times/intervals.csv");

/// A data set as a sample: `mark` is the word in the second column for times that ended, none if all did.
fn sample(text: &str, mark: Option<&str>) -> Sample {
    let mut rows = Collector::new();
    for line in text.lines().skip(1) {
        let mut cells = line.split(',');
        let time = cells.next().and_then(|cell| cell.parse().ok());
        let ended = mark.is_none_or(|mark| cells.next() == Some(mark));
        rows.push(time.unwrap_or_else(|| panic!("a row begins with a time: {line}")), 1, ended);
    }
    rows.finish()
}

fn fitted(family: Family, sample: &Sample) -> Fitted {
    estimators::fit(family, sample).unwrap_or_else(|why| panic!("{family:?}: {why}"))
}

fn natural(family: Family, text: &str, mark: Option<&str>, n: usize) -> f64 {
    fitted(family, &sample(text, mark)).natural[n]
}

fn row(id: &'static str, rounding: f64, found: impl Fn() -> f64 + Send + Sync + 'static) -> Row {
    Row::exactly(id, rounding * value_of(id).exact.abs(), found)
}

fn size(id: &'static str, text: &'static str, mark: Option<&'static str>) -> Row {
    Row::exactly(id, 0.0, move || sample(text, mark).n as f64)
}

/// Where a rising function reaches 95 %.
fn critical(law: impl Fn(f64) -> f64, mut low: f64, mut high: f64) -> f64 {
    for _ in 0..100 {
        let middle = 0.5 * (low + high);
        if law(middle) < 0.95 { low = middle } else { high = middle }
    }
    0.5 * (low + high)
}

fn fits() -> Vec<Row> {
    use Family::{Exponential, Gamma, Lognormal, Weibull};
    let bearings = |family, n| move || natural(family, BEARINGS, None, n);
    let against_own = |statistic: fn(&Sample, &Fitted) -> f64| {
        move || {
            let bearings = sample(BEARINGS, None);
            statistic(&bearings, &fitted(Weibull, &bearings))
        }
    };
    vec![
        row("F-01", ROUNDING, || natural(Weibull, TEST_STOPPED, Some("0"), 0)),
        row("F-02", ROUNDING, || natural(Weibull, TEST_STOPPED, Some("0"), 1)),
        row("F-03", ROUNDING, bearings(Weibull, 0)),
        row("F-04", ROUNDING, bearings(Weibull, 1)),
        row("F-05", ROUNDING, || fitted(Weibull, &sample(BEARINGS, None)).log_likelihood),
        row("F-06", ROUNDING, bearings(Lognormal, 0)),
        row("F-07", ROUNDING, bearings(Lognormal, 1)),
        row("F-08", ROUNDING, bearings(Gamma, 0)),
        row("F-09", ROUNDING, bearings(Gamma, 1)),
        row("F-10", ROUNDING, || natural(Exponential, INTERVALS, None, 0)),
        row("F-11", ROUNDING, || natural(Weibull, INTERVALS, None, 0)),
        row("F-12", ROUNDING, || natural(Weibull, INTERVALS, None, 1)),
        row("F-13", SIX_DIGITS, against_own(distance)),
        row("F-14", SIX_DIGITS, against_own(anderson_darling)),
    ]
}

fn laws_of_statistics() -> Vec<Row> {
    vec![
        row("F-15", ROUNDING, || critical(|d| kolmogorov(10, d), 0.1, 0.9)),
        row("F-16", ROUNDING, || critical(kolmogorov_limit, 0.5, 3.0)),
        row("F-17", SIX_DIGITS, || critical(anderson_darling_limit, 0.5, 10.0)),
        row("F-18", ROUNDING, || mean_factors(2, true, 0.9).0),
        row("F-19", ROUNDING, || mean_factors(2, true, 0.9).1),
    ]
}

fn data_sets() -> Vec<Row> {
    const STEEL: &str = include_str!("../../data/times/steel-strengths.csv");
    let specimens = || {
        let mut rows = Collector::new();
        for line in STEEL.lines().skip(1) {
            let cells: Vec<f64> = line.split(',').filter_map(|cell| cell.parse().ok()).collect();
            rows.push(cells[0], cells[1] as u64, true);
        }
        rows.finish().n as f64
    };
    vec![
        size("D-01", BEARINGS, None),
        Row::exactly("D-02", 0.0, specimens),
        size("D-03", include_str!("../../data/times/one-unit-clock.csv"), None),
        size("D-04", include_str!("../../data/times/several-units-clock.csv"), None),
        size("D-05", include_str!("../../data/times/fleet.csv"), Some("0")),
        size("D-06", include_str!("../../data/times/fleet.csv"), Some("0")),
        size("D-07", include_str!("../../data/times/mileage.csv"), None),
        size("D-08", include_str!("../../data/times/strikes.csv"), None),
        size("D-09", include_str!("../../data/times/remissions.csv"), Some("1")),
        size("D-10", include_str!("../../data/times/flies.csv"), Some("1")),
    ]
}

/// Rows of both families.
pub fn rows() -> Vec<Row> {
    [fits(), laws_of_statistics(), data_sets()].into_iter().flatten().collect()
}
