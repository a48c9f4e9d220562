//! Words that the stations of a random line may add to what they say: options of single types of station.

use crate::luck::Luck;
use crate::random_blocks::{Names, seconds, time_law};
use crate::random_laws::count_law;
use serde_json::{Map, Value, json};

/// Adds options to some stations of a line.
pub(crate) fn add_options(luck: &mut Luck, names: &Names, stations: &mut [Value]) {
    for station in stations.iter_mut() {
        let word = station["type"].as_str().unwrap_or_default().to_owned();
        match word.as_str() {
            "work" if station.get("time").is_some() => by_part(luck, names, station, "time_by_part"),
            "machine" => by_part(luck, names, station, "cycle_by_part"),
            "stream" if station.get("without_room").is_none() => {
                station["without_room"] = json!("waits");
            }
            "bin" | "dumper" | "filling by hand" | "bath" | "tunnel" | "scrap box" | "box out" => {
                if luck.percent(30) && (word != "scrap box" || station.get("holds").is_some()) {
                    station["part"] = json!(names.kinds[luck.below(names.kinds.len())]);
                }
                dumper_options(luck, station);
            }
            "meter conveyor" => {
                station["type"] = json!(luck.one(&["meter conveyor", "metering tray", "step feeder"]));
                if luck.percent(30) {
                    station["part"] = json!(names.kinds[luck.below(names.kinds.len())]);
                }
            }
            "elevator" if luck.percent(30) => by_spacing(luck, station),
            "air tube" if luck.percent(30) => {
                take(station, "travel");
                station["length"] = json!("6 m");
                station["speed"] = json!(luck.one(&["20 ft/s", "8 m/s"]));
            }
            "track" => track_options(luck, station),
            "gauge" => gauge_options(luck, names, station),
            "selector" => selector_options(luck, names, station),
            "orienting path" => path_options(luck, names, station),
            _ => {}
        }
        add_then(luck, station);
    }
}

fn take(station: &mut Value, key: &str) {
    if let Some(station) = station.as_object_mut() {
        station.remove(key);
    }
}

fn by_part(luck: &mut Luck, names: &Names, station: &mut Value, key: &str) {
    if luck.percent(10) {
        station[key] = json!({&names.kinds[luck.below(names.kinds.len())]: time_law(luck, 1.0)});
    }
}

fn dumper_options(luck: &mut Luck, station: &mut Value) {
    if station["type"] != "dumper" {
        return;
    }
    if station.get("containers").is_none() {
        station["containers"] = json!("always there");
    }
    if luck.percent(30) {
        station["waiting_at_start"] = json!(luck.within(0, 1));
    }
    match luck.below(4) {
        0 => station["contents"] = json!(luck.one(&["2 kg", "1500 cm3"])),
        1 => station["contents"] = count_law(luck, 60),
        _ => {}
    }
}

/// The same elevator by the distance of its cleats and its length.
fn by_spacing(luck: &mut Luck, station: &mut Value) {
    take(station, "cleats");
    station["spacing"] = json!(luck.one(&["150 mm", "8 in"]));
    station["speed"] = json!("15 ft/min");
    if luck.percent(50) {
        take(station, "lift");
        station["length"] = json!("0.4 m");
    }
}

fn track_options(luck: &mut Luck, station: &mut Value) {
    if station.get("drive").is_none() && luck.percent(30) {
        station["drive"] = json!("gravity");
    }
    match luck.below(8) {
        0 => {
            take(station, "capacity");
            take(station, "travel");
            station["length"] = json!(luck.one(&["200 mm", "1.2 m"]));
            station["speed"] = json!("0.2 m/s");
        }
        1 => {
            take(station, "capacity");
            station["unlimited"] = json!(true);
        }
        _ => {}
    }
}

fn comes_back(luck: &mut Luck, names: &Names) -> Value {
    match luck.below(4) {
        0 => json!("remixed"),
        1 => json!("as the tools left it"),
        // A list by attitude is for parts that all have the same attitudes.
        2 if names.kinds.len() == 1 && !names.attitudes.is_empty() => {
            let (first, last) = (&names.attitudes[0], &names.attitudes[names.attitudes.len() - 1]);
            json!({"by_attitude": {last: {first: 0.3, last: "rest"}}})
        }
        _ => json!({"keeps": 0.4}),
    }
}

fn gauge_options(luck: &mut Luck, names: &Names, station: &mut Value) {
    if luck.percent(40) {
        station["comes_back"] = comes_back(luck, names);
    }
    if names.has_sizes && luck.percent(70) {
        take(station, "catches");
        take(station, "false_reject");
        station["size"] = json!("height");
        station["least"] = json!("1.5 mm");
        station["most"] = json!("11 mm");
        station["error"] = json!("0.05 mm");
    }
}

