//! What the line has to reach, as a scenario states it.

use crate::diag::{Diagnostics, Place, Problem, code};
use crate::kernel::State;
use crate::stations::blueprint::part_needs;
use crate::terms::kind::Kind;
use crate::text::fields::Object;
use crate::text::forms::{
    Choice, Form, Spanned, either, list_of, name, nested, one_of, one_or_many, rate, share, volume_rate,
};

/// What a clause asks for.
#[derive(Debug, Clone, Copy, PartialEq)]
pub enum Goal {
    /// The mean rate is at least this many parts per second.
    MeanRate(f64),
    /// A shift reaches this many parts per second with at least this chance.
    ShiftRate {
        /// Parts per second.
        rate: f64,
        /// Demanded chance.
        chance: f64,
    },
    /// 1 - starved / time ready to take a part is at least this share, on the mean.
    FeedAvailability(f64),
}

/// One clause.
#[derive(Debug, Clone, PartialEq)]
pub struct Clause {
    /// Where it stands.
    pub place: Place,
    /// What it asks for.
    pub goal: Goal,
    /// Its rate is still a volume per second (m3/s).
    by_volume: bool,
}

/// The promise: where it is measured, and its clauses.
#[derive(Debug, Clone, Default)]
pub struct Promise {
    /// Point of use; several add up. Empty: the stations that lead out of the line.
    pub at: Vec<Spanned<String>>,
    /// All have to be reached.
    pub clauses: Vec<Clause>,
    /// Times that do not count in the rate (net rate); empty: gross.
    pub net_of: Vec<StatePick>,
    /// Posterior probability with which the line has to keep it, where inputs are known from evidence.
    pub assurance: Option<f64>,
}

/// Assurance that is demanded unless the file says otherwise.
pub const ASSURANCE: f64 = 0.95;

/// A station and some of its states.
#[derive(Debug, Clone, PartialEq)]
pub struct StatePick {
    /// The station.
    pub station: Spanned<String>,
    /// The states.
    pub states: Vec<State>,
}

/// A measure of the file's own.
#[derive(Debug, Clone)]
pub struct MeasureSpec {
    /// Its name.
    pub id: Spanned<String>,
    /// It holds while any of these does.
    pub any_of: Vec<StatePick>,
}

const STATES: &[(&str, State, &str)] = &[
    ("jam, automatic", State::JamAutomatic, "jammed, being freed without a person"),
    ("jam, waiting", State::JamWaiting, "jammed, waiting for an attendant"),
    ("jam, clearing", State::JamClearing, "jammed, being cleared"),
    ("down, waiting", State::DownWaiting, "broken down, waiting for an attendant"),
    ("down, repair", State::DownRepair, "broken down, being repaired"),
    ("changeover", State::Changeover, "in changeover"),
    ("off", State::Off, "off, nothing in work"),
    ("working", State::Working, "working"),
    ("checking", State::Checking, "waiting for a check"),
    ("loading", State::Loading, "loading a nest of its own"),
    ("blocked", State::Blocked, "a finished part finds no room"),
    ("held", State::Held, "held by a sensor"),
    ("starved", State::Starved, "nothing to take"),
];

fn read_pick(object: &mut Object<'_>) -> StatePick {
    StatePick {
        station: object.required("station", name(), "The station"),
        states: object.required("states", one_or_many(one_of(STATES)), "Its state, or several"),
    }
}

/// Reads a measure.
pub(super) fn read_measure(object: &mut Object<'_>) -> MeasureSpec {
    MeasureSpec {
        id: object.required("id", name(), "Its name"),
        any_of: object.required(
            "any_of",
            list_of(nested("state-pick", read_pick)).at_least(1),
            "It holds while any of these states does",
        ),
    }
}

/// Parts or volume per time.
fn any_rate() -> impl Form<Out = Choice<f64, f64>> {
    either(rate().positive(), volume_rate().positive())
}

impl Promise {
    /// The assurance that is demanded.
    pub fn demanded_assurance(&self) -> f64 {
        self.assurance.unwrap_or(ASSURANCE)
    }

    /// Turns rates by volume into parts per second, by the density of the first part kind.
    pub(super) fn resolve(&mut self, kinds: &[Kind], problems: &mut Diagnostics) {
        for clause in self.clauses.iter_mut().filter(|clause| clause.by_volume) {
            clause.by_volume = false;
            let Some(kind) = kinds.first() else { continue };
            if kind.density_m3.is_none() {
                part_needs(&clause.place, kind, "density", "a rate by volume", problems);
            }
            let density = kind.density_m3.unwrap_or(1.0);
            match &mut clause.goal {
                Goal::MeanRate(rate) | Goal::ShiftRate { rate, .. } => *rate *= density,
                Goal::FeedAvailability(_) => {}
            }
        }
    }
}

fn read_clause(object: &mut Object<'_>) -> Clause {
    let place = object.place();
    let mean = object.maybe("mean_rate", any_rate(), "The mean rate over many shifts is at least this");
    let shift = object.maybe("rate", any_rate(), "A shift reaches this rate, with the chance of `in_shifts`");
    let in_shifts = object.maybe(
        "in_shifts",
        share().positive().at_most("99.99 %"),
        "Share of shifts that must reach `rate`, such as \"95 %\"",
    );
    let feed = object.maybe(
        "feed_availability",
        share().positive().at_most("100 %"),
        "1 - starved / time ready to take a part, on the mean",
    );
    let by_volume = matches!(mean.or(shift), Some(Choice::Second(_)));
    let plain = |rate: Choice<f64, f64>| match rate {
        Choice::First(rate) | Choice::Second(rate) => rate,
    };
    let goal = match (mean.map(plain), shift.map(plain), in_shifts, feed) {
        (Some(rate), None, None, None) => Goal::MeanRate(rate),
        (None, Some(rate), chance, None) => Goal::ShiftRate { rate, chance: chance.unwrap_or(0.95) },
        (None, None, None, Some(share)) => Goal::FeedAvailability(share),
        _ => {
            if object.sound(&["mean_rate", "rate", "in_shifts", "feed_availability"]) {
                let problem = Problem::new(code::MISSING_KEY, "a clause asks for one thing");
                object.fail_here(problem.expected(
                    "one of {\"mean_rate\": \"85 /min\"}, {\"rate\": \"85 /min\", \"in_shifts\": \"95 %\"}, {\"feed_availability\": \"98 %\"}",
                ));
            }
            Goal::MeanRate(1.0)
        }
    };
    Clause { place, goal, by_volume }
}

/// Reads the promise.
pub(super) fn read(object: &mut Object<'_>) -> Promise {
    let at = object.maybe(
        "at",
        one_or_many(name()),
        "The point of use: the station (or stations, added up) whose good parts are counted; left out: those that lead out of the line",
    );
    Promise {
        at: at.unwrap_or_default(),
        clauses: object.required(
            "clauses",
            one_or_many(nested("clause", read_clause)),
            "What has to be reached; of several, all",
        ),
        net_of: object.optional(
            "net_of",
            list_of(nested("state-pick", read_pick)),
            "[]",
            "Times that do not count in the rate: while any of these states holds; empty: the gross rate",
        ),
        assurance: object.maybe(
            "assurance",
            share().at_least("50.1 %").at_most("99.9 %"),
            "Where inputs are known from evidence: probability, given the evidence, with which the line has to keep the promise; left out: 95 %",
        ),
    }
}
