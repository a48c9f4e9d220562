//! The line as the balance sees it: nodes with routes by class, supplies, assemblies, points of use.
//!
//! Equal stations are one node with the places of all of them: together they carry what the sum carries. A
//! machine with several inlets is one absorbing node for each inlet and one that brings the products, since
//! what goes in and what comes out are different things. It computes no flows.

use super::chain::Chain;
use crate::kernel::UNLIMITED;
use crate::scenario::{Doubts, Scenario, Ways, most_before, most_beyond, target_of};
use crate::stations::blueprint::{
    Attendance, BatchTraffic, OtherWay, Routes, Run, SidesTraffic, SourceTraffic, Split, TrafficSite, Turns,
};
use crate::stations::catalogue::Entry;
use crate::stations::tools::Classes;
use crate::terms::stops::MomentWord;
use crate::text::forms::Spanned;

/// A station, or one inlet of a machine with several.
#[derive(Debug)]
pub(super) struct Node {
    /// Station of the file.
    pub(super) entry: usize,
    /// Which inlet of an assembly it is.
    pub(super) inlet: Option<usize>,
    /// (exit, class, share) by class.
    pub(super) routes: Vec<Routes>,
    /// What else it may do with a part, as room and spacing have it.
    pub(super) other_ways: Vec<OtherWay>,
    /// Behind which classes a part can come too close.
    pub(super) close_behind: Vec<bool>,
    /// Mean time on a place by class, s; that of parts for the same side if it goes from side to side.
    pub(super) seconds: Vec<f64>,
    /// How much of these times is sure, from 0 to 1.
    pub(super) sure: f64,
    /// How it goes from side to side.
    pub(super) sides: Option<SidesTraffic>,
    /// What is known of the sides of the parts that come to it; see [`order`](super::order).
    pub(super) order: SideOrder,
    /// Exits that lead on, the first ones.
    pub(super) ways_on: usize,
    /// It holds any number of parts.
    pub(super) holds_any: bool,
    /// Places of all equal stations that work at once.
    pub(super) places: f64,
    /// Of the time on a place what the station waits for loads of its own, s.
    pub(super) loading_s: f64,
    /// How many of the equal stations these are.
    pub(super) at_once: f64,
    /// Time for which each part keeps the reach that the station shares, s.
    pub(super) reach_s: f64,
    /// Node beyond each exit; `None` leaves the line.
    pub(super) targets: Vec<Option<usize>>,
    pub(super) split: Split,
    /// Parts end here.
    pub(super) absorbs: bool,
    /// It runs on when its way on is full, and what is surplus falls back to where it was taken from.
    pub(super) spills: bool,
    /// Share of each class that each inner stop can strike; empty: all.
    pub(super) strikes: Vec<Vec<f64>>,
    /// Attendance for each part by pool that the station calls, s.
    pub(super) attendance: Vec<Attendance>,
}

/// What is known of the sides of the parts that come to a station which goes from side to side.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord)]
pub(super) enum SideOrder {
    /// Each side has its share, independent of the parts before.
    Independent,
    /// Each side has its share, in any order.
    Shares,
    /// Nothing: who comes first hangs on room as well.
    Any,
}

/// What brings parts into the line.
#[derive(Debug)]
pub(super) struct Supply {
    pub(super) node: usize,
    /// Natural mix: (class, share).
    pub(super) mix: Vec<(usize, f64)>,
    pub(super) most_per_s: f64,
    pub(super) is_driven: bool,
    /// Whether it brings parts only when the content of the store beyond it is low.
    pub(super) waits_for_call: bool,
    /// The assembly whose products these are.
    pub(super) assembly: Option<usize>,
}

/// A machine with several inlets.
#[derive(Debug)]
pub(super) struct Assembly {
    /// Node of each inlet.
    pub(super) ports: Vec<usize>,
    /// Parts of each inlet in one product.
    pub(super) per_product: Vec<f64>,
    /// The same at least and at most.
    pub(super) bounds: Vec<(f64, f64)>,
    pub(super) supply: usize,
}

