//! Pieces of random lines: amounts, stops, and stations with their particulars.
//!
//! Every piece is one that the file reader accepts. Times are mostly tenths of a second, so that events fall
//! together often.

use crate::luck::Luck;
use crate::random_laws::law;
use serde_json::{Map, Value, json};

/// The names that stations may refer to.
#[derive(Clone, Debug, Default)]
pub struct Names {
    /// Pools of attendants.
    pub pools: Vec<String>,
    /// Part kinds.
    pub kinds: Vec<String>,
    /// Attitudes of any kind.
    pub attitudes: Vec<String>,
    /// Conditions of any kind.
    pub conditions: Vec<String>,
    /// Whether all parts have a measured dimension.
    pub has_sizes: bool,
}

/// Seconds as the file has them.
pub fn seconds(s: f64) -> String {
    format!("{} s", (s * 1000.0).round() / 1000.0)
}

/// A random time around `mean` (s), never always zero.
pub fn time_law(luck: &mut Luck, mean: f64) -> Value {
    if luck.percent(30) {
        return json!(seconds((mean * 10.0).ceil() / 10.0));
    }
    let minimum = luck.percent(15);
    law(luck, mean.max(0.01), minimum, seconds)
}

/// A chance up to `most`, as a number or in percent.
pub(crate) fn chance(luck: &mut Luck, most: f64) -> Value {
    let p = (luck.between(0.0, most) * 1e4).round() / 1e4;
    if luck.percent(50) { json!(p) } else { json!(format!("{:.2} %", p * 100.0)) }
}

fn jam(luck: &mut Luck, names: &Names) -> Value {
    let mean = luck.between(0.5, 15.0);
    let mut jam = json!({"time": time_law(luck, mean)});
    match luck.below(4) {
        0 if !names.conditions.is_empty() => {
            let mut map = Map::new();
            map.insert(names.conditions[luck.below(names.conditions.len())].clone(), chance(luck, 0.5));
            jam["per_part_by_condition"] = Value::Object(map);
        }
        0 | 1 => jam["per_part"] = chance(luck, 0.1),
        _ => {
            let between = luck.between(3.0, 60.0);
            jam["every"] = time_law(luck, between);
            jam["clock"] = json!(luck.one(&["working", "powered", "wall"]));
        }
    }
    if jam.get("every").is_none() && luck.percent(80) {
        jam["when"] = json!(luck.one(&["start", "end", "after"]));
    }
    if luck.percent(25) {
        jam["automatic"] =
            json!({"time": time_law(luck, 1.0), "success": chance(luck, 1.0), "tries": luck.within(1, 3)});
    }
    called(luck, names, &mut jam);
    jam
}

fn breakdown(luck: &mut Luck, names: &Names) -> Value {
    let (between, repair) = (luck.between(5.0, 80.0), luck.between(1.0, 20.0));
    let mut breakdown = json!({"every": time_law(luck, between), "time": time_law(luck, repair)});
    if luck.percent(70) {
        breakdown["clock"] = json!(luck.one(&["working", "powered", "wall"]));
    }
    called(luck, names, &mut breakdown);
    breakdown
}

fn called(luck: &mut Luck, names: &Names, stop: &mut Value) {
    if !names.pools.is_empty() && luck.percent(70) {
        stop["by"] = json!(names.pools[luck.below(names.pools.len())]);
        if luck.percent(40) {
            stop["notice"] = time_law(luck, 2.0);
        }
    }
}

/// The jam as it can strike at this station, if it can: see the moments that each type of station states.
fn possible(station: &Value, mut jam: Value) -> Option<Value> {
    if jam.get("every").is_some() {
        return Some(jam);
    }
    let word = station["type"].as_str().unwrap_or_default();
    match word {
        "stream" | "bin" | "scrap box" | "box out" | "hopper" | "filling by hand" => return None,
        "dumper" | "bath" | "tunnel" if jam.get("per_part_by_condition").is_some() => return None,
        "divider" => jam["when"] = json!("after"),
        "escapement" if station["strokes"] == "on a clock" => jam["when"] = json!("after"),
        "dumper" | "track" | "belt" | "recirculation belt" | "receiver" | "bath" | "tunnel"
            if jam["when"] == "after" =>
        {
            jam["when"] = json!("end")
        }
        _ => {}
    }
    Some(jam)
}

