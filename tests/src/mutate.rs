//! Files with mistakes: a sound scenario text with bytes, tokens and numbers changed at random.

use crate::luck::Luck;

/// What is put in place of a number or a word.
const ODDITIES: &[&str] = &[
    "0",
    "-1",
    "1e308",
    "1",
    "0.5",
    "100000000",
    "\"0 s\"",
    "\"-3 s\"",
    "\"1 ns\"",
    "\"1e308 s\"",
    "\"30 ft\"",
    "\"2 %\"",
    "\"\"",
    "null",
    "true",
    "[]",
    "{}",
    "\"out\"",
    "\"x\"",
];

/// A text with one to four mistakes in it.
pub fn mutate(text: &str, seed: u64) -> String {
    let mut luck = Luck::new(seed);
    let mut bytes = text.as_bytes().to_vec();
    for _ in 0..=luck.below(4) {
        let at = luck.below(bytes.len());
        match luck.below(5) {
            0 => bytes[at] = luck.below(128) as u8,
            1 => {
                bytes.remove(at);
            }
            2 => bytes.insert(at, b"{}[],:\"0-9e."[luck.below(12)]),
            _ => replace_value(&mut bytes, at, ODDITIES[luck.below(ODDITIES.len())]),
        }
    }
    String::from_utf8_lossy(&bytes).into_owned()
}

/// Puts `other` in place of the value that begins after the next colon.
fn replace_value(bytes: &mut Vec<u8>, at: usize, other: &str) {
    let Some(colon) = bytes[at..].iter().position(|byte| *byte == b':').map(|n| at + n) else { return };
    let end = bytes[colon..].iter().position(|byte| matches!(byte, b',' | b'}' | b'\n')).map(|n| colon + n);
    if let Some(end) = end {
        bytes.splice(colon + 1..end, other.bytes());
    }
}
