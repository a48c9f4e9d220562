//! What random lines say beside their stations: parts, people, sensors, the plan, the promise.

use crate::luck::Luck;
use crate::random_blocks::{Names, seconds, time_law};
use crate::random_laws::law;
use serde_json::{Map, Value, json};

/// The part kinds of a line.
pub(crate) fn parts(luck: &mut Luck) -> Value {
    let mut kinds = Map::new();
    for n in 0..luck.one(&[1, 1, 2]) {
        let mut kind = json!({"length": "40 mm", "mass": "20 g", "density": "40000 /m3"});
        if luck.percent(60) {
            kind["attitudes"] = json!({"face up": 212, "face down": 168, "on edge": 20});
            if luck.percent(20) {
                kind["attitudes"] = json!({"face up": 0.5, "face down": 0.45, "on edge": "rest"});
            }
            if luck.percent(20) {
                kind["right_way"] = json!(["face up", "on edge"]);
            }
        }
        if luck.percent(60) {
            kind["conditions"] = json!({"chipped": "10 %", "bent": {"seen": 2, "of": 100}});
        }
        if luck.percent(20) {
            let (mean, minimum) = (luck.between(1.0, 9.0), luck.percent(30));
            kind["sizes"] = json!({"height": law(luck, mean, minimum, |x| format!("{x:.4} mm"))});
        }
        for key in ["between_lots", "between_shifts"] {
            if luck.percent(15) {
                kind[key] = lots(luck, &kind);
            }
        }
        kinds.insert(format!("knob {n}"), kind);
    }
    Value::Object(kinds)
}

fn lots(luck: &mut Luck, kind: &Value) -> Value {
    let mut lots = json!({"jams": 0.5});
    if kind.get("attitudes").is_some() && luck.percent(60) {
        lots["attitudes"] = json!(0.05);
    }
    if kind.get("conditions").is_some() && luck.percent(60) {
        lots["conditions"] = json!({"chipped": "2 %"});
    }
    lots
}

/// What is promised of the line.
pub(crate) fn promise(luck: &mut Luck, stations: &[Value]) -> Value {
    let clauses = match luck.below(3) {
        0 => json!([{"mean_rate": "10 /min"}]),
        1 => json!({"rate": "10 /min", "in_shifts": "90 %"}),
        _ => json!([{"mean_rate": "10 L/h"}, {"feed_availability": "50 %"}]),
    };
    let mut promise = json!({"clauses": clauses});
    if luck.percent(50) {
        promise["net_of"] = json!([states(luck, stations)]);
    }
    let work: Vec<&Value> =
        stations.iter().filter(|s| s["type"] == "machine" || s["type"] == "work").map(|s| &s["id"]).collect();
    if !work.is_empty() && luck.percent(40) {
        promise["at"] = work[luck.below(work.len())].clone();
    }
    promise
}

/// The acceptance test of the line.
pub(crate) fn run_off(luck: &mut Luck) -> Value {
    let mut test = json!({"length": "30 min", "most_jams": luck.below(9)});
    if luck.percent(50) {
        test["start"] = json!(luck.one(&["empty", "primed", "full"]));
        test["jams"] = json!(luck.one(&["all", "attended", "of good parts"]));
        test["rate"] = json!(luck.one(&["gross", "net"]));
    }
    if luck.percent(50) {
        test["least_rate"] = json!("10 /min");
        test["most_bad"] = if luck.percent(50) { json!(3) } else { json!("1 %") };
        test["most_stops"] = json!(12);
        test["retries"] = json!(1);
    }
    test
}

