//! Changing values of a scenario text by address.
//!
//! A value may be a number, a quantity, or a whole object or list. Invariant: the text differs from the source in the
//! bytes of the values that were set, and in the keys that were added.

use super::address::{Address, Spot, find};
use crate::diag::{Problem, Span, code};
use serde_json::Value;

/// What an address is set to.
#[derive(Debug, Clone, PartialEq)]
pub struct Setting {
    /// Which value.
    pub address: Address,
    /// What it becomes.
    pub value: Value,
}

/// Why a text could not be changed.
#[derive(Debug, Clone, PartialEq)]
pub struct Unchanged {
    /// The address as it was typed.
    pub address: String,
    /// What is wrong with it.
    pub problem: Problem,
}

impl Setting {
    /// Reads `ADDRESS=VALUE`, the value as in [`value_of`].
    ///
    /// # Errors
    /// What is wrong with it.
    pub fn read(text: &str) -> Result<Self, Problem> {
        let Some((address, value)) = split(text) else {
            let message = format!("`{text}` sets nothing");
            return Err(Problem::new(code::WRONG_TYPE, message)
                .expected("an address, `=` and a value, such as `lift.cleats=1.2 /s`"));
        };
        Ok(Setting { address: Address::read(address)?, value: value_of(value) })
    }
}

/// Around the first `=` that is not inside of a quoted name.
fn split(text: &str) -> Option<(&str, &str)> {
    let mut quoted = false;
    let at = text.bytes().position(|byte| {
        quoted ^= byte == b'"';
        byte == b'=' && !quoted
    })?;
    Some((&text[..at], &text[at + 1..]))
}

/// A value as it is typed: JSON, or else text, so that `12`, `true` and `{"law": ...}` are what they look like, and
/// `1.2 m` needs no quotes.
pub fn value_of(typed: &str) -> Value {
    let typed = typed.trim();
    serde_json::from_str(typed).unwrap_or_else(|_| Value::String(typed.to_owned()))
}

/// As it would be typed: text without quotes.
pub fn plain(value: &Value) -> String {
    match value {
        Value::String(text) => text.clone(),
        Value::Null | Value::Bool(_) | Value::Number(_) | Value::Array(_) | Value::Object(_) => {
            value.to_string()
        }
    }
}

/// The text with each setting made, one after the other. Whether the result is a sound scenario is not asked.
///
/// # Errors
/// The first address that leads nowhere, or that leaves nothing of an earlier setting.
pub fn set(source: &str, settings: &[Setting]) -> Result<String, Unchanged> {
    let mut text = source.to_owned();
    let mut made: Vec<Spot> = Vec::with_capacity(settings.len());
    for setting in settings {
        let unchanged = |problem| Unchanged { address: setting.address.text().to_owned(), problem };
        let spot = find(&text, &setting.address).map_err(unchanged)?;
        if let Some(earlier) = made.iter().find(|earlier| spot.undoes(earlier)) {
            return Err(unchanged(set_twice(&spot, earlier)));
        }
        made.push(spot.clone());
        let value = setting.value.to_string();
        match (spot.span, spot.home) {
            (Some(span), _) => text.replace_range(span.start..span.end, &value),
            (None, Some((home, has_others))) => add(&mut text, home, has_others, &spot.key, &value),
            (None, None) => panic!("a value that is not there has a home"),
        }
    }
    Ok(text)
}

fn set_twice(spot: &Spot, earlier: &Spot) -> Problem {
    let message = if spot.path == earlier.path {
        format!("`{}` is set twice", spot.path)
    } else {
        format!("setting `{}` undoes the setting of `{}`", spot.path, earlier.path)
    };
    Problem::new(code::DUPLICATE_NAME, message).help("leave one of the two out")
}

/// Adds a key before the closing brace of an object.
fn add(text: &mut String, home: Span, has_others: bool, key: &str, value: &str) {
    let comma = if has_others { ", " } else { "" };
    let end = text[home.start..home.end - 1].trim_end().len() + home.start;
    text.insert_str(end, &format!("{comma}{}: {value}", Value::String(key.to_owned())));
}

#[cfg(test)]
mod tests {
    use super::*;

    const LINE: &str = r#"{"stations": [
        {"id": "a=b", "cycle": "1 s"}
    ], "plan": {}}"#;

    fn set_all(settings: &[&str]) -> Result<String, Unchanged> {
        let settings: Vec<Setting> = settings.iter().map(|text| Setting::read(text).unwrap()).collect();
        set(LINE, &settings)
    }

    #[test]
    fn only_what_is_set_differs() {
        let text = set_all(&["[\"a=b\"].cycle=1.5 s", "plan.seed=7", "plan.shift=1 h"]).unwrap();
        let expected = LINE.replace("\"1 s\"", "\"1.5 s\"").replace("{}", r#"{"seed": 7, "shift": "1 h"}"#);
        assert_eq!(text, expected);
    }

    #[test]
    fn a_whole_object_can_be_set() {
        let text = set_all(&[r#"["a=b"].cycle={"law": "exponential", "mean": "1 s"}"#]).unwrap();
        assert_eq!(text, LINE.replace("\"1 s\"", r#"{"law":"exponential","mean":"1 s"}"#));
    }

    #[test]
    fn what_cannot_be_set_says_why() {
        assert!(Setting::read("cycle").is_err());
        let wrong = set_all(&["plam.seed=7"]).unwrap_err();
        assert_eq!(wrong.problem.help.as_deref(), Some("did you mean `plan`?"));
        let twice = set_all(&["plan.seed=7", "stations[0].cycle=2 s", r#"["a=b"].cycle=3 s"#]).unwrap_err();
        assert!(twice.problem.message.contains("is set twice"), "{twice:?}");
        let undone = set_all(&["plan.seed=7", r#"plan={"shift": "1 h"}"#]).unwrap_err();
        assert!(undone.problem.message.contains("undoes the setting of `plan.seed`"), "{undone:?}");
        assert!(set_all(&[r#"plan={"shift": "1 h"}"#, "plan.seed=7"]).is_ok());
    }
}
