//! The rate of a shift against what is promised, and where it is lost.

use super::{Proof, cell, half, unquoted};
use crate::charts::{Chart, Kind, Rates, Step, Waterfall};
use crate::document::{Block, Grid, number, numbers, word, words};
use crate::numbers::{NONE, from_to, plain, stated, with_error};
use sim_core::study::RunResult;
use sim_core::study::result::{ClauseKind, LossKind, LossReport};

/// Losses of less than this share of the free rate are added up.
const SMALL: f64 = 0.000_5;
/// Steps shown one by one.
const STEPS_MAX: usize = 14;

/// The rate that the promise is about, if it is about one.
pub(super) fn demanded(result: &RunResult) -> Option<f64> {
    let clauses = &result.promise.as_ref()?.clauses;
    let of =
        |kind: ClauseKind| clauses.iter().find(|clause| clause.kind == kind).map(|clause| clause.required);
    of(ClauseKind::ShiftRate).or_else(|| of(ClauseKind::MeanRate))
}

/// Rates of single shifts, with both intervals.
pub(super) fn rate(proof: &Proof<'_>) -> Vec<Block> {
    let result = proof.result;
    let rate = &result.rate;
    let mut blocks = Vec::new();
    let future = rate.one_shift.by_rank.or(rate.one_shift.normal);
    if let Some(histogram) = &rate.histogram {
        let mut intervals = Vec::new();
        if let (Some(low), Some(high)) = (rate.mean_rate.low, rate.mean_rate.high) {
            intervals.push((format!("mean of many shifts, {}", stated(rate.mean_rate.level)), low, high));
        }
        if let Some(one) = future {
            let name = format!("one future shift, {}", stated(rate.one_shift.level));
            intervals.push((name, one.low, one.high));
        }
        let demand = demanded(result);
        let missed = match demand {
            Some(demand) => {
                format!(" The line at {} is what is promised; open columns miss it.", plain(demand))
            }
            None => String::new(),
        };
        let mut grid = Grid::new(
            "Shifts by rate",
            vec![numbers("From", "/min"), numbers("To", "/min"), numbers("Shifts", "")],
        );
        for (n, count) in histogram.counts.iter().enumerate() {
            let from = histogram.from + histogram.width * n as f64;
            let edge = |value: f64| number(Some(value), format!("{value:.2}"));
            grid.row(vec![
                edge(from),
                edge(from + histogram.width),
                number(Some(*count as f64), count.to_string()),
            ]);
        }
        let chart = Chart {
            title: "How many shifts make which rate.".to_owned(),
            says: format!(
                "{} shifts were simulated. More shifts narrow the first interval; the second is how much shifts differ, \
                 and stays.{missed}",
                result.replications
            ),
            kind: Kind::Rates(Rates {
                from: histogram.from,
                width: histogram.width,
                counts: histogram.counts.clone(),
                demand,
                intervals,
                label: "good parts a minute".to_owned(),
            }),
        };
        blocks.push(Block::Chart(chart, grid));
    }
    blocks.push(Block::Table(table(proof)));
    blocks
}

fn table(proof: &Proof<'_>) -> Grid {
    let rate = &proof.result.rate;
    let mut grid = Grid::new(
        "Rate in good parts a minute",
        vec![words("What"), numbers("Estimate", "/min"), words("Interval")],
    );
    let interval = |low: Option<f64>, high: Option<f64>, level: f64| match (low, high) {
        (Some(low), Some(high)) if high > low => format!("{}: {}", stated(level), from_to(low, high)),
        (_, _) => NONE.to_owned(),
    };
    let mean = &rate.mean_rate;
    grid.row(vec![
        word("Mean of many shifts"),
        number(mean.mean, with_error(mean)),
        word(interval(mean.low, mean.high, mean.level)),
    ]);
    let one = rate.one_shift.by_rank.or(rate.one_shift.normal);
    grid.row(vec![
        word("One future shift"),
        number(None, NONE),
        word(interval(one.map(|one| one.low), one.map(|one| one.high), rate.one_shift.level)),
    ]);
    for one in &rate.percentiles {
        grid.row(vec![
            word(format!("{} of shifts lie below", stated(one.share))),
            number(Some(one.point), format!("{:.2}", one.point)),
            word(interval(one.low, one.high, one.level)),
        ]);
    }
    for (what, value) in [("Lowest shift seen", rate.min), ("Highest shift seen", rate.max)] {
        grid.row(vec![
            word(what),
            number(value, value.map_or(NONE.to_owned(), |value| format!("{value:.2}"))),
            word(NONE),
        ]);
    }
    grid
}