/// A product sequence, if a source brings the parts of some kind.
fn changeover(luck: &mut Luck, stations: &[Value], names: &Names) -> Option<Value> {
    let sources: Vec<&Value> = stations.iter().filter(|s| is_source(s)).collect();
    let first = sources.get(luck.below(sources.len()))?;
    let first = first.get("part").and_then(Value::as_str).unwrap_or(&names.kinds[0]);
    let mut runs = Vec::new();
    for n in 0..luck.within(1, 3) {
        let part = if n == 0 { first } else { &names.kinds[luck.below(names.kinds.len())] };
        let mut run = json!({"part": part});
        if luck.percent(50) {
            run["good"] = json!(luck.within(1, 30));
        } else {
            run["for"] = json!(format!("{} s", luck.within(1, 60)));
        }
        runs.push(run);
    }
    let hands_on = |s: &&Value| {
        !has_body(s)
            && !["bin", "hopper", "receiver", "dumper", "filling by hand"]
                .iter()
                .any(|word| s["type"] == *word)
    };
    let counting: Vec<&Value> = stations.iter().filter(hands_on).collect();
    let counts_at = counting.get(luck.below(counting.len().max(1)))?["id"].clone();
    let mut changeover = json!({"runs": runs, "counts_at": counts_at});
    for (key, percent) in [("stops", 60), ("run_out", 40), ("of", 30)] {
        if luck.percent(percent) {
            changeover[key] =
                json!((0..luck.within(1, 3)).map(|_| some_id(luck, stations)).collect::<Vec<_>>());
        }
    }
    if luck.percent(40) {
        changeover["run_out_at_most"] = json!(seconds(luck.one(&[1.0, 10.0, 40.0])));
    }
    let bodies: Vec<&Value> = stations.iter().filter(|s| has_body(s) || s["type"] == "bin").collect();
    if !bodies.is_empty() && luck.percent(50) {
        let mut purge = json!({"of": [bodies[luck.below(bodies.len())]["id"].clone()],
            "rate": luck.one(&["60 /min", "20 /s", "200 L/h"]), "to": luck.one(&["container", "scrap"])});
        add_person(luck, names, &mut purge);
        changeover["purge"] = purge;
    }
    if luck.percent(70) {
        let mut tasks = Vec::new();
        for _ in 0..luck.within(1, 2) {
            let mean = luck.between(1.0, 20.0);
            let mut task = json!({"time": time_law(luck, mean)});
            add_person(luck, names, &mut task);
            tasks.push(task);
        }
        changeover["tooling"] = json!(tasks);
    }
    Some(changeover)
}

fn add_person(luck: &mut Luck, names: &Names, task: &mut Value) {
    if !names.pools.is_empty() && luck.percent(60) {
        task["by"] = json!(names.pools[luck.below(names.pools.len())]);
    }
}

fn is_source(station: &Value) -> bool {
    station.get("endless").is_some()
        || matches!(
            station["type"].as_str(),
            Some("stream" | "dumper" | "filling by hand" | "hopper" | "bin")
        )
}

/// Whether a station is a track or a belt.
pub(crate) fn has_body(station: &Value) -> bool {
    station["type"] == "track" || station["type"].as_str().is_some_and(|word| word.ends_with("belt"))
}

pub(crate) fn some_id(luck: &mut Luck, stations: &[Value]) -> Value {
    stations[luck.below(stations.len())]["id"].clone()
}

pub(crate) fn pool_of(luck: &mut Luck, id: &str, names: &Names, stations: &[Value]) -> Value {
    let mut pool = json!({"id": id});
    if luck.percent(30) {
        pool["number"] = json!(luck.within(1, 3));
    }
    if luck.percent(50) {
        pool["walk"] = time_law(luck, 2.0);
        pool["walks_from"] = json!(luck.one(&["home", "the last task"]));
    }
    if luck.percent(40) {
        pool["priority"] = json!([some_id(luck, stations)]);
    }
    if luck.percent(30) {
        pool["breaks"] = json!(false);
    }
    let others: Vec<&String> = names.pools.iter().filter(|other| *other != id).collect();
    if !others.is_empty() && luck.percent(40) {
        pool["helps"] = json!(others);
    }
    if luck.percent(30) {
        pool["walk_to"] = json!({some_id(luck, stations).as_str().unwrap_or_default(): time_law(luck, 3.0)});
    }
    if luck.percent(20) {
        let mut shifts = Vec::new();
        let mut from = luck.below(60);
        for _ in 0..luck.within(1, 3) {
            let to = from + luck.within(5, 90);
            shifts.push(json!({"from": format!("{from} s"), "to": format!("{to} s")}));
            from = to + luck.within(1, 60);
        }
        pool["shifts"] = json!(shifts);
    }
    pool
}

