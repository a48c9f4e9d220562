//! Bin: a store of parts in bulk, well mixed, between those who fill it and those who take from it.
//!
//! Capacity and starting content are stated as a number of parts, a weight (needs the mass of a part) or a
//! volume (needs its pieces per volume). A bin counts its parts by class: kind, condition, and whether a gauge
//! has rejected them for a dimension. A dumper fills it, or a filling by hand ([`super::hand_fill`]). What is taken is drawn from the mix, without replacement; it gets a new
//! attitude, and a new life: passes and time in the line count from here.
//!
//! **Timing.** There is none: what is poured in can be taken at once. **Starting content:** parts of one kind;
//! how many of them are of each condition is drawn anew for each replication, from the natural shares (not
//! from a lot), out of the bin's own stream; they count as input of the line. **Overfilling** is noted, nothing
//! is lost. An *endless* bin never runs out; what returns to it leaves the line. **State:** starved while empty,
//! blocked while full or over, working in between. Held or
//! off its outlet is closed. A bridge over the outlet is a jam by powered time: nothing can be taken meanwhile.

use super::Station;
use super::amounts::{Amount, amount, kind_of, parts_of};
use super::blueprint::{
    Blueprint, ExitSpec, Site, SourceTraffic, To, TrafficSite, check_kind, kind_named, read_to,
};
use super::carrier::Carrier;
use crate::diag::{Diagnostics, Problem, code};
use crate::kernel::{Bin, Place, StreamKey, UNLIMITED};
use crate::terms::kind::Kind;
use crate::terms::stops::MomentWord;
use crate::text::fields::Object;
use crate::text::forms::{Spanned, flag, name};

/// A bin as the file states it.
#[derive(Debug, Clone)]
pub struct BinSpec {
    to: To,
    part: Option<Spanned<String>>,
    capacity: Option<Spanned<Amount>>,
    content: Option<Spanned<Amount>>,
    endless: bool,
}

/// Reads a bin.
pub fn read(object: &mut Object<'_>) -> BinSpec {
    let spec = BinSpec {
        to: read_to(object),
        part: object.maybe(
            "part",
            name(),
            "The part kind that it starts with, and whose mass and density turn weights and volumes into numbers; left out: the first one of the file",
        ),
        capacity: object.maybe(
            "capacity",
            amount(),
            "What it holds, as a number of parts, a weight or a volume; left out: there is no limit",
        ),
        content: object.maybe(
            "content",
            amount(),
            "What it holds at the start, as a number of parts, a weight or a volume; left out: nothing",
        ),
        endless: object.optional("endless", flag(), "false", "It never runs out; what returns to it leaves the line"),
    };
    if spec.endless && object.sound(&["endless", "capacity", "content"]) {
        for (key, given) in [("capacity", spec.capacity.is_some()), ("content", spec.content.is_some())] {
            if given {
                let problem = Problem::new(code::BAD_CONNECTION, format!("a bin without end has no `{key}`"));
                object.fail(key, problem.help(format!("take out `{key}` or `endless`")));
            }
        }
    }
    spec
}

impl Blueprint for BinSpec {
    fn exits(&self) -> Vec<ExitSpec> {
        vec![ExitSpec { key: "to", to: self.to.clone() }]
    }

    fn body(&self, kinds: &[Kind], name: &str) -> Option<Place> {
        let key = StreamKey::new(name, "picks");
        let kind = kind_named(kinds, self.part.as_ref());
        if self.endless {
            return Some(Place::bin(UNLIMITED, Bin::endless(kind, key)));
        }
        let capacity = parts_of(kinds, self.part.as_ref(), self.capacity.as_ref()).unwrap_or(UNLIMITED);
        let mut place = Place::bin(capacity, Bin::new(key));
        place.set_start(kind, parts_of(kinds, self.part.as_ref(), self.content.as_ref()).unwrap_or(0));
        Some(place)
    }

    fn brings(&self, kinds: &[Kind]) -> Option<u8> {
        self.is_stocked().then(|| kind_named(kinds, self.part.as_ref()))
    }

    fn is_stocked(&self) -> bool {
        self.endless || self.content.is_some()
    }

    fn needs_a_taker(&self) -> bool {
        true
    }

    fn freezes(&self) -> bool {
        true
    }

    fn check(&self, kinds: &[Kind], problems: &mut Diagnostics) {
        check_kind(kinds, self.part.as_ref(), problems);
        let Some(kind) = kind_of(kinds, self.part.as_ref()) else { return };
        for given in [&self.capacity, &self.content].into_iter().flatten() {
            given.value.check(&given.place, kind, "an amount by weight or volume", problems);
        }
        let capacity = parts_of(kinds, self.part.as_ref(), self.capacity.as_ref());
        if let (Some(capacity), Some(given)) = (capacity, &self.capacity)
            && capacity == 0
        {
            problems
                .error(&given.place, Problem::new(code::OUT_OF_RANGE, "not even one part fits into the bin"));
        }
        if let (Some(capacity), Some(start), Some(given)) =
            (capacity, parts_of(kinds, self.part.as_ref(), self.content.as_ref()), &self.content)
            && start > capacity
        {
            let message = format!("the bin starts with {start} parts and holds {capacity}");
            problems.error(&given.place, Problem::new(code::OUT_OF_RANGE, message));
        }
    }

    fn jam_moments(&self) -> (&'static [MomentWord], &'static str) {
        (&[], "a bin handles no single part: a bridge over its outlet comes by the powered clock")
    }

    fn traffic(&self, traffic: &mut TrafficSite<'_>) {
        if self.endless {
            traffic.source = Some(SourceTraffic {
                kind: traffic.brought(self.part.as_ref()),
                most_per_s: f64::INFINITY,
                is_driven: false,
                waits_for_call: false,
            });
        }
    }

    fn build(&self, site: &mut Site<'_>) -> Station {
        let Some(body) = site.body else { panic!("a bin is built around its body") };
        Station::Carrier(Carrier::new(site.me, None, body))
    }
}

#[cfg(test)]
mod tests;
