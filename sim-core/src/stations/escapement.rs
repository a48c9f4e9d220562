//! Escapement: releases parts by the stroke.
//!
//! **On demand** (default): a stroke starts when the place beyond can take what is released and `release`
//! parts are at the end of the track; the parts are taken then, and are handed on at the end of the stroke.
//! **On a clock**: a stroke comes at every period, the first one period after the start; it releases up to
//! `release` parts that are there and for which there is room, at once; a stroke that releases none is
//! counted as empty. Held or off it makes no strokes, though the clock goes on. In the balance a stroke releases no
//! more than can ever be there, and find room.
//!
//! **In turn** (`in_turn`) a stroke on demand starts when it is its turn: of equal escapements one strokes at a time, so that
//! they make no more strokes than one does. On a clock a stroke releases nothing if it is not its turn. All parts of a stroke
//! are one turn. In the balance equal ones on one fixed clock all have their turn in a period; with periods that vary there
//! are bounds, from one of them in a period to all.
//!
//! **Jams by part:** every part of a stroke has its chance at the start, at the end, and as it goes on; what goes on
//! after it waits until the jam is cleared. On a clock a stroke takes no time: parts jam after they have gone on.

use super::Station;
use super::alarm::Alarm;
use super::blueprint::{Blueprint, ExitSpec, Site, To, TrafficSite, Turns, read_to};
use super::dice::Dice;
use crate::kernel::{Exit, Floor, Inlets, Message, Moment, Note, Observer, Offer, Sampler, State, StationId};
use crate::part::{Nanos, Part};
use crate::terms::kind::Kind;
use crate::terms::law::Law;
use crate::terms::law_form::law;
use crate::terms::stops::MomentWord;
use crate::text::fields::Object;
use crate::text::forms::{count, one_of};
use crate::units::Dimension;

/// State of an escapement.
#[derive(Clone, Debug)]
pub struct Escapement {
    me: StationId,
    alarm: Alarm,
    inlets: Inlets,
    exit: Exit,
    release: u32,
    stroke: Sampler,
    on_clock: bool,
    luck: Dice,
    moving: Vec<Part>,
    busy: bool,
    started: bool,
}

impl Escapement {
    /// An escapement at rest. On a clock, `stroke` is the period.
    #[expect(clippy::too_many_arguments, reason = "a plain list of what the scenario says of an escapement")]
    pub fn new(
        me: StationId,
        alarm: Alarm,
        inlets: Inlets,
        exit: Exit,
        release: u32,
        stroke: Sampler,
        on_clock: bool,
        luck: Dice,
    ) -> Self {
        let moving = Vec::with_capacity(release as usize);
        Escapement {
            me,
            alarm,
            inlets,
            exit,
            release,
            stroke,
            on_clock,
            luck,
            moving,
            busy: false,
            started: false,
        }
    }

    pub(super) fn is_on_clock(&self) -> bool {
        self.on_clock
    }

    pub(super) fn seed(&mut self, seed: u64, replication: u64) {
        self.luck.seed(seed, replication);
    }

    /// Starts with a finished part, which goes on as soon as there is room; on a clock it never holds one.
    pub(super) fn hold(&mut self, part: Part) -> bool {
        if !self.on_clock {
            self.moving.push(part);
        }
        !self.on_clock
    }

    pub(super) fn content(&self) -> usize {
        self.moving.len()
    }

    pub(super) fn fire<O: Observer>(&mut self, floor: &mut Floor<O>) {
        self.alarm.spent();
        if self.on_clock {
            self.clock_stroke(floor);
        } else if self.busy {
            self.busy = false;
            self.jams(floor, Moment::End);
        }
    }

    /// Sets the clock to the next stroke.
    fn wind<O: Observer>(&mut self, floor: &mut Floor<O>) {
        let period = self.luck.time(floor, self.me, &self.stroke).max(1);
        self.alarm.set(floor, floor.now + period);
    }

