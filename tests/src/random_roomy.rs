//! Random lines with room enough: a track for many parts before every station, so that hardly any time is lost by waiting.
//!
//! They are what a balance counts: supplies, stations in a row, stations that sort, with what they reject away or round
//! again, dividers by every rule, machines of two inlets, each with times by chance. Equal seeds give equal texts.

use crate::luck::Luck;
use crate::random_blocks::{seconds, time_law};
use serde_json::{Map, Value, json};

/// Parts for which there is room before every station.
const ROOM: usize = 200;

struct Sketch {
    luck: Luck,
    /// In reverse order.
    stations: Vec<Value>,
    has_attitudes: bool,
    has_defects: bool,
    /// Stations at which parts leave the line.
    ends: Vec<String>,
}

/// A line of a seed.
pub fn roomy_line(seed: u64) -> Value {
    let mut luck = Luck::new(seed ^ 0x8003_1135);
    let mut kind = Map::new();
    let (has_attitudes, has_defects) = (luck.percent(60), luck.percent(50));
    if has_attitudes {
        kind.insert("attitudes".into(), json!({"up": 5, "down": 3, "on edge": 2}));
    }
    if has_defects {
        kind.insert("conditions".into(), json!({"chipped": "8 %"}));
    }
    let mut sketch = Sketch { luck, stations: Vec::new(), has_attitudes, has_defects, ends: Vec::new() };
    let mut head = sketch.end();
    for _ in 0..sketch.luck.within(0, 3) {
        head = sketch.block(head);
    }
    sketch.source(&head);
    let Sketch { mut luck, mut stations, ends, .. } = sketch;
    stations.reverse();
    let at = if luck.percent(40) { json!(ends[luck.below(ends.len())]) } else { json!(ends) };
    json!({"feedproof": 1, "parts": {"knob": kind}, "stations": stations,
           "promise": {"at": at, "clauses": {"mean_rate": "1 /min"}}})
}

impl Sketch {
    /// Adds a station before `to`, with a track before it; returns the track.
    fn add(&mut self, mut station: Value, to: Option<&str>) -> String {
        let (id, track) = (format!("S{}", self.stations.len()), format!("T{}", self.stations.len()));
        station["id"] = json!(id);
        if let Some(to) = to {
            station["to"] = json!(to);
        }
        self.stations.push(station);
        self.stations
            .push(json!({"id": track, "type": "track", "capacity": ROOM, "travel": "1 s", "to": id}));
        track
    }

    fn mean(&mut self) -> Value {
        let mean = self.luck.between(0.3, 2.0);
        time_law(&mut self.luck, mean)
    }

    fn worker(&mut self) -> Value {
        let time = self.mean();
        match self.luck.below(3) {
            0 => json!({"type": "work", "time": time, "places": self.luck.within(1, 3)}),
            1 => json!({"type": "escapement", "stroke": time}),
            _ => json!({"type": "machine", "cycle": time}),
        }
    }

    /// A station at which parts leave the line.
    fn end(&mut self) -> String {
        let worker = self.worker();
        self.ends.push(format!("S{}", self.stations.len()));
        self.add(worker, Some("out"))
    }

    fn block(&mut self, to: String) -> String {
        match self.luck.below(5) {
            0 => {
                let worker = self.worker();
                self.add(worker, Some(&to))
            }
            1 | 2 => self.divider(to),
            3 => self.sorter(&to),
            _ => self.assembly(&to),
        }
    }

    fn divider(&mut self, to: String) -> String {
        let mut exits = vec![to];
        for _ in 0..self.luck.within(1, 2) {
            exits.push(self.end());
        }
        if self.luck.percent(50) {
            exits.reverse();
        }
        let mut divider = json!({"type": "divider", "rule": self.luck.one(&["first with room", "in turn", "emptiest first", "by ratio"])});
        if divider["rule"] == "by ratio" {
            divider["ratio"] = exits.iter().map(|_| Value::from(self.luck.within(1, 3))).collect();
        }
        if matches!(divider["rule"].as_str(), Some("in turn" | "by ratio")) && self.luck.percent(40) {
            divider["strict"] = json!(true);
        }
        if self.luck.percent(20) {
            divider["move"] = json!(seconds(self.luck.between(0.1, 0.8)));
        }
        divider["exits"] = json!(exits);
        self.add(divider, None)
    }

    /// A station that sends some parts away, or round again.
    fn sorter(&mut self, to: &str) -> String {
        let n = self.stations.len();
        let (back, track) = (format!("R{n}"), format!("T{n}"));
        let time = self.mean();
        let goes_round = self.luck.percent(60);
        let rejects = if goes_round { back.as_str() } else { "out" };
        let station = if self.has_defects && self.luck.percent(40) {
            // What is chipped goes away.
            json!({"type": "gauge", "rejects_to": "out", "time": time, "catches": {"chipped": 0.9}, "false_reject": 0.05})
        } else if self.has_attitudes && self.luck.percent(70) {
            json!({"type": "selector", "rejects_to": rejects, "time": time, "corrects": ["down"], "turn_succeeds": 0.9})
        } else {
            json!({"type": "orienting path", "pass": time, "rejects_to": rejects, "tools": [{"id": "t", "accepts": 0.6}]})
        };
        let uses_belt = station["rejects_to"] == *back;
        let head = self.add(station, Some(to));
        if uses_belt {
            // The belt is listed first, and has its way at the join: a loop that fills up would stand.
            let belt = json!({"id": back, "type": "recirculation belt", "capacity": ROOM, "travel": "2 s", "to": track});
            self.stations.push(belt);
            let priority = json!([back]);
            if let Some(track) = self.stations.iter_mut().find(|s| s["id"] == *track) {
                track["priority"] = priority;
            }
        }
        head
    }

    fn assembly(&mut self, to: &str) -> String {
        let n = self.stations.len();
        let id = format!("S{n}");
        let (first, second) = (format!("A{n}"), format!("B{n}"));
        let mean = self.mean();
        let parts = self.luck.within(1, 2);
        self.stations.push(json!({"id": id, "type": "machine", "cycle": mean, "to": to,
                                  "inlets": [{"from": first}, {"from": second, "parts": parts}]}));
        for track in [&second, &first] {
            self.stations
                .push(json!({"id": track, "type": "track", "capacity": ROOM, "travel": "1 s", "to": id}));
            if *track == second {
                self.source(&second);
            }
        }
        first
    }

    fn source(&mut self, to: &str) {
        let n = self.stations.len();
        if self.luck.percent(60) {
            let time = self.mean();
            self.stations.push(
                json!({"id": format!("F{n}"), "type": "work", "endless": true, "time": time, "to": to}),
            );
            return;
        }
        let cleats = self.luck.within(20, 90);
        let lift = format!("L{n}");
        self.stations
            .push(json!({"id": lift, "type": "elevator", "cleats": format!("{cleats} /min"), "lift": "2 s",
                                  "per_cleat": {"law": "binomial", "trials": 4, "chance": 0.5}, "to": to}));
        self.stations.push(json!({"id": format!("G{n}"), "type": "bin", "endless": true, "to": lift}));
    }
}
