//! Family A: batches and assembly.
//!
//! Relaxation as for queues (A-01, A-02, with the spread of the batches) and lines (the others).

use super::Row;
use super::line::{exponential, file, room, source, stream, track, with, work};
use super::trial::{Ended, Trial};
use serde_json::{Value, json};
use sim_core::kernel::State;

/// Batches that come at random, parts that are worked on one by one.
fn batches(spacing_s: f64, group: Value) -> Value {
    file(vec![
        with(stream("A", exponential(spacing_s)), "group", group),
        room("T"),
        work("S", exponential(1.0)),
    ])
}

/// kits of so many parts of each of three kinds.
fn kit(parts: u32) -> Value {
    let mut stations = Vec::new();
    for n in 1..=3 {
        stations.push(stream(&format!("A{n}"), exponential(1.0)));
        stations.push(with(room(&format!("T{n}")), "to", json!("M")));
    }
    let inlets: Vec<Value> = (1..=3).map(|n| json!({"from": format!("T{n}"), "parts": parts})).collect();
    stations.push(json!({"id": "M", "type": "machine", "cycle": "0 s", "inlets": inlets}));
    file(stations)
}

/// sets of one part each leave at once; a stream stops while its store of 5 is full. Either a
/// sensor stops it, or the fifth part stays on the work station that makes it.
fn matching(rates: &[f64], by_sensor: bool) -> Trial {
    let mut stations = Vec::new();
    let mut sensors = Vec::new();
    for (n, rate) in rates.iter().enumerate() {
        let (feeder, store) = (format!("F{n}"), format!("T{n}"));
        let time = exponential(1.0 / rate);
        stations.push(if by_sensor { stream(&feeder, time) } else { source(&feeder, time) });
        stations.push(with(if by_sensor { room(&store) } else { track(&store, 4) }, "to", json!("M")));
        sensors
            .push(json!({"id": format!("L{n}"), "watches": store, "high": 5, "low": 4, "holds": [feeder]}));
    }
    let inlets: Vec<Value> = (0..rates.len()).map(|n| json!({"from": format!("T{n}")})).collect();
    stations.push(json!({"id": "M", "type": "machine", "cycle": "0 s", "inlets": inlets}));
    let mut line = file(stations);
    if by_sensor {
        line["sensors"] = json!(sensors);
    }
    Trial::new(line, 100.0, 20_000.0, 100, |e| e.rate("M"))
}

/// feeders, so many slots before the assembly, with a nest for each kind or taking all
/// together at the start.
fn assembly(feeders: &[(f64, u32)], rate: f64, nests: bool) -> Trial {
    let mut stations = Vec::new();
    let mut inlets = Vec::new();
    for (n, &(rate, slots)) in feeders.iter().enumerate() {
        let (feeder, store) = (format!("F{n}"), format!("T{n}"));
        let source = source(&feeder, exponential(1.0 / rate));
        let last = if slots > 0 {
            stations.push(source);
            stations.push(with(track(&store, slots), "to", json!("M")));
            store
        } else {
            stations.push(with(source, "to", json!("M")));
            feeder
        };
        let nest = json!({"capacity": 1, "emptied": "at the end"});
        inlets.push(if nests { json!({"from": last, "nest": nest}) } else { json!({ "from": last }) });
    }
    stations.push(json!({"id": "M", "type": "machine", "cycle": exponential(1.0 / rate), "inlets": inlets}));
    Trial::new(file(stations), 100.0, 20_000.0, 100, |e| e.rate("M"))
}

/// eight heads; a bad part stops the machine with chance one half, each for 30 s.
fn indexing() -> Trial {
    let jams = json!([{"per_part_by_condition": {"bad": "50 %"}, "when": "start", "time": "30 s"}]);
    let machine = json!({"id": "M", "type": "machine", "cycle": "3 s", "jams": jams,
        "inlets": [{"from": "T", "parts": 8}]});
    let mut line = file(vec![source("F", json!("0 s")), track("T", 16), machine]);
    line["parts"] = json!({"piece": {"conditions": {"bad": "1 %"}}});
    Trial::new(line, 35.0, 50_000.0, 200, |e| e.share("M", &[State::JamWaiting, State::JamClearing]))
}

