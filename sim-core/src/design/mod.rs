//! Designs: at which points a function of several numbers is looked at, and what its values there say.
//!
//! Points lie in the unit cube, one coordinate for each factor, and are found by their index, so that any number of them
//! needs no memory and a study can be cut anywhere. Nothing here knows what a factor is or how a value is come by: a plain
//! function serves as well as a simulation. Invariant: a point depends on the design, its seed and its index alone.
//!
//! **Luck.** Values that luck touches come in replications. A design says which *block* a point belongs to. The points of
//! a block are meant to be run on the same luck (the same replication numbers), those of different blocks on different
//! luck. Differences inside a block are then sharp, blocks are independent, and an interval that is taken over blocks holds
//! the error of sampling and the error of simulation together. Where squares or absolute values are averaged, factors
//! of a product are taken from different replications, so that luck does not pass for an effect.
//!
//! | module | idea |
//! |---|---|
//! | [`grid`] | all combinations of levels |
//! | [`latin`] | Latin hypercube: each factor evenly spread |
//! | [`sobol`] | Sobol sequence, plain or scrambled: all evenly spread together |
//! | [`one_at_a_time`] | each factor moved alone, down and up |
//! | [`effects`] | elementary effects on random ways through the cube |
//! | [`shares`] | which share of the variance is due to which factor |

pub mod effects;
pub mod grid;
mod joe_kuo;
pub mod latin;
pub mod one_at_a_time;
pub mod shares;
pub mod sobol;
#[cfg(test)]
mod test_functions;

pub use effects::{Effect, Trajectories, Trajectory};
pub use grid::Grid;
pub use latin::LatinHypercube;
pub use one_at_a_time::{OneAtATime, Swing};
pub use shares::{FactorShares, PairShare, ShareDesign, Shares};
pub use sobol::Sobol;

use crate::statistics::CannotSay;

/// Values of the points of a block, in replications on the same luck.
#[derive(Debug, Clone, Copy)]
pub struct Values<'a> {
    values: &'a [f64],
    replications: usize,
}

impl<'a> Values<'a> {
    /// All replications of the first point, then those of the second, and so on.
    ///
    /// # Errors
    /// If there are no replications, or not as many for each of `n_points`, or a value is not finite.
    pub fn new(values: &'a [f64], replications: usize, n_points: usize) -> Result<Self, CannotSay> {
        if replications == 0 {
            return Err(CannotSay::TooFew { have: 0, need: 1 });
        }
        let (have, need) = (values.len() as u64, (n_points * replications) as u64);
        if have != need {
            return Err(CannotSay::NotPaired { first: have, second: need });
        }
        if values.iter().any(|value| !value.is_finite()) {
            return Err(CannotSay::NotFinite);
        }
        Ok(Values { values, replications })
    }

    /// The replications of a point.
    fn of(&self, point: usize) -> &'a [f64] {
        &self.values[point * self.replications..(point + 1) * self.replications]
    }

    /// Mean product of two columns of replications over all pairs of different ones, so that luck, which they share
    /// replication by replication, drops out of its expectation. One replication has no luck: the plain product.
    fn across(&self, a: impl Fn(usize) -> f64, b: impl Fn(usize) -> f64) -> f64 {
        let (mut sum_a, mut sum_b, mut same) = (0.0, 0.0, 0.0);
        for r in 0..self.replications {
            let (a, b) = (a(r), b(r));
            sum_a += a;
            sum_b += b;
            same += a * b;
        }
        match self.replications {
            1 => same,
            n => (sum_a * sum_b - same) / (n as f64 * (n as f64 - 1.0)),
        }
    }
}

/// Refuses a number of something that is below `need`.
fn at_least(have: usize, need: u64) -> Result<(), CannotSay> {
    if (have as u64) < need { Err(CannotSay::TooFew { have: have as u64, need }) } else { Ok(()) }
}
