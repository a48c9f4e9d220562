//! From ranks and rows to numbers: where each box stands and how each edge runs.
//!
//! Everything is reckoned along and across the flow, and turned at the end. Between two ranks lies a channel: edges leave
//! a box at its front, turn in a track of the channel, and reach the next box at its back, so that no edge runs
//! through a box. Invariants: boxes do not overlap; no two edges share a track.

use super::ranks::{Graph, Ranks};
use super::rows::Rows;
use std::collections::BTreeMap;

/// Sizes of what is drawn, px.
#[derive(Debug, Clone, Copy)]
pub(crate) struct Sizes {
    /// Size of a box along the flow.
    pub(crate) along: f64,
    /// Size of a box across the flow.
    pub(crate) across: f64,
    /// Sizes of a small box, along and across.
    pub(crate) small: (f64, f64),
    /// Least width of a channel.
    pub(crate) channel: f64,
    /// Room for a track in a channel.
    pub(crate) track: f64,
    /// Room between rows.
    pub(crate) between: f64,
    /// Whether the flow runs down instead of from left to right.
    pub(crate) is_down: bool,
}

/// A point, px.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(crate) struct Point {
    pub(crate) x: f64,
    pub(crate) y: f64,
}

/// A box, px.
#[derive(Debug, Clone, Copy, PartialEq, Default)]
pub(crate) struct Frame {
    pub(crate) x: f64,
    pub(crate) y: f64,
    pub(crate) width: f64,
    pub(crate) height: f64,
}

/// What is to be drawn where.
#[derive(Debug, Clone, Default)]
pub(crate) struct Layout {
    pub(crate) width: f64,
    pub(crate) height: f64,
    /// Box of each node.
    pub(crate) frames: Vec<Frame>,
    /// Corners of each edge, from its start to its end.
    pub(crate) routes: Vec<Vec<Point>>,
}

/// Room around everything, px.
const MARGIN: f64 = 12.0;
/// Room of a row in which only edges run.
const THIN: f64 = 22.0;

/// Lays a graph out.
pub(crate) fn layout(graph: &Graph, sizes: &Sizes) -> Layout {
    let ranks = Ranks::of(graph);
    let rows = Rows::of(graph, &ranks);
    let mut plan = Plan::new(graph, &ranks, &rows, sizes);
    plan.give_ports();
    plan.cut_tracks();
    plan.draw()
}

/// Which side of a box.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord)]
enum Side {
    Front,
    Back,
}

/// A turn of an edge in a channel: which edge, and whether it is its last one.
type Turn = (usize, bool);
/// What decides the order of turns in a channel, or of edges on a side.
type Key = (u8, f64);

struct Plan<'a> {
    graph: &'a Graph,
    ranks: &'a Ranks,
    rows: &'a Rows,
    sizes: &'a Sizes,
    /// Middle of each row, across.
    row_at: BTreeMap<isize, f64>,
    across_end: f64,
    /// Where an edge leaves, and where it arrives, across.
    ports: Vec<[f64; 2]>,
    /// Where an edge turns, along.
    turns: BTreeMap<Turn, f64>,
    /// Begin of each rank, along.
    rank_at: Vec<f64>,
    along_end: f64,
}

impl<'a> Plan<'a> {
    fn new(graph: &'a Graph, ranks: &'a Ranks, rows: &'a Rows, sizes: &'a Sizes) -> Self {
        let mut plan = Plan {
            graph,
            ranks,
            rows,
            sizes,
            row_at: BTreeMap::new(),
            across_end: 0.0,
            ports: vec![[0.0; 2]; graph.edges.len()],
            turns: BTreeMap::new(),
            rank_at: Vec::new(),
            along_end: 0.0,
        };
        plan.stack();
        plan
    }

    /// Puts the rows one below the other.
    fn stack(&mut self) {
        let mut rooms: BTreeMap<isize, f64> = BTreeMap::new();
        for (node, row) in self.rows.row.iter().enumerate() {
            let Some(row) = row else { continue };
            let needed = if self.graph.is_small[node] { self.sizes.small.1 } else { self.sizes.across };
            let room = rooms.entry(*row).or_insert(0.0);
            *room = room.max(needed);
        }
        for line in &self.rows.line {
            rooms.entry(*line).or_insert(THIN);
        }
        let mut at = MARGIN;
        for (row, room) in rooms {
            self.row_at.insert(row, at + 0.5 * room);
            at += room + self.sizes.between;
        }
        self.across_end = at - self.sizes.between.min(at) + MARGIN;
    }

