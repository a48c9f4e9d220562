//! The shift over its time: rate and levels, as they spread over shifts.

use super::{Proof, line::is_hand_name, rate::demanded};
use crate::charts::{Band, Bands, Chart, Kind};
use crate::document::{Block, Cell, Grid, number, numbers};
use crate::numbers::{plain, time};
use sim_core::study::result::WarmUpSource;
use sim_core::study::{self, Profile};

/// Rows of a table over time, about.
const ROWS: usize = 24;

/// The rate over the shift, with the cut of the warm-up.
pub(super) fn course(proof: &Proof<'_>) -> Vec<Block> {
    let Some(profile) = proof.profile else { return Vec::new() };
    let warm_up = &proof.result.warm_up;
    let cut = match warm_up.source {
        WarmUpSource::None => "All of the shift counts.".to_owned(),
        WarmUpSource::Given => {
            format!("The first {} do not count, as the file says.", time(warm_up.length_s))
        }
        WarmUpSource::Found => format!(
            "The first {} do not count: found by MSER-5 from the parts a minute of {} shifts{}.",
            time(warm_up.length_s),
            warm_up.replications,
            if warm_up.settled == Some(false) { "; the rate had not settled by then" } else { "" }
        ),
    };
    let whole =
        rate_over(proof, profile, "Rate from the start to the end of a shift.", &cut, "Rate over the shift");
    let start = proof.start.map(|start| {
        let says = "If the warm-up was cut off well, the rate has settled at the line.";
        rate_over(proof, start, "The same at its beginning.", says, "Rate at the beginning")
    });
    std::iter::once(whole).chain(start).collect()
}

/// The rate over a stretch of the shift.
fn rate_over(proof: &Proof<'_>, profile: &Profile, title: &str, says: &str, table_title: &str) -> Block {
    let chart = Chart {
        title: title.to_owned(),
        says: format!(
            "Mean, and the band in which 80 % of the first {} shifts lie, in steps of {}. {says}",
            profile.replications,
            time(profile.step_s)
        ),
        kind: Kind::Bands(Bands {
            bands: vec![Band {
                name: "good parts a minute".to_owned(),
                mark: demanded(proof.result).map(|rate| (format!("promised {}", plain(rate)), rate)),
                middle: profile.mean_rate.clone(),
                ..band(&profile.rate)
            }],
            step_s: profile.step_s,
            opens_s: proof.result.warm_up.length_s,
            tall: 200.0,
            from_zero: false,
        }),
    };
    Block::Chart(chart, table(table_title, profile, &[("Rate", &profile.rate)]))
}

/// Levels of all tracks, belts and bins that move.
pub(super) fn levels(proof: &Proof<'_>) -> Vec<Block> {
    let Some(profile) = proof.profile else { return Vec::new() };
    let places: Vec<_> = profile
        .places
        .iter()
        .filter(|place| !is_hand_name(proof, &place.name))
        .filter(|place| place.content.p90.iter().any(|level| *level > 0.0))
        .collect();
    if places.is_empty() {
        return Vec::new();
    }
    let bands = places.iter().map(|place| Band {
        name: format!("{}, parts", place.name),
        mark: place.capacity.map(|n| (format!("holds {n}"), f64::from(n))),
        ..band(&place.content)
    });
    let chart = Chart {
        title: "Contents from the start to the end of a shift.".to_owned(),
        says: format!(
            "Median, and the band in which 80 % of the first {} shifts lie, every {}.",
            profile.replications,
            time(profile.step_s)
        ),
        kind: Kind::Bands(Bands {
            bands: bands.collect(),
            step_s: profile.step_s,
            opens_s: proof.result.window.opens_s,
            tall: 74.0,
            from_zero: true,
        }),
    };
    let named: Vec<(&str, &study::Band)> =
        places.iter().map(|place| (place.name.as_str(), &place.content)).collect();
    vec![Block::Chart(chart, table("Contents over the shift", profile, &named))]
}

fn band(of: &study::Band) -> Band {
    Band { low: of.p10.clone(), middle: of.p50.clone(), high: of.p90.clone(), ..Band::default() }
}

/// Some of the steps in numbers: the median, and the band where there is one thing only.
fn table(title: &str, profile: &Profile, bands: &[(&str, &study::Band)]) -> Grid {
    let mut columns = vec![numbers("Time", "min")];
    for (name, _) in bands {
        columns.push(numbers(name, "median"));
        if bands.len() == 1 {
            columns.extend([numbers("10 %", "below"), numbers("90 %", "below")]);
        }
    }
    let mut grid = Grid::new(title, columns);
    let n = profile.rate.p50.len();
    for at in (0..n).step_by(n.div_ceil(ROWS).max(1)) {
        let show = |value: f64| -> Cell { number(Some(value), format!("{value:.1}")) };
        let mut row = vec![show((at as f64 + 1.0) * profile.step_s / 60.0)];
        for (_, band) in bands {
            row.push(show(band.p50[at]));
            if bands.len() == 1 {
                row.extend([show(band.p10[at]), show(band.p90[at])]);
            }
        }
        grid.row(row);
    }
    grid
}
