//! The result of a comparison as a document.
//!
//! Only plain data, each number with its unit in its name or beside it. Invariant: what does not exist is `null`.

use super::contest::{Contest, Pair, Seen};
use crate::statistics::{Estimate, Moments, PairedChance, proportion};
use crate::study::result::{Figure, RESULT_FORMAT, StoppedBecause};
use crate::study::shift::seconds;
use schemars::JsonSchema;
use serde::Serialize;

/// A difference, second design less first, with an interval that holds together with all others of the comparison.
#[derive(Debug, Clone, Copy, PartialEq, Serialize, JsonSchema)]
pub struct Gap {
    /// Difference.
    pub difference: f64,
    /// Its standard error.
    pub standard_error: f64,
    /// Lower limit of the simultaneous interval.
    pub low: f64,
    /// Upper limit of it.
    pub high: f64,
}

impl Gap {
    pub(super) fn of_estimate(found: &Estimate) -> Self {
        let Estimate { mean, standard_error, low, high, .. } = *found;
        Gap { difference: mean, standard_error, low, high }
    }

    pub(super) fn of_mean(gaps: &Moments, level: f64) -> Option<Self> {
        Estimate::of_mean(gaps, level).ok().map(|found| Gap::of_estimate(&found))
    }

    pub(super) fn of_chance(found: PairedChance) -> Self {
        let PairedChance { difference, standard_error, low, high, .. } = found;
        Gap { difference, standard_error, low, high }
    }

    /// Whether the sign is sure.
    pub fn is_sure(&self) -> bool {
        self.low > 0.0 || self.high < 0.0
    }
}

/// Shifts that reached the rate, as a chance.
#[derive(Debug, Clone, Copy, PartialEq, Serialize, JsonSchema)]
pub struct MadeReport {
    /// Shifts that reached it.
    pub made: u64,
    /// Of so many.
    pub shifts: u64,
    /// Their share.
    pub share: f64,
    /// Lower limit of the exact interval for the chance (Clopper & Pearson 1934), for this design alone.
    pub low: f64,
    /// Upper limit of it.
    pub high: f64,
}

/// A design by itself. Its intervals are for itself alone.
#[derive(Debug, Clone, PartialEq, Serialize, JsonSchema)]
pub struct DesignReport {
    /// What it is called.
    pub name: String,
    /// Title in its file.
    pub title: Option<String>,
    /// What was set in it, as `address = value`.
    pub settings: Vec<String>,
    /// Shifts that were run of it.
    pub shifts: u64,
    /// After so many shifts it was no longer in question as the best; none: it was until the end.
    pub given_up_at: Option<u64>,
    /// Good parts per minute, mean over shifts.
    pub rate: Figure,
    /// Chance to make the rate; none if nobody promises one.
    pub chance: Option<MadeReport>,
    /// Share of the time in which the point of use is ready for a part and there is one.
    pub feed_availability: Figure,
    /// Attendants at work on average, people.
    pub attendance: Figure,
}

/// Two designs, the second less the first, over the shifts that both ran up to the last look at them.
#[derive(Debug, Clone, PartialEq, Serialize, JsonSchema)]
pub struct DifferenceReport {
    /// Name of the first.
    pub first: String,
    /// Name of the second.
    pub second: String,
    /// Pairs of shifts.
    pub shifts: u64,
    /// Good parts per minute.
    pub rate: Gap,
    /// Chance to make the rate.
    pub chance: Option<Gap>,
    /// Feed availability.
    pub feed_availability: Option<Gap>,
    /// Attendants at work on average, people.
    pub attendance: Option<Gap>,
    /// Controls that the difference of rates is corrected by, those that spread most; none if there were to be none.
    pub controls: Vec<String>,
    /// Variance of the difference of rates over what it would be with luck of its own for each design and without controls;
    /// below 1 is saved.
    pub variance_ratio: Option<f64>,
    /// So many shifts of each, with luck of their own and without controls, would tell as much.
    pub unpaired_shifts: Option<f64>,
}

/// Which design is the best in rate, and how that is known.
#[derive(Debug, Clone, PartialEq, Serialize, JsonSchema)]
#[serde(tag = "kind", rename_all = "snake_case")]
pub enum Choice {
    /// Its lead over every other one is sure: all intervals that say so hold together with the level.
    Sure {
        /// The best.
        best: String,
    },
    /// Chosen by elimination (Kim & Nelson 2001).
    Chosen {
        /// The choice.
        best: String,
        /// The smallest lead that matters, parts/min. If the best design leads by this much, it is the choice with a chance
        /// of `level` at least.
        indifference: f64,
        /// That chance.
        level: f64,
    },
    /// Nothing is random; the best is what the numbers say. None: several are equally good.
    WithoutLuck {
        /// The best.
        best: Option<String>,
    },
    /// Not decided: these may all be the best.
    Open {
        /// Designs still in play.
        in_play: Vec<String>,
    },
}

/// What was done about inputs that are known from evidence.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, JsonSchema)]
#[serde(rename_all = "snake_case")]
pub enum EvidenceUse {
    /// There are none.
    None,
    /// They were taken as known.
    AsKnown,
    /// They were drawn anew for each shift, alike in all designs.
    DrawnAnew,
}

