//! Where scenarios come from: a file, standard input, or a line that is built in.
//!
//! Invariant: never more is read than a scenario may be long.

use crate::builtin;
use crate::data;
use crate::ending::{Ending, Failure};
use crate::ink::Ink;
use crate::problems;
use crate::screen;
use sim_core::balance;
use sim_core::diag::Diagnostic;
use sim_core::scenario::Scenario;
use sim_core::text::json;
use std::fs::File;
use std::io::{self, Read};
use std::path::{Path, PathBuf};

/// The text of a scenario, and what to call it.
#[derive(Debug, Clone)]
pub(crate) struct Source {
    /// As it stands in messages and commands: a path, `-`, or the name of a built-in line.
    pub(crate) name: String,
    /// Whether it is built in.
    pub(crate) is_built_in: bool,
    /// What was read.
    pub(crate) text: String,
}

impl Source {
    /// Reads `file`. `-` is standard input; a name that no file has may be that of a built-in line.
    ///
    /// # Errors
    /// If it cannot be read, is too long or is not UTF-8.
    pub(crate) fn load(file: &Path) -> Result<Self, Failure> {
        if file == Path::new("-") {
            let bytes =
                read_some(io::stdin().lock()).map_err(|why| Failure::unreadable("standard input", why))?;
            return Source::decode("standard input".to_owned(), &bytes)?.with_data(Path::new(""));
        }
        let name = file.display().to_string();
        match File::open(file).and_then(read_some) {
            Ok(bytes) => {
                Source::decode(name, &bytes)?.with_data(file.parent().unwrap_or_else(|| Path::new("")))
            }
            Err(why) => match builtin::find(&name) {
                Some(line) => Ok(Source::built_in(line)),
                None => Err(missing(file, &name, &why)),
            },
        }
    }

    /// As [`Source::load`]; without a file the default line.
    ///
    /// # Errors
    /// As [`Source::load`].
    pub(crate) fn load_or_default(file: Option<&PathBuf>) -> Result<Self, Failure> {
        match file {
            Some(file) => Source::load(file),
            None => Ok(Source::built_in(builtin::default())),
        }
    }

    /// With the values of the files that the text names, by their paths from `folder`.
    fn with_data(self, folder: &Path) -> Result<Self, Failure> {
        Ok(Source { text: data::resolved(self.text, folder)?, ..self })
    }

    fn built_in(line: &builtin::Line) -> Self {
        Source { name: line.name.to_owned(), is_built_in: true, text: line.text.to_owned() }
    }

    fn decode(name: String, bytes: &[u8]) -> Result<Self, Failure> {
        match json::decode(bytes) {
            Ok(text) => Ok(Source { name, is_built_in: false, text: text.to_owned() }),
            Err(problem) => {
                let text = String::from_utf8_lossy(&bytes[..problem.span.start.min(bytes.len())]);
                Err(Failure::page(problems::page(&[*problem], &name, &text, Ink::of_stderr())))
            }
        }
    }

    /// The checked scenario and its warnings.
    ///
    /// # Errors
    /// All problems of the file on one page, if there is an error among them.
    pub(crate) fn check(&self) -> Result<(Scenario, Vec<Diagnostic>), Failure> {
        let checked = balance::read(&self.text);
        let Some(scenario) = checked.scenario else { return Err(self.refused(&checked.problems)) };
        Ok((scenario, checked.problems))
    }

    /// The failure of a file with these problems.
    pub(crate) fn refused(&self, problems: &[Diagnostic]) -> Failure {
        Failure::page(problems::page(problems, &self.name, &self.text, Ink::of_stderr()))
    }

    /// The checked scenario; warnings are said on standard error.
    ///
    /// # Errors
    /// As [`Source::check`].
    pub(crate) fn check_aloud(&self) -> Result<Scenario, Failure> {
        let (scenario, warnings) = self.check()?;
        if !warnings.is_empty() {
            screen::say(&problems::page(&warnings, &self.name, &self.text, Ink::of_stderr()));
        }
        Ok(scenario)
    }
}

fn read_some(from: impl Read) -> io::Result<Vec<u8>> {
    let mut bytes = Vec::new();
    // One byte more than allowed is enough to see that it is too long.
    from.take(json::MAX_BYTES as u64 + 1).read_to_end(&mut bytes)?;
    Ok(bytes)
}

fn missing(file: &Path, name: &str, why: &io::Error) -> Failure {
    let failure = Failure::unreadable(&format!("`{name}`"), why);
    if file.is_dir() {
        return Failure::new(Ending::BadInput, format!("`{name}` is a folder")).help("name a file in it");
    }
    match builtin::nearest(name) {
        Some(line) => failure.help(format!("did you mean the built-in line `{line}`?")),
        None => failure.help("`feedproof list` shows the lines that are built in"),
    }
}