    fn clock_stroke<O: Observer>(&mut self, floor: &mut Floor<O>) {
        // Before a jam can strike: the clock stands still with the station.
        self.wind(floor);
        let mut released = 0;
        while released < self.release && floor.may_start(self.me) && floor.is_open(self.me, self.exit) {
            let Offer::Ready(place) = floor.offer(self.me, &self.inlets) else { break };
            let part = floor.take(self.me, place);
            floor.keep_turn(self.exit, true);
            let handed = floor.hand_over(self.me, 0, self.exit, &part);
            assert!(handed, "an escapement on a clock releases only into an open exit");
            released += 1;
            // What has gone before it stands is a part of this stroke; the others stay on the track.
            floor.jams(self.me, &part, Moment::After);
        }
        if released > 0 {
            floor.end_turn(self.me, self.exit);
        }
        // Off or held it makes no stroke.
        if released == 0 && floor.may_start(self.me) {
            floor.note(self.me, Note::EmptyStroke, None);
        }
    }

    /// Gives a jam at `moment` its chance with every part of the stroke.
    fn jams<O: Observer>(&self, floor: &mut Floor<O>, moment: Moment) {
        for part in &self.moving {
            floor.jams(self.me, part, moment);
        }
    }

    #[inline(never)]
    pub(super) fn settle<O: Observer>(&mut self, floor: &mut Floor<O>) {
        if self.on_clock {
            if !self.started {
                self.started = true;
                self.wind(floor);
            }
            // Between strokes nothing is in work.
            if !floor.may_start(self.me) {
                return floor.set_idle(self.me, false);
            }
            return floor.set_state(self.me, State::Working);
        }
        if self.busy {
            // After a stop in mid-stroke the state is still that of the stop.
            return floor.set_state(self.me, State::Working);
        }
        if !self.moving.is_empty() && !self.hand_on(floor) {
            return;
        }
        let open = self.is_open(floor);
        let mut due = Nanos::MAX;
        let mut demanded = false;
        if floor.may_start(self.me) {
            let (ready, next) = self.ready(floor);
            demanded = ready;
            due = next;
            if ready && open {
                return self.start(floor);
            }
            if ready && let Exit::Store(place) = self.exit {
                floor.wait_for_room(self.me, place);
            }
        }
        if !demanded && let Exit::Store(place) = self.exit {
            floor.stop_waiting(self.me, place);
        }
        self.alarm.set(floor, due);
        floor.set_idle(self.me, demanded && !open);
    }

    /// Hands on what the stroke has released; true when all has gone.
    fn hand_on<O: Observer>(&mut self, floor: &mut Floor<O>) -> bool {
        while let Some(part) = self.moving.first().copied() {
            floor.keep_turn(self.exit, self.moving.len() > 1);
            if !floor.hand_over(self.me, 0, self.exit, &part) {
                floor.set_idle(self.me, true);
                return false;
            }
            self.moving.remove(0);
            if floor.jams(self.me, &part, Moment::After) {
                return false;
            }
        }
        true
    }

    /// Whether the place beyond can take all that a stroke releases.
    fn is_open<O: Observer>(&self, floor: &Floor<O>) -> bool {
        let fits = match self.exit {
            Exit::Leave | Exit::Hand(_) => true,
            Exit::Store(place) => {
                let place = floor.place(place);
                place.capacity().saturating_sub(place.len()) >= self.release
            }
        };
        fits && floor.is_open(self.me, self.exit)
    }

    fn ready<O: Observer>(&mut self, floor: &mut Floor<O>) -> (bool, Nanos) {
        match floor.offer(self.me, &self.inlets) {
            Offer::Ready(_) if self.release == 1 => (true, Nanos::MAX),
            Offer::Ready(place) => {
                let place = floor.place(place);
                if place.counts().is_some() {
                    return (place.is_endless() || place.len() >= self.release, Nanos::MAX);
                }
                match place.there_at(self.release - 1) {
                    Some(due) if due <= floor.now => (true, Nanos::MAX),
                    Some(due) => (false, due),
                    None => (false, Nanos::MAX),
                }
            }
            Offer::Due(at) => (false, at),
            Offer::Nothing => (false, Nanos::MAX),
        }
    }

