//! The line: its drawing, what its stations do, what limits it, and how often parts go round.

use super::{Proof, cell, half, is_there, picture, said};
use crate::charts::{Bar, Bars, Chart, Kind, SHARE_KINDS, ShareRow, Shares};
use crate::document::{Block, Cell, Grid, number, numbers, word, words};
use crate::drawing::{Direction, by_balance, svg};
use crate::numbers::{NONE, grouped, hundred};
use sim_core::kernel::State;
use sim_core::study::result::PlaceReport;

/// A drawing wider than this is shown from top to bottom on wide pages as well, px.
const WIDEST: f64 = 1560.0;

/// The drawing, and the flows as a table.
pub(super) fn drawing(proof: &Proof<'_>) -> Vec<Block> {
    let picture = picture(proof);
    let down = picture.layout(Direction::Down);
    let across = picture.layout(Direction::Across);
    let narrow = svg(&picture, &down, "line-down", false);
    let wide = if across.width <= WIDEST {
        svg(&picture, &across, "line-across", false)
    } else {
        svg(&picture, &down, "line-across", false)
    };
    let mut grid =
        Grid::new("Flows", vec![words("From"), words("To"), words("Exit"), numbers("Flow", "/min")]);
    for edge in &picture.edges {
        grid.row(vec![
            word(picture.nodes[edge.from].name.clone()),
            word(picture.nodes[edge.to].name.clone()),
            word(edge.keys.join(", ")),
            number(edge.flow, edge.flow.map_or(NONE.to_owned(), |flow| format!("{flow:.2}"))),
        ]);
    }
    let text = format!(
        "Parts flow along the arrows, which are as wide as their flow; pale ones are sent off. Bars show the share of time in \
         which a station works, and at their right end the time in which it is jammed, down or off. The heavy frame marks \
         the station with the highest load {}.",
        by_balance(proof.balance).trim_end_matches(',')
    );
    vec![Block::Text(text), Block::Drawing { wide, narrow, table: grid }]
}

/// Which piece of the bar a state belongs to.
fn kind_of(state: State) -> usize {
    match state {
        State::Working | State::Checking | State::Loading => 0,
        State::Starved => 1,
        State::Blocked => 2,
        State::Held => 3,
        State::JamWaiting | State::DownWaiting => 4,
        State::JamClearing | State::JamAutomatic | State::DownRepair => 5,
        State::Off | State::Changeover => 6,
    }
}

/// Shares of time.
pub(super) fn stations(proof: &Proof<'_>) -> Vec<Block> {
    let mut columns = vec![words("Station")];
    columns.extend(SHARE_KINDS.iter().map(|(name, _)| numbers(name, "%")));
    let mut grid = Grid::new("Shares of time", columns);
    let mut rows = Vec::new();
    let mut widest: f64 = 0.0;
    for station in &proof.result.stations {
        let mut shares = [0.0; SHARE_KINDS.len()];
        for one in &station.states {
            shares[kind_of(one.state)] += one.share.mean.unwrap_or(0.0);
            widest = widest.max(one.half_width.unwrap_or(0.0));
        }
        if shares.iter().sum::<f64>() > 0.0 {
            let texts = hundred(&shares);
            let cells = shares.iter().zip(texts).map(|(share, text)| number(Some(100.0 * share), text));
            grid.row(std::iter::once(word(station.name.clone())).chain(cells).collect());
            rows.push(ShareRow { name: station.name.clone(), shares });
        }
    }
    if rows.is_empty() {
        return Vec::new();
    }
    let chart = Chart {
        title: "What each station does with its time.".to_owned(),
        says: format!(
            "Means over shifts; each bar is 100 % of the window, the number at its right is the share working. \
             Half-widths are {:.2} % at most.",
            100.0 * widest
        ),
        kind: Kind::Shares(Shares { rows }),
    };
    vec![Block::Chart(chart, grid), Block::Table(places(proof))]
}

fn places(proof: &Proof<'_>) -> Grid {
    let mut grid = Grid::new(
        "Contents of tracks, belts and bins",
        vec![
            words("Place"),
            numbers("Holds", "parts"),
            numbers("Mean", "parts"),
            numbers("5 %", "parts"),
            numbers("50 %", "parts"),
            numbers("95 %", "parts"),
            numbers("Empty", "% of time"),
            numbers("Full", "% of time"),
            numbers("Mean stay", "s"),
        ],
    );
    let count = |level: Option<u32>| {
        number(level.map(f64::from), level.map_or(NONE.to_owned(), |level| grouped(u64::from(level))))
    };
    for place in proof.result.places.iter().filter(|place| !is_hand(proof, place)) {
        let holds: Cell = match place.capacity {
            Some(_) => count(place.capacity),
            None => number(None, "no limit"),
        };
        grid.row(vec![
            word(place.name.clone()),
            holds,
            cell(&place.mean_content, 1.0, 1),
            count(place.content_p5),
            count(place.content_p50),
            count(place.content_p95),
            cell(&place.share_empty, 100.0, 1),
            place.share_full.as_ref().map_or_else(|| number(None, NONE), |full| cell(full, 100.0, 1)),
            cell(&place.mean_stay_s, 1.0, 1),
        ]);
    }
    grid
}

/// Whether a place is only the hand of a station.
pub(super) fn is_hand(proof: &Proof<'_>, place: &PlaceReport) -> bool {
    is_hand_name(proof, &place.name)
}

/// The same by its name.
pub(super) fn is_hand_name(proof: &Proof<'_>, name: &str) -> bool {
    let stations = &proof.result.stations;
    name.strip_suffix(" hand").is_some_and(|of| stations.iter().any(|one| one.name == of))
}

