//! Flows at a demanded rate: supplies scaled to the points of use, splits and joins settled by room.
//!
//! For given shares the flows are linear in the supplies; each supply is scaled until the points of use (and
//! every inlet of an assembly) get what they want: iterative proportional fitting (Deming and Stephan 1940),
//! exact after one round where each supply serves one want. Shares that follow room are then set anew, to a
//! fixed point (ruling 27). Streams are not scaled. It reports nothing.

use super::net::{Net, SideOrder};
use super::programme::{Aim, Outcome, Room};
use super::share_out::{Rule, share_out};
use crate::stations::blueprint::Split;

/// Most rounds until shares settle.
const ROUNDS: usize = 300;
/// Shares that change by less are settled.
const SETTLED: f64 = 1e-13;

/// Somebody who shares by room: a station among its exits, or supplies of the same want among themselves.
#[derive(Debug, Clone)]
pub(super) enum Chooser {
    /// Exits of a node.
    Exits(usize),
    /// Supplies.
    Supplies(Vec<usize>),
}

/// Flows at one demand, parts/s.
#[derive(Debug, Clone)]
pub(super) struct Flows {
    /// Parts brought by each supply, products included.
    pub(super) scale: Vec<f64>,
    /// Relative weights of supplies of the same want.
    weights: Vec<f64>,
    /// Flow through each state.
    pub(super) total: Vec<f64>,
    /// Share of sound ones among the products of each assembly, by class.
    soundness: Vec<Vec<f64>>,
    /// Flow through each state of sound parts only (no assemblies with a bad part), for one part/s of each supply.
    sound: Vec<Vec<f64>>,
    /// Mix of the products of each assembly: (class, share).
    pub(super) mixes: Vec<Vec<(usize, f64)>>,
    /// Flow through each state for one part/s of each supply.
    pub(super) response: Vec<Vec<f64>>,
    /// Shares among exits, or among ways, by node.
    pub(super) shares: Vec<Vec<f64>>,
    /// Good and all parts completed at points of use.
    pub(super) good: f64,
    pub(super) completed: f64,
    /// Whether the shares have settled.
    pub(super) is_settled: bool,
}

/// The solver of one line.
#[derive(Debug)]
pub(super) struct Demand<'a> {
    pub(super) net: &'a Net,
    /// Who shares by room, with the rule.
    pub(super) choosers: Vec<(Chooser, Rule)>,
}

impl Flows {
    /// The same line with so many times the parts.
    fn times(mut self, factor: f64) -> Flows {
        self.scale.iter_mut().chain(&mut self.total).for_each(|flow| *flow *= factor);
        self.good *= factor;
        self.completed *= factor;
        self
    }
}

