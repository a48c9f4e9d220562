//! Family U: stations that jam.
//!
//! U-01 to U-08 go by steps of 1 s: a part jams at its start with chance p, a jam lasts a geometric number
//! of seconds; the table's store N holds the part on the second station, N - 2 slots and the finished part
//! kept on the first. All events fall on whole seconds, so that the order at equal times decides.
//!
//! Relaxation: the store diffuses by the difference of two stations that jam; the output of one varies with
//! 2 p r / (p + r)^3 per second. A bound is 2 N^2 / (pi^2 x the sum of both), plus 1 / (p + r).

use super::Row;
use super::line::{exponential, file, row, seconds, with};
use super::trial::{Ended, Trial};
use serde_json::{Value, json};
use sim_core::kernel::State;

const JAMMED: [State; 2] = [State::JamWaiting, State::JamClearing];

fn stepwise(
    (p1, r1): (f64, f64),
    (p2, r2): (f64, f64),
    store: u32,
    measure: impl Fn(&Ended<'_>) -> f64 + Send + Sync + 'static,
) -> Trial {
    let jams = |p: f64, r: f64| {
        let time = json!({"law": "geometric", "mean": seconds(1.0 / r), "step": "1 s"});
        json!([{"per_part": p, "when": "start", "time": time}])
    };
    let mut stations = row(&[json!("1 s"), json!("1 s")], &[store - 2]);
    stations[0]["jams"] = jams(p1, r1);
    stations[2]["jams"] = jams(p2, r2);
    let varies = |p: f64, r: f64| 2.0 * p * r / (p + r).powi(3);
    let spread = varies(p1, r1) + varies(p2, r2);
    let pi2 = std::f64::consts::PI.powi(2);
    let memory_s = 2.0 * f64::from(store * store) / (pi2 * spread) + 1.0 / (p1 + r1).min(p2 + r2);
    Trial::new(file(stations), memory_s, 40_000.0, 200, measure)
}

/// Part on the second station, parts in slots, finished part kept on the first station.
fn store_level(e: &Ended<'_>) -> f64 {
    e.on("S2") + e.level("B1") + e.share("S1", &[State::Blocked])
}

/// U-09, U-10: three stations hand over directly, with a cycle that is short beside the jams.
fn rigid(clock: &str, cycle_s: f64) -> Value {
    let rates = [(0.01, 0.1), (0.02, 0.25), (0.005, 0.05)];
    let mut stations =
        row(&[json!(seconds(cycle_s)), json!(seconds(cycle_s)), json!(seconds(cycle_s))], &[0, 0]);
    for (station, (jams, clearing)) in stations.iter_mut().zip(rates) {
        let (every, time) = (exponential(1.0 / jams), exponential(1.0 / clearing));
        station["jams"] = json!([{"every": every, "clock": clock, "time": time}]);
    }
    file(stations)
}

/// Exponential times with jams while working; of the stations, the mean time, the rate of jams and the rate
/// of clearing.
fn random(stations: &[(f64, f64, f64)], slots: &[u32], attendants: Option<u32>) -> Value {
    let times: Vec<Value> = stations.iter().map(|&(mean, _, _)| exponential(mean)).collect();
    let mut line = row(&times, slots);
    for (n, &(_, jams, clearing)) in stations.iter().enumerate() {
        let mut jam = json!({"every": exponential(1.0 / jams), "time": exponential(1.0 / clearing)});
        if attendants.is_some() {
            jam["by"] = json!("A");
        }
        let name = format!("S{}", n + 1);
        for station in line.iter_mut().filter(|station| station["id"] == json!(name)) {
            *station = with(station.clone(), "jams", json!([jam]));
        }
    }
    let mut line = file(line);
    if let Some(number) = attendants {
        line["attendants"] = json!([{"id": "A", "number": number}]);
    }
    line
}

/// Rows of the family.
pub fn rows() -> Vec<Row> {
    let alike = (0.01, 0.1);
    let rate = |e: &Ended<'_>| e.rate("S2");
    let mut rows = vec![
        Row::simulated("U-01", 0.003, stepwise(alike, alike, 4, rate)),
        Row::simulated("U-02", 0.003, stepwise(alike, alike, 10, rate)),
        Row::simulated("U-03", 0.003, stepwise(alike, alike, 50, rate)),
        Row::simulated("U-04", 0.003, stepwise((0.02, 0.2), alike, 10, rate)),
        Row::simulated("U-05", 0.003, stepwise((0.005, 0.05), (0.02, 0.1), 20, rate)),
        Row::simulated("U-06", 0.003, stepwise((0.02, 0.1), (0.005, 0.05), 20, rate)),
        Row::simulated("U-07", 0.015, stepwise(alike, alike, 10, store_level)),
        Row::simulated("U-08", 0.01, stepwise((0.005, 0.05), (0.02, 0.1), 20, store_level)),
    ];
    rows.extend(continuous());
    rows
}

fn continuous() -> Vec<Row> {
    // Two jams within one cycle overlap instead of adding up: at 0.05 s this lifts the share by less than
    // 1 in 10,000, under a tenth of the half-width.
    let cycle_s = 0.05;
    let working = Trial::new(rigid("working", cycle_s), 30.0, 30_000.0, 100, move |e| e.rate("S3") * cycle_s);
    let mut wall = rigid("wall", 1.0);
    let picks =
        ["S1", "S2", "S3"].map(|s| json!({"station": s, "states": ["jam, waiting", "jam, clearing"]}));
    wall["measures"] = json!([{"id": "stands", "any_of": picks}]);
    let stands = |e: &Ended<'_>| {
        let own = e.tally().own.times().next().unwrap_or(0);
        1.0 - own as f64 / e.tally().window as f64
    };
    let (even, same) = ((1.0, 0.01, 0.1), (1.0, 0.05, 0.25));
    let uneven = [(1.0, 0.05, 0.5), (1.0 / 1.2, 0.02, 0.1)];
    vec![
        Row::simulated("U-09", 0.006, working),
        Row::simulated("U-10", 0.005, Trial::new(wall, 30.0, 40_000.0, 100, stands)),
        Row::simulated(
            "U-11",
            0.005,
            Trial::new(random(&[even; 2], &[2], None), 50.0, 40_000.0, 100, |e| e.rate("S2")),
        ),
        Row::simulated(
            "U-12",
            0.005,
            Trial::new(random(&uneven, &[8], None), 100.0, 40_000.0, 100, |e| e.rate("S2")),
        ),
        Row::simulated(
            "U-13",
            0.005,
            Trial::new(random(&[same; 3], &[2, 2], Some(1)), 100.0, 40_000.0, 100, |e| e.rate("S3")),
        ),
        Row::simulated(
            "U-14",
            0.005,
            Trial::new(random(&[same; 3], &[2, 2], Some(3)), 100.0, 40_000.0, 100, |e| e.rate("S3")),
        ),
        // Nobody needed comes to the same as one attendant for each station.
        Row::simulated(
            "U-14",
            0.005,
            Trial::new(random(&[same; 3], &[2, 2], None), 100.0, 40_000.0, 100, |e| e.rate("S3")),
        ),
        // The shares of a station jammed follow from its rate and its own clock.
        Row::simulated("U-14", 0.02, {
            let line = random(&[same; 3], &[2, 2], Some(3));
            Trial::new(line, 100.0, 40_000.0, 100, |e| e.share("S2", &JAMMED))
        })
        .expecting(|rate| rate * 0.05 / 0.25),
    ]
}
