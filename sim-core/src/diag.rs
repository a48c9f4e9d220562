//! What is wrong with a file, as values: where, what, what was expected, what to do.
//!
//! Nothing here renders, prints or stops: readers collect every [`Diagnostic`] of a file in one
//! [`Diagnostics`] and go on, so that a user sees all of them at once. A diagnostic is made from a
//! [`Place`] (bytes and path) and a [`Problem`] (what is wrong there), so that the two are never mixed up.
//! Invariant: the error count of a collector never falls, and it counts errors that the list had no room for.

/// Stable names of what can be wrong, in kebab-case. A code never changes its meaning.
pub mod code {
    /// The text is not JSON.
    pub const SYNTAX: &str = "syntax";
    /// The file, its nesting or its number of values is over a limit.
    pub const FILE_TOO_LARGE: &str = "file-too-large";
    /// A file of values that the file names cannot be read or used.
    pub const DATA_UNREADABLE: &str = "data-unreadable";
    /// The same key stands twice in one object.
    pub const DUPLICATE_KEY: &str = "duplicate-key";
    /// A key that the object does not know.
    pub const UNKNOWN_KEY: &str = "unknown-key";
    /// A key that the object cannot do without.
    pub const MISSING_KEY: &str = "missing-key";
    /// A value of another sort than expected (a list where text was expected, and so on).
    pub const WRONG_TYPE: &str = "wrong-type";
    /// A word that is not one of those to choose from.
    pub const UNKNOWN_WORD: &str = "unknown-word";
    /// A name that nothing here has.
    pub const UNKNOWN_NAME: &str = "unknown-name";
    /// Two things have the same name.
    pub const DUPLICATE_NAME: &str = "duplicate-name";
    /// A station that nothing feeds.
    pub const NOT_FED: &str = "not-fed";
    /// A loop that no part can leave, or a class of parts that can't.
    pub const NO_WAY_OUT: &str = "no-way-out";
    /// Parts that go round a loop many times before they leave it.
    pub const HARDLY_A_WAY_OUT: &str = "hardly-a-way-out";
    /// A point of use that is itself too slow, or hardly fast enough, for what is promised.
    pub const CANNOT_REACH: &str = "cannot-reach";
    /// Stations that don't go together in this way.
    pub const BAD_CONNECTION: &str = "bad-connection";
    /// Text that has to say something and is empty.
    pub const EMPTY: &str = "empty";
    /// A list or a map with fewer entries than needed.
    pub const TOO_FEW: &str = "too-few";
    /// A number outside of what is possible.
    pub const OUT_OF_RANGE: &str = "out-of-range";
    /// A possible value outside of what is usual in the trade.
    pub const UNUSUAL_VALUE: &str = "unusual-value";
    /// A bare number where a unit is needed.
    pub const UNIT_MISSING: &str = "unit-missing";
    /// A unit that is not known.
    pub const UNIT_UNKNOWN: &str = "unit-unknown";
    /// A unit of another dimension than expected.
    pub const UNIT_WRONG_KIND: &str = "unit-wrong-kind";
    /// Text that has to begin with a number and does not.
    pub const NUMBER_UNREADABLE: &str = "number-unreadable";
    /// A name with characters that names may not have, or too long.
    pub const BAD_NAME: &str = "bad-name";
    /// Shares that do not add up to one.
    pub const SHARES_SUM: &str = "shares-sum";
    /// A random amount whose parameters contradict each other.
    pub const LAW_IMPOSSIBLE: &str = "law-impossible";
}

/// How bad it is.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord)]
pub enum Severity {
    /// The file cannot be used.
    Error,
    /// The file can be used; a value is unusual or a risk is worth knowing.
    Warning,
}

/// Bytes `start..end` of the source text.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Default)]
pub struct Span {
    /// Offset of the first byte.
    pub start: usize,
    /// Offset after the last byte.
    pub end: usize,
}

