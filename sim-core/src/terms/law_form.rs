//! Random amounts as they stand in a file.
//!
//! | in the file | law |
//! |---|---|
//! | `"0.6 s"` | fixed |
//! | `["0.6 s", "0.7 s", "0.6 s"]` | observed values, drawn with equal chances |
//! | `{"mean": "2 s", "spread": "0.5 s"}` | gamma; spread is the standard deviation |
//! | `{"low": "1 s", "likely": "2 s", "high": "4 s"}` | triangular |
//! | `{"from": "1 s", "to": "2 s"}` | uniform |
//! | `{"seen": 3, "in": "40 h"}` | exponential time between events, of which so many were seen |
//! | `{"law": "exponential", "mean": "2 s"}` | named, with its parameters |
//!
//! `"minimum"` may be added to any object: it is added to every draw. Laws of counts have plain numbers in place
//! of quantities, and of the laws those that give whole numbers. Nothing is drawn here. Invariant: what is read
//! passes [`Law::check`].

use serde_json::{Value as Json, json};

use super::law::{Law, Shape};
use super::law_parts::{Amount, Row, Unit, Word, observed};
use crate::diag::{Problem, code};
use crate::text::evidence::{Evidence, Seen, read_events, read_test};
use crate::text::fields::{Object, Reading, SettingSort, describe_object, known_keys, read_object};
use crate::text::forms::{Form, chance, count, list_of, real};
use crate::text::json::{Entry, Node, Value};
use crate::text::schema::Definitions;
use crate::text::suggest::{keys_fit, near_entry, nearest};
use crate::text::{one_of_words, unknown_word, warn_unusual};
use crate::units::Dimension;

/// A random amount of a dimension, or a random count.
#[derive(Debug, Clone, Copy)]
pub struct LawForm {
    unit: Unit,
    positive: bool,
    most: f64,
    usual: Option<(f64, f64, &'static str)>,
}

/// Most parts that a law of parts moved at once may give: they are made one by one.
pub const HANDFUL_MAX: f64 = 100_000.0;

/// A random amount of a dimension, in its SI base unit.
pub fn law(dimension: Dimension) -> LawForm {
    LawForm { unit: Unit::Of(dimension), positive: false, most: f64::INFINITY, usual: None }
}

/// A random whole number.
pub fn count_law() -> LawForm {
    LawForm { unit: Unit::Count, positive: false, most: f64::INFINITY, usual: None }
}

/// What a law that was read is known from.
#[derive(Debug, Clone, PartialEq)]
enum KnownFrom {
    /// It was assumed.
    Nothing,
    /// The values of its list, from the test of this name.
    Values(Option<String>),
    /// Other evidence.
    Evidence(Evidence),
}

type Told = (Law, KnownFrom);

#[derive(Debug, Clone, Copy, PartialEq, Eq)]
enum Kind {
    Fixed,
    Uniform,
    Triangular,
    Exponential,
    Events,
    Gamma,
    Lognormal,
    Weibull,
    Geometric,
    Binomial,
    Poisson,
    Table,
    Observed,
}

impl Kind {
    const OF_TIMES: [Kind; 11] = [
        Kind::Fixed,
        Kind::Uniform,
        Kind::Triangular,
        Kind::Exponential,
        Kind::Events,
        Kind::Gamma,
        Kind::Lognormal,
        Kind::Weibull,
        Kind::Geometric,
        Kind::Table,
        Kind::Observed,
    ];
    const OF_AMOUNTS: [Kind; 10] = [
        Kind::Fixed,
        Kind::Uniform,
        Kind::Triangular,
        Kind::Exponential,
        Kind::Gamma,
        Kind::Lognormal,
        Kind::Weibull,
        Kind::Geometric,
        Kind::Table,
        Kind::Observed,
    ];
    const OF_COUNTS: [Kind; 7] = [
        Kind::Fixed,
        Kind::Uniform,
        Kind::Geometric,
        Kind::Binomial,
        Kind::Poisson,
        Kind::Table,
        Kind::Observed,
    ];

