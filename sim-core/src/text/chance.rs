//! Chances and shares, as numbers, per cent, or counts of a test.
//!
//! Counts are kept: how much a drop test of fifty parts does not know belongs to the proof.

use serde_json::{Value as Json, json};

use super::evidence::{self, Evidence, JEFFREYS, Seen};
use super::fields::{NOTE, Object, Reading, SettingSort, describe_object, read_object};
use super::forms::{Form, Spanned, count};
use super::json::{Entry, Node, Value, clipped};
use super::quantity::{QUANTITY_PATTERN, warn_unusual};
use super::reading::{check_note, note_schema};
use super::schema::Definitions;
use super::words::name_problem;
use crate::diag::{Problem, code};
use crate::units::{Dimension, parse};

/// A chance, as it is known.
#[derive(Debug, Clone, Copy, PartialEq)]
pub enum Chance {
    /// Assumed, from 0 to 1.
    Known(f64),
    /// Seen so many times in so many trials; `of` is 1 or more, `seen` is not above `of`.
    Counted {
        /// Times that it happened.
        seen: u64,
        /// Trials.
        of: u64,
    },
}

impl Chance {
    /// The chance itself, from 0 to 1; for counts the share seen.
    pub fn value(self) -> f64 {
        match self {
            Chance::Known(value) => value,
            Chance::Counted { seen, of } => seen as f64 / of as f64,
        }
    }
}

/// A chance: `0.02`, `"2 %"`, `"1 in 5000"`, or evidence: `"3 of 500"`, `{"seen": 3, "of": 500}`.
#[derive(Debug, Clone, Copy)]
pub struct ChanceForm {
    usual: Option<(f64, f64, &'static str)>,
}

/// A chance: `0.02`, `"2 %"`, `"1 in 5000"`, or evidence: `"3 of 500"`, `{"seen": 3, "of": 500}`.
pub fn chance() -> ChanceForm {
    ChanceForm { usual: None }
}

const CHANCE_WANTED: &str =
    "a chance from 0 to 1, such as 0.02, \"2 %\", \"3 of 500\" or {\"seen\": 3, \"of\": 500}";

impl ChanceForm {
    /// Warns outside of a usual range, from 0 to 1; `words` say it to people.
    #[must_use]
    pub fn usual(self, low: f64, high: f64, words: &'static str) -> Self {
        ChanceForm { usual: Some((low, high, words)) }
    }
}

fn known(value: f64, written: &str) -> Result<Chance, Problem> {
    if (0.0..=1.0).contains(&value) {
        return Ok(Chance::Known(value + 0.0));
    }
    let size = if value < 0.0 { "below zero" } else { "above one" };
    let problem =
        Problem::new(code::OUT_OF_RANGE, format!("`{}` is {size}", clipped(written))).expected(CHANCE_WANTED);
    Err(if value > 1.0 && !written.contains('%') {
        problem.help(format!("per cent are written as text: \"{} %\"", clipped(written)))
    } else {
        problem
    })
}

fn counted(seen: u64, of: u64) -> Result<Chance, Problem> {
    if seen <= of && of > 0 {
        return Ok(Chance::Counted { seen, of });
    }
    let message = format!("{seen} of {of} cannot have been seen");
    Err(Problem::new(code::OUT_OF_RANGE, message).expected(CHANCE_WANTED))
}

fn from_text(text: &str) -> Result<Chance, Problem> {
    if let Some((seen, of)) = text.split_once(" of ") {
        let (Ok(seen), Ok(of)) = (seen.trim().parse(), of.trim().parse()) else {
            let message = format!("`{}` is no count of a test", clipped(text));
            let problem = Problem::new(code::NUMBER_UNREADABLE, message).expected(CHANCE_WANTED);
            return Err(problem.help("times seen and trials are whole numbers"));
        };
        return counted(seen, of);
    }
    known(parse(text, Dimension::Share)?, text)
}

fn evidence(object: &mut Object<'_>) -> Option<(Chance, Option<Evidence>)> {
    let seen = object.required("seen", count(), "Times that it happened");
    let of = object.required("of", count().at_least(1), "Trials");
    let evidence = evidence::of_chance(object, seen, of);
    if !object.sound(&["seen", "of"]) {
        return None;
    }
    let chance = counted(seen, of).map_err(|problem| object.fail("seen", problem)).ok()?;
    Some((chance, Some(evidence)))
}

/// With the usual prior, if it was counted.
fn plainly(chance: Chance) -> (Chance, Option<Evidence>) {
    let evidence = match chance {
        Chance::Known(_) => None,
        Chance::Counted { seen, of } => Some(Evidence::of_counts(seen, of)),
    };
    (chance, evidence)
}

impl Form for ChanceForm {
    type Out = Chance;

