//! The proof: clauses of a promise, judged at the looks of a schedule that is fixed before the first replication.
//!
//! Each clause has an equal share of the error (0.025 on each side in all) and spends it over the looks; a clause about a
//! chance by [`ChancePlan`], one about a mean by [`MeanPlan`]. It runs nothing. Invariants: a clause is judged at the
//! looks only, and its first verdict that is not open stands, with the numbers of that look.

use super::outputs::Key;
use super::rare::RareStops;
use super::result::{ClauseKind, ClauseReport, PromiseReport};
use crate::scenario::{Goal, Promise};
use crate::statistics::mean_plan::SPENDING_FOR_MEAN;
use crate::statistics::sequential::{ERROR_EACH_WAY, FIRST_LOOK, GROWTH, SPENDING, shared_error};
use crate::statistics::{CannotSay, ChancePlan, MeanPlan, Moments, Schedule, Verdict, joint_verdict};

/// A rate that falls short by no more than this share of it counts as reached: quotients that are equal on paper
/// need not be equal in binary.
const ROUNDING: f64 = 1e-12;

/// How a clause is judged; none if the budget is too small for its method.
#[derive(Debug)]
enum Judge {
    Chance(Option<ChancePlan>),
    Mean(Option<MeanPlan>),
}

/// A clause under judgement.
#[derive(Debug)]
struct Trial {
    judge: Judge,
    made: u64,
    values: Moments,
    report: ClauseReport,
}

/// All clauses with their schedule.
#[derive(Debug)]
pub(super) struct Proof {
    error_each_way: f64,
    schedule: Schedule,
    trials: Vec<Trial>,
}

impl Proof {
    /// A plan for the promise; none if it has no clauses.
    ///
    /// # Errors
    /// A budget of 0.
    pub(super) fn new(promise: &Promise, budget: u64) -> Result<Option<Self>, CannotSay> {
        Proof::with_error(promise, budget, ERROR_EACH_WAY)
    }

    /// The same with another error on each side.
    ///
    /// # Errors
    /// A budget of 0, or an error outside (0, 1).
    pub(super) fn with_error(
        promise: &Promise,
        budget: u64,
        error_each_way: f64,
    ) -> Result<Option<Self>, CannotSay> {
        if promise.clauses.is_empty() {
            return Ok(None);
        }
        let schedule = Schedule::geometric(FIRST_LOOK.min(budget), GROWTH, budget)?;
        let error = shared_error(error_each_way, promise.clauses.len() as u64);
        let trials = promise.clauses.iter().map(|clause| Trial::new(clause.goal, &schedule, error));
        Ok(Some(Proof { error_each_way, trials: trials.collect::<Result<_, _>>()?, schedule }))
    }

    /// The next look after `done` replications.
    pub(super) fn next_look(&self, done: u64) -> u64 {
        let looks = self.schedule.looks();
        looks[looks.partition_point(|look| *look <= done).min(looks.len() - 1)]
    }

    /// Takes in one replication: its rate (parts/min) and feed availability.
    pub(super) fn push(&mut self, rate: f64, feed_availability: f64) {
        for trial in &mut self.trials {
            let value = trial.value(rate, feed_availability);
            if value.is_finite() {
                trial.values.push(value);
                trial.made += u64::from(trial.reaches(value));
            }
        }
    }

    /// Whether any value that a clause is about was not always the same.
    pub(super) fn varies(&self) -> bool {
        self.trials.iter().any(|trial| trial.values.min() != trial.values.max())
    }

    /// Judges after `done` replications, if that is a look; what rare stops cost counts though none may have come.
    pub(super) fn look(&mut self, done: u64, rare: &RareStops) {
        if self.schedule.looks().binary_search(&done).is_ok() {
            self.trials.iter_mut().for_each(|trial| trial.look(done, rare));
        }
    }

    /// Judges a line in which nothing is random by the one value that there is.
    pub(super) fn decide_without_luck(&mut self, done: u64) {
        for trial in &mut self.trials {
            let Some(value) = trial.values.mean() else { continue };
            let reaches = trial.reaches(value);
            let judged =
                if let Judge::Chance(_) = trial.judge { f64::from(u8::from(reaches)) } else { value };
            let report = &mut trial.report;
            report.verdict = if reaches { Verdict::Proved } else { Verdict::Disproved };
            (report.decided_at, report.last_look) = (Some(done), Some(done));
            (report.estimate, report.lower, report.upper) = (Some(judged), Some(judged), Some(judged));
        }
    }

    /// The joint verdict so far.
    pub(super) fn verdict(&self) -> Verdict {
        let all: Vec<Verdict> = self.trials.iter().map(|trial| trial.report.verdict).collect();
        joint_verdict(&all)
    }