/// The line.
#[derive(Debug)]
pub(super) struct Net {
    pub(super) nodes: Vec<Node>,
    pub(super) supplies: Vec<Supply>,
    pub(super) assemblies: Vec<Assembly>,
    /// Nodes whose good parts are counted.
    pub(super) points: Vec<usize>,
    pub(super) n_classes: usize,
    /// Whether a class is good and the right way round.
    pub(super) good: Vec<bool>,
    /// (kind, condition, attitude) by class.
    pub(super) class_names: Vec<(usize, usize, usize)>,
    /// Node that stands for each station: the products of an assembly.
    pub(super) node_of: Vec<usize>,
    /// Some station may do more with a part than is counted.
    pub(super) has_uncounted_ways: bool,
    /// Stations that bring what they hold at the start, though parts come back to them.
    pub(super) stocks: Vec<usize>,
    /// The nodes that share each reach: one of them uses it at a time.
    pub(super) reaches: Vec<Vec<usize>>,
}

/// What is the same for all stations that are added.
#[derive(Clone, Copy)]
struct Shape<'a> {
    classes: &'a Classes,
    ways: &'a Ways,
    bins: &'a [bool],
    run: Option<Run>,
}

impl Net {
    /// The net of a checked scenario, during one run of its product sequence if it has one.
    pub(super) fn new(scenario: &Scenario, run: Option<Run>) -> Self {
        Net::of_known(scenario, run, &Doubts::default())
    }

    /// The net of what is known of a scenario: in any other station parts may end, and none begin but those that a source is
    /// known to bring.
    pub(super) fn of_known(scenario: &Scenario, run: Option<Run>, doubts: &Doubts) -> Self {
        let sizes: Vec<_> = scenario.kinds.iter().map(|k| (k.conditions.len(), k.attitudes.len())).collect();
        let classes = Classes::new(&sizes);
        let mut net = Net {
            nodes: Vec::new(),
            supplies: Vec::new(),
            assemblies: Vec::new(),
            points: Vec::new(),
            n_classes: classes.len(),
            good: Vec::new(),
            class_names: Vec::new(),
            node_of: Vec::new(),
            has_uncounted_ways: false,
            stocks: Vec::new(),
            reaches: Vec::new(),
        };
        for (ix, kind) in scenario.kinds.iter().enumerate() {
            for condition in 0..kind.conditions.len() {
                for attitude in 0..kind.attitudes.len() {
                    net.good.push(condition == 0 && kind.right_way >> attitude & 1 == 1);
                    net.class_names.push((ix, condition, attitude));
                }
            }
        }
        let (ways, bins) = (Ways::of(scenario), bins(scenario));
        for (ix, entry) in scenario.stations.iter().enumerate() {
            if doubts.knows_all(entry) {
                net.add(scenario, &Shape { classes: &classes, ways: &ways, bins: &bins, run }, ix, entry);
            } else {
                let source = doubts
                    .knows_source(entry, scenario)
                    .then(|| entry.blueprint.brings(&scenario.kinds))
                    .flatten();
                net.add_unknown(scenario, ix, source.map(|kind| run.map_or(kind, |run| run.brought(kind))));
            }
        }
        if scenario.stations.iter().all(|entry| doubts.knows_all(entry)) {
            net.add_stocks(scenario, &ways, run);
        }
        net.connect(scenario);
        net.points = net.points_of(scenario);
        net.reaches = net.reaches_of(scenario);
        net
    }

    fn add_unknown(&mut self, scenario: &Scenario, ix: usize, brings: Option<u8>) {
        let node = self.nodes.len();
        self.node_of.push(node);
        let exits = scenario.stations[ix].blueprint.exits().len();
        if let Some(kind) = brings.filter(|_| exits == 1) {
            let mix = self.natural_mix(scenario, usize::from(kind));
            self.supplies.push(Supply {
                node,
                mix,
                most_per_s: f64::INFINITY,
                is_driven: false,
                waits_for_call: false,
                assembly: None,
            });
        }
        let is_source = brings.is_some() && exits == 1;
        self.nodes.push(Node {
            entry: ix,
            inlet: None,
            routes: (0..self.n_classes).map(|class| vec![(0, class, 1.0)]).collect(),
            other_ways: Vec::new(),
            close_behind: Vec::new(),
            seconds: vec![0.0; self.n_classes],
            sure: 0.0,
            sides: None,
            order: SideOrder::Any,
            ways_on: 1,
            holds_any: true,
            places: 1.0,
            loading_s: 0.0,
            at_once: 1.0,
            reach_s: 0.0,
            targets: vec![None; exits],
            split: Split::ByClass,
            absorbs: !is_source,
            spills: false,
            strikes: Vec::new(),
            attendance: Vec::new(),
        });
    }

