//! A comparison under way: who is run, what was seen at the last look, when it is over.
//!
//! Invariant: values are taken in, and designs are given up, in the order of the replications, however the shifts are
//! spread over workers.

use super::drawn::Drawing;
use super::report::Gap;
use super::{CompareOptions, CompareProgress, FIRST_LOOK, SPENDING};
use crate::evidence::known;
use crate::scenario::Goal;
use crate::statistics::sequential::{GROWTH, shared_error};
use crate::statistics::{
    CannotSay, ControlledMean, Elimination, Moments, PairedChance, PairedDifference, Schedule, at_least,
    inside_unit,
};
use crate::study::controls::{Column, chosen};
use crate::study::crew::Crew;
use crate::study::kept::{Kept, Shifts};
use crate::study::proof::reaches;
use crate::study::result::StoppedBecause;
use crate::study::run::{Mode, RunError};
use crate::study::variant::{Task, Variant};

/// What is kept of a shift.
#[derive(Debug, Clone, PartialEq)]
pub(super) struct Seen {
    /// Good parts per minute.
    pub(super) rate: f64,
    /// Share of the time ready in which parts were there; NaN if it was never ready.
    pub(super) feed_availability: f64,
    /// People at work on average, all pools together; NaN without attendants.
    pub(super) attendance: f64,
    /// What its luck should have cost, by the controls of its design; empty without.
    controls: Vec<f64>,
}

impl Seen {
    fn of(variant: &Variant, outputs: &[f64]) -> Self {
        Seen {
            rate: outputs[variant.rate_index()],
            feed_availability: outputs[variant.feed_availability_index()],
            attendance: variant.people_at_work(outputs),
            controls: variant.controls_of(outputs).to_vec(),
        }
    }

    /// As it is kept.
    fn values(&self) -> Vec<f64> {
        [&[self.rate, self.feed_availability, self.attendance], &self.controls[..]].concat()
    }

    /// From what was kept, which has three numbers at least.
    fn from_values(values: &[f64]) -> Self {
        let [rate, feed_availability, attendance, controls @ ..] = values else {
            panic!("a study keeps as many numbers of a shift as it asks for")
        };
        Seen {
            rate: *rate,
            feed_availability: *feed_availability,
            attendance: *attendance,
            controls: controls.to_vec(),
        }
    }
}

/// Shifts under way for each worker: the wait for the last one is short against them all.
const SHIFTS_AT_ONCE: usize = 64;

/// Measures whose differences are shown beside that of the rate.
const OTHERS: u64 = 3;

/// Differences of a pair, second less first, as they were at a look.
#[derive(Debug, Clone)]
pub(super) struct Pair {
    pub(super) first: usize,
    pub(super) second: usize,
    /// Shifts of each.
    pub(super) n: u64,
    pub(super) rate: Gap,
    /// Names of the controls that went into the difference of rates.
    pub(super) controls: Vec<String>,
    pub(super) chance: Option<Gap>,
    pub(super) feed_availability: Option<Gap>,
    pub(super) attendance: Option<Gap>,
    pub(super) variance_ratio: Option<f64>,
    pub(super) unpaired: Option<f64>,
}

/// A comparison under way.
#[derive(Debug)]
pub(super) struct Contest<'a> {
    pub(super) variants: &'a [Variant],
    /// What is drawn anew for each shift, if anything is.
    pub(super) drawing: Option<Drawing>,
    pub(super) options: CompareOptions,
    /// Rate that a shift has to reach, parts/min, if the first design with a promise of a rate says so.
    pub(super) required: Option<f64>,
    /// What was seen, shift by shift, of each design.
    pub(super) seen: Vec<Vec<Seen>>,
    pub(super) given_up_at: Vec<Option<u64>>,
    schedule: Schedule,
    /// Error of each limit of a difference of rates, and of the others, at each look.
    errors: Vec<(f64, f64)>,
    pub(super) pairs: Vec<Pair>,
    pub(super) choice: Option<Elimination>,
    /// The design that is told to be the best.
    pub(super) best: Option<usize>,
    looked_at: u64,
}

