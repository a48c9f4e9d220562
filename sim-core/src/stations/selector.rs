//! Selector: takes one part, probes which way it lies, and turns it, passes it or rejects it.
//!
//! **Plain form.** A part that is read as right passes as it is. One that is read as wrong and lies in an
//! attitude that the selector `corrects` is turned: with the chance `turn_succeeds` into the wanted attitude,
//! otherwise it stays as it lies; either way it goes on. One that can't be corrected is rejected. A right part
//! that is misread as wrong is turned into the first attitude of `corrects` (the turn is its own inverse), or
//! rejected if there is none.
//!
//! **Shuttle.** The part is sent down one of two tracks by the attitude as read. A track presents its own
//! parts the right way round: a part sent down the track of its attitude arrives in the wanted attitude, one
//! sent down the other track (misread) in an attitude that is wrong. With `"presents": "as it lies"` attitudes
//! do not change. A part in an attitude for which there is no track is rejected.
//!
//! **Timing**: as a [bench](super::bench). The time is `time`, or `time_with_turn` if the part was turned,
//! successfully or not; of a shuttle `same_side` if it stands at the part's track already or rejects the part,
//! `other_side` if it has to go across (at the start it stands at the first track). What it will do is
//! decided when the part is taken. Groups of n (`count`) with `in_turn` deliver strictly in turn.
//!
//! In the balance a shuttle goes across as often as parts in their natural order ask for. Where something ahead of it makes an
//! order (sorted lanes that join, rejects that come back as they lay, lots that differ) it is rated for the worst order, and
//! what it may do in the best one is given beside it.

use super::Station;
use super::bench::{Bench, BenchSetup, Deed, DeedTable, Judge, compiled, table_traffic};
use super::blueprint::{Blueprint, ExitSpec, SidesTraffic, Site, To, TrafficSite, read_to};
use super::comes_back::{ComebackSpec, comes_back};
use super::tool_spec::all_names;
use super::tooling::{ClassName, ReturnRule, class_names};
use crate::diag::{Diagnostics, Place as FilePlace, Problem, code};
use crate::terms::kind::{Kind, must_be_one_of};
use crate::terms::law::Law;
use crate::terms::law_form::law;
use crate::text::fields::Object;
use crate::text::forms::{Chance, Spanned, chance, list_of, map_of, more_helps, name, nested, one_of};
use crate::units::Dimension;

/// The plain form.
#[derive(Debug, Clone)]
struct TurnSpec {
    corrects: Vec<Spanned<String>>,
    succeeds: Chance,
    time: Law,
    time_with_turn: Law,
}

/// The shuttle.
#[derive(Debug, Clone)]
struct ShuttleSpec {
    sends: Vec<(Spanned<String>, Spanned<String>)>,
    keeps_attitude: bool,
    same_side: Law,
    other_side: Law,
}

#[derive(Debug, Clone)]
enum Form {
    Turns(TurnSpec),
    Shuttle(ShuttleSpec),
}

/// A selector as the file states it.
#[derive(Debug, Clone)]
pub struct SelectorSpec {
    place: FilePlace,
    to: To,
    rejects_to: Option<Spanned<String>>,
    comes_back: ComebackSpec,
    wanted: Option<Spanned<String>>,
    right_as_wrong: Chance,
    wrong_as_right: Chance,
    form: Form,
}

fn read_shuttle(object: &mut Object<'_>) -> ShuttleSpec {
    const PRESENTS: &[(&str, bool, &str)] = &[
        ("right way round", false, "each track presents the parts that belong to it the right way round"),
        ("as it lies", true, "the attitude does not change"),
    ];
    ShuttleSpec {
        sends: object.required(
            "sends",
            map_of(name()).at_least(1),
            "By attitude, the station that it is sent to: two stations in all",
        ),
        keeps_attitude: object.optional(
            "presents",
            one_of(PRESENTS),
            "right way round",
            "How the tracks present the parts",
        ),
        same_side: object.required(
            "same_side",
            law(Dimension::Time).usual("0.4 s", "0.9 s", "0.4 to 0.9 s"),
            "Time for a part if the shuttle stands at its side already",
        ),
        other_side: object.required(
            "other_side",
            law(Dimension::Time).usual("0.7 s", "1.6 s", "0.7 to 1.6 s"),
            "Time for a part if the shuttle has to go across",
        ),
    }
}

