//! Pieces of random lines that move several parts together: tubes, rows, magazines, tables, robots, shared reaches.
//!
//! Recipes ask for lanes and kinds that may never come, so that knots of starving are among the lines.

use crate::luck::Luck;
use crate::random_blocks::{seconds, time_law, transporter};
use crate::random_line::Sketch;
use serde_json::{Map, Value, json};

/// Makes some dividers go by calls or recipes, and some move.
pub(crate) fn move_divider(luck: &mut Luck, divider: &mut Value, models: &[String]) {
    match luck.below(6) {
        0 => {
            divider["rule"] = json!("by call");
            divider["call_at"] = json!(luck.below(3));
        }
        1 => {
            let exits: Vec<String> = divider["exits"]
                .as_array()
                .into_iter()
                .flatten()
                .filter_map(Value::as_str)
                .map(str::to_owned)
                .collect();
            if exits.iter().all(|exit| exit != "out") {
                divider["rule"] = json!("by recipe");
                add_recipe(luck, divider, &exits, models, &[]);
                if let Some(object) = divider.as_object_mut() {
                    object.remove("exits");
                }
            }
        }
        _ => {}
    }
    if divider["rule"] != "by ratio"
        && let Some(object) = divider.as_object_mut()
    {
        object.remove("ratio");
    }
    if luck.percent(25) {
        let mean = luck.between(0.1, 1.0);
        divider["move"] = time_law(luck, mean);
    }
}

/// Gives a station recipes: a few pieces for each exit, maybe of one of `sources`.
fn add_recipe(luck: &mut Luck, station: &mut Value, exits: &[String], models: &[String], sources: &[String]) {
    let one = |luck: &mut Luck| {
        let mut lines = Map::new();
        for exit in exits {
            let pieces = json!(luck.within(1, 3));
            let value = if sources.is_empty() || luck.percent(60) {
                pieces
            } else {
                let mut of = Map::new();
                of.insert(sources[luck.below(sources.len())].clone(), pieces);
                Value::Object(of)
            };
            lines.insert(exit.clone(), value);
        }
        Value::Object(lines)
    };
    if models.is_empty() || luck.percent(30) {
        station["recipe"] = one(luck);
    } else {
        let all: Map<String, Value> = models.iter().map(|model| (model.clone(), one(luck))).collect();
        station["recipes"] = Value::Object(all);
    }
}

impl Sketch {
    /// A piece of the line before `to` that moves several parts together; returns its first station.
    pub(crate) fn batches(&mut self, to: &str) -> String {
        match self.luck.below(6) {
            0 => self.tube(to),
            1 => self.rows(to),
            2 => self.magazine(to),
            3 => self.table(to),
            4 => self.robot(to),
            _ => self.reach(to),
        }
    }

    fn tube(&mut self, to: &str) -> String {
        let mean = self.luck.between(0.1, 2.0);
        let mut tube = json!({"type": "air tube", "travel": time_law(&mut self.luck, mean)});
        if self.luck.percent(40) {
            tube["shots"] = json!(self.luck.within(1, 4));
        }
        if self.luck.percent(30) {
            tube["count"] = json!(self.luck.within(2, 3));
        }
        let receiver = json!({"type": "receiver", "holds": self.luck.within(1, 3), "time": seconds(self.luck.one(&[0.0, 0.5]))});
        let end = if self.luck.percent(50) { self.add(receiver, to) } else { to.to_owned() };
        self.add(tube, &end)
    }

    fn rows(&mut self, to: &str) -> String {
        let n = self.luck.within(2, 4);
        let mean = self.luck.between(0.1, 1.0);
        let mut pusher = json!({"type": "row pusher", "row": n, "push": time_law(&mut self.luck, mean)});
        if self.luck.percent(40) {
            let mut lanes = Vec::new();
            for k in 0..n {
                let lane = json!({"type": "track", "capacity": self.luck.within(1, 4)});
                let end = if k == 0 && to != "out" { to.to_owned() } else { self.workers("out") };
                lanes.push(if self.has_equals(&end) { end } else { self.add(lane, &end) });
            }
            pusher["lanes"] = json!(lanes);
            return self.add(pusher, to);
        }
        let mut track = transporter(&mut self.luck);
        track["capacity"] = json!(n + self.luck.below(6));
        if let Some(track) = track.as_object_mut() {
            track.remove("unlimited");
        }
        let end = self.add(track, to);
        self.add(pusher, &end)
    }

    /// Whether the station with this name has equals.
    pub(crate) fn has_equals(&self, id: &str) -> bool {
        self.stations.iter().any(|station| station["id"] == *id && station.get("count").is_some())
    }

