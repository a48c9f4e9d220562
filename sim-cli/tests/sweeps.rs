//! Sweeps as users and scripts meet them: files, refusals, interruptions of every kind, parts.

mod desk;

use desk::{Desk, Done};
use std::path::Path;
use std::process::Child;
use std::time::{Duration, Instant};

/// A line of which a shift takes a few tenths of a millisecond.
const LINE: &str = r#"{"feedproof": 1, "title": "x", "stations": [
    {"id": "F", "type": "work", "endless": true, "time": {"law": "exponential", "mean": "1 s"}},
    {"id": "T", "type": "track", "capacity": 5, "travel": "1 s"},
    {"id": "M", "type": "machine", "cycle": "0.9 s", "to": "out", "jams": [{"per_part": "1 in 50", "time": "10 s"}]}],
    "plan": {"shift": "15 min", "start": "empty"}}"#;

/// 60 points, of which the last level of `cycle` makes 12 unsound.
const SWEEP: &str = r#"{"feedproof_sweep": 1, "title": "Room, pace and jams", "scenario": "line.json", "factors": {
    "room": {"set": "T.capacity", "low": 1, "high": 4},
    "jams": {"set": "M.jams[0].per_part", "values": ["1 in 50", "1 in 100", "1 in 200"]},
    "cycle": {"set": "M.cycle", "values": ["0.8 s", "0.9 s", {"label": "any", "value": {"law": "exponential", "mean": "0.9 s"}},
        "1 s", "0 m"]}},
    "replications": 12, "outputs": ["rate", "*"]}"#;

const FILES: [&str; 3] = ["points.csv", "sweep.csv", "sweep.json"];

fn desk() -> Desk {
    let desk = Desk::new();
    desk.put("line.json", LINE);
    desk.put("sweep.json", SWEEP);
    desk
}

fn all_of(desk: &Desk, folder: &str) -> Vec<String> {
    FILES.iter().map(|file| desk.get(&format!("{folder}/{file}"))).collect()
}

fn sound(done: &Done) -> &Done {
    assert_eq!(done.status, 0, "{}{}", done.out, done.err);
    done
}

#[test]
fn a_sweep_leaves_tidy_tables_and_a_summary() {
    let desk = desk();
    let done = desk.run(&["sweep", "sweep.json", "--out", "a", "--threads", "1"]);
    assert_eq!((sound(&done).status, done.err.as_str()), (0, ""));
    assert!(done.out.lines().all(|line| line.chars().count() <= 80), "{}", done.out);
    for words in ["60 points, 12 with errors", "BEST POINTS, by rate", "cycle [s]", "jams", "a/points.csv"] {
        // The unit of `cycle` is not at its head, as one of its values is a law.
        assert_eq!(done.out.contains(words), words != "cycle [s]", "{words}: {}", done.out);
    }
    let points = desk.get("a/points.csv");
    assert!(
        points.starts_with("point,room,jams,cycle,state,replications,reason\n1,1,1 in 50,0.8 s,done,12,\n"),
        "{points}"
    );
    assert_eq!(points.lines().count(), 61);
    assert!(points.contains("\n5,1,1 in 50,0 m,unsound,0,"), "{points}");
    assert_eq!(points.matches(",unsound,").count(), 12);
    let sweep = desk.get("a/sweep.csv");
    assert!(
        sweep.starts_with("point,output,unit,mean,standard_error,low,high,n\n1,rate,parts/min,"),
        "{sweep}"
    );
    assert_eq!(sweep.matches(",rate,parts/min,").count(), 48);

    // The same figures as a run of the point by itself would have is what the library tests; here: on any number of threads.
    sound(&desk.run(&["sweep", "sweep.json", "--out", "b", "--threads", "3"]));
    assert_eq!(all_of(&desk, "a"), all_of(&desk, "b"));

    // Started once more it runs nothing and shows the same.
    let again = desk.run(&["sweep", "sweep.json", "--out", "a"]);
    assert!(again.err.contains("holds this sweep already"), "{}", again.err);
    assert_eq!(again.out, done.out);
    assert_eq!(desk.names("a"), [".lock", "points.csv", "sweep.csv", "sweep.json"]);
}