    fn add(&mut self, scenario: &Scenario, shape: &Shape<'_>, ix: usize, entry: &Entry) {
        let Shape { classes, ways, bins, run } = *shape;
        let mut traffic = TrafficSite::new(&scenario.kinds, classes, &scenario.models);
        let batches = batches_of(scenario);
        traffic.batches = &batches;
        traffic.stops = &entry.stops;
        traffic.run = run;
        for feeder in ways.feeders[ix].iter().map(|&from| &scenario.stations[from]) {
            let name = &feeder.id.value;
            let room = feeder.blueprint.body(&scenario.kinds, name).map(|body| body.capacity());
            traffic.rooms.push((name.clone(), Some(room.unwrap_or(1)).filter(|room| *room != UNLIMITED)));
            traffic.feeders.push((name.clone(), feeder.count));
            let pieces = feeder.blueprint.recipes().map_or(0, |recipe| recipe.most_pieces(&entry.id.value));
            traffic.together = traffic.together.max(pieces).max(feeder.blueprint.lands_together());
        }
        if !ways.feeders[ix].is_empty() {
            traffic.most_before = most_before(scenario, &ways.feeders[ix], entry);
        }
        traffic.most_beyond = most_beyond(scenario, ix);
        traffic.comes_back = comes_back_without_bin(ways, bins, ix);
        entry.blueprint.traffic(&mut traffic);
        let body = entry.blueprint.body(&scenario.kinds, &entry.id.value);
        let is_endless_bin = body.as_ref().is_some_and(|place| place.is_endless());
        if bins[ix] {
            // Whatever the blueprint says: what leaves a bin falls anew (ruling 10).
            traffic.routes = (0..self.n_classes).map(|class| self.remixed(scenario, class)).collect();
        }
        self.has_uncounted_ways |= traffic.has_uncounted_ways;
        let n_exits = entry.blueprint.exits().len();
        let equals = f64::from(entry.count);
        let (at_once, of_turns) = match traffic.turns {
            Turns::OneByOne if entry.in_turn => (1.0, 1.0),
            Turns::Between if entry.in_turn => (1.0, 1.0 / equals),
            Turns::AtOnce | Turns::OneByOne | Turns::Between => (equals, 1.0),
        };
        let mut node = Node {
            entry: ix,
            inlet: None,
            routes: traffic.routes,
            other_ways: traffic.other_ways,
            close_behind: traffic.close_behind,
            seconds: match traffic.sides {
                Some(sides) => vec![sides.same_s; self.n_classes],
                None => traffic.seconds,
            },
            sure: traffic.sure * of_turns,
            sides: traffic.sides,
            order: SideOrder::Any,
            ways_on: entry.blueprint.ways_on(),
            // A bin is filled beyond its capacity, unless a sensor sees to it: it holds up nothing.
            holds_any: traffic.holds_any
                || (bins[ix] && !is_kept_level(scenario, entry))
                || body.as_ref().is_some_and(|place| place.capacity() == UNLIMITED),
            places: traffic.places * at_once,
            loading_s: traffic.loading_s,
            at_once,
            reach_s: traffic.reach_s / traffic.places,
            targets: vec![None; n_exits],
            split: traffic.split,
            absorbs: n_exits == 0,
            spills: traffic.spills,
            strikes: traffic.strikes,
            attendance: traffic.attendance,
        };
        if !traffic.routes_hold_jams {
            redirect_jams(scenario, entry, &self.class_names, &mut node);
        }
        if traffic.per_product.len() > 1 {
            let same = traffic.per_product.iter().map(|&parts| (parts, parts));
            let bounds = match traffic.per_product_bounds {
                bounds if bounds.is_empty() => same.collect(),
                bounds => bounds,
            };
            self.add_assembly(node, traffic.per_product, bounds);
            return;
        }
        let own_content = || stock_of(scenario, entry, run).filter(|_| ways.feeders[ix].is_empty());
        if let Some(source) = traffic.source.or_else(own_content) {
            let is_held = scenario.sensors.iter().any(|s| s.holds.iter().any(|h| h.value == entry.id.value));
            self.supplies.push(Supply {
                node: self.nodes.len(),
                mix: self.natural_mix(scenario, usize::from(source.kind)),
                most_per_s: source.most_per_s * f64::from(entry.count),
                // A stream that a sensor holds brings only what is wanted.
                is_driven: source.is_driven && !is_held,
                waits_for_call: source.waits_for_call,
                assembly: None,
            });
        }
        self.node_of.push(self.nodes.len());
        if is_endless_bin && entry.blueprint.takes() {
            // What comes back to it leaves the line: another node takes that in.
            let exits = vec![None; n_exits];
            let back = Node { absorbs: true, inlet: Some(0), targets: exits, ..node.clone_shape() };
            self.nodes.push(node);
            self.nodes.push(back);
        } else {
            self.nodes.push(node);
        }
    }

