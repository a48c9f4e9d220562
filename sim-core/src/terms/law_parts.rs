//! What laws are written with: amounts of a dimension or plain counts, rows of a table, the law's name.
//!
//! Only [`law_form`](super::law_form) uses this. Invariant: an amount that was read is finite and not negative.

use serde_json::{Value as Json, json};

use crate::diag::{Problem, code};
use crate::text::fields::{Object, Reading, describe_object, read_object};
use crate::text::forms::{Count, Form, Quantity, Real, count, list_of, quantity, real, text};
use crate::text::json::Node;
use crate::text::schema::Definitions;
use crate::units::{self, Dimension, System};

/// What is random.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(super) enum Unit {
    /// An amount of a dimension, in its SI base unit.
    Of(Dimension),
    /// A whole number.
    Count,
}

impl Unit {
    /// One value that may come out.
    pub(super) fn value(self) -> Amount {
        match self {
            Unit::Of(dimension) => Amount::Quantity(quantity(dimension)),
            Unit::Count => Amount::Whole(count()),
        }
    }

    /// A mean of values.
    pub(super) fn mean(self) -> Amount {
        match self {
            Unit::Of(dimension) => Amount::Quantity(quantity(dimension)),
            Unit::Count => Amount::Plain(real().at_least(0.0).at_most(1e6)),
        }
    }

    /// A limit that stands in the program.
    pub(super) fn literal(self, text: &'static str) -> f64 {
        let value = match self {
            Unit::Of(dimension) => units::parse(text, dimension).ok(),
            Unit::Count => text.parse().ok(),
        };
        value.unwrap_or_else(|| panic!("the limit `{text}` of a law is an amount of it"))
    }

    /// The unit of base values as they are written in a file; empty for counts.
    pub(super) fn base(self) -> &'static str {
        match self {
            Unit::Of(dimension) => dimension.base_unit(),
            Unit::Count => "",
        }
    }

    /// A mean, for messages.
    pub(super) fn shown(self, mean: f64) -> String {
        match self {
            Unit::Of(dimension) => units::format(mean, dimension, System::default()),
            Unit::Count => format!("{mean:.3}"),
        }
    }

    pub(super) fn schema_name(self) -> String {
        match self {
            Unit::Of(dimension) => {
                format!("random-{}", dimension.name().trim_start_matches("a ").replace(' ', "-"))
            }
            Unit::Count => "random-count".to_owned(),
        }
    }

    pub(super) fn described(self) -> String {
        match self {
            Unit::Of(dimension) => {
                format!("{}, fixed or random; units: {}", dimension.name(), dimension.units())
            }
            Unit::Count => "a whole number, fixed or random".to_owned(),
        }
    }
}

/// The form of one amount; becomes SI base units, or the count.
#[derive(Debug, Clone, Copy)]
pub(super) enum Amount {
    Quantity(Quantity),
    Whole(Count),
    Plain(Real),
}

impl Amount {
    /// Above zero.
    pub(super) fn positive(self) -> Self {
        match self {
            Amount::Quantity(form) => Amount::Quantity(form.positive()),
            Amount::Whole(form) => Amount::Whole(form.at_least(1)),
            Amount::Plain(form) => Amount::Plain(form.positive()),
        }
    }
}

impl Form for Amount {
    type Out = f64;

    fn fits(&self, node: &Node) -> bool {
        match self {
            Amount::Quantity(form) => form.fits(node),
            Amount::Whole(form) => form.fits(node),
            Amount::Plain(form) => form.fits(node),
        }
    }

    fn wanted(&self) -> String {
        match self {
            Amount::Quantity(form) => form.wanted(),
            Amount::Whole(form) => form.wanted(),
            Amount::Plain(form) => form.wanted(),
        }
    }

    fn read(&self, node: &Node, at: &mut Reading) -> Option<f64> {
        match self {
            Amount::Quantity(form) => form.read(node, at),
            Amount::Whole(form) => form.read(node, at).map(|count| count as f64),
            Amount::Plain(form) => form.read(node, at),
        }
    }

    fn stand_in(&self) -> f64 {
        1.0
    }

    fn schema(&self, definitions: &mut Definitions) -> Json {
        match self {
            Amount::Quantity(form) => form.schema(definitions),
            Amount::Whole(form) => form.schema(definitions),
            Amount::Plain(form) => form.schema(definitions),
        }
    }
}

/// Observed values. Where they stand in a file of their own, the program puts them in its place before it reads this.
pub(super) fn observed(value: Amount, object: &mut Object<'_>) -> Vec<f64> {
    let values =
        object.maybe("values", list_of(value).at_least(1), "Values as they were observed; or give a `file`");
    object.maybe("file", text(), "CSV file with the values, by its path from the scenario file");
    object.maybe("column", text(), "Column of the file; may be left out if there is one only");
    let unit = "Unit of the values of the file; left out: that in the head of the column, such as `time [s]`";
    object.maybe("unit", text(), unit);
    if object.has("file") {
        let problem = Problem::new(code::WRONG_TYPE, "values of a file cannot be read from here");
        object.fail("file", problem.help("give the list as `values`"));
    } else if values.is_none() && object.sound(&["values"]) {
        let problem = Problem::new(code::MISSING_KEY, "`values` is missing");
        object.fail_here(problem.expected(format!("\"values\": {}", list_of(value).wanted())));
    }
    values.unwrap_or_else(|| vec![1.0])
}

/// A row of a table: a value and its weight.
#[derive(Debug, Clone, Copy)]
pub(super) struct Row(pub(super) Amount);

impl Row {
    fn object(&self, object: &mut Object<'_>) -> (f64, f64) {
        let weight = real().at_least(0.0).at_most(1e9);
        let value = object.required("value", self.0, "The value");
        (value, object.required("weight", weight, "Its weight among the others; they need not add up to one"))
    }
}

impl Form for Row {
    type Out = (f64, f64);

    fn fits(&self, node: &Node) -> bool {
        matches!(node.value, crate::text::json::Value::Object(_))
    }

    fn wanted(&self) -> String {
        "an object with a value and its weight, such as `{\"value\": …, \"weight\": 0.3}`".to_owned()
    }

    fn read(&self, node: &Node, at: &mut Reading) -> Option<(f64, f64)> {
        if !self.fits(node) {
            at.wrong_type(node, &self.wanted());
            return None;
        }
        read_object(node, at, |object| self.object(object))
    }

    fn stand_in(&self) -> (f64, f64) {
        (1.0, 1.0)
    }

    fn schema(&self, definitions: &mut Definitions) -> Json {
        describe_object(definitions, |object| self.object(object))
    }
}

/// The name of a law, which was looked at before.
#[derive(Debug, Clone, Copy)]
pub(super) struct Word(pub(super) &'static str);

impl Form for Word {
    type Out = ();

    fn fits(&self, node: &Node) -> bool {
        node.text() == Some(self.0)
    }

    fn wanted(&self) -> String {
        format!("\"{}\"", self.0)
    }

    fn read(&self, _: &Node, _: &mut Reading) -> Option<()> {
        Some(())
    }

    fn stand_in(&self) {}

    fn schema(&self, _: &mut Definitions) -> Json {
        json!({ "const": self.0 })
    }
}
