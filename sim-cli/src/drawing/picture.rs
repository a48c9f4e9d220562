//! What a drawing of the line shows: its stations, what flows between them, and how busy they are.
//!
//! Taken from the scenario and its balance, and from a result where there is one. It knows no shapes and no places.
//! Equal stations are one node. Invariant: a flow that is not known is none, never a guess.

use super::ranks::{Arc, Graph};
use sim_core::balance::Balance;
use sim_core::kernel::State;
use sim_core::scenario::{Scenario, target_of};
use sim_core::study::RunResult;
use sim_core::study::result::{Figure, StationReport};

/// A line to be drawn.
#[derive(Debug, Clone, Default)]
pub(crate) struct Picture {
    /// Title of the scenario.
    pub(crate) title: String,
    /// Stations in file order, then the ways out.
    pub(crate) nodes: Vec<Node>,
    /// What flows between them.
    pub(crate) edges: Vec<Edge>,
    /// Where flows and loads come from, in words.
    pub(crate) basis: String,
}

/// By which balance: that of the line, or of the first run of its product sequence.
pub(crate) fn by_balance(balance: &Balance) -> String {
    match &balance.run {
        Some(part) => format!("by the balance of the first run, of `{part}`,"),
        None => "by the balance".to_owned(),
    }
}

/// A station, or a way out of the line.
#[derive(Debug, Clone, Default)]
pub(crate) struct Node {
    pub(crate) name: String,
    /// Word for its type; none for a way out.
    pub(crate) word: Option<&'static str>,
    pub(crate) count: u32,
    /// Parts a minute that come, or that it brings.
    pub(crate) flow: Option<f64>,
    /// How busy it is.
    pub(crate) load: Option<Load>,
    /// Whether it limits the line.
    pub(crate) limits: bool,
    pub(crate) is_point: bool,
    pub(crate) brings_back: bool,
}

/// How busy a station is.
#[derive(Debug, Clone, PartialEq)]
pub(crate) enum Load {
    /// Share of its rated capacity that the balance asks for.
    Demanded(f64),
    /// Shares of time seen: working, stopped (jams, breakdowns, changeovers, breaks).
    Seen { working: f64, stopped: f64 },
}

impl Load {
    /// The share that is shown first.
    pub(crate) fn share(&self) -> f64 {
        match self {
            Load::Demanded(share) => *share,
            Load::Seen { working, .. } => *working,
        }
    }
}

/// A connection.
#[derive(Debug, Clone, Default)]
pub(crate) struct Edge {
    pub(crate) from: usize,
    pub(crate) to: usize,
    /// Keys of its exits in the file.
    pub(crate) keys: Vec<&'static str>,
    /// Numbers of these exits.
    pub(crate) exits: Vec<usize>,
    pub(crate) is_way_on: bool,
    /// Parts a minute.
    pub(crate) flow: Option<f64>,
}

impl Picture {
    /// The picture of a scenario with its balance, at the flows of a result if there is one.
    pub(crate) fn of(scenario: &Scenario, balance: &Balance, result: Option<&RunResult>) -> Self {
        let mut picture = Picture {
            title: scenario.title.clone().unwrap_or_else(|| "line".to_owned()),
            basis: match result {
                Some(_) => "as simulated, mean over shifts".to_owned(),
                None => format!("{} at {:.1} good parts a minute", by_balance(balance), balance.rate_per_min),
            },
            ..Picture::default()
        };
        for (ix, entry) in scenario.stations.iter().enumerate() {
            let of_balance = balance.stations.iter().find(|one| one.id == entry.id.value);
            let seen = result.map(|result| equals_of(scenario, ix, result)).unwrap_or_default();
            let brings = of_balance.and_then(|one| one.supply.as_ref()).map(|supply| supply.brings_per_min);
            let demanded = of_balance.map(|one| if one.flow_per_min > 0.0 { one.flow_per_min } else { 0.0 });
            picture.nodes.push(Node {
                name: entry.id.value.clone(),
                word: Some(entry.word),
                count: entry.count,
                flow: match result {
                    Some(result) => taken(&seen).or_else(|| departures(scenario, ix, result)),
                    None => demanded.filter(|flow| *flow > 0.0).or(brings),
                },
                load: match result {
                    // A station that nothing limits (a bin, a belt) is at work whenever it holds anything.
                    Some(_) => of_balance.and_then(|one| one.margin).and_then(|_| seen_load(&seen)),
                    None => of_balance.and_then(|one| one.margin).map(|m| Load::Demanded(1.0 / (1.0 + m))),
                },
                limits: balance.limiting.as_ref() == Some(&entry.id.value),
                is_point: balance.point.at.contains(&entry.id.value),
                brings_back: entry.blueprint.recirculates(),
            });
        }
        picture.connect(scenario);
        match result {
            Some(result) => picture.flows_seen(scenario, result),
            None => picture.flows_demanded(balance),
        }
        picture.complete_flows();
        picture
    }

