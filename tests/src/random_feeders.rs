//! Pieces of random lines: bins with what fills and empties them, and stations that tell parts apart.

use crate::luck::Luck;
use crate::random_blocks::{Names, seconds, time_law};
use serde_json::{Map, Value, json};

fn share(luck: &mut Luck, from: f64, to: f64) -> f64 {
    (luck.between(from, to) * 1000.0).round() / 1000.0
}

/// A bin that starts with parts, or never runs out.
pub fn bin(luck: &mut Luck, is_filled: bool) -> Value {
    if !is_filled && luck.percent(40) {
        return json!({"type": "bin", "endless": true});
    }
    let capacity = luck.within(50, 600);
    json!({"type": "bin", "capacity": capacity, "content": luck.within(1, capacity)})
}

/// A dumper that fills a bin, or somebody who fills it by hand.
pub fn dumper(luck: &mut Luck, names: &Names) -> Value {
    if !names.pools.is_empty() && luck.percent(25) {
        let by = &names.pools[luck.below(names.pools.len())];
        let mut fill = json!({"type": "filling by hand", "by": by, "time": time_law(luck, 5.0)});
        if luck.percent(60) {
            fill["amount"] = json!(luck.within(20, 200));
        }
        if luck.percent(70) {
            fill["call_level"] = json!(luck.one(&["10 %", "50 %", "100 %"]));
        }
        if luck.percent(50) || fill.get("call_level").is_none() {
            fill["every"] = time_law(luck, 20.0);
        }
        return fill;
    }
    let mut dumper = json!({"type": "dumper", "contents": luck.within(20, 200), "call_level": luck.within(5, 50),
                            "tip": seconds(luck.between(0.5, 6.0)), "return": "2 s"});
    if luck.percent(40) {
        dumper["lift"] = json!("3.5 s");
        dumper["exchange"] = json!("4 s");
    }
    if luck.percent(40) {
        dumper["pour_rate"] = json!(luck.one(&["300 /min", "50 /s"]));
        dumper["portions"] = json!(luck.within(1, 30));
    }
    let mean = luck.between(3.0, 30.0);
    match luck.below(4) {
        0 => {
            dumper["containers"] = json!({"how": "hauler", "lead": time_law(luck, mean)});
            if !names.pools.is_empty() && luck.percent(50) {
                dumper["containers"]["by"] = json!(names.pools[luck.below(names.pools.len())]);
            }
        }
        1 => dumper["containers"] = json!({"how": "intervals", "every": time_law(luck, mean)}),
        2 if !names.pools.is_empty() => {
            let by = &names.pools[luck.below(names.pools.len())];
            dumper["containers"] = json!({"how": "by hand", "by": by, "time": time_law(luck, mean)});
        }
        _ => {}
    }
    dumper["waiting_places"] = json!(luck.within(1, 2));
    dumper
}

/// What takes parts out of a bin in bulk.
pub fn lift(luck: &mut Luck) -> Value {
    let per = if luck.percent(50) {
        json!({"law": "binomial", "trials": luck.within(2, 8), "chance": 0.5})
    } else {
        json!(luck.within(1, 4))
    };
    if luck.percent(60) {
        let mut lift = json!({"type": "elevator", "cleats": format!("{} /min", luck.within(10, 90)),
                              "lift": seconds(luck.between(0.0, 6.0)), "per_cleat": per,
                              "when_full": luck.one(&["stops", "spills back", "queues"])});
        if luck.percent(50) {
            lift["mark"] = json!(luck.within(1, 100));
        }
        if luck.percent(50) {
            lift["drop_back"] = json!(share(luck, 0.0, 0.3));
        }
        return lift;
    }
    if luck.percent(50) {
        json!({"type": "meter conveyor", "per_index": per, "index_time": time_law(luck, 0.8)})
    } else {
        json!({"type": "meter conveyor", "rate": format!("{} /min", luck.within(20, 200)),
               "portion": luck.one(&["0.5 s", "1 s"])})
    }
}

