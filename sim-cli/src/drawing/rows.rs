//! Rows of a drawing: where each node stands across the flow, and which cells an edge passes through.
//!
//! Nodes that follow each other are strung on chains; a chain lies straight in one row. The main chain gets row 0,
//! others the nearest row that is free for as long as they need it. What comes back runs below all that it passes.
//! Invariant: no cell of a row is used twice.

use super::ranks::{Graph, Ranks};
use std::collections::BTreeSet;

/// What stands where across the flow.
#[derive(Debug, Clone, Default)]
pub(crate) struct Rows {
    /// Row of each node.
    pub(crate) row: Vec<Option<isize>>,
    /// Row along which an edge passes the ranks between its ends.
    pub(crate) line: Vec<isize>,
    /// Whether an edge joins two nodes that follow each other in a chain.
    pub(crate) is_in_chain: Vec<bool>,
}

/// Cells (row, rank) that are taken.
#[derive(Debug, Default)]
struct Taken(BTreeSet<(isize, usize)>);

impl Taken {
    fn is_free(&self, row: isize, from: usize, to: usize) -> bool {
        (from..=to).all(|rank| !self.0.contains(&(row, rank)))
    }

    fn take(&mut self, row: isize, from: usize, to: usize) {
        (from..=to).for_each(|rank| {
            self.0.insert((row, rank));
        });
    }

    fn lowest(&self) -> Option<isize> {
        self.0.iter().map(|(row, _)| *row).max()
    }

    /// The highest row from which on downward nothing stands at these ranks.
    fn below(&self, from: usize, to: usize) -> isize {
        let rows = self.0.iter().filter(|(_, rank)| (from..=to).contains(rank)).map(|(row, _)| row + 1);
        rows.max().unwrap_or(0)
    }
}

/// A chain of nodes, and the ranks that it needs free.
struct Chain {
    nodes: Vec<usize>,
}

impl Rows {
    /// Rows of a graph with these ranks.
    pub(crate) fn of(graph: &Graph, ranks: &Ranks) -> Self {
        let mut rows = Rows {
            row: vec![None; graph.n],
            line: vec![0; graph.edges.len()],
            is_in_chain: vec![false; graph.edges.len()],
        };
        let mut taken = Taken::default();
        let mut has_line = vec![false; graph.edges.len()];
        let mut chains = rows.string(graph, ranks);
        while !chains.is_empty() {
            let (next, is_joined) = rows.next_chain(graph, ranks, &chains);
            let chain = chains.remove(next);
            rows.place(graph, ranks, &chain, is_joined, &mut taken, &mut has_line);
        }
        rows.place_long_edges(graph, ranks, &mut taken, &has_line);
        rows.place_returns(graph, ranks, &mut taken);
        rows
    }

    /// Strings the nodes: the heaviest edges first.
    fn string(&mut self, graph: &Graph, ranks: &Ranks) -> Vec<Chain> {
        let mut order: Vec<usize> = ranks.forward(graph).map(|(ix, _)| ix).collect();
        order.sort_by(|&a, &b| graph.edges[b].weight.total_cmp(&graph.edges[a].weight));
        let (mut next, mut before) = (vec![None; graph.n], vec![None; graph.n]);
        for ix in order {
            let arc = graph.edges[ix];
            if next[arc.from].is_none() && before[arc.to].is_none() {
                (next[arc.from], before[arc.to]) = (Some(arc.to), Some(arc.from));
                self.is_in_chain[ix] = true;
            }
        }
        let heads = (0..graph.n).filter(|node| before[*node].is_none() && !ranks.is_return[*node]);
        heads
            .map(|head| {
                let walk = std::iter::successors(Some(head), |node| next[*node]);
                Chain { nodes: walk.collect() }
            })
            .collect()
    }

    /// Where a chain hangs on what is placed: the heaviest edge that comes, and the one that goes.
    fn joints(&self, graph: &Graph, ranks: &Ranks, chain: &Chain) -> (Option<usize>, Option<usize>) {
        let (Some(&head), Some(&tail)) = (chain.nodes.first(), chain.nodes.last()) else {
            return (None, None);
        };
        let heavier = |a: &usize, b: &usize| graph.edges[*a].weight.total_cmp(&graph.edges[*b].weight);
        let comes = ranks.forward(graph).filter(|(_, arc)| arc.to == head && self.row[arc.from].is_some());
        let goes = ranks.forward(graph).filter(|(_, arc)| arc.from == tail && self.row[arc.to].is_some());
        (comes.map(|(ix, _)| ix).max_by(heavier), goes.map(|(ix, _)| ix).max_by(heavier))
    }

    /// How far after (or before) the straight edge of the same node in the file the joint of a chain stands.
    fn offset(&self, graph: &Graph, (comes, goes): (Option<usize>, Option<usize>)) -> Option<isize> {
        let joint = comes.or(goes)?;
        let is_beside = |arc: &super::ranks::Arc| match comes {
            Some(comes) => arc.from == graph.edges[comes].from,
            None => arc.to == graph.edges[joint].to,
        };
        let straight =
            (0..graph.edges.len()).find(|ix| self.is_in_chain[*ix] && is_beside(&graph.edges[*ix]));
        Some(joint as isize - straight? as isize)
    }

