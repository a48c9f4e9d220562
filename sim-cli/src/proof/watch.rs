//! A shift to watch.

use super::{Proof, picture};
use crate::document::Block;
use crate::numbers::grouped;
use crate::replay;
use sim_core::part::Nanos;
use sim_core::study::{Replay, WhichShift};

/// A film, and which shift it is of.
#[derive(Debug)]
pub(crate) struct Film {
    pub(crate) replay: Replay,
    pub(crate) which: WhichShift,
    /// Good parts per minute of the shift.
    pub(crate) rate: f64,
}

/// The player, with what it shows in words.
pub(super) fn film(proof: &Proof<'_>) -> Vec<Block> {
    let Some(film) = proof.film else { return Vec::new() };
    let points: Vec<usize> = (0..proof.scenario.stations.len())
        .filter(|ix| proof.balance.point.at.contains(&proof.scenario.stations[*ix].id.value))
        .collect();
    vec![
        Block::Text(in_words(film)),
        Block::Film(replay::player(&film.replay, &picture(proof), &points)),
        Block::Text(
            "Dots are parts on their way, and within a box parts on its track or belt, as many as there is room to draw; squares \
             are parts with a defect. A box says what its station does, or how many parts it holds. On the bar: stops above; below, spells of a second or more without a part at the point of use."
                .to_owned(),
        ),
    ]
}

fn in_words(film: &Film) -> String {
    let replay = &film.replay;
    let which = match film.which {
        WhichShift::Worst => "the worst of the shifts that were run",
        WhichShift::Median => "the one in the middle of the shifts that were run",
        WhichShift::Best => "the best of the shifts that were run",
        WhichShift::Number(_) => "the one that was asked for",
    };
    let end = replay.from_s + f64::from(replay.frames) * replay.frame_s;
    let span = format!("{} to {}", clock(replay.from_s), clock(end));
    let cut = if replay.is_cut { " It ends early because there is too much to show." } else { "" };
    format!(
        "Shift {}, {which}, with {:.1} good parts a minute: from {span} of the shift.{cut}",
        grouped(replay.replication),
        film.rate
    )
}

/// A time of a shift as hours and minutes.
fn clock(seconds: f64) -> String {
    let minutes = (seconds / 60.0).round() as Nanos;
    format!("{}:{:02}", minutes / 60, minutes % 60)
}
