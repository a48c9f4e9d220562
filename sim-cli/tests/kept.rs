//! Studies that are interrupted: started again with the same folder they go on, to the same bytes.

mod desk;

use desk::{Desk, Done};
use std::time::{Duration, Instant};

/// A line of which a shift takes a few tenths of a millisecond.
const LINE: &str = r#"{"feedproof": 1, "stations": [
    {"id": "F", "type": "work", "endless": true, "time": {"law": "exponential", "mean": "1 s"}},
    {"id": "T", "type": "track", "capacity": 5, "travel": "1 s"},
    {"id": "M", "type": "machine", "cycle": "0.9 s", "to": "out", "jams": [{"per_part": "1 in 50", "time": "10 s"}]}],
    "plan": {"shift": "15 min", "start": "empty"}, "promise": {"clauses": {"mean_rate": "51 /min"}}}"#;

/// A study, and the table that it leaves beside result.json.
struct Study {
    name: &'static str,
    args: &'static [&'static str],
    table: Option<&'static str>,
}

const STUDIES: [Study; 4] = [
    Study {
        name: "compare",
        args: &[
            "compare",
            "line.json",
            "--set",
            "T.capacity=6",
            "--set",
            "T.capacity=9",
            "--replications",
            "400",
        ],
        table: Some("differences.csv"),
    },
    Study {
        name: "choose",
        args: &[
            "compare",
            "line.json",
            "--set",
            "M.cycle=0.88 s",
            "--set",
            "M.cycle=0.86 s",
            "--indifference",
            "0.1 /min",
        ],
        table: Some("differences.csv"),
    },
    Study {
        name: "size",
        args: &[
            "size",
            "line.json",
            "--vary",
            "M.cycle=0.7..1 s:0.1",
            "--vary",
            "T.capacity=1..20",
            "--smallest",
            "--at-most",
            "100",
        ],
        table: None,
    },
    Study {
        name: "screen",
        args: &["screen", "line.json", "--method", "effects", "--trajectories", "40", "--replications", "6"],
        table: Some("factors.csv"),
    },
];

impl Study {
    fn args_for(&self, folder: &str) -> Vec<String> {
        self.args.iter().copied().chain(["--out", folder]).map(str::to_owned).collect()
    }

    fn files(&self) -> impl Iterator<Item = &'static str> {
        self.table.into_iter().chain(["result.json"])
    }

    fn all_of(&self, desk: &Desk, folder: &str) -> Vec<String> {
        self.files().map(|file| desk.get(&format!("{folder}/{file}"))).collect()
    }
}

fn words(args: &[String]) -> Vec<&str> {
    args.iter().map(String::as_str).collect()
}

fn desk() -> Desk {
    let desk = Desk::new();
    desk.put("line.json", LINE);
    desk
}

fn sound(done: &Done) -> &Done {
    assert_eq!(done.status, 0, "{}{}", done.out, done.err);
    done
}

/// Lines of the journal of a folder.
fn kept(desk: &Desk, folder: &str) -> usize {
    std::fs::read_to_string(desk.at(&format!("{folder}/journal"))).unwrap_or_default().lines().count()
}

/// Killed at any moment, as often as may be, each study goes on; its files and its page are those of an undisturbed run.
#[test]
fn killed_at_any_moment_a_study_gives_the_same_bytes() {
    const KILLS: usize = 15;
    let desk = desk();
    // Moments by a linear congruential generator (Lehmer 1951), so that they do not come in step with the program.
    let mut state: u64 = 20_261_129;
    for study in &STUDIES {
        let begun = Instant::now();
        let whole = desk.run(&words(&study.args_for(&format!("{}-whole", study.name))));
        let mut longest_us = begun.elapsed().as_micros() as u64;
        let expected = study.all_of(&desk, &format!("{}-whole", study.name));
        sound(&whole);
        let (mut kills, mut in_the_middle, mut finished) = (0, 0, 0);
        while kills < KILLS || in_the_middle < KILLS / 3 || finished < 2 {
            let folder = format!("{}-{finished}", study.name);
            let args = study.args_for(&folder);
            state = state * 48_271 % 2_147_483_647;
            if desk.killed_after(&words(&args), Duration::from_micros(state % longest_us)) {
                kills += 1;
                in_the_middle += usize::from(kept(&desk, &folder) > 1);
                longest_us += longest_us / 100;
            } else {
                longest_us = (longest_us * 9 / 10).max(1000);
            }
            if !desk.at(&format!("{folder}/journal")).exists()
                && desk.at(&format!("{folder}/result.json")).exists()
            {
                assert_eq!(study.all_of(&desk, &folder), expected, "{}", study.name);
                finished += 1;
            }
            assert!(
                begun.elapsed() < Duration::from_secs(600),
                "{kills} kills, {in_the_middle}: does it hang?"
            );
        }
        // However far it came, started once more it is done and shows the same.
        let folder = format!("{}-{finished}", study.name);
        let done = desk.run(&words(&study.args_for(&folder)));
        assert_eq!(sound(&done).out, whole.out, "{}", study.name);
        let files: Vec<String> = [".lock"].into_iter().chain(study.files()).map(str::to_owned).collect();
        assert_eq!(desk.names(&folder), files, "nothing else is left");
    }
}

