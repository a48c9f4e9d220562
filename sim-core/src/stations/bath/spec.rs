//! Bath and tunnel: what the file says of them.

use super::{Bath, BathSetup, Residence, Station};
use crate::diag::{Diagnostics, Place as FilePlace, Problem, code};
use crate::kernel::UNLIMITED;
use crate::part::SECOND;
use crate::stations::amounts::{Amount, amount, kind_of};
use crate::stations::blueprint::{
    Blueprint, ExitSpec, Site, To, TrafficSite, check_kind, part_needs, read_to,
};
use crate::stations::track::nanos;
use crate::terms::kind::Kind;
use crate::terms::law::Law;
use crate::terms::law_form::law;
use crate::terms::stops::MomentWord;
use crate::text::fields::Object;
use crate::text::forms::{Choice, Spanned, either, name, one_of, rate, time, volume_rate};
use crate::units::Dimension;

/// A bath or tunnel as the file states it.
#[derive(Debug, Clone)]
pub struct BathSpec {
    to: To,
    place: FilePlace,
    part: Option<Spanned<String>>,
    /// `None`: flow-through.
    residence: Option<Law>,
    in_order: bool,
    capacity: Option<Spanned<Amount>>,
    rate: Option<Choice<f64, f64>>,
    portion_s: f64,
}

/// Reads a bath or tunnel.
pub fn read(object: &mut Object<'_>) -> BathSpec {
    const FLOW_THROUGH: &[(&str, (), &str)] =
        &[("flow-through", (), "what goes in pushes as much out at the other end, once the bath is full")];
    const ORDERS: &[(&str, bool, &str)] = &[
        ("in order", true, "nobody leaves before those that went in earlier"),
        ("as ready", false, "each leaves when its own time is over"),
    ];
    let to = read_to(object);
    let residence = object.required(
        "residence",
        either(law(Dimension::Time), one_of(FLOW_THROUGH)),
        "Time for which parts stay in it, or `flow-through`",
    );
    let spec = BathSpec {
        to,
        part: object.maybe(
            "part",
            name(),
            "The part kind whose mass and density turn weights and volumes into numbers; left out: the first one of the file",
        ),
        residence: match residence {
            Choice::First(law) => Some(law),
            Choice::Second(()) => None,
        },
        in_order: object.optional("order", one_of(ORDERS), "in order", "Who leaves first"),
        capacity: object.maybe(
            "capacity",
            amount(),
            "What it holds, as a number of parts, a weight or a volume; left out: there is no limit",
        ),
        rate: object.maybe(
            "rate",
            either(rate().positive().at_most("100000 /s"), volume_rate().positive()),
            "Parts or volume per time that it takes in; left out: what is there, as soon as there is room",
        ),
        portion_s: object.optional(
            "portion",
            time().at_least("1 ms").at_most("1 h"),
            "5 s",
            "At a rate: time between portions",
        ),
        place: object.place_of("rate"),
    };
    if spec.residence.is_none() && spec.capacity.is_none() && object.sound(&["residence", "capacity"]) {
        let problem = Problem::new(code::MISSING_KEY, "a flow-through bath needs its `capacity`");
        object.fail("residence", problem.expected("`capacity`, such as \"40 L\""));
    }
    spec
}

impl BathSpec {
    fn capacity(&self, kinds: &[Kind]) -> u32 {
        let kind = kind_of(kinds, self.part.as_ref());
        let parts = self.capacity.as_ref().and_then(|amount| amount.value.parts(kind?));
        parts.map_or(UNLIMITED, |parts| parts.max(1))
    }

    fn per_s(&self, kinds: &[Kind]) -> Option<f64> {
        let density = || kind_of(kinds, self.part.as_ref()).and_then(|kind| kind.density_m3).unwrap_or(1.0);
        self.rate.map(|rate| match rate {
            Choice::First(per_s) => per_s,
            Choice::Second(m3_s) => m3_s * density(),
        })
    }
}

impl Blueprint for BathSpec {
    fn jam_moments(&self) -> (&'static [MomentWord], &'static str) {
        (&[MomentWord::Start, MomentWord::End], "nothing is there of a part that has left a bath")
    }

    fn exits(&self) -> Vec<ExitSpec> {
        vec![ExitSpec { key: "to", to: self.to.clone() }]
    }

    fn jams_by_condition(&self) -> bool {
        false
    }

    fn check(&self, kinds: &[Kind], problems: &mut Diagnostics) {
        check_kind(kinds, self.part.as_ref(), problems);
        let Some(kind) = kind_of(kinds, self.part.as_ref()) else { return };
        if let Some(given) = &self.capacity {
            given.value.check(&given.place, kind, "an amount by weight or volume", problems);
            if given.value.parts(kind) == Some(0) {
                let problem = Problem::new(code::OUT_OF_RANGE, "not even one part fits into the bath");
                problems.error(&given.place, problem);
            }
        }
        if let (Some(Choice::Second(_)), None) = (self.rate, kind.density_m3) {
            part_needs(&self.place, kind, "density", "a rate by volume", problems);
        }
    }

    fn takes_without_limit(&self) -> bool {
        self.rate.is_none() && (self.capacity.is_none() || self.residence.is_none())
    }

    fn takes_up_to(&self, kinds: &[Kind]) -> Option<f64> {
        Some(self.per_s(kinds)? * self.portion_s)
    }

    /// Rated capacity: the rate, or capacity / residence if that is less; or what can be there for each portion.
    fn traffic(&self, traffic: &mut TrafficSite<'_>) {
        let rate = self.per_s(traffic.kinds);
        let by_rate = rate.map_or(f64::INFINITY, |rate| rate.min(traffic.most_before / self.portion_s));
        let by_time = match (&self.residence, self.capacity(traffic.kinds)) {
            (None, _) | (_, UNLIMITED) => f64::INFINITY,
            (Some(time), capacity) => f64::from(capacity) / time.mean(),
        };
        traffic.seconds.fill(1.0 / by_rate.min(by_time));
        traffic.holds_any = self.capacity(traffic.kinds) == UNLIMITED;
    }

    fn build(&self, site: &mut Site<'_>) -> Station {
        let period = nanos(self.portion_s).max(1);
        let rate = self.per_s(site.kinds).map(|per_s| (per_s * period as f64 / SECOND as f64, period));
        let setup = BathSetup {
            inlets: site.inlets.clone(),
            exit: site.exits[0],
            rate,
            capacity: self.capacity(site.kinds),
            residence: match &self.residence {
                Some(time) => Residence::Time(site.law(time)),
                None => Residence::FlowThrough,
            },
            in_order: self.in_order,
        };
        // What leaves goes first, so that it makes room for what comes in at the same time.
        let (ready, intake, luck) = (site.alarm(), site.alarm(), site.dice("bath"));
        Station::Bath(Bath::new(site.me, intake, ready, setup, luck))
    }
}
