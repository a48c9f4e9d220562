//! Verdict on a mean while the replications come in: "the mean rate is at least R".
//!
//! For the clause on the average. One-sided t limits at the looks of a fixed schedule, the error spread over the looks as
//! in [`super::sequential`]. It runs no replications and knows nothing of single shifts; what the method cannot see is said
//! at [`MeanPlan`]. Invariant: no look before ten replications, and no decision from values without spread before the last.

use serde::Serialize;

use super::estimate::{mean_lower_limit, mean_upper_limit};
use super::sequential::Verdict;
use super::spending::{Schedule, Spending};
use super::{CannotSay, Moments, at_least};

/// Spending for a mean unless the user says otherwise: late, because t intervals at tiny errors and small counts are not to
/// be trusted with skewed values (see [`MeanPlan`]).
pub const SPENDING_FOR_MEAN: Spending = Spending::ObrienFlemingType;

/// Fewest replications at which a t interval is looked at.
pub const FEWEST_FOR_MEAN: u64 = 10;

/// A fixed plan to decide "the mean is at least R" from one value per replication.
///
/// One-sided t limits at each look, errors by the spending function (union bound over looks). Exact for normal values
/// only. Looks below ten replications are left out and their error goes to the next. Equal values throughout have shown no
/// spread to judge by: they decide at the last look only.
///
/// **Limits of the method.** With many good shifts and few bad ones (exponential below the best; 20 to 1000
/// replications) a line that just fails is called proved with chance 0.02 under [`SPENDING_FOR_MEAN`], 0.06 under
/// [`super::sequential::SPENDING`]. Where bad shifts are rare and very bad (one in fifty loses a sixth of the rate) the sample may hold none,
/// and mean and error are both too kind: such a line is called proved with chance 0.3 even
/// under the late spending. No interval from the values alone helps; demand a chance as well.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct MeanPlan {
    required: f64,
    error_each_way: f64,
    spending: Spending,
    /// Replications and error of each look.
    looks: Vec<(u64, f64)>,
}

/// What a look at a mean found. In the unit of the values.
#[derive(Debug, Clone, Copy, PartialEq, Serialize)]
pub struct MeanLook {
    /// Replications at this look.
    pub replications: u64,
    /// Mean so far.
    pub mean: f64,
    /// Its standard error.
    pub standard_error: f64,
    /// One-sided lower limit at the look's error.
    pub lower: f64,
    /// One-sided upper limit at the look's error.
    pub upper: f64,
    /// Error of each limit.
    pub error: f64,
    /// Verdict of this look alone.
    pub verdict: Verdict,
}

impl MeanPlan {
    /// Makes the plan.
    ///
    /// # Errors
    /// A required mean that is not finite, a budget below ten, or a spending function that cannot be evaluated.
    pub fn new(
        required: f64,
        schedule: &Schedule,
        spending: Spending,
        error_each_way: f64,
    ) -> Result<Self, CannotSay> {
        if !required.is_finite() {
            return Err(CannotSay::NotFinite);
        }
        at_least(schedule.budget(), FEWEST_FOR_MEAN)?;
        let allowed = spending.over(schedule, error_each_way)?;
        let mut spent = 0.0;
        let mut looks = Vec::with_capacity(allowed.len());
        for (&n, &allowance) in schedule.looks().iter().zip(&allowed) {
            if n >= FEWEST_FOR_MEAN {
                looks.push((n, allowance - spent));
                spent = allowance;
            }
        }
        Ok(Self { required, error_each_way, spending, looks })
    }

    /// Replications and error of each look.
    pub fn looks(&self) -> &[(u64, f64)] {
        &self.looks
    }

