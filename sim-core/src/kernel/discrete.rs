//! Draws from finitely many values: the alias method, and the search of a ladder of cumulative chances.
//!
//! Both take one word per draw. The alias method is the faster for long lists; the ladder is monotone in the
//! uniform. Invariant: a value of weight zero is never drawn.

use super::luck::Stream;

/// Tail of a counting law that is cut off, as a share of the whole; far below the grid of the uniforms (2^-53).
const CUT: f64 = 1e-18;

/// Alias table: Walker (1977), built as by Vose (1991).
#[derive(Clone, Debug)]
pub(super) struct Alias {
    columns: Box<[Column]>,
}

#[derive(Clone, Copy, Debug)]
struct Column {
    /// The column's own value is drawn below this.
    share: u64,
    own: f64,
    other: f64,
}

impl Alias {
    /// Table of (value, weight) with at least one weight above zero.
    pub(super) fn new(rows: &[(f64, f64)]) -> Self {
        let rows: Vec<(f64, f64)> = rows.iter().copied().filter(|row| row.1 > 0.0).collect();
        let sum: f64 = rows.iter().map(|row| row.1).sum();
        let mut height: Vec<f64> = rows.iter().map(|row| row.1 / sum * rows.len() as f64).collect();
        let mut columns: Vec<Column> =
            rows.iter().map(|row| Column { share: u64::MAX, own: row.0, other: row.0 }).collect();
        let (mut short, mut tall): (Vec<usize>, Vec<usize>) = (0..rows.len()).partition(|&i| height[i] < 1.0);
        while let (Some(&low), Some(&high)) = (short.last(), tall.last()) {
            short.pop();
            // A float above 2^64 saturates, which is what a full column means.
            columns[low].share = (height[low] * 18_446_744_073_709_551_616.0) as u64;
            columns[low].other = rows[high].0;
            height[high] -= 1.0 - height[low];
            if height[high] < 1.0 {
                tall.pop();
                short.push(high);
            }
        }
        Alias { columns: columns.into() }
    }

    #[inline]
    pub(super) fn draw(&self, stream: &mut Stream) -> f64 {
        let wide = u128::from(stream.next_u64()) * self.columns.len() as u128;
        let column = &self.columns[(wide >> 64) as usize];
        if (wide as u64) < column.share { column.own } else { column.other }
    }
}

/// Cumulative chances; rung `i` is drawn when the uniform lies below its top and not below the one before.
#[derive(Clone, Debug)]
pub(super) struct Ladder {
    tops: Box<[f64]>,
}

impl Ladder {
    /// Ladder of weights, in the order given; at least one above zero.
    pub(super) fn new(weights: &[f64]) -> Self {
        let sum: f64 = weights.iter().sum();
        let mut below = 0.0;
        let mut tops: Vec<f64> = weights
            .iter()
            .map(|weight| {
                below += weight;
                below / sum
            })
            .collect();
        // Rounding may leave the last top under one; everything above belongs to the last value of any weight.
        if let Some(last) = weights.iter().rposition(|weight| *weight > 0.0) {
            tops[last..].fill(f64::INFINITY);
        }
        Ladder { tops: tops.into() }
    }

    /// Rung of the uniform `u`, non-decreasing in it.
    #[inline]
    pub(super) fn rung(&self, u: f64) -> usize {
        self.tops.partition_point(|top| *top <= u)
    }
}

/// Weights of a counting law from its mode outwards by the ratio of neighbours, `up(k)` = P(k + 1) / P(k), to where
/// the rest is below [`CUT`]. Returns the first count and the weights. Needs no factorials, so that it stays exact
/// for large means.
pub(super) fn weights_around(mode: u64, up: impl Fn(u64) -> f64) -> (u64, Vec<f64>) {
    // Where the ratio of neighbours is r < 1 and falling, the rest of the tail is below weight * r / (1 - r).
    let goes_on = |weight: f64, ratio: f64| ratio >= 1.0 || weight * ratio > CUT * (1.0 - ratio);
    let mut right = vec![1.0];
    let (mut k, mut weight) = (mode, 1.0);
    while goes_on(weight, up(k)) {
        weight *= up(k);
        k += 1;
        right.push(weight);
    }
    let mut left = Vec::new();
    let (mut k, mut weight) = (mode, 1.0);
    while k > 0 && goes_on(weight, 1.0 / up(k - 1)) {
        k -= 1;
        weight /= up(k);
        left.push(weight);
    }
    left.reverse();
    left.append(&mut right);
    (k, left)
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn alias_columns_add_up_to_the_weights() {
        let rows = [(1.0, 5.0), (2.0, 0.0), (3.0, 1.0), (4.0, 2.5), (5.0, 0.1), (6.0, 11.4)];
        let alias = Alias::new(&rows);
        assert_eq!(alias.columns.len(), 5);
        for (value, weight) in rows {
            let share: f64 = alias
                .columns
                .iter()
                .map(|c| {
                    let own = c.share as f64 / 2f64.powi(64);
                    let (is_own, is_other) = (c.own == value, c.other == value);
                    own * f64::from(u8::from(is_own)) + (1.0 - own) * f64::from(u8::from(is_other))
                })
                .sum();
            assert!((share / 5.0 - weight / 20.0).abs() < 1e-15, "{value}: {share}");
        }
    }

    #[test]
    fn ladder_never_gives_a_weightless_rung() {
        let ladder = Ladder::new(&[0.0, 0.1, 0.0, 0.2, 0.0]);
        assert_eq!(ladder.rung(f64::MIN_POSITIVE), 1);
        assert_eq!(ladder.rung(0.33), 1);
        assert_eq!(ladder.rung(0.34), 3);
        assert_eq!(ladder.rung(1.0 - f64::EPSILON / 2.0), 3);
    }

    #[test]
    fn poisson_weights_are_the_exact_chances() {
        let (first, weights) = weights_around(3, |k| 3.2 / (k + 1) as f64);
        let sum: f64 = weights.iter().sum();
        assert_eq!(first, 0);
        let mut exact = libm::exp(-3.2);
        for (k, weight) in weights.iter().enumerate() {
            assert!((weight / sum / exact - 1.0).abs() < 1e-14, "count {k}");
            exact *= 3.2 / (k + 1) as f64;
        }
        assert!(exact < 1e-18 && exact > 1e-20, "cut at {exact}");
    }
}
