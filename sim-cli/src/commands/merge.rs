//! `feedproof merge`: the parts of a sweep put together.

use super::pages::{OpenPages, Pages, quoted};
use crate::ending::{Ending, Failure};
use crate::ink::Ink;
use crate::sweep::{FILES, Finished, Folder, Part, read_finished, summary, text_of};
use crate::{proof, screen};
use sim_core::text::hash::{fnv_1a, fnv_1a_on};
use std::fs::File;
use std::io::{BufReader, Read};
use std::path::{Path, PathBuf};
use std::time::Duration;

/// What to put together.
#[derive(Debug, clap::Args)]
pub(crate) struct Args {
    /// Folders of all parts, in any order
    #[arg(required = true, value_name = "DIR")]
    parts: Vec<PathBuf>,
    /// Write points.csv, sweep.csv and sweep.json of the whole sweep into this folder
    #[arg(long, value_name = "DIR")]
    out: PathBuf,
    #[command(flatten)]
    pages: Pages,
}

/// Puts the parts together: the files are those of the sweep run in one go, to the last byte.
pub(super) fn merge(args: &Args) -> Result<Ending, Failure> {
    let pages = args.pages.open()?;
    let mut parts = Vec::new();
    for path in &args.parts {
        let finished = read_finished(path)?;
        parts.push((finished.identity.part(), path.clone(), finished));
    }
    parts.sort_by_key(|(part, ..)| *part);
    complete(&parts)?;
    for (_, path, finished) in &parts {
        undamaged(path, finished)?;
    }
    let whole = parts[0].2.identity.whole();
    let folder = Folder::open(&args.out, Duration::ZERO)?;
    if let Some(finished) = folder.finished(&whole)? {
        screen::say(&format!("`{}` holds this sweep already\n", args.out.display()));
        return show(&folder, &finished, pages, args);
    }
    let mut readers = Vec::new();
    for (_, path, _) in &parts {
        readers.push(Rows::open(path, whole.columns().len())?);
    }
    let n = whole.n_points();
    let finished = folder.write(&whole, |tables| {
        (0..n).try_for_each(|point| {
            let ix = (point % readers.len() as u64) as usize;
            let (state, row, rows) = readers[ix].next(point)?;
            tables.add(&state, &row, &rows)
        })
    })?;
    show(&folder, &finished, pages, args)
}

fn show(
    folder: &Folder,
    finished: &Finished,
    pages: Option<OpenPages>,
    args: &Args,
) -> Result<Ending, Failure> {
    if let Some(pages) = pages {
        let command = command(args);
        // The folders of the parts know what was promised and written in the files by their hashes only.
        let swept =
            proof::Swept { folder: folder.path(), finished, texts: None, demand: None, command: &command };
        pages.keep(&proof::sweeping(&swept)?)?;
    }
    screen::print(&summary(folder.path(), finished, Ink::of_stdout())?)?;
    Ok(Ending::Done)
}

/// The command that puts the same parts together.
fn command(args: &Args) -> String {
    let path = |path: &PathBuf| quoted(&path.display().to_string());
    let parts = args.parts.iter().map(path).collect::<Vec<_>>().join(" ");
    format!("feedproof merge {parts} --out {}", path(&args.out))
}

/// Whether all parts of one sweep are there, each once.
fn complete(parts: &[(Part, PathBuf, Finished)]) -> Result<(), Failure> {
    let (first, first_path, finished) = &parts[0];
    let refuse = |message: String| Err(Failure::new(Ending::BadInput, message));
    for (part, path, other) in parts {
        let mut changes = finished.identity.whole().changes(&other.identity.whole());
        if part.of != first.of {
            changes.push(format!("it is one part of {}, and not of {}", part.of, first.of));
        }
        if !changes.is_empty() {
            let (a, b) = (first_path.display(), path.display());
            return refuse(format!("`{b}` is not of the same sweep as `{a}`: {}", changes.join("; ")));
        }
    }
    let of = |number: u64| parts.iter().filter(move |(part, ..)| part.number == number);
    if let Some(twice) = (1..=first.of).find(|number| of(*number).count() > 1) {
        let names: Vec<String> = of(twice).map(|(_, path, _)| format!("`{}`", path.display())).collect();
        return refuse(format!("part {twice}/{} is there more than once: {}", first.of, names.join(", ")));
    }
    let missing: Vec<String> =
        (1..=first.of).filter(|n| of(*n).count() == 0).map(|n| n.to_string()).collect();
    if missing.is_empty() {
        return Ok(());
    }
    let shown = missing.iter().take(20).cloned().collect::<Vec<_>>().join(", ");
    let more = if missing.len() > 20 { ", ..." } else { "" };
    let word = if missing.len() == 1 { "part" } else { "parts" };
    refuse(format!("{word} {shown}{more} of {} missing", first.of))
}

/// Whether the files of a part are what was written.
fn undamaged(path: &Path, finished: &Finished) -> Result<(), Failure> {
    for name in FILES {
        let file = path.join(name);
        let what = format!("`{}`", file.display());
        let unreadable = |why: std::io::Error| Failure::unreadable(&what, why);
        let mut reader = BufReader::new(File::open(&file).map_err(unreadable)?);
        let (mut hash, mut buffer) = (fnv_1a(b""), [0; 1 << 16]);
        loop {
            let n = reader.read(&mut buffer).map_err(unreadable)?;
            if n == 0 {
                break;
            }
            hash = fnv_1a_on(hash, &buffer[..n]);
        }
        if finished.written["files"][name]["hash"].as_str() != Some(format!("{hash:016x}").as_str()) {
            let failure = Failure::new(Ending::BadInput, format!("{what} is not as it was written"));
            return Err(failure.help("delete the folder and run its part again"));
        }
    }
    Ok(())
}

/// The tables of a part, point by point.
struct Rows {
    path: PathBuf,
    n_factors: usize,
    points: csv::StringRecordsIntoIter<BufReader<File>>,
    results: std::iter::Peekable<csv::StringRecordsIntoIter<BufReader<File>>>,
}

impl Rows {
    fn open(path: &Path, n_factors: usize) -> Result<Self, Failure> {
        let open = |name: &str| {
            let path = path.join(name);
            let file = File::open(&path)
                .map_err(|why| Failure::unreadable(&format!("`{}`", path.display()), why))?;
            Ok(csv::Reader::from_reader(BufReader::new(file)).into_records())
        };
        Ok(Rows {
            path: path.to_owned(),
            n_factors,
            points: open(FILES[0])?,
            results: open(FILES[1])?.peekable(),
        })
    }

    /// State and rows of a point, which has to be the next one.
    fn next(&mut self, point: u64) -> Result<(String, String, String), Failure> {
        let number = (point + 1).to_string();
        let broken =
            || Failure::unreadable(&format!("the files in `{}`", self.path.display()), "a row is missing");
        let row = self.points.next().and_then(Result::ok).filter(|row| row.get(0) == Some(number.as_str()));
        let row = row.ok_or_else(broken)?;
        let state = row.get(self.n_factors + 1).unwrap_or("").to_owned();
        let mut rows = Vec::new();
        while let Some(Ok(next)) = self.results.peek()
            && next.get(0) == Some(number.as_str())
        {
            rows.extend(self.results.next().and_then(Result::ok));
        }
        Ok((state, text_of(&[row])?, text_of(&rows)?))
    }
}
