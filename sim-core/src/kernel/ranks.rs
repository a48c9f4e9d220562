//! A set of ranks that gives back the lowest first: who has to be looked at, downstream first.

/// Most members that a set can hold (64 words of 64).
pub const RANKS_MAX: usize = 64 * 64;

/// A set of small numbers with constant-time insert and pop of the lowest.
#[derive(Clone, Debug, Default)]
pub struct RankSet {
    /// Which words hold anything.
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
        RankSet { summary: 0, words: vec![0; n.div_ceil(64).max(1)] }
    }

    /// Adds `rank`.
    #[inline]
    pub fn insert(&mut self, rank: u16) {
        let word = usize::from(rank >> 6);
        self.words[word] |= 1 << (rank & 63);
        self.summary |= 1 << word;
    }

    /// Takes the lowest rank out.
    #[inline]
    pub fn pop(&mut self) -> Option<u16> {
        if self.summary == 0 {
            return None;
        }
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
    #[inline]
    pub fn is_empty(&self) -> bool {
        self.summary == 0
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
}