    fn start<O: Observer>(&mut self, floor: &mut Floor<O>) {
        // It waits no longer: the room beyond is not kept from others for the time of the stroke.
        if let Exit::Store(place) = self.exit {
            floor.stop_waiting(self.me, place);
        }
        for _ in 0..self.release {
            if let Offer::Ready(place) = floor.offer(self.me, &self.inlets) {
                self.moving.push(floor.take(self.me, place));
            }
        }
        self.busy = true;
        let time = self.luck.time(floor, self.me, &self.stroke);
        self.alarm.set(floor, floor.now + time);
        floor.set_state(self.me, State::Working);
        self.jams(floor, Moment::Start);
    }

    pub(super) fn message(&mut self, message: Message) {
        match message {
            Message::Thawed(stood) => self.alarm.shift(stood),
            Message::Redirect(_) | Message::Attended(_) => {}
        }
    }
}

/// An escapement as the file states it.
#[derive(Debug, Clone)]
pub struct EscapementSpec {
    to: To,
    stroke: Law,
    release: u32,
    on_clock: bool,
}

/// Reads an escapement.
pub fn read(object: &mut Object<'_>) -> EscapementSpec {
    const STARTS: &[(&str, bool, &str)] = &[
        ("on demand", false, "when the place beyond can take what is released"),
        ("on a clock", true, "at every `stroke` time; strokes that find nothing are counted as empty"),
    ];
    EscapementSpec {
        to: read_to(object),
        stroke: object.required(
            "stroke",
            law(Dimension::Time).positive().usual("0.25 s", "1 s", "0.25 to 1 s"),
            "Time of a stroke, from release until the part is beyond; on a clock, its period",
        ),
        release: object.optional("release", count().at_least(1).at_most(1000), "1", "Parts per stroke")
            as u32,
        on_clock: object.optional("strokes", one_of(STARTS), "on demand", "When a stroke starts"),
    }
}

impl Blueprint for EscapementSpec {
    fn exits(&self) -> Vec<ExitSpec> {
        vec![ExitSpec { key: "to", to: self.to.clone() }]
    }

    fn takes_at_once(&self) -> Vec<u32> {
        vec![if self.on_clock { 1 } else { self.release }]
    }

    fn takes_up_to(&self, _kinds: &[Kind]) -> Option<f64> {
        self.on_clock.then(|| f64::from(self.release))
    }

    fn releases_at_once(&self) -> bool {
        self.on_clock
    }

    fn stand_at_most(&self) -> u32 {
        self.release
    }

    fn room_at_once(&self) -> u32 {
        if self.on_clock { 1 } else { self.release }
    }

    fn jam_moments(&self) -> (&'static [MomentWord], &'static str) {
        if self.on_clock {
            return (
                &[MomentWord::After],
                "a stroke on a clock takes no time: a part jams when it has gone on",
            );
        }
        (MomentWord::ALL, "")
    }

    fn traffic(&self, traffic: &mut TrafficSite<'_>) {
        traffic.places = f64::from(self.release);
        if self.on_clock {
            traffic.places = traffic.places.min(traffic.most_before).min(traffic.most_beyond);
        }
        traffic.turns = match self.on_clock {
            true if self.stroke.is_fixed() => Turns::AtOnce,
            true => Turns::Between,
            false => Turns::OneByOne,
        };
        traffic.seconds.fill(self.stroke.mean());
    }