#[test]
fn what_has_changed_is_named_and_refused() {
    let desk = desk();
    sound(&desk.run(&["sweep", "sweep.json", "--out", "a", "--replications", "2"]));
    let again = |args: &[&str]| {
        let all = [&["sweep", "sweep.json", "--out", "a", "--replications", "2"], args].concat();
        let done = desk.run(&all);
        assert_eq!(done.status, 2, "{}", done.err);
        assert!(done.err.contains("--out") && done.err.contains("delete"), "what to do: {}", done.err);
        done.err
    };
    let err = again(&["--seed", "7"]);
    assert!(err.contains("the seed was 1 and is 7 now"), "{err}");
    let err = again(&["--part", "1/2"]);
    assert!(err.contains("the part of the sweep was none and is 1/2 now"), "{err}");
    let finished = desk.get("a/sweep.json");
    let version = format!("\"program_version\": \"{}\"", env!("CARGO_PKG_VERSION"));
    assert_eq!(finished.matches(&version).count(), 1);
    desk.put("a/sweep.json", &finished.replace(&version, "\"program_version\": \"0.0.9\""));
    let err = again(&[]);
    assert!(err.contains("the version of the program was 0.0.9 and is "), "{err}");
    desk.put("a/sweep.json", &finished);
    desk.put("line.json", &LINE.replace("15 min", "16 min"));
    let err = again(&[]);
    assert!(err.contains("the scenario has changed") && !err.contains("the sweep file"), "{err}");
    desk.put("sweep.json", &SWEEP.replace("\"high\": 4", "\"high\": 5"));
    let err = again(&[]);
    assert!(err.contains("the sweep file has changed; the scenario has changed"), "{err}");

    desk.put("line.json", LINE);
    desk.put("sweep.json", SWEEP);
    std::fs::create_dir(desk.at("b")).unwrap();
    desk.put("b/points.csv", "mine");
    let done = desk.run(&["sweep", "sweep.json", "--out", "b"]);
    assert_eq!((done.status, desk.get("b/points.csv").as_str()), (2, "mine"), "{}", done.err);
}

#[test]
fn slips_in_a_sweep_file_are_told_with_their_places() {
    let desk = desk();
    for (old, new, words) in [
        ("\"T.capacity\"", "\"T.capacty\"", "the key `capacty` is not known here"),
        ("\"T.capacity\"", "\"U.capacity\"", "leads nowhere"),
        ("\"rate\", ", "\"rte\", ", "did you mean `rate`?"),
        ("\"line.json\"", "\"lin.json\"", "cannot read `lin.json`"),
        ("\"replications\"", "\"replication\"", "did you mean `replications`?"),
        ("\"low\": 1, ", "", "a range has `low` and `high`"),
    ] {
        assert_eq!(SWEEP.matches(old).count(), 1, "{old}");
        desk.put("sweep.json", &SWEEP.replace(old, new));
        let done = desk.run(&["sweep", "sweep.json", "--out", "a"]);
        assert_eq!(done.status, 2, "{new}: {}{}", done.out, done.err);
        assert!(done.err.contains(words), "{new}: {}", done.err);
        assert!(!desk.at("a").exists(), "nothing is begun");
    }
    desk.put("sweep.json", SWEEP);
    let done = desk.run(&["sweep", "sweep.json", "--check"]);
    assert!(sound(&done).out.contains("point 5 (room = 1, jams = 1 in 50, cycle = 0 m):4:"), "{}", done.out);
    assert!(done.out.ends_with("60 points, 48 of them sound\n"), "{}", done.out);
    for args in [&["sweep", "sweep.json"][..], &["sweep", "sweep.json", "--out", "a", "--part", "3/2"]] {
        assert_eq!(desk.run(args).status, 2);
    }
}

#[test]
fn a_sweep_file_is_valid_by_the_schema_and_the_schema_sees_what_is_wrong() {
    let desk = desk();
    let json = |text: &str| -> serde_json::Value { serde_json::from_str(text).expect("JSON") };
    let schema = json(&sound(&desk.run(&["schema", "--of", "sweep"])).out);
    let validator = jsonschema::validator_for(&schema).expect("the schema is one");
    for text in [
        SWEEP,
        include_str!("../../scenarios/sweeps/knob-track-and-paths.json"),
        include_str!("../../scenarios/sweeps/starter-200.json"),
    ] {
        let errors: Vec<String> = validator.iter_errors(&json(text)).map(|error| error.to_string()).collect();
        assert!(errors.is_empty(), "{errors:?}");
    }
    assert!(!validator.is_valid(&json(&SWEEP.replace("\"high\"", "\"hihg\""))));
}

