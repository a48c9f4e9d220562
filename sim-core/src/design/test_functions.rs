//! Functions whose effects and shares are known, and luck, for the tests of this folder.

use crate::kernel::luck::Stream;
use std::f64::consts::PI;

/// Ishigami and Homma (1990): sin x1 + 7 sin^2 x2 + 0.1 x3^4 sin x1, all from -pi to pi.
pub(super) fn ishigami(at: &[f64]) -> f64 {
    let [x1, x2, x3] = [at[0], at[1], at[2]].map(|u| PI * (2.0 * u - 1.0));
    libm::sin(x1) + 7.0 * libm::sin(x2).powi(2) + 0.1 * x3.powi(4) * libm::sin(x1)
}

/// Saltelli and Sobol (1995): product of (|4 x - 2| + a) / (1 + a).
pub(super) fn g_function(at: &[f64], a: &[f64]) -> f64 {
    at.iter().zip(a).map(|(x, a)| ((4.0 * x - 2.0).abs() + a) / (1.0 + a)).product()
}

/// All replications of all points in order.
pub(super) fn values_of(
    points: impl IntoIterator<Item = Vec<f64>>,
    replications: usize,
    mut function: impl FnMut(&[f64], usize) -> f64,
) -> Vec<f64> {
    let mut values = Vec::new();
    for point in points {
        values.extend((0..replications).map(|r| function(&point, r)));
    }
    values
}

/// Standard normal luck.
pub(super) struct Noise(Stream);

impl Noise {
    pub(super) fn seeded(seed: u64) -> Self {
        Noise(Stream::new(seed, 0, "test", "noise"))
    }

    pub(super) fn next(&mut self) -> f64 {
        self.0.normal()
    }
}
