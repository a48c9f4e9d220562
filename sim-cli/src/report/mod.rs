//! The proof as a page: the verdict first, then what it rests on.
//!
//! It only lays out; every number comes from the result. Invariant: each interval says of what it is, so that the one
//! for the mean and the one for a single shift cannot be confused.

mod balance;
mod blocks;
mod comparison;
mod files;
pub(crate) mod fit;
mod ignorance;
mod limits;
mod line;
mod losses;
mod matching;
pub(crate) mod money;
mod origin;
pub(crate) mod plot;
mod rate;
mod run_off;
mod screening;
mod sizing;
pub(crate) mod verdict;

pub(crate) use balance::{balance, most};
pub(crate) use comparison::{comparison, differences_csv};
pub(crate) use files::stations_csv;
pub(crate) use ignorance::evidence;
pub(crate) use limits::limits;
pub(crate) use screening::{screening, screening_csv};
pub(crate) use sizing::{frontier, sizing};

pub(crate) use matching::matching;
pub(crate) use money::pay_back;
pub(crate) use run_off::run_off;

use crate::ink::Ink;
use crate::source::Source;
use sim_core::diag::Diagnostic;
use sim_core::study::RunResult;

/// What stands on the page besides the result.
#[derive(Debug, Clone, Copy)]
pub(crate) struct Context<'a> {
    /// The scenario file.
    pub(crate) source: &'a Source,
    /// Warnings about it.
    pub(crate) warnings: &'a [Diagnostic],
    /// Whether to mark words.
    pub(crate) ink: Ink,
}

/// The whole page.
pub(crate) fn proof(result: &RunResult, context: &Context<'_>) -> String {
    let ink = context.ink;
    let sections = [
        verdict::head(result, ink),
        verdict::gridlock(result, ink),
        rate::rate(result, ink),
        rate::reduced(result, ink),
        rate::chance(result, ink),
        verdict::clauses(result, ink),
        ignorance::side_by_side(result, ink),
        ignorance::variance(result, ink),
        ignorance::further(result, ink),
        losses::waterfall(result, ink),
        line::time_shares(result, ink),
        line::flow(result, ink),
        losses::flows(result, ink),
        line::points(result, ink),
        line::levels(result, ink),
        line::stops(result, ink),
        line::people(result, ink),
        line::sensors(result, ink),
        line::measures(result, ink),
        line::losses(result, ink),
        origin::inputs(result, ink),
        ignorance::left_out(result),
        money::section(result, ink),
        origin::warnings(context),
        origin::notes(result, ink),
        origin::next(context),
    ];
    let filled: Vec<String> = sections.into_iter().filter(|section| !section.is_empty()).collect();
    filled.join("\n")
}

/// The heading of a section.
fn heading(title: &str, ink: Ink) -> String {
    format!("{}\n", ink.bold(title))
}

/// `` `a` `` or `` `a` and `b` ``.
pub(crate) fn listed(names: &[String]) -> String {
    let quoted: Vec<String> = names.iter().map(|name| format!("`{}`", crate::screen::safe(name))).collect();
    match quoted.split_last() {
        Some((last, rest)) if !rest.is_empty() => format!("{} and {last}", rest.join(", ")),
        Some((last, _)) => last.clone(),
        None => "the point of use".to_owned(),
    }
}
