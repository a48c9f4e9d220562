//! Flows at a demanded rate: supplies scaled to the points of use, splits and joins settled by room.
//!
//! For given shares the flows are linear in the supplies; each supply is scaled until the points of use (and
//! every inlet of an assembly) get what they want: iterative proportional fitting (Deming and Stephan 1940),
//! exact after one round where each supply serves one want. Shares that follow room are then set anew, to a
//! fixed point (ruling 27). Streams are not scaled. It reports nothing.

use super::net::Net;
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

impl Chooser {
    /// Number of takers.
    pub(super) fn len(&self, net: &Net) -> usize {
        match self {
            Chooser::Exits(node) => net.n_shared(*node),
            Chooser::Supplies(supplies) => supplies.len(),
        }
    }
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
    /// Share of bad ones among the products of each assembly that come of the other parts than the first.
    pub(super) spoiled: Vec<f64>,
    /// Mix of the products of each assembly: (class, share).
    mixes: Vec<Vec<(usize, f64)>>,
    /// Flow through each state for one part/s of each supply.
    response: Vec<Vec<f64>>,
    /// Shares among exits, by node.
    shares: Vec<Vec<f64>>,
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

impl Demand<'_> {
    /// Flows at `demand` good parts/s at the points of use.
    pub(super) fn flows(&self, demand: f64, choosers: &[(Chooser, Rule)]) -> Flows {
        let net = self.net;
        let mut flows = Flows {
            scale: vec![0.0; net.supplies.len()],
            weights: vec![1.0; net.supplies.len()],
            total: vec![0.0; net.n_states()],
            spoiled: vec![0.0; net.assemblies.len()],
            mixes: vec![Vec::new(); net.assemblies.len()],
            response: Vec::new(),
            shares: net.even_shares(),
            good: 0.0,
            completed: 0.0,
            is_settled: false,
        };
        for _ in 0..ROUNDS {
            self.respond(&mut flows);
            self.scale(&mut flows, demand);
            self.add_up(&mut flows);
            let mut change = self.assemble(&mut flows);
            for (chooser, rule) in choosers {
                change = f64::max(change, self.choose(&mut flows, chooser, rule));
            }
            if change < SETTLED {
                flows.is_settled = true;
                break;
            }
        }
        flows
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
        let response = |supply: usize| {
            let mut start = vec![0.0; net.n_states()];
            for &(class, share) in self.mix_of(flows, supply) {
                start[net.state(net.supplies[supply].node, class)] = share;
            }
            solver.flows(&start)
        };
        flows.response = (0..net.supplies.len()).map(response).collect();
    }

    /// Good parts completed at points of use for one part/s of a supply.
    fn good_of(&self, flows: &Flows, supply: usize) -> f64 {
        let net = self.net;
        let whole = net.supplies[supply].assembly.map_or(1.0, |assembly| 1.0 - flows.spoiled[assembly]);
        let mut good = 0.0;
        for &point in &net.points {
            for class in 0..net.n_classes {
                good += flows.response[supply][net.state(point, class)] * net.completed(point, class).0;
            }
        }
        good * whole
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
                _ => self.alone(flows, supply),
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
        let before: usize = self.net.assemblies[..assembly].iter().map(|a| a.ports.len()).sum();
        let mut made: Option<f64> = None;
        for (inlet, parts) in self.net.assemblies[assembly].per_product.iter().enumerate() {
            let get = &wants[1 + before + inlet];
            let of = |s: &usize| get[*s] > 0.0;
            if (0..get.len()).filter(of).all(|s| self.net.supplies[s].is_driven) {
                let flow: f64 = (0..get.len()).filter(of).map(|s| get[s] * scale[s]).sum();
                made = Some(made.map_or(flow / parts, |made| made.min(flow / parts)));
            }
        }
        made
    }

    /// What a supply brings that serves no point of use: as much as its own stations take.
    fn alone(&self, flows: &Flows, supply: usize) -> f64 {
        let of = |node: usize| load(self.net, &flows.response[supply], node);
        let most = (0..self.net.nodes.len()).map(of).fold(0.0, f64::max);
        let most = if most > 0.0 { 1.0 / most } else { f64::INFINITY };
        let most = most.min(self.net.supplies[supply].most_per_s);
        if most.is_finite() { most } else { 0.0 }
    }

    fn add_up(&self, flows: &mut Flows) {
        let net = self.net;
        flows.total = vec![0.0; net.n_states()];
        for (scale, response) in flows.scale.iter().zip(&flows.response) {
            for (total, flow) in flows.total.iter_mut().zip(response) {
                *total += scale * flow;
            }
        }
        flows.good = (0..net.supplies.len()).map(|s| flows.scale[s] * self.good_of(flows, s)).sum();
        flows.completed = 0.0;
        for &point in &net.points {
            for class in 0..net.n_classes {
                flows.completed += flows.total[net.state(point, class)] * net.completed(point, class).1;
            }
        }
    }

