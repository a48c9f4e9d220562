//! Outer draws: the text of the file with values from the posteriors in place of the evidence.
//!
//! Inputs that rest on one test (by its name) are one piece of evidence and are drawn together; each piece has a stream
//! of its own, by seed, draw and name, so that a piece is drawn alike whatever else is in the file. The text is read
//! and checked like any other. Invariant: only the bytes of the evidence differ.

use super::posterior::{Drawn, draw, estimated, written};
use crate::diag::{Severity, Span};
use crate::kernel::Stream;
use crate::scenario::{self, Scenario};
use crate::study::RunError;
use crate::study::result::{EstimateReport, KnownReport};
use crate::text::evidence::Seen;

/// A piece of evidence, and where it stands.
#[derive(Debug, Clone, PartialEq)]
pub struct Known {
    /// Name of the test, or the path of the input.
    pub name: String,
    /// Paths of the inputs that rest on it, in the order of the file.
    pub paths: Vec<String>,
    /// What sort of input it is: `chance`, `shares` or `random amount`.
    pub what: &'static str,
    /// What was seen.
    pub seen: Seen,
    spans: Vec<Span>,
}

/// The evidence of a scenario, in the order of the file. Left out is what leaves nothing unknown: see [`Seen::is_constant`].
pub fn known(scenario: &Scenario) -> Vec<Known> {
    let mut all = every(scenario);
    all.retain(|known| !known.seen.is_constant());
    all
}

fn every(scenario: &Scenario) -> Vec<Known> {
    let mut all: Vec<(Option<&str>, Known)> = Vec::new();
    for input in &scenario.inputs {
        let Some(evidence) = &input.evidence else { continue };
        if matches!(&evidence.seen, Seen::Shares { rows, .. } if rows.len() < 2) {
            continue;
        }
        let (span, path) = (input.place.span, &input.place.path);
        if all.iter().any(|(_, known)| known.spans.contains(&span)) {
            continue;
        }
        let test = evidence.test.as_deref();
        if let Some((_, same)) = all.iter_mut().find(|(name, _)| test.is_some() && *name == test) {
            same.spans.push(span);
            same.paths.push(path.clone());
            continue;
        }
        let known = Known {
            name: test.unwrap_or(path).to_owned(),
            paths: vec![path.clone()],
            what: input.what,
            seen: evidence.seen.clone(),
            spans: vec![span],
        };
        all.push((test, known));
    }
    let mut all: Vec<Known> = all.into_iter().map(|(_, known)| known).collect();
    all.sort_by_key(|known| known.spans[0].start);
    all
}

impl Known {
    /// Trials, events or values behind it.
    pub fn trials(&self) -> u64 {
        crate::text::evidence::Evidence { test: None, seen: self.seen.clone() }.trials()
    }

    /// The stream from which the values of an outer draw come.
    fn stream(&self, seed: u64, number: u64) -> Stream {
        Stream::new(seed, number, &self.name, "evidence")
    }
}

/// The evidence of a scenario with its estimates, for people; with it values that are all the same, of which nothing is drawn.
pub fn estimates(scenario: &Scenario, level: f64) -> Vec<KnownReport> {
    reports(&every(scenario), level)
}

/// These pieces of evidence with their estimates.
pub(super) fn reports(known: &[Known], level: f64) -> Vec<KnownReport> {
    known.iter().map(|known| report(known, level)).collect()
}

