//! The flows as a linear programme: every share that follows room is free, within what each station can take.
//!
//! Who shares by room hands on what comes in the mix in which it comes; how much goes through each exit is left open, and
//! so is what each supply brings, up to its most. A station that may do several things with a part, as room and spacing have
//! it (overflow, parts too close for a sensor), does each with any number of parts of each class. What can be delivered then is an upper bound, however chance fills the
//! places between stations (ruling 27); where the mix depends on the shares, each class may go its own way, and every
//! assembly gets the best parts there are, so that it stays one. With the rules of those who share as aims that come first,
//! and mixes set anew to a fixed point, it is what is left when those who are served before take all that they can. All flows
//! are parts a second. Invariant: what comes to a station with free shares leaves it, or, where it can pile up for ever,
//! not more than that.

use super::demand::{Chooser, Flows, Pace, busy, moving, node_flow, reach_use, sum};
use super::net::{Assembly, Net};
use super::share_out::Rule;
use super::simplex::{Reached, Simplex};
use crate::stations::blueprint::OtherWay;

/// Most rounds until mixes settle; halfway new and old ones are averaged.
const ROUNDS: usize = 80;
/// Mixes that change by less are settled.
const SETTLED: f64 = 1e-11;
/// Shares that differ by less are the same.
const SAME_MIX: f64 = 1e-9;

/// What a variable of the programme is the flow of.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
enum Origin {
    /// Parts that a supply brings.
    Supply(usize),
    /// Products of an assembly in one class.
    Product(usize, usize),
    /// Products that were made with a part missing, in one class.
    Short(usize, usize),
    /// Parts through an exit of one of the free stations: (number among these, exit, which of its mixes).
    Exit(usize, usize, usize),
    /// Parts with which a free station goes one of its ways: (number among these, way, which of its mixes).
    Way(usize, usize, usize),
    /// The least share of equals, by number of the chooser.
    Least(usize),
    /// Good parts that are delivered, as far as they are asked for.
    Delivered,
}

/// A node from which parts go on in other numbers, or other ways, than its routes say.
#[derive(Debug, Clone, Copy)]
struct Free {
    node: usize,
    how: How,
}

/// What is free of it.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
enum How {
    /// Shares among exits.
    Exits,
    /// Shares of its ways, by class.
    Ways,
    /// How much goes on: the rest piles up.
    PilesUp,
}

/// One variable.
#[derive(Debug, Clone)]
struct Column {
    origin: Origin,
    /// Flow through each state for one part/s.
    flow: Vec<f64>,
    /// The same of sound parts only: no assemblies with a bad part. Where they come in several mixes, at best.
    sound: Vec<f64>,
    /// The same at worst.
    worst: Vec<f64>,
    /// Good parts at points of use for one part/s.
    good: f64,
    /// The same if all assemblies get the worst parts.
    good_at_worst: f64,
    /// Of a way: parts that go on, unless for want of room they do not.
    on: f64,
    /// Of a way: parts that leave elsewhere, or as others, than they should.
    change: f64,
}

/// How far the parts that go out of a free station are kept apart: a mix is shared as it comes only where it is always the
/// same, since else chance may favour some.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
enum Apart {
    /// They come in one mix.
    Not,
    /// Those of each kind and condition lie in one mix.
    ByCondition,
    /// Each class goes its own way.
    ByClass,
}

/// What parts are like where they are not followed one by one.
#[derive(Debug, Clone)]
pub(super) struct Mixes {
    /// Share of each class in what goes on from each station with free shares.
    on: Vec<Vec<f64>>,
    /// Share of sound ones among them, by class.
    sound: Vec<Vec<f64>>,
    /// Share of sound ones among the products of each assembly, by class.
    products: Vec<Vec<f64>>,
    /// Both at worst.
    worst: (Vec<Vec<f64>>, Vec<Vec<f64>>),
    /// Time in which each station goes from side to side, for one part, s.
    moving: Vec<f64>,
    /// How far parts are kept apart, by station with free shares.
    apart: Vec<Apart>,
}

/// How room is shared.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(super) enum Room {
    /// In any way: for bounds.
    Any,
    /// Each class alike, every station at such times.
    ByRule(Pace),
}

impl Room {
    fn pace(self) -> Pace {
        match self {
            Room::Any => Pace::Best,
            Room::ByRule(pace) => pace,
        }
    }
}

/// Where a programme ended.
#[derive(Debug, Clone)]
pub(super) struct Solution {
    /// Good parts/s at the points of use.
    pub(super) good: f64,
    /// What each supply brings, parts/s.
    pub(super) brings: Vec<f64>,
    /// Parts/s through each exit, or on each way, of the stations with free shares, by node.
    pub(super) shared: Vec<(usize, Vec<f64>)>,
    /// Flow through each state.
    pub(super) total: Vec<f64>,
    /// The station whose capacity is worth most to the first aim.
    pub(super) limiting: Option<usize>,
}

