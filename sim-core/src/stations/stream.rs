//! Stream: parts that come from a process upstream, one at a time or in groups, on a clock of their own.
//!
//! **Timing.** The first arrival comes one spacing after the start. Spacing and group size are drawn by
//! law. Arrivals that find no room wait outside, in order, or are lost and counted. Held (by default it
//! freezes): the clock stands still, nothing comes. Stopped for a changeover: the clock goes on, nothing comes. Where more
//! wait outside than could ever be meant, the replication ends with an error.

use super::Station;
use super::alarm::Alarm;
use super::blueprint::{
    Blueprint, ExitSpec, Site, SourceTraffic, To, TrafficSite, check_kind, kind_named, read_part, read_to,
};
use super::dice::Dice;
use crate::diag::Diagnostics;
use crate::kernel::floor::WAITING_MAX;
use crate::kernel::{Exit, Floor, Message, Observer, Sampler, State, StationId};
use crate::part::Part;
use crate::terms::kind::Kind;
use crate::terms::law::Law;
use crate::terms::law_form::{HANDFUL_MAX, count_law, law};
use crate::terms::stops::MomentWord;
use crate::text::fields::Object;
use crate::text::forms::{Spanned, one_of};
use crate::units::Dimension;
use std::collections::VecDeque;

/// State of a stream.
#[derive(Clone, Debug)]
pub struct Stream {
    me: StationId,
    alarm: Alarm,
    kind: u8,
    exit: Exit,
    spacing: Sampler,
    group: Sampler,
    loses: bool,
    clock: Dice,
    parts: Dice,
    outside: VecDeque<Part>,
    started: bool,
}

impl Stream {
    /// A stream of `kind`; what finds no room is lost if `loses`, otherwise it waits.
    #[expect(clippy::too_many_arguments, reason = "a plain list of what the scenario says of a stream")]
    pub fn new(
        me: StationId,
        alarm: Alarm,
        kind: u8,
        exit: Exit,
        spacing: Sampler,
        group: Sampler,
        loses: bool,
        clock: Dice,
        parts: Dice,
    ) -> Self {
        let outside = VecDeque::new();
        Stream { me, alarm, kind, exit, spacing, group, loses, clock, parts, outside, started: false }
    }

    pub(super) fn seed(&mut self, seed: u64, replication: u64) {
        self.clock.seed(seed, replication);
        self.parts.seed(seed, replication);
    }

    /// Starts with a part that waits outside, unless those are lost.
    pub(super) fn hold(&mut self, part: Part) -> bool {
        if !self.loses {
            self.outside.push_back(part);
        }
        !self.loses
    }

    pub(super) fn content(&self) -> usize {
        self.outside.len()
    }

    pub(super) fn fire<O: Observer>(&mut self, floor: &mut Floor<O>) {
        self.alarm.spent();
        if self.outside.len() > WAITING_MAX {
            return floor.flood(self.me);
        }
        let n = self.group.draw_count(self.clock.stream());
        // During a changeover nothing comes, though the clock goes on.
        for _ in 0..if floor.may_start(self.me) { n } else { 0 } {
            let part = floor.create(self.me, self.kind, self.parts.stream());
            self.outside.push_back(part);
        }
        self.schedule(floor);
    }

    fn schedule<O: Observer>(&mut self, floor: &mut Floor<O>) {
        let spacing = self.clock.time(floor, self.me, &self.spacing);
        self.alarm.set(floor, floor.now + spacing);
    }

    #[inline(never)]
    pub(super) fn settle<O: Observer>(&mut self, floor: &mut Floor<O>) {
        if !self.started {
            self.started = true;
            self.schedule(floor);
        }
        while let Some(part) = self.outside.front().copied() {
            // Into a hand one by one, so that what is lost is known after the fixed point.
            if !floor.is_clear(self.exit) || !floor.hand_over(self.me, 0, self.exit, &part) {
                break;
            }
            self.outside.pop_front();
        }
        if self.loses {
            floor.looks.insert(self.me.0);
        }
        let waits = !self.outside.is_empty() || !floor.is_clear(self.exit);
        if waits || !floor.may_start(self.me) {
            floor.set_idle(self.me, waits);
        } else {
            floor.set_state(self.me, State::Working);
        }
    }

    /// After the fixed point: what has found no room is lost.
    pub(super) fn look<O: Observer>(&mut self, floor: &mut Floor<O>) {
        if let Exit::Hand(place) = self.exit
            && !floor.place(place).is_empty()
        {
            let part = floor.retract(place);
            floor.count_lost(self.me, &part);
            // The rest of the group had its chance to be taken from the hand in the same fixed point.
        }
        while let Some(part) = self.outside.pop_front() {
            floor.count_lost(self.me, &part);
        }
        if let Exit::Store(place) = self.exit {
            floor.stop_waiting(self.me, place);
        }
        floor.set_state(self.me, State::Working);
    }

    pub(super) fn bring(&mut self, kind: u8) {
        self.kind = kind;
    }

    pub(super) fn message(&mut self, message: Message) {
        match message {
            Message::Thawed(stood) => self.alarm.shift(stood),
            Message::Redirect(_) | Message::Attended(_) => {}
        }
    }
}