fn report(known: &Known, level: f64) -> KnownReport {
    let (unit, trials, in_hours) = match &known.seen {
        Seen::Chance { of, .. } => ("", *of, None),
        Seen::Shares { rows, .. } => ("", rows.iter().map(|(_, count)| count).sum(), None),
        Seen::Events { seen, time_s, .. } => ("/h", *seen, Some(time_s / 3600.0)),
        Seen::Values { values, unit, .. } => (*unit, values.len() as u64, None),
    };
    let seen = match &known.seen {
        Seen::Chance { seen, .. } | Seen::Events { seen, .. } => Some(*seen),
        Seen::Shares { .. } | Seen::Values { .. } => None,
    };
    let estimates = estimated(&known.seen, level).into_iter().map(|one| EstimateReport {
        name: one.name,
        estimate: one.estimate,
        low: one.low,
        high: one.high,
    });
    KnownReport {
        name: known.name.clone(),
        paths: known.paths.clone(),
        what: known.what.to_owned(),
        seen,
        trials,
        in_hours,
        prior: prior(&known.seen),
        unit: unit.to_owned(),
        estimates: estimates.collect(),
        level,
    }
}

/// The prior in words.
fn prior(seen: &Seen) -> String {
    match seen {
        Seen::Chance { prior: (a, b), .. } => format!("beta {a} {b}"),
        Seen::Shares { prior, .. } => format!("Dirichlet {prior} for each name"),
        Seen::Events { prior: (a, b), .. } => format!("gamma {a}, {} h", b / 3600.0),
        Seen::Values { .. } => "none but the values (Bayesian bootstrap)".to_owned(),
    }
}

/// An outer draw.
#[derive(Debug)]
pub struct Outer {
    /// What was drawn for each piece of evidence.
    pub drawn: Vec<Drawn>,
    /// The text of the file that says so.
    pub text: String,
    /// The file that says so.
    pub scenario: Scenario,
    /// Impossible draws before it.
    pub redrawn: u64,
}

/// Most draws for one that is possible.
const MOST_TRIES: u64 = 200;

/// Outer draw `number` of the scenario text `source`, whose evidence is `all`. An impossible draw, such as chances of bad
/// parts that add up to more than one, is drawn again: the posterior is cut to what is possible.
///
/// # Errors
/// If 200 draws in a row were impossible.
pub fn outer(source: &str, all: &[Known], seed: u64, number: u64) -> Result<Outer, RunError> {
    let mut streams: Vec<Stream> = all.iter().map(|known| known.stream(seed, number)).collect();
    let mut why = String::new();
    for redrawn in 0..MOST_TRIES {
        let drawn: Vec<Drawn> =
            all.iter().zip(&mut streams).map(|(known, stream)| draw(&known.seen, stream)).collect();
        let text = text(source, all, &drawn);
        let checked = scenario::read(&text);
        match checked.scenario {
            Some(scenario) => return Ok(Outer { drawn, text, scenario, redrawn }),
            None => {
                let error = checked.problems.iter().find(|problem| problem.severity == Severity::Error);
                why = error.map(|problem| problem.message.clone()).unwrap_or_default();
            }
        }
    }
    Err(RunError::ImpossibleDraws { tries: MOST_TRIES, why })
}

/// The text with the drawn values in place of the evidence.
pub fn text(source: &str, all: &[Known], drawn: &[Drawn]) -> String {
    let mut edits: Vec<(Span, String)> = Vec::new();
    for (known, drawn) in all.iter().zip(drawn) {
        let new = written(&known.seen, drawn).to_string();
        edits.extend(known.spans.iter().map(|span| (*span, new.clone())));
    }
    edits.sort_by_key(|(span, _)| span.start);
    let (mut new, mut at) = (String::with_capacity(source.len()), 0);
    for (span, value) in edits {
        // Evidence inside of evidence (a chance in a law that was read as a whole) is not made anew.
        if span.start >= at {
            new.push_str(&source[at..span.start]);
            new.push_str(&value);
            at = span.end;
        }
    }
    new.push_str(&source[at..]);
    new
}

#[cfg(test)]
mod tests {
    use super::*;

