//! Family O: orienting paths and recirculation.
//!
//! The invented part lies in four ways; rejected parts go to a scrap box, or come back over a belt and pass
//! before fresh ones. Relaxation: what is in the loop is forgotten after a few rounds of it.

use super::Row;
use super::line::{exponential, file, room, source, stream, track, with};
use super::trial::{Ended, Trial};
use serde_json::{Value, json};

/// A path that takes one part at a time, with these tools.
fn path(id: &str, pass: &str, tools: Value) -> Value {
    json!({"id": id, "type": "orienting path", "pass": pass, "to": "out", "tools": tools})
}

fn accepts(chance: f64) -> Value {
    json!([{"id": "tool", "accepts": chance}])
}

/// Both tooled steps of the invented part.
fn steps() -> Value {
    json!([
        {"id": "step 1", "passes": {"a": 1, "b": 0.2, "c": 0.5, "d": 0}, "turns": {"b": {"a": 0.6}}},
        {"id": "step 2", "passes": {"a": 0.95, "b": 0, "c": 0, "d": 0}, "turns": {"c": {"a": 0.3}}},
    ])
}

fn invented_part() -> Value {
    json!({"piece": {"attitudes": {"a": 0.4, "b": 0.3, "c": 0.2, "d": 0.1}, "length": "20 mm"}})
}

fn belt_back() -> Value {
    json!({"id": "R", "type": "recirculation belt", "travel": "10 s", "unlimited": true, "to": "P"})
}

/// Fresh parts that never run out, and a belt that brings rejects back before them.
fn in_a_loop(mut path: Value, parts: Option<Value>) -> Value {
    path["rejects_to"] = json!("R");
    path["priority"] = json!(["R"]);
    let mut line = file(vec![source("F", json!("0 s")), path, belt_back()]);
    if let Some(parts) = parts {
        line["parts"] = parts;
    }
    line
}

/// Fresh parts only; rejects go to a scrap box.
fn once(path: Value) -> Value {
    let scrap = json!({"id": "scrap", "type": "scrap box"});
    let path = with(path, "rejects_to", json!("scrap"));
    let mut line = file(vec![source("F", json!("0 s")), path, scrap]);
    line["parts"] = invented_part();
    line
}

/// Mean passes of delivered parts, by their own counts.
fn mean_passes(e: &Ended<'_>) -> f64 {
    let passes = &e.tally().points[0].passes;
    let sum: u64 = passes.iter().enumerate().map(|(n, parts)| n as u64 * parts).sum();
    sum as f64 / passes.iter().sum::<u64>() as f64
}

/// Passes per delivered part, by the flow.
fn flow_ratio(e: &Ended<'_>) -> f64 {
    e.counts("P").took as f64 / e.counts("P").exits[0] as f64
}

/// Passes by which 99 % of the parts are through.
fn passes_of_most() -> f64 {
    let line = in_a_loop(path("P", "1 s", accepts(0.35)), None);
    let trial = Trial::new(line, 100.0, 900_000.0, 4, |e| {
        let passes = &e.tally().points[0].passes;
        let mut left = passes.iter().sum::<u64>() as f64 * 0.99;
        let through = passes.iter().position(|parts| {
            left -= *parts as f64;
            left <= 0.0
        });
        through.unwrap_or(0) as f64
    });
    let found = trial.run(super::FIRST_SEED, 0..trial.replications);
    assert!(found.iter().all(|passes| passes == &found[0]), "all long runs agree: {found:?}");
    found[0]
}

/// O-10: a divider sends two of five to the first path. Each part of the flow counts, so that the mean does
/// not depend on how the turns are mixed.
pub(super) fn two_paths() -> Value {
    let loops = |id: &str, chance: f64| with(path(id, "1 s", accepts(chance)), "rejects_to", json!("R"));
    let back = with(belt_back(), "to", json!("D"));
    let divider = json!({"id": "D", "type": "divider", "exits": ["T1", "T2"], "rule": "by ratio",
        "ratio": [2, 3], "strict": true, "priority": ["R"]});
    file(vec![
        source("F", json!("0 s")),
        divider,
        with(track("T1", 5), "to", json!("P1")),
        with(track("T2", 5), "to", json!("P2")),
        loops("P1", 0.35),
        loops("P2", 0.5),
        back,
    ])
}

fn by_two_paths() -> Trial {
    Trial::new(two_paths(), 100.0, 20_000.0, 100, |e| {
        let taken = e.counts("P1").took + e.counts("P2").took;
        taken as f64 / (e.counts("P1").exits[0] + e.counts("P2").exits[0]) as f64
    })
}