    /// Judges the values so far at the look with this index.
    ///
    /// # Errors
    /// There is no such look, the count of values is not that of the look, or values are not finite.
    pub fn look(&self, index: usize, values: &Moments) -> Result<MeanLook, CannotSay> {
        let &(replications, error) =
            self.looks.get(index).ok_or(CannotSay::OutOfRange { what: "look", value: index as f64 })?;
        if values.count() != replications {
            return Err(CannotSay::OutOfRange { what: "values at this look", value: values.count() as f64 });
        }
        let (Some(mean), Some(standard_error)) = (values.mean(), values.standard_error()) else {
            return Err(CannotSay::TooFew { have: values.count(), need: FEWEST_FOR_MEAN });
        };
        let (lower, upper) = if error > 0.0 {
            (mean_lower_limit(values, error)?, mean_upper_limit(values, error)?)
        } else {
            (f64::NEG_INFINITY, f64::INFINITY)
        };
        let unseen_spread = standard_error == 0.0 && index + 1 < self.looks.len();
        let verdict = if unseen_spread {
            Verdict::Open
        } else if lower >= self.required {
            Verdict::Proved
        } else if upper < self.required {
            Verdict::Disproved
        } else {
            Verdict::Open
        };
        Ok(MeanLook { replications, mean, standard_error, lower, upper, error, verdict })
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::statistics::sequential::{FIRST_LOOK, GROWTH, SPENDING};
    use crate::statistics::test_draws::{Draws, assert_share};

    /// Runs a plan for the mean on values of the given law until it decides.
    fn decide(plan: &MeanPlan, mut draw: impl FnMut() -> f64) -> Verdict {
        let mut values = Moments::new();
        let mut verdict = Verdict::Open;
        for (index, &(n, _)) in plan.looks().iter().enumerate() {
            while values.count() < n {
                values.push(draw());
            }
            verdict = verdict.then(plan.look(index, &values).unwrap().verdict);
            if verdict != Verdict::Open {
                break;
            }
        }
        verdict
    }

    #[test]
    fn a_mean_just_met_is_misjudged_no_more_often_than_stated() {
        let schedule = Schedule::geometric(10, GROWTH, 200).unwrap();
        let plan = MeanPlan::new(60.0, &schedule, SPENDING, 0.025).unwrap();
        let mut draws = Draws::seeded(77);
        let trials = 10_000;
        let (mut proved, mut disproved) = (0, 0);
        for _ in 0..trials {
            let verdict = decide(&plan, || 60.0 + 2.0 * draws.normal());
            proved += u32::from(verdict == Verdict::Proved);
            disproved += u32::from(verdict == Verdict::Disproved);
        }
        // Not above 0.025 by more than 4.5 standard errors, and not so rare that the plan would be idle.
        let allowed = 0.025 + 4.5 * (0.025_f64 * 0.975 / f64::from(trials)).sqrt();
        for wrong in [proved, disproved] {
            let share = f64::from(wrong) / f64::from(trials);
            assert!(share < allowed && share > 0.005, "{share}");
        }
    }

    #[test]
    fn skewed_values_need_the_late_spending() {
        // Many good shifts and few bad ones, exponential below the best: the t interval is too kind when the sample is
        // small and the error tiny. Spending late keeps the stated error; spending early does not, which is why the two
        // kinds of clause have two defaults.
        let schedule = Schedule::geometric(FIRST_LOOK, GROWTH, 1000).unwrap();
        let mut draws = Draws::seeded(79);
        let trials = 4000;
        let mut wrong = |spending| {
            let plan = MeanPlan::new(60.0, &schedule, spending, 0.025).unwrap();
            (0..trials).filter(|_| decide(&plan, || 61.0 - draws.exponential(1.0)) == Verdict::Proved).count()
        };
        let (late, early) = (wrong(SPENDING_FOR_MEAN) as f64 / 4000.0, wrong(SPENDING) as f64 / 4000.0);
        // Standard error at 0.025: 0.0025; 0.036 is 4.5 of them above the stated error.
        assert!(late < 0.036 && early > 0.036, "late {late}, early {early}");
    }

    #[test]
    fn a_mean_clearly_met_or_missed_is_decided() {
        let schedule = Schedule::geometric(5, GROWTH, 200).unwrap();
        let plan = MeanPlan::new(60.0, &schedule, SPENDING, 0.025).unwrap();
        assert!(plan.looks().iter().all(|look| look.0 >= 10));
        let total: f64 = plan.looks().iter().map(|look| look.1).sum();
        assert!((total - 0.025).abs() < 1e-15);
        let mut draws = Draws::seeded(78);
        let trials = 1000;
        let (mut proved, mut disproved) = (0, 0);
        for _ in 0..trials {
            proved += u32::from(decide(&plan, || 61.0 + 2.0 * draws.normal()) == Verdict::Proved);
            disproved += u32::from(decide(&plan, || 59.0 + 2.0 * draws.normal()) == Verdict::Disproved);
        }
        // Half a standard deviation off with 200 replications: seven standard errors, so practically always.
        assert_share("proved", proved, trials, 1.0, 0.001);
        assert_share("disproved", disproved, trials, 1.0, 0.001);
    }

    #[test]
    fn a_line_without_luck_is_judged_by_its_value() {
        let plan = MeanPlan::new(60.0, &Schedule::once(10).unwrap(), SPENDING, 0.025).unwrap();
        let at: Moments = [60.0; 10].into_iter().collect();
        assert_eq!(plan.look(0, &at).unwrap().verdict, Verdict::Proved);
        let below: Moments = [59.9; 10].into_iter().collect();
        assert_eq!(plan.look(0, &below).unwrap().verdict, Verdict::Disproved);
        // Before the last look equal values say nothing of the spread.
        let longer = Schedule::geometric(10, 2.0, 20).unwrap();
        let patient = MeanPlan::new(60.0, &longer, SPENDING, 0.025).unwrap();
        assert_eq!(patient.look(0, &at).unwrap().verdict, Verdict::Open);
        let all: Moments = [60.0; 20].into_iter().collect();
        assert_eq!(patient.look(1, &all).unwrap().verdict, Verdict::Proved);
        assert!(plan.look(1, &at).is_err());
        assert!(plan.look(0, &Moments::new()).is_err());
    }
}