impl Demand<'_> {
    /// Flows at `demand` good parts/s at the points of use, of a line that can deliver this `most`. More than that is looked at
    /// as if all stations were faster by as much, where it cannot be shared out otherwise.
    pub(super) fn at(&self, demand: f64, most: Option<f64>) -> Flows {
        let Some(most) = most.filter(|most| demand > most * (1.0 + 1e-9)) else {
            return self.settled(demand, true);
        };
        let flows = self.settled(demand, false);
        let is_met = flows.is_settled && flows.good >= demand * (1.0 - 1e-9);
        if is_met || most <= 0.0 || self.has_streams() {
            return flows;
        }
        self.settled(most, true).times(demand / most)
    }

    /// Flows at `demand` good parts/s at the points of use, those who share by room by their rules. Where these do not settle
    /// one by one (what comes to a point of use is the rest that others leave, so a little more at the point is much more at
    /// its supply), or ask too much of a station, or bring too little or too much, though the line `can`, they are found at once, as aims.
    fn settled(&self, demand: f64, can: bool) -> Flows {
        let flows = self.flows(demand, &self.choosers);
        let is_possible = self.highest_load(&flows).0 <= 1.0 + 1e-9;
        // More may come to the points only where streams bring it.
        let is_too_much = flows.good > demand * (1.0 + 1e-9) && !self.has_streams();
        let is_met = flows.good >= demand * (1.0 - 1e-9) && !is_too_much;
        if flows.is_settled && ((is_possible && is_met) || !can) {
            return flows;
        }
        let aims = [Aim::Good, Aim::FewDisturbed, Aim::Rules, Aim::FewParts];
        let Outcome::Settled(found) = self.programme().reach(Some(demand), &aims, Room::ByRule) else {
            return flows;
        };
        let mut flows = self.at_nothing();
        for (node, shared) in &found.shared {
            let all: f64 = shared.iter().sum();
            if all > 0.0 {
                flows.shares[*node] = shared.iter().map(|flow| flow / all).collect();
            }
        }
        if found.brings.iter().all(|brings| *brings > 0.0) {
            flows.weights.clone_from(&found.brings);
        }
        self.iterate(&mut flows, demand, &[]);
        if !flows.is_settled {
            flows.completed = self.net.at_points(&found.total, &flows.shares).1;
            (flows.total, flows.good) = (found.total, found.good);
            flows.scale = found.brings;
            flows.is_settled = true;
        }
        flows
    }

    /// Whether some supply brings parts wanted or not.
    pub(super) fn has_streams(&self) -> bool {
        self.net.supplies.iter().any(|supply| supply.is_driven)
    }

    /// Flows at `demand` good parts/s at the points of use.
    pub(super) fn flows(&self, demand: f64, choosers: &[(Chooser, Rule)]) -> Flows {
        let mut flows = self.at_nothing();
        self.iterate(&mut flows, demand, choosers);
        flows
    }

    fn at_nothing(&self) -> Flows {
        let net = self.net;
        Flows {
            scale: vec![0.0; net.supplies.len()],
            weights: vec![1.0; net.supplies.len()],
            total: vec![0.0; net.n_states()],
            soundness: vec![vec![1.0; net.n_classes]; net.assemblies.len()],
            sound: Vec::new(),
            mixes: vec![Vec::new(); net.assemblies.len()],
            response: Vec::new(),
            shares: net.even_shares(),
            good: 0.0,
            completed: 0.0,
            is_settled: false,
        }
    }

    fn iterate(&self, flows: &mut Flows, demand: f64, choosers: &[(Chooser, Rule)]) {
        for _ in 0..ROUNDS {
            self.respond(flows);
            self.scale(flows, demand);
            self.add_up(flows);
            let mut change = self.assemble(flows);
            for (chooser, rule) in choosers {
                change = f64::max(change, self.choose(flows, chooser, rule));
            }
            if change < SETTLED {
                flows.is_settled = true;
                break;
            }
        }
    }

    /// Whether every supply serves a want of its own: then there is nothing to choose.
    pub(super) fn each_serves_alone(&self) -> bool {
        let wants = self.wants(&self.flows(1.0, &[]));
        let is_alone = |get: &Vec<f64>| get.iter().filter(|flow| **flow > 0.0).count() <= 1;
        let serves = |supply: usize| wants.iter().any(|get| get[supply] > 0.0);
        wants.iter().all(is_alone) && (0..self.net.supplies.len()).all(serves)
    }

    fn mix_of<'b>(&'b self, flows: &'b Flows, supply: usize) -> &'b [(usize, f64)] {
        match self.net.supplies[supply].assembly {
            Some(assembly) => &flows.mixes[assembly],
            None => &self.net.supplies[supply].mix,
        }
    }

    fn respond(&self, flows: &mut Flows) {
        let net = self.net;
        let chain = net.chain(&flows.shares);
        let starts = net.starts(&chain);
        let solver = chain.prepared(starts.into_iter());
        let response = |supply: usize, of: &dyn Fn(usize) -> f64| {
            let mut start = vec![0.0; net.n_states()];
            for &(class, share) in self.mix_of(flows, supply) {
                start[net.state(net.supplies[supply].node, class)] = share * of(class);
            }
            solver.flows(&start)
        };
        let all: Vec<Vec<f64>> = (0..net.supplies.len()).map(|supply| response(supply, &|_| 1.0)).collect();
        let sound = all.iter().enumerate().map(|(supply, all)| match net.supplies[supply].assembly {
            Some(assembly) => response(supply, &|class| flows.soundness[assembly][class]),
            None => all.clone(),
        });
        flows.sound = sound.collect();
        flows.response = all;
    }

    /// Good parts completed at points of use for one part/s of a supply.
    fn good_of(&self, flows: &Flows, supply: usize) -> f64 {
        self.net.at_points(&flows.sound[supply], &flows.shares).0
    }

    /// What each want gets of one part/s of each supply: good parts at points of use first, then each inlet.
    fn wants(&self, flows: &Flows) -> Vec<Vec<f64>> {
        let net = self.net;
        let n = net.supplies.len();
        let mut wants = vec![(0..n).map(|supply| self.good_of(flows, supply)).collect()];
        for port in net.assemblies.iter().flat_map(|assembly| &assembly.ports) {
            wants.push((0..n).map(|supply| node_flow(net, &flows.response[supply], *port)).collect());
        }
        wants
    }

    fn scale(&self, flows: &mut Flows, demand: f64) {
        let net = self.net;
        let wants = self.wants(flows);
        let n = net.supplies.len();
        let serves: Vec<bool> = (0..n).map(|supply| wants.iter().any(|get| get[supply] > 0.0)).collect();
        let mut scale: Vec<f64> = (0..n)
            .map(|supply| match &net.supplies[supply] {
                of if of.is_driven => of.most_per_s,
                _ if serves[supply] => flows.weights[supply],
                _ => self.alone(flows, supply).min(self.fed(flows, &wants, supply, demand)),
            })
            .collect();
        for _ in 0..ROUNDS {
            let asked = self.asked(&scale, demand);
            let mut factors = vec![0.0_f64; n];
            for (get, asked) in wants.iter().zip(&asked) {
                let flow = |driven: bool| -> f64 {
                    let those = (0..n).filter(|&supply| net.supplies[supply].is_driven == driven);
                    those.map(|supply| scale[supply] * get[supply]).sum()
                };
                let (fixed, free) = (flow(true), flow(false));
                for supply in (0..n).filter(|&supply| get[supply] > 0.0) {
                    let factor = if free > 0.0 { ((asked - fixed) / free).max(0.0) } else { 0.0 };
                    factors[supply] = factors[supply].max(factor);
                }
            }
            let mut change = 0.0_f64;
            for supply in 0..n {
                if net.supplies[supply].is_driven || !serves[supply] {
                    continue;
                }
                let new =
                    self.driven_products(&wants, &scale, supply).unwrap_or(scale[supply] * factors[supply]);
                change = change.max((new - scale[supply]).abs() / scale[supply].max(f64::MIN_POSITIVE));
                scale[supply] = new;
            }
            if change < SETTLED {
                break;
            }
        }
        flows.scale = scale;
    }

    /// Parts/s that each want asks for.
    fn asked(&self, scale: &[f64], demand: f64) -> Vec<f64> {
        let mut asked = vec![demand];
        for assembly in &self.net.assemblies {
            asked.extend(assembly.per_product.iter().map(|parts| parts * scale[assembly.supply]));
        }
        asked
    }

    /// Products/s of an assembly one of whose inlets has only streams: what they bring is what is made.
    fn driven_products(&self, wants: &[Vec<f64>], scale: &[f64], supply: usize) -> Option<f64> {
        let assembly = self.net.supplies[supply].assembly?;
        let mut made: Option<f64> = None;
        for (get, parts) in self.wants_of(assembly, wants) {
            let of = |s: &usize| get[*s] > 0.0;
            if (0..get.len()).filter(of).all(|s| self.net.supplies[s].is_driven) {
                let flow: f64 = (0..get.len()).filter(of).map(|s| get[s] * scale[s]).sum();
                made = Some(made.map_or(flow / parts, |made| made.min(flow / parts)));
            }
        }
        made
    }

    /// What each inlet of an assembly gets of one part/s of each supply, and how many it takes for a product.
    fn wants_of<'b>(
        &'b self,
        assembly: usize,
        wants: &'b [Vec<f64>],
    ) -> impl Iterator<Item = (&'b [f64], f64)> {
        let before: usize = self.net.assemblies[..assembly].iter().map(|a| a.ports.len()).sum();
        let inlets = self.net.assemblies[assembly].per_product.iter();
        wants[1 + before..].iter().map(Vec::as_slice).zip(inlets.copied())
    }

    /// What a supply brings that serves no point of use: as much as its own stations take.
    fn alone(&self, flows: &Flows, supply: usize) -> f64 {
        let most = self.most_alone(flows, supply);
        if most.is_finite() { most } else { 0.0 }
    }

    /// The most that a supply could bring if there were no other.
    fn most_alone(&self, flows: &Flows, supply: usize) -> f64 {
        let of = |node: usize| load(self.net, &flows.response[supply], node, Pace::Rated);
        let most = (0..self.net.nodes.len()).map(of).fold(0.0, f64::max);
        let most = if most > 0.0 { 1.0 / most } else { f64::INFINITY };
        most.min(self.net.supplies[supply].most_per_s)
    }

    /// Products/s that an assembly beside or beyond the points of use can be fed for; no limit for other supplies.
    fn fed(&self, flows: &Flows, wants: &[Vec<f64>], supply: usize, demand: f64) -> f64 {
        let net = self.net;
        let Some(assembly) = net.supplies[supply].assembly else { return f64::INFINITY };
        let comes = |port: usize, get: &[f64]| -> f64 {
            let those = get.iter().enumerate().filter(|(_, get)| **get > 0.0);
            let most = |s: usize| match net.beyond_without(Some(net.supplies[s].node), &net.points)[port] {
                true => self.most_alone(flows, s),
                false => self.for_points(flows, &wants[0], s, demand),
            };
            those.map(|(s, get)| get * most(s)).sum()
        };
        let ports = net.assemblies[assembly].ports.iter().zip(self.wants_of(assembly, wants));
        ports.map(|(&port, (get, parts))| comes(port, get) / parts).fold(f64::INFINITY, f64::min)
    }

    /// What a supply brings for the points of use alone, parts/s, if they get `get` of one part/s of each supply.
    fn for_points(&self, flows: &Flows, get: &[f64], supply: usize, demand: f64) -> f64 {
        let supplies = &self.net.supplies;
        if supplies[supply].is_driven {
            return supplies[supply].most_per_s;
        }
        let (mut fixed, mut free) = (0.0, 0.0);
        for (s, get) in get.iter().enumerate() {
            match supplies[s].is_driven {
                true => fixed += get * supplies[s].most_per_s,
                false => free += get * flows.weights[s],
            }
        }
        if free > 0.0 { flows.weights[supply] * ((demand - fixed) / free).max(0.0) } else { 0.0 }
    }

    fn add_up(&self, flows: &mut Flows) {
        let net = self.net;
        flows.total = sum(net, &flows.response, |supply| flows.scale[supply]);
        flows.good = (0..net.supplies.len()).map(|s| flows.scale[s] * self.good_of(flows, s)).sum();
        flows.completed = net.at_points(&flows.total, &flows.shares).1;
    }

    /// Sets what the products of each assembly are made of; returns the largest change of a share.
    fn assemble(&self, flows: &mut Flows) -> f64 {
        let net = self.net;
        let mut change = 0.0_f64;
        for (n, assembly) in net.assemblies.iter().enumerate() {
            // Before anything flows to all its inlets: what would come of equal supplies.
            let flows_in = |port: &usize| net.at(*port, &flows.total).iter().sum::<f64>() > 0.0;
            let is_fed = assembly.ports.iter().all(flows_in);
            let scale = |supply: usize| if is_fed { flows.scale[supply] } else { 1.0 };
            let (total, sound) = (sum(net, &flows.response, scale), sum(net, &flows.sound, scale));
            let mix = net.products_of(assembly, &total);
            let soundness = net.soundness(assembly, &total, &sound);
            let changes = soundness.iter().zip(&flows.soundness[n]).map(|(new, old)| (new - old).abs());
            change = changes.fold(change, f64::max).max(difference(&mix, &flows.mixes[n]));
            flows.soundness[n] = soundness;
            flows.mixes[n] = mix;
        }
        change
    }

    /// Lets a chooser share anew; returns the largest change of a share.
    fn choose(&self, flows: &mut Flows, chooser: &Chooser, rule: &Rule) -> f64 {
        match chooser {
            Chooser::Exits(node) => self.share_exits(flows, *node, rule),
            Chooser::Supplies(supplies) => self.share_supplies(flows, supplies, rule),
        }
    }

    fn share_exits(&self, flows: &mut Flows, node: usize, rule: &Rule) -> f64 {
        let net = self.net;
        let mix = net.goes_on(node, &flows.total);
        let all: f64 = mix.iter().sum();
        if all <= 0.0 {
            return 0.0;
        }
        let most: Vec<f64> =
            (0..net.n_shared(node)).map(|exit| self.room(flows, node, exit, &mix, all)).collect();
        let new: Vec<f64> = share_out(all, &most, rule).iter().map(|flow| flow / all).collect();
        let old = &mut flows.shares[node];
        let change = new.iter().zip(old.iter()).map(|(a, b)| (a - b).abs()).fold(0.0, f64::max);
        *old = new;
        change
    }

    /// The most that an exit of a node can take, parts/s, by the stations that only it leads to.
    fn room(&self, flows: &Flows, node: usize, exit: usize, mix: &[f64], all: f64) -> f64 {
        let net = self.net;
        let targets = &net.nodes[node].targets[..net.n_shared(node)];
        let Some(target) = targets[exit] else { return f64::INFINITY };
        let beyond = |to: Option<usize>| net.beyond_without(to, &[node]);
        let mut own = beyond(Some(target));
        for (_, to) in targets.iter().enumerate().filter(|(other, _)| *other != exit) {
            beyond(*to).iter().zip(&mut own).for_each(|(theirs, own)| *own &= !theirs);
        }
        own[node] = false;
        if own.iter().all(|own| !own) {
            return f64::INFINITY;
        }
        // One part/s through the exit; what comes back to the node is counted when it goes out again.
        let kept: Vec<bool> = (0..net.n_states()).map(|state| state / net.n_classes != node).collect();
        let mut start = vec![0.0; net.n_states()];
        for (class, share) in mix.iter().enumerate() {
            start[net.state(target, class)] = share / all;
        }
        let chain = net.chain(&flows.shares).absorbing_outside(&kept);
        let starts: Vec<usize> = (0..net.n_states()).filter(|&state| start[state] > 0.0).collect();
        let through = chain.prepared(starts.into_iter()).flows(&start);
        let now = flows.shares[node][exit] * all;
        let mut most = f64::INFINITY;
        for other in (0..net.nodes.len()).filter(|&other| own[other]) {
            let uses = self.uses_of(flows, &through, other).into_iter();
            for (each, all) in uses.zip(self.uses_of(flows, &flows.total, other)) {
                if each > 0.0 {
                    let others = (all - each * now).max(0.0);
                    most = most.min((1.0 - others).max(0.0) / each);
                }
            }
        }
        most
    }

    /// Share of what a node can take, by its places and by its reach, or of what an inlet asks for.
    fn uses_of(&self, flows: &Flows, flow: &[f64], node: usize) -> [f64; 2] {
        let net = self.net;
        for assembly in &net.assemblies {
            if let Some(inlet) = assembly.ports.iter().position(|port| *port == node) {
                let asked = assembly.per_product[inlet] * flows.scale[assembly.supply];
                return [if asked > 0.0 { node_flow(net, flow, node) / asked } else { 0.0 }, 0.0];
            }
        }
        loads(net, flow, node, Pace::Rated)
    }

    fn share_supplies(&self, flows: &mut Flows, supplies: &[usize], rule: &Rule) -> f64 {
        let net = self.net;
        let wants = self.wants(flows);
        let Some(get) = wants.iter().find(|get| supplies.iter().all(|s| get[*s] > 0.0)) else { return 0.0 };
        let brings: Vec<f64> = supplies.iter().map(|&s| flows.scale[s] * get[s]).collect();
        let all: f64 = brings.iter().sum();
        if all <= 0.0 {
            return 0.0;
        }
        let most: Vec<f64> = supplies
            .iter()
            .map(|&s| {
                let mut own = net.beyond(Some(net.supplies[s].node));
                for &other in supplies.iter().filter(|other| **other != s) {
                    let theirs = net.beyond(Some(net.supplies[other].node));
                    theirs.iter().zip(&mut own).for_each(|(theirs, own)| *own &= !theirs);
                }
                let of = |node: usize| load(net, &flows.response[s], node, Pace::Rated);
                let load = (0..net.nodes.len()).filter(|&node| own[node]).map(of).fold(0.0, f64::max);
                get[s] * (1.0 / load).min(net.supplies[s].most_per_s)
            })
            .collect();
        let mut change = 0.0_f64;
        for ((new, old), &s) in share_out(all, &most, rule).iter().zip(&brings).zip(supplies) {
            change = change.max((new - old).abs() / all);
            flows.weights[s] = new / get[s];
        }
        change
    }
}

