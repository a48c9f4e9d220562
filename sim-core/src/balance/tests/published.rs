//! Rows of the table of outside check values, to the digits given.

use super::super::demand::Demand;
use super::super::net::Net;
use super::{Routes, Sorter, balance, flow, near, put, scenario};
use crate::scenario::Scenario;

/// Natural chances of the four aspects a, b, c, d of the part of rows O-04 to O-09 (invented with the rows).
const START: [f64; 4] = [0.40, 0.30, 0.20, 0.10];
/// Its tooled steps: what a row lacks to 1 is rejected.
const STEP_1: [[f64; 4]; 4] =
    [[1.0, 0.0, 0.0, 0.0], [0.6, 0.2, 0.0, 0.0], [0.0, 0.0, 0.5, 0.0], [0.0, 0.0, 0.0, 0.0]];
const STEP_2: [[f64; 4]; 4] =
    [[0.95, 0.0, 0.0, 0.0], [0.0, 0.0, 0.0, 0.0], [0.3, 0.0, 0.0, 0.0], [0.0, 0.0, 0.0, 0.0]];

/// The path: matrices multiplied (Boothroyd, Poli and Murch 1982); rejects come back as `back` says by aspect.
fn aspects_path(rejects_to: &str, back: impl Fn(usize) -> [f64; 4], seconds: [f64; 4]) -> Sorter {
    let route = |entry: usize| -> Routes {
        let mut accepted = [0.0; 4];
        for (middle, through) in STEP_1[entry].iter().enumerate() {
            for (last, share) in STEP_2[middle].iter().enumerate() {
                accepted[last] += through * share;
            }
        }
        let rejected = 1.0 - accepted.iter().sum::<f64>();
        let on = accepted.iter().enumerate().map(|(class, share)| (0, class, *share));
        let off = back(entry).into_iter().enumerate().map(|(class, share)| (1, class, rejected * share));
        on.chain(off).collect()
    };
    Sorter {
        exits: vec![("to", "C".to_owned()), ("rejects_to", rejects_to.to_owned())],
        routes: (0..4).map(route).collect(),
        seconds: seconds.to_vec(),
    }
}

fn aspects_line(sorter: Sorter) -> Scenario {
    let mut line = scenario(
        r#""parts": {"p": {"attitudes": {"a": 0.4, "b": 0.3, "c": 0.2, "d": 0.1}}},
        "stations": [
            {"id": "F", "type": "work", "endless": true, "time": "0 s", "to": "P"},
            {"id": "R", "type": "recirculation belt", "capacity": 50, "to": "P"},
            {"id": "P", "type": "divider", "exits": ["C", "R"]},
            {"id": "C", "type": "work", "time": "0 s"}]"#,
    );
    put(&mut line, "P", sorter);
    line
}

fn same_kept(keep: f64) -> impl Fn(usize) -> [f64; 4] {
    move |entry| {
        let mut back = START.map(|share| share * (1.0 - keep));
        back[entry] += keep;
        back
    }
}

#[test]
fn one_path_fresh_aspect_every_pass() {
    // O-01: p = 0.35, 1/p passes (geometric law).
    let mut line = scenario(
        r#""stations": [
            {"id": "F", "type": "work", "endless": true, "time": "0 s", "to": "P"},
            {"id": "R", "type": "recirculation belt", "capacity": 50, "to": "P"},
            {"id": "P", "type": "divider", "exits": ["C", "R"]},
            {"id": "C", "type": "work", "time": "0 s"}]"#,
    );
    let sorter = Sorter {
        exits: vec![("to", "C".to_owned()), ("rejects_to", "R".to_owned())],
        routes: vec![vec![(0, 0, 0.35), (1, 0, 0.65)]],
        seconds: vec![1.0],
    };
    put(&mut line, "P", sorter);
    let found = balance(&line);
    near(found.sorting[0].passes.unwrap_or(0.0), 2.857142857142857, "O-01, mean passes");
    near(found.most_per_min.unwrap_or(0.0), 60.0 * 0.35, "the path is the limit");
    assert_eq!(found.limiting.as_deref(), Some("P"));
    near(flow(&found, "R"), 60.0 * 0.65, "what comes back");
    near(found.sorting[0].recirculated_per_min, 60.0 * 0.65, "what comes back, by the account");
}

#[test]
fn efficiency_and_rate_of_a_row_of_tools() {
    // O-04 and O-05: rejects are not returned; 80 mm/s, 20 mm parts that touch.
    let found = balance(&aspects_line(aspects_path("out", same_kept(1.0), [0.25; 4])));
    near(found.sorting[0].accepted, 0.581, "O-04, share of one pass");
    near(found.most_per_min.unwrap_or(0.0) / 60.0, 2.324, "O-05, parts a second");
    // O-06: 20, 20, 12 and 15 mm.
    let seconds = [20.0, 20.0, 12.0, 15.0].map(|mm| mm / 80.0);
    let found = balance(&aspects_line(aspects_path("out", same_kept(1.0), seconds)));
    near(found.most_per_min.unwrap_or(0.0) / 60.0, 2.596648044692737, "O-06, parts a second");
}

