//! Stations that share a reach, by hand: of those that name the same one works at a time.

use super::{balance, near, scenario, station};
use crate::balance::Balance;

fn bounds(found: &Balance) -> (f64, f64) {
    found.most_bounds_per_min.expect("the most is found")
}

#[test]
fn stations_in_a_row_share_the_time_of_their_reach() {
    // A second of the robot and one of the machine for each part: 30 a minute, though each could do 60.
    let line = |reach: &str| {
        balance(&scenario(&format!(
            r#""stations": [
            {{"id": "F", "type": "work", "endless": true, "time": "0.1 s"}},
            {{"id": "T", "type": "track", "capacity": 40, "travel": "0 s"}},
            {{"id": "R", "type": "robot", "fetches": [{{"from": "T", "time": "0.7 s"}}], "set_down": "0.3 s", "reach": "arm"}},
            {{"id": "U", "type": "track", "capacity": 40, "travel": "0 s"}},
            {{"id": "M", "type": "machine", "cycle": "1 s", "reach": "{reach}"}}]"#
        )))
    };
    let found = line("arm");
    near(found.most_per_min.unwrap_or(0.0), 30.0, "together");
    assert!(matches!(found.limiting.as_deref(), Some("R" | "M")), "{:?}", found.limiting);
    for id in ["R", "M"] {
        near(station(&found, id).capacity_per_min.unwrap_or(0.0), 30.0, id);
        near(station(&found, id).free_per_min.unwrap_or(0.0), 60.0, "alone");
    }
    near(line("other").most_per_min.unwrap_or(0.0), 60.0, "each with its own");
}

#[test]
fn equal_stations_share_the_time_of_their_reach() {
    let found = balance(&scenario(
        r#""stations": [
            {"id": "F", "type": "work", "endless": true, "time": "0.1 s"},
            {"id": "T", "type": "track", "capacity": 40, "travel": "0 s"},
            {"id": "M", "type": "machine", "cycle": "1 s", "count": 3, "reach": "arm"}]"#,
    ));
    near(found.most_per_min.unwrap_or(0.0), 60.0, "one at a time");
}

#[test]
fn lines_side_by_side_share_their_reach_one_after_the_other() {
    // Strokes of 1 s and of 2 s, in order of coming: one of each in 3 s. If the slower line leaves the reach: 60 a minute.
    let found = balance(&scenario(
        r#""stations": [
            {"id": "A", "type": "work", "endless": true, "time": "0.1 s"},
            {"id": "TA", "type": "track", "capacity": 10, "travel": "0 s", "to": "MA"},
            {"id": "B", "type": "work", "endless": true, "time": "0.1 s"},
            {"id": "TB", "type": "track", "capacity": 10, "travel": "0 s", "to": "MB"},
            {"id": "MA", "type": "machine", "cycle": "1 s", "to": "out", "reach": "arm"},
            {"id": "MB", "type": "machine", "cycle": "2 s", "to": "out", "reach": "arm"}]"#,
    ));
    near(bounds(&found).0, 40.0, "by turns");
    near(bounds(&found).1, 60.0, "by the faster one alone");
    assert!(matches!(found.limiting.as_deref(), Some("MA" | "MB")), "{:?}", found.limiting);
}

#[test]
fn a_check_and_loading_keep_no_reach() {
    // A stroke of 0.5 s and 0.5 s to load: 60 a minute, and 0.5 s of the reach each; two of them find all the time they need.
    let machine = |id: &str, from: &str| {
        format!(
            r#"{{"id": "{id}", "type": "machine", "cycle": "0.5 s", "to": "out", "reach": "arm",
            "inlets": [{{"from": "{from}", "nest": {{"load": "0.5 s"}}}}]}}"#
        )
    };
    let (a, b) = (machine("MA", "TA"), machine("MB", "TB"));
    let found = balance(&scenario(&format!(
        r#""stations": [
            {{"id": "A", "type": "work", "endless": true, "time": "0.1 s"}},
            {{"id": "TA", "type": "track", "capacity": 10, "travel": "0 s", "to": "MA"}},
            {{"id": "B", "type": "work", "endless": true, "time": "0.1 s"}},
            {{"id": "TB", "type": "track", "capacity": 10, "travel": "0 s", "to": "MB"}}, {a}, {b}]"#
    )));
    near(found.most_per_min.unwrap_or(0.0), 120.0, "both at their own pace");
}
