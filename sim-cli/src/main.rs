//! `feedproof`: proves the rate of a bulk parts-feeding line before it is built.
//!
//! The program around the library: it reads files, runs studies on all cores and prints. All meaning is in the
//! library. Invariant: bad input ends with a message and a documented status, never with a panic.

mod builtin;
mod charts;
mod commands;
mod data;
mod designs;
mod document;
mod drawing;
mod ending;
mod explanations;
mod files;
mod identity;
mod ink;
mod interrupt;
mod journal;
mod kept;
mod lock;
mod logs;
mod numbers;
mod problems;
mod progress;
mod proof;
mod replay;
mod report;
mod screen;
mod source;
mod sweep;
mod tables;

use clap::Parser;
use std::process::ExitCode;

/// Will this feed line make its rate, and how sure are we?
///
/// A scenario file describes a line that takes parts in bulk and hands them on one at a time; feedproof simulates
/// many shifts of it and says whether the promised rate is proved, disproved or still open.
#[derive(Debug, Parser)]
#[command(name = "feedproof", version, max_term_width = 100, after_help = ending::HELP)]
struct Program {
    #[command(subcommand)]
    command: commands::Command,
}

fn main() -> ExitCode {
    let program = Program::parse();
    match commands::execute(program.command) {
        Ok(ending) => ending.code(),
        Err(failure) => {
            screen::say(&failure.render(ink::Ink::of_stderr()));
            failure.ending.code()
        }
    }
}