/// A stream as the file states it.
#[derive(Debug, Clone)]
pub struct StreamSpec {
    to: To,
    part: Option<Spanned<String>>,
    spacing: Law,
    group: Law,
    loses: bool,
}

/// Reads a stream.
pub fn read(object: &mut Object<'_>) -> StreamSpec {
    const OTHERWISE: &[(&str, bool, &str)] = &[
        ("waits", false, "it waits outside, in order of coming"),
        ("is lost", true, "it is lost and counted"),
    ];
    StreamSpec {
        to: read_to(object),
        part: read_part(object),
        spacing: object.required("spacing", law(Dimension::Time), "Time between arrivals"),
        group: object.optional("group", count_law().at_most(HANDFUL_MAX), "1", "Parts that come together"),
        loses: object.optional(
            "without_room",
            one_of(OTHERWISE),
            "waits",
            "What becomes of a part that finds no room",
        ),
    }
}

impl Blueprint for StreamSpec {
    fn exits(&self) -> Vec<ExitSpec> {
        vec![ExitSpec { key: "to", to: self.to.clone() }]
    }

    fn takes(&self) -> bool {
        false
    }

    fn freezes(&self) -> bool {
        true
    }

    fn brings(&self, kinds: &[Kind]) -> Option<u8> {
        Some(kind_named(kinds, self.part.as_ref()))
    }

    fn check(&self, kinds: &[Kind], problems: &mut Diagnostics) {
        check_kind(kinds, self.part.as_ref(), problems);
    }

    fn jam_moments(&self) -> (&'static [MomentWord], &'static str) {
        (&[], "a stream handles no part: give the jam to the station after it")
    }

    fn traffic(&self, traffic: &mut TrafficSite<'_>) {
        let kind = traffic.brought(self.part.as_ref());
        let most_per_s = self.group.mean() / self.spacing.mean();
        traffic.source = Some(SourceTraffic { kind, most_per_s, is_driven: true, waits_for_call: false });
    }

    fn build(&self, site: &mut Site<'_>) -> Station {
        let kind = site.kind(self.part.as_ref());
        let (spacing, group) = (site.law(&self.spacing), site.law(&self.group));
        let (clock, parts) = (site.dice("arrivals"), site.dice("parts"));
        let alarm = site.alarm();
        let exit = site.exits[0];
        Station::Stream(Stream::new(site.me, alarm, kind, exit, spacing, group, self.loses, clock, parts))
    }
}

#[cfg(test)]
mod tests {
    use crate::kernel::Note;
    use crate::stations::trial::{Trial, times};

    fn line(stream: &str, track: u32, work: &str) -> Trial {
        Trial::new(
            &format!(
                r#"{{"id": "S", "type": "stream", "spacing": "2 s", {stream}}},
                {{"id": "T", "type": "track", "capacity": {track}, "travel": "0 s"}},
                {{"id": "W", "type": "work", "time": "{work}"}}"#
            ),
            "",
        )
    }

    #[test]
    fn the_first_arrival_comes_one_spacing_after_the_start() {
        let trial = line(r#""group": 2"#, 9, "0.5 s");
        let run = trial.run(0, 6.9);
        assert_eq!(times(&run, trial.post("W"), Note::Took), [2.0, 2.5, 4.0, 4.5, 6.0, 6.5]);
        // The balance: two parts every two seconds, wanted or not.
        let supply = trial.balance().stations[0].supply.clone().expect("a source");
        assert!((supply.brings_per_min - 60.0).abs() < 1e-9 && supply.is_driven, "{supply:?}");
    }

    /// W takes one in 5 s, from 2 s on; one stands on the track; 50 have come by 101 s.
    #[test]
    fn what_finds_no_room_waits_outside_or_is_lost_and_counted() {
        for (without_room, lost) in [("waits", 0), ("is lost", 50 - 20 - 1)] {
            let trial = line(&format!(r#""without_room": "{without_room}""#), 1, "5 s");
            let run = trial.run(0, 101.0);
            let took: Vec<f64> = (0..20).map(|n| 2.0 + 5.0 * f64::from(n)).collect();
            assert_eq!(times(&run, trial.post("W"), Note::Took), took, "{without_room}");
            assert_eq!(times(&run, trial.post("S"), Note::Lost).len(), lost, "{without_room}");
        }
    }

    /// The sensor holds it from 8 s on, with 3 on the track, until W takes the last one at 11 s: three of its seconds pass
    /// by, and what was due at 10 s comes at 13 s.
    #[test]
    fn held_its_clock_stands_still() {
        let trial = Trial::new(
            r#"{"id": "S", "type": "stream", "spacing": "2 s"},
            {"id": "T", "type": "track", "capacity": 9, "travel": "0 s"},
            {"id": "W", "type": "work", "time": "9 s"}"#,
            r#", "sensors": [{"id": "E", "watches": "T", "high": 3, "low": 2, "holds": ["S"]}]"#,
        );
        let run = trial.run(0, 16.0);
        assert_eq!(times(&run, trial.post("S"), Note::Created), [2.0, 4.0, 6.0, 8.0, 13.0]);
    }
}
