//! Seeded luck of the tests, independent of the luck that is tested.

/// A stream of numbers: splitmix64 (Steele, Lea and Flood, 2014).
#[derive(Clone, Debug)]
pub struct Luck(u64);

impl Luck {
    /// The stream of a seed.
    pub fn new(seed: u64) -> Self {
        Luck(seed.wrapping_mul(0x9E37_79B9_7F4A_7C15) ^ 0x5851_F42D_4C95_7F2D)
    }

    /// 64 random bits.
    pub fn bits(&mut self) -> u64 {
        self.0 = self.0.wrapping_add(0x9E37_79B9_7F4A_7C15);
        let mut z = self.0;
        z = (z ^ (z >> 30)).wrapping_mul(0xBF58_476D_1CE4_E5B9);
        z = (z ^ (z >> 27)).wrapping_mul(0x94D0_49BB_1331_11EB);
        z ^ (z >> 31)
    }

    /// A number below `n`; 0 if `n` is 0.
    pub fn below(&mut self, n: usize) -> usize {
        ((u128::from(self.bits()) * n as u128) >> 64) as usize
    }

    /// A number from `from` to `to`, both included.
    pub fn within(&mut self, from: usize, to: usize) -> usize {
        from + self.below(to + 1 - from)
    }

    /// True in so many of a hundred cases.
    pub fn percent(&mut self, percent: usize) -> bool {
        self.below(100) < percent
    }

    /// A number between two others.
    pub fn between(&mut self, from: f64, to: f64) -> f64 {
        from + (to - from) * (self.bits() >> 11) as f64 / (1_u64 << 53) as f64
    }

    /// One of several.
    pub fn one<T: Copy>(&mut self, of: &[T]) -> T {
        of[self.below(of.len())]
    }
}
