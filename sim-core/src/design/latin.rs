//! Latin hypercube (McKay, Beckman and Conover, 1979, Technometrics 21): of n points, each nth part of the range of each
//! factor has one.
//!
//! The order of the parts is a permutation that can be asked for one place at a time: swap-or-not (Hoang, Morris and
//! Rogaway, 2012, CRYPTO), so that no list of n numbers is kept. Inside of its part a point lies anywhere. Invariant: for each
//! factor the points of all indexes fall into all different parts.

use crate::kernel::luck::{Stream, absorb};
use crate::statistics::CannotSay;

/// Each round leaves a place where it is with chance 1/2, or moves it evenly anywhere: one place is uneven by 2^-64 after
/// so many.
const ROUNDS: usize = 64;
/// 2^-53, the grid of the numbers.
const GRID: f64 = 1.0 / (1_u64 << 53) as f64;

/// A Latin hypercube.
#[derive(Debug, Clone, PartialEq)]
pub struct LatinHypercube {
    len: u64,
    shuffles: Vec<Shuffle>,
}

/// The order of one factor.
#[derive(Debug, Clone, PartialEq)]
struct Shuffle {
    key: u64,
    /// The sum of the two places that a round may swap.
    sums: [u64; ROUNDS],
}

impl LatinHypercube {
    /// So many points for so many factors.
    ///
    /// # Errors
    /// Without a point, or with 2^53 or more.
    pub fn new(len: u64, factors: usize, seed: u64) -> Result<Self, CannotSay> {
        if len == 0 {
            return Err(CannotSay::TooFew { have: 0, need: 1 });
        }
        if len >= 1 << 53 {
            return Err(CannotSay::OutOfRange { what: "points", value: len as f64 });
        }
        let shuffle = |factor: usize| {
            let mut luck = Stream::new(seed, factor as u64, "design", "latin hypercube");
            Shuffle { key: luck.next_u64(), sums: std::array::from_fn(|_| luck.below(len)) }
        };
        Ok(LatinHypercube { len, shuffles: (0..factors).map(shuffle).collect() })
    }

    /// Number of points.
    pub fn len(&self) -> u64 {
        self.len
    }

    /// Never: there is one point at least.
    pub fn is_empty(&self) -> bool {
        self.len == 0
    }

    /// The coordinates of a point in [0, 1), into `at`.
    ///
    /// # Panics
    /// If there is no such point.
    pub fn point(&self, index: u64, at: &mut Vec<f64>) {
        assert!(index < self.len, "a Latin hypercube of {} points has no point {index}", self.len);
        at.clear();
        at.extend(self.shuffles.iter().map(|shuffle| {
            let part = shuffle.place(index, self.len);
            let inside = (absorb(shuffle.key, index) >> 11) as f64 * GRID;
            let at = (part as f64 + inside) / self.len as f64;
            // Rounding must not carry a point into the next part.
            at.min(((part + 1) as f64 / self.len as f64).next_down())
        }));
    }
}

impl Shuffle {
    /// Where a place of 0..n goes.
    fn place(&self, place: u64, n: u64) -> u64 {
        let mut x = place;
        for (round, sum) in self.sums.iter().enumerate() {
            let other = if *sum >= x { sum - x } else { sum + n - x };
            // Places are below 2^53: round and place together are one word.
            let pair = absorb(self.key, ((round as u64 + 1) << 54) | x.max(other));
            if pair >> 63 == 1 {
                x = other;
            }
        }
        x
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn points(n: u64, factors: usize, seed: u64) -> Vec<Vec<f64>> {
        let cube = LatinHypercube::new(n, factors, seed).unwrap();
        let mut at = Vec::new();
        let mut point = |index| {
            cube.point(index, &mut at);
            at.clone()
        };
        (0..n).map(&mut point).collect()
    }

    #[test]
    fn each_part_of_each_range_has_one_point() {
        for n in [1, 2, 3, 4, 10, 97, 1000] {
            let points = points(n, 3, 7);
            for factor in 0..3 {
                let mut parts: Vec<u64> =
                    points.iter().map(|point| (point[factor] * n as f64) as u64).collect();
                parts.sort_unstable();
                assert!(parts.into_iter().eq(0..n), "{n} points, factor {factor}");
            }
        }
    }

    #[test]
    fn the_seed_decides_and_nothing_else() {
        assert_eq!(points(50, 2, 1), points(50, 2, 1));
        assert_ne!(points(50, 2, 1), points(50, 2, 2));
        let wide = points(50, 5, 1);
        assert!(points(50, 2, 1).iter().zip(&wide).all(|(a, b)| a[..] == b[..2]), "factors do not touch");
    }

    #[test]
    fn all_orders_are_as_likely() {
        // 24 orders of four places; 24,000 seeds: standard error of a count sqrt(24000/24 * 23/24) = 31; allowed: 5 of
        // them, a false alarm of 24 * 6e-7.
        let mut counts = std::collections::BTreeMap::new();
        for seed in 0..24_000 {
            let order: Vec<u64> = points(4, 1, seed).iter().map(|point| (4.0 * point[0]) as u64).collect();
            *counts.entry(order).or_insert(0_i32) += 1;
        }
        assert_eq!(counts.len(), 24);
        assert!(counts.values().all(|n| (n - 1000).abs() < 155), "{counts:?}");
    }

    #[test]
    fn factors_are_unrelated() {
        let points = points(10_000, 2, 3);
        let sum: f64 = points.iter().map(|at| 12.0 * (at[0] - 0.5) * (at[1] - 0.5)).sum();
        // Standard error 1 / sqrt(10000) = 0.01; allowed: 4.5 of them.
        assert!((sum / 10_000.0).abs() < 0.045);
    }

    /// Stein (1987): for a sum of functions of one factor each, the error of the mean almost vanishes.
    #[test]
    fn the_mean_of_a_sum_is_sharp() {
        let points = points(1000, 4, 5);
        let mean = points.iter().map(|at| at.iter().map(|x| x * x).sum::<f64>()).sum::<f64>() / 1000.0;
        // Independent points: standard error sqrt(4 * 4/45 / 1000) = 0.019. Here: 4 * (1/12) * E[(2x)^2] / 1000^3 =
        // 4.4e-10, root 2.1e-5; allowed: 4.5 of them.
        assert!((mean - 4.0 / 3.0).abs() < 9.5e-5, "{mean}");
    }
}