#[cfg(unix)]
#[test]
fn an_interrupted_study_says_how_to_go_on() {
    let desk = desk();
    let args = ["screen", "line.json", "--method", "effects", "--trajectories", "4000", "--out", "a"];
    let child = desk.program(&args).spawn().unwrap();
    let begun = Instant::now();
    while kept(&desk, "a") < 20 {
        assert!(begun.elapsed() < Duration::from_secs(60), "it never came");
        std::thread::sleep(Duration::from_millis(2));
    }
    let id = child.id().to_string();
    assert!(std::process::Command::new("kill").args(["-INT", &id]).status().unwrap().success());
    let output = child.wait_with_output().unwrap();
    let err = String::from_utf8_lossy(&output.stderr).into_owned();
    assert_eq!(output.status.code(), Some(130), "{err}");
    assert!(err.contains("interrupted before all points were run"), "{err}");
    assert!(err.contains("shifts are safe in `a`, and the same command goes on"), "{err}");
    assert_eq!(desk.names("a"), [".lock", "journal"]);

    let refused = |args: &[&str], words: &str| {
        let done = desk.run(args);
        assert_eq!((done.status, done.out.as_str()), (2, ""), "{}", done.err);
        assert!(done.err.contains(words) && done.err.contains("help: "), "`{words}`: {}", done.err);
    };
    refused(&[&args[..], &["--seed", "7"]].concat(), "the seed was 1 and is 7 now");
    refused(&[&args[..], &["--levels", "6"]].concat(), "the method was");
    refused(&["compare", "line.json", "--set", "T.capacity=9", "--out", "a"], "that of another command");
    desk.put("line.json", &LINE.replace("0.9 s", "0.8 s"));
    refused(&args, "the scenario has changed");
}

/// No file larger than 8 KiB can be written: the study ends, what it did is safe, and it goes on when there is room.
#[cfg(target_os = "linux")]
#[test]
fn without_room_nothing_is_lost() {
    let desk = desk();
    for study in &STUDIES[..1] {
        sound(&desk.run(&words(&study.args_for("whole"))));
        let args = study.args_for("a").iter().map(|word| format!("'{word}'")).collect::<Vec<_>>().join(" ");
        let script = format!("trap '' XFSZ; ulimit -f 8; exec \"$0\" {args}");
        let output = std::process::Command::new("bash")
            .args(["-c", &script, env!("CARGO_BIN_EXE_feedproof")])
            .current_dir(desk.path())
            .output()
            .unwrap();
        let err = String::from_utf8_lossy(&output.stderr).into_owned();
        assert_eq!(output.status.code(), Some(1), "{err}");
        assert!(err.contains("cannot write `a/journal`") && err.contains("shifts are safe"), "{err}");
        let n = kept(&desk, "a");
        assert!(n > 20, "{n}");
        let done = desk.run(&words(&study.args_for("a")));
        assert!(sound(&done).err.contains(&format!("going on: {} shifts are done", n - 1)), "{}", done.err);
        assert_eq!(study.all_of(&desk, "a"), study.all_of(&desk, "whole"));
    }
}

/// A folder that is missing, or is none, is told before anything is run, with what to do.
#[test]
fn where_nothing_can_be_written_is_told_first() {
    let desk = desk();
    desk.put("file", "");
    for (args, words) in [
        (&["draw", "line.json", "--out", "no/x.svg"][..], "cannot write `no/x.svg`: there is no folder `no`"),
        (&["run", "line.json", "--report", "no/x.html"], "cannot write `no/x.html`: there is no folder `no`"),
        (
            &["run", "line.json", "--xlsx", "file/x.xlsx"],
            "cannot write `file/x.xlsx`: `file` is a file, not a folder",
        ),
        (&["new", "no/line.json"], "cannot write `no/line.json`: there is no folder `no`"),
        (&["run", "line.json", "--report", "."], "cannot write `.`: it is a folder"),
        (&["run", "line.json", "--out", "file"], "cannot make the folder `file`: `file` is a file"),
        (
            &["compare", "line.json", "line.json", "--out", "file/a"],
            "cannot make the folder `file/a`: `file` is a file",
        ),
    ] {
        let done = desk.run(args);
        assert_eq!((done.status, done.out.as_str()), (1, ""), "{args:?}: {}", done.err);
        assert!(done.err.contains(words) && done.err.contains("\n  help: "), "`{words}`: {}", done.err);
    }
}

#[test]
fn without_a_file_the_default_line_is_traced() {
    let desk = desk();
    let args = ["trace", "--to", "2 s", "--station", "screwdriver"];
    let named = desk.run(&[&args[..1], &["knob-two-paths"], &args[1..]].concat());
    let without = desk.run(&args);
    assert!(sound(&without).out.lines().count() > 1, "{}", without.out);
    assert_eq!(without.out, sound(&named).out);
}
