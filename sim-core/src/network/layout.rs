//! Layout: the stations of the file as single units, wired to each other and ranked.
//!
//! Equal stations are told apart here; between two places that nobody works at (a belt that ends on a track)
//! a junction is put. The result still has names; the plan that is built from it has only numbers.

use crate::kernel::{Place, PlaceId, Spread};
use crate::scenario::{Scenario, target_of};
use crate::terms::kind::Kind;

/// One station, told apart from its equals.
#[derive(Debug)]
pub(super) struct Unit {
    /// Its name: the id, with a number if it has equals.
    pub(super) name: String,
    /// The station of the file; `None` for a junction.
    pub(super) entry: Option<usize>,
    /// Its own place.
    pub(super) body: Option<PlaceId>,
    /// Where each exit leads.
    pub(super) wires: Vec<Wire>,
    /// Places it takes from, each with the unit that feeds it.
    pub(super) inlets: Vec<(PlaceId, usize)>,
}

/// Where an exit leads.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(super) enum Wire {
    /// Out of the line.
    Leave,
    /// Into the body of a unit.
    Body(PlaceId, usize),
    /// Into the own hand, from which these units take.
    Hand(PlaceId),
    /// Nowhere: a body is taken from.
    Taken,
}

/// All units and places.
#[derive(Debug, Default)]
pub(super) struct Layout {
    pub(super) units: Vec<Unit>,
    pub(super) places: Vec<Place>,
    /// Name of each place.
    pub(super) place_names: Vec<String>,
    /// Units that take from each place.
    pub(super) takers: Vec<Vec<usize>>,
    /// Units that give to each place.
    pub(super) feeders: Vec<Vec<usize>>,
    /// How takers share each place.
    pub(super) spreads: Vec<Spread>,
    /// Rank of each unit: its station number.
    pub(super) rank: Vec<usize>,
}

impl Layout {
    /// Lays a checked scenario out.
    pub(super) fn new(scenario: &Scenario) -> Self {
        let mut layout = Layout::default();
        let first = layout.add_units(scenario);
        layout.wire(scenario, &first);
        layout.sort_inlets(scenario);
        layout.rank_units(scenario);
        layout
    }

    fn add_place(&mut self, place: Place, name: String) -> PlaceId {
        self.places.push(place);
        self.place_names.push(name);
        self.takers.push(Vec::new());
        self.feeders.push(Vec::new());
        self.spreads.push(Spread::Listed);
        PlaceId((self.places.len() - 1) as u16)
    }

    /// Adds all units with their bodies; returns the first unit of each entry.
    fn add_units(&mut self, scenario: &Scenario) -> Vec<usize> {
        let mut first = Vec::new();
        for (entry_ix, entry) in scenario.stations.iter().enumerate() {
            first.push(self.units.len());
            for n in 0..entry.count {
                let id = &entry.id.value;
                let name = if entry.count == 1 { id.clone() } else { format!("{id} {}", n + 1) };
                let body = entry.blueprint.body(&scenario.kinds, &name);
                let body = body.map(|place| self.add_place(place, name.clone()));
                self.units.push(Unit {
                    name,
                    entry: Some(entry_ix),
                    body,
                    wires: Vec::new(),
                    inlets: Vec::new(),
                });
            }
        }
        first
    }

    fn wire(&mut self, scenario: &Scenario, first: &[usize]) {
        for from in 0..self.units.len() {
            let Some(entry_ix) = self.units[from].entry else { continue };
            let entry = &scenario.stations[entry_ix];
            for exit in entry.blueprint.exits() {
                let target = target_of(scenario, entry_ix, &exit.to);
                let takers: Vec<usize> = match target {
                    None => Vec::new(),
                    Some(to) => {
                        let n = scenario.stations[to].count as usize;
                        let nth = from - first[entry_ix];
                        if n > 1 && n == entry.count as usize {
                            vec![first[to] + nth]
                        } else {
                            (first[to]..first[to] + n).collect()
                        }
                    }
                };
                let spread = match target {
                    Some(to) if scenario.stations[to].count > 1 => scenario.stations[to].spread,
                    Some(_) | None => entry.spread,
                };
                let wire = self.connect(from, &takers, spread);
                self.units[from].wires.push(wire);
            }
        }
    }

    fn connect(&mut self, from: usize, takers: &[usize], spread: Spread) -> Wire {
        let beyond = takers.first().and_then(|&taker| self.units[taker].body.map(|body| (body, taker)));
        match (self.units[from].body, beyond) {
            (None, None) if takers.is_empty() => Wire::Leave,
            (None, Some((body, taker))) => {
                self.feeders[body.ix()].push(from);
                Wire::Body(body, taker)
            }
            (None, None) => {
                let name = format!("{} hand", self.units[from].name);
                let hand = self.add_place(Place::fifo(1, 0), name);
                self.feeders[hand.ix()].push(from);
                self.let_take(hand, from, takers, spread);
                Wire::Hand(hand)
            }
            (Some(body), None) if !takers.is_empty() => {
                self.let_take(body, from, takers, spread);
                Wire::Taken
            }
            (Some(body), beyond) => {
                self.add_junction(from, body, beyond);
                Wire::Taken
            }
        }
    }

