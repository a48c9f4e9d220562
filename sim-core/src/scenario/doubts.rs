//! What is not known of a file with errors, so that nothing untrue is said of it.
//!
//! An error is told together with all others, and must not make up more of them: a station whose type could not be read may
//! give to anybody; a name may stand under a key that nobody knows. It judges nothing itself.

use super::Scenario;
use crate::diag::{Diagnostic, Diagnostics, Span, code};
use crate::stations::blueprint::To;
use crate::stations::catalogue::Entry;
use crate::terms::kind::Kind;
use crate::text::fields::Unread;
use crate::text::suggest::nearest;

/// What is not known of a file.
#[derive(Debug, Default)]
pub(crate) struct Doubts {
    unread: Vec<Unread>,
    errors: Vec<Seen>,
}

/// An error that was reported.
#[derive(Debug)]
struct Seen {
    code: &'static str,
    span: Span,
    path: String,
}

impl Doubts {
    /// What the reading leaves open.
    pub(super) fn new(unread: Vec<Unread>, problems: &Diagnostics) -> Self {
        let mut doubts = Doubts { unread, errors: Vec::new() };
        doubts.remember(problems);
        doubts
    }

    /// Takes the errors that were found since into account.
    pub(super) fn remember(&mut self, problems: &Diagnostics) {
        let seen = |error: &Diagnostic| Seen { code: error.code, span: error.span, path: error.path.clone() };
        self.errors = problems.errors().map(seen).collect();
    }

    /// Whether the text itself is sound: otherwise pieces of the file are missing of which not all is known.
    fn is_text_sound(&self) -> bool {
        !self.errors.iter().any(|error| matches!(error.code, code::SYNTAX | code::DUPLICATE_KEY))
    }

    /// Whether this name stands where nothing could be read: it may be the name of something there.
    pub(super) fn may_name(&self, name: &str) -> bool {
        self.unread.iter().any(|unread| unread.text == name)
    }

    /// Whether this name, or one near to it, stands where nothing could be read.
    pub(super) fn may_mean(&self, name: &str) -> bool {
        self.unread.iter().any(|unread| nearest(&unread.text, [name]).is_some())
    }

    /// Whether a name was to stand where nothing stands that could be one.
    pub(super) fn has_unread_names(&self) -> bool {
        self.unread.iter().any(|unread| unread.text.is_empty())
    }

    /// Whether the list under this key of the file, or an entry of it, is of another sort than expected: names in it are not known.
    pub(super) fn has_unread_entries(&self, key: &str) -> bool {
        let is_entry = |rest: &str| rest.starts_with('[') && rest.find(']') == Some(rest.len() - 1);
        let is_of_list =
            |path: &str| path.strip_prefix(key).is_some_and(|rest| rest.is_empty() || is_entry(rest));
        let is_of_sort = |code: &str| matches!(code, code::WRONG_TYPE | code::TOO_FEW | code::SYNTAX);
        self.errors.iter().any(|error| is_of_sort(error.code) && is_of_list(&error.path))
    }

    /// Whether something stands in a station that could not be read.
    pub(super) fn has_unread(&self, entry: &Entry) -> bool {
        !entry.is_read() || self.unread_in(entry).next().is_some()
    }

    fn unread_in(&self, entry: &Entry) -> impl Iterator<Item = &Unread> {
        self.unread.iter().filter(|unread| lies_in(unread.span, entry))
    }

    /// Whether a station may give to others than those that are known: the type is not, or something could not be read that
    /// may name a station, or that may say where it gives to where nothing else does.
    pub(super) fn has_other_exits(&self, entry: &Entry, scenario: &Scenario) -> bool {
        let mut unread = self.unread_in(entry).peekable();
        if unread.peek().is_none() || !entry.is_read() {
            return !entry.is_read();
        }
        let says_nothing = entry.blueprint.exits().iter().any(|exit| exit.to == To::Next);
        let ids: Vec<&str> = scenario.stations.iter().map(|entry| entry.id.value.as_str()).collect();
        says_nothing || unread.any(|unread| nearest(&unread.text, ids.iter().copied()).is_some())
    }

    /// Whether there is an error at one of these keys of a station.
    pub(super) fn has_error_at(&self, entry: &Entry, keys: &[&str]) -> bool {
        let is_at = |path: &str| {
            keys.iter().any(|key| path.strip_suffix(key).is_some_and(|rest| rest.ends_with('.')))
        };
        self.errors.iter().any(|error| lies_in(error.span, entry) && is_at(&error.path))
    }

    /// Whether a station is known in all it does.
    pub(crate) fn knows_all(&self, entry: &Entry) -> bool {
        entry.is_read() && !self.errors.iter().any(|error| lies_in(error.span, entry))
    }

    /// Whether it is known of a station where it gives to, and what it brings.
    pub(crate) fn knows_source(&self, entry: &Entry, scenario: &Scenario) -> bool {
        !self.has_other_exits(entry, scenario) && !self.has_error_at(entry, &["part", "to"])
    }

    /// Whether it is known how parts fall, and in which order they come.
    pub(crate) fn knows_parts_and_runs(&self, scenario: &Scenario) -> bool {
        const OF_CLASSES: [&str; 3] = ["attitudes", "conditions", "right_way"];
        let is_known = |kind: &Kind| !kind.misread.iter().any(|key| OF_CLASSES.contains(key));
        let has_recipes = scenario.stations.iter().any(|entry| entry.blueprint.recipes().is_some());
        let is_of_runs =
            |path: &str| path.contains("changeover") || (has_recipes && path.starts_with("models"));
        scenario.kinds.iter().all(is_known)
            && self.is_text_sound()
            && !self
                .errors
                .iter()
                .any(|error| is_of_runs(&error.path) || error.path == "plan" || error.path == "parts")
    }
}

fn lies_in(span: Span, entry: &Entry) -> bool {
    entry.place.span.start <= span.start && span.end <= entry.place.span.end
}