/// What to reach for, the most important first.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(super) enum Aim {
    /// As many good parts at the points of use as can be.
    Good,
    /// What those who share do by their rules, as far as it goes.
    Rules,
    /// The same, with those turned round of whom nobody knows who comes first.
    RulesTurned,
    /// As few fresh parts as can be, streams aside.
    FewParts,
    /// As few parts as can be that come too close for a sensed tool, or meet tools on a crowded path.
    FewDisturbed,
    /// As many of those with which it makes a difference.
    ManyDisturbed,
    /// As much flow through a node as can be.
    Much(usize),
    /// As little.
    Little(usize),
}

/// What came of the aims.
#[derive(Debug, Clone)]
pub(super) enum Outcome {
    /// It settled here.
    Settled(Solution),
    /// An aim has no end.
    Endless,
    /// Mixes and flows do not settle, or a programme was not solved.
    Unsettled,
}

/// The programme of a line.
#[derive(Debug)]
pub(super) struct Programme<'a> {
    net: &'a Net,
    choosers: &'a [(Chooser, Rule)],
    /// Nodes whose exits are free, those whose ways are, then those where parts pile up.
    free: Vec<Free>,
    /// Mixes from which to start.
    start: Mixes,
    /// Flow through each state from which to start.
    first: Vec<f64>,
}

impl<'a> Programme<'a> {
    /// The programme of a line; mixes are first those of some flows.
    pub(super) fn new(net: &'a Net, choosers: &'a [(Chooser, Rule)], flows: &Flows) -> Self {
        let exits = choosers.iter().filter_map(|(chooser, _)| match chooser {
            Chooser::Exits(node) => Some(*node),
            Chooser::Supplies(_) => None,
        });
        let ways = (0..net.nodes.len()).filter(|&node| net.nodes[node].has_other_ways());
        let how = |how: How| move |node: usize| Free { node, how };
        let mut free: Vec<Free> = exits.map(how(How::Exits)).chain(ways.map(how(How::Ways))).collect();
        free.extend(net.reservoirs().into_iter().map(how(How::PilesUp)));
        // Of one part/s of every supply, so that there is a mix wherever parts can come.
        let all = sum(net, &flows.response, |_| 1.0);
        let on = free.iter().map(|free| shares_of(&free.goes_out(net, &all))).collect();
        let start = Mixes {
            on,
            sound: vec![vec![1.0; net.n_classes]; free.len()],
            products: vec![vec![1.0; net.n_classes]; net.assemblies.len()],
            worst: (
                vec![vec![1.0; net.n_classes]; free.len()],
                vec![vec![1.0; net.n_classes]; net.assemblies.len()],
            ),
            moving: vec![0.0; net.nodes.len()],
            apart: vec![Apart::Not; free.len()],
        };
        Programme { net, choosers, free, start, first: all }
    }

    /// Flows that reach the aims, with at most so many good parts/s.
    pub(super) fn reach(&self, good_at_most: Option<f64>, aims: &[Aim], room: Room) -> Outcome {
        let mut mixes = self.start.clone();
        self.move_sides(&self.first, room, &mut mixes);
        for round in 0..ROUNDS {
            let mut columns = self.columns(&mixes, room);
            while room == Room::Any && self.keeps_apart(&columns, &mut mixes) {
                columns = self.columns(&mixes, room);
            }
            let rows = self.rows(&columns, &mixes, good_at_most, room);
            let limits: Vec<(Option<usize>, f64)> = rows.iter().map(|row| (row.node, row.most)).collect();
            let rows = rows.into_iter().map(|row| (row.coefficients, row.most)).collect();
            let mut simplex = Simplex::new(columns.len(), rows);
            let mut limiting = None;
            let is_asked = good_at_most.is_some() && room == Room::Any;
            let wanted = aims.iter().flat_map(|aim| self.coefficients(&columns, *aim, is_asked));
            for (n, aim) in wanted.enumerate() {
                match simplex.raise(&aim) {
                    Reached::Most(_, worth) if n == 0 => limiting = dearest(&worth, &limits),
                    Reached::Most(..) => {}
                    Reached::Endless => return Outcome::Endless,
                    Reached::NotFound => return Outcome::Unsettled,
                }
            }
            let solution = self.solution(&columns, &simplex.values(), limiting);
            let mut next = match room {
                Room::Any => self.best_mixes(&columns, &mixes),
                Room::ByRule(_) => self.mixes(&columns, &simplex.values(), &mixes),
            };
            self.move_sides(&solution.total, room, &mut next);
            if mixes.differ(&next) < SETTLED {
                return Outcome::Settled(solution);
            }
            mixes = if round * 2 < ROUNDS { next } else { mixes.halfway(next) };
        }
        Outcome::Unsettled
    }

