//! Family I: stations that run until they jam, and attendants who share them. The measure is the mean
//! number of stations that run.
//!
//! Relaxation: at most one running time plus the time to clear all stations one after the other.

use super::Row;
use super::line::{exponential, file, source, with};
use super::trial::{Ended, Trial};
use serde_json::{Value, json};
use sim_core::kernel::State;

/// Always at work unless it is jammed: the time of a part is of no concern.
fn runner(id: &str, jams: f64, clearing: Value) -> Value {
    let station = with(source(id, json!("1000 s")), "to", json!("out"));
    with(station, "jams", json!([{"every": exponential(1.0 / jams), "time": clearing, "by": "A"}]))
}

fn alike(n: u32, attendants: u32, jams: f64, clearing: Value) -> Trial {
    let mut line = file(vec![with(runner("S", jams, clearing), "count", json!(n))]);
    line["attendants"] = json!([{"id": "A", "number": attendants}]);
    let memory_s = 1.0 / jams + f64::from(n);
    Trial::new(line, memory_s, 10_000.0, 100, move |e| {
        (1..=n).map(|k| e.share(&format!("S {k}"), &[State::Working])).sum()
    })
}

fn unlike(priority: &[&str], measured: &'static str) -> Trial {
    let mut line = file(vec![
        runner("S1", 0.02, exponential(5.0)),
        runner("S2", 0.05, exponential(2.0)),
        runner("S3", 0.10, exponential(1.0)),
    ]);
    line["attendants"] = json!([{"id": "A", "priority": priority}]);
    Trial::new(line, 60.0, 100_000.0, 200, move |e: &Ended<'_>| e.share(measured, &[State::Working]))
}

/// Rows of the family.
pub fn rows() -> Vec<Row> {
    let random = || exponential(1.0);
    let constant = || json!("1 s");
    let in_order = ["S3", "S2", "S1"];
    vec![
        Row::simulated("I-01", 0.003, alike(4, 1, 0.1, random())),
        Row::simulated("I-02", 0.003, alike(8, 1, 0.1, random())),
        Row::simulated("I-03", 0.005, alike(12, 1, 0.1, random())),
        Row::simulated("I-04", 0.003, alike(8, 2, 0.1, random())),
        Row::simulated("I-05", 0.003, alike(12, 2, 0.1, random())),
        Row::simulated("I-06", 0.005, alike(6, 1, 0.2, random())),
        Row::simulated("I-07", 0.005, alike(12, 2, 0.2, random())),
        Row::simulated("I-08", 0.003, alike(4, 1, 0.1, constant())),
        Row::simulated("I-09", 0.003, alike(8, 1, 0.1, constant())),
        Row::simulated("I-10", 0.003, alike(12, 1, 0.1, constant())),
        Row::simulated("I-11", 0.003, alike(6, 1, 0.2, constant())),
        // The rule of service moves the share of station 3 by a quarter of a per cent: these intervals are
        // narrower, so that one rule can't pass for the other.
        Row::simulated("I-12", 0.001, unlike(&[], "S1")),
        Row::simulated("I-13", 0.001, unlike(&[], "S3")),
        Row::simulated("I-14", 0.001, unlike(&in_order, "S3")),
        Row::simulated("I-15", 0.001, unlike(&in_order, "S1")),
    ]
}
