//! Drop tests and orienting trials: counts, chances with joint intervals, and the text for a scenario.
//!
//! Counts go into a scenario as counts, so that what they leave open stays part of the proof. Intervals hold together: exact
//! limits of Clopper & Pearson (1934), each at a level that Bonferroni's inequality asks for; safe for any counts, zero included.
//! Invariant: names keep the order in which they were first seen.

use super::result::{CountFit, CountsFit};
use crate::statistics::proportion::clopper_pearson;
use crate::statistics::{CannotSay, inside_unit};
use serde_json::{Map, Value, json};

/// With fewer trials than this of one kind a chance is hardly known: common practice, no source.
const FEWEST: u64 = 30;

/// Counts by name.
#[derive(Debug, Clone, Default, PartialEq, Eq)]
pub struct Tally {
    /// Names with their counts, in the order in which they were first seen.
    pub counts: Vec<(String, u64)>,
}

impl Tally {
    /// Adds to the count of a name.
    pub fn add(&mut self, name: &str, count: u64) {
        match self.counts.iter_mut().find(|(known, _)| known == name) {
            Some((_, total)) => *total += count,
            None => self.counts.push((name.to_owned(), count)),
        }
    }

    /// The count of a name.
    pub fn of(&self, name: &str) -> u64 {
        self.counts.iter().find(|(known, _)| known == name).map_or(0, |(_, count)| *count)
    }

    /// All counts together.
    pub fn total(&self) -> u64 {
        self.counts.iter().map(|(_, count)| count).sum()
    }
}

/// Trials of a tool: what came out, by what went in. `None` came out if the part was rejected.
#[derive(Debug, Clone, Default, PartialEq, Eq)]
pub struct Trials {
    rows: Vec<(String, u64, Tally)>,
}

impl Trials {
    /// Adds trials of parts that went in as `from`.
    pub fn add(&mut self, from: &str, into: Option<&str>, count: u64) {
        let ix = self.rows.iter().position(|(known, ..)| known == from).unwrap_or_else(|| {
            self.rows.push((from.to_owned(), 0, Tally::default()));
            self.rows.len() - 1
        });
        let (_, rejected, tally) = &mut self.rows[ix];
        match into {
            Some(into) => tally.add(into, count),
            None => *rejected += count,
        }
    }

    /// Number of different words before, and after any one of them, whichever is larger.
    pub fn n_names(&self) -> usize {
        let after = self.rows.iter().map(|(_, _, tally)| tally.counts.len()).max().unwrap_or(0);
        after.max(self.rows.len())
    }

    /// All trials.
    pub fn total(&self) -> u64 {
        self.rows.iter().map(|(_, rejected, tally)| rejected + tally.total()).sum()
    }
}

fn row(from: Option<&str>, into: Option<&str>, seen: u64, of: u64, each: f64) -> Result<CountFit, CannotSay> {
    let limits = clopper_pearson(seen, of, each)?;
    Ok(CountFit {
        from: from.map(str::to_owned),
        into: into.map(str::to_owned),
        seen,
        of,
        share: limits.share,
        low: limits.low,
        high: limits.high,
    })
}

/// Chances of attitudes from a drop test.
///
/// # Errors
/// No drops, or a level outside (0, 1).
pub fn drops(tally: &Tally, level: f64) -> Result<CountsFit, CannotSay> {
    inside_unit("level", level)?;
    let n = tally.total();
    let each = 1.0 - (1.0 - level) / tally.counts.len().max(1) as f64;
    let rows: Result<Vec<CountFit>, CannotSay> =
        tally.counts.iter().map(|(name, seen)| row(None, Some(name), *seen, n, each)).collect();
    let counts: Map<String, Value> =
        tally.counts.iter().map(|(name, count)| (name.clone(), json!(count))).collect();
    let mut warnings = Vec::new();
    if n < FEWEST {
        warnings.push(format!("Too few: {n} drops say little; 50 to 500 are usual (common practice)."));
    }
    warnings.push(format!(
        "An attitude that was never seen may still come in up to {:.2} % of drops.",
        100.0 * clopper_pearson(0, n, each)?.high
    ));
    if tally.counts.len() == 1 {
        warnings.push("Only one attitude was seen: were the parts dropped, or placed?".to_owned());
    }
    Ok(CountsFit { n, level, rows: rows?, paste: json!({ "attitudes": counts }), warnings })
}

