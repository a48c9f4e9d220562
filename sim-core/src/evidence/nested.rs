//! The nested study: outer draws of the inputs, shifts within each, and what they say of the promise.
//!
//! It may end as soon as it is clear what the verdict is: the study looks after two thirds of the draws, after all of them, and,
//! if the simulation is still what leaves the verdict open, once more after twice as many. A verdict is clear if it is proved,
//! disproved, or surely neither; in the last case some more shifts at the first look make clear what to measure next, and it looks
//! again. Looks share the chance of error alike (Bonferroni).
//!
//! Each draw has equally many shifts at first. Draws for which it is not clear whether their line keeps the promise get
//! three times as many more, and then twelve times, the least clear first, until twice the shifts of the first round are
//! used in all. Luck of all shifts is independent. What is kept of a draw is a few sums and what was drawn. Invariant:
//! the result depends on text, seed and options alone.

use super::outer::{self, Known, outer};
use super::pool::{self, Hits, Reach};
use super::posterior::{Drawn, numbers};
use super::{further, guide, split};
use crate::scenario::Scenario;
use crate::statistics::sequential::{ERROR_EACH_WAY, shared_error};
use crate::statistics::{CannotSay, Moments, Verdict, joint_verdict};
use crate::study::result::{AssuranceReport, ClauseKind, ClauseReport, Figure, IgnoranceReport, OpenBecause};
use crate::study::{Crew, Options, RunError, Task, Variant, outlook, reaches, run_tasks, settle_warm_up};

/// How to run.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct IgnoranceOptions {
    /// Outer draws, [`FEWEST_DRAWS`] at least.
    pub draws: u64,
    /// Whether fewer draws will do where they are clear, and twice as many are made where these are not; else exactly so many.
    pub until_clear: bool,
    /// Shifts within each draw at first, 2 at least.
    pub each: u64,
    /// Seed of all luck, and of the draws.
    pub seed: u64,
    /// Probability of credible intervals, strictly between 0 and 1.
    pub level: f64,
}

/// Fewest outer draws.
pub const FEWEST_DRAWS: u64 = 20;
/// Outer draws unless one says otherwise: enough to prove an assurance of 95 % if all of them keep the promise, with
/// some to spare.
pub const DRAWS: u64 = 120;
/// Shifts within each draw unless one says otherwise.
pub const EACH: u64 = 4;

impl IgnoranceOptions {
    /// As many draws as usual, or as a budget of shifts allows in the first round; none if it allows too few.
    pub fn within(budget: u64, each: u64, seed: u64) -> Option<Self> {
        let draws = DRAWS.min(budget / each.max(1));
        (draws >= FEWEST_DRAWS).then_some(IgnoranceOptions {
            draws,
            until_clear: true,
            each,
            seed,
            level: 0.95,
        })
    }
}

/// Draws whose variants are kept at a time.
const AT_ONCE: usize = 64;
/// A draw is clear if its line keeps the promise with less than this chance, or with more than one minus it.
const CLEAR: f64 = 0.05;
/// Shifts of a draw that is not clear, over those of the first round: after one more round, and after two.
const MORE: [u64; 2] = [4, 16];

/// A stage of the study, with a look at its end.
#[derive(Debug, Clone, Copy)]
struct Stage {
    /// Draws in all.
    draws: u64,
    /// Shifts in all, over those of the first round, once draws that are not clear have got more: before the look.
    cleared_up: f64,
    /// The same after it, if the verdict is surely open.
    sharpened: f64,
}

/// Looks that there may be at most if the study ends when the verdict is clear.
const LOOKS: f64 = 4.0;

impl IgnoranceOptions {
    fn stages(&self) -> Vec<Stage> {
        let stage = |draws| Stage { draws, cleared_up: 2.0, sharpened: 2.0 };
        if self.until_clear {
            let first = (2 * self.draws / 3).max(FEWEST_DRAWS);
            let first = Stage { draws: first, cleared_up: 1.0, sharpened: 1.5 };
            vec![first, stage(self.draws), stage(2 * self.draws)]
        } else {
            vec![stage(self.draws)]
        }
    }
}

