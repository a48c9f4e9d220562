//! There and back: the text of a scenario read as JSON with places, written out anew, and read again.
//!
//! The program has no file of its own making: the normal form of a scenario is its file. So what has to hold is
//! that nothing but the content of a file counts, neither its layout nor how its texts are escaped, and that the
//! tree with places loses nothing of it: keys in their order, numbers as they were written.

use sim_core::diag::{Diagnostics, Span};
use sim_core::scenario::Scenario;
use sim_core::text::json::{Node, Value, parse};

/// The text of a tree, laid out in another way than people do: everything in one line, every character of a text
/// that can be escaped so is.
pub fn written(node: &Node) -> String {
    let mut text = String::new();
    write(&mut text, node);
    text
}

/// The text read and written anew; `None` if it is no JSON.
pub fn rewritten(text: &str) -> Option<String> {
    parse(text, &mut Diagnostics::new()).as_ref().map(written)
}

fn write(text: &mut String, node: &Node) {
    match &node.value {
        Value::Null => text.push_str("null"),
        Value::Bool(flag) => text.push_str(if *flag { "true" } else { "false" }),
        Value::Number(_, number) => text.push_str(number),
        Value::Text(inner) => quote(text, inner),
        Value::List(nodes) => {
            text.push('[');
            for (n, node) in nodes.iter().enumerate() {
                text.push_str(if n > 0 { "," } else { "" });
                write(text, node);
            }
            text.push(']');
        }
        Value::Object(entries) => {
            text.push('{');
            for (n, entry) in entries.iter().enumerate() {
                text.push_str(if n > 0 { " ,\t" } else { "" });
                quote(text, &entry.key);
                text.push(':');
                write(text, &entry.node);
            }
            text.push('}');
        }
    }
}

fn quote(text: &mut String, inner: &str) {
    text.push('"');
    for unit in inner.encode_utf16() {
        text.push_str(&format!("\\u{unit:04x}"));
    }
    text.push('"');
}

/// All that a scenario says, without where in the file it says it.
pub fn content(scenario: &Scenario) -> String {
    const BEFORE: &str = "Span { start: ";
    let all = format!("{scenario:?}");
    debug_assert!(format!("{:?}", Span::new(1, 2)).starts_with(BEFORE));
    let mut pieces = all.split(BEFORE);
    let mut text = pieces.next().unwrap_or_default().to_owned();
    for piece in pieces {
        text.push_str(piece.trim_start_matches(|c: char| c.is_ascii_digit() || ", end:".contains(c)));
    }
    text
}

#[cfg(test)]
mod tests {
    use super::*;
    use sim_core::scenario::read;

    #[test]
    fn a_file_written_anew_says_the_same_and_another_one_does_not() {
        let text = include_str!("../../scenarios/knob-two-paths.json");
        let anew = rewritten(text).expect("it is JSON");
        assert_ne!(text.len(), anew.len());
        let said = |text: &str| content(&read(text).scenario.expect("a sound file"));
        assert_eq!(said(text), said(&anew));
        assert_ne!(said(text), said(&text.replacen("knob", "knub", 1)));
        let node = |text: &str| parse(text, &mut Diagnostics::new()).expect("it is JSON");
        assert_eq!(written(&node(&anew)), anew, "what is written is a fixed point");
        let odd =
            r#"{"a": [1e-300, 1E5, -0.0, 12345678901234567890], "é\n\ud83d\ude00": [true, null, {}, []]}"#;
        assert!(rewritten(odd).expect("it is JSON").contains("1e-300,1E5,-0.0,12345678901234567890"));
        assert_eq!(written(&node(&rewritten(odd).expect("it is JSON"))), rewritten(odd).expect("it is JSON"));
    }
}