    fn connect(&mut self, scenario: &Scenario) {
        for (from, entry) in scenario.stations.iter().enumerate() {
            let mut out = None;
            let exits = entry.blueprint.exits();
            for (number, spec) in exits.iter().enumerate() {
                let to = target_of(scenario, from, &spec.to).unwrap_or_else(|| {
                    *out.get_or_insert_with(|| {
                        self.nodes.push(Node { name: "out".to_owned(), count: 1, ..Node::default() });
                        self.nodes.len() - 1
                    })
                });
                match self.edges.iter_mut().find(|edge| edge.from == from && edge.to == to) {
                    Some(edge) => {
                        edge.keys.push(spec.key);
                        edge.exits.push(number);
                    }
                    None => self.edges.push(Edge {
                        from,
                        to,
                        keys: vec![spec.key],
                        exits: vec![number],
                        is_way_on: spec.key == exits[0].key,
                        flow: None,
                    }),
                }
            }
        }
    }

    /// Flows of the balance where it tells the exits of a station apart.
    fn flows_demanded(&mut self, balance: &Balance) {
        for sorting in &balance.sorting {
            for exit in &sorting.exits {
                let to = exit.to.as_deref();
                self.add_flow(&sorting.id, &exit.key, to, exit.flow_per_min);
            }
        }
    }

    /// Flows of a result by exit.
    fn flows_seen(&mut self, scenario: &Scenario, result: &RunResult) {
        for ix in 0..scenario.stations.len() {
            for station in equals_of(scenario, ix, result) {
                for exit in &station.exits {
                    let Some(flow) = exit.per_hour.mean else { continue };
                    let to = Some(exit.to.as_str()).filter(|to| *to != sim_core::scenario::OUT);
                    self.add_flow(&scenario.stations[ix].id.value, &exit.key, to, flow / 60.0);
                }
            }
        }
    }

    fn add_flow(&mut self, from: &str, key: &str, to: Option<&str>, flow: f64) {
        let nodes = &self.nodes;
        let edge = self.edges.iter_mut().find(|edge| {
            let goes_there = match to {
                Some(to) => nodes[edge.to].word.is_some() && nodes[edge.to].name == to,
                None => nodes[edge.to].word.is_none(),
            };
            nodes[edge.from].name == from && edge.keys.contains(&key) && goes_there
        });
        if let Some(edge) = edge {
            *edge.flow.get_or_insert(0.0) += flow;
        }
    }

    /// Flows that follow from those known: where only one edge of a station is open.
    fn complete_flows(&mut self) {
        for _ in 0..self.edges.len() {
            let mut found = None;
            for (ix, edge) in self.edges.iter().enumerate().filter(|(_, edge)| edge.flow.is_none()) {
                found = self.rest(ix, edge.to, true).or_else(|| self.rest(ix, edge.from, false));
                if let Some(flow) = found {
                    self.edges[ix].flow = Some(flow);
                    break;
                }
            }
            if found.is_none() {
                break;
            }
        }
        for ix in 0..self.nodes.len() {
            let comes = self.edges.iter().filter(|edge| edge.to == ix).map(|edge| edge.flow);
            if self.nodes[ix].word.is_none() {
                self.nodes[ix].flow = comes.sum();
            }
        }
    }

    /// What the other edges into (or out of) a node leave of its flow for this one, if all of them are known.
    fn rest(&self, ix: usize, node: usize, is_into: bool) -> Option<f64> {
        // What a machine makes of several inlets is counted in products, not in parts.
        let n_into = self.edges.iter().filter(|edge| edge.to == node).count();
        if self.nodes[node].is_point && (is_into && n_into > 1) {
            return None;
        }
        let flow = self.nodes[node].flow?;
        let others = self
            .edges
            .iter()
            .enumerate()
            .filter(|(other, edge)| *other != ix && node == if is_into { edge.to } else { edge.from });
        let known: Option<f64> = others.map(|(_, edge)| edge.flow).sum();
        Some((flow - known?).max(0.0))
    }

