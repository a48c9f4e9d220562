//! Properties that hold on every line; see `judge` for the claims.
//!
//! Replay one seed: `FEEDPROOF_SEED=n FEEDPROOF_LINES=1 cargo test -p feedproof-tests --test properties`.

use feedproof_tests::judge::Limits;
use feedproof_tests::random_line::random_line;
use feedproof_tests::trials::{judge_all, number};

#[test]
fn random_lines_keep_every_claim() {
    let limits = Limits { events: 20_000, time: 400_000_000_000, steps: 40, may_loop: false };
    let (from, n) = (number("FEEDPROOF_SEED", 1), number("FEEDPROOF_LINES", 3000));
    let series = judge_all(from, n, limits, |seed| random_line(seed, 1 + (seed % 12) as usize));
    println!("{series:?}");
    assert!(series.refused * 50 <= series.n, "the generator makes lines that the reader takes: {series:?}");
}
