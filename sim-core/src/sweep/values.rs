//! Forms of a sweep file that no scenario has: addresses, and values of any sort.

use crate::diag::Problem;
use crate::text::fields::Reading;
use crate::text::forms::Form;
use crate::text::json::{Node, Value};
use crate::text::schema::Definitions;
use crate::vary::Address;
use serde_json::{Value as Json, json};

/// An address of a value of a scenario.
#[derive(Debug, Clone, Copy)]
pub struct AddressForm;

/// An address of a value of a scenario.
pub fn address() -> AddressForm {
    AddressForm
}

impl Form for AddressForm {
    type Out = Address;

    fn fits(&self, node: &Node) -> bool {
        node.text().is_some()
    }

    fn wanted(&self) -> String {
        "an address, such as \"lift.cleats\"".to_owned()
    }

    fn read(&self, node: &Node, at: &mut Reading) -> Option<Address> {
        let Some(text) = node.text() else {
            at.wrong_type(node, &self.wanted());
            return None;
        };
        let report = |problem: Problem| at.error(node.span, problem);
        Address::read(text).map_err(report).ok()
    }

    fn stand_in(&self) -> Address {
        Address::read("plan").unwrap_or_else(|why| panic!("`plan` is an address: {why:?}"))
    }

    fn schema(&self, _: &mut Definitions) -> Json {
        json!({ "type": "string", "minLength": 1 })
    }
}

/// A value of any sort.
#[derive(Debug, Clone, Copy)]
pub struct Anything;

/// A value of any sort, as it stands.
pub fn anything() -> Anything {
    Anything
}

impl Form for Anything {
    type Out = Json;

    fn fits(&self, _: &Node) -> bool {
        true
    }

    fn wanted(&self) -> String {
        "a value".to_owned()
    }

    fn read(&self, node: &Node, _: &mut Reading) -> Option<Json> {
        Some(json_of(node))
    }

    fn stand_in(&self) -> Json {
        Json::Null
    }

    fn schema(&self, _: &mut Definitions) -> Json {
        json!({})
    }
}

/// A value without its places.
fn json_of(node: &Node) -> Json {
    match &node.value {
        Value::Null => Json::Null,
        Value::Bool(flag) => Json::Bool(*flag),
        Value::Number(value, text) => serde_json::from_str(text).unwrap_or_else(|_| json!(value)),
        Value::Text(text) => Json::String(text.clone()),
        Value::List(list) => Json::Array(list.iter().map(json_of).collect()),
        Value::Object(entries) => {
            Json::Object(entries.iter().map(|entry| (entry.key.clone(), json_of(&entry.node))).collect())
        }
    }
}
