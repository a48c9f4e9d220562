//! Ranges of a factor: from low to high, in one unit.
//!
//! Values between the ends are made by arithmetic in the unit of the low end, and written with twelve digits, so that
//! three steps of 0.1 make 0.3. Invariant: no value lies outside of the ends.

use crate::diag::{Problem, code};
use crate::text::fields::Object;
use crate::text::forms::Spanned;
use crate::units::{Dimension, parse};
use serde_json::Value;

/// How values are spaced between the ends.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(super) enum Spacing {
    /// By equal differences.
    Even,
    /// By equal ratios.
    Ratio,
}

/// The words for it.
pub(super) const SPACINGS: &[(&str, Spacing, &str)] = &[
    ("even", Spacing::Even, "by equal differences"),
    ("ratio", Spacing::Ratio, "by equal ratios, for what spans orders of magnitude"),
];

/// Values of a grid.
#[derive(Debug, Clone, Copy, PartialEq)]
enum Grid {
    None,
    /// By this much, this many of them.
    Step(f64, u64),
    Points(u64),
}

/// A range.
#[derive(Debug, Clone, PartialEq)]
pub(super) struct Range {
    low: f64,
    high: f64,
    is_whole: bool,
    /// Unit of both; none for plain numbers.
    pub(super) unit: Option<String>,
    spacing: Spacing,
    grid: Grid,
}

/// Number and unit of a plain quantity such as `0.5 m`; the unit is empty for a number alone.
pub(super) fn split(text: &str) -> Option<(&str, &str)> {
    let end =
        text.find(|c: char| !(c.is_ascii_digit() || matches!(c, '.' | '-' | '+'))).unwrap_or(text.len());
    let (number, unit) = text.split_at(end);
    let is_one = |dimension: &Dimension| parse(text, *dimension).is_ok();
    let unit = unit.trim();
    // A sum such as `1 h 30 min`, or `1 in 50`, is none.
    let is_plain = number.parse::<f64>().is_ok() && !unit.contains(' ');
    (is_plain && (unit.is_empty() || Dimension::ALL.iter().any(is_one))).then_some((number, unit))
}

/// An end of a range.
struct End {
    value: f64,
    unit: Option<String>,
    is_whole: bool,
}

fn end(value: &Value) -> Result<End, Problem> {
    let wrong = || {
        Problem::new(code::WRONG_TYPE, format!("{value} is no end of a range"))
            .expected("a number, or a quantity of one number and one unit, such as `0.5 m`")
    };
    match value {
        Value::Number(number) => {
            let value = number.as_f64().filter(|value| value.is_finite()).ok_or_else(wrong)?;
            Ok(End { value, unit: None, is_whole: number.is_i64() || number.is_u64() })
        }
        Value::String(text) => {
            let (number, unit) = split(text.trim()).ok_or_else(wrong)?;
            let value = number.parse().map_err(|_| wrong())?;
            Ok(End { value, unit: Some(unit.to_owned()), is_whole: false })
        }
        Value::Null | Value::Bool(_) | Value::Array(_) | Value::Object(_) => Err(wrong()),
    }
}

/// How many of the unit `to` one of the unit `from` is.
fn in_unit(from: &Option<String>, to: &Option<String>) -> Result<f64, Problem> {
    if from == to {
        return Ok(1.0);
    }
    let apart = || {
        let name = |unit: &Option<String>| {
            unit.clone().map_or("a plain number".to_owned(), |unit| format!("`{unit}`"))
        };
        let message = format!("{} and {} cannot be ends of one range", name(to), name(from));
        Problem::new(code::UNIT_WRONG_KIND, message).expected("both in units of the same kind")
    };
    let (Some(from), Some(to)) = (from, to) else { return Err(apart()) };
    let (from, to) = (format!("1 {from}"), format!("1 {to}"));
    let both = |dimension: &Dimension| Some((parse(&from, *dimension).ok()?, parse(&to, *dimension).ok()?));
    let (from, to) = Dimension::ALL.iter().find_map(both).ok_or_else(apart)?;
    Ok(from / to)
}

