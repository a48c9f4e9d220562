//! Evidence in the file, as a user gives it: counts, events in a time, values in a CSV file; and what `run` and `check`
//! make of it.

mod desk;

use desk::{Desk, starter_with};

fn line(clearing: &str) -> String {
    format!(
        r#"{{"feedproof": 1, "stations": [
        {{"id": "A", "type": "work", "endless": true, "time": "1 s",
         "jams": [{{"every": {{"seen": 3, "in": "2 h"}}, "time": {clearing}}}]}}],
        "plan": {{"shift": "1 h", "replications": 200}},
        "promise": {{"clauses": {{"rate": "57 /min", "in_shifts": "90 %"}}}}}}"#
    )
}

const FROM_FILE: &str = r#"{"law": "observed", "file": "jams.csv", "column": "clearing"}"#;
const JAMS: &str = "jam,clearing [s]\n1,40\n2,95.5\n3,60\n";

#[test]
fn values_of_a_file_are_those_of_a_list() {
    let desk = Desk::new();
    desk.put("jams.csv", JAMS);
    desk.put("file.json", &line(FROM_FILE));
    desk.put("list.json", &line(r#"["40 s", "95.5 s", "60 s"]"#));
    let [file, list] = ["file.json", "list.json"].map(|name| desk.run(&["check", name]));
    assert_eq!((file.status, file.err.as_str()), (0, ""), "{}", file.err);
    assert_eq!(file.out.replace("file.json", ""), list.out.replace("list.json", ""));
    for words in ["EVIDENCE", "3 in 2 h", "1.5", "gamma 0.5", "65", "Bayesian bootstrap"] {
        assert!(file.out.contains(words), "`{words}` is missing:\n{}", file.out);
    }
}

#[test]
fn files_that_cannot_be_used_say_why() {
    let desk = Desk::new();
    for (data, law, words) in [
        (JAMS, FROM_FILE.replace("\"clearing\"", "\"clearin\""), "did you mean `clearing`?"),
        (JAMS, FROM_FILE.replace(", \"column\": \"clearing\"", ""), "it has several columns"),
        (JAMS, FROM_FILE.replace("jams.csv", "jam.csv"), "cannot read `jam.csv`"),
        ("jam,clearing [s]\n1,-4\n", FROM_FILE.to_owned(), "line 2, column `clearing [s]`: `-4` is negative"),
        (
            "jam,clearing [s]\n1,4\n2,soon\n",
            FROM_FILE.to_owned(),
            "line 3, column `clearing [s]`: `soon` is no number",
        ),
        ("jam,clearing [s]\n", FROM_FILE.to_owned(), "titles but no rows"),
        ("", FROM_FILE.to_owned(), "is empty"),
        ("jam,clearing\n1,4\n", FROM_FILE.to_owned(), "`4` needs a unit of time"),
        ("jam,clearing\n1,4.5\n", FROM_FILE.to_owned(), "it has no unit: write the title as `time [s]`"),
        (
            "jam;clearing [s]\n1;4,5\n2;x\n3;-1\n",
            FROM_FILE.to_owned(),
            "line 4, column `clearing [s]`: `-1` is negative",
        ),
    ] {
        desk.put("jams.csv", data);
        desk.put("line.json", &line(&law));
        let done = desk.run(&["check", "line.json"]);
        assert_eq!((done.status, done.out.as_str()), (2, ""), "{words}: {}", done.err);
        // Wherever lines break.
        let told = done.err.split_whitespace().collect::<Vec<&str>>().join(" ");
        assert!(told.contains(words), "`{words}` is missing: {}", done.err);
    }
    let many: String = (0..60_000).map(|n| format!("{n},4\n")).collect();
    desk.put("jams.csv", &format!("jam,clearing [s]\n{many}"));
    desk.put("line.json", &line(FROM_FILE));
    assert!(desk.run(&["check", "line.json"]).err.contains("more than 50000 rows"));
    // A thousand values without a unit are one mistake, not four thousand lines.
    let whole: String = (0..1000).map(|n| format!("{n},4\n")).collect();
    desk.put("jams.csv", &format!("jam,clearing\n{whole}"));
    let told = desk.run(&["check", "line.json"]).err;
    assert!(told.contains("440 more problems") && told.lines().count() < 500, "{}", told.lines().count());
}

#[test]
fn both_promises_stand_side_by_side_and_the_verdict_is_about_the_assurance() {
    let desk = Desk::new();
    desk.put("line.json", &line(r#"["40 s", "95.5 s", "60 s"]"#));
    let done = desk.run(&["run", "line.json"]);
    assert_eq!((done.status, done.err.as_str()), (0, ""));
    for words in [
        "INPUTS AS KNOWN, and with what is not known of them",
        "Assurance:",
        "WHY SHIFTS DIFFER",
        "luck of the shift",
        "WHAT TO MEASURE NEXT",
        "stations[\"A\"].jams[0].every",
    ] {
        assert!(done.out.contains(words), "`{words}` is missing:\n{}", done.out);
    }
    assert!(
        done.out.starts_with("OPEN."),
        "three jams and three clearing times are not enough:\n{}",
        done.out
    );
    assert!(done.out.lines().all(|line| line.chars().count() <= 80), "{}", done.out);
    let asked = desk.run(&["run", "line.json", "--fail-unless-proved"]);
    assert_eq!(asked.status, 3);
    let known = desk.run(&["run", "line.json", "--draws", "0"]);
    assert!(!known.out.contains("Assurance:") && known.out.contains("taken as known here"), "{}", known.out);
    for bad in ["1", "19", "many"] {
        assert_eq!(desk.run(&["run", "line.json", "--draws", bad]).status, 2);
    }
}

#[test]
fn a_file_without_evidence_has_nothing_of_it() {
    let text = starter_with("\"12 of 4000\"", "\"0.3 %\"");
    let desk = Desk::new();
    desk.put("line.json", &text);
    let run = desk.run(&["run", "line.json", "--json"]);
    assert_eq!(run.status, 0, "{}", run.err);
    let result: serde_json::Value = serde_json::from_str(&run.out).expect("the result is JSON");
    assert!(result.get("ignorance").is_none(), "no key of it");
    assert!(!desk.run(&["check", "line.json"]).out.contains("EVIDENCE"));
}

#[test]
fn files_that_cannot_be_read_are_told_with_all_else_that_is_wrong() {
    let desk = Desk::new();
    desk.put("good.csv", JAMS);
    let observed = |file: &str| format!(r#"{{"law": "observed", "file": "{file}", "column": "clearing"}}"#);
    let (first, second, good) = (observed("one.csv"), observed("two.csv"), observed("good.csv"));
    desk.put(
        "line.json",
        &format!(
            r#"{{"feedproof": 1, "stations": [
            {{"id": "A", "type": "work", "endless": true, "time": {good}, "to": "B"}},
            {{"id": "B", "type": "work", "time": {first}, "to": "nowhere"}},
            {{"id": "C", "type": "work", "endless": true, "time": {good}, "count": 0, "to": "D"}},
            {{"id": "D", "type": "work", "time": {second}, "to": "out"}}]}}"#
        ),
    );
    let done = desk.run(&["check", "line.json"]);
    assert_eq!(done.status, 2);
    for words in [
        "cannot read `one.csv`",
        "line.json:3:77, stations[\"B\"].time.file",
        "no station `nowhere`",
        "0 is less than 1",
        "cannot read `two.csv`",
        "stations[\"D\"].time.file",
        "4 errors in line.json",
    ] {
        assert!(done.err.contains(words), "`{words}` is missing: {}", done.err);
    }
}
