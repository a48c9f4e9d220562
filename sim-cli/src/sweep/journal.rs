//! The journal of a sweep under way: a line for each point that is finished, with its rows as they will stand in the final
//! files.

use crate::ending::Failure;
use crate::identity::Identity;
use crate::journal::Journal as Lines;
use serde_json::{Value, json};
use std::path::Path;

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
    lines: Lines,
    /// Where the line of each point begins.
    starts: Vec<u64>,
    n: u64,
}

impl Journal {
    /// Opens the journal of a sweep in its folder, or begins it.
    ///
    /// # Errors
    /// See [`Lines::open`].
    pub(crate) fn open(folder: &Path, identity: &Identity) -> Result<Self, Failure> {
        let (mut starts, mut n) = (vec![MISSING; identity.n_points() as usize], 0);
        let lines = Lines::open(folder, identity, &mut |at, value| {
            let point = value.get("point").and_then(Value::as_u64);
            let start = point.and_then(|point| starts.get_mut(usize::try_from(point).ok()?));
            if let Some(start) = start.filter(|start| **start == MISSING) {
                *start = at;
                n += 1;
            }
        })?;
        Ok(Journal { lines, starts, n })
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
        let Entry { point, state, row, rows } = entry;
        let line = json!({ "point": point, "state": state, "row": row, "rows": rows });
        self.starts[*point as usize] = self.lines.add(&line)?;
        self.n += 1;
        Ok(())
    }

    /// Makes sure that all that was added is on the disk.
    ///
    /// # Errors
    /// If it is not.
    pub(crate) fn sync(&mut self) -> Result<(), Failure> {
        self.lines.sync()
    }

    /// A finished point.
    ///
    /// # Errors
    /// If it cannot be read, or is not what was written.
    pub(crate) fn entry(&mut self, point: u64) -> Result<Entry, Failure> {
        let value = self.lines.line(self.starts[point as usize])?;
        let text = |key: &str| value.get(key).and_then(Value::as_str).unwrap_or("").to_owned();
        Ok(Entry { point, state: text("state"), row: text("row"), rows: text("rows") })
    }

    /// Takes the journal away, once the final files are in place.
    ///
    /// # Errors
    /// If that is not possible.
    pub(crate) fn remove(self) -> Result<(), Failure> {
        self.lines.remove()
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::ending::Ending;

    fn identity(seed: u64) -> Identity {
        Identity::new(&json!({ "points": 4, "seed": seed }))
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
        let mut journal = Journal::open(folder.path(), &identity(1)).unwrap();
        let head = journal.lines.end() as usize;
        let ends: Vec<usize> = [2, 0, 3]
            .map(|point| {
                journal.add(&entry(point)).unwrap();
                journal.lines.end() as usize
            })
            .to_vec();
        drop(journal);
        let bytes = std::fs::read(&path).unwrap();
        for cut in 0..=bytes.len() {
            std::fs::write(&path, &bytes[..cut]).unwrap();
            let mut journal = Journal::open(folder.path(), &identity(1)).unwrap();
            let whole = if cut < head { 0 } else { ends.iter().filter(|end| **end <= cut).count() };
            assert_eq!(journal.count() as usize, whole, "cut at {cut}");
            journal.add(&entry(1)).unwrap();
            drop(journal);
            let mut journal = Journal::open(folder.path(), &identity(1)).unwrap();
            assert_eq!((journal.count() as usize, journal.entry(1).unwrap()), (whole + 1, entry(1)));
        }
    }

    #[test]
    fn a_damaged_line_is_left_out_and_what_comes_after_it_stays() {
        let folder = tempfile::tempdir().unwrap();
        let path = folder.path().join("journal");
        let mut journal = Journal::open(folder.path(), &identity(1)).unwrap();
        let head = journal.lines.end() as usize;
        (0..3).for_each(|point| journal.add(&entry(point)).unwrap());
        drop(journal);
        let mut bytes = std::fs::read(&path).unwrap();
        bytes[head + 30] ^= 1;
        std::fs::write(&path, &bytes).unwrap();
        let journal = Journal::open(folder.path(), &identity(1)).unwrap();
        assert_eq!([0, 1, 2, 3].map(|point| journal.has(point)), [false, true, true, false]);
        drop(journal);
        bytes[20] ^= 1;
        std::fs::write(&path, &bytes).unwrap();
        assert_eq!(Journal::open(folder.path(), &identity(1)).unwrap_err().ending, Ending::BadInput);
    }

    #[test]
    fn another_sweep_is_refused() {
        let folder = tempfile::tempdir().unwrap();
        drop(Journal::open(folder.path(), &identity(1)).unwrap());
        let refused = Journal::open(folder.path(), &identity(2)).unwrap_err();
        assert!(format!("{refused:?}").contains("the seed was 1 and is 2 now"), "{refused:?}");
    }
}