/// What is kept of one draw.
#[derive(Debug, Clone)]
struct Draw {
    drawn: Vec<Drawn>,
    redrawn: u64,
    /// Shifts run.
    shifts: u64,
    rate: Moments,
    first_rate: Moments,
    clauses: Vec<Seen>,
}

/// What a draw says of one clause.
#[derive(Debug, Clone, Copy, Default)]
struct Seen {
    /// Of the values of the first round.
    first: Moments,
    /// Of all values.
    all: Moments,
    first_made: u64,
    made: u64,
}

/// The study of a scenario under the ignorance that its evidence leaves. None if it was cancelled, or if there is no
/// evidence. `progress` hears how many of how many shifts are done.
///
/// # Errors
/// Options that cannot be used, and what makes a shift worthless; see [`RunError`].
pub fn ignorance<C: Crew>(
    source: &str,
    scenario: &Scenario,
    options: &IgnoranceOptions,
    crew: &C,
    cancelled: &(dyn Fn() -> bool + Sync),
    progress: &mut dyn FnMut(u64, u64),
) -> Result<Option<IgnoranceReport>, RunError> {
    let known = outer::known(scenario);
    if known.is_empty() {
        return Ok(None);
    }
    for (have, need) in [(options.draws, FEWEST_DRAWS), (options.each, 2)] {
        if have < need {
            return Err(RunError::BadOptions(CannotSay::TooFew { have, need }));
        }
    }
    let plan = Options { replications: options.draws, ..Options::of(scenario) };
    let clauses = outlook(scenario, &plan)?.map(|promise| promise.clauses).unwrap_or_default();
    let Some(as_known) = crate::scenario::read(source).scenario else { panic!("the scenario was checked") };
    let mut as_known = [Variant::unpaired(as_known)];
    if !settle_warm_up(&mut as_known, options.seed, crew, cancelled)? {
        return Ok(None);
    }
    let [as_known] = as_known;
    let error_share = if options.until_clear { 1.0 / LOOKS } else { 1.0 };
    let (draws, done, planned) = (Vec::new(), 0, 0);
    let mut nest = Nest { source, known, clauses, options, as_known, draws, done, planned, error_share };
    let demanded = scenario.promise.demanded_assurance();
    for stage in options.stages() {
        let new: Vec<u64> = (nest.draws.len() as u64..stage.draws).collect();
        nest.planned = nest.done + new.len() as u64 * options.each;
        if !nest.run(&new, options.each, crew, cancelled, progress)?
            || !nest.clear_up(stage.cleared_up, crew, cancelled, progress)?
        {
            return Ok(None);
        }
        if !nest.is_clear(demanded) {
            continue;
        }
        if nest.is_open(demanded) && !nest.clear_up(stage.sharpened, crew, cancelled, progress)? {
            return Ok(None);
        }
        if nest.is_clear(demanded) {
            break;
        }
    }
    Ok(Some(nest.report(demanded)))
}

/// A nested study under way.
struct Nest<'a> {
    source: &'a str,
    known: Vec<Known>,
    clauses: Vec<ClauseReport>,
    options: &'a IgnoranceOptions,
    /// The line with its inputs as known.
    as_known: Variant,
    draws: Vec<Draw>,
    /// Shifts done.
    done: u64,
    planned: u64,
    /// Share of the chance of error that each look has.
    error_share: f64,
}

