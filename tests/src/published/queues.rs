//! Family Q: one work station behind a stream. L counts the part in work, Lq does not; waits end at the
//! first start of work.
//!
//! Relaxation: the content diffuses with drift 1 - load; a bound is 2 (ca2 + cs2) / (1 - load)^2 mean
//! services, ca2 and cs2 being the squared coefficients of variation (for M/M/1 4 / (1 - load)^2, above the
//! exact 1 / (1 - sqrt(load))^2).

use super::Row;
use super::line::{erlang, exponential, file, room, seconds, stream, track, with, work};
use super::trial::Trial;
use serde_json::{Value, json};

/// Bound of the relaxation time, s.
pub(super) fn memory_s(load: f64, ca2: f64, cs2: f64, service_s: f64) -> f64 {
    2.0 * (ca2 + cs2) / (1.0 - load).powi(2) * service_s
}

/// A stream, an unlimited track and a station with so many places.
pub(super) fn queue(spacing: Value, service: Value, places: u32) -> Value {
    let station = with(work("S", service), "places", json!(places));
    file(vec![stream("A", spacing), room("T"), station])
}

/// A queue in which what finds no room is lost: `waiting` places before the station.
fn loss(spacing: Value, service: Value, waiting: u32, places: u32) -> Value {
    let mut stations = vec![with(stream("A", spacing), "without_room", json!("is lost"))];
    if waiting > 0 {
        stations.push(track("T", waiting));
    }
    stations.push(with(work("S", service), "places", json!(places)));
    file(stations)
}

/// the station jams while it works; the part stays, work goes on where it stopped.
fn jamming(arrivals: f64, service: Value, jams: f64, clearing_s: f64) -> Value {
    let jams =
        json!([{"every": exponential(1.0 / jams), "clock": "working", "time": exponential(clearing_s)}]);
    let station = with(work("S", service), "jams", jams);
    file(vec![stream("A", exponential(1.0 / arrivals)), room("T"), station])
}

/// Rows of the family.
pub fn rows() -> Vec<Row> {
    let mut rows = one_server();
    rows.extend(several_servers());
    rows.extend(with_losses());
    rows.extend(with_jams());
    rows
}

fn one_server() -> Vec<Row> {
    let mm1 = || queue(exponential(1.25), exponential(1.0), 1);
    let memory = memory_s(0.8, 1.0, 1.0, 1.0);
    let window = 100_000.0;
    let lognormal = json!({"law": "lognormal", "mean": "1 s", "spread": seconds(2f64.sqrt())});
    let mg1 = queue(exponential(1.0 / 0.7), lognormal, 1);
    let dm1 = || queue(json!("1.25 s"), exponential(1.0), 1);
    let short = memory_s(0.8, 0.0, 1.0, 1.0);
    vec![
        Row::simulated("Q-01", 0.015, Trial::new(mm1(), memory, window, 100, |e| e.level("T") + e.on("S"))),
        Row::simulated("Q-02", 0.02, Trial::new(mm1(), memory, window, 100, |e| e.level("T"))),
        Row::simulated("Q-03", 0.02, Trial::new(mm1(), memory, window, 100, |e| e.stay_s("T"))),
        Row::simulated("Q-07", 0.015, {
            let line = queue(exponential(1.25), json!("1 s"), 1);
            Trial::new(line, memory, window, 100, |e| e.stay_s("T"))
        }),
        Row::simulated(
            "Q-08",
            0.02,
            Trial::new(mg1, memory_s(0.7, 1.0, 2.0, 1.0), 2.0 * window, 100, |e| e.stay_s("T")),
        ),
        Row::simulated("Q-09", 0.015, {
            let line = queue(exponential(1.25), erlang(2, 1.0), 1);
            Trial::new(line, memory, window, 100, |e| e.stay_s("T"))
        }),
        Row::simulated(
            "Q-10",
            0.005,
            // The root is the chance that an arrival has to wait.
            Trial::new(dm1(), short, window, 100, |e| e.watch().n_waited as f64 / e.watch().n as f64)
                .watching("S", u64::MAX),
        ),
        Row::simulated("Q-11", 0.015, Trial::new(dm1(), short, window, 100, |e| e.stay_s("T"))),
    ]
}

fn several_servers() -> Vec<Row> {
    let mm2 = || queue(exponential(1.0 / 1.6), exponential(1.0), 2);
    let mm3 = queue(exponential(1.0 / 2.4), exponential(1.0), 3);
    let memory = memory_s(0.8, 1.0, 1.0, 0.5) + 1.0;
    vec![
        Row::simulated("Q-04", 0.02, Trial::new(mm2(), memory, 50_000.0, 100, |e| e.level("T"))),
        Row::simulated(
            "Q-05",
            0.005,
            Trial::new(mm2(), memory, 50_000.0, 100, |e| e.watch().n_waited as f64 / e.watch().n as f64)
                .watching("S", u64::MAX),
        ),
        Row::simulated("Q-06", 0.02, Trial::new(mm3, memory, 40_000.0, 100, |e| e.stay_s("T"))),
    ]
}

fn with_losses() -> Vec<Row> {
    let lost = |e: &super::trial::Ended<'_>| e.counts("A").lost as f64 / e.counts("A").created as f64;
    let five = || loss(exponential(1.0 / 0.9), exponential(1.0), 4, 1);
    let ten = loss(exponential(0.8), exponential(1.0), 9, 1);
    let erlang = loss(exponential(1.0 / 7.0), exponential(1.0), 0, 10);
    // Content within 0..K: it is forgotten in at most K^2 services.
    vec![
        Row::simulated("Q-12", 0.015, Trial::new(five(), 25.0, 30_000.0, 100, lost)),
        Row::simulated("Q-13", 0.0075, Trial::new(five(), 25.0, 30_000.0, 100, |e| e.level("T") + e.on("S"))),
        Row::simulated("Q-14", 0.003, Trial::new(ten, 100.0, 30_000.0, 100, |e| e.rate("S"))),
        Row::simulated("Q-15", 0.015, Trial::new(erlang, 10.0, 10_000.0, 100, lost)),
    ]
}

fn with_jams() -> Vec<Row> {
    let gaver = || jamming(0.5, exponential(1.0), 0.05, 4.0);
    let constant = jamming(0.7, json!("1 s"), 0.02, 8.0);
    // Time for which a part keeps the station: mean and squared coefficient of variation by its work and
    // its jams.
    let memory = memory_s(0.6, 1.0, 3.04 / 1.44, 1.2);
    let long = memory_s(0.812, 1.0, 2.56 / (1.16 * 1.16), 1.16);
    vec![
        Row::simulated("Q-16", 0.02, Trial::new(gaver(), memory, 100_000.0, 100, |e| e.stay_s("T"))),
        Row::simulated(
            "Q-17",
            0.015,
            Trial::new(gaver(), memory, 100_000.0, 100, |e| e.level("T") + e.on("S")),
        ),
        Row::simulated("Q-18", 0.03, Trial::new(constant, long, 200_000.0, 100, |e| e.stay_s("T"))),
    ]
}