/// Choosers of a line, found from the wants that its supplies serve; exits that share by room first.
pub(super) fn choosers(net: &Net, joins: impl Fn(&[usize]) -> Option<Vec<usize>>) -> Vec<(Chooser, Rule)> {
    let mut all = Vec::new();
    for (node, of) in net.nodes.iter().enumerate() {
        let n = net.n_shared(node);
        match &of.split {
            Split::FillFirst if n > 1 => all.push((Chooser::Exits(node), Rule::InOrder((0..n).collect()))),
            Split::Even if n > 1 => all.push((Chooser::Exits(node), Rule::By(vec![1.0; n]))),
            Split::Any if n > 1 => all.push((Chooser::Exits(node), Rule::Any(n))),
            Split::Ratio(shares) if n > 1 => all.push((Chooser::Exits(node), Rule::By(shares.clone()))),
            Split::ByClass
            | Split::Fixed(_)
            | Split::FillFirst
            | Split::Even
            | Split::Any
            | Split::Ratio(_) => {}
        }
    }
    let demand = Demand { net, choosers: Vec::new() };
    let wants = demand.wants(&demand.flows(1.0, &[]));
    let served = |s: usize| -> Vec<bool> { wants.iter().map(|get| get[s] > 0.0).collect() };
    let free: Vec<usize> = (0..net.supplies.len())
        .filter(|&s| !net.supplies[s].is_driven && served(s).contains(&true))
        .filter(|&s| net.supplies[s].assembly.is_none())
        .collect();
    let mut grouped = vec![false; net.supplies.len()];
    for &first in &free {
        let group: Vec<usize> =
            free.iter().copied().filter(|&s| !grouped[s] && served(s) == served(first)).collect();
        group.iter().for_each(|&s| grouped[s] = true);
        if group.len() > 1 {
            let rule = joins(&group).map_or(Rule::By(vec![1.0; group.len()]), Rule::InOrder);
            all.push((Chooser::Supplies(group), rule));
        }
    }
    all
}

