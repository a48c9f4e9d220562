//! Random lines use every word of the file format, so that no station and no option of one can be forgotten.

use feedproof_tests::random_line::random_value;
use feedproof_tests::words::{Format, Words};
use sim_core::scenario;

/// Lines that are drawn; each word has to be in one that the reader takes.
const N_LINES: u64 = 6000;

/// What all stations may say counts once, whichever says it; notes are not read.
fn in_general(words: Words) -> Words {
    const ALL: [&str; 4] = ["count", "in_turn", "spread", "priority"];
    let general = |word: String| match word.strip_prefix("station-").and_then(|rest| rest.split_once('.')) {
        Some((_, rest)) if ALL.iter().any(|key| rest.starts_with(key)) => format!("station.{rest}"),
        _ => word,
    };
    words.into_iter().filter(|word| !word.ends_with(".note")).map(general).collect()
}

/// Words of a data file mean nothing to a line without one; they have tests of their own (`sim-cli/tests/evidence.rs`).
fn is_of_a_data_file(word: &str) -> bool {
    const OF_VALUES: [&str; 3] = [".file", ".column", ".unit"];
    word.contains("-observed.") && OF_VALUES.iter().any(|key| word.ends_with(key))
}

#[test]
fn random_lines_use_every_word_of_the_format() {
    let format = Format::new(scenario::schema());
    let mut used = Words::new();
    let mut refused = 0;
    for seed in 1..=N_LINES {
        let line = random_value(seed, 1 + (seed % 12) as usize);
        if scenario::read(&line.to_string()).scenario.is_some() {
            format.note(&line, &mut used);
        } else {
            refused += 1;
        }
    }
    let (all, used) = (in_general(format.words()), in_general(used));
    let missing: Vec<&String> = all.difference(&used).filter(|word| !is_of_a_data_file(word)).collect();
    assert!(missing.is_empty(), "{} words are in no line ({refused} refused): {missing:#?}", missing.len());
}