    fn all(unit: Unit) -> &'static [Kind] {
        match unit {
            Unit::Of(Dimension::Time) => &Kind::OF_TIMES,
            Unit::Of(_) => &Kind::OF_AMOUNTS,
            Unit::Count => &Kind::OF_COUNTS,
        }
    }

    fn word(self) -> &'static str {
        match self {
            Kind::Fixed => "fixed",
            Kind::Uniform => "uniform",
            Kind::Triangular => "triangular",
            Kind::Exponential => "exponential",
            Kind::Events => "events",
            Kind::Gamma => "gamma",
            Kind::Lognormal => "lognormal",
            Kind::Weibull => "weibull",
            Kind::Geometric => "geometric",
            Kind::Binomial => "binomial",
            Kind::Poisson => "poisson",
            Kind::Table => "table",
            Kind::Observed => "observed",
        }
    }

    /// Keys that tell the law without its name: any of them will do, the reader asks for the others.
    fn told_by(self) -> &'static [&'static str] {
        match self {
            Kind::Uniform => &["from", "to"],
            Kind::Triangular => &["low", "likely", "high"],
            Kind::Gamma => &["mean", "spread"],
            Kind::Events => &["seen", "in"],
            Kind::Fixed
            | Kind::Exponential
            | Kind::Lognormal
            | Kind::Weibull
            | Kind::Geometric
            | Kind::Binomial
            | Kind::Poisson
            | Kind::Table
            | Kind::Observed => &[],
        }
    }
}

impl LawForm {
    /// What sort of setting a law is.
    fn sort(&self, law: &Law) -> SettingSort {
        match self.unit {
            Unit::Of(dimension) => SettingSort::Quantity(dimension),
            Unit::Count if law.is_fixed() => SettingSort::Count,
            Unit::Count => SettingSort::CountLaw,
        }
    }

    /// Refuses a law that is always zero.
    #[must_use]
    pub fn positive(self) -> Self {
        LawForm { positive: true, ..self }
    }

    /// Refuses a law that lists a larger value than this (base unit or count), or whose mean is larger.
    #[must_use]
    pub fn at_most(self, most: f64) -> Self {
        LawForm { most, ..self }
    }

    /// Warns if the mean is outside of a usual range, ends as they would stand in a file (`"0.4 s"`; for counts
    /// `"0.7"`); `words` say the range to people.
    ///
    /// # Panics
    /// If the texts are no amounts of the law.
    #[must_use]
    pub fn usual(self, low: &'static str, high: &'static str, words: &'static str) -> Self {
        LawForm { usual: Some((self.unit.literal(low), self.unit.literal(high), words)), ..self }
    }

