//! Observed values that stand in files of their own: `{"law": "observed", "file": "clearing.csv", "column": "time"}`.
//!
//! Before a scenario is read, the values take the place of the key `file` in its text, so that all that follows sees one
//! text and its hash covers the data. Invariants: a text without such keys stays as it is, to the byte; a file is read
//! row by row and never more than [`MOST`] rows of it.

use crate::ending::{Ending, Failure};
use sim_core::diag::{Diagnostics, Span};
use sim_core::text::json::{self, Node, Value};
use sim_core::text::suggest::nearest;
use std::path::Path;

/// Most values of one file.
const MOST: usize = 50_000;

/// The text with the values of all files it names, which stand in `folder` unless they say otherwise.
///
/// # Errors
/// A file that cannot be read or used.
pub(crate) fn resolved(text: String, folder: &Path) -> Result<String, Failure> {
    let Some(root) = json::parse(&text, &mut Diagnostics::new()) else { return Ok(text) };
    let mut found = Vec::new();
    collect(&root, &mut found);
    let mut new = text;
    // From the end, so that the places before stay right.
    found.sort_by_key(|request| std::cmp::Reverse(request.place.start));
    for request in found {
        let values = request.read(folder)?;
        new.replace_range(
            request.place.start..request.place.end,
            &format!("\"values\": [{}]", values.join(", ")),
        );
    }
    Ok(new)
}

/// What is to be read, and where it goes.
struct Request {
    place: Span,
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
                found.push(Request { place, file, column: word("column"), unit: word("unit") });
            }
            entries.iter().for_each(|entry| collect(&entry.node, found));
        }
        Value::List(list) => list.iter().for_each(|node| collect(node, found)),
        Value::Null | Value::Bool(_) | Value::Number(..) | Value::Text(_) => {}
    }
}

impl Request {
    fn bad(&self, what: impl std::fmt::Display) -> Failure {
        Failure::new(Ending::BadInput, format!("`{}`: {what}", self.file))
    }

    /// The values as they stand in a scenario.
    fn read(&self, folder: &Path) -> Result<Vec<String>, Failure> {
        let path = folder.join(&self.file);
        let mut table = csv::ReaderBuilder::new()
            .trim(csv::Trim::All)
            .from_path(&path)
            .map_err(|why| Failure::unreadable(&format!("`{}`", path.display()), why))?;
        let header = table.headers().map_err(|why| self.bad(why))?.clone();
        let column = self.column(&header)?;
        let unit = match &self.unit {
            Some(unit) => unit.clone(),
            None => unit_of(&header[column]).to_owned(),
        };
        let mut values = Vec::new();
        for row in table.records() {
            let row = row.map_err(|why| self.bad(why))?;
            let line = row.position().map_or(0, csv::Position::line);
            let cell = row.get(column).unwrap_or_default();
            let value: f64 = match cell.parse() {
                Ok(value) if f64::is_finite(value) => value,
                Ok(_) | Err(_) => {
                    return Err(self.bad(format!("line {line}: `{cell}` is no number")));
                }
            };
            if value < 0.0 {
                return Err(self.bad(format!("line {line}: {cell} is below zero")));
            }
            if values.len() == MOST {
                return Err(self
                    .bad(format!("there are more than {MOST} rows"))
                    .help("so many values leave nothing unknown: fit a law to them, or keep every tenth"));
            }
            values.push(if unit.is_empty() { cell.to_owned() } else { format!("\"{cell} {unit}\"") });
        }
        if values.is_empty() { Err(self.bad("there are no rows below the head")) } else { Ok(values) }
    }

    fn column(&self, header: &csv::StringRecord) -> Result<usize, Failure> {
        let named = |name: &str| name.split('[').next().unwrap_or_default().trim().to_owned();
        let names: Vec<String> = header.iter().map(named).collect();
        let listed = || names.iter().map(|name| format!("`{name}`")).collect::<Vec<_>>().join(", ");
        match &self.column {
            None if names.len() == 1 => Ok(0),
            None => {
                Err(self.bad("it has several columns").help(format!("say which as `column`: {}", listed())))
            }
            Some(column) => {
                let found =
                    header.iter().zip(&names).position(|(whole, name)| whole == column || name == column);
                found.ok_or_else(|| {
                    let failure = self.bad(format!("it has no column `{column}`"));
                    match nearest(column, names.iter().map(String::as_str)) {
                        Some(near) => failure.help(format!("did you mean `{near}`?")),
                        None => failure.help(format!("it has {}", listed())),
                    }
                })
            }
        }
    }
}

/// `s` of `time [s]`; nothing where nothing stands in brackets.
fn unit_of(title: &str) -> &str {
    title.split_once('[').and_then(|(_, rest)| rest.split_once(']')).map_or("", |(unit, _)| unit.trim())
}