    fn fits(&self, node: &Node) -> bool {
        matches!(node.value, Value::Number(..) | Value::Text(_) | Value::Object(_))
    }

    fn wanted(&self) -> String {
        CHANCE_WANTED.to_owned()
    }

    fn read(&self, node: &Node, at: &mut Reading) -> Option<Chance> {
        let settings = at.setting_count();
        let result = match &node.value {
            Value::Number(value, written) => known(*value, written).map(plainly),
            Value::Text(text) => from_text(text).map(plainly),
            Value::Object(_) => Ok(read_object(node, at, evidence)??),
            Value::Null | Value::Bool(_) | Value::List(_) => {
                at.wrong_type(node, CHANCE_WANTED);
                return None;
            }
        };
        let (chance, evidence) = result.map_err(|problem| at.error(node.span, problem)).ok()?;
        if let Some((low, high, words)) = self.usual
            && !(low..=high).contains(&chance.value())
        {
            warn_unusual(node, at, &format!("a chance of {}", chance.value()), words);
        }
        at.forget_settings(settings);
        at.set(node.span, SettingSort::Chance);
        match chance {
            Chance::Known(value) if value == 0.0 || value == 1.0 => {}
            Chance::Known(_) | Chance::Counted { .. } => at.record(node.span, "chance", evidence),
        }
        Some(chance)
    }

    fn stand_in(&self) -> Chance {
        Chance::Known(0.5)
    }

    fn schema(&self, definitions: &mut Definitions) -> Json {
        let evidence = definitions.define("evidence", |definitions| describe_object(definitions, evidence));
        let usual = self.usual.map_or(String::new(), |(_, _, words)| format!("; usual: {words}"));
        json!({
            "anyOf": [
                { "type": "number", "minimum": 0, "maximum": 1 },
                { "type": "string", "pattern": QUANTITY_PATTERN, "examples": ["2 %", "1 in 5000", "3 of 500"] },
                evidence,
            ],
            "description": format!("a chance: a number from 0 to 1, per cent as text, or counts of a test{usual}"),
        })
    }
}

/// How a whole is shared out by name, in the order of the file; at least one name.
#[derive(Debug, Clone, PartialEq)]
pub enum Shares {
    /// Assumed chances that add up to one.
    Known(Vec<(Spanned<String>, f64)>),
    /// Counts of one test; at least one is not zero.
    Counted(Vec<(Spanned<String>, u64)>),
}

impl Shares {
    /// The names.
    pub fn names(&self) -> Vec<&Spanned<String>> {
        match self {
            Shares::Known(rows) => rows.iter().map(|(name, _)| name).collect(),
            Shares::Counted(rows) => rows.iter().map(|(name, _)| name).collect(),
        }
    }

    /// The shares, which add up to one within rounding; for counts the shares seen.
    pub fn values(&self) -> Vec<f64> {
        match self {
            Shares::Known(rows) => rows.iter().map(|(_, share)| *share).collect(),
            Shares::Counted(rows) => {
                let total: u64 = rows.iter().map(|(_, count)| count).sum();
                rows.iter().map(|(_, count)| *count as f64 / total as f64).collect()
            }
        }
    }
}

/// Shares by name: all counts, or all chances that add up to one, one of which may be `"rest"`.
#[derive(Debug, Clone, Copy)]
pub struct SharesForm;

/// Shares by name: all counts (`{"up": 212, "down": 168}`), or all chances that add up to one
/// (`{"up": 0.6, "down": "40 %"}`), one of which may be `"rest"`.
pub fn shares() -> SharesForm {
    SharesForm
}

const SHARES_WANTED: &str = "counts by name, such as {\"up\": 212, \"down\": 168}, or chances that add up to one, such as {\"up\": 0.6, \"down\": \"rest\"}";

/// How far chances may be from one in sum.
const SUM_TOLERANCE: f64 = 1e-9;

type Rows<'n> = Vec<(Spanned<String>, &'n Node)>;

impl Form for SharesForm {
    type Out = Shares;

    fn fits(&self, node: &Node) -> bool {
        matches!(node.value, Value::Object(_))
    }

    fn wanted(&self) -> String {
        SHARES_WANTED.to_owned()
    }

    fn read(&self, node: &Node, at: &mut Reading) -> Option<Shares> {
        let Value::Object(entries) = &node.value else {
            at.wrong_type(node, SHARES_WANTED);
            return None;
        };
        if entries.iter().any(|entry| entry.key == "counts" && entry.node.is_object()) {
            let (counts, evidence) = read_object(node, at, told_counts)?;
            at.record(node.span, "shares", Some(evidence));
            return Some(Shares::Counted(counts));
        }
        let rows = rows_of(node, entries, at)?;
        let inputs = at.input_count();
        match counts(&rows).or_else(|| counted_texts(&rows)).or_else(|| broken_counts(&rows, at)) {
            Some(counts) => {
                at.record(node.span, "shares", Some(of_shares(&counts, JEFFREYS, None)));
                Some(Shares::Counted(counts))
            }
            None => {
                let shares = chances(rows, node, at);
                at.forget_inputs(inputs);
                if shares.iter().all(|(_, share)| *share < 1.0) {
                    at.record(node.span, "shares", None);
                }
                Some(Shares::Known(shares))
            }
        }
    }