impl<'a> Contest<'a> {
    /// Of lines as known; with `drawing`, inputs are drawn anew for each shift.
    pub(super) fn new(
        variants: &'a [Variant],
        drawing: Option<Drawing>,
        options: &CompareOptions,
    ) -> Result<Self, CannotSay> {
        inside_unit("level", options.level)?;
        at_least(options.replications, FIRST_LOOK)?;
        let n = variants.len();
        let schedule = match options.mode {
            Mode::UntilDecided => Schedule::geometric(FIRST_LOOK, GROWTH, options.replications)?,
            Mode::Fixed => Schedule::once(options.replications)?,
        };
        let of_pair = shared_error(0.25 * (1.0 - options.level), (n * (n - 1) / 2) as u64);
        let spent = SPENDING.over(&schedule, of_pair)?;
        let before = std::iter::once(0.0).chain(spent.iter().copied());
        let errors =
            spent.iter().zip(before).map(|(now, before)| (now - before, (now - before) / OTHERS as f64));
        let choice = options
            .indifference
            .filter(|_| options.mode == Mode::UntilDecided)
            .map(|lead| Elimination::new(n, FIRST_LOOK, lead, 1.0 - options.level));
        let rates = variants.iter().flat_map(|variant| &variant.scenario.promise.clauses);
        let required = rates.filter_map(|clause| match clause.goal {
            Goal::MeanRate(rate) | Goal::ShiftRate { rate, .. } => Some(60.0 * rate),
            Goal::FeedAvailability(_) => None,
        });
        Ok(Contest {
            variants,
            drawing,
            options: *options,
            required: required.clone().next(),
            seen: vec![Vec::new(); n],
            given_up_at: vec![None; n],
            errors: errors.collect(),
            schedule,
            pairs: Vec::new(),
            choice: choice.transpose()?,
            best: None,
            looked_at: 0,
        })
    }

    /// Shifts of each design in play at the last look.
    pub(super) fn last_look(&self) -> u64 {
        self.looked_at
    }

    /// Whether inputs of any design are known from evidence.
    pub(super) fn has_evidence(&self) -> bool {
        self.variants.iter().any(|variant| !known(&variant.scenario).is_empty())
    }

    fn in_play(&self) -> Vec<usize> {
        (0..self.seen.len()).filter(|&n| self.given_up_at[n].is_none()).collect()
    }

    /// Runs shifts until it is over.
    pub(super) fn run<C: Crew>(
        &mut self,
        crew: &C,
        cancelled: &(dyn Fn() -> bool + Sync),
        progress: &mut dyn FnMut(CompareProgress),
        kept: &mut dyn Kept,
    ) -> Result<StoppedBecause, RunError> {
        let mut done = 0;
        loop {
            let in_play = self.in_play();
            let rounds = self.rounds_of_batch(done, in_play.len(), crew.size());
            let tasks: Vec<Task> = (done..done + rounds)
                .flat_map(|number| in_play.iter().map(move |&variant| Task { variant, number }))
                .collect();
            let heard = self.heard(&tasks, crew, cancelled, kept)?;
            // Shifts after the end, begun to keep all workers busy, are not taken in.
            for round in heard.chunks_exact(in_play.len()) {
                done += 1;
                in_play.iter().zip(round).for_each(|(&n, seen)| self.seen[n].push(seen.clone()));
                if let Some(because) = self.after_round(done, &in_play)? {
                    return Ok(because);
                }
            }
            let most = self.choice.as_ref().and_then(Elimination::most_rounds).unwrap_or(u64::MAX);
            let most = most.min(self.options.replications);
            progress(CompareProgress { done, most, in_play: self.in_play().len() });
            if heard.len() < tasks.len() {
                return Ok(StoppedBecause::Cancelled);
            }
        }
    }