impl Nest<'_> {
    /// Runs shifts of these draws until each has `until`. False if it was cancelled.
    fn run<C: Crew>(
        &mut self,
        numbers: &[u64],
        until: u64,
        crew: &C,
        cancelled: &(dyn Fn() -> bool + Sync),
        progress: &mut dyn FnMut(u64, u64),
    ) -> Result<bool, RunError> {
        for chunk in numbers.chunks(AT_ONCE) {
            let mut variants = Vec::with_capacity(chunk.len());
            for &number in chunk {
                let drawn = outer(self.source, &self.known, self.options.seed, number)?;
                if number as usize == self.draws.len() {
                    self.draws.push(Draw::new(drawn.drawn, drawn.redrawn, self.clauses.len()));
                }
                let mut variant = Variant::unpaired(drawn.scenario);
                variant.measure_as(&self.as_known);
                variants.push(variant);
            }
            let tasks: Vec<Task> = chunk
                .iter()
                .enumerate()
                .flat_map(|(variant, &number)| {
                    let done = self.draws[number as usize].shifts;
                    (done..until).map(move |shift| Task { variant, number: luck_of(number, shift) })
                })
                .collect();
            let indices = (self.as_known.rate_index(), self.as_known.feed_availability_index());
            let mut fault = None;
            let (draws, clauses, each) = (&mut self.draws, &self.clauses, self.options.each);
            let (mut done, planned) = (self.done, self.planned);
            let ran = run_tasks(&variants, &tasks, self.options.seed, crew, cancelled, &mut |task, heard| {
                match heard {
                    Ok(values) => {
                        let draw = &mut draws[chunk[task.variant] as usize];
                        draw.take_in(values[indices.0], values[indices.1], clauses, each);
                    }
                    Err(why) => fault = fault.take().or(Some(why)),
                }
                done += 1;
                progress(done, planned);
            });
            self.done = done;
            if let Some(why) = fault {
                return Err(why);
            }
            if ran < tasks.len() {
                return Ok(false);
            }
        }
        Ok(true)
    }

    /// Runs more shifts of the draws that are not clear, until there are `share` times those of the first round. False if it was
    /// cancelled.
    fn clear_up<C: Crew>(
        &mut self,
        share: f64,
        crew: &C,
        cancelled: &(dyn Fn() -> bool + Sync),
        progress: &mut dyn FnMut(u64, u64),
    ) -> Result<bool, RunError> {
        let budget = (share * (self.draws.len() as u64 * self.options.each) as f64) as u64;
        for more in MORE {
            let until = more * self.options.each;
            let mut unclear: Vec<(f64, u64)> = Vec::new();
            for ix in 0..self.draws.len() {
                unclear.push((0.0, ix as u64));
            }
            for clause in 0..self.clauses.len() {
                let reach = self.reach(clause);
                for (ix, keeps) in reach.each.iter().enumerate() {
                    unclear[ix].0 = f64::max(unclear[ix].0, keeps.min(1.0 - keeps));
                }
            }
            unclear.retain(|(doubt, _)| *doubt >= CLEAR);
            unclear.sort_by(|a, b| b.0.total_cmp(&a.0).then(a.1.cmp(&b.1)));
            let mut chosen = Vec::new();
            let mut left = budget.saturating_sub(self.done);
            for (_, number) in unclear {
                let cost = until.saturating_sub(self.draws[number as usize].shifts);
                if cost > 0 && cost <= left {
                    left -= cost;
                    chosen.push(number);
                }
            }
            chosen.sort_unstable();
            self.planned = self.done
                + chosen.iter().map(|number| until - self.draws[*number as usize].shifts).sum::<u64>();
            if !self.run(&chosen, until, crew, cancelled, progress)? {
                return Ok(false);
            }
        }
        Ok(true)
    }

    /// Simulation error of each end of the interval of an assurance.
    fn error(&self) -> f64 {
        self.error_share * shared_error(ERROR_EACH_WAY, self.clauses.len().max(1) as u64)
    }

    /// Why each clause is open; none where it is not.
    fn open_because(&self, demanded: f64) -> Vec<Option<OpenBecause>> {
        let why = |clause| self.assurance(clause, &self.reach(clause), demanded).open_because;
        (0..self.clauses.len()).map(why).collect()
    }

    /// Whether more simulation would not change the verdict; so without a promise.
    fn is_clear(&self, demanded: f64) -> bool {
        self.open_because(demanded).iter().all(|why| *why != Some(OpenBecause::Simulation))
    }

    /// Whether a clause is open.
    fn is_open(&self, demanded: f64) -> bool {
        self.open_because(demanded).iter().any(Option::is_some)
    }

    /// How far the population of own chances, or means, reaches what a clause demands.
    fn reach(&self, clause: usize) -> Reach {
        let (report, error) = (&self.clauses[clause], self.error());
        let tail = 0.5 * (1.0 - self.options.level);
        let at = [tail, 0.5, 1.0 - tail];
        match report.demanded_chance {
            Some(chance) => {
                let members: Vec<Hits> =
                    self.draws.iter().map(|draw| &draw.clauses[clause]).map(Seen::hits).collect();
                pool::chances(&members, self.options.each, chance, error, &at)
            }
            None => {
                let of = |pick: fn(&Seen) -> Moments| -> Vec<Moments> {
                    self.draws.iter().map(|draw| pick(&draw.clauses[clause])).collect()
                };
                let bound = report.required * (1.0 - 1e-12);
                pool::means(&of(|seen| seen.first), &of(|seen| seen.all), bound, error, &at)
            }
        }
    }

    /// What was drawn, as numbers to regress on.
    fn numbers(&self) -> Vec<Vec<Vec<f64>>> {
        self.draws.iter().map(|draw| draw.drawn.iter().map(numbers).collect()).collect()
    }

    /// For each draw the chance that its line keeps all clauses, sharpened by what was drawn. Given the draw, clauses are
    /// taken as independent: what is left is inner noise.
    fn keeps(&self, columns: &[Vec<f64>]) -> Vec<f64> {
        let mut keeps = vec![1.0; self.draws.len()];
        for (clause, asked) in self.clauses.iter().enumerate() {
            let of = |pick: fn(&Seen) -> Moments| -> Vec<Moments> {
                self.draws.iter().map(|draw| pick(&draw.clauses[clause])).collect()
            };
            let each = match asked.demanded_chance {
                Some(chance) => {
                    let members: Vec<Hits> =
                        self.draws.iter().map(|draw| draw.clauses[clause].hits()).collect();
                    guide::keep_chance(columns, &members, chance)
                }
                None => {
                    let bound = asked.required * (1.0 - 1e-12);
                    guide::keep_mean(columns, &of(|seen| seen.first), &of(|seen| seen.all), bound)
                }
            };
            keeps.iter_mut().zip(each).for_each(|(all, one)| *all *= one);
        }
        keeps
    }

    fn report(&self, demanded: f64) -> IgnoranceReport {
        let options = self.options;
        let numbers = self.numbers();
        let reached: Vec<Reach> = (0..self.clauses.len()).map(|clause| self.reach(clause)).collect();
        let clauses: Vec<AssuranceReport> = reached
            .iter()
            .enumerate()
            .map(|(clause, reach)| self.assurance(clause, reach, demanded))
            .collect();
        let verdicts: Vec<Verdict> = clauses.iter().map(|clause| clause.verdict).collect();
        let first: Vec<Moments> = self.draws.iter().map(|draw| draw.first_rate).collect();
        let all: Vec<Moments> = self.draws.iter().map(|draw| draw.rate).collect();
        let means: Moments = first.iter().filter_map(Moments::mean).collect();
        let tail = 0.5 * (1.0 - options.level);
        let own = pool::means(&first, &all, 0.0, ERROR_EACH_WAY, &[tail, 1.0 - tail]);
        let drawn: Vec<Vec<Drawn>> = self.draws.iter().map(|draw| draw.drawn.clone()).collect();
        let keeps = self.keeps(&guide::columns(&numbers));
        let further = match reached.is_empty() {
            true => Vec::new(),
            false => further::reports(&self.known, &drawn, &keeps, demanded, options.seed),
        };
        IgnoranceReport {
            verdict: (!clauses.is_empty()).then(|| joint_verdict(&verdicts)),
            demanded_assurance: demanded,
            error_each_way: ERROR_EACH_WAY,
            draws: self.draws.len() as u64,
            draws_until_clear: options.until_clear,
            shifts_each: options.each,
            shifts: self.done,
            redrawn: self.draws.iter().map(|draw| draw.redrawn).sum(),
            mean_rate: Figure::of(&means, options.level),
            own_mean_low: own.quantiles[0],
            own_mean_high: own.quantiles[1],
            level: options.level,
            clauses,
            variance: split::split(&first, &numbers, options.level),
            further,
            known: outer::reports(&self.known, options.level),
        }
    }

    fn assurance(&self, clause: usize, reach: &Reach, demanded: f64) -> AssuranceReport {
        let asked = &self.clauses[clause];
        let verdict = if reach.low >= demanded {
            Verdict::Proved
        } else if reach.high <= 1.0 - demanded {
            Verdict::Disproved
        } else {
            Verdict::Open
        };
        let sharp = reach.high < demanded && reach.low > 1.0 - demanded;
        let open_because = match (verdict, sharp) {
            (Verdict::Proved | Verdict::Disproved, _) => None,
            (Verdict::Open, true) => Some(OpenBecause::Ignorance),
            (Verdict::Open, false) => Some(OpenBecause::Simulation),
        };
        let unclear = reach.each.iter().filter(|keeps| **keeps >= CLEAR && **keeps <= 1.0 - CLEAR);
        AssuranceReport {
            kind: asked.kind,
            required: asked.required,
            demanded_chance: asked.demanded_chance,
            verdict,
            open_because,
            predictive: Figure::of(&self.predictive(clause), self.options.level),
            assurance: reach.share,
            low: reach.low,
            high: reach.high,
            level: 1.0 - 2.0 * self.error(),
            own_low: reach.quantiles[0],
            own_median: reach.quantiles[1],
            own_high: reach.quantiles[2],
            own_level: self.options.level,
            unclear_draws: unclear.count() as u64,
        }
    }

    /// Of the first round, whose shifts are equally many for all draws: means of the draws, which are independent.
    fn predictive(&self, clause: usize) -> Moments {
        let is_chance = self.clauses[clause].demanded_chance.is_some();
        let values = self.draws.iter().map(|draw| &draw.clauses[clause]).filter_map(|seen| {
            if is_chance {
                Some(seen.first_made as f64 / seen.first.count() as f64)
            } else {
                seen.first.mean()
            }
        });
        values.collect()
    }
}

