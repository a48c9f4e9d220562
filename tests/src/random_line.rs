//! Random lines: a scenario text from a seed.
//!
//! The line is drawn from the point of use upstream, so that every station knows where it gives to; loops are
//! closed at the end, when the stations above are known. It makes every word of the file format (a test sees to
//! that). Equal seeds give equal texts.

use crate::luck::Luck;
use crate::random_batches::move_divider;
use crate::random_blocks::{Names, add_stops, check, inlet, seconds, source, time_law, transporter, worker};
use crate::random_evidence::add_evidence;
use crate::random_feeders;
use crate::random_options::add_options;
use crate::random_plan::{parts, plan, pool_of, promise, run_off, sensors, states};
use crate::random_stores::settle_boxes;
use serde_json::{Map, Value, json};

/// Stands for a station further up until the loop is closed.
pub(crate) const LOOP: &str = "LOOP";

/// A line under construction; stations stand in reverse order.
pub(crate) struct Sketch {
    pub(crate) luck: Luck,
    pub(crate) names: Names,
    pub(crate) stations: Vec<Value>,
    pub(crate) room: usize,
    /// Names of the product models, if there are any.
    pub(crate) models: Vec<String>,
}

/// The scenario text of a seed: at most `most` stations or so.
pub fn random_line(seed: u64, most: usize) -> String {
    random_value(seed, most).to_string()
}

/// The same as a value.
pub fn random_value(seed: u64, most: usize) -> Value {
    let mut luck = Luck::new(seed);
    let parts = parts(&mut luck);
    let pools = luck.one(&[0, 1, 1, 2]);
    let mut names = Names { pools: (0..pools).map(|n| format!("A{n}")).collect(), ..Names::default() };
    for (kind, value) in parts.as_object().into_iter().flatten() {
        names.kinds.push(kind.clone());
        names.attitudes.extend(value["attitudes"].as_object().into_iter().flat_map(Map::keys).cloned());
        names.conditions.extend(value["conditions"].as_object().into_iter().flat_map(Map::keys).cloned());
    }
    names.attitudes.sort();
    names.attitudes.dedup();
    names.has_sizes =
        parts.as_object().is_some_and(|kinds| kinds.values().all(|kind| kind.get("sizes").is_some()));
    let room = luck.within(1, most.max(1));
    let n_models = luck.one(&[0, 0, 1, 2]);
    let models = (0..n_models).map(|n| format!("model {n}")).collect();
    let mut sketch = Sketch { luck, names, stations: Vec::new(), room, models };
    sketch.draw();
    sketch.close_loops();
    sketch.add_priorities();
    let Sketch { mut luck, names, mut stations, models, .. } = sketch;
    stations.reverse();
    settle_boxes(&mut luck, &mut stations);
    add_options(&mut luck, &names, &mut stations);
    give_room(&mut stations);
    let attendants: Vec<Value> =
        names.pools.iter().map(|pool| pool_of(&mut luck, pool, &names, &stations)).collect();
    let sensors = sensors(&mut luck, &stations);
    let mut line = json!({"feedproof": 1, "parts": parts, "stations": stations, "attendants": attendants,
                          "sensors": sensors});
    if luck.percent(40) {
        line["measures"] = json!([{"id": "M", "any_of": [states(&mut luck, &stations)]}]);
    }
    if !models.is_empty() {
        let list: Map<String, Value> =
            models.into_iter().map(|model| (model, json!(luck.within(1, 3)))).collect();
        line["models"] = json!({"order": luck.one(&["sequence", "random"]), "list": list});
    }
    line["plan"] = plan(&mut luck, &stations, &names);
    if luck.percent(30) {
        line["promise"] = promise(&mut luck, &stations);
    }
    if luck.percent(5) {
        line["run_off"] = run_off(&mut luck);
    }
    if luck.percent(5) {
        line["money"] = json!({"cost": 90000, "labour_per_hour": 28.5, "lost_minute": 4, "running_per_hour": 3, "shifts_per_year": 460});
    }
    if luck.percent(10) {
        line["$schema"] = json!("feedproof.schema.json");
        line["title"] = json!("A line that luck has drawn");
        line["units"] = json!(luck.one(&["metric", "inch"]));
    }
    // Luck of its own, so that the lines without evidence stay what they are.
    let mut of_evidence = Luck::new(seed ^ 0xE71D_E5CE);
    if of_evidence.percent(15) {
        add_evidence(&mut of_evidence, &mut line);
    }
    line
}

