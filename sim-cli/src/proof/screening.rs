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
    let mut grid = Grid::new("What each number does", titles);
    let mut bars = Vec::new();
    for (name, figures, is_clear) in rows {
        let cells = figures.iter().map(|figure| {
            number(figure.mean, figure.mean.map_or(NONE.to_owned(), |mean| format!("{mean:.4}")))
        });
        grid.row(std::iter::once(word(name.clone())).chain(cells).collect());
        let Some(first) = figures.last().filter(|_| bars.len() < SHOWN) else { continue };
        bars.push(Bar {
            name,
            value: first.mean.unwrap_or(0.0),
            shown: first.mean.map_or(NONE.to_owned(), |mean| format!("{mean:.3}")),
            interval: first.low.zip(first.high),
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

type Row = (String, Vec<Figure>, bool);

/// What is said, the titles of the numbers, and the rows; the last number is what is drawn.
fn rows(found: &ScreenResult) -> (&'static str, Vec<&'static str>, Vec<Row>) {
    match &found.findings {
        Findings::Tornado { factors, .. } => (
            "Each number alone, from its low end to its high end: what the output gains.",
            vec!["At the low end", "At the high end", "Change from low to high"],
            factors
                .iter()
                .map(|one| {
                    let name = format!("{} ({} to {})", one.factor, one.low.value, one.high.value);
                    (name, vec![one.low.change, one.high.change, one.whole], one.is_clear)
                })
                .collect(),
        ),
        Findings::Effects { factors, .. } => (
            "Elementary effects from many places in the ranges: their mean size.",
            vec!["Mean effect", "Spread of the effects", "Mean size of the effects"],
            factors
                .iter()
                .map(|one| {
                    let name = format!("{} ({} to {})", one.factor, one.low, one.high);
                    (name, vec![one.mean, one.spread, one.size], one.is_clear)
                })
                .collect(),
        ),
        Findings::Shares { factors, .. } => (
            "Shares of the variance over all ranges: what would stay if all others were known.",
            vec!["First-order share", "Together with others", "Total share"],
            factors
                .iter()
                .map(|one| {
                    let name = format!("{} ({} to {})", one.factor, one.low, one.high);
                    (name, vec![one.first_order, one.interactions, one.total], one.is_clear)
                })
                .collect(),
        ),
    }
}