/// The table of a tool from orienting trials.
///
/// # Errors
/// No trials, or a level outside (0, 1).
pub fn tool(trials: &Trials, id: &str, level: f64) -> Result<CountsFit, CannotSay> {
    inside_unit("level", level)?;
    let cells: usize = trials.rows.iter().map(|(_, _, tally)| tally.counts.len() + 1).sum();
    let each = 1.0 - (1.0 - level) / cells.max(1) as f64;
    let (mut rows, mut warnings) = (Vec::new(), Vec::new());
    let (mut passes, mut turns) = (Map::new(), Map::new());
    for (from, rejected, tally) in &trials.rows {
        let of = rejected + tally.total();
        let words = |seen: u64| json!(format!("{seen} of {of}"));
        passes.insert(from.clone(), words(tally.of(from)));
        let mut turned = Map::new();
        for (into, seen) in &tally.counts {
            rows.push(row(Some(from), Some(into), *seen, of, each)?);
            if into != from {
                turned.insert(into.clone(), words(*seen));
            }
        }
        if !turned.is_empty() {
            turns.insert(from.clone(), Value::Object(turned));
        }
        rows.push(row(Some(from), None, *rejected, of, each)?);
        if of < FEWEST {
            warnings.push(format!("Too few: {of} trials of `{from}` say little."));
        }
    }
    let tried = |name: &str| trials.rows.iter().any(|(from, ..)| from == name);
    let outs = trials.rows.iter().flat_map(|(_, _, tally)| &tally.counts);
    let mut untried: Vec<&str> = outs.map(|(name, _)| name.as_str()).filter(|name| !tried(name)).collect();
    untried.sort_unstable();
    untried.dedup();
    if !untried.is_empty() {
        warnings.push(format!(
            "Never put in: {}. A tool rejects attitudes that it does not list.",
            untried.join(", ")
        ));
    }
    let mut paste = Map::new();
    paste.insert("id".to_owned(), json!(id));
    paste.insert("passes".to_owned(), Value::Object(passes));
    if !turns.is_empty() {
        paste.insert("turns".to_owned(), Value::Object(turns));
    }
    paste.insert("note".to_owned(), json!(format!("from {} orienting trials", trials.total())));
    Ok(CountsFit { n: trials.total(), level, rows, paste: Value::Object(paste), warnings })
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn intervals_of_a_drop_test_hold_together() {
        let mut tally = Tally::default();
        for (name, count) in [("flat", 100), ("on edge", 50), ("flat", 112), ("up", 0), ("up", 38)] {
            tally.add(name, count);
        }
        let found = drops(&tally, 0.95).unwrap();
        assert_eq!((found.n, found.rows.len(), found.rows[0].seen), (300, 3, 212));
        // Three intervals at 98.33 % each.
        let alone = clopper_pearson(212, 300, 1.0 - 0.05 / 3.0).unwrap();
        assert_eq!((found.rows[0].low, found.rows[0].high), (alone.low, alone.high));
        assert_eq!(found.paste, json!({"attitudes": {"flat": 212, "on edge": 50, "up": 38}}));
        assert!(drops(&Tally::default(), 0.95).is_err());
    }

    #[test]
    fn trials_become_a_tool() {
        let mut trials = Trials::default();
        trials.add("side", Some("side"), 10);
        trials.add("side", Some("down"), 25);
        trials.add("side", None, 15);
        trials.add("down", Some("down"), 49);
        trials.add("down", None, 1);
        let found = tool(&trials, "wiper", 0.95).unwrap();
        assert_eq!(found.n, 100);
        assert_eq!(found.rows.len(), 5);
        assert_eq!(
            found.paste,
            json!({"id": "wiper", "passes": {"side": "10 of 50", "down": "49 of 50"},
                   "turns": {"side": {"down": "25 of 50"}}, "note": "from 100 orienting trials"})
        );
        assert_eq!(found.warnings, Vec::<String>::new());
    }
}
