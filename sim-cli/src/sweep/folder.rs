//! The folder of a sweep: a lock, the journal while it is under way, the final files when it is done.
//!
//! The final files are written from the journal in the order of the points, and appear one after the other, sweep.json
//! last; then the journal goes. Invariant: sweep.json is there if and only if the files beside it are final.

use super::journal::Journal;
use super::rows::heads;
use crate::ending::{Ending, Failure};
use crate::files::{self, Draft};
use crate::identity::Identity;
use crate::journal::JOURNAL;
use crate::lock::Lock;
use serde_json::{Map, Value, json};
use sim_core::sweep::PointState;
use sim_core::text::hash::{fnv_1a, fnv_1a_on};
use std::fs::File;
use std::io::Write;
use std::path::{Path, PathBuf};
use std::time::Duration;

/// The tables of a sweep.
pub(crate) const FILES: [&str; 2] = ["points.csv", "sweep.csv"];
const SUMMARY: &str = "sweep.json";

/// A folder that nobody else is at work in.
#[derive(Debug)]
pub(crate) struct Folder {
    path: PathBuf,
    _lock: Lock,
}

/// A sweep that is finished.
#[derive(Debug, Clone, PartialEq)]
pub(crate) struct Finished {
    /// What it is.
    pub(crate) identity: Identity,
    /// All of sweep.json.
    pub(crate) written: Value,
}

impl Folder {
    /// Makes the folder if there is none, and locks it; waits so long for another process to end.
    ///
    /// # Errors
    /// If another process is at work in it, or it cannot be written.
    pub(crate) fn open(path: &Path, wait: Duration) -> Result<Self, Failure> {
        let lock = Lock::take(path, wait)?;
        files::take_away_drafts(path, &[FILES[0], FILES[1], SUMMARY]);
        Ok(Folder { path: path.to_owned(), _lock: lock })
    }

    /// Where it is.
    pub(crate) fn path(&self) -> &Path {
        &self.path
    }

    /// The sweep, if it is finished here. A journal that was left beside it is taken away.
    ///
    /// # Errors
    /// If another sweep is finished here, or files stand here that are of no sweep.
    pub(crate) fn finished(&self, identity: &Identity) -> Result<Option<Finished>, Failure> {
        let journal = self.path.join(JOURNAL);
        if !self.path.join(SUMMARY).exists() {
            if let Some(name) = FILES.iter().find(|name| self.path.join(name).exists() && !journal.exists()) {
                let message =
                    format!("`{}` is there already, and not from a sweep", self.path.join(name).display());
                return Err(Failure::new(Ending::BadInput, message).help("name another folder with --out"));
            }
            return Ok(None);
        }
        let finished = read_finished(&self.path)?;
        finished.identity.refuse_changes(identity, &self.path)?;
        if journal.exists() {
            std::fs::remove_file(&journal).map_err(|why| Failure::unwritable(&journal, why))?;
        }
        Ok(Some(finished))
    }

    /// The journal.
    ///
    /// # Errors
    /// See [`Journal::open`].
    pub(crate) fn journal(&self, identity: &Identity) -> Result<Journal, Failure> {
        Journal::open(&self.path, identity)
    }

    /// Writes the final files: `each` puts the rows of all points, in order, into the two tables.
    ///
    /// # Errors
    /// If they cannot be written; then there are none of them, or all but sweep.json.
    pub(crate) fn write(
        &self,
        identity: &Identity,
        each: impl FnOnce(&mut Tables) -> Result<(), Failure>,
    ) -> Result<Finished, Failure> {
        let mut tables = Tables::begin(&self.path, identity)?;
        each(&mut tables)?;
        let Tables { drafts, states, .. } = tables;
        let mut files = Map::new();
        for (draft, name) in drafts.iter().zip(FILES) {
            files.insert(
                name.to_owned(),
                json!({ "bytes": draft.bytes, "hash": format!("{:016x}", draft.hash) }),
            );
        }
        let states =
            PointState::ALL.iter().zip(states).map(|(state, n)| (state.word().to_owned(), Value::from(n)));
        let states = Value::Object(states.collect());
        let written = identity.written(&[("states", states), ("files", Value::Object(files))]);
        let target = self.path.join(SUMMARY);
        let mut summary = Draft::of(target.clone())?;
        let text = format!("{written:#}\n");
        summary.write_all(text.as_bytes()).map_err(|why| Failure::unwritable(&target, why))?;
        for draft in drafts {
            draft.draft.keep()?;
        }
        summary.keep()?;
        self.sync();
        Ok(Finished { identity: identity.clone(), written })
    }

    /// Makes sure that the names of the files are on the disk, where a folder can be asked that.
    fn sync(&self) {
        if let Ok(folder) = File::open(&self.path) {
            let _ = folder.sync_all();
        }
    }
}

/// The two tables under way.
#[derive(Debug)]
pub(crate) struct Tables {
    drafts: [Counted; 2],
    states: [u64; PointState::ALL.len()],
}

#[derive(Debug)]
struct Counted {
    draft: Draft,
    target: PathBuf,
    bytes: u64,
    hash: u64,
}

impl Counted {
    fn add(&mut self, text: &str) -> Result<(), Failure> {
        self.bytes += text.len() as u64;
        self.hash = fnv_1a_on(self.hash, text.as_bytes());
        self.draft.write_all(text.as_bytes()).map_err(|why| Failure::unwritable(&self.target, why))
    }
}

impl Tables {
    fn begin(folder: &Path, identity: &Identity) -> Result<Self, Failure> {
        let begin = |name: &str| {
            let target = folder.join(name);
            Ok(Counted { draft: Draft::of(target.clone())?, target, bytes: 0, hash: fnv_1a(b"") })
        };
        let mut drafts = [begin(FILES[0])?, begin(FILES[1])?];
        for (draft, head) in drafts.iter_mut().zip(heads(&identity.columns())?) {
            draft.add(&head)?;
        }
        Ok(Tables { drafts, states: [0; PointState::ALL.len()] })
    }

    /// Adds the rows of the next point.
    ///
    /// # Errors
    /// If they cannot be written.
    pub(crate) fn add(&mut self, state: &str, row: &str, rows: &str) -> Result<(), Failure> {
        if let Some(ix) = PointState::ALL.iter().position(|known| known.word() == state) {
            self.states[ix] += 1;
        }
        self.drafts[0].add(row)?;
        self.drafts[1].add(rows)
    }
}

/// Reads sweep.json of a folder.
///
/// # Errors
/// If there is none, or it is none.
pub(crate) fn read_finished(folder: &Path) -> Result<Finished, Failure> {
    let path = folder.join(SUMMARY);
    if !path.exists() {
        let failure =
            Failure::new(Ending::BadInput, format!("`{}` holds no finished sweep", folder.display()));
        let is_under_way = folder.join(JOURNAL).exists();
        return Err(if is_under_way {
            failure.help("it is under way; start its command again")
        } else {
            failure
        });
    }
    let what = format!("`{}`", path.display());
    let text = std::fs::read_to_string(&path).map_err(|why| Failure::unreadable(&what, why))?;
    let written: Value = serde_json::from_str(&text).map_err(|why| Failure::unreadable(&what, why))?;
    let identity = Identity::from_written(&written);
    let identity = identity.ok_or_else(|| Failure::unreadable(&what, "it is not that of a sweep"))?;
    Ok(Finished { identity, written })
}