/// What the rate gains by each number of the file, and loads by the balance, the highest first.
pub(super) fn limits(proof: &Proof<'_>) -> Vec<Block> {
    let balance = proof.balance;
    let mut ranked: Vec<_> =
        balance.stations.iter().filter_map(|one| Some((one, 100.0 / (1.0 + one.margin?)))).collect();
    ranked.sort_by(|a, b| b.1.total_cmp(&a.1));
    let mut grid = Grid::new(
        "Loads by the balance",
        vec![
            words("Station"),
            numbers("Load", "%"),
            numbers("Flow", "/min"),
            numbers("Capacity", "/min"),
            numbers("With stops", "/min"),
        ],
    );
    let mut bars = Vec::new();
    for (station, load) in &ranked {
        let rate =
            |value: Option<f64>| number(value, value.map_or(NONE.to_owned(), |value| format!("{value:.2}")));
        let name = if station.count > 1 {
            format!("{} × {}", station.count, station.id)
        } else {
            station.id.clone()
        };
        let limits = balance.limiting.as_ref() == Some(&station.id);
        bars.push(Bar {
            name: name.clone(),
            value: *load,
            shown: format!("{load:.1} %"),
            interval: None,
            marked: limits.then(|| "limits the line".to_owned()),
            ..Bar::default()
        });
        grid.row(vec![
            word(name),
            number(Some(*load), format!("{load:.1}")),
            rate(Some(station.flow_per_min)),
            rate(station.capacity_per_min),
            rate(station.capacity_with_stops_per_min),
        ]);
    }
    let mut blocks: Vec<Block> = proof.ranked.iter().map(|found| super::ranking::gains(found)).collect();
    if bars.is_empty() {
        return blocks;
    }
    let most = crate::report::most(balance);
    let most = match &balance.limiting {
        Some(station) => format!("{most}, limited by {station}."),
        None => format!("{most}."),
    };
    let chart = Chart {
        title: "Demanded flow as a share of rated capacity.".to_owned(),
        says: format!(
            "Loads {} at {:.2} good parts a minute, free of stops and waiting. {most}",
            by_balance(balance),
            balance.rate_per_min
        ),
        kind: Kind::Bars(Bars {
            bars,
            mark: Some(("100 %".to_owned(), 100.0)),
            label: "% of capacity".to_owned(),
        }),
    };
    blocks.push(Block::Chart(chart, grid));
    if proof.ranked.is_none() {
        let text = "What the rate gains if one number of the file is relaxed a little was not asked for; the command limits \
                    tells.";
        blocks.push(Block::Text(text.to_owned()));
    }
    blocks
}

/// How often parts pass an orienting path before they are used.
pub(super) fn passes(proof: &Proof<'_>) -> Vec<Block> {
    let result = proof.result;
    if result.line.passes_per_delivered.mean.is_none() {
        return Vec::new();
    }
    let mut blocks = Vec::new();
    for point in &result.points {
        let all: u64 = point.parts_by_passes.iter().sum();
        if all == 0 || point.parts_by_passes.len() < 2 {
            continue;
        }
        let mut grid = Grid::new(
            format!("Passes of the parts finished at {}", point.station),
            vec![numbers("Passes", ""), numbers("Parts", "%"), numbers("Parts", "")],
        )
        .drawing("Parts");
        let share = |n: u64| 100.0 * n as f64 / all as f64;
        let mut bars = Vec::new();
        let mut beyond = 0;
        for (passes, &n) in point.parts_by_passes.iter().enumerate() {
            grid.row(vec![
                number(Some(passes as f64), passes.to_string()),
                number(Some(share(n)), format!("{:.3}", share(n))),
                number(Some(n as f64), grouped(n)),
            ]);
            if passes <= 9 {
                let name = if passes == 1 { "1 pass".to_owned() } else { format!("{passes} passes") };
                bars.push(bar(name, share(n)));
            } else {
                beyond += n;
            }
        }
        if beyond > 0 {
            bars.push(bar("10 passes or more".to_owned(), share(beyond)));
        }
        if bars.first().is_some_and(|bar| bar.value == 0.0) {
            bars.remove(0);
        }
        let p95 = point.passes_p95.map_or(NONE.to_owned(), |n| n.to_string());
        let chart = Chart {
            title: format!(
                "How often a part has passed an orienting path when {} has finished it.",
                point.station
            ),
            says: format!(
                "On the mean {} times; 95 % of the parts {p95} times at most. Every pass wears the part.",
                said(&point.passes)
            ),
            kind: Kind::Bars(Bars { bars, mark: None, label: "% of the parts".to_owned() }),
        };
        blocks.push(Block::Chart(chart, grid));
    }
    blocks.push(Block::Table(paths(proof)));
    blocks
}

fn bar(name: String, value: f64) -> Bar {
    Bar { name, value, shown: format!("{value:.2} %"), ..Bar::default() }
}

fn paths(proof: &Proof<'_>) -> Grid {
    let mut grid = Grid::new(
        "Accepted and sent off",
        vec![
            words("Station"),
            numbers("Taken", "/min"),
            numbers("Go on", "%"),
            numbers("+-", "%"),
            numbers("Sent off for each that goes on", ""),
        ],
    );
    for station in proof.result.stations.iter().filter(|station| is_there(&station.taken_per_hour)) {
        let Some(path) = &station.path else { continue };
        grid.row(vec![
            word(station.name.clone()),
            cell(&station.taken_per_hour, 1.0 / 60.0, 2),
            cell(&path.accepted_share, 100.0, 2),
            half(&path.accepted_share, 100.0, 2),
            cell(&path.recirculation_ratio, 1.0, 3),
        ]);
    }
    grid
}
