//! Choosing the best of several designs, one shift of each at a time, giving up those that cannot be it.
//!
//! The fully sequential procedure KN of Kim & Nelson (2001), ACM Transactions on Modeling and Computer Simulation 11(3),
//! 251-273, with c = 1: if the best leads the others by the indifference at least, it is chosen with chance 1 - error at
//! least, for normal values; it holds under common random numbers, which make it faster. It runs nothing. Invariants:
//! a design once given up never comes back; the spread is that of the first stage and never estimated again.

use super::{CannotSay, Moments, at_least, inside_unit};

/// Shifts of each design in the first stage unless one says otherwise (Kim & Nelson 2001 use 10 and more).
pub const FIRST_STAGE: u64 = 10;

/// A choice under way. Larger values are better.
#[derive(Debug, Clone)]
pub struct Elimination {
    first_stage: u64,
    indifference: f64,
    /// h^2 of the procedure.
    reach: f64,
    /// Sum of the values of each design.
    sums: Vec<f64>,
    /// Differences of each pair of designs (row over column, row > column) in the first stage.
    gaps: Vec<Moments>,
    rounds: u64,
    /// Most rounds that can be needed; known after the first stage.
    most: Option<u64>,
    given_up_at: Vec<Option<u64>>,
    best: Option<usize>,
}

impl Elimination {
    /// A choice among `designs`; `indifference` is the smallest lead that matters, in the unit of the values, and
    /// `error` the chance of a wrong choice.
    ///
    /// # Errors
    /// Fewer than two designs or two first-stage shifts, an indifference that is not above 0, or an error not between 0
    /// and what picking at random would give.
    pub fn new(designs: usize, first_stage: u64, indifference: f64, error: f64) -> Result<Self, CannotSay> {
        at_least(designs as u64, 2)?;
        at_least(first_stage, 2)?;
        inside_unit("error", error)?;
        if !(indifference > 0.0 && indifference.is_finite()) {
            return Err(CannotSay::OutOfRange { what: "indifference", value: indifference });
        }
        let rivals = designs as f64 - 1.0;
        if error >= rivals / designs as f64 || 2.0 * error >= rivals {
            return Err(CannotSay::OutOfRange { what: "error", value: error });
        }
        let df = first_stage as f64 - 1.0;
        let eta = 0.5 * (libm::pow(2.0 * error / rivals, -2.0 / df) - 1.0);
        Ok(Elimination {
            first_stage,
            indifference,
            reach: 2.0 * eta * df,
            sums: vec![0.0; designs],
            gaps: vec![Moments::new(); designs * (designs - 1) / 2],
            rounds: 0,
            most: None,
            given_up_at: vec![None; designs],
            best: None,
        })
    }

    /// Takes in one shift of each design; the values of those that were given up are not looked at. Nothing changes any
    /// more once the best is chosen.
    ///
    /// # Errors
    /// Another number of values than designs, or a value that is not finite.
    pub fn push(&mut self, values: &[f64]) -> Result<(), CannotSay> {
        if values.len() != self.sums.len() {
            let (first, second) = (self.sums.len() as u64, values.len() as u64);
            return Err(CannotSay::NotPaired { first, second });
        }
        if (0..values.len()).any(|n| self.is_in_play(n) && !values[n].is_finite()) {
            return Err(CannotSay::NotFinite);
        }
        if self.best.is_some() {
            return Ok(());
        }
        self.rounds += 1;
        self.sums.iter_mut().zip(values).for_each(|(sum, value)| *sum += value);
        if self.rounds <= self.first_stage {
            for row in 1..values.len() {
                for column in 0..row {
                    self.gaps[row * (row - 1) / 2 + column].push(values[row] - values[column]);
                }
            }
        }
        if self.rounds >= self.first_stage {
            self.screen();
        }
        Ok(())
    }