    fn magazine(&mut self, to: &str) -> String {
        let mut exits = Vec::new();
        for n in 0..self.luck.within(1, 2) {
            let end = if n == 0 { to } else { "out" };
            let machine = self.batch_machine(end);
            let receiver = json!({"type": "receiver", "holds": 9, "time": seconds(self.luck.one(&[0.0, 0.5, 1.0])),
                                  "each": seconds(self.luck.one(&[0.0, 0.1]))});
            exits.push(self.add(receiver, &machine));
        }
        let mut magazine = json!({"type": "magazine", "release": self.luck.one(&["together", "on call"])});
        for key in ["load", "release_time"] {
            if self.luck.percent(50) {
                magazine[key] = json!(seconds(self.luck.one(&[0.1, 0.2, 0.5])));
            }
        }
        let lanes = self.luck.percent(40);
        let next = |n: usize| format!("S{}", self.stations.len() + n);
        let (first, second) = (next(1), next(2));
        let mut sources = self.names.kinds.clone();
        if lanes {
            sources.extend([first.clone(), second.clone()]);
        }
        let models = self.models.clone();
        add_recipe(&mut self.luck, &mut magazine, &exits, &models, &sources);
        let id = self.add(magazine, to);
        if !lanes {
            return id;
        }
        for _ in 0..2 {
            let lane = transporter(&mut self.luck);
            self.add(lane, &id);
        }
        self.source(&second);
        first
    }

    /// A machine that takes whole batches from the receiver that is drawn next.
    fn batch_machine(&mut self, to: &str) -> String {
        let mean = self.luck.between(0.2, 2.0);
        let from = format!("S{}", self.stations.len() + 1);
        let parts = if self.luck.percent(80) { json!("the batch") } else { json!(1) };
        let machine = json!({"type": "machine", "cycle": time_law(&mut self.luck, mean),
                             "each": seconds(self.luck.one(&[0.0, 0.2])), "inlets": [{"from": from, "parts": parts}]});
        self.add(machine, to)
    }

    fn table(&mut self, to: &str) -> String {
        let group = self.luck.within(1, 3);
        let positions = self.luck.within(3, 6);
        let mean = self.luck.between(0.2, 1.0);
        let when = self.luck.one(&["group full", "any", "on a clock"]);
        let mut table = json!({"type": "indexing table", "nests": group * positions, "group": group,
                               "index": time_law(&mut self.luck, mean), "index_when": when});
        if when == "on a clock" {
            table["period"] = json!(seconds(self.luck.one(&[0.5, 1.0, 1.7])));
        }
        if self.luck.percent(60) {
            table["load"] = json!(seconds(self.luck.one(&[0.1, 0.3])));
        }
        let n = self.luck.within(1, 2);
        // All load positions come before all discharges.
        if to != "out" && positions > n + 1 && self.luck.percent(40) {
            let other = self.workers("out");
            table["discharges"] = json!({other: positions - 1, to: positions});
        }
        let id = self.id();
        if self.luck.percent(40) {
            let names = (1..=n).map(|k| (format!("S{}", self.stations.len() + k), json!(k)));
            table["loads_at"] = Value::Object(names.collect());
        }
        self.add(table, to);
        let mut lanes = Vec::new();
        for _ in 0..n {
            let track = transporter(&mut self.luck);
            lanes.push(self.add(track, &id));
        }
        if let [_, second] = &lanes[..] {
            self.source(second);
        }
        lanes.swap_remove(0)
    }

    fn robot(&mut self, to: &str) -> String {
        let id = self.id();
        let next = |n: usize| format!("S{}", self.stations.len() + n);
        let (first, second) = (next(1), next(2));
        let mut fetches = Vec::new();
        for from in [&first, &second] {
            let mean = self.luck.between(0.2, 1.5);
            fetches.push(json!({"from": from, "time": time_law(&mut self.luck, mean), "parts": self.luck.within(1, 2)}));
        }
        let mut robot = json!({"type": "robot", "fetches": fetches,
                               "order": self.luck.one(&["as listed", "whichever is there"])});
        if self.luck.percent(50) {
            robot["set_down"] = json!(seconds(self.luck.one(&[0.3, 1.0])));
        }
        if self.luck.percent(40) {
            robot["reach"] = json!("arm");
        }
        self.add(robot, to);
        for _ in 0..2 {
            let feeder = transporter(&mut self.luck);
            self.add(feeder, &id);
        }
        self.source(&second);
        first
    }

    fn reach(&mut self, to: &str) -> String {
        let mean = self.luck.between(0.2, 1.5);
        let machine = json!({"type": "machine", "cycle": time_law(&mut self.luck, mean), "reach": "arm",
                             "count": self.luck.within(2, 4)});
        self.add(machine, to)
    }
}