    /// A bin with a content of its own brings parts where nothing fresh comes to it, only what comes back.
    fn add_stocks(&mut self, scenario: &Scenario, ways: &Ways, run: Option<Run>) {
        for (ix, entry) in scenario.stations.iter().enumerate() {
            let Some(stock) = stock_of(scenario, entry, run) else { continue };
            let ahead = ahead_of(ways, ix);
            let brings = |supply: &Supply| supply.assembly.is_none() && ahead[self.nodes[supply.node].entry];
            if self.supplies.iter().any(brings) {
                continue;
            }
            self.stocks.push(ix);
            self.supplies.push(Supply {
                node: self.node_of[ix],
                mix: self.natural_mix(scenario, usize::from(stock.kind)),
                most_per_s: stock.most_per_s,
                is_driven: false,
                waits_for_call: false,
                assembly: None,
            });
        }
    }

    fn add_assembly(&mut self, products: Node, per_product: Vec<f64>, bounds: Vec<(f64, f64)>) {
        let ports = (0..per_product.len()).map(|inlet| self.nodes.len() + inlet).collect();
        for (inlet, parts) in per_product.iter().enumerate() {
            let mut port = products.clone_shape();
            port.inlet = Some(inlet);
            port.absorbs = true;
            port.places *= parts;
            self.nodes.push(port);
        }
        self.node_of.push(self.nodes.len());
        self.supplies.push(Supply {
            node: self.nodes.len(),
            mix: Vec::new(),
            most_per_s: f64::INFINITY,
            is_driven: false,
            waits_for_call: false,
            assembly: Some(self.assemblies.len()),
        });
        self.assemblies.push(Assembly { ports, per_product, bounds, supply: self.supplies.len() - 1 });
        self.nodes.push(products);
    }

    fn connect(&mut self, scenario: &Scenario) {
        for n in 0..self.nodes.len() {
            if self.nodes[n].absorbs {
                continue;
            }
            let from = self.nodes[n].entry;
            let entry = &scenario.stations[from];
            for (exit_no, exit) in entry.blueprint.exits().iter().enumerate() {
                self.nodes[n].targets[exit_no] = target_of(scenario, from, &exit.to).map(|to| {
                    let named = scenario.stations[to].blueprint.named_inlets();
                    let inlet = named.iter().position(|name| name.value == entry.id.value).unwrap_or(0);
                    let port = |node: &Node| node.entry == to && node.inlet == Some(inlet);
                    self.nodes.iter().position(port).unwrap_or(self.node_of[to])
                });
            }
        }
    }

    /// Stations at which good parts are counted: as promised, or those that lead out of the line.
    fn points_of(&self, scenario: &Scenario) -> Vec<usize> {
        let at = &scenario.promise.at;
        let is_point = |entry: usize| {
            if at.is_empty() {
                let node = &self.nodes[self.node_of[entry]];
                node.targets.first() == Some(&None)
            } else {
                at.iter().any(|name| name.value == scenario.stations[entry].id.value)
            }
        };
        (0..scenario.stations.len())
            .filter(|&entry| is_point(entry))
            .map(|entry| self.node_of[entry])
            .collect()
    }

    /// The nodes that share each reach, in the order in which the file names them. What only one station uses limits nothing.
    fn reaches_of(&self, scenario: &Scenario) -> Vec<Vec<usize>> {
        let mut reaches: Vec<(&str, Vec<usize>, u32)> = Vec::new();
        for (ix, entry) in scenario.stations.iter().enumerate() {
            let Some(name) = entry.blueprint.reach() else { continue };
            match reaches.iter_mut().find(|(of, ..)| *of == name.value) {
                Some((_, nodes, count)) => {
                    nodes.push(self.node_of[ix]);
                    *count += entry.count;
                }
                None => reaches.push((&name.value, vec![self.node_of[ix]], entry.count)),
            }
        }
        reaches.into_iter().filter(|(.., count)| *count > 1).map(|(_, nodes, _)| nodes).collect()
    }

