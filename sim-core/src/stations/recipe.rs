//! Recipes: which exit gets how many pieces, for each product model.
//!
//! A recipe may also say of what: by the station that brings them (a lane) or by part kind. A station that has one
//! is `recipe` (a line with one model, or the same for all) or `recipes` (one for each of the line's `models`).
//! It knows nothing of when pieces are taken or released.

use crate::diag::{Diagnostics, Place as FilePlace, Problem, code};
use crate::stations::blueprint::{ExitSpec, To};
use crate::terms::kind::{Kind, must_be_one_of};
use crate::terms::models::Models;
use crate::text::fields::Object;
use crate::text::forms::{Choice, Form, Spanned, count, either, map_of, name, no_limit};

/// Most pieces of one line of a recipe.
const PIECES_MAX: u64 = 10_000;

/// Pieces for one exit.
#[derive(Debug, Clone, PartialEq)]
pub struct RecipeLine {
    /// The station that gets them.
    pub to: Spanned<String>,
    /// The lane or the part kind that they come from; `None`: whatever comes.
    pub of: Option<Spanned<String>>,
    /// How many.
    pub pieces: u32,
}

/// One recipe.
type Lines = Vec<RecipeLine>;

/// The recipes of a station as the file states them.
#[derive(Debug, Clone, PartialEq, Default)]
pub struct RecipeSpec {
    place: FilePlace,
    /// One for each model that is named; the same for all models if none is.
    by_model: Vec<(Option<Spanned<String>>, Lines)>,
}

/// What a running station needs of one exit of one recipe.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Need {
    /// Exit number.
    pub exit: u8,
    /// What they must be.
    pub of: Source,
    /// How many.
    pub pieces: u32,
}

/// What pieces must be.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Source {
    /// Anything.
    Any,
    /// From the feeder with this number in [`RecipeSpec::lanes`].
    Lane(u8),
    /// Of this part kind.
    Kind(u8),
}

fn lines() -> impl Form<Out = Lines> {
    let pieces = || no_limit(count().at_least(1).at_most(PIECES_MAX));
    map_of(either(pieces(), map_of(pieces()).at_least(1))).at_least(1).map(|exits| {
        let mut lines = Vec::new();
        for (to, what) in exits {
            match what {
                Choice::First(n) => lines.push(RecipeLine { to, of: None, pieces: n as u32 }),
                Choice::Second(parts) => {
                    let line = |(of, n): (Spanned<String>, u64)| RecipeLine {
                        to: to.clone(),
                        of: Some(of),
                        pieces: n as u32,
                    };
                    lines.extend(parts.into_iter().map(line));
                }
            }
        }
        lines
    })
}

/// Reads `recipe` and `recipes`; `None` if neither is there.
pub fn read_recipe(object: &mut Object<'_>) -> Option<RecipeSpec> {
    let one = object.maybe(
        "recipe",
        lines(),
        "Pieces that each station gets, such as {\"tube 1\": 6, \"tube 2\": 4}, or of what: {\"tube 1\": {\"lane a\": 4, \
         \"lane b\": 2}} by feeding station or part kind; the same for all models",
    );
    let several =
        object.maybe("recipes", map_of(lines()).at_least(1), "The same for each of the line's `models`");
    if one.is_some() && several.is_some() && object.sound(&["recipe", "recipes"]) {
        let problem = Problem::new(code::BAD_CONNECTION, "`recipe` and `recipes` say the same twice");
        object.fail("recipe", problem.help("take one of the two out"));
    }
    let key = if several.is_some() { "recipes" } else { "recipe" };
    let by_model = match (one, several) {
        (_, Some(recipes)) => recipes.into_iter().map(|(model, lines)| (Some(model), lines)).collect(),
        (Some(lines), None) => vec![(None, lines)],
        (None, None) => return None,
    };
    Some(RecipeSpec { place: object.place_of(key), by_model })
}

