//! A sizing as a document: the end of a setting with which the promise is proved.

use super::{cell, half};
use crate::charts::{Asked, Chart, Curve, Kind, Level, Mark, Panel, Responses};
use crate::document::{Block, Document, Grid, Headline, Tone, number, numbers, word, words};
use crate::numbers::{plain, stated};
use crate::report::verdict::in_a_word;
use sim_core::statistics::Verdict;
use sim_core::study::result::ClauseKind;
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
        (None, Some(disproved)) if found.open > 0 => (
            Tone::Open,
            "Open",
            format!("With no value is the promise proved so far; with {disproved} it is disproved."),
        ),
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
    )
    .drawing("Rate");
    for one in &found.asked {
        grid.row(vec![
            word(one.value.clone()),
            word(in_a_word(one.verdict)),
            number(Some(one.shifts as f64), one.shifts.to_string()),
            cell(&one.rate, 1.0, 3),
            half(&one.rate, 1.0, 3),
        ]);
    }
    let mut blocks = curves(found, address);
    blocks.push(match rates(found, address) {
        Some(chart) => Block::Chart(chart, grid),
        None => Block::Table(grid),
    });
    document.add("values", "Values that were asked", blocks);
    if !found.against_order.is_empty() {
        document.add(
            "order",
            "Against the order that was assumed",
            vec![Block::List(found.against_order.clone())],
        );
    }
    document
}

/// Each clause of the promise along the setting, with the band of its last look; none where values have no order.
fn curves(found: &SizeResult, address: &str) -> Vec<Block> {
    let n_clauses = found.asked.iter().map(|one| one.clauses.len()).min().unwrap_or(0);
    (0..n_clauses).filter_map(|n| curve(found, n, address)).collect()
}

fn curve(found: &SizeResult, n: usize, address: &str) -> Option<Block> {
    let first = found.asked.first()?.clauses.get(n)?;
    let (up, factor, demand) = match first.kind {
        ClauseKind::ShiftRate => {
            (format!("shifts with {} /min or more, %", plain(first.required)), 100.0, first.demanded_chance?)
        }
        ClauseKind::MeanRate => ("mean rate, good parts a minute".to_owned(), 1.0, first.required),
        ClauseKind::FeedAvailability => ("feed availability, %".to_owned(), 100.0, first.required),
    };
    let mut grid = Grid::new(
        format!("Clause {}", n + 1),
        vec![
            words(address),
            words("Clause"),
            numbers("Lower limit", ""),
            numbers("Estimate", ""),
            numbers("Upper limit", ""),
        ],
    )
    .drawing("Estimate");
    let mut asked = Vec::new();
    for one in &found.asked {
        let clause = one.clauses.get(n)?;
        let (Some(estimate), Some(low), Some(high)) = (clause.estimate, clause.lower, clause.upper) else {
            continue;
        };
        let [low, estimate, high] = [low, estimate, high].map(|value| factor * value);
        let mark = match clause.verdict {
            Verdict::Proved => Mark::Proved,
            Verdict::Disproved => Mark::Disproved,
            Verdict::Open => Mark::Open,
        };
        let shown = |value: f64| number(Some(value), crate::numbers::number(value, Some(0.5 * (high - low))));
        grid.row(vec![
            word(one.value.clone()),
            word(in_a_word(clause.verdict)),
            shown(low),
            shown(estimate),
            shown(high),
        ]);
        asked.push(Asked { at: leading_number(&one.value)?, low, estimate, high, mark });
    }
    asked.sort_by(|a, b| a.at.total_cmp(&b.at));
    (asked.len() > 1).then(|| {
        let chart = Chart {
            title: format!("What is promised, by {address}."),
            says: "The line goes through the values that were asked; the band lies between the limits by which each was \
                   judged at its last look. A value is proved where its lower limit reaches what is demanded, disproved \
                   where its upper limit does not."
                .to_owned(),
            kind: Kind::Curve(Curve {
                asked,
                demand: Some((format!("demanded {}", plain(factor * demand)), factor * demand)),
                across: address.to_owned(),
                up,
            }),
        };
        Block::Chart(chart, grid)
    })
}

/// The number that a value begins with, such as 0.9 of `0.9 m`.
fn leading_number(value: &str) -> Option<f64> {
    value.split_whitespace().next()?.parse().ok()
}

/// The rate along the setting.
fn rates(found: &SizeResult, address: &str) -> Option<Chart> {
    let mut levels = Vec::new();
    for one in &found.asked {
        levels.push(Level {
            at: leading_number(&one.value)?,
            mean: one.rate.mean?,
            half: one.rate.half_width().unwrap_or(f64::NAN),
        });
    }
    levels.sort_by(|a, b| a.at.total_cmp(&b.at));
    let name = address.to_owned();
    let panel = Panel { name, levels, is_at_levels: true, ..Panel::default() };
    (found.asked.len() > 1).then(|| Chart {
        title: format!("Rate by {address}."),
        says: "Mean of many shifts with its own 95 % interval.".to_owned(),
        kind: Kind::Responses(Responses {
            panels: vec![panel],
            mark: None,
            label: "good parts a minute".to_owned(),
        }),
    })
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
