//! `feedproof schema`: JSON Schemas, for editors and programs.

use crate::ending::{Ending, Failure};
use crate::screen;
use sim_core::study::compare::CompareResult;
use sim_core::study::size::SizeResult;
use sim_core::{scenario, study};

/// Which schema.
#[derive(Debug, clap::Args)]
pub(crate) struct Args {
    /// Of the result (`run --json`) instead of the scenario file
    #[arg(long)]
    result: bool,
    /// Of what
    #[arg(long, value_enum, default_value_t = Of::Scenario, conflicts_with = "result")]
    of: Of,
}

/// Documents that have a schema.
#[derive(Debug, Clone, Copy, PartialEq, Eq, clap::ValueEnum)]
enum Of {
    /// The scenario file
    Scenario,
    /// What `run --json` prints
    Result,
    /// What `compare --json` prints
    Comparison,
    /// What `size --json` prints
    Sizing,
}

/// Prints the schema.
pub(super) fn schema(args: &Args) -> Result<Ending, Failure> {
    let schema = match if args.result { Of::Result } else { args.of } {
        Of::Scenario => scenario::schema(),
        Of::Result => study::schema(),
        Of::Comparison => CompareResult::schema(),
        Of::Sizing => SizeResult::schema(),
    };
    screen::print(&format!("{schema:#}\n"))?;
    Ok(Ending::Done)
}
