//! What a plan for a chance does on lines whose true chance is known, exactly.
//!
//! For tests of the verdict and for telling the user beforehand how long a proof will take. The number of successes is a
//! walk that goes up with the true chance at every shift; its law is carried from look to look, and what crosses a limit
//! is taken out. No simulation. Invariant: proved, disproved and open add to one.
//!
//! The choice of the default rests on this table: demanded chance 0.95, first look at 20, growth 1.25, budget 2000,
//! 0.025 each way. Fewest shifts to prove, mean replications at several truths, and the chances of a wrong verdict at
//! 0.95 (about half of the allowed 0.025 is lost to the union bound over some twenty looks).
//!
//! | spending | fewest | 0.85 | 0.90 | 0.925 | 0.965 | 0.975 | 0.99 | proved at 0.95 | disproved at 0.95 |
//! |---|---|---|---|---|---|---|---|---|---|
//! | O'Brien-Fleming type | 380 | 307 | 569 | 1078 | 1499 | 905 | 511 | 0.0128 | 0.0131 |
//! | Pocock type | 124 | 97 | 282 | 836 | 1390 | 619 | 228 | 0.0130 | 0.0119 |
//! | power 0.25 | 99 | 82 | 269 | 891 | 1460 | 637 | 195 | 0.0144 | 0.0129 |
//! | power 0.5 (default) | 124 | 88 | 271 | 851 | 1411 | 617 | 207 | 0.0132 | 0.0118 |
//! | power 1 | 155 | 104 | 298 | 851 | 1389 | 639 | 243 | 0.0128 | 0.0117 |
//! | power 2 | 194 | 138 | 359 | 911 | 1417 | 712 | 316 | 0.0130 | 0.0122 |

use serde::Serialize;

use super::CannotSay;
use super::sequential::{ChancePlan, Verdict};

/// Chances smaller than this at the edge of the law are dropped; a budget of a million shifts loses less than 1e-20.
const NEGLIGIBLE: f64 = 1e-30;

/// Behaviour of a plan at one true chance.
#[derive(Debug, Clone, Copy, PartialEq, Serialize)]
pub struct Characteristic {
    /// True chance of a shift to be good.
    pub truth: f64,
    /// Chance that the plan ends with "proved".
    pub proved: f64,
    /// Chance that it ends with "disproved".
    pub disproved: f64,
    /// Chance that it is still open at the end of the budget.
    pub open: f64,
    /// Mean number of replications until the decision or the end of the budget.
    pub mean_replications: f64,
}

impl Characteristic {
    /// Follows the plan at this true chance. Work grows with the budget times the spread of successes: about 0.1 s for
    /// ten thousand shifts at most.
    ///
    /// # Errors
    /// A truth outside [0, 1].
    pub fn of(plan: &ChancePlan, truth: f64) -> Result<Self, CannotSay> {
        if !(0.0..=1.0).contains(&truth) {
            return Err(CannotSay::OutOfRange { what: "true chance", value: truth });
        }
        let mut walk = Walk::start(truth);
        let (mut proved, mut disproved, mut mean_replications) = (0.0, 0.0, 0.0);
        for limit in plan.limits() {
            while walk.steps < limit.replications {
                walk.step();
            }
            let here_proved = walk.take(|successes| limit.verdict(successes) == Verdict::Proved);
            let here_disproved = walk.take(|successes| limit.verdict(successes) == Verdict::Disproved);
            proved += here_proved;
            disproved += here_disproved;
            mean_replications += limit.replications as f64 * (here_proved + here_disproved);
        }
        // Not a plain sum: that of no terms is minus zero.
        let open = walk.law.iter().fold(0.0, |sum, chance| sum + chance);
        mean_replications += walk.steps as f64 * open;
        Ok(Self { truth, proved, disproved, open, mean_replications })
    }
}

/// Law of the number of successes among the cases not yet decided.
struct Walk {
    truth: f64,
    steps: u64,
    /// Number of successes that the first entry of the law stands for.
    first: u64,
    law: Vec<f64>,
}

impl Walk {
    fn start(truth: f64) -> Self {
        Self { truth, steps: 0, first: 0, law: vec![1.0] }
    }

    /// One more shift.
    fn step(&mut self) {
        self.steps += 1;
        let mut below = 0.0;
        for chance in &mut self.law {
            let here = *chance;
            *chance = here * (1.0 - self.truth) + below * self.truth;
            below = here;
        }
        self.law.push(below * self.truth);
        while self.law.last().is_some_and(|&chance| chance < NEGLIGIBLE) {
            self.law.pop();
        }
        let dropped = self.law.iter().take_while(|&&chance| chance < NEGLIGIBLE).count();
        self.law.drain(..dropped);
        self.first += dropped as u64;
    }