    fn columns(&self, mixes: &Mixes, room: Room) -> Vec<Column> {
        let net = self.net;
        let mut kept = vec![true; net.n_states()];
        for &Free { node, .. } in &self.free {
            kept[net.state(node, 0)..net.state(node + 1, 0)].fill(false);
        }
        let starts = self.starts(mixes, room);
        let chain = net.chain(&net.even_shares()).absorbing_outside(&kept);
        let used = (0..net.n_states()).filter(|&state| starts.iter().any(|start| start.parts[state] > 0.0));
        let solver = chain.prepared(used);
        // What comes to one of these counts when it goes on through exit 0.
        let mut shares = net.even_shares();
        self.free.iter().for_each(|free| shares[free.node] = vec![0.0]);
        let column = |start: Start| {
            let (flow, sound) = (solver.flows(&start.parts), solver.flows(&start.sound));
            let worst = if net.assemblies.is_empty() { sound.clone() } else { solver.flows(&start.worst) };
            let good = net.at_points(&sound, &shares).0 + start.good;
            let good_at_worst = net.at_points(&worst, &shares).0 + start.good_at_worst;
            let Start { origin, on, change, .. } = start;
            Column { origin, flow, sound, worst, good, good_at_worst, on, change }
        };
        let mut columns: Vec<Column> = starts.into_iter().map(column).collect();
        for (n, _) in self.choosers.iter().enumerate().filter(|(_, (_, rule))| matches!(rule, Rule::By(_))) {
            columns.push(Column::without_flow(net, Origin::Least(n)));
        }
        columns.push(Column::without_flow(net, Origin::Delivered));
        columns
    }

    /// Where the parts of each variable begin.
    fn starts(&self, mixes: &Mixes, room: Room) -> Vec<Start> {
        let net = self.net;
        let mut starts = Vec::new();
        for (supply, of) in net.supplies.iter().enumerate() {
            let Some(assembly) = of.assembly else {
                let mut start = Start::nothing(net, Origin::Supply(supply));
                for &(class, share) in &of.mix {
                    start.put(net.state(of.node, class), share, (1.0, 1.0));
                }
                starts.push(start);
                continue;
            };
            let is_made_short = net.assemblies[assembly].bounds.iter().any(|(_, most)| most.is_infinite());
            for class in 0..net.n_classes {
                let one = |origin: Origin, sound: (f64, f64)| {
                    let mut start = Start::nothing(net, origin);
                    start.put(net.state(of.node, class), 1.0, sound);
                    start
                };
                let sound = (mixes.products[assembly][class], mixes.worst.1[assembly][class]);
                starts.push(one(Origin::Product(assembly, class), sound));
                if is_made_short && room == Room::Any {
                    starts.push(one(Origin::Short(assembly, class), (0.0, 0.0)));
                }
            }
        }
        for (n, &Free { node, how }) in self.free.iter().enumerate() {
            let parts = self.parts_of(mixes, n);
            let sound: Vec<(f64, f64)> =
                mixes.sound[n].iter().copied().zip(mixes.worst.0[n].iter().copied()).collect();
            if how == How::Ways {
                starts.extend(self.starts_of_ways(n, node, &parts, &sound));
                continue;
            }
            for exit in 0..self.n_shared(n) {
                // Good parts count as they go on through exit 0 of a point of use.
                let counts = exit == 0 && net.points.contains(&node);
                for (number, mix) in parts.iter().enumerate() {
                    let mut start = Start::nothing(net, Origin::Exit(n, exit, number));
                    for (class, (&share, &sound)) in mix.iter().zip(&sound).enumerate() {
                        if let Some(target) = net.nodes[node].targets[exit] {
                            start.put(net.state(target, class), share, sound);
                        }
                        if counts && net.good[class] {
                            start.count(share, sound);
                        }
                    }
                    starts.push(start);
                }
            }
        }
        starts
    }

    /// Where parts of these mixes begin on each way of a station that has several; what is the same on another way as on the
    /// first is left out.
    fn starts_of_ways(&self, n: usize, node: usize, parts: &[Vec<f64>], sound: &[(f64, f64)]) -> Vec<Start> {
        let net = self.net;
        let of = &net.nodes[node];
        let mut starts = Vec::new();
        for way in 0..of.n_ways() {
            for (number, mix) in parts.iter().enumerate() {
                let mut start = Start::nothing(net, Origin::Way(n, way, number));
                for (class, mixed) in mix.iter().enumerate().filter(|(_, mixed)| **mixed > 0.0) {
                    for &(exit, to, share) in &of.way(way)[class] {
                        let share = mixed * share;
                        if let Some(target) = of.targets[usize::from(exit)] {
                            start.put(net.state(target, to), share, sound[class]);
                        }
                        if exit == 0 && net.points.contains(&node) && net.good[to] {
                            start.count(share, sound[class]);
                        }
                    }
                    start.on += mixed * of.goes_on_by(way, class);
                    start.change += mixed * of.differs_by(way, class);
                }
                if way == 0 || start.change > 0.0 {
                    starts.push(start);
                }
            }
        }
        starts
    }

    /// Among how many exits, or ways, a node shares what goes on.
    fn n_shared(&self, free: usize) -> usize {
        let Free { node, how } = self.free[free];
        match how {
            How::Exits => self.net.n_shared(node),
            How::Ways => self.net.nodes[node].n_ways(),
            How::PilesUp => 1,
        }
    }

