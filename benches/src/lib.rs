//! Shared pieces of the benches: lines to run, and one replication of a line.

pub mod lines;

use sim_core::measure::{NearTally, Tally};
use sim_core::network::{self, Plan};
use sim_core::replication::{Replica, Stop};
use sim_core::scenario;

/// Reads and compiles a scenario text.
///
/// # Panics
/// If the text has errors: benches run only lines that are known to be sound.
pub fn compile(text: &str) -> Plan {
    let checked = scenario::read(text);
    let Some(scenario) = checked.scenario else { panic!("a bench line is sound: {:?}", checked.problems) };
    network::compile(&scenario)
}

/// Runs one replication as the program does, tally included; returns the number of timed events.
///
/// # Panics
/// If the replication ends before its time or loses a part.
pub fn replicate(plan: &Plan, replication: u64) -> u64 {
    let mut replica = Replica::new(plan, 1, replication, NearTally(Tally::new(&plan.tally)));
    assert_eq!(replica.run_until(plan.open_ns), Stop::TimeReached);
    replica.floor.observer.0.open(plan.open_ns);
    assert_eq!(replica.run_until(plan.close_ns), Stop::TimeReached);
    replica.floor.observer.0.close(plan.close_ns);
    assert!(replica.conserves_parts());
    replica.n_events
}

/// A line of some stations between an endless source and the way out, to measure what they cost.
pub fn line_of(middle: &str) -> String {
    line(&format!(
        r#"{{"id": "source", "type": "work", "endless": true, "time": "1 s"}},
            {middle}
            {{"id": "sink", "type": "work", "time": "1 s", "to": "out"}}"#
    ))
}

/// A line of some stations that bring parts, and a sink.
pub fn line_from(supply: &str) -> String {
    line(&format!(r#"{supply} {{"id": "sink", "type": "work", "time": "1 s", "to": "out"}}"#))
}

/// A line of these stations, an attendant and an hour.
fn line(stations: &str) -> String {
    format!(
        r#"{{"feedproof": 1,
            "parts": {{"pin": {{"length": "20 mm", "attitudes": {{"up": 0.5, "down": 0.5}}, "right_way": "up",
                "conditions": {{"bent": "1 %"}}, "sizes": {{"width": {{"mean": "10 mm", "spread": "0.1 mm"}}}}}}}},
            "stations": [{stations}], "attendants": [{{"id": "A", "walk": "5 s"}}], "plan": {{"shift": "1 h", "start": "primed"}}}}"#
    )
}
