//! Quantities written as text with their unit, inch and metric: `"30 ft/min"`, `"1 h 30 min"`, `"85 ppm"`.
//!
//! Text becomes a number in SI base units of its [`Dimension`] and back; nothing here knows files or ranges.
//! Invariant: [`parse`] returns a finite number, and a value that has an exact decimal in SI units is the
//! nearest `f64` to it (the factors are fractions of whole numbers).
//!
//! `ppm` means parts per minute, as everywhere in this trade, not parts per million.

mod error;
mod show;
mod table;

pub use error::UnitError;
pub use show::{System, as_stated, format};

use table::{Atom, Factor, Kind};

/// What a quantity measures. Values are in the SI base unit named.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord)]
pub enum Dimension {
    /// Seconds.
    Time,
    /// Metres.
    Length,
    /// Metres per second.
    Speed,
    /// Kilograms.
    Mass,
    /// Cubic metres.
    Volume,
    /// Pieces (parts, strokes, cleats) per second.
    Rate,
    /// Cubic metres per second.
    VolumeRate,
    /// Pieces per cubic metre.
    Density,
    /// A part of one; may be written without a unit.
    Share,
}

impl Dimension {
    /// All of them, in order of declaration.
    pub const ALL: [Dimension; 9] = [
        Dimension::Time,
        Dimension::Length,
        Dimension::Speed,
        Dimension::Mass,
        Dimension::Volume,
        Dimension::Rate,
        Dimension::VolumeRate,
        Dimension::Density,
        Dimension::Share,
    ];

    /// With its article: "a time", "a volume per time".
    pub fn name(self) -> &'static str {
        match self {
            Dimension::Time => "a time",
            Dimension::Length => "a length",
            Dimension::Speed => "a speed",
            Dimension::Mass => "a mass",
            Dimension::Volume => "a volume",
            Dimension::Rate => "a rate",
            Dimension::VolumeRate => "a volume per time",
            Dimension::Density => "a number of pieces per volume",
            Dimension::Share => "a share",
        }
    }

    /// A quantity as it may stand in a file: `30 ft/min`.
    pub fn example(self) -> &'static str {
        match self {
            Dimension::Time => "0.8 s",
            Dimension::Length => "1.25 in",
            Dimension::Speed => "30 ft/min",
            Dimension::Mass => "12 lb",
            Dimension::Volume => "2 ft3",
            Dimension::Rate => "70 /min",
            Dimension::VolumeRate => "6 ft3/h",
            Dimension::Density => "12000 /ft3",
            Dimension::Share => "2 %",
        }
    }

    /// Units to choose from, for descriptions: not all of them.
    pub fn units(self) -> &'static str {
        match self {
            Dimension::Time => "s, ms, us, min, h, day; also `1 h 30 min`",
            Dimension::Length => "mm, cm, m, in, ft, yd",
            Dimension::Speed => "mm/s, m/s, m/min, in/s, in/min, ft/s, ft/min",
            Dimension::Mass => "g, kg, oz, lb",
            Dimension::Volume => "mm3, cm3, L, m3, in3, ft3, gal",
            Dimension::Rate => "/s, /min, /h, ppm, parts/min",
            Dimension::VolumeRate => "L/h, m3/h, ft3/h, in3/min",
            Dimension::Density => "/ft3, /in3, /L, /m3, parts/ft3",
            Dimension::Share => "%; also without a unit, or `1 in 5000`",
        }
    }
}

impl Dimension {
    /// The SI base unit, as it is written in a file; empty for a share.
    pub fn base_unit(self) -> &'static str {
        match self {
            Dimension::Time => "s",
            Dimension::Length => "m",
            Dimension::Speed => "m/s",
            Dimension::Mass => "kg",
            Dimension::Volume => "m3",
            Dimension::Rate => "/s",
            Dimension::VolumeRate => "m3/s",
            Dimension::Density => "/m3",
            Dimension::Share => "",
        }
    }
}

/// Largest magnitude in SI base units; anything above is a slip of the keyboard.
const LARGEST: f64 = 1e12;
/// Smallest magnitude in SI base units that is not zero.
const SMALLEST: f64 = 1e-18;

/// The quantity in SI base units of `dimension`: a number and a unit, `"30 ft/min"`. Times, lengths and masses may
/// be sums: `"1 h 30 min"`. Numbers may be fractions: `"3/8 in"`, `"1 1/4 in"`. Shares: `"2 %"`, `"0.02"`,
/// `"1 in 5000"`.
///
/// # Errors
/// Empty text, no number, no unit, a unit that is not known or of another dimension, and magnitudes that no
/// line has (above 1e12 or, not zero, below 1e-18).
pub fn parse(text: &str, dimension: Dimension) -> Result<f64, UnitError> {
    let whole = text.trim();
    if whole.is_empty() {
        return Err(UnitError::empty(dimension));
    }
    if dimension == Dimension::Share
        && let Some(share) = one_in(whole)
    {
        return in_range(share, whole, dimension);
    }
    let (mut rest, mut sum, mut terms) = (whole, 0.0, 0);
    while !rest.is_empty() {
        let (number, after) =
            leading_number(rest, terms == 0).ok_or_else(|| UnitError::number(whole, dimension))?;
        let (unit, after) = leading_unit(after);
        let (kind, factor) = meaning(unit, whole, dimension)?;
        if kind != Kind::Of(dimension) || (terms > 0 && !sums(dimension)) {
            return Err(UnitError::kind(whole, kind, dimension));
        }
        sum += number * factor.multiply / factor.divide;
        rest = after;
        terms += 1;
    }
    in_range(sum, whole, dimension)
}

