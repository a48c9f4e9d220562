//! A journal: a file of lines that are only added, each behind its checksum; the first one says what study it is of.
//!
//! A line that was not written to its end, or was damaged, does not count, and what it said is worked out again.
//! Invariants: the file is never changed but at its end; a line that was added and synced survives whatever happens to
//! the program.

use crate::ending::{Ending, Failure};
use crate::identity::Identity;
use serde_json::Value;
use sim_core::text::hash::fnv_1a;
use std::fs::{File, OpenOptions};
use std::io::{self, BufRead, BufReader, ErrorKind, Read, Seek, SeekFrom, Write};
use std::path::{Path, PathBuf};
use std::time::{Duration, Instant};

/// What it is called in its folder.
pub(crate) const JOURNAL: &str = "journal";
/// Longest time that lines are not safe on the disk.
const SYNC_EVERY: Duration = Duration::from_secs(2);

/// A journal that is open.
#[derive(Debug)]
pub(crate) struct Journal {
    path: PathBuf,
    file: File,
    /// Bytes that are whole lines.
    end: u64,
    synced: Instant,
}

impl Journal {
    /// Opens the journal of a study in its folder, or begins it. `each` hears the lines that are there, and where they begin.
    ///
    /// # Errors
    /// If it is that of another study, damaged at its head, or cannot be read or written.
    pub(crate) fn open(
        folder: &Path,
        identity: &Identity,
        each: &mut dyn FnMut(u64, &Value),
    ) -> Result<Self, Failure> {
        let path = folder.join(JOURNAL);
        let unwritable = |why: io::Error| Failure::unwritable(&path, why);
        let file = OpenOptions::new().read(true).write(true).create(true).truncate(false).open(&path);
        let file = file.map_err(unwritable)?;
        let mut journal = Journal { path: path.clone(), file, end: 0, synced: Instant::now() };
        let recovered = journal.recover(each);
        let (head, n) =
            recovered.map_err(|why| Failure::unreadable(&format!("`{}`", path.display()), why))?;
        match head {
            Some(head) => {
                let before = Identity::from_written(&head).ok_or_else(|| damaged(&path))?;
                before.refuse_changes(identity, folder)?;
            }
            None if n > 0 => return Err(damaged(&path)),
            None => {
                journal.file.set_len(0).map_err(unwritable)?;
                journal.end = 0;
                journal.write_line(&identity.written(&[]))?;
                journal.sync()?;
            }
        }
        Ok(journal)
    }

    /// Reads what there is; returns the head, if it is whole, and the number of other lines. What stands after the last whole
    /// line is cut off.
    fn recover(&mut self, each: &mut dyn FnMut(u64, &Value)) -> io::Result<(Option<Value>, u64)> {
        let mut reader = BufReader::new(&self.file);
        let (mut head, mut n_others, mut at) = (None, 0, 0);
        let mut line = Vec::new();
        loop {
            line.clear();
            let n = reader.read_until(b'\n', &mut line)? as u64;
            if n == 0 || line.last() != Some(&b'\n') {
                break;
            }
            match checked(&line) {
                Some(value) if at == 0 => head = Some(value),
                Some(value) => {
                    n_others += 1;
                    each(at, &value);
                }
                None => {}
            }
            at += n;
        }
        self.end = at;
        self.file.set_len(at)?;
        Ok((head, n_others))
    }

    /// Adds a line, and returns where it begins.
    ///
    /// # Errors
    /// If it cannot be written; then the journal is as it was.
    pub(crate) fn add(&mut self, value: &Value) -> Result<u64, Failure> {
        let start = self.end;
        self.write_line(value)?;
        if self.synced.elapsed() >= SYNC_EVERY {
            self.sync()?;
        }
        Ok(start)
    }

    fn write_line(&mut self, value: &Value) -> Result<(), Failure> {
        let text = value.to_string();
        let line = format!("{:016x} {text}\n", fnv_1a(text.as_bytes()));
        let end = self.end;
        let written = self.file.seek(SeekFrom::Start(end)).and_then(|_| self.file.write_all(line.as_bytes()));
        match written {
            Ok(()) => self.end += line.len() as u64,
            Err(why) => {
                let _ = self.file.set_len(end);
                return Err(self.unwritable(why));
            }
        }
        Ok(())
    }

    /// Makes sure that all that was added is on the disk.
    ///
    /// # Errors
    /// If it is not.
    pub(crate) fn sync(&mut self) -> Result<(), Failure> {
        self.synced = Instant::now();
        self.file.sync_data().map_err(|why| self.unwritable(why))
    }

    fn unwritable(&self, why: io::Error) -> Failure {
        Failure::unwritable(&self.path, why)
    }

    /// The line that begins there.
    ///
    /// # Errors
    /// If it cannot be read, or is not what was written.
    pub(crate) fn line(&mut self, start: u64) -> Result<Value, Failure> {
        let read = |file: &mut File| -> io::Result<Value> {
            file.seek(SeekFrom::Start(start))?;
            let mut line = Vec::new();
            BufReader::new(file.take(self.end.saturating_sub(start))).read_until(b'\n', &mut line)?;
            checked(&line).ok_or_else(|| ErrorKind::InvalidData.into())
        };
        read(&mut self.file).map_err(|why| Failure::unreadable(&format!("`{}`", self.path.display()), why))
    }

    /// Bytes that are whole lines.
    #[cfg(test)]
    pub(crate) fn end(&self) -> u64 {
        self.end
    }

    /// Takes the journal away, once the final files are in place.
    ///
    /// # Errors
    /// If that is not possible.
    pub(crate) fn remove(self) -> Result<(), Failure> {
        drop(self.file);
        std::fs::remove_file(&self.path).map_err(|why| Failure::unwritable(&self.path, why))
    }
}

/// The value of a line whose checksum is right.
fn checked(line: &[u8]) -> Option<Value> {
    let line = std::str::from_utf8(line).ok()?.strip_suffix('\n')?;
    let (sum, text) = line.split_once(' ')?;
    let is_right = u64::from_str_radix(sum, 16).ok()? == fnv_1a(text.as_bytes());
    is_right.then(|| serde_json::from_str(text).ok())?
}

fn damaged(path: &Path) -> Failure {
    Failure::new(Ending::BadInput, format!("`{}` is damaged at its beginning", path.display()))
        .help("name another folder with --out, or delete this one to begin again")
}