    /// Middle of a node, across.
    fn middle(&self, node: usize) -> f64 {
        let row = self.rows.row[node].and_then(|row| self.row_at.get(&row).copied());
        row.unwrap_or(MARGIN)
    }

    /// Where an edge runs between its ends, across.
    fn line(&self, ix: usize) -> f64 {
        self.row_at.get(&self.rows.line[ix]).copied().unwrap_or(MARGIN)
    }

    fn is_long(&self, ix: usize) -> bool {
        let arc = &self.graph.edges[ix];
        self.ranks.is_forward[ix] && self.ranks.rank[arc.to] > self.ranks.rank[arc.from] + 1
    }

    /// The side at which an edge leaves (`is_end` false) or reaches its node.
    fn side(&self, ix: usize, is_end: bool) -> Side {
        let arc = &self.graph.edges[ix];
        let (from, to) = (self.ranks.rank[arc.from], self.ranks.rank[arc.to]);
        let is_back = !self.ranks.is_forward[ix];
        match (is_end, self.ranks.is_return[arc.from], self.ranks.is_return[arc.to]) {
            (false, true, _) if is_back && to <= from => Side::Back,
            (false, _, _) => Side::Front,
            (true, _, true) if is_back && to <= from => Side::Front,
            (true, _, _) => Side::Back,
        }
    }

    /// What decides the order of edges on a side, from top to bottom: those that come back last, the outer ones first.
    fn port_key(&self, ix: usize, is_end: bool) -> Key {
        let arc = &self.graph.edges[ix];
        let node = if is_end { arc.to } else { arc.from };
        if !self.ranks.is_forward[ix] {
            if self.ranks.is_return[node] {
                // The nearer end is the upper one.
                let other = if is_end { arc.from } else { arc.to };
                return (0, self.ranks.rank[node].abs_diff(self.ranks.rank[other]) as f64);
            }
            return (1, -self.line(ix));
        }
        let toward = if self.is_long(ix) {
            self.line(ix)
        } else {
            self.middle(if is_end { arc.from } else { arc.to })
        };
        (0, toward)
    }

    /// Gives each edge its own place on the sides of its boxes.
    fn give_ports(&mut self) {
        let mut sides: BTreeMap<(usize, Side), Vec<Turn>> = BTreeMap::new();
        for (ix, arc) in self.graph.edges.iter().enumerate() {
            sides.entry((arc.from, self.side(ix, false))).or_default().push((ix, false));
            sides.entry((arc.to, self.side(ix, true))).or_default().push((ix, true));
        }
        for ((node, _), mut ends) in sides {
            ends.sort_by(|a, b| {
                let (a, b) = (self.port_key(a.0, a.1), self.port_key(b.0, b.1));
                a.0.cmp(&b.0).then(a.1.total_cmp(&b.1))
            });
            let middle = self.middle(node);
            let level = ends.iter().position(|&(ix, is_end)| {
                let (group, toward) = self.port_key(ix, is_end);
                group == 0 && self.ranks.is_forward[ix] && toward == middle
            });
            let n = ends.len() as f64;
            let centre = level.map_or(0.5 * (n - 1.0), |level| level as f64);
            let most = centre.max(n - 1.0 - centre).max(1.0);
            let size = if self.graph.is_small[node] { self.sizes.small.1 } else { self.sizes.across };
            let step = (0.5 * size - 7.0).max(2.0) / most;
            let step = step.min(if self.sizes.is_down { 30.0 } else { 22.0 });
            for (place, (ix, is_end)) in ends.into_iter().enumerate() {
                self.ports[ix][usize::from(is_end)] = middle + (place as f64 - centre) * step;
            }
        }
    }

    /// The turns of an edge: the channel, the order within it, and which one it is.
    fn turns_of(&self, ix: usize) -> Vec<(usize, Key, Turn)> {
        let arc = &self.graph.edges[ix];
        let (from, to) = (self.ranks.rank[arc.from], self.ranks.rank[arc.to]);
        let [start, end] = self.ports[ix];
        let forward = |at: f64, goes_to: f64| if goes_to > at { (1, -at) } else { (2, at) };
        if self.ranks.is_forward[ix] {
            if !self.is_long(ix) {
                return if start == end { Vec::new() } else { vec![(to, forward(start, end), (ix, true))] };
            }
            let line = self.line(ix);
            let mut turns = Vec::new();
            if start != line {
                turns.push((from + 1, forward(start, line), (ix, false)));
            }
            if end != line {
                turns.push((to, forward(line, end), (ix, true)));
            }
            return turns;
        }
        let lane = self.line(ix);
        let out = (from + 1, (0, lane), (ix, false));
        let into = (to, (3, -lane), (ix, true));
        match (self.ranks.is_return[arc.from], self.ranks.is_return[arc.to]) {
            (false, false) => vec![out, into],
            (false, true) => vec![out],
            (true, false) => vec![into],
            (true, true) if to <= from => vec![(from, (3, -lane), (ix, true))],
            (true, true) => vec![out],
        }
    }

