//! Screen: takes foreign pieces and bad parts out of the flow, by condition, with a chance per pass.
//!
//! A magnet, a sieve, a drop-out opening in the way of the parts. Each part passes it once; a part of a named
//! condition is taken out with its chance and goes to `removed_to`; everything else goes on as it lies.
//! **Timing**: as a [bench](super::bench); without `time` it works in no time.

use super::Station;
use super::bench::{Bench, BenchSetup, Deed, DeedTable, Judge, compiled, table_traffic};
use super::blueprint::{Blueprint, ExitSpec, Site, To, TrafficSite, read_to};
use super::tool_spec::all_names;
use super::tooling::{ReturnRule, class_names};
use crate::diag::Diagnostics;
use crate::terms::kind::{Kind, must_be_one_of};
use crate::terms::law::Law;
use crate::terms::law_form::law;
use crate::text::fields::Object;
use crate::text::forms::{Chance, Spanned, chance, map_of, name, no_limit};
use crate::units::Dimension;

/// A screen as the file states it.
#[derive(Debug, Clone)]
pub struct ScreenSpec {
    to: To,
    removed_to: Spanned<String>,
    removes: Vec<(Spanned<String>, Chance)>,
    time: Law,
}

/// Reads a screen.
pub fn read(object: &mut Object<'_>) -> ScreenSpec {
    ScreenSpec {
        to: read_to(object),
        removed_to: object.required("removed_to", name(), "The station that gets what is taken out"),
        removes: object.required(
            "removes",
            no_limit(map_of(chance()).at_least(1)),
            "By condition, the chance to be taken out in one pass; others go on",
        ),
        time: object.optional("time", law(Dimension::Time), "0 s", "Time for one part"),
    }
}

/// The rules of its exits: parts go on as they lie.
const RULES: [ReturnRule; 2] = [ReturnRule::AsLeft, ReturnRule::AsLeft];

impl ScreenSpec {
    fn table(&self, kinds: &[Kind]) -> DeedTable {
        let row = |class: super::tooling::ClassName| {
            let condition = &kinds[usize::from(class.kind)].conditions[usize::from(class.condition)];
            let found = self.removes.iter().find(|(name, _)| name.value == *condition);
            let out = found.map_or(0.0, |(_, chance)| chance.value());
            let deed = |exit| Deed { exit, attitude: class.attitude, time: 0 };
            let rows = [(deed(0), 1.0 - out), (deed(1), out)];
            rows.into_iter().filter(|(_, share)| *share > 0.0).collect()
        };
        class_names(kinds).into_iter().map(row).collect()
    }
}

impl Blueprint for ScreenSpec {
    fn redirects_jammed_parts(&self) -> bool {
        true
    }

    fn exits(&self) -> Vec<ExitSpec> {
        let removed = To::Named(self.removed_to.clone());
        vec![ExitSpec { key: "to", to: self.to.clone() }, ExitSpec { key: "removed_to", to: removed }]
    }

    fn check(&self, kinds: &[Kind], problems: &mut Diagnostics) {
        let conditions = all_names(kinds, |kind| &kind.conditions);
        self.removes.iter().for_each(|(name, _)| must_be_one_of(name, "condition", &conditions, problems));
    }

    fn traffic(&self, traffic: &mut TrafficSite<'_>) {
        let table = self.table(traffic.kinds);
        (traffic.routes, traffic.seconds) = table_traffic(&table, &[self.time.mean()], &RULES, traffic.kinds);
    }

    fn build(&self, site: &mut Site<'_>) -> Station {
        let exits = site.exits.iter().zip(&RULES).map(|(exit, rule)| (*exit, rule.compiled())).collect();
        let setup = BenchSetup { inlets: site.inlets.clone(), exits, classes: site.classes.clone() };
        let judge =
            Judge::ByClass { rows: compiled(&self.table(site.kinds)), times: vec![site.law(&self.time)] };
        let (alarm, luck) = (site.alarm(), site.dice("screen"));
        Station::Bench(Bench::new(site.me, alarm, setup, judge, luck))
    }
}
