//! The commands, one file each.

mod check;
mod explain;
mod fit;
mod limits;
mod list;
mod matching;
mod new;
mod run;
mod runoff;
mod schema;
mod show;
mod trace;

use crate::ending::{Ending, Failure};
use clap::Subcommand;

/// What to do.
#[derive(Debug, Subcommand)]
pub(crate) enum Command {
    /// Simulates shifts of a line and prints the proof
    Run(run::Args),
    /// Checks a file without simulating, and prints the balance of the line
    Check(check::Args),
    /// Tries each number that may limit the line, and ranks what the rate would gain
    Limits(limits::Args),
    /// Fits laws, attitudes and tools to a log, with the text for a scenario
    Fit(fit::Args),
    /// The acceptance test: chance to pass, risks of both sides, the smallest plan that holds them
    Runoff(runoff::Args),
    /// Compares a log of the built line with its model, and finds which input would explain it
    Match(matching::Args),
    /// Writes a new scenario file that runs as it is
    New(new::Args),
    /// Lists the lines that are built in
    List,
    /// Prints the file of a built-in line
    Show(show::Args),
    /// Prints every event of one shift as CSV
    Trace(trace::Args),
    /// Prints the JSON Schema of scenario files, or of results
    Schema(schema::Args),
    /// Tells more about a problem that was reported
    Explain(explain::Args),
}

/// Does it.
///
/// # Errors
/// What could not be done, and how the program ends.
pub(crate) fn execute(command: Command) -> Result<Ending, Failure> {
    match command {
        Command::Run(args) => run::run(&args),
        Command::Check(args) => check::check(&args),
        Command::Limits(args) => limits::limits(&args),
        Command::Fit(args) => fit::fit(&args),
        Command::Runoff(args) => runoff::runoff(&args),
        Command::Match(args) => matching::matching(&args),
        Command::New(args) => new::new(&args),
        Command::List => list::list(),
        Command::Show(args) => show::show(&args),
        Command::Trace(args) => trace::trace(&args),
        Command::Schema(args) => schema::schema(&args),
        Command::Explain(args) => explain::explain(&args),
    }
}
