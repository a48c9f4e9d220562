//! Sensors as a scenario states them.

use crate::diag::{Problem, code};
use crate::text::fields::Object;
use crate::text::forms::{
    Choice, Form, Spanned, count, either, list_of, name, no_limit, one_of, one_or_many, share, time,
};

/// A level of a place.
#[derive(Debug, Clone, Copy, PartialEq)]
pub enum Level {
    /// So many parts.
    Parts(u32),
    /// A share of the capacity, from 0 to 1.
    Share(f64),
}

/// What a sensor sees.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum SightWord {
    /// All parts.
    Content,
    /// Parts that wait at the end.
    Queue,
}

/// A sensor.
#[derive(Debug, Clone)]
pub struct SensorSpec {
    /// Its name.
    pub id: Spanned<String>,
    /// Stations whose contents are added up.
    pub watches: Vec<Spanned<String>>,
    /// What it sees of them.
    pub sight: SightWord,
    /// On at or above.
    pub high: Level,
    /// Off at or below.
    pub low: Level,
    /// Delay of switching on, s.
    pub delay_on_s: f64,
    /// Delay of switching off, s.
    pub delay_off_s: f64,
    /// Whether a change must persist for its delay.
    pub debounced: bool,
    /// Stations that it holds while it is on.
    pub holds: Vec<Spanned<String>>,
    /// Stations that it slows down while it is on.
    pub slows: Vec<Spanned<String>>,
    /// Their speed then, as a share of the full one.
    pub slow_to: f64,
}

/// A level: parts, or a share of the capacity as text.
pub fn level() -> impl Form<Out = Level> {
    let parts = count().at_most(100_000_000).map(|n| Level::Parts(n as u32));
    let form = either(parts, share().at_most("100 %").map(Level::Share)).map(|choice| match choice {
        Choice::First(level) | Choice::Second(level) => level,
    });
    no_limit(form)
}

/// A sensor does something, and says how.
fn check_effect(object: &mut Object<'_>, sensor: &SensorSpec) {
    if !object.sound(&["holds", "slows", "slow_to"]) {
        return;
    }
    if sensor.holds.is_empty() && sensor.slows.is_empty() {
        let problem = Problem::new(code::MISSING_KEY, "the sensor does nothing");
        object.fail_here(problem.expected("stations in `holds`, or in `slows` with a `slow_to`"));
    }
    if !sensor.slows.is_empty() && !object.has("slow_to") {
        let problem = Problem::new(code::MISSING_KEY, "how slow these stations go is not given");
        object.fail("slows", problem.expected("`slow_to`, such as \"50 %\""));
    }
    if sensor.slows.is_empty() && object.has("slow_to") {
        let problem = Problem::new(code::BAD_CONNECTION, "`slow_to` is a speed for the stations in `slows`");
        object.fail("slow_to", problem.help("name stations in `slows`, or take it out"));
    }
}

/// Reads a sensor.
pub(super) fn read(object: &mut Object<'_>) -> SensorSpec {
    const SIGHTS: &[(&str, SightWord, &str)] = &[
        ("content", SightWord::Content, "all parts there, under way and waiting"),
        ("queue", SightWord::Queue, "the parts that wait at its end: a part passing is not a full track"),
    ];
    const DELAYS: &[(&str, bool, &str)] = &[
        ("debounced", true, "a change counts when it has persisted for its delay"),
        ("plain", false, "a change comes through its delay whatever happens meanwhile"),
    ];
    let id = object.required("id", name(), "Its name");
    let watches = object.required(
        "watches",
        one_or_many(name()),
        "The track, belt or bin that it watches; of several the sum",
    );
    let sight = object.optional("sees", one_of(SIGHTS), "content", "What it sees of them");
    let high =
        object.required("high", level(), "On at or above this level (parts, or a share such as \"80 %\")");
    let low = object.maybe("low", level(), "Off at or below this level; left out: one part below `high`");
    let sensor = SensorSpec {
        id,
        watches,
        sight,
        high,
        low: low.unwrap_or(match high {
            Level::Parts(n) => Level::Parts(n.saturating_sub(1)),
            Level::Share(share) => Level::Share(share * 0.999_999),
        }),
        delay_on_s: object.optional("on_delay", time().at_most("1 h"), "0 s", "Delay of switching on"),
        delay_off_s: object.optional("off_delay", time().at_most("1 h"), "0 s", "Delay of switching off"),
        debounced: object.optional("delay", one_of(DELAYS), "debounced", "How the delays work"),
        holds: object.optional("holds", list_of(name()), "[]", "Stations that are held while it is on"),
        slows: object.optional(
            "slows",
            list_of(name()),
            "[]",
            "Stations that run at a lower speed while it is on: orienting paths, elevators, belts, live tracks; of several sensors the slowest speed counts",
        ),
        slow_to: object.maybe(
            "slow_to",
            share().at_least("0.1 %").at_most("100 %"),
            "Speed of the stations in `slows` while it is on, as a share of their full speed",
        ).unwrap_or(1.0),
    };
    check_effect(object, &sensor);
    let upside_down = match (sensor.high, sensor.low) {
        (Level::Parts(high), Level::Parts(low)) => low >= high,
        (Level::Share(high), Level::Share(low)) => low >= high,
        (Level::Parts(_), Level::Share(_)) | (Level::Share(_), Level::Parts(_)) => false,
    };
    if upside_down && object.sound(&["high", "low"]) {
        object.fail("low", Problem::new(code::OUT_OF_RANGE, "`low` is not below `high`"));
    }
    if sensor.high == Level::Parts(0) && object.sound(&["high"]) {
        let problem = Problem::new(code::OUT_OF_RANGE, "a sensor that is on at 0 parts is always on");
        object.fail("high", problem.expected("1 or more"));
    }
    sensor
}
