//! The known units, their sizes, and what they make when one is divided by another.
//!
//! Sizes are exact fractions. Sources: inch, foot, yard and pound by the international yard and pound agreement
//! of 1959 (1 in = 25.4 mm, 1 lb = 0.45359237 kg); the US gallon is 231 cubic inches.

use super::Dimension;

/// A size as `multiply / divide`, both whole numbers, so that one rounding happens in each.
#[derive(Debug, Clone, Copy)]
pub(super) struct Factor {
    pub(super) multiply: f64,
    pub(super) divide: f64,
}

impl Factor {
    pub(super) const ONE: Factor = Factor { multiply: 1.0, divide: 1.0 };

    pub(super) fn over(self, below: Factor) -> Factor {
        Factor { multiply: self.multiply * below.divide, divide: self.divide * below.multiply }
    }
}

/// What a unit without a stroke measures.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(super) enum Atom {
    Time,
    Length,
    Mass,
    Volume,
    Pieces,
    Share,
    Rate,
    Speed,
}

/// What a unit measures.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(super) enum Kind {
    Of(Dimension),
    Pieces,
    MassPerTime,
    MassPerVolume,
    Other,
}

struct Row {
    words: &'static [&'static str],
    atom: Atom,
    multiply: f64,
    divide: f64,
}

const fn row(words: &'static [&'static str], atom: Atom, multiply: f64, divide: f64) -> Row {
    Row { words, atom, multiply, divide }
}

const ROWS: [Row; 30] = [
    row(&["s", "sec", "secs", "second", "seconds"], Atom::Time, 1.0, 1.0),
    row(&["ms", "millisecond", "milliseconds"], Atom::Time, 1.0, 1e3),
    row(&["us", "µs", "μs", "microsecond", "microseconds"], Atom::Time, 1.0, 1e6),
    row(&["min", "mins", "minute", "minutes"], Atom::Time, 60.0, 1.0),
    row(&["h", "hr", "hrs", "hour", "hours"], Atom::Time, 3600.0, 1.0),
    row(&["day", "d", "days"], Atom::Time, 86_400.0, 1.0),
    row(&["mm", "millimetre", "millimetres"], Atom::Length, 1.0, 1e3),
    row(&["cm", "centimetre", "centimetres"], Atom::Length, 1.0, 1e2),
    row(&["m", "metre", "metres", "meter", "meters"], Atom::Length, 1.0, 1.0),
    row(&["in", "inch", "inches", "\"", "″"], Atom::Length, 254.0, 1e4),
    row(&["ft", "foot", "feet", "'", "′"], Atom::Length, 3048.0, 1e4),
    row(&["yd", "yard", "yards"], Atom::Length, 9144.0, 1e4),
    row(&["g", "gram", "grams"], Atom::Mass, 1.0, 1e3),
    row(&["mg", "milligram", "milligrams"], Atom::Mass, 1.0, 1e6),
    row(&["kg", "kilogram", "kilograms"], Atom::Mass, 1.0, 1.0),
    row(&["lb", "lbs", "pound", "pounds"], Atom::Mass, 45_359_237.0, 1e8),
    row(&["oz", "ounce", "ounces"], Atom::Mass, 45_359_237.0, 16e8),
    row(&["mm3"], Atom::Volume, 1.0, 1e9),
    row(&["cm3", "ml", "mL", "cc"], Atom::Volume, 1.0, 1e6),
    row(&["L", "l", "dm3", "litre", "litres", "liter", "liters"], Atom::Volume, 1.0, 1e3),
    row(&["m3"], Atom::Volume, 1.0, 1.0),
    row(&["in3", "cu in"], Atom::Volume, 16_387_064.0, 1e12),
    row(&["ft3", "cu ft"], Atom::Volume, 28_316_846_592.0, 1e12),
    row(&["gal", "gallon", "gallons"], Atom::Volume, 3_785_411_784.0, 1e12),
    row(&PIECES, Atom::Pieces, 1.0, 1.0),
    row(&["%", "percent", "per cent"], Atom::Share, 1.0, 100.0),
    row(&["‰"], Atom::Share, 1.0, 1000.0),
    row(&["ppm"], Atom::Rate, 1.0, 60.0),
    row(&["Hz"], Atom::Rate, 1.0, 1.0),
    row(&["fpm"], Atom::Speed, 3048.0, 60e4),
];

/// What is counted, as the trade says it.
const PIECES: [&str; 24] = [
    "parts",
    "part",
    "pieces",
    "piece",
    "pcs",
    "pc",
    "cleats",
    "cleat",
    "strokes",
    "stroke",
    "cycles",
    "cycle",
    "indexes",
    "index",
    "batches",
    "batch",
    "containers",
    "container",
    "jams",
    "jam",
    "starts",
    "start",
    "times",
    "turns",
];

/// What a word measures and its size.
pub(super) fn atom(word: &str) -> Option<(Atom, Factor)> {
    let row = ROWS.iter().find(|row| row.words.contains(&word))?;
    Some((row.atom, Factor { multiply: row.multiply, divide: row.divide }))
}

/// All known words, for suggestions.
pub(super) fn words() -> impl Iterator<Item = &'static str> {
    ROWS.iter().flat_map(|row| row.words.iter().copied())
}

/// What a unit without a stroke measures.
pub(super) fn alone(atom: Atom) -> Kind {
    match atom {
        Atom::Time => Kind::Of(Dimension::Time),
        Atom::Length => Kind::Of(Dimension::Length),
        Atom::Mass => Kind::Of(Dimension::Mass),
        Atom::Volume => Kind::Of(Dimension::Volume),
        Atom::Share => Kind::Of(Dimension::Share),
        Atom::Rate => Kind::Of(Dimension::Rate),
        Atom::Speed => Kind::Of(Dimension::Speed),
        Atom::Pieces => Kind::Pieces,
    }
}

/// What a unit divided by another measures.
pub(super) fn quotient(above: Atom, below: Atom) -> Kind {
    match (above, below) {
        (Atom::Length, Atom::Time) => Kind::Of(Dimension::Speed),
        (Atom::Volume, Atom::Time) => Kind::Of(Dimension::VolumeRate),
        (Atom::Pieces, Atom::Time) => Kind::Of(Dimension::Rate),
        (Atom::Pieces, Atom::Volume) => Kind::Of(Dimension::Density),
        (Atom::Mass, Atom::Time) => Kind::MassPerTime,
        (Atom::Mass, Atom::Volume) => Kind::MassPerVolume,
        (
            Atom::Time
            | Atom::Length
            | Atom::Mass
            | Atom::Volume
            | Atom::Pieces
            | Atom::Share
            | Atom::Rate
            | Atom::Speed,
            _,
        ) => Kind::Other,
    }
}
