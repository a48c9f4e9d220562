//! Flows in an absorbing Markov chain, solved exactly.
//!
//! States are (station, class) pairs; a row says where the parts of a state go next, the rest leaves the
//! line. States with a single way on are eliminated first, then the strongly connected parts of what is left
//! are solved one after the other along the flow, so that only real loops cost a decomposition (Kemeny and
//! Snell 1960, fundamental matrix; Tarjan 1972, components). It knows nothing of stations. Invariant: it
//! solves only for live states: reached from the start and able to leave the line; others absorb.

use super::lu::Lu;
use crate::components::components;

/// Share of a row that may be missing to 1 by rounding.
const ROUNDING: f64 = 1e-9;

/// Where the parts of each state go.
#[derive(Debug, Clone)]
pub(super) struct Chain {
    /// (state, share) by state, each state once, shares above 0.
    rows: Vec<Vec<(usize, f64)>>,
    /// Share that leaves the line.
    out: Vec<f64>,
}

impl Chain {
    /// A chain from (row, share that leaves) by state. What a row lacks to 1 leaves, too.
    pub(super) fn new(states: Vec<(Vec<(usize, f64)>, f64)>) -> Self {
        let mut chain =
            Chain { rows: Vec::with_capacity(states.len()), out: Vec::with_capacity(states.len()) };
        for (row, out) in states {
            let mut merged: Vec<(usize, f64)> = Vec::with_capacity(row.len());
            let mut row = row;
            row.sort_by_key(|&(to, _)| to);
            for (to, share) in row {
                match merged.last_mut() {
                    Some((last, sum)) if *last == to => *sum += share,
                    Some(_) | None if share > 0.0 => merged.push((to, share)),
                    Some(_) | None => {}
                }
            }
            let lack = 1.0 - out - merged.iter().map(|(_, share)| share).sum::<f64>();
            chain.out.push(if lack > ROUNDING { out + lack } else { out });
            chain.rows.push(merged);
        }
        chain
    }

    /// Where the parts of a state go: (state, share).
    pub(super) fn row(&self, state: usize) -> &[(usize, f64)] {
        &self.rows[state]
    }

    /// States that are reached from `starts`.
    pub(super) fn reached(&self, starts: impl Iterator<Item = usize>) -> Vec<bool> {
        let mut reached = vec![false; self.rows.len()];
        let mut open: Vec<usize> = starts.collect();
        while let Some(state) = open.pop() {
            if !std::mem::replace(&mut reached[state], true) {
                open.extend(self.rows[state].iter().map(|(to, _)| *to));
            }
        }
        reached
    }

    /// States from which one of `ends` is reached.
    pub(super) fn leading_to(&self, ends: impl Iterator<Item = usize>) -> Vec<bool> {
        let mut before = vec![Vec::new(); self.rows.len()];
        for (state, row) in self.rows.iter().enumerate() {
            row.iter().for_each(|&(to, _)| before[to].push(state));
        }
        let mut leading = vec![false; self.rows.len()];
        let mut open: Vec<usize> = ends.collect();
        while let Some(state) = open.pop() {
            if !std::mem::replace(&mut leading[state], true) {
                open.extend(&before[state]);
            }
        }
        leading
    }

    /// States from which parts can leave the line.
    pub(super) fn with_way_out(&self) -> Vec<bool> {
        self.leading_to((0..self.rows.len()).filter(|&state| self.out[state] > 0.0))
    }

    /// The same chain where all states but `kept` absorb.
    pub(super) fn absorbing_outside(mut self, kept: &[bool]) -> Self {
        for (state, kept) in kept.iter().enumerate() {
            if !kept {
                self.rows[state].clear();
                self.out[state] = 1.0;
            }
        }
        self
    }

    /// Makes the chain solvable for parts that start in `starts`.
    pub(super) fn prepared(self, starts: impl Iterator<Item = usize>) -> Solver {
        let (reached, with_way) = (self.reached(starts), self.with_way_out());
        let live: Vec<bool> = reached.iter().zip(&with_way).map(|(a, b)| *a && *b).collect();
        Solver::new(self.absorbing_outside(&live))
    }
}

/// A strongly connected part of the branching states.
#[derive(Debug, Clone)]
struct Block {
    states: Vec<usize>,
    /// Decomposition of `(I - Q)ᵀ`; `None` for a single state that does not return to itself.
    lu: Option<Lu>,
}

