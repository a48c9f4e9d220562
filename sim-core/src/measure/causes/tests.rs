//! Lines on which the cause of each starved second is known.

use super::{Cause, Causes, Particular};
use crate::kernel::state::N_STATES;
use crate::kernel::{State, StationId};
use crate::measure::Tally;
use crate::network::compile;
use crate::part::SECOND;
use crate::replication::Replica;
use crate::scenario;

/// Seconds by what they are charged to, in words.
type Seconds = Vec<(String, f64)>;

/// Starved seconds of the point of use by cause, in words, of one replication; they are checked to add up to the
/// starved time of the time account.
fn causes(stations: &str, more: &str, seconds: f64) -> Seconds {
    causes_and_states(stations, more, seconds).0
}

/// The same, and the seconds that each station spent in each state, in the same words.
fn causes_and_states(stations: &str, more: &str, seconds: f64) -> (Seconds, Seconds) {
    let text = format!(r#"{{"feedproof": 1, "stations": [{stations}] {more}}}"#);
    let checked = scenario::read(&text);
    let Some(scenario) = checked.scenario else { panic!("a test's line is sound: {:#?}", checked.problems) };
    let plan = compile(&scenario);
    let observers = (Tally::new(&plan.tally), Causes::new(&plan.causes));
    let mut replica = Replica::new(&plan, 1, 0, observers);
    let end = (seconds * SECOND as f64) as u64;
    replica.run_until(end);
    let (tally, causes) = &mut replica.floor.observer;
    tally.close(end);
    causes.close(end);
    let mut all = Vec::new();
    for (number, point) in plan.tally.points.iter().enumerate() {
        let charges = causes.charges(number);
        let starved = tally.time[point.ix()][State::Starved as usize];
        assert_eq!(charges.iter().sum::<u64>(), starved, "every starved second has its cause");
        for (ix, &charge) in charges.iter().enumerate().filter(|(_, charge)| **charge > 0) {
            let post = |station| name(&plan.names.posts, station);
            let word = match plan.causes.cause(ix) {
                Cause::At(station, state) => format!("{} {}", post(station), state.word()),
                Cause::Because(number) => match plan.causes.particular[usize::from(number)] {
                    Particular::HeldBy { station, sensor } => {
                        format!("{} held by {}", post(station), post(sensor))
                    }
                    Particular::SlowedBy { station, sensor } => {
                        format!("{} slowed by {}", post(station), post(sensor))
                    }
                    Particular::Full(station) => format!("{} full", post(station)),
                    Particular::Reach { station, reach } => {
                        format!("{} waiting for {}", post(station), plan.names.reaches[usize::from(reach)])
                    }
                },
                Cause::Recirculating => "recirculating".to_owned(),
                Cause::FillingUp => "filling up".to_owned(),
            };
            all.push((word, charge as f64 / SECOND as f64));
        }
    }
    all.sort_by(|a, b| a.0.cmp(&b.0));
    let of_post = |(ix, post): (usize, &String)| {
        let time: &[u64; N_STATES] = &tally.time[ix];
        State::ALL
            .map(|state| (format!("{post} {}", state.word()), time[state as usize] as f64 / SECOND as f64))
    };
    let states = plan.names.posts.iter().enumerate().flat_map(of_post).collect();
    (all, states)
}

fn name(posts: &[String], station: StationId) -> &str {
    &posts[station.ix()]
}

fn of(list: &[(&str, f64)]) -> Seconds {
    list.iter().map(|(word, time)| ((*word).to_owned(), *time)).collect()
}

/// What one cause is charged with, s.
fn charge(found: &[(String, f64)], word: &str) -> f64 {
    found.iter().find(|(known, _)| known == word).map_or(0.0, |(_, time)| *time)
}

mod gaps;
mod jams;
mod slow;