    fn words(&self) -> impl Iterator<Item = &'static str> + Clone + use<> {
        Kind::all(self.unit).iter().map(|kind| kind.word())
    }

    /// Which law an object is. What is wrong is reported.
    fn kind(&self, node: &Node, at: &mut Reading) -> Option<Kind> {
        let kinds = Kind::all(self.unit);
        let is_word = |entry: &&Entry| kinds.iter().any(|kind| Some(kind.word()) == entry.node.text());
        let misspelt = || near_entry(node, "law").filter(is_word);
        let Some(entry) = node.entry("law").or_else(misspelt) else {
            let told_by = |has: fn(&Node, &'static str) -> bool| {
                kinds.iter().find(|kind| kind.told_by().iter().any(|key| has(node, key)))
            };
            let told = told_by(|node, key| node.entry(key).is_some()).or_else(|| {
                told_by(|node, key| near_entry(node, key).is_some())
                    .filter(|kind| self.fits_keys(**kind, node))
            });
            if told.is_none() {
                let problem = Problem::new(code::MISSING_KEY, "it is not said which law this is")
                    .expected(format!("\"law\": {}", one_of_words(self.words())));
                at.error(node.span, problem);
            }
            return told.copied();
        };
        at.in_key(&entry.key, |at| {
            let Some(word) = entry.node.text() else {
                at.wrong_type(&entry.node, &one_of_words(self.words()));
                return None;
            };
            let found = kinds.iter().find(|kind| kind.word() == word);
            if found.is_none() {
                at.error(entry.node.span, unknown_word(word, self.words()));
            }
            // A slip of the fingers is read as what was meant, so that what else is wrong is told as well.
            let meant = || nearest(word, self.words());
            found
                .or_else(|| meant().and_then(|meant| kinds.iter().find(|kind| kind.word() == meant)))
                .copied()
        })
    }

    fn fits_keys(&self, kind: Kind, node: &Node) -> bool {
        known_keys(|object| self.object(kind, object)).is_some_and(|keys| keys_fit(node, &keys))
    }

    /// Reads, or describes, the object of one law.
    fn object(&self, kind: Kind, object: &mut Object<'_>) -> Told {
        let word = Word(kind.word());
        if kind.told_by().is_empty() {
            object.required("law", word, "Name of the law");
        } else {
            object.maybe("law", word, "Name of the law; its parameters tell it too");
        }
        let (shape, known_from) = match (kind, self.unit) {
            (Kind::Events, _) => {
                let (mean, evidence) = read_events(object);
                (Shape::Exponential { mean }, KnownFrom::Evidence(evidence))
            }
            (Kind::Observed, _) => {
                let shape = self.listed(kind, object);
                (shape, KnownFrom::Values(read_test(object)))
            }
            (_, Unit::Of(_)) => (self.amount_shape(kind, object), KnownFrom::Nothing),
            (_, Unit::Count) => (self.count_shape(kind, object), KnownFrom::Nothing),
        };
        // A time between events that has a least part is no Poisson process.
        let minimum = if kind == Kind::Events {
            None
        } else {
            object.maybe("minimum", self.unit.value(), "Added to every draw; nothing if left out")
        };
        (Law { minimum: minimum.unwrap_or(0.0), shape }, known_from)
    }

    /// What a law is known from.
    fn evidence(&self, law: &Law, known_from: KnownFrom) -> Option<Evidence> {
        match (known_from, &law.shape) {
            (KnownFrom::Evidence(evidence), _) => Some(evidence),
            (KnownFrom::Values(test), Shape::Observed(values)) => {
                let (unit, minimum) = (self.unit.base(), law.minimum);
                Some(Evidence { test, seen: Seen::Values { values: values.clone(), unit, minimum } })
            }
            (KnownFrom::Values(_) | KnownFrom::Nothing, _) => None,
        }
    }

    fn amount_shape(&self, kind: Kind, object: &mut Object<'_>) -> Shape {
        let (any, positive) = (self.unit.value(), self.unit.value().positive());
        match kind {
            Kind::Fixed | Kind::Table | Kind::Observed | Kind::Events => self.listed(kind, object),
            Kind::Uniform => Shape::Uniform {
                from: object.required("from", any, "Smallest value"),
                to: object.required("to", any, "Largest value"),
            },
            Kind::Triangular => Shape::Triangular {
                low: object.required("low", any, "Smallest value"),
                likely: object.required("likely", any, "Most likely value"),
                high: object.required("high", any, "Largest value"),
            },
            Kind::Exponential => Shape::Exponential { mean: object.required("mean", positive, "Mean") },
            Kind::Gamma => {
                let (mean, spread) = mean_and_spread(positive, any, object);
                Shape::Gamma { mean, spread }
            }
            Kind::Lognormal => {
                let (mean, spread) = mean_and_spread(positive, any, object);
                Shape::Lognormal { mean, spread }
            }
            Kind::Weibull => Shape::Weibull {
                shape: object.required("shape", real().positive().at_most(1000.0), "Above one: wear"),
                scale: object.required("scale", positive, "Value that is reached with the chance 1/e"),
            },
            Kind::Geometric => Shape::Geometric {
                mean: object.required("mean", positive, "Mean of the whole, one step or more"),
                step: object.required("step", positive, "Length of one trial"),
            },
            Kind::Binomial | Kind::Poisson => unreachable!("laws of counts are not among those of amounts"),
        }
    }

    fn count_shape(&self, kind: Kind, object: &mut Object<'_>) -> Shape {
        let mean = self.unit.mean().positive();
        match kind {
            Kind::Fixed | Kind::Table | Kind::Observed | Kind::Events => self.listed(kind, object),
            Kind::Uniform => whole_numbers(object),
            Kind::Geometric => Shape::Geometric {
                mean: object.required("mean", mean, "Mean of the whole, one step or more"),
                step: object.optional("step", self.unit.value().positive(), "1", "Count of one trial"),
            },
            Kind::Binomial => Shape::Binomial {
                trials: object.required(
                    "trials",
                    count().at_least(1).at_most(MOST_TRIALS).map(|n| n as u32),
                    "Trials",
                ),
                chance: object.required(
                    "chance",
                    chance().map(|chance| chance.value()),
                    "Chance of each trial",
                ),
            },
            Kind::Poisson => Shape::Poisson { mean: object.required("mean", mean, "Mean") },
            Kind::Triangular | Kind::Exponential | Kind::Gamma | Kind::Lognormal | Kind::Weibull => {
                unreachable!("laws of amounts are not among those of counts")
            }
        }
    }

    /// Laws that are written the same way for amounts and counts.
    fn listed(&self, kind: Kind, object: &mut Object<'_>) -> Shape {
        let value = self.unit.value();
        match kind {
            Kind::Fixed => Shape::Fixed(object.required("value", value, "The value")),
            Kind::Table => {
                let rows = list_of(Row(value)).at_least(1);
                Shape::Table(object.required("values", rows, "Values with their weights"))
            }
            Kind::Observed
            | Kind::Uniform
            | Kind::Triangular
            | Kind::Exponential
            | Kind::Events
            | Kind::Gamma
            | Kind::Lognormal
            | Kind::Weibull
            | Kind::Geometric
            | Kind::Binomial
            | Kind::Poisson => Shape::Observed(observed(value, object)),
        }
    }

    /// Checks between parameters, and against what is usual.
    fn checked(&self, law: Law, node: &Node, at: &mut Reading) -> Option<Law> {
        if let Err(words) = law.check() {
            let problem = Problem::new(code::LAW_IMPOSSIBLE, format!("this is no possible law: {words}"));
            at.error(node.span, problem.expected(self.wanted()));
            return None;
        }
        let mean = law.mean();
        if self.positive && mean <= 0.0 {
            let problem = Problem::new(code::OUT_OF_RANGE, "this is always zero");
            at.error(node.span, problem.expected(self.wanted()));
            return None;
        }
        let largest = law.largest();
        if largest > self.most {
            let message = format!("{} is too large here", self.unit.shown(largest));
            let problem = Problem::new(code::OUT_OF_RANGE, message);
            at.error(node.span, problem.expected(format!("{} at most", self.unit.shown(self.most))));
            return None;
        }
        if let Some((low, high, words)) = self.usual
            && !(low..=high).contains(&mean)
        {
            warn_unusual(node, at, &format!("a mean of {}", self.unit.shown(mean)), words);
        }
        Some(law)
    }
}

