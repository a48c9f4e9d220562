//! Quantities with a unit, as forms with ranges.

use serde_json::{Value as Json, json};

use super::fields::{Reading, SettingSort};
use super::forms::Form;
use super::json::{Node, Value, clipped};
use super::schema::Definitions;
use crate::diag::{Problem, code};
use crate::units::{Dimension, UnitError, parse};

/// A quantity of one dimension, zero or more unless said otherwise; becomes SI base units. See
/// [`units::parse`](crate::units::parse).
#[derive(Debug, Clone, Copy)]
pub struct Quantity {
    dimension: Dimension,
    sign: Sign,
    least: Option<(f64, &'static str)>,
    most: Option<(f64, &'static str)>,
    usual: Option<(f64, f64, &'static str)>,
}

#[derive(Debug, Clone, Copy, PartialEq, Eq)]
enum Sign {
    Any,
    NonNegative,
    Positive,
}

/// A quantity of a dimension.
pub fn quantity(dimension: Dimension) -> Quantity {
    Quantity { dimension, sign: Sign::NonNegative, least: None, most: None, usual: None }
}

/// A time, in seconds.
pub fn time() -> Quantity {
    quantity(Dimension::Time)
}

/// A length, in metres.
pub fn length() -> Quantity {
    quantity(Dimension::Length)
}

/// A speed, in metres per second.
pub fn speed() -> Quantity {
    quantity(Dimension::Speed)
}

/// A mass, in kilograms.
pub fn mass() -> Quantity {
    quantity(Dimension::Mass)
}

/// A volume, in cubic metres.
pub fn volume() -> Quantity {
    quantity(Dimension::Volume)
}

/// A rate, in pieces per second.
pub fn rate() -> Quantity {
    quantity(Dimension::Rate)
}

/// A volume per time, in cubic metres per second.
pub fn volume_rate() -> Quantity {
    quantity(Dimension::VolumeRate)
}

/// Pieces per cubic metre.
pub fn density() -> Quantity {
    quantity(Dimension::Density)
}

/// A share of something (not a chance: see [`chance`](super::forms::chance)), as text; may be above one.
pub fn share() -> Quantity {
    quantity(Dimension::Share)
}

impl Quantity {
    /// Above zero.
    #[must_use]
    pub fn positive(self) -> Self {
        Quantity { sign: Sign::Positive, ..self }
    }

    /// Zero or more: what a quantity is when nothing is said.
    #[must_use]
    pub fn non_negative(self) -> Self {
        Quantity { sign: Sign::NonNegative, ..self }
    }

    /// Below zero too.
    #[must_use]
    pub fn any_sign(self) -> Self {
        Quantity { sign: Sign::Any, ..self }
    }

    /// This much or more, as it would stand in a file: `"1 mm"`.
    ///
    /// # Panics
    /// If the text is no quantity of the dimension.
    #[must_use]
    pub fn at_least(self, least: &'static str) -> Self {
        Quantity { least: Some((self.literal(least), least)), ..self }
    }

    /// This much or less, as it would stand in a file: `"1 h"`.
    ///
    /// # Panics
    /// If the text is no quantity of the dimension.
    #[must_use]
    pub fn at_most(self, most: &'static str) -> Self {
        Quantity { most: Some((self.literal(most), most)), ..self }
    }

    /// Warns outside of a usual range, ends as they would stand in a file; `words` say the range to people:
    /// `.usual("15 /min", "90 /min", "15 to 90 cleats a minute")`.
    ///
    /// # Panics
    /// If the texts are no quantities of the dimension.
    #[must_use]
    pub fn usual(self, low: &'static str, high: &'static str, words: &'static str) -> Self {
        Quantity { usual: Some((self.literal(low), self.literal(high), words)), ..self }
    }

    fn literal(&self, text: &'static str) -> f64 {
        parse(text, self.dimension)
            .unwrap_or_else(|error| panic!("the limit of a form is a quantity of it: {error}"))
    }

    fn problem(&self, value: f64) -> Option<String> {
        match self.sign {
            Sign::Positive if value <= 0.0 => return Some("has to be above zero".to_owned()),
            Sign::NonNegative if value < 0.0 => return Some("is below zero".to_owned()),
            Sign::Any | Sign::NonNegative | Sign::Positive => {}
        }
        match (self.least, self.most) {
            (Some((least, text)), _) if value < least => Some(format!("is less than {text}")),
            (_, Some((most, text))) if value > most => Some(format!("is more than {text}")),
            (Some(_) | None, Some(_) | None) => None,
        }
    }

    fn range(&self) -> String {
        let sign = match self.sign {
            Sign::Any | Sign::NonNegative => "",
            Sign::Positive => " above zero",
        };
        match (self.least, self.most) {
            (Some((_, least)), Some((_, most))) => format!(" from {least} to {most}"),
            (Some((_, least)), None) => format!(" of {least} or more"),
            (None, Some((_, most))) => format!("{sign} of at most {most}"),
            (None, None) => sign.to_owned(),
        }
    }

    /// An example inside the limits.
    fn example(&self) -> &'static str {
        let example = self.dimension.example();
        match (self.least, self.most) {
            (_, Some((most, text))) if self.literal(example) > most => text,
            (Some((least, text)), _) if self.literal(example) < least => text,
            (Some(_) | None, Some(_) | None) => example,
        }
    }
}

/// Reports a value outside of what is usual.
pub(crate) fn warn_unusual(node: &Node, at: &mut Reading, what: &str, words: &str) {
    let problem = Problem::new(code::UNUSUAL_VALUE, format!("{what} is unusual"))
        .expected(format!("usual: {words}"))
        .help("leave it if it is meant");
    at.warning(node.span, problem);
}

impl Form for Quantity {
    type Out = f64;

    /// Text that begins with a number and has no unit of another dimension.
    fn fits(&self, node: &Node) -> bool {
        let Some(text) = node.text() else { return false };
        match parse(text, self.dimension) {
            Ok(_) => true,
            Err(error) => {
                ![code::EMPTY, code::NUMBER_UNREADABLE, code::UNIT_WRONG_KIND].contains(&error.code())
            }
        }
    }

    fn wanted(&self) -> String {
        format!("{}{}, such as `{}`", self.dimension.name(), self.range(), self.example())
    }

    fn read(&self, node: &Node, at: &mut Reading) -> Option<f64> {
        let text = match &node.value {
            Value::Text(text) => text,
            Value::Number(_, number) => match self.dimension {
                Dimension::Share => number,
                Dimension::Time
                | Dimension::Length
                | Dimension::Speed
                | Dimension::Mass
                | Dimension::Volume
                | Dimension::Rate
                | Dimension::VolumeRate
                | Dimension::Density => {
                    let problem = Problem::from(UnitError::bare(number, self.dimension));
                    at.error(node.span, problem.help("a quantity is text, in double quotes"));
                    return None;
                }
            },
            Value::Null | Value::Bool(_) | Value::List(_) | Value::Object(_) => {
                at.wrong_type(node, &self.wanted());
                return None;
            }
        };
        let value = match parse(text, self.dimension) {
            Ok(value) => value,
            Err(error) => {
                at.error(node.span, error.into());
                return None;
            }
        };
        if let Some(words) = self.problem(value) {
            let problem = Problem::new(code::OUT_OF_RANGE, format!("`{}` {words}", clipped(text)));
            at.error(node.span, problem.expected(self.wanted()));
            return None;
        }
        if let Some((low, high, words)) = self.usual
            && !(low..=high).contains(&value)
        {
            warn_unusual(node, at, &format!("`{}`", clipped(text)), words);
        }
        at.set(node.span, SettingSort::Quantity(self.dimension));
        Some(value)
    }

    fn stand_in(&self) -> f64 {
        self.literal(self.example())
    }

    fn schema(&self, _: &mut Definitions) -> Json {
        let mut words =
            format!("{}{}; units: {}", self.dimension.name(), self.range(), self.dimension.units());
        if let Some((_, _, usual)) = self.usual {
            words.push_str("; usual: ");
            words.push_str(usual);
        }
        let kind = match self.dimension {
            Dimension::Share => json!(["string", "number"]),
            Dimension::Time
            | Dimension::Length
            | Dimension::Speed
            | Dimension::Mass
            | Dimension::Volume
            | Dimension::Rate
            | Dimension::VolumeRate
            | Dimension::Density => json!("string"),
        };
        json!({ "type": kind, "pattern": QUANTITY_PATTERN, "description": words, "examples": [self.example()] })
    }
}

/// Looser than the reader: a number, then anything.
pub(crate) const QUANTITY_PATTERN: &str = r"^\s*[-+]?[0-9.]";
