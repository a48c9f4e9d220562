//! What is carried along while a tree is read: the path, and what was reported so far.
//!
//! Forms report here; nothing is decided here. Invariant: the path is the same after a reading as before it.

use serde_json::{Value as Json, json};

use crate::diag::{Diagnostics, Place, Problem, Span, code};
use crate::text::evidence::Evidence;
use crate::text::json::{self, Entry, Node, Value};
use crate::units::Dimension;

/// The key that is allowed in every object.
pub const NOTE: &str = "note";

/// An input of the model that is not certain, as it was read.
#[derive(Debug, Clone, PartialEq)]
pub struct Input {
    /// Where it stands in the file.
    pub place: Place,
    /// What it is: `chance`, `shares` or `random amount`.
    pub what: &'static str,
    /// Trials or observed values behind it; none if it was assumed.
    pub trials: Option<u64>,
    /// What it is known from; none if it was assumed.
    pub evidence: Option<Evidence>,
}

/// A number of the model as it was read, for whoever wants to change it.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Setting {
    /// Where it stands in the file.
    pub place: Place,
    /// What sort of number it is.
    pub sort: SettingSort,
    /// Which way it is relaxed, if it is a limit of the line.
    pub relax: Relax,
}

/// Which way a number is relaxed if it is a limit of the line.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Relax {
    /// More of it helps: speeds, rates, numbers of things.
    Up,
    /// Less of it helps: times, chances of something bad.
    Down,
    /// It is no limit: levels, what a product is made of.
    Never,
}

/// Sorts of numbers.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum SettingSort {
    /// A quantity, or a law of one.
    Quantity(Dimension),
    /// A whole number.
    Count,
    /// A law of whole numbers.
    CountLaw,
    /// A chance.
    Chance,
}

impl SettingSort {
    /// The way that a number of this sort is relaxed, unless its form says otherwise.
    fn relax(self) -> Relax {
        match self {
            SettingSort::Quantity(Dimension::Time) | SettingSort::Chance => Relax::Down,
            SettingSort::Quantity(Dimension::Speed | Dimension::Rate | Dimension::VolumeRate)
            | SettingSort::Count
            | SettingSort::CountLaw => Relax::Up,
            SettingSort::Quantity(
                Dimension::Length
                | Dimension::Mass
                | Dimension::Volume
                | Dimension::Density
                | Dimension::Share,
            ) => Relax::Never,
        }
    }
}

/// What is carried along while a tree is read: the path so far, and what was reported.
#[derive(Debug, Default)]
pub struct Reading {
    diagnostics: Diagnostics,
    path: String,
    inputs: Vec<Input>,
    settings: Vec<Setting>,
    unread: Vec<Unread>,
    /// Values that were reported before the reading, in order of their places.
    unreadable: Vec<Span>,
    /// How many of these were come by.
    skipped: usize,
}

/// What came of a reading beside its value.
#[derive(Debug)]
pub struct Recorded {
    /// What was reported.
    pub problems: Diagnostics,
    /// The uncertain inputs.
    pub inputs: Vec<Input>,
    /// All settings.
    pub settings: Vec<Setting>,
    /// Texts that stand where nothing could be read.
    pub unread: Vec<Unread>,
}

/// A text of the file that stands where nothing could be read.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Unread {
    /// The text, or the key.
    pub text: String,
    /// Where it stands.
    pub span: Span,
}

impl Reading {
    /// A reading at the root that goes on reporting into `diagnostics`.
    pub fn new(diagnostics: Diagnostics) -> Self {
        Reading { diagnostics, ..Reading::default() }
    }

    /// What was reported.
    pub fn into_diagnostics(self) -> Diagnostics {
        self.diagnostics
    }

    /// What was reported and recorded, in the order of the reading.
    pub fn into_recorded(self) -> Recorded {
        let Reading { diagnostics, inputs, settings, unread, .. } = self;
        Recorded { problems: diagnostics, inputs, settings, unread }
    }

    /// Takes note of what could not be read of the text: it was reported, and is not reported again.
    pub(super) fn skip(&mut self, parsed: &json::Parsed) {
        self.unreadable.clone_from(&parsed.unreadable);
        self.unreadable.sort_by_key(|span| span.start);
        parsed.left_out.iter().for_each(|entry| self.leave_unread_entry(entry));
    }

    /// Whether it was reported before the reading that this value cannot be read.
    fn is_unreadable(&self, node: &Node) -> bool {
        self.unreadable.binary_search_by_key(&node.span.start, |span| span.start).is_ok()
    }

    /// Remembers what stands in a value that is not read: names that others refer to, maybe.
    pub fn leave_unread(&mut self, node: &Node) {
        match &node.value {
            Value::Text(text) => self.unread.push(Unread { text: text.clone(), span: node.span }),
            Value::List(nodes) => nodes.iter().for_each(|node| self.leave_unread(node)),
            Value::Object(entries) => entries.iter().for_each(|entry| self.leave_unread_entry(entry)),
            Value::Null => self.unread.push(Unread { text: String::new(), span: node.span }),
            Value::Bool(_) | Value::Number(..) => {}
        }
    }

