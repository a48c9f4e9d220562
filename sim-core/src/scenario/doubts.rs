//! What is not known of a file with errors, so that nothing untrue is said of it.
//!
//! An error is told together with all others, and must not make up more of them: a station whose type could not be read may
//! give to anybody; a name may stand under a key that nobody knows. It judges nothing itself.

use crate::diag::{Diagnostics, Span};
use crate::stations::catalogue::Entry;
use crate::text::fields::Unread;
use crate::text::suggest::nearest;

/// What is not known of a file.
#[derive(Debug, Default)]
pub(crate) struct Doubts {
    unread: Vec<Unread>,
    /// Bytes and path of each error of the reading.
    errors: Vec<(Span, String)>,
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
        self.errors = problems.errors().map(|error| (error.span, error.path.clone())).collect();
    }

    /// Whether this name stands where nothing could be read: it may be the name of something there.
    pub(super) fn may_name(&self, name: &str) -> bool {
        self.unread.iter().any(|unread| unread.text == name)
    }

    /// Whether it is known where a station gives to, names apart.
    pub(super) fn knows_exits(&self, entry: &Entry) -> bool {
        entry.is_read() && !self.unread.iter().any(|unread| lies_in(unread.span, entry))
    }

    /// Whether a station is known in all it does.
    pub(crate) fn knows_all(&self, entry: &Entry) -> bool {
        entry.is_read() && !self.errors.iter().any(|(span, _)| lies_in(*span, entry))
    }

    /// Whether no error is about parts, models or the plan.
    pub(crate) fn knows_parts_and_plan(&self) -> bool {
        let is_of_them = |path: &str| {
            let key = path.split(['.', '[']).next().unwrap_or_default();
            nearest(key, ["parts", "models", "plan"]).is_some()
        };
        !self.errors.iter().any(|(_, path)| is_of_them(path))
    }
}

fn lies_in(span: Span, entry: &Entry) -> bool {
    entry.place.span.start <= span.start && span.end <= entry.place.span.end
}
