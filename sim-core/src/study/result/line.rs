//! The line station by station, place by place.

use super::Figure;
use crate::kernel::State;
use schemars::JsonSchema;
use serde::Serialize;

/// Measures of the line as a whole.
#[derive(Debug, Clone, PartialEq, Serialize, JsonSchema)]
pub struct LineReport {
    /// 1 - starved / time ready to take a part, at the point of use. Ready = working + checking + starved: stops,
    /// changeovers, breaks, holds and blocking of the point of use itself are not the feed's.
    pub feed_availability: Figure,
    /// Orienting passes for each part finished at the point of use, all paths together; none without paths.
    pub passes_per_delivered: Figure,
    /// Parts that sources brought into the line one by one, per hour; none where they come by the container.
    pub created_per_hour: Figure,
    /// Stops of all stations, per hour.
    pub stops_per_hour: Figure,
    /// Changeovers finished per hour; none without a product sequence.
    pub changeovers_per_hour: Figure,
    /// Parts taken out of the line in changeovers, per hour; none without a product sequence.
    pub purged_per_hour: Figure,
}

/// A point of use.
#[derive(Debug, Clone, PartialEq, Serialize, JsonSchema)]
pub struct PointReport {
    /// Its station.
    pub station: String,
    /// Good parts per minute of the window (gross).
    pub good_per_minute: Figure,
    /// Bad parts among a million.
    pub bad_ppm: Figure,
    /// Mean number of orienting passes of a finished part.
    pub passes: Figure,
    /// 95th percentile of the passes over all parts of all replications; 255 stands for 255 or more.
    pub passes_p95: Option<u32>,
    /// Parts of all replications by their number of passes, from 0 on, as far as there are any; 255 stands for 255 or more.
    pub parts_by_passes: Vec<u64>,
    /// Mean time from entry into the line to here, s.
    pub time_in_line_s: Figure,
    /// Longest spell of starvation in a shift, mean over shifts, s.
    pub longest_starved_s: Figure,
    /// Longest spell of starvation in any shift, s.
    pub longest_starved_max_s: Option<f64>,
}

/// Share of time in a state.
#[derive(Debug, Clone, Copy, PartialEq, Serialize, JsonSchema)]
pub struct StateShare {
    /// The state.
    pub state: State,
    /// Share of the window.
    pub share: Figure,
    /// Half the width of the interval of the share.
    pub half_width: Option<f64>,
}

/// Flow through an exit.
#[derive(Debug, Clone, PartialEq, Serialize, JsonSchema)]
pub struct ExitFlow {
    /// Number of the exit; 0 is the way on. Exits beyond 7 are counted with 7.
    pub exit: u32,
    /// Its key in the file, such as `to` or `rejects_to`.
    pub key: String,
    /// Where it leads: a station, or `out`.
    pub to: String,
    /// Parts per hour.
    pub per_hour: Figure,
}

/// What an orienting path does to the flow.
#[derive(Debug, Clone, Copy, PartialEq, Serialize, JsonSchema)]
pub struct PathReport {
    /// Share of the parts leaving that leave by the way on.
    pub accepted_share: Figure,
    /// Parts that leave by other exits for each that goes on: recirculation ratio.
    pub recirculation_ratio: Figure,
}

/// Starved time of a machine by inlet.
#[derive(Debug, Clone, PartialEq, Serialize, JsonSchema)]
pub struct InletReport {
    /// Who feeds the inlet.
    pub from: String,
    /// Share of the window in which it was missing; where several were, the time is split evenly among them.
    pub missing_share: Figure,
}

