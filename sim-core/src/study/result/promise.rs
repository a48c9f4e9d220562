//! The rate at the point of use, and the verdict on the promise.

use super::Figure;
use crate::statistics::Verdict;
use schemars::JsonSchema;
use serde::Serialize;

/// Which time the rate is divided by.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, JsonSchema)]
#[serde(rename_all = "snake_case")]
pub enum RateBasis {
    /// The whole window.
    Gross,
    /// The window less the times that the promise does not count (`net_of`).
    Net,
}

/// Good parts per minute at the point of use (several points added up).
///
/// Three things that must not be confused: `mean_rate` says where the mean over many shifts lies, `one_shift` where the
/// next single shift will lie, `percentiles` how single shifts spread.
#[derive(Debug, Clone, PartialEq, Serialize, JsonSchema)]
pub struct RateReport {
    /// Stations whose good parts are counted.
    pub at: Vec<String>,
    /// Whether the rates below are gross or net.
    pub basis: RateBasis,
    /// Times that do not count in a net rate, such as `C1: off`.
    pub net_of: Vec<String>,
    /// Mean rate over shifts, parts/min, with its t interval.
    pub mean_rate: Figure,
    /// Mean gross rate, parts/min.
    pub mean_gross_rate: Figure,
    /// Of a net rate: good parts that come out in the time that does not count, parts/min of the window. They count, and so
    /// the net rate can be above what the point of use can make.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub good_in_uncounted_time: Option<Figure>,
    /// Where the rate of one future shift will lie, parts/min.
    pub one_shift: OneShift,
    /// Standard deviation of the rate from shift to shift, parts/min.
    pub standard_deviation: Option<f64>,
    /// Lowest rate of a shift, parts/min.
    pub min: Option<f64>,
    /// Highest rate of a shift, parts/min.
    pub max: Option<f64>,
    /// Percentiles of the rate of a shift, with intervals that assume no law.
    pub percentiles: Vec<Percentile>,
    /// How the rates of shifts spread; none if all are alike.
    pub histogram: Option<HistogramReport>,
    /// For each rate that a clause demands of a shift: the chance to make it.
    pub chance_to_make: Vec<ChanceToMake>,
    /// The rate that a shift reaches with a given chance.
    pub reached: Vec<RateReached>,
    /// Good parts of one shift.
    pub good_parts: Figure,
    /// Bad parts among a million finished at the point of use: escapes.
    pub bad_ppm: Figure,
}

/// An interval.
#[derive(Debug, Clone, Copy, PartialEq, Serialize, JsonSchema)]
pub struct Interval {
    /// Lower limit.
    pub low: f64,
    /// Upper limit.
    pub high: f64,
}

/// Prediction intervals for one future shift, parts/min. They stay wide however many shifts are simulated.
#[derive(Debug, Clone, Copy, PartialEq, Serialize, JsonSchema)]
pub struct OneShift {
    /// For nearly normal rates: mean +/- t s sqrt(1 + 1/n) (Hahn & Meeker 1991).
    pub normal: Option<Interval>,
    /// From the ranks alone, for any law (Wilks 1941); none below 39 shifts at 95 %.
    pub by_rank: Option<Interval>,
    /// Chance that one future shift falls inside.
    pub level: f64,
    /// Shifts behind it.
    pub n: u64,
}

/// A percentile of the rate of a shift, parts/min.
#[derive(Debug, Clone, Copy, PartialEq, Serialize, JsonSchema)]
pub struct Percentile {
    /// Share of shifts below it.
    pub share: f64,
    /// Estimate: definition 7 of Hyndman & Fan (1996).
    pub point: f64,
    /// Lower limit from ranks; none if there are too few shifts.
    pub low: Option<f64>,
    /// Upper limit from ranks; none if there are too few shifts.
    pub high: Option<f64>,
    /// Level asked for.
    pub level: f64,
}

