//! Values from low to high in steps, as they are typed: `10..200`, `0.8 /s..1.6 /s:0.05 /s`, `0.5..2 m`.
//!
//! The unit stands at the high end, and may stand at the others as well; all values are written in it. Whole numbers go in steps
//! of one; anything else is cut into [`PIECES`] pieces unless a step is given. Whether the unit is the right one is for the
//! reader of the scenario to say. Invariant: the first value is the low end; none lies above the high end.

use serde_json::Value;

/// Pieces that a range without whole numbers is cut into.
const PIECES: u64 = 64;
/// Most values.
const VALUES_MAX: f64 = 1e6;

/// Values in rising order.
#[derive(Debug, Clone, PartialEq)]
pub(crate) struct Steps {
    low: f64,
    step: f64,
    n: usize,
    unit: String,
}

/// A number and its unit.
fn split(text: &str) -> Option<(f64, &str)> {
    let text = text.trim();
    let end =
        text.find(|c: char| !(c.is_ascii_digit() || matches!(c, '.' | '-' | '+'))).unwrap_or(text.len());
    let number: f64 = text[..end].parse().ok()?;
    number.is_finite().then(|| (number, text[end..].trim()))
}

impl Steps {
    /// Reads `LOW..HIGH` or `LOW..HIGH:STEP`.
    ///
    /// # Errors
    /// What is wrong with it.
    pub(crate) fn read(text: &str) -> Result<Self, String> {
        let form = || {
            format!(
                "`{text}` is no range; expected LOW..HIGH or LOW..HIGH:STEP, such as 10..200 or \"0.8..1.6 /s:0.05\""
            )
        };
        let (low, rest) = text.split_once("..").ok_or_else(form)?;
        let (high, step) = rest.split_once(':').map_or((rest, None), |(high, step)| (high, Some(step)));
        let (low, low_unit) = split(low).ok_or_else(form)?;
        let (high, unit) = split(high).ok_or_else(form)?;
        let step = step.map(|step| split(step).ok_or_else(form)).transpose()?;
        let others = [Some(low_unit), step.map(|(_, unit)| unit)];
        if let Some(other) = others.into_iter().flatten().find(|other| !other.is_empty() && *other != unit) {
            return Err(format!("`{text}` has two units, `{other}` and `{unit}`; write all in one"));
        }
        if high <= low {
            return Err(format!("`{text}`: the low end is not below the high end"));
        }
        let is_whole = unit.is_empty() && low.fract() == 0.0 && high.fract() == 0.0;
        let step = match step {
            Some((step, _)) => step,
            None if is_whole => 1.0,
            None => (high - low) / PIECES as f64,
        };
        if step <= 0.0 {
            return Err(format!("`{text}`: the step is not above 0"));
        }
        // A step that fits in but for rounding fits in.
        let n = ((high - low) / step * (1.0 + 1e-12)).floor() + 1.0;
        if n > VALUES_MAX {
            return Err(format!("`{text}` has {n} values, more than {VALUES_MAX}"));
        }
        Ok(Steps { low, step, n: n as usize, unit: unit.to_owned() })
    }

    /// Number of values.
    pub(crate) fn len(&self) -> usize {
        self.n
    }

    /// A value as it is written in a file.
    pub(crate) fn value(&self, n: usize) -> Value {
        // Twelve digits: what a sum of two short numbers has too many of is left out.
        let number: f64 = format!("{:.11e}", self.low + n as f64 * self.step).parse().unwrap_or(f64::NAN);
        if !self.unit.is_empty() {
            return Value::String(format!("{number} {}", self.unit));
        }
        if number.fract() == 0.0 && number.abs() < 9e15 {
            Value::from(number as i64)
        } else {
            Value::from(number)
        }
    }

    /// A value as it is shown.
    pub(crate) fn shown(&self, n: usize) -> String {
        match self.value(n) {
            Value::String(text) => text,
            other => other.to_string(),
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn all(text: &str) -> Vec<String> {
        let steps = Steps::read(text).unwrap();
        (0..steps.len()).map(|n| steps.shown(n)).collect()
    }

    #[test]
    fn ranges_are_written_out_in_the_unit_of_the_high_end() {
        assert_eq!(all("1..4"), ["1", "2", "3", "4"]);
        assert_eq!(all("10..40:15"), ["10", "25", "40"]);
        assert_eq!(all("0.8 /s..1.1 /s:0.1 /s"), ["0.8 /s", "0.9 /s", "1 /s", "1.1 /s"]);
        assert_eq!(all("0.5..2 m:0.75"), ["0.5 m", "1.25 m", "2 m"]);
        assert_eq!(Steps::read("0..1 m").unwrap().len(), 65);
        assert_eq!(all("0..0.5:0.3"), ["0", "0.3"]);
    }

    #[test]
    fn what_is_no_range_is_refused() {
        for text in ["", "5", "5..", "5..x", "5..4", "1 m..2 s", "1..5:0", "0..1:1e-9", "1..2000000"] {
            assert!(Steps::read(text).is_err(), "{text}");
        }
    }
}