/// Makes tracks hold as many parts as are taken or handed on at once, and has one taken where there is no track.
fn give_room(stations: &mut [Value]) {
    let before = stations.to_vec();
    // At the end of a belt that stands while its head waits there is one part, as a rule.
    let has_body = |s: &Value| {
        let word = s["type"].as_str().unwrap_or_default();
        let stands = s["end"] == "stopping";
        word == "track" || word == "receiver" || word == "bin" || (word.ends_with("belt") && !stands)
    };
    let feeds = |from: &Value, id: &Value| {
        let named = |value: &Value| value == id || value.as_array().is_some_and(|list| list.contains(id));
        let mut tools = from["tools"].as_array().into_iter().flatten();
        from.as_object().is_some_and(|s| s.iter().any(|(key, value)| key != "id" && named(value)))
            || tools.any(|tool| named(&tool["to"]))
    };
    let mut most = 1;
    for (n, station) in stations.iter_mut().enumerate() {
        let id = station["id"].clone();
        let next_to = |k: usize| k + 1 == n && before[k].get("to").is_none();
        let mut feeders =
            (0..n.max(before.len())).filter(|&k| k != n && (next_to(k) || feeds(&before[k], &id)));
        let is_escapement = station["type"] == "escapement";
        if is_escapement && station.get("release").is_some() && feeders.any(|k| !has_body(&before[k])) {
            station["release"] = json!(1);
        }
        most = most.max(station["release"].as_u64().unwrap_or(1));
        for inlet in station.get_mut("inlets").and_then(Value::as_array_mut).into_iter().flatten() {
            let body = before.iter().any(|s| s["id"] == inlet["from"] && has_body(s));
            if !body && inlet.get("nest").is_none() {
                inlet["parts"] = json!(1);
            }
            most = most.max(inlet["parts"].as_u64().unwrap_or(1));
        }
        for fetch in station.get_mut("fetches").and_then(Value::as_array_mut).into_iter().flatten() {
            if !before.iter().any(|s| s["id"] == fetch["from"] && has_body(s)) {
                fetch["parts"] = json!(1);
            }
        }
        let fetches = station["fetches"].as_array().into_iter().flatten();
        most = fetches.filter_map(|fetch| fetch["parts"].as_u64()).fold(most, u64::max);
    }
    for station in stations.iter_mut() {
        if let Some(capacity) = station["capacity"].as_u64().filter(|capacity| *capacity < most) {
            station["capacity"] = json!(capacity.max(most));
        }
    }
}

impl Sketch {
    pub(crate) fn id(&self) -> String {
        format!("S{}", self.stations.len())
    }

    /// Adds a station that gives to `to`; returns its name.
    pub(crate) fn add(&mut self, mut station: Value, to: &str) -> String {
        let id = self.id();
        let names_exits = ["exits", "recipe", "recipes", "lanes", "discharges"];
        let has_own = names_exits.iter().any(|key| station.get(key).is_some());
        let is_box = station["type"] == "scrap box" || station["type"] == "box out";
        if !has_own && !is_box && station.get("shuttle").is_none() {
            station["to"] = json!(to);
        }
        station["id"] = json!(id);
        add_stops(&mut self.luck, &self.names, &mut station);
        self.stations.push(station);
        self.room = self.room.saturating_sub(1);
        id
    }

    fn draw(&mut self) {
        let mut head = "out".to_owned();
        while self.room > 1 {
            head = self.block(&head);
        }
        self.source(&head);
        if self.luck.percent(15) {
            self.source(&head);
        }
    }

