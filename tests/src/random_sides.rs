//! Random lines around a station whose time depends on the side on which it stood: what comes to it in its natural order,
//! sorted into lanes, round again as it lay, or from sources of different parts. There is room enough before every station.
//! Equal seeds give equal texts.

use crate::luck::Luck;
use crate::random_blocks::{seconds, time_law};
use serde_json::{Value, json};

/// Parts for which there is room before every station.
const ROOM: usize = 200;

struct Sketch {
    luck: Luck,
    /// In flow order.
    stations: Vec<Value>,
    parts: Value,
}

/// A line of a seed.
pub fn sided_line(seed: u64) -> Value {
    let mut sketch = Sketch { luck: Luck::new(seed ^ 0x51DE_5EED), stations: Vec::new(), parts: json!({}) };
    let kinds = if sketch.luck.percent(25) { vec!["knob", "cap"] } else { vec!["knob"] };
    for kind in &kinds {
        let share = sketch.luck.within(1, 9);
        sketch.parts[kind] = json!({"attitudes": {"left": share, "right": 10 - share, "on edge": 1}, "right_way": ["left", "right"]});
        if sketch.luck.percent(20) {
            sketch.parts[kind]["conditions"] = json!({"chipped": "5 %"});
        }
    }
    let lanes: Vec<String> = kinds.iter().enumerate().map(|(n, kind)| sketch.lane(n, kind)).collect();
    sketch.track("T", "S");
    sketch.shuttle();
    let Sketch { mut stations, parts, .. } = sketch;
    // Every lane ends on the track before the shuttle.
    for station in stations.iter_mut().filter(|station| lanes.iter().any(|lane| station["id"] == **lane)) {
        station["to"] = json!("T");
    }
    json!({"feedproof": 1, "parts": parts, "stations": stations,
           "promise": {"at": ["MX", "MY"], "clauses": {"mean_rate": "1 /min"}}})
}

impl Sketch {
    fn mean(&mut self, low: f64, high: f64) -> Value {
        let mean = self.luck.between(low, high);
        time_law(&mut self.luck, mean)
    }

    fn track(&mut self, id: &str, to: &str) {
        self.stations.push(json!({"id": id, "type": "track", "capacity": ROOM, "travel": "1 s", "to": to}));
    }

    /// What brings parts of a kind to the track before the shuttle; returns the station that gives them there.
    fn lane(&mut self, n: usize, kind: &str) -> String {
        let (source, path) = (format!("F{n}"), format!("P{n}"));
        let time = self.mean(0.1, 1.0);
        let mut supply = json!({"id": source, "type": "work", "endless": true, "part": kind, "time": time});
        match self.luck.below(4) {
            0 => {
                if self.luck.percent(30) {
                    supply["places"] = json!(2);
                }
                self.stations.push(supply);
                source
            }
            1 => {
                let track = format!("A{n}");
                supply["to"] = json!(track);
                self.stations.push(supply);
                self.track(&track, &path);
                let pass = self.mean(0.1, 0.6);
                let back = format!("R{n}");
                let keeps = self.luck.below(3) as f64 / 2.0;
                let passes = json!({"left": 0.9, "right": 0.5, "on edge": 0.2});
                self.stations
                    .push(json!({"id": path, "type": "orienting path", "pass": pass, "rejects_to": back,
                    "comes_back": {"keeps": keeps}, "tools": [{"id": "t", "passes": passes}]}));
                // The belt has its way at the join: a loop that fills up would stand.
                self.stations.push(
                    json!({"id": back, "type": "recirculation belt", "capacity": ROOM, "travel": "2 s", "to": track}),
                );
                let priority = json!([back]);
                let join = self.stations.iter_mut().find(|station| station["id"] == *track);
                join.expect("the track before the path")["priority"] = priority;
                path
            }
            2 => {
                let track = format!("C{n}");
                supply["to"] = json!(track);
                self.stations.push(supply);
                self.track(&track, &path);
                self.lanes_by_attitude(n)
            }
            _ => {
                let track = format!("A{n}");
                supply["to"] = json!(track);
                self.stations.push(supply);
                let worker = format!("W{n}");
                self.track(&track, &worker);
                let time = self.mean(0.1, 0.6);
                let places = self.luck.within(1, 3);
                let corrects = json!({"id": worker, "type": "selector", "corrects": ["on edge"], "time": time,
                    "time_with_turn": seconds(self.luck.between(0.2, 1.5)), "rejects_to": "out"});
                self.stations.push(if self.luck.percent(40) {
                    corrects
                } else {
                    json!({"id": worker, "type": "work", "time": time, "places": places})
                });
                worker
            }
        }
    }

    /// Left ones to one lane, the others to the next; rows or single parts of both come together again.
    fn lanes_by_attitude(&mut self, n: usize) -> String {
        let (path, left, right) = (format!("P{n}"), format!("A{n}"), format!("B{n}"));
        let pass = self.mean(0.1, 0.6);
        self.stations.push(
            json!({"id": path, "type": "orienting path", "pass": pass, "to": left, "rejects_to": right,
            "comes_back": {"keeps": 1}, "tools": [{"id": "t", "passes": {"left": 1}}]}),
        );
        let row = self.luck.within(1, 12);
        for (lane, pusher) in [(&left, "U"), (&right, "V")] {
            let pusher = format!("{pusher}{n}");
            let time = self.mean(0.1, 0.6);
            self.track(lane, &pusher);
            self.stations.push(if self.luck.percent(60) {
                json!({"id": pusher, "type": "row pusher", "row": row, "push": time, "to": "T"})
            } else {
                json!({"id": pusher, "type": "escapement", "stroke": time, "to": "T"})
            });
        }
        format!("U{n}")
    }

    fn shuttle(&mut self) {
        let (same, other) = (self.mean(0.2, 1.0), self.mean(0.2, 2.0));
        let shuttle = json!({"sends": {"left": "X", "right": "Y"}, "same_side": same, "other_side": other,
            "presents": self.luck.one(&["right way round", "as it lies"])});
        let mut station = json!({"id": "S", "type": "selector", "shuttle": shuttle, "rejects_to": "out"});
        if self.luck.percent(30) {
            station["reads_right_as_wrong"] = json!(0.1);
        }
        if self.luck.percent(20) {
            station["count"] = json!(2);
        }
        self.stations.push(station);
        for (track, machine) in [("X", "MX"), ("Y", "MY")] {
            self.track(track, machine);
            let cycle = self.mean(0.2, 1.2);
            self.stations.push(json!({"id": machine, "type": "machine", "cycle": cycle, "to": "out"}));
        }
    }
}
