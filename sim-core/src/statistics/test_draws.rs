//! Seeded draws for the tests of this folder, by inversion or sums; nothing here is meant for simulation.

use rand_xoshiro::Xoshiro256PlusPlus;
use rand_xoshiro::rand_core::{Rng, SeedableRng};

/// Seeded uniform, normal and exponential draws.
pub(crate) struct Draws(Xoshiro256PlusPlus);

impl Draws {
    pub(crate) fn seeded(seed: u64) -> Self {
        Self(Xoshiro256PlusPlus::seed_from_u64(seed))
    }

    /// Uniform, strictly between 0 and 1.
    pub(crate) fn uniform(&mut self) -> f64 {
        ((self.0.next_u64() >> 12) as f64 + 0.5) / (1_u64 << 52) as f64
    }

    pub(crate) fn exponential(&mut self, mean: f64) -> f64 {
        -mean * libm::log(self.uniform())
    }

    /// Standard normal (Box & Muller 1958).
    pub(crate) fn normal(&mut self) -> f64 {
        let radius = (-2.0 * libm::log(self.uniform())).sqrt();
        radius * libm::cos(2.0 * std::f64::consts::PI * self.uniform())
    }
}

/// The generator x <- 16807 x mod (2^31 - 1) from seed 1 (Park & Miller 1988, Communications of the ACM 31(10)).
pub(crate) struct Lehmer(u64);

impl Lehmer {
    pub(crate) fn new() -> Self {
        Self(1)
    }

    fn step(&mut self) -> u64 {
        self.0 = 16_807 * self.0 % 2_147_483_647;
        self.0
    }

    pub(crate) fn uniform(&mut self) -> f64 {
        self.step() as f64 / 2_147_483_647.0
    }

    /// Sum of twelve uniforms minus six: mean 0, variance 1, nearly normal.
    pub(crate) fn noise(&mut self) -> f64 {
        (0..12).map(|_| self.uniform()).sum::<f64>() - 6.0
    }
}

#[test]
fn the_generator_passes_its_classic_test() {
    // Check row S-09: 10 000 steps from seed 1, Park & Miller (1988).
    let mut generator = Lehmer::new();
    let last = (0..10_000).map(|_| generator.step()).last();
    assert_eq!(last, Some(1_043_618_065));
}

/// Fails unless a share counted in `trials` lies within 4.5 standard errors of the expected one (chance of a false
/// alarm 7e-6); `extra_error` is the standard error of the expected share itself.
pub(crate) fn assert_share(what: &str, hits: u32, trials: u32, expected: f64, extra_error: f64) {
    let share = f64::from(hits) / f64::from(trials);
    let variance = expected * (1.0 - expected) / f64::from(trials) + extra_error * extra_error;
    let allowed = 4.5 * variance.sqrt();
    assert!((share - expected).abs() <= allowed, "{what}: {share}, expected {expected} +/- {allowed}");
}