/// Most trials of a binomial law.
const MOST_TRIALS: u64 = 1_000_000;
/// Most different numbers of a uniform law of counts.
const MOST_NUMBERS: u64 = 10_000;

fn mean_and_spread(positive: Amount, any: Amount, object: &mut Object<'_>) -> (f64, f64) {
    let mean = object.required("mean", positive, "Mean");
    let spread = object.required("spread", any, "Standard deviation of the value itself");
    (mean, spread)
}

/// Every whole number from one to another with the same chance: a table.
fn whole_numbers(object: &mut Object<'_>) -> Shape {
    let from = object.required("from", count(), "Smallest number");
    let to = object.required("to", count(), "Largest number");
    let both = object.sound(&["from", "to"]);
    if both && from > to {
        object.fail(
            "to",
            Problem::new(code::OUT_OF_RANGE, format!("`to` is {to}, below `from`, which is {from}")),
        );
    } else if both && to - from >= MOST_NUMBERS {
        let problem = Problem::new(code::OUT_OF_RANGE, "there are too many numbers from `from` to `to`");
        object.fail("to", problem.expected(format!("at most {MOST_NUMBERS} different numbers")));
    } else if both {
        return Shape::Table((from..=to).map(|number| (number as f64, 1.0)).collect());
    }
    Shape::Fixed(from as f64)
}

