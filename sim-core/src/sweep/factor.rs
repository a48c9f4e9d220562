//! Factors: what is changed from point to point of a study of many points.
//!
//! A factor sets one value of a scenario, or several together, by address. What it may be is a list of values (numbers,
//! quantities, words, whole objects), or a range from low to high. A factor knows no design: it is asked for its level at
//! a share of its range, or for one level of a grid. Invariants: whole numbers stay whole; all levels of a range are written
//! in the unit of its low end.

use super::range::{self, Range};
use super::values::{address, anything};
use crate::diag::{Place, Problem, code};
use crate::text::fields::Object;
use crate::text::forms::{
    MapOf, Nested, Spanned, count, list_of, map_of, nested, one_of, one_or_many, placed,
};
use crate::text::json::clipped;
use crate::text::suggest::nearest;
use crate::vary::{Address, Setting, plain, value_of};
use serde_json::Value;

/// One value of a factor.
#[derive(Debug, Clone, PartialEq)]
pub struct Level {
    /// What it is called in tables.
    pub label: String,
    /// What each address of the factor is set to.
    pub values: Vec<Value>,
}

/// What is changed from point to point.
#[derive(Debug, Clone, PartialEq)]
pub struct Factor {
    /// Its name, for tables.
    pub name: String,
    /// The values of the scenario that it sets, at least one.
    pub addresses: Vec<Spanned<Address>>,
    /// Where the factor stands in its file.
    pub place: Place,
    domain: Domain,
}

/// What a factor may be.
#[derive(Debug, Clone, PartialEq)]
enum Domain {
    /// One of these.
    Values(Vec<Level>),
    /// Anything from low to high.
    Range(Range),
    /// Whatever a list of points says.
    Free,
}

/// The form of all factors of a file, by name; see [`named`].
pub fn factors() -> MapOf<Nested<Factor>> {
    map_of(nested("factor", read)).at_least(1)
}

/// Factors with the names that they have in the file.
pub fn named(read: Vec<(Spanned<String>, Factor)>) -> Vec<Factor> {
    let with_name =
        |(name, factor): (Spanned<String>, Factor)| Factor { name: name.value, place: name.place, ..factor };
    read.into_iter().map(with_name).collect()
}

fn read(object: &mut Object<'_>) -> Factor {
    let addresses = object.required(
        "set",
        one_or_many(placed(address())),
        "The value that is set, by its address in the scenario, such as `lift.cleats`; or a list of several that are set together",
    );
    let values = object.maybe(
        "values",
        list_of(placed(anything())).at_least(1),
        "Its values: a number, text, true or false; a list with one for each address; or an object \
         { \"label\": name in tables, \"value\": anything that may stand in a scenario }, with several addresses \
         \"each\" instead of \"value\": a list with one for each. Left out: a range from `low` to `high`",
    );
    let low =
        object.maybe("low", placed(anything()), "Lower end of a range, a number or a quantity with its unit");
    let high = object.maybe(
        "high",
        placed(anything()),
        "Upper end of a range. If both ends are written as whole numbers all values are whole",
    );
    let step = object.maybe(
        "step",
        placed(anything()),
        "In a grid: from one value to the next; left out: 1 for whole numbers",
    );
    let points =
        object.maybe("points", count().at_least(2).at_most(1_000_000), "In a grid: number of values");
    let spacing = object.optional(
        "spacing",
        one_of(range::SPACINGS),
        "even",
        "How values are spaced between the ends: by equal differences, or by equal ratios",
    );
    let domain = match (values, low, high) {
        (Some(values), None, None) => {
            for key in ["step", "points"] {
                if object.has(key) {
                    object.fail(
                        key,
                        Problem::new(code::UNKNOWN_KEY, "this belongs to a range, not to `values`"),
                    );
                }
            }
            Domain::Values(levels(values, addresses.len(), object))
        }
        (Some(_), low, _) => {
            let key = if low.is_some() { "low" } else { "high" };
            object.fail(key, Problem::new(code::UNKNOWN_KEY, "a factor has `values` or a range, not both"));
            Domain::Free
        }
        (None, Some(low), Some(high)) => {
            range::read(low, high, step, points, spacing, object).map_or(Domain::Free, Domain::Range)
        }
        (None, Some(_), None) | (None, None, Some(_)) => {
            object.fail_here(
                Problem::new(code::MISSING_KEY, "a range has `low` and `high`")
                    .expected("\"low\": \"0.5 m\", \"high\": \"2 m\""),
            );
            Domain::Free
        }
        (None, None, None) => Domain::Free,
    };
    Factor { name: String::new(), addresses, place: object.place(), domain }
}

