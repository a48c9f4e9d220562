//! The result of a run as a document: what is written to a file and shown to people.
//!
//! Only plain data, each piece with its unit in its name or beside it; it is filled elsewhere. Invariants: every
//! estimate carries its standard error, level and count; what does not exist is `null`, never a number that stands for
//! nothing; the same run gives the same bytes.

mod ignorance;
mod line;
mod losses;
mod origin;
mod promise;

pub use ignorance::{
    AssuranceReport, EstimateReport, FurtherReport, FurtherStep, IgnoranceReport, KnownReport, OpenBecause,
    VarianceReport, VarianceShare,
};
pub use line::{
    AttendantReport, ExitFlow, InletReport, LineReport, MeasureReport, PathReport, PlaceReport, PointReport,
    SensorReport, StateShare, StationReport, StopReport,
};
pub use losses::{FlowReport, LossKind, LossReport, LossStep};
pub use origin::{
    GridlockReport, InputReport, Knowledge, StoppedBecause, Waiting, WarmUpReport, WarmUpSource, WindowReport,
};
pub use promise::{
    ChanceToMake, ClauseKind, ClauseReport, HistogramReport, Interval, OneShift, Percentile, PromiseReport,
    RateBasis, RateReached, RateReport,
};

use crate::statistics::{self, Moments, Verdict};
use schemars::JsonSchema;
use serde::Serialize;

/// Number of the format of a result. It changes when the meaning of anything in it changes.
pub const RESULT_FORMAT: u32 = 1;

/// The result of a run: what was simulated, whether the line keeps its promise, and where its time goes.
#[derive(Debug, Clone, PartialEq, Serialize, JsonSchema)]
pub struct RunResult {
    /// Number of the format of this result.
    pub result_format: u32,
    /// Version of the program that made it.
    pub program_version: String,
    /// Title of the scenario.
    pub title: Option<String>,
    /// 64-bit FNV-1a hash of the bytes of the scenario file, 16 hexadecimal digits.
    pub scenario_hash: String,
    /// Seed of all luck.
    pub seed: u64,
    /// Replications (shifts) in this result.
    pub replications: u64,
    /// Most replications that were to be run.
    pub budget: u64,
    /// Why the run ended.
    pub stopped_because: StoppedBecause,
    /// Timed events in all replications.
    pub events: u64,
    /// Level of all two-sided intervals unless one says otherwise.
    pub level: f64,
    /// The time that is measured in each replication.
    pub window: WindowReport,
    /// Where the warm-up was cut, and how that was found.
    pub warm_up: WarmUpReport,
    /// Whether the line keeps its promise; none without a promise.
    pub promise: Option<PromiseReport>,
    /// The promise with what the evidence leaves unknown in it; not there without evidence, or if it was not asked for.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub ignorance: Option<IgnoranceReport>,
    /// Good parts per minute at the point of use.
    pub rate: RateReport,
    /// The mean rate from mirrored shifts and controls, if that was asked for; never in the verdict.
    pub reduced: Option<crate::study::reduced::ReducedReport>,
    /// The pay-back, if the file has prices; never in the verdict.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub pay_back: Option<crate::money::PayBack>,
    /// Measures of the line as a whole.
    pub line: LineReport,
    /// Points of use, one by one.
    pub points: Vec<PointReport>,
    /// Where the rate of each point of use is lost.
    pub losses: Vec<LossReport>,
    /// What becomes of the parts where they part ways.
    pub flows: Vec<FlowReport>,
    /// Stations in the order of the file.
    pub stations: Vec<StationReport>,
    /// Places: tracks, belts, bins, and the hands of stations that give directly to the next one.
    pub places: Vec<PlaceReport>,
    /// Jams and breakdowns by station and cause.
    pub stops: Vec<StopReport>,
    /// Pools of attendants.
    pub attendants: Vec<AttendantReport>,
    /// Sensors.
    pub sensors: Vec<SensorReport>,
    /// Measures of the file's own.
    pub measures: Vec<MeasureReport>,
    /// Replications in which stations waited for each other for ever, and the first such case.
    pub gridlock: GridlockReport,
    /// Random inputs, and which of them were measured.
    pub inputs: Vec<InputReport>,
    /// What has to be known to read the numbers rightly.
    pub notes: Vec<String>,
    /// Cautions that belong on every proof.
    pub cautions: Vec<String>,
}

/// A mean over replications with its error. All numbers are `null` where too few replications have a value.
#[derive(Debug, Clone, Copy, PartialEq, Serialize, JsonSchema)]
pub struct Figure {
    /// Mean over replications.
    pub mean: Option<f64>,
    /// Standard error of the mean.
    pub standard_error: Option<f64>,
    /// Lower limit of the two-sided t interval for the mean.
    pub low: Option<f64>,
    /// Upper limit of the two-sided t interval for the mean.
    pub high: Option<f64>,
    /// Level of the interval.
    pub level: f64,
    /// Replications that have a value.
    pub n: u64,
}

impl Figure {
    /// The mean of `moments` with a two-sided t interval (Student 1908) at `level`.
    pub fn of(moments: &Moments, level: f64) -> Self {
        let whole = statistics::Estimate::of_mean(moments, level).ok();
        Figure {
            mean: moments.mean().filter(|mean| mean.is_finite()),
            standard_error: whole.map(|estimate| estimate.standard_error),
            low: whole.map(|estimate| estimate.low),
            high: whole.map(|estimate| estimate.high),
            level,
            n: moments.count(),
        }
    }

    /// A figure that does not exist.
    pub fn missing(level: f64) -> Self {
        Figure::of(&Moments::new(), level)
    }

    /// Half the width of the interval.
    pub fn half_width(&self) -> Option<f64> {
        Some(0.5 * (self.high? - self.low?))
    }
}

impl RunResult {
    /// The verdict on the promise: about the assurance where ignorance of the inputs is included, else with all inputs
    /// taken as known; none without a promise.
    pub fn verdict(&self) -> Option<Verdict> {
        match &self.ignorance {
            Some(ignorance) => ignorance.verdict,
            None => self.promise.as_ref().map(|promise| promise.verdict),
        }
    }
}

/// The JSON Schema of [`RunResult`].
pub fn schema() -> serde_json::Value {
    schemars::schema_for!(RunResult).to_value()
}