/// Reads a selector.
pub fn read(object: &mut Object<'_>) -> SelectorSpec {
    SelectorSpec {
        place: object.place(),
        to: read_to(object),
        rejects_to: object.maybe(
            "rejects_to",
            name(),
            "The station that gets what can't be corrected; left out: it corrects every attitude",
        ),
        comes_back: object.optional(
            "comes_back",
            comes_back(),
            "remixed",
            "How rejected parts lie when they come back",
        ),
        wanted: object.maybe(
            "wanted",
            name(),
            "The attitude in which parts are to go on; left out: the right way of the part",
        ),
        right_as_wrong: object.optional(
            "reads_right_as_wrong",
            chance(),
            "0",
            "Chance that a right part is read as wrong (shuttle: one for the first track as one for the second)",
        ),
        wrong_as_right: object.optional(
            "reads_wrong_as_right",
            chance(),
            "0",
            "Chance that a wrong part is read as right (shuttle: one for the second track as one for the first)",
        ),
        form: read_form(object),
    }
}

fn read_form(object: &mut Object<'_>) -> Form {
    let corrects = object.optional("corrects", list_of(name()), "[]", "Attitudes that it can turn");
    let succeeds = object.optional("turn_succeeds", more_helps(chance()), "1", "Chance that a turn succeeds");
    let time = object.maybe(
        "time",
        law(Dimension::Time).usual("0.4 s", "0.9 s", "0.4 to 0.9 s"),
        "Time for a part that is not turned; needed without `shuttle`",
    );
    let time_with_turn = object.maybe(
        "time_with_turn",
        law(Dimension::Time).usual("0.7 s", "1.6 s", "0.7 to 1.6 s"),
        "Time for a part that is turned; left out: as `time`",
    );
    let shuttle = object.maybe(
        "shuttle",
        nested("shuttle", read_shuttle),
        "It sends parts down one of two tracks instead of turning them; left out: it turns",
    );
    if let Some(shuttle) = shuttle {
        for key in ["to", "corrects", "turn_succeeds", "time", "time_with_turn"] {
            if object.has(key) {
                let problem = Problem::new(code::BAD_CONNECTION, "a shuttle does not turn parts itself");
                object.fail(key, problem.help("take it out: tracks and times stand in `shuttle`"));
            }
        }
        if object.sound(&["shuttle"]) && shuttle.sides().len() != 2 {
            let problem = Problem::new(code::OUT_OF_RANGE, "a shuttle has two sides");
            object.fail("shuttle", problem.expected("attitudes sent to two stations, such as {\"open end up\": \"track a\", \"open end down\": \"track b\"}"));
        }
        return Form::Shuttle(shuttle);
    }
    if time.is_none() && object.sound(&["time", "shuttle"]) {
        let problem = Problem::new(code::MISSING_KEY, "`time` is missing");
        object.fail_here(problem.expected("\"time\": a time, such as \"0.6 s\"; or `shuttle`"));
    }
    let time = time.unwrap_or_else(|| Law::fixed(1.0));
    let time_with_turn = time_with_turn.unwrap_or_else(|| time.clone());
    Form::Turns(TurnSpec { corrects, succeeds, time, time_with_turn })
}

impl ShuttleSpec {
    /// The stations it sends to, each once, in file order.
    fn sides(&self) -> Vec<&Spanned<String>> {
        let mut sides: Vec<&Spanned<String>> = Vec::new();
        for (_, station) in &self.sends {
            if !sides.iter().any(|side| side.value == station.value) {
                sides.push(station);
            }
        }
        sides
    }

    fn side_of(&self, attitude: &str) -> Option<usize> {
        let (_, station) = self.sends.iter().find(|(name, _)| name.value == attitude)?;
        self.sides().iter().position(|side| side.value == station.value)
    }
}