    /// What is seen of these shifts, up to where it was cancelled.
    fn heard<C: Crew>(
        &self,
        tasks: &[Task],
        crew: &C,
        cancelled: &(dyn Fn() -> bool + Sync),
        kept: &mut dyn Kept,
    ) -> Result<Vec<Seen>, RunError> {
        let lines = match &self.drawing {
            Some(drawing) => match drawing.lines(self.variants, tasks, crew, cancelled)? {
                Some(lines) => lines,
                None => return Ok(Vec::new()),
            },
            None => Vec::new(),
        };
        // Drawn lines stand in the order of the tasks, one for each.
        let variants = if self.drawing.is_some() { &lines[..] } else { self.variants };
        let with_luck = |(at, task): (usize, &Task)| Task {
            variant: if self.drawing.is_some() { at } else { task.variant },
            number: self.options.luck_of(task.variant, task.number),
        };
        let with_luck: Vec<Task> = tasks.iter().enumerate().map(with_luck).collect();
        let design = |variant: usize| if self.drawing.is_some() { tasks[variant].variant } else { variant };
        let shifts = Shifts {
            variants,
            tasks: &with_luck,
            seed: self.options.seed,
            line: &|variant| design(variant) as u64,
            wanted: &|variant, outputs| Seen::of(&variants[variant], outputs).values(),
        };
        let (mut heard, mut fault) = (Vec::with_capacity(tasks.len()), None);
        shifts.run(crew, cancelled, kept, &mut |_, values| match values {
            Ok(values) => heard.push(Seen::from_values(&values)),
            Err(why) => fault = fault.take().or(Some(why)),
        });
        fault.map_or(Ok(heard), Err)
    }

    /// Up to the next look, and no more than keep the workers busy for a while, so that progress is seen; where after each
    /// round a design may be given up, no more than keep them busy at all.
    fn rounds_of_batch(&self, done: u64, in_play: usize, workers: usize) -> u64 {
        let looks = self.schedule.looks();
        let next = looks[looks.partition_point(|look| *look <= done).min(looks.len() - 1)];
        let is_each_looked_at = self.choice.is_some() && done >= FIRST_LOOK;
        let shifts = if is_each_looked_at { workers } else { SHIFTS_AT_ONCE * workers };
        (next - done).min(shifts.div_ceil(in_play).max(1) as u64)
    }

    /// Looks, gives up what cannot be the best, and says whether it is over.
    fn after_round(&mut self, done: u64, ran: &[usize]) -> Result<Option<StoppedBecause>, RunError> {
        if let Ok(index) = self.schedule.looks().binary_search(&done) {
            self.look(index, ran).map_err(RunError::BadOptions)?;
            self.looked_at = done;
        }
        if self.looked_at == done && self.is_without_luck() {
            self.decide_without_luck();
            return Ok(Some(StoppedBecause::NoLuck));
        }
        match &mut self.choice {
            Some(choice) => {
                let last = |seen: &Vec<Seen>| seen.last().map_or(f64::NAN, |seen| seen.rate);
                let rates: Vec<f64> = self.seen.iter().map(last).collect();
                choice.push(&rates).map_err(RunError::BadOptions)?;
                for n in 0..self.seen.len() {
                    self.given_up_at[n] = choice.given_up_at(n);
                }
                self.best = choice.best();
            }
            None if self.looked_at == done => self.give_up(done, ran),
            None => {}
        }
        if self.best.is_some() && self.options.mode == Mode::UntilDecided {
            return Ok(Some(StoppedBecause::Decided));
        }
        Ok((done >= self.options.replications).then_some(StoppedBecause::BudgetUsed))
    }

    /// Without an indifference: whoever surely lies behind another one is not the best.
    fn give_up(&mut self, done: u64, ran: &[usize]) {
        for &n in ran {
            let behind = |pair: &&Pair| {
                (pair.first == n && pair.rate.low > 0.0) || (pair.second == n && pair.rate.high < 0.0)
            };
            if self
                .pairs
                .iter()
                .any(|pair| behind(&pair) && ran.contains(&pair.first) && ran.contains(&pair.second))
            {
                self.given_up_at[n] = Some(done);
            }
        }
        if let [best] = self.in_play()[..] {
            self.best = Some(best);
        }
    }

    /// Works out the differences of all pairs that were run up to now.
    fn look(&mut self, index: usize, ran: &[usize]) -> Result<(), CannotSay> {
        let (error, of_others) = self.errors[index];
        for (at, &first) in ran.iter().enumerate() {
            for &second in &ran[at + 1..] {
                let pair = self.pair((first, second), error, of_others)?;
                match self.pairs.iter_mut().find(|known| (known.first, known.second) == (first, second)) {
                    Some(known) => *known = pair,
                    None => self.pairs.push(pair),
                }
            }
        }
        Ok(())
    }

