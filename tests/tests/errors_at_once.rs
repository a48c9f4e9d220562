//! All errors of a file are told at once, and none that is not there: slips of the fingers put into every sound line that comes
//! with the program, one and two at a time.

use feedproof_tests::luck::Luck;
use feedproof_tests::slips::{Step, slips};
use sim_core::balance;
use sim_core::diag::Severity;
use std::collections::BTreeSet;

/// What is wrong, as (path, message).
type Errors = BTreeSet<(String, String)>;

fn errors(text: &str) -> Errors {
    let all = balance::read(text).problems.into_iter();
    let errors = all.filter(|problem| problem.severity == Severity::Error);
    errors.map(|error| (error.path, error.message)).collect()
}

fn lines() -> Vec<(String, String)> {
    let folder = concat!(env!("CARGO_MANIFEST_DIR"), "/../scenarios");
    let mut lines = Vec::new();
    for entry in std::fs::read_dir(folder).expect("the scenarios are there").flatten() {
        let path = entry.path();
        if path.extension().is_some_and(|end| end == "json") {
            let text = std::fs::read_to_string(&path).expect("a scenario is readable");
            lines.push((path.file_name().unwrap().to_string_lossy().into_owned(), text));
        }
    }
    lines.sort();
    for (name, text) in &lines {
        let found = errors(text);
        assert!(found.is_empty(), "{name}: {found:?}");
    }
    assert!(lines.len() > 15, "{lines:?}");
    lines
}

#[test]
fn one_slip_is_one_error() {
    let mut wrong = Vec::new();
    let mut n = 0;
    for (name, text) in lines() {
        for slip in slips(&text) {
            n += 1;
            let found = errors(&slip.text(&text));
            if found.len() != 1 {
                wrong.push(format!("{name}: {slip:?}: {found:?}"));
            }
        }
    }
    assert!(n > 1000, "{n} slips");
    assert!(wrong.is_empty(), "{} of {n}:\n{}", wrong.len(), wrong.join("\n"));
}

#[test]
fn two_slips_are_two_errors() {
    let mut wrong = Vec::new();
    for (seed, (name, text)) in lines().into_iter().enumerate() {
        let all = slips(&text);
        let mut luck = Luck::new(seed as u64);
        for _ in 0..200 {
            let (a, b) = (&all[luck.below(all.len())], &all[luck.below(all.len())]);
            if a.hides(b) || b.hides(a) {
                continue;
            }
            let (of_a, of_b) = (errors(&a.text(&text)), errors(&b.text(&text)));
            let of_both = errors(&b.text(&a.text(&text)));
            let expected: Errors = of_a.union(&of_b).cloned().collect();
            if of_both != expected {
                wrong.push(format!("{name}: {a:?} and {b:?}: {of_both:?} instead of {expected:?}"));
            }
        }
    }
    assert!(wrong.is_empty(), "{}:\n{}", wrong.len(), wrong[..wrong.len().min(20)].join("\n"));
}

/// Wrong in three ways that no single value shows: a loop without an exit, a station that nothing feeds, a class of parts that
/// can never leave its loop; beside a sound part of the line.
const BROKEN: &str = r#"{
  "feedproof": 1,
  "parts": {"pin": {"attitudes": {"up": 3, "down": 2}}},
  "stations": [
    {"id": "source", "type": "work", "endless": true, "time": {"law": "exponential", "mean": "1 s"}, "to": "round"},
    {"id": "round", "type": "work", "time": "1 s", "to": "and round"},
    {"id": "and round", "type": "work", "time": "1 s", "to": "round"},
    {"id": "lonely", "type": "work", "time": "1 s", "to": "out"},
    {"id": "other source", "type": "work", "endless": true, "time": "1 s", "to": "path"},
    {"id": "path", "type": "orienting path", "pass": "1 s", "tools": [{"id": "wiper", "passes": {"up": 1}}],
     "rejects_to": "return", "comes_back": {"keeps": 1}, "to": "out"},
    {"id": "return", "type": "recirculation belt", "travel": "3 s", "capacity": 50, "to": "path"},
    {"id": "third source", "type": "stream", "spacing": "2 s", "to": "lane"},
    {"id": "lane", "type": "track", "capacity": 9, "travel": "1 s", "to": "press"},
    {"id": "press", "type": "machine", "cycle": {"low": "1 s", "likely": "2 s", "high": "3 s"}, "to": "out",
     "jams": [{"per_part": 0.01, "by": "fitter", "time": "30 s"}]}
  ],
  "attendants": [{"id": "fitter", "number": 1, "walk": "10 s"}],
  "sensors": [{"id": "eye", "watches": "lane", "high": 8, "low": 4, "holds": ["third source"]}],
  "promise": {"at": "press", "clauses": {"mean_rate": "20 /min"}}
}"#;