/// A station.
#[derive(Debug, Clone, PartialEq, Serialize, JsonSchema)]
pub struct StationReport {
    /// Its name; equal stations are numbered.
    pub name: String,
    /// The word for its type.
    pub station_type: String,
    /// Whether it is a point of use.
    pub is_point_of_use: bool,
    /// Shares of time, adding up to 1.
    pub states: Vec<StateShare>,
    /// Parts taken per hour.
    pub taken_per_hour: Figure,
    /// Parts made here per hour (sources).
    pub created_per_hour: Figure,
    /// Parts by exit.
    pub exits: Vec<ExitFlow>,
    /// What it does to the flow; none unless it sorts out: a way on, and other exits for what does not go on.
    pub path: Option<PathReport>,
    /// Stops per hour.
    pub stops_per_hour: Figure,
    /// Calls for an attendant per hour.
    pub calls_per_hour: Figure,
    /// Starts after a hold, per hour.
    pub restarts_per_hour: Figure,
    /// Strokes that found nothing to release, per hour.
    pub empty_strokes_per_hour: Figure,
    /// Share of empty strokes among these and the parts taken.
    pub empty_strokes_share: Figure,
    /// Parts lost for want of room, per hour.
    pub lost_per_hour: Figure,
    /// Parts that fell back, per hour.
    pub spilled_per_hour: Figure,
    /// Entries beyond the capacity of a bin, per hour.
    pub overfilled_per_hour: Figure,
    /// Containers emptied per hour.
    pub tips_per_hour: Figure,
    /// Presence checks that failed, per hour.
    pub checks_failed_per_hour: Figure,
    /// Strokes with a part missing, per hour.
    pub short_strokes_per_hour: Figure,
    /// Starved time by inlet, for machines with several.
    pub missing_by_inlet: Vec<InletReport>,
}

/// A place that holds parts.
#[derive(Debug, Clone, PartialEq, Serialize, JsonSchema)]
pub struct PlaceReport {
    /// Its name.
    pub name: String,
    /// Parts that it holds; none if it has no limit.
    pub capacity: Option<u32>,
    /// Mean content, parts.
    pub mean_content: Figure,
    /// Content that it did not exceed in 5 % of the time, over all replications together. Contents of 1024 and more
    /// are given as the next one below of those told apart, of which each doubling has 512 (to 0.2 % or better).
    pub content_p5: Option<u32>,
    /// The same for half of the time: the median.
    pub content_p50: Option<u32>,
    /// The same for 95 % of the time.
    pub content_p95: Option<u32>,
    /// Share of time in which it was empty.
    pub share_empty: Figure,
    /// Share of time in which it was full; none if it has no limit.
    pub share_full: Option<Figure>,
    /// Parts that left it, per hour.
    pub departures_per_hour: Figure,
    /// Mean stay of a part, s: content added up over the window, divided by the parts that left.
    pub mean_stay_s: Figure,
}

/// A jam or breakdown of a station.
#[derive(Debug, Clone, PartialEq, Serialize, JsonSchema)]
pub struct StopReport {
    /// The station.
    pub station: String,
    /// Its number among the stops of the station, from 1: those of the station itself, then those of its tools.
    pub number: u32,
    /// `jam` or `breakdown`.
    pub what: String,
    /// What makes it begin: `by part`, or a clock.
    pub cause: String,
    /// Who clears it; none if nobody is needed.
    pub by: Option<String>,
    /// Stops per hour.
    pub per_hour: Figure,
    /// Stops for a thousand parts that the station took.
    pub per_thousand_parts: Figure,
}

/// A pool of attendants.
#[derive(Debug, Clone, PartialEq, Serialize, JsonSchema)]
pub struct AttendantReport {
    /// Its name.
    pub name: String,
    /// People in it.
    pub number: u32,
    /// Share of the window in which one of them walks or works, mean over the people of the pool.
    pub load: Figure,
    /// Share of the window in which they are off.
    pub off: Figure,
    /// Minutes of walking and work of all of them in one hour.
    pub minutes_per_hour: Figure,
    /// Calls per hour; missing where stations call several pools, whose calls are not told apart.
    pub calls_per_hour: Figure,
}

/// A sensor.
#[derive(Debug, Clone, PartialEq, Serialize, JsonSchema)]
pub struct SensorReport {
    /// Its name.
    pub name: String,
    /// Share of the window in which it was on.
    pub on_share: Figure,
    /// Times per hour that it switched on.
    pub switched_on_per_hour: Figure,
}

/// A measure of the file's own.
#[derive(Debug, Clone, PartialEq, Serialize, JsonSchema)]
pub struct MeasureReport {
    /// Its name.
    pub name: String,
    /// Share of the window in which it held.
    pub share: Figure,
}