    /// Gives up what lies too far behind, and chooses if there is nothing more to wait for.
    fn screen(&mut self) {
        let most = *self.most.get_or_insert_with(|| {
            let longest =
                self.gaps.iter().map(|gap| needed(self.reach, gap, self.indifference)).fold(0.0, f64::max);
            // A cast from float saturates.
            (longest.floor() as u64).saturating_add(1).max(self.first_stage)
        });
        let in_play: Vec<usize> = (0..self.sums.len()).filter(|&n| self.is_in_play(n)).collect();
        let behind = |&n: &usize| in_play.iter().any(|&rival| rival != n && self.is_behind(n, rival));
        let losers: Vec<usize> = in_play.iter().copied().filter(behind).collect();
        losers.iter().for_each(|&n| self.given_up_at[n] = Some(self.rounds));
        let left = || in_play.iter().copied().filter(|n| !losers.contains(n));
        if left().count() == 1 || self.rounds >= most {
            // Of equals the first.
            self.best = left().reduce(|best, n| if self.sums[n] > self.sums[best] { n } else { best });
        }
    }

    /// Whether a design's mean lies so far behind a rival's that it is given up.
    fn is_behind(&self, design: usize, rival: usize) -> bool {
        let (row, column) = (design.max(rival), design.min(rival));
        let needed = needed(self.reach, &self.gaps[row * (row - 1) / 2 + column], self.indifference);
        let rounds = self.rounds as f64;
        // In sums: r times the means, r times W.
        let slack = (0.5 * self.indifference * (needed - rounds)).max(0.0);
        self.sums[design] < self.sums[rival] - slack
    }

    /// Whether a design has not been given up.
    pub fn is_in_play(&self, design: usize) -> bool {
        self.given_up_at[design].is_none()
    }

    /// After how many shifts of each a design was given up.
    pub fn given_up_at(&self, design: usize) -> Option<u64> {
        self.given_up_at[design]
    }

    /// The choice, once it is made.
    pub fn best(&self) -> Option<usize> {
        self.best
    }

    /// Shifts of each design still in play so far.
    pub fn rounds(&self) -> u64 {
        self.rounds
    }

    /// Most shifts of a design that can be needed; known after the first stage.
    pub fn most_rounds(&self) -> Option<u64> {
        self.most
    }
}

