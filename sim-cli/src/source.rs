//! Where scenarios come from: a file, standard input, or a line that is built in.
//!
//! Invariant: never more is read than a scenario may be long.

use crate::builtin;
use crate::data::{self, Resolved};
use crate::ending::{Ending, Failure};
use crate::ink::Ink;
use crate::problems;
use crate::screen;
use sim_core::balance;
use sim_core::diag::{Diagnostic, Place, Problem, Severity, Span};
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
    /// What is wrong with files of values that it names.
    faults: Vec<(Span, Problem)>,
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
            return Source::decode("standard input".to_owned(), &bytes)
                .map(|source| source.with_data(Path::new("")));
        }
        let name = file.display().to_string();
        match File::open(file).and_then(read_some) {
            Ok(bytes) => {
                let folder = file.parent().unwrap_or_else(|| Path::new(""));
                Source::decode(name, &bytes).map(|source| source.with_data(folder))
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
    fn with_data(self, folder: &Path) -> Self {
        let Resolved { text, faults } = data::resolved(self.text, folder);
        Source { text, faults, ..self }
    }

    /// A text of another one with something changed in it.
    pub(crate) fn changed(name: String, text: String) -> Self {
        Source { name, is_built_in: false, text, faults: Vec::new() }
    }

    fn built_in(line: &builtin::Line) -> Self {
        Source { is_built_in: true, ..Source::changed(line.name.to_owned(), line.text.to_owned()) }
    }

    fn decode(name: String, bytes: &[u8]) -> Result<Self, Failure> {
        match json::decode(bytes) {
            Ok(text) => Ok(Source::changed(name, text.to_owned())),
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
        let mut checked = balance::read(&self.text);
        self.tell_faults(&mut checked.problems);
        match checked.scenario.filter(|_| self.faults.is_empty()) {
            Some(scenario) => Ok((scenario, checked.problems)),
            None => Err(self.refused(&checked.problems)),
        }
    }

    /// Says what is wrong with files of values where they are named, in the place of whatever was said of them there.
    fn tell_faults(&self, problems: &mut Vec<Diagnostic>) {
        for (span, fault) in &self.faults {
            let said = problems.iter().position(|problem| problem.span == *span);
            let path = said.map(|n| problems.remove(n).path).unwrap_or_default();
            let place = Place { span: *span, path };
            problems.push(Diagnostic::new(Severity::Error, place, fault.clone()));
        }
        problems.sort_by_key(|problem| (problem.span.start, problem.severity));
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
