//! Quantities for reports: a sensible unit and three significant digits.
//!
//! Not for files that are read again: digits are lost.

use super::Dimension;

/// The units of a report.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Default)]
pub enum System {
    /// Inch, foot, pound, cubic foot.
    #[default]
    Inch,
    /// Millimetre, metre, kilogram, litre.
    Metric,
}

/// A value in SI base units as text. Rates are shown in parts per minute (`/min`), those under one half per minute
/// per hour. Digits: three significant ones, more if they stand before the point; zeros at the end are left out.
pub fn format(value: f64, dimension: Dimension, system: System) -> String {
    let (unit, size) = unit_for(value.abs(), dimension, system);
    format!("{} {unit}", digits(value / size))
}

/// Unit and its size for a magnitude: the largest unit of the ladder whose mark is not above the magnitude.
fn unit_for(size: f64, dimension: Dimension, system: System) -> (&'static str, f64) {
    const FT: f64 = 0.3048;
    const IN: f64 = 0.0254;
    const LB: f64 = 0.453_592_37;
    const FT3: f64 = 0.028_316_846_592;
    const IN3: f64 = 1.638_706_4e-5;
    // Rows: from this magnitude on, this unit of this size; descending.
    let ladder: &[(f64, &str, f64)] = match (dimension, system) {
        (Dimension::Time, System::Inch | System::Metric) => &[
            (7200.0, "h", 3600.0),
            (120.0, "min", 60.0),
            (0.1, "s", 1.0),
            (1e-4, "ms", 1e-3),
            (f64::MIN_POSITIVE, "us", 1e-6),
            (0.0, "s", 1.0),
        ],
        (Dimension::Length, System::Inch) => &[(2.0 * FT, "ft", FT), (0.0, "in", IN)],
        (Dimension::Length, System::Metric) => &[(1.0, "m", 1.0), (0.0, "mm", 1e-3)],
        (Dimension::Speed, System::Inch) => &[(0.0, "ft/min", FT / 60.0)],
        (Dimension::Speed, System::Metric) => &[(1.0, "m/s", 1.0), (0.0, "m/min", 1.0 / 60.0)],
        (Dimension::Mass, System::Inch) => &[(LB / 2.0, "lb", LB), (0.0, "oz", LB / 16.0)],
        (Dimension::Mass, System::Metric) => &[(0.5, "kg", 1.0), (0.0, "g", 1e-3)],
        (Dimension::Volume, System::Inch) => &[(FT3 / 10.0, "ft3", FT3), (0.0, "in3", IN3)],
        (Dimension::Volume, System::Metric) => &[(1.0, "m3", 1.0), (1e-4, "L", 1e-3), (0.0, "cm3", 1e-6)],
        (Dimension::Rate, System::Inch | System::Metric) => &[
            (0.5 / 60.0, "/min", 1.0 / 60.0),
            (f64::MIN_POSITIVE, "/h", 1.0 / 3600.0),
            (0.0, "/min", 1.0 / 60.0),
        ],
        (Dimension::VolumeRate, System::Inch) => &[(0.0, "ft3/h", FT3 / 3600.0)],
        (Dimension::VolumeRate, System::Metric) => &[(0.0, "L/h", 1e-3 / 3600.0)],
        (Dimension::Density, System::Inch) => &[(0.0, "/ft3", 1.0 / FT3)],
        (Dimension::Density, System::Metric) => &[(0.0, "/L", 1e3)],
        (Dimension::Share, System::Inch | System::Metric) => &[(0.0, "%", 0.01)],
    };
    let fits = ladder.iter().find(|(mark, _, _)| size >= *mark);
    fits.or(ladder.last()).map_or(("", 1.0), |&(_, unit, size)| (unit, size))
}

/// A number that was demanded or given: as it was stated, with up to four decimals; if it needs more, because it follows from
/// what was stated in another unit, with six significant digits.
pub fn as_stated(value: f64) -> String {
    let stated = format!("{value:.4}");
    let same = stated.parse().is_ok_and(|rounded: f64| (rounded - value).abs() <= 1e-12 * value.abs());
    if same { without_zeros(&stated) } else { significant(value, 6) }
}

/// Three significant digits.
fn digits(value: f64) -> String {
    significant(value, 3)
}

/// So many significant digits, all digits before the point, no zeros at the end.
fn significant(value: f64, digits: usize) -> String {
    let size = value.abs();
    let mut places = digits - 1;
    let mut mark = 10.0;
    while places > 0 && size >= mark {
        places -= 1;
        mark *= 10.0;
    }
    let mut mark = 1.0;
    while size > 0.0 && size < mark && places < 12 {
        places += 1;
        mark /= 10.0;
    }
    without_zeros(&format!("{value:.places$}"))
}

fn without_zeros(text: &str) -> String {
    let text = if text.contains('.') { text.trim_end_matches('0').trim_end_matches('.') } else { text };
    if text == "-0" { "0".to_owned() } else { text.to_owned() }
}
