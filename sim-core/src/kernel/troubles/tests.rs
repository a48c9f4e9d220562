use crate::kernel::State;
use crate::measure::Tally;
use crate::network::compile;
use crate::replication::{Replica, Stop};
use crate::scenario;

/// Runs one replication of a file and returns its tally and the number of stops by trouble.
fn run(text: &str) -> Tally {
    let Some(scenario) = scenario::read(text).scenario else { panic!("the file of a test is sound") };
    let plan = compile(&scenario);
    let mut replica = Replica::new(&plan, 1, 0, Tally::new(&plan.tally));
    assert_eq!(replica.run_until(plan.close_ns), Stop::TimeReached);
    replica.floor.observer.close(plan.close_ns);
    assert!(replica.conserves_parts());
    replica.floor.observer
}

#[test]
fn several_parts_of_a_stroke_jam_one_after_the_other() {
    let tally = run(r#"{"feedproof": 1, "stations": [
        {"id": "F", "type": "work", "endless": true, "time": "0 s"},
        {"id": "T", "type": "track", "capacity": 6},
        {"id": "M", "type": "machine", "cycle": "2 s", "inlets": [{"from": "T", "parts": 3}],
         "jams": [{"per_part": 1.0, "when": "start", "time": "4 s"}]}],
        "plan": {"shift": "28 s"}}"#);
    // Three jams of 4 s and a stroke of 2 s: two strokes in 28 s.
    assert_eq!(tally.time[0][State::JamClearing as usize], 24_000_000_000);
    assert_eq!(tally.time[0][State::Working as usize], 4_000_000_000);
    assert_eq!(tally.points[0].good, 6);
}

#[test]
fn a_wall_clock_runs_while_the_next_trouble_of_the_queue_is_cleared() {
    let tally = run(r#"{"feedproof": 1, "stations": [
        {"id": "S", "type": "work", "endless": true, "time": "1 s", "jams": [
            {"every": "10 s", "clock": "wall", "time": "4 s"},
            {"every": "12 s", "clock": "wall", "time": "6 s"}]}],
        "plan": {"shift": "25 s"}}"#);
    // The first strikes at 10 and is over at 14; the second waits from 12 and lasts from 14 to 20. The
    // clock of the first has run since 14, so that it strikes again at 24 and not ten seconds after 20.
    assert_eq!(tally.stops, [2, 1]);
    assert_eq!(tally.time[0][State::JamClearing as usize], 11_000_000_000);
}

/// A station that is stopped once in the middle of its work is at work again afterwards.
fn works_again(station: &str, working_s: u64) {
    let tally = run(&format!(
        r#"{{"feedproof": 1, "parts": {{"knob": {{"attitudes": {{"up": 1, "down": 0}}}}}}, "stations": [
            {{"id": "F", "type": "work", "endless": true, "time": "0 s"}},
            {{"id": "T", "type": "track", "capacity": 4}},
            {{"id": "M", {station}, "breakdowns": [{{"every": "15 s", "clock": "wall", "time": "20 s"}}],
              "to": "out"}}],
            "plan": {{"shift": "40 s"}}}}"#
    ));
    assert_eq!(tally.time[0][State::DownRepair as usize], 20_000_000_000, "{station}");
    assert_eq!(tally.time[0][State::Working as usize], working_s * 1_000_000_000, "{station}");
}

#[test]
fn a_stop_in_mid_work_leaves_no_trace_in_the_state() {
    works_again(r#""type": "work", "time": "10 s""#, 20);
    works_again(r#""type": "machine", "cycle": "10 s""#, 20);
    works_again(r#""type": "machine", "cycle": "10 s", "inlets": [{"from": "T", "parts": 2}]"#, 20);
    works_again(r#""type": "escapement", "stroke": "10 s""#, 20);
    works_again(r#""type": "orienting path", "pass": "10 s""#, 20);
    works_again(r#""type": "selector", "time": "10 s", "corrects": ["down"]"#, 20);
    works_again(r#""type": "meter conveyor", "index_time": "10 s""#, 20);
}

#[test]
fn a_stop_in_a_wait_for_a_check_leaves_no_trace_in_the_state() {
    // Every reading fails: the machine waits for a check, except for the 20 s of the repair.
    let tally = run(r#"{"feedproof": 1, "stations": [
        {"id": "F", "type": "work", "endless": true, "time": "0 s"},
        {"id": "T", "type": "track", "capacity": 4},
        {"id": "M", "type": "machine", "cycle": "1 s", "inlets": [{"from": "T"}],
         "check": {"false_empty": 1.0, "again": "10 s"},
         "breakdowns": [{"every": "15 s", "clock": "wall", "time": "20 s"}]}],
        "plan": {"shift": "40 s"}}"#);
    assert_eq!(tally.time[0][State::DownRepair as usize], 20_000_000_000);
    assert_eq!(tally.time[0][State::Checking as usize], 20_000_000_000);
}
