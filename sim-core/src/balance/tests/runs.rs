//! The balance of each run of a product sequence.

use super::super::{BalanceResult, check};
use super::scenario;
use crate::diag::{Severity, code};

/// Two parts: containers of 6 kg hold 600 or 300 of them, the press takes 1 s or 0.5 s for one.
fn sequence(lift: &str, runs: &str) -> BalanceResult {
    let line = scenario(&format!(
        r#""parts": {{"a": {{"mass": "10 g"}}, "b": {{"mass": "20 g"}}}},
        "stations": [
            {{"id": "tip", "type": "dumper", "contents": "6 kg", "call_level": 0, "lift": "{lift}", "tip": "0 s"}},
            {{"id": "bin", "type": "bin", "capacity": 2000}},
            {{"id": "feed", "type": "step feeder", "per_index": 1, "index_time": "0.1 s"}},
            {{"id": "press", "type": "machine", "cycle": "1 s", "cycle_by_part": {{"b": "0.5 s"}}}}],
        "plan": {{"changeover": {{"counts_at": "press", "runs": [{runs}]}}}}"#
    ));
    BalanceResult::of(&line).expect("a balance")
}

#[test]
fn each_part_has_its_own_times_and_contents() {
    // Cycles of 200 s bring 180 or 90 a minute; the press does 60 or 120.
    let runs = r#"{"part": "a", "good": 100}, {"part": "b", "good": 100}, {"part": "a"}"#;
    let found = sequence("200 s", runs).balances;
    let most: Vec<_> = found
        .iter()
        .map(|balance| (balance.run.as_deref(), balance.most_per_min, balance.limiting.as_deref()))
        .collect();
    assert_eq!(found.len(), 2, "each part once: {most:?}");
    for ((run, most, limiting), (known, wanted, by)) in
        most.into_iter().zip([("a", 60.0, "press"), ("b", 90.0, "tip")])
    {
        let most = most.expect("a limit");
        assert!((most - wanted).abs() < 1e-9 * wanted, "{run:?}: {most} for {wanted}");
        assert_eq!((run, limiting), (Some(known), Some(by)));
    }
}

#[test]
fn a_time_by_part_holds_in_the_first_run_too() {
    let found = sequence("60 s", r#"{"part": "a"}"#).balances;
    assert!((found[0].most_per_min.expect("a limit") - 60.0).abs() < 1e-9);
    // The first run is of the part that the file's sources bring: b, where they say so.
    let line = scenario(
        r#""parts": {"a": {}, "b": {}},
        "stations": [
            {"id": "feed", "type": "work", "endless": true, "part": "b", "time": "1 s", "time_by_part": {"b": "0.25 s"}},
            {"id": "press", "type": "work", "time": "0.1 s"}],
        "plan": {"changeover": {"counts_at": "press", "runs": [{"part": "b"}]}}"#,
    );
    let found = BalanceResult::of(&line).expect("a balance").balances;
    assert!((found[0].most_per_min.expect("a limit") - 240.0).abs() < 1e-9, "{found:?}");
}

/// Parts of the second run can lie face down, and keep to it: they never leave the loop.
#[test]
fn a_loop_without_a_way_out_is_found_in_every_run() {
    let line = |right_way: &str| {
        scenario(&format!(
            r#""parts": {{"a": {{"attitudes": {{"up": 1, "down": 0}}, "right_way": "up"}},
                "b": {{"attitudes": {{"up": 0.5, "down": 0.5}}, "right_way": "up"}}}},
            "stations": [
                {{"id": "F", "type": "work", "endless": true, "time": "1 s", "to": "P"}},
                {{"id": "P", "type": "orienting path", "pass": "0.1 s", "tools": [{{"id": "edge", "passes": {right_way}}}],
                    "rejects_to": "R", "comes_back": {{"keeps": 1}}, "to": "C"}},
                {{"id": "R", "type": "recirculation belt", "capacity": 50, "to": "P"}},
                {{"id": "C", "type": "work", "time": "0.1 s"}}],
            "plan": {{"changeover": {{"counts_at": "C", "runs": [{{"part": "a", "good": 9}}, {{"part": "b"}}]}}}}"#
        ))
    };
    let found = check(&line(r#"{"up": 1}"#)).into_vec();
    assert_eq!(found.len(), 1, "{found:?}");
    assert_eq!((found[0].severity, found[0].code), (Severity::Error, code::NO_WAY_OUT));
    assert!(found[0].message.contains("`b`"), "{found:?}");
    assert_eq!(check(&line(r#"{"up": 1, "down": 0.5}"#)).into_vec(), []);
}

/// Clumps that never break up fill a loop; in a bin they come apart, and out of the line they are no loop.
#[test]
fn clumps_that_never_break_up_are_reported_where_they_go_round() {
    let line = |back: &str, breaks_up: &str| {
        let text = format!(
            r#""stations": [
                {{"id": "B", "type": "bin", "content": 100, "capacity": 1000}},
                {{"id": "F", "type": "step feeder", "per_index": 1, "index_time": "1 s", "to": "P"}},
                {{"id": "P", "type": "orienting path", "pass": "0.1 s", "tools": [{{"id": "edge", "accepts": 0.5}}],
                    "rejects_to": "{back}", "clumps": {{"chance": 0.1, "breaks_up": {breaks_up}}}, "to": "C"}},
                {{"id": "R", "type": "recirculation belt", "capacity": 50, "to": "P"}},
                {{"id": "C", "type": "work", "time": "0.1 s"}}]"#
        );
        let line = if back == "R" {
            text
        } else {
            text.replace(r#"{"id": "R", "type": "recirculation belt", "capacity": 50, "to": "P"},"#, "")
        };
        let found = check(&scenario(&line)).into_vec();
        found.into_iter().filter(|problem| problem.message.contains("clumps")).count()
    };
    assert_eq!(line("R", "0"), 1);
    assert_eq!(line("R", "0.1"), 0);
    assert_eq!(line("B", "0"), 0, "in a bin they come apart");
    assert_eq!(line("out", "0"), 0);
}

/// The warnings of two paths differ in their place only, and both are given; in two runs each is given once.
#[test]
fn each_path_with_lasting_clumps_is_reported() {
    let path = |id: &str, belt: &str, to: &str| {
        format!(
            r#"{{"id": "{id}", "type": "orienting path", "pass": "0.1 s", "tools": [{{"id": "edge", "accepts": 0.5}}],
                "rejects_to": "{belt}", "clumps": {{"chance": 0.1, "breaks_up": 0}}, "to": "{to}"}},
            {{"id": "{belt}", "type": "recirculation belt", "capacity": 50, "to": "{id}"}}"#
        )
    };
    let line = format!(
        r#""parts": {{"a": {{}}, "b": {{}}}},
        "stations": [
            {{"id": "F", "type": "work", "endless": true, "time": "1 s", "to": "P"}},
            {}, {},
            {{"id": "C", "type": "work", "time": "0.1 s"}}],
        "plan": {{"changeover": {{"counts_at": "C", "runs": [{{"part": "a", "good": 9}}, {{"part": "b"}}]}}}}"#,
        path("P", "R", "Q"),
        path("Q", "S", "C")
    );
    let scenario = scenario(&line);
    let found = check(&scenario).into_vec();
    let clumps: Vec<_> = found.iter().filter(|problem| problem.message.contains("clumps")).collect();
    assert_eq!(clumps.len(), 2, "{found:?}");
    assert!(clumps.iter().all(|problem| problem.severity == Severity::Warning));
    assert_ne!(clumps[0], clumps[1], "each tells its place");
}
