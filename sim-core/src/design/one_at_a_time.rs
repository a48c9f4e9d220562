//! One factor at a time: each moved alone from a middle point, down and up, all else left as it is.
//!
//! The cheapest look at many factors, drawn as a tornado. It says nothing of interactions: see [`super::effects`] and
//! [`super::shares`]. All points are one block: they run on the same luck, and each difference is taken shift by shift.

use super::{Values, at_least};
use crate::statistics::{CannotSay, Estimate, Moments};

/// The points: the middle, then for each factor its low and its high one.
#[derive(Debug, Clone, PartialEq)]
pub struct OneAtATime {
    middle: Vec<f64>,
    ends: Vec<(f64, f64)>,
}

/// What moving one factor does.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Swing {
    /// Value at the low point less that in the middle.
    pub low: Estimate,
    /// Value at the high point less that in the middle.
    pub high: Estimate,
    /// Value at the high point less that at the low one.
    pub whole: Estimate,
}

impl Swing {
    /// How far the value moves: from the lowest to the highest of low, middle and high. By this factors are ranked.
    pub fn size(&self) -> f64 {
        let (low, high) = (self.low.mean, self.high.mean);
        low.max(high).max(0.0) - low.min(high).min(0.0)
    }

    /// Whether one of the three differences is clear of zero at its level.
    pub fn is_clear(&self) -> bool {
        [self.low, self.high, self.whole].iter().any(|e| e.low > 0.0 || e.high < 0.0)
    }
}

impl OneAtATime {
    /// Around `middle`; each factor to both of its ends.
    ///
    /// # Errors
    /// If there are not as many ends as coordinates of the middle.
    pub fn new(middle: Vec<f64>, ends: Vec<(f64, f64)>) -> Result<Self, CannotSay> {
        if middle.len() != ends.len() {
            return Err(CannotSay::NotPaired { first: middle.len() as u64, second: ends.len() as u64 });
        }
        Ok(OneAtATime { middle, ends })
    }

    /// Number of points: one, and two for each factor.
    pub fn len(&self) -> usize {
        1 + 2 * self.ends.len()
    }

    /// Never: the middle is a point.
    pub fn is_empty(&self) -> bool {
        false
    }

    /// The coordinates of a point, into `at`: 0 is the middle, 2i + 1 the low and 2i + 2 the high point of factor i.
    ///
    /// # Panics
    /// If there is no such point.
    pub fn point(&self, index: usize, at: &mut Vec<f64>) {
        at.clear();
        at.extend_from_slice(&self.middle);
        if let Some(n) = index.checked_sub(1) {
            let (low, high) = self.ends[n / 2];
            at[n / 2] = if n % 2 == 0 { low } else { high };
        }
    }

    /// What the values at all points say of each factor. `level` holds for each interval alone.
    ///
    /// # Errors
    /// With fewer than two replications, with values that are missing or not finite, or a level outside of (0, 1).
    pub fn swings(&self, values: &[f64], replications: usize, level: f64) -> Result<Vec<Swing>, CannotSay> {
        at_least(replications, 2)?;
        let values = Values::new(values, replications, self.len())?;
        let difference = |from: usize, to: usize| {
            let mut moments = Moments::new();
            values.of(to).iter().zip(values.of(from)).for_each(|(to, from)| moments.push(to - from));
            Estimate::of_mean(&moments, level)
        };
        let swing = |i: usize| {
            let (low, high) = (2 * i + 1, 2 * i + 2);
            Ok(Swing { low: difference(0, low)?, high: difference(0, high)?, whole: difference(low, high)? })
        };
        (0..self.ends.len()).map(swing).collect()
    }
}

#[cfg(test)]
mod tests {
    use super::super::test_functions::{Noise, values_of};
    use super::*;

    fn design() -> OneAtATime {
        OneAtATime::new(vec![0.5, 0.5, 0.25], vec![(0.0, 1.0), (0.4, 0.6), (0.0, 1.0)]).unwrap()
    }

    #[test]
    fn moves_one_factor_and_leaves_the_others() {
        let design = design();
        let mut at = Vec::new();
        let mut point = |index| {
            design.point(index, &mut at);
            at.clone()
        };
        assert_eq!(design.len(), 7);
        assert_eq!(point(0), [0.5, 0.5, 0.25]);
        assert_eq!(point(1), [0.0, 0.5, 0.25]);
        assert_eq!(point(4), [0.5, 0.6, 0.25]);
        assert_eq!(point(6), [0.5, 0.5, 1.0]);
    }

    #[test]
    fn luck_that_all_points_share_drops_out() {
        let design = design();
        let mut noise = Noise::seeded(1);
        let luck: Vec<f64> = (0..5).map(|_| noise.next()).collect();
        let points = (0..design.len()).map(|index| {
            let mut at = Vec::new();
            design.point(index, &mut at);
            at
        });
        // A parabola in the last factor: both ends below the middle.
        let values =
            values_of(points, 5, |at, r| 3.0 * at[0] - at[1] - 16.0 * (at[2] - 0.25).powi(2) + luck[r]);
        let swings = design.swings(&values, 5, 0.95).unwrap();
        let near = |found: f64, expected: f64| assert!((found - expected).abs() < 1e-9, "{found}");
        near(swings[0].low.mean, -1.5);
        near(swings[0].size(), 3.0);
        near(swings[0].whole.standard_error, 0.0);
        near(swings[1].whole.mean, -0.2);
        near(swings[2].low.mean, -1.0);
        near(swings[2].high.mean, -9.0);
        near(swings[2].size(), 9.0);
        assert!(swings.iter().all(Swing::is_clear));
        assert!(design.swings(&values[..7], 1, 0.95).is_err());
        assert!(design.swings(&values[1..], 5, 0.95).is_err());
    }
}
