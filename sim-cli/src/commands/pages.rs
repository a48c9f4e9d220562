//! Pages for people: the options of every command that has something to show, and their files.

use crate::document::{self, Document};
use crate::ending::{Ending, Failure};
use crate::files::Draft;
use crate::proof;
use crate::source::Source;
use std::io::Write;
use std::path::{Path, PathBuf};

/// Which pages to write.
#[derive(Debug, Clone, Default, clap::Args)]
pub(crate) struct Pages {
    /// Write a report for people into this file: one HTML page with pictures, for screen, phone and paper
    #[arg(long, value_name = "HTML")]
    report: Option<PathBuf>,
    /// Write all tables into this workbook, with charts
    #[arg(long, value_name = "XLSX")]
    xlsx: Option<PathBuf>,
}

/// Pages that are being written. They appear when they are whole.
#[derive(Debug)]
pub(crate) struct OpenPages {
    report: Option<(Draft, PathBuf)>,
    xlsx: Option<(Draft, PathBuf)>,
}

impl Pages {
    /// Makes sure that the files can be written before anything else is done; none if none are asked for.
    ///
    /// # Errors
    /// If nothing can be written there.
    pub(crate) fn open(&self) -> Result<Option<OpenPages>, Failure> {
        let open = |target: &Option<PathBuf>| -> Result<Option<(Draft, PathBuf)>, Failure> {
            target.as_ref().map(|path| Ok((Draft::of(path.clone())?, path.clone()))).transpose()
        };
        if self.report.is_none() && self.xlsx.is_none() {
            return Ok(None);
        }
        Ok(Some(OpenPages { report: open(&self.report)?, xlsx: open(&self.xlsx)? }))
    }
}

impl OpenPages {
    /// Whether one of them is a report, which can hold a film.
    pub(crate) fn has_report(&self) -> bool {
        self.report.is_some()
    }

    /// Writes the document of a command that was given these files, with how to make it again.
    ///
    /// # Errors
    /// If it cannot be written.
    pub(crate) fn keep_with(self, mut document: Document, sources: &[Source]) -> Result<(), Failure> {
        proof::add_origin(&mut document, &typed(), sources);
        self.keep(&document)
    }

    /// Writes the document.
    ///
    /// # Errors
    /// If it cannot be written.
    pub(crate) fn keep(self, document: &Document) -> Result<(), Failure> {
        if let Some((draft, target)) = self.report {
            keep(draft, &target, document::page(document).as_bytes())?;
        }
        if let Some((draft, target)) = self.xlsx {
            let bytes = document::workbook(document)
                .map_err(|why| Failure::new(Ending::Failed, format!("the workbook cannot be made: {why}")))?;
            keep(draft, &target, &bytes)?;
        }
        Ok(())
    }
}

fn keep(mut draft: Draft, target: &Path, bytes: &[u8]) -> Result<(), Failure> {
    draft.write_all(bytes).map_err(|why| Failure::unwritable(target, why))?;
    draft.keep()
}

/// The command as it was typed, without what has no part in the result.
fn typed() -> String {
    const APART: [&str; 4] = ["--report", "--xlsx", "--threads", "--out"];
    let mut words = vec!["feedproof".to_owned()];
    let mut typed = std::env::args_os().skip(1);
    while let Some(word) = typed.next() {
        let word = word.to_string_lossy();
        match APART.iter().find_map(|option| word.strip_prefix(option)) {
            Some("") => {
                typed.next();
            }
            Some(rest) if rest.starts_with('=') => {}
            _ if word == "--json" || word == "--csv" => {}
            _ => words.push(quoted(&word)),
        }
    }
    words.join(" ")
}

/// A word for a shell.
pub(super) fn quoted(word: &str) -> String {
    let is_plain = |c: char| c.is_ascii_alphanumeric() || "-_./".contains(c);
    if !word.is_empty() && word.chars().all(is_plain) {
        word.to_owned()
    } else {
        format!("'{}'", word.replace('\'', "'\\''"))
    }
}
