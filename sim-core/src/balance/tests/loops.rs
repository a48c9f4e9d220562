//! Loops without a way out, slow loops, points of use that are too slow.

use super::super::{check, solve};
use super::{Sorter, put, scenario};
use crate::diag::{Diagnostic, Severity, code};
use crate::scenario::Scenario;

/// A path that accepts good parts face up and treats bent ones as given; rejects come back, remixed or not.
fn loop_with(bent: &[(u8, f64)], is_remixed: bool) -> Scenario {
    let mut line = scenario(
        r#""parts": {"pin": {"attitudes": {"up": 0.5, "down": 0.5}, "conditions": {"bent": "1 %"}}},
        "stations": [
            {"id": "F", "type": "work", "endless": true, "time": "0 s", "to": "P"},
            {"id": "R", "type": "recirculation belt", "capacity": 100, "to": "P"},
            {"id": "P", "type": "divider", "exits": ["C", "R"]},
            {"id": "C", "type": "work", "time": "0.1 s"}],
            "promise": {"at": "C", "clauses": {"mean_rate": "59.4 /min"}}"#,
    );
    let back = |class: usize, share: f64| {
        let first = class & !1;
        if is_remixed {
            vec![(1, first, share / 2.0), (1, first + 1, share / 2.0)]
        } else {
            vec![(1, class, share)]
        }
    };
    let of_bent = |class: usize| {
        let ways =
            bent.iter().flat_map(
                |&(exit, share)| {
                    if exit == 1 { back(class, share) } else { vec![(exit, class, share)] }
                },
            );
        ways.collect()
    };
    let sorter = Sorter {
        exits: vec![("to", "C".to_owned()), ("rejects_to", "R".to_owned()), ("scrap_to", "out".to_owned())],
        routes: vec![vec![(0, 0, 1.0)], back(1, 1.0), of_bent(2), of_bent(3)],
        seconds: vec![0.1; 4],
    };
    put(&mut line, "P", sorter);
    line
}

fn problems(line: &Scenario) -> Vec<Diagnostic> {
    check(line).into_vec()
}

#[test]
fn a_sound_loop_has_nothing_to_report() {
    assert_eq!(problems(&loop_with(&[(1, 0.5), (2, 0.5)], true)), []);
}

#[test]
fn bent_parts_that_never_leave_fill_the_belt() {
    // 59.4 good a minute bring 0.6 bent ones: 100 places in 10,000 s.
    let line = loop_with(&[(1, 1.0)], true);
    let found = problems(&line);
    assert_eq!(found.len(), 1, "{found:?}");
    assert_eq!((found[0].severity, found[0].code), (Severity::Error, code::NO_WAY_OUT));
    let wanted = "parts `pin`, bent can never leave the loop `R`, `P`; at the demanded rate they fill it (100 places) in 2.8 h";
    assert_eq!(found[0].message, wanted);
    assert!(solve(&line).is_err(), "and there is no balance");
}

#[test]
fn a_kept_attitude_is_named() {
    let found = problems(&loop_with(&[(2, 1.0)], false));
    assert_eq!(found.len(), 1, "{found:?}");
    // Half of all good parts lie face down: 59.4 a minute.
    let wanted = "parts `pin`, good, down can never leave the loop `R`, `P`; at the demanded rate they fill it (100 places) in 101 s";
    assert_eq!(found[0].message, wanted);
}

#[test]
fn hardly_a_way_out_is_a_warning() {
    // One in 10,000 passes: 10,000 passes. Good ones pass twice: 2 * 99 to 1 * 10,000, 98.06 %.
    let found = problems(&loop_with(&[(1, 0.9999), (2, 0.0001)], true));
    assert_eq!(found.len(), 1, "{found:?}");
    assert_eq!((found[0].severity, found[0].code), (Severity::Warning, code::HARDLY_A_WAY_OUT));
    let wanted = "parts `pin`, bent pass `P` 10000 times on the mean before they leave its loop, and make up 98.06 % of what passes there";
    assert_eq!(found[0].message, wanted);
    assert!(problems(&loop_with(&[(1, 0.998), (2, 0.002)], true)).is_empty(), "500 passes are not");
}

#[test]
fn a_ring_of_stations_is_an_error() {
    let line = scenario(
        r#""stations": [
            {"id": "F", "type": "work", "endless": true, "time": "1 s"},
            {"id": "D", "type": "divider", "exits": ["A", "C"]},
            {"id": "A", "type": "work", "time": "1 s"},
            {"id": "T", "type": "track", "capacity": 3, "to": "A"},
            {"id": "C", "type": "work", "time": "1 s"}]"#,
    );
    let found = problems(&line);
    assert_eq!(found.len(), 1, "{found:?}");
    assert_eq!(found[0].code, code::NO_WAY_OUT);
    assert_eq!(found[0].message, "no part can leave the loop `A`, `T`");
    assert!(solve(&line).is_err());
}

#[test]
fn a_slow_point_of_use_is_reported() {
    let line = |rate: &str| {
        problems(&scenario(&format!(
            r#""parts": {{"p": {{"conditions": {{"bad": "10 %"}}}}}}, "stations": [
                {{"id": "F", "type": "work", "endless": true, "time": "0 s"}},
                {{"id": "M", "type": "machine", "cycle": "0.9 s"}}],
                "promise": {{"at": "M", "clauses": {{"mean_rate": "{rate} /min"}}}}"#
        )))
    };
    // 66.67 strokes a minute, nine of ten good: 60.
    assert!(line("59").is_empty(), "1.7 % to spare");
    let close = line("59.5");
    assert!(close[0].message.contains("hardly more"), "{close:?}");
    let slow = line("60.1");
    assert!(slow[0].message.contains("cannot be reached"), "{slow:?}");
    assert_eq!((slow[0].severity, slow[0].code), (Severity::Warning, code::CANNOT_REACH));
}

#[test]
fn points_of_use_in_a_row_count_parts_twice_and_side_by_side_they_do_not() {
    let line = |at: &str| {
        scenario(&format!(
            r#""stations": [
                {{"id": "F", "type": "work", "endless": true, "time": "1 s"}},
                {{"id": "D", "type": "divider", "exits": ["A", "B"]}},
                {{"id": "A", "type": "work", "time": "1 s", "to": "C"}},
                {{"id": "B", "type": "work", "time": "1 s", "to": "out"}},
                {{"id": "C", "type": "work", "time": "0.1 s", "to": "out"}}],
            "promise": {{"at": {at}, "clauses": {{"mean_rate": "20 /min"}}}}"#
        ))
    };
    assert!(problems(&line(r#"["A", "B"]"#)).is_empty());
    let found = problems(&line(r#"["C", "B", "A"]"#));
    assert_eq!(found.len(), 1, "{found:?}");
    assert_eq!(found[0].message, "what `A` hands on comes to `C`: parts that pass both are counted twice");
    assert_eq!(found[0].path, "promise.at[0]");
}
