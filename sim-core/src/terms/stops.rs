//! Jams and breakdowns as a scenario states them.

use super::law::Law;
use super::law_form::law;
use crate::diag::{Place, Problem, code};
use crate::text::fields::Object;
use crate::text::forms::{Chance, Spanned, chance, count, list_of, map_of, more_helps, name, nested, one_of};
use crate::units::Dimension;

/// The clock of a stop, see [`crate::kernel::troubles::Clock`].
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum ClockWord {
    /// Part in work, not stopped.
    Working,
    /// Not down, held or off.
    Powered,
    /// All time.
    Wall,
}

/// When a jam by part strikes.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum MomentWord {
    /// When work on the part starts.
    Start,
    /// When it ends, before the part moves on.
    End,
    /// When it has moved on.
    After,
}

impl MomentWord {
    /// All of them.
    pub const ALL: &'static [MomentWord] = &[MomentWord::Start, MomentWord::End, MomentWord::After];

    /// The word used in files.
    pub fn word(self) -> &'static str {
        match self {
            MomentWord::Start => "start",
            MomentWord::End => "end",
            MomentWord::After => "after",
        }
    }
}

/// What makes a stop begin.
#[derive(Debug, Clone, PartialEq)]
pub enum Cause {
    /// A chance for each part.
    PerPart(Chance),
    /// A chance for each part by its condition; others never.
    PerPartByCondition(Vec<(Spanned<String>, Chance)>),
    /// A time between stops.
    Every(Law, ClockWord),
}

impl Cause {
    /// Chance to jam of a part in this condition, by a cause that strikes by part.
    pub fn chance(&self, condition: &str) -> f64 {
        match self {
            Cause::PerPart(chance) => chance.value(),
            Cause::PerPartByCondition(map) => {
                map.iter().find(|(name, _)| name.value == condition).map_or(0.0, |(_, chance)| chance.value())
            }
            Cause::Every(..) => 0.0,
        }
    }
}

/// Freeing without a person.
#[derive(Debug, Clone, PartialEq)]
pub struct AutomaticSpec {
    /// Time of one try.
    pub time: Law,
    /// Chance that a try succeeds.
    pub success: Chance,
    /// Tries before a person is called.
    pub tries: u32,
}

/// A jam or breakdown.
#[derive(Debug, Clone, PartialEq)]
pub struct StopSpec {
    /// Whether the station itself fails (otherwise a part is stuck).
    pub is_breakdown: bool,
    /// What makes it begin.
    pub cause: Cause,
    /// When a stop by part strikes.
    pub when: MomentWord,
    /// Where it stands.
    pub place: Place,
    /// Time to clear or repair.
    pub time: Law,
    /// Who does it; nobody: it ends by itself after the time.
    pub by: Option<Spanned<String>>,
    /// Time until it is noticed.
    pub notice: Law,
    /// Freeing without a person.
    pub automatic: Option<AutomaticSpec>,
    /// Where the jammed part goes: the key of an exit; `None` is onward.
    pub then: Option<Spanned<String>>,
}

impl StopSpec {
    /// Whether it comes by a clock (otherwise by part).
    pub fn is_by_clock(&self) -> bool {
        matches!(self.cause, Cause::Every(..))
    }
}

fn read_automatic(object: &mut Object<'_>) -> AutomaticSpec {
    AutomaticSpec {
        time: object.required(
            "time",
            law(Dimension::Time).usual("0.5 s", "2 s", "0.5 to 2 s by a kicker"),
            "Time of one try (a kicker, an air blast, a reverse jog)",
        ),
        success: object.required("success", more_helps(chance()), "Chance that a try frees the part"),
        tries: object.optional(
            "tries",
            count().at_least(1).at_most(1000),
            "1",
            "Tries before a person is called",
        ) as u32,
    }
}

fn read_clock(object: &mut Object<'_>, default: &'static str) -> ClockWord {
    const CLOCKS: &[(&str, ClockWord, &str)] = &[
        ("working", ClockWord::Working, "only while a part is in work and nothing is stopped"),
        ("powered", ClockWord::Powered, "while not down, held or off, even if empty or blocked"),
        ("wall", ClockWord::Wall, "all the time"),
    ];
    object.optional("clock", one_of(CLOCKS), default, "The clock by which the time between stops runs")
}

