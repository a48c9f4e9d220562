//! Evidence: what an input is known from, as it stands in a file.
//!
//! Counts of a test, events in a time, observed values; with the prior that they are weighed against and the name of
//! the test, if it has one. Nothing is drawn here and nothing estimated; see [`crate::evidence`]. Invariant: shapes of
//! priors are above zero where the counts alone may be none, so that every posterior is proper.

use super::fields::Object;
use super::forms::{Choice, either, name, nested, one_of, real, time};
use crate::diag::{Problem, code};

/// What an input is known from.
#[derive(Debug, Clone, PartialEq)]
pub struct Evidence {
    /// Name of the test: inputs that rest on the same test are known, and drawn, together.
    pub test: Option<String>,
    /// What was seen.
    pub seen: Seen,
}

/// What was seen.
#[derive(Debug, Clone, PartialEq)]
pub enum Seen {
    /// A chance: so many times in so many trials.
    Chance {
        /// Times that it happened.
        seen: u64,
        /// Trials.
        of: u64,
        /// Shapes of the beta prior: happened, did not happen.
        prior: (f64, f64),
    },
    /// Shares: counts of one test by name.
    Shares {
        /// Names and counts, in the order of the file.
        rows: Vec<(String, u64)>,
        /// Shape of the Dirichlet prior, for each name.
        prior: f64,
    },
    /// Events of a Poisson process: so many in a time.
    Events {
        /// Events.
        seen: u64,
        /// Time in which they were seen, s.
        time_s: f64,
        /// Gamma prior of the rate: shape, and rate in s.
        prior: (f64, f64),
    },
    /// Values of a random amount, in base units.
    Values {
        /// As they were observed.
        values: Vec<f64>,
        /// Unit of the values as they are written in a file; empty for whole numbers.
        unit: &'static str,
        /// Added to every draw.
        minimum: f64,
    },
}

impl Seen {
    /// Whether nothing can be drawn from it but what was seen: shares of one name, values that are all the same.
    pub fn is_constant(&self) -> bool {
        match self {
            Seen::Shares { rows, .. } => rows.len() < 2,
            Seen::Values { values, .. } => values.iter().all(|value| *value == values[0]),
            Seen::Chance { .. } | Seen::Events { .. } => false,
        }
    }
}

/// Values below which it is said that more of them lie further out. Common practice, no source.
const FEW_VALUES: u64 = 10;

/// What has to be said of an input that is known from `n` observed values, if these are few.
pub fn few_values(input: &str, n: u64) -> Option<String> {
    let values = if n == 1 { "1 value".to_owned() } else { format!("{n} values") };
    (n < FEW_VALUES)
        .then(|| format!("`{input}`: {values}: what lies beyond the longest is not in the proof."))
}

/// Jeffreys' prior of a chance (Jeffreys 1946): beta 1/2 1/2.
pub const JEFFREYS: f64 = 0.5;

/// Smallest shape of a prior; below it nearly all would be all or nothing.
const LEAST_SHAPE: f64 = 1e-4;

const JEFFREYS_DOC: &str = "Jeffreys' prior: half a count for each outcome";
const UNIFORM_DOC: &str = "all chances alike: one count for each outcome";
const PRIOR_DOC: &str = "The prior: counts that come on top of those seen, so that a shape of the prior law may be any; it plays no part where inputs are taken as known";

/// The test that evidence is from.
pub(crate) fn read_test(object: &mut Object<'_>) -> Option<String> {
    let test = object.maybe(
        "test",
        name(),
        "Name of the test. Inputs that rest on the same test state the same counts, and are drawn together; left out: a test of its own",
    );
    test.map(|test| test.value)
}

/// The prior of a chance: shapes of the beta law.
pub(super) fn read_chance_prior(object: &mut Object<'_>) -> (f64, f64) {
    const WORDS: &[(&str, (f64, f64), &str)] =
        &[("jeffreys", (JEFFREYS, JEFFREYS), JEFFREYS_DOC), ("uniform", (1.0, 1.0), UNIFORM_DOC)];
    let form = either(one_of(WORDS), nested("prior-of-chance", prior_counts));
    match object.optional("prior", form, "jeffreys", PRIOR_DOC) {
        Choice::First(shapes) | Choice::Second(shapes) => shapes,
    }
}

fn prior_counts(object: &mut Object<'_>) -> (f64, f64) {
    let count = || real().at_least(LEAST_SHAPE).at_most(1e9);
    let seen =
        object.required("seen", count(), "Times that it happened, as a shape: above zero, need not be whole");
    let of = object.required("of", count(), "Trials; more than `seen`");
    if object.sound(&["seen", "of"]) && of < seen + LEAST_SHAPE {
        let problem =
            Problem::new(code::OUT_OF_RANGE, format!("{seen} of {of} leaves nothing for the other outcome"));
        object.fail("of", problem.expected("a number above `seen`"));
        return (seen, 1.0);
    }
    (seen, of - seen)
}

/// The prior of shares: the shape of the Dirichlet law for each name.
pub(super) fn read_shares_prior(object: &mut Object<'_>) -> f64 {
    const WORDS: &[(&str, f64, &str)] =
        &[("jeffreys", JEFFREYS, JEFFREYS_DOC), ("uniform", 1.0, UNIFORM_DOC)];
    let form = either(one_of(WORDS), real().at_least(LEAST_SHAPE).at_most(1e9));
    match object.optional(
        "prior",
        form,
        "jeffreys",
        "The prior: a count for each name that comes on top of those seen",
    ) {
        Choice::First(shape) | Choice::Second(shape) => shape,
    }
}

