//! Elevator: what the file says of it.

use super::{Elevator, ElevatorSetup, Station, WhenFull};
use crate::diag::{Problem, code};
use crate::part::Nanos;
use crate::scenario::{Level, level};
use crate::stations::blueprint::{Blueprint, ExitSpec, Site, To, TrafficSite, Whose, read_to};
use crate::stations::track::nanos;
use crate::terms::law::Law;
use crate::terms::law_form::{HANDFUL_MAX, count_law};
use crate::text::fields::Object;
use crate::text::forms::{Chance, chance, length, less_helps, one_of, rate, speed, time};

/// An elevator as the file states it.
#[derive(Debug, Clone)]
pub struct ElevatorSpec {
    to: To,
    cleats_per_s: f64,
    lift_s: f64,
    per_cleat: Law,
    mark: Level,
    drop_back: Chance,
    when_full: WhenFull,
}

/// Fastest row of cleats, per second.
const CLEATS_MAX_PER_S: f64 = 1000.0;

/// Most parts aboard on the mean: each is kept apart.
const ABOARD_MAX: f64 = 1e6;

/// Reads an elevator.
pub fn read(object: &mut Object<'_>) -> ElevatorSpec {
    const FULL: &[(&str, WhenFull, &str)] = &[
        ("stops", WhenFull::Stops, "the whole lift stands until the landing parts have room"),
        ("spills back", WhenFull::SpillsBack, "what finds no room falls back into the bin and is counted"),
        ("queues", WhenFull::Queues, "landed parts wait at the top, the lift runs on"),
    ];
    let to = read_to(object);
    let cleats = object.maybe(
        "cleats",
        rate().positive().at_most("1000 /s").usual("15 /min", "90 /min", "15 to 90 cleats a minute"),
        "Cleats that pass the bin per time; left out: speed / spacing",
    );
    let spacing_m = object.maybe(
        "spacing",
        less_helps(length().positive()),
        "Distance between cleats; gives `cleats` with the speed",
    );
    let speed_m_s = object.maybe(
        "speed",
        speed().positive().usual("10 ft/min", "60 ft/min", "10 to 60 ft/min"),
        "Speed of the cleats; gives `cleats` with the spacing and `lift` with the length",
    );
    let length_m = object.maybe(
        "length",
        length().positive(),
        "Way from the pick to the top; gives `lift` with the speed",
    );
    let lift_s = object.maybe(
        "lift",
        time().at_most("1 day"),
        "Time from the pick to the landing; left out: length / speed",
    );
    let drop_back = object.optional(
        "drop_back",
        chance().usual(0.0, 0.2, "2 to 20 %"),
        "0",
        "Chance of each picked part to fall back into the bin at once",
    );
    if drop_back.value() >= 1.0 {
        object.fail("drop_back", Problem::new(code::OUT_OF_RANGE, "all parts fall back, none is lifted"));
    }
    let spec = ElevatorSpec {
        to,
        cleats_per_s: cleat_rate(object, cleats, spacing_m, speed_m_s),
        lift_s: lift_time(object, lift_s, length_m, speed_m_s),
        per_cleat: object.required(
            "per_cleat",
            count_law().positive().at_most(HANDFUL_MAX).usual("0.7", "200", "0.7 to 3 large parts or 5 to 200 small ones"),
            "Parts that a cleat picks out of a well filled bin",
        ),
        mark: object.optional(
            "mark",
            level(),
            "0",
            "Content of the bin, in parts or as a share of its capacity, below which picks fall linearly to zero",
        ),
        drop_back,
        when_full: object.optional("when_full", one_of(FULL), "stops", "What happens when parts land and the place above is full"),
    };
    let aboard = spec.cleats_per_s * spec.lift_s * spec.per_cleat.mean();
    if aboard > ABOARD_MAX && object.sound(&["cleats", "spacing", "speed", "length", "lift", "per_cleat"]) {
        let problem =
            Problem::new(code::OUT_OF_RANGE, format!("{aboard:.0} parts are aboard of a full lift"));
        let key = if object.has("lift") { "lift" } else { "length" };
        object.fail(
            key,
            problem.expected("a million at most: cleats a second x time of the lift x parts per cleat"),
        );
    }
    spec
}

