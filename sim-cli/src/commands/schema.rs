//! `feedproof schema`: JSON Schemas, for editors and programs.

use crate::ending::{Ending, Failure};
use crate::screen;
use sim_core::{scenario, study};

/// Which schema.
#[derive(Debug, clap::Args)]
pub(crate) struct Args {
    /// Of the result (`run --json`) instead of the scenario file
    #[arg(long)]
    result: bool,
}

/// Prints the schema.
pub(super) fn schema(args: &Args) -> Result<Ending, Failure> {
    let schema = if args.result { study::schema() } else { scenario::schema() };
    screen::print(&format!("{schema:#}\n"))?;
    Ok(Ending::Done)
}
