//! `feedproof draw`: the line as a picture.

use crate::drawing::{self, Direction, Picture};
use crate::ending::{Ending, Failure};
use crate::source::Source;
use crate::{files, screen};
use sim_core::balance;
use std::path::PathBuf;

/// What to draw, and where to.
#[derive(Debug, clap::Args)]
pub(crate) struct Args {
    /// Scenario file, `-` for standard input, or the name of a built-in line; left out: the default line
    file: Option<PathBuf>,
    /// Write the drawing into this file; left out: to standard output
    #[arg(long, value_name = "SVG")]
    out: Option<PathBuf>,
    /// Which way the flow runs
    #[arg(long, value_enum, default_value = "across")]
    flow: Direction,
    /// Replace the file if it exists
    #[arg(long)]
    force: bool,
}

/// Draws the line with the flows of its balance.
pub(super) fn draw(args: &Args) -> Result<Ending, Failure> {
    let source = Source::load_or_default(args.file.as_ref())?;
    let scenario = source.check_aloud()?;
    let balance = balance::solve(&scenario).map_err(|problems| source.refused(&problems.into_vec()))?;
    let picture = Picture::of(&scenario, &balance, None);
    let drawn = drawing::svg(&picture, &picture.layout(args.flow), "line", true).into_string() + "\n";
    match &args.out {
        Some(target) => files::write(target, &drawn, args.force)?,
        None => screen::print(&drawn)?,
    }
    Ok(Ending::Done)
}
