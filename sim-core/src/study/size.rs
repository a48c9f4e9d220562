//! Sizing: the smallest or largest value of one setting with which the promise is proved.
//!
//! Values on a grid are asked by halving ([`Search`]); each is judged by its own sequential proof, on luck of its own
//! (the seed of a value is that of the study plus its number on the grid), so that no verdict at all is wrong with the stated
//! chance. It is assumed that the promise, once kept, is kept from there on; both ends are asked and the mean rates
//! compared to check that. Invariant: every value between the one disproved and the one proved is open, unless the answers
//! contradict each other, which is said.

use super::crew::Crew;
use super::kept::{Kept, Shifts};
use super::proof::Proof;
use super::result::{ClauseReport, Figure, RESULT_FORMAT};
use super::run::RunError;
use super::variant::{Task, Variant, settle_warm_up};
use crate::diag::Diagnostic;
use crate::evidence::known;
use crate::statistics::{CannotSay, Judge, Moments, Search, Verdict, WelchDifference};
use schemars::JsonSchema;
use serde::Serialize;

/// Chance that the check of the order finds fault with a right one.
const ORDER_ERROR: f64 = 0.001;
/// Most values on a grid.
pub const VALUES_MAX: usize = 1_000_000;

/// Which end of the values that keep the promise is looked for.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, JsonSchema)]
#[serde(rename_all = "snake_case")]
pub enum Wanted {
    /// More helps: the smallest value that is enough.
    Smallest,
    /// Less helps: the largest value that is still good.
    Largest,
}

/// How to size.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct SizeOptions {
    /// Which value is wanted.
    pub wanted: Wanted,
    /// Most shifts of each value that is asked.
    pub replications: u64,
    /// Seed of all luck.
    pub seed: u64,
    /// Chance that any verdict is wrong, at most.
    pub error: f64,
}

/// A value that was asked.
#[derive(Debug, Clone, PartialEq, Serialize, JsonSchema)]
pub struct ValueReport {
    /// The value.
    pub value: String,
    /// Its number on the grid, from 0.
    pub number: u64,
    /// Seed of its luck.
    pub seed: u64,
    /// Whether the promise is kept with it.
    pub verdict: Verdict,
    /// Shifts that were run.
    pub shifts: u64,
    /// Good parts per minute, with a 95 % interval of its own.
    pub rate: Figure,
    /// The clauses, as judged.
    pub clauses: Vec<ClauseReport>,
}

/// The result of sizing.
#[derive(Debug, Clone, PartialEq, Serialize, JsonSchema)]
pub struct SizeResult {
    /// Number of the format.
    pub result_format: u32,
    /// Version of the program.
    pub program_version: String,
    /// Seed of the study.
    pub seed: u64,
    /// What was looked for.
    pub wanted: Wanted,
    /// Lowest value of the grid.
    pub low: String,
    /// Highest value.
    pub high: String,
    /// Values on the grid.
    pub values: u64,
    /// Most shifts of each value.
    pub budget: u64,
    /// Chance that any verdict is wrong, at most.
    pub error: f64,
    /// Chance that one verdict is wrong, at most.
    pub error_each: f64,
    /// Most values that can have to be asked.
    pub questions_max: u64,
    /// The value nearest to the wanted end with which the promise is proved.
    pub proved: Option<String>,
    /// The value nearest to it with which the promise is disproved.
    pub disproved: Option<String>,
    /// Values between the two: neither proved nor disproved.
    pub open: u64,
    /// What speaks against the order that was assumed.
    pub against_order: Vec<String>,
    /// Whether it was interrupted: then the answers so far still hold.
    pub interrupted: bool,
    /// Shifts in all.
    pub shifts: u64,
    /// Whether inputs are known from evidence: here they are taken as known.
    pub evidence_left_out: bool,
    /// The values that were asked, in the order of the grid.
    pub asked: Vec<ValueReport>,
}

/// A point of the frontier of two settings.
#[derive(Debug, Clone, PartialEq, Serialize, JsonSchema)]
pub struct FrontierRow {
    /// Value of the first setting.
    pub value: String,
    /// What was found for the second one with it. The error is that of this row: all rows share the stated one.
    pub found: SizeResult,
}

impl SizeResult {
    /// The JSON Schema of this document.
    pub fn schema() -> serde_json::Value {
        schemars::schema_for!(SizeResult).to_value()
    }
}

/// How far sizing has come.
#[derive(Debug, Clone, PartialEq)]
pub struct SizeProgress {
    /// The value that is asked.
    pub value: String,
    /// Values asked before.
    pub asked: u64,
    /// Shifts of this value so far.
    pub shifts: u64,
}

