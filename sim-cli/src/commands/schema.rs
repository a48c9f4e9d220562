//! `feedproof schema`: the JSON Schemas of files and results, for editors and programs.

use crate::ending::{Ending, Failure};
use crate::screen;
use sim_core::balance::BalanceResult;
use sim_core::fit::{CountsFit, TimesFit};
use sim_core::matching::MatchResult;
use sim_core::money::PayBack;
use sim_core::run_off::RunOffResult;
use sim_core::study::compare::CompareResult;
use sim_core::study::size::SizeResult;
use sim_core::{scenario, screening, study, sweep};

/// Which schema.
#[derive(Debug, clap::Args)]
pub(crate) struct Args {
    /// Of what
    #[arg(long, value_name = "WHAT", value_enum, default_value_t = Document::Scenario)]
    of: Document,
    /// The same as `--of result`
    #[arg(long, conflicts_with = "of")]
    result: bool,
}

/// Documents that have a schema.
#[derive(Debug, Clone, Copy, PartialEq, Eq, clap::ValueEnum)]
enum Document {
    /// Scenario files
    Scenario,
    /// Sweep files
    Sweep,
    /// What `run --json` prints
    Result,
    /// What `check --json` prints
    Balance,
    /// What `screen --json` prints
    Screen,
    /// What `compare --json` prints
    Comparison,
    /// What `size --json` prints
    Sizing,
    /// What `fit --json` prints of times
    Times,
    /// What `fit --json` prints of drops and trials
    Counts,
    /// What `runoff --json` prints
    RunOff,
    /// What `match --json` prints
    Match,
    /// What `payback --json` prints
    PayBack,
}

/// Prints the schema.
pub(super) fn schema(args: &Args) -> Result<Ending, Failure> {
    let schema = match if args.result { Document::Result } else { args.of } {
        Document::Scenario => scenario::schema(),
        Document::Sweep => sweep::schema(),
        Document::Result => study::schema(),
        Document::Balance => BalanceResult::schema(),
        Document::Screen => screening::schema(),
        Document::Comparison => CompareResult::schema(),
        Document::Sizing => SizeResult::schema(),
        Document::Times => TimesFit::schema(),
        Document::Counts => CountsFit::schema(),
        Document::RunOff => RunOffResult::schema(),
        Document::Match => MatchResult::schema(),
        Document::PayBack => PayBack::schema(),
    };
    screen::print(&format!("{schema:#}\n"))?;
    Ok(Ending::Done)
}