/// The levels of a list of values, each with a label of its own.
fn levels(values: Vec<Spanned<Value>>, n_addresses: usize, object: &mut Object<'_>) -> Vec<Level> {
    let mut levels: Vec<Level> = Vec::with_capacity(values.len());
    for value in values {
        let place = value.place.clone();
        let Some(level) = level(value, n_addresses, object) else { continue };
        if levels.iter().any(|other| other.label == level.label) {
            let message = format!("the value `{}` stands here already", clipped(&level.label));
            object.fail_at(&place, Problem::new(code::DUPLICATE_NAME, message));
        }
        levels.push(level);
    }
    levels
}

/// A level of a list of values; what is wrong with it is reported.
fn level(value: Spanned<Value>, n_addresses: usize, object: &mut Object<'_>) -> Option<Level> {
    let several = |list: Vec<Value>, object: &mut Object<'_>| {
        if list.len() == n_addresses {
            return Some(list);
        }
        let message = format!("{} values stand here, and {n_addresses} addresses", list.len());
        object.fail_at(
            &value.place,
            Problem::new(code::WRONG_TYPE, message).expected("one value for each address"),
        );
        None
    };
    match value.value {
        Value::Null => {
            let problem = Problem::new(code::WRONG_TYPE, "null stands here");
            object.fail_at(&value.place, problem.expected("a value"));
            None
        }
        Value::Bool(_) | Value::Number(_) | Value::String(_) => {
            let label = plain(&value.value);
            Some(Level { label, values: vec![value.value; n_addresses] })
        }
        Value::Array(list) => {
            let values = several(list, object)?;
            let label = values.iter().map(plain).collect::<Vec<_>>().join(" / ");
            Some(Level { label, values })
        }
        Value::Object(mut map) => {
            let label = map.remove("label");
            let (one, each) = (map.remove("value"), map.remove("each"));
            map.remove("note");
            let (Some(Value::String(label)), true) = (label, map.is_empty()) else {
                object.fail_at(&value.place, labelled());
                return None;
            };
            let values = match (one, each) {
                (Some(one), None) => vec![one; n_addresses],
                (None, Some(Value::Array(list))) => several(list, object)?,
                _ => {
                    object.fail_at(&value.place, labelled());
                    return None;
                }
            };
            Some(Level { label, values })
        }
    }
}

fn labelled() -> Problem {
    Problem::new(code::WRONG_TYPE, "an object among values has a label and a value, and nothing else").expected(
        "{ \"label\": \"two paths\", \"value\": ... }, or \"each\": [...] with one value for each address",
    )
}

impl Factor {
    /// Whether it has levels of its own, or only those of a list of points.
    pub fn is_free(&self) -> bool {
        match &self.domain {
            Domain::Free => true,
            Domain::Values(_) | Domain::Range(_) => false,
        }
    }

    /// Whether it is a list of values, without an order between them.
    pub fn is_list(&self) -> bool {
        match &self.domain {
            Domain::Values(_) => true,
            Domain::Free | Domain::Range(_) => false,
        }
    }

    /// Whether it may set what other addresses lead into.
    pub fn sets_objects(&self) -> bool {
        match &self.domain {
            Domain::Values(levels) => levels
                .iter()
                .flat_map(|level| &level.values)
                .any(|value| value.is_object() || value.is_array()),
            Domain::Free => true,
            Domain::Range(_) => false,
        }
    }

    /// Number of levels in a grid; none if it is a range that does not say.
    pub fn n_levels(&self) -> Option<u64> {
        match &self.domain {
            Domain::Values(levels) => Some(levels.len() as u64),
            Domain::Range(range) => range.n_levels(),
            Domain::Free => None,
        }
    }

    /// A level of the grid, from 0.
    ///
    /// # Panics
    /// If there is no such level.
    pub fn level(&self, n: u64) -> Level {
        match &self.domain {
            Domain::Values(levels) => levels[n as usize].clone(),
            Domain::Range(range) => self.of_range(range.level(n)),
            Domain::Free => panic!("only what has levels is asked for one"),
        }
    }

    /// The level at a share of the range, from 0 (low) to 1 (high). Values of a list, and whole numbers, have equal parts of it.
    ///
    /// # Panics
    /// If the factor is free.
    pub fn at(&self, share: f64) -> Level {
        match &self.domain {
            Domain::Values(levels) => {
                let n = (share * levels.len() as f64) as usize;
                levels[n.min(levels.len() - 1)].clone()
            }
            Domain::Range(range) => self.of_range(range.at(share)),
            Domain::Free => panic!("only what has levels is asked for one"),
        }
    }

