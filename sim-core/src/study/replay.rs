//! Replay: a stretch of one shift as a film with the names that belong to it, coded in few bytes.
//!
//! The code is made for a small reader in any language. The stream is a sequence of records, each of two numbers: frames
//! since the last record, and a code; a code of the sort `level` is followed by a third, the new level. Numbers are written
//! seven bits at a time, the lowest first, all bytes but the last with their highest bit set (LEB128, as in DWARF 5, section
//! 7.6). What a code means stands in a table, the most frequent first, so that most records take two bytes. Invariant: what
//! is shown is the shift that a run counts under the same seed and number.

use super::run::RunError;
use super::shift::{film_shift, minutes_of_shift};
use crate::kernel::{Exit, PlaceId, State, StationId};
use crate::measure::{FRAME, Film, Scene};
use crate::network::Plan;
use crate::part::{Nanos, SECOND};
use crate::scenario::Scenario;
use schemars::JsonSchema;
use serde::Serialize;
use std::collections::BTreeMap;

/// Which shift of a run is shown.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum WhichShift {
    /// The one with the lowest rate.
    Worst,
    /// The one in the middle; the lower one of two.
    Median,
    /// The one with the highest rate.
    Best,
    /// The one with this number.
    Number(u64),
}

impl WhichShift {
    /// Its number, given the rate of each; the first among equals. None if there is no such shift.
    pub fn among(self, rates: &[f64]) -> Option<u64> {
        let mut order: Vec<usize> = (0..rates.len()).collect();
        order.sort_by(|a, b| rates[*a].total_cmp(&rates[*b]));
        let ix = match self {
            WhichShift::Worst => order.first().copied(),
            WhichShift::Median => order.get(rates.len().saturating_sub(1) / 2).copied(),
            WhichShift::Best => {
                let best = order.last().map(|ix| rates[*ix])?;
                order.iter().copied().find(|ix| rates[*ix] == best)
            }
            WhichShift::Number(number) => usize::try_from(number).ok().filter(|ix| *ix < rates.len()),
        };
        ix.map(|ix| ix as u64)
    }
}

/// A station, attendant or sensor of the line.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, JsonSchema)]
pub struct ReplayPost {
    /// Its name; equal stations are numbered.
    pub name: String,
    /// Which station of the file it is, from 0; none for attendants, sensors and what is no station of the file.
    pub station: Option<usize>,
    /// For each exit the place into which it gives; null: out of the line.
    pub exits: Vec<Option<u16>>,
    /// The place that is the station's own body, such as the track of a track.
    pub body: Option<u16>,
}

/// Where parts stand.
#[derive(Debug, Clone, PartialEq, Serialize, JsonSchema)]
pub struct ReplayPlace {
    /// Its name.
    pub name: String,
    /// Most parts; none: no limit.
    pub capacity: Option<u32>,
    /// Time to travel through at full speed, s; 0 for a bin or a hand.
    pub travel_s: f64,
}

/// What a code stands for.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Serialize, JsonSchema)]
#[serde(rename_all = "snake_case", tag = "is")]
pub enum ReplayCode {
    /// One part more in a place.
    Rise {
        /// Number of the place.
        place: u16,
    },
    /// One part less in a place.
    Fall {
        /// Number of the place.
        place: u16,
    },
    /// A new level of a place, which follows.
    Level {
        /// Number of the place.
        place: u16,
    },
    /// A new state.
    State {
        /// Number of the post.
        post: u16,
        /// The state.
        state: State,
    },
    /// A part given on.
    Gave {
        /// Number of the post.
        post: u16,
        /// Number of the exit.
        exit: u8,
        /// Whether the part has a defect, or is foreign.
        bad: bool,
    },
}

/// A film with its names.
#[derive(Debug, Clone, PartialEq, Serialize, JsonSchema)]
pub struct Replay {
    /// Number of the shift.
    pub replication: u64,
    /// Seed of all luck.
    pub seed: u64,
    /// Where in the shift it begins, s.
    pub from_s: f64,
    /// Length of a frame, s.
    pub frame_s: f64,
    /// Number of frames.
    pub frames: u32,
    /// Whether it ends early because there was too much to show.
    pub is_cut: bool,
    /// Stations by rank, then attendants, then sensors.
    pub posts: Vec<ReplayPost>,
    /// Places by number.
    pub places: Vec<ReplayPlace>,
    /// Level of each place at the beginning.
    pub levels: Vec<u32>,
    /// State of each post at the beginning.
    pub states: Vec<State>,
    /// Meaning of the codes.
    pub codes: Vec<ReplayCode>,
    /// The records; not a part of the document, but to be put beside it as a writer sees fit.
    #[serde(skip)]
    pub stream: Vec<u8>,
}

