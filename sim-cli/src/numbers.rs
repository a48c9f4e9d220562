//! Numbers for people: as many digits as the error of the number deserves.
//!
//! A number whose interval has a half-width of 0.05 is shown with two decimals and no more. Nothing here is read by a
//! program again; for that there is `--json`. Invariant: a number that does not exist is a dash, never a zero.

use sim_core::study::result::Figure;
pub(crate) use sim_core::units::as_stated as plain;
use sim_core::units::{self, Dimension, System};

/// What stands for a number that does not exist.
pub(crate) const NONE: &str = "-";

/// Decimals that an error of this size leaves: the first digit of the error is the last one shown, or the second one
/// where the first is a 1 or a 2.
fn decimals(half_width: f64) -> usize {
    let mut places = 0;
    let mut scaled = half_width.abs();
    while places < 6 && scaled < 2.95 {
        scaled *= 10.0;
        places += 1;
    }
    places
}

/// Decimals that show four digits of a number that is known exactly.
fn decimals_exact(value: f64) -> usize {
    let mut places = 3;
    let mut size = value.abs();
    while places > 0 && size >= 10.0 {
        size /= 10.0;
        places -= 1;
    }
    places
}

fn trimmed(text: String) -> String {
    let text =
        if text.contains('.') { text.trim_end_matches('0').trim_end_matches('.').to_owned() } else { text };
    if text == "-0" { "0".to_owned() } else { text }
}

/// A number with the digits that an error of `half_width` leaves; four digits if it has none.
pub(crate) fn number(value: f64, half_width: Option<f64>) -> String {
    match half_width {
        Some(half) if half > 0.0 => unsigned(format!("{value:.*}", decimals(half))),
        Some(_) | None => trimmed(format!("{value:.*}", decimals_exact(value))),
    }
}

/// Nothing has no sign.
pub(crate) fn unsigned(text: String) -> String {
    match text.strip_prefix('-') {
        Some(rest) if rest.bytes().all(|byte| matches!(byte, b'0' | b'.')) => rest.to_owned(),
        Some(_) | None => text,
    }
}

/// The mean of a figure.
pub(crate) fn mean(figure: &Figure) -> String {
    figure.mean.map_or(NONE.to_owned(), |mean| number(mean, figure.half_width()))
}

/// The mean of a figure times `factor`, with at most `most` decimals: for columns.
pub(crate) fn scaled(figure: &Figure, factor: f64, most: usize) -> String {
    let Some(mean) = figure.mean else { return NONE.to_owned() };
    let places = match figure.half_width() {
        Some(half) if half > 0.0 => decimals(half * factor).min(most),
        Some(_) | None => decimals_exact(mean * factor).min(most),
    };
    if mean == 0.0 { "0".to_owned() } else { unsigned(format!("{:.places$}", mean * factor)) }
}

/// Mean and half-width: `86.41 +/- 0.05`.
pub(crate) fn with_error(figure: &Figure) -> String {
    match (figure.mean, figure.half_width()) {
        (Some(value), Some(half)) if half > 0.0 => {
            format!("{} +/- {}", number(value, Some(half)), number(half, Some(half)))
        }
        (Some(_), Some(_) | None) => mean(figure),
        (None, _) => NONE.to_owned(),
    }
}

/// `from 86.36 to 86.46`, with the digits that the width leaves.
pub(crate) fn from_to(low: f64, high: f64) -> String {
    let half = Some(0.5 * (high - low));
    format!("from {} to {}", number(low, half), number(high, half))
}

/// A share in percent, with the digits that an error of `half_width` (a share too) leaves.
pub(crate) fn percent(share: f64, half_width: Option<f64>) -> String {
    match half_width {
        Some(half) if half > 0.0 => format!("{:.*} %", decimals(100.0 * half).min(3), 100.0 * share),
        Some(_) | None => format!("{} %", trimmed(format!("{:.3}", 100.0 * share))),
    }
}

/// A demanded share in percent, as it was stated.
pub(crate) fn stated(share: f64) -> String {
    format!("{} %", trimmed(format!("{:.6}", 100.0 * share)))
}

/// Shares that add up to 1 in percent with one decimal, which add up to 100.0 as well (largest remainders; Hamilton).
pub(crate) fn hundred(shares: &[f64]) -> Vec<String> {
    let scaled: Vec<f64> = shares.iter().map(|share| 1000.0 * share).collect();
    let mut tenths: Vec<i64> = scaled.iter().map(|value| value.floor() as i64).collect();
    let whole = scaled.iter().sum::<f64>().round() as i64;
    let mut order: Vec<usize> = (0..shares.len()).collect();
    order.sort_by(|&a, &b| (scaled[b] - scaled[b].floor()).total_cmp(&(scaled[a] - scaled[a].floor())));
    let missing = (whole - tenths.iter().sum::<i64>()).max(0) as usize;
    order.into_iter().take(missing).for_each(|n| tenths[n] += 1);
    let text = |(tenth, share): (i64, &f64)| {
        if *share == 0.0 { NONE.to_owned() } else { format!("{}.{}", tenth / 10, tenth % 10) }
    };
    tenths.into_iter().zip(shares).map(text).collect()
}

/// A time.
pub(crate) fn time(seconds: f64) -> String {
    units::format(seconds, Dimension::Time, System::Metric)
}

/// A whole number with commas between thousands.
pub(crate) fn grouped(n: u64) -> String {
    let digits = n.to_string();
    let mut text = String::new();
    for (ix, digit) in digits.chars().enumerate() {
        if ix > 0 && (digits.len() - ix).is_multiple_of(3) {
            text.push(',');
        }
        text.push(digit);
    }
    text
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn the_error_decides_the_digits() {
        for (value, half, text) in [
            (86.412_34, 0.051, "86.41"),
            (86.412_34, 0.012, "86.412"),
            (86.412_34, 0.31, "86.4"),
            (86.412_34, 4.0, "86"),
            (86.412_34, 1.5, "86.4"),
            (1234.567, 40.0, "1235"),
        ] {
            assert_eq!(number(value, Some(half)), text, "{value} with {half}");
        }
        assert_eq!(number(85.714_285, None), "85.71");
        assert_eq!(number(60.0, Some(0.0)), "60");
        assert_eq!(number(12345.6, None), "12346");
        assert_eq!(number(-0.000_01, None), "0");
        assert_eq!(
            (number(-0.001, Some(0.4)), number(-0.3, Some(0.4))),
            ("0.0".to_owned(), "-0.3".to_owned())
        );
    }

    #[test]
    fn shares_add_up_to_a_hundred() {
        let shares = [1.0 / 3.0, 1.0 / 3.0, 1.0 / 3.0, 0.0];
        assert_eq!(hundred(&shares), ["33.4", "33.3", "33.3", "-"]);
        assert_eq!(hundred(&[0.0, 1.0]), ["-", "100.0"]);
        assert_eq!(hundred(&[0.999_99, 0.000_01]), ["100.0", "0.0"]);
    }

    #[test]
    fn percent_and_groups() {
        assert_eq!(percent(0.98765, Some(0.004)), "98.8 %");
        assert_eq!(percent(1.0, Some(0.0)), "100 %");
        assert_eq!(stated(0.95), "95 %");
        assert_eq!([grouped(0), grouped(999), grouped(1_234_567)], ["0", "999", "1,234,567"]);
    }
}
