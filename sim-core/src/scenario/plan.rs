//! The run plan as a scenario states it.

use super::changeover::ChangeoverSpec;
use crate::diag::{Problem, code};
use crate::text::fields::Object;
use crate::text::forms::{
    Choice, Form, Spanned, count, either, flag, list_of, map_of, name, nested, one_of, time,
};

/// Content at the start.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Default)]
pub enum Start {
    /// Nothing anywhere.
    #[default]
    Empty,
    /// Bins at their start content, tracks full of good parts the right way round; belts and machines empty.
    Primed,
    /// As primed, and a finished part held at every station whose way on leads to another station, a track, a belt
    /// or a bin: a good one, the right way round, of the first kind of the file that can come there. It goes on as soon
    /// as there is room. Held by none: dividers, dumpers, escapements on a clock, streams that lose parts.
    Full,
}

/// Time that does not count at the start of a long-run measure.
#[derive(Debug, Clone, Copy, PartialEq)]
pub enum WarmUp {
    /// A given time, s.
    Given(f64),
    /// Found from the data (MSER-5).
    Found,
}

/// One break.
#[derive(Debug, Clone, PartialEq)]
pub struct BreakSpec {
    /// Start, s from the start of the shift.
    pub at_s: f64,
    /// Length, s.
    pub length_s: f64,
    /// Stations and attendants concerned; all if empty.
    pub of: Vec<Spanned<String>>,
    /// Each one concerned begins it so much later than the one before, s.
    pub stagger_s: f64,
    /// It comes again after this time, s, until the end of the shift.
    pub every_s: Option<f64>,
}

/// What is run.
#[derive(Debug, Clone)]
pub struct RunPlan {
    /// Length of one replication, s.
    pub shift_s: f64,
    /// Time at its start that does not count.
    pub warm_up: WarmUp,
    /// Content at the start.
    pub start: Start,
    /// Content at the start, station by station.
    pub start_at: Vec<(Spanned<String>, Start)>,
    /// The product sequence.
    pub changeover: Option<ChangeoverSpec>,
    /// Breaks.
    pub breaks: Vec<BreakSpec>,
    /// Replications, unless the command says otherwise.
    pub replications: u64,
    /// Seed, unless the command says otherwise.
    pub seed: u64,
    /// Whether random amounts are drawn by inversion (for paired designs).
    pub inversion: bool,
    /// Most timed events of a replication.
    pub events_max: u64,
}

impl RunPlan {
    /// Content of a station at the start: its own, or that of the plan.
    pub fn start_of(&self, station: &str) -> Start {
        let own = self.start_at.iter().find(|(name, _)| name.value == station);
        own.map_or(self.start, |(_, start)| *start)
    }
}

pub(super) const STARTS: &[(&str, Start, &str)] = &[
    ("empty", Start::Empty, "nothing anywhere"),
    ("primed", Start::Primed, "bins at their start content, tracks full of good parts the right way round"),
    (
        "full",
        Start::Full,
        "as primed, and a finished part held at every station that hands parts on to something in the line",
    ),
];

fn read_break(object: &mut Object<'_>) -> BreakSpec {
    let spec = BreakSpec {
        at_s: object.required("at", time(), "When it begins, from the start of the shift"),
        length_s: object.required("for", time().positive(), "How long it lasts"),
        of: object.optional("of", list_of(name()), "[]", "Stations and attendants concerned; empty: all"),
        stagger_s: object.optional(
            "stagger",
            time(),
            "0 s",
            "Each of those concerned begins it so much later than the one before: in the order of `of` (empty: of the file), equal stations and people of a pool one after the other",
        ),
        every_s: object.maybe("every", time().positive(), "It comes again after this time; left out: once"),
    };
    if spec.every_s.is_some_and(|every| every <= spec.length_s) && object.sound(&["every", "for"]) {
        let problem = Problem::new(code::OUT_OF_RANGE, "the next break begins before this one is over");
        object.fail("every", problem.expected("a time longer than `for`"));
    }
    spec
}

/// Reads the run plan.
pub(super) fn read(object: &mut Object<'_>) -> RunPlan {
    const WARM_UPS: &[(&str, WarmUp, &str)] =
        &[("find", WarmUp::Found, "found from the data: MSER-5 on parts per minute at the point of use")];
    let shift_s = object.optional(
        "shift",
        time().positive().at_most("12 days"),
        "8 h",
        "Length of one replication, warm-up included",
    );
    let warm_up = object.optional(
        "warm_up",
        either(time().map(WarmUp::Given), one_of(WARM_UPS)).map(|choice| match choice {
            Choice::First(warm_up) | Choice::Second(warm_up) => warm_up,
        }),
        "0 s",
        "Time at the start that does not count; for long-run measures only: a shift that starts empty counts whole",
    );
    if let WarmUp::Given(warm_up) = warm_up
        && warm_up >= shift_s
        && object.sound(&["shift", "warm_up"])
    {
        let problem = Problem::new(code::OUT_OF_RANGE, "the warm-up takes the whole shift");
        object.fail("warm_up", problem.expected("a time shorter than `shift`"));
    }
    RunPlan {
        shift_s,
        warm_up,
        start: object.optional("start", one_of(STARTS), "empty", "Content at the start"),
        start_at: object.optional("start_at", map_of(one_of(STARTS)), "{}", "Content at the start of single stations, where it differs from `start`"),
        changeover: object.maybe(
            "changeover",
            nested("changeover", super::changeover::read),
            "The products that are run one after the other, and what is done between them; left out: one product",
        ),
        breaks: object.optional("breaks", list_of(nested("break", read_break)), "[]", "Breaks"),
        replications: object.optional(
            "replications",
            count().at_least(2).at_most(100_000_000),
            "1000",
            "Shifts that are simulated at most",
        ),
        seed: object.optional("seed", count(), "1", "Seed of all luck"),
        inversion: object.optional(
            "inversion",
            flag(),
            "false",
            "Draw random amounts by inversion, one number each, so that designs can be paired exactly; slower",
        ),
        events_max: object.optional(
            "events_at_most",
            count().at_least(1000).at_most(1_000_000_000),
            "1000000000",
            "Most events of one shift; more is taken for an endless run",
        ),
    }
}
