//! Nodes and weights for numerical integration.
//!
//! For the tolerance factors and the selection constants. Gauss-Legendre in panels, with fixed nodes, so that the same
//! integral has the same bits everywhere. No error control: the integrands here are smooth and bell-shaped, and the
//! callers' tests hold the digits.

use std::f64::consts::PI;

/// Nodes per panel.
const NODES: u32 = 16;

/// A point and its weight.
#[derive(Debug, Clone, Copy)]
pub(crate) struct Node {
    pub(crate) at: f64,
    pub(crate) weight: f64,
}

/// Gauss-Legendre nodes in `panels` equal panels over the range from `low` to `high`.
pub(crate) fn panels(low: f64, high: f64, panels: u32) -> Vec<Node> {
    let width = (high - low) / f64::from(panels);
    let mut nodes = Vec::with_capacity((panels * NODES) as usize);
    for panel in 0..panels {
        let middle = low + width * (f64::from(panel) + 0.5);
        for k in 0..NODES {
            let (x, w) = legendre_node(k);
            nodes.push(Node { at: middle + 0.5 * width * x, weight: 0.5 * width * w });
        }
    }
    nodes
}

/// The k-th root of the Legendre polynomial of degree [`NODES`] with its weight (Abramowitz & Stegun 1964, 25.4.29).
fn legendre_node(k: u32) -> (f64, f64) {
    let n = f64::from(NODES);
    let mut x = libm::cos(PI * (f64::from(k) + 0.75) / (n + 0.5));
    let mut slope = 1.0;
    // Newton's method converges from this start in four or five steps.
    for _ in 0..8 {
        let (mut previous, mut value) = (1.0, x);
        for j in 2..=NODES {
            let j = f64::from(j);
            let next = ((2.0 * j - 1.0) * x * value - (j - 1.0) * previous) / j;
            previous = value;
            value = next;
        }
        slope = n * (x * value - previous) / (x * x - 1.0);
        x -= value / slope;
    }
    (x, 2.0 / ((1.0 - x * x) * slope * slope))
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn polynomials_are_integrated_exactly() {
        // A rule of 16 nodes is exact up to degree 31.
        let sum: f64 = panels(0.0, 2.0, 1).iter().map(|n| n.weight * libm::pow(n.at, 31.0)).sum();
        let exact = libm::pow(2.0, 32.0) / 32.0;
        assert!((sum / exact - 1.0).abs() < 1e-13);
        let length: f64 = panels(-3.0, 4.0, 5).iter().map(|n| n.weight).sum();
        assert!((length - 7.0).abs() < 1e-13);
    }
}
