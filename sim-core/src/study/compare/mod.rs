//! Comparing designs: the same shifts, with the same luck, of each of them.
//!
//! Streams of luck belong to a replication, a station's name and a purpose, and are drawn by inversion, so that what designs have in
//! common sees the same luck, and the difference is known from far fewer shifts than either rate. Pairs are looked at on a
//! schedule fixed beforehand. All intervals of all differences at all looks hold together (Bonferroni); those of the rate,
//! by which it is decided, have half of the error, the others the other half. Invariants: a design once given up is run no
//! more; the result depends on designs, seed and options alone.

mod contest;
mod drawn;
mod report;
#[cfg(test)]
mod tests;

pub use report::{Choice, CompareResult, DesignReport, DifferenceReport, EvidenceUse, Gap, MadeReport};

use super::crew::Crew;
use super::kept::Kept;
use super::result::StoppedBecause;
use super::run::{Mode, RunError};
use super::variant::{Variant, settle_warm_up};
use crate::statistics::elimination::FIRST_STAGE;
use crate::statistics::{CannotSay, Spending};
use contest::Contest;
use drawn::Drawing;

/// Shifts at the first look at differences, and of the first stage of a choice by elimination.
const FIRST_LOOK: u64 = FIRST_STAGE;

/// How the error is spent over the looks at differences: nearly evenly, because differences are nearly symmetric where single
/// rates are not, and most comparisons are decided early.
const SPENDING: Spending = Spending::PocockType;

/// Most designs of a comparison.
pub const DESIGNS_MAX: usize = 100;

/// Shifts of each design that has luck of its own: 2 to this power, more than anybody can run.
const LUCK_BITS: u32 = 40;

/// A design to compare.
#[derive(Debug)]
pub struct Design {
    /// What to call it.
    pub name: String,
    /// What was set in it on the way from its file, as `address = value`.
    pub settings: Vec<String>,
    /// The line, with inputs that are known from evidence taken as known.
    pub variant: Variant,
    /// The text it was read from, in which such inputs can be drawn anew.
    pub text: String,
}

/// How to compare.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct CompareOptions {
    /// Most shifts of each design, 10 at least.
    pub replications: u64,
    /// Whether to stop as soon as it is decided. If not, all designs run all shifts, there is one look at the end, and its
    /// intervals are as short as can be.
    pub mode: Mode,
    /// Seed of all luck.
    pub seed: u64,
    /// Joint level of the intervals, and chance of a right choice by elimination.
    pub level: f64,
    /// The smallest lead that matters, parts/min: the best is chosen by elimination (Kim & Nelson 2001). None: it
    /// is looked for until its lead over every other design is sure. Not together with a fixed number of shifts.
    pub indifference: Option<f64>,
    /// Whether inputs that are known from evidence are drawn anew for each shift, alike in all designs, so that differences
    /// hold what is not known of them. If not, they are taken as known.
    pub draws_inputs: bool,
    /// Whether each design has luck of its own. Shifts of the same number are then paired all the same, which is right and
    /// saves nothing. If not, what designs have in common sees the same luck.
    pub own_luck: bool,
    /// Whether differences of rates are corrected for what the luck of both designs should have cost; see
    /// [`super::reduced`]. Not where inputs are drawn anew: there they say little.
    pub controls: bool,
}

impl CompareOptions {
    /// The number of a shift of a design among all luck of the seed.
    fn luck_of(&self, design: usize, number: u64) -> u64 {
        if self.own_luck { ((design as u64) << LUCK_BITS) + number } else { number }
    }
}

/// How far a comparison has come.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct CompareProgress {
    /// Shifts of each design that is still in play.
    pub done: u64,
    /// Most there will be.
    pub most: u64,
    /// Designs still in play.
    pub in_play: usize,
}

/// Compares designs. None if it was cancelled before the first look. Of a shift three values and its controls are kept, by the
/// number of its design.
///
/// # Errors
/// Options that cannot be used, fewer than two designs or too many, and what makes a shift worthless; see [`RunError`].
pub fn compare<C: Crew>(
    designs: Vec<Design>,
    options: &CompareOptions,
    crew: &C,
    cancelled: &(dyn Fn() -> bool + Sync),
    progress: &mut dyn FnMut(CompareProgress),
    kept: &mut dyn Kept,
) -> Result<Option<CompareResult>, RunError> {
    if !(2..=DESIGNS_MAX).contains(&designs.len()) {
        let value = designs.len() as f64;
        return Err(RunError::BadOptions(CannotSay::OutOfRange { what: "number of designs", value }));
    }
    let (mut variants, mut named, mut texts) = (Vec::new(), Vec::new(), Vec::new());
    for Design { name, settings, variant, text } in designs {
        variants.push(variant);
        named.push((name, settings));
        texts.push(text);
    }
    if !settle_warm_up(&mut variants, options.seed, crew, cancelled)? {
        return Ok(None);
    }
    let drawing = options.draws_inputs.then(|| Drawing::new(texts, &variants, options.seed));
    let drawing = drawing.filter(Drawing::is_any);
    if options.controls && drawing.is_none() {
        variants = variants.into_iter().map(Variant::with_controls).collect();
    }
    let mut contest = Contest::new(&variants, drawing, options).map_err(RunError::BadOptions)?;
    let because = contest.run(crew, cancelled, progress, kept)?;
    let is_worthless = because == StoppedBecause::Cancelled && contest.last_look() == 0;
    Ok((!is_worthless).then(|| report::result(&contest, named, because)))
}
