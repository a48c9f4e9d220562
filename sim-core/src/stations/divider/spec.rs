//! The divider as the file states it.

use super::super::Station;
use super::super::blueprint::{Blueprint, ExitSpec, Site, Split, To, TrafficSite, Turns};
use super::super::recipe::{RecipeSpec, read_recipe};
use super::{Calls, Divider, Extras, Mover, Recipe, Rule, furthest_behind};
use crate::diag::{Diagnostics, Problem, code};
use crate::kernel::Exit;
use crate::terms::kind::Kind;
use crate::terms::law::Law;
use crate::terms::law_form::law;
use crate::terms::models::ModelOrder;
use crate::terms::stops::MomentWord;
use crate::text::fields::Object;
use crate::text::forms::{Spanned, count, flag, list_of, name, no_limit, one_of, real};
use crate::units::Dimension;

/// A divider as the file states it.
#[derive(Debug, Clone)]
pub struct DividerSpec {
    exits: Vec<Spanned<String>>,
    rule: Rule,
    recipe: Option<RecipeSpec>,
    moving: Option<Law>,
}

#[derive(Debug, Clone, Copy)]
enum RuleWord {
    FirstWithRoom,
    InTurn,
    EmptiestFirst,
    ByRatio,
    ByCall,
    ByRecipe,
}

/// Reads a divider.
pub fn read(object: &mut Object<'_>) -> DividerSpec {
    const RULES: &[(&str, RuleWord, &str)] = &[
        ("first with room", RuleWord::FirstWithRoom, "the first exit in the order of `exits` that has room"),
        ("in turn", RuleWord::InTurn, "one exit after the other"),
        ("emptiest first", RuleWord::EmptiestFirst, "the exit with the fewest parts beyond it"),
        ("by ratio", RuleWord::ByRatio, "the exit that is furthest behind its share of `ratio`"),
        (
            "by call",
            RuleWord::ByCall,
            "the exit that has called for longest: it is empty, or nearly (`call_at`)",
        ),
        ("by recipe", RuleWord::ByRecipe, "so many for each exit, by the recipe of the product model"),
    ];
    let exits = object.optional(
        "exits",
        list_of(name()),
        "[]",
        "The stations that it gives to, in the stated order; needed for all rules but `by recipe`",
    );
    let word = object.optional("rule", one_of(RULES), "first with room", "How it chooses");
    let strict = object.optional(
        "strict",
        flag(),
        "false",
        "Wait for the exit whose turn it is (otherwise the turn moves past one that has no room)",
    );
    let ratio = object.maybe(
        "ratio",
        list_of(real().at_least(0.0)),
        "Parts for each exit, in the order of `exits`; needed for the rule `by ratio`",
    );
    let level = object.optional(
        "call_at",
        no_limit(count().at_most(100_000_000)),
        "0",
        "By call: a track, belt or receiver calls while it holds so many parts or fewer",
    ) as u32;
    let recipe = read_recipe(object);
    let moving = object.maybe(
        "move",
        law(Dimension::Time).positive(),
        "Time to go from one exit to another; left out: nothing moves",
    );
    check_exits(object, exits.len(), matches!(word, RuleWord::ByRecipe), recipe.is_some());
    if ratio.is_some() && !matches!(word, RuleWord::ByRatio) && object.sound(&["rule"]) {
        let problem = Problem::new(code::BAD_CONNECTION, "a ratio is for the rule `by ratio`");
        object.fail("ratio", problem.help("set \"rule\": \"by ratio\", or take `ratio` out"));
    }
    let rule = match word {
        RuleWord::FirstWithRoom => Rule::FirstWithRoom,
        RuleWord::InTurn => Rule::InTurn { strict },
        RuleWord::EmptiestFirst => Rule::EmptiestFirst,
        RuleWord::ByRatio => Rule::ByRatio { shares: shares_of(object, ratio, exits.len()), strict },
        RuleWord::ByCall => Rule::ByCall { level },
        RuleWord::ByRecipe => Rule::ByRecipe,
    };
    DividerSpec { exits, rule, recipe, moving }
}

fn check_exits(object: &mut Object<'_>, n: usize, by_recipe: bool, has_recipe: bool) {
    if !object.sound(&["exits", "rule", "recipe", "recipes"]) {
        return;
    }
    if by_recipe && !has_recipe {
        let problem = Problem::new(code::MISSING_KEY, "the rule `by recipe` needs `recipe` or `recipes`");
        object.fail_here(problem.expected("\"recipe\": {\"path 1\": 3, \"path 2\": 1}"));
    } else if by_recipe && n > 0 {
        let problem =
            Problem::new(code::BAD_CONNECTION, "the exits of a divider by recipe stand in the recipe");
        object.fail("exits", problem.help("take `exits` out"));
    } else if !by_recipe && has_recipe {
        let problem = Problem::new(code::BAD_CONNECTION, "a recipe is for the rule `by recipe`");
        object.fail("rule", problem.help("set \"rule\": \"by recipe\", or take the recipe out"));
    } else if !by_recipe && n == 0 {
        let problem = Problem::new(code::TOO_FEW, "a divider has one exit at least");
        object.fail(
            "exits",
            problem.expected("\"exits\": a list of stations, such as [\"path 1\", \"path 2\"]"),
        );
    }
}

fn shares_of(object: &mut Object<'_>, ratio: Option<Vec<f64>>, n: usize) -> Vec<f64> {
    let ratio = ratio.unwrap_or_default();
    let sum: f64 = ratio.iter().sum();
    if ratio.len() == n && sum > 0.0 {
        return ratio.iter().map(|share| share / sum).collect();
    }
    if object.sound(&["exits", "ratio", "rule"]) {
        object.fail(
            "ratio",
            Problem::new(code::OUT_OF_RANGE, "the rule `by ratio` needs a number for each exit")
                .expected(format!("{n} numbers, not all of them zero, such as [2, 1]")),
        );
    }
    vec![1.0; n]
}