    const LINE: &str = r#"{"feedproof": 1,
        "parts": {"pin": {"attitudes": {"up": 30, "down": 20}, "conditions": {"bent": "3 of 500"}}},
        "stations": [
            {"id": "A", "type": "work", "endless": true, "time": ["1 s", "2 s", "1 s"],
             "jams": [{"per_part": {"seen": 2, "of": 900, "test": "trial"}, "time": "5 s"},
                      {"every": {"seen": 3, "in": "40 h"}, "time": "9 s"}]},
            {"id": "B", "type": "work", "time": "1 s",
             "jams": [{"per_part": {"seen": 2, "of": 900, "test": "trial"}, "time": "5 s"}]}]}"#;

    fn line() -> Scenario {
        let checked = scenario::read(LINE);
        checked.scenario.unwrap_or_else(|| panic!("{:?}", checked.problems))
    }

    #[test]
    fn a_test_is_one_piece_and_is_drawn_once() {
        let all = known(&line());
        let names: Vec<&str> = all.iter().map(|known| known.name.as_str()).collect();
        assert_eq!(
            names,
            [
                "parts.pin.attitudes",
                "parts.pin.conditions.bent",
                "stations[\"A\"].time",
                "trial",
                "stations[\"A\"].jams[1].every"
            ]
        );
        assert_eq!(all[3].paths.len(), 2);
        let drawn = outer(LINE, &all, 1, 0).unwrap();
        let chances: Vec<String> = drawn
            .scenario
            .settings
            .iter()
            .filter(|setting| setting.place.path.ends_with("per_part"))
            .map(|setting| {
                let new = text(LINE, &all, &drawn.drawn);
                new[setting.place.span.start..setting.place.span.end].to_owned()
            })
            .collect();
        assert_eq!(chances.len(), 2);
        assert_eq!(chances[0], chances[1]);
    }

    #[test]
    fn a_draw_has_no_evidence_left_and_depends_on_its_number() {
        let all = known(&line());
        let [first, again, other] = [0, 0, 1].map(|number| outer(LINE, &all, 7, number).unwrap());
        assert_eq!(first.drawn, again.drawn);
        assert_ne!(first.drawn, other.drawn);
        assert!(known(&first.scenario).is_empty());
        assert_eq!(first.redrawn, 0);
    }

    #[test]
    fn values_that_are_all_the_same_are_measured_but_not_drawn() {
        for values in [r#"["6 s"]"#, r#"["6 s", "6 s", "6 s"]"#] {
            let line = format!(
                r#"{{"feedproof": 1, "parts": {{"pin": {{}}}}, "stations": [
                {{"id": "A", "type": "work", "endless": true, "time": {values}}}]}}"#
            );
            let scenario = scenario::read(&line).scenario.unwrap();
            let found = estimates(&scenario, 0.95);
            assert_eq!(found.len(), 1, "{values}");
            assert_eq!(found[0].trials as usize, values.matches("6 s").count());
            let estimate = &found[0].estimates[0];
            assert!([estimate.low, estimate.estimate, estimate.high].iter().all(|x| (x - 6.0).abs() < 1e-9));
            assert!(known(&scenario).is_empty());
            assert!(scenario.is_certain());
        }
    }

    #[test]
    fn tests_of_one_name_must_agree() {
        let checked = scenario::read(&LINE.replacen("\"seen\": 2", "\"seen\": 4", 1));
        assert!(checked.scenario.is_none());
        let error = checked.problems.iter().find(|problem| problem.severity == crate::diag::Severity::Error);
        assert!(error.is_some_and(|error| error.message.contains("trial")), "{:?}", checked.problems);
    }

    #[test]
    fn impossible_draws_are_drawn_again_and_counted() {
        let line = r#"{"feedproof": 1,
            "parts": {"pin": {"conditions": {"bent": "5 of 10", "short": "4 of 10"}}},
            "stations": [{"id": "A", "type": "work", "endless": true, "time": "1 s"}]}"#;
        let all = known(&scenario::read(line).scenario.unwrap());
        let redrawn: u64 = (0..50).map(|n| outer(line, &all, 1, n).unwrap().redrawn).sum();
        // Sum of two betas around 0.5 and 0.4 with spreads of about 0.15 each: above 1 in about a third of the cases.
        assert!((5..200).contains(&redrawn), "{redrawn}");
    }
}