    /// Gives each turn its own track, and each rank its place.
    fn cut_tracks(&mut self) {
        let mut channels: BTreeMap<usize, Vec<(Key, Turn)>> = BTreeMap::new();
        for ix in 0..self.graph.edges.len() {
            for (channel, key, turn) in self.turns_of(ix) {
                channels.entry(channel).or_default().push((key, turn));
            }
        }
        let mut at = MARGIN;
        for channel in 0..=self.ranks.n {
            let mut turns = channels.remove(&channel).unwrap_or_default();
            turns.sort_by(|(a, _), (b, _)| a.0.cmp(&b.0).then(a.1.total_cmp(&b.1)));
            let n = turns.len() as f64;
            let is_outer = channel == 0 || channel == self.ranks.n;
            let least = if is_outer { 0.0 } else { self.sizes.channel };
            let arrow = if channel == self.ranks.n { 0.0 } else { 8.0 };
            let room = if n > 0.0 { least.max((n + 1.0) * self.sizes.track + arrow) } else { least };
            for (place, (_, turn)) in turns.into_iter().enumerate() {
                let share = (place as f64 + 1.0) / (n + 1.0);
                self.turns.insert(turn, at + (room - arrow) * share);
            }
            at += room;
            if channel < self.ranks.n {
                self.rank_at.push(at);
                at += self.longest_of(channel);
            }
        }
        self.along_end = at + MARGIN;
    }

    /// Longest box of a rank, along.
    fn longest_of(&self, rank: usize) -> f64 {
        let nodes = (0..self.graph.n).filter(|node| self.ranks.rank[*node] == rank);
        nodes.map(|node| self.size(node).0).fold(0.0, f64::max)
    }

    /// Size of a node, along and across.
    fn size(&self, node: usize) -> (f64, f64) {
        if self.graph.is_small[node] { self.sizes.small } else { (self.sizes.along, self.sizes.across) }
    }

    fn draw(&self) -> Layout {
        let turned = |along: f64, across: f64| {
            if self.sizes.is_down { Point { x: across, y: along } } else { Point { x: along, y: across } }
        };
        let frames = (0..self.graph.n).map(|node| {
            let (along, across) = self.size(node);
            let at = turned(self.rank_at[self.ranks.rank[node]], self.middle(node) - 0.5 * across);
            let size = turned(along, across);
            Frame { x: at.x, y: at.y, width: size.x, height: size.y }
        });
        let routes = (0..self.graph.edges.len()).map(|ix| {
            let corners = self.corners(ix);
            corners.into_iter().map(|(along, across)| turned(along, across)).collect()
        });
        let size = turned(self.along_end, self.across_end);
        Layout { width: size.x, height: size.y, frames: frames.collect(), routes: routes.collect() }
    }

    /// Where an edge touches its node, along.
    fn touch(&self, ix: usize, is_end: bool) -> f64 {
        let arc = &self.graph.edges[ix];
        let node = if is_end { arc.to } else { arc.from };
        let begin = self.rank_at[self.ranks.rank[node]];
        match self.side(ix, is_end) {
            Side::Back => begin,
            Side::Front => begin + self.size(node).0,
        }
    }

    fn corners(&self, ix: usize) -> Vec<(f64, f64)> {
        let [start, end] = self.ports[ix];
        let arc = &self.graph.edges[ix];
        // What brings back has several places at its sides: an edge runs level with its own.
        let line = match (self.ranks.is_return[arc.from], self.ranks.is_return[arc.to]) {
            (_, true) if !self.ranks.is_forward[ix] => end,
            (true, false) if !self.ranks.is_forward[ix] => start,
            (_, _) => self.line(ix),
        };
        let mut corners = vec![(self.touch(ix, false), start)];
        let first = self.turns.get(&(ix, false)).copied();
        let last = self.turns.get(&(ix, true)).copied();
        let is_short = self.ranks.is_forward[ix] && !self.is_long(ix);
        if let Some(first) = first {
            corners.extend([(first, start), (first, line)]);
        }
        if let Some(last) = last {
            let before =
                if is_short || (first.is_none() && self.ranks.is_return[arc.from]) { start } else { line };
            corners.extend([(last, before), (last, end)]);
        }
        corners.push((self.touch(ix, true), end));
        corners.dedup();
        corners
    }
}
