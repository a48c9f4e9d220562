//! Colours and bold type, on a terminal that wants them.
//!
//! Invariant: where the output is not a terminal, or `NO_COLOR` is set (<https://no-color.org>), no escape sequence is
//! ever written.

use std::io::IsTerminal;

/// Whether, and how, words are marked.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(crate) struct Ink {
    on: bool,
}

impl Ink {
    /// None at all.
    pub(crate) const PLAIN: Ink = Ink { on: false };

    /// For standard output.
    pub(crate) fn of_stdout() -> Self {
        Ink { on: std::io::stdout().is_terminal() && wanted() }
    }

    /// For standard error.
    pub(crate) fn of_stderr() -> Self {
        Ink { on: std::io::stderr().is_terminal() && wanted() }
    }

    fn paint(self, sequence: &str, text: &str) -> String {
        if self.on { format!("\x1b[{sequence}m{text}\x1b[0m") } else { text.to_owned() }
    }

    /// A heading.
    pub(crate) fn bold(self, text: &str) -> String {
        self.paint("1", text)
    }

    /// Something that went well.
    pub(crate) fn good(self, text: &str) -> String {
        self.paint("1;32", text)
    }

    /// Something that went wrong.
    pub(crate) fn bad(self, text: &str) -> String {
        self.paint("1;31", text)
    }

    /// Something to look at.
    pub(crate) fn warn(self, text: &str) -> String {
        self.paint("1;33", text)
    }

    /// Something by the way.
    pub(crate) fn faint(self, text: &str) -> String {
        self.paint("2", text)
    }
}

fn wanted() -> bool {
    let is_set = |name| std::env::var_os(name).is_some_and(|value| !value.is_empty());
    !is_set("NO_COLOR") && std::env::var_os("TERM").is_none_or(|term| term != "dumb")
}