    fn pair(&self, (first, second): (usize, usize), error: f64, of_others: f64) -> Result<Pair, CannotSay> {
        let (a, b) = (&self.seen[first], &self.seen[second]);
        let rates = |seen: &[Seen]| -> Vec<f64> { seen.iter().map(|seen| seen.rate).collect() };
        let (rates_a, rates_b) = (rates(a), rates(b));
        let found = PairedDifference::of(&rates_a, &rates_b, 1.0 - 2.0 * error)?;
        let gaps: Vec<f64> = rates_a.iter().zip(&rates_b).map(|(a, b)| b - a).collect();
        let (names, columns) = self.controls(first, second);
        // What is under way in the one need not be in the other.
        let rare = [first, second].map(|n| self.variants[n].hardly_seen(gaps.len()));
        let least = if columns.is_empty() { 0.0 } else { rare[0] + rare[1] };
        let controlled = ControlledMean::with_least(&gaps, &columns, least, 1.0 - 2.0 * error)?;
        let variance_ratio =
            found.variance_ratio.map(|ratio| ratio * controlled.variance_ratio.unwrap_or(1.0));
        let n = found.difference.n;
        let gap = |of: fn(&Seen) -> f64| -> Option<Gap> {
            // Shifts in which one of the two has no value tell nothing.
            let both =
                a.iter().zip(b).map(|(a, b)| (of(a), of(b))).filter(|(a, b)| a.is_finite() && b.is_finite());
            let gaps: Moments = both.map(|(a, b)| b - a).collect();
            Gap::of_mean(&gaps, 1.0 - 2.0 * of_others)
        };
        let chance = self.required.and_then(|required| {
            let made = |seen: &Seen| reaches(seen.rate, required);
            let alone =
                |a: &[Seen], b: &[Seen]| a.iter().zip(b).filter(|(a, b)| made(a) && !made(b)).count() as u64;
            PairedChance::of(alone(a, b), alone(b, a), a.len() as u64, 1.0 - 2.0 * of_others)
                .ok()
                .map(Gap::of_chance)
        });
        Ok(Pair {
            first,
            second,
            n,
            rate: Gap::of_estimate(&controlled.estimate),
            controls: names,
            chance,
            feed_availability: gap(|seen| seen.feed_availability),
            attendance: gap(|seen| seen.attendance),
            variance_ratio,
            unpaired: variance_ratio.filter(|ratio| *ratio > 0.0).map(|ratio| n as f64 / ratio),
        })
    }

    /// What the luck of each pair of shifts should have cost the second more than the first, control by control; one that
    /// only one of the two has costs the other nothing. Those to use, by name, and their values.
    fn controls(&self, first: usize, second: usize) -> (Vec<String>, Vec<Vec<f64>>) {
        let names = [first, second].map(|n| self.variants[n].control_names());
        let only_second = names[1].iter().filter(|name| !names[0].contains(name));
        let column = |name: &String| {
            let at = [0, 1].map(|n| names[n].iter().position(|known| known == name));
            let cost = |seen: &Seen, at: Option<usize>| at.map_or(0.0, |at| seen.controls[at]);
            let both = self.seen[first].iter().zip(&self.seen[second]);
            let values = both.map(|(a, b)| cost(b, at[1]) - cost(a, at[0])).collect();
            Column { name: name.clone(), values }
        };
        let columns = chosen(names[0].iter().chain(only_second).map(column).collect());
        columns.into_iter().map(|column| (column.name, column.values)).unzip()
    }

    /// Whether nothing is random in any of the designs: no uncertain input was read, and all shifts were the same so far.
    fn is_without_luck(&self) -> bool {
        let alike = |all: &Vec<Seen>| all.iter().all(|seen| seen.rate.to_bits() == all[0].rate.to_bits());
        self.seen.iter().all(alike) && self.variants.iter().all(|variant| variant.scenario.is_certain())
    }

    fn decide_without_luck(&mut self) {
        let rate = |n: usize| self.seen[n][0].rate;
        let best = (0..self.seen.len()).fold(0, |best, n| if rate(n) > rate(best) { n } else { best });
        let is_tied = (0..self.seen.len()).any(|n| n != best && rate(n) == rate(best));
        self.best = (!is_tied).then_some(best);
    }
}