/// As [`read_recipe`], for a station that can't do without.
pub fn read_needed_recipe(object: &mut Object<'_>) -> RecipeSpec {
    let recipe = read_recipe(object);
    if recipe.is_none() && object.sound(&["recipe", "recipes"]) {
        let problem = Problem::new(code::MISSING_KEY, "which exit gets how many is not given");
        object.fail_here(
            problem.expected("`recipe`, such as {\"tube 1\": 6, \"tube 2\": 4}, or `recipes` by model"),
        );
    }
    recipe.unwrap_or_default()
}

impl RecipeSpec {
    /// A recipe that gives `pieces` to a station called `to`, whatever the model.
    pub fn plain(to: &str, pieces: u32) -> Self {
        let to = Spanned { value: to.to_owned(), place: FilePlace::default() };
        RecipeSpec {
            place: FilePlace::default(),
            by_model: vec![(None, vec![RecipeLine { to, of: None, pieces }])],
        }
    }

    fn lines(&self) -> impl Iterator<Item = &RecipeLine> {
        self.by_model.iter().flat_map(|(_, lines)| lines)
    }

    /// Stations that get pieces, each once, in the order in which they are first named.
    pub fn takers(&self) -> Vec<&Spanned<String>> {
        let mut takers: Vec<&Spanned<String>> = Vec::new();
        for line in self.lines() {
            if !takers.iter().any(|taker| taker.value == line.to.value) {
                takers.push(&line.to);
            }
        }
        takers
    }

    /// Exits to the takers.
    pub fn exits(&self) -> Vec<ExitSpec> {
        let exit = |name: &Spanned<String>| ExitSpec { key: "recipe", to: To::Named(name.clone()) };
        self.takers().into_iter().map(exit).collect()
    }

    /// Lanes that are told apart: stations named as sources that are no part kind.
    pub fn lanes(&self, kinds: &[Kind]) -> Vec<Spanned<String>> {
        let mut lanes: Vec<Spanned<String>> = Vec::new();
        for name in self.lines().filter_map(|line| line.of.as_ref()) {
            let is_kind = kinds.iter().any(|kind| kind.name == name.value);
            if !is_kind && !lanes.iter().any(|lane| lane.value == name.value) {
                lanes.push(name.clone());
            }
        }
        lanes
    }

    /// Sources that are named, whatever they are.
    pub fn sources(&self) -> Vec<&Spanned<String>> {
        self.lines().filter_map(|line| line.of.as_ref()).collect()
    }

    /// Checks the models that are named against those of the line.
    pub fn check_models(&self, models: &Models, problems: &mut Diagnostics) {
        let named: Vec<&Spanned<String>> =
            self.by_model.iter().filter_map(|(model, _)| model.as_ref()).collect();
        if named.is_empty() {
            return;
        }
        let known: Vec<&str> = models.names.iter().map(|name| name.value.as_str()).collect();
        for name in named.iter().filter(|name| !known.contains(&name.value.as_str())) {
            if known.is_empty() {
                let problem =
                    Problem::new(code::UNKNOWN_NAME, format!("the line has no model `{}`", name.value));
                problems.error(&name.place, problem.help("name the models of the line in `models`"));
            } else {
                must_be_one_of(name, "model", &known, problems);
            }
        }
        for model in
            known.iter().filter(|model| !model.is_empty() && !named.iter().any(|name| name.value == **model))
        {
            let problem =
                Problem::new(code::MISSING_KEY, format!("there is no recipe for the model `{model}`"));
            problems.error(&self.place, problem.help(format!("add a recipe for `{model}`")));
        }
    }

    /// The lines of a model, by its number.
    fn of_model(&self, models: &Models, model: usize) -> &[RecipeLine] {
        let name = models.names.get(model).map(|name| name.value.as_str());
        let is_it =
            |named: &Option<Spanned<String>>| named.as_ref().is_none_or(|n| Some(n.value.as_str()) == name);
        let found = self.by_model.iter().find(|(named, _)| is_it(named));
        found.map_or(&[], |(_, lines)| lines)
    }

