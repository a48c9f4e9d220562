//! What a user sees: the screens of the commands, and the messages for broken files.
//!
//! The screens are compared with those kept in `snapshots`. After an intended change, look at the new ones and keep them
//! with `INSTA_UPDATE=always cargo test -p sim-cli --test screens`.

mod desk;

use desk::{Desk, starter_with};
use insta::assert_snapshot;
use std::sync::{Mutex, PoisonError};

/// Widest line of a screen.
const WIDTH: usize = 80;

fn fits(screen: &str) {
    for line in screen.lines() {
        assert!(line.chars().count() <= WIDTH, "wider than the screen: {line}");
    }
    assert!(!screen.contains('\x1b'), "piped output has no escapes");
}

#[test]
fn the_proof_of_the_starter() {
    let done = Desk::new().run(&["run", "starter", "--replications", "60", "--seed", "7"]);
    assert_eq!((done.status, done.err.as_str()), (0, ""));
    fits(&done.out);
    assert_snapshot!("proof_of_the_starter", done.out);
}

#[test]
fn the_balance_of_the_starter() {
    let done = Desk::new().run(&["check", "starter"]);
    assert_eq!((done.status, done.err.as_str()), (0, ""));
    fits(&done.out);
    assert_snapshot!("balance_of_the_starter", done.out);
}

#[test]
fn without_a_file_the_default_line_is_proved_or_disproved() {
    let done = Desk::new().run(&["run", "--replications", "4"]);
    assert_eq!((done.status, done.err.as_str()), (0, ""));
    fits(&done.out);
    for words in [
        "OPEN.",
        "RATE at",
        "mean of many shifts",
        "one future shift",
        "CHANCE TO MAKE IT",
        "STATIONS, share of time",
        "FLOW where parts part ways",
        "orienting passes for each part delivered",
        "JAMS AND STOPS",
        "ATTENDANTS",
        "SENSORS",
        "INPUTS",
        "CAUTIONS",
        "feedproof show knob-two-paths",
        "feedproof new FILE",
    ] {
        assert!(done.out.contains(words), "`{words}` is missing:\n{}", done.out);
    }
}

#[test]
fn a_line_without_a_promise_and_without_luck() {
    let line = r#"{"feedproof": 1, "stations": [
        {"id": "feeder", "type": "work", "endless": true, "time": "2 s"},
        {"id": "press", "type": "machine", "cycle": "3 s"}]}"#;
    let done = Desk::new().run_with(&["run", "-"], line);
    assert_eq!((done.status, done.err.as_str()), (0, ""));
    fits(&done.out);
    assert_snapshot!("without_promise_and_luck", done.out);
}

#[test]
fn broken_files_are_explained_at_their_place() {
    let cases = [
        ("misspelt_key", starter_with("\"travel\": \"3 s\"", "\"travell\": \"3 s\"")),
        ("misspelt_id", starter_with("\"by\": \"attendant\"", "\"by\": \"atendant\"")),
        ("unit_of_wrong_kind", starter_with("\"length\": \"1.2 m\"", "\"length\": \"1.2 s\"")),
        ("bare_number", starter_with("\"cycle\": \"0.7 s\"", "\"cycle\": 0.7")),
        (
            "shares_not_adding_up",
            starter_with(
                "\"length\": \"30 mm\"",
                "\"length\": \"30 mm\", \"attitudes\": {\"up\": 0.5, \"down\": 0.4}",
            ),
        ),
        ("nothing_feeds", starter_with("\"stroke\": \"0.3 s\"", "\"stroke\": \"0.3 s\", \"to\": \"out\"")),
        ("capacity_0", starter_with("\"length\": \"1.2 m\"", "\"capacity\": 0")),
        ("negative", starter_with("\"stroke\": \"0.3 s\"", "\"stroke\": \"-0.3 s\"")),
        ("huge", starter_with("\"travel\": \"3 s\"", "\"travel\": \"1e308 s\"")),
        ("not_a_number", starter_with("\"travel\": \"3 s\"", "\"travel\": \"NaN s\"")),
        ("last_comma", starter_with("\"cycle\": \"0.7 s\",", "\"cycle\": \"0.7 s\",,")),
        ("empty", String::new()),
    ];
    let desk = Desk::new();
    for (name, text) in cases {
        desk.put("line.json", &text);
        let done = desk.run(&["check", "line.json"]);
        assert_eq!((done.status, done.out.as_str()), (2, ""), "{name}: {}", done.err);
        fits(&done.err);
        assert_snapshot!(format!("broken_{name}"), done.err);
        let run = desk.run(&["run", "line.json"]);
        assert_eq!((run.status, run.err), (2, done.err), "run says the same as check");
    }
}