    /// The mixes in which parts go out of a free station.
    fn parts_of(&self, mixes: &Mixes, free: usize) -> Vec<Vec<f64>> {
        let those = |classes: Vec<usize>| {
            let mut mix = vec![0.0; self.net.n_classes];
            classes.into_iter().for_each(|class| mix[class] = mixes.on[free][class]);
            shares_of(&mix)
        };
        let alone = |class: usize| {
            let mut mix = vec![0.0; self.net.n_classes];
            mix[class] = 1.0;
            mix
        };
        match mixes.apart[free] {
            Apart::Not => vec![mixes.on[free].clone()],
            Apart::ByCondition => self.net.conditions().into_iter().map(those).collect(),
            Apart::ByClass => (0..self.net.n_classes).map(alone).collect(),
        }
    }

    /// The classes in each of these mixes.
    fn classes_of(&self, apart: Apart) -> Vec<Vec<usize>> {
        match apart {
            Apart::Not => vec![(0..self.net.n_classes).collect()],
            Apart::ByCondition => self.net.conditions(),
            Apart::ByClass => (0..self.net.n_classes).map(|class| vec![class]).collect(),
        }
    }

    /// Keeps parts further apart where they do not always come in the same mixes; false if nothing is new.
    fn keeps_apart(&self, columns: &[Column], mixes: &mut Mixes) -> bool {
        let mut any = false;
        for (n, free) in self.free.iter().enumerate() {
            let differs = |classes: &Vec<usize>| {
                let among = |flow: &[f64]| -> Vec<f64> { classes.iter().map(|&class| flow[class]).collect() };
                let usual = shares_of(&among(&mixes.on[n]));
                columns.iter().any(|column| {
                    let on = among(&free.goes_out(self.net, &column.flow));
                    on.iter().sum::<f64>() > 0.0
                        && shares_of(&on).iter().zip(&usual).any(|(a, b)| (a - b).abs() > SAME_MIX)
                })
            };
            // How crowded a path in file is hangs on how long the part itself is.
            let of = &self.net.nodes[free.node];
            let by_length = of.other_ways.iter().any(|way| way.crowded)
                && of.seconds.iter().any(|seconds| *seconds != of.seconds[0]);
            while mixes.apart[n] != Apart::ByClass
                && (by_length || self.classes_of(mixes.apart[n]).iter().any(differs))
            {
                mixes.apart[n] =
                    if mixes.apart[n] == Apart::Not { Apart::ByCondition } else { Apart::ByClass };
                any = true;
            }
        }
        any
    }

    fn rows(&self, columns: &[Column], mixes: &Mixes, good_at_most: Option<f64>, room: Room) -> Vec<Row> {
        let net = self.net;
        let mut rows = Vec::new();
        let by = |of: &dyn Fn(&Column) -> f64| columns.iter().map(of).collect::<Vec<f64>>();
        for node in (0..net.nodes.len()).filter(|&node| !net.nodes[node].absorbs) {
            let of = &net.nodes[node];
            let sure = if room.pace() == Pace::Best { of.sure } else { 1.0 };
            let loads = by(&|column| {
                let moves = node_flow(net, &column.flow, node) * mixes.moving[node];
                (busy(net, &column.flow, node) * sure + moves) / of.places
            });
            if loads.iter().any(|load| *load > 0.0) {
                rows.push(Row { coefficients: loads, most: 1.0, node: Some(node) });
            }
        }
        rows.extend(net.reaches.iter().map(|users| self.row_of_reach(columns, users, room)));
        let one = |wanted: Origin| by(&|column| if column.origin == wanted { 1.0 } else { 0.0 });
        for (supply, of) in net.supplies.iter().enumerate().filter(|(_, of)| of.most_per_s.is_finite()) {
            rows.push(Row {
                coefficients: one(Origin::Supply(supply)),
                most: of.most_per_s,
                node: Some(of.node),
            });
        }
        for (n, free) in self.free.iter().enumerate() {
            for (number, classes) in self.classes_of(mixes.apart[n]).into_iter().enumerate() {
                let leaves = |column: &Column| match column.origin {
                    Origin::Exit(of, _, own) | Origin::Way(of, _, own) if of == n && own == number => 1.0,
                    Origin::Supply(_)
                    | Origin::Product(..)
                    | Origin::Short(..)
                    | Origin::Exit(..)
                    | Origin::Way(..)
                    | Origin::Least(_)
                    | Origin::Delivered => 0.0,
                };
                let comes = |column: &Column| {
                    let on = free.goes_out(net, &column.flow);
                    classes.iter().map(|&class| on[class]).sum::<f64>()
                };
                let [more, less] = Row::equal(by(&|column| leaves(column) - comes(column)));
                rows.push(more);
                if free.how != How::PilesUp {
                    rows.push(less);
                }
            }
            if let Some(behind) = Some(&net.nodes[free.node].close_behind).filter(|b| !b.is_empty()) {
                // Who is too close comes right behind a part of one of these classes.
                let ahead = |column: &Column| -> f64 {
                    let flow = net.at(free.node, &column.flow).iter().zip(behind);
                    flow.filter(|(_, behind)| **behind).map(|(flow, _)| flow).sum()
                };
                rows.push(Row::at_most_nothing(by(&|column| self.close(column, n) - ahead(column))));
            }
        }
        for (n, assembly) in net.assemblies.iter().enumerate() {
            self.assembly_rows(columns, n, assembly, room, &mut rows);
        }
        for (n, (chooser, rule)) in self.choosers.iter().enumerate() {
            let Rule::By(weights) = rule else { continue };
            for (taker, weight) in weights.iter().enumerate() {
                let own = self.taker(chooser, taker);
                let row = by(&|column| match column.origin {
                    Origin::Least(of) if of == n => *weight,
                    origin if origin == own => -1.0,
                    Origin::Supply(_)
                    | Origin::Product(..)
                    | Origin::Short(..)
                    | Origin::Exit(..)
                    | Origin::Way(..)
                    | Origin::Least(_)
                    | Origin::Delivered => 0.0,
                });
                rows.push(Row { coefficients: row, most: 0.0, node: None });
            }
        }
        if let Some(good) = good_at_most {
            rows.extend(self.rows_of_delivery(columns, good, room));
        }
        rows
    }

