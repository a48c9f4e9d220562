//! Film: what is needed to show a stretch of one replication again, in few bytes.
//!
//! An observer that notes how levels and states change and which parts are given on, in steps of [`FRAME`]. It knows no
//! names. Invariant: played from the start, levels and states at every frame are those of the replication at the end of
//! the frame.

use crate::kernel::{Note, Observer, PlaceId, State, StationId};
use crate::part::{Nanos, Part};

/// The step of a film, ns: ten milliseconds, below what an eye sees.
pub const FRAME: Nanos = 10_000_000;

/// Most scenes of a film; what comes after is not shot.
const SCENES_MAX: usize = 4_000_000;

/// Something to show.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Scene {
    /// A place has one part more.
    Rise(PlaceId),
    /// A place has one part less.
    Fall(PlaceId),
    /// A place has so many parts from now on.
    Level(PlaceId, u32),
    /// A station, attendant or sensor is in this state from now on.
    State(StationId, State),
    /// A station gave a part on.
    Gave {
        /// Which station.
        station: StationId,
        /// Through which of its exits.
        exit: u8,
        /// Whether the part has a defect, or is foreign.
        bad: bool,
    },
}

/// A stretch of a replication.
#[derive(Clone, Debug)]
pub struct Film {
    from: Nanos,
    to: Nanos,
    /// Level of each place when the film begins; after the run: of the replication at its end.
    levels: Vec<u32>,
    states: Vec<State>,
    /// Levels and states when the film begins.
    first: Option<(Vec<u32>, Vec<State>)>,
    scenes: Vec<(u32, Scene)>,
    cut: bool,
}

impl Film {
    /// A film of the span `from..to`, ns, of a line with so many posts and places.
    pub fn new(from: Nanos, to: Nanos, n_posts: usize, n_places: usize) -> Self {
        Film {
            from,
            to,
            levels: vec![0; n_places],
            states: vec![State::Starved; n_posts],
            first: None,
            scenes: Vec::new(),
            cut: false,
        }
    }

    /// Levels of the places when the film begins.
    pub fn first_levels(&self) -> &[u32] {
        self.first.as_ref().map_or(&self.levels, |first| &first.0)
    }

    /// States of stations, attendants and sensors when the film begins.
    pub fn first_states(&self) -> &[State] {
        self.first.as_ref().map_or(&self.states, |first| &first.1)
    }

    /// What happens, each with its frame, from 0.
    pub fn scenes(&self) -> &[(u32, Scene)] {
        &self.scenes
    }

    /// Number of frames.
    pub fn n_frames(&self) -> u32 {
        match self.scenes.last() {
            Some((last, _)) if self.cut => *last,
            Some(_) | None => ((self.to - self.from) / FRAME) as u32,
        }
    }

    /// Whether it was cut because there was too much to show.
    pub fn is_cut(&self) -> bool {
        self.cut
    }

    fn shoot(&mut self, now: Nanos, scene: Scene) {
        if now < self.from || now >= self.to || self.cut {
            return;
        }
        if self.scenes.len() >= SCENES_MAX {
            self.cut = true;
            return;
        }
        self.scenes.push((((now - self.from) / FRAME) as u32, scene));
    }

    /// Keeps how things are before the first change in the film.
    #[inline]
    fn begin(&mut self, now: Nanos) {
        if self.first.is_none() && now >= self.from {
            self.first = Some((self.levels.clone(), self.states.clone()));
        }
    }
}

impl Observer for Film {
    fn state(&mut self, now: Nanos, station: StationId, old: State, new: State) {
        self.begin(now);
        self.states[station.ix()] = new;
        if old != new {
            self.shoot(now, Scene::State(station, new));
        }
    }

    fn level(&mut self, now: Nanos, place: PlaceId, old: u32, new: u32) {
        self.begin(now);
        self.levels[place.ix()] = new;
        let scene = match new.wrapping_sub(old) {
            1 => Scene::Rise(place),
            u32::MAX => Scene::Fall(place),
            _ => Scene::Level(place, new),
        };
        self.shoot(now, scene);
    }

    fn note(&mut self, now: Nanos, station: StationId, note: Note, part: Option<&Part>) {
        if let Note::Exit(exit) = note {
            self.begin(now);
            let bad = part.is_some_and(|part| part.condition != 0);
            self.shoot(now, Scene::Gave { station, exit, bad });
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::measure::Tally;
    use crate::network::compile;
    use crate::part::SECOND;
    use crate::replication::Replica;

    const LINES: &[&str] = &[
        include_str!("../../../scenarios/starter.json"),
        include_str!("../../../scenarios/knob-two-paths.json"),
    ];

    /// Played through, a film ends with the levels and states of the replication, and its course is that of one that is
    /// not filmed.
    #[test]
    fn a_film_played_through_ends_as_the_replication_does() {
        for text in LINES {
            let plan = compile(&crate::scenario::read(text).scenario.expect("the line is sound"));
            let (from, to) = (90 * SECOND, 1200 * SECOND);
            let film = Film::new(from, to, plan.names.posts.len(), plan.names.places.len());
            let mut filmed = Replica::new(&plan, 3, 0, (film, Tally::new(&plan.tally)));
            filmed.run_until(to - 1);
            let mut plain = Replica::new(&plan, 3, 0, Tally::new(&plan.tally));
            plain.run_until(to - 1);
            assert_eq!(filmed.floor.observer.1.counts, plain.floor.observer.counts);
            let contents: Vec<u32> = (0..plan.names.places.len())
                .map(|place| filmed.floor.place(PlaceId(place as u16)).len())
                .collect();
            let film = filmed.floor.observer.0;
            let (mut levels, mut states) = (film.first_levels().to_vec(), film.first_states().to_vec());
            let mut gave = 0;
            for (frame, scene) in film.scenes() {
                assert!(*frame < film.n_frames());
                match *scene {
                    Scene::Rise(place) => levels[place.ix()] += 1,
                    Scene::Fall(place) => levels[place.ix()] -= 1,
                    Scene::Level(place, new) => levels[place.ix()] = new,
                    Scene::State(station, new) => states[station.ix()] = new,
                    Scene::Gave { .. } => gave += 1,
                }
            }
            assert_eq!(levels, contents);
            assert_eq!(states, film.states);
            assert!(gave > 100 && film.scenes().is_sorted_by_key(|(frame, _)| *frame));
        }
    }
}