    /// What is needed for each model, lines in file order.
    pub fn compiled(&self, models: &Models, kinds: &[Kind]) -> Vec<Vec<Need>> {
        let takers = self.takers();
        let lanes = self.lanes(kinds);
        let need = |line: &RecipeLine| {
            let exit = takers.iter().position(|taker| taker.value == line.to.value).unwrap_or(0) as u8;
            let of = line.of.as_ref().map_or(Source::Any, |name| {
                match kinds.iter().position(|kind| kind.name == name.value) {
                    Some(kind) => Source::Kind(kind as u8),
                    None => {
                        let lane = lanes.iter().position(|lane| lane.value == name.value).unwrap_or(0);
                        Source::Lane(lane as u8)
                    }
                }
            });
            Need { exit, of, pieces: line.pieces }
        };
        (0..models.len()).map(|model| self.of_model(models, model).iter().map(need).collect()).collect()
    }

    /// Mean pieces for each taker in one batch, by the shares of the models.
    pub fn mean_pieces(&self, models: &Models) -> Vec<f64> {
        let mut mean = vec![0.0; self.takers().len()];
        for (model, share) in models.shares().iter().enumerate() {
            for line in self.of_model(models, model) {
                let taker = self.takers().iter().position(|taker| taker.value == line.to.value).unwrap_or(0);
                mean[taker] += share * f64::from(line.pieces);
            }
        }
        mean
    }

    /// Mean number of times, for each batch, that pieces go to another taker than the ones before, line by line in file order.
    pub fn mean_changes(&self, models: &Models) -> f64 {
        let n = models.len();
        let within = |model: usize| {
            let lines = self.of_model(models, model);
            lines.windows(2).filter(|two| two[0].to.value != two[1].to.value).count() as f64
        };
        let last_and_first = |one: usize, next: usize| {
            let ends = self.of_model(models, one).last().map(|line| &line.to.value);
            let begins = self.of_model(models, next).first().map(|line| &line.to.value);
            f64::from(u8::from(ends != begins))
        };
        let shares = models.shares();
        let between = |one: usize| {
            (0..n).map(|next| models.follows(one, next) * last_and_first(one, next)).sum::<f64>()
        };
        (0..n).map(|model| shares[model] * (within(model) + between(model))).sum()
    }

    /// Mean number of rounds in which these lanes, by name and number of equal ones, load a batch if each of them always has
    /// a piece and loads one in every round. Part kinds are not told apart.
    pub fn mean_rounds(&self, models: &Models, lanes: &[(String, u32)]) -> f64 {
        let shares = models.shares();
        let rounds = |model: usize| f64::from(rounds(self.of_model(models, model), lanes));
        shares.iter().enumerate().map(|(model, share)| share * rounds(model)).sum()
    }

    /// Most pieces that a taker gets at once.
    pub fn most_pieces(&self, taker: &str) -> u32 {
        let of = |lines: &Lines| lines.iter().filter(|l| l.to.value == taker).map(|l| l.pieces).sum::<u32>();
        self.by_model.iter().map(|(_, lines)| of(lines)).max().unwrap_or(0)
    }

    /// Fewest pieces that a taker gets at once, of the models for which it gets any.
    pub fn fewest_pieces(&self, taker: &str) -> u32 {
        let of = |lines: &Lines| lines.iter().filter(|l| l.to.value == taker).map(|l| l.pieces).sum::<u32>();
        self.by_model.iter().map(|(_, lines)| of(lines)).filter(|pieces| *pieces > 0).min().unwrap_or(0)
    }

    /// Most pieces of a batch.
    pub fn most_in_all(&self) -> u32 {
        let of = |lines: &Lines| lines.iter().map(|line| line.pieces).sum::<u32>();
        self.by_model.iter().map(|(_, lines)| of(lines)).max().unwrap_or(0)
    }
}

