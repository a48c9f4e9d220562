//! The proof as a document: everything that a customer may ask, the verdict first.
//!
//! It only lays out; every number comes from the result, the balance or the profile of the shift. Invariant: each interval
//! says of what it is.

mod comparison;
mod ignorance;
mod line;
mod money;
mod origin;
mod ranking;
mod rate;
mod screening;
mod shift;
mod sizing;
mod stops;
mod sweeping;
mod watch;

pub(crate) use comparison::comparison;
pub(crate) use origin::add_origin;
pub(crate) use ranking::ranking;
pub(crate) use screening::screening;
pub(crate) use sizing::{frontier, sizing};
pub(crate) use sweeping::{Swept, demand_of, sweeping};
pub(crate) use watch::Film;

use crate::document::{Block, Cell, Document, Headline, Tone, number};
use crate::drawing::Picture;
use crate::numbers::{NONE, from_to, mean, percent, plain, scaled, stated, with_error};
use crate::report::{listed, verdict};
use crate::source::Source;
use sim_core::balance::Balance;
use sim_core::diag::Diagnostic;
use sim_core::scenario::Scenario;
use sim_core::statistics::Verdict;
use sim_core::study::result::Figure;
use sim_core::study::{LimitsResult, Profile, RunResult};

/// All that a proof is made of.
#[derive(Debug, Clone, Copy)]
pub(crate) struct Proof<'a> {
    pub(crate) result: &'a RunResult,
    pub(crate) scenario: &'a Scenario,
    pub(crate) balance: &'a Balance,
    /// The course of the shift, if it was taken.
    pub(crate) profile: Option<&'a Profile>,
    /// The beginning of the shift in finer steps, where a warm-up is cut off.
    pub(crate) start: Option<&'a Profile>,
    /// What the rate gains if one number of the file is relaxed, if that was asked for.
    pub(crate) ranked: Option<&'a LimitsResult>,
    /// A shift to watch.
    pub(crate) film: Option<&'a Film>,
    pub(crate) source: &'a Source,
    pub(crate) warnings: &'a [Diagnostic],
    /// The command that makes this result again.
    pub(crate) command: &'a str,
}

/// The document.
pub(crate) fn document(proof: &Proof<'_>) -> Document {
    let result = proof.result;
    let mut document = Document {
        title: result.title.clone().unwrap_or_else(|| "A line without a title".to_owned()),
        kind: "Proof of rate",
        headline: headline(result),
        figures: figures(result),
        sections: Vec::new(),
    };
    document.add("promise", "The promise, and what it rests on", origin::promise(proof));
    document.add("rate", "Rate of a shift", rate::rate(proof));
    document.add("losses", "Where the rate is lost", rate::losses(proof));
    document.add("line", "The line", line::drawing(proof));
    document.add("watch", "A shift to watch", watch::film(proof));
    document.add("stations", "What the stations do", line::stations(proof));
    document.add("limits", "What limits the line", line::limits(proof));
    document.add("levels", "Levels over the shift", shift::levels(proof));
    document.add("course", "The course of the shift", shift::course(proof));
    document.add("passes", "Passes of a part", line::passes(proof));
    document.add("stops", "Jams, stops and attendance", stops::stops(proof));
    document.add("inputs", "Inputs: measured or assumed", origin::inputs(proof));
    document.add("ignorance", "What is not known of the inputs", ignorance::ignorance(proof));
    document.add("money", "Money, apart from the proof", money::money(proof));
    document.add("cautions", "Cautions", origin::cautions(proof));
    document.add("again", "How to make this again", origin::again(proof));
    document.add("scenario", "The scenario in full", vec![Block::Code(proof.source.text.clone())]);
    document
}

