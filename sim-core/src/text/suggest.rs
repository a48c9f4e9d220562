//! The nearest valid word, for "did you mean".
//!
//! Invariant: a word is only suggested when most of it was typed; a wild guess helps nobody.

use super::json::{Entry, Node, Value};

/// Words longer than this are not compared: they are no slip of the fingers, and comparing costs time.
const LONGEST: usize = 64;

/// The word nearest to what was typed, if it is near enough. Letter case, and space, `-` and `_`, do not
/// count. Distance: Damerau and Levenshtein, optimal string alignment; at most a third of the longer word.
/// Among equals the first one listed wins.
pub fn nearest<'w>(typed: &str, words: impl IntoIterator<Item = &'w str>) -> Option<&'w str> {
    if typed.len() > LONGEST {
        return None;
    }
    let folded = fold(typed);
    let mut best: Option<(usize, &str)> = None;
    for word in words {
        let other = fold(word);
        let longer = folded.chars().count().max(other.chars().count());
        let distance = strsim::osa_distance(&folded, &other);
        if 3 * distance <= longer.max(3)
            && distance < longer
            && best.is_none_or(|(least, _)| distance < least)
        {
            best = Some((distance, word));
        }
    }
    best.map(|(_, word)| word)
}

/// The entry of an object whose key seems to be a slip for this one; of short keys nobody can tell.
pub fn near_entry<'n>(node: &'n Node, key: &'static str) -> Option<&'n Entry> {
    const SHORT: usize = 2;
    let Value::Object(entries) = &node.value else { return None };
    if key.len() <= SHORT {
        return None;
    }
    entries.iter().find(|entry| nearest(&entry.key, [key]).is_some())
}

/// Whether all keys of an object are among these, or slips of them.
pub fn keys_fit(node: &Node, keys: &[&str]) -> bool {
    let Value::Object(entries) = &node.value else { return false };
    entries.iter().all(|entry| nearest(&entry.key, keys.iter().copied()).is_some())
}

fn fold(word: &str) -> String {
    word.chars().filter(|c| !matches!(c, ' ' | '-' | '_')).flat_map(char::to_lowercase).collect()
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn slips_are_recognised_and_strangers_are_not() {
        let words = ["speed", "spread", "length", "cleat spacing", "at"];
        for (typed, expected) in [
            ("sped", Some("speed")),
            ("Speed", Some("speed")),
            ("lenght", Some("length")),
            ("cleat_spacing", Some("cleat spacing")),
            ("cleat-spacign", Some("cleat spacing")),
            ("colour", None),
            ("x", None),
            ("", None),
        ] {
            assert_eq!(nearest(typed, words), expected, "typed {typed:?}");
        }
        assert_eq!(nearest(&"speed".repeat(1000), words), None);
    }
}