#[test]
fn a_list_of_points_is_read_from_csv() {
    let desk = desk();
    let sweep = SWEEP.replace(
        "\"replications\": 12",
        "\"design\": {\"type\": \"list\", \"file\": \"list.csv\"}, \"replications\": 2",
    );
    desk.put("sweep.json", &sweep);
    desk.put("list.csv", "cycle,room,jams\nany,2,1 in 50\n1 s, 7 ,1 in 200\n");
    sound(&desk.run(&["sweep", "sweep.json", "--out", "a"]));
    let rows: Vec<String> = desk.get("a/points.csv").lines().skip(1).map(str::to_owned).collect();
    assert_eq!(rows, ["1,2,1 in 50,any,done,2,", "2,7,1 in 200,1 s,done,2,"]);
    // A table of points can be a list again.
    std::fs::copy(desk.at("a/points.csv"), desk.at("list.csv")).unwrap();
    sound(&desk.run(&["sweep", "sweep.json", "--out", "b"]));
    assert_eq!(desk.get("a/sweep.csv"), desk.get("b/sweep.csv"));
    desk.put("list.csv", "cycle,rooms,jams\nany,2,1 in 50\n");
    let done = desk.run(&["sweep", "sweep.json", "--out", "c"]);
    assert!(
        done.status == 2 && done.err.contains("list.csv:1") && done.err.contains("did you mean `room`?"),
        "{}",
        done.err
    );
    desk.put("list.csv", "cycle,room,jams\nany,2,1 in 50\nall,2,1 in 50\n");
    let done = desk.run(&["sweep", "sweep.json", "--out", "c"]);
    assert!(done.status == 2 && done.err.contains("list.csv:3"), "{}", done.err);
    desk.put("list.csv", "cycle,room,jams\n1 s,2,1 in 50\n1,5 s,2,1 in 50\n1 s,2\n");
    let done = desk.run(&["sweep", "sweep.json", "--out", "c"]);
    for words in
        ["4 cells, the titles are 3: is the comma", "list.csv:3", "2 cells, the titles are 3\n", "list.csv:4"]
    {
        assert!(done.status == 2 && done.err.contains(words), "{words}: {}", done.err);
    }
}

#[test]
fn parts_put_together_are_the_whole_to_the_last_byte() {
    let desk = desk();
    sound(&desk.run(&["sweep", "sweep.json", "--out", "whole"]));
    for part in ["1/3", "2/3", "3/3"] {
        let folder = format!("part-{}", &part[..1]);
        sound(&desk.run(&["sweep", "sweep.json", "--out", &folder, "--part", part]));
    }
    let done = desk.run(&["merge", "part-3", "part-1", "--out", "merged"]);
    assert!(done.status == 2 && done.err.contains("part 2 of 3 missing"), "{}", done.err);
    let done = desk.run(&["merge", "part-3", "part-1", "part-1", "part-2", "--out", "merged"]);
    assert!(done.status == 2 && done.err.contains("more than once"), "{}", done.err);
    let merged = desk.run(&["merge", "part-3", "part-1", "part-2", "--out", "merged"]);
    sound(&merged);
    assert_eq!(all_of(&desk, "merged"), all_of(&desk, "whole"));
    sound(&desk.run(&["merge", "part-3", "part-1", "part-2", "--out", "merged"]));

    sound(&desk.run(&["sweep", "sweep.json", "--out", "other", "--part", "2/3", "--seed", "5"]));
    let done = desk.run(&["merge", "part-1", "other", "part-3", "--out", "merged-2"]);
    assert!(done.status == 2 && done.err.contains("the seed was 1 and is 5 now"), "{}", done.err);
    let points = desk.get("part-2/points.csv");
    desk.put("part-2/points.csv", &points.replacen("done", "gone", 1));
    let done = desk.run(&["merge", "part-1", "part-2", "part-3", "--out", "merged-2"]);
    assert!(done.status == 2 && done.err.contains("not as it was written"), "{}", done.err);
    let done = desk.run(&["merge", "part-1", "nowhere", "--out", "merged-2"]);
    assert!(done.status == 2 && done.err.contains("no finished sweep"), "{}", done.err);
}