    fn natural_mix(&self, scenario: &Scenario, kind: usize) -> Vec<(usize, f64)> {
        let of = &scenario.kinds[kind];
        let share = |&(_, (k, condition, attitude)): &(usize, (usize, usize, usize))| {
            (k == kind).then(|| of.condition_shares[condition] * of.attitude_shares[attitude])
        };
        let all = self.class_names.iter().copied().enumerate();
        all.filter_map(|class| Some((class.0, share(&class)?))).filter(|(_, share)| *share > 0.0).collect()
    }

    fn remixed(&self, scenario: &Scenario, class: usize) -> Vec<(u8, usize, f64)> {
        let (kind, _, attitude) = self.class_names[class];
        let shares = &scenario.kinds[kind].attitude_shares;
        let first = class - attitude;
        shares.iter().enumerate().map(|(to, share)| (0, first + to, *share)).collect()
    }

    pub(super) fn state(&self, node: usize, class: usize) -> usize {
        node * self.n_classes + class
    }

    pub(super) fn n_states(&self) -> usize {
        self.nodes.len() * self.n_classes
    }

    /// The exits among which a node shares what goes on through exit 0.
    pub(super) fn n_shared(&self, node: usize) -> usize {
        match &self.nodes[node].split {
            Split::ByClass => 0,
            Split::Fixed(shares) => shares.len().min(self.nodes[node].targets.len()),
            Split::FillFirst | Split::Even | Split::Any | Split::Ratio(_) => self.nodes[node].targets.len(),
        }
    }

    /// The chain of all states; `shares` by node says how nodes share among exits (empty: by class only).
    pub(super) fn chain(&self, shares: &[Vec<f64>]) -> Chain {
        let mut states = Vec::with_capacity(self.n_states());
        for (node, shares) in self.nodes.iter().zip(shares) {
            for of in 0..self.n_classes {
                let (mut row, mut out) = (Vec::with_capacity(node.routes[of].len()), 0.0);
                let mut go = |exit: usize, class: usize, share: f64| match node.targets.get(exit) {
                    Some(Some(to)) => row.push((self.state(*to, class), share)),
                    Some(None) | None => out += share,
                };
                for (exit, class, share) in node.routes_by(shares, of).filter(|_| !node.absorbs) {
                    go(exit, class, share);
                }
                states.push((row, if node.absorbs { 1.0 } else { out }));
            }
        }
        Chain::new(states)
    }

    /// Shares among exits before anything is known of room: the stated ones, or even ones; no part goes another way than it
    /// should.
    pub(super) fn even_shares(&self) -> Vec<Vec<f64>> {
        let of = |node: usize| match &self.nodes[node].split {
            Split::ByClass if self.nodes[node].has_other_ways() => {
                let mut shares = vec![0.0; self.nodes[node].n_ways()];
                shares[0] = 1.0;
                shares
            }
            Split::ByClass => Vec::new(),
            Split::Fixed(shares) | Split::Ratio(shares) => shares.clone(),
            Split::FillFirst | Split::Even | Split::Any => {
                let n = self.nodes[node].targets.len();
                vec![1.0 / n as f64; n]
            }
        };
        (0..self.nodes.len()).map(of).collect()
    }

    /// States in which parts can begin, those of products included.
    pub(super) fn starts(&self, chain: &Chain) -> Vec<usize> {
        let real = self.supplies.iter().filter(|supply| supply.assembly.is_none());
        let mut starts: Vec<usize> = real
            .flat_map(|supply| supply.mix.iter().map(|(class, _)| self.state(supply.node, *class)))
            .collect();
        // Each round can add the products of one more assembly in a row of them.
        for _ in 0..self.assemblies.len() {
            let reached = chain.reached(starts.iter().copied());
            for assembly in &self.assemblies {
                let products = self.supplies[assembly.supply].node;
                for class in 0..self.n_classes {
                    let product = self.state(products, class);
                    if reached[self.state(assembly.ports[0], class)] && !starts.contains(&product) {
                        starts.push(product);
                    }
                }
            }
        }
        starts
    }

    /// Nodes that are reached from `node` along exits, itself included. Assemblies end the way.
    pub(super) fn beyond(&self, node: Option<usize>) -> Vec<bool> {
        self.beyond_without(node, &[])
    }

    /// The same where no way leads on from `walls`.
    pub(super) fn beyond_without(&self, node: Option<usize>, walls: &[usize]) -> Vec<bool> {
        let mut beyond = vec![false; self.nodes.len()];
        let mut open: Vec<usize> = node.into_iter().collect();
        while let Some(node) = open.pop() {
            if !std::mem::replace(&mut beyond[node], true) && !walls.contains(&node) {
                open.extend(self.nodes[node].targets.iter().flatten());
            }
        }
        beyond
    }

