//! `feedproof show`: the file of a built-in line.

use crate::builtin::{self, Line};
use crate::ending::{Ending, Failure};
use crate::screen;

/// What to show.
#[derive(Debug, clap::Args)]
pub(crate) struct Args {
    /// Name of a built-in line; `feedproof list` shows them
    name: String,
}

/// Prints the file as it is.
pub(super) fn show(args: &Args) -> Result<Ending, Failure> {
    screen::print(named(&args.name)?.text)?;
    Ok(Ending::Done)
}

/// The built-in line with this name.
///
/// # Errors
/// If there is none, with the nearest name.
pub(super) fn named(name: &str) -> Result<&'static Line, Failure> {
    builtin::find(name).ok_or_else(|| {
        let failure = Failure::new(Ending::BadInput, format!("no built-in line is named `{name}`"));
        match builtin::nearest(name) {
            Some(near) => failure.help(format!("did you mean `{near}`?")),
            None => failure.help("`feedproof list` shows them"),
        }
    })
}
