//! Verdicts while the replications come in: proved, disproved, or open.
//!
//! Here: the clause "the *chance* of a shift to make the rate is at least q", and the joint verdict over clauses; the
//! clause on the *mean* is in [`super::mean_plan`]. Both are asked only at the looks of a fixed schedule. Each side (wrongly proved, wrongly disproved) has its own total error,
//! spread over the looks by a spending function; the chance of a wrong verdict at any look is at most the sum of the
//! chances at each look (union bound, Bonferroni). That holds for exact tests of discrete counts whatever the dependence
//! between looks; boundaries computed for a normal process do not. Nothing here runs replications. Invariant: the first
//! verdict that is not open stands; a schedule, its errors and its limits are fixed before the first result.

use serde::Serialize;

use super::order::fewest_powers;
use super::proportion::{lower_limit, upper_limit};
use super::special::{binomial_at_least, binomial_at_most};
use super::spending::{Schedule, Spending};
use super::{CannotSay, inside_unit};

/// Error of each side in all, over all looks and clauses, unless the user says otherwise.
pub const ERROR_EACH_WAY: f64 = 0.025;

/// First look unless the user says otherwise. Too early to prove, early enough to disprove a hopeless line.
pub const FIRST_LOOK: u64 = 20;

/// Growth of the replication count from look to look, unless the user says otherwise.
pub const GROWTH: f64 = 1.25;

/// Spending for a chance unless the user says otherwise. With looks that grow geometrically, half a power gives early looks enough to
/// decide clear cases fast and costs the late ones little; the table in [`super::characteristic`] compares.
pub const SPENDING: Spending = Spending::Power { rho: 0.5 };

/// What the results so far say about a clause.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, schemars::JsonSchema)]
#[serde(rename_all = "snake_case")]
pub enum Verdict {
    /// The clause holds; the chance to say so of a line that fails it is bounded.
    Proved,
    /// The clause fails; the chance to say so of a line that meets it is bounded.
    Disproved,
    /// Neither can be said yet.
    Open,
}

impl Verdict {
    /// The verdict after one more look: a decision once made stands.
    #[must_use]
    pub fn then(self, next: Self) -> Self {
        match self {
            Self::Proved | Self::Disproved => self,
            Self::Open => next,
        }
    }
}

/// Verdict over several clauses together: disproved when any is, proved when each is, else open. No clauses: open.
///
/// Each clause must have been given its share of the error, [`shared_error`]. (For the proof of all clauses together
/// the full error per clause would do, Berger 1982; the share makes each single verdict in the report valid as well.)
pub fn joint_verdict(clauses: &[Verdict]) -> Verdict {
    if clauses.contains(&Verdict::Disproved) {
        return Verdict::Disproved;
    }
    if !clauses.is_empty() && clauses.iter().all(|v| *v == Verdict::Proved) {
        return Verdict::Proved;
    }
    Verdict::Open
}

/// The error of one clause out of `clauses` that share a total (Bonferroni).
pub fn shared_error(total: f64, clauses: u64) -> f64 {
    total / clauses.max(1) as f64
}

/// Fewest shifts, all good, that can prove a chance of `demanded` in a fixed sample: smallest n with
/// demanded^n <= `error`.
///
/// # Errors
/// `demanded` or `error` outside (0, 1).
pub fn fewest_to_prove(demanded: f64, error: f64) -> Result<u64, CannotSay> {
    inside_unit("demanded chance", demanded)?;
    inside_unit("error", error)?;
    Ok(fewest_powers(demanded, error))
}

/// One look of a [`ChancePlan`].
#[derive(Debug, Clone, Copy, PartialEq, Serialize)]
pub struct ChanceLimit {
    /// Replications at this look.
    pub replications: u64,
    /// Error of the one-sided lower limit at this look.
    pub prove_error: f64,
    /// Error of the one-sided upper limit at this look.
    pub disprove_error: f64,
    /// Fewest successes that prove; none if not even all successes do.
    pub prove_at: Option<u64>,
    /// Most successes that disprove; none if not even no success does.
    pub disprove_at: Option<u64>,
}

