//! Files that appear whole or not at all.
//!
//! A draft is written beside its target under another name, and renamed when it is complete. Invariant: whatever
//! interrupts the program, the target is either what it was before or all of the new file; drafts are taken away.

use crate::ending::{Ending, Failure};
use std::io::{self, BufWriter, Write};
use std::path::{Path, PathBuf};
use std::sync::{Mutex, PoisonError};
use tempfile::NamedTempFile;

/// Drafts that are open, to be taken away if the program is stopped at once.
static OPEN: Mutex<Vec<PathBuf>> = Mutex::new(Vec::new());

/// A file that is being written.
#[derive(Debug)]
pub(crate) struct Draft {
    file: BufWriter<NamedTempFile>,
    target: PathBuf,
}

impl Draft {
    /// A draft of `target`, in the same folder.
    ///
    /// # Errors
    /// If nothing can be written there.
    pub(crate) fn of(target: PathBuf) -> Result<Self, Failure> {
        let folder = folder_of(&target);
        if target.is_dir() {
            return Err(Failure::unwritable(&target, "it is a folder").help("name a file in it"));
        }
        let name = target.file_name().unwrap_or_default().to_string_lossy();
        let mut builder = tempfile::Builder::new();
        let prefix = format!(".{name}.");
        builder.prefix(&prefix).suffix(".draft");
        #[cfg(unix)]
        builder.permissions(std::os::unix::fs::PermissionsExt::from_mode(0o666));
        let file = builder.tempfile_in(folder).map_err(|why| no_draft(&target, &why))?;
        open_drafts(|drafts| drafts.push(file.path().to_owned()));
        Ok(Draft { file: BufWriter::new(file), target })
    }

    /// Makes the draft the target, over what was there.
    ///
    /// # Errors
    /// If it cannot be written or renamed.
    pub(crate) fn keep(self) -> Result<(), Failure> {
        self.finish(true)
    }

    /// Makes the draft the target, unless there is one.
    ///
    /// # Errors
    /// If there is one, or it cannot be written or renamed.
    pub(crate) fn keep_new(self) -> Result<(), Failure> {
        self.finish(false)
    }

    fn finish(self, replace: bool) -> Result<(), Failure> {
        let target = self.target;
        let file = self.file.into_inner().map_err(|why| Failure::unwritable(&target, why.error()))?;
        file.as_file().sync_all().map_err(|why| Failure::unwritable(&target, why))?;
        let path = file.path().to_owned();
        let done = if replace { file.persist(&target) } else { file.persist_noclobber(&target) };
        open_drafts(|drafts| drafts.retain(|draft| *draft != path));
        match done {
            Ok(_) => Ok(()),
            Err(why) if !replace && why.error.kind() == io::ErrorKind::AlreadyExists => Err(exists(&target)),
            Err(why) => Err(Failure::unwritable(&target, why.error)),
        }
    }
}

impl Write for Draft {
    fn write(&mut self, bytes: &[u8]) -> io::Result<usize> {
        self.file.write(bytes)
    }

    fn flush(&mut self) -> io::Result<()> {
        self.file.flush()
    }
}

/// Where a file stands.
fn folder_of(target: &Path) -> &Path {
    match target.parent() {
        Some(folder) if !folder.as_os_str().is_empty() => folder,
        Some(_) | None => Path::new("."),
    }
}

/// Why nothing can be written beside a target.
fn no_draft(target: &Path, why: &io::Error) -> Failure {
    let folder = folder_of(target);
    let shown = folder.display();
    match why.kind() {
        io::ErrorKind::NotFound => Failure::unwritable(target, format!("there is no folder `{shown}`"))
            .help("make the folder first, or name a file in another one"),
        io::ErrorKind::NotADirectory => {
            let file = folder.ancestors().find(|part| part.is_file()).unwrap_or(folder);
            Failure::unwritable(target, format!("`{}` is a file, not a folder", file.display()))
                .help("name a file in a folder")
        }
        io::ErrorKind::PermissionDenied | io::ErrorKind::ReadOnlyFilesystem => {
            Failure::unwritable(target, format!("nothing may be written into `{shown}`"))
                .help("name a file in a folder that you may write into")
        }
        kind => Failure::unwritable(target, kind),
    }
}

/// Makes a folder, with all above it, if there is none.
///
/// # Errors
/// If that is not possible.
pub(crate) fn folder(path: &Path) -> Result<(), Failure> {
    let Err(why) = std::fs::create_dir_all(path) else { return Ok(()) };
    let message = |why: String| {
        Failure::new(Ending::Failed, format!("cannot make the folder `{}`: {why}", path.display()))
    };
    Err(match path.ancestors().find(|part| part.is_file()) {
        Some(file) => message(format!("`{}` is a file", file.display())).help("name another folder"),
        None => message(why.kind().to_string()).help("name a folder where you may write"),
    })
}