    /// So many good parts are delivered at most. For bounds there are as many if assemblies get the best parts, and no more if
    /// they get the worst: nobody knows which they get.
    fn rows_of_delivery(&self, columns: &[Column], good: f64, room: Room) -> Vec<Row> {
        let by = |of: &dyn Fn(&Column) -> f64| columns.iter().map(of).collect::<Vec<f64>>();
        let delivered = |column: &Column| f64::from(u8::from(column.origin == Origin::Delivered));
        let at_most = |coefficients: Vec<f64>| Row { coefficients, most: good, node: None };
        match room {
            Room::ByRule(_) => vec![at_most(by(&|column| column.good))],
            Room::Any => vec![
                Row::at_most_nothing(by(&|column| delivered(column) - column.good)),
                at_most(by(&delivered)),
                at_most(by(&|column| column.good_at_worst)),
            ],
        }
    }

    /// Of those that share a reach one uses it at a time.
    fn row_of_reach(&self, columns: &[Column], users: &[usize], room: Room) -> Row {
        let pace = room.pace();
        let uses = |column: &Column| {
            users.iter().map(|&user| reach_use(self.net, &column.flow, user, pace)).sum::<f64>()
        };
        Row { coefficients: columns.iter().map(uses).collect(), most: 1.0, node: users.first().copied() }
    }

    /// The other way that a variable is the flow on, if it is one, and at which free node.
    fn other_way(&self, column: &Column) -> Option<(usize, &OtherWay)> {
        let Origin::Way(n, way @ 1.., _) = column.origin else { return None };
        Some((n, &self.net.nodes[self.free[n].node].other_ways[way - 1]))
    }

    /// Parts that are too close for a tool at one of the free nodes, for one part/s.
    fn close(&self, column: &Column, at: usize) -> f64 {
        let is_close = self.other_way(column).is_some_and(|(n, way)| n == at && way.too_close);
        f64::from(u8::from(is_close))
    }

    /// Parts that others disturb, since they come too close or the path is crowded, for one part/s.
    fn disturbed(&self, column: &Column) -> f64 {
        let is_disturbed = self.other_way(column).is_some_and(|(_, way)| way.too_close || way.crowded);
        f64::from(u8::from(is_disturbed))
    }

    /// Parts that go on at a free node through exit 0, as its tools have it and there is room, for one part/s.
    fn on_without_surplus(&self, column: &Column, at: usize) -> f64 {
        let Origin::Way(n, way, _) = column.origin else { return 0.0 };
        let node = &self.net.nodes[self.free[n].node];
        let runs_over = way > 0 && node.other_ways[way - 1].runs_over;
        if n != at || runs_over { 0.0 } else { column.on }
    }

    /// What goes into an assembly becomes products: of each class as many as there are first parts in it.
    fn assembly_rows(
        &self,
        columns: &[Column],
        number: usize,
        assembly: &Assembly,
        room: Room,
        rows: &mut Vec<Row>,
    ) {
        let net = self.net;
        let made = |class: Option<usize>| {
            move |column: &Column| match column.origin {
                Origin::Product(of, own) if of == number && class.is_none_or(|class| class == own) => 1.0,
                Origin::Supply(_)
                | Origin::Product(..)
                | Origin::Short(..)
                | Origin::Exit(..)
                | Origin::Way(..)
                | Origin::Least(_)
                | Origin::Delivered => 0.0,
            }
        };
        for (inlet, (&port, &parts)) in assembly.ports.iter().zip(&assembly.per_product).enumerate() {
            let (fewest, most) = if room == Room::Any { assembly.bounds[inlet] } else { (parts, parts) };
            let classes: Vec<Option<usize>> =
                if inlet == 0 { (0..net.n_classes).map(Some).collect() } else { vec![None] };
            for class in classes {
                let made = made(class);
                let into = |column: &Column| match class {
                    Some(class) => column.flow[net.state(port, class)],
                    None => node_flow(net, &column.flow, port),
                };
                let by = |of: &dyn Fn(&Column) -> f64| columns.iter().map(of).collect::<Vec<f64>>();
                rows.push(Row::at_most_nothing(by(&|column| fewest * made(column) - into(column))));
                if most.is_finite() {
                    rows.push(Row::at_most_nothing(by(&|column| into(column) - most * made(column))));
                }
            }
            if most.is_infinite() {
                let of = &net.nodes[port];
                let strokes =
                    columns.iter().map(|column| busy(net, &column.flow, port) * of.sure / of.places);
                rows.push(Row { coefficients: strokes.collect(), most: 1.0, node: Some(port) });
            }
        }
    }

