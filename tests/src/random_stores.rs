//! Pieces of random lines that keep parts in bulk for a while: baths and tunnels, hoppers, boxes.

use crate::luck::Luck;
use crate::random_blocks::{time_law, transporter};
use crate::random_laws::count_law;
use crate::random_line::Sketch;
use serde_json::{Value, json};

/// An amount of parts as a number, a weight or a volume (20 g and 25 cm3 each).
fn parts_or_weight(luck: &mut Luck, parts: usize) -> Value {
    match luck.below(4) {
        0 => json!(format!("{} g", 20 * parts)),
        1 => json!(format!("{} cm3", 25 * parts)),
        _ => json!(parts),
    }
}

fn bath(luck: &mut Luck) -> Value {
    let capacity = luck.within(1, 80);
    let mut bath =
        json!({"type": luck.one(&["bath", "tunnel"]), "capacity": parts_or_weight(luck, capacity)});
    if luck.percent(25) {
        bath["residence"] = json!("flow-through");
    } else {
        let mean = luck.between(0.1, 12.0);
        bath["residence"] = time_law(luck, mean);
        if luck.percent(30)
            && let Some(bath) = bath.as_object_mut()
        {
            bath.remove("capacity");
        }
    }
    if luck.percent(60) {
        bath["order"] = json!(luck.one(&["in order", "as ready"]));
    }
    // Without a rate a flow-through bath before a bin that never runs out has nothing to limit it.
    if bath["residence"] == "flow-through" || bath.get("capacity").is_none() || luck.percent(50) {
        bath["rate"] = json!(luck.one(&["40 /min", "3 /s", "150 L/h"]));
        bath["portion"] = json!(luck.one(&["0.5 s", "1 s", "5 s"]));
    }
    bath
}

impl Sketch {
    /// A bath in which parts come one by one.
    pub(crate) fn bath(&mut self, to: &str) -> String {
        let bath = bath(&mut self.luck);
        self.add(bath, to)
    }

    /// A bin, and a bath that takes out of it in bulk, before a lift; the bath's name. Returns what comes first.
    pub(crate) fn bulk_bath(&mut self, lift: &str) -> String {
        let bin = json!({"type": "bin", "capacity": self.luck.within(5, 200)});
        let bin = self.add(bin, lift);
        let bath = bath(&mut self.luck);
        self.add(bath, &bin)
    }

    /// A hopper and those who fill it.
    pub(crate) fn hopper(&mut self, to: &str) {
        let luck = &mut self.luck;
        let by = &self.names.pools[luck.below(self.names.pools.len())];
        let (mean, parts) = (luck.between(0.5, 9.0), luck.within(5, 60));
        let mut refill = json!({"how": "topped up", "by": by, "time": time_law(luck, mean),
                                "parts": count_law(luck, parts)});
        if luck.percent(50) {
            refill["how"] = json!("swapped");
            refill["spares"] = json!(luck.within(1, 3));
            refill["filling"] = time_law(luck, 5.0);
        }
        let mut hopper = json!({"type": "hopper", "call_level": luck.within(0, 30), "refill": refill});
        if luck.percent(60) {
            let capacity = luck.within(20, 200);
            hopper["capacity"] = parts_or_weight(luck, capacity);
            hopper["content"] = json!(luck.within(0, 20));
        }
        if luck.percent(30) {
            hopper["part"] = json!(self.names.kinds[luck.below(self.names.kinds.len())]);
        }
        self.add(hopper, to);
    }

    /// A box for what is rejected; it may be run again.
    pub(crate) fn part_box(&mut self) -> String {
        let luck = &mut self.luck;
        let mut part_box = json!({"type": luck.one(&["scrap box", "box out"])});
        if part_box["type"] == "scrap box" && luck.percent(30) {
            return self.add(part_box, "out");
        }
        let holds = luck.within(1, 40);
        part_box["holds"] = parts_or_weight(luck, holds);
        if luck.percent(50) {
            part_box["call_level"] = json!(luck.within(1, holds));
        }
        if luck.percent(70) {
            let mean = luck.between(1.0, 20.0);
            let mut exchange = json!({"how": "hauler", "lead": time_law(luck, mean)});
            if !self.names.pools.is_empty() && luck.percent(60) {
                let by = json!(self.names.pools[luck.below(self.names.pools.len())]);
                if luck.percent(50) {
                    exchange["by"] = by;
                } else {
                    exchange = json!({"how": "by hand", "by": by, "time": time_law(luck, mean)});
                }
            }
            part_box["exchange"] = exchange;
        }
        if luck.percent(60) {
            part_box["when_full"] = json!(luck.one(&["senders take no new part", "senders block"]));
        }
        if luck.percent(70) {
            part_box["empties_to"] = json!("BIN");
            if luck.percent(50) {
                part_box["repairs"] = json!({"off size": 0.5});
                if let Some(condition) = self.names.conditions.first() {
                    part_box["repairs"][condition] = json!("80 %");
                }
            }
        }
        self.add(part_box, "out")
    }

    /// A shuttle before two tracks, one of which leads on and one away.
    pub(crate) fn shuttle(&mut self, to: &str) -> String {
        let sides = [to.to_owned(), self.workers("out")].map(|end| {
            let track = transporter(&mut self.luck);
            if self.has_equals(&end) { end } else { self.add(track, &end) }
        });
        let luck = &mut self.luck;
        let mut sends = json!({});
        for (n, attitude) in self.names.attitudes.iter().enumerate() {
            sends[attitude] = json!(sides[if n < 2 { n } else { luck.below(2) }]);
        }
        let shuttle = json!({"sends": sends, "presents": luck.one(&["right way round", "as it lies"]),
                             "same_side": time_law(luck, 0.5), "other_side": time_law(luck, 0.9)});
        let mut station = json!({"type": "selector", "shuttle": shuttle, "rejects_to": "out"});
        if luck.percent(50) {
            station["reads_right_as_wrong"] = json!(0.05);
            station["reads_wrong_as_right"] = json!("10 %");
        }
        self.add(station, to)
    }
}

/// Finds a bin for each box that is run again; without one it is not.
pub(crate) fn settle_boxes(luck: &mut Luck, stations: &mut [Value]) {
    let bins: Vec<Value> = stations
        .iter()
        .filter(|s| s["type"] == "hopper" || (s["type"] == "bin" && s.get("endless").is_none()))
        .map(|s| s["id"].clone())
        .collect();
    for station in stations.iter_mut().filter(|station| station["empties_to"] == "BIN") {
        if bins.is_empty() {
            for key in ["empties_to", "repairs"] {
                if let Some(station) = station.as_object_mut() {
                    station.remove(key);
                }
            }
        } else {
            station["empties_to"] = bins[luck.below(bins.len())].clone();
        }
    }
}