/// Starts a sweep in a folder.
fn start(desk: &Desk, folder: &str, more: &[&str]) -> Child {
    let args = [&["sweep", "sweep.json", "--out", folder], more].concat();
    desk.program(&args).spawn().expect("the program starts")
}

fn wait_for(what: impl Fn() -> bool) {
    let begun = Instant::now();
    while !what() {
        assert!(begun.elapsed() < Duration::from_secs(60), "it never came");
        std::thread::sleep(Duration::from_millis(2));
    }
}

/// A folder has one process at a time, and a killed one leaves no lock behind.
#[test]
fn two_processes_in_one_folder_are_refused() {
    let desk = desk();
    let long = ["--replications", "100000"];
    let mut first = start(&desk, "a", &long);
    wait_for(|| desk.at("a/journal").exists());
    let second = desk.run(&["sweep", "sweep.json", "--out", "a"]);
    let holder = format!("another feedproof (process {}", first.id());
    assert!(second.status == 2 && second.err.contains(&holder), "{}", second.err);
    assert!(second.err.contains("is at work in `a`") && second.err.contains("help: "), "{}", second.err);
    let waited = desk.run(&["sweep", "sweep.json", "--out", "a", "--wait", "0.3 s"]);
    assert!(waited.status == 2 && waited.err.starts_with("waiting for another"), "{}", waited.err);
    first.kill().unwrap();
    first.wait().unwrap();
    let third = desk.run(&["sweep", "sweep.json", "--out", "a"]);
    assert!(
        third.status == 2 && third.err.contains("the number of replications was 100000"),
        "{}",
        third.err
    );
}

/// Told to wait, a second process goes on where the first one was killed.
#[test]
fn a_second_process_waits_for_the_first_and_goes_on() {
    let desk = desk();
    let shifts = ["--replications", "400"];
    sound(&desk.run(&[&["sweep", "sweep.json", "--out", "whole"][..], &shifts].concat()));
    let mut first = start(&desk, "a", &shifts);
    wait_for(|| std::fs::metadata(desk.at("a/journal")).is_ok_and(|file| file.len() > 3000));
    let second = start(&desk, "a", &[&shifts[..], &["--wait", "10 min"]].concat());
    std::thread::sleep(Duration::from_millis(50));
    first.kill().unwrap();
    first.wait().unwrap();
    let output = second.wait_with_output().unwrap();
    assert!(output.status.success(), "{}", String::from_utf8_lossy(&output.stderr));
    assert_eq!(all_of(&desk, "a"), all_of(&desk, "whole"));
}

#[cfg(unix)]
#[test]
fn an_interrupted_sweep_says_how_far_it_came_and_goes_on() {
    let desk = desk();
    sound(&desk.run(&["sweep", "sweep.json", "--out", "whole", "--replications", "400"]));
    let child = start(&desk, "a", &["--replications", "400"]);
    wait_for(|| std::fs::metadata(desk.at("a/journal")).is_ok_and(|file| file.len() > 3000));
    let id = child.id().to_string();
    assert!(std::process::Command::new("kill").args(["-INT", &id]).status().unwrap().success());
    let output = child.wait_with_output().unwrap();
    let err = String::from_utf8_lossy(&output.stderr).into_owned();
    assert_eq!(output.status.code(), Some(130), "{err}");
    assert!(err.contains("of 60 points are done") && err.contains("the same command goes on"), "{err}");
    assert_eq!(desk.names("a"), [".lock", "journal"]);
    let done = desk.run(&["sweep", "sweep.json", "--out", "a", "--replications", "400"]);
    assert!(sound(&done).err.contains("going on: "), "{}", done.err);
    assert_eq!(all_of(&desk, "a"), all_of(&desk, "whole"));
}