impl Span {
    /// Bytes `start..end`.
    pub fn new(start: usize, end: usize) -> Self {
        Span { start, end }
    }
}

/// A place in a file, for people (path) and for underlining (span).
#[derive(Debug, Clone, PartialEq, Eq, Default)]
pub struct Place {
    /// Bytes of the source text.
    pub span: Span,
    /// Path in the file: keys joined by dots; an entry of a list by its id where it has one, otherwise by
    /// its index from 0: `stations["lift"].tools[0].chance`. Empty for the file as a whole.
    pub path: String,
}

/// What is wrong, without the place.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Problem {
    /// One of [`code`].
    pub code: &'static str,
    /// What was found, as a sentence without a full stop.
    pub message: String,
    /// What was expected instead, with an example.
    pub expected: Option<String>,
    /// What to do, if it is more than writing what was expected.
    pub help: Option<String>,
    /// A second place that matters, and why. Boxed, so that a `Result` with a problem stays small.
    pub related: Option<Box<(Span, String)>>,
}

impl Problem {
    /// A problem with a code of [`code`] and a message that says what was found.
    pub fn new(code: &'static str, message: impl Into<String>) -> Self {
        Problem { code, message: message.into(), expected: None, help: None, related: None }
    }

    /// Adds what was expected, with an example.
    #[must_use]
    pub fn expected(mut self, expected: impl Into<String>) -> Self {
        self.expected = Some(expected.into());
        self
    }

    /// Adds what to do.
    #[must_use]
    pub fn help(mut self, help: impl Into<String>) -> Self {
        self.help = Some(help.into());
        self
    }

    /// Adds a second place and what it has to do with the first.
    #[must_use]
    pub fn related(mut self, span: Span, why: impl Into<String>) -> Self {
        self.related = Some(Box::new((span, why.into())));
        self
    }
}

/// One thing to report about a file.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Diagnostic {
    /// Error or warning.
    pub severity: Severity,
    /// One of [`code`].
    pub code: &'static str,
    /// Path in the file, see [`Place::path`].
    pub path: String,
    /// The bytes to underline.
    pub span: Span,
    /// What was found, as a sentence without a full stop.
    pub message: String,
    /// What was expected instead, with an example.
    pub expected: Option<String>,
    /// What to do.
    pub help: Option<String>,
    /// A second place that matters, and why.
    pub related: Option<(Span, String)>,
}

impl Diagnostic {
    /// A diagnostic from its severity, place and problem.
    pub fn new(severity: Severity, place: Place, problem: Problem) -> Self {
        Diagnostic {
            severity,
            code: problem.code,
            path: place.path,
            span: place.span,
            message: problem.message,
            expected: problem.expected,
            help: problem.help,
            related: problem.related.map(|related| *related),
        }
    }
}

/// Everything that there is to report about a file.
///
/// The list keeps [`Diagnostics::LIMIT`] entries; what comes after them is only counted, so that a hostile
/// file cannot fill the memory with messages.
#[derive(Debug, Clone, Default)]
pub struct Diagnostics {
    list: Vec<Diagnostic>,
    errors: usize,
    left_out: usize,
}

impl Diagnostics {
    /// Entries that are kept.
    pub const LIMIT: usize = 500;

    /// An empty collection.
    pub fn new() -> Self {
        Diagnostics::default()
    }

    /// Adds one.
    pub fn push(&mut self, diagnostic: Diagnostic) {
        match diagnostic.severity {
            Severity::Error => self.errors += 1,
            Severity::Warning => {}
        }
        if self.list.len() < Self::LIMIT {
            self.list.push(diagnostic);
        } else {
            self.left_out += 1;
        }
    }

    /// Adds an error.
    pub fn error(&mut self, place: &Place, problem: Problem) {
        self.push(Diagnostic::new(Severity::Error, place.clone(), problem));
    }

