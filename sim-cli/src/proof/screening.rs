//! A screening as a document: which numbers matter.

use crate::charts::{Bar, Bars, Chart, Kind};
use crate::document::{Block, Document, Grid, number, numbers, word, words};
use crate::numbers::{NONE, stated};
use sim_core::screening::{Findings, ScreenResult};
use sim_core::study::result::Figure;

/// Factors shown in a chart.
const SHOWN: usize = 24;

/// The document.
pub(crate) fn screening(found: &ScreenResult) -> Document {
    let mut document = Document {
        title: found.title.clone().unwrap_or_else(|| "A line without a title".to_owned()),
        kind: "Which numbers matter",
        headline: None,
        figures: vec![(
            "Looked at".to_owned(),
            found.output.clone(),
            format!("{} points of {} shifts; seed {}", found.points, found.replications, found.seed),
        )],
        sections: Vec::new(),
    };
    let (says, columns, rows) = rows(found);
    let mut titles = vec![words("Number of the file")];
    titles.extend(columns.iter().map(|title| numbers(title, "")));
    let last = columns.last().copied().unwrap_or_default();
    let mut grid = Grid::new("What each number does", titles).drawing(last);
    let mut bars = Vec::new();
    for Row { name, figures, is_clear, drawn: (value, other), shown } in rows {
        let cells = figures.iter().map(|figure| {
            number(figure.mean, figure.mean.map_or(NONE.to_owned(), |mean| format!("{mean:.4}")))
        });
        grid.row(std::iter::once(word(name.clone())).chain(cells).collect());
        if bars.len() >= SHOWN {
            continue;
        }
        bars.push(Bar {
            name,
            value: value.mean.unwrap_or(0.0),
            shown: shown.mean.map_or(NONE.to_owned(), |mean| format!("{mean:.3}")),
            interval: value.low.zip(value.high),
            other: other.and_then(|other| Some((other.mean?, other.low.zip(other.high)))),
            marked: is_clear.then(|| "told from none".to_owned()),
        });
    }
    let label = format!("{} {}", columns.last().copied().unwrap_or_default(), found.unit);
    let chart = Chart {
        title: "What each number does, the most important first.".to_owned(),
        says: format!("{says} Whiskers hold together at {}.", stated(found.level)),
        kind: Kind::Bars(Bars { bars, mark: None, label }),
    };
    document.add("factors", "What each number does", vec![Block::Chart(chart, grid)]);
    document
}

/// A factor.
struct Row {
    name: String,
    figures: Vec<Figure>,
    is_clear: bool,
    /// The amount that is drawn, and a second one drawn open.
    drawn: (Figure, Option<Figure>),
    /// The number beside it.
    shown: Figure,
}

/// What is said, the titles of the numbers, and the rows.
fn rows(found: &ScreenResult) -> (&'static str, Vec<&'static str>, Vec<Row>) {
    match &found.findings {
        Findings::Tornado { factors, .. } => (
            "Each number alone, against the line as it is: filled with the number at its high end, open at its low end; the \
             number at the right is the change from low to high.",
            vec!["At the low end", "At the high end", "Change from low to high"],
            factors
                .iter()
                .map(|one| {
                    let name = named(&one.factor, &one.low.value, &one.high.value);
                    Row {
                        name,
                        figures: vec![one.low.change, one.high.change, one.whole],
                        is_clear: one.is_clear,
                        drawn: (one.high.change, Some(one.low.change)),
                        shown: one.whole,
                    }
                })
                .collect(),
        ),
        Findings::Effects { factors, .. } => (
            "Elementary effects from many places in the ranges: their mean size.",
            vec!["Mean effect", "Spread of the effects", "Mean size of the effects"],
            factors
                .iter()
                .map(|one| {
                    let name = named(&one.factor, &one.low, &one.high);
                    Row {
                        name,
                        figures: vec![one.mean, one.spread, one.size],
                        is_clear: one.is_clear,
                        drawn: (one.size, None),
                        shown: one.size,
                    }
                })
                .collect(),
        ),
        Findings::Shares { factors, .. } => (
            "Shares of the variance over all ranges. Open: all that a number has a part in, alone or with others; that is \
             what would stay if all others were known. Filled: what it does alone.",
            vec!["First-order share", "Together with others", "Total share"],
            factors
                .iter()
                .map(|one| {
                    let name = named(&one.factor, &one.low, &one.high);
                    Row {
                        name,
                        figures: vec![one.first_order, one.interactions, one.total],
                        is_clear: one.is_clear,
                        drawn: (one.first_order, Some(one.total)),
                        shown: one.total,
                    }
                })
                .collect(),
        ),
    }
}

/// A factor with its range, if that is short enough to be read in passing.
fn named(factor: &str, low: &str, high: &str) -> String {
    const SHORT: usize = 16;
    if low.len().max(high.len()) > SHORT { factor.to_owned() } else { format!("{factor} ({low} to {high})") }
}
