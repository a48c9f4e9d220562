//! The commands, one file each.

mod check;
mod compare;
mod draw;
mod explain;
mod fit;
mod limits;
mod list;
mod luck;
mod matching;
mod merge;
mod new;
mod pages;
mod payback;
mod run;
mod runoff;
mod schema;
mod screen;
mod show;
mod size;
mod sweep;
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
    /// Draws the line as an SVG picture
    Draw(draw::Args),
    /// Tries each number that may limit the line, and ranks what the rate would gain
    Limits(limits::Args),
    /// Ranks which of many numbers matter, alone and together with others
    Screen(screen::Args),
    /// Runs a scenario at many points, and goes on where it was interrupted
    Sweep(sweep::Args),
    /// Puts the parts of a sweep together
    Merge(merge::Args),
    /// Runs designs side by side with the same luck, and says which one makes more
    Compare(compare::Args),
    /// Finds the smallest or largest value of a setting with which the promise is proved
    Size(size::Args),
    /// Fits laws, attitudes and tools to a log, with the text for a scenario
    Fit(fit::Args),
    /// The acceptance test: chance to pass, risks of both sides, the smallest plan that holds them
    Runoff(runoff::Args),
    /// Compares a log of the built line with its model, and finds which input would explain it
    Match(matching::Args),
    /// Pay-back of the line: plain arithmetic on simulated shifts, apart from the proof
    Payback(payback::Args),
    /// Writes a new scenario file that runs as it is
    New(new::Args),
    /// Lists the lines that are built in
    List,
    /// Prints the file of a built-in line
    Show(show::Args),
    /// Prints every event of one shift as CSV
    Trace(trace::Args),
    /// Prints the JSON Schema of scenario files, of sweep files, or of results
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
        Command::Draw(args) => draw::draw(&args),
        Command::Limits(args) => limits::limits(&args),
        Command::Screen(args) => screen::screen(&args),
        Command::Sweep(args) => sweep::sweep(&args),
        Command::Merge(args) => merge::merge(&args),
        Command::Compare(args) => compare::compare(&args),
        Command::Size(args) => size::size(&args),
        Command::Fit(args) => fit::fit(&args),
        Command::Runoff(args) => runoff::runoff(&args),
        Command::Match(args) => matching::matching(&args),
        Command::Payback(args) => payback::payback(&args),
        Command::New(args) => new::new(&args),
        Command::List => list::list(),
        Command::Show(args) => show::show(&args),
        Command::Trace(args) => trace::trace(&args),
        Command::Schema(args) => schema::schema(&args),
        Command::Explain(args) => explain::explain(&args),
    }
}
