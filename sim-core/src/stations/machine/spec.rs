//! The machine as the file states it.

use super::super::Station;
use super::super::blueprint::{Blueprint, ExitSpec, Site, To, TrafficSite, read_to};
use super::super::by_part::{ByPart, ByPartSpec, check_by_part, mean_by_part};
use super::super::track::nanos;
use super::{Check, Machine, MachineInlet, Nest};
use crate::diag::{Diagnostics, Problem, code};
use crate::terms::kind::Kind;
use crate::terms::law::Law;
use crate::terms::law_form::law;
use crate::text::fields::Object;
use crate::text::forms::{
    Chance, Choice, Spanned, chance, count, either, flag, list_of, map_of, name, nested, no_limit, one_of,
    time,
};
use crate::units::Dimension;

/// Least chance that all nests read full, for the balance.
const PASSES_LEAST: f64 = 1e-9;

/// One inlet of a machine as the file states it.
#[derive(Debug, Clone)]
struct InletSpec {
    from: Option<Spanned<String>>,
    parts: u32,
    batch: bool,
    nest: Option<NestSpec>,
}

#[derive(Debug, Clone)]
struct NestSpec {
    capacity: u32,
    load: Law,
    emptied_at_start: bool,
}

#[derive(Debug, Clone)]
struct CheckSpec {
    false_empty: Chance,
    false_full: Chance,
    reads_unloaded: bool,
    again: Law,
}

/// A machine as the file states it.
#[derive(Debug, Clone)]
pub struct MachineSpec {
    to: To,
    cycle: Law,
    cycle_by_part: ByPartSpec,
    inlets: Vec<InletSpec>,
    check: Option<CheckSpec>,
    each_s: f64,
    reach: Option<Spanned<String>>,
}

fn read_nest(object: &mut Object<'_>) -> NestSpec {
    const EMPTIED: &[(&str, bool, &str)] = &[
        ("at the end", false, "the parts stay in the nest until the stroke is over"),
        ("at the start", true, "the parts leave the nest when the stroke starts"),
    ];
    NestSpec {
        capacity: object.optional(
            "capacity",
            count().at_least(1).at_most(100_000),
            "1",
            "Parts that it holds",
        ) as u32,
        load: object.optional("load", law(Dimension::Time), "0 s", "Time to load one part"),
        emptied_at_start: object.optional(
            "emptied",
            one_of(EMPTIED),
            "at the end",
            "When a stroke empties it",
        ),
    }
}

fn read_inlet(object: &mut Object<'_>) -> InletSpec {
    const BATCH: &[(&str, bool, &str)] = &[("the batch", true, "all that is there, a whole batch")];
    let parts = object.optional(
        "parts",
        no_limit(either(count().at_least(1).at_most(1000), one_of(BATCH))),
        "1",
        "Parts for each stroke: a number, or the whole batch that stands ready",
    );
    let (parts, batch) = match parts {
        Choice::First(n) => (n as u32, false),
        Choice::Second(_) => (1, true),
    };
    let inlet = InletSpec {
        from: Some(object.required("from", name(), "The station from which this inlet takes")),
        parts,
        batch,
        nest: object.maybe(
            "nest",
            nested("nest", read_nest),
            "A nest that is loaded ahead; left out: the parts are taken when the stroke starts",
        ),
    };
    if inlet.batch && inlet.nest.is_some() && object.sound(&["nest", "parts"]) {
        let problem =
            Problem::new(code::BAD_CONNECTION, "a batch is taken whole, and not piece by piece into a nest");
        object.fail("nest", problem.help("take `nest` out: the receiver keeps the batch ready"));
    }
    if let Some(nest) = &inlet.nest
        && nest.capacity < inlet.parts
        && object.sound(&["nest", "parts"])
    {
        let problem = Problem::new(code::OUT_OF_RANGE, "the nest holds fewer parts than a stroke takes");
        object.fail("nest", problem.expected(format!("a capacity of {} or more", inlet.parts)));
    }
    inlet
}

