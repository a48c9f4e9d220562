//! The file reader under mutation: no panic, no hang; what is accepted can be written anew and read again, runs a
//! minute and keeps every claim of `judge`.
//!
//! `FEEDPROOF_INPUTS` sets the number of files (60000 by default), `FEEDPROOF_SEED` the first seed.

use feedproof_tests::judge::{Limits, Verdict, judge};
use feedproof_tests::mutate::mutate;
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
fn try_out(text: &str, seed: u64) -> bool {
    let limits = Limits { events: EVENTS, time: MINUTE, steps: 2, may_loop: true };
    match judge(text, seed, limits) {
        Ok(Verdict::Refused) => return false,
        Ok(Verdict::Ran { .. }) => {}
        Err(broken) => panic!("seed {seed}: {}\n  found: {}\n  text: {text}", broken.claim, broken.found),
    }
    let line = scenario::read(text).scenario;
    line.is_some_and(|line| !balance::check(&line).has_errors())
}

#[test]
fn mutated_files_are_refused_or_run() {
    let (first, n) = (number("FEEDPROOF_SEED", 1), number("FEEDPROOF_INPUTS", 60_000));
    let mut n_accepted = 0;
    for seed in first..first + n {
        let text = mutate(TEXTS[(seed % TEXTS.len() as u64) as usize], seed);
        n_accepted += u64::from(try_out(&text, seed));
    }
    assert!(n_accepted > n / 50, "enough of the files are accepted to say something: {n_accepted} of {n}");
    assert!(n_accepted < n, "some are refused");
}
