//! Full grid: all combinations of the levels of several factors.
//!
//! It gives numbers of levels, not values. Invariant: the last factor changes fastest, as digits do in a number.

use crate::statistics::CannotSay;

/// All combinations of levels.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Grid {
    levels: Vec<u64>,
    len: u64,
}

impl Grid {
    /// A grid with so many levels for each factor.
    ///
    /// # Errors
    /// If a factor has no level, or there are 2^64 combinations or more.
    pub fn new(levels: Vec<u64>) -> Result<Self, CannotSay> {
        if levels.contains(&0) {
            return Err(CannotSay::TooFew { have: 0, need: 1 });
        }
        let product = |len: Option<u64>, n: &u64| len?.checked_mul(*n);
        let Some(len) = levels.iter().fold(Some(1), product) else {
            let value = levels.iter().map(|n| *n as f64).product();
            return Err(CannotSay::OutOfRange { what: "points of the grid", value });
        };
        Ok(Grid { levels, len })
    }

    /// Number of points.
    pub fn len(&self) -> u64 {
        self.len
    }

    /// Never: without factors there is one point.
    pub fn is_empty(&self) -> bool {
        self.len == 0
    }

    /// The level of each factor at a point, from 0, into `at`.
    ///
    /// # Panics
    /// If there is no such point.
    pub fn point(&self, index: u64, at: &mut Vec<u64>) {
        assert!(index < self.len, "a grid of {} points has no point {index}", self.len);
        at.clear();
        at.resize(self.levels.len(), 0);
        let mut rest = index;
        for (digit, n) in at.iter_mut().zip(&self.levels).rev() {
            *digit = rest % n;
            rest /= n;
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn goes_through_all_combinations_like_digits() {
        let grid = Grid::new(vec![2, 1, 3]).unwrap();
        let mut at = Vec::new();
        let points: Vec<Vec<u64>> = (0..grid.len())
            .map(|index| {
                grid.point(index, &mut at);
                at.clone()
            })
            .collect();
        assert_eq!(points, [[0, 0, 0], [0, 0, 1], [0, 0, 2], [1, 0, 0], [1, 0, 1], [1, 0, 2]]);
    }

    #[test]
    fn refuses_what_cannot_be_counted() {
        assert!(Grid::new(vec![3, 0]).is_err());
        assert!(Grid::new(vec![1 << 32, 1 << 32]).is_err());
        assert_eq!(Grid::new(vec![1 << 32, 1 << 31]).unwrap().len(), 1 << 63);
        assert_eq!(Grid::new(Vec::new()).unwrap().len(), 1);
    }
}