/// Films the span `from..to`, ns, of a shift.
///
/// # Errors
/// What made the shift worthless; see [`RunError`].
pub fn replay(
    scenario: &Scenario,
    plan: &Plan,
    seed: u64,
    number: u64,
    (from, to): (Nanos, Nanos),
) -> Result<Replay, RunError> {
    let to = to.min(plan.close_ns);
    let film = Film::new(from.min(to), to, plan.names.posts.len(), plan.names.places.len());
    let film = film_shift(plan, seed, number, to, film)?;
    let (codes, stream) = coded(&film);
    Ok(Replay {
        replication: number,
        seed,
        from_s: from.min(to) as f64 / SECOND as f64,
        frame_s: FRAME as f64 / SECOND as f64,
        frames: film.n_frames(),
        is_cut: film.is_cut(),
        posts: posts(scenario, plan),
        places: places(plan),
        levels: film.first_levels().to_vec(),
        states: film.first_states().to_vec(),
        codes,
        stream,
    })
}

/// Where the stretch of so many minutes with the fewest good parts begins in the window of a shift, ns; the first among equals.
///
/// # Errors
/// As for [`replay`].
pub fn poorest(plan: &Plan, seed: u64, number: u64, minutes: usize) -> Result<Nanos, RunError> {
    const MINUTE: Nanos = 60 * SECOND;
    let (good, course) = minutes_of_shift(plan, seed, number);
    if let Some(fault) = course.fault {
        return Err(fault);
    }
    let first = (plan.open_ns.div_ceil(MINUTE) as usize).min(good.len());
    // The sum over no minutes is 0 everywhere: then the window begins it.
    let sums = good[first..].windows(minutes.max(1)).map(|minutes| minutes.iter().sum::<u64>());
    let at = sums.enumerate().min_by_key(|(_, sum)| *sum).map_or(0, |(at, _)| at);
    Ok((first + at) as Nanos * MINUTE)
}

fn posts(scenario: &Scenario, plan: &Plan) -> Vec<ReplayPost> {
    let number = |exit: &Exit| match exit {
        Exit::Leave => None,
        Exit::Store(place) | Exit::Hand(place) => Some(place.0),
    };
    let post = |(ix, name): (usize, &String)| ReplayPost {
        name: name.clone(),
        station: plan
            .names
            .entries
            .get(ix)
            .copied()
            .flatten()
            .filter(|entry| *entry < scenario.stations.len()),
        exits: plan.links.exits.get(ix).map_or_else(Vec::new, |exits| exits.iter().map(number).collect()),
        body: plan.links.bodies.get(ix).copied().flatten().map(|place| place.0),
    };
    plan.names.posts.iter().enumerate().map(post).collect()
}

fn places(plan: &Plan) -> Vec<ReplayPlace> {
    let place = |(place, name): (&crate::kernel::Place, &String)| ReplayPlace {
        name: name.clone(),
        capacity: Some(place.capacity()).filter(|capacity| *capacity != crate::kernel::UNLIMITED),
        travel_s: place.transit() as f64 / SECOND as f64,
    };
    plan.outfit.places.iter().zip(&plan.names.places).map(place).collect()
}

fn code_of(scene: Scene) -> ReplayCode {
    let place = |place: PlaceId| place.0;
    let post = |station: StationId| station.0;
    match scene {
        Scene::Rise(p) => ReplayCode::Rise { place: place(p) },
        Scene::Fall(p) => ReplayCode::Fall { place: place(p) },
        Scene::Level(p, _) => ReplayCode::Level { place: place(p) },
        Scene::State(station, state) => ReplayCode::State { post: post(station), state },
        Scene::Gave { station, exit, bad } => ReplayCode::Gave { post: post(station), exit, bad },
    }
}

/// The table of codes and the stream.
fn coded(film: &Film) -> (Vec<ReplayCode>, Vec<u8>) {
    let mut counts: BTreeMap<ReplayCode, u64> = BTreeMap::new();
    for (_, scene) in film.scenes() {
        *counts.entry(code_of(*scene)).or_default() += 1;
    }
    let mut codes: Vec<(ReplayCode, u64)> = counts.into_iter().collect();
    codes.sort_by_key(|(_, n)| std::cmp::Reverse(*n));
    let codes: Vec<ReplayCode> = codes.into_iter().map(|(code, _)| code).collect();
    let numbers: BTreeMap<ReplayCode, u32> = codes.iter().copied().zip(0..).collect();
    let (mut stream, mut last) = (Vec::new(), 0);
    for (frame, scene) in film.scenes() {
        put(&mut stream, frame - last);
        put(&mut stream, numbers[&code_of(*scene)]);
        if let Scene::Level(_, new) = scene {
            put(&mut stream, *new);
        }
        last = *frame;
    }
    (codes, stream)
}