    pub(crate) fn source(&mut self, to: &str) {
        if self.luck.percent(30) {
            return self.bulk_source(to);
        }
        let may_be_several = to != "out" && !self.is_body(to);
        let mut source = source(&mut self.luck, &self.names, may_be_several);
        self.spread(&mut source);
        self.add(source, to);
    }

    /// A bin, what empties it, and perhaps what fills it.
    fn bulk_source(&mut self, to: &str) {
        let lift = random_feeders::lift(&mut self.luck);
        let lift = self.add(lift, to);
        let lift = if self.luck.percent(20) { self.bulk_bath(&lift) } else { lift };
        if !self.names.pools.is_empty() && self.luck.percent(30) {
            return self.hopper(&lift);
        }
        let is_filled = self.luck.percent(50);
        let bin = random_feeders::bin(&mut self.luck, is_filled);
        let bin = self.add(bin, &lift);
        if is_filled {
            let dumper = random_feeders::dumper(&mut self.luck, &self.names);
            self.add(dumper, &bin);
        }
    }

    /// A station that sends some of the parts back, away or into a scrap box.
    fn judge(&mut self, to: &str) -> String {
        let rejects = match self.luck.below(4) {
            0 => "out".to_owned(),
            1 => self.part_box(),
            _ => self.way_back(),
        };
        let mut station = random_feeders::judge(&mut self.luck, &self.names, &rejects);
        if station.get("overflow_to").is_some() && self.luck.percent(60) {
            let surplus = match self.luck.below(6) {
                0 | 1 => self.way_back(),
                2 => self.part_box(),
                3 => {
                    // A neighbour gets what runs over.
                    let neighbour =
                        if self.luck.percent(50) { self.judge("out") } else { self.workers("out") };
                    let track = transporter(&mut self.luck);
                    self.add(track, &neighbour)
                }
                _ => "out".to_owned(),
            };
            station["overflow_to"] = json!(surplus);
        }
        self.add(station, to)
    }

    /// A belt that leads to a station further up.
    fn way_back(&mut self) -> String {
        let belt = json!({"type": "recirculation belt", "capacity": self.luck.within(1, 60),
                          "travel": seconds(self.luck.between(0.5, 9.0))});
        self.add(belt, LOOP)
    }

    fn is_body(&self, id: &str) -> bool {
        self.find(id).is_some_and(|s| {
            s["type"] == "track"
                || s["type"] == "receiver"
                || s["type"].as_str().is_some_and(|t| t.ends_with("belt"))
        })
    }

    fn find(&self, id: &str) -> Option<&Value> {
        self.stations.iter().find(|station| station["id"] == *id)
    }

    fn spread(&mut self, station: &mut Value) {
        if self.luck.percent(30) {
            station["spread"] = json!(self.luck.one(&["listed", "in turn", "longest idle"]));
        }
    }

    /// A piece of the line before `to`; returns its first station.
    fn block(&mut self, to: &str) -> String {
        match self.luck.below(15) {
            13 => self.bath(to),
            14 if !self.names.attitudes.is_empty() => self.shuttle(to),
            0..3 if to != "out" => {
                let mut station = transporter(&mut self.luck);
                self.spread(&mut station);
                self.add(station, to)
            }
            0..6 => self.workers(to),
            6 => self.lanes(to),
            7 => self.assembly(to),
            8 => self.judge(to),
            9 | 10 => self.batches(to),
            _ => self.divider(to),
        }
    }

    pub(crate) fn workers(&mut self, to: &str) -> String {
        let mut station = worker(&mut self.luck);
        self.spread(&mut station);
        if self.luck.percent(25) {
            station["count"] = json!(self.luck.within(2, 4));
            if self.is_body(to) && self.luck.percent(50) {
                station["in_turn"] = json!(true);
            }
        }
        self.add(station, to)
    }

    /// Equal lanes: a feeder, a track and a machine each.
    fn lanes(&mut self, to: &str) -> String {
        let n = self.luck.within(2, 3);
        let mut head = to.to_owned();
        for part in 0..3 {
            let mut station = if part == 1 { transporter(&mut self.luck) } else { worker(&mut self.luck) };
            station["count"] = json!(n);
            self.spread(&mut station);
            head = self.add(station, &head);
        }
        head
    }