/// half of the bad parts are seen before they come to the machine, are set aside and put right, and come back;
/// the other half makes bad assemblies. Each of the eight parts of an assembly is then good with chance 1 - x + m x.
fn put_right() -> Trial {
    let gauge = json!({"id": "G", "type": "gauge", "time": "0.5 s", "catches": {"bad": "50 %"},
        "rejects_to": "X", "to": "D"});
    let aside =
        json!({"id": "X", "type": "box out", "holds": 1, "empties_to": "B", "repairs": {"bad": "100 %"}});
    let inlets = [json!({"from": "T1", "parts": 4}), json!({"from": "T2", "parts": 4})];
    let mut line = file(vec![
        with(stream("F", json!("1 s")), "to", json!("B")),
        json!({"id": "B", "type": "bin", "to": "G"}),
        gauge,
        aside,
        json!({"id": "D", "type": "divider", "exits": ["T1", "T2"], "rule": "in turn"}),
        with(track("T1", 8), "to", json!("M")),
        with(track("T2", 8), "to", json!("M")),
        json!({"id": "M", "type": "machine", "cycle": "3 s", "inlets": inlets, "to": "out"}),
    ]);
    line["parts"] = json!({"piece": {"conditions": {"bad": "1 %"}}});
    line["promise"] = json!({"at": "M", "clauses": [{"mean_rate": "1 /min"}]});
    Trial::new(line, 100.0, 50_000.0, 100, |e| {
        let point = &e.tally().points[0];
        point.good as f64 / (point.good + point.bad) as f64
    })
}

/// variance of the parts of an hour, by the squared distances from the known mean of 30 x 18.
fn tips() -> Trial {
    let group = json!({"law": "binomial", "trials": 20, "chance": 0.9});
    let line = file(vec![with(stream("A", exponential(120.0)), "group", group), room("T")]);
    Trial::new(line, 0.0, 3600.0, 200_000, |e| (e.counts("A").created as f64 - 540.0).powi(2))
}

/// Rows of the family.
pub fn rows() -> Vec<Row> {
    let inside = |e: &Ended<'_>| e.level("T") + e.on("S");
    let (fixed, geometric) = (json!(4), json!({"law": "geometric", "mean": 3}));
    // Batches of variance v and mean m add m + v/m to the variability of a random stream.
    let memory = |load: f64, variability: f64| super::queues::memory_s(load, variability, 1.0, 1.0);
    let (one, two) = ((1.0, 0), (1.0, 2));
    vec![
        Row::simulated(
            "A-01",
            0.02,
            Trial::new(batches(5.0, fixed), memory(0.8, 4.0), 200_000.0, 100, inside),
        ),
        Row::simulated(
            "A-02",
            0.02,
            Trial::new(batches(4.0, geometric), memory(0.75, 5.0), 200_000.0, 100, inside),
        ),
        Row::simulated("A-03", 0.015, tips()),
        Row::simulated("A-04", 0.01, Trial::new(kit(1), 0.0, 60.0, 100_000, |e| e.first_good_s())),
        Row::simulated("A-05", 0.005, Trial::new(kit(10), 0.0, 100.0, 40_000, |e| e.first_good_s())),
        Row::simulated("A-06", 0.005, matching(&[1.0, 1.0], true)),
        Row::simulated("A-06", 0.005, matching(&[1.0, 1.0], false)),
        Row::simulated("A-07", 0.005, matching(&[1.0, 1.2], false)),
        Row::simulated("A-08", 0.005, matching(&[1.0, 1.0, 1.0], true)),
        Row::simulated("A-09", 0.005, assembly(&[one; 2], 1.0, true)),
        Row::simulated("A-10", 0.005, assembly(&[(1.0, 1), (1.2, 2)], 0.8, true)),
        Row::simulated("A-11", 0.005, assembly(&[two; 3], 1.0, true)),
        Row::simulated("A-12", 0.005, assembly(&[one; 2], 1.0, false)),
        Row::simulated("A-13", 0.005, assembly(&[two; 2], 1.0, false)),
        Row::simulated("A-16", 0.005, assembly(&[two; 3], 1.0, false)),
        Row::simulated("A-14", 0.015, indexing()),
        Row::simulated("A-15", 0.002, put_right()),
    ]
}
