//! Observed values that stand in files of their own: `{"law": "observed", "file": "clearing.csv", "column": "time"}`.
//!
//! Before a scenario is read, the values take the place of the key `file` in its text, so that all that follows sees one
//! text and its hash covers the data. Invariants: a text without such keys stays as it is, to the byte; a file is read
//! row by row and never more than [`MOST`] rows of it.

use crate::ending::{Ending, Failure};
use crate::logs::{Column, Log};
use sim_core::diag::{Diagnostics, Problem, Span, code};
use sim_core::text::json::{self, Node, Value};
use sim_core::text::suggest::nearest;
use std::path::Path;

/// Most values of one file.
const MOST: usize = 50_000;

/// A text with the values of the files that it names.
pub(crate) struct Resolved {
    pub(crate) text: String,
    /// What is wrong with files that cannot be read or used, and where they are named in the text.
    pub(crate) faults: Vec<(Span, Problem)>,
}

/// The text with the values of all files it names, which stand in `folder` unless they say otherwise.
pub(crate) fn resolved(text: String, folder: &Path) -> Resolved {
    let (mut found, mut faults) = (Vec::new(), Vec::new());
    if let Some(root) = json::parse(&text, &mut Diagnostics::new()) {
        collect(&root, &mut found);
    }
    let mut new = text;
    // From the end, so that the places before stay right.
    found.sort_by_key(|request| std::cmp::Reverse(request.place.start));
    for request in found {
        match request.read(folder) {
            Ok(values) => {
                let values = format!("\"values\": [{}]", values.join(", "));
                let (place, more) = (request.place, values.len());
                new.replace_range(place.start..place.end, &values);
                let moved = |at: usize| at - (place.end - place.start) + more;
                faults.iter_mut().for_each(|(span, _): &mut (Span, Problem)| {
                    *span = Span::new(moved(span.start), moved(span.end));
                });
            }
            Err(failure) => faults.push((request.name, failure.problem(code::DATA_UNREADABLE))),
        }
    }
    Resolved { text: new, faults }
}

/// What is to be read, and where it goes.
struct Request {
    place: Span,
    /// Where the file's name stands.
    name: Span,
    file: String,
    column: Option<String>,
    unit: Option<String>,
}

fn collect(node: &Node, found: &mut Vec<Request>) {
    match &node.value {
        Value::Object(entries) => {
            let word = |key: &str| node.entry(key).and_then(|entry| entry.node.text()).map(str::to_owned);
            if let (Some(entry), Some(file), Some("observed")) =
                (node.entry("file"), word("file"), word("law").as_deref())
            {
                let place = Span { start: entry.key_span.start, end: entry.node.span.end };
                let (name, column, unit) = (entry.node.span, word("column"), word("unit"));
                found.push(Request { place, name, file, column, unit });
            }
            entries.iter().for_each(|entry| collect(&entry.node, found));
        }
        Value::List(list) => list.iter().for_each(|node| collect(node, found)),
        Value::Null | Value::Bool(_) | Value::Number(..) | Value::Text(_) => {}
    }
}

impl Request {
    /// The values as they stand in a scenario.
    fn read(&self, folder: &Path) -> Result<Vec<String>, Failure> {
        // A file of that name, not standard input.
        let folder = if self.file == "-" { folder.join(".") } else { folder.to_owned() };
        let mut log = Log::open(&folder.join(&self.file))?;
        let column = self.column(&log)?;
        let unit = self.unit.as_deref().unwrap_or_else(|| unit_of(&column.title));
        let mut values = Vec::new();
        while log.next_row()? {
            let Some(value) = log.amount(&column) else { continue };
            if values.len() == MOST {
                let failure = Failure::new(
                    Ending::BadInput,
                    format!("`{}`: there are more than {MOST} rows", self.file),
                );
                return Err(failure
                    .help("so many values leave nothing unknown: fit a law to them, or keep every tenth"));
            }
            if unit.is_empty() && value.fract() != 0.0 {
                log.fault(&column, "it has no unit: write the title as `time [s]`, or \"unit\" into the law");
            }
            values.push(if unit.is_empty() { value.to_string() } else { format!("\"{value} {unit}\"") });
        }
        log.finish()?;
        Ok(values)
    }

    /// The column that is named, with its unit in brackets or without; the only one if none is.
    fn column(&self, log: &Log) -> Result<Column, Failure> {
        let listed = || log.titles().iter().map(|title| format!("`{title}`")).collect::<Vec<_>>().join(", ");
        let Some(name) = &self.column else {
            return log.only_column().ok_or_else(|| {
                let failure =
                    Failure::new(Ending::BadInput, format!("`{}`: it has several columns", self.file));
                failure.help(format!("say which as `column`: {}", listed()))
            });
        };
        let bare = |title: &str| title.split('[').next().unwrap_or_default().trim().to_owned();
        match log.titles().iter().find(|title| *title == name || bare(title) == *name) {
            Some(title) => log.column(title),
            None => {
                let names: Vec<String> = log.titles().iter().map(|title| bare(title)).collect();
                let failure =
                    Failure::new(Ending::BadInput, format!("`{}` has no column `{name}`", self.file));
                Err(match nearest(name, names.iter().map(String::as_str)) {
                    Some(near) => failure.help(format!("did you mean `{near}`?")),
                    None => failure.help(format!("its columns are {}", listed())),
                })
            }
        }
    }
}

/// `s` of `time [s]`; nothing where nothing stands in brackets.
fn unit_of(title: &str) -> &str {
    title.split_once('[').and_then(|(_, rest)| rest.split_once(']')).map_or("", |(unit, _)| unit.trim())
}