    /// The takers of a chooser, those first that lead to no point of use.
    fn points_last(&self, chooser: &Chooser) -> Vec<usize> {
        let net = self.net;
        let leads = |from: Option<usize>| {
            let beyond = net.beyond(from);
            net.points.iter().any(|&point| beyond[point])
        };
        let (n, leads): (usize, Box<dyn Fn(usize) -> bool>) = match chooser {
            Chooser::Exits(node) => {
                let node = *node;
                let counts = move |exit: usize| exit == 0 && net.points.contains(&node);
                let of = move |exit: usize| counts(exit) || leads(net.nodes[node].targets[exit]);
                (net.n_shared(node), Box::new(of))
            }
            Chooser::Supplies(supplies) => (
                supplies.len(),
                Box::new(move |taker: usize| leads(Some(net.supplies[supplies[taker]].node))),
            ),
        };
        let mut takers: Vec<usize> = (0..n).collect();
        takers.sort_by_key(|&taker| leads(taker));
        takers
    }

    fn taker(&self, chooser: &Chooser, taker: usize) -> Origin {
        match chooser {
            Chooser::Exits(node) => {
                Origin::Exit(self.free.iter().position(|free| free.node == *node).unwrap_or(0), taker, 0)
            }
            Chooser::Supplies(supplies) => Origin::Supply(supplies[taker]),
        }
    }

    /// The sums that make up an aim, one after the other; `is_asked` if so many good parts are asked for.
    fn coefficients(&self, columns: &[Column], aim: Aim, is_asked: bool) -> Vec<Vec<f64>> {
        let net = self.net;
        let by = |of: &dyn Fn(&Column) -> f64| columns.iter().map(of).collect::<Vec<f64>>();
        let of_supplies = |worth: &dyn Fn(usize) -> f64| {
            by(&|column| match column.origin {
                Origin::Supply(supply) => worth(supply),
                Origin::Product(..)
                | Origin::Short(..)
                | Origin::Exit(..)
                | Origin::Way(..)
                | Origin::Least(_)
                | Origin::Delivered => 0.0,
            })
        };
        let is_free = |supply: usize| {
            let of = &net.supplies[supply];
            of.assembly.is_none() && !of.is_driven
        };
        match aim {
            Aim::Good if is_asked => {
                vec![by(&|column| f64::from(u8::from(column.origin == Origin::Delivered)))]
            }
            Aim::Good => vec![by(&|column| column.good)],
            Aim::FewParts => vec![of_supplies(&|supply| if is_free(supply) { -1.0 } else { 0.0 })],
            Aim::FewDisturbed => vec![by(&|column| -self.disturbed(column))],
            Aim::ManyDisturbed => vec![by(&|column| self.disturbed(column) * column.change)],
            Aim::Much(node) => vec![by(&|column| node_flow(net, &column.flow, node))],
            Aim::Little(node) => vec![by(&|column| -node_flow(net, &column.flow, node))],
            Aim::Rules | Aim::RulesTurned => {
                let one = |wanted: Origin| by(&|column| if column.origin == wanted { 1.0 } else { 0.0 });
                let mut aims = Vec::new();
                for (n, (chooser, rule)) in self.choosers.iter().enumerate() {
                    match rule {
                        Rule::InOrder(order) => {
                            aims.extend(order.iter().map(|&taker| one(self.taker(chooser, taker))));
                        }
                        // When some are full, or where nobody knows, points of use come last.
                        Rule::By(_) | Rule::Any(_) => {
                            if matches!(rule, Rule::By(_)) {
                                aims.push(one(Origin::Least(n)));
                            }
                            let mut takers = self.points_last(chooser);
                            if aim == Aim::RulesTurned {
                                takers.reverse();
                            }
                            aims.extend(takers.into_iter().map(|taker| one(self.taker(chooser, taker))));
                        }
                    }
                }
                // Nothing runs over as long as there is room.
                let runs_over = |free: &Free| net.nodes[free.node].other_ways.iter().any(|way| way.runs_over);
                for (n, _) in self.free.iter().enumerate().filter(|(_, free)| runs_over(free)) {
                    aims.push(by(&|column| self.on_without_surplus(column, n)));
                }
                aims
            }
        }
    }