    /// A machine with two inlets, one fed by a source of its own.
    fn assembly(&mut self, to: &str) -> String {
        let id = self.id();
        let next = |n: usize| format!("S{}", self.stations.len() + n);
        let (first, second) = (next(1), next(2));
        let inlets = [inlet(&mut self.luck, &first), inlet(&mut self.luck, &second)];
        let mean = self.luck.between(0.2, 1.5);
        let mut machine =
            json!({"type": "machine", "cycle": time_law(&mut self.luck, mean), "inlets": inlets});
        if self.luck.percent(40) {
            machine["check"] = check(&mut self.luck);
        }
        self.add(machine, to);
        for _ in 0..2 {
            let feeder =
                if self.luck.percent(70) { transporter(&mut self.luck) } else { worker(&mut self.luck) };
            self.add(feeder, &id);
        }
        self.source(&second);
        first
    }

    fn divider(&mut self, to: &str) -> String {
        let mut exits = vec![to.to_owned()];
        for _ in 0..self.luck.within(1, 2) {
            let exit = match self.luck.below(4) {
                0 => {
                    // Whatever comes back travels for a while, so that a loop takes time.
                    let belt = json!({"type": "recirculation belt", "capacity": self.luck.within(1, 30),
                                      "travel": seconds(self.luck.between(0.5, 9.0))});
                    self.add(belt, LOOP)
                }
                1 => "out".to_owned(),
                2 => {
                    let machine = self.workers("out");
                    let track = transporter(&mut self.luck);
                    if self.find(&machine).is_some_and(|m| m.get("count").is_some()) && self.luck.percent(50)
                    {
                        machine
                    } else {
                        self.add(track, &machine)
                    }
                }
                _ => self.workers("out"),
            };
            if !exits.contains(&exit) {
                exits.push(exit);
            }
        }
        let n = exits.len();
        let mut divider = json!({"type": "divider", "exits": exits});
        divider["rule"] = json!(self.luck.one(&["first with room", "in turn", "emptiest first", "by ratio"]));
        if divider["rule"] == "by ratio" {
            divider["ratio"] = (0..n).map(|_| Value::from(self.luck.within(1, 3))).collect();
        }
        if self.luck.percent(30) {
            divider["strict"] = json!(true);
        }
        move_divider(&mut self.luck, &mut divider, &self.models);
        self.add(divider, to)
    }

    /// Leads what comes back to a station above the divider, or at it.
    fn close_loops(&mut self) {
        for n in 0..self.stations.len() {
            if self.stations[n]["to"] == LOOP {
                let takes = |s: &Value| {
                    let brings = [
                        "stream",
                        "dumper",
                        "filling by hand",
                        "elevator",
                        "meter conveyor",
                        "metering tray",
                        "step feeder",
                        "scrap box",
                        "box out",
                    ];
                    s.get("endless").is_none()
                        && s.get("inlets").is_none()
                        && s.get("fetches").is_none()
                        && s.get("loads_at").is_none()
                        && !brings.iter().any(|t| s["type"] == *t)
                };
                let one = |s: &Value| s.get("count").is_none();
                let above: Vec<usize> = (n + 1..self.stations.len())
                    .filter(|&k| takes(&self.stations[k]) && one(&self.stations[k]))
                    .collect();
                let target = above[self.luck.below(above.len())];
                self.stations[n]["to"] = self.stations[target]["id"].clone();
            }
        }
    }

    /// Has some stations prefer some of those that feed them.
    fn add_priorities(&mut self) {
        for n in 0..self.stations.len() {
            let id = self.stations[n]["id"].clone();
            let feeds = |s: &&Value| s["to"] == id || s["exits"].as_array().is_some_and(|e| e.contains(&id));
            let feeders: Vec<Value> = self.stations.iter().filter(feeds).map(|s| s["id"].clone()).collect();
            if feeders.len() > 1 && self.luck.percent(50) {
                let k = self.luck.within(1, feeders.len());
                self.stations[n]["priority"] = json!(feeders[feeders.len() - k..]);
            }
        }
    }
}
