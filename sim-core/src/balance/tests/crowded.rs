//! Paths whose tools depend on the loading: bounds worked out by hand.

use super::{balance, near, scenario, station};
use crate::balance::Balance;

/// A supply, a path whose rejects go into a box or round, and a machine.
fn line(goes_round: bool, tools: &str, rate: &str) -> Balance {
    let rejects = match goes_round {
        true => r#"{"id": "R", "type": "recirculation belt", "capacity": 500, "to": "P"}"#,
        false => r#"{"id": "R", "type": "scrap box"}"#,
    };
    balance(&scenario(&format!(
        r#""stations": [
            {{"id": "F", "type": "work", "endless": true, "time": "0.5 s"}},
            {{"id": "P", "type": "orienting path", "pass": "1 s", "rejects_to": "R", "tools": [{tools}]}},
            {{"id": "M", "type": "machine", "cycle": "0.1 s", "to": "out"}}, {rejects}],
        "promise": {{"at": "M", "clauses": {{"mean_rate": "{rate} /min"}}}}"#
    )))
}

fn bounds(balance: &Balance, name: &str, expected: (f64, f64)) {
    let (low, high) = station(balance, name).bounds_per_min.unwrap_or_else(|| panic!("`{name}` has bounds"));
    near(low, expected.0, &format!("least of {name}"));
    near(high, expected.1, &format!("most of {name}"));
}

const EDGE: &str = r#"{"id": "edge", "accepts": 0.75, "crowded": {"accepts": 0.5}}"#;

#[test]
fn what_is_needed_lies_between_that_of_an_uncrowded_and_of_a_crowded_path() {
    let found = line(false, EDGE, "15");
    bounds(&found, "P", (20.0, 30.0));
    bounds(&found, "R", (5.0, 15.0));
    bounds(&found, "M", (15.0, 15.0));
    let most = found.most_bounds_per_min.unwrap_or_default();
    near(most.0, 30.0, "60 a minute, all crowded");
    near(most.1, 45.0, "60 a minute, uncrowded");
}

#[test]
fn what_goes_round_has_bounds_as_well() {
    let found = line(true, EDGE, "15");
    bounds(&found, "P", (20.0, 30.0));
    bounds(&found, "R", (5.0, 15.0));
    bounds(&found, "F", (15.0, 15.0));
}

#[test]
fn of_several_tools_each_may_find_it_crowded_or_not() {
    let two = format!(r#"{EDGE}, {{"id": "step", "accepts": 1.0, "crowded": {{"accepts": 0.8}}}}"#);
    let found = line(false, &two, "15");
    bounds(&found, "P", (20.0, 37.5));
    let seven: Vec<String> = (0..7)
        .map(|n| format!(r#"{{"id": "t{n}", "accepts": 1.0, "crowded": {{"accepts": 0.9}}}}"#))
        .collect();
    let found = line(false, &seven.join(", "), "15");
    assert_eq!(station(&found, "P").bounds_per_min, None, "too many choices: nothing is said");
    assert_eq!(found.most_bounds_per_min, None);
}

#[test]
fn who_can_only_leave_a_crowded_path_or_only_an_uncrowded_one_is_not_trapped() {
    for edge in [
        r#"{"id": "edge", "accepts": 0.0, "crowded": {"accepts": 0.5}}"#,
        r#"{"id": "edge", "accepts": 0.5, "crowded": {"accepts": 0.0}}"#,
    ] {
        let found = line(true, edge, "1");
        bounds(&found, "F", (1.0, 1.0));
    }
}