    fn of_range(&self, value: Value) -> Level {
        Level { label: plain(&value), values: vec![value; self.addresses.len()] }
    }

    /// The level that is written so in a list of points: the label of one of its values, or a value.
    ///
    /// # Errors
    /// If the factor has values and none is called so.
    pub fn typed(&self, text: &str) -> Result<Level, Problem> {
        let text = text.trim();
        let text = match self.unit() {
            Some(unit) if !unit.is_empty() && text.parse::<f64>().is_ok() => format!("{text} {unit}"),
            Some(_) | None => text.to_owned(),
        };
        if let Domain::Values(levels) = &self.domain {
            return levels.iter().find(|level| level.label == text).cloned().ok_or_else(|| {
                let message = format!("`{}` is no value of the factor `{}`", clipped(&text), self.name);
                let labels = || levels.iter().map(|level| level.label.as_str());
                let problem = Problem::new(code::UNKNOWN_WORD, message);
                match nearest(&text, labels()) {
                    Some(near) => problem.help(format!("did you mean `{near}`?")),
                    None => problem.expected(labels().take(12).collect::<Vec<_>>().join(", ")),
                }
            });
        }
        if text.is_empty() {
            return Err(Problem::new(code::EMPTY, format!("the factor `{}` has no value here", self.name)));
        }
        Ok(self.of_range(value_of(&text)))
    }

    /// The unit that all its levels have; empty if they are plain numbers, none if they are anything else.
    pub fn unit(&self) -> Option<&str> {
        match &self.domain {
            Domain::Free => None,
            Domain::Range(range) => Some(range.unit.as_deref().unwrap_or("")),
            Domain::Values(levels) => {
                let mut units = levels.iter().map(|level| range::split(&level.label).map(|(_, unit)| unit));
                let first = units.next()??;
                units.all(|unit| unit == Some(first)).then_some(first)
            }
        }
    }

    /// The head of its column in tables: name and unit.
    pub fn column(&self) -> String {
        match self.unit() {
            Some(unit) if !unit.is_empty() => format!("{} [{unit}]", self.name),
            Some(_) | None => self.name.clone(),
        }
    }