    fn stand_in(&self) -> Shares {
        Shares::Known(vec![(Spanned::default(), 1.0)])
    }

    fn schema(&self, definitions: &mut Definitions) -> Json {
        let told =
            definitions.define("counted-shares", |definitions| describe_object(definitions, told_counts));
        let plain = json!({
            "type": "object",
            "properties": { NOTE: note_schema() },
            "additionalProperties": {
                "anyOf": [
                    { "type": "number", "minimum": 0 },
                    { "const": "rest", "description": "What the others leave" },
                    { "type": "string", "pattern": QUANTITY_PATTERN, "examples": ["40 %"] },
                ],
            },
            "minProperties": 1,
        });
        json!({
            "anyOf": [plain, told],
            "description": "by name: counts of a test, or chances that add up to one; one may be \"rest\"",
        })
    }
}

/// The entries by name; notes are checked and left out.
fn rows_of<'n>(node: &'n Node, entries: &'n [Entry], at: &mut Reading) -> Option<Rows<'n>> {
    let mut rows: Rows<'n> = Vec::with_capacity(entries.len());
    for entry in entries {
        if entry.key == NOTE {
            at.in_key(NOTE, |at| check_note(&entry.node, at));
            continue;
        }
        at.in_key(&entry.key, |at| {
            if let Some(problem) = name_problem(&entry.key) {
                at.error(entry.key_span, problem);
            }
            let name = Spanned { value: entry.key.clone(), place: at.place(entry.key_span) };
            rows.push((name, &entry.node));
        });
    }
    if rows.is_empty() {
        at.error(node.span, Problem::new(code::TOO_FEW, "nothing stands in it").expected(SHARES_WANTED));
        return None;
    }
    Some(rows)
}

/// Largest count of a test.
const MOST_COUNTED: u64 = 1_000_000_000;

type CountRows = Vec<(Spanned<String>, u64)>;

/// Counts of one test, with what else is said of it.
fn told_counts(object: &mut Object<'_>) -> (CountRows, Evidence) {
    let counts = object.required("counts", CountsForm, "Counts of one test by name");
    let prior = evidence::read_shares_prior(object);
    let test = evidence::read_test(object);
    let evidence = of_shares(&counts, prior, test);
    (counts, evidence)
}

fn of_shares(counts: &CountRows, prior: f64, test: Option<String>) -> Evidence {
    let rows = counts.iter().map(|(name, count)| (name.value.clone(), *count)).collect();
    Evidence { test, seen: Seen::Shares { rows, prior } }
}

/// Counts of one test by name.
#[derive(Debug, Clone, Copy)]
struct CountsForm;

const COUNTS_WANTED: &str = "counts by name, such as {\"up\": 212, \"down\": 168}";

impl Form for CountsForm {
    type Out = CountRows;

    fn fits(&self, node: &Node) -> bool {
        node.is_object()
    }

    fn wanted(&self) -> String {
        COUNTS_WANTED.to_owned()
    }

    fn read(&self, node: &Node, at: &mut Reading) -> Option<CountRows> {
        let Value::Object(entries) = &node.value else {
            at.wrong_type(node, COUNTS_WANTED);
            return None;
        };
        let rows = rows_of(node, entries, at)?;
        let found = counts(&rows);
        if found.is_none() {
            let problem = Problem::new(code::OUT_OF_RANGE, "these are no counts of a test");
            at.error(node.span, problem.expected(COUNTS_WANTED));
        }
        let names = || rows.iter().map(|(name, _)| (name.clone(), 1)).collect();
        Some(found.unwrap_or_else(names))
    }

    fn stand_in(&self) -> CountRows {
        vec![(Spanned::default(), 2)]
    }

    fn schema(&self, _: &mut Definitions) -> Json {
        json!({
            "type": "object",
            "properties": { NOTE: note_schema() },
            "additionalProperties": { "type": "integer", "minimum": 0 },
            "minProperties": 1,
        })
    }
}

