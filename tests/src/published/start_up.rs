//! Family T: what happens from an empty start. There is no warm-up: the start is the question.

use super::Row;
use super::line::{exponential, file, source, with, work};
use super::queues::{memory_s, queue};
use super::trial::Trial;
use serde_json::{Value, json};
use sim_core::kernel::State;

fn busy_queue() -> Value {
    queue(exponential(1.0), exponential(0.9), 1)
}

/// Mean wait of the first `n` parts; the window is so long that all of them have started.
fn first_waits(n: u64, window_s: f64, replications: u64) -> Trial {
    let mean = move |e: &super::trial::Ended<'_>| {
        assert_eq!(e.watch().n, n, "all watched parts start within the window");
        e.watch().sum_ns as f64 / 1e9 / n as f64
    };
    Trial::new(busy_queue(), 0.0, window_s, replications, mean).watching("S", n)
}

/// T-07, T-08: always at work unless it is jammed.
fn two_states() -> Value {
    let jams = json!([{"every": exponential(10.0), "time": exponential(2.0)}]);
    file(vec![with(source("S", exponential(1000.0)), "jams", jams)])
}

/// T-09: a device lives as long as the first of three parts and one of the other two. The life is the time
/// of the first arrival at `Z`, which takes from `G1` and from the machine that waits for `G2` and `G3`.
fn device() -> Value {
    let life = || json!({"law": "weibull", "shape": 0.5, "scale": "1 s"});
    let machine = json!({"id": "M", "type": "machine", "cycle": "0 s", "to": "Z",
        "inlets": [{"from": "G2"}, {"from": "G3"}]});
    file(vec![
        with(source("G1", life()), "to", json!("Z")),
        with(source("G2", life()), "to", json!("M")),
        with(source("G3", life()), "to", json!("M")),
        machine,
        work("Z", json!("0 s")),
    ])
}

/// Rows of the family.
pub fn rows() -> Vec<Row> {
    let last = |e: &super::trial::Ended<'_>| e.watch().last_ns as f64 / 1e9;
    let long_run = Trial::new(busy_queue(), memory_s(0.9, 1.0, 1.0, 0.9), 400_000.0, 100, |e| e.stay_s("T"));
    vec![
        Row::simulated("T-01", 0.01, first_waits(25, 300.0, 200_000)),
        Row::simulated("T-02", 0.012, Trial { measure: Box::new(last), ..first_waits(25, 300.0, 200_000) }),
        Row::simulated("T-03", 0.015, first_waits(100, 500.0, 60_000)),
        Row::simulated("T-04", 0.03, first_waits(1000, 1700.0, 8_000)),
        Row::simulated("T-05", 0.02, long_run),
        Row::simulated("T-06", 0.01, {
            let line = queue(exponential(1.25), exponential(1.0), 1);
            Trial::new(line, 0.0, 10.0, 200_000, |e| e.inside())
        }),
        Row::simulated(
            "T-07",
            0.005,
            Trial::new(two_states(), 0.0, 3.0, 200_000, |e| {
                f64::from(u8::from(e.state("S") == State::Working))
            }),
        ),
        Row::simulated(
            "T-08",
            0.005,
            Trial::new(two_states(), 0.0, 10.0, 100_000, |e| e.share("S", &[State::Working])),
        ),
        Row::simulated("T-09", 0.02, Trial::new(device(), 0.0, 100.0, 200_000, |e| e.first_good_s())),
    ]
}
