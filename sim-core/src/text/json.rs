//! JSON with places: every value and every key knows its bytes in the source text.
//!
//! `serde_json` does the lexing; slices that it borrows from the source (`RawValue`) give the places. Nothing
//! here knows what a scenario is. Invariants: spans lie inside the source; keys of an object are unique;
//! nesting, size and number of values are bounded, so that a hostile file costs bounded time and stack.

use std::collections::BTreeMap;
use std::fmt;

use serde::de::{MapAccess, Visitor};
use serde_json::value::RawValue;

use crate::diag::{Diagnostic, Diagnostics, Place, Problem, Severity, Span, code};
use crate::text::syntax;

/// Largest file, in bytes.
pub const MAX_BYTES: usize = 16 << 20;
/// Deepest nesting of lists and objects.
pub const MAX_DEPTH: usize = 64;
/// Most values (list entries, object entries) in one file.
pub const MAX_VALUES: usize = 1_000_000;

/// A value and its place.
#[derive(Debug, Clone, PartialEq)]
pub struct Node {
    /// Bytes of the value, without space around it.
    pub span: Span,
    /// The value.
    pub value: Value,
}

/// A JSON value.
#[derive(Debug, Clone, PartialEq)]
pub enum Value {
    /// `null`
    Null,
    /// `true` or `false`
    Bool(bool),
    /// A number: its nearest finite `f64`, and its text.
    Number(f64, String),
    /// Text, with escapes resolved.
    Text(String),
    /// A list.
    List(Vec<Node>),
    /// An object, in the order of the file.
    Object(Vec<Entry>),
}

/// A key and its value.
#[derive(Debug, Clone, PartialEq)]
pub struct Entry {
    /// The key, with escapes resolved.
    pub key: String,
    /// Bytes of the key, quotes included.
    pub key_span: Span,
    /// The value.
    pub node: Node,
}

impl Node {
    /// The entry of an object; `None` if there is none, or if this is no object.
    pub fn entry(&self, key: &str) -> Option<&Entry> {
        match &self.value {
            Value::Object(entries) => entries.iter().find(|entry| entry.key == key),
            Value::Null | Value::Bool(_) | Value::Number(..) | Value::Text(_) | Value::List(_) => None,
        }
    }

    /// The text, if it is text.
    pub fn text(&self) -> Option<&str> {
        match &self.value {
            Value::Text(text) => Some(text),
            Value::Null | Value::Bool(_) | Value::Number(..) | Value::List(_) | Value::Object(_) => None,
        }
    }

    /// Whether it is an object.
    pub fn is_object(&self) -> bool {
        matches!(self.value, Value::Object(_))
    }

    /// What stands here, for messages: "the number 30", "the text `fast`", "a list".
    pub fn found(&self) -> String {
        match &self.value {
            Value::Null => "null".to_owned(),
            Value::Bool(flag) => flag.to_string(),
            Value::Number(_, text) => format!("the number {}", clipped(text)),
            Value::Text(text) if text.is_empty() => "empty text".to_owned(),
            Value::Text(text) => format!("the text `{}`", clipped(text)),
            Value::List(list) if list.is_empty() => "an empty list".to_owned(),
            Value::List(_) => "a list".to_owned(),
            Value::Object(_) => "an object".to_owned(),
        }
    }
}

/// At most 40 characters of a text, without line breaks and other control characters, for messages.
pub fn clipped(text: &str) -> String {
    const LONGEST: usize = 40;
    let plain = |c: char| if c.is_control() { ' ' } else { c };
    let mut short: String = text.chars().take(LONGEST).map(plain).collect();
    if text.chars().nth(LONGEST).is_some() {
        short.push('…');
    }
    short
}

/// Adds a key to a path: `.speed`, or `["face up"]` if it is no plain word.
pub fn push_key(path: &mut String, key: &str) {
    let plain = !key.is_empty()
        && key.len() <= 60
        && key.chars().all(|c| c.is_alphanumeric() || matches!(c, '_' | '-'));
    if plain {
        if !path.is_empty() {
            path.push('.');
        }
        path.push_str(key);
    } else {
        path.push_str(&format!("[\"{}\"]", clipped(key)));
    }
}

/// Adds an entry of a list to a path: `["lift"]` if the entry is an object with the text `id` or `name`,
/// otherwise its index from 0.
pub fn push_index(path: &mut String, index: usize, node: &Node) {
    let id = ["id", "name"].iter().find_map(|key| node.entry(key)?.node.text());
    match id {
        Some(id) => path.push_str(&format!("[\"{}\"]", clipped(id))),
        None => path.push_str(&format!("[{index}]")),
    }
}