pub(crate) fn sensors(luck: &mut Luck, stations: &[Value]) -> Vec<Value> {
    let bodies: Vec<Value> = stations.iter().filter(|s| has_body(s)).map(|s| s["id"].clone()).collect();
    let n = if luck.percent(45) { luck.within(1, 2) } else { 0 };
    let mut sensors = Vec::new();
    for ix in 0..n {
        let watches = if bodies.is_empty() || luck.percent(20) {
            some_id(luck, stations)
        } else {
            bodies[luck.below(bodies.len())].clone()
        };
        let mut sensor = json!({"id": format!("N{ix}"), "watches": watches, "high": luck.within(1, 8)});
        if luck.percent(30) {
            sensor["high"] = json!(format!("{} %", luck.within(20, 100)));
            sensor["low"] = json!("10 %");
        } else if luck.percent(60) {
            sensor["low"] = json!(luck.below(sensor["high"].as_u64().unwrap_or(1) as usize));
        }
        if luck.percent(50) {
            sensor["sees"] = json!(luck.one(&["content", "queue"]));
        }
        for key in ["on_delay", "off_delay"] {
            if luck.percent(50) {
                sensor[key] = json!(seconds(luck.one(&[0.1, 1.0, 7.0])));
            }
        }
        if luck.percent(50) {
            sensor["delay"] = json!(luck.one(&["plain", "debounced"]));
        }
        let mut holds = vec![some_id(luck, stations)];
        let other = some_id(luck, stations);
        if luck.percent(40) && !holds.contains(&other) {
            holds.push(other);
        }
        sensor["holds"] = json!(holds);
        let has_speed = |s: &&Value| {
            let word = s["type"].as_str().unwrap_or_default();
            word.ends_with("belt") || word == "orienting path" || word == "elevator" || s["drive"] == "live"
        };
        let fast: Vec<Value> = stations.iter().filter(has_speed).map(|s| s["id"].clone()).collect();
        if !fast.is_empty() && luck.percent(30) {
            sensor["slows"] = json!([fast[luck.below(fast.len())]]);
            sensor["slow_to"] = json!(luck.one(&["50 %", "3 %", "100 %", "0.1 %"]));
            if luck.percent(50) {
                sensor["holds"] = json!([]);
            }
        }
        sensors.push(sensor);
    }
    sensors
}

const STATES: [&str; 13] = [
    "changeover",
    "jam, automatic",
    "jam, waiting",
    "jam, clearing",
    "down, waiting",
    "down, repair",
    "off",
    "working",
    "checking",
    "loading",
    "blocked",
    "held",
    "starved",
];

pub(crate) fn states(luck: &mut Luck, stations: &[Value]) -> Value {
    let states: Vec<&str> = (0..luck.within(1, 3)).map(|_| luck.one(&STATES)).collect();
    json!({"station": some_id(luck, stations), "states": states})
}

pub(crate) fn plan(luck: &mut Luck, stations: &[Value], names: &Names) -> Value {
    let shift = luck.within(1, 5) * 60;
    let mut plan =
        json!({"shift": format!("{shift} s"), "start": luck.one(&["empty", "empty", "primed", "full"])});
    if luck.percent(30) {
        plan["warm_up"] = json!(seconds(luck.one(&[10.0, 30.0, 59.5])));
    } else if luck.percent(5) {
        plan["warm_up"] = json!("find");
    }
    if luck.percent(5) {
        plan["seed"] = json!(luck.below(1000));
        plan["replications"] = json!(luck.within(2, 9));
        plan["events_at_most"] = json!(luck.within(30_000, 1_000_000));
    }
    if luck.percent(25) {
        let mut map = Map::new();
        if let Some(id) = some_id(luck, stations).as_str() {
            map.insert(id.to_owned(), json!(luck.one(&["empty", "primed", "full"])));
        }
        plan["start_at"] = Value::Object(map);
    }
    if luck.percent(15) {
        plan["inversion"] = json!(true);
    }
    let n = if luck.percent(35) { luck.within(1, 2) } else { 0 };
    let breaks: Vec<Value> = (0..n).map(|_| one_break(luck, stations, names)).collect();
    if n > 0 {
        plan["breaks"] = json!(breaks);
    }
    if luck.percent(25)
        && let Some(changeover) = changeover(luck, stations, names)
    {
        plan["changeover"] = changeover;
    }
    plan
}

fn one_break(luck: &mut Luck, stations: &[Value], names: &Names) -> Value {
    let length = luck.within(1, 40);
    let mut one = json!({"at": format!("{} s", luck.within(0, 200)), "for": format!("{length} s")});
    if luck.percent(50) {
        one["every"] = json!(format!("{} s", length + luck.within(1, 60)));
    }
    if luck.percent(50) {
        let mut of = vec![some_id(luck, stations)];
        if let Some(pool) = names.pools.first().filter(|_| luck.percent(50)) {
            of.push(json!(pool));
        }
        one["of"] = json!(of);
    }
    if luck.percent(30) {
        one["stagger"] = json!(seconds(luck.one(&[0.5, 5.0, 20.0])));
    }
    one
}
