//! Simulation agrees with the exact values of the table of published values; see
//! [`feedproof_tests::published`] for the rule and the chance of a false alarm.

use feedproof_tests::published::{
    LEFT_OUT, Test, assembly, attendants, check_family, false_alarm, jams, lines, orienting, queues, rows,
    start_up, table, transport,
};

#[test]
fn queues_agree() {
    check_family("Q", &queues::rows());
}

#[test]
fn start_up_agrees() {
    check_family("T", &start_up::rows());
}

#[test]
fn lines_agree() {
    check_family("L", &lines::rows());
}

#[test]
fn stations_that_jam_agree() {
    check_family("U", &jams::rows());
}

#[test]
fn shared_attendants_agree() {
    check_family("I", &attendants::rows());
}

#[test]
fn orienting_paths_agree() {
    check_family("O", &orienting::rows());
}

#[test]
fn transport_agrees() {
    check_family("K", &transport::rows());
}

#[test]
fn assembly_agrees() {
    check_family("A", &assembly::rows());
}

#[test]
fn every_row_is_tested_or_listed_with_a_reason() {
    let tested: Vec<&str> = rows().iter().map(|row| row.id).collect();
    let values = table::values();
    assert_eq!(values.len(), 124, "the table is whole");
    for value in &values {
        let is_tested = tested.contains(&value.id.as_str());
        let reason = LEFT_OUT.iter().find(|(id, _)| *id == value.id);
        assert!(is_tested != reason.is_some(), "{} is either tested or left out", value.id);
        assert!(!value.source.is_empty(), "{} names its source", value.id);
    }
    for (id, reason) in LEFT_OUT {
        assert!(values.iter().any(|value| value.id == *id) && !reason.is_empty(), "{id} is a row");
    }
    assert!(values.len() - LEFT_OUT.len() >= 90, "most rows are tested");
}

#[test]
fn a_right_program_fails_less_than_once_in_ten_thousand() {
    let rows = rows();
    let simulated: Vec<_> = rows.iter().filter(|row| matches!(row.test, Test::Simulated { .. })).collect();
    assert!(false_alarm(simulated.len()) < 1e-4);
    for row in simulated {
        if let Test::Simulated { trial, widest } = &row.test {
            assert!(trial.replications >= 100, "{}: means of enough replications are normal", row.id);
            assert!(*widest <= 0.03, "{}: the interval is narrow", row.id);
        }
    }
}