    /// Removes the cases that meet the condition and gives their chance.
    fn take(&mut self, condition: impl Fn(u64) -> bool) -> f64 {
        let mut taken = 0.0;
        for (k, chance) in self.law.iter_mut().enumerate() {
            if condition(self.first + k as u64) {
                taken += *chance;
                *chance = 0.0;
            }
        }
        taken
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::statistics::sequential::{ERROR_EACH_WAY, FIRST_LOOK, GROWTH, SPENDING};
    use crate::statistics::spending::{Schedule, Spending};
    use crate::statistics::test_draws::{Draws, assert_share};
    use statrs::distribution::{Binomial, DiscreteCDF};

    /// The plan of the table above.
    fn plan(spending: Spending) -> ChancePlan {
        let schedule = Schedule::geometric(FIRST_LOOK, GROWTH, 2000).unwrap();
        ChancePlan::new(0.95, &schedule, spending, ERROR_EACH_WAY).unwrap()
    }

    #[test]
    fn a_wrong_verdict_is_never_likelier_than_stated() {
        let kinds = [
            Spending::ObrienFlemingType,
            Spending::PocockType,
            SPENDING,
            Spending::Power { rho: 0.1 },
            Spending::Power { rho: 2.0 },
        ];
        for q in [0.5, 0.8, 0.9, 0.95, 0.99] {
            for (first, growth, budget) in
                [(1, 1.0001, 400), (20, 1.25, 2000), (10, 3.0, 5000), (600, 2.0, 600)]
            {
                let schedule = Schedule::geometric(first, growth, budget).unwrap();
                for spending in kinds {
                    let plan = ChancePlan::new(q, &schedule, spending, 0.025).unwrap();
                    let at = Characteristic::of(&plan, q).unwrap();
                    let what = format!("q {q}, looks {first} x {growth} to {budget}, {spending:?}");
                    // At the demanded chance itself the clause holds, so "disproved" is wrong there; "proved" is wrong
                    // only below it, and likeliest just below it.
                    assert!(at.proved <= 0.025 + 1e-10, "{what}: proved {}", at.proved);
                    assert!(at.disproved <= 0.025 + 1e-10, "{what}: disproved {}", at.disproved);
                    let below = Characteristic::of(&plan, q - 0.05 * (1.0 - q)).unwrap();
                    assert!(below.proved <= at.proved + 1e-12, "{what}: likelier further below");
                    let sum = at.proved + at.disproved + at.open;
                    assert!((sum - 1.0).abs() < 1e-9, "{what}: sum {sum}");
                }
            }
        }
    }

    #[test]
    fn the_error_is_used_and_not_only_kept() {
        // A plan that never decides would pass the test above.
        for spending in [Spending::ObrienFlemingType, Spending::PocockType, SPENDING] {
            let at = Characteristic::of(&plan(spending), 0.95).unwrap();
            assert!(at.proved > 0.01 && at.disproved > 0.01, "{spending:?}: {at:?}");
        }
    }

    #[test]
    fn a_line_without_a_failure_is_proved_at_the_first_chance() {
        let plan = plan(SPENDING);
        let found = Characteristic::of(&plan, 1.0).unwrap();
        assert_eq!((found.proved, found.open), (1.0, 0.0));
        assert_eq!(Some(found.mean_replications as u64), plan.fewest_to_prove());
        let hopeless = Characteristic::of(&plan, 0.0).unwrap();
        assert_eq!((hopeless.disproved, hopeless.mean_replications), (1.0, 20.0));
        assert!(Characteristic::of(&plan, 1.1).is_err());
    }

    #[test]
    fn a_single_look_is_a_binomial_tail() {
        let once = ChancePlan::new(0.9, &Schedule::once(300).unwrap(), SPENDING, 0.025).unwrap();
        let limit = once.limits()[0];
        for truth in [0.8, 0.9, 0.93, 0.99] {
            let found = Characteristic::of(&once, truth).unwrap();
            let law = Binomial::new(truth, 300).unwrap();
            assert!((found.proved - law.sf(limit.prove_at.unwrap() - 1)).abs() < 1e-10);
            assert!((found.disproved - law.cdf(limit.disprove_at.unwrap())).abs() < 1e-10);
            assert!((found.mean_replications - 300.0).abs() < 1e-7);
        }
    }

    #[test]
    fn the_exact_behaviour_is_that_of_simulated_shifts() {
        let plan = plan(SPENDING);
        let exact = Characteristic::of(&plan, 0.97).unwrap();
        let mut draws = Draws::seeded(97);
        let trials = 4000;
        let (mut proved, mut open) = (0, 0);
        for _ in 0..trials {
            let (mut n, mut successes, mut verdict) = (0, 0, Verdict::Open);
            for (index, limit) in plan.limits().iter().enumerate() {
                while n < limit.replications {
                    successes += u64::from(draws.uniform() < 0.97);
                    n += 1;
                }
                verdict = verdict.then(plan.look(index, successes).unwrap().verdict);
                if verdict != Verdict::Open {
                    break;
                }
            }
            proved += u32::from(verdict == Verdict::Proved);
            open += u32::from(verdict == Verdict::Open);
        }
        assert_share("proved", proved, trials, exact.proved, 0.0);
        assert_share("open", open, trials, exact.open, 0.0);
    }

    #[test]
    fn the_table_of_this_module_is_not_stale() {
        let source = include_str!("characteristic.rs");
        let kinds = [
            ("O'Brien-Fleming type", Spending::ObrienFlemingType),
            ("Pocock type", Spending::PocockType),
            ("power 0.25", Spending::Power { rho: 0.25 }),
            ("power 0.5 (default)", SPENDING),
            ("power 1", Spending::Power { rho: 1.0 }),
            ("power 2", Spending::Power { rho: 2.0 }),
        ];
        for (name, spending) in kinds {
            let plan = plan(spending);
            let mut row = format!("//! | {name} | {} |", plan.fewest_to_prove().unwrap());
            for truth in [0.85, 0.9, 0.925, 0.965, 0.975, 0.99] {
                row += &format!(" {:.0} |", Characteristic::of(&plan, truth).unwrap().mean_replications);
            }
            let at = Characteristic::of(&plan, 0.95).unwrap();
            row += &format!(" {:.4} | {:.4} |", at.proved, at.disproved);
            assert!(source.contains(&row), "the row should read\n{row}");
        }
    }
}
