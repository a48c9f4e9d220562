//! A longer track, or one more server, never lowers what a plain tandem has delivered at any time.
//!
//! The claim of the rulings: capacity alone, fixed travel, plain tandem, luck by part number. Every station draws
//! from a stream of its own, so that the n-th service of a station takes the same time in both lines; departure
//! times are then sums, maxima and order statistics of the same amounts (monotone in capacities and servers).

use feedproof_tests::luck::Luck;
use feedproof_tests::random_blocks::time_law;
use feedproof_tests::trials::number;
use serde_json::{Value, json};
use sim_core::network::compile;
use sim_core::replication::{Replica, Stop};
use sim_core::scenario;

/// A tandem: a feeder, then tracks and work stations in turn.
fn tandem(luck: &mut Luck) -> Value {
    let mut stations = vec![json!({"id": "F", "type": "work", "endless": true, "time": time_law(luck, 0.6)})];
    for n in 0..luck.within(1, 4) {
        let travel = luck.one(&["0 s", "0.3 s", "2 s"]);
        stations.push(
            json!({"id": format!("T{n}"), "type": "track", "capacity": luck.within(1, 5), "travel": travel}),
        );
        let mean = luck.between(0.2, 1.5);
        let servers = luck.within(1, 3);
        stations.push(
            json!({"id": format!("W{n}"), "type": "work", "places": servers, "time": time_law(luck, mean)}),
        );
    }
    json!({"feedproof": 1, "stations": stations})
}

/// Parts delivered at thirty moments of a minute and a half.
fn delivered(file: &Value, seed: u64) -> Vec<u64> {
    let text = file.to_string();
    let checked = scenario::read(&text);
    let line = checked.scenario.unwrap_or_else(|| panic!("{text}: {:?}", checked.problems));
    let plan = compile(&line);
    let mut replica = Replica::new(&plan, seed, 0, ());
    let moments = (1..=30).map(|n| n * 3_000_000_000);
    moments
        .map(|at| {
            assert_eq!(replica.run_until(at), Stop::TimeReached, "{text}");
            replica.floor.flow().1
        })
        .collect()
}

#[test]
fn longer_tracks_and_more_servers_never_deliver_less() {
    let (from, n) = (number("FEEDPROOF_SEED", 1), number("FEEDPROOF_LINES", 1000));
    let mut n_better = 0;
    for seed in from..from + n {
        let mut luck = Luck::new(seed);
        let plain = tandem(&mut luck);
        let mut larger = plain.clone();
        let which = luck.within(1, plain["stations"].as_array().map_or(1, |list| list.len() - 1));
        let key = if which % 2 == 1 { "capacity" } else { "places" };
        let size = plain["stations"][which][key].as_u64().unwrap_or(1);
        larger["stations"][which][key] = json!(size + luck.within(1, 3) as u64);
        let (before, after) = (delivered(&plain, seed), delivered(&larger, seed));
        if let Some(at) = (0..before.len()).find(|&at| after[at] < before[at]) {
            panic!(
                "seed {seed}: a larger `{key}` of {} delivers {} parts by {} s, {} before\n  {plain}\n  {larger}",
                plain["stations"][which]["id"],
                after[at],
                3 * (at + 1),
                before[at]
            );
        }
        n_better += u64::from(after != before);
    }
    assert!(
        n < 100 || n_better * 10 > n,
        "the change matters often enough to say something: {n_better} of {n}"
    );
}
