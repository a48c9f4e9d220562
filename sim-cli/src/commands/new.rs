//! `feedproof new`: a file to start from.

use super::show::named;
use crate::builtin;
use crate::ending::{Ending, Failure};
use crate::{files, screen};
use std::path::PathBuf;

/// What to write.
#[derive(Debug, clap::Args)]
pub(crate) struct Args {
    /// The file to write
    file: PathBuf,
    /// Start from this built-in line instead of the small starter
    #[arg(long, value_name = "NAME", default_value = builtin::STARTER)]
    like: String,
    /// Replace the file if there is one
    #[arg(long)]
    force: bool,
}

/// Writes the file.
pub(super) fn new(args: &Args) -> Result<Ending, Failure> {
    let line = named(&args.like)?;
    files::write(&args.file, line.text, args.force)?;
    let file = args.file.display().to_string();
    let shown = screen::safe(&file);
    screen::print(&format!(
        "wrote {shown}: {}\n\n  feedproof check {shown}   what is wrong with it, and what each station can carry\n  \
         feedproof run {shown}     the proof\n",
        line.title()
    ))?;
    Ok(Ending::Done)
}