/// The result of a comparison.
#[derive(Debug, Clone, PartialEq, Serialize, JsonSchema)]
pub struct CompareResult {
    /// Number of the format.
    pub result_format: u32,
    /// Version of the program.
    pub program_version: String,
    /// Seed of all luck.
    pub seed: u64,
    /// Whether each design had luck of its own; if not, what they have in common saw the same luck.
    pub own_luck: bool,
    /// Whether differences of rates are corrected for what the luck of the designs should have cost.
    pub controls: bool,
    /// Most shifts of each design that were to be run.
    pub budget: u64,
    /// Why it ended.
    pub stopped_because: StoppedBecause,
    /// Joint level of the intervals of all differences; level of each other interval.
    pub level: f64,
    /// Rate that a shift has to reach to count in the chances, parts/min: that of the first promise of a rate.
    pub required: Option<f64>,
    /// Whether inputs are known from evidence, and what was done about it.
    pub evidence: EvidenceUse,
    /// Which is the best.
    pub choice: Choice,
    /// The designs, in the order in which they were given.
    pub designs: Vec<DesignReport>,
    /// All pairs.
    pub differences: Vec<DifferenceReport>,
    /// What has to be known to read the numbers rightly.
    pub notes: Vec<String>,
}

impl CompareResult {
    /// The JSON Schema of this document.
    pub fn schema() -> serde_json::Value {
        schemars::schema_for!(CompareResult).to_value()
    }
}

pub(super) fn result(
    contest: &Contest<'_>,
    named: Vec<(String, Vec<String>)>,
    because: StoppedBecause,
) -> CompareResult {
    let names: Vec<String> = named.iter().map(|(name, _)| name.clone()).collect();
    let design = |(n, (name, settings)): (usize, (String, Vec<String>))| design(contest, n, name, settings);
    let difference = |pair: &Pair| DifferenceReport {
        first: names[pair.first].clone(),
        second: names[pair.second].clone(),
        shifts: pair.n,
        rate: pair.rate,
        controls: pair.controls.clone(),
        chance: pair.chance,
        feed_availability: pair.feed_availability,
        attendance: pair.attendance,
        variance_ratio: pair.variance_ratio,
        unpaired_shifts: pair.unpaired,
    };
    let mut differences: Vec<(usize, usize, DifferenceReport)> =
        contest.pairs.iter().map(|pair| (pair.first, pair.second, difference(pair))).collect();
    differences.sort_by_key(|(first, second, _)| (*first, *second));
    CompareResult {
        result_format: RESULT_FORMAT,
        program_version: env!("CARGO_PKG_VERSION").to_owned(),
        seed: contest.options.seed,
        own_luck: contest.options.own_luck,
        controls: contest.options.controls && contest.drawing.is_none(),
        budget: contest.options.replications,
        stopped_because: because,
        level: contest.options.level,
        required: contest.required,
        evidence: match (&contest.drawing, contest.has_evidence()) {
            (Some(_), _) => EvidenceUse::DrawnAnew,
            (None, true) => EvidenceUse::AsKnown,
            (None, false) => EvidenceUse::None,
        },
        choice: choice(contest, &names, because),
        differences: differences.into_iter().map(|(_, _, report)| report).collect(),
        notes: notes(contest, &names),
        designs: named.into_iter().enumerate().map(design).collect(),
    }
}

fn choice(contest: &Contest<'_>, names: &[String], because: StoppedBecause) -> Choice {
    let best = contest.best.map(|best| names[best].clone());
    let level = contest.options.level;
    match (because, best, contest.options.indifference.filter(|_| contest.choice.is_some())) {
        (StoppedBecause::NoLuck, best, _) => Choice::WithoutLuck { best },
        (_, Some(best), Some(indifference)) => Choice::Chosen { best, indifference, level },
        (_, Some(best), None) => Choice::Sure { best },
        (_, None, _) => {
            let in_play = names.iter().zip(&contest.given_up_at).filter(|(_, given_up)| given_up.is_none());
            Choice::Open { in_play: in_play.map(|(name, _)| name.clone()).collect() }
        }
    }
}

fn design(contest: &Contest<'_>, n: usize, name: String, settings: Vec<String>) -> DesignReport {
    let (seen, level) = (&contest.seen[n], contest.options.level);
    let figure = |of: fn(&Seen) -> f64| {
        let moments: Moments = seen.iter().map(of).filter(|value| value.is_finite()).collect();
        Figure::of(&moments, level)
    };
    let chance = contest.required.and_then(|required| {
        let made =
            seen.iter().filter(|seen| crate::study::proof::reaches(seen.rate, required)).count() as u64;
        let found = proportion::clopper_pearson(made, seen.len() as u64, level).ok()?;
        Some(MadeReport { made, shifts: found.n, share: found.share, low: found.low, high: found.high })
    });
    DesignReport {
        name,
        title: contest.variants[n].scenario.title.clone(),
        settings,
        shifts: seen.len() as u64,
        given_up_at: contest.given_up_at[n],
        rate: figure(|seen| seen.rate),
        chance,
        feed_availability: figure(|seen| seen.feed_availability),
        attendance: figure(|seen| seen.attendance),
    }
}

fn notes(contest: &Contest<'_>, names: &[String]) -> Vec<String> {
    let mut notes = Vec::new();
    if contest.drawing.is_some() {
        notes.push(
            "Inputs that are known from evidence are drawn anew for each shift, alike in all designs: intervals and chances \
             hold what is not known of them."
                .to_owned(),
        );
    } else if contest.has_evidence() {
        notes.push(
            "Inputs that are known from evidence are taken as known: the same in all designs and all shifts. \
             `--draw-inputs` includes what is not known of them."
                .to_owned(),
        );
    }
    let windows: Vec<_> = contest.variants.iter().map(|variant| variant.window()).collect();
    for (name, window) in names.iter().zip(&windows).filter(|(_, window)| **window != windows[0]) {
        let minutes = |time| seconds(time) / 60.0;
        notes.push(format!(
            "{name} is measured from minute {} to minute {}, {} from minute {} to minute {}: they are not the same time",
            minutes(window.0),
            minutes(window.1),
            names[0],
            minutes(windows[0].0),
            minutes(windows[0].1)
        ));
    }
    notes
}