/// A fixed plan to decide "the chance is at least q" from successes of independent shifts.
///
/// At a look the clause is proved if the one-sided lower Clopper-Pearson limit is at or above q, disproved if the upper
/// one is below q. The error of a look is what the spending function allows up to it, less what the earlier looks used:
/// counts are whole, so a look never uses all of its allowance, and the rest is carried on. All of this is known before
/// the first shift.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct ChancePlan {
    demanded: f64,
    error_each_way: f64,
    spending: Spending,
    limits: Vec<ChanceLimit>,
}

/// What a look at successes found.
#[derive(Debug, Clone, Copy, PartialEq, Serialize)]
pub struct ChanceLook {
    /// Replications at this look.
    pub replications: u64,
    /// Successes among them.
    pub successes: u64,
    /// One-sided lower limit at the look's error.
    pub lower: f64,
    /// Its error.
    pub prove_error: f64,
    /// One-sided upper limit at the look's error.
    pub upper: f64,
    /// Its error.
    pub disprove_error: f64,
    /// Verdict of this look alone.
    pub verdict: Verdict,
}

impl ChancePlan {
    /// Makes the plan.
    ///
    /// # Errors
    /// `demanded` or `error_each_way` outside (0, 1), or a spending function that cannot be evaluated.
    pub fn new(
        demanded: f64,
        schedule: &Schedule,
        spending: Spending,
        error_each_way: f64,
    ) -> Result<Self, CannotSay> {
        inside_unit("demanded chance", demanded)?;
        let allowed = spending.over(schedule, error_each_way)?;
        let (mut used_proving, mut used_disproving) = (0.0, 0.0);
        let mut limits = Vec::with_capacity(allowed.len());
        for (&n, &allowance) in schedule.looks().iter().zip(&allowed) {
            let prove_error = allowance - used_proving;
            let disprove_error = allowance - used_disproving;
            let prove_at = fewest_successes(n, demanded, prove_error);
            let disprove_at = most_successes(n, demanded, disprove_error);
            used_proving += prove_at.map_or(0.0, |x| binomial_at_least(n, demanded, x));
            used_disproving += disprove_at.map_or(0.0, |x| binomial_at_most(n, demanded, x));
            limits.push(ChanceLimit { replications: n, prove_error, disprove_error, prove_at, disprove_at });
        }
        Ok(Self { demanded, error_each_way, spending, limits })
    }

    /// The demanded chance q.
    pub fn demanded(&self) -> f64 {
        self.demanded
    }

    /// The looks with their errors and limits.
    pub fn limits(&self) -> &[ChanceLimit] {
        &self.limits
    }

    /// Judges the successes at the look with this index.
    ///
    /// # Errors
    /// There is no such look, or more successes than replications.
    pub fn look(&self, index: usize, successes: u64) -> Result<ChanceLook, CannotSay> {
        let limit =
            self.limits.get(index).ok_or(CannotSay::OutOfRange { what: "look", value: index as f64 })?;
        let n = limit.replications;
        Ok(ChanceLook {
            replications: n,
            successes,
            lower: limit_or(lower_limit(successes, n, limit.prove_error), limit.prove_error, 0.0)?,
            prove_error: limit.prove_error,
            upper: limit_or(upper_limit(successes, n, limit.disprove_error), limit.disprove_error, 1.0)?,
            disprove_error: limit.disprove_error,
            verdict: limit.verdict(successes),
        })
    }

    /// Fewest shifts after which this plan can prove, if all are good: the first look whose limit is within reach. None
    /// if the budget does not suffice even without a failure.
    pub fn fewest_to_prove(&self) -> Option<u64> {
        self.limits.iter().find(|limit| limit.prove_at.is_some()).map(|limit| limit.replications)
    }

    /// Fewest shifts after which this plan can disprove, if all are bad. None if the budget does not suffice.
    pub fn fewest_to_disprove(&self) -> Option<u64> {
        self.limits.iter().find(|limit| limit.disprove_at.is_some()).map(|limit| limit.replications)
    }
}

impl ChanceLimit {
    /// Verdict of this look alone.
    pub fn verdict(&self, successes: u64) -> Verdict {
        if self.prove_at.is_some_and(|x| successes >= x) {
            return Verdict::Proved;
        }
        if self.disprove_at.is_some_and(|x| successes <= x) {
            return Verdict::Disproved;
        }
        Verdict::Open
    }
}

