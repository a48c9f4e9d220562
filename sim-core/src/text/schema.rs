//! The JSON Schema (draft 2020-12) of what read functions read.
//!
//! Schemas are made by running read functions in describing mode; nothing is written down twice. Invariant:
//! a schema never refuses what the reader accepts. It may accept more (sums, references, unit words).

use serde_json::{Map, Value, json};

use crate::text::fields::{Object, describe_object};

/// The named schemas of a document (`$defs`).
#[derive(Debug, Default)]
pub struct Definitions {
    named: Map<String, Value>,
}

impl Definitions {
    /// A reference to the schema called `name`, which is made when it is asked for the first time; a schema
    /// may refer to itself. One name stands for one schema.
    pub fn define(&mut self, name: &str, make: impl FnOnce(&mut Definitions) -> Value) -> Value {
        if !self.named.contains_key(name) {
            self.named.insert(name.to_owned(), Value::Bool(true));
            let schema = make(self);
            self.named.insert(name.to_owned(), schema);
        }
        json!({ "$ref": format!("#/$defs/{name}") })
    }
}

/// The JSON Schema of the objects that `read` reads, with a title.
pub fn describe<T>(title: &str, read: impl FnOnce(&mut Object<'_>) -> T) -> Value {
    let mut definitions = Definitions::default();
    let object = describe_object(&mut definitions, read);
    let mut schema = Map::new();
    schema.insert("$schema".to_owned(), json!("https://json-schema.org/draft/2020-12/schema"));
    schema.insert("title".to_owned(), json!(title));
    if let Value::Object(object) = object {
        schema.extend(object);
    }
    if !definitions.named.is_empty() {
        schema.insert("$defs".to_owned(), Value::Object(definitions.named));
    }
    Value::Object(schema)
}
