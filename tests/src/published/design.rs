//! Rows of families O and K that the balance gives without simulation, on the files that are simulated too.

use super::trial::Trial;
use super::{Row, orienting, transport};
use serde_json::{Value, json};
use sim_core::balance::{Balance, StationBalance, solve};
use sim_core::scenario;

/// Rounding that is left between the balance and the ten digits of the table, as a share.
const ROUNDING: f64 = 1e-9;

/// The balance of a line at its limit.
fn balance(line: Value) -> Balance {
    let text = Trial::new(line, 0.0, 60.0, 1, |_| 0.0).text();
    let Some(scenario) = scenario::read(&text).scenario else { panic!("the file of a row is sound: {text}") };
    solve(&scenario).unwrap_or_else(|problems| panic!("the line of a row has a balance: {problems:?}"))
}

fn station<'a>(balance: &'a Balance, id: &str) -> &'a StationBalance {
    let found = balance.stations.iter().find(|station| station.id == id);
    found.unwrap_or_else(|| panic!("the balance has a station {id}"))
}

fn row(id: &'static str, found: impl Fn() -> f64 + Send + Sync + 'static) -> Row {
    Row::exactly(id, ROUNDING * super::table::value_of(id).exact, found)
}

fn passes(line: Value) -> f64 {
    let balance = balance(line);
    station(&balance, "P").flow_per_min / balance.rate_per_min
}

/// Rows by the balance.
pub fn rows() -> Vec<Row> {
    let per_second = |line: Value| balance(line).rate_per_min / 60.0;
    vec![
        row("O-01", || passes(orienting::simple())),
        row("O-01", || balance(orienting::simple()).sorting[0].passes.unwrap_or(f64::NAN)),
        row("O-04", || balance(orienting::single()).sorting[0].accepted),
        row("O-05", move || per_second(orienting::in_file(json!({})))),
        row("O-06", move || per_second(orienting::in_file(json!({"c": "12 mm", "d": "15 mm"})))),
        row("O-07", || passes(orienting::mixed())),
        row("O-08", || passes(orienting::keeping())),
        row("O-10", || {
            let balance = balance(orienting::two_paths());
            station(&balance, "D").flow_per_min / balance.rate_per_min
        }),
        row("O-11", || {
            let balance = balance(orienting::wear());
            balance.rate_per_min / station(&balance, "F").flow_per_min
        }),
        row("K-01", || balance(transport::pitched_belt()).rate_per_min),
        row("K-02", || balance(transport::lift()).rate_per_min),
        row("K-04", move || per_second(transport::lift_and_path())),
    ]
}