#[test]
fn all_problems_of_a_file_come_at_once_warnings_too() {
    let text = starter_with("\"stroke\": \"0.3 s\"", "\"stroke\": \"3 s\", \"strokess\": 1")
        .replace("\"length\": \"1.2 m\"", "\"length\": \"1.2 kg\"")
        .replace("\"by\": \"attendant\"", "\"by\": \"Bob\"");
    let desk = Desk::new();
    desk.put("line.json", &text);
    let done = desk.run(&["check", "line.json"]);
    assert_eq!(done.status, 2);
    assert_snapshot!("all_at_once", done.err);
}

#[test]
fn a_class_that_can_never_leave_its_loop_is_an_error() {
    let line = r#"{
  "feedproof": 1,
  "parts": {"knob": {"attitudes": {"up": 0.6, "down": 0.4}, "length": "30 mm"}},
  "stations": [
    {"id": "feeder", "type": "work", "endless": true, "time": "1 s", "to": "path"},
    {"id": "back", "type": "recirculation belt", "capacity": 20, "travel": "5 s", "to": "path"},
    {"id": "path", "type": "orienting path", "speed": "5 m/min", "live_length": "1 m",
     "tools": [{"id": "wiper", "passes": {"up": 1.0, "down": 0.0}}],
     "rejects_to": "back", "comes_back": {"keeps": 1.0}, "to": "press"},
    {"id": "press", "type": "machine", "cycle": "1 s", "to": "out"}
  ]
}"#;
    let done = Desk::new().run_with(&["run", "-"], line);
    assert_eq!((done.status, done.out.as_str()), (2, ""), "{}", done.err);
    fits(&done.err);
    assert_snapshot!("class_without_a_way_out", done.err);
}

#[test]
fn warnings_stand_on_the_proof_and_beside_the_json() {
    let desk = Desk::new();
    desk.put("line.json", &starter_with("\"stroke\": \"0.3 s\"", "\"stroke\": \"0.05 s\""));
    let done = desk.run(&["run", "line.json", "--replications", "3"]);
    assert_eq!((done.status, done.err.as_str()), (0, ""));
    assert!(done.out.contains("WARNINGS about the file (1 warning)"), "{}", done.out);
    assert!(done.out.contains("stations[\"escapement\"].stroke"), "{}", done.out);
    fits(&done.out);
    let json = desk.run(&["run", "line.json", "--replications", "3", "--json"]);
    assert_eq!(json.status, 0);
    assert!(json.err.contains("[unusual-value]"), "{}", json.err);
    assert!(serde_json::from_str::<serde_json::Value>(&json.out).is_ok(), "{}", json.out);
}

#[test]
fn small_screens() {
    let desk = Desk::new();
    let screens = [
        ("help", &["--help"][..]),
        ("help_run", &["run", "--help"]),
        ("list", &["list"]),
        ("explain", &["explain", "unit-wrong-kind"]),
        ("explain_all", &["explain"]),
        ("explain_station", &["explain", "air", "tube"]),
    ];
    for (name, args) in screens {
        let done = desk.run(args);
        assert_eq!((done.status, done.err.as_str()), (0, ""), "{name}");
        assert!(!done.out.contains('\x1b'));
        if name != "list" {
            assert_snapshot!(name, done.out);
        }
    }
}

/// One test at a time reads and renews README.
static README: Mutex<()> = Mutex::new(());

/// Compares a screen in README with what the program prints up to these words. Renew all of them with
/// `UPDATE_README=1 cargo test -p sim-cli --test screens readme`.
fn readme_shows(name: &str, args: &[&str], until: Option<&str>) {
    let desk = Desk::new();
    std::fs::create_dir_all(desk.at("scenarios/sweeps")).expect("a folder");
    for (file, text) in SWEEPS {
        desk.put(&format!("scenarios/sweeps/{file}"), text);
    }
    let done = desk.run(args);
    assert_eq!((done.status, done.err.as_str()), (0, ""));
    fits(&done.out);
    let end = until.map_or(done.out.len(), |words| done.out.find(words).expect("a later section"));
    let screen = format!("{}\n", done.out[..end].trim_end());
    let _alone = README.lock().unwrap_or_else(PoisonError::into_inner);
    let path = concat!(env!("CARGO_MANIFEST_DIR"), "/../README.md");
    let mut readme = std::fs::read_to_string(path).expect("README is there");
    let (before, after) = (format!("<!-- {name} -->\n```text\n"), format!("```\n<!-- end of {name} -->"));
    let from = readme.find(&before).expect("README has the screen") + before.len();
    let to = from + readme[from..].find(&after).expect("the screen has an end");
    if std::env::var_os("UPDATE_README").is_some() {
        readme.replace_range(from..to, &screen);
        std::fs::write(path, &readme).expect("README can be written");
    }
    assert_eq!(&readme[from..readme.len().min(from + screen.len())], screen, "{name}");
    assert!(readme[from + screen.len()..].starts_with(&after), "{name}");
}