fn tool(luck: &mut Luck, names: &Names, id: usize, at: f64) -> Value {
    let mut tool = json!({"id": format!("t{id}")});
    if names.attitudes.is_empty() || luck.percent(30) {
        tool["accepts"] = json!(share(luck, 0.4, 1.0));
    } else {
        let mut passes = Map::new();
        for attitude in &names.attitudes {
            passes.insert(attitude.clone(), json!(share(luck, 0.0, 0.6)));
        }
        tool["passes"] = Value::Object(passes);
        if luck.percent(40) {
            let (from, to) = (&names.attitudes[0], &names.attitudes[names.attitudes.len() - 1]);
            let mut turn = Map::new();
            turn.insert(to.clone(), json!(share(luck, 0.0, 0.4)));
            let mut turns = Map::new();
            turns.insert(from.clone(), Value::Object(turn));
            tool["turns"] = Value::Object(turns);
        }
    }
    if luck.percent(20) {
        tool["crowded"] = match tool.get("accepts") {
            Some(_) => json!({"accepts": share(luck, 0.2, 0.9)}),
            None => json!({"passes": {names.attitudes[0].clone(): share(luck, 0.0, 0.6)}}),
        };
        if luck.percent(40) {
            (tool["uncrowded_at"], tool["crowded_at"]) = (json!("20 %"), json!("70 %"));
        }
    }
    if luck.percent(20) {
        tool["sensed"] = json!({"false_reject": share(luck, 0.0, 0.1)});
    }
    if at > 0.0 {
        tool["position"] = json!(format!("{at} m"));
    }
    tool
}

/// A station that tells parts apart and sends some of them to `rejects`.
pub fn judge(luck: &mut Luck, names: &Names, rejects: &str) -> Value {
    let mean = luck.between(0.1, 1.2);
    match luck.below(6) {
        0 if !names.conditions.is_empty() => {
            let mut station = json!({"type": "screen", "removed_to": rejects, "removes": {}});
            station["removes"][&names.conditions[0]] = json!(share(luck, 0.1, 1.0));
            if luck.percent(60) {
                station["time"] = time_law(luck, mean);
            }
            station
        }
        1 if !names.conditions.is_empty() => {
            let mut station = json!({"type": "gauge", "rejects_to": rejects, "time": time_law(luck, mean),
                                     "catches": {}, "false_reject": share(luck, 0.0, 0.2)});
            station["catches"][&names.conditions[0]] = json!(share(luck, 0.1, 1.0));
            station
        }
        2 if !names.attitudes.is_empty() => {
            let corrects: Vec<&String> = names.attitudes.iter().take(luck.within(1, 2)).collect();
            json!({"type": "selector", "rejects_to": rejects, "time": time_law(luck, mean),
                   "corrects": corrects, "turn_succeeds": share(luck, 0.5, 1.0)})
        }
        _ => path(luck, names, rejects, mean),
    }
}

fn path(luck: &mut Luck, names: &Names, rejects: &str, mean: f64) -> Value {
    let mut path = json!({"type": "orienting path", "rejects_to": rejects});
    let mut way = 0.0;
    if luck.percent(50) {
        path["pass"] = time_law(luck, mean);
    } else {
        way = share(luck, 0.1, 1.5);
        path["speed"] = json!(luck.one(&["5 m/min", "0.2 m/s"]));
        path["live_length"] = json!(format!("{way} m"));
        path["gap"] = json!(luck.one(&[1.0, 1.05, 2.0]));
    }
    let n = luck.within(0, 3);
    let mut positions: Vec<f64> = (0..n).map(|_| share(luck, 0.0, way)).collect();
    positions.sort_by(f64::total_cmp);
    let tools: Vec<Value> = (0..n).map(|ix| tool(luck, names, ix, positions[ix])).collect();
    path["tools"] = json!(tools);
    if luck.percent(30) {
        path["overflow_to"] = json!(rejects);
    }
    if luck.percent(40) {
        path["comes_back"] = luck.one(&["remixed", "as the tools left it"]).into();
        if luck.percent(50) {
            path["comes_back"] = json!({"keeps": share(luck, 0.0, 1.0)});
        }
    }
    if n > 0 && luck.percent(15) {
        path["clumps"] =
            json!({"chance": share(luck, 0.0, 0.2), "parts": 2, "breaks_up": share(luck, 0.2, 1.0)});
    }
    path
}
