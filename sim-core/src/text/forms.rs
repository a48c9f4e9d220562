//! Forms: what a value may look like in a file. A form reads a value and describes it.
//!
//! Forms are small values made by the functions named here, with builders for ranges:
//! `speed().positive().usual("10 ft/min", "60 ft/min", "10 to 60 ft/min")`. Every message of a form says what
//! was found and what was expected, with an example.

use serde_json::Value as Json;

pub use super::chance::{Chance, ChanceForm, Shares, SharesForm, chance, shares};
pub use super::lists::{ListOf, MapOf, OneOrMany, list_of, map_of, one_or_many};
pub use super::nested::{
    Choice, Either, Mapped, Nested, Placed, Relaxed, Variant, Variants, either, less_helps, more_helps,
    nested, no_limit, placed, variants,
};
pub use super::numbers::{Count, Flag, Real, count, flag, real};
pub use super::quantity::{
    Quantity, density, length, mass, quantity, rate, share, speed, time, volume, volume_rate,
};
pub use super::words::{Name, OneOf, Text, name, one_of, text};

use crate::diag::Place;
use crate::text::fields::Reading;
use crate::text::json::Node;
use crate::text::schema::Definitions;

/// What a value may look like.
pub trait Form: Sized {
    /// What the value becomes.
    type Out;

    /// Whether the value is of the right sort (text, number, list, object; a quantity of the right dimension),
    /// right or wrong in itself: tells alternatives apart.
    fn fits(&self, node: &Node) -> bool;

    /// What is wanted, as a phrase with an example: "a speed, such as `30 ft/min`".
    fn wanted(&self) -> String;

    /// The value, or `None` if there is none to be had; then, and whenever something is wrong, it is reported.
    fn read(&self, node: &Node, at: &mut Reading) -> Option<Self::Out>;

    /// A harmless value with which reading can go on.
    fn stand_in(&self) -> Self::Out;

    /// The schema. It must not refuse what `read` accepts.
    fn schema(&self, definitions: &mut Definitions) -> Json;

    /// The same form with another outcome.
    fn map<U>(self, change: fn(Self::Out) -> U) -> Mapped<Self, U> {
        Mapped { form: self, change }
    }
}

/// A form that is only lent.
impl<F: Form> Form for &F {
    type Out = F::Out;

    fn fits(&self, node: &Node) -> bool {
        (*self).fits(node)
    }

    fn wanted(&self) -> String {
        (*self).wanted()
    }

    fn read(&self, node: &Node, at: &mut Reading) -> Option<F::Out> {
        (*self).read(node, at)
    }

    fn stand_in(&self) -> F::Out {
        (*self).stand_in()
    }

    fn schema(&self, definitions: &mut Definitions) -> Json {
        (*self).schema(definitions)
    }
}

/// A value with its place, for problems that are found after reading.
#[derive(Debug, Clone, PartialEq, Eq, Default)]
pub struct Spanned<T> {
    /// The value.
    pub value: T,
    /// Where it stands.
    pub place: Place,
}