/// The claim: killed at any moment, as often as may be, a sweep goes on, and its files are those of an undisturbed run.
#[test]
fn killed_200_times_it_gives_the_same_bytes() {
    const KILLS: usize = 200;
    /// Of these so many in the middle at least: some points were in the journal, and others not.
    const IN_THE_MIDDLE: usize = 60;
    let desk = desk();
    let begun = Instant::now();
    sound(&desk.run(&["sweep", "sweep.json", "--out", "whole"]));
    let mut longest_us = begun.elapsed().as_micros() as u64;
    let whole = all_of(&desk, "whole");
    let (mut kills, mut in_the_middle, mut finished) = (0, 0, 0);
    // Moments by a linear congruential generator (Lehmer 1951), so that they do not come in step with the program.
    let mut state: u64 = 20_261_125;
    while kills < KILLS || in_the_middle < IN_THE_MIDDLE || finished < 5 {
        let folder = format!("a{finished}");
        state = state * 48_271 % 2_147_483_647;
        let moment = Duration::from_micros(state % longest_us);
        let threads = if state.is_multiple_of(3) { "1" } else { "2" };
        let args = ["sweep", "sweep.json", "--out", &folder, "--threads", threads];
        if desk.killed_after(&args, moment) {
            kills += 1;
            longest_us += longest_us / 100;
        } else {
            // The machine has become faster.
            longest_us = (longest_us * 9 / 10).max(1000);
        }
        if desk.at(&format!("{folder}/sweep.json")).exists() {
            assert_eq!(all_of(&desk, &folder), whole, "files appear whole and right");
            // Whatever was left behind goes, and nothing else changes.
            sound(&desk.run(&["sweep", "sweep.json", "--out", &folder]));
            assert_eq!(all_of(&desk, &folder), whole);
            assert_eq!(desk.names(&folder), [".lock", "points.csv", "sweep.csv", "sweep.json"]);
            finished += 1;
        } else {
            let journal = std::fs::read_to_string(desk.at(&format!("{folder}/journal"))).unwrap_or_default();
            in_the_middle += usize::from((2..60).contains(&journal.lines().count()));
        }
        assert!(
            begun.elapsed() < Duration::from_secs(1200),
            "{kills} kills, {in_the_middle} in the middle: does it hang?"
        );
    }
}

/// A place with room for so many bytes only.
struct Small<'a> {
    desk: &'a Desk,
    is_mounted: bool,
}

impl<'a> Small<'a> {
    /// A file system of its own, where that may be made; otherwise a limit on the size of files does.
    fn new(desk: &'a Desk) -> Self {
        std::fs::create_dir(desk.at("small")).unwrap();
        let is_mounted = mount(&desk.at("small"), &["-t", "tmpfs", "-o", "size=64k", "tmpfs"]);
        eprintln!(
            "full disk: {}",
            if is_mounted { "a file system of 64 KiB" } else { "files of 64 KiB at most" }
        );
        Small { desk, is_mounted }
    }

    /// Runs the sweep with this much room.
    fn run(&self, kib: u64) -> Done {
        if self.is_mounted {
            let size = format!("remount,size={kib}k");
            assert!(mount(&self.desk.at("small"), &["-o", &size]), "the file system can be made larger");
            return self.desk.run(&["sweep", "sweep.json", "--out", "small/a"]);
        }
        let script = format!("trap '' XFSZ; ulimit -f {kib}; exec \"$0\" sweep sweep.json --out small/a");
        let output = std::process::Command::new("bash")
            .args(["-c", &script, env!("CARGO_BIN_EXE_feedproof")])
            .current_dir(self.desk.path())
            .output()
            .unwrap();
        Done {
            status: output.status.code().unwrap_or(-1),
            out: String::from_utf8_lossy(&output.stdout).into_owned(),
            err: String::from_utf8_lossy(&output.stderr).into_owned(),
        }
    }
}

impl Drop for Small<'_> {
    fn drop(&mut self) {
        if self.is_mounted {
            let _ = std::process::Command::new("umount").arg(self.desk.at("small")).status();
        }
    }
}

fn mount(place: &Path, args: &[&str]) -> bool {
    let output = std::process::Command::new("mount").args(args).arg(place).output();
    output.is_ok_and(|output| output.status.success())
}