    fn solution(&self, columns: &[Column], values: &[f64], limiting: Option<usize>) -> Solution {
        let net = self.net;
        let mut total = vec![0.0; net.n_states()];
        let (mut good, mut brings) = (0.0, vec![0.0; net.supplies.len()]);
        let nothing = |(n, free): (usize, &Free)| (free.node, vec![0.0; self.n_shared(n)]);
        let mut shared: Vec<(usize, Vec<f64>)> = self.free.iter().enumerate().map(nothing).collect();
        for (column, &value) in columns.iter().zip(values) {
            column.flow.iter().zip(&mut total).for_each(|(flow, total)| *total += value * flow);
            good += value * column.good;
            match column.origin {
                Origin::Supply(supply) => brings[supply] = value,
                Origin::Product(assembly, _) | Origin::Short(assembly, _) => {
                    brings[net.assemblies[assembly].supply] += value
                }
                Origin::Exit(n, exit, _) => shared[n].1[exit] += value,
                Origin::Way(n, way, _) => shared[n].1[way] += value,
                Origin::Least(_) | Origin::Delivered => {}
            }
        }
        shared.truncate(self.free.iter().filter(|free| free.how != How::PilesUp).count());
        Solution { good, brings, shared, total, limiting }
    }

    fn mixes(&self, columns: &[Column], values: &[f64], before: &Mixes) -> Mixes {
        let net = self.net;
        let flows: (Vec<Vec<f64>>, Vec<Vec<f64>>) =
            columns.iter().map(|column| (column.flow.clone(), column.sound.clone())).unzip();
        let (total, sound) = (sum(net, &flows.0, |n| values[n]), sum(net, &flows.1, |n| values[n]));
        let mut mixes = before.clone();
        for (n, free) in self.free.iter().enumerate() {
            let (on, sound_on) = (free.goes_out(net, &total), free.goes_out(net, &sound));
            if on.iter().sum::<f64>() > 0.0 {
                mixes.on[n] = shares_of(&on);
                mixes.sound[n] = ratios(&sound_on, &on);
            }
        }
        for (n, assembly) in net.assemblies.iter().enumerate() {
            if assembly.ports.iter().all(|&port| net.at(port, &total).iter().sum::<f64>() > 0.0) {
                mixes.products[n] = net.soundness(assembly, &total, &sound);
            }
        }
        mixes
    }

    fn move_sides(&self, total: &[f64], room: Room, mixes: &mut Mixes) {
        let pace = room.pace();
        for (node, each) in mixes.moving.iter_mut().enumerate() {
            let all = node_flow(self.net, total, node);
            if all > 0.0 {
                *each = moving(self.net, total, node, pace) / all;
            }
        }
    }

    /// The best that can come: assemblies get the best parts, and as few of them as there can be.
    fn best_mixes(&self, columns: &[Column], before: &Mixes) -> Mixes {
        let mut mixes = before.clone();
        (mixes.sound, mixes.products) =
            self.soundness(columns, |column| &column.sound, f64::max, |(fewest, _)| fewest);
        mixes.worst = self.soundness(columns, |column| &column.worst, f64::min, |(_, most)| most);
        mixes
    }

    /// Share of sound parts by class at the free nodes, and among the products of the assemblies: the best or the worst that a
    /// variable brings there.
    fn soundness(
        &self,
        columns: &[Column],
        sound: impl Fn(&Column) -> &[f64],
        pick: fn(f64, f64) -> f64,
        number: fn((f64, f64)) -> f64,
    ) -> (Vec<Vec<f64>>, Vec<Vec<f64>>) {
        let net = self.net;
        let of_class = |of: &dyn Fn(&[f64]) -> Vec<f64>| -> Vec<f64> {
            let both: Vec<(Vec<f64>, Vec<f64>)> =
                columns.iter().map(|column| (of(&column.flow), of(sound(column)))).collect();
            let share = |class: usize| {
                let comes = both.iter().filter(|(flow, _)| flow[class] > 0.0);
                comes.map(|(flow, sound)| sound[class] / flow[class]).reduce(pick).unwrap_or(0.0)
            };
            (0..net.n_classes).map(share).collect()
        };
        let free = self.free.iter().map(|free| of_class(&|flow| free.goes_out(net, flow)));
        let products = |assembly: &Assembly| {
            let share = |port: &usize| {
                let of = columns.iter().filter_map(|c| net.sound_share(*port, &c.flow, sound(c)));
                of.reduce(pick).unwrap_or(1.0)
            };
            let shares: Vec<f64> = assembly.ports.iter().map(share).collect();
            let first = of_class(&|flow| net.at(assembly.ports[0], flow).to_vec());
            let parts: Vec<f64> = assembly.bounds.iter().map(|bounds| number(*bounds)).collect();
            net.sound_products(&shares, &first, &parts)
        };
        (free.collect(), net.assemblies.iter().map(products).collect())
    }
}