fn read_check(object: &mut Object<'_>) -> CheckSpec {
    CheckSpec {
        false_empty: object.optional(
            "false_empty",
            chance(),
            "0",
            "Chance that a part that is there is not seen",
        ),
        false_full: object.optional("false_full", chance(), "0", "Chance that an empty nest reads full"),
        reads_unloaded: object.optional(
            "reads_unloaded",
            flag(),
            "false",
            "Whether the nests are also read while one of them is not loaded yet",
        ),
        again: object.required(
            "again",
            law(Dimension::Time).positive(),
            "Time after a failed check until all are read again",
        ),
    }
}

impl NestSpec {
    /// Least time from a stroke to the next one that takes so many parts from the nest, if the stroke itself takes `work_s`:
    /// parts are loaded one after the other, those for which there is room already while the stroke goes on.
    fn least_s(&self, parts: u32, work_s: f64) -> f64 {
        let room = if self.emptied_at_start { parts } else { parts.min(self.capacity - parts) };
        let each_s = self.load.mean();
        (f64::from(parts) * each_s).max(work_s + f64::from(parts - room) * each_s)
    }
}

/// Reads what a station shares with others.
pub(in crate::stations) fn read_reach(object: &mut Object<'_>) -> Option<Spanned<String>> {
    object.maybe(
        "reach",
        name(),
        "What only one of several stations may use at a time, such as an arm: those that name the same share it",
    )
}

/// Reads a machine.
pub fn read(object: &mut Object<'_>) -> MachineSpec {
    MachineSpec {
        to: read_to(object),
        cycle: object.required("cycle", law(Dimension::Time), "Time of one stroke"),
        cycle_by_part: object.optional(
            "cycle_by_part",
            map_of(law(Dimension::Time)),
            "{}",
            "In a product sequence: the cycle during the run of a part, where it is not `cycle`",
        ),
        inlets: object.optional(
            "inlets",
            list_of(nested("inlet", read_inlet)),
            "[]",
            "Its inlets, one for each sort of part in a stroke; left out: one part from whatever feeds it",
        ),
        check: object.maybe(
            "check",
            nested("check", read_check),
            "Presence check before a stroke; left out: none",
        ),
        each_s: object.optional(
            "each",
            time().at_most("1 h"),
            "0 s",
            "Time for each part, those of the largest inlet, on top of `cycle`",
        ),
        reach: read_reach(object),
    }
}

/// What share of a usual time is sure, if it is at least so long.
fn share_of(least: f64, usual: f64) -> f64 {
    // Sums in another order may differ in the last digit.
    if least < usual * (1.0 - 1e-12) { least / usual } else { 1.0 }
}

impl CheckSpec {
    /// Time to be expected for checks that fail with all nests loaded, s for each stroke.
    fn expected_s(&self, inlets: usize) -> f64 {
        let full = 1.0 - self.false_empty.value();
        let passes = (0..inlets).fold(1.0, |all, _| all * full);
        // A check that never passes leaves a time beyond any shift, but a number.
        self.again.mean() * (1.0 / passes.max(PASSES_LEAST) - 1.0)
    }
}

impl MachineSpec {
    /// Least time for which the nests keep a stroke of `work_s` waiting.
    fn loading_s(&self, work_s: f64) -> f64 {
        let nests = self.inlets.iter().filter_map(|inlet| Some((inlet.nest.as_ref()?, inlet.parts)));
        nests.map(|(nest, parts)| nest.least_s(parts, work_s)).fold(work_s, f64::max) - work_s
    }

    /// Whether strokes may be made with a part missing.
    fn makes_short_strokes(&self) -> bool {
        self.check.as_ref().is_some_and(|check| check.reads_unloaded && check.false_full.value() > 0.0)
    }

    fn inlet_specs(&self) -> Vec<InletSpec> {
        if self.inlets.is_empty() {
            return vec![InletSpec { from: None, parts: 1, batch: false, nest: None }];
        }
        self.inlets.clone()
    }
}

impl Blueprint for MachineSpec {
    fn exits(&self) -> Vec<ExitSpec> {
        vec![ExitSpec { key: "to", to: self.to.clone() }]
    }

    fn named_inlets(&self) -> Vec<Spanned<String>> {
        self.inlets.iter().filter_map(|inlet| inlet.from.clone()).collect()
    }