    /// The graph to be laid out. The way on wants to be straight, then what flows most; of several ways on, or several
    /// that come together, the middle one.
    pub(crate) fn graph(&self) -> Graph {
        let most = self.most();
        let is_middle = |ix: usize, same: &dyn Fn(&Edge) -> bool| {
            let beside: Vec<usize> = (0..self.edges.len())
                .filter(|one| self.edges[*one].is_way_on && same(&self.edges[*one]))
                .collect();
            beside.len() > 2 && beside[(beside.len() - 1) / 2] == ix
        };
        let bonus = |ix: usize| {
            let edge = &self.edges[ix];
            let parts = is_middle(ix, &|one| one.from == edge.from);
            let meets = is_middle(ix, &|one| one.to == edge.to);
            f64::from(u8::from(parts)) + f64::from(u8::from(meets))
        };
        Graph {
            n: self.nodes.len(),
            edges: self
                .edges
                .iter()
                .enumerate()
                .map(|(ix, edge)| Arc {
                    from: edge.from,
                    to: edge.to,
                    weight: f64::from(u8::from(edge.is_way_on))
                        + 0.5 * edge.flow.unwrap_or(0.0) / most
                        + bonus(ix),
                })
                .collect(),
            brings_back: self.nodes.iter().map(|node| node.brings_back).collect(),
            is_small: self.nodes.iter().map(|node| node.word.is_none()).collect(),
        }
    }

    /// The largest flow.
    pub(crate) fn most(&self) -> f64 {
        self.edges.iter().filter_map(|edge| edge.flow).fold(1e-9, f64::max)
    }
}

/// Reports of the equal stations of an entry of the file.
fn equals_of<'a>(scenario: &Scenario, ix: usize, result: &'a RunResult) -> Vec<&'a StationReport> {
    let entry = &scenario.stations[ix];
    let names: Vec<String> = match entry.count {
        1 => vec![entry.id.value.clone()],
        n => (1..=n).map(|n| format!("{} {n}", entry.id.value)).collect(),
    };
    result.stations.iter().filter(|station| names.contains(&station.name)).collect()
}

/// Parts a minute taken by equal stations together; none where single parts are not counted.
fn taken(stations: &[&StationReport]) -> Option<f64> {
    let means = stations.iter().map(|station| station.taken_per_hour.mean);
    let made = stations.iter().map(|station| station.created_per_hour.mean);
    let sum = |figures: &mut dyn Iterator<Item = Option<f64>>| -> Option<f64> {
        figures.sum::<Option<f64>>().filter(|sum| *sum > 0.0).map(|sum| sum / 60.0)
    };
    if stations.is_empty() {
        None
    } else {
        sum(&mut means.into_iter()).or_else(|| sum(&mut made.into_iter()))
    }
}

/// Parts a minute that leave the body of a station.
fn departures(scenario: &Scenario, ix: usize, result: &RunResult) -> Option<f64> {
    let entry = &scenario.stations[ix];
    let of = |name: &str| result.places.iter().find(|place| place.name == name);
    let leaves = |place: &Figure| place.mean.map(|mean| mean / 60.0);
    match entry.count {
        1 => of(&entry.id.value).and_then(|place| leaves(&place.departures_per_hour)),
        n => (1..=n)
            .map(|n| of(&format!("{} {n}", entry.id.value)).and_then(|p| leaves(&p.departures_per_hour)))
            .sum(),
    }
}

/// Mean shares of time of equal stations.
fn seen_load(stations: &[&StationReport]) -> Option<Load> {
    let share = |station: &StationReport, picked: &dyn Fn(State) -> bool| -> f64 {
        let states = station.states.iter().filter(|one| picked(one.state));
        states.filter_map(|one| one.share.mean).sum()
    };
    let mean = |picked: &dyn Fn(State) -> bool| {
        stations.iter().map(|station| share(station, picked)).sum::<f64>() / stations.len() as f64
    };
    let working = mean(&|state| matches!(state, State::Working | State::Checking | State::Loading));
    let idle = mean(&|state| matches!(state, State::Starved | State::Blocked | State::Held));
    (!stations.is_empty()).then_some(Load::Seen { working, stopped: (1.0 - working - idle).max(0.0) })
}
