//! A sizing as a document: the end of a setting with which the promise is proved.

use super::{cell, half};
use crate::charts::{Bar, Bars, Chart, Kind};
use crate::document::{Block, Document, Grid, Headline, Tone, number, numbers, word, words};
use crate::numbers::stated;
use sim_core::statistics::Verdict;
use sim_core::study::size::{FrontierRow, SizeResult, Wanted};

/// The document.
pub(crate) fn sizing(found: &SizeResult, address: &str) -> Document {
    let end = match found.wanted {
        Wanted::Smallest => "smallest",
        Wanted::Largest => "largest",
    };
    let (tone, word_of, sentence) = match (&found.proved, &found.disproved) {
        (Some(proved), _) => {
            (Tone::Good, "Found", format!("{proved} is the {end} value with which the promise is proved."))
        }
        (None, Some(disproved)) => (
            Tone::Bad,
            "None",
            format!("With no value is the promise proved; with {disproved} it is disproved."),
        ),
        (None, None) => (Tone::Open, "Open", "No value is proved or disproved so far.".to_owned()),
    };
    let mut document = Document {
        title: address.to_owned(),
        kind: "Sizing",
        headline: Some(Headline {
            tone,
            word: word_of,
            sentence,
            detail: format!(
                "Any of the verdicts is wrong with a chance of at most {}. {} values between are neither proved nor \
                 disproved. {} shifts in all; seed {}.",
                stated(found.error),
                found.open,
                found.shifts,
                found.seed
            ),
        }),
        figures: Vec::new(),
        sections: Vec::new(),
    };
    let mut grid = Grid::new(
        "Values that were asked",
        vec![
            words("Value"),
            words("Promise"),
            numbers("Shifts", ""),
            numbers("Rate", "/min"),
            numbers("+-", "/min"),
        ],
    );
    let mut bars = Vec::new();
    for one in &found.asked {
        let verdict = match one.verdict {
            Verdict::Proved => "proved",
            Verdict::Disproved => "disproved",
            Verdict::Open => "open",
        };
        grid.row(vec![
            word(one.value.clone()),
            word(verdict),
            number(Some(one.shifts as f64), one.shifts.to_string()),
            cell(&one.rate, 1.0, 3),
            half(&one.rate, 1.0, 3),
        ]);
        bars.push(Bar {
            name: one.value.clone(),
            value: one.rate.mean.unwrap_or(0.0),
            shown: crate::numbers::mean(&one.rate),
            interval: one.rate.low.zip(one.rate.high),
            marked: Some(verdict.to_owned()),
        });
    }
    let chart = Chart {
        title: format!("Rate by {address}."),
        says: "Mean of many shifts with its own 95 % interval, and the verdict on the promise.".to_owned(),
        kind: Kind::Bars(Bars { bars, mark: None, label: "good parts a minute".to_owned() }),
    };
    document.add("values", "Values that were asked", vec![Block::Chart(chart, grid)]);
    if !found.against_order.is_empty() {
        document.add(
            "order",
            "Against the order that was assumed",
            vec![Block::List(found.against_order.clone())],
        );
    }
    document
}

/// The same for two settings: for each value of the first the end of the second.
pub(crate) fn frontier(rows: &[FrontierRow], names: (&str, &str)) -> Document {
    let mut document = Document {
        title: format!("{} for each {}", names.1, names.0),
        kind: "Sizing of two settings",
        headline: None,
        figures: Vec::new(),
        sections: Vec::new(),
    };
    let mut grid = Grid::new(
        "What is enough",
        vec![words(names.0), words("Proved with"), words("Disproved with"), numbers("Shifts", "")],
    );
    for row in rows {
        let shown = |value: &Option<String>| word(value.clone().unwrap_or_else(|| "no value".to_owned()));
        grid.row(vec![
            word(row.value.clone()),
            shown(&row.found.proved),
            shown(&row.found.disproved),
            number(Some(row.found.shifts as f64), row.found.shifts.to_string()),
        ]);
    }
    document.add("rows", "What is enough", vec![Block::Table(grid)]);
    document
}
