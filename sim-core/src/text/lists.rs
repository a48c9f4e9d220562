//! Lists and maps of values, as forms.

use serde_json::{Value as Json, json};

use super::fields::{NOTE, Reading};
use super::forms::{Form, Spanned};
use super::json::{Node, Value};
use super::reading::{check_note, note_schema};
use super::schema::Definitions;
use super::words::name_problem;
use crate::diag::{Problem, Span, code};

/// A list of values of one form.
#[derive(Debug, Clone, Copy)]
pub struct ListOf<F> {
    form: F,
    least: usize,
}

/// A list of values of one form.
pub fn list_of<F: Form>(form: F) -> ListOf<F> {
    ListOf { form, least: 0 }
}

impl<F> ListOf<F> {
    /// This many or more.
    #[must_use]
    pub fn at_least(self, least: usize) -> Self {
        ListOf { least, ..self }
    }
}

fn too_few(at: &mut Reading, span: Span, found: usize, least: usize, wanted: String) {
    let found = match found {
        0 => "nothing stands in it".to_owned(),
        found => format!("only {found} stand in it; at least {least} are needed"),
    };
    at.error(span, Problem::new(code::TOO_FEW, found).expected(wanted));
}

impl<F: Form> Form for ListOf<F> {
    type Out = Vec<F::Out>;

    fn fits(&self, node: &Node) -> bool {
        matches!(node.value, Value::List(_))
    }

    fn wanted(&self) -> String {
        format!("a list in square brackets, each entry {}", self.form.wanted())
    }

    /// Entries that cannot be read are reported and left out.
    fn read(&self, node: &Node, at: &mut Reading) -> Option<Self::Out> {
        let Value::List(nodes) = &node.value else {
            at.wrong_type(node, &self.wanted());
            return None;
        };
        if nodes.len() < self.least {
            too_few(at, node.span, nodes.len(), self.least, self.wanted());
        }
        let mut values = Vec::with_capacity(nodes.len());
        for (index, entry) in nodes.iter().enumerate() {
            if at.is_full() {
                break;
            }
            values.extend(at.in_index(index, entry, |at| self.form.read(entry, at)));
        }
        Some(values)
    }

    fn stand_in(&self) -> Self::Out {
        Vec::new()
    }

    fn schema(&self, definitions: &mut Definitions) -> Json {
        json!({ "type": "array", "items": self.form.schema(definitions), "minItems": self.least })
    }
}

/// One value, or a list of them with at least one entry.
#[derive(Debug, Clone, Copy)]
pub struct OneOrMany<F> {
    form: F,
}

/// One value, or a list of them with at least one entry. The form itself must not be a list.
pub fn one_or_many<F: Form>(form: F) -> OneOrMany<F> {
    OneOrMany { form }
}

impl<F: Form> Form for OneOrMany<F> {
    type Out = Vec<F::Out>;

    fn fits(&self, node: &Node) -> bool {
        matches!(node.value, Value::List(_)) || self.form.fits(node)
    }

    fn wanted(&self) -> String {
        format!("{}, or a list of such", self.form.wanted())
    }

    fn read(&self, node: &Node, at: &mut Reading) -> Option<Self::Out> {
        match &node.value {
            Value::List(nodes) if nodes.is_empty() => {
                too_few(at, node.span, 0, 1, self.wanted());
                None
            }
            Value::List(_) => ListOf { form: &self.form, least: 1 }.read(node, at),
            Value::Null | Value::Bool(_) | Value::Number(..) | Value::Text(_) | Value::Object(_) => {
                self.form.read(node, at).map(|value| vec![value])
            }
        }
    }

    fn stand_in(&self) -> Self::Out {
        vec![self.form.stand_in()]
    }

    fn schema(&self, definitions: &mut Definitions) -> Json {
        let one = self.form.schema(definitions);
        json!({ "anyOf": [one.clone(), { "type": "array", "items": one, "minItems": 1 }] })
    }
}

/// An object whose keys are names of the user's own, in the order of the file.
#[derive(Debug, Clone, Copy)]
pub struct MapOf<F> {
    form: F,
    least: usize,
}

/// An object whose keys are names of the user's own, all values of one form. `note` is no name.
pub fn map_of<F: Form>(form: F) -> MapOf<F> {
    MapOf { form, least: 0 }
}

impl<F> MapOf<F> {
    /// This many or more.
    #[must_use]
    pub fn at_least(self, least: usize) -> Self {
        MapOf { least, ..self }
    }
}

impl<F: Form> Form for MapOf<F> {
    type Out = Vec<(Spanned<String>, F::Out)>;

    fn fits(&self, node: &Node) -> bool {
        matches!(node.value, Value::Object(_))
    }

    fn wanted(&self) -> String {
        format!("an object with names as keys, each value {}", self.form.wanted())
    }

    /// Entries that cannot be read are reported; a stand-in keeps their names known.
    fn read(&self, node: &Node, at: &mut Reading) -> Option<Self::Out> {
        let Value::Object(entries) = &node.value else {
            at.wrong_type(node, &self.wanted());
            return None;
        };
        let mut values = Vec::with_capacity(entries.len());
        let mut found = 0;
        for entry in entries {
            if at.is_full() {
                break;
            }
            if entry.key == NOTE {
                at.in_key(NOTE, |at| check_note(&entry.node, at));
                continue;
            }
            found += 1;
            at.in_key(&entry.key, |at| {
                if let Some(problem) = name_problem(&entry.key) {
                    at.error(entry.key_span, problem);
                }
                let name = Spanned { value: entry.key.clone(), place: at.place(entry.key_span) };
                let value = self.form.read(&entry.node, at).unwrap_or_else(|| self.form.stand_in());
                values.push((name, value));
            });
        }
        if found < self.least && !at.is_full() {
            too_few(at, node.span, found, self.least, self.wanted());
        }
        Some(values)
    }

    fn stand_in(&self) -> Self::Out {
        Vec::new()
    }

    fn schema(&self, definitions: &mut Definitions) -> Json {
        json!({
            "type": "object",
            "properties": { NOTE: note_schema() },
            "additionalProperties": self.form.schema(definitions),
            "minProperties": self.least,
        })
    }
}