/// Whether `"1 h 30 min"` makes sense.
fn sums(dimension: Dimension) -> bool {
    match dimension {
        Dimension::Time | Dimension::Length | Dimension::Mass => true,
        Dimension::Speed
        | Dimension::Volume
        | Dimension::Rate
        | Dimension::VolumeRate
        | Dimension::Density
        | Dimension::Share => false,
    }
}

fn in_range(value: f64, whole: &str, dimension: Dimension) -> Result<f64, UnitError> {
    let size = value.abs();
    if !(size == 0.0 || (SMALLEST..=LARGEST).contains(&size)) {
        return Err(UnitError::size(whole, dimension, size < 1.0));
    }
    Ok(value + 0.0)
}

/// `1 in 5000`: a share, and only where a share is expected, since `in` is also the inch.
fn one_in(text: &str) -> Option<f64> {
    let (some, all) = text.split_once(" in ")?;
    let (some, all) = (plain(some.trim())?, plain(all.trim())?);
    (all > 0.0).then_some(some / all)
}

fn plain(text: &str) -> Option<f64> {
    let end = number_end(text);
    (end == text.len()).then(|| text.parse().ok())?
}

/// A number, or a fraction (`3/8`), or a whole number and a fraction (`1 1/4`), and what follows. Only the first
/// number of a text may have a sign.
fn leading_number(text: &str, sign: bool) -> Option<(f64, &str)> {
    if !sign && text.starts_with(['-', '+']) {
        return None;
    }
    let end = number_end(text);
    let number: f64 = text[..end].parse().ok()?;
    let rest = &text[end..];
    if let Some((below, rest)) = rest.strip_prefix('/').and_then(whole_number) {
        return Some((number / below, rest));
    }
    let mixed = || {
        let (above, after) = whole_number(rest.trim_start())?;
        let (below, after) = whole_number(after.strip_prefix('/')?)?;
        Some((above / below, after))
    };
    match mixed() {
        Some((part, after)) if number.is_sign_negative() => Some((number - part, after)),
        Some((part, after)) => Some((number + part, after)),
        None => Some((number, rest)),
    }
}

/// Digits only, not zero, and what follows.
fn whole_number(text: &str) -> Option<(f64, &str)> {
    let end = text.bytes().take_while(u8::is_ascii_digit).count();
    let number: f64 = text[..end].parse().ok()?;
    (number > 0.0).then_some((number, &text[end..]))
}

/// Length of the number at the beginning: sign, digits with a point, exponent if it is complete.
fn number_end(text: &str) -> usize {
    let bytes = text.as_bytes();
    let digits = |from: usize| bytes[from..].iter().take_while(|byte| byte.is_ascii_digit()).count();
    let sign = |from: usize| usize::from(matches!(bytes.get(from), Some(b'-' | b'+')));
    let mut end = sign(0);
    end += digits(end);
    if bytes.get(end) == Some(&b'.') {
        end += 1;
        end += digits(end);
    }
    if matches!(bytes.get(end), Some(b'e' | b'E')) {
        let start = end + 1 + sign(end + 1);
        let length = if start < bytes.len() { digits(start) } else { 0 };
        if length > 0 {
            end = start + length;
        }
    }
    end
}

/// The unit: up to the next number that stands apart (`1 h 30 min`), without space around it.
fn leading_unit(text: &str) -> (&str, &str) {
    let mut after_space = false;
    for (at, letter) in text.char_indices() {
        if after_space && (letter.is_ascii_digit() || matches!(letter, '.' | '-' | '+')) {
            return (text[..at].trim(), &text[at..]);
        }
        after_space = letter.is_whitespace();
    }
    (text.trim(), "")
}

/// What a unit measures, and its size.
fn meaning(unit: &str, whole: &str, dimension: Dimension) -> Result<(Kind, Factor), UnitError> {
    if unit.is_empty() {
        return match dimension {
            Dimension::Share => Ok((Kind::Of(Dimension::Share), Factor::ONE)),
            Dimension::Time
            | Dimension::Length
            | Dimension::Speed
            | Dimension::Mass
            | Dimension::Volume
            | Dimension::Rate
            | Dimension::VolumeRate
            | Dimension::Density => Err(UnitError::bare(whole, dimension)),
        };
    }
    let unit = plain_unit(unit);
    let atom = |word: &str| {
        table::atom(word.trim()).ok_or_else(|| UnitError::unknown(word.trim(), whole, dimension))
    };
    match unit.split_once('/') {
        None => atom(&unit).map(|(atom, factor)| (table::alone(atom), factor)),
        Some((above, below)) => {
            let (above, upper) =
                if above.trim().is_empty() { (Atom::Pieces, Factor::ONE) } else { atom(above)? };
            let (below, lower) = atom(below)?;
            Ok((table::quotient(above, below), upper.over(lower)))
        }
    }
}

/// `ft³ per min`, `ft^3/min` and `ft3/min` are one.
fn plain_unit(unit: &str) -> String {
    unit.replace(" per ", "/").replace('³', "3").replace("^3", "3")
}

#[cfg(test)]
mod tests;