    /// What there is to say now.
    pub(super) fn report(&self) -> PromiseReport {
        let clauses: Vec<ClauseReport> = self.trials.iter().map(|trial| trial.report).collect();
        let proving: Option<Vec<u64>> = clauses.iter().map(|clause| clause.fewest_to_prove).collect();
        PromiseReport {
            verdict: self.verdict(),
            error_each_way: self.error_each_way,
            looks: self.schedule.looks().to_vec(),
            fewest_to_prove: proving.and_then(|all| all.into_iter().max()),
            fewest_to_disprove: clauses.iter().filter_map(|clause| clause.fewest_to_disprove).min(),
            clauses,
        }
    }
}

impl Trial {
    fn new(goal: Goal, schedule: &Schedule, error: f64) -> Result<Self, CannotSay> {
        let mean = |required: f64| {
            MeanPlan::new(required * (1.0 - ROUNDING), schedule, SPENDING_FOR_MEAN, error).ok()
        };
        let (judge, kind, required, demanded_chance) = match goal {
            Goal::MeanRate(rate) => (Judge::Mean(mean(60.0 * rate)), ClauseKind::MeanRate, 60.0 * rate, None),
            Goal::FeedAvailability(share) => {
                (Judge::Mean(mean(share)), ClauseKind::FeedAvailability, share, None)
            }
            Goal::ShiftRate { rate, chance } => {
                let plan = ChancePlan::new(chance, schedule, SPENDING, error)?;
                (Judge::Chance(Some(plan)), ClauseKind::ShiftRate, 60.0 * rate, Some(chance))
            }
        };
        let (fewest_to_prove, fewest_to_disprove) = match &judge {
            Judge::Chance(Some(plan)) => (plan.fewest_to_prove(), plan.fewest_to_disprove()),
            Judge::Mean(Some(plan)) => {
                let first = plan.looks().iter().find(|look| look.1 > 0.0).map(|look| look.0);
                (first, first)
            }
            Judge::Chance(None) | Judge::Mean(None) => (None, None),
        };
        let report = ClauseReport {
            kind,
            required,
            demanded_chance,
            verdict: Verdict::Open,
            decided_at: None,
            last_look: None,
            estimate: None,
            lower: None,
            upper: None,
            error_each_way: error,
            fewest_to_prove,
            fewest_to_disprove,
        };
        Ok(Trial { judge, made: 0, values: Moments::new(), report })
    }

    fn value(&self, rate: f64, feed_availability: f64) -> f64 {
        match self.report.kind {
            ClauseKind::MeanRate | ClauseKind::ShiftRate => rate,
            ClauseKind::FeedAvailability => feed_availability,
        }
    }

    fn reaches(&self, value: f64) -> bool {
        value >= self.report.required * (1.0 - ROUNDING)
    }

    fn look(&mut self, done: u64, rare: &RareStops) {
        if self.report.verdict != Verdict::Open {
            return;
        }
        let least = match self.report.kind {
            ClauseKind::MeanRate | ClauseKind::ShiftRate => rare.of_rate(done),
            ClauseKind::FeedAvailability => rare.of_share(done),
        };
        let finite = |limit: f64| limit.is_finite().then_some(limit);
        // Where replications without a value are missing from a mean there is no look: it stays open.
        let found = match &self.judge {
            Judge::Chance(Some(plan)) => {
                let index = plan.limits().iter().position(|limit| limit.replications == done);
                index.and_then(|index| plan.look(index, self.made).ok()).map(|look| {
                    (self.made as f64 / done as f64, finite(look.lower), finite(look.upper), look.verdict)
                })
            }
            Judge::Mean(Some(plan)) => {
                let index = plan.looks().iter().position(|look| look.0 == done);
                index
                    .and_then(|index| plan.look(index, &self.values.spread_at_least(least)).ok())
                    .map(|look| (look.mean, finite(look.lower), finite(look.upper), look.verdict))
            }
            Judge::Chance(None) | Judge::Mean(None) => None,
        };
        let Some((estimate, lower, upper, verdict)) = found else { return };
        let report = &mut self.report;
        (report.estimate, report.lower, report.upper) = (Some(estimate), lower, upper);
        (report.verdict, report.last_look) = (verdict, Some(done));
        report.decided_at = (verdict != Verdict::Open).then_some(done);
    }
}

/// Outputs that the proof rests on.
pub(super) const JUDGED: [Key; 2] = [Key::Rate, Key::FeedAvailability];

/// Whether a rate (parts/min) reaches the required one, but for rounding.
pub(crate) fn reaches(rate: f64, required: f64) -> bool {
    rate >= required * (1.0 - ROUNDING)
}
