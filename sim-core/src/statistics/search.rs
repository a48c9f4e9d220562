//! Finding the first of a row of settings that is good enough, when each can only be asked with a chance of error.
//!
//! The settings are numbered so that more helps: from some number on the promise holds. Halving asks one setting after the
//! other; a setting that stays open splits the search in two, for the least one proved and the greatest one disproved. Each
//! answer is wrong with a chance of at most the total error over the most questions there can be, **given all answers
//! before**; so no answer at all is wrong with a chance of one minus the total error at least (Bonferroni), whatever path
//! the search takes. That needs answers from luck of their own: a judge must not use the same streams for two settings.
//! It runs nothing. Invariant: the greatest setting disproved lies below the least one proved, unless the answers
//! contradict the order, which is then said.

use super::{CannotSay, Verdict, at_least, inside_unit};
use serde::Serialize;

/// Who knows, with a chance of error, whether a setting is good enough.
pub trait Judge {
    /// Why there is no answer at all.
    type Error;

    /// Judges a setting: wrong with a chance of at most `error`, given all answers before.
    ///
    /// # Errors
    /// If there can be no answer; the search ends.
    fn ask(&mut self, setting: u64, error: f64) -> Result<Verdict, Self::Error>;
}

/// A setting that was asked.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize)]
pub struct Answer {
    /// Number of the setting.
    pub setting: u64,
    /// What was said of it.
    pub verdict: Verdict,
}

/// What a search found.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct Found {
    /// Least setting proved; none if the greatest is not.
    pub proved: Option<u64>,
    /// Greatest setting disproved; none if the least is not.
    pub disproved: Option<u64>,
    /// The answers, in the order in which they were asked.
    pub answers: Vec<Answer>,
    /// Whether a setting was proved that lies below one disproved: the order is not what was assumed, or an answer is wrong.
    pub contradicts: bool,
    /// Chance that any answer is wrong, at most.
    pub error: f64,
    /// Chance that one answer is wrong, at most.
    pub error_each: f64,
}

/// How to search.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Search {
    settings: u64,
    error: f64,
}

impl Search {
    /// A search among `settings` settings, numbered from 0, with a total `error`.
    ///
    /// # Errors
    /// No settings, or an error outside (0, 1).
    pub fn new(settings: u64, error: f64) -> Result<Self, CannotSay> {
        at_least(settings, 1)?;
        inside_unit("error", error)?;
        Ok(Search { settings, error })
    }

    /// Most questions that there can be: both ends, and two searches by halving.
    pub fn questions_max(&self) -> u64 {
        let between = self.settings.saturating_sub(2);
        let halvings = u64::from(u64::BITS - between.leading_zeros());
        self.settings.min(2 + 2 * halvings)
    }

    /// Chance of error of one question.
    pub fn error_each(&self) -> f64 {
        self.error / self.questions_max() as f64
    }

    /// Searches.
    ///
    /// # Errors
    /// That of the judge.
    pub fn run<J: Judge>(&self, judge: &mut J) -> Result<Found, J::Error> {
        let error_each = self.error_each();
        let mut answers: Vec<Answer> = Vec::new();
        let mut ask = |setting: u64| -> Result<Verdict, J::Error> {
            if let Some(known) = answers.iter().find(|answer| answer.setting == setting) {
                return Ok(known.verdict);
            }
            let verdict = judge.ask(setting, error_each)?;
            answers.push(Answer { setting, verdict });
            Ok(verdict)
        };
        let last = self.settings - 1;
        // Both ends are asked, although one of them might do: that is the check of the order.
        let (top, bottom) = (ask(last)?, ask(0)?);
        if top != Verdict::Disproved && bottom != Verdict::Proved && last > 0 {
            let is_open = |verdict| verdict == Verdict::Open;
            let (mut low, mut high) = (0, last);
            let mut open = if is_open(top) || is_open(bottom) { Some((low, high)) } else { None };
            while open.is_none() && high - low > 1 {
                let middle = low + (high - low) / 2;
                match ask(middle)? {
                    Verdict::Proved => high = middle,
                    Verdict::Disproved => low = middle,
                    Verdict::Open => open = Some((middle, middle)),
                }
            }
            if let Some((for_proved, for_disproved)) = open {
                // Open at the top: nothing is proved; open at the bottom: nothing is disproved.
                if !is_open(top) {
                    least(for_proved, high, |setting| Ok(ask(setting)? == Verdict::Proved))?;
                }
                if !is_open(bottom) {
                    least(low, for_disproved, |setting| Ok(ask(setting)? != Verdict::Disproved))?;
                }
            }
        }
        let of = |wanted: Verdict| {
            let all = answers.iter().filter(move |answer| answer.verdict == wanted);
            all.map(|answer| answer.setting)
        };
        let (proved, disproved) = (of(Verdict::Proved).min(), of(Verdict::Disproved).max());
        let contradicts =
            matches!((proved, disproved), (Some(proved), Some(disproved)) if proved < disproved);
        Ok(Found { proved, disproved, answers, contradicts, error: self.error, error_each })
    }
}

