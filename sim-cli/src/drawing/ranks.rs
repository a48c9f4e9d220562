//! Ranks of a drawing: how far along the flow each node stands.
//!
//! It knows a graph and no station. Edges that close a loop are set apart, so that the others have no cycle; nodes that
//! only bring back what was sent off are set apart with them. Invariant: along every forward edge the rank rises.

/// A graph to be laid out.
#[derive(Debug, Clone, Default)]
pub(crate) struct Graph {
    /// Number of nodes.
    pub(crate) n: usize,
    /// Edges.
    pub(crate) edges: Vec<Arc>,
    /// Nodes whose edges lead back, whatever the graph looks like.
    pub(crate) brings_back: Vec<bool>,
    /// Nodes that are drawn small.
    pub(crate) is_small: Vec<bool>,
}

/// An edge.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(crate) struct Arc {
    pub(crate) from: usize,
    pub(crate) to: usize,
    /// The larger, the more it wants to be straight.
    pub(crate) weight: f64,
}

/// What stands where along the flow.
#[derive(Debug, Clone, Default)]
pub(crate) struct Ranks {
    /// Rank of each node.
    pub(crate) rank: Vec<usize>,
    /// Whether an edge runs forward; the others run in the lanes of what comes back.
    pub(crate) is_forward: Vec<bool>,
    /// Nodes that stand in such a lane.
    pub(crate) is_return: Vec<bool>,
    /// Number of ranks.
    pub(crate) n: usize,
}

impl Ranks {
    /// Ranks of a graph: longest path from the sources; sources stand just before the first that they feed.
    pub(crate) fn of(graph: &Graph) -> Self {
        let closes = closing_edges(graph);
        let mut is_return = vec![false; graph.n];
        for (node, returns) in is_return.iter_mut().enumerate() {
            let mut out = graph.edges.iter().zip(&closes).filter(|(arc, _)| arc.from == node).peekable();
            *returns = out.peek().is_some() && out.all(|(_, closes)| *closes);
            *returns &= graph.edges.iter().any(|arc| arc.to == node);
        }
        let is_forward: Vec<bool> = graph
            .edges
            .iter()
            .zip(&closes)
            .map(|(arc, closes)| !closes && !is_return[arc.to] && !is_return[arc.from])
            .collect();
        let mut ranks = Ranks { rank: vec![0; graph.n], is_forward, is_return, n: 0 };
        ranks.push_on(graph);
        ranks.pull_sources(graph);
        ranks.place_returns(graph);
        ranks.n = ranks.rank.iter().max().map_or(0, |rank| rank + 1);
        ranks
    }

    /// Forward edges.
    pub(crate) fn forward<'a>(&'a self, graph: &'a Graph) -> impl Iterator<Item = (usize, &'a Arc)> {
        graph.edges.iter().enumerate().filter(|(ix, _)| self.is_forward[*ix])
    }

    fn push_on(&mut self, graph: &Graph) {
        // Without a cycle the ranks settle after as many rounds as there are nodes.
        for _ in 0..graph.n {
            let mut is_settled = true;
            for ix in 0..graph.edges.len() {
                let arc = graph.edges[ix];
                if self.is_forward[ix] && self.rank[arc.to] <= self.rank[arc.from] {
                    self.rank[arc.to] = self.rank[arc.from] + 1;
                    is_settled = false;
                }
            }
            if is_settled {
                break;
            }
        }
    }

    /// A source, and what follows it alone, stands as near as it can to what it feeds.
    fn pull_sources(&mut self, graph: &Graph) {
        for _ in 0..graph.n {
            let mut is_settled = true;
            for node in (0..graph.n).filter(|node| !self.is_return[*node]) {
                let next = self.forward(graph).filter(|(_, arc)| arc.from == node);
                let Some(nearest) = next.map(|(_, arc)| self.rank[arc.to]).min() else { continue };
                if nearest > self.rank[node] + 1 {
                    self.rank[node] = nearest - 1;
                    is_settled = false;
                }
            }
            if is_settled {
                break;
            }
        }
    }

    fn place_returns(&mut self, graph: &Graph) {
        for node in (0..graph.n).filter(|node| self.is_return[*node]).collect::<Vec<_>>() {
            let to = graph.edges.iter().filter(|arc| arc.from == node && !self.is_return[arc.to]);
            let to = to.map(|arc| self.rank[arc.to]).min();
            let from = graph.edges.iter().filter(|arc| arc.to == node && !self.is_return[arc.from]);
            let from = from.map(|arc| self.rank[arc.from]).max();
            let ends = [to.or(from).unwrap_or(0), from.or(to).unwrap_or(0)];
            self.rank[node] = ends.iter().sum::<usize>().div_ceil(2);
        }
    }
}

/// Edges that close a loop: those of nodes that bring back, and those that a walk along the flow finds to lead to where
/// it came from.
fn closing_edges(graph: &Graph) -> Vec<bool> {
    let mut closes: Vec<bool> = graph.edges.iter().map(|arc| graph.brings_back[arc.from]).collect();
    let mut is_fed = vec![false; graph.n];
    graph
        .edges
        .iter()
        .zip(&closes)
        .filter(|(_, closes)| !**closes)
        .for_each(|(arc, _)| is_fed[arc.to] = true);
    let sources = (0..graph.n).filter(|node| !is_fed[*node]);
    let starts: Vec<usize> = sources.chain(0..graph.n).collect();
    // 0: not seen, 1: on the way, 2: done.
    let mut seen = vec![0_u8; graph.n];
    for start in starts {
        if seen[start] > 0 {
            continue;
        }
        seen[start] = 1;
        let mut walk = vec![(start, 0)];
        while let Some((node, at)) = walk.last_mut() {
            let next = (*at..graph.edges.len()).find(|ix| graph.edges[*ix].from == *node && !closes[*ix]);
            let Some(ix) = next else {
                seen[*node] = 2;
                walk.pop();
                continue;
            };
            *at = ix + 1;
            let to = graph.edges[ix].to;
            match seen[to] {
                0 => {
                    seen[to] = 1;
                    walk.push((to, 0));
                }
                1 => closes[ix] = true,
                _ => {}
            }
        }
    }
    closes
}

#[cfg(test)]
mod tests {
    use super::*;

    fn graph(n: usize, edges: &[(usize, usize)], brings_back: &[usize]) -> Graph {
        Graph {
            n,
            edges: edges.iter().map(|&(from, to)| Arc { from, to, weight: 1.0 }).collect(),
            brings_back: (0..n).map(|node| brings_back.contains(&node)).collect(),
            is_small: vec![false; n],
        }
    }

    #[test]
    fn loops_are_set_apart_and_what_brings_back_stands_below_its_loop() {
        // 0 bin, 1 lift, 2 path, 3 belt back to 2, 4 track, 5 box that is emptied into 0.
        let graph = graph(6, &[(0, 1), (1, 2), (2, 3), (3, 2), (2, 4), (4, 5), (5, 0)], &[3]);
        let ranks = Ranks::of(&graph);
        assert_eq!(ranks.is_forward, [true, true, false, false, true, false, false]);
        assert_eq!(ranks.is_return, [false, false, false, true, false, true]);
        assert_eq!(ranks.rank, [0, 1, 2, 2, 3, 2]);
        assert_eq!(ranks.n, 4);
    }

    #[test]
    fn a_source_stands_just_before_what_it_feeds() {
        let graph = graph(5, &[(0, 1), (1, 2), (2, 3), (4, 3)], &[]);
        assert_eq!(Ranks::of(&graph).rank, [0, 1, 2, 3, 2]);
    }
}