impl Column {
    fn without_flow(net: &Net, origin: Origin) -> Column {
        let nothing = vec![0.0; net.n_states()];
        Column {
            origin,
            flow: nothing.clone(),
            sound: nothing.clone(),
            worst: nothing,
            good: 0.0,
            good_at_worst: 0.0,
            on: 0.0,
            change: 0.0,
        }
    }
}

impl Free {
    /// Parts of each class for which the programme says where they go from here: those that come to a station of several
    /// ways, those that go on from the others.
    fn goes_out(self, net: &Net, flow: &[f64]) -> Vec<f64> {
        match self.how {
            How::Ways => net.at(self.node, flow).to_vec(),
            How::Exits | How::PilesUp => net.goes_on(self.node, flow),
        }
    }
}

/// Where the parts of a variable begin.
struct Start {
    origin: Origin,
    /// Share of its parts by state.
    parts: Vec<f64>,
    /// Of these the sound ones.
    sound: Vec<f64>,
    /// The same at worst.
    worst: Vec<f64>,
    /// Good ones that count where they begin, at best and at worst.
    good: f64,
    good_at_worst: f64,
    /// As for a column.
    on: f64,
    change: f64,
}

impl Start {
    fn nothing(net: &Net, origin: Origin) -> Start {
        let nothing = vec![0.0; net.n_states()];
        let (parts, sound) = (nothing.clone(), nothing.clone());
        Start { origin, parts, sound, worst: nothing, good: 0.0, good_at_worst: 0.0, on: 0.0, change: 0.0 }
    }

    fn put(&mut self, state: usize, share: f64, (sound, worst): (f64, f64)) {
        self.parts[state] += share;
        self.sound[state] += share * sound;
        self.worst[state] += share * worst;
    }

    /// Parts of a good class go on from a point of use.
    fn count(&mut self, share: f64, (sound, worst): (f64, f64)) {
        self.good += share * sound;
        self.good_at_worst += share * worst;
    }
}

/// One row of the programme.
struct Row {
    coefficients: Vec<f64>,
    most: f64,
    /// The station or supply whose limit it is.
    node: Option<usize>,
}

impl Row {
    /// The two rows that keep a sum at zero.
    fn equal(coefficients: Vec<f64>) -> [Row; 2] {
        let turned = coefficients.iter().map(|value| -value).collect();
        [coefficients, turned].map(Row::at_most_nothing)
    }

    /// The row that keeps a sum at zero or below.
    fn at_most_nothing(coefficients: Vec<f64>) -> Row {
        Row { coefficients, most: 0.0, node: None }
    }
}

impl Mixes {
    fn differ(&self, other: &Mixes) -> f64 {
        let mut most = 0.0_f64;
        let mut see = |a: &[f64], b: &[f64]| {
            a.iter().zip(b).for_each(|(a, b)| most = most.max((a - b).abs()));
        };
        let lists = |mixes: &Mixes| -> Vec<Vec<f64>> {
            let of = mixes.on.iter().chain(&mixes.sound).chain(&mixes.products);
            of.chain(&mixes.worst.0).chain(&mixes.worst.1).cloned().collect()
        };
        lists(self).iter().zip(&lists(other)).for_each(|(a, b)| see(a, b));
        see(&self.moving, &other.moving);
        most
    }

    fn halfway(&self, mut next: Mixes) -> Mixes {
        let middle = |a: &[f64], b: &mut [f64]| {
            a.iter().zip(b).for_each(|(a, b)| *b = (a + *b) / 2.0);
        };
        middle(&self.moving, &mut next.moving);
        self.on.iter().zip(&mut next.on).for_each(|(a, b)| middle(a, b));
        self.sound.iter().zip(&mut next.sound).for_each(|(a, b)| middle(a, b));
        self.products.iter().zip(&mut next.products).for_each(|(a, b)| middle(a, b));
        self.worst.0.iter().zip(&mut next.worst.0).for_each(|(a, b)| middle(a, b));
        self.worst.1.iter().zip(&mut next.worst.1).for_each(|(a, b)| middle(a, b));
        next
    }
}

/// The station of whose limit most of what is reached hangs; of equals the first.
fn dearest(worth: &[f64], limits: &[(Option<usize>, f64)]) -> Option<usize> {
    let mut dearest: Option<(f64, usize)> = None;
    for (worth, (node, most)) in worth.iter().zip(limits) {
        let worth = worth * most;
        if let Some(node) = node
            && worth > 1e-9
            && dearest.is_none_or(|(most, _)| worth > most * (1.0 + 1e-9))
        {
            dearest = Some((worth, *node));
        }
    }
    dearest.map(|(_, node)| node)
}

/// Share of each in what it is part of; 0 where there is nothing.
fn ratios(part: &[f64], all: &[f64]) -> Vec<f64> {
    part.iter().zip(all).map(|(part, all)| if *all > 0.0 { part / all } else { 0.0 }).collect()
}

fn shares_of(flow: &[f64]) -> Vec<f64> {
    let all: f64 = flow.iter().sum();
    flow.iter().map(|flow| if all > 0.0 { flow / all } else { 0.0 }).collect()
}