    fn build(&self, site: &mut Site<'_>) -> Station {
        for place in site.inlets.places.clone() {
            site.wake_until(place, self.release);
        }
        let (alarm, stroke, luck) = (site.alarm(), site.law(&self.stroke), site.dice("stroke"));
        let (inlets, exit) = (site.inlets.clone(), site.exits[0]);
        Station::Escapement(Escapement::new(
            site.me,
            alarm,
            inlets,
            exit,
            self.release,
            stroke,
            self.on_clock,
            luck,
        ))
    }
}

#[cfg(test)]
mod tests {
    use crate::kernel::Note;
    use crate::stations::trial::{Trial, times};

    fn line(escapement: &str, work: &str) -> Trial {
        Trial::new(
            &format!(
                r#"{{"id": "F", "type": "work", "endless": true, "time": "0.1 s"}},
                {{"id": "T", "type": "track", "capacity": 9, "travel": "0 s"}},
                {{"id": "E", "type": "escapement", {escapement}, "stroke": "0.5 s"}},
                {{"id": "U", "type": "track", "capacity": 4, "travel": "0 s"}},
                {{"id": "W", "type": "work", "time": "{work}"}}"#
            ),
            "",
        )
    }

    /// Two parts are there at 0.2 s. W takes one at 0.7 s, 1.7 s and so on; beyond there is room for two as long as two at
    /// most stand there.
    #[test]
    fn a_stroke_starts_when_its_parts_and_their_room_are_there() {
        let trial = line(r#""release": 2"#, "1 s");
        let run = trial.run(0, 5.0);
        let out = [[0.7; 2], [1.2; 2], [2.2; 2], [4.2; 2]].concat();
        assert_eq!(times(&run, trial.post("E"), Note::Exit(0)), out);
        let took = [[0.2; 2], [0.7; 2], [1.7; 2], [3.7; 2]].concat();
        assert_eq!(times(&run, trial.post("E"), Note::Took), took, "the parts are taken at the start");
        // The balance: two parts in half a second.
        let capacity = trial.balance().stations[2].capacity_per_min.expect("a capacity");
        assert!((capacity - 240.0).abs() < 1e-9, "{capacity}");
    }

    /// Three escapements that release in turn, in an hour: strokes, parts, and the parts by the balance.
    fn in_turn(escapement: &str) -> (f64, (f64, f64)) {
        let trial = Trial::new(
            &format!(
                r#"{{"id": "F", "type": "work", "endless": true, "time": "0.05 s"}},
                {{"id": "T", "type": "track", "capacity": 40, "travel": "0 s"}},
                {{"id": "E", "type": "escapement", "count": 3, "in_turn": true, {escapement}}},
                {{"id": "U", "type": "track", "capacity": 40, "travel": "0 s"}},
                {{"id": "W", "type": "work", "time": "0.05 s"}}"#
            ),
            "",
        );
        let run = trial.run(0, 3600.0);
        let of = &trial.balance().stations[2];
        let hourly = |per_min: Option<f64>| 60.0 * per_min.expect("a capacity");
        let bounds = (hourly(of.capacity_per_min), hourly(of.capacity_at_most_per_min));
        let names = ["E 1", "E 2", "E 3"].map(|name| times(&run, trial.post(name), Note::Exit(0)));
        // Strictly in turn: nobody is more than one stroke ahead.
        let counts: Vec<usize> = names.iter().map(Vec::len).collect();
        assert!(counts.iter().max() <= counts.iter().min().map(|few| few + 3).as_ref(), "{counts:?}");
        (counts.iter().sum::<usize>() as f64, bounds)
    }

    #[test]
    fn in_turn_one_strokes_at_a_time() {
        for (release, parts) in [(1, 3600.0), (2, 7200.0)] {
            let (made, bounds) = in_turn(&format!(r#""stroke": "1 s", "release": {release}"#));
            assert!((made - parts).abs() < 5.0, "{made} of {parts}");
            assert!((bounds.0 - parts).abs() < 1e-6 && (bounds.1 - parts).abs() < 1e-6, "{bounds:?}");
        }
        // A mean stroke of a second, exponential: 3600 strokes in an hour, give or take 60 times six.
        let (made, bounds) = in_turn(r#""stroke": {"law": "exponential", "mean": "1 s"}"#);
        assert!((made - 3600.0).abs() < 360.0 && (bounds.0 - 3600.0).abs() < 1e-6, "{made} {bounds:?}");
    }

    #[test]
    fn in_turn_on_a_clock_a_turn_is_a_stroke() {
        let (made, bounds) = in_turn(r#""stroke": "1 s", "strokes": "on a clock", "release": 2"#);
        assert!((made - 21600.0).abs() < 20.0, "two parts of each of three in every second: {made}");
        assert!((bounds.0 - 21600.0).abs() < 1e-6 && (bounds.1 - 21600.0).abs() < 1e-6, "{bounds:?}");
        // Clocks without memory: whose turn it is takes a mean period each time.
        let clock = r#""stroke": {"law": "exponential", "mean": "1 s"}, "strokes": "on a clock""#;
        let (made, bounds) = in_turn(clock);
        assert!((made - 3600.0).abs() < 360.0, "{made}");
        assert!((bounds.0 - 3600.0).abs() < 1e-6 && (bounds.1 - 10800.0).abs() < 1e-6, "{bounds:?}");
    }

    /// E 1 releases two parts, then E 2 does.
    #[test]
    fn all_parts_of_a_stroke_are_one_turn() {
        for strokes in ["on demand", "on a clock"] {
            let trial = Trial::new(
                &format!(
                    r#"{{"id": "F", "type": "work", "endless": true, "time": "0.1 s"}},
                    {{"id": "T", "type": "track", "capacity": 40, "travel": "0 s"}},
                    {{"id": "E", "type": "escapement", "count": 2, "in_turn": true, "release": 2, "stroke": "1 s",
                    "strokes": "{strokes}"}},
                    {{"id": "U", "type": "track", "capacity": 40, "travel": "0 s"}},
                    {{"id": "W", "type": "work", "time": "0.1 s"}}"#
                ),
                "",
            );
            let run = trial.run(0, 30.0);
            let notes = run.floor.observer.1.notes.iter();
            let who = notes.filter(|(_, _, note)| *note == Note::Exit(0)).map(|(_, who, _)| *who);
            let equals = [trial.post("E 1"), trial.post("E 2")];
            let order: Vec<usize> =
                who.filter_map(|who| equals.iter().position(|equal| *equal == who)).collect();
            let wanted: Vec<usize> = (0..order.len()).map(|n| n / 2 % 2).collect();
            assert!(order.len() > 50, "{strokes}: {}", order.len());
            assert_eq!(order, wanted, "{strokes}");
        }
    }

    #[test]
    fn on_a_clock_strokes_come_at_every_period_and_may_be_empty() {
        let trial = line(r#""strokes": "on a clock""#, "0.8 s");
        let run = trial.run(0, 7.9);
        // A stroke every 0.5 s; four stand beyond after some, and a stroke for which there is no room releases none.
        let (out, empty) =
            (times(&run, trial.post("E"), Note::Exit(0)), times(&run, trial.post("E"), Note::EmptyStroke));
        let mut all = [out.clone(), empty.clone()].concat();
        all.sort_by(f64::total_cmp);
        let strokes: Vec<f64> = (1..=15).map(|n| 0.5 * f64::from(n)).collect();
        assert_eq!(all, strokes, "each stroke releases one or none");
        // W takes at 0.5, 1.3, 2.1 ... 7.7 s: four stand beyond from 5.5 s to 6.1 s, and from 7 s to 7.7 s.
        assert_eq!(empty, [6.0, 7.5]);
        assert_eq!(times(&run, trial.post("W"), Note::Took).len(), 10);
    }
}