/// Reads a range; what is wrong with it is reported.
pub(super) fn read(
    low: Spanned<Value>,
    high: Spanned<Value>,
    step: Option<Spanned<Value>>,
    points: Option<u64>,
    spacing: Spacing,
    object: &mut Object<'_>,
) -> Option<Range> {
    let first = end(&low.value).map_err(|problem| object.fail("low", problem)).ok()?;
    let same_unit = |value: &Value| {
        let mut last = end(value)?;
        last.value *= in_unit(&last.unit, &first.unit)?;
        Ok(last)
    };
    let last = same_unit(&high.value).map_err(|problem| object.fail("high", problem)).ok()?;
    if last.value <= first.value {
        object.fail("high", Problem::new(code::OUT_OF_RANGE, "the high end is not above the low end"));
        return None;
    }
    if spacing == Spacing::Ratio && first.value <= 0.0 {
        let problem = Problem::new(code::OUT_OF_RANGE, "a range that is spaced by ratio begins above zero");
        object.fail("low", problem);
        return None;
    }
    let mut range = Range {
        low: first.value,
        high: last.value,
        is_whole: first.is_whole && last.is_whole,
        unit: first.unit.clone(),
        spacing,
        grid: points.map_or(Grid::None, Grid::Points),
    };
    if range.is_whole && points.is_none() {
        range.grid = range.by_step(1.0);
    }
    if points.is_some_and(|points| range.is_whole && points as f64 > range.high - range.low + 1.0) {
        object.fail(
            "points",
            Problem::new(code::OUT_OF_RANGE, "there are not so many whole numbers between the ends"),
        );
        return None;
    }
    let Some(step) = step else { return Some(range) };
    if points.is_some() || spacing == Spacing::Ratio {
        let problem = Problem::new(code::UNKNOWN_KEY, "a range has a step or a number of points, not both");
        object.fail("step", problem.help("a range that is spaced by ratio has `points`"));
        return None;
    }
    let step = same_unit(&step.value).map_err(|problem| object.fail("step", problem)).ok()?;
    let is_usable = step.value > 0.0
        && (step.is_whole || !range.is_whole)
        && (last.value - first.value) / step.value < 1e6;
    if !is_usable {
        let wanted = if range.is_whole {
            "a whole number above zero"
        } else {
            "above zero, a millionth of the range at least"
        };
        object.fail("step", Problem::new(code::OUT_OF_RANGE, "this step leads nowhere").expected(wanted));
        return None;
    }
    range.grid = range.by_step(step.value);
    Some(range)
}

impl Range {
    /// A step that just misses the high end by rounding reaches it.
    fn by_step(&self, step: f64) -> Grid {
        Grid::Step(step, ((self.high - self.low) / step + 1e-9) as u64 + 1)
    }

    /// Number of levels in a grid.
    pub(super) fn n_levels(&self) -> Option<u64> {
        match self.grid {
            Grid::None => None,
            Grid::Step(_, n) | Grid::Points(n) => Some(n),
        }
    }

    /// A level of the grid, from 0.
    pub(super) fn level(&self, n: u64) -> Value {
        match self.grid {
            Grid::None => panic!("only what has levels is asked for one"),
            Grid::Step(step, _) => self.written(self.low + n as f64 * step),
            Grid::Points(points) => {
                let value = self.between(n as f64 / (points - 1) as f64);
                self.written(if self.is_whole { value.round() } else { value })
            }
        }
    }

    /// The value at a share of the range.
    pub(super) fn at(&self, share: f64) -> Value {
        if !self.is_whole {
            return self.written(self.between(share));
        }
        let wider = Range { high: self.high + 1.0, ..self.clone() };
        self.written(wider.between(share).floor())
    }

    fn between(&self, share: f64) -> f64 {
        match self.spacing {
            Spacing::Even => self.low + share * (self.high - self.low),
            Spacing::Ratio => self.low * libm::pow(self.high / self.low, share),
        }
    }

    fn written(&self, value: f64) -> Value {
        let value = value.clamp(self.low, self.high);
        let rounded: f64 = format!("{value:.11e}").parse().unwrap_or(value);
        match &self.unit {
            None if self.is_whole => Value::from(rounded as i64),
            None => Value::from(rounded),
            Some(unit) if unit.is_empty() => Value::from(rounded.to_string()),
            Some(unit) => Value::from(format!("{rounded} {unit}")),
        }
    }
}