    /// Adds a warning.
    pub fn warning(&mut self, place: &Place, problem: Problem) {
        self.push(Diagnostic::new(Severity::Warning, place.clone(), problem));
    }

    /// Whether there is an error (warnings do not count).
    pub fn has_errors(&self) -> bool {
        self.errors > 0
    }

    /// The errors that were kept.
    pub fn errors(&self) -> impl Iterator<Item = &Diagnostic> {
        self.list.iter().filter(|found| found.severity == Severity::Error)
    }

    /// Number of errors, those that were not kept included.
    pub fn error_count(&self) -> usize {
        self.errors
    }

    /// Whether the list is full: readers may stop looking for more.
    pub fn is_full(&self) -> bool {
        self.list.len() >= Self::LIMIT
    }

    /// Number of entries that were not kept.
    pub fn left_out(&self) -> usize {
        self.left_out
    }

    /// Whether there is nothing at all to report.
    pub fn is_empty(&self) -> bool {
        self.list.is_empty()
    }

    /// Everything, in the order of the file; at one place errors first, then in the order of reporting.
    pub fn into_vec(mut self) -> Vec<Diagnostic> {
        self.list.sort_by_key(|d| (d.span.start, d.severity));
        self.list
    }
}

/// Line and column of a byte offset, both from 1; columns count characters. An offset past the end, or
/// inside a character, is taken as the nearest character boundary before it. A line ends after `\n`.
pub fn line_column(text: &str, offset: usize) -> (usize, usize) {
    let before = &text[..text.floor_char_boundary(offset.min(text.len()))];
    let line_start = before.rfind('\n').map_or(0, |newline| newline + 1);
    let line = before.bytes().filter(|&byte| byte == b'\n').count() + 1;
    let visible = before[line_start..].trim_start_matches('\u{feff}');
    (line, visible.chars().count() + 1)
}

#[cfg(test)]
mod tests {
    use super::*;

    fn at(start: usize) -> Place {
        Place { span: Span::new(start, start + 1), path: String::new() }
    }

    #[test]
    fn lines_and_columns_count_from_one_and_in_characters() {
        let text = "ab\ncé\"x\n";
        for (offset, expected) in [
            (0, (1, 1)),
            (2, (1, 3)),
            (3, (2, 1)),
            (4, (2, 2)),
            (5, (2, 2)),
            (6, (2, 3)),
            (9, (3, 1)),
            (99, (3, 1)),
        ] {
            assert_eq!(line_column(text, offset), expected, "offset {offset}");
        }
        assert_eq!(line_column("\u{feff}{}", 3), (1, 1), "a byte order mark is not a column");
    }

    #[test]
    fn reported_in_the_order_of_the_file_errors_first() {
        let mut all = Diagnostics::new();
        all.warning(&at(5), Problem::new(code::UNUSUAL_VALUE, "w5"));
        all.error(&at(9), Problem::new(code::EMPTY, "e9"));
        all.error(&at(5), Problem::new(code::EMPTY, "e5"));
        assert_eq!(all.error_count(), 2);
        let order: Vec<String> = all.into_vec().into_iter().map(|d| d.message).collect();
        assert_eq!(order, ["e5", "w5", "e9"]);
    }

    #[test]
    fn a_full_list_still_counts() {
        let mut all = Diagnostics::new();
        for offset in 0..Diagnostics::LIMIT + 7 {
            all.error(&at(offset), Problem::new(code::EMPTY, "e"));
        }
        assert_eq!((all.left_out(), all.error_count()), (7, Diagnostics::LIMIT + 7));
        assert_eq!(all.into_vec().len(), Diagnostics::LIMIT);
    }

    #[test]
    fn warnings_are_no_errors() {
        let mut all = Diagnostics::new();
        all.warning(&at(0), Problem::new(code::UNUSUAL_VALUE, "w"));
        assert!(!all.has_errors() && !all.is_empty());
    }
}