impl SelectorSpec {
    /// The attitudes of a kind that are wanted, as bits, and the one into which parts are turned.
    fn wanted(&self, kind: &Kind) -> (u64, u8) {
        let named = |name: &Spanned<String>| kind.attitudes.iter().position(|known| *known == name.value);
        match self.wanted.as_ref().and_then(named) {
            Some(one) => (1 << one, one as u8),
            None => (kind.right_way, kind.right_way.trailing_zeros().min(63) as u8),
        }
    }

    fn reject_exit(&self) -> u8 {
        match &self.form {
            Form::Turns(_) => 1,
            Form::Shuttle(shuttle) => shuttle.sides().len() as u8,
        }
    }

    /// Deeds of a class; times are numbered 0 (no turn, same side) and 1.
    fn row(&self, kinds: &[Kind], class: ClassName) -> Vec<(Deed, f64)> {
        let kind = &kinds[usize::from(class.kind)];
        let rows = match &self.form {
            Form::Turns(turns) => self.turn_row(turns, kind, class.attitude),
            Form::Shuttle(shuttle) => self.shuttle_row(shuttle, kind, class.attitude),
        };
        rows.into_iter().filter(|(_, share)| *share > 0.0).collect()
    }

    fn turn_row(&self, turns: &TurnSpec, kind: &Kind, attitude: u8) -> Vec<(Deed, f64)> {
        let (wanted, into) = self.wanted(kind);
        let passes = Deed { exit: 0, attitude, time: 0 };
        let rejected = Deed { exit: self.reject_exit(), attitude, time: 0 };
        let turned = |attitude| Deed { exit: 0, attitude, time: 1 };
        let succeeds = turns.succeeds.value();
        let number = |name: &Spanned<String>| kind.attitudes.iter().position(|known| *known == name.value);
        let wrong_ones = turns.corrects.iter().filter_map(number).filter(|ix| wanted >> ix & 1 == 0);
        let wrong_ones: Vec<u8> = wrong_ones.map(|ix| ix as u8).collect();
        let is_right = wanted >> attitude & 1 == 1;
        let turn_to = match (is_right, wrong_ones.first()) {
            (true, first) => first.copied(),
            (false, _) => wrong_ones.contains(&attitude).then_some(into),
        };
        let read_right =
            if is_right { 1.0 - self.right_as_wrong.value() } else { self.wrong_as_right.value() };
        let read_wrong = 1.0 - read_right;
        match turn_to {
            None => vec![(passes, read_right), (rejected, read_wrong)],
            Some(to) => vec![
                (passes, read_right),
                (turned(to), read_wrong * succeeds),
                (turned(attitude), read_wrong * (1.0 - succeeds)),
            ],
        }
    }

    fn shuttle_row(&self, shuttle: &ShuttleSpec, kind: &Kind, attitude: u8) -> Vec<(Deed, f64)> {
        let (wanted, into) = self.wanted(kind);
        let Some(side) = shuttle.side_of(&kind.attitudes[usize::from(attitude)]) else {
            return vec![(Deed { exit: self.reject_exit(), attitude, time: 0 }, 1.0)];
        };
        let misread = if side == 0 { self.right_as_wrong.value() } else { self.wrong_as_right.value() };
        let known = shuttle.sends.iter().map(|(name, _)| &name.value);
        let wrong = known.filter_map(|name| kind.attitudes.iter().position(|own| own == name));
        let wrong = wrong.filter(|ix| wanted >> ix & 1 == 0).map(|ix| ix as u8).next();
        let (right_one, wrong_one) =
            if shuttle.keeps_attitude { (attitude, attitude) } else { (into, wrong.unwrap_or(attitude)) };
        let here = Deed { exit: side as u8, attitude: right_one, time: 0 };
        let there = Deed { exit: 1 - side.min(1) as u8, attitude: wrong_one, time: 0 };
        vec![(here, 1.0 - misread), (there, misread)]
    }

    fn table(&self, kinds: &[Kind]) -> DeedTable {
        class_names(kinds).into_iter().map(|class| self.row(kinds, class)).collect()
    }