    /// What stands for a level in its column: without the unit that stands at the head.
    pub fn cell<'l>(&self, level: &'l Level) -> &'l str {
        match (self.unit(), range::split(&level.label)) {
            (Some(own), Some((number, unit))) if own == unit => number,
            _ => &level.label,
        }
    }

    /// What makes a scenario have this level.
    pub fn settings(&self, level: &Level) -> Vec<Setting> {
        let pairs = self.addresses.iter().zip(&level.values);
        pairs
            .map(|(address, value)| Setting { address: address.value.clone(), value: value.clone() })
            .collect()
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::diag::Diagnostic;
    use crate::text::fields::read_text;

    fn read_factors(text: &str) -> Result<Vec<Factor>, Vec<Diagnostic>> {
        let text = format!("{{\"factors\": {text}}}");
        let (read, problems) = read_text(&text, |object| object.required("factors", factors(), "-"));
        if problems.is_empty() { Ok(named(read.unwrap())) } else { Err(problems.into_vec()) }
    }

    fn one(text: &str) -> Factor {
        read_factors(&format!("{{\"f\": {text}}}")).unwrap().remove(0)
    }

    fn labels(factor: &Factor) -> Vec<String> {
        (0..factor.n_levels().unwrap()).map(|n| factor.level(n).label).collect()
    }

    #[test]
    fn values_may_be_anything_and_move_together() {
        let factor = one(r#"{"set": "M.cycle", "values": ["1 s", "1.5 s"]}"#);
        assert_eq!(
            (labels(&factor), factor.column()),
            (vec!["1 s".to_owned(), "1.5 s".to_owned()], "f [s]".to_owned())
        );
        assert_eq!(factor.cell(&factor.level(1)), "1.5");
        let factor = one(
            r#"{"set": ["a.x", "b.x"], "values": [1, [2, 3], {"label": "big", "each": [{"law": "fixed"}, 4]}]}"#,
        );
        assert_eq!(labels(&factor), ["1", "2 / 3", "big"]);
        let set: Vec<String> = factor
            .settings(&factor.level(2))
            .iter()
            .map(|s| format!("{}={}", s.address.text(), s.value))
            .collect();
        assert_eq!(set, ["a.x={\"law\":\"fixed\"}", "b.x=4"]);
        assert_eq!(factor.level(0).values, [Value::from(1), Value::from(1)]);
        assert_eq!(factor.unit(), None);
    }

    #[test]
    fn a_share_of_a_range_is_a_value_of_it() {
        let whole = one(r#"{"set": "T.capacity", "low": 3, "high": 6}"#);
        assert_eq!(labels(&whole), ["3", "4", "5", "6"]);
        let at: Vec<String> = [0.0, 0.24, 0.26, 0.74, 0.76, 1.0].iter().map(|u| whole.at(*u).label).collect();
        assert_eq!(at, ["3", "3", "4", "5", "6", "6"], "equal parts for whole numbers");
        let length = one(r#"{"set": "T.length", "low": "0.1 m", "high": "40 cm", "step": "100 mm"}"#);
        assert_eq!(labels(&length), ["0.1 m", "0.2 m", "0.3 m", "0.4 m"]);
        assert_eq!(length.at(0.5).label, "0.25 m");
        let ratio = one(r#"{"set": "M.x", "low": "0.1 %", "high": "10 %", "points": 3, "spacing": "ratio"}"#);
        assert_eq!(labels(&ratio), ["0.1 %", "1 %", "10 %"]);
        let real = one(r#"{"set": "M.x", "low": 0.5, "high": 1, "points": 3}"#);
        assert_eq!(labels(&real), ["0.5", "0.75", "1"]);
        assert_eq!(one(r#"{"set": "M.x", "low": 0.5, "high": 1}"#).n_levels(), None);
    }

    #[test]
    fn what_is_typed_in_a_list_is_a_label_or_a_value() {
        let factor = one(r#"{"set": "M.cycle", "values": ["1 s", "1.5 s"]}"#);
        assert_eq!(factor.typed("1.5").unwrap(), factor.level(1));
        assert_eq!(factor.typed("1.5 s").unwrap(), factor.level(1));
        assert!(factor.typed("2 s").is_err());
        let free = one(r#"{"set": "M.cycle"}"#);
        assert_eq!(free.typed("3").unwrap().values, [Value::from(3)]);
        assert_eq!(free.typed("1.1 s").unwrap().values, [Value::from("1.1 s")]);
    }

    #[test]
    fn what_makes_no_factor_says_why() {
        for (text, path) in [
            (r#"{"set": "M..x", "values": [1]}"#, "factors.f.set"),
            (r#"{"values": [1]}"#, "factors.f"),
            (r#"{"set": "M.x", "values": []}"#, "factors.f.values"),
            (r#"{"set": "M.x", "values": [1, [2, 3]]}"#, "factors.f.values[1]"),
            (r#"{"set": "M.x", "values": [{"law": "fixed"}]}"#, "factors.f.values[0]"),
            (r#"{"set": "M.x", "values": [1, 2, 1]}"#, "factors.f.values[2]"),
            (r#"{"set": "M.x", "low": "1 in 2", "high": "1 in 2"}"#, "factors.f.low"),
            (r#"{"set": "M.x", "values": [1], "low": 1}"#, "factors.f.low"),
            (r#"{"set": "M.x", "low": 1}"#, "factors.f"),
            (r#"{"set": "M.x", "low": 1, "high": "2 s"}"#, "factors.f.high"),
            (r#"{"set": "M.x", "low": "1 m", "high": "2 s"}"#, "factors.f.high"),
            (r#"{"set": "M.x", "low": "2 s", "high": "1 s"}"#, "factors.f.high"),
            (r#"{"set": "M.x", "low": "1 s", "high": "2 s", "step": "3 m"}"#, "factors.f.step"),
            (r#"{"set": "M.x", "low": "1 s", "high": "2 s", "step": "0 s"}"#, "factors.f.step"),
            (r#"{"set": "M.x", "low": 1, "high": 2, "points": 9}"#, "factors.f.points"),
            (
                r#"{"set": "M.x", "low": "0 s", "high": "2 s", "points": 2, "spacing": "ratio"}"#,
                "factors.f.low",
            ),
            (r#"{"set": "M.x", "low": "1 s", "high": "2 s", "points": 2, "step": "1 s"}"#, "factors.f.step"),
            (r#"{"set": "M.x", "low": "fast", "high": "2 s"}"#, "factors.f.low"),
        ] {
            let problems = read_factors(&format!("{{\"f\": {text}}}")).expect_err(text);
            assert_eq!(problems[0].path, path, "{text}: {problems:?}");
            assert_eq!(problems.len(), 1, "{text}: {problems:?}");
        }
    }
}