/// Counts of shifts by rate.
#[derive(Debug, Clone, PartialEq, Serialize, JsonSchema)]
pub struct HistogramReport {
    /// Lower edge of the first class, parts/min.
    pub from: f64,
    /// Width of a class, parts/min.
    pub width: f64,
    /// Shifts in each class.
    pub counts: Vec<u64>,
}

/// The chance that a shift makes a rate, with an exact interval (Clopper & Pearson 1934).
#[derive(Debug, Clone, Copy, PartialEq, Serialize, JsonSchema)]
pub struct ChanceToMake {
    /// The rate, parts/min.
    pub rate: f64,
    /// Shifts that made it.
    pub made: u64,
    /// Shifts in all.
    pub of: u64,
    /// Share of shifts that made it.
    pub share: Option<f64>,
    /// Lower limit of the chance.
    pub low: Option<f64>,
    /// Upper limit of the chance.
    pub high: Option<f64>,
    /// Level of the two-sided interval.
    pub level: f64,
}

/// The rate that a shift reaches with a given chance.
#[derive(Debug, Clone, Copy, PartialEq, Serialize, JsonSchema)]
pub struct RateReached {
    /// The chance.
    pub chance: f64,
    /// Estimate, parts/min.
    pub point: Option<f64>,
    /// Lower limit, parts/min, for any law: it is too high with chance (1 - level) / 2 at most; none if there are too
    /// few shifts.
    pub low: Option<f64>,
    /// Level of the two-sided interval of which `low` is the lower end.
    pub level: f64,
}

/// What a clause asks for.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, JsonSchema)]
#[serde(rename_all = "snake_case")]
pub enum ClauseKind {
    /// The mean rate is at least `required` parts/min.
    MeanRate,
    /// A shift reaches `required` parts/min with at least the demanded chance.
    ShiftRate,
    /// The mean feed availability is at least `required`.
    FeedAvailability,
}

/// Verdict on one clause.
#[derive(Debug, Clone, Copy, PartialEq, Serialize, JsonSchema)]
pub struct ClauseReport {
    /// What it asks for.
    pub kind: ClauseKind,
    /// What is required: parts/min, or a share for feed availability.
    pub required: f64,
    /// Demanded chance; none for means.
    pub demanded_chance: Option<f64>,
    /// The verdict, at a look of the schedule.
    pub verdict: Verdict,
    /// Replications at the look that decided; none while open.
    pub decided_at: Option<u64>,
    /// Replications at the last look; none before the first.
    pub last_look: Option<u64>,
    /// What is judged, at the last look: the share of shifts that made the rate, or the mean.
    pub estimate: Option<f64>,
    /// One-sided lower limit at the error of the last look; the clause is proved where it is at or above what is asked.
    pub lower: Option<f64>,
    /// One-sided upper limit at the error of the last look; the clause is disproved where it is below what is asked.
    pub upper: Option<f64>,
    /// Error of each side in all, over all looks: this clause's share of the total.
    pub error_each_way: f64,
    /// Fewest shifts after which it can be proved if all go well; none if the budget does not suffice.
    pub fewest_to_prove: Option<u64>,
    /// Fewest shifts after which it can be disproved if all go badly; none if the budget does not suffice.
    pub fewest_to_disprove: Option<u64>,
}

/// Verdict on the promise: proved when each clause is, disproved when any is, else open.
#[derive(Debug, Clone, PartialEq, Serialize, JsonSchema)]
pub struct PromiseReport {
    /// The joint verdict.
    pub verdict: Verdict,
    /// Chance of a wrong verdict on each side in all, over all looks and clauses.
    pub error_each_way: f64,
    /// Replication counts at which a verdict may be given, fixed beforehand.
    pub looks: Vec<u64>,
    /// Fewest shifts after which all clauses can be proved; none if the budget does not suffice.
    pub fewest_to_prove: Option<u64>,
    /// Fewest shifts after which some clause can be disproved; none if the budget does not suffice.
    pub fewest_to_disprove: Option<u64>,
    /// The clauses.
    pub clauses: Vec<ClauseReport>,
}
