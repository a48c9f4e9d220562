//! Where the rate is lost: from what the point of use could make, down to what it does.

use super::Figure;
use crate::kernel::State;
use schemars::JsonSchema;
use serde::Serialize;

/// The time account of one point of use: what it would make if it always worked at its nominal cycle, and what is lost
/// of that step by step. The steps and the good parts add up to the free rate, in each shift and so in the mean.
#[derive(Debug, Clone, PartialEq, Serialize, JsonSchema)]
pub struct LossReport {
    /// The station.
    pub station: String,
    /// Parts per minute at its nominal (mean) cycle, never waiting; none where it has no cycle of its own: then steps are
    /// given as shares of time only.
    pub free_per_minute: Option<f64>,
    /// What is lost, in the order of the account: its own variation, starvation by cause (largest first), waiting for checks,
    /// blocking, holds, stops by kind, changeover, off, bad parts.
    pub steps: Vec<LossStep>,
    /// Good parts per minute of the window.
    pub good_per_minute: Figure,
    /// Replications on which the account rests, the first ones: causes are accounted for in these only.
    pub replications: u64,
}

/// What a step of the account is about.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, JsonSchema)]
#[serde(rename_all = "snake_case")]
pub enum LossKind {
    /// Cycles that were longer or shorter than the nominal one, and strokes that made nothing; it may be negative.
    OwnVariation,
    /// Nothing to take.
    Starved,
    /// A state of the point of use itself.
    OwnState,
    /// Parts that were finished and are bad.
    BadParts,
}

/// One step of the account.
#[derive(Debug, Clone, PartialEq, Serialize, JsonSchema)]
pub struct LossStep {
    /// What it is about.
    pub kind: LossKind,
    /// The state of the point of use, for time spent in a state.
    pub state: Option<State>,
    /// For starvation: the station that it is charged to; none for `filling up` and `recirculating`.
    pub station: Option<String>,
    /// For starvation: what the station did instead of giving; `working`: it was at its natural limit.
    pub station_state: Option<State>,
    /// For starvation: what made the station do that, if it is something else: the sensor that holds it or slows it down
    /// (then `working`: what full speed would have brought), or the reach for which it waits.
    pub by: Option<String>,
    /// In words, such as `lift at its natural limit`.
    pub what: String,
    /// Share of the window; none for bad parts and own variation, which are no time of their own.
    pub share: Option<Figure>,
    /// Parts per minute lost; none where there is no free rate.
    pub per_minute: Option<f64>,
}

/// The flow account of one path or other station that sorts out. The steps add up to what was offered, except for what is
/// under way when the window opens and closes.
#[derive(Debug, Clone, PartialEq, Serialize, JsonSchema)]
pub struct FlowReport {
    /// The station.
    pub station: String,
    /// Parts that it took, per hour.
    pub offered_per_hour: Figure,
    /// Good parts that it sent off because of how they lay, per hour.
    pub by_attitude_per_hour: Figure,
    /// Parts with a defect, and foreign ones, that it sent off, per hour.
    pub by_defect_per_hour: Figure,
    /// Parts for which there was no room further on, and which fell off, per hour.
    pub overflow_per_hour: Figure,
    /// Parts that went on, per hour.
    pub accepted_per_hour: Figure,
}
