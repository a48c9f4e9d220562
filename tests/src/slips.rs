//! Slips of the fingers in a sound scenario file: a key, a word, a name or a unit with a wrong letter, a value out of range.

use serde_json::Value;
use sim_core::scenario;
use std::collections::BTreeSet;

/// One slip.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Slip {
    /// Keys and numbers of entries that lead to what is wrong.
    pub path: Vec<Step>,
    what: What,
}

/// A step of a path.
#[derive(Debug, Clone, PartialEq, Eq)]
pub enum Step {
    /// A key of an object.
    Key(String),
    /// An entry of a list.
    Entry(usize),
}

#[derive(Debug, Clone, PartialEq, Eq)]
enum What {
    /// The key at the end of the path becomes this.
    Key(String),
    /// The value at the end of the path becomes this.
    Value(Value),
}

impl Slip {
    /// The file with the slip in it.
    ///
    /// # Panics
    /// If the file is not the one that it was made for.
    pub fn text(&self, text: &str) -> String {
        let mut file: Value = serde_json::from_str(text).expect("a scenario is JSON");
        let (last, before) = self.path.split_last().expect("a slip is somewhere in the file");
        let parent = before.iter().fold(&mut file, |at, step| match step {
            Step::Key(key) => &mut at[key.as_str()],
            Step::Entry(n) => &mut at[*n],
        });
        match (&self.what, last) {
            (What::Value(value), Step::Key(key)) => parent[key.as_str()] = value.clone(),
            (What::Value(value), Step::Entry(n)) => parent[*n] = value.clone(),
            (What::Key(other), Step::Key(key)) => {
                let object = parent.as_object_mut().expect("keys stand in objects");
                let value = object.remove(key).expect("the key is there");
                object.insert(other.clone(), value);
            }
            (What::Key(_), Step::Entry(_)) => unreachable!("entries of lists have no key"),
        }
        file.to_string()
    }

    /// Whether it leaves open where a station gives to.
    pub fn leads_anywhere(&self) -> bool {
        let keys = ["to", "type"].map(|key| Step::Key(key.to_owned()));
        matches!(self.what, What::Value(_)) && self.path.last().is_some_and(|last| keys.contains(last))
    }

    /// Whether the other slip can't be seen with this one in the file: it lies inside of it, or in an object of which it is no
    /// longer known what it is.
    pub fn hides(&self, other: &Slip) -> bool {
        let tags = ["type", "law", "how"].map(|key| Step::Key(key.to_owned()));
        let (last, object) = self.path.split_last().expect("a slip is somewhere in the file");
        let is_of_tag = matches!(self.what, What::Value(_)) && tags.contains(last);
        other.path.starts_with(if is_of_tag { object } else { &self.path })
    }
}

/// The words of the format: keys of the schema.
fn words() -> BTreeSet<String> {
    fn gather(at: &Value, words: &mut BTreeSet<String>) {
        match at {
            Value::Object(map) => {
                if let Some(Value::Object(properties)) = map.get("properties") {
                    words.extend(properties.keys().cloned());
                }
                map.values().for_each(|value| gather(value, words));
            }
            Value::Array(list) => list.iter().for_each(|value| gather(value, words)),
            Value::Null | Value::Bool(_) | Value::Number(_) | Value::String(_) => {}
        }
    }
    let mut words = BTreeSet::new();
    gather(&scenario::schema(), &mut words);
    words
}

/// Slips of a sound file, each of which is one error.
pub fn slips(text: &str) -> Vec<Slip> {
    let file: Value = serde_json::from_str(text).expect("a scenario is JSON");
    let mut found = Vec::new();
    gather(&file, &mut Vec::new(), &words(), &mut found);
    found
}

fn gather(at: &Value, path: &mut Vec<Step>, words: &BTreeSet<String>, found: &mut Vec<Slip>) {
    match at {
        Value::Object(map) => {
            for (key, value) in map {
                if key == "note" || key == "$schema" {
                    continue;
                }
                path.push(Step::Key(key.clone()));
                if words.contains(key) && key.len() > 2 {
                    found.push(Slip { path: path.clone(), what: What::Key(doubled(key)) });
                }
                gather(value, path, words, found);
                path.pop();
            }
        }
        Value::Array(list) => {
            for (n, value) in list.iter().enumerate() {
                path.push(Step::Entry(n));
                gather(value, path, words, found);
                path.pop();
            }
        }
        Value::String(text) => {
            let names = ["id", "title", "test"].map(|key| Step::Key(key.to_owned()));
            if !path.last().is_some_and(|last| names.contains(last)) {
                let value = Value::String(if is_quantity(text) { format!("{text}x") } else { doubled(text) });
                found.push(Slip { path: path.clone(), what: What::Value(value) });
                found.push(Slip { path: path.clone(), what: What::Value(Value::Null) });
                found.push(Slip { path: path.clone(), what: What::Value(Value::from("a[b")) });
            }
        }
        Value::Number(_) => {
            found.push(Slip { path: path.clone(), what: What::Value(Value::from(-1.0e9)) });
        }
        Value::Null | Value::Bool(_) => {}
    }
}

fn is_quantity(text: &str) -> bool {
    text.starts_with(|c: char| c.is_ascii_digit() || c == '.')
}

/// With its second letter twice.
fn doubled(word: &str) -> String {
    let mut letters: Vec<char> = word.chars().collect();
    let n = 1.min(letters.len() - 1);
    letters.insert(n, letters[n]);
    letters.into_iter().collect()
}