/// Appends a number, seven bits at a time.
fn put(stream: &mut Vec<u8>, mut number: u32) {
    while number >= 0x80 {
        stream.push(number as u8 | 0x80);
        number >>= 7;
    }
    stream.push(number as u8);
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::{network, scenario};

    fn number(stream: &mut impl Iterator<Item = u8>) -> Option<u32> {
        let (mut value, mut shift) = (0, 0);
        loop {
            let byte = stream.next()?;
            value |= u32::from(byte & 0x7f) << shift;
            shift += 7;
            if byte < 0x80 {
                return Some(value);
            }
        }
    }

    fn film_of_default_line(hours: Nanos) -> Replay {
        let text = include_str!("../../../scenarios/knob-two-paths.json");
        let scenario = scenario::read(text).scenario.expect("the line is sound");
        let plan = network::compile(&scenario);
        replay(&scenario, &plan, 1, 0, (0, hours * 3600 * SECOND)).expect("the shift runs")
    }

    /// What the code tells adds up: parts given into a track less parts taken are its level.
    #[test]
    fn the_stream_reads_back_and_parts_add_up() {
        let film = film_of_default_line(1);
        let track = film.places.iter().position(|place| place.name == "track").unwrap() as u16;
        let (mut level, mut given, mut taken, mut frames) =
            (i64::from(film.levels[usize::from(track)]), 0, 0, 0);
        let start = level;
        let mut bytes = film.stream.iter().copied();
        while let Some(wait) = number(&mut bytes) {
            frames += wait;
            match film.codes[number(&mut bytes).unwrap() as usize] {
                ReplayCode::Rise { place } if place == track => level += 1,
                ReplayCode::Fall { place } if place == track => (level, taken) = (level - 1, taken + 1),
                ReplayCode::Gave { post, exit, .. } => {
                    let into = film.posts[usize::from(post)].exits[usize::from(exit)];
                    given += i64::from(into == Some(track));
                }
                ReplayCode::Level { .. } => _ = number(&mut bytes).unwrap(),
                ReplayCode::Rise { .. } | ReplayCode::Fall { .. } | ReplayCode::State { .. } => {}
            }
        }
        assert!(frames < film.frames && film.frames == 360_000);
        assert!(given > 4000, "{given}");
        assert_eq!(level, start + given - taken);
    }

    /// An hour of the default line takes under two megabytes in a file, in a code of 64 characters (4 for 3 bytes).
    #[test]
    fn an_hour_of_the_default_line_is_small() {
        let film = film_of_default_line(1);
        let names = serde_json::to_string(&film).unwrap().len();
        let bytes = film.stream.len() * 4 / 3 + names;
        assert!(bytes < 2_000_000, "{bytes}");
    }

    /// A machine that breaks down for half an hour after two hours of work: that is the hour to look at.
    #[test]
    fn the_poorest_hour_is_the_one_with_the_breakdown() {
        let text = r#"{"feedproof": 1, "stations": [{"id": "M", "type": "work", "endless": true, "time": "1 s",
            "breakdowns": [{"every": ["120 min"], "clock": "wall", "time": ["30 min"]}]}],
            "plan": {"shift": "4 h"}}"#;
        let scenario = scenario::read(text).scenario.expect("the line is sound");
        let plan = network::compile(&scenario);
        let at = poorest(&plan, 1, 0, 60).unwrap() / (60 * SECOND);
        assert!((90..=120).contains(&at), "minute {at}");
        assert_eq!(
            poorest(&plan, 1, 0, 600).unwrap(),
            0,
            "a shift shorter than the stretch is shown from its beginning"
        );
    }

    #[test]
    fn shifts_are_picked_by_their_rate() {
        let rates = [5.0, 1.0, 3.0, 5.0];
        let pick = |which: WhichShift| which.among(&rates);
        assert_eq!(pick(WhichShift::Worst), Some(1));
        assert_eq!(pick(WhichShift::Median), Some(2));
        assert_eq!(pick(WhichShift::Best), Some(0));
        assert_eq!(pick(WhichShift::Number(3)), Some(3));
        assert_eq!(pick(WhichShift::Number(4)), None);
        assert_eq!(WhichShift::Median.among(&[]), None);
    }
}