    fn takes_at_once(&self) -> Vec<u32> {
        // A nest is loaded part by part.
        self.inlets.iter().map(|inlet| if inlet.nest.is_some() { 1 } else { inlet.parts }).collect()
    }

    fn stand_at_most(&self) -> u32 {
        if let [only] = &self.inlets[..] { only.parts } else { 1 }
    }

    fn reach(&self) -> Option<&Spanned<String>> {
        self.reach.as_ref()
    }

    fn n_told_inlets(&self) -> u32 {
        if self.inlets.len() > 1 { self.inlets.len() as u32 } else { 0 }
    }

    fn check(&self, kinds: &[Kind], problems: &mut Diagnostics) {
        check_by_part(&self.cycle_by_part, kinds, problems);
    }

    fn traffic(&self, traffic: &mut TrafficSite<'_>) {
        let inlets = self.inlet_specs();
        let parts = |inlet: &InletSpec| match &inlet.from {
            Some(from) if inlet.batch => traffic.batch(&from.value),
            Some(_) | None => (f64::from(inlet.parts), (f64::from(inlet.parts), f64::from(inlet.parts))),
        };
        let (per_product, mut bounds): (Vec<f64>, Vec<(f64, f64)>) = inlets.iter().map(parts).unzip();
        if self.makes_short_strokes() {
            // Strokes with a part missing take what the other inlets have, and no good product comes of it.
            bounds.iter_mut().for_each(|(_, most)| *most = f64::INFINITY);
        }
        let largest = per_product.iter().copied().fold(0.0, f64::max);
        let checks_s = self.check.as_ref().map_or(0.0, |check| check.expected_s(inlets.len()));
        let cycle_s = mean_by_part(&self.cycle, &self.cycle_by_part, traffic.kind_of_run());
        traffic.reach_s = cycle_s + largest * self.each_s;
        let work_s = traffic.reach_s + checks_s;
        let loading_s = self.loading_s(work_s);
        // A stroke with a part missing does not wait for it.
        let least_loading_s = if self.makes_short_strokes() { 0.0 } else { loading_s };
        traffic.loading_s = loading_s;
        let usual_s = work_s + loading_s;
        traffic.seconds.fill(usual_s);
        if let ([parts], [(_, most)]) = (&per_product[..], &bounds[..]) {
            traffic.places = *parts;
            // With as many at once as there can be, each takes less.
            let least = self.each_s + (cycle_s + checks_s) / most + least_loading_s / parts;
            traffic.sure = share_of(least, usual_s / parts);
        } else {
            let fewest = bounds.iter().map(|(fewest, _)| *fewest).fold(0.0, f64::max);
            let least = cycle_s + fewest * self.each_s + checks_s + least_loading_s;
            traffic.sure = share_of(least, usual_s);
        }
        traffic.per_product_bounds = bounds;
        traffic.per_product = per_product;
    }

    fn build(&self, site: &mut Site<'_>) -> Station {
        let alarm = site.alarm();
        let mut inlets = Vec::new();
        for (n, spec) in self.inlet_specs().iter().enumerate() {
            let from = site.named_inlets.get(n).unwrap_or(&site.inlets).clone();
            for place in from.places.clone() {
                site.wake_until(place, spec.parts);
            }
            let nest = spec
                .nest
                .as_ref()
                .map(|nest| Nest::new(nest.capacity, site.law(&nest.load), nest.emptied_at_start));
            inlets.push(MachineInlet { inlets: from, per_stroke: spec.parts, batch: spec.batch, nest });
        }
        let has_nests = inlets.iter().any(|inlet| inlet.nest.is_some());
        let loads = has_nests.then(|| site.alarm());
        let check = self.check.as_ref().map(|check| Check {
            false_empty: check.false_empty.value(),
            false_full: check.false_full.value(),
            reads_unloaded: check.reads_unloaded,
            again: site.law(&check.again),
        });
        let (cycle, luck) = (site.law(&self.cycle), site.dice("cycle"));
        let machine = Machine::new(site.me, alarm, loads, inlets, check, cycle, site.exits[0], luck);
        let by_part = ByPart::new(site, &self.cycle, &self.cycle_by_part);
        Station::Machine(machine.with(nanos(self.each_s), site.reach).with_cycles(by_part))
    }
}