/// h^2 S^2 / delta^2: rounds after which a pair is told apart at the latest.
fn needed(reach: f64, gap: &Moments, indifference: f64) -> f64 {
    reach * gap.variance().unwrap_or(0.0) / (indifference * indifference)
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::statistics::selection::rinott;
    use crate::statistics::test_draws::Draws;

    #[test]
    fn the_constant_is_that_of_the_paper() {
        // Kim & Nelson (2001), c = 1: eta = ((2 alpha / (k - 1))^(-2/(n0 - 1)) - 1) / 2, h^2 = 2 eta (n0 - 1). By hand for
        // k = 2, n0 = 10, alpha 0.05: eta = (10^(2/9) - 1)/2 = 0.334050, h^2 = 6.01290.
        let choice = Elimination::new(2, 10, 1.0, 0.05).unwrap();
        assert!((choice.reach - 6.012_90).abs() < 1e-4, "{}", choice.reach);
    }

    /// Share of right choices and mean shifts of all designs together. The last one leads by `lead`; all share a part
    /// of their luck.
    fn behaviour(designs: usize, lead: f64, shared: f64, runs: u64, seed: u64) -> (f64, f64) {
        let (mut right, mut total) = (0, 0);
        let mut draws = Draws::seeded(seed);
        for _ in 0..runs {
            let mut choice = Elimination::new(designs, 10, 0.5, 0.05).unwrap();
            while choice.best().is_none() {
                let common = shared.sqrt() * draws.normal();
                let mut value = |n: usize| {
                    let own = (1.0 - shared).sqrt() * draws.normal();
                    common + own + if n + 1 == designs { lead } else { 0.0 }
                };
                let values: Vec<f64> = (0..designs).map(&mut value).collect();
                total += (0..designs).filter(|&n| choice.is_in_play(n)).count();
                choice.push(&values).unwrap();
            }
            right += u64::from(choice.best() == Some(designs - 1));
        }
        (right as f64 / runs as f64, total as f64 / runs as f64)
    }

    /// Seeds 1 to 3, 1000 runs each. A share of 0.95 has a standard error of 0.0069: 4.5 of them below is 0.919.
    #[test]
    fn the_best_is_chosen_as_often_as_promised() {
        for (designs, shared) in [(2, 0.0), (5, 0.0), (5, 0.8)] {
            let (right, shifts) = behaviour(designs, 0.5, shared, 1000, designs as u64);
            println!("{designs} designs, shared {shared}: right {right}, {shifts} shifts");
            assert!(right > 0.919, "{designs} designs, shared {shared}: {right}");
        }
    }

    /// How often the choice is wrong where it is hardest: all others lie exactly the indifference behind the best. Spreads of
    /// the best and of the others; luck of their own.
    fn wrong_at_the_indifference(
        designs: usize,
        spreads: (f64, f64),
        lead: f64,
        runs: u64,
        seed: u64,
    ) -> f64 {
        let mut draws = Draws::seeded(seed);
        let wrong = (0..runs).filter(|_| {
            let mut choice = Elimination::new(designs, 10, 0.5, 0.05).unwrap();
            let mut values = vec![0.0; designs];
            while choice.best().is_none() {
                for (n, value) in values.iter_mut().enumerate() {
                    let (mean, spread) = if n == 0 { (lead, spreads.0) } else { (0.0, spreads.1) };
                    // What was given up is not looked at.
                    if choice.is_in_play(n) {
                        *value = mean + spread * draws.normal();
                    }
                }
                choice.push(&values).unwrap();
            }
            choice.best() != Some(0)
        });
        wrong.count() as f64 / runs as f64
    }

    /// Seeds 11 to 16, 1000 runs each. An error of 0.05 has a standard error of 0.0069: 4.5 of them above is 0.081. (With many
    /// rivals the procedure errs less often than promised: Kim & Nelson 2001, section 4.)
    #[test]
    fn at_the_indifference_the_error_is_that_promised_at_most() {
        let cases = [
            (2, (1.0, 1.0)),
            (2, (2.0, 0.3)),
            (10, (1.0, 1.0)),
            (10, (2.0, 0.5)),
            (10, (0.5, 2.0)),
            (25, (1.0, 1.0)),
        ];
        for (seed, (designs, spreads)) in (11..).zip(cases) {
            let wrong = wrong_at_the_indifference(designs, spreads, 0.5, 1000, seed);
            println!("{designs} designs, spreads {spreads:?}: wrong {wrong}, promised 0.05");
            assert!(wrong < 0.081, "{designs} designs, spreads {spreads:?}: wrong {wrong}");
        }
    }

    /// Seeds 17 and 18. Inside of the indifference nothing is promised, and it does err: what is tested above can fail.
    #[test]
    fn inside_of_the_indifference_it_errs_more_often() {
        for (seed, (designs, least)) in (17..).zip([(2, 0.15), (10, 0.3)]) {
            let wrong = wrong_at_the_indifference(designs, (1.0, 1.0), 0.1, 500, seed);
            assert!(wrong > least, "{designs} designs: wrong {wrong}");
        }
    }

    #[test]
    fn shared_luck_and_a_larger_lead_cost_fewer_shifts() {
        let (_, apart) = behaviour(5, 0.5, 0.0, 300, 7);
        let (_, paired) = behaviour(5, 0.5, 0.8, 300, 7);
        let (_, easy) = behaviour(5, 1.5, 0.0, 300, 7);
        assert!(paired < 0.5 * apart && easy < 0.6 * apart, "{apart} {paired} {easy}");
        // Two stages (Rinott 1978) need (h / indifference)^2 of each on average, all luck apart.
        let h = rinott(5, 10, 0.95).unwrap();
        assert!(apart < 5.0 * h * h / 0.25, "{apart}");
    }

    #[test]
    fn designs_without_luck_are_chosen_after_the_first_stage() {
        let mut choice = Elimination::new(3, 4, 0.1, 0.05).unwrap();
        for _ in 0..4 {
            assert_eq!(choice.best(), None);
            choice.push(&[1.0, 2.0, 2.0]).unwrap();
        }
        // Of equals the first.
        assert_eq!((choice.best(), choice.given_up_at(0), choice.rounds()), (Some(1), Some(4), 4));
        assert!(choice.push(&[1.0]).is_err() && choice.push(&[1.0, f64::NAN, 1.0]).is_err());
        assert!(Elimination::new(1, 10, 1.0, 0.05).is_err() && Elimination::new(2, 10, 0.0, 0.05).is_err());
        assert!(Elimination::new(2, 10, 1.0, 0.5).is_err());
    }
}
