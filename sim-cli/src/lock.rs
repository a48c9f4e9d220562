//! The lock of a folder in which a study is under way: one process at a time.
//!
//! The system holds it, so that a process that is killed leaves none behind. In its file stands who holds it, for messages.

use crate::ending::{Ending, Failure};
use crate::{files, interrupt, screen};
use std::fs::{File, TryLockError};
use std::io::{self, Seek, Write};
use std::path::Path;
use std::time::{Duration, Instant};

const FILE: &str = ".lock";
/// From one try to the next, while another process is waited for.
const AGAIN: Duration = Duration::from_millis(200);

/// A lock that is held until it is dropped.
#[derive(Debug)]
pub(crate) struct Lock(#[expect(dead_code, reason = "open is locked")] File);

impl Lock {
    /// Makes the folder if there is none, and locks it; waits so long for another process to end.
    ///
    /// # Errors
    /// If another process is at work in it, or it cannot be written.
    pub(crate) fn take(folder: &Path, wait: Duration) -> Result<Self, Failure> {
        files::folder(folder)?;
        let path = folder.join(FILE);
        let file = File::options().create(true).truncate(false).write(true).open(&path);
        let mut file = file.map_err(|why| Failure::unwritable(&path, why))?;
        let begun = Instant::now();
        let mut is_told = false;
        loop {
            match file.try_lock() {
                Ok(()) => {
                    // It is only for messages.
                    let _ = sign(&mut file);
                    return Ok(Lock(file));
                }
                Err(TryLockError::WouldBlock) if begun.elapsed() >= wait => return Err(held(folder, &path)),
                Err(TryLockError::WouldBlock) => {
                    if interrupt::asked() {
                        return Err(Failure::interrupted("the folder was free"));
                    }
                    if !is_told {
                        screen::say(&format!("waiting for {}\n", screen::safe(&holder(&path))));
                        is_told = true;
                    }
                    std::thread::sleep(AGAIN.min(wait));
                }
                // Some shared file systems have no locks; the journal is no worse for that if only one is at work.
                Err(TryLockError::Error(why)) => {
                    let folder = folder.display();
                    screen::say(&format!(
                        "`{folder}` cannot be locked ({why}); see that only one works in it\n"
                    ));
                    return Ok(Lock(file));
                }
            }
        }
    }
}

/// Who holds it: `process 4711 on node-3`.
fn sign(file: &mut File) -> io::Result<()> {
    let of_system = std::fs::read_to_string("/proc/sys/kernel/hostname").ok();
    let named = || ["HOSTNAME", "COMPUTERNAME"].into_iter().find_map(|name| std::env::var(name).ok());
    let host = of_system.or_else(named).map(|host| format!(" on {}", host.trim())).unwrap_or_default();
    file.set_len(0)?;
    file.rewind()?;
    writeln!(file, "process {}{host}", std::process::id())
}

fn holder(path: &Path) -> String {
    let signed = std::fs::read_to_string(path).unwrap_or_default();
    let signed = signed.trim();
    if signed.is_empty() { "another feedproof".to_owned() } else { format!("another feedproof ({signed})") }
}

fn held(folder: &Path, path: &Path) -> Failure {
    let message = format!("{} is at work in `{}`", holder(path), folder.display());
    Failure::new(Ending::BadInput, message).help("wait for it, or name another folder with --out")
}