/// Gives a station jams and breakdowns.
pub fn add_stops(luck: &mut Luck, names: &Names, station: &mut Value) {
    if luck.percent(30) {
        let jams: Vec<Value> = (0..luck.within(1, 2)).map(|_| jam(luck, names)).collect();
        station["jams"] = jams.into_iter().filter_map(|jam| possible(station, jam)).collect();
    }
    if luck.percent(15) {
        station["breakdowns"] = json!([breakdown(luck, names)]);
    }
}

/// A source of parts; `equals` if it may stand several times.
pub fn source(luck: &mut Luck, names: &Names, equals: bool) -> Value {
    let mean = luck.between(0.1, 2.0);
    let mut station = if luck.percent(60) {
        let mut work = json!({"type": "work", "endless": true, "time": time_law(luck, mean)});
        if luck.percent(20) {
            work["places"] = json!(luck.within(1, 4));
        }
        work
    } else {
        let mut stream = json!({"type": "stream", "spacing": time_law(luck, mean)});
        if luck.percent(40) {
            stream["group"] = luck.one(&[0, 1, 2]).into();
            if luck.percent(70) {
                stream["group"] = json!({"law": "poisson", "mean": 1.5});
            }
        }
        if luck.percent(50) {
            stream["without_room"] = json!("is lost");
        }
        stream
    };
    if luck.percent(50) {
        station["part"] = json!(names.kinds[luck.below(names.kinds.len())]);
    }
    if equals && luck.percent(20) {
        station["count"] = json!(luck.within(2, 3));
    }
    station
}

/// A track or belt.
pub fn transporter(luck: &mut Luck) -> Value {
    let capacity = luck.one(&[1, 1, 2, 3, 5, 12, 40, 1500]);
    let mut station = match luck.below(3) {
        0 => json!({"type": "track", "capacity": capacity, "drive": "live"}),
        1 => json!({"type": "track", "capacity": capacity}),
        _ => json!({"type": luck.one(&["belt", "recirculation belt"]),
                    "end": luck.one(&["accumulating", "stopping"])}),
    };
    if station.get("capacity").is_some() || luck.percent(40) {
        station["capacity"] = json!(capacity);
        if luck.percent(80) {
            station["travel"] = json!(seconds(luck.one(&[0.0, 0.1, 0.5, 2.0, 8.0])));
        }
    } else if luck.percent(20) {
        station["unlimited"] = json!(true);
        station["travel"] = json!("2 s");
    } else {
        // By length: parts of the generator are 40 mm long.
        station["length"] = json!(luck.one(&["200 mm", "1.2 m", "0.05 m"]));
        station["speed"] = json!(luck.one(&["0.1 m/s", "12 m/min", "20 ft/min"]));
        if luck.percent(60) {
            station["spacing"] = json!(luck.one(&["50 mm", "90 mm"]));
        }
    }
    station
}

/// A station that works on parts: work, escapement or machine.
pub fn worker(luck: &mut Luck) -> Value {
    let mean = luck.between(0.1, 2.0);
    match luck.below(5) {
        0 | 1 => {
            let mut work = json!({"type": "work", "time": time_law(luck, mean)});
            if luck.percent(30) {
                work["places"] = json!(luck.within(2, 4));
            }
            work
        }
        2 => {
            let mut escapement = json!({"type": "escapement", "stroke": time_law(luck, mean)});
            if luck.percent(40) {
                escapement["strokes"] = json!(luck.one(&["on demand", "on a clock"]));
            }
            if luck.percent(30) {
                escapement["release"] = json!(luck.within(1, 3));
            }
            escapement
        }
        _ => {
            let mut machine = json!({"type": "machine", "cycle": time_law(luck, mean)});
            if luck.percent(15) {
                machine["check"] = check(luck);
            }
            machine
        }
    }
}

/// A presence check of a machine.
pub fn check(luck: &mut Luck) -> Value {
    let mut check = json!({"again": time_law(luck, 0.5), "false_empty": chance(luck, 0.3)});
    if luck.percent(50) {
        check["false_full"] = chance(luck, 0.3);
        check["reads_unloaded"] = json!(luck.percent(60));
    }
    check
}

/// An inlet of a machine that takes from the station `from`.
pub fn inlet(luck: &mut Luck, from: &str) -> Value {
    let parts = luck.one(&[1, 1, 1, 2, 3]);
    let mut inlet = json!({"from": from, "parts": parts});
    if luck.percent(50) {
        let mut nest = json!({"capacity": parts + luck.below(3)});
        if luck.percent(60) {
            nest["load"] = time_law(luck, 0.3);
        }
        if luck.percent(60) {
            nest["emptied"] = json!(luck.one(&["at the end", "at the start"]));
        }
        inlet["nest"] = nest;
    }
    inlet
}
