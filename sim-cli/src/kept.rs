//! The shifts of a study under way, kept in a folder: started again with the same folder, it goes on.
//!
//! A shift is a line of the journal: the number of its line (a design, a value, a point), its own number, and the bits of what
//! the study wants of it. When the study is finished its files are written and the journal goes. Invariant: the files
//! are those of an undisturbed run, to the last byte.

use crate::ending::Failure;
use crate::files;
use crate::identity::Identity;
use crate::interrupt;
use crate::journal::Journal;
use crate::lock::Lock;
use crate::numbers::grouped;
use crate::screen;
use serde_json::{Value, json};
use sim_core::study::Kept;
use std::collections::BTreeMap;
use std::path::{Path, PathBuf};
use std::sync::Arc;
use std::sync::atomic::{AtomicBool, Ordering};
use std::time::Duration;

/// What was kept of shifts, by the number of the line and that of the shift.
type Found = BTreeMap<(u64, u64), Vec<f64>>;

/// Shifts that are kept, or not, if no folder is named.
#[derive(Debug)]
pub(crate) struct KeptShifts {
    place: Option<Place>,
    /// Added to the number of each line.
    first_line: u64,
    is_unwritten: Arc<AtomicBool>,
}

#[derive(Debug)]
struct Place {
    folder: PathBuf,
    _lock: Lock,
    journal: Journal,
    found: Found,
    n: u64,
    failure: Option<Failure>,
}

impl KeptShifts {
    /// Begins a study in a folder, or goes on with it; `files` are those it will leave there.
    ///
    /// # Errors
    /// If another process is at work there, another study is under way there, or it cannot be written.
    pub(crate) fn open(folder: Option<&Path>, files: &[&str], of: &Value) -> Result<Self, Failure> {
        let place = folder.map(|folder| Place::open(folder, files, &Identity::new(of))).transpose()?;
        Ok(KeptShifts { place, first_line: 0, is_unwritten: Arc::default() })
    }

    /// Lines are counted from this number on.
    pub(crate) fn count_from(&mut self, first_line: u64) {
        self.first_line = first_line;
    }

    /// Whether the study has to stop: it is asked to, or shifts cannot be kept any more.
    pub(crate) fn stop(&self) -> impl Fn() -> bool + Sync + use<> {
        let is_unwritten = self.is_unwritten.clone();
        move || interrupt::asked() || is_unwritten.load(Ordering::Relaxed)
    }

    /// Makes sure that what was kept is safe.
    ///
    /// # Errors
    /// If it could not be written.
    pub(crate) fn settle(&mut self) -> Result<(), Failure> {
        let Some(place) = &mut self.place else { return Ok(()) };
        let synced = place.journal.sync();
        let safe = grouped(place.n);
        place.failure.take().map_or(synced, Err).map_err(|failure| {
            failure
                .help(format!("{safe} shifts are safe; once there is room again, the same command goes on"))
        })
    }

    /// The failure of a study that was interrupted before `what`.
    pub(crate) fn interrupted(&self, what: &str) -> Failure {
        Failure::interrupted(what).help(self.goes_on())
    }

    /// Writes the files of a study. If it is whole the journal goes; if not, it is said how to go on.
    ///
    /// # Errors
    /// If they cannot be written.
    pub(crate) fn finish(self, files: &[(&str, &[u8])], is_whole: bool) -> Result<(), Failure> {
        if !is_whole {
            screen::say(&format!("interrupted: {}\n", self.goes_on()));
        }
        let Some(place) = self.place else { return Ok(()) };
        files::write_together(&place.folder, files)?;
        if is_whole { place.journal.remove() } else { Ok(()) }
    }

    fn goes_on(&self) -> String {
        match &self.place {
            Some(place) => format!(
                "{} shifts are safe in `{}`, and the same command goes on",
                grouped(place.n),
                place.folder.display()
            ),
            None => "with --out DIR shifts are kept, and the same command goes on".to_owned(),
        }
    }
}

impl Place {
    fn open(folder: &Path, files: &[&str], identity: &Identity) -> Result<Self, Failure> {
        let lock = Lock::take(folder, Duration::ZERO)?;
        files::take_away_drafts(folder, files);
        let mut found = Found::new();
        let journal = Journal::open(folder, identity, &mut |_, line| {
            found.extend(shift(line));
        })?;
        if !found.is_empty() {
            screen::say(&format!("going on: {} shifts are done\n", grouped(found.len() as u64)));
        }
        let n = found.len() as u64;
        Ok(Place { folder: folder.to_owned(), _lock: lock, journal, found, n, failure: None })
    }
}

/// A shift of a line of the journal.
fn shift(line: &Value) -> Option<((u64, u64), Vec<f64>)> {
    let bits = line.get("bits")?.as_array()?;
    let values = bits.iter().map(|bits| bits.as_u64().map(f64::from_bits)).collect::<Option<_>>()?;
    Some(((line.get("line")?.as_u64()?, line.get("shift")?.as_u64()?), values))
}

impl Kept for KeptShifts {
    fn find(&self, line: u64, shift: u64) -> Option<&[f64]> {
        let place = self.place.as_ref()?;
        place.found.get(&(self.first_line + line, shift)).map(Vec::as_slice)
    }

    fn keep(&mut self, line: u64, shift: u64, values: &[f64]) {
        let Some(place) = &mut self.place else { return };
        if place.failure.is_some() {
            return;
        }
        let bits: Vec<u64> = values.iter().map(|value| value.to_bits()).collect();
        match place.journal.add(&json!({ "line": self.first_line + line, "shift": shift, "bits": bits })) {
            Ok(_) => place.n += 1,
            Err(why) => {
                place.failure = Some(why);
                self.is_unwritten.store(true, Ordering::Relaxed);
            }
        }
    }
}