/// A limit; at an error of zero (a look whose allowance underflows) the one that says nothing.
fn limit_or(limit: Result<f64, CannotSay>, error: f64, nothing: f64) -> Result<f64, CannotSay> {
    if error > 0.0 { limit } else { Ok(nothing) }
}

/// Fewest successes x whose lower limit at `error` is at or above q: smallest x with P(X >= x | q) <= error.
fn fewest_successes(n: u64, q: f64, error: f64) -> Option<u64> {
    let (mut bad, mut good) = (0, n + 1);
    while good - bad > 1 {
        let x = bad + (good - bad) / 2;
        if binomial_at_least(n, q, x) <= error {
            good = x;
        } else {
            bad = x;
        }
    }
    (good <= n).then_some(good)
}

/// Most successes x whose upper limit at `error` is below q: largest x with P(X <= x | q) < error.
fn most_successes(n: u64, q: f64, error: f64) -> Option<u64> {
    if binomial_at_most(n, q, 0) >= error {
        return None;
    }
    let (mut good, mut bad) = (0, n);
    while bad - good > 1 {
        let x = good + (bad - good) / 2;
        if binomial_at_most(n, q, x) < error {
            good = x;
        } else {
            bad = x;
        }
    }
    Some(good)
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn fewest_shifts_of_a_fixed_sample() {
        // 0.99^367 = 0.025010 is just above 0.025, 0.99^368 = 0.024760 is below it.
        assert_eq!(fewest_to_prove(0.99, 0.025), Ok(368));
        assert_eq!(fewest_to_prove(0.95, 0.025), Ok(72));
        assert_eq!(fewest_to_prove(0.5, 0.125), Ok(3));
        for (q, n) in [(0.99, 368), (0.95, 72)] {
            let once = |n| ChancePlan::new(q, &Schedule::once(n).unwrap(), SPENDING, 0.025).unwrap();
            assert_eq!(once(n).fewest_to_prove(), Some(n));
            assert_eq!(once(n - 1).fewest_to_prove(), None);
        }
    }

    #[test]
    fn the_limits_are_where_the_exact_intervals_cross_the_demanded_chance() {
        let schedule = Schedule::geometric(20, 1.4, 700).unwrap();
        for q in [0.3, 0.9, 0.95, 0.99] {
            let plan = ChancePlan::new(q, &schedule, Spending::PocockType, 0.025).unwrap();
            for (index, limit) in plan.limits().iter().enumerate() {
                for successes in 0..=limit.replications {
                    let look = plan.look(index, successes).unwrap();
                    let verdict = if look.lower >= q {
                        Verdict::Proved
                    } else if look.upper < q {
                        Verdict::Disproved
                    } else {
                        Verdict::Open
                    };
                    assert_eq!(look.verdict, verdict, "q {q}, {successes} of {}", limit.replications);
                }
            }
        }
    }

    #[test]
    fn the_union_of_all_looks_stays_within_the_error() {
        let schedule = Schedule::geometric(30, 1.2, 3000).unwrap();
        for spending in [Spending::ObrienFlemingType, Spending::PocockType, SPENDING] {
            let plan = ChancePlan::new(0.95, &schedule, spending, 0.025).unwrap();
            let (mut proving, mut disproving) = (0.0, 0.0);
            for limit in plan.limits() {
                proving += limit.prove_at.map_or(0.0, |x| binomial_at_least(limit.replications, 0.95, x));
                disproving +=
                    limit.disprove_at.map_or(0.0, |x| binomial_at_most(limit.replications, 0.95, x));
            }
            assert!(proving <= 0.025 && disproving <= 0.025, "{spending:?}: {proving} {disproving}");
            // And little of it is wasted.
            assert!(proving > 0.022 && disproving > 0.022, "{spending:?}: {proving} {disproving}");
        }
    }

    #[test]
    fn joint_verdicts_and_first_decisions() {
        use Verdict::{Disproved, Open, Proved};
        assert_eq!(joint_verdict(&[Proved, Proved]), Proved);
        assert_eq!(joint_verdict(&[Proved, Open]), Open);
        assert_eq!(joint_verdict(&[Open, Disproved, Proved]), Disproved);
        assert_eq!(joint_verdict(&[]), Open);
        assert_eq!(Open.then(Proved).then(Disproved).then(Open), Proved);
        assert_eq!(shared_error(0.025, 2), 0.0125);
    }
}
