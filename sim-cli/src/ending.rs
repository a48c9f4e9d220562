//! How the program ends: exit statuses, and failures with a message.
//!
//! The statuses are part of the interface: scripts count on them. They never change their meaning.

use crate::ink::Ink;
use crate::screen::safe;
use sim_core::diag::Problem;
use std::fmt::Display;
use std::path::Path;
use std::process::ExitCode;

/// What `--help` says about exit statuses.
pub(crate) const HELP: &str = "\
Exit status:
    0  done, whatever the verdict
    1  a file could not be written, or a fault of the program
    2  bad input: the command line, or a scenario with errors
    3  the promise is not proved (only with --fail-unless-proved)
  130  interrupted before there was a result

A FILE of `-` is read from standard input. NO_COLOR=1 turns colours off.";

/// How a command ended.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(crate) enum Ending {
    /// Everything was done.
    Done,
    /// A file could not be written, or the program is at fault.
    Failed,
    /// The command line or the scenario cannot be used.
    BadInput,
    /// The promise is not proved, and that was asked for.
    NotProved,
    /// Interrupted before there was a result.
    Interrupted,
}

impl Ending {
    /// The exit status.
    pub(crate) fn code(self) -> ExitCode {
        ExitCode::from(match self {
            Ending::Done => 0,
            Ending::Failed => 1,
            Ending::BadInput => 2,
            Ending::NotProved => 3,
            Ending::Interrupted => 130,
        })
    }
}

/// Why a command could not do what was asked.
#[derive(Debug, Clone, PartialEq, Eq)]
pub(crate) struct Failure {
    /// How the program ends.
    pub(crate) ending: Ending,
    /// What is wrong; may be several lines that are already laid out.
    message: String,
    help: Option<String>,
    /// The message is a page of its own, without the word `error` before it.
    is_page: bool,
}

impl Failure {
    /// A failure with a message of one sentence without a full stop.
    pub(crate) fn new(ending: Ending, message: impl Into<String>) -> Self {
        Failure { ending, message: message.into(), help: None, is_page: false }
    }

    /// Input that cannot be used, explained on a page that is already laid out.
    pub(crate) fn page(page: String) -> Self {
        Failure { ending: Ending::BadInput, message: page, help: None, is_page: true }
    }

    /// A file that cannot be read: bad input.
    pub(crate) fn unreadable(what: &str, why: impl Display) -> Self {
        Failure::new(Ending::BadInput, format!("cannot read {what}: {why}"))
    }

    /// A file that cannot be written.
    pub(crate) fn unwritable(path: &Path, why: impl Display) -> Self {
        Failure::new(Ending::Failed, format!("cannot write `{}`: {why}", path.display()))
    }

    /// An interruption before something was the case: `before all points were run`.
    pub(crate) fn interrupted(before: &str) -> Self {
        Failure::new(Ending::Interrupted, format!("interrupted before {before}"))
    }

    /// This failure and another one, each told by itself.
    pub(crate) fn and(self, other: Failure) -> Failure {
        let pages = [&self, &other].map(|failure| failure.render(Ink::of_stderr()));
        Failure { ending: self.ending, ..Failure::page(pages.join("\n")) }
    }

    /// All values, or all failures.
    ///
    /// # Errors
    /// If one of them is a failure.
    pub(crate) fn none_in<T>(all: impl IntoIterator<Item = Result<T, Failure>>) -> Result<Vec<T>, Failure> {
        let (mut values, mut failures) = (Vec::new(), Vec::new());
        for one in all {
            match one {
                Ok(value) => values.push(value),
                Err(failure) => failures.push(failure),
            }
        }
        failures.into_iter().reduce(Failure::and).map_or(Ok(values), Err)
    }

    /// Both values, or what failed of the two.
    ///
    /// # Errors
    /// If one of them is a failure.
    pub(crate) fn both<A, B>(a: Result<A, Failure>, b: Result<B, Failure>) -> Result<(A, B), Failure> {
        match (a, b) {
            (Ok(a), Ok(b)) => Ok((a, b)),
            (Err(one), Err(other)) => Err(one.and(other)),
            (Err(one), Ok(_)) | (Ok(_), Err(one)) => Err(one),
        }
    }

    /// As a problem of a file that asks for what failed.
    pub(crate) fn problem(self, code: &'static str) -> Problem {
        let problem = Problem::new(code, self.message);
        match self.help {
            Some(help) => problem.help(help),
            None => problem,
        }
    }

    /// Adds what to do.
    pub(crate) fn help(mut self, help: impl Into<String>) -> Self {
        self.help = Some(help.into());
        self
    }

    /// The message for a person.
    pub(crate) fn render(&self, ink: Ink) -> String {
        if self.is_page {
            return self.message.clone();
        }
        let mut text = format!("{} {}\n", ink.bad("error:"), safe(&self.message));
        if let Some(help) = &self.help {
            text.push_str(&format!("  help: {}\n", safe(help)));
        }
        text
    }
}
