//! The journal of a sweep under way: one line for each point that is finished, behind its checksum.
//!
//! A line holds the rows of the point as they will stand in the final files. Lines are only added; a line that was not
//! written to its end, or was damaged, does not count, and its point is run again. Invariants: the file is never
//! changed but at its end; a point that was added and synced survives whatever happens to the program.

use super::identity::Identity;
use crate::ending::{Ending, Failure};
use serde_json::{Value, json};
use sim_core::text::hash::fnv_1a;
use std::fs::{File, OpenOptions};
use std::io::{self, BufRead, BufReader, ErrorKind, Read, Seek, SeekFrom, Write};
use std::path::{Path, PathBuf};
use std::time::{Duration, Instant};

/// Longest time that lines are not safe on the disk.
const SYNC_EVERY: Duration = Duration::from_secs(2);
/// Stands for a point that is not there.
const MISSING: u64 = u64::MAX;

/// A finished point.
#[derive(Debug, Clone, PartialEq, Eq)]
pub(crate) struct Entry {
    /// Its number, from 0.
    pub(crate) point: u64,
    /// What became of it, see [`PointState::word`](sim_core::sweep::PointState::word).
    pub(crate) state: String,
    /// Its row of points.csv.
    pub(crate) row: String,
    /// Its rows of sweep.csv.
    pub(crate) rows: String,
}

/// A journal that is open.
#[derive(Debug)]
pub(crate) struct Journal {
    path: PathBuf,
    file: File,
    /// Bytes that are whole lines.
    end: u64,
    /// Where the line of each point begins.
    starts: Vec<u64>,
    n: u64,
    synced: Instant,
}

impl Journal {
    /// Opens the journal of a sweep, or begins it.
    ///
    /// # Errors
    /// If it is that of another sweep, damaged at its head, or cannot be read or written.
    pub(crate) fn open(path: &Path, identity: &Identity) -> Result<Self, Failure> {
        let unwritable = |why: io::Error| Failure::unwritable(path, why);
        let file = OpenOptions::new().read(true).write(true).create(true).truncate(false).open(path);
        let file = file.map_err(unwritable)?;
        let mut journal = Journal {
            path: path.to_owned(),
            file,
            end: 0,
            starts: vec![MISSING; identity.n_points() as usize],
            n: 0,
            synced: Instant::now(),
        };
        let head =
            journal.recover().map_err(|why| Failure::unreadable(&format!("`{}`", path.display()), why))?;
        match head {
            Some(head) => {
                let before = Identity::from_written(&head).ok_or_else(|| damaged(path))?;
                refuse_changes(&before, identity, path.parent().unwrap_or(path))?;
            }
            None if journal.n > 0 => return Err(damaged(path)),
            None => {
                journal.file.set_len(0).map_err(unwritable)?;
                journal.end = 0;
                journal.write_line(&identity.written(&[]))?;
                journal.sync()?;
            }
        }
        Ok(journal)
    }

    /// Reads what there is; returns the head, if it is whole. What stands after the last whole line is cut off.
    fn recover(&mut self) -> io::Result<Option<Value>> {
        let mut reader = BufReader::new(&self.file);
        let mut head = None;
        let mut line = Vec::new();
        let mut at = 0;
        loop {
            line.clear();
            let n = reader.read_until(b'\n', &mut line)? as u64;
            if n == 0 || line.last() != Some(&b'\n') {
                break;
            }
            match checked(&line) {
                Some(value) if at == 0 => head = Some(value),
                Some(value) => {
                    let point = value.get("point").and_then(Value::as_u64);
                    let start = point.and_then(|point| self.starts.get_mut(usize::try_from(point).ok()?));
                    if let Some(start) = start.filter(|start| **start == MISSING) {
                        *start = at;
                        self.n += 1;
                    }
                }
                None => {}
            }
            at += n;
        }
        self.end = at;
        self.file.set_len(at)?;
        Ok(head)
    }

    /// Number of points that are finished.
    pub(crate) fn count(&self) -> u64 {
        self.n
    }

    /// Whether a point is finished.
    pub(crate) fn has(&self, point: u64) -> bool {
        self.starts[point as usize] != MISSING
    }