fn headline(result: &RunResult) -> Option<Headline> {
    let Some(promise) = &result.promise else {
        return Some(Headline {
            tone: Tone::Open,
            word: "No promise",
            sentence: "The file asks for no rate, so there is no verdict.".to_owned(),
            detail: verdict::ran(result),
        });
    };
    let (tone, word) = match result.verdict().unwrap_or(promise.verdict) {
        Verdict::Proved => (Tone::Good, "Proved"),
        Verdict::Disproved => (Tone::Bad, "Disproved"),
        Verdict::Open => (Tone::Open, "Open"),
    };
    Some(Headline {
        tone,
        word,
        sentence: unquoted(&verdict::worded(result, promise)),
        detail: format!("{} {}", verdict::sureness(result, promise), verdict::ran(result)),
    })
}

/// Names are in quotes of their own on a screen; a page has no need of them.
fn unquoted(text: &str) -> String {
    text.replace('`', "")
}

/// The few numbers that matter most.
fn figures(result: &RunResult) -> Vec<(String, String, String)> {
    let rate = &result.rate;
    let mut figures = vec![(
        format!("Mean rate at {}", unquoted(&listed(&rate.at))),
        format!("{} /min", with_error(&rate.mean_rate)),
        format!("good parts, {} interval for the mean of many shifts", stated(rate.mean_rate.level)),
    )];
    if let Some(one) = rate.one_shift.by_rank.or(rate.one_shift.normal).filter(|one| one.high > one.low) {
        figures.push((
            "One future shift".to_owned(),
            format!("{} /min", from_to(one.low, one.high).trim_start_matches("from ")),
            format!("where {} of single shifts lie", stated(rate.one_shift.level)),
        ));
    }
    if let Some(one) = rate.chance_to_make.first()
        && let Some(share) = one.share
    {
        let half = one.low.zip(one.high).map(|(low, high)| 0.5 * (high - low));
        let interval = one.low.zip(one.high).map_or(String::new(), |(low, high)| {
            format!("; exact interval {} to {}", percent(low, half), percent(high, half))
        });
        let inputs = if result.ignorance.is_some() { ", inputs as known" } else { "" };
        figures.push((
            format!("Chance to make {} /min", plain(one.rate)),
            percent(share, half),
            format!("{} of {} shifts{interval}{inputs}", one.made, one.of),
        ));
    }
    if let Some(ignorance) = &result.ignorance
        && let Some(clause) = ignorance.clauses.iter().min_by(|a, b| a.assurance.total_cmp(&b.assurance))
    {
        let half = Some(0.5 * (clause.high - clause.low));
        figures.push((
            "Assurance".to_owned(),
            percent(clause.assurance, half),
            format!(
                "probability, given the evidence, that the line keeps its promise; simulated to within {} and {}; {} is asked \
                 for",
                percent(clause.low, half),
                percent(clause.high, half),
                stated(ignorance.demanded_assurance)
            ),
        ));
    }
    figures.push((
        "Feed availability".to_owned(),
        result
            .line
            .feed_availability
            .mean
            .map_or(NONE.to_owned(), |share| percent(share, result.line.feed_availability.half_width())),
        "of the time in which a part was wanted, one was there".to_owned(),
    ));
    figures
}

/// A figure times a factor, in a cell.
fn cell(figure: &Figure, factor: f64, most: usize) -> Cell {
    number(figure.mean.map(|mean| mean * factor), scaled(figure, factor, most))
}

/// The half-width of a figure times a factor, in a cell.
fn half(figure: &Figure, factor: f64, decimals: usize) -> Cell {
    let half = figure.half_width().map(|half| half * factor);
    number(half, half.map_or(NONE.to_owned(), |half| format!("{half:.decimals$}")))
}

/// Whether there is anything of a figure.
fn is_there(figure: &Figure) -> bool {
    figure.mean.is_some_and(|mean| mean > 0.0)
}

/// A figure in a sentence.
fn said(figure: &Figure) -> String {
    mean(figure)
}

/// The picture of the line at the flows of the result.
fn picture(proof: &Proof<'_>) -> Picture {
    Picture::of(proof.scenario, proof.balance, Some(proof.result))
}
