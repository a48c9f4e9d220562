//! A set of ranks that gives back the lowest first: who has to be looked at, downstream first.

/// Most members that a set can hold (64 words of 64).
pub const RANKS_MAX: usize = 64 * 64;

/// A set of small numbers with constant-time insert and pop of the lowest.
#[derive(Clone, Debug, Default)]
pub struct RankSet {
    /// Ranks below 64, kept apart: most lines have no others.
    low: u64,
    /// Which of the further words hold anything.
    summary: u64,
    words: Vec<u64>,
}

impl RankSet {
    /// An empty set for ranks below `n`.
    ///
    /// # Panics
    /// If `n` exceeds [`RANKS_MAX`]; the network refuses such a line before.
    pub fn new(n: usize) -> Self {
        assert!(n <= RANKS_MAX, "a line has at most {RANKS_MAX} stations, found {n}");
        RankSet { low: 0, summary: 0, words: vec![0; n.div_ceil(64)] }
    }

    /// Adds `rank`.
    #[inline(always)]
    pub fn insert(&mut self, rank: u16) {
        if rank < 64 {
            self.low |= 1 << rank;
        } else {
            self.insert_high(rank);
        }
    }

    /// Adds `rank`; `near` says that all ranks of the set are below 64.
    #[inline(always)]
    pub(crate) fn insert_in(&mut self, rank: u16, near: bool) {
        if near { self.low |= 1 << (rank & 63) } else { self.insert(rank) }
    }

    fn insert_high(&mut self, rank: u16) {
        let word = usize::from(rank >> 6);
        self.words[word] |= 1 << (rank & 63);
        self.summary |= 1 << word;
    }

    /// Takes the lowest rank out.
    #[inline(always)]
    pub fn pop(&mut self) -> Option<u16> {
        self.pop_in(false)
    }

    /// The same; `near` says that all ranks of the set are below 64.
    #[inline(always)]
    pub(crate) fn pop_in(&mut self, near: bool) -> Option<u16> {
        if self.low != 0 {
            let rank = self.low.trailing_zeros();
            self.low &= self.low - 1;
            return Some(rank as u16);
        }
        if near || self.summary == 0 { None } else { self.pop_high() }
    }

    fn pop_high(&mut self) -> Option<u16> {
        let word = self.summary.trailing_zeros();
        let bits = &mut self.words[word as usize];
        let bit = bits.trailing_zeros();
        *bits &= *bits - 1;
        if *bits == 0 {
            self.summary &= self.summary - 1;
        }
        Some((word << 6 | bit) as u16)
    }

    /// Whether the set is empty.
    #[inline(always)]
    pub fn is_empty(&self) -> bool {
        self.is_empty_in(false)
    }

    /// The same; `near` says that all ranks of the set are below 64.
    #[inline(always)]
    pub(crate) fn is_empty_in(&self, near: bool) -> bool {
        self.low == 0 && (near || self.summary == 0)
    }

    /// Whether a rank below `rank` is in the set; for ranks of 64 and more, whether any is.
    #[inline(always)]
    pub fn has_below(&self, rank: u16) -> bool {
        if rank < 64 { self.low & ((1 << rank) - 1) != 0 } else { !self.is_empty() }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn gives_the_lowest_first_across_words() {
        let mut set = RankSet::new(200);
        for rank in [130, 5, 64, 5, 199, 63] {
            set.insert(rank);
        }
        let order: Vec<u16> = std::iter::from_fn(|| set.pop()).collect();
        assert_eq!(order, [5, 63, 64, 130, 199]);
        assert!(set.is_empty());
    }

    #[test]
    fn tells_whether_somebody_comes_first() {
        let mut set = RankSet::new(200);
        assert!(!set.has_below(3) && !set.has_below(150));
        set.insert(3);
        assert!(!set.has_below(3));
        assert!(set.has_below(4) && set.has_below(150));
    }
}