/// Flows of several supplies together.
pub(super) fn sum(net: &Net, responses: &[Vec<f64>], scale: impl Fn(usize) -> f64) -> Vec<f64> {
    let mut total = vec![0.0; net.n_states()];
    for (supply, response) in responses.iter().enumerate() {
        let scale = scale(supply);
        total.iter_mut().zip(response).for_each(|(total, flow)| *total += scale * flow);
    }
    total
}

/// Largest change of a share from one mix to another.
pub(super) fn difference(a: &[(usize, f64)], b: &[(usize, f64)]) -> f64 {
    let missing = |from: &[(usize, f64)], class: usize| !from.iter().any(|(c, _)| *c == class);
    let mut most = 0.0_f64;
    for &(class, share) in a {
        let other = b.iter().find(|(c, _)| *c == class).map_or(0.0, |(_, share)| *share);
        most = most.max((share - other).abs());
    }
    b.iter().filter(|(class, _)| missing(a, *class)).fold(most, |most, (_, share)| most.max(*share))
}

/// Parts/s through a node.
pub(super) fn node_flow(net: &Net, flow: &[f64], node: usize) -> f64 {
    flow[net.state(node, 0)..net.state(node + 1, 0)].iter().sum()
}

/// Which of the times of a station that hang on the order of parts.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(super) enum Pace {
    /// Those that it keeps in any order.
    Rated,
    /// Those that it may need in the order that suits it best.
    Best,
}