fn cleat_rate(
    object: &mut Object<'_>,
    cleats: Option<f64>,
    spacing_m: Option<f64>,
    speed_m_s: Option<f64>,
) -> f64 {
    let per_s = match (cleats, spacing_m, speed_m_s) {
        (Some(cleats), None, _) => cleats,
        (None, Some(spacing), Some(speed)) => speed / spacing,
        (Some(_), Some(_), _) => {
            if object.sound(&["cleats", "spacing"]) {
                let problem = Problem::new(code::BAD_CONNECTION, "`cleats` and `spacing` say the same twice");
                object.fail("spacing", problem.help("take one of the two out"));
            }
            1.0
        }
        (None, None, _) | (None, Some(_), None) => {
            if object.sound(&["cleats", "spacing", "speed"]) {
                object.fail_here(
                    Problem::new(code::MISSING_KEY, "how often a cleat passes the bin is not given")
                        .expected("`cleats`, such as \"40 /min\", or `spacing` and `speed`"),
                );
            }
            1.0
        }
    };
    if per_s > CLEATS_MAX_PER_S {
        object.fail(
            "spacing",
            Problem::new(code::OUT_OF_RANGE, format!("{per_s:.0} cleats a second pass the bin"))
                .expected("1000 a second at most"),
        );
    }
    per_s
}

fn lift_time(
    object: &mut Object<'_>,
    lift_s: Option<f64>,
    length_m: Option<f64>,
    speed_m_s: Option<f64>,
) -> f64 {
    /// Longest lift, s: a day.
    const LIFT_MAX_S: f64 = 86_400.0;
    let lift = match (lift_s, length_m, speed_m_s) {
        (Some(lift), None, _) => lift,
        (None, Some(length), Some(speed)) => length / speed,
        (Some(_), Some(_), _) => {
            if object.sound(&["lift", "length"]) {
                let problem = Problem::new(code::BAD_CONNECTION, "`lift` and `length` say the same twice");
                object.fail("length", problem.help("take one of the two out"));
            }
            0.0
        }
        (None, None, _) | (None, Some(_), None) => {
            if object.sound(&["lift", "length", "speed"]) {
                object.fail_here(
                    Problem::new(code::MISSING_KEY, "how long parts are under way is not given")
                        .expected("`lift`, such as \"12 s\", or `length` and `speed`"),
                );
            }
            0.0
        }
    };
    if lift > LIFT_MAX_S {
        object.fail("length", Problem::new(code::OUT_OF_RANGE, "parts are lifted for longer than a day"));
        return 0.0;
    }
    lift
}

impl ElevatorSpec {
    fn cleat(&self) -> Nanos {
        nanos(1.0 / self.cleats_per_s).max(1)
    }
}

impl Blueprint for ElevatorSpec {
    fn share_of_capacity(&self) -> Option<(&'static str, Whose)> {
        matches!(self.mark, Level::Share(_)).then_some(("mark", Whose::Before))
    }

    fn exits(&self) -> Vec<ExitSpec> {
        vec![ExitSpec { key: "to", to: self.to.clone() }]
    }

    fn takes_from_bin(&self) -> bool {
        true
    }

    fn freezes(&self) -> bool {
        true
    }

    fn has_speed(&self) -> bool {
        true
    }

    /// Rated capacity: cleats per second times parts per cleat, less what falls back.
    fn traffic(&self, traffic: &mut TrafficSite<'_>) {
        let per_s = self.cleats_per_s * self.per_cleat.mean() * (1.0 - self.drop_back.value());
        traffic.seconds.fill(1.0 / per_s);
        traffic.spills = self.when_full == WhenFull::SpillsBack;
    }

    fn build(&self, site: &mut Site<'_>) -> Station {
        let setup = ElevatorSetup {
            inlets: site.inlets.clone(),
            exit: site.exits[0],
            cleat: self.cleat(),
            lift: nanos(self.lift_s),
            per_cleat: site.law(&self.per_cleat),
            mark: self.mark,
            drop_back: self.drop_back.value(),
            when_full: self.when_full,
        };
        let (landing, cleats) = (site.alarm(), site.alarm());
        let (picks, drops) = (site.dice("picks"), site.dice("drops"));
        Station::Elevator(Elevator::new(site.me, landing, cleats, setup, picks, drops))
    }
}
