//! Jams, breakdowns, the people who clear them, sensors, and what else happens.

use super::{Proof, cell, half, is_there, said};
use crate::charts::{Bar, Bars, Chart, Kind};
use crate::document::{Block, Grid, number, numbers, word, words};

/// All of it.
pub(super) fn stops(proof: &Proof<'_>) -> Vec<Block> {
    let mut blocks = Vec::new();
    blocks.extend(jams(proof));
    for grid in [people(proof), sensors(proof), points(proof), also(proof), measures(proof)] {
        if !grid.rows.is_empty() {
            blocks.push(Block::Table(grid));
        }
    }
    blocks
}

fn jams(proof: &Proof<'_>) -> Option<Block> {
    let mut grid = Grid::new(
        "Jams and breakdowns",
        vec![
            words("Station"),
            words("Stop"),
            words("Cause"),
            words("Cleared by"),
            numbers("Per hour", ""),
            numbers("+-", ""),
            numbers("Per 1000 parts", ""),
        ],
    );
    let mut bars = Vec::new();
    for stop in &proof.result.stops {
        grid.row(vec![
            word(stop.station.clone()),
            word(format!("{} {}", stop.what, stop.number)),
            word(stop.cause.clone()),
            word(stop.by.clone().unwrap_or_else(|| "itself".to_owned())),
            cell(&stop.per_hour, 1.0, 2),
            half(&stop.per_hour, 1.0, 2),
            cell(&stop.per_thousand_parts, 1.0, 3),
        ]);
        if let Some(mean) = stop.per_hour.mean {
            bars.push(Bar {
                name: format!("{}, {} {}", stop.station, stop.what, stop.number),
                value: mean,
                shown: said(&stop.per_hour),
                interval: stop.per_hour.low.zip(stop.per_hour.high),
                ..Bar::default()
            });
        }
    }
    let all = &proof.result.line.stops_per_hour;
    let chart = Chart {
        title: "Stops an hour.".to_owned(),
        says: format!("{} an hour in all. Whiskers: intervals for the means.", said(all)),
        kind: Kind::Bars(Bars { bars, mark: None, label: "stops an hour".to_owned() }),
    };
    (!grid.rows.is_empty()).then_some(Block::Chart(chart, grid))
}

fn people(proof: &Proof<'_>) -> Grid {
    let mut grid = Grid::new(
        "Attendance",
        vec![
            words("Attendants"),
            numbers("People", ""),
            numbers("Walking and at work", "% of time"),
            numbers("Off", "% of time"),
            numbers("Minutes an hour", ""),
            numbers("Calls an hour", ""),
        ],
    );
    for pool in &proof.result.attendants {
        grid.row(vec![
            word(pool.name.clone()),
            number(Some(f64::from(pool.number)), pool.number.to_string()),
            cell(&pool.load, 100.0, 1),
            cell(&pool.off, 100.0, 1),
            cell(&pool.minutes_per_hour, 1.0, 1),
            cell(&pool.calls_per_hour, 1.0, 1),
        ]);
    }
    grid
}

fn sensors(proof: &Proof<'_>) -> Grid {
    let mut grid = Grid::new(
        "Sensors",
        vec![words("Sensor"), numbers("On", "% of time"), numbers("Switched on", "an hour")],
    );
    for sensor in &proof.result.sensors {
        grid.row(vec![
            word(sensor.name.clone()),
            cell(&sensor.on_share, 100.0, 1),
            cell(&sensor.switched_on_per_hour, 1.0, 1),
        ]);
    }
    grid
}

fn points(proof: &Proof<'_>) -> Grid {
    let mut grid = Grid::new(
        "Parts at the point of use",
        vec![
            words("Point of use"),
            numbers("Good", "/min"),
            numbers("Bad", "in a million"),
            numbers("Time in the line", "s"),
            numbers("Longest gap, mean", "s"),
            numbers("Longest gap, worst", "s"),
        ],
    );
    for point in &proof.result.points {
        let worst = point.longest_starved_max_s;
        grid.row(vec![
            word(point.station.clone()),
            cell(&point.good_per_minute, 1.0, 3),
            cell(&point.bad_ppm, 1.0, 0),
            cell(&point.time_in_line_s, 1.0, 1),
            cell(&point.longest_starved_s, 1.0, 1),
            number(worst, worst.map_or(crate::numbers::NONE.to_owned(), |s| format!("{s:.0}"))),
        ]);
    }
    grid
}

fn also(proof: &Proof<'_>) -> Grid {
    let mut grid = Grid::new(
        "What else happens, an hour",
        vec![words("Station"), words("What"), numbers("An hour", ""), numbers("+-", "")],
    );
    for station in &proof.result.stations {
        for (figure, what) in [
            (&station.tips_per_hour, "containers emptied, or boxes exchanged"),
            (&station.restarts_per_hour, "starts after a hold"),
            (&station.calls_per_hour, "calls for somebody"),
            (&station.lost_per_hour, "parts lost for want of room"),
            (&station.spilled_per_hour, "parts spilled for want of room"),
            (&station.overfilled_per_hour, "times filled beyond its capacity"),
            (&station.checks_failed_per_hour, "presence checks failed"),
            (&station.short_strokes_per_hour, "strokes with a part missing"),
            (&station.empty_strokes_per_hour, "strokes that found nothing to release"),
        ] {
            if is_there(figure) {
                grid.row(vec![
                    word(station.name.clone()),
                    word(what),
                    cell(figure, 1.0, 2),
                    half(figure, 1.0, 2),
                ]);
            }
        }
    }
    grid
}

fn measures(proof: &Proof<'_>) -> Grid {
    let mut grid = Grid::new("Measures of the file", vec![words("Measure"), numbers("Share", "% of time")]);
    for one in &proof.result.measures {
        grid.row(vec![word(one.name.clone()), cell(&one.share, 100.0, 2)]);
    }
    grid
}
