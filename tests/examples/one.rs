//! Prints the text of one seed.
use feedproof_tests::{random_line::random_line, trials::number};
fn main() {
    let seed = number("FEEDPROOF_SEED", 1);
    println!("{}", random_line(seed, 1 + (seed % 12) as usize));
}