    /// Nodes that hold any number of parts: what is beyond them holds up nothing, and parts can pile up there for ever. Not
    /// where all that comes is called for when little is left.
    pub(super) fn reservoirs(&self) -> Vec<usize> {
        let brings = |node: usize| self.supplies.iter().any(|supply| supply.node == node);
        let piles_up = |supply: &Supply, node: usize| {
            let is_called = supply.waits_for_call && self.nodes[supply.node].targets.contains(&Some(node));
            !is_called && self.beyond(Some(supply.node))[node]
        };
        (0..self.nodes.len())
            .filter(|&node| self.nodes[node].holds_any && !self.nodes[node].absorbs && !brings(node))
            .filter(|&node| self.supplies.iter().any(|supply| piles_up(supply, node)))
            .collect()
    }

    /// Whether the times of all stations are sure.
    pub(super) fn has_sure_times(&self) -> bool {
        self.nodes.iter().all(Node::is_sure)
    }

    /// Whether all times, ways and numbers of parts are sure, and nothing piles up.
    pub(super) fn is_sure(&self) -> bool {
        let are_sure = |assembly: &Assembly| assembly.bounds.iter().all(|(fewest, most)| fewest == most);
        self.nodes.iter().all(|node| node.is_sure() && !node.has_other_ways())
            && self.assemblies.iter().all(are_sure)
            && self.reservoirs().is_empty()
    }

    /// The classes of each condition of each kind.
    pub(super) fn conditions(&self) -> Vec<Vec<usize>> {
        let all: Vec<usize> = (0..self.n_classes).collect();
        let same = |a: &usize, b: &usize| {
            let of = |class: usize| (self.class_names[class].0, self.class_names[class].1);
            of(*a) == of(*b)
        };
        all.chunk_by(same).map(<[usize]>::to_vec).collect()
    }

    /// Whether parts may come too close for a sensed tool, or meet tools on a crowded path.
    pub(super) fn can_be_disturbed(&self) -> bool {
        self.nodes.iter().flat_map(|node| &node.other_ways).any(|way| way.too_close || way.crowded)
    }

    /// Parts of each class that go on from a node (leave through exit 0) with these flows through all states.
    pub(super) fn goes_on(&self, node: usize, flow: &[f64]) -> Vec<f64> {
        let mut on = vec![0.0; self.n_classes];
        for class in 0..self.n_classes {
            for &(_, to, share) in self.nodes[node].routes[class].iter().filter(|(exit, _, _)| *exit == 0) {
                on[to] += flow[self.state(node, class)] * share;
            }
        }
        on
    }

    /// Good parts and all parts completed at points of use (they leave through exit 0) with these flows through all states,
    /// and these shares among exits.
    pub(super) fn at_points(&self, flow: &[f64], shares: &[Vec<f64>]) -> (f64, f64) {
        let (mut good, mut all) = (0.0, 0.0);
        for &point in &self.points {
            for class in 0..self.n_classes {
                let on = self.nodes[point].routes_by(&shares[point], class).filter(|(exit, ..)| *exit == 0);
                for (_, to, share) in on {
                    let parts = flow[self.state(point, class)] * share;
                    good += if self.good[to] { parts } else { 0.0 };
                    all += parts;
                }
            }
        }
        (good, all)
    }

    /// What the products of an assembly are made of: (class, share). A product is what its first part is.
    pub(super) fn products_of(&self, assembly: &Assembly, total: &[f64]) -> Vec<(usize, f64)> {
        let into = self.at(assembly.ports[0], total);
        let all: f64 = into.iter().sum();
        let shares = into.iter().map(|flow| if all > 0.0 { flow / all } else { 0.0 }).enumerate();
        shares.filter(|(_, share)| *share > 0.0).collect()
    }

    /// Share of the products of each class that are sound: not a part of them is bad, the wrong way round, or itself an
    /// assembly that is not sound.
    pub(super) fn soundness(&self, assembly: &Assembly, total: &[f64], sound: &[f64]) -> Vec<f64> {
        let shares = assembly.ports.iter().map(|&port| self.sound_share(port, total, sound).unwrap_or(1.0));
        let first = (0..self.n_classes).map(|class| {
            let state = self.state(assembly.ports[0], class);
            if total[state] > 0.0 { sound[state] / total[state] } else { 1.0 }
        });
        self.sound_products(
            &shares.collect::<Vec<f64>>(),
            &first.collect::<Vec<f64>>(),
            &assembly.per_product,
        )
    }

