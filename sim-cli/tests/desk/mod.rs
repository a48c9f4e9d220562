//! A folder to work in, and the program to run there.

use std::io::Write;
use std::path::{Path, PathBuf};
use std::process::{Command, Stdio};
use std::time::Duration;

/// A folder of its own for a test.
pub(crate) struct Desk {
    folder: tempfile::TempDir,
}

/// What a run of the program left behind.
#[derive(Debug)]
pub(crate) struct Done {
    /// Exit status; -1 if a signal ended it.
    pub(crate) status: i32,
    /// Standard output.
    pub(crate) out: String,
    /// Standard error.
    pub(crate) err: String,
}

#[allow(dead_code, reason = "each test binary uses some of it")]
impl Desk {
    /// An empty folder.
    pub(crate) fn new() -> Self {
        Desk { folder: tempfile::tempdir().expect("a folder for the test") }
    }

    /// Where it is.
    pub(crate) fn path(&self) -> &Path {
        self.folder.path()
    }

    /// The path of a file in it.
    pub(crate) fn at(&self, name: &str) -> PathBuf {
        self.folder.path().join(name)
    }

    /// Writes a file.
    pub(crate) fn put(&self, name: &str, text: &str) {
        std::fs::write(self.at(name), text).expect("the test can write");
    }

    /// Reads a file.
    pub(crate) fn get(&self, name: &str) -> String {
        std::fs::read_to_string(self.at(name)).unwrap_or_else(|why| panic!("{name}: {why}"))
    }

    /// Names in a folder of it, sorted.
    pub(crate) fn names(&self, folder: &str) -> Vec<String> {
        let entries = std::fs::read_dir(self.at(folder)).expect("the folder is there");
        let mut names: Vec<String> = entries
            .map(|entry| entry.expect("readable").file_name().to_string_lossy().into_owned())
            .collect();
        names.sort();
        names
    }

    /// The program, to be run here.
    pub(crate) fn program(&self, args: &[&str]) -> Command {
        let mut command = Command::new(env!("CARGO_BIN_EXE_feedproof"));
        command.args(args).current_dir(self.path()).env_remove("NO_COLOR");
        command.stdin(Stdio::null()).stdout(Stdio::piped()).stderr(Stdio::piped());
        command
    }

    /// Runs the program.
    pub(crate) fn run(&self, args: &[&str]) -> Done {
        let output = self.program(args).output().expect("the program starts");
        Done {
            status: output.status.code().unwrap_or(-1),
            out: String::from_utf8(output.stdout).expect("text"),
            err: String::from_utf8(output.stderr).expect("text"),
        }
    }

    /// Starts the program and kills it after so long. Whether it was still at work.
    pub(crate) fn killed_after(&self, args: &[&str], moment: Duration) -> bool {
        let mut child = self.program(args).spawn().expect("the program starts");
        std::thread::sleep(moment);
        if let Some(status) = child.try_wait().expect("the program can be asked") {
            assert!(status.success(), "{args:?}: {status}");
            return false;
        }
        child.kill().expect("the program can be killed");
        child.wait().expect("it ends");
        true
    }

    /// Runs the program with a text on standard input.
    pub(crate) fn run_with(&self, args: &[&str], input: &str) -> Done {
        let mut child = self.program(args).stdin(Stdio::piped()).spawn().expect("the program starts");
        let mut stdin = child.stdin.take().expect("piped");
        stdin.write_all(input.as_bytes()).expect("the program reads");
        drop(stdin);
        let output = child.wait_with_output().expect("the program ends");
        Done {
            status: output.status.code().unwrap_or(-1),
            out: String::from_utf8(output.stdout).expect("text"),
            err: String::from_utf8(output.stderr).expect("text"),
        }
    }
}

/// The starter, with one piece of it replaced.
#[allow(dead_code, reason = "each test binary uses some of it")]
pub(crate) fn starter_with(old: &str, new: &str) -> String {
    let starter = include_str!("../../../scenarios/starter.json");
    assert_eq!(starter.matches(old).count(), 1, "`{old}` stands once in the starter");
    starter.replace(old, new)
}