#[test]
fn remixed_and_remembering_loops() {
    // O-07: remixed.
    let found = balance(&aspects_line(aspects_path("R", |_| START, [0.25; 4])));
    near(found.sorting[0].passes.unwrap_or(0.0), 1.0 / 0.581, "O-07 (1.721170396), mean passes");
    // O-08 and O-09: keeps its aspect with chance 0.7 (fundamental matrix: Kemeny and Snell 1960).
    let line = aspects_line(aspects_path("R", same_kept(0.7), [0.25; 4]));
    let passes = balance(&line).sorting[0].passes.unwrap_or(0.0);
    assert!((passes - 2.345084063).abs() < 5e-10, "O-08, mean passes: {passes}");
    let net = Net::new(&line, None);
    let flows = Demand { net: &net, choosers: Vec::new() }.flows(1.0, &[]);
    let at = net.node_of[2];
    let all: f64 = (0..4).map(|class| flows.total[net.state(at, class)]).sum();
    let share = flows.total[net.state(at, 3)] / all;
    assert!((share - 0.1994989207).abs() < 5e-11, "O-09, share of aspect d: {share}");
}

#[test]
fn two_paths_by_fixed_shares() {
    // O-10: shares 0.4 / 0.6, accept 0.35 / 0.5; a path is chosen anew at every pass.
    let mut line = scenario(
        r#""stations": [
            {"id": "F", "type": "work", "endless": true, "time": "0 s", "to": "D"},
            {"id": "D", "type": "divider", "exits": ["P", "Q"], "rule": "by ratio", "ratio": [2, 3],
             "strict": true},
            {"id": "P", "type": "work", "time": "1 s", "to": "C"},
            {"id": "Q", "type": "work", "time": "1 s", "to": "C"},
            {"id": "C", "type": "work", "time": "0 s"}]"#,
    );
    for (id, accept) in [("P", 0.35), ("Q", 0.5)] {
        let sorter = Sorter {
            exits: vec![("to", "C".to_owned()), ("rejects_to", "D".to_owned())],
            routes: vec![vec![(0, 0, accept), (1, 0, 1.0 - accept)]],
            seconds: vec![1.0],
        };
        put(&mut line, id, sorter);
    }
    let found = balance(&line);
    near(super::station(&found, "D").visits, 1.0 / 0.44, "O-10 (2.272727273), mean passes");
}

#[test]
fn a_path_that_wears_parts_out() {
    // O-11: damaged and removed with chance 0.01 at each pass, else accepted with chance 0.35.
    let mut line = scenario(
        r#""stations": [
            {"id": "F", "type": "work", "endless": true, "time": "0 s", "to": "P"},
            {"id": "P", "type": "work", "time": "1 s", "to": "C"},
            {"id": "C", "type": "work", "time": "0 s"}], "promise": {"at": "C", "clauses": {"mean_rate": "10 /min"}}"#,
    );
    let sorter = Sorter {
        exits: vec![("to", "C".to_owned()), ("rejects_to", "P".to_owned()), ("damaged_to", "out".to_owned())],
        routes: vec![vec![(0, 0, 0.99 * 0.35), (1, 0, 0.99 * 0.65), (2, 0, 0.01)]],
        seconds: vec![1.0],
    };
    put(&mut line, "P", sorter);
    let found = balance(&line);
    let brings = super::station(&found, "F").supply.as_ref().map_or(0.0, |supply| supply.brings_per_min);
    assert!((10.0 / brings - 0.9719495091).abs() < 5e-11, "O-11, share accepted: {}", 10.0 / brings);
}

#[test]
fn belts_and_cleats() {
    // K-01: 0.25 m/s, pitch 0.05 m: 300 parts a minute.
    let found = balance(&scenario(
        r#""stations": [
            {"id": "F", "type": "work", "endless": true, "time": "0 s"},
            {"id": "B", "type": "belt", "length": "2 m", "speed": "0.25 m/s", "spacing": "50 mm"},
            {"id": "C", "type": "work", "time": "0 s"}]"#,
    ));
    near(found.most_per_min.unwrap_or(0.0), 300.0, "K-01");
    assert_eq!(found.limiting.as_deref(), Some("B"));
    // K-02: 0.20 m/s, a cleat each 0.10 m, 3.2 parts a cleat on the mean: 384 a minute.
    let found = balance(&scenario(
        r#""stations": [
            {"id": "E", "type": "stream", "spacing": "0.5 s", "group": {"law": "table", "values": [{"value": 3, "weight": 0.8}, {"value": 4, "weight": 0.2}]}},
            {"id": "C", "type": "work", "time": "0 s"}]"#,
    ));
    near(found.rate_per_min, 384.0, "K-02");
}

#[test]
fn cleats_into_a_path_without_return() {
    // K-04: 2 cleats a second, Binomial(6, 0.5) parts each, accept 0.35: 2.1 a second.
    let mut line = scenario(
        r#""stations": [
            {"id": "E", "type": "stream", "spacing": "0.5 s", "group": {"law": "binomial", "trials": 6, "chance": 0.5}},
            {"id": "P", "type": "work", "time": "0.1 s", "to": "C"},
            {"id": "C", "type": "work", "time": "0 s"}]"#,
    );
    let sorter = Sorter {
        exits: vec![("to", "C".to_owned()), ("rejects_to", "out".to_owned())],
        routes: vec![vec![(0, 0, 0.35), (1, 0, 0.65)]],
        seconds: vec![0.1],
    };
    put(&mut line, "P", sorter);
    let found = balance(&line);
    near(found.rate_per_min / 60.0, 2.1, "K-04");
    near(found.most_per_min.unwrap_or(0.0) / 60.0, 2.1, "the stream brings no more");
    assert_eq!(found.limiting.as_deref(), Some("E"));
}