    /// Sets what the products of each assembly are made of; returns the largest change of a share.
    fn assemble(&self, flows: &mut Flows) -> f64 {
        let net = self.net;
        let mut change = 0.0_f64;
        for (n, assembly) in net.assemblies.iter().enumerate() {
            let mut whole = 1.0;
            let mut mix = Vec::new();
            for (inlet, (&port, &parts)) in assembly.ports.iter().zip(&assembly.per_product).enumerate() {
                let into = self.port_mix(flows, port);
                let all: f64 = into.iter().sum();
                let good: f64 =
                    into.iter().zip(&net.good).filter(|(_, good)| **good).map(|(flow, _)| flow).sum();
                let share = if all > 0.0 { good / all } else { 1.0 };
                // The product is what its first part is; the others can only spoil it.
                whole *= libm::pow(share, if inlet == 0 { parts - 1.0 } else { parts });
                if inlet == 0 && all > 0.0 {
                    let shares = into.iter().map(|flow| flow / all).enumerate();
                    mix = shares.filter(|(_, share)| *share > 0.0).collect();
                }
            }
            change = change.max((flows.spoiled[n] - (1.0 - whole)).abs());
            change = change.max(difference(&mix, &flows.mixes[n]));
            flows.spoiled[n] = 1.0 - whole;
            flows.mixes[n] = mix;
        }
        change
    }

    /// Flow of each class into an inlet; before anything flows there, what would come of equal supplies.
    fn port_mix(&self, flows: &Flows, port: usize) -> Vec<f64> {
        let states = self.net.state(port, 0)..self.net.state(port + 1, 0);
        if flows.total[states.clone()].iter().any(|flow| *flow > 0.0) {
            return flows.total[states].to_vec();
        }
        states.map(|state| flows.response.iter().map(|response| response[state]).sum()).collect()
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
        let mut mix = vec![0.0; net.n_classes];
        for class in 0..net.n_classes {
            for &(_, to, share) in net.nodes[node].routes[class].iter().filter(|(exit, _, _)| *exit == 0) {
                mix[to] += flows.total[net.state(node, class)] * share;
            }
        }
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
        let beyond = |to: Option<usize>| net.beyond_without(to, Some(node));
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
            let each = self.use_of(flows, &through, other);
            if each > 0.0 {
                let others = (self.use_of(flows, &flows.total, other) - each * now).max(0.0);
                most = most.min((1.0 - others).max(0.0) / each);
            }
        }
        most
    }

    /// Share of what a node can take, or of what an inlet asks for.
    fn use_of(&self, flows: &Flows, flow: &[f64], node: usize) -> f64 {
        let net = self.net;
        for assembly in &net.assemblies {
            if let Some(inlet) = assembly.ports.iter().position(|port| *port == node) {
                let asked = assembly.per_product[inlet] * flows.scale[assembly.supply];
                return if asked > 0.0 { node_flow(net, flow, node) / asked } else { 0.0 };
            }
        }
        load(net, flow, node)
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
                let of = |node: usize| load(net, &flows.response[s], node);
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
            Split::Even if n > 1 => all.push((Chooser::Exits(node), Rule::Even)),
            Split::ByClass | Split::Fixed(_) | Split::FillFirst | Split::Even => {}
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
            let rule = joins(&group).map_or(Rule::Even, Rule::InOrder);
            all.push((Chooser::Supplies(group), rule));
        }
    }
    all
}

/// Parts/s through a node.
pub(super) fn node_flow(net: &Net, flow: &[f64], node: usize) -> f64 {
    flow[net.state(node, 0)..net.state(node + 1, 0)].iter().sum()
}

/// Share of the time for which the places of a node are busy with a flow.
pub(super) fn load(net: &Net, flow: &[f64], node: usize) -> f64 {
    let of = &net.nodes[node];
    let busy: f64 = (0..net.n_classes).map(|class| flow[net.state(node, class)] * of.seconds[class]).sum();
    busy / of.places
}

fn difference(a: &[(usize, f64)], b: &[(usize, f64)]) -> f64 {
    let missing = |from: &[(usize, f64)], class: usize| !from.iter().any(|(c, _)| *c == class);
    let mut most = 0.0_f64;
    for &(class, share) in a {
        let other = b.iter().find(|(c, _)| *c == class).map_or(0.0, |(_, share)| *share);
        most = most.max((share - other).abs());
    }
    b.iter().filter(|(class, _)| missing(a, *class)).fold(most, |most, (_, share)| most.max(*share))
}
