//! Which words of the file format a scenario text uses: keys of objects, and words that a key may have as its value.
//!
//! The words come from the schema of the program, so that none has to be written down here. Invariant: a word is counted
//! for the object to which it belongs: `jam.when` and `tool.when` are two words.

use serde_json::Value;
use std::collections::BTreeSet;

/// Words, each as `object.key` or `object.key = word`.
pub type Words = BTreeSet<String>;

/// The words of a format.
#[derive(Clone, Debug)]
pub struct Format {
    schema: Value,
}

impl Format {
    /// The format that a JSON Schema describes.
    pub fn new(schema: Value) -> Self {
        Format { schema }
    }

    /// All words of the format.
    pub fn words(&self) -> Words {
        let mut words = Words::new();
        self.describe(&self.schema, "file", &mut words);
        for (name, part) in self.schema["$defs"].as_object().into_iter().flatten() {
            self.describe(part, name, &mut words);
        }
        words
    }

    fn describe(&self, part: &Value, name: &str, words: &mut Words) {
        for branch in branches(part) {
            self.describe(branch, name, words);
        }
        for word in named(part) {
            words.insert(format!("{name} = {word}"));
        }
        for (key, inner) in part["properties"].as_object().into_iter().flatten() {
            let full = format!("{name}.{key}");
            self.describe(inner, &full, words);
            words.insert(full);
        }
        for key in ["items", "additionalProperties"] {
            if part[key].is_object() {
                self.describe(&part[key], name, words);
            }
        }
    }

    /// Adds the words that a text of the format uses.
    pub fn note(&self, text: &Value, words: &mut Words) {
        self.note_in(&self.schema, text, "file", words);
    }

    fn note_in(&self, part: &Value, value: &Value, name: &str, words: &mut Words) {
        let (part, name) = self.resolved(part, name);
        // A text may be meant by more than one branch: as a quantity and as a word.
        for branch in branches(part).filter(|branch| self.fits(branch, value)) {
            self.note_in(branch, value, name, words);
            if value.is_object() {
                break;
            }
        }
        if let Some(word) = value.as_str().filter(|word| named(part).contains(word)) {
            words.insert(format!("{name} = {word}"));
        }
        for item in value.as_array().into_iter().flatten() {
            self.note_in(&part["items"], item, name, words);
        }
        for (key, inner) in value.as_object().into_iter().flatten() {
            if let Some(known) = part["properties"].get(key) {
                let full = format!("{name}.{key}");
                self.note_in(known, inner, &full, words);
                words.insert(full);
            } else {
                self.note_in(&part["additionalProperties"], inner, name, words);
            }
        }
    }

    fn resolved<'a>(&'a self, part: &'a Value, name: &'a str) -> (&'a Value, &'a str) {
        match part["$ref"].as_str().and_then(|path| path.strip_prefix("#/$defs/")) {
            Some(name) => (&self.schema["$defs"][name], name),
            None => (part, name),
        }
    }

    /// Whether a value may be meant by a branch, going by its type, its keys and its fixed words.
    fn fits(&self, part: &Value, value: &Value) -> bool {
        let (part, _) = self.resolved(part, "");
        if branches(part).next().is_some() {
            return branches(part).any(|branch| self.fits(branch, value));
        }
        if part.get("const").is_some() || part.get("enum").is_some() {
            return value.as_str().is_some_and(|word| named(part).contains(&word));
        }
        let is_of_type = match part["type"].as_str() {
            Some("object") => value.is_object(),
            Some("array") => value.is_array(),
            Some("string") => value.is_string(),
            Some("boolean") => value.is_boolean(),
            Some("integer") => value.is_u64(),
            Some("number") => value.is_number(),
            _ => true,
        };
        let known = |(key, inner): (&String, &Value)| match part["properties"].get(key) {
            Some(known) => known.get("const").is_none_or(|word| word == inner),
            None => {
                let others = &part["additionalProperties"];
                others.is_object() && self.fits(others, inner)
            }
        };
        let required = part["required"].as_array().into_iter().flatten();
        is_of_type
            && value.as_object().is_none_or(|object| {
                object.iter().all(known)
                    && required.filter_map(Value::as_str).all(|key| object.contains_key(key))
            })
    }
}

fn branches(part: &Value) -> impl Iterator<Item = &Value> {
    ["anyOf", "oneOf"].into_iter().flat_map(|key| part[key].as_array().into_iter().flatten())
}

/// The fixed words of a part of the schema.
fn named(part: &Value) -> Vec<&str> {
    let list = part["enum"].as_array().into_iter().flatten();
    part.get("const").into_iter().chain(list).filter_map(Value::as_str).collect()
}
