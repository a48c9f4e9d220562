//! The rule of an exit as a scenario states it: in which attitude a part comes back (ruling 10).
//!
//! Every exit of a path, selector or gauge that rejects has one: *remixed* from the natural chances (the
//! default), *keeps* its attitude at entry to the pass with a chance and is remixed otherwise, *as the tools
//! left it*, or *by attitude at entry*. A return to a bin always remixes, whatever the rule, since a bin holds
//! counts and no attitudes. Balance and simulation use the same rule.

use super::tooling::ReturnRule;
use crate::diag::{Diagnostics, Problem, code};
use crate::terms::kind::{Kind, must_be_one_of};
use crate::text::fields::Object;
use crate::text::forms::{
    Chance, Choice, Form, Shares, Spanned, chance, either, map_of, nested, no_limit, one_of, shares,
};

/// The rule of an exit.
#[derive(Debug, Clone, PartialEq, Default)]
pub enum ComebackSpec {
    /// Anew from the natural chances.
    #[default]
    Remixed,
    /// As the tools left it.
    AsLeft,
    /// The attitude at entry is kept with this chance, otherwise remixed.
    Keeps(Chance),
    /// By the attitude at entry; attitudes that are not named are kept.
    ByAttitude(Vec<(Spanned<String>, Shares)>),
}

fn read_rule(object: &mut Object<'_>) -> ComebackSpec {
    let keeps = object.maybe(
        "keeps",
        no_limit(chance()),
        "Chance that it comes back in the attitude in which it entered the pass; otherwise it is remixed",
    );
    let by_attitude = object.maybe(
        "by_attitude",
        map_of(shares()),
        "For each attitude at entry: the shares of the attitudes in which it comes back; others are kept",
    );
    match (keeps, by_attitude) {
        (Some(chance), None) => ComebackSpec::Keeps(chance),
        (None, Some(rows)) => ComebackSpec::ByAttitude(rows),
        (None, None) | (Some(_), Some(_)) => {
            if object.sound(&["keeps", "by_attitude"]) {
                let problem = Problem::new(code::MISSING_KEY, "how a part comes back is not clear");
                object.fail_here(problem.expected("one of `keeps`, `by_attitude`"));
            }
            ComebackSpec::Remixed
        }
    }
}

/// The form of a rule.
pub fn comes_back() -> impl Form<Out = ComebackSpec> {
    const WORDS: &[(&str, ComebackSpec, &str)] = &[
        ("remixed", ComebackSpec::Remixed, "anew from the natural chances"),
        ("as the tools left it", ComebackSpec::AsLeft, "in the attitude in which it was rejected"),
    ];
    either(one_of(WORDS), nested("comes-back", read_rule)).map(|rule| match rule {
        Choice::First(rule) | Choice::Second(rule) => rule,
    })
}

impl ComebackSpec {
    /// Checks the names.
    pub fn check(&self, kinds: &[Kind], problems: &mut Diagnostics) {
        let ComebackSpec::ByAttitude(rows) = self else { return };
        let Some(first) = kinds.first() else { return };
        for (from, shares) in rows {
            for name in std::iter::once(from).chain(shares.names()) {
                must_be_one_of(name, "attitude", &first.attitudes, problems);
            }
        }
        if let (true, Some((name, _))) = (kinds.iter().any(|k| k.attitudes != first.attitudes), rows.first())
        {
            let message = "parts with different attitudes can't come back by the same list";
            let problem = Problem::new(code::BAD_CONNECTION, message);
            problems.error(&name.place, problem.help("use \"remixed\" or {\"keeps\": …}"));
        }
    }

    /// The rule with plain shares, once checked.
    pub fn rule(&self, kinds: &[Kind]) -> ReturnRule {
        match self {
            ComebackSpec::Remixed => ReturnRule::Remix,
            ComebackSpec::AsLeft => ReturnRule::AsLeft,
            ComebackSpec::Keeps(chance) => ReturnRule::Keep(chance.value()),
            ComebackSpec::ByAttitude(rows) => {
                let attitudes = kinds.first().map(|kind| &kind.attitudes[..]).unwrap_or_default();
                let row = |(ix, attitude): (usize, &String)| {
                    let mut row = vec![0.0; attitudes.len()];
                    match rows.iter().find(|(name, _)| name.value == *attitude) {
                        None => row[ix] = 1.0,
                        Some((_, shares)) => {
                            for (name, share) in shares.names().iter().zip(shares.values()) {
                                let to = attitudes.iter().position(|known| *known == name.value);
                                row[to.unwrap_or(ix)] += share;
                            }
                        }
                    }
                    row
                };
                ReturnRule::Matrix(attitudes.iter().enumerate().map(row).collect())
            }
        }
    }
}
