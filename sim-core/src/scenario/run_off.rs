//! The run-off as a scenario states it: the acceptance test that the customer will watch.

use super::plan::{STARTS, Start};
use crate::diag::{Place, Problem, code};
use crate::text::fields::Object;
use crate::text::forms::{Choice, count, either, one_of, rate, share, time};

/// Which jams count.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Default)]
pub enum RunOffJams {
    /// All.
    #[default]
    All,
    /// Those for which an attendant has to come.
    Attended,
    /// Those that strike good parts too; a jam that only parts of some other condition cause is the parts' fault.
    OfGoodParts,
}

/// Most bad parts.
#[derive(Debug, Clone, Copy, PartialEq)]
pub enum MostBad {
    /// So many.
    Count(u64),
    /// Such a share of all parts at the point of use.
    Share(f64),
}

/// A run-off plan. It is passed if every limit that it states is kept.
#[derive(Debug, Clone, PartialEq)]
pub struct RunOffSpec {
    /// Where it stands.
    pub place: Place,
    /// Length, s.
    pub length_s: f64,
    /// Content at the start.
    pub start: Start,
    /// Least rate of good parts, parts per second.
    pub least_rate: Option<f64>,
    /// Whether the times that the promise takes out (`net_of`) do not count.
    pub net: bool,
    /// Most jams.
    pub most_jams: Option<u64>,
    /// Which jams count.
    pub jams: RunOffJams,
    /// Most bad parts.
    pub most_bad: Option<MostBad>,
    /// Most stops of any kind, breakdowns included.
    pub most_stops: Option<u64>,
    /// How often it may be tried again after it was failed.
    pub retries: u64,
}

/// Reads a run-off.
pub(super) fn read(object: &mut Object<'_>) -> RunOffSpec {
    const JAMS: &[(&str, RunOffJams, &str)] = &[
        ("all", RunOffJams::All, "every jam"),
        ("attended", RunOffJams::Attended, "those for which an attendant has to come"),
        (
            "of good parts",
            RunOffJams::OfGoodParts,
            "those that strike good parts too; jams that bad parts alone cause do not count",
        ),
    ];
    const RATES: &[(&str, bool, &str)] = &[
        ("gross", false, "of the whole time"),
        ("net", true, "without the times of `net_of` of the promise"),
    ];
    let spec = RunOffSpec {
        place: object.place(),
        length_s: object.required(
            "length",
            time().positive().at_most("12 days"),
            "How long it lasts",
        ),
        start: object.optional("start", one_of(STARTS), "primed", "Content of the line at its start"),
        least_rate: object.maybe(
            "least_rate",
            rate().positive(),
            "Least rate of good parts at the point of use of the promise; left out: no limit",
        ),
        net: object.optional("rate", one_of(RATES), "gross", "Which rate is meant"),
        most_jams: object.maybe("most_jams", count(), "Most jams; left out: no limit"),
        jams: object.optional("jams", one_of(JAMS), "all", "Which jams count"),
        most_bad: object
            .maybe(
                "most_bad",
                either(count(), share().at_most("100 %")),
                "Most bad parts at the point of use: a number of them, or a share such as \"0.5 %\"; left out: no limit",
            )
            .map(|most| match most {
                Choice::First(n) => MostBad::Count(n),
                Choice::Second(share) => MostBad::Share(share),
            }),
        most_stops: object.maybe(
            "most_stops",
            count(),
            "Most stops of any kind, jams that do not count and breakdowns included; left out: no limit",
        ),
        retries: object.optional(
            "retries",
            count().at_most(100),
            "0",
            "How often it may be tried again after it was failed",
        ),
    };
    let limits = ["least_rate", "most_jams", "most_bad", "most_stops"];
    if object.sound(&limits) && limits.iter().all(|key| !object.has(key)) {
        let problem = Problem::new(code::MISSING_KEY, "a run-off without a limit is always passed");
        object.fail_here(
            problem.expected("one or more of `least_rate`, `most_jams`, `most_bad`, `most_stops`"),
        );
    }
    spec
}