/// Text from bytes.
///
/// # Errors
/// What to report if the bytes are over [`MAX_BYTES`] or not UTF-8; its span counts bytes.
pub fn decode(bytes: &[u8]) -> Result<&str, Box<Diagnostic>> {
    let error = |start, end, problem| {
        let place = Place { span: Span::new(start, end), path: String::new() };
        Box::new(Diagnostic::new(Severity::Error, place, problem))
    };
    if bytes.len() > MAX_BYTES {
        return Err(error(0, 0, too_large_file()));
    }
    std::str::from_utf8(bytes).map_err(|broken| {
        let start = broken.valid_up_to();
        let problem =
            Problem::new(code::SYNTAX, "this byte is not UTF-8 text").help("save the file as UTF-8");
        error(start, start + 1, problem)
    })
}

/// A tree, and what is not in it.
#[derive(Debug)]
pub struct Parsed {
    /// The tree.
    pub root: Node,
    /// Places of values that cannot be read, though they are JSON: numbers out of range, texts with escapes that stand for
    /// nothing. They are reported, and `null` stands for them in the tree.
    pub unreadable: Vec<Span>,
    /// Entries whose key stands twice in its object, or cannot be read: reported, and not in the tree.
    pub left_out: Vec<Entry>,
}

/// The tree of a JSON text, or `None` if it is not JSON or over a limit; see [`parse_all`].
pub fn parse(source: &str, diagnostics: &mut Diagnostics) -> Option<Node> {
    parse_all(source, diagnostics).map(|parsed| parsed.root)
}

/// The tree of a JSON text and what is not in it, or `None` if the text is not JSON or over a limit. What is wrong is
/// reported; after a repeated key the first value is kept, so that reading can go on.
pub fn parse_all(source: &str, diagnostics: &mut Diagnostics) -> Option<Parsed> {
    if source.len() > MAX_BYTES {
        diagnostics.error(&Place::default(), too_large_file());
        return None;
    }
    let text = source.strip_prefix('\u{feff}').unwrap_or(source);
    let raw: &RawValue = match serde_json::from_str(text) {
        Ok(raw) => raw,
        Err(error) => {
            let (span, problem) = syntax::explain(source, text, &error);
            diagnostics.error(&Place { span, path: String::new() }, problem);
            return None;
        }
    };
    if let Err((span, problem)) = within_limits(source) {
        diagnostics.error(&Place { span, path: String::new() }, problem);
        return None;
    }
    let (unreadable, left_out) = (Vec::new(), Vec::new());
    let mut tree = Tree { source, diagnostics, path: String::new(), unreadable, left_out };
    let root = tree.node(raw)?;
    Some(Parsed { root, unreadable: tree.unreadable, left_out: tree.left_out })
}

fn too_large_file() -> Problem {
    Problem::new(code::FILE_TOO_LARGE, "the file is too large")
        .expected(format!("at most {} MiB", MAX_BYTES >> 20))
}

/// Nesting and number of values of a text that is known to be JSON: brackets and commas outside of text.
fn within_limits(source: &str) -> Result<(), (Span, Problem)> {
    let (mut depth, mut values, mut in_text, mut escaped) = (0_usize, 1_usize, false, false);
    for (offset, byte) in source.bytes().enumerate() {
        match byte {
            _ if escaped => escaped = false,
            b'\\' if in_text => escaped = true,
            b'"' => in_text = !in_text,
            _ if in_text => {}
            b'[' | b'{' => (depth, values) = (depth + 1, values + 1),
            b']' | b'}' => depth -= 1,
            b',' => values += 1,
            _ => {}
        }
        let place = Span::new(offset, offset + 1);
        if depth > MAX_DEPTH {
            let problem = Problem::new(code::FILE_TOO_LARGE, "lists and objects are nested too deeply here")
                .expected(format!("at most {MAX_DEPTH} levels"));
            return Err((place, problem));
        }
        if values > MAX_VALUES {
            let problem = Problem::new(code::FILE_TOO_LARGE, "the file has too many values")
                .expected(format!("at most {MAX_VALUES}"));
            return Err((place, problem));
        }
    }
    Ok(())
}

/// Builds the tree. What cannot be read is reported.
struct Tree<'s, 'd> {
    source: &'s str,
    diagnostics: &'d mut Diagnostics,
    path: String,
    unreadable: Vec<Span>,
    left_out: Vec<Entry>,
}