    /// Remembers a key that is not read, and what stands under it.
    pub fn leave_unread_entry(&mut self, entry: &Entry) {
        self.unread.push(Unread { text: entry.key.clone(), span: entry.key_span });
        self.leave_unread(&entry.node);
    }

    /// Remembers a setting.
    pub fn set(&mut self, span: Span, sort: SettingSort) {
        let place = self.place(span);
        self.settings.push(Setting { place, sort, relax: sort.relax() });
    }

    /// Says which way the settings beyond the first `n` are relaxed.
    pub fn relax_settings(&mut self, n: usize, relax: Relax) {
        self.settings[n..].iter_mut().for_each(|setting| setting.relax = relax);
    }

    /// Number of settings remembered so far.
    pub fn setting_count(&self) -> usize {
        self.settings.len()
    }

    /// Forgets the settings beyond the first `n`: they were parts of a larger one.
    pub fn forget_settings(&mut self, n: usize) {
        self.settings.truncate(n);
    }

    /// Remembers an input that is not certain, and what it is known from.
    pub fn record(&mut self, span: Span, what: &'static str, evidence: Option<Evidence>) {
        let place = self.place(span);
        let trials = evidence.as_ref().map(Evidence::trials);
        self.inputs.push(Input { place, what, trials, evidence });
    }

    /// Number of inputs remembered so far.
    pub fn input_count(&self) -> usize {
        self.inputs.len()
    }

    /// Forgets the inputs beyond the first `n`: they were parts of a larger one.
    pub fn forget_inputs(&mut self, n: usize) {
        self.inputs.truncate(n);
    }

    /// Forgets those beyond the first `n` that were assumed: parts of a larger one with evidence of their own stay.
    pub fn forget_assumed_inputs(&mut self, n: usize) {
        let parts = self.inputs.split_off(n);
        self.inputs.extend(parts.into_iter().filter(|input| input.evidence.is_some()));
    }

    /// These bytes, at the path that is being read.
    pub fn place(&self, span: Span) -> Place {
        Place { span, path: self.path.clone() }
    }

    /// Reports an error at these bytes.
    pub fn error(&mut self, span: Span, problem: Problem) {
        let place = self.place(span);
        self.diagnostics.error(&place, problem);
    }

    /// Reports a warning at these bytes.
    pub fn warning(&mut self, span: Span, problem: Problem) {
        let place = self.place(span);
        self.diagnostics.warning(&place, problem);
    }

    /// Reports an error at a place of another path.
    pub fn error_at(&mut self, place: &Place, problem: Problem) {
        self.diagnostics.error(place, problem);
    }

    /// Reports a warning at a place of another path.
    pub fn warning_at(&mut self, place: &Place, problem: Problem) {
        self.diagnostics.warning(place, problem);
    }

    /// Reports that `node` is of another sort than `wanted`, which is a phrase with an example.
    pub fn wrong_type(&mut self, node: &Node, wanted: &str) {
        if node.value == Value::Null && self.is_unreadable(node) {
            self.skipped += 1;
            return;
        }
        let problem =
            Problem::new(code::WRONG_TYPE, format!("{} stands here", node.found())).expected(wanted);
        self.error(node.span, problem);
        // A single value under a key that is known is no name of something else.
        if matches!(node.value, Value::List(_) | Value::Object(_) | Value::Text(_)) {
            self.leave_unread(node);
        }
    }

    /// Number of errors so far, those included that were reported before the reading and come by now.
    pub fn error_count(&self) -> usize {
        self.diagnostics.error_count() + self.skipped
    }

    /// Whether so much was reported that there is no use in reading long lists to their end.
    pub fn is_full(&self) -> bool {
        self.diagnostics.is_full()
    }

    /// Runs `read` one key deeper.
    pub fn in_key<T>(&mut self, key: &str, read: impl FnOnce(&mut Self) -> T) -> T {
        let mark = self.path.len();
        json::push_key(&mut self.path, key);
        let result = read(self);
        self.path.truncate(mark);
        result
    }

    /// Runs `read` one list entry deeper.
    pub fn in_index<T>(&mut self, index: usize, node: &Node, read: impl FnOnce(&mut Self) -> T) -> T {
        let mark = self.path.len();
        json::push_index(&mut self.path, index, node);
        let result = read(self);
        self.path.truncate(mark);
        result
    }
}

/// A note is text, or a list of texts.
pub(crate) fn check_note(node: &Node, at: &mut Reading) {
    let fine = match &node.value {
        Value::Text(_) => true,
        Value::List(lines) => lines.iter().all(|line| line.text().is_some()),
        Value::Null | Value::Bool(_) | Value::Number(..) | Value::Object(_) => false,
    };
    if !fine {
        at.wrong_type(node, "text, or a list of texts");
    }
}

/// The schema of a note.
pub(crate) fn note_schema() -> Json {
    json!({
        "type": ["string", "array"],
        "items": { "type": "string" },
        "description": "Anything worth saying; not read",
    })
}