    /// The next chain to be placed: the longest of those that hang on what is placed, and of equal ones that which
    /// stands nearest to its straight neighbour in the file; else the longest.
    fn next_chain(&self, graph: &Graph, ranks: &Ranks, chains: &[Chain]) -> (usize, bool) {
        let hangs = |chain: &Chain| {
            ranks.forward(graph).any(|(_, arc)| {
                let one = chain.nodes.contains(&arc.from) && self.row[arc.to].is_some();
                one || (chain.nodes.contains(&arc.to) && self.row[arc.from].is_some())
            })
        };
        let key = |(_, chain): &(usize, &Chain)| {
            let far = self.offset(graph, self.joints(graph, ranks, chain)).map_or(0, isize::unsigned_abs);
            (usize::MAX - chain.nodes.len(), far)
        };
        let joined = chains.iter().enumerate().filter(|(_, chain)| hangs(chain)).min_by_key(key);
        match joined {
            Some((ix, _)) => (ix, true),
            None => (chains.iter().enumerate().min_by_key(key).map_or(0, |(ix, _)| ix), false),
        }
    }

    fn place(
        &mut self,
        graph: &Graph,
        ranks: &Ranks,
        chain: &Chain,
        is_joined: bool,
        taken: &mut Taken,
        has_line: &mut [bool],
    ) {
        let (Some(&head), Some(&tail)) = (chain.nodes.first(), chain.nodes.last()) else { return };
        let (comes, goes) = self.joints(graph, ranks, chain);
        let from = comes.map_or(ranks.rank[head], |ix| ranks.rank[graph.edges[ix].from] + 1);
        let to = goes.map_or(ranks.rank[tail], |ix| ranks.rank[graph.edges[ix].to] - 1);
        let near = comes.and_then(|ix| self.row[graph.edges[ix].from]);
        let beyond = goes.and_then(|ix| self.row[graph.edges[ix].to]);
        let row = match near.or(beyond) {
            Some(row) => {
                let is_after = self.offset(graph, (comes, goes)).is_none_or(|offset| offset > 0);
                nearest_free(taken, row, from, to, is_after)
            }
            None if is_joined => nearest_free(taken, 0, from, to, true),
            None => taken.lowest().map_or(0, |row| row + 1),
        };
        taken.take(row, from, to);
        chain.nodes.iter().for_each(|node| self.row[*node] = Some(row));
        for ix in comes.into_iter().chain(goes) {
            (self.line[ix], has_line[ix]) = (row, true);
        }
        for (ix, arc) in ranks.forward(graph) {
            if self.is_in_chain[ix] && chain.nodes.contains(&arc.from) {
                (self.line[ix], has_line[ix]) = (row, true);
            }
        }
    }

    /// Edges past other ranks that run in the row of neither chain so far.
    fn place_long_edges(&mut self, graph: &Graph, ranks: &Ranks, taken: &mut Taken, has_line: &[bool]) {
        for (ix, arc) in ranks.forward(graph).filter(|(ix, _)| !has_line[*ix]) {
            let (from, to) = (ranks.rank[arc.from] + 1, ranks.rank[arc.to] - 1);
            let rows = [self.row[arc.to], self.row[arc.from]];
            let target = rows[0].unwrap_or(0);
            self.line[ix] = if from > to {
                target
            } else {
                let free = rows.into_iter().flatten().find(|row| taken.is_free(*row, from, to));
                let row = free.unwrap_or_else(|| nearest_free(taken, target, from, to, true));
                taken.take(row, from, to);
                row
            };
        }
    }

    /// What comes back: short ways first, so that they lie inside.
    fn place_returns(&mut self, graph: &Graph, ranks: &Ranks, taken: &mut Taken) {
        let mut items: Vec<(usize, usize, Option<usize>, Vec<usize>)> = Vec::new();
        let n_edges = graph.edges.len();
        for node in (0..graph.n).filter(|node| ranks.is_return[*node]) {
            // An edge between two that bring back belongs to the one that it leaves.
            let own =
                |arc: &super::ranks::Arc| arc.from == node || (arc.to == node && !ranks.is_return[arc.from]);
            let edges: Vec<usize> = (0..n_edges).filter(|ix| own(&graph.edges[*ix])).collect();
            let ends = edges.iter().flat_map(|ix| [graph.edges[*ix].from, graph.edges[*ix].to]);
            let span: Vec<usize> = ends.chain([node]).map(|end| ranks.rank[end]).collect();
            let (low, high) = (span.iter().min(), span.iter().max());
            items.push((low.copied().unwrap_or(0), high.copied().unwrap_or(0), Some(node), edges));
        }
        for ix in (0..n_edges).filter(|ix| !ranks.is_forward[*ix]) {
            let arc = graph.edges[ix];
            if !ranks.is_return[arc.from] && !ranks.is_return[arc.to] {
                let (a, b) = (ranks.rank[arc.from], ranks.rank[arc.to]);
                items.push((a.min(b), a.max(b), None, vec![ix]));
            }
        }
        items.sort_by_key(|(low, high, node, _)| (high - low, node.is_none(), *low));
        for (low, high, node, edges) in items {
            let row = taken.below(low, high);
            taken.take(row, low, high);
            if let Some(node) = node {
                self.row[node] = Some(row);
            }
            edges.iter().for_each(|ix| self.line[*ix] = row);
        }
    }
}

/// The row nearest to `row` that is free; below first, or above first.
fn nearest_free(taken: &Taken, row: isize, from: usize, to: usize, below_first: bool) -> isize {
    let side = if below_first { 1 } else { -1 };
    let mut candidates = (1..).flat_map(|far| [row + side * far, row - side * far]);
    candidates.find(|row| taken.is_free(*row, from.min(to), to.max(from))).unwrap_or(row)
}
