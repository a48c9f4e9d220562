//! A comparison of designs as a document: differences on the same luck, and each design by itself.

use super::{cell, half};
use crate::charts::{Bar, Bars, Chart, Dot, Dots, Kind};
use crate::document::{Block, Document, Grid, Headline, Tone, number, numbers, word, words};
use crate::numbers::{NONE, percent, plain, stated, with_error};
use sim_core::study::compare::{Choice, CompareResult, DesignReport};

/// The document.
pub(crate) fn comparison(found: &CompareResult) -> Document {
    let mut document = Document {
        title: found.designs.iter().map(|design| design.name.clone()).collect::<Vec<_>>().join(" or "),
        kind: "Comparison of designs",
        headline: Some(headline(found)),
        figures: found
            .designs
            .iter()
            .take(4)
            .map(|design| {
                let settings = Some(design.settings.join("; ")).filter(|text| *text != design.name);
                let settings = settings.unwrap_or_default();
                (design.name.clone(), format!("{} /min", with_error(&design.rate)), settings)
            })
            .collect(),
        sections: Vec::new(),
    };
    document.add("differences", "Differences", differences(found));
    document.add("designs", "The designs", vec![Block::Chart(rates(found), designs(found))]);
    if !found.notes.is_empty() {
        let notes = found.notes.iter().map(|note| note.replace('`', "")).collect();
        document.add("notes", "Notes", vec![Block::List(notes)]);
    }
    document
}

fn headline(found: &CompareResult) -> Headline {
    let detail = format!("At most {} shifts of each design; seed {}.", found.budget, found.seed);
    let (tone, word, sentence) = match &found.choice {
        Choice::Sure { best } => (
            Tone::Good,
            "Decided",
            format!(
                "{best} makes the most; its lead over each other one is sure, together at {}.",
                stated(found.level)
            ),
        ),
        Choice::Chosen { best, indifference, level } => (
            Tone::Good,
            "Chosen",
            format!(
                "{best}; a design that leads by {} /min or more is chosen with a chance of {} at least.",
                plain(*indifference),
                stated(*level)
            ),
        ),
        Choice::WithoutLuck { best: Some(best) } => {
            (Tone::Good, "Decided", format!("{best} makes the most; nothing is random."))
        }
        Choice::WithoutLuck { best: None } => {
            (Tone::Open, "Equal", "Several make the most; nothing is random.".to_owned())
        }
        Choice::Open { in_play } => {
            (Tone::Open, "Open", format!("Each of these may be the best: {}.", in_play.join(", ")))
        }
    };
    Headline { tone, word, sentence, detail }
}

fn differences(found: &CompareResult) -> Vec<Block> {
    let mut grid = Grid::new(
        "Differences, second less first",
        vec![
            words("Second less first"),
            numbers("Shifts", "pairs"),
            numbers("Rate", "/min"),
            numbers("From", "/min"),
            numbers("To", "/min"),
            numbers("Chance", "%"),
            numbers("Variance", "of unpaired"),
        ],
    )
    .drawing("Rate");
    let mut bars = Vec::new();
    for one in &found.differences {
        let name = format!("{} less {}", one.second, one.first);
        let rate = |value: f64| number(Some(value), format!("{value:+.3}"));
        let chance = one.chance.map(|chance| 100.0 * chance.difference);
        grid.row(vec![
            word(name.clone()),
            number(Some(one.shifts as f64), one.shifts.to_string()),
            rate(one.rate.difference),
            rate(one.rate.low),
            rate(one.rate.high),
            number(chance, chance.map_or(NONE.to_owned(), |chance| format!("{chance:+.1}"))),
            number(
                one.variance_ratio,
                one.variance_ratio.map_or(NONE.to_owned(), |ratio| format!("{ratio:.2}")),
            ),
        ]);
        bars.push(Bar {
            name,
            value: one.rate.difference,
            shown: format!("{:+.3}", one.rate.difference),
            interval: Some((one.rate.low, one.rate.high)),
            marked: one.rate.is_sure().then(|| "sure".to_owned()),
            ..Bar::default()
        });
    }
    if bars.is_empty() {
        return Vec::new();
    }
    let chart = Chart {
        title: "Difference of the rates.".to_owned(),
        says: format!(
            "{}{} The whiskers hold together at {}; sure is what does not reach 0.",
            if found.own_luck {
                "Each design with luck of its own."
            } else {
                "Paired, shift by shift, on the same luck."
            },
            if found.controls { " Corrected for the luck that each design had." } else { "" },
            stated(found.level)
        ),
        kind: Kind::Bars(Bars { bars, mark: None, label: "good parts a minute more".to_owned() }),
    };
    vec![Block::Chart(chart, grid)]
}

/// The rate of each design by itself.
fn rates(found: &CompareResult) -> Chart {
    let dot = |design: &DesignReport| {
        let mean = design.rate.mean?;
        let half = design.rate.half_width().unwrap_or(f64::NAN);
        Some(Dot { name: design.name.clone(), value: mean, shown: crate::numbers::mean(&design.rate), half })
    };
    let dots = found.designs.iter().filter_map(dot).collect();
    Chart {
        title: "Rate of each design.".to_owned(),
        says: format!(
            "Each by itself, with its own 95 % interval. {}: intervals that overlap here say nothing against a difference.",
            if found.own_luck {
                "Differences are told above"
            } else {
                "As designs have the same luck, differences are known better than these"
            }
        ),
        kind: Kind::Dots(Dots {
            groups: vec![("Design".to_owned(), dots)],
            mark: None,
            label: "good parts a minute".to_owned(),
        }),
    }
}

fn designs(found: &CompareResult) -> Grid {
    let mut grid = Grid::new(
        "Each design by itself",
        vec![
            words("Design"),
            words("Settings"),
            numbers("Shifts", ""),
            numbers("Rate", "/min"),
            numbers("+-", "/min"),
            numbers("Chance to make it", "%"),
            numbers("Feed availability", "%"),
            numbers("Attendance", "people"),
        ],
    )
    .drawing("Rate");
    for design in &found.designs {
        let chance = design.chance.map(|chance| (chance.share, 0.5 * (chance.high - chance.low)));
        grid.row(vec![
            word(design.name.clone()),
            word(design.settings.join("; ")),
            number(Some(design.shifts as f64), design.shifts.to_string()),
            cell(&design.rate, 1.0, 3),
            half(&design.rate, 1.0, 3),
            number(
                chance.map(|(share, _)| 100.0 * share),
                chance.map_or(NONE.to_owned(), |(share, half)| percent(share, Some(half))),
            ),
            cell(&design.feed_availability, 100.0, 2),
            cell(&design.attendance, 1.0, 3),
        ]);
    }
    grid
}