/// Number of the replication whose luck a shift has: none that any other draw, or the run with inputs as known, has.
pub(super) fn luck_of(draw: u64, shift: u64) -> u64 {
    ((draw + 1) << 32) + shift
}

impl Seen {
    fn hits(&self) -> Hits {
        Hits { first: self.first_made, all: self.made, of: self.all.count() }
    }
}

impl Draw {
    fn new(drawn: Vec<Drawn>, redrawn: u64, clauses: usize) -> Self {
        Draw {
            drawn,
            redrawn,
            shifts: 0,
            rate: Moments::new(),
            first_rate: Moments::new(),
            clauses: vec![Seen::default(); clauses],
        }
    }

    /// Takes in one shift: its rate (parts/min) and feed availability. What does not exist, since the point of use was
    /// never ready, counts as zero: it was of no use to anybody.
    fn take_in(&mut self, rate: f64, feed_availability: f64, clauses: &[ClauseReport], each: u64) {
        let is_first = self.shifts < each;
        self.shifts += 1;
        let or_zero = |value: f64| if value.is_finite() { value } else { 0.0 };
        let (rate, feed_availability) = (or_zero(rate), or_zero(feed_availability));
        self.rate.push(rate);
        if is_first {
            self.first_rate.push(rate);
        }
        for (seen, clause) in self.clauses.iter_mut().zip(clauses) {
            let value = match clause.kind {
                ClauseKind::MeanRate | ClauseKind::ShiftRate => rate,
                ClauseKind::FeedAvailability => feed_availability,
            };
            let made = u64::from(reaches(value, clause.required));
            seen.all.push(value);
            seen.made += made;
            if is_first {
                seen.first.push(value);
                seen.first_made += made;
            }
        }
    }
}