/// O-11: a part may be damaged, and is taken out, before each try to orient it.
pub(super) fn wear() -> Value {
    let tools = json!([
        {"id": "wear", "accepts": 0.99, "to": "scrap"},
        {"id": "tool", "accepts": 0.35},
    ]);
    let mut line = in_a_loop(path("P", "1 s", tools), None);
    if let Some(stations) = line["stations"].as_array_mut() {
        stations.push(json!({"id": "scrap", "type": "scrap box"}));
    }
    line
}

fn worn() -> Trial {
    Trial::new(wear(), 100.0, 20_000.0, 100, |e| {
        let accepted = e.counts("P").exits[0] as f64;
        accepted / (accepted + e.counts("scrap").took as f64)
    })
}

/// O-12: fresh parts at random, and rejects at the end of the queue at once.
fn feedback() -> Trial {
    let path = json!({"id": "P", "type": "orienting path", "pass": exponential(1.0), "to": "out",
        "rejects_to": "R", "tools": accepts(0.35)});
    let back = with(belt_back(), "travel", json!("0 s"));
    let line = file(vec![stream("A", exponential(1.0 / 0.3)), room("T"), path, back]);
    let memory_s = super::queues::memory_s(0.3 / 0.35, 1.0, 1.0, 1.0) / 0.35;
    Trial::new(line, memory_s, 200_000.0, 100, |e| e.level("T") + e.level("R") + e.on("P"))
}

/// O-01: each pass accepts with the same chance.
pub(super) fn simple() -> Value {
    in_a_loop(path("P", "1 s", accepts(0.35)), None)
}

/// O-07: the invented part, rejects remixed.
pub(super) fn mixed() -> Value {
    in_a_loop(path("P", "1 s", steps()), Some(invented_part()))
}

/// O-08: the invented part, rejects keep their attitude with chance 0.7.
pub(super) fn keeping() -> Value {
    let path = with(path("P", "1 s", steps()), "comes_back", json!({"keeps": 0.7}));
    in_a_loop(path, Some(invented_part()))
}

/// O-04: one pass of the invented part.
pub(super) fn single() -> Value {
    once(path("P", "1 s", steps()))
}

/// O-05, O-06: parts in file, with lengths by attitude.
pub(super) fn in_file(lengths: Value) -> Value {
    once(
        json!({"id": "P", "type": "orienting path", "speed": "80 mm/s", "live_length": "400 mm", "to": "out",
        "lengths": lengths, "tools": steps()}),
    )
}

/// Rows of the family.
pub fn rows() -> Vec<Row> {
    let spread = |e: &Ended<'_>| {
        let passes = &e.tally().points[0].passes;
        let off = |n: usize| (n as f64 - 1.0 / 0.35).powi(2);
        let sum: f64 = passes.iter().enumerate().map(|(n, parts)| off(n) * *parts as f64).sum();
        sum / passes.iter().sum::<u64>() as f64
    };
    let enters_as_d = |e: &Ended<'_>| e.watch().by_attitude[3] as f64 / e.watch().n as f64;
    let mut rows = vec![
        Row::simulated("O-01", 0.005, Trial::new(simple(), 50.0, 20_000.0, 100, mean_passes)),
        Row::simulated("O-01", 0.005, Trial::new(simple(), 50.0, 20_000.0, 100, flow_ratio)),
        Row::simulated("O-02", 0.015, Trial::new(simple(), 50.0, 20_000.0, 100, spread)),
        Row::exactly("O-03", 0.0, passes_of_most),
        Row::simulated("O-07", 0.005, Trial::new(mixed(), 50.0, 20_000.0, 100, mean_passes)),
        Row::simulated("O-07", 0.005, Trial::new(mixed(), 50.0, 20_000.0, 100, flow_ratio)),
        Row::simulated("O-08", 0.01, Trial::new(keeping(), 100.0, 20_000.0, 100, mean_passes)),
        Row::simulated("O-08", 0.01, Trial::new(keeping(), 100.0, 20_000.0, 100, flow_ratio)),
        Row::simulated(
            "O-09",
            0.015,
            Trial::new(keeping(), 100.0, 20_000.0, 100, enters_as_d).watching("P", u64::MAX),
        ),
        Row::simulated("O-10", 0.005, by_two_paths()),
        Row::simulated("O-11", 0.005, worn()),
        Row::simulated("O-12", 0.03, feedback()),
    ];
    rows.extend(single_pass());
    rows
}

fn single_pass() -> Vec<Row> {
    let alike = in_file(json!({}));
    let unlike = in_file(json!({"c": "12 mm", "d": "15 mm"}));
    let share = |e: &Ended<'_>| flow_ratio(e).recip();
    vec![
        Row::simulated("O-04", 0.005, Trial::new(single(), 5.0, 10_000.0, 100, share)),
        Row::simulated("O-05", 0.005, Trial::new(alike, 5.0, 4_000.0, 100, |e| e.rate("P"))),
        Row::simulated("O-06", 0.005, Trial::new(unlike, 5.0, 4_000.0, 100, |e| e.rate("P"))),
    ]
}
