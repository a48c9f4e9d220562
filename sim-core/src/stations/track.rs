//! Tracks and belts: blueprints whose running station is a [`Carrier`].
//!
//! **Track** (gravity or live): parts close up at its end. Capacity = parts, or length / part length.
//! **Belt**: driven; *accumulating* (parts close up, slipping) or *stopping* (the belt stands while its head
//! part can't leave). Entries keep a least spacing, if one is given. A **recirculation belt** brings rejects
//! back to an earlier point of the line; there the join's priority decides who goes first.
//!
//! In the balance a part keeps its room for as long as it travels: no more than capacity / travel time get through, nor
//! more than the spacing lets in.

use super::Station;
use super::blueprint::{Blueprint, ExitSpec, Site, To, TrafficSite, part_needs, read_to};
use super::carrier::Carrier;
use crate::diag::{Diagnostics, Place as FilePlace, Problem, code};
use crate::kernel::{Place, UNLIMITED};
use crate::part::{Nanos, SECOND};
use crate::terms::kind::Kind;
use crate::terms::stops::MomentWord;
use crate::text::fields::Object;
use crate::text::forms::{count, flag, length, less_helps, more_helps, one_of, speed, time};

/// Longest travel time, s: a day.
const TRAVEL_MAX_S: f64 = 86_400.0;

/// What sort of transporter it is.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
enum Sort {
    Track { live: bool },
    Belt { stops: bool, returns: bool },
}

/// A track or belt as the file states it.
#[derive(Debug, Clone)]
pub struct TrackSpec {
    sort: Sort,
    to: To,
    place: FilePlace,
    capacity: Option<u64>,
    unlimited: bool,
    length_m: Option<f64>,
    travel_s: f64,
    speed_m_s: Option<f64>,
    spacing_m: Option<f64>,
}

/// Reads a track.
pub fn read_track(object: &mut Object<'_>) -> TrackSpec {
    const SORTS: &[(&str, bool, &str)] = &[
        ("gravity", false, "parts slide by themselves; holds and breaks do not stop it"),
        ("live", true, "driven (vibratory, air, belt); holds and breaks stop it"),
    ];
    let live = object.optional("drive", one_of(SORTS), "gravity", "What moves the parts");
    read_common(object, Sort::Track { live }, false)
}

/// Reads a belt.
pub fn read_belt(object: &mut Object<'_>) -> TrackSpec {
    read_driven(object, false)
}

/// Reads a recirculation belt.
pub fn read_recirculation_belt(object: &mut Object<'_>) -> TrackSpec {
    read_driven(object, true)
}

fn read_driven(object: &mut Object<'_>, returns: bool) -> TrackSpec {
    const SORTS: &[(&str, bool, &str)] = &[
        ("accumulating", false, "the belt runs on, parts close up at its end"),
        ("stopping", true, "the belt stands while the part at its end can't leave"),
    ];
    let stops =
        object.optional("end", one_of(SORTS), "accumulating", "What happens while the end is not free");
    read_common(object, Sort::Belt { stops, returns }, true)
}

fn read_common(object: &mut Object<'_>, sort: Sort, may_be_unlimited: bool) -> TrackSpec {
    let capacity = object.maybe(
        "capacity",
        count().at_least(1).at_most(100_000_000),
        "Parts that fit; left out: length / part length (or / spacing)",
    );
    let length_m = object.maybe("length", more_helps(length().positive()), "Length in the direction of flow");
    let speed_m_s = object.maybe(
        "speed",
        speed().positive().usual("10 ft/min", "120 ft/min", "10 to 120 ft/min"),
        "Speed of the parts; gives the travel time from the length",
    );
    let travel = object.maybe(
        "travel",
        time().at_most("1 day"),
        "Travel time from entry to the end; left out: length / speed, or none",
    );
    let spacing_m = if may_be_unlimited {
        object.maybe(
            "spacing",
            less_helps(length().positive()),
            "Least distance between parts that enter; left out: none is kept",
        )
    } else {
        None
    };
    let unlimited = object.optional("unlimited", flag(), "false", "There is always room");
    let place = object.place();
    let mut spec = TrackSpec {
        sort,
        to: read_to(object),
        place,
        capacity,
        unlimited,
        length_m,
        travel_s: travel.unwrap_or(0.0),
        speed_m_s,
        spacing_m,
    };
    spec.resolve(object, travel);
    spec
}