/// Takes away drafts of these files that a process left in a folder when it was killed.
pub(crate) fn take_away_drafts(folder: &Path, files: &[&str]) {
    let Ok(entries) = std::fs::read_dir(folder) else { return };
    for entry in entries.flatten() {
        let name = entry.file_name().to_string_lossy().into_owned();
        let is_ours = files.iter().any(|file| name.starts_with(&format!(".{file}.")));
        if is_ours && name.ends_with(".draft") {
            let _ = std::fs::remove_file(entry.path());
        }
    }
}

/// Writes several files into a folder, over what was there; none of them appears before all are written.
///
/// # Errors
/// If they cannot be written.
pub(crate) fn write_together(folder: &Path, files: &[(&str, &[u8])]) -> Result<(), Failure> {
    let drafts = files.iter().map(|(name, bytes)| {
        let target = folder.join(name);
        let mut draft = Draft::of(target.clone())?;
        draft.write_all(bytes).map_err(|why| Failure::unwritable(&target, why))?;
        Ok(draft)
    });
    drafts.collect::<Result<Vec<_>, Failure>>()?.into_iter().try_for_each(Draft::keep)
}

fn exists(target: &Path) -> Failure {
    Failure::new(Ending::Failed, format!("`{}` exists already, nothing was written", target.display()))
        .help("choose another name, or add --force to replace it")
}

fn open_drafts(change: impl FnOnce(&mut Vec<PathBuf>)) {
    change(&mut OPEN.lock().unwrap_or_else(PoisonError::into_inner));
}

/// Takes away all drafts that are open. Only for the moment before the program is stopped.
pub(crate) fn drop_drafts() {
    open_drafts(|drafts| {
        for draft in drafts.drain(..) {
            let _ = std::fs::remove_file(draft);
        }
    });
}

/// Writes a whole file.
///
/// # Errors
/// If it exists and is not to be replaced, or cannot be written.
pub(crate) fn write(target: &Path, text: &str, replace: bool) -> Result<(), Failure> {
    if !replace && target.exists() {
        return Err(exists(target));
    }
    let mut draft = Draft::of(target.to_owned())?;
    draft.write_all(text.as_bytes()).map_err(|why| Failure::unwritable(target, why))?;
    if replace { draft.keep() } else { draft.keep_new() }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn what_is_in_the_way_is_named() {
        let desk = tempfile::tempdir().unwrap();
        std::fs::write(desk.path().join("a"), "").unwrap();
        std::fs::create_dir(desk.path().join("b")).unwrap();
        let told = |name: &str| Draft::of(desk.path().join(name)).unwrap_err().render(crate::ink::Ink::PLAIN);
        for (name, words) in [
            ("c/x.svg", "there is no folder"),
            ("a/x.svg", "is a file, not a folder"),
            ("b", "it is a folder"),
        ] {
            let message = told(name);
            assert!(message.contains(words) && message.contains("help: "), "{name}: {message}");
        }
        folder(&desk.path().join("c/d")).unwrap();
        let in_the_way = folder(&desk.path().join("a/d")).unwrap_err().render(crate::ink::Ink::PLAIN);
        assert!(in_the_way.contains("is a file") && in_the_way.contains("help: "), "{in_the_way}");
    }

    #[test]
    fn a_file_appears_whole_or_not_at_all() {
        let folder = tempfile::tempdir().unwrap();
        let target = folder.path().join("a.txt");
        let names = || {
            let entries = std::fs::read_dir(folder.path()).unwrap();
            entries.map(|entry| entry.unwrap().file_name().into_string().unwrap()).collect::<Vec<_>>()
        };
        write(&target, "first", false).unwrap();
        assert_eq!(write(&target, "second", false).unwrap_err().ending, Ending::Failed);
        assert_eq!(std::fs::read_to_string(&target).unwrap(), "first");
        write(&target, "third", true).unwrap();
        assert_eq!(std::fs::read_to_string(&target).unwrap(), "third");
        let mut draft = Draft::of(target.clone()).unwrap();
        draft.write_all(b"half").unwrap();
        drop(draft);
        assert_eq!(names(), ["a.txt"], "a draft that is given up leaves nothing");
        assert_eq!(std::fs::read_to_string(&target).unwrap(), "third");
    }
}