/// Why there is no result.
#[derive(Debug, Clone, PartialEq)]
pub enum SizeError {
    /// The options cannot be used.
    BadOptions(CannotSay),
    /// The file promises nothing that could be proved.
    NoPromise,
    /// With this value it is no sound scenario.
    Unsound {
        /// The value.
        value: String,
        /// What is wrong.
        problems: Vec<Diagnostic>,
    },
    /// With this value no shift can be run.
    Run {
        /// The value.
        value: String,
        /// Why.
        why: RunError,
    },
}

/// A grid of values, and how a line is made with each.
pub trait Grid {
    /// The values in rising order, as they are shown.
    fn values(&self) -> &[String];

    /// The line with the value of this number.
    ///
    /// # Errors
    /// Problems of the scenario.
    fn variant(&self, number: usize) -> Result<Variant, Vec<Diagnostic>>;
}

/// Finds the value. None if it was interrupted before any value was judged. Of a shift two values are kept, by the number of
/// the value.
///
/// # Errors
/// See [`SizeError`].
pub fn size<C: Crew>(
    grid: &dyn Grid,
    options: &SizeOptions,
    crew: &C,
    cancelled: &(dyn Fn() -> bool + Sync),
    progress: &mut dyn FnMut(&SizeProgress),
    kept: &mut dyn Kept,
) -> Result<Option<SizeResult>, SizeError> {
    let n = grid.values().len();
    if n > VALUES_MAX {
        let value = n as f64;
        return Err(SizeError::BadOptions(CannotSay::OutOfRange { what: "number of values", value }));
    }
    let search = Search::new(n as u64, options.error).map_err(SizeError::BadOptions)?;
    let mut bench = Bench {
        grid,
        options: *options,
        crew,
        cancelled,
        progress,
        kept,
        asked: Vec::new(),
        has_evidence: false,
    };
    let interrupted = match search.run(&mut bench) {
        Ok(_) => false,
        Err(Stop::Cancelled) if bench.asked.is_empty() => return Ok(None),
        Err(Stop::Cancelled) => true,
        Err(Stop::Failed(why)) => return Err(why),
    };
    let has_evidence = bench.has_evidence;
    let mut asked = bench.asked;
    asked.sort_by_key(|(report, _)| report.number);
    Ok(Some(result(grid, options, &search, asked, (interrupted, has_evidence))))
}

/// Why the search ended early.
enum Stop {
    Cancelled,
    Failed(SizeError),
}

/// Where values are judged.
struct Bench<'a, C> {
    grid: &'a dyn Grid,
    options: SizeOptions,
    crew: &'a C,
    cancelled: &'a (dyn Fn() -> bool + Sync),
    progress: &'a mut dyn FnMut(&SizeProgress),
    kept: &'a mut dyn Kept,
    asked: Vec<(ValueReport, Moments)>,
    has_evidence: bool,
}

impl<C: Crew> Judge for Bench<'_, C> {
    type Error = Stop;

    fn ask(&mut self, setting: u64, error: f64) -> Result<Verdict, Stop> {
        let last = self.grid.values().len() as u64 - 1;
        let number = match self.options.wanted {
            Wanted::Smallest => setting,
            Wanted::Largest => last - setting,
        };
        let value = self.grid.values()[number as usize].clone();
        let unsound = |problems| Stop::Failed(SizeError::Unsound { value: value.clone(), problems });
        let variant = self.grid.variant(number as usize).map_err(unsound)?;
        self.has_evidence |= !known(&variant.scenario).is_empty();
        let (report, rates) = self.judge(variant, number, value.clone(), error)?;
        let verdict = report.verdict;
        self.asked.push((report, rates));
        Ok(verdict)
    }
}

