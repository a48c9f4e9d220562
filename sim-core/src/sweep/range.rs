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

/// Pieces that a typed range without whole numbers is cut into.
const PIECES: u64 = 64;
/// Most values.
const VALUES_MAX: f64 = 1e6;

/// A range.
#[derive(Debug, Clone, PartialEq)]
pub struct Range {
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

/// Ends, step and number of points of a range, as they were written.
#[derive(Debug, Clone, Copy)]
struct Written<'a> {
    low: &'a Value,
    high: &'a Value,
    step: Option<&'a Value>,
    points: Option<u64>,
}

/// Which part of a range is wrong, and what is.
type Wrong = (&'static str, Problem);

/// Reads a range; what is wrong with it is reported.
pub(super) fn read(
    low: Spanned<Value>,
    high: Spanned<Value>,
    step: Option<Spanned<Value>>,
    points: Option<u64>,
    spacing: Spacing,
    object: &mut Object<'_>,
) -> Option<Range> {
    let step = step.as_ref().map(|step| &step.value);
    let written = Written { low: &low.value, high: &high.value, step, points };
    Range::new(&written, spacing).map_err(|(key, problem)| object.fail(key, problem)).ok()
}

impl Range {
    fn new(written: &Written<'_>, spacing: Spacing) -> Result<Self, Wrong> {
        let points = written.points;
        let first = end(written.low).map_err(|problem| ("low", problem))?;
        let same_unit = |key, value| -> Result<End, Wrong> {
            let mut last = end(value).map_err(|problem| (key, problem))?;
            last.value *= in_unit(&last.unit, &first.unit).map_err(|problem| (key, problem))?;
            Ok(last)
        };
        let last = same_unit("high", written.high)?;
        let out_of_range = |key, message: &str| Err((key, Problem::new(code::OUT_OF_RANGE, message)));
        if last.value <= first.value {
            return out_of_range("high", "the high end is not above the low end");
        }
        if spacing == Spacing::Ratio && first.value <= 0.0 {
            return out_of_range("low", "a range that is spaced by ratio begins above zero");
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
            return out_of_range("points", "there are not so many whole numbers between the ends");
        }
        let Some(step) = written.step else { return Ok(range) };
        if points.is_some() || spacing == Spacing::Ratio {
            let problem = "a range has a step or a number of points, not both";
            let problem = Problem::new(code::UNKNOWN_KEY, problem);
            return Err(("step", problem.help("a range that is spaced by ratio has `points`")));
        }
        let step = same_unit("step", step)?;
        let is_usable = step.value > 0.0
            && (step.is_whole || !range.is_whole)
            && (last.value - first.value) / step.value < VALUES_MAX;
        if !is_usable {
            let wanted = if range.is_whole {
                "a whole number above zero"
            } else {
                "above zero, a millionth of the range at least"
            };
            let problem = Problem::new(code::OUT_OF_RANGE, "this step leads nowhere").expected(wanted);
            return Err(("step", problem));
        }
        range.grid = range.by_step(step.value);
        Ok(range)
    }

    /// Reads `LOW..HIGH` or `LOW..HIGH:STEP`, such as `10..200` or `0.8..1.6 /s:0.05`. What has no unit has that of the high
    /// end. Whole numbers go in steps of one; anything else is cut into 64 pieces, unless a step is given.
    ///
    /// # Errors
    /// What is wrong with it.
    pub fn typed(text: &str) -> Result<Self, Problem> {
        let form = || {
            Problem::new(code::WRONG_TYPE, format!("`{text}` is no range"))
                .expected("LOW..HIGH or LOW..HIGH:STEP, such as 10..200 or \"0.8..1.6 /s:0.05\"")
        };
        let (low, rest) = text.split_once("..").ok_or_else(form)?;
        let (high, step) = rest.split_once(':').map_or((rest, None), |(high, step)| (high, Some(step)));
        let (_, unit) = split(high.trim()).ok_or_else(form)?;
        let (low, high) =
            (value_typed(low, unit).ok_or_else(form)?, value_typed(high, unit).ok_or_else(form)?);
        let step = step.map(|step| value_typed(step, unit).ok_or_else(form)).transpose()?;
        let is_whole = |value: &Value| value.is_i64() || value.is_u64();
        // A step in between makes whole ends numbers like any others.
        let loose = |value: Value| match &step {
            Some(step) if !is_whole(step) => value.as_f64().map_or(value, Value::from),
            Some(_) | None => value,
        };
        let (low, high) = (loose(low), loose(high));
        let has_pieces = step.is_none() && !(is_whole(&low) && is_whole(&high));
        let written =
            Written { low: &low, high: &high, step: step.as_ref(), points: has_pieces.then_some(PIECES + 1) };
        let in_words =
            |(_, problem): Wrong| Problem { message: format!("`{text}`: {}", problem.message), ..problem };
        let range = Range::new(&written, Spacing::Even).map_err(in_words)?;
        if range.n_levels().is_some_and(|n| n as f64 > VALUES_MAX) {
            let problem =
                Problem::new(code::OUT_OF_RANGE, format!("`{text}` has more than {VALUES_MAX} values"));
            return Err(problem.help("give it a step, as in 10..200:10"));
        }
        Ok(range)
    }
}

/// A number that was typed, in the unit that it has or that of the whole range.
fn value_typed(text: &str, unit: &str) -> Option<Value> {
    let text = text.trim();
    let (number, own) = split(text)?;
    match (own, unit) {
        ("", "") => {
            number.parse::<i64>().map(Value::from).or_else(|_| number.parse::<f64>().map(Value::from)).ok()
        }
        ("", unit) => Some(Value::from(format!("{number} {unit}"))),
        (_, _) => Some(Value::from(text)),
    }
}

impl Range {
    /// A step that just misses the high end by rounding reaches it.
    fn by_step(&self, step: f64) -> Grid {
        Grid::Step(step, ((self.high - self.low) / step + 1e-9) as u64 + 1)
    }

    /// Number of levels in a grid.
    pub fn n_levels(&self) -> Option<u64> {
        match self.grid {
            Grid::None => None,
            Grid::Step(_, n) | Grid::Points(n) => Some(n),
        }
    }

    /// A level of the grid, from 0.
    ///
    /// # Panics
    /// If it has no grid.
    pub fn level(&self, n: u64) -> Value {
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
            None if self.is_whole || rounded.fract() == 0.0 && rounded.abs() < 9e15 => {
                Value::from(rounded as i64)
            }
            None => Value::from(rounded),
            Some(unit) if unit.is_empty() => Value::from(rounded.to_string()),
            Some(unit) => Value::from(format!("{rounded} {unit}")),
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::vary::plain;

    fn all(text: &str) -> Vec<String> {
        let range = Range::typed(text).unwrap();
        (0..range.n_levels().unwrap()).map(|n| plain(&range.level(n))).collect()
    }

    #[test]
    fn typed_ranges_are_written_out_in_their_unit() {
        assert_eq!(all("1..4"), ["1", "2", "3", "4"]);
        assert_eq!(all("10..40:15"), ["10", "25", "40"]);
        assert_eq!(all("1..2:0.5"), ["1", "1.5", "2"]);
        assert_eq!(all("0.8 /s..1.1 /s:0.1 /s"), ["0.8 /s", "0.9 /s", "1 /s", "1.1 /s"]);
        assert_eq!(all("0.5..2 m:0.75"), ["0.5 m", "1.25 m", "2 m"]);
        assert_eq!(all("50 cm..1 m:0.25"), ["50 cm", "75 cm", "100 cm"]);
        assert_eq!(all("0..1 m").len(), 65);
        assert_eq!(all("0..0.5:0.3"), ["0", "0.3"]);
    }

    #[test]
    fn what_is_no_range_is_refused() {
        for text in [
            "",
            "5",
            "5..",
            "5..x",
            "5..4",
            "1 m..2 s",
            "1..5:0",
            "0..1:1e-9",
            "1..2000000",
            "1 m..2",
            "..5",
            "-..+",
        ] {
            let told = Range::typed(text);
            assert!(told.is_err_and(|problem| problem.message.contains(text)), "{text}");
        }
    }
}
