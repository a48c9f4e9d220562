//! The file reader under mutation: no panic, no hang; what is accepted runs a minute and keeps every part.
//!
//! `FEEDPROOF_INPUTS` sets the number of files (60000 by default), `FEEDPROOF_SEED` the first seed.

use feedproof_tests::mutate::mutate;
use sim_core::measure::Tally;
use sim_core::network::compile;
use sim_core::replication::{Replica, Stop};
use sim_core::{balance, scenario};

const TEXTS: &[&str] = &[
    include_str!("../../scenarios/knob-two-paths.json"),
    include_str!("../../scenarios/starter.json"),
    include_str!("../../scenarios/reference/ref12.json"),
    include_str!("../reference/cross-check.json"),
];

/// Simulated time of what is accepted, ns, and its most events.
const MINUTE: u64 = 60_000_000_000;
const EVENTS: u64 = 50_000;

fn number(name: &str, default: u64) -> u64 {
    std::env::var(name).ok().and_then(|text| text.parse().ok()).unwrap_or(default)
}

/// Whether the text was accepted.
fn try_out(text: &str, what: &str) -> bool {
    let Some(line) = scenario::read(text).scenario else { return false };
    if balance::check(&line).has_errors() {
        return false;
    }
    let plan = compile(&line);
    let mut replica = Replica::new(&plan, 1, 0, Tally::new(&plan.tally));
    replica.events_max = EVENTS;
    let stop = replica.run_until(MINUTE);
    assert!(replica.conserves_parts(), "{what}: parts are lost or made: {:?}", replica.floor.flow());
    if stop == Stop::TimeReached {
        replica.floor.observer.close(MINUTE);
        for (post, time) in replica.floor.observer.time.iter().enumerate() {
            assert_eq!(time.iter().sum::<u64>(), MINUTE, "{what}: all time of post {post} is accounted for");
        }
    }
    true
}

#[test]
fn mutated_files_are_refused_or_run() {
    let (first, n) = (number("FEEDPROOF_SEED", 1), number("FEEDPROOF_INPUTS", 60_000));
    let mut n_accepted = 0;
    for seed in first..first + n {
        let text = mutate(TEXTS[(seed % TEXTS.len() as u64) as usize], seed);
        n_accepted += u64::from(try_out(&text, &format!("seed {seed}")));
    }
    assert!(n_accepted > n / 50, "enough of the files are accepted to say something: {n_accepted} of {n}");
    assert!(n_accepted < n, "some are refused");
}
