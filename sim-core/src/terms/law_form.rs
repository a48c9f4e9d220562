//! Random amounts as they stand in a file.
//!
//! | in the file | law |
//! |---|---|
//! | `"0.6 s"` | fixed |
//! | `["0.6 s", "0.7 s", "0.6 s"]` | observed values, drawn with equal chances |
//! | `{"mean": "2 s", "spread": "0.5 s"}` | gamma; spread is the standard deviation |
//! | `{"low": "1 s", "likely": "2 s", "high": "4 s"}` | triangular |
//! | `{"from": "1 s", "to": "2 s"}` | uniform |
//! | `{"law": "exponential", "mean": "2 s"}` | named, with its parameters |
//!
//! `"minimum"` may be added to any object: it is added to every draw. Laws of counts have plain numbers in place
//! of quantities, and of the named laws those that give whole numbers. Nothing is drawn here. Invariant: what is
//! read passes [`Law::check`].

use serde_json::{Value as Json, json};

use super::law::{Law, Shape};
use crate::diag::{Problem, code};
use crate::text::fields::{Object, Reading, describe_object, read_object};
use crate::text::forms::{Form, chance, count, list_of, nested_with, quantity, real};
use crate::text::json::{Node, Value};
use crate::text::schema::Definitions;
use crate::text::unknown_word;
use crate::units::Dimension;

/// A random amount of a dimension, or a random count.
#[derive(Debug, Clone, Copy)]
pub struct LawForm {
    amount: Amount,
    positive: bool,
    usual: Option<(f64, f64, &'static str)>,
}

/// A random amount of a dimension, in its SI base unit.
pub fn law(dimension: Dimension) -> LawForm {
    LawForm { amount: Amount::of(Unit::Of(dimension)), positive: false, usual: None }
}

/// A random whole number.
pub fn count_law() -> LawForm {
    LawForm { amount: Amount::of(Unit::Count), positive: false, usual: None }
}