/// Share of the time for which a node is taken with a flow: its places, or the reach that it shares, whichever is more.
pub(super) fn load(net: &Net, flow: &[f64], node: usize, pace: Pace) -> f64 {
    loads(net, flow, node, pace).into_iter().fold(0.0, f64::max)
}

/// Share of the time for which the places of a node are taken with a flow, and for which the reach that it shares is.
pub(super) fn loads(net: &Net, flow: &[f64], node: usize, pace: Pace) -> [f64; 2] {
    let of_reach = |user: &usize| reach_use(net, flow, *user, pace);
    let shared = net.reaches.iter().filter(|users| users.contains(&node));
    [own_load(net, flow, node, pace), shared.flatten().map(of_reach).sum()]
}

/// Share of the time for which the places of a node are busy with a flow.
pub(super) fn own_load(net: &Net, flow: &[f64], node: usize, pace: Pace) -> f64 {
    let sure = if pace == Pace::Best { net.nodes[node].sure } else { 1.0 };
    let busy = busy(net, flow, node) * sure;
    (busy + moving(net, flow, node, pace)) / net.nodes[node].places
}

/// Share of the time for which a node uses the reach that it shares.
pub(super) fn reach_use(net: &Net, flow: &[f64], node: usize, pace: Pace) -> f64 {
    let sure = if pace == Pace::Best { net.nodes[node].sure } else { 1.0 };
    node_flow(net, flow, node) * net.nodes[node].reach_s * sure
}