fn selector_options(luck: &mut Luck, names: &Names, station: &mut Value) {
    if luck.percent(40) && station.get("rejects_to").is_some() {
        station["comes_back"] = comes_back(luck, names);
    }
    if station.get("shuttle").is_some() {
        return;
    }
    if luck.percent(30) {
        station["wanted"] = json!(names.attitudes[luck.below(names.attitudes.len())]);
    }
    if luck.percent(30) {
        station["reads_right_as_wrong"] = json!(0.05);
        station["reads_wrong_as_right"] = json!("10 %");
        station["time_with_turn"] = time_law(luck, 0.9);
    }
}

fn path_options(luck: &mut Luck, names: &Names, station: &mut Value) {
    let in_file = station.get("speed").is_some();
    if in_file && !names.attitudes.is_empty() && luck.percent(30) {
        station["lengths"] = json!({&names.attitudes[0]: "25 mm"});
    }
    if station.get("overflow_to").is_some() && luck.percent(50) {
        station["overflow_comes_back"] = comes_back(luck, names);
    }
    let rejects = station["rejects_to"].clone();
    for tool in station.get_mut("tools").and_then(Value::as_array_mut).into_iter().flatten() {
        if luck.percent(60) {
            continue;
        }
        if tool.get("sensed").is_some() {
            tool["sensed"] = json!({"reaction": luck.one(&["20 ms", "60 ms"]), "false_pass": 0.02,
                "least_spacing": luck.one(&["100 ms", "90 mm"]), "too_close": luck.one(&["is rejected", "passes"])});
            if !in_file {
                tool["sensed"] = json!({"reaction": "40 ms"});
            }
        }
        if let Some(condition) = names.conditions.first() {
            tool["drops"] = json!({condition: 0.5});
        }
        if luck.percent(40) {
            tool["comes_back"] = comes_back(luck, names);
        }
        if luck.percent(30) {
            tool["to"] = rejects.clone();
        }
        tool_rules(luck, names, tool);
        if luck.percent(50) {
            let mut jam =
                json!({"per_part": 0.03, "when": luck.one(&["start", "end"]), "time": seconds(2.0)});
            if luck.percent(50) {
                jam["then"] = json!("rejects_to");
            }
            tool["jams"] = json!([jam]);
        }
    }
}

fn tool_rules(luck: &mut Luck, names: &Names, tool: &mut Value) {
    let mut rules = json!({"accepts": 0.7});
    if let [first, .., last] = &names.attitudes[..]
        && luck.percent(60)
    {
        rules = json!({"passes": {first: 0.5}, "turns": {first: {last: 0.3}}});
        if let Some(condition) = names.conditions.last() {
            rules["drops"] = json!({condition: 0.2});
        }
    }
    grow_crowded(luck, names, &mut rules);
    grow_crowded(luck, names, tool);
    let mut own = Map::new();
    match names.conditions.first() {
        Some(condition) if luck.percent(50) => {
            own.insert(condition.clone(), rules);
            tool["by_condition"] = Value::Object(own);
        }
        _ => {
            own.insert(names.kinds[0].clone(), rules);
            tool["by_part"] = Value::Object(own);
        }
    }
}

/// Has what a set of rules does depend on the loading of the path.
fn grow_crowded(luck: &mut Luck, names: &Names, rules: &mut Value) {
    if luck.percent(60) {
        return;
    }
    if let Some(condition) = names.conditions.first().filter(|_| luck.percent(30)) {
        rules["crowded"] = json!({"drops": {condition: 0.3}});
    } else if rules.get("accepts").is_some() {
        rules["crowded"] = json!({"accepts": luck.one(&[0.4, 1.0])});
    } else if let (Some(_), [first, .., last]) = (rules.get("passes"), &names.attitudes[..]) {
        rules["crowded"] = match luck.percent(50) {
            true => json!({"passes": {first: 0.2}}),
            false => json!({"turns": {first: {last: 0.4}}}),
        };
    }
}

/// Sends what some jams have hold of another way.
fn add_then(luck: &mut Luck, station: &mut Value) {
    let key = ["rejects_to", "removed_to", "overflow_to"].into_iter().find(|key| station.get(key).is_some());
    let Some(key) = key else { return };
    for jam in station.get_mut("jams").and_then(Value::as_array_mut).into_iter().flatten() {
        if jam.get("every").is_none() && luck.percent(50) {
            jam["then"] = json!(key);
        }
    }
}