/// The waterfall of each point of use.
pub(super) fn losses(proof: &Proof<'_>) -> Vec<Block> {
    let mut blocks = Vec::new();
    for loss in proof.result.losses.iter().filter(|loss| !loss.steps.is_empty()) {
        let grid = account(loss);
        match (loss.free_per_minute, loss.good_per_minute.mean) {
            (Some(free), Some(good)) => {
                let demand = demanded(proof.result).filter(|_| proof.result.losses.len() == 1);
                blocks.push(Block::Chart(waterfall(loss, free, good, demand), grid));
            }
            (_, _) => blocks.push(Block::Table(grid)),
        }
    }
    let mut flows = Grid::new(
        "What becomes of the parts where they part ways",
        vec![
            words("Station"),
            numbers("Taken", "/min"),
            numbers("Off for attitude", "/min"),
            numbers("Off for a defect", "/min"),
            numbers("No room", "/min"),
            numbers("Go on", "/min"),
        ],
    );
    for flow in &proof.result.flows {
        let minute = |figure| cell(figure, 1.0 / 60.0, 2);
        flows.row(vec![
            word(flow.station.clone()),
            minute(&flow.offered_per_hour),
            minute(&flow.by_attitude_per_hour),
            minute(&flow.by_defect_per_hour),
            minute(&flow.overflow_per_hour),
            minute(&flow.accepted_per_hour),
        ]);
    }
    if !flows.rows.is_empty() {
        blocks.push(Block::Table(flows));
    }
    blocks
}

fn waterfall(loss: &LossReport, free: f64, good: f64, demand: Option<f64>) -> Chart {
    let mut steps: Vec<Step> = Vec::new();
    let mut rest = Step { name: String::new(), lost: 0.0 };
    let mut n_rest = 0;
    for step in &loss.steps {
        let lost = step.per_minute.unwrap_or(0.0);
        if lost.abs() < SMALL * free || steps.len() >= STEPS_MAX {
            rest.lost += lost;
            n_rest += 1;
            rest.name = named(step.kind, &step.what);
        } else {
            steps.push(Step { name: named(step.kind, &step.what), lost });
        }
    }
    if n_rest > 0 {
        if n_rest > 1 {
            rest.name = format!("{n_rest} smaller ones together");
        }
        steps.push(rest);
    }
    let largest = steps.iter().max_by(|a, b| a.lost.total_cmp(&b.lost));
    let says = largest.map_or(String::new(), |step| {
        format!("The most is lost by: {} ({:.2} parts a minute). The steps add up.", step.name, step.lost)
    });
    Chart {
        title: format!("From what {} could make, down to what it makes.", loss.station),
        says,
        kind: Kind::Waterfall(Waterfall {
            first: ("never waiting, at the nominal cycle".to_owned(), free),
            steps,
            last: ("good parts".to_owned(), good),
            demand,
            label: "parts a minute".to_owned(),
        }),
    }
}

fn named(kind: LossKind, what: &str) -> String {
    match kind {
        LossKind::Starved => format!("starved: {}", unquoted(what)),
        LossKind::OwnVariation | LossKind::OwnState | LossKind::BadParts => unquoted(what),
    }
}

fn account(loss: &LossReport) -> Grid {
    let mut grid = Grid::new(
        format!("Account of {}", loss.station),
        vec![words("Step"), numbers("Time", "%"), numbers("+-", "%"), numbers("Lost", "/min")],
    );
    for step in &loss.steps {
        let none = || number(None, NONE);
        grid.row(vec![
            word(named(step.kind, &step.what)),
            step.share.as_ref().map_or_else(none, |share| cell(share, 100.0, 3)),
            step.share.as_ref().map_or_else(none, |share| half(share, 100.0, 3)),
            number(step.per_minute, step.per_minute.map_or(NONE.to_owned(), |lost| format!("{lost:.4}"))),
        ]);
    }
    grid
}