/// Time for which the places of a node are taken, a second, without the time in which it goes from side to side.
pub(super) fn busy(net: &Net, flow: &[f64], node: usize) -> f64 {
    let seconds = &net.nodes[node].seconds;
    (0..net.n_classes).map(|class| flow[net.state(node, class)] * seconds[class]).sum()
}

/// Time that a station takes to go from side to side, a second. Where the sides of the parts are independent of each other, the next one is for another side than the last one with a chance of 1 - the sum of
/// the squares of the shares. In any order it may hardly ever go, and at most to each side for each part that is for it, and
/// away from it for each part that is not.
pub(super) fn moving(net: &Net, flow: &[f64], node: usize, pace: Pace) -> f64 {
    let of = &net.nodes[node];
    let Some(sides) = of.sides else { return 0.0 };
    let to = to_sides(net, flow, node);
    let all: f64 = to.iter().sum();
    if all <= 0.0 {
        return 0.0;
    }
    let more_s = sides.other_s - sides.same_s;
    let most: f64 = match of.order {
        SideOrder::Independent => {
            let same: f64 = to.iter().map(|one| one * one / all).sum();
            return (all - same) * more_s;
        }
        SideOrder::Shares => to.iter().map(|one| one.min(all - one)).sum(),
        SideOrder::Any => all,
    };
    match pace {
        Pace::Rated => (most * more_s).max(0.0),
        Pace::Best => (most * more_s).min(0.0),
    }
}

/// Parts/s for each side of a station.
pub(super) fn to_sides(net: &Net, flow: &[f64], node: usize) -> Vec<f64> {
    let of = &net.nodes[node];
    let mut to = vec![0.0; of.sides.map_or(0, |sides| usize::from(sides.exits))];
    for class in 0..net.n_classes {
        for &(exit, _, share) in &of.routes[class] {
            if let Some(to) = to.get_mut(usize::from(exit)) {
                *to += flow[net.state(node, class)] * share;
            }
        }
    }
    to
}
