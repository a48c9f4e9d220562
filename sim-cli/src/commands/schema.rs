//! `feedproof schema`: the JSON Schemas of files and results, for editors and programs.

use crate::ending::{Ending, Failure};
use crate::screen;
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
    /// What `screen --json` prints
    Screen,
    /// What `compare --json` prints
    Comparison,
    /// What `size --json` prints
    Sizing,
}

/// Prints the schema.
pub(super) fn schema(args: &Args) -> Result<Ending, Failure> {
    let schema = match if args.result { Document::Result } else { args.of } {
        Document::Scenario => scenario::schema(),
        Document::Sweep => sweep::schema(),
        Document::Result => study::schema(),
        Document::Screen => screening::schema(),
        Document::Comparison => CompareResult::schema(),
        Document::Sizing => SizeResult::schema(),
    };
    screen::print(&format!("{schema:#}\n"))?;
    Ok(Ending::Done)
}