#[cfg(target_os = "linux")]
#[test]
fn on_a_full_disk_nothing_is_lost() {
    let desk = desk();
    sound(&desk.run(&["sweep", "sweep.json", "--out", "whole"]));
    let tables: u64 = FILES.iter().map(|file| desk.get(&format!("whole/{file}")).len() as u64).sum();
    assert!(tables > 100 << 10, "the tables are larger than the room: {tables}");
    let small = Small::new(&desk);
    let mut safe = 0;
    // Full in the middle of the journal, again at the same size, later in the journal, and while the tables are written.
    let for_journal = tables / 1024 * 13 / 10;
    for kib in [64, 64, 80, for_journal] {
        let done = small.run(kib);
        let is_room_for_all = !small.is_mounted && kib == for_journal;
        if is_room_for_all {
            continue;
        }
        assert_eq!(done.status, 1, "{kib}: {}{}", done.out, done.err);
        assert!(
            done.err.contains("cannot write") && done.err.contains("the same command goes on"),
            "{}",
            done.err
        );
        let words: Vec<&str> = done.err.split_whitespace().collect();
        let at = words.iter().position(|word| *word == "points").unwrap_or_else(|| panic!("{}", done.err));
        let n: u64 = words[at..].iter().chain(&words).find_map(|word| word.parse().ok()).unwrap_or(0);
        assert!(n >= safe, "what was safe stays safe: {n} after {safe}");
        safe = n;
        assert!(!desk.at("small/a/sweep.json").exists());
        assert_eq!(desk.names("small/a"), [".lock", "journal"], "no drafts fill the disk");
    }
    assert!(safe > 0);
    sound(&small.run(4096));
    assert_eq!(all_of(&desk, "small/a"), all_of(&desk, "whole"));
}

#[test]
fn a_sweep_file_its_addresses_and_its_scenario_are_told_together() {
    let desk = desk();
    let wrong =
        SWEEP.replace("\"T.capacity\"", "\"U.capacity\"").replace("\"replications\"", "\"repliccations\"");
    desk.put("sweep.json", &wrong);
    for command in [&["sweep", "sweep.json", "--out", "a"][..], &["screen", "sweep.json"]] {
        let done = desk.run(command);
        assert_eq!(done.status, 2);
        for words in ["did you mean `replications`?", "`U.capacity` leads nowhere", "2 errors in sweep.json"]
        {
            assert!(done.err.contains(words), "`{words}` is missing: {}", done.err);
        }
    }
    // In a scenario with errors nobody knows where addresses lead.
    desk.put("line.json", &LINE.replace("\"cycle\"", "\"cyccle\""));
    let done = desk.run(&["sweep", "sweep.json", "--out", "a"]);
    for words in
        ["did you mean `replications`?", "1 error in sweep.json", "did you mean `cycle`?", "in line.json"]
    {
        assert!(done.err.contains(words), "`{words}` is missing: {}", done.err);
    }
    assert!(!done.err.contains("U.capacity"), "{}", done.err);
}

#[test]
fn all_settings_that_cannot_be_made_are_told_at_once() {
    let desk = desk();
    let compare = [
        "compare",
        "line.json",
        "--set",
        "T.capacty=3; U.capacity=2",
        "--set",
        "M.cycle=0 m",
        "--set",
        "V.time=1 s",
    ];
    let done = desk.run(&compare);
    assert_eq!(done.status, 2, "{}", done.err);
    for words in ["the key `capacty`", "`0 m`", "`V.time` leads nowhere"] {
        assert!(done.err.contains(words), "`{words}` is missing: {}", done.err);
    }
    let unread = desk.run(&["compare", "line.json", "nowhere.json", "--set", "a.b", "--set", "c.d"]);
    for words in ["cannot read `nowhere.json`", "a.b", "c.d"] {
        assert!(unread.err.contains(words), "`{words}` is missing: {}", unread.err);
    }
    let size = ["size", "line.json", "--vary", "W.capacity=1..3", "--vary", "U.capacity=1..3", "--smallest"];
    let done = desk.run(&size);
    for words in ["`W.capacity` leads nowhere", "`U.capacity` leads nowhere"] {
        assert!(done.err.contains(words), "`{words}` is missing: {}", done.err);
    }
    let done =
        desk.run(&["size", "line.json", "--vary", "nothing", "--vary", "T.capacity=3..1", "--smallest"]);
    for words in ["`nothing` varies nothing", "3"] {
        assert!(done.err.contains(words), "`{words}` is missing: {}", done.err);
    }
}