impl<'s> Tree<'s, '_> {
    fn node(&mut self, raw: &'s RawValue) -> Option<Node> {
        let text = raw.get();
        let span = self.span(text);
        let value = match text.as_bytes().first() {
            Some(b'{') => Value::Object(self.entries(text)?),
            Some(b'[') => Value::List(self.list(text)?),
            Some(b'"') => self.text(text).map_or(Value::Null, Value::Text),
            Some(b't') => Value::Bool(true),
            Some(b'f') => Value::Bool(false),
            Some(b'n') => Value::Null,
            Some(_) | None => self.number(text).unwrap_or(Value::Null),
        };
        Some(Node { span, value })
    }

    fn span(&self, slice: &str) -> Span {
        let start = slice.as_ptr() as usize - self.source.as_ptr() as usize;
        Span::new(start, start + slice.len())
    }

    fn number(&mut self, text: &str) -> Option<Value> {
        match text.parse::<f64>() {
            Ok(number) if number.is_finite() => Some(Value::Number(number, text.to_owned())),
            Ok(_) | Err(_) => {
                let message = format!("the number {} is out of range", clipped(text));
                self.unreadable(text, Problem::new(code::OUT_OF_RANGE, message));
                None
            }
        }
    }

    fn text(&mut self, text: &str) -> Option<String> {
        match serde_json::from_str(text) {
            Ok(text) => Some(text),
            Err(error) => {
                let message = format!("this text cannot be read: {}", syntax::without_position(&error));
                self.unreadable(text, Problem::new(code::SYNTAX, message));
                None
            }
        }
    }

    fn list(&mut self, text: &'s str) -> Option<Vec<Node>> {
        let items: Vec<&'s RawValue> = self.again(text)?;
        let mut nodes = Vec::with_capacity(items.len());
        for (index, raw) in items.into_iter().enumerate() {
            let mark = self.path.len();
            self.path.push_str(&format!("[{index}]"));
            nodes.extend(self.node(raw));
            self.path.truncate(mark);
        }
        Some(nodes)
    }

    fn entries(&mut self, text: &'s str) -> Option<Vec<Entry>> {
        let RawEntries(pairs) = self.again(text)?;
        let mut entries = Vec::with_capacity(pairs.len());
        let mut first_places: BTreeMap<String, Span> = BTreeMap::new();
        for (raw_key, raw) in pairs {
            let key_span = self.span(raw_key.get());
            let Some(key) = self.text(raw_key.get()) else {
                let node = self.node(raw);
                self.left_out.extend(node.map(|node| Entry { key: String::new(), key_span, node }));
                continue;
            };
            let mark = self.path.len();
            push_key(&mut self.path, &key);
            if let Some(&first) = first_places.get(&key) {
                let problem = Problem::new(
                    code::DUPLICATE_KEY,
                    format!("the key `{}` stands here a second time", clipped(&key)),
                )
                .help("keep one of the two")
                .related(first, "it stands here first");
                self.report(key_span, problem);
                let node = self.node(raw);
                self.left_out.extend(node.map(|node| Entry { key, key_span, node }));
            } else if let Some(node) = self.node(raw) {
                first_places.insert(key.clone(), key_span);
                entries.push(Entry { key, key_span, node });
            }
            self.path.truncate(mark);
        }
        Some(entries)
    }

    /// Reads one level of a text that is known to be JSON, so it fails for nothing that the first pass accepts.
    fn again<T: serde::Deserialize<'s>>(&mut self, text: &'s str) -> Option<T> {
        match serde_json::from_str(text) {
            Ok(level) => Some(level),
            Err(error) => {
                let problem = Problem::new(code::SYNTAX, syntax::without_position(&error));
                self.report(self.span(text), problem);
                None
            }
        }
    }

    /// Reports a value that cannot be read.
    fn unreadable(&mut self, text: &str, problem: Problem) {
        let span = self.span(text);
        self.unreadable.push(span);
        self.report(span, problem);
    }

    fn report(&mut self, span: Span, problem: Problem) {
        let place = Place { span, path: self.path.clone() };
        self.diagnostics.error(&place, problem);
    }
}

/// The entries of one object, keys and values unread.
struct RawEntries<'s>(Vec<(&'s RawValue, &'s RawValue)>);

