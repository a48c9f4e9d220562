//! What the inputs of a random line are known from: counts, events in a time, names of tests, priors.
//!
//! Plain numbers of a finished line are replaced by evidence with nearly the same estimate; it changes nothing else.

use crate::luck::Luck;
use serde_json::{Map, Value, json};

/// Trials behind a chance.
const TRIALS: f64 = 10_000.0;

/// Keys of chances, wherever they stand.
const CHANCES: [&str; 6] = ["per_part", "success", "false_empty", "false_full", "drop_back", "breaks_up"];

/// Gives some inputs of a line the evidence that they rest on.
pub(crate) fn add_evidence(luck: &mut Luck, line: &mut Value) {
    let mut tests = 0;
    for kind in line["parts"].as_object_mut().into_iter().flat_map(Map::values_mut) {
        let is_counted = |attitudes: &Value| attitudes["face up"].is_u64();
        if let Some(attitudes) = kind.get_mut("attitudes").filter(|attitudes| is_counted(attitudes)) {
            let mut counted = json!({"counts": attitudes.take()});
            tell_more(luck, &mut counted, json!(2), &mut tests);
            *attitudes = counted;
        }
    }
    replace(luck, line, "", &mut tests);
    if let Some(promise) = line.get_mut("promise") {
        promise["assurance"] = json!("90 %");
    }
}

/// Replaces numbers by evidence, in `value` and all that it holds; `list` is the key of the list that it stands in.
fn replace(luck: &mut Luck, value: &mut Value, list: &str, tests: &mut u32) {
    match value {
        Value::Object(object) => {
            for (key, inner) in object.iter_mut() {
                let is_of_a_stop = matches!(list, "jams" | "breakdowns");
                match (key.as_str(), inner.as_f64()) {
                    (key, Some(p)) if CHANCES.contains(&key) && p > 0.0 && p < 1.0 => {
                        *inner = counted(luck, p, tests);
                    }
                    ("every", None) if is_of_a_stop && inner.is_string() => {
                        *inner = events(luck, inner, tests)
                    }
                    (key, _) => replace(luck, inner, key, tests),
                }
            }
            if object.get("law") == Some(&json!("observed")) && luck.percent(50) {
                object.insert("test".to_owned(), name(tests));
            }
        }
        Value::Array(items) => items.iter_mut().for_each(|item| replace(luck, item, list, tests)),
        Value::Null | Value::Bool(_) | Value::Number(_) | Value::String(_) => {}
    }
}

fn counted(luck: &mut Luck, p: f64, tests: &mut u32) -> Value {
    let mut counted = json!({"seen": (p * TRIALS).round() as u64, "of": TRIALS as u64});
    tell_more(luck, &mut counted, json!({"seen": 1, "of": 3}), tests);
    counted
}

/// Three events in three times the time between them.
fn events(luck: &mut Luck, every: &Value, tests: &mut u32) -> Value {
    let text = every.as_str().unwrap_or_default();
    let Some((number, unit)) = text.split_once(' ') else { return every.clone() };
    let Ok(number) = number.parse::<f64>() else { return every.clone() };
    let mut events = json!({"seen": 3, "in": format!("{} {unit}", 3.0 * number)});
    if luck.percent(30) {
        events["law"] = json!("events");
    }
    tell_more(luck, &mut events, json!({"seen": 1, "in": "1 h"}), tests);
    events
}

/// A prior (in words, or `own`) and the name of the test, or neither.
fn tell_more(luck: &mut Luck, evidence: &mut Value, own: Value, tests: &mut u32) {
    match luck.below(4) {
        0 => evidence["prior"] = json!("jeffreys"),
        1 if evidence.get("in").is_none() => evidence["prior"] = json!("uniform"),
        2 => evidence["prior"] = own,
        _ => {}
    }
    if luck.percent(40) {
        evidence["test"] = name(tests);
    }
}

/// Every test has another name: those of one name would have to state the same.
fn name(tests: &mut u32) -> Value {
    *tests += 1;
    json!(format!("trial {tests}"))
}
