//! Makes a failing scenario small: takes pieces out of its JSON as long as the same claim stays broken.

use crate::watch::Broken;
use serde_json::Value;

/// Most trials of one shrinking.
const TRIALS_MAX: usize = 600;

/// The smallest text found that breaks the same claim, with what it breaks; `judge` says what a text breaks.
pub fn shrink(text: &str, found: Broken, judge: impl Fn(&str) -> Option<Broken>) -> (String, Broken) {
    let Ok(mut value) = serde_json::from_str::<Value>(text) else { return (text.to_owned(), found) };
    if judge(&value.to_string()).is_none_or(|b| b.claim != found.claim) {
        return (text.to_owned(), found);
    }
    let (mut last, mut trials) = (found, 0);
    loop {
        let mut smaller = false;
        for path in paths(&value) {
            let Some(candidate) = without(&value, &path) else { continue };
            trials += 1;
            if trials > TRIALS_MAX {
                return (value.to_string(), last);
            }
            if let Some(broken) = judge(&candidate.to_string())
                && broken.claim == last.claim
            {
                (value, last, smaller) = (candidate, broken, true);
            }
        }
        if !smaller {
            return (value.to_string(), last);
        }
    }
}

/// Paths of everything that can be taken out, large pieces first.
fn paths(value: &Value) -> Vec<Vec<Step>> {
    let mut all = Vec::new();
    let mut open = vec![Vec::new()];
    while let Some(path) = open.pop() {
        let children: Vec<Step> = match at(value, &path) {
            Some(Value::Object(map)) => map.keys().map(|key| Step::Key(key.clone())).collect(),
            Some(Value::Array(list)) => (0..list.len()).rev().map(Step::Index).collect(),
            _ => continue,
        };
        for step in children {
            let mut longer: Vec<Step> = path.clone();
            longer.push(step);
            open.push(longer.clone());
            all.push(longer);
        }
    }
    all.sort_by_key(Vec::len);
    all
}

#[derive(Clone, Debug)]
enum Step {
    Key(String),
    Index(usize),
}

fn at<'a>(value: &'a Value, path: &[Step]) -> Option<&'a Value> {
    path.iter().try_fold(value, |value, step| match step {
        Step::Key(key) => value.get(key),
        Step::Index(index) => value.get(index),
    })
}

fn without(value: &Value, path: &[Step]) -> Option<Value> {
    let (last, before) = path.split_last()?;
    let mut copy = value.clone();
    let parent = before.iter().try_fold(&mut copy, |value, step| match step {
        Step::Key(key) => value.get_mut(key),
        Step::Index(index) => value.get_mut(index),
    })?;
    match (parent, last) {
        (Value::Object(map), Step::Key(key)) => {
            map.shift_remove(key)?;
        }
        (Value::Array(list), Step::Index(index)) if *index < list.len() => {
            let gone = list.remove(*index);
            bridge(&mut copy, &gone);
        }
        _ => return None,
    }
    Some(copy)
}

/// Leads to where a station led that was taken out.
fn bridge(file: &mut Value, gone: &Value) {
    let (Some(id), Some(to)) = (gone.get("id").cloned(), gone.get("to").cloned()) else { return };
    for station in file["stations"].as_array_mut().into_iter().flatten() {
        if station["to"] == id {
            station["to"] = to.clone();
        }
        for exit in station.get_mut("exits").and_then(Value::as_array_mut).into_iter().flatten() {
            if *exit == id {
                *exit = to.clone();
            }
        }
    }
}