    /// Adds a finished point.
    ///
    /// # Errors
    /// If it cannot be written; then the journal is as it was.
    pub(crate) fn add(&mut self, entry: &Entry) -> Result<(), Failure> {
        let start = self.end;
        let Entry { point, state, row, rows } = entry;
        self.write_line(&json!({ "point": point, "state": state, "row": row, "rows": rows }))?;
        self.starts[*point as usize] = start;
        self.n += 1;
        if self.synced.elapsed() >= SYNC_EVERY { self.sync() } else { Ok(()) }
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

    /// A finished point.
    ///
    /// # Errors
    /// If it cannot be read, or is not what was written.
    pub(crate) fn entry(&mut self, point: u64) -> Result<Entry, Failure> {
        let read = |file: &mut File, start: u64| -> io::Result<Value> {
            file.seek(SeekFrom::Start(start))?;
            let mut line = Vec::new();
            BufReader::new(file.take(self.end - start)).read_until(b'\n', &mut line)?;
            checked(&line).ok_or_else(|| ErrorKind::InvalidData.into())
        };
        let value = read(&mut self.file, self.starts[point as usize]);
        let value = value.map_err(|why| Failure::unreadable(&format!("`{}`", self.path.display()), why))?;
        let text = |key: &str| value.get(key).and_then(Value::as_str).unwrap_or("").to_owned();
        Ok(Entry { point, state: text("state"), row: text("row"), rows: text("rows") })
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

/// Refuses to go on with another sweep than the one that was begun.
///
/// # Errors
/// What has changed, if anything has.
pub(super) fn refuse_changes(before: &Identity, now: &Identity, folder: &Path) -> Result<(), Failure> {
    let changes = before.changes(now);
    if changes.is_empty() {
        return Ok(());
    }
    let message =
        format!("`{}` holds a sweep that cannot be gone on with: {}", folder.display(), changes.join("; "));
    Err(Failure::new(Ending::BadInput, message)
        .help("undo the change, name another folder with --out, or delete this one to begin again"))
}

#[cfg(test)]
mod tests {
    use super::*;

    fn identity(seed: u64) -> Identity {
        let keys = [
            "files_format",
            "program_version",
            "sweep_hash",
            "scenario_hash",
            "list_hash",
            "replications",
            "precision",
            "at_most",
            "part",
        ];
        let mut value = json!({ "points": 4, "seed": seed });
        keys.iter().for_each(|key| value[*key] = Value::Null);
        Identity::from_written(&value).unwrap()
    }

    fn entry(point: u64) -> Entry {
        Entry {
            point,
            state: "done".to_owned(),
            row: format!("{point},a\n"),
            rows: format!("{point},\"b\nc\"\n"),
        }
    }

    /// Cut anywhere, the journal keeps what was whole before the cut and can be added to.
    #[test]
    fn a_journal_cut_anywhere_keeps_its_whole_lines() {
        let folder = tempfile::tempdir().unwrap();
        let path = folder.path().join("journal");
        let mut journal = Journal::open(&path, &identity(1)).unwrap();
        let head = journal.end as usize;
        let ends: Vec<usize> = [2, 0, 3]
            .map(|point| {
                journal.add(&entry(point)).unwrap();
                journal.end as usize
            })
            .to_vec();
        drop(journal);
        let bytes = std::fs::read(&path).unwrap();
        for cut in 0..=bytes.len() {
            std::fs::write(&path, &bytes[..cut]).unwrap();
            let mut journal = Journal::open(&path, &identity(1)).unwrap();
            let whole = if cut < head { 0 } else { ends.iter().filter(|end| **end <= cut).count() };
            assert_eq!(journal.count() as usize, whole, "cut at {cut}");
            journal.add(&entry(1)).unwrap();
            drop(journal);
            let mut journal = Journal::open(&path, &identity(1)).unwrap();
            assert_eq!((journal.count() as usize, journal.entry(1).unwrap()), (whole + 1, entry(1)));
        }
    }

    #[test]
    fn a_damaged_line_is_left_out_and_what_comes_after_it_stays() {
        let folder = tempfile::tempdir().unwrap();
        let path = folder.path().join("journal");
        let mut journal = Journal::open(&path, &identity(1)).unwrap();
        let head = journal.end as usize;
        (0..3).for_each(|point| journal.add(&entry(point)).unwrap());
        drop(journal);
        let mut bytes = std::fs::read(&path).unwrap();
        bytes[head + 30] ^= 1;
        std::fs::write(&path, &bytes).unwrap();
        let journal = Journal::open(&path, &identity(1)).unwrap();
        assert_eq!([0, 1, 2, 3].map(|point| journal.has(point)), [false, true, true, false]);
        drop(journal);
        bytes[20] ^= 1;
        std::fs::write(&path, &bytes).unwrap();
        assert_eq!(Journal::open(&path, &identity(1)).unwrap_err().ending, Ending::BadInput);
    }

    #[test]
    fn another_sweep_is_refused() {
        let folder = tempfile::tempdir().unwrap();
        let path = folder.path().join("journal");
        drop(Journal::open(&path, &identity(1)).unwrap());
        let refused = Journal::open(&path, &identity(2)).unwrap_err();
        assert!(format!("{refused:?}").contains("the seed was 1 and is 2 now"), "{refused:?}");
    }
}