/// A chain, decomposed once for any number of starts.
#[derive(Debug, Clone)]
pub(super) struct Solver {
    chain: Chain,
    /// The branching state at which a state's single ways end; a branching state is its own.
    head: Vec<usize>,
    /// States with a single way on, those furthest from their head first.
    single: Vec<usize>,
    /// Downstream first.
    blocks: Vec<Block>,
    block_of: Vec<usize>,
    place_in_block: Vec<usize>,
}

impl Solver {
    fn new(chain: Chain) -> Self {
        let n = chain.rows.len();
        let way_on = |state: usize| match chain.rows[state][..] {
            [(to, _)] if chain.out[state] == 0.0 && to != state => Some(to),
            _ => None,
        };
        let (mut head, mut depth) = ((0..n).collect::<Vec<_>>(), vec![0_usize; n]);
        let mut single = Vec::new();
        for state in 0..n {
            if way_on(state).is_some() {
                single.push(state);
            }
            while let Some(to) = way_on(head[state]) {
                head[state] = to;
                depth[state] += 1;
                assert!(depth[state] <= n, "live states have a way out, so single ways end");
            }
        }
        single.sort_by_key(|&state| (std::cmp::Reverse(depth[state]), state));
        let found = components(n, |state| {
            if head[state] != state {
                return Vec::new();
            }
            chain.rows[state].iter().map(|&(to, _)| head[to]).collect()
        });
        let mut solver = Solver {
            block_of: vec![usize::MAX; n],
            place_in_block: vec![0; n],
            blocks: Vec::new(),
            chain,
            head,
            single,
        };
        for states in found {
            if solver.head[states[0]] == states[0] {
                solver.add_block(states);
            }
        }
        solver
    }

    fn add_block(&mut self, states: Vec<usize>) {
        let n = states.len();
        for (place, &state) in states.iter().enumerate() {
            self.block_of[state] = self.blocks.len();
            self.place_in_block[state] = place;
        }
        let mut a = vec![0.0; n * n];
        let mut loops = false;
        for (column, &state) in states.iter().enumerate() {
            // 1 minus the share that returns, as a sum without cancelling.
            let mut goes_away = self.chain.out[state];
            for &(to, share) in &self.chain.rows[state] {
                let head = self.head[to];
                if head == state {
                    loops = true;
                    continue;
                }
                goes_away += share;
                if self.block_of[head] == self.blocks.len() {
                    a[self.place_in_block[head] * n + column] -= share;
                }
            }
            a[column * n + column] = goes_away;
        }
        let lu = (n > 1 || loops).then(|| {
            Lu::new(n, a).unwrap_or_else(|| panic!("a loop of live states has a way out: it can be solved"))
        });
        self.blocks.push(Block { states, lu });
    }

    /// Flow through each state if `from_outside` comes into each.
    pub(super) fn flows(&self, from_outside: &[f64]) -> Vec<f64> {
        let mut into = from_outside.to_vec();
        for &state in &self.single {
            into[self.chain.rows[state][0].0] += into[state];
        }
        let mut flow = from_outside.to_vec();
        for (ix, block) in self.blocks.iter().enumerate().rev() {
            let mut x: Vec<f64> = block.states.iter().map(|&state| into[state]).collect();
            if let Some(lu) = &block.lu {
                lu.solve(&mut x);
            }
            for (&state, &x) in block.states.iter().zip(&x) {
                flow[state] = x;
                for &(to, share) in &self.chain.rows[state] {
                    let head = self.head[to];
                    if self.block_of[head] != ix {
                        into[head] += x * share;
                    }
                    if head != to {
                        flow[to] += x * share;
                    }
                }
            }
        }
        for &state in &self.single {
            let to = self.chain.rows[state][0].0;
            if self.head[to] != to {
                flow[to] += flow[state];
            }
        }
        flow
    }

    /// The branching states of each loop.
    pub(super) fn loops(&self) -> Vec<Vec<usize>> {
        self.blocks.iter().filter(|block| block.lu.is_some()).map(|block| block.states.clone()).collect()
    }

    /// Mean number of visits to `counted` states before a part that is in each state of a loop (of
    /// [`Solver::loops`]) leaves the loop for good, the present visit included.
    pub(super) fn visits(&self, states: &[usize], counted: impl Fn(usize) -> bool) -> Vec<f64> {
        let mut x: Vec<f64> = states.iter().map(|&state| if counted(state) { 1.0 } else { 0.0 }).collect();
        if let Some(lu) = &self.blocks[self.block_of[states[0]]].lu {
            lu.solve_transposed(&mut x);
        }
        x
    }
}
