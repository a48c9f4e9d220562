//! Plain numbers and flags, as forms.

use serde_json::{Value as Json, json};

use super::fields::{Reading, SettingSort};
use super::forms::Form;
use super::json::{Node, Value, clipped};
use super::quantity::warn_unusual;
use super::schema::Definitions;
use crate::diag::{Problem, code};

/// A whole number, from 0 to 1,000,000,000 unless said otherwise.
#[derive(Debug, Clone, Copy)]
pub struct Count {
    least: u64,
    most: u64,
    usual: Option<(u64, u64, &'static str)>,
}

/// A whole number.
pub fn count() -> Count {
    Count { least: 0, most: 1_000_000_000, usual: None }
}

impl Count {
    /// This many or more.
    #[must_use]
    pub fn at_least(self, least: u64) -> Self {
        Count { least, ..self }
    }

    /// This many or less.
    #[must_use]
    pub fn at_most(self, most: u64) -> Self {
        Count { most, ..self }
    }

    /// Warns outside of a usual range; `words` say it to people.
    #[must_use]
    pub fn usual(self, low: u64, high: u64, words: &'static str) -> Self {
        Count { usual: Some((low, high, words)), ..self }
    }
}

impl Form for Count {
    type Out = u64;

    fn fits(&self, node: &Node) -> bool {
        matches!(node.value, Value::Number(..))
    }

    fn wanted(&self) -> String {
        format!("a whole number from {} to {}, such as {}", self.least, self.most, self.stand_in())
    }

    fn read(&self, node: &Node, at: &mut Reading) -> Option<u64> {
        let Value::Number(number, text) = &node.value else {
            at.wrong_type(node, &self.wanted());
            return None;
        };
        let value = match text.parse::<u64>() {
            Ok(value) if (self.least..=self.most).contains(&value) => value,
            parsed => {
                let words = match parsed {
                    Ok(value) if value < self.least => format!("is less than {}", self.least),
                    Ok(_) => format!("is more than {}", self.most),
                    Err(_) if *number < 0.0 => "is below zero".to_owned(),
                    Err(_) if *number > 1e19 => format!("is more than {}", self.most),
                    Err(_) => "is not written as a whole number".to_owned(),
                };
                let problem = Problem::new(code::OUT_OF_RANGE, format!("{} {words}", clipped(text)));
                at.error(node.span, problem.expected(self.wanted()));
                return None;
            }
        };
        if let Some((low, high, words)) = self.usual
            && !(low..=high).contains(&value)
        {
            warn_unusual(node, at, &value.to_string(), words);
        }
        at.set(node.span, SettingSort::Count);
        Some(value)
    }

    fn stand_in(&self) -> u64 {
        self.least.max(1).min(self.most)
    }

    fn schema(&self, _: &mut Definitions) -> Json {
        let mut schema = json!({ "type": "integer", "minimum": self.least, "maximum": self.most });
        if let Some((_, _, words)) = self.usual {
            schema["description"] = json!(format!("usual: {words}"));
        }
        schema
    }
}

/// A plain number, from -1e12 to 1e12 unless said otherwise.
#[derive(Debug, Clone, Copy)]
pub struct Real {
    least: f64,
    most: f64,
    above: Option<f64>,
    usual: Option<(f64, f64, &'static str)>,
}

/// A plain number without a unit.
pub fn real() -> Real {
    Real { least: -1e12, most: 1e12, above: None, usual: None }
}

impl Real {
    /// This much or more.
    #[must_use]
    pub fn at_least(self, least: f64) -> Self {
        Real { least, ..self }
    }

    /// This much or less.
    #[must_use]
    pub fn at_most(self, most: f64) -> Self {
        Real { most, ..self }
    }

    /// Above this, which is itself excluded.
    #[must_use]
    pub fn above(self, bound: f64) -> Self {
        Real { above: Some(bound), ..self }
    }

    /// Above zero.
    #[must_use]
    pub fn positive(self) -> Self {
        self.above(0.0)
    }

    /// Warns outside of a usual range; `words` say it to people.
    #[must_use]
    pub fn usual(self, low: f64, high: f64, words: &'static str) -> Self {
        Real { usual: Some((low, high, words)), ..self }
    }

    fn allows(&self, value: f64) -> bool {
        (self.least..=self.most).contains(&value) && self.above.is_none_or(|bound| value > bound)
    }
}

impl Form for Real {
    type Out = f64;

    fn fits(&self, node: &Node) -> bool {
        matches!(node.value, Value::Number(..))
    }

    fn wanted(&self) -> String {
        let example = self.stand_in();
        match self.above {
            Some(bound) => format!("a number above {bound} and at most {}, such as {example}", self.most),
            None => format!("a number from {} to {}, such as {example}", self.least, self.most),
        }
    }

    fn read(&self, node: &Node, at: &mut Reading) -> Option<f64> {
        let Value::Number(value, text) = &node.value else {
            at.wrong_type(node, &self.wanted());
            return None;
        };
        if !self.allows(*value) {
            let problem = Problem::new(code::OUT_OF_RANGE, format!("{} is out of range", clipped(text)));
            at.error(node.span, problem.expected(self.wanted()));
            return None;
        }
        if let Some((low, high, words)) = self.usual
            && !(low..=high).contains(value)
        {
            warn_unusual(node, at, &clipped(text), words);
        }
        Some(*value + 0.0)
    }

    fn stand_in(&self) -> f64 {
        let low = self.above.unwrap_or(self.least).max(self.least);
        let candidates = [1.0, 0.5, low, (low + self.most) / 2.0];
        candidates.into_iter().find(|&value| self.allows(value)).unwrap_or(self.most)
    }

    fn schema(&self, _: &mut Definitions) -> Json {
        let mut schema = json!({ "type": "number", "minimum": self.least, "maximum": self.most });
        if let Some(bound) = self.above {
            schema["exclusiveMinimum"] = json!(bound);
        }
        if let Some((_, _, words)) = self.usual {
            schema["description"] = json!(format!("usual: {words}"));
        }
        schema
    }
}

/// `true` or `false`.
#[derive(Debug, Clone, Copy)]
pub struct Flag;

/// `true` or `false`.
pub fn flag() -> Flag {
    Flag
}

impl Form for Flag {
    type Out = bool;

    fn fits(&self, node: &Node) -> bool {
        matches!(node.value, Value::Bool(_))
    }

    fn wanted(&self) -> String {
        "true or false, without quotes".to_owned()
    }

    fn read(&self, node: &Node, at: &mut Reading) -> Option<bool> {
        match node.value {
            Value::Bool(value) => Some(value),
            Value::Null | Value::Number(..) | Value::Text(_) | Value::List(_) | Value::Object(_) => {
                at.wrong_type(node, &self.wanted());
                None
            }
        }
    }

    fn stand_in(&self) -> bool {
        false
    }

    fn schema(&self, _: &mut Definitions) -> Json {
        json!({ "type": "boolean" })
    }
}
