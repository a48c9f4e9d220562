//! From numbers to places on a chart, and round numbers for its ticks.

/// A linear scale.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(crate) struct Scale {
    from: f64,
    to: f64,
    at: f64,
    size: f64,
}

impl Scale {
    /// From the numbers `from..to` to the px `at..at + size`. An empty range is widened.
    pub(crate) fn new(from: f64, to: f64, at: f64, size: f64) -> Self {
        let (from, to) = if to > from { (from, to) } else { (from - 0.5, from + 0.5) };
        Scale { from, to, at, size }
    }

    /// Place of a number; what lies beyond the range lies at its edge.
    pub(crate) fn at(&self, value: f64) -> f64 {
        let share = ((value - self.from) / (self.to - self.from)).clamp(0.0, 1.0);
        let place = self.at + share * self.size;
        // A tenth of a px is enough, and keeps files small.
        (place * 10.0).round() / 10.0
    }

    /// About `n` round numbers within the range, with the decimals that they need.
    pub(crate) fn ticks(&self, n: usize) -> Vec<(f64, String)> {
        let step = round_step((self.to - self.from) / n.max(1) as f64);
        let decimals = (-step.log10().floor()).clamp(0.0, 6.0) as usize;
        let first = (self.from / step).ceil() as i64;
        let last = (self.to / step + 1e-9).floor() as i64;
        (first..=last)
            .map(|tick| {
                let value = tick as f64 * step;
                (value, format!("{:.decimals$}", if value == 0.0 { 0.0 } else { value }))
            })
            .collect()
    }
}

/// 1, 2 or 5 times a power of ten, not below `least`.
fn round_step(least: f64) -> f64 {
    let power = 10f64.powi(least.max(1e-9).log10().floor() as i32);
    [1.0, 2.0, 5.0, 10.0].iter().map(|m| m * power).find(|step| *step >= least * 0.999).unwrap_or(power)
}

/// A range a little wider than `low..high`.
pub(crate) fn widened(low: f64, high: f64, share: f64) -> (f64, f64) {
    let more = (high - low).max(1e-9 * high.abs()).max(1e-12) * share;
    (low - more, high + more)
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn ticks_are_round_and_lie_within() {
        let texts = |from, to, n| -> Vec<String> {
            Scale::new(from, to, 0.0, 100.0).ticks(n).into_iter().map(|(_, text)| text).collect()
        };
        assert_eq!(texts(0.0, 10.0, 5), ["0", "2", "4", "6", "8", "10"]);
        assert_eq!(texts(85.2, 86.1, 4), ["85.5", "86.0"]);
        assert_eq!(texts(-1.0, 1.0, 4), ["-1.0", "-0.5", "0.0", "0.5", "1.0"]);
        assert_eq!(Scale::new(5.0, 5.0, 0.0, 100.0).at(5.0), 50.0);
    }
}
