//! A line without all that interrupts it: what is left is what its balance counts.

use serde_json::{Map, Value};

type Object = Map<String, Value>;

fn objects(value: Option<&mut Value>) -> impl Iterator<Item = &mut Object> {
    value.and_then(Value::as_array_mut).into_iter().flatten().filter_map(Value::as_object_mut)
}

fn remove(object: &mut Object, keys: &[&str]) {
    for key in keys {
        object.shift_remove(*key);
    }
}

/// Takes out jams, breakdowns, breaks, shifts of attendants, changeovers and sensors, and what makes lots and shifts differ.
pub fn calm(file: &mut Value) {
    for kind in file.get_mut("parts").and_then(Value::as_object_mut).into_iter().flat_map(Map::values_mut) {
        if let Some(kind) = kind.as_object_mut() {
            remove(kind, &["between_lots", "between_shifts"]);
        }
    }
    objects(file.get_mut("stations")).for_each(without_stops);
    for pool in objects(file.get_mut("attendants")) {
        remove(pool, &["breaks", "shifts"]);
    }
    if let Some(file) = file.as_object_mut() {
        remove(file, &["sensors"]);
    }
    if let Some(plan) = file.get_mut("plan").and_then(Value::as_object_mut) {
        remove(plan, &["breaks", "changeover"]);
    }
    if let Some(promise) = file.get_mut("promise").and_then(Value::as_object_mut) {
        remove(promise, &["net_of"]);
    }
}

/// Takes the jams and breakdowns of a station out, those of its tools as well.
pub fn without_stops(station: &mut Object) {
    remove(station, &["jams", "breakdowns"]);
    for tool in objects(station.get_mut("tools")) {
        remove(tool, &["jams"]);
    }
}
