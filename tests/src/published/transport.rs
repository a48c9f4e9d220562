//! Family K: belts, tracks, escapements and level sensors.
//!
//! Relaxation: what travels is forgotten after its travel time; a track of K places within K^2 cycles.

use super::Row;
use super::line::{exponential, file, room, source, stream, track, with};
use super::trial::{Ended, Trial};
use serde_json::{Value, json};

/// An escapement that strokes on a clock and lets parts leave the line.
fn clocked(id: &str, stroke: Value) -> Value {
    json!({"id": id, "type": "escapement", "strokes": "on a clock", "stroke": stroke})
}

/// K-01: parts on a belt, one at every pitch.
pub(super) fn pitched_belt() -> Value {
    let belt = json!({"id": "B", "type": "belt", "length": "1 m", "speed": "0.25 m/s", "spacing": "0.05 m"});
    file(vec![source("S", json!("0 s")), belt])
}

fn brought_by_belt() -> f64 {
    let trial = Trial::new(pitched_belt(), 1.0, 60.0, 1, |e| e.n_left("B") as f64);
    trial.run(super::FIRST_SEED, 0..1)[0]
}

/// K-07, K-09: everything spends the same time on its way.
fn carried(spacing_s: f64, on_the_way: Value) -> Value {
    file(vec![stream("A", exponential(spacing_s)), on_the_way])
}

/// K-08: seconds until a track of 60 places is full, 1.5 parts a second coming and 1.2 leaving. The value
/// is that of a fluid: each place is cut into a hundred, so that the whole parts matter less.
fn filling() -> f64 {
    let rates = |cut: f64| {
        let line = file(vec![
            stream("A", json!(format!("{} s", 1.0 / (1.5 * cut)))),
            track("T", (60.0 * cut) as u32),
            clocked("E", json!(format!("{} s", 1.0 / (1.2 * cut)))),
        ]);
        // It is full from some moment on, apart from the moments after each stroke: the time up to the
        // moment at which it is full for the first time is bracketed by windows of growing length.
        let full_by = move |window_s: f64| {
            let trial = Trial::new(line.clone(), 0.0, window_s, 1, |e| e.tally().levels[0].full() as f64);
            trial.run(super::FIRST_SEED, 0..1)[0] > 0.0
        };
        let (mut low, mut high) = (100.0, 300.0);
        while high - low > 1e-3 {
            let middle = 0.5 * (low + high);
            if full_by(middle) { high = middle } else { low = middle }
        }
        high
    };
    rates(100.0)
}

/// K-10 to K-12: at each stroke the escapement takes a part if there is one; what does not fit is turned
/// away.
fn strokes(arrivals: f64, places: u32) -> Trial {
    let line = file(vec![
        with(stream("A", exponential(1.0 / arrivals)), "without_room", json!("is lost")),
        track("T", places),
        clocked("E", json!("1 s")),
    ]);
    Trial::new(line, f64::from(places * places), 80_000.0, 100, |e| {
        let counts = e.counts("E");
        counts.empty_strokes as f64 / (counts.empty_strokes + counts.exits[0]) as f64
    })
}

/// K-13, K-14: a feeder that a sensor switches off at 15 parts and on again at 5; consumption at random
/// moments, one part if there is any.
fn switched(measure: impl Fn(&Ended<'_>) -> f64 + Send + Sync + 'static) -> Trial {
    let mut line = file(vec![stream("A", exponential(1.0 / 1.5)), room("T"), clocked("E", exponential(1.0))]);
    line["sensors"] = json!([{"id": "L", "watches": "T", "high": 15, "low": 5, "holds": ["A"]}]);
    Trial::new(line, 100.0, 100_000.0, 200, measure)
}

/// A bin that never runs out and a cleated elevator with two cleats a second.
fn lifted(per_cleat: Value, then: Vec<Value>) -> Value {
    let lift = json!({"id": "L", "type": "elevator", "speed": "0.2 m/s", "spacing": "0.1 m", "length": "0.1 m",
        "per_cleat": per_cleat});
    let mut stations = vec![json!({"id": "B", "type": "bin", "endless": true}), lift];
    stations.extend(then);
    file(stations)
}

/// K-02: the cleats bring 3.2 on the mean.
pub(super) fn lift() -> Value {
    lifted(json!({"law": "binomial", "trials": 4, "chance": 0.8}), vec![room("T")])
}

fn of_six() -> Value {
    json!({"law": "binomial", "trials": 6, "chance": 0.5})
}

/// K-04: an elevator feeds a path.
pub(super) fn lift_and_path() -> Value {
    let path = json!({"id": "P", "type": "orienting path", "pass": "0.1 s", "rejects_to": "scrap", "to": "out",
        "tools": [{"id": "tool", "accepts": 0.35}]});
    lifted(of_six(), vec![room("T"), path, json!({"id": "scrap", "type": "scrap box"})])
}

/// K-02 to K-04.
fn elevators() -> Vec<Row> {
    vec![
        // Parts per minute.
        Row::simulated("K-02", 0.005, Trial::new(lift(), 1.0, 4_000.0, 100, |e| 60.0 * e.rate("L"))),
        // The square of the standard deviation, by squared distances from the known mean.
        Row::simulated("K-03", 0.015, {
            let line = lifted(of_six(), vec![room("T")]);
            Trial::new(line, 0.1, 10.0, 150_000, |e| (e.counts("L").exits[0] as f64 - 60.0).powi(2))
        })
        .expecting(|deviation| deviation * deviation),
        Row::simulated("K-04", 0.005, Trial::new(lift_and_path(), 5.0, 10_000.0, 100, |e| e.rate("P"))),
    ]
}

/// Rows of the family.
pub fn rows() -> Vec<Row> {
    let belt = json!({"id": "B", "type": "belt", "length": "1.8 m", "speed": "0.3 m/s", "unlimited": true});
    let slow = json!({"id": "B", "type": "track", "travel": "3.5 min", "unlimited": true});
    let mut rows = vec![
        Row::exactly("K-01", 0.0, brought_by_belt),
        Row::simulated("K-07", 0.005, Trial::new(carried(5.0, slow), 210.0, 50_000.0, 100, |e| e.level("B"))),
        Row::exactly("K-08", 0.05, filling),
        Row::simulated("K-09", 0.005, Trial::new(carried(0.4, belt), 6.0, 20_000.0, 100, |e| e.level("B"))),
        Row::simulated("K-10", 0.01, strokes(1.0, 5)),
        Row::simulated("K-11", 0.03, strokes(1.1, 10)),
        Row::simulated("K-12", 0.005, strokes(0.8, 3)),
        Row::simulated("K-13", 0.03, switched(|e| e.empty("T"))),
        Row::simulated("K-14", 0.005, switched(|e| e.counts("A").restarts as f64 / e.window_s())),
        Row::simulated("K-14", 0.005, switched(|e| e.counts("L").switched_on as f64 / e.window_s())),
    ];
    rows.extend(elevators());
    rows
}