    /// Rules of the exits: rejects come back by the stated one.
    fn rules(&self, kinds: &[Kind]) -> Vec<ReturnRule> {
        let mut rules = vec![ReturnRule::AsLeft; usize::from(self.reject_exit())];
        rules.push(self.comes_back.rule(kinds));
        rules
    }
}

impl Blueprint for SelectorSpec {
    fn redirects_jammed_parts(&self) -> bool {
        true
    }

    fn exits(&self) -> Vec<ExitSpec> {
        let mut exits = match &self.form {
            Form::Turns(_) => vec![ExitSpec { key: "to", to: self.to.clone() }],
            Form::Shuttle(shuttle) => {
                let exit = |name: &Spanned<String>| ExitSpec { key: "shuttle", to: To::Named(name.clone()) };
                shuttle.sides().into_iter().map(exit).collect()
            }
        };
        let rejects = self.rejects_to.iter();
        exits.extend(rejects.map(|name| ExitSpec { key: "rejects_to", to: To::Named(name.clone()) }));
        exits
    }

    fn check(&self, kinds: &[Kind], problems: &mut Diagnostics) {
        self.comes_back.check(kinds, problems);
        let attitudes = all_names(kinds, |kind| &kind.attitudes);
        let named: Vec<&Spanned<String>> = match &self.form {
            Form::Turns(turns) => turns.corrects.iter().collect(),
            Form::Shuttle(shuttle) => shuttle.sends.iter().map(|(name, _)| name).collect(),
        };
        let mut are_known = kinds.iter().all(Kind::has_known_attitudes);
        let named = named.into_iter().chain(&self.wanted);
        for name in named {
            must_be_one_of(name, "attitude", &attitudes, problems);
            are_known &= attitudes.contains(&&name.value[..]);
        }
        if self.rejects_to.is_some() || !are_known {
            return;
        }
        let rejected = class_names(kinds)
            .into_iter()
            .find(|class| self.row(kinds, *class).iter().any(|(deed, _)| deed.exit == self.reject_exit()));
        if let Some(class) = rejected {
            let attitude = &kinds[usize::from(class.kind)].attitudes[usize::from(class.attitude)];
            let message = format!("parts that lie `{attitude}` may be rejected, and nothing says where to");
            let problem = Problem::new(code::MISSING_KEY, message);
            problems.error(
                &self.place,
                problem.expected("`rejects_to`, or the attitude among those it corrects"),
            );
        }
    }

    fn traffic(&self, traffic: &mut TrafficSite<'_>) {
        let (table, rules) = (self.table(traffic.kinds), self.rules(traffic.kinds));
        let times = match &self.form {
            Form::Turns(turns) => [turns.time.mean(), turns.time_with_turn.mean()],
            Form::Shuttle(shuttle) => [(shuttle.same_side.mean() + shuttle.other_side.mean()) / 2.0; 2],
        };
        (traffic.routes, traffic.seconds) = table_traffic(&table, &times, &rules, traffic.kinds);
        if let Form::Shuttle(shuttle) = &self.form {
            let (same_s, other_s) = (shuttle.same_side.mean(), shuttle.other_side.mean());
            traffic.sides = Some(SidesTraffic { exits: self.reject_exit(), same_s, other_s });
        }
    }

    fn build(&self, site: &mut Site<'_>) -> Station {
        let rules = self.rules(site.kinds);
        let exits = site.exits.iter().zip(&rules).map(|(exit, rule)| (*exit, rule.compiled())).collect();
        let setup = BenchSetup { inlets: site.inlets.clone(), exits, classes: site.classes.clone() };
        let rows = compiled(&self.table(site.kinds));
        let judge = match &self.form {
            Form::Turns(turns) => {
                Judge::ByClass { rows, times: vec![site.law(&turns.time), site.law(&turns.time_with_turn)] }
            }
            Form::Shuttle(shuttle) => Judge::Shuttle {
                rows,
                times: [site.law(&shuttle.same_side), site.law(&shuttle.other_side)],
                sides: self.reject_exit(),
                at: 0,
            },
        };
        let (alarm, luck) = (site.alarm(), site.dice("select"));
        Station::Bench(Bench::new(site.me, alarm, setup, judge, luck))
    }
}
