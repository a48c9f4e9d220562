//! The indexing table as the file states it.

use super::super::Station;
use super::super::blueprint::{Blueprint, ExitSpec, Site, Split, To, TrafficSite, read_to};
use super::{IndexWhen, IndexingTable, LoadPoint, Setup};
use crate::diag::{Diagnostics, Place as FilePlace, Problem, code};
use crate::kernel::Inlets;
use crate::terms::kind::Kind;
use crate::terms::law::Law;
use crate::terms::law_form::law;
use crate::text::fields::Object;
use crate::text::forms::{Spanned, count, map_of, no_limit, one_of};
use crate::units::Dimension;

/// Most nests.
const NESTS_MAX: u64 = 10_000;

/// Stations by position, counted from 1.
type Points = Vec<(Spanned<String>, u64)>;

/// A table as the file states it.
#[derive(Debug, Clone)]
pub struct IndexingTableSpec {
    to: To,
    place: FilePlace,
    nests: u32,
    group: u32,
    index: Law,
    load: Law,
    when: IndexWhen,
    period: Option<Law>,
    loads_at: Points,
    discharges: Points,
}

/// Reads a table.
pub fn read(object: &mut Object<'_>) -> IndexingTableSpec {
    const WHEN: &[(&str, IndexWhen, &str)] = &[
        ("group full", IndexWhen::GroupFull, "when the group at the last load position is full"),
        ("any", IndexWhen::Any, "as soon as the group at the last load position holds a part"),
        ("on a clock", IndexWhen::OnClock, "at each `period`, whatever is loaded"),
    ];
    let position = || no_limit(count().at_least(1).at_most(NESTS_MAX));
    let mut spec = IndexingTableSpec {
        to: read_to(object),
        place: object.place(),
        nests: object.required("nests", no_limit(count().at_least(2).at_most(NESTS_MAX)), "Nests of the table") as u32,
        group: object.optional("group", no_limit(count().at_least(1).at_most(NESTS_MAX)), "1", "Nests that stand at a position together")
            as u32,
        index: object.required(
            "index",
            law(Dimension::Time).positive().usual("0.2 s", "3 s", "0.2 to 3 s"),
            "Time of a turn by one group",
        ),
        load: object.optional("load", law(Dimension::Time), "0 s", "Time to load one part"),
        when: object.optional("index_when", one_of(WHEN), "group full", "When it turns"),
        period: object.maybe("period", law(Dimension::Time).positive(), "Period of the clock; needed for `on a clock`"),
        loads_at: object.optional(
            "loads_at",
            map_of(position()),
            "{}",
            "Position at which each feeding station is loaded from, counted from 1; left out: 1, 2, 3 ... in file order, up to the last one before a discharge",
        ),
        discharges: object.optional(
            "discharges",
            map_of(position()),
            "{}",
            "Position at which each station gets parts; left out: `to`, at the last position",
        ),
    };
    spec.check_numbers(object);
    if !object.sound(&["nests", "group"]) {
        // A table whose size could not be read is compared with nothing.
        (spec.nests, spec.group) = (NESTS_MAX as u32, 1);
    }
    spec
}

impl IndexingTableSpec {
    fn n_positions(&self) -> u32 {
        (self.nests / self.group).max(1)
    }

    fn check_numbers(&self, object: &mut Object<'_>) {
        if object.sound(&["nests", "group"]) && !self.nests.is_multiple_of(self.group)
            || self.n_positions() < 2
        {
            let problem = Problem::new(
                code::OUT_OF_RANGE,
                format!("{} nests are no groups of {}", self.nests, self.group),
            );
            object.fail("nests", problem.expected("a multiple of `group`, two groups at least"));
        }
        if self.when == IndexWhen::OnClock && self.period.is_none() && object.sound(&["index_when", "period"])
        {
            let problem = Problem::new(code::MISSING_KEY, "`period` is missing");
            object.fail_here(problem.expected("\"period\": a time, such as \"1.2 s\""));
        }
        if !self.discharges.is_empty() && object.has("to") {
            let problem = Problem::new(code::BAD_CONNECTION, "`discharges` and `to` both say where parts go");
            object.fail("to", problem.help("take one of the two out"));
        }
    }

