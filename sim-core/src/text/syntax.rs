//! Why a text is not JSON, in words that help somebody who does not write JSON every day.
//!
//! `serde_json` finds the place; this module looks at what stands there. It changes nothing and never fails:
//! when it knows nothing better it passes on the words of `serde_json`.

use crate::diag::{Problem, Span, code};

/// The words of `serde_json` without its "at line 3 column 7".
pub(crate) fn without_position(error: &serde_json::Error) -> String {
    let words = error.to_string();
    let end = words.rfind(" at line ").unwrap_or(words.len());
    words[..end].to_owned()
}

/// Place and problem of a syntax error. `text` is `source` without its byte order mark.
pub(crate) fn explain(source: &str, text: &str, error: &serde_json::Error) -> (Span, Problem) {
    let skipped = source.len() - text.len();
    let offset = offset_of(text, error.line(), error.column());
    let words = without_position(error);
    let offset = if words.contains("expected ident") { word_start(text, offset) } else { offset };
    let here = text[offset..].chars().next();
    let before = text[..offset].trim_end();
    let (message, help) = own_words(here, before, &text[offset..], &words, error.is_eof());
    let width = here.map_or(0, char::len_utf8);
    let start = skipped + offset;
    let problem = Problem::new(code::SYNTAX, format!("{message} ({words})"));
    let problem = match help {
        Some(help) => problem.help(help),
        None => problem,
    };
    (Span::new(start, start + width), problem)
}

/// `serde_json` counts lines from 1 and the bytes of a line from 1; 0 stands for the line's beginning.
fn offset_of(text: &str, line: usize, column: usize) -> usize {
    let start: usize = text.split_inclusive('\n').take(line.saturating_sub(1)).map(str::len).sum();
    text.floor_char_boundary((start + column.saturating_sub(1)).min(text.len()))
}

/// Where the word begins in which `serde_json` stopped: `fast` is no `false`.
fn word_start(text: &str, offset: usize) -> usize {
    let before = &text[..offset];
    before.trim_end_matches(|c: char| c.is_alphanumeric()).len()
}

fn own_words(
    here: Option<char>,
    before: &str,
    rest: &str,
    words: &str,
    at_end: bool,
) -> (&'static str, Option<&'static str>) {
    let last = before.chars().next_back();
    let closing = matches!(here, Some(']' | '}'));
    if before.is_empty() && rest.trim().is_empty() {
        return ("the file is empty", Some("the smallest object is `{}`"));
    }
    if at_end {
        return ("the file ends too early", Some("a closing `\"`, `]` or `}` is missing"));
    }
    if closing && last == Some(',') {
        return ("a comma stands before the closing bracket", Some("take the last comma out"));
    }
    if rest.starts_with("//") || rest.starts_with("/*") || here == Some('#') {
        return ("JSON has no comments", Some("write a \"note\": it is allowed in every object"));
    }
    if words.contains("control character") {
        return (
            "text has to end on the line where it begins",
            Some("close the `\"`, or write \\n for a line break"),
        );
    }
    if here == Some('\'') {
        return ("text stands in double quotes, not in single ones", None);
    }
    if words.contains("expected `,`") {
        return ("a comma, or a closing bracket, is missing before this", None);
    }
    if words.contains("expected `:`") {
        return ("a colon is missing between the key and its value", None);
    }
    if words.contains("key must be a string") {
        return ("a key is expected here, in double quotes", Some("for example \"speed\": \"30 ft/min\""));
    }
    if words.contains("trailing characters") {
        return (
            "the file goes on after its last closing bracket",
            Some("a bracket may be closed too early"),
        );
    }
    if words.contains("escape") {
        return ("`\\` begins an escape that JSON does not know", Some("write \\\\ for one backslash"));
    }
    if words.contains("number") {
        return ("this is not a number of JSON", Some("for example 0.5, not .5 or 5. or 05"));
    }
    ("a value is expected here", Some("text, a quantity for example, stands in double quotes: \"30 ft/min\""))
}

#[cfg(test)]
mod tests {
    use crate::diag::{Diagnostics, line_column};
    use crate::text::json::parse;

    #[test]
    fn mistakes_are_named_at_their_place() {
        let cases = [
            ("{\"a\": 1,\n \"b\": 2,\n}", (3, 1), "comma stands before"),
            ("{\"a\": [1, 2,]}", (1, 13), "comma stands before"),
            ("{\"a\": 1\n \"b\": 2}", (2, 2), "comma, or a closing bracket, is missing"),
            ("[1 2]", (1, 4), "comma, or a closing bracket, is missing"),
            ("{\"a\" 1}", (1, 6), "colon is missing"),
            ("{a: 1}", (1, 2), "a key is expected here"),
            ("{'a': 1}", (1, 2), "double quotes, not in single"),
            ("{\"a\": 30 ft}", (1, 10), "comma, or a closing bracket"),
            ("{\"a\": fast}", (1, 7), "a value is expected"),
            ("{\"a\": NaN}", (1, 7), "a value is expected"),
            ("{\"a\": .5}", (1, 7), "a value is expected"),
            ("{\n // the lift\n}", (2, 2), "no comments"),
            ("{\"a\": \"x\n\"}", (1, 8), "has to end on the line"),
            ("{\"a\": \"\\q\"}", (1, 9), "an escape"),
            ("{\"a\": 1", (1, 7), "ends too early"),
            ("{} {}", (1, 4), "goes on after"),
            ("", (1, 1), "the file is empty"),
            ("\u{feff}{\"a\": 1,}", (1, 9), "comma stands before"),
            ("{\"é\": 01}", (1, 8), "not a number"),
        ];
        for (source, place, words) in cases {
            let mut diagnostics = Diagnostics::new();
            assert!(parse(source, &mut diagnostics).is_none(), "{source}");
            let all = diagnostics.into_vec();
            assert_eq!(all.len(), 1, "{source}");
            assert!(all[0].message.contains(words), "{source}: {}", all[0].message);
            assert_eq!(line_column(source, all[0].span.start), place, "{source}: {}", all[0].message);
        }
    }
}
