//! What a study is: two studies with the same identity have the same results, to the last byte.
//!
//! It stands at the head of a journal, and in the summary of a sweep. Invariant: whatever changes a result changes the
//! identity.

use crate::ending::{Ending, Failure};
use serde_json::{Map, Value};
use std::path::Path;

/// Version of the files of a study under way.
const FILES_FORMAT: u64 = 1;

/// What a study is.
#[derive(Debug, Clone, PartialEq)]
pub(crate) struct Identity(Map<String, Value>);

/// What a change of each is called. Those of the first two are in every identity.
const NAMES: &[(&str, &str)] = &[
    ("files_format", "the format of the files"),
    ("program_version", "the version of the program"),
    ("command", "the command"),
    ("sweep_hash", "the sweep file"),
    ("scenario_hash", "the scenario"),
    ("list_hash", "the list of points"),
    ("designs", "one of the designs"),
    ("seed", "the seed"),
    ("replications", "the number of replications"),
    ("at_most", "the most replications"),
    ("precision", "the precision"),
    ("indifference", "the smallest lead that matters"),
    ("inputs_drawn", "whether inputs are drawn anew"),
    ("method", "the method"),
    ("output", "the output"),
    ("by", "the share that numbers are moved by"),
    ("varied", "what is varied"),
    ("wanted", "which end is wanted"),
    ("error", "the chance of an error"),
    ("part", "the part of the sweep"),
];

impl Identity {
    /// Of the study that these say, with this program.
    ///
    /// # Panics
    /// If they are no object.
    pub(crate) fn new(of: &Value) -> Self {
        let mut map = Map::new();
        map.insert("files_format".to_owned(), FILES_FORMAT.into());
        map.insert("program_version".to_owned(), env!("CARGO_PKG_VERSION").into());
        let Value::Object(of) = of else { panic!("an identity is an object") };
        map.extend(of.iter().map(|(key, value)| (key.clone(), value.clone())));
        Identity(map)
    }

    /// From what was written; what a finished sweep says more is left out.
    pub(crate) fn from_written(written: &Value) -> Option<Self> {
        let mut map = written.as_object()?.clone();
        map.shift_remove("states");
        map.shift_remove("files");
        NAMES[..2].iter().all(|(key, _)| map.contains_key(*key)).then_some(Identity(map))
    }

    /// As it is written, with what there is to add.
    pub(crate) fn written(&self, more: &[(&str, Value)]) -> Value {
        let mut map = self.0.clone();
        map.extend(more.iter().map(|(key, value)| ((*key).to_owned(), value.clone())));
        Value::Object(map)
    }

    /// A value of it.
    pub(crate) fn get(&self, key: &str) -> Option<&Value> {
        self.0.get(key)
    }

    /// A text of it.
    pub(crate) fn text(&self, key: &str) -> Option<&str> {
        self.get(key)?.as_str()
    }

    /// The same with another value.
    pub(crate) fn with(&self, key: &str, value: Value) -> Self {
        let mut map = self.0.clone();
        map.insert(key.to_owned(), value);
        Identity(map)
    }

    /// What is different in another one, in words: `the seed was 1 and is 2 now`.
    pub(crate) fn changes(&self, now: &Identity) -> Vec<String> {
        let shown = |value: Option<&Value>| match value {
            None | Some(Value::Null) => "none".to_owned(),
            Some(Value::String(text)) => text.clone(),
            Some(value) => value.to_string(),
        };
        let is_long =
            |value: Option<&Value>| value.is_some_and(|value| value.is_array() || value.is_object());
        let change = |(key, name): &(&str, &str)| {
            let (before, after) = (self.0.get(*key), now.0.get(*key));
            let is_plain = !key.ends_with("_hash") && !is_long(before) && !is_long(after);
            (before != after).then(|| match is_plain {
                false => format!("{name} has changed"),
                true => format!("{name} was {} and is {} now", shown(before), shown(after)),
            })
        };
        if self.0.get("command") != now.0.get("command") {
            return vec!["it is that of another command".to_owned()];
        }
        let changes: Vec<String> = NAMES.iter().filter_map(change).collect();
        if changes.is_empty() && self != now { vec!["something has changed".to_owned()] } else { changes }
    }

    /// Refuses to go on in a folder with another study than the one that was begun there.
    ///
    /// # Errors
    /// What has changed, if anything has.
    pub(crate) fn refuse_changes(&self, now: &Identity, folder: &Path) -> Result<(), Failure> {
        let changes = self.changes(now);
        if changes.is_empty() {
            return Ok(());
        }
        let (folder, changes) = (folder.display(), changes.join("; "));
        let message = format!("`{folder}` holds a study that cannot be gone on with: {changes}");
        Err(Failure::new(Ending::BadInput, message)
            .help("undo the change, name another folder with --out, or delete this one to begin again"))
    }
}
