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