/// Parts after which it is given up to look for a round of a ratio.
const ROUND_MAX: u32 = 10_000;

/// Moves for each part of a divider that strictly keeps a ratio: counted over one round, after which every exit has exactly
/// its share.
fn moves_by_ratio(shares: &[f64]) -> f64 {
    let mut sent = vec![0_u64; shares.len()];
    let (mut at, mut moves) = (0, 0);
    for parts in 1..=ROUND_MAX {
        let Some(next) = furthest_behind(shares, &sent) else { return 0.0 };
        moves += u32::from(next != at);
        at = next;
        sent[next] += 1;
        let has_its_share =
            |(sent, share): (&u64, &f64)| (*sent as f64 - share * f64::from(parts)).abs() < 1e-6;
        if sent.iter().zip(shares).all(has_its_share) {
            // The next round begins where this one did.
            let first = furthest_behind(shares, &vec![0; shares.len()]);
            let began = first.is_some_and(|first| first != 0);
            let back = first.is_some_and(|first| first != at);
            return f64::from(moves - u32::from(began) + u32::from(back)) / f64::from(parts);
        }
    }
    f64::from(moves) / f64::from(ROUND_MAX)
}

impl Blueprint for DividerSpec {
    fn jam_moments(&self) -> (&'static [MomentWord], &'static str) {
        (&[MomentWord::After], "a divider holds no part: a part jams when it has passed")
    }

    fn exits(&self) -> Vec<ExitSpec> {
        if let Some(recipe) = &self.recipe {
            return recipe.exits();
        }
        let exit = |name: &Spanned<String>| ExitSpec { key: "exits", to: To::Named(name.clone()) };
        self.exits.iter().map(exit).collect()
    }

    fn recipes(&self) -> Option<&RecipeSpec> {
        self.recipe.as_ref()
    }

    fn check(&self, _kinds: &[Kind], problems: &mut Diagnostics) {
        let sources = self.recipe.iter().flat_map(RecipeSpec::sources);
        for name in sources {
            let problem = Problem::new(
                code::BAD_CONNECTION,
                "a divider takes what comes; it does not sort by lane or part",
            );
            problems.error(&name.place, problem.help("give the number of pieces only, or use a magazine"));
        }
    }

    fn traffic(&self, traffic: &mut TrafficSite<'_>) {
        let n = self.exits().len();
        let pieces =
            self.recipe.as_ref().map(|recipe| recipe.mean_pieces(traffic.models)).unwrap_or_default();
        let all: f64 = pieces.iter().sum();
        traffic.split = match &self.rule {
            Rule::FirstWithRoom => Split::FillFirst,
            Rule::InTurn { strict: true } => Split::Fixed(vec![1.0 / n as f64; n]),
            Rule::InTurn { strict: false } => Split::Even,
            Rule::EmptiestFirst | Rule::ByCall { .. } => Split::Any,
            Rule::ByRatio { shares, strict: true } => Split::Fixed(shares.clone()),
            Rule::ByRatio { shares, strict: false } => Split::Ratio(shares.clone()),
            Rule::ByRecipe => Split::Fixed(pieces.iter().map(|n| n / all).collect()),
        };
        let Some(moving) = &self.moving else { return };
        let moves = match &self.rule {
            _ if n < 2 => 0.0,
            Rule::ByRatio { shares, strict: true } => moves_by_ratio(shares),
            Rule::ByRecipe => {
                self.recipe.as_ref().map_or(0.0, |recipe| recipe.mean_changes(traffic.models)) / all
            }
            Rule::InTurn { .. } | Rule::ByRatio { strict: false, .. } => 1.0,
            Rule::FirstWithRoom | Rule::EmptiestFirst | Rule::ByCall { .. } => 1.0,
        };
        traffic.seconds.fill(moves * moving.mean());
        traffic.turns = Turns::OneByOne;
        let waits_its_turn = match &self.rule {
            Rule::InTurn { strict } | Rule::ByRatio { strict, .. } => *strict,
            Rule::ByRecipe => true,
            Rule::FirstWithRoom | Rule::EmptiestFirst | Rule::ByCall { .. } => false,
        };
        // Who goes by room may hand on where it stands as long as the others are full.
        traffic.sure = if waits_its_turn { 1.0 } else { 0.0 };
    }

    fn build(&self, site: &mut Site<'_>) -> Station {
        let alarm = site.alarm();
        let by_call = matches!(self.rule, Rule::ByCall { .. });
        let calls = by_call.then(|| Calls { since: vec![None; site.exits.len()], next: 0 });
        if by_call {
            for exit in site.exits.clone() {
                if let Exit::Store(place) = exit {
                    site.watch(place);
                }
            }
        }
        let recipe = self.recipe.as_ref().map(|recipe| Recipe {
            order: ModelOrder::new(site.models),
            needs: recipe.compiled(site.models, site.kinds),
            model: 0,
            line: 0,
            given: 0,
            started: false,
        });
        let mover = self.moving.as_ref().map(|moving| Mover {
            time: site.law(moving),
            luck: site.dice("move"),
            at: 0,
            towards: None,
            came_for: None,
        });
        let mut divider =
            Divider::new(site.me, alarm, site.inlets.clone(), site.exits.clone(), self.rule.clone());
        if recipe.is_some() || mover.is_some() || calls.is_some() {
            divider.extras = Some(Box::new(Extras { recipe, mover, calls }));
        }
        Station::Divider(divider)
    }
}