/// Rounds in which lanes load one batch, each taking the first line of the recipe that still wants what it brings.
fn rounds(lines: &[RecipeLine], lanes: &[(String, u32)]) -> u32 {
    let mut left: Vec<u32> = lines.iter().map(|line| line.pieces).collect();
    let each: Vec<&str> =
        lanes.iter().flat_map(|(name, count)| std::iter::repeat_n(name.as_str(), *count as usize)).collect();
    let brings = |lane: &str, line: &RecipeLine| {
        let of = line.of.as_ref().map(|of| of.value.as_str());
        of.is_none_or(|of| of == lane || !each.contains(&of))
    };
    let mut rounds = 0;
    loop {
        let mut loaded = false;
        for lane in &each {
            if let Some(n) = (0..lines.len()).find(|n| left[*n] > 0 && brings(lane, &lines[*n])) {
                left[n] -= 1;
                loaded = true;
            }
        }
        if !loaded {
            return rounds;
        }
        rounds += 1;
    }
}

/// Reads a list of station names.
pub fn read_names(object: &mut Object<'_>, key: &'static str, doc: &'static str) -> Vec<Spanned<String>> {
    object.optional(key, crate::text::forms::list_of(name()), "[]", doc)
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::text::fields::read_text;

    fn recipe(text: &str) -> RecipeSpec {
        let (recipe, problems) = read_text(text, read_needed_recipe);
        assert!(problems.is_empty(), "{problems:?}");
        recipe.unwrap()
    }

    fn models(amounts: &[(&str, f64)], at_random: bool) -> Models {
        let name = |n: &str| Spanned { value: n.to_owned(), place: FilePlace::default() };
        Models {
            names: amounts.iter().map(|(n, _)| name(n)).collect(),
            amounts: amounts.iter().map(|(_, amount)| *amount).collect(),
            at_random,
        }
    }

    #[test]
    fn a_recipe_says_which_exit_gets_how_many_of_what() {
        let recipe =
            recipe(r#"{"recipes": {"A": {"x": 3, "y": {"ball": 1, "lane 2": 2}}, "B": {"z": 1, "x": 1}}}"#);
        let takers: Vec<&str> = recipe.takers().iter().map(|name| name.value.as_str()).collect();
        assert_eq!(takers, ["x", "y", "z"]);
        let kinds = [Kind::plain("spring"), Kind::plain("ball")];
        let models = models(&[("B", 3.0), ("A", 1.0)], true);
        let needs = recipe.compiled(&models, &kinds);
        let need = |exit, of, pieces| Need { exit, of, pieces };
        assert_eq!(needs[0], [need(2, Source::Any, 1), need(0, Source::Any, 1)]);
        assert_eq!(
            needs[1],
            [need(0, Source::Any, 3), need(1, Source::Kind(1), 1), need(1, Source::Lane(0), 2)]
        );
        assert_eq!(recipe.mean_pieces(&models), [1.5, 0.75, 0.75]);
        assert_eq!((recipe.most_pieces("y"), recipe.most_in_all()), (3, 6));
    }

    #[test]
    fn every_model_has_a_recipe_and_every_recipe_a_model() {
        let mut problems = Diagnostics::new();
        let models = models(&[("long", 1.0), ("short", 1.0)], false);
        recipe(r#"{"recipes": {"long": {"x": 1}, "shrot": {"x": 2}}}"#).check_models(&models, &mut problems);
        let said: Vec<String> = problems.into_vec().iter().map(|p| p.message.clone()).collect();
        assert!(
            said.iter().any(|m| m.contains("shrot"))
                && said.iter().any(|m| m.contains("no recipe for the model `short`")),
            "{said:?}"
        );
        let mut none = Diagnostics::new();
        recipe(r#"{"recipe": {"x": 1}}"#).check_models(&models, &mut none);
        assert!(none.is_empty());
    }
}