fn read_jam(object: &mut Object<'_>) -> StopSpec {
    const MOMENTS: &[(&str, MomentWord, &str)] = &[
        ("start", MomentWord::Start, "when work on the part starts"),
        ("end", MomentWord::End, "when it ends, before the part moves on"),
        ("after", MomentWord::After, "when the part has moved on"),
    ];
    let per_part = object.maybe(
        "per_part",
        chance().usual(1.0 / 30_000.0, 1.0 / 1_000.0, "1 in 1,000 (poor parts) to 1 in 30,000 (clean parts)"),
        "Chance to jam for each part handled",
    );
    let by_condition = object.maybe(
        "per_part_by_condition",
        map_of(chance()),
        "Chance to jam for each part handled, by its condition; others do not jam",
    );
    let every =
        object.maybe("every", more_helps(law(Dimension::Time).positive()), "Time between jams on the clock");
    let clock = read_clock(object, "working");
    let when = object.optional("when", one_of(MOMENTS), "end", "When in its work a part jams");
    let cause = cause(object, per_part, by_condition, every, clock);
    let time = object.required(
        "time",
        law(Dimension::Time).usual("0.5 s", "2 min", "10 to 120 s by hand"),
        "Time to clear it, once somebody is there",
    );
    StopSpec {
        is_breakdown: false,
        cause,
        when,
        place: object.place(),
        time,
        by: read_by(object),
        notice: read_notice(object),
        automatic: object.maybe(
            "automatic",
            nested("automatic", read_automatic),
            "Freeing without a person, tried first; left out: none",
        ),
        then: object.maybe(
            "then",
            name(),
            "Where the jammed part goes (screens, selectors, gauges, orienting paths): the key of an exit of this station, such as `rejects_to`; left out: onward, as drawn",
        ),
    }
}

fn cause(
    object: &mut Object<'_>,
    per_part: Option<Chance>,
    by_condition: Option<Vec<(Spanned<String>, Chance)>>,
    every: Option<Law>,
    clock: ClockWord,
) -> Cause {
    match (per_part, by_condition, every) {
        (Some(chance), None, None) => Cause::PerPart(chance),
        (None, Some(map), None) => Cause::PerPartByCondition(map),
        (None, None, Some(law)) => Cause::Every(law, clock),
        _ => {
            if object.sound(&["per_part", "per_part_by_condition", "every"]) {
                object.fail_here(
                    Problem::new(code::MISSING_KEY, "a jam comes by part or by a clock, by one of the two")
                        .expected("one of `per_part`, `per_part_by_condition`, `every`"),
                );
            }
            Cause::PerPart(Chance::Known(0.0))
        }
    }
}

fn read_by(object: &mut Object<'_>) -> Option<Spanned<String>> {
    object.maybe("by", name(), "The attendants who do it; left out: nobody is needed, it ends after its time")
}

fn read_notice(object: &mut Object<'_>) -> Law {
    object.optional(
        "notice",
        law(Dimension::Time),
        "0 s",
        "Time until it is noticed and the attendant called",
    )
}

fn read_breakdown(object: &mut Object<'_>) -> StopSpec {
    let every = object.required(
        "every",
        more_helps(law(Dimension::Time).positive()),
        "Time between failures on the clock",
    );
    let clock = read_clock(object, "powered");
    StopSpec {
        is_breakdown: true,
        cause: Cause::Every(every, clock),
        when: MomentWord::End,
        place: object.place(),
        time: object.required("time", law(Dimension::Time), "Time of the repair"),
        by: read_by(object),
        notice: read_notice(object),
        automatic: None,
        then: None,
    }
}

/// Reads the jams of a station or a tool.
pub fn read_jams(object: &mut Object<'_>) -> Vec<StopSpec> {
    object.optional("jams", list_of(nested("jam", read_jam)), "[]", "Ways in which a part gets stuck here")
}

/// Reads the jams and breakdowns of a station.
pub fn read_stops(object: &mut Object<'_>) -> Vec<StopSpec> {
    let mut stops = read_jams(object);
    let breakdowns = object.optional(
        "breakdowns",
        list_of(nested("breakdown", read_breakdown)),
        "[]",
        "Ways in which the station itself fails",
    );
    stops.extend(breakdowns);
    stops
}