impl Form for LawForm {
    type Out = Law;

    fn fits(&self, node: &Node) -> bool {
        self.unit.value().fits(node) || matches!(node.value, Value::List(_) | Value::Object(_))
    }

    fn wanted(&self) -> String {
        match self.unit {
            Unit::Of(dimension) => {
                let example = dimension.example();
                format!(
                    "{}, such as \"{example}\", or a law, such as {{\"law\": \"exponential\", \"mean\": \"{example}\"}}",
                    dimension.name()
                )
            }
            Unit::Count => {
                "a whole number, such as 3, or a law, such as {\"law\": \"poisson\", \"mean\": 2.2}"
                    .to_owned()
            }
        }
    }

    fn read(&self, node: &Node, at: &mut Reading) -> Option<Law> {
        let before = at.error_count();
        let (inputs, settings) = (at.input_count(), at.setting_count());
        let (law, known_from): Told = match (&node.value, self.unit) {
            (Value::List(_), _) => {
                let values = list_of(self.unit.value()).at_least(1).read(node, at)?;
                (Shape::Observed(values).into(), KnownFrom::Values(None))
            }
            (Value::Object(_), _) => {
                let kind = self.kind(node, at)?;
                read_object(node, at, |object| self.object(kind, object))?
            }
            (Value::Text(_) | Value::Number(..), Unit::Of(_)) | (Value::Number(..), Unit::Count) => {
                (Law::fixed(self.unit.value().read(node, at)?), KnownFrom::Nothing)
            }
            (Value::Text(_), Unit::Count) | (Value::Null | Value::Bool(_), _) => {
                at.wrong_type(node, &self.wanted());
                return None;
            }
        };
        if at.error_count() > before {
            return None;
        }
        at.forget_assumed_inputs(inputs);
        at.forget_settings(settings);
        at.set(node.span, self.sort(&law));
        // Values that were observed are evidence, even if they are all the same.
        let evidence = self.evidence(&law, known_from);
        if evidence.is_some() || !law.is_fixed() {
            at.record(node.span, "random amount", evidence);
        }
        self.checked(law, node, at)
    }

    fn stand_in(&self) -> Law {
        Law::fixed(1.0)
    }

    fn schema(&self, definitions: &mut Definitions) -> Json {
        let name = self.unit.schema_name();
        let mut schema = definitions.define(&name, |definitions| {
            let value = self.unit.value().schema(definitions);
            let mut all = vec![value.clone(), json!({ "type": "array", "items": value, "minItems": 1 })];
            for &kind in Kind::all(self.unit) {
                all.push(definitions.define(&format!("{name}-{}", kind.word()), |definitions| {
                    describe_object(definitions, |object| self.object(kind, object))
                }));
            }
            json!({ "anyOf": all })
        });
        let usual = self.usual.map_or(String::new(), |(_, _, words)| format!("; usual: {words}"));
        schema["description"] = json!(format!("{}{usual}", self.unit.described()));
        schema
    }
}

#[cfg(test)]
mod tests;
