//! When one may look at growing results, and how much error each look may spend.
//!
//! For verdicts that are asked again and again while replications come in. A schedule is a list of replication counts
//! fixed before the first replication; nothing in it depends on what is seen. A spending function says which part of the
//! total error may have been spent when a fraction t of the budget is used. Invariant: counts rise strictly and end at
//! the budget; what is spent rises from 0 to exactly the total.

use serde::Serialize;

use super::quantiles::normal_upper;
use super::special::normal_cdf;
use super::{CannotSay, inside_unit};

/// Most looks that a schedule may have.
const MOST_LOOKS: usize = 1000;

/// Replication counts at which one looks, rising, the last one the budget.
#[derive(Debug, Clone, PartialEq, Eq, Serialize)]
pub struct Schedule {
    looks: Vec<u64>,
}

impl Schedule {
    /// Looks at `first`, then each time `growth` times as many replications (rounded up), and at `budget`.
    ///
    /// # Errors
    /// `first` is 0 or above the budget, growth is not above 1 or so close to it that a thousand looks do not suffice.
    pub fn geometric(first: u64, growth: f64, budget: u64) -> Result<Self, CannotSay> {
        if first == 0 || first > budget {
            return Err(CannotSay::OutOfRange { what: "first look", value: first as f64 });
        }
        if !(growth.is_finite() && growth > 1.0) {
            return Err(CannotSay::OutOfRange { what: "growth between looks", value: growth });
        }
        let mut looks = Vec::new();
        let mut next = first;
        while next < budget {
            looks.push(next);
            if looks.len() >= MOST_LOOKS {
                return Err(CannotSay::OutOfRange { what: "growth between looks", value: growth });
            }
            // A cast from float saturates, so a huge growth ends at the budget.
            next = ((next as f64 * growth).ceil() as u64).max(next + 1);
        }
        looks.push(budget);
        Ok(Self { looks })
    }

    /// A single look at the end: a fixed sample.
    ///
    /// # Errors
    /// A budget of 0.
    pub fn once(budget: u64) -> Result<Self, CannotSay> {
        Self::geometric(budget, 2.0, budget)
    }

    /// The replication counts.
    pub fn looks(&self) -> &[u64] {
        &self.looks
    }

    /// The last look: the most replications that will be run.
    pub fn budget(&self) -> u64 {
        *self.looks.last().expect("a schedule has at least one look")
    }
}

/// How the total error is spent over the fraction t of the budget.
#[derive(Debug, Clone, Copy, PartialEq, Serialize)]
#[serde(tag = "name", rename_all = "snake_case")]
pub enum Spending {
    /// 2 - 2 Phi(z/sqrt(t)), z the upper half-error point: next to nothing early, nearly all at the end (Lan & DeMets
    /// 1983, Biometrika 70, after O'Brien & Fleming 1979). For when the budget will mostly be used up.
    ObrienFlemingType,
    /// error ln(1 + (e-1) t): nearly even (Lan & DeMets 1983, after Pocock 1977).
    PocockType,
    /// error t^rho (Kim & DeMets 1987, Biometrika 74). Below 1 it spends early, for quick decisions.
    Power {
        /// Exponent, above 0.
        rho: f64,
    },
}

impl Spending {
    /// Error spent when the fraction `t` of the budget (0 to 1) is used, out of `total`.
    ///
    /// # Errors
    /// `total` or `t` out of range, or a power that is not positive.
    pub fn spent(self, total: f64, t: f64) -> Result<f64, CannotSay> {
        inside_unit("total error", total)?;
        if !(0.0..=1.0).contains(&t) {
            return Err(CannotSay::OutOfRange { what: "fraction of the budget", value: t });
        }
        if let Self::Power { rho } = self
            && !(rho.is_finite() && rho > 0.0)
        {
            return Err(CannotSay::OutOfRange { what: "power of the spending", value: rho });
        }
        if t == 0.0 {
            return Ok(0.0);
        }
        if t == 1.0 {
            // Exactly the total, whatever the rounding of the formulas.
            return Ok(total);
        }
        let spent = match self {
            Self::ObrienFlemingType => 2.0 * normal_cdf(-normal_upper(0.5 * total) / t.sqrt()),
            Self::PocockType => total * libm::log1p((std::f64::consts::E - 1.0) * t),
            Self::Power { rho } => total * libm::pow(t, rho),
        };
        Ok(spent.min(total))
    }

    /// Error that may be spent in all up to each look of the schedule.
    ///
    /// # Errors
    /// As for [`Spending::spent`].
    pub fn over(self, schedule: &Schedule, total: f64) -> Result<Vec<f64>, CannotSay> {
        let budget = schedule.budget() as f64;
        schedule.looks().iter().map(|&n| self.spent(total, n as f64 / budget)).collect()
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_schedule_rises_to_its_budget() {
        assert_eq!(Schedule::geometric(10, 1.5, 60).unwrap().looks(), [10, 15, 23, 35, 53, 60]);
        assert_eq!(Schedule::geometric(1, 1.001, 4).unwrap().looks(), [1, 2, 3, 4]);
        assert_eq!(Schedule::geometric(5, 1e300, 2000).unwrap().looks(), [5, 2000]);
        assert_eq!(Schedule::once(368).unwrap().looks(), [368]);
        assert!(Schedule::geometric(0, 2.0, 10).is_err() && Schedule::geometric(11, 2.0, 10).is_err());
        assert!(
            Schedule::geometric(1, 1.0, 10).is_err() && Schedule::geometric(1, 1.0001, 1_000_000).is_err()
        );
    }

    #[test]
    fn spending_has_the_values_of_its_formulas() {
        // Lan & DeMets (1983): formulas. At total 0.025, t = 0.5, the first gives 2 - 2 Phi(2.2414/0.70711) = 0.001525
        // (standard tables of group sequential designs, from memory: 0.0015).
        let first = Spending::ObrienFlemingType.spent(0.025, 0.5).unwrap();
        assert!((first - 0.001_525).abs() < 1e-6, "{first}");
        // ln(1 + 1.718282/2) = 0.620115.
        let even = Spending::PocockType.spent(0.025, 0.5).unwrap();
        assert!((even - 0.025 * 0.620_115).abs() < 1e-7, "{even}");
        assert_eq!(Spending::Power { rho: 2.0 }.spent(0.025, 0.5), Ok(0.00625));
    }

    #[test]
    fn all_is_spent_at_the_end_and_never_taken_back() {
        let schedule = Schedule::geometric(7, 1.3, 900).unwrap();
        let kinds = [Spending::ObrienFlemingType, Spending::PocockType, Spending::Power { rho: 0.3 }];
        for kind in kinds {
            let spent = kind.over(&schedule, 0.025).unwrap();
            assert_eq!(spent.last(), Some(&0.025));
            assert!(spent.windows(2).all(|pair| pair[0] <= pair[1]), "{kind:?}");
        }
        assert!(Spending::Power { rho: 0.0 }.over(&schedule, 0.025).is_err());
        assert!(Spending::PocockType.spent(0.025, 1.5).is_err());
    }
}