#[test]
fn what_no_single_value_shows_is_told_with_the_rest() {
    let of_line = errors(BROKEN);
    assert_eq!(of_line.len(), 3, "{of_line:#?}");
    let is_elsewhere = |path: &[Step]| match path {
        [Step::Key(key), Step::Entry(n), ..] if key == "stations" => *n > 6,
        // The paths of all errors begin with the key that was misspelt.
        [Step::Key(key)] => key != "stations" && key != "parts",
        [Step::Key(key), ..] => key != "parts",
        [Step::Entry(_), ..] | [] => false,
    };
    let mut n = 0;
    for slip in slips(BROKEN).iter().filter(|slip| is_elsewhere(&slip.path)) {
        n += 1;
        let found = errors(&slip.text(BROKEN));
        let missing: Vec<_> = of_line.difference(&found).collect();
        // Whoever may lead anywhere may feed anybody.
        let feeds_anybody =
            slip.leads_anywhere() && missing.iter().all(|(_, what)| what.contains("nothing feeds"));
        assert!(missing.is_empty() || feeds_anybody, "{slip:?} hides {missing:?}");
        assert_eq!(found.len() + missing.len(), 4, "{slip:?}: {found:#?}");
    }
    assert!(n > 80, "{n}");
}

/// All errors of a file, each by a piece of its message or of its help.
fn tells(text: &str, expected: &[&str]) {
    let all = balance::read(text).problems.into_iter();
    let found: Vec<String> = all
        .filter(|problem| problem.severity == Severity::Error)
        .map(|error| format!("{}: {} {}", error.path, error.message, error.help.unwrap_or_default()))
        .collect();
    for piece in expected {
        assert!(found.iter().any(|error| error.contains(piece)), "{piece} is missing: {found:#?}");
    }
    assert_eq!(found.len(), expected.len(), "{found:#?}");
}

#[test]
fn a_station_of_no_known_type_is_told_as_far_as_any_station_would_be() {
    let text = r#"{"feedproof": 1, "stations": [
        {"id": "F", "type": "work", "endless": true, "time": "1 s", "to": "X"},
        {"id": "X", "type": "zzzzz", "to": "nowhere", "count": 0, "cleats": "60 /min", "rejects_to": "no reject",
         "exits": ["M", "no exit"], "priority": ["nobody"], "spraed": "in turn", "wibble": 3,
         "jams": [{"per_part": 0.001, "by": "ghost", "time": "abc"}]},
        {"id": "M", "type": "machine", "cycle": "1 s", "to": "out"}]}"#;
    let expected = [
        "`zzzzz` is not known",
        "no station `nowhere`",
        "0 is less than 1",
        "no station `no reject`",
        "no station `no exit`",
        "no station `nobody`",
        "the key `spraed` is not known here did you mean `spread`?",
        "the key `wibble` is not known here",
        "no pool of attendants `ghost`",
        "`abc` does not begin with a number",
    ];
    tells(text, &expected);
}

#[test]
fn what_cannot_be_read_of_a_text_hides_no_names() {
    let text = r#"{"feedproof": 1, "title": "\ud800", "stations": [
        {"id": "F", "type": "work", "endless": true, "time": "1 s", "time": "2 s", "to": "nowhere"},
        {"id": "A", "type": "track", "capacity": 1e999, "travel": "1 s", "to": "M"},
        {"id": "M", "type": "machine", "cycle": "1 s", "to": "\ud800"},
        {"id": "N", "type": "machine", "cycle": "1 s", "to": "out", "jams": [{"per_part": 0.001, "by": "ghost", "time": "9 s"}]}],
        "promise": {"at": "Q", "clauses": {"mean_rate": "20 /min"}}, "promise": {"at": "R"}}"#;
    let expected = [
        "title: this text cannot be read",
        "time: the key `time` stands here a second time",
        "no station `nowhere`",
        "the number 1e999 is out of range",
        "to: this text cannot be read",
        "no pool of attendants `ghost`",
        "no station `Q`",
        "the key `promise` stands here a second time",
    ];
    tells(text, &expected);
    // One that is named where something stands a second time may be what is meant there.
    let second = r#"{"feedproof": 1, "stations": [
        {"id": "F", "type": "work", "endless": true, "time": "1 s", "to": "G"},
        {"id": "M", "id": "G", "type": "machine", "cycle": "1 s", "to": "out"}]}"#;
    tells(second, &["the key `id` stands here a second time"]);
}

#[test]
fn a_misspelt_key_with_a_value_of_another_sort_is_told_with_what_it_takes() {
    let text = r#"{"feedproof": 1, "stations": [
        {"id": "F", "type": "work", "endless": true, "tiime": 3, "to": "M"},
        {"id": "M", "type": "machine", "cyccle": "1 ft", "count": 1, "to": "out"}]}"#;
    tells(
        text,
        &[
            "did you mean `time`? It takes a time, such as \"0.8 s\", or a law",
            "did you mean `cycle`? It takes a time, such as \"0.8 s\", or a law",
        ],
    );
}