const SWEEPS: [(&str, &str); 2] = [
    ("knob-track-and-paths.json", include_str!("../../scenarios/sweeps/knob-track-and-paths.json")),
    ("knob-what-matters.json", include_str!("../../scenarios/sweeps/knob-what-matters.json")),
];

#[test]
fn readme_shows_the_proof() {
    readme_shows("proof", &["run"], Some("JAMS AND STOPS"));
}

#[test]
fn readme_shows_the_comparison() {
    readme_shows("comparison", &["compare", "knob-one-path", "knob-two-paths"], None);
}

#[test]
fn readme_shows_the_screening() {
    let file = "scenarios/sweeps/knob-what-matters.json";
    readme_shows("screening", &["screen", file, "--method", "effects"], None);
}

#[test]
fn readme_shows_the_sweep() {
    let file = "scenarios/sweeps/knob-track-and-paths.json";
    readme_shows("sweep", &["sweep", file, "--replications", "4", "--out", "result"], None);
}

#[test]
fn a_comparison() {
    let desk = Desk::new();
    let done = desk.run(&["compare", "starter", "--set", "track.length=0.3 m; escapement.stroke=0.4 s"]);
    assert_eq!((done.status, done.err.as_str()), (0, ""));
    fits(&done.out);
    assert_snapshot!("comparison", done.out);
    let lengths = ["0.3 m", "0.4 m", "0.5 m", "0.6 m"].map(|length| format!("track.length={length}"));
    let sets: Vec<&str> = lengths.iter().flat_map(|length| ["--set", length]).collect();
    let done = desk.run(&[&["compare", "starter", "--indifference", "0.2 /min"], &sets[..]].concat());
    assert_eq!((done.status, done.err.as_str()), (0, ""));
    fits(&done.out);
    assert!(done.out.contains("`starter` is chosen") && done.out.contains("6 other pairs"), "{}", done.out);
    let own = desk.run(&["compare", "starter", "starter", "--replications", "12", "--own-luck"]);
    fits(&own.out);
    let flowing = own.out.split_whitespace().collect::<Vec<_>>().join(" ");
    let words = ["each with luck of its own;", "for each, so that nothing is saved", "not told from 0"];
    assert!(words.iter().all(|word| flowing.contains(word)), "{}", own.out);
    let set = ["--set", "track.length=0.3 m", "--replications", "20", "--controls"];
    let with = desk.run(&[&["compare", "starter"], &set[..]].concat());
    assert_eq!((with.status, with.err.as_str()), (0, ""));
    fits(&with.out);
    assert!(with.out.contains("the same luck and the controls"), "{}", with.out);
    let same = desk.run(&["compare", "starter", "starter", "--at-most", "12"]);
    assert_eq!((same.status, same.err.as_str()), (0, ""));
    assert!(same.out.contains("Not decided: `starter` and `starter (2)`"), "{}", same.out);
    // Without a file it is the default line that is changed.
    let of_default =
        desk.run(&["compare", "--set", "track.length=0.5 m", "--at-most", "10", "--draw-inputs"]);
    assert_eq!((of_default.status, of_default.err.as_str()), (0, ""));
    fits(&of_default.out);
    let words = ["knob-two-paths", "track.length = 0.5 m", "drawn anew for each shift"];
    assert!(words.iter().all(|word| of_default.out.contains(word)), "{}", of_default.out);
}

#[test]
fn sizing() {
    let desk = Desk::new();
    desk.put("hard.json", &starter_with("\"rate\": \"60 /min\"", "\"rate\": \"65.5 /min\""));
    let length = "track.length=0.15 m..3.15 m:0.25";
    let done = desk.run(&["size", "hard.json", "--vary", length, "--smallest", "--at-most", "300"]);
    assert_eq!((done.status, done.err.as_str()), (0, ""));
    fits(&done.out);
    assert_snapshot!("sizing", done.out);
    let two = ["--vary", "press.cycle=0.7 s..0.8 s:0.05", "--vary", length];
    let done = desk.run(&[&["size", "hard.json", "--smallest", "--at-most", "100"], &two[..]].concat());
    assert_eq!((done.status, done.err.as_str()), (0, ""));
    fits(&done.out);
    assert_snapshot!("sizing_of_two", done.out);
    let wrong = desk.run(&["size", "hard.json", "--vary", length, "--largest", "--at-most", "300"]);
    assert!(wrong.out.contains("AGAINST THE ORDER"), "{}", wrong.out);
}
