//! The limits of a line as a document: what the rate gains if one number at a time is relaxed.

use super::{cell, half};
use crate::charts::{Bar, Bars, Chart, Kind};
use crate::document::{Block, Document, Grid, numbers, word, words};
use crate::numbers::{grouped, stated, with_error};
use sim_core::study::LimitsResult;
use sim_core::vary::short;

/// Numbers shown in the chart.
const SHOWN: usize = 20;

/// The document.
pub(crate) fn ranking(found: &LimitsResult) -> Document {
    let mut document = Document {
        title: found.title.clone().unwrap_or_else(|| "A line without a title".to_owned()),
        kind: "What limits the line",
        headline: None,
        figures: vec![(
            "Rate of the file as it is".to_owned(),
            format!("{} /min", with_error(&found.rate)),
            format!("good parts, {} shifts, seed {}", found.replications, found.seed),
        )],
        sections: Vec::new(),
    };
    document.add("gains", "What the rate gains", vec![gains(found)]);
    if !found.not_tried.is_empty() {
        let text = "These were not tried, because the file would not be sound:".to_owned();
        document.add("left", "Not tried", vec![Block::Text(text), Block::List(found.not_tried.clone())]);
    }
    if !found.unmoved.is_empty() {
        let text = "These are nothing already, or a chance of one, so that they cannot be moved:".to_owned();
        document.add("unmoved", "Not moved", vec![Block::Text(text), Block::List(found.unmoved.clone())]);
    }
    document
}

/// What the rate gains by each number, the largest first.
pub(super) fn gains(found: &LimitsResult) -> Block {
    let mut grid = Grid::new(
        "Gain of the rate by number of the file",
        vec![
            words("Number of the file"),
            words("From"),
            words("To"),
            numbers("Gain", "/min"),
            numbers("+-", "/min"),
        ],
    );
    let mut bars = Vec::new();
    for limit in &found.limits {
        grid.row(vec![
            word(limit.path.clone()),
            word(limit.from.clone()),
            word(limit.to.clone()),
            cell(&limit.gain, 1.0, 3),
            half(&limit.gain, 1.0, 3),
        ]);
        let Some(gain) = limit.gain.mean.filter(|_| bars.len() < SHOWN) else { continue };
        let is_sure = limit.gain.low.zip(limit.gain.high).is_some_and(|(low, high)| low > 0.0 || high < 0.0);
        bars.push(Bar {
            name: format!("{}, {}", short(&limit.path), limit.change),
            value: gain,
            shown: format!("{gain:+.2}"),
            interval: limit.gain.low.zip(limit.gain.high),
            marked: is_sure.then(|| "told from none".to_owned()),
            ..Bar::default()
        });
    }
    let left = match found.limits.len().saturating_sub(SHOWN) {
        0 => String::new(),
        n => format!(" {n} with less gain are in the table only."),
    };
    let chart = Chart {
        title: "What the rate gains if one number is relaxed a little.".to_owned(),
        says: format!(
            "Paired with the line as it is over {} shifts, with the same luck. The whiskers hold together at {}.{left}",
            grouped(found.replications),
            stated(found.level)
        ),
        kind: Kind::Bars(Bars { bars, mark: None, label: "good parts a minute gained".to_owned() }),
    };
    Block::Chart(chart, grid)
}