/// The counts, if all values are text such as `30 of 50` with one number of trials, to which they add up; one may be
/// `rest`.
fn counted_texts(rows: &Rows<'_>) -> Option<CountRows> {
    let (mut of_all, mut rest, mut sum) = (None, None, 0_u64);
    let mut counts: CountRows = Vec::with_capacity(rows.len());
    for (ix, (name, node)) in rows.iter().enumerate() {
        let count = match node.text()? {
            "rest" if rest.is_none() => {
                rest = Some(ix);
                0
            }
            text => match from_text(text).ok()? {
                Chance::Counted { seen, of } if of_all.is_none_or(|all| all == of) => {
                    of_all = Some(of);
                    seen
                }
                Chance::Counted { .. } | Chance::Known(_) => return None,
            },
        };
        sum = sum.saturating_add(count);
        counts.push((name.clone(), count));
    }
    let left = of_all?.checked_sub(sum)?;
    match rest {
        Some(ix) => counts[ix].1 = left,
        None if left > 0 => return None,
        None => {}
    }
    Some(counts)
}

/// The counts, if all values are whole numbers whose sum is above one.
fn counts(rows: &Rows<'_>) -> Option<CountRows> {
    let mut counts = Vec::with_capacity(rows.len());
    let mut total = 0_u64;
    for (name, node) in rows {
        let Value::Number(_, text) = &node.value else {
            return None;
        };
        let count: u64 = text.parse().ok().filter(|count| *count <= MOST_COUNTED)?;
        total = total.saturating_add(count);
        counts.push((name.clone(), count));
    }
    (total > 1).then_some(counts)
}

/// The counts of a test of which some can't be counts, which is reported; none if these are no counts at all.
fn broken_counts(rows: &Rows<'_>, at: &mut Reading) -> Option<CountRows> {
    let count = |node: &Node| match &node.value {
        Value::Number(_, text) => text.parse().ok().filter(|count: &u64| *count <= MOST_COUNTED),
        Value::Null | Value::Bool(_) | Value::Text(_) | Value::List(_) | Value::Object(_) => None,
    };
    // Fractions, and `rest`, belong to chances.
    let is_of_chances = |node: &Node| match &node.value {
        Value::Number(value, _) => *value > 0.0 && *value < 1.0,
        Value::Text(text) => text == "rest" || text.contains('%'),
        Value::Null | Value::Bool(_) | Value::List(_) | Value::Object(_) => false,
    };
    let are_counts = rows.iter().any(|(_, node)| count(node).is_some_and(|count| count > 1));
    if !are_counts || rows.iter().any(|(_, node)| is_of_chances(node)) {
        return None;
    }
    for (name, node) in rows.iter().filter(|(_, node)| count(node).is_none()) {
        let message = format!("{} is no count of a test", node.found());
        let problem = Problem::new(code::OUT_OF_RANGE, message).expected(SHARES_WANTED);
        at.in_key(&name.value, |at| at.error(node.span, problem));
    }
    Some(rows.iter().map(|(name, _)| (name.clone(), 1)).collect())
}

/// The chances; where one is wrong that is reported, and the names are known all the same.
fn chances(rows: Rows<'_>, whole: &Node, at: &mut Reading) -> Vec<(Spanned<String>, f64)> {
    let before = at.error_count();
    let mut shares = Vec::with_capacity(rows.len());
    let mut rest: Option<usize> = None;
    for (index, (name, node)) in rows.into_iter().enumerate() {
        let value = at.in_key(&name.value, |at| match node.text() {
            Some("rest") if rest.is_none() => {
                rest = Some(index);
                Some(0.0)
            }
            Some("rest") => {
                at.error(
                    node.span,
                    Problem::new(code::SHARES_SUM, "there is a second \"rest\"").help("keep one of the two"),
                );
                None
            }
            Some(_) | None => one_share(node, at),
        });
        shares.push((name, value.unwrap_or(0.0)));
    }
    if at.error_count() > before {
        return shares;
    }
    let sum: f64 = shares.iter().map(|(_, share)| share).sum();
    match rest.and_then(|index| shares.get_mut(index)) {
        Some((_, share)) if sum <= 1.0 + SUM_TOLERANCE => *share = (1.0 - sum).max(0.0),
        None if (sum - 1.0).abs() <= SUM_TOLERANCE => {}
        Some(_) | None => {
            let problem =
                Problem::new(code::SHARES_SUM, format!("the chances add up to {}", without_dust(sum)))
                    .expected(SHARES_WANTED)
                    .help("one of them may be \"rest\": what the others leave");
            at.error(whole.span, problem);
        }
    }
    shares
}

/// One chance among shares; evidence of its own would belong to another test.
fn one_share(node: &Node, at: &mut Reading) -> Option<f64> {
    match (&node.value, chance().fits(node)) {
        (Value::Object(_), _) | (_, false) => {
            at.wrong_type(node, SHARES_WANTED);
            None
        }
        (Value::Null | Value::Bool(_) | Value::Number(..) | Value::Text(_) | Value::List(_), true) => {
            chance().read(node, at).map(Chance::value)
        }
    }
}

/// A sum without the dust of binary rounding.
pub(crate) fn without_dust(sum: f64) -> f64 {
    (sum * 1e10).round() / 1e10
}
