//! `feedproof screen`, as a user meets it.

mod desk;

use desk::{Desk, Done};

/// 60 s over the slower of two times; the track does nothing.
const LINE: &str = r#"{"feedproof": 1, "title": "Two times", "stations": [
    {"id": "F", "type": "work", "endless": true, "time": "1 s"},
    {"id": "T", "type": "track", "capacity": 5, "travel": "0 s"},
    {"id": "M", "type": "machine", "cycle": "1.2 s"}],
    "plan": {"shift": "10 min"}}"#;

const SWEEP: &str = r#"{"feedproof_sweep": 1, "scenario": "line.json",
    "design": {"type": "sobol", "points": 8}, "factors": {
    "track": {"set": "T.capacity", "low": 4, "high": 7},
    "feeder": {"set": "F.time", "low": "0.8 s", "high": "1.2 s"},
    "machine": {"set": "M.cycle", "low": "0.9 s", "high": "1.3 s"}}}"#;

fn desk() -> Desk {
    let desk = Desk::new();
    desk.put("line.json", LINE);
    desk.put("sweep.json", SWEEP);
    desk
}

fn done(desk: &Desk, args: &[&str]) -> Done {
    let done = desk.run(args);
    assert_eq!((done.status, done.err.as_str()), (0, ""), "{}", done.out);
    done
}

fn refused(desk: &Desk, args: &[&str], words: &str) {
    let done = desk.run(args);
    assert_eq!((done.status, done.out.as_str()), (2, ""), "{}", done.err);
    assert!(done.err.contains(words), "`{words}` is missing:\n{}", done.err);
}

const METHODS: [(&str, &[&str]); 3] = [
    ("tornado", &["--replications", "2"]),
    ("effects", &["--trajectories", "12"]),
    ("shares", &["--rows", "256", "--pairs"]),
];

#[test]
fn each_method_puts_the_machine_first() {
    let desk = desk();
    for (method, more) in METHODS {
        let args = [&["screen", "sweep.json", "--method", method], more].concat();
        let page = done(&desk, &args).out;
        assert!(page.lines().all(|line| line.chars().count() <= 80), "wider than the screen:\n{page}");
        let place = |name: &str| page.find(&format!("\n  {name} ")).unwrap_or(usize::MAX);
        assert!(place("machine") < place("feeder"), "{page}");
        assert!(page.contains("`track`"), "it is named as one that makes no difference:\n{page}");
        assert!(page.starts_with("Two times\nrate (parts/min): "), "{page}");
    }
    let shares = done(&desk, &["screen", "sweep.json", "--method", "shares", "--rows", "256", "--pairs"]).out;
    assert!(shares.contains("feeder with machine"), "{shares}");
    assert!(shares.contains("`machine` and `feeder` work together with others."), "{shares}");
}

#[test]
fn documents_follow_their_schema_and_do_not_depend_on_threads() {
    let desk = desk();
    let schema: serde_json::Value =
        serde_json::from_str(&done(&desk, &["schema", "--of", "screen"]).out).unwrap();
    let validator = jsonschema::validator_for(&schema).unwrap();
    for (method, more) in METHODS {
        let args = [&["screen", "sweep.json", "--method", method, "--json", "--threads", "1"], more].concat();
        let text = done(&desk, &args).out;
        let document: serde_json::Value = serde_json::from_str(&text).unwrap();
        assert!(validator.is_valid(&document), "{method}: {text}");
        assert_eq!(document["findings"]["method"], method);
        assert_eq!(document["findings"]["factors"][0]["factor"], "machine");
        let args = [&["screen", "sweep.json", "--method", method, "--json", "--threads", "3"], more].concat();
        assert_eq!(done(&desk, &args).out, text, "{method}: the same on any number of threads");
    }
}

#[test]
fn the_table_has_a_row_for_each_factor_and_measure() {
    let desk = desk();
    for ((method, more), rows) in METHODS.into_iter().zip([1 + 3 * 3, 3 * 3, 3 + 3 * 3 + 3]) {
        let args = [&["screen", "sweep.json", "--method", method, "--csv"], more].concat();
        let text = done(&desk, &args).out;
        let lines: Vec<&str> = text.lines().collect();
        assert_eq!(lines.len(), 1 + rows, "{text}");
        assert!(lines.iter().all(|line| line.matches(',').count() == 13), "{text}");
        assert!(lines[0].starts_with("method,output,unit,factor,with,from,to,measure,mean,"), "{text}");
    }
}

#[test]
fn a_scenario_alone_has_its_own_numbers_moved() {
    let desk = desk();
    let page = done(&desk, &["screen", "line.json", "--by", "20 %", "--replications", "2"]).out;
    let machine = page.lines().find(|line| line.starts_with("  M.cycle ")).unwrap_or(&page);
    assert!(machine.contains("0.96 s") && machine.contains("1.44 s"), "{page}");
    let start =
        done(&desk, &["screen", "starter", "--replications", "2", "--output", "feed_availability"]).out;
    assert!(start.contains("feed_availability"), "{start}");
}

#[test]
fn what_cannot_be_screened_says_why() {
    let desk = desk();
    refused(&desk, &["screen", "sweep.json", "--output", "rat"], "did you mean `rate`?");
    refused(&desk, &["screen", "sweep.json", "--method", "effects", "--levels", "5"], "an even number");
    refused(&desk, &["screen", "line.json", "--by", "0"], "above 0 and below 100");
    refused(&desk, &["screen", "nowhere.json"], "nowhere.json");
    desk.put("broken.json", &SWEEP.replace("\"low\": 4", "\"lo\": 4"));
    refused(&desk, &["screen", "broken.json"], "did you mean `low`?");
    desk.put("lost.json", &SWEEP.replace("T.capacity", "T.capacty.x"));
    refused(&desk, &["screen", "lost.json"], "leads nowhere");
    desk.put("wide.json", &SWEEP.replace("\"low\": 4", "\"low\": 0"));
    refused(&desk, &["screen", "wide.json", "--method", "shares", "--rows", "32"], "narrow the ranges");
    let list = SWEEP.replace("\"type\": \"sobol\", \"points\": 8", "\"type\": \"list\", \"file\": \"p.csv\"");
    desk.put("free.json", &list.replace(", \"low\": 4, \"high\": 7", ""));
    refused(&desk, &["screen", "free.json"], "neither a range nor values");
    let only_track = SWEEP.split("\"feeder\"").next().unwrap().trim_end().trim_end_matches(',');
    desk.put("still.json", &format!("{only_track}}}}}"));
    refused(&desk, &["screen", "still.json", "--method", "shares", "--rows", "32"], "does not vary");
}