impl<C: Crew> Bench<'_, C> {
    /// Runs shifts with one value until it is decided.
    fn judge(
        &mut self,
        variant: Variant,
        number: u64,
        value: String,
        error: f64,
    ) -> Result<(ValueReport, Moments), Stop> {
        let failed = |why: RunError| Stop::Failed(SizeError::Run { value: value.clone(), why });
        let budget = self.options.replications;
        let proof = Proof::with_error(&variant.scenario.promise, budget, error);
        let Some(mut proof) = proof.map_err(|why| Stop::Failed(SizeError::BadOptions(why)))? else {
            return Err(Stop::Failed(SizeError::NoPromise));
        };
        let seed = self.options.seed.wrapping_add(number);
        let rare = variant.rare_stops();
        let mut variants = [variant];
        if !settle_warm_up(&mut variants, seed, self.crew, self.cancelled).map_err(failed)? {
            return Err(Stop::Cancelled);
        }
        let [rate, feed_availability] = [variants[0].rate_index(), variants[0].feed_availability_index()];
        let is_certain = variants[0].scenario.is_certain();
        let (mut rates, mut done) = (Moments::new(), 0);
        while done < budget && proof.verdict() == Verdict::Open {
            // Two shifts tell whether there is any luck at all.
            let end = if done == 0 && is_certain { 2.min(budget) } else { proof.next_look(done) };
            let tasks: Vec<Task> = (done..end).map(|number| Task { variant: 0, number }).collect();
            let mut fault = None;
            let shifts = Shifts {
                variants: &variants,
                tasks: &tasks,
                seed,
                line: &|_| number,
                wanted: &|_, outputs| [outputs[rate], outputs[feed_availability]],
            };
            let ran = shifts.run(self.crew, self.cancelled, self.kept, &mut |_, heard| match heard {
                Ok([rate, feed_availability]) => {
                    rates.push(rate);
                    proof.push(rate, feed_availability);
                }
                Err(why) => fault = fault.take().or(Some(why)),
            });
            if let Some(why) = fault {
                return Err(failed(why));
            }
            if ran < tasks.len() {
                return Err(Stop::Cancelled);
            }
            done = end;
            if is_certain && done >= 2 && rates.min() == rates.max() && !proof.varies() {
                proof.decide_without_luck(done);
            }
            proof.look(done, &rare);
            (self.progress)(&SizeProgress {
                value: value.clone(),
                asked: self.asked.len() as u64,
                shifts: done,
            });
        }
        let report = ValueReport {
            value,
            number,
            seed,
            verdict: proof.verdict(),
            shifts: done,
            rate: Figure::of(&rates.spread_at_least(rare.of_rate(done)), 0.95),
            clauses: proof.report().clauses,
        };
        Ok((report, rates))
    }
}

fn result(
    grid: &dyn Grid,
    options: &SizeOptions,
    search: &Search,
    asked: Vec<(ValueReport, Moments)>,
    (interrupted, has_evidence): (bool, bool),
) -> SizeResult {
    let values = grid.values();
    let of = |verdict: Verdict| {
        asked.iter().map(|(report, _)| report).filter(move |report| report.verdict == verdict)
    };
    let (proved, disproved) = match options.wanted {
        Wanted::Smallest => (of(Verdict::Proved).next(), of(Verdict::Disproved).next_back()),
        Wanted::Largest => (of(Verdict::Proved).next_back(), of(Verdict::Disproved).next()),
    };
    let number =
        |report: Option<&ValueReport>, beyond: i64| report.map_or(beyond, |report| report.number as i64);
    let n = values.len() as i64;
    let (low, high) = match options.wanted {
        Wanted::Smallest => (number(disproved, -1), number(proved, n)),
        Wanted::Largest => (number(proved, -1), number(disproved, n)),
    };
    let (low_value, high_value) = (values[0].clone(), values[values.len() - 1].clone());
    let mut against_order = against_order(&asked, options.wanted);
    if let (Some(proved), Some(disproved)) = (proved, disproved)
        && low > high
    {
        against_order.insert(
            0,
            format!(
                "proved with {} and disproved with {}: look for the other end",
                proved.value, disproved.value
            ),
        );
    }
    SizeResult {
        result_format: RESULT_FORMAT,
        program_version: env!("CARGO_PKG_VERSION").to_owned(),
        seed: options.seed,
        wanted: options.wanted,
        low: low_value,
        high: high_value,
        values: values.len() as u64,
        budget: options.replications,
        error: options.error,
        error_each: search.error_each(),
        questions_max: search.questions_max(),
        proved: proved.map(|report| report.value.clone()),
        disproved: disproved.map(|report| report.value.clone()),
        open: (high - low - 1).max(0) as u64,
        against_order,
        interrupted,
        shifts: asked.iter().map(|(report, _)| report.shifts).sum(),
        evidence_left_out: has_evidence,
        asked: asked.into_iter().map(|(report, _)| report).collect(),
    }
}

/// Neighbours among the values asked whose mean rates surely stand the other way round than assumed (Welch 1947, with an
/// error shared by all neighbours).
fn against_order(asked: &[(ValueReport, Moments)], wanted: Wanted) -> Vec<String> {
    let error = ORDER_ERROR / asked.len().max(2) as f64;
    let mut against = Vec::new();
    for pair in asked.windows(2) {
        let [(low, of_low), (high, of_high)] = pair else { continue };
        let Ok(gap) = WelchDifference::of(of_low, of_high, 1.0 - 2.0 * error) else { continue };
        let is_against = match wanted {
            Wanted::Smallest => gap.high < 0.0,
            Wanted::Largest => gap.low > 0.0,
        };
        if is_against {
            let word = if gap.mean < 0.0 { "lower" } else { "higher" };
            against.push(format!(
                "the mean rate is {word} with {} than with {}, by {:.3} parts a minute",
                high.value,
                low.value,
                gap.mean.abs()
            ));
        }
    }
    against
}

#[cfg(test)]
mod tests {
    use super::super::{Alone, NothingKept};
    use super::*;
    use crate::study::Shelf;

