//! Mutations of scenario texts, for fuzzing the file reader: from single bytes to whole subtrees.
//!
//! Equal seeds give equal mutations. What comes out may be anything: no JSON, JSON of the wrong shape, or a
//! scenario that is valid and odd; the last sort is the most searching.

use crate::luck::Luck;
use serde_json::{Map, Number, Value, json};

/// Numbers and words that have broken readers before.
const ODD: &[&str] = &[
    "0",
    "-1",
    "1",
    "1e308",
    "-1e308",
    "1e-308",
    "1e400",
    "NaN",
    "18446744073709551616",
    "9007199254740993",
    "100000000",
    "1000000000",
    "0.1",
    "1e13",
    "4294967295",
    "65536",
    "null",
    "true",
    "[]",
    "{}",
    "\"\"",
];

/// Amounts with units, right and wrong ones.
const AMOUNTS: &[&str] = &[
    "0 s",
    "1 ns",
    "1e-9 s",
    "0.000000001 s",
    "1 us",
    "1 day",
    "12 days",
    "1e308 s",
    "1e-300 s",
    "-1 s",
    "NaN s",
    "inf s",
    "1 m",
    "1 kg",
    "1 mm",
    "0 mm",
    "100 %",
    "0 %",
    "101 %",
    "1 /s",
    "1e9 /s",
    "1 in 3",
    "1 of 2",
    "5 s s",
    "s",
    "1e13",
    "0.5",
    "1 m/s",
    "1e-12 m/s",
    "1 ft3",
    "\u{0}",
    "é s",
    "1,5 s",
    "60 min",
    "2 h",
];

/// A text that is near to `text`, by so many changes as luck has it.
pub fn mutate(luck: &mut Luck, text: &str) -> String {
    let mut text = match serde_json::from_str::<Value>(text) {
        Ok(mut value) if luck.percent(85) => {
            for _ in 0..luck.one(&[1, 1, 1, 2, 3, 6]) {
                change(luck, &mut value);
            }
            value.to_string()
        }
        _ => text.to_owned(),
    };
    if luck.percent(20) {
        for _ in 0..luck.within(1, 4) {
            text = change_text(luck, &text);
        }
    }
    text
}

/// Changes the text without regard to what it says.
fn change_text(luck: &mut Luck, text: &str) -> String {
    let mut bytes = text.as_bytes().to_vec();
    if bytes.is_empty() {
        return "{".to_owned();
    }
    let at = luck.below(bytes.len());
    match luck.below(6) {
        0 => bytes[at] = luck.bits() as u8,
        1 => {
            bytes.remove(at);
        }
        2 => bytes.insert(at, luck.one(b"{}[],:\"\\0-e.x\n\xff")),
        3 => bytes.truncate(at),
        4 => {
            let to = (at + luck.within(1, 30)).min(bytes.len());
            let piece = bytes[at..to].to_vec();
            bytes.splice(at..at, piece);
        }
        _ => {
            let odd = luck.one(ODD).as_bytes().to_vec();
            let end = (at..bytes.len()).find(|&n| b",]}".contains(&bytes[n])).unwrap_or(bytes.len());
            let start = (0..=at).rev().find(|&n| b":[,".contains(&bytes[n])).map_or(0, |n| n + 1);
            bytes.splice(start.min(end)..end, odd);
        }
    }
    String::from_utf8_lossy(&bytes).into_owned()
}

/// Changes one place of the value.
fn change(luck: &mut Luck, root: &mut Value) {
    let n = count(root);
    let donor = pick(root, luck.below(n)).cloned().unwrap_or(Value::Null);
    let which = luck.below(n);
    let Some(place) = pick_mut(root, which) else { return };
    match luck.below(12) {
        0 => *place = donor,
        1 => drop_one(luck, place),
        2 => double_one(luck, place, donor),
        3 => rename_key(luck, place),
        4 => swap_two(luck, place),
        5 => *place = serde_json::from_str(luck.one(ODD)).unwrap_or(Value::Null),
        _ => change_leaf(luck, place),
    }
}