    /// The same with this share of sound parts in each inlet, and in each class of first parts.
    pub(super) fn sound_products(&self, shares: &[f64], first: &[f64], parts: &[f64]) -> Vec<f64> {
        let others = shares.iter().zip(parts).enumerate().map(|(inlet, (share, &parts))| {
            let others = if inlet == 0 { (parts - 1.0).max(0.0) } else { parts };
            libm::pow(*share, others)
        });
        let others: f64 = others.product();
        first.iter().zip(&self.good).map(|(first, good)| if *good { first * others } else { 0.0 }).collect()
    }

    /// Share of sound parts among what comes to a node: good, the right way round, and no assembly with a bad part.
    pub(super) fn sound_share(&self, node: usize, total: &[f64], sound: &[f64]) -> Option<f64> {
        let all: f64 = self.at(node, total).iter().sum();
        let good = self.at(node, sound).iter().zip(&self.good).filter(|(_, good)| **good);
        (all > 0.0).then(|| good.map(|(flow, _)| flow).sum::<f64>() / all)
    }

    /// Flow of each class into a node.
    pub(super) fn at<'b>(&self, node: usize, flow: &'b [f64]) -> &'b [f64] {
        &flow[self.state(node, 0)..self.state(node + 1, 0)]
    }
}

impl Node {
    /// Whether chance may have it do something else with a part.
    pub(super) fn has_other_ways(&self) -> bool {
        !self.other_ways.is_empty()
    }

    /// What it may do with a part: as its routes say, or else.
    pub(super) fn n_ways(&self) -> usize {
        1 + self.other_ways.len()
    }

    /// Routes by class of a way: those of the station, then the other ones.
    pub(super) fn way(&self, way: usize) -> &[Routes] {
        if way == 0 { &self.routes } else { &self.other_ways[way - 1].routes }
    }

    /// Share of the parts of a class that a way sends on through exit 0.
    pub(super) fn goes_on_by(&self, way: usize, class: usize) -> f64 {
        self.way(way)[class].iter().filter(|(exit, ..)| *exit == 0).map(|(.., share)| share).sum()
    }

    /// Share of the parts of a class that leave elsewhere, or as others, on a way than by the routes of the station.
    pub(super) fn differs_by(&self, way: usize, class: usize) -> f64 {
        let usual = |exit: u8, to: usize| -> f64 {
            let same = self.routes[class].iter().filter(|route| (route.0, route.1) == (exit, to));
            same.map(|(.., share)| share).sum()
        };
        let more = |&(exit, to, share): &(u8, usize, f64)| (share - usual(exit, to)).max(0.0);
        self.way(way)[class].iter().map(more).sum()
    }

    /// Where parts of a class go, (exit, class, share): `shares` among exits, or among the ways of a station that has other
    /// ones (left empty: by class only).
    pub(super) fn routes_by(
        &self,
        shares: &[f64],
        class: usize,
    ) -> impl Iterator<Item = (usize, usize, f64)> + use<> {
        let mut all = Vec::new();
        let ways = if self.has_other_ways() { shares } else { &[1.0][..] };
        for (way, part) in ways.iter().enumerate().filter(|(_, part)| **part > 0.0) {
            for &(exit, to, share) in &self.way(way)[class] {
                if exit == 0 && !shares.is_empty() && !self.has_other_ways() {
                    all.extend(shares.iter().enumerate().map(|(exit, part)| (exit, to, share * part)));
                } else {
                    all.push((usize::from(exit), to, share * part));
                }
            }
        }
        all.into_iter()
    }

    /// Whether its times are sure, whatever the parts before and after.
    fn is_sure(&self) -> bool {
        self.sure >= 1.0
            && (self.order == SideOrder::Independent
                || self.sides.is_none_or(|sides| sides.same_s == sides.other_s))
    }

    /// The same station without routes on: for its inlets.
    fn clone_shape(&self) -> Node {
        Node {
            entry: self.entry,
            inlet: self.inlet,
            routes: vec![Vec::new(); self.routes.len()],
            other_ways: Vec::new(),
            close_behind: Vec::new(),
            seconds: self.seconds.clone(),
            sure: self.sure,
            sides: self.sides,
            order: SideOrder::Any,
            ways_on: self.ways_on,
            holds_any: false,
            places: self.places,
            loading_s: self.loading_s,
            at_once: self.at_once,
            reach_s: self.reach_s,
            targets: Vec::new(),
            split: Split::ByClass,
            absorbs: self.absorbs,
            spills: false,
            strikes: Vec::new(),
            attendance: Vec::new(),
        }
    }
}