impl TrackSpec {
    fn resolve(&mut self, object: &mut Object<'_>, travel: Option<f64>) {
        if !object.sound(&["capacity", "length", "speed", "travel", "spacing", "unlimited"]) {
            // Nobody knows what it holds: nothing is said of it.
            self.unlimited = true;
            return;
        }
        let fail = |object: &mut Object<'_>, key, message: &str, help: &str| {
            object.fail(key, Problem::new(code::BAD_CONNECTION, message).help(help));
        };
        if self.unlimited && self.capacity.is_some() {
            fail(object, "unlimited", "it has a `capacity` and is unlimited too", "take one of the two out");
        }
        if self.capacity.is_none() && self.length_m.is_none() && !self.unlimited {
            object.fail_here(
                Problem::new(code::MISSING_KEY, "how many parts fit is not given").expected(
                    "`capacity`, or `length` (with the `length` of the part), or \"unlimited\": true",
                ),
            );
        }
        match (travel, self.speed_m_s, self.length_m) {
            (Some(_), Some(_), _) => {
                fail(object, "travel", "`travel` and `speed` say the same twice", "take one out")
            }
            (None, Some(_), None) => fail(
                object,
                "speed",
                "a speed without a length gives no travel time",
                "give `length`, or `travel` instead of `speed`",
            ),
            (None, Some(speed), Some(length)) => self.travel_s = length / speed,
            (None | Some(_), None, _) => {}
        }
        if self.travel_s > TRAVEL_MAX_S {
            fail(object, "length", "parts travel for longer than a day", "check `length` and `speed`");
        }
        if self.spacing_m.is_some() && self.speed_m_s.is_none() {
            fail(object, "spacing", "a spacing needs the speed of the belt", "give `length` and `speed`");
        }
    }

    /// Parts that fit; `None` if the length of a part is needed and not known.
    fn capacity(&self, kinds: &[Kind]) -> Option<u32> {
        if self.unlimited {
            return Some(UNLIMITED);
        }
        if let Some(capacity) = self.capacity {
            return Some(capacity as u32);
        }
        let longest = kinds.iter().filter_map(|kind| kind.length_m).fold(0.0, f64::max);
        let pitch = self.spacing_m.unwrap_or(longest);
        // A little slack, so that 1.2 m of 40 mm parts are 30 and not 29.
        let fits = (self.length_m? / pitch * (1.0 + 1e-9)).floor();
        (pitch > 0.0).then(|| fits.clamp(1.0, 100_000_000.0) as u32)
    }

    fn spacing_s(&self) -> f64 {
        match (self.spacing_m, self.speed_m_s) {
            (Some(spacing), Some(speed)) => spacing / speed,
            (None, _) | (_, None) => 0.0,
        }
    }
}

/// Nanoseconds of a time in seconds.
pub(super) fn nanos(seconds: f64) -> Nanos {
    (seconds * SECOND as f64).round() as Nanos
}

impl Blueprint for TrackSpec {
    fn exits(&self) -> Vec<ExitSpec> {
        vec![ExitSpec { key: "to", to: self.to.clone() }]
    }

    fn body(&self, kinds: &[Kind], _name: &str) -> Option<Place> {
        // Where it can't be known, which is an error, nothing is said of it.
        let place = Place::fifo(self.capacity(kinds).unwrap_or(UNLIMITED), nanos(self.travel_s));
        let place = place.spaced(nanos(self.spacing_s()));
        Some(if matches!(self.sort, Sort::Belt { stops: true, .. }) { place.stopping() } else { place })
    }

    fn recirculates(&self) -> bool {
        matches!(self.sort, Sort::Belt { returns: true, .. })
    }

    fn starts_full(&self) -> bool {
        matches!(self.sort, Sort::Track { .. })
    }

    fn freezes(&self) -> bool {
        self.sort != (Sort::Track { live: false })
    }

    fn has_speed(&self) -> bool {
        self.freezes()
    }

    fn ignores_breaks(&self) -> bool {
        self.sort == (Sort::Track { live: false })
    }

    fn check(&self, kinds: &[Kind], problems: &mut Diagnostics) {
        if self.capacity(kinds).is_none() {
            for kind in kinds.iter().filter(|kind| kind.length_m.is_none()) {
                part_needs(
                    &self.place,
                    kind,
                    "length",
                    "a track whose capacity follows from its length",
                    problems,
                );
            }
        }
    }

    fn jam_moments(&self) -> (&'static [MomentWord], &'static str) {
        (&[MomentWord::Start, MomentWord::End], "on a track or belt parts jam when they enter")
    }

    fn traffic(&self, traffic: &mut TrafficSite<'_>) {
        // Each part keeps its room for as long as it travels, at least.
        let capacity = self.capacity(traffic.kinds).filter(|capacity| *capacity != UNLIMITED);
        let by_room = capacity.map_or(0.0, |capacity| self.travel_s / f64::from(capacity));
        let seconds = self.spacing_s().max(by_room);
        traffic.seconds.fill(seconds);
        // What comes together lies side by side.
        let least = (self.spacing_s() / f64::from(traffic.together)).max(by_room);
        traffic.sure = if seconds > 0.0 { least / seconds } else { 1.0 };
    }

    fn build(&self, site: &mut Site<'_>) -> Station {
        let Some(body) = site.body else { panic!("a track is built around its body") };
        let stops = matches!(self.sort, Sort::Belt { stops: true, .. });
        let alarm = (stops || self.spacing_m.is_some()).then(|| site.alarm());
        Station::Carrier(Carrier::new(site.me, alarm, body))
    }
}

#[cfg(test)]
mod tests;