    struct Slots {
        values: Vec<String>,
        promise: &'static str,
        warped: bool,
    }

    impl Grid for Slots {
        fn values(&self) -> &[String] {
            &self.values
        }

        fn variant(&self, number: usize) -> Result<Variant, Vec<Diagnostic>> {
            let slots = if self.warped { self.values.len() - number } else { number + 1 };
            Variant::read(&format!(
                r#"{{"feedproof": 1, "stations": [
                {{"id": "A", "type": "work", "endless": true, "time": {{"law": "exponential", "mean": "1 s"}}}},
                {{"id": "T", "type": "track", "capacity": {slots}, "travel": "0 s"}},
                {{"id": "B", "type": "work", "time": {{"law": "exponential", "mean": "1 s"}}}}],
                "plan": {{"shift": "20 min", "warm_up": "1 min"}}{}}}"#,
                self.promise
            ))
        }
    }

    fn slots(n: usize, promise: &'static str, warped: bool) -> Slots {
        Slots { values: (1..=n).map(|n| n.to_string()).collect(), promise, warped }
    }

    fn sized(grid: &Slots, wanted: Wanted) -> SizeResult {
        let options = SizeOptions { wanted, replications: 200, seed: 5, error: 0.05 };
        size(grid, &options, &Alone, &|| false, &mut |_| (), &mut NothingKept).unwrap().unwrap()
    }

    const MEAN: &str = r#", "promise": {"clauses": {"mean_rate": "49.5 /min"}}"#;

    /// Throughput (b + 2)/(b + 3) a second (Hunt 1956): 48 a minute with two slots, 50 with three.
    #[test]
    fn the_fewest_slots_are_found() {
        let found = sized(&slots(12, MEAN, false), Wanted::Smallest);
        assert_eq!((found.proved.as_deref(), found.disproved.as_deref()), (Some("3"), Some("2")));
        assert_eq!((found.open, found.against_order.len(), found.interrupted), (0, 0, false));
        assert!(
            found.asked.len() as u64 <= found.questions_max && found.asked.iter().all(|a| a.shifts <= 200)
        );
    }

    #[test]
    fn the_other_way_round_the_most_are_found() {
        let found = sized(&slots(12, MEAN, true), Wanted::Largest);
        assert_eq!((found.proved.as_deref(), found.disproved.as_deref()), (Some("10"), Some("11")));
    }

    #[test]
    fn the_wrong_end_is_noticed() {
        let found = sized(&slots(12, MEAN, true), Wanted::Smallest);
        assert_eq!(found.asked.len(), 2);
        assert_eq!(found.against_order.len(), 2, "{:?}", found.against_order);
    }

    #[test]
    fn none_and_all_are_told() {
        let none = sized(
            &slots(3, r#", "promise": {"clauses": {"mean_rate": "59 /min"}}"#, false),
            Wanted::Smallest,
        );
        assert_eq!((none.proved, none.disproved.as_deref()), (None, Some("3")));
        let all = sized(
            &slots(3, r#", "promise": {"clauses": {"mean_rate": "30 /min"}}"#, false),
            Wanted::Smallest,
        );
        assert_eq!((all.proved.as_deref(), all.disproved), (Some("1"), None));
    }

    #[test]
    fn without_a_promise_there_is_nothing_to_size() {
        let options = SizeOptions { wanted: Wanted::Smallest, replications: 50, seed: 1, error: 0.05 };
        let found = size(&slots(3, "", false), &options, &Alone, &|| false, &mut |_| (), &mut NothingKept);
        assert_eq!(found, Err(SizeError::NoPromise));
        let stopped = size(&slots(3, MEAN, false), &options, &Alone, &|| true, &mut |_| (), &mut NothingKept);
        assert_eq!(stopped, Ok(None));
    }

    /// Interrupted after whichever shift, it goes on to the same result.
    #[test]
    fn interrupted_sizing_goes_on_where_it_was() {
        let (grid, order) = (slots(12, MEAN, false), std::sync::atomic::Ordering::Relaxed);
        let options = SizeOptions { wanted: Wanted::Smallest, replications: 200, seed: 5, error: 0.05 };
        let whole = sized(&grid, Wanted::Smallest);
        for after in [0, 1, 9, 30] {
            let mut shelf = Shelf::default();
            let left = std::sync::atomic::AtomicU64::new(after);
            let cancelled = || left.fetch_update(order, order, |left: u64| left.checked_sub(1)).is_err();
            size(&grid, &options, &Alone, &cancelled, &mut |_| (), &mut shelf).unwrap();
            assert_eq!(shelf.0.len() as u64, after);
            let found = size(&grid, &options, &Alone, &|| false, &mut |_| (), &mut shelf);
            assert_eq!(found, Ok(Some(whole.clone())), "after {after}");
        }
    }
}