    /// Positions of the exits, counted from 0.
    fn discharge_positions(&self) -> Vec<usize> {
        if self.discharges.is_empty() {
            return vec![self.n_positions() as usize - 1];
        }
        self.discharges.iter().map(|(_, position)| *position as usize - 1).collect()
    }
}

impl Blueprint for IndexingTableSpec {
    fn exits(&self) -> Vec<ExitSpec> {
        if self.discharges.is_empty() {
            return vec![ExitSpec { key: "to", to: self.to.clone() }];
        }
        let exit =
            |(name, _): &(Spanned<String>, u64)| ExitSpec { key: "discharges", to: To::Named(name.clone()) };
        self.discharges.iter().map(exit).collect()
    }

    fn named_inlets(&self) -> Vec<Spanned<String>> {
        self.loads_at.iter().map(|(name, _)| name.clone()).collect()
    }

    fn check(&self, _kinds: &[Kind], problems: &mut Diagnostics) {
        let n = u64::from(self.n_positions());
        for (name, position) in self.loads_at.iter().chain(&self.discharges) {
            if *position > n {
                let message =
                    format!("the table has {n} positions, and `{}` stands at {position}", name.value);
                problems.error(&name.place, Problem::new(code::OUT_OF_RANGE, message));
            }
        }
        let last_load = self.loads_at.iter().map(|(_, position)| *position).max().unwrap_or(1);
        let first_discharge = self.discharge_positions().into_iter().min().unwrap_or(0) as u64 + 1;
        if first_discharge <= last_load {
            let message = "parts are discharged before the last load position";
            let problem = Problem::new(code::OUT_OF_RANGE, message);
            problems
                .error(&self.place, problem.expected("all load positions before all discharge positions"));
        }
    }

    fn traffic(&self, traffic: &mut TrafficSite<'_>) {
        let lanes = f64::from(traffic.n_feeders());
        let group = f64::from(self.group);
        let cycle = match (&self.period, self.when) {
            (Some(period), IndexWhen::OnClock) => period.mean().max(self.index.mean()),
            (_, IndexWhen::GroupFull | IndexWhen::Any | IndexWhen::OnClock) => {
                self.index.mean() + self.load.mean() * (group / lanes).max(1.0)
            }
        };
        traffic.seconds.fill(cycle);
        traffic.places = group;
        if self.discharges.len() > 1 {
            traffic.split = Split::Even;
        }
    }

    fn build(&self, site: &mut Site<'_>) -> Station {
        let positions = self.n_positions() as usize;
        let point = |inlets: Inlets, position: usize| LoadPoint { inlets, position, loading: None };
        // Before the first discharge, whatever their number.
        let last = self.discharge_positions().into_iter().min().unwrap_or(1).saturating_sub(1);
        let points: Vec<LoadPoint> = if self.loads_at.is_empty() {
            let alone = |place| Inlets::new(vec![place], site.inlets.join);
            let places = site.inlets.places.iter().enumerate();
            places.map(|(n, place)| point(alone(*place), n.min(last))).collect()
        } else {
            let named = site.named_inlets.iter().zip(&self.loads_at);
            named.map(|(inlets, (_, position))| point(inlets.clone(), *position as usize - 1)).collect()
        };
        let discharges = self.discharge_positions();
        let setup = Setup {
            exits: site.exits.clone(),
            group: self.group as usize,
            index: site.law(&self.index),
            load: site.law(&self.load),
            when: self.when,
            period: site.law(self.period.as_ref().unwrap_or(&self.index)),
            last_load: points.iter().map(|point| point.position).max().unwrap_or(0),
            last_discharge: discharges.iter().copied().max().unwrap_or(0),
            discharges,
        };
        let (alarm, luck) = (site.alarm(), site.dice("turn"));
        Station::IndexingTable(Box::new(IndexingTable::new(site.me, alarm, setup, points, positions, luck)))
    }
}