    fn let_take(&mut self, place: PlaceId, from: usize, takers: &[usize], spread: Spread) {
        self.spreads[place.ix()] = spread;
        for &taker in takers {
            self.takers[place.ix()].push(taker);
            self.units[taker].inlets.push((place, from));
        }
    }

    fn add_junction(&mut self, from: usize, body: PlaceId, beyond: Option<(PlaceId, usize)>) {
        let junction = self.units.len();
        let wire = match beyond {
            Some((place, unit)) => {
                self.feeders[place.ix()].push(junction);
                Wire::Body(place, unit)
            }
            None => Wire::Leave,
        };
        let name = format!("{} end", self.units[from].name);
        self.units.push(Unit {
            name,
            entry: None,
            body: None,
            wires: vec![wire],
            inlets: vec![(body, from)],
        });
        self.takers[body.ix()].push(junction);
    }

    /// Inlets in file order of the feeders; those of the stated priority first.
    fn sort_inlets(&mut self, scenario: &Scenario) {
        let entry_of: Vec<Option<usize>> = self.units.iter().map(|unit| unit.entry).collect();
        for unit in &mut self.units {
            let Some(entry) = unit.entry else { continue };
            let priority = &scenario.stations[entry].priority;
            let place_of = |feeder: usize| {
                let id = entry_of[feeder].map(|entry| scenario.stations[entry].id.value.as_str());
                priority.iter().position(|name| Some(name.value.as_str()) == id).unwrap_or(priority.len())
            };
            unit.inlets.sort_by_key(|&(place, feeder)| (place_of(feeder), feeder, place));
        }
    }

    /// Units to which `unit` gives.
    pub(super) fn next_units(&self, unit: usize) -> Vec<usize> {
        let mut next = Vec::new();
        for wire in &self.units[unit].wires {
            match wire {
                Wire::Leave => {}
                Wire::Body(_, unit) => next.push(*unit),
                Wire::Hand(place) => next.extend(&self.takers[place.ix()]),
                Wire::Taken => {
                    if let Some(body) = self.units[unit].body {
                        next.extend(&self.takers[body.ix()]);
                    }
                }
            }
        }
        next
    }

    /// Ranks from the point of use upstream: the order in which a depth-first walk along the flow finishes
    /// its stations. What recirculation belts bring back is left out, other edges that close a loop are ignored
    /// by the walk; parallel stations stay in file order.
    fn rank_units(&mut self, scenario: &Scenario) {
        let n = self.units.len();
        let returns = |unit: usize| {
            let entry = self.units[unit].entry;
            entry.is_some_and(|entry| scenario.stations[entry].blueprint.recirculates())
        };
        let forward = |unit| if returns(unit) { Vec::new() } else { self.next_units(unit) };
        let next: Vec<Vec<usize>> = (0..n).map(forward).collect();
        let mut is_fed = vec![false; n];
        next.iter().flatten().for_each(|&unit| is_fed[unit] = true);
        let sources = (0..n).filter(|&unit| !is_fed[unit]);
        let starts: Vec<usize> = sources.chain(0..n).collect();
        let mut seen = vec![false; n];
        let mut rank = vec![0; n];
        let mut n_ranked = 0;
        for start in starts {
            if seen[start] {
                continue;
            }
            seen[start] = true;
            let mut walk = vec![(start, 0)];
            while let Some((unit, child)) = walk.last_mut() {
                if let Some(&to) = next[*unit].get(*child) {
                    *child += 1;
                    if !seen[to] {
                        seen[to] = true;
                        walk.push((to, 0));
                    }
                } else {
                    rank[*unit] = n_ranked;
                    n_ranked += 1;
                    walk.pop();
                }
            }
        }
        self.rank = rank;
    }

    /// The first kind of part that can come to each place, and into each unit.
    pub(super) fn kinds_at(&self, scenario: &Scenario) -> Vec<Option<u8>> {
        let mut kind_in: Vec<Option<u8>> = vec![None; self.units.len()];
        let mut open: Vec<usize> = Vec::new();
        for (ix, unit) in self.units.iter().enumerate() {
            let Some(entry) = unit.entry else { continue };
            if let Some(kind) = scenario.stations[entry].blueprint.brings(&scenario.kinds) {
                kind_in[ix] = Some(kind);
                open.push(ix);
            }
        }
        while let Some(unit) = open.pop() {
            for next in self.next_units(unit) {
                if kind_in[next].is_none() {
                    kind_in[next] = kind_in[unit];
                    open.push(next);
                }
            }
        }
        let of_place = |feeders: &Vec<usize>| feeders.iter().find_map(|&feeder| kind_in[feeder]);
        self.feeders.iter().map(of_place).collect()
    }
}

/// The first attitude that is the right way round.
pub(super) fn right_attitude(kind: &Kind) -> u8 {
    kind.right_way.trailing_zeros().min(63) as u8
}
