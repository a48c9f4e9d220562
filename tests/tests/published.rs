//! Simulation agrees with the exact values of the table of published values; see
//! [`feedproof_tests::published`] for the rule and the chance of a false alarm.

use feedproof_tests::published::{
    LEFT_OUT, Test, assembly, attendants, check_family, design, false_alarm, fitting, jams, lines, orienting,
    queues, rows, sensitivity, start_up, table, transport,
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
fn the_balance_agrees() {
    check_family("O and K, by the balance,", &design::rows());
}

#[test]
fn designs_and_sensitivities_agree() {
    check_family("G", &sensitivity::rows());
}

#[test]
fn fits_to_published_data_agree() {
    check_family("F and D", &fitting::rows());
}

#[test]
fn every_row_is_tested_or_listed_with_a_reason() {
    let tested: Vec<&str> = rows().iter().map(|row| row.id).collect();
    let values = table::values();
    assert_eq!(values.len(), 166, "the table is whole");
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

/// Rows whose question is the start itself.
const FROM_THE_START: [&str; 11] =
    ["T-01", "T-02", "T-03", "T-04", "T-06", "T-07", "T-08", "T-09", "A-03", "A-04", "A-05"];

#[test]
fn long_runs_forget_their_start() {
    for row in rows() {
        let Test::Simulated { trial, widest } = &row.test else { continue };
        if FROM_THE_START.contains(&row.id) {
            assert_eq!(trial.memory_s, 0.0, "{} begins with the start", row.id);
            continue;
        }
        // An empty start is off by at most about the value itself.
        let left = (-trial.warm_up_memories).exp() * trial.memory_s / trial.window_s;
        assert!(trial.memory_s > 0.0 && left < 0.1 * widest * 0.1, "{}", row.id);
    }
}

#[test]
fn bounds_of_relaxation_times_hold_where_they_are_known() {
    let memory_s = |id: &str| {
        let row = rows().into_iter().find(|row| row.id == id);
        match row.map(|row| row.test) {
            Some(Test::Simulated { trial, .. }) => trial.memory_s,
            Some(Test::Exactly { .. }) | None => panic!("{id} is simulated"),
        }
    };
    // M/M/1: 1 / (sqrt(mu) - sqrt(lambda))^2; Morse (1955), Stochastic properties of waiting lines, J.
    // Operations Research Society of America 3, from memory.
    assert!(memory_s("Q-01") >= (1.0 - 0.8f64.sqrt()).powi(-2));
    assert!(memory_s("T-05") >= (0.9f64.recip().sqrt() - 1.0).powi(-2));
    // Two stations of rate 1 with b slots: a walk on 0..b+2, relaxation 1 / (2 - 2 cos(pi / (b + 3))).
    for (id, slots) in [("L-01", 0.0), ("L-02", 1.0), ("L-03", 2.0), ("L-04", 5.0)] {
        assert!(memory_s(id) >= (2.0 - 2.0 * (std::f64::consts::PI / (slots + 3.0)).cos()).recip());
    }
}
