//! `feedproof limits`: what to change first.

use super::luck::Luck;
use super::pages::Pages;
use crate::ending::{Ending, Failure};
use crate::ink::Ink;
use crate::interrupt;
use crate::progress::Bar;
use crate::proof;
use crate::report;
use crate::screen;
use crate::source::Source;
use sim_core::study::{self, Hands, LimitsOptions, LimitsResult};
use std::path::PathBuf;

/// What to look at, and how.
#[derive(Debug, clap::Args)]
pub(crate) struct Args {
    /// Scenario file, `-` for standard input, or the name of a built-in line; left out: the default line
    file: Option<PathBuf>,
    /// Shifts for each number that is tried
    #[arg(long, value_name = "N", default_value_t = 20, value_parser = clap::value_parser!(u64).range(2..=1_000_000))]
    replications: u64,
    #[command(flatten)]
    luck: Luck,
    /// Print the result as one JSON document
    #[arg(long)]
    json: bool,
    #[command(flatten)]
    pages: Pages,
}

/// Tries each number that may limit the line, and prints what gains most.
pub(super) fn limits(args: &Args) -> Result<Ending, Failure> {
    let source = Source::load_or_default(args.file.as_ref())?;
    let scenario = source.check_aloud()?;
    let pages = args.pages.open()?;
    interrupt::listen()?;
    let found = rank(&source.text, args.replications, args.luck.seed(scenario.plan.seed), &args.luck.crew())?;
    let Some(found) = found else {
        return Err(Failure::interrupted("all numbers were tried"));
    };
    if let Some(pages) = pages {
        pages.keep_with(proof::ranking(&found), &[source])?;
    }
    if args.json {
        screen::print(&screen::json(&found)?)?;
    } else {
        screen::print(&report::limits(&found, Ink::of_stdout()))?;
    }
    Ok(Ending::Done)
}

/// Ranks the numbers of a scenario, with so many shifts for each; none if it was interrupted.
///
/// # Errors
/// If a shift of the file itself cannot be run.
pub(super) fn rank(
    text: &str,
    shifts: u64,
    seed: u64,
    crew: &Hands,
) -> Result<Option<LimitsResult>, Failure> {
    let options = LimitsOptions { replications: shifts, seed, level: 0.95 };
    let bar = Bar::new(0, "numbers tried");
    let found = study::limits(text, &options, crew, &interrupt::asked, &mut |done, of| bar.step(done, of));
    bar.clear();
    found.map_err(|why| Failure::new(Ending::BadInput, why.to_string()))
}
