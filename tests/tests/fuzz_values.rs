//! Fuzzing of the file reader: mutated scenarios never panic, hang or eat memory, and whatever is accepted
//! compiles, runs one simulated minute and keeps every claim of `judge`.
//!
//! A long run: `FEEDPROOF_INPUTS=1000000 cargo test --release -p feedproof-tests --test fuzz_values`. One input:
//! `FEEDPROOF_SEED=n FEEDPROOF_INPUTS=1`. Bounded memory is the reader's promise; to have it enforced, run the
//! test under a limit of the shell (`ulimit -v 4000000`).

use feedproof_tests::judge::Limits;
use feedproof_tests::luck::Luck;
use feedproof_tests::mutate_values::mutate;
use feedproof_tests::random_line::random_line;
use feedproof_tests::trials::{judge_all, number};

/// The input of a seed.
fn input(seed: u64) -> String {
    let mut luck = Luck::new(seed ^ 0xF0F0_F0F0);
    let most = luck.within(1, 10);
    let text = random_line(luck.bits() >> 32, most);
    mutate(&mut luck, &text)
}

#[test]
fn mutated_scenarios_are_refused_or_keep_every_claim() {
    let limits = Limits { events: 3_000, time: 60_000_000_000, steps: 4, may_loop: true };
    let (from, n) = (number("FEEDPROOF_SEED", 1), number("FEEDPROOF_INPUTS", 20_000));
    let series = judge_all(from, n, limits, input);
    println!("{series:?}");
    if n >= 1000 {
        assert!(series.refused * 100 > series.n * 20, "mutations do harm: {series:?}");
        assert!(series.refused * 100 < series.n * 90, "some inputs are accepted: {series:?}");
    }
}
