//! What is not known of the inputs: the promise with it, where the spread comes from, and what to measure next.

use super::{Proof, unquoted};
use crate::charts::{Bar, Bars, Chart, Kind};
use crate::document::{Block, Grid, number, numbers, word, words};
use crate::numbers::{NONE, from_to, grouped, plain, stated, with_error};
use sim_core::study::result::{ClauseKind, IgnoranceReport, VarianceShare};

/// All of it; nothing where the evidence was not drawn from.
pub(super) fn ignorance(proof: &Proof<'_>) -> Vec<Block> {
    let Some(ignorance) = &proof.result.ignorance else { return Vec::new() };
    let mut facts = vec![
        (
            "Mean rate, luck and ignorance".to_owned(),
            format!("{} /min (its error is that of the simulation)", with_error(&ignorance.mean_rate)),
        ),
        (
            "The line's own mean rate".to_owned(),
            format!(
                "{} /min, with a probability of {} given the evidence",
                from_to(ignorance.own_mean_low, ignorance.own_mean_high),
                stated(ignorance.level)
            ),
        ),
    ];
    for clause in &ignorance.clauses {
        let what = match clause.kind {
            ClauseKind::ShiftRate => format!("{} /min in a shift", plain(clause.required)),
            ClauseKind::MeanRate => format!("{} /min on the mean", plain(clause.required)),
            ClauseKind::FeedAvailability => format!("feed availability of {}", stated(clause.required)),
        };
        facts.push((
            format!("Assurance of {what}"),
            format!(
                "{:.1} % (from {:.1} to {:.1} %); demanded {}",
                100.0 * clause.assurance,
                100.0 * clause.low,
                100.0 * clause.high,
                stated(ignorance.demanded_assurance)
            ),
        ));
    }
    let mut blocks = vec![
        Block::Text(
            "Counts and values of tests leave inputs uncertain. Here inputs were drawn anew from what the evidence leaves \
             possible. The assurance is the probability that the line, once built, keeps the promise."
                .to_owned(),
        ),
        Block::Facts(facts),
    ];
    blocks.extend(variance(ignorance));
    let next = further(ignorance);
    if !next.rows.is_empty() {
        blocks.push(Block::Table(next));
    }
    blocks.push(Block::Table(known(ignorance)));
    blocks
}

fn variance(ignorance: &IgnoranceReport) -> Option<Block> {
    let split = ignorance.variance.as_ref()?;
    let mut grid = Grid::new(
        "Where the variance of one shift comes from",
        vec![words("From"), numbers("Share", "%"), numbers("From", "%"), numbers("To", "%")],
    );
    let mut bars = Vec::new();
    let mut add = |name: &str, share: &VarianceShare| {
        let percent = |share: f64| number(Some(100.0 * share), format!("{:.1}", 100.0 * share));
        grid.row(vec![word(name), percent(share.share), percent(share.low), percent(share.high)]);
        bars.push(Bar {
            name: name.to_owned(),
            value: 100.0 * share.share.max(0.0),
            shown: format!("{:.1} %", 100.0 * share.share),
            interval: Some((100.0 * share.low, 100.0 * share.high)),
            ..Bar::default()
        });
    };
    add("luck of the shift", &split.luck);
    add("all that is not known of the inputs", &split.ignorance);
    for (known, share) in ignorance.known.iter().zip(&split.inputs) {
        add(&known.name, share);
    }
    let chart = Chart {
        title: "Where the spread of one shift comes from.".to_owned(),
        says: format!(
            "Shares of the variance; standard deviation {:.2} parts a minute. Whiskers: {} each.",
            split.standard_deviation,
            stated(split.level)
        ),
        kind: Kind::Bars(Bars { bars, mark: None, label: "% of the variance".to_owned() }),
    };
    Some(Block::Chart(chart, grid))
}

fn further(ignorance: &IgnoranceReport) -> Grid {
    let mut grid = Grid::new(
        "What to measure next",
        vec![
            words("Evidence"),
            numbers("Doubt taken by as many trials again", "%"),
            numbers("Trials to decide", ""),
        ],
    );
    for report in &ignorance.further {
        let trials = report.trials_to_decide;
        grid.row(vec![
            word(report.input.clone().unwrap_or_else(|| "all of them".to_owned())),
            number(Some(100.0 * report.doubt_taken), format!("{:.0}", 100.0 * report.doubt_taken)),
            number(trials.map(|n| n as f64), trials.map_or(NONE.to_owned(), grouped)),
        ]);
    }
    grid
}

fn known(ignorance: &IgnoranceReport) -> Grid {
    let mut grid = Grid::new(
        "The evidence",
        vec![
            words("Evidence"),
            numbers("Trials", ""),
            words("Of"),
            numbers("Estimate", ""),
            words("Interval"),
        ],
    );
    let of = |what: &str, unit: &str| match unit {
        "" => what.to_owned(),
        unit => format!("{what} [{}]", unquoted(unit)),
    };
    for known in &ignorance.known {
        for one in &known.estimates {
            grid.row(vec![
                word(known.name.clone()),
                number(Some(known.trials as f64), grouped(known.trials)),
                word(of(if one.name.is_empty() { &known.what } else { &one.name }, &known.unit)),
                number(
                    Some(one.estimate),
                    crate::numbers::number(one.estimate, Some(0.1 * (one.high - one.low))),
                ),
                word(format!("{}: {}", stated(known.level), from_to(one.low, one.high))),
            ]);
        }
    }
    grid
}