/// The prior of a rate: shape and rate (s) of the gamma law.
fn read_rate_prior(object: &mut Object<'_>) -> (f64, f64) {
    const WORDS: &[(&str, (f64, f64), &str)] =
        &[("jeffreys", (JEFFREYS, 0.0), "Jeffreys' prior: half an event in no time")];
    let form = either(one_of(WORDS), nested("prior-of-rate", prior_events));
    match object.optional("prior", form, "jeffreys", PRIOR_DOC) {
        Choice::First(shapes) | Choice::Second(shapes) => shapes,
    }
}

fn prior_events(object: &mut Object<'_>) -> (f64, f64) {
    let seen = real().at_least(LEAST_SHAPE).at_most(1e9);
    (
        object.required("seen", seen, "Events, as a shape: above zero, need not be whole"),
        object.required("in", time(), "Time in which they come"),
    )
}

/// Reads how often something happened in a time, and the mean time between for use as known: time / events, or the
/// posterior mean of the rate turned over if there was no event.
pub(crate) fn read_events(object: &mut Object<'_>) -> (f64, Evidence) {
    let seen = object.required("seen", super::forms::count(), "Events that were seen");
    let time_s =
        object.required("in", time().positive(), "Time in which they were seen, on the clock of the event");
    let prior = read_rate_prior(object);
    let mean_s = if seen > 0 { time_s / seen as f64 } else { (time_s + prior.1) / prior.0 };
    (mean_s, Evidence { test: read_test(object), seen: Seen::Events { seen, time_s, prior } })
}

/// Reads the rest of what is said of a chance that was counted.
pub(super) fn of_chance(object: &mut Object<'_>, seen: u64, of: u64) -> Evidence {
    let prior = read_chance_prior(object);
    Evidence { test: read_test(object), seen: Seen::Chance { seen, of, prior } }
}

impl Evidence {
    /// A chance that was counted, with the usual prior.
    pub fn of_counts(seen: u64, of: u64) -> Self {
        Evidence { test: None, seen: Seen::Chance { seen, of, prior: (JEFFREYS, JEFFREYS) } }
    }

    /// Trials, events or values behind it.
    pub fn trials(&self) -> u64 {
        match &self.seen {
            Seen::Chance { of, .. } => *of,
            Seen::Shares { rows, .. } => rows.iter().map(|(_, count)| count).sum(),
            Seen::Events { seen, .. } => *seen,
            Seen::Values { values, .. } => values.len() as u64,
        }
    }
}

#[cfg(test)]
mod tests {
    use super::super::fields::{Recorded, read_recorded};
    use super::super::forms::{chance, shares};
    use super::*;

    fn evidence_of(text: &str, read: fn(&mut Object<'_>)) -> Vec<Evidence> {
        let Recorded { problems, inputs, .. } = read_recorded(text, read).1;
        assert!(problems.is_empty(), "{problems:?}");
        inputs.into_iter().filter_map(|input| input.evidence).collect()
    }

    fn of_chance_text(value: &str) -> Vec<Evidence> {
        evidence_of(&format!("{{\"p\": {value}}}"), |object| {
            object.required("p", chance(), "");
        })
    }

    fn of_shares_text(value: &str) -> Vec<Evidence> {
        evidence_of(&format!("{{\"p\": {value}}}"), |object| {
            object.required("p", shares(), "");
        })
    }

    #[test]
    fn counts_keep_their_prior_and_their_test() {
        assert_eq!(of_chance_text("\"3 of 500\""), [Evidence::of_counts(3, 500)]);
        assert_eq!(of_chance_text("0.3"), []);
        let told =
            of_chance_text(r#"{"seen": 3, "of": 500, "prior": {"seen": 1, "of": 20}, "test": "drop 7"}"#);
        let seen = Seen::Chance { seen: 3, of: 500, prior: (1.0, 19.0) };
        assert_eq!(told, [Evidence { test: Some("drop 7".to_owned()), seen }]);
        let seen = Seen::Chance { seen: 3, of: 500, prior: (1.0, 1.0) };
        assert_eq!(of_chance_text(r#"{"seen": 3, "of": 500, "prior": "uniform"}"#)[0].seen, seen);
    }

    #[test]
    fn shares_are_evidence_in_all_spellings() {
        let rows = vec![("up".to_owned(), 30), ("down".to_owned(), 20)];
        let seen = |prior| Seen::Shares { rows: rows.clone(), prior };
        assert_eq!(of_shares_text(r#"{"up": 30, "down": 20}"#)[0].seen, seen(0.5));
        assert_eq!(of_shares_text(r#"{"up": "30 of 50", "down": "20 of 50"}"#)[0].seen, seen(0.5));
        assert_eq!(of_shares_text(r#"{"up": "30 of 50", "down": "rest"}"#)[0].seen, seen(0.5));
        let told = of_shares_text(r#"{"counts": {"up": 30, "down": 20}, "prior": 2, "test": "t"}"#);
        assert_eq!((&told[0].seen, told[0].test.as_deref()), (&seen(2.0), Some("t")));
        assert_eq!(of_shares_text(r#"{"up": "30 of 50", "down": "4 of 10"}"#), [], "two tests are no shares");
    }

    #[test]
    fn impossible_priors_are_refused() {
        for value in [
            r#"{"seen": 3, "of": 500, "prior": {"seen": 2, "of": 2}}"#,
            r#"{"seen": 3, "of": 500, "prior": {"seen": 0, "of": 2}}"#,
            r#"{"seen": 3, "of": 500, "prior": "flat"}"#,
            r#"{"seen": 3, "of": 500, "prior": 2}"#,
        ] {
            let read = |object: &mut Object<'_>| object.required("p", chance(), "");
            let Recorded { problems, .. } = read_recorded(&format!("{{\"p\": {value}}}"), read).1;
            assert!(problems.has_errors(), "{value}");
        }
    }
}