/// What a bin that has nothing but what it starts with brings: parts as if it were filled up.
fn stock_of(scenario: &Scenario, entry: &Entry, run: Option<Run>) -> Option<SourceTraffic> {
    let stated = entry.blueprint.brings(&scenario.kinds).filter(|_| entry.blueprint.is_stocked())?;
    let kind = run.map_or(stated, |run| run.brought(stated));
    Some(SourceTraffic { kind, most_per_s: f64::INFINITY, is_driven: false, waits_for_call: false })
}

/// The stations from which parts can come to a station, itself included.
fn ahead_of(ways: &Ways, station: usize) -> Vec<bool> {
    let mut ahead = vec![false; ways.feeders.len()];
    let mut open = vec![station];
    while let Some(at) = open.pop() {
        if !std::mem::replace(&mut ahead[at], true) {
            open.extend(&ways.feeders[at]);
        }
    }
    ahead
}

/// Pieces of the batches that stations get.
fn batches_of(scenario: &Scenario) -> Vec<BatchTraffic> {
    let mut batches = Vec::new();
    for entry in scenario.stations.iter().filter(|entry| entry.blueprint.gives_batches()) {
        let Some(recipe) = entry.blueprint.recipes() else { continue };
        let means = recipe.mean_pieces(&scenario.models);
        batches.extend(recipe.takers().iter().zip(means).map(|(name, mean)| {
            let to = name.value.clone();
            let fewest = recipe.fewest_pieces(&to);
            BatchTraffic { to, mean, fewest }
        }));
    }
    batches
}

/// The stations that are bins: what leaves one falls anew.
pub(super) fn bins(scenario: &Scenario) -> Vec<bool> {
    let is_bin = |entry: &Entry| {
        let body = entry.blueprint.body(&scenario.kinds, &entry.id.value);
        body.is_some_and(|place| place.counts().is_some())
    };
    scenario.stations.iter().map(is_bin).collect()
}

/// Whether a sensor that watches a place holds others.
fn is_kept_level(scenario: &Scenario, entry: &Entry) -> bool {
    let watches = |names: &[Spanned<String>]| names.iter().any(|name| name.value == entry.id.value);
    scenario.sensors.iter().any(|sensor| watches(&sensor.watches) && !sensor.holds.is_empty())
}

/// For each exit of a station, whether what leaves there can come back to it on a way without a bin.
pub(super) fn comes_back_without_bin(ways: &Ways, bins: &[bool], station: usize) -> Vec<bool> {
    let comes_back = |target: &Option<usize>| {
        let mut seen = vec![false; bins.len()];
        let mut open: Vec<usize> = target.iter().copied().collect();
        while let Some(at) = open.pop() {
            if at == station {
                return true;
            }
            if !std::mem::replace(&mut seen[at], true) && !bins[at] {
                open.extend(ways.targets[at].iter().flatten());
            }
        }
        false
    };
    ways.targets[station].iter().map(comes_back).collect()
}

/// Parts that jam and are then taken away through another exit.
fn redirect_jams(scenario: &Scenario, entry: &Entry, names: &[(usize, usize, usize)], node: &mut Node) {
    let exits = entry.blueprint.exits();
    for stop in &entry.stops {
        let Some(then) = &stop.then else { continue };
        let exit = exits.iter().position(|exit| exit.key == then.value);
        let (Some(exit), true) = (exit, stop.when != MomentWord::After) else { continue };
        let other_ways = node.other_ways.iter_mut().map(|way| &mut way.routes);
        for routes in std::iter::once(&mut node.routes).chain(other_ways) {
            for (class, routes) in routes.iter_mut().enumerate() {
                let (kind, condition, _) = names[class];
                let chance = stop.cause.chance(&scenario.kinds[kind].conditions[condition]);
                if chance > 0.0 {
                    // Who goes on either way goes on as it would have.
                    let same = |(to, _, _): &&mut (u8, usize, f64)| exit == 0 && *to == 0;
                    let on: f64 = routes.iter_mut().filter(same).map(|(_, _, share)| *share).sum();
                    let others = routes.iter_mut().filter(|(to, _, _)| exit != 0 || *to != 0);
                    others.for_each(|(_, _, share)| *share *= 1.0 - chance);
                    routes.push((exit as u8, class, chance * (1.0 - on)));
                }
            }
        }
    }
}