impl<'de> serde::Deserialize<'de> for RawEntries<'de> {
    fn deserialize<D: serde::Deserializer<'de>>(deserializer: D) -> Result<Self, D::Error> {
        struct Pairs;
        impl<'de> Visitor<'de> for Pairs {
            type Value = RawEntries<'de>;
            fn expecting(&self, out: &mut fmt::Formatter<'_>) -> fmt::Result {
                out.write_str("an object")
            }
            fn visit_map<A: MapAccess<'de>>(self, mut map: A) -> Result<Self::Value, A::Error> {
                let mut pairs = Vec::new();
                while let Some(pair) = map.next_entry()? {
                    pairs.push(pair);
                }
                Ok(RawEntries(pairs))
            }
        }
        deserializer.deserialize_map(Pairs)
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn read(source: &str) -> (Option<Node>, Vec<Diagnostic>) {
        let mut diagnostics = Diagnostics::new();
        let node = parse(source, &mut diagnostics);
        (node, diagnostics.into_vec())
    }

    fn slice(source: &str, span: Span) -> &str {
        &source[span.start..span.end]
    }

    #[test]
    fn keys_and_values_know_their_bytes() {
        let source = "\u{feff} { \"a\\u0062\" : [ 1.50 , \"é\" ] , \"c\":{\"d\" :null,\"e\":true} } ";
        let (node, problems) = read(source);
        assert_eq!(problems, []);
        let root = node.expect("valid");
        let Value::Object(entries) = &root.value else { panic!("an object") };
        assert_eq!((entries[0].key.as_str(), slice(source, entries[0].key_span)), ("ab", "\"a\\u0062\""));
        let Value::List(list) = &entries[0].node.value else { panic!("a list") };
        assert_eq!(list[0].value, Value::Number(1.5, "1.50".to_owned()));
        assert_eq!((slice(source, list[0].span), slice(source, list[1].span)), ("1.50", "\"é\""));
        assert_eq!(slice(source, entries[1].node.span), "{\"d\" :null,\"e\":true}");
        assert!(slice(source, root.span).starts_with('{') && slice(source, root.span).ends_with('}'));
    }

    #[test]
    fn a_repeated_key_names_both_places_and_the_first_counts() {
        let source = r#"{"x": {"a": 1, "b": 2, "\u0061": 3}}"#;
        let (node, problems) = read(source);
        assert_eq!(problems.len(), 1);
        assert_eq!((problems[0].code, problems[0].path.as_str()), (code::DUPLICATE_KEY, "x.a"));
        assert_eq!(slice(source, problems[0].span), r#""\u0061""#);
        assert_eq!(problems[0].related.as_ref().map(|(span, _)| slice(source, *span)), Some(r#""a""#));
        let inner = &node.expect("read on").entry("x").expect("x").node.clone();
        assert_eq!(
            inner.entry("a").map(|entry| &entry.node.value),
            Some(&Value::Number(1.0, "1".to_owned()))
        );
    }

    #[test]
    fn numbers_out_of_range_and_broken_escapes_are_reported_at_their_place() {
        for (source, wrong, code) in [
            (r#"{"a": [1, 1e999]}"#, "1e999", code::OUT_OF_RANGE),
            (r#"{"a": [1, -1e999]}"#, "-1e999", code::OUT_OF_RANGE),
            (r#"{"a": "\ud800"}"#, r#""\ud800""#, code::SYNTAX),
        ] {
            let (_, problems) = read(source);
            assert_eq!(problems.len(), 1, "{source}");
            assert_eq!((slice(source, problems[0].span), problems[0].code), (wrong, code));
        }
    }

    #[test]
    fn hostile_files_are_refused() {
        let deep = |n: usize| "[".repeat(n) + &"]".repeat(n);
        assert!(read(&deep(MAX_DEPTH)).0.is_some());
        for (source, expected) in [
            (deep(MAX_DEPTH + 1), code::FILE_TOO_LARGE),
            (deep(4_000_000), code::FILE_TOO_LARGE),
            ("[".repeat(10_000_000), code::SYNTAX),
            ("{\"a\":".repeat(1_000_000), code::SYNTAX),
            (" ".repeat(MAX_BYTES + 1), code::FILE_TOO_LARGE),
            (format!("[0{}]", ",0".repeat(MAX_VALUES)), code::FILE_TOO_LARGE),
        ] {
            let (node, problems) = read(&source);
            assert!(node.is_none());
            assert_eq!(problems.iter().map(|p| p.code).collect::<Vec<_>>(), [expected]);
        }
    }

    #[test]
    fn brackets_inside_text_do_not_nest() {
        let source = format!("[\"{}\\\"{}\"]", "[".repeat(500), "{,".repeat(500));
        assert_eq!(read(&source).1, []);
    }

    #[test]
    fn bytes_that_are_no_text_are_refused() {
        let problem = decode(b"{\"a\": \"\xff\"}").expect_err("not UTF-8");
        assert_eq!((problem.span.start, problem.code), (7, code::SYNTAX));
        assert_eq!(decode("{é}".as_bytes()), Ok("{é}"));
    }
}