/// Halves between a setting that is not and one that is.
fn least<E>(mut is_not: u64, mut is: u64, mut asked: impl FnMut(u64) -> Result<bool, E>) -> Result<(), E> {
    while is.saturating_sub(is_not) > 1 {
        let middle = is_not + (is - is_not) / 2;
        if asked(middle)? {
            is = middle;
        } else {
            is_not = middle;
        }
    }
    Ok(())
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::statistics::sequential::SPENDING;
    use crate::statistics::test_draws::Draws;
    use crate::statistics::{ChancePlan, Schedule};
    use std::convert::Infallible;

    /// Answers without error: open for the settings of a range, proved above it, disproved below.
    struct Sure(std::ops::Range<u64>);

    impl Judge for Sure {
        type Error = Infallible;
        fn ask(&mut self, setting: u64, _: f64) -> Result<Verdict, Infallible> {
            Ok(if self.0.contains(&setting) {
                Verdict::Open
            } else if setting >= self.0.end {
                Verdict::Proved
            } else {
                Verdict::Disproved
            })
        }
    }

    #[test]
    fn every_threshold_is_found_with_no_more_questions_than_stated() {
        for settings in 1..=40 {
            let search = Search::new(settings, 0.05).unwrap();
            for from in 0..=settings {
                for to in from..=settings {
                    let Ok(found) = search.run(&mut Sure(from..to));
                    assert_eq!(found.proved, (to < settings).then_some(to), "{settings} {from}..{to}");
                    assert_eq!(found.disproved, from.checked_sub(1), "{settings} {from}..{to}");
                    assert!(!found.contradicts);
                    assert!(found.answers.len() as u64 <= search.questions_max(), "{settings} {from}..{to}");
                }
            }
        }
        assert_eq!(Search::new(100, 0.05).unwrap().questions_max(), 16);
        assert!(Search::new(0, 0.05).is_err() && Search::new(3, 0.0).is_err());
    }

    struct WrongWay;

    impl Judge for WrongWay {
        type Error = Infallible;
        fn ask(&mut self, setting: u64, _: f64) -> Result<Verdict, Infallible> {
            Ok(if setting < 5 { Verdict::Proved } else { Verdict::Disproved })
        }
    }

    #[test]
    fn the_wrong_order_is_noticed() {
        let Ok(found) = Search::new(10, 0.05).unwrap().run(&mut WrongWay);
        assert!(found.contradicts && found.answers.len() == 2);
    }

    /// Shifts that make it with a chance that rises from setting to setting; 0.9 is demanded.
    struct Shifts(Draws);

    impl Judge for Shifts {
        type Error = CannotSay;
        fn ask(&mut self, setting: u64, error: f64) -> Result<Verdict, CannotSay> {
            let plan = ChancePlan::new(0.9, &Schedule::geometric(20, 1.25, 400)?, SPENDING, error)?;
            let (mut made, mut n) = (0, 0);
            for (index, limit) in plan.limits().iter().enumerate() {
                while n < limit.replications {
                    made += u64::from(self.0.uniform() < 0.82 + 0.01 * setting as f64);
                    n += 1;
                }
                let verdict = plan.look(index, made)?.verdict;
                if verdict != Verdict::Open {
                    return Ok(verdict);
                }
            }
            Ok(Verdict::Open)
        }
    }

    /// Seed 41, 1000 searches. From setting 8 on the promise holds, at 8 just so.
    #[test]
    fn searches_are_wrong_no_more_often_than_stated() {
        let search = Search::new(16, 0.2).unwrap();
        let (mut wrong, mut near) = (0, 0);
        let mut judge = Shifts(Draws::seeded(41));
        for _ in 0..1000 {
            let found = search.run(&mut judge).unwrap();
            wrong += u32::from(found.proved.is_some_and(|setting| setting < 8));
            wrong += u32::from(found.disproved.is_some_and(|setting| setting >= 8));
            near += u32::from(found.proved.is_some_and(|setting| setting <= 14));
        }
        println!("{wrong} of 1000 searches were wrong, {near} near");
        // 0.2 and 4.5 standard errors of 0.0126; near: half the runs at least, or it would be idle.
        assert!(wrong < 257 && near > 500, "{wrong} {near}");
    }
}