fn change_leaf(luck: &mut Luck, place: &mut Value) {
    match place {
        Value::String(text) => {
            *text = match luck.below(6) {
                0 => luck.one(AMOUNTS).to_owned(),
                1 => swapped_unit(luck, text),
                2 => format!("{text} "),
                3 => luck.one(&["out", "S0", "S1", "N0", "A0", "", "in turn", "remixed"]).to_owned(),
                4 => text.chars().rev().collect(),
                _ => luck.one(AMOUNTS).to_owned(),
            };
        }
        Value::Number(number) => {
            let x = number.as_f64().unwrap_or(0.0);
            let new = match luck.below(8) {
                0 => 0.0,
                1 => -x,
                2 => x * 1e9,
                3 => x + 0.5,
                4 => 1e308,
                5 => 100_000_000.0,
                6 => 64.0,
                _ => x + 1.0,
            };
            *place = if new.fract() == 0.0 && new.abs() < 1e15 {
                json!(new as i64)
            } else {
                Number::from_f64(new).map_or(Value::Null, Value::Number)
            };
        }
        Value::Bool(flag) => *flag = !*flag,
        Value::Null => *place = json!(1),
        Value::Array(list) if list.is_empty() => list.push(json!("S0")),
        Value::Array(list) => list.truncate(luck.below(list.len())),
        Value::Object(map) => {
            let key = luck.one(&[
                "count",
                "capacity",
                "places",
                "in_turn",
                "spread",
                "travel",
                "unlimited",
                "group",
                "release",
                "number",
                "notice",
                "automatic",
                "priority",
                "length",
                "speed",
                "spacing",
                "endless",
            ]);
            let value =
                luck.one(&["64", "100000000", "true", "\"0 s\"", "\"1 ns\"", "1000", "\"in turn\"", "0.5"]);
            map.insert(key.to_owned(), serde_json::from_str(value).unwrap_or(Value::Null));
        }
    }
}

fn swapped_unit(luck: &mut Luck, text: &str) -> String {
    let number = text.split(' ').next().unwrap_or("1");
    format!(
        "{number} {}",
        luck.one(&["s", "ms", "min", "h", "day", "us", "mm", "m", "kg", "%", "/min", "/s", "m/s", ""])
    )
}

fn drop_one(luck: &mut Luck, place: &mut Value) {
    match place {
        Value::Array(list) if !list.is_empty() => {
            list.remove(luck.below(list.len()));
        }
        Value::Object(map) if !map.is_empty() => {
            let key = map.keys().nth(luck.below(map.len())).cloned().unwrap_or_default();
            map.shift_remove(&key);
        }
        _ => *place = Value::Null,
    }
}

fn double_one(luck: &mut Luck, place: &mut Value, donor: Value) {
    match place {
        Value::Array(list) if !list.is_empty() => {
            let again = list[luck.below(list.len())].clone();
            for _ in 0..luck.one(&[1, 1, 2, 40]) {
                list.push(again.clone());
            }
        }
        Value::Object(map) => {
            map.insert(format!("more {}", luck.below(3)), donor);
        }
        _ => *place = json!([place.clone(), donor]),
    }
}

fn rename_key(luck: &mut Luck, place: &mut Value) {
    if let Value::Object(map) = place
        && !map.is_empty()
    {
        let chosen = luck.below(map.len());
        let new = luck.one(&["id", "to", "type", "time", "every", "X", ""]);
        let entries = std::mem::take(map).into_iter().enumerate();
        let renamed =
            entries.map(|(n, (key, value))| (if n == chosen { new.to_owned() } else { key }, value));
        *map = renamed.collect::<Map<String, Value>>();
    }
}

fn swap_two(luck: &mut Luck, place: &mut Value) {
    match place {
        Value::Array(list) if list.len() > 1 => {
            let (a, b) = (luck.below(list.len()), luck.below(list.len()));
            list.swap(a, b);
        }
        Value::Object(map) if map.len() > 1 => {
            let (a, b) = (luck.below(map.len()), luck.below(map.len()));
            let values: Vec<Value> = map.values().cloned().collect();
            for (n, value) in map.values_mut().enumerate() {
                if n == a {
                    *value = values[b].clone();
                } else if n == b {
                    *value = values[a].clone();
                }
            }
        }
        _ => {}
    }
}

fn count(value: &Value) -> usize {
    1 + match value {
        Value::Array(list) => list.iter().map(count).sum(),
        Value::Object(map) => map.values().map(count).sum(),
        _ => 0,
    }
}

/// The value with the number `n` in depth-first order.
fn pick(value: &Value, n: usize) -> Option<&Value> {
    if n == 0 {
        return Some(value);
    }
    let mut left = n - 1;
    let children: Vec<&Value> = match value {
        Value::Array(list) => list.iter().collect(),
        Value::Object(map) => map.values().collect(),
        _ => Vec::new(),
    };
    for child in children {
        let size = count(child);
        if left < size {
            return pick(child, left);
        }
        left -= size;
    }
    None
}

fn pick_mut(value: &mut Value, n: usize) -> Option<&mut Value> {
    if n == 0 {
        return Some(value);
    }
    let mut left = n - 1;
    let children: Vec<&mut Value> = match value {
        Value::Array(list) => list.iter_mut().collect(),
        Value::Object(map) => map.values_mut().collect(),
        _ => Vec::new(),
    };
    for child in children {
        let size = count(child);
        if left < size {
            return pick_mut(child, left);
        }
        left -= size;
    }
    None
}
