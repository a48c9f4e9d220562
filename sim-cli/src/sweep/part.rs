//! Parts of a sweep, and what a sweep is.

use super::job::Job;
use crate::identity::Identity;
use serde_json::{Value, json};
use sim_core::sweep::Replications;
use sim_core::text::hash::fnv_1a;

/// One of several parts of a sweep that are run apart: every `of`th point.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord)]
pub(crate) struct Part {
    /// Which part, from 1.
    pub(crate) number: u64,
    /// Of how many.
    pub(crate) of: u64,
}

impl Part {
    /// All of the sweep.
    pub(crate) const WHOLE: Part = Part { number: 1, of: 1 };

    /// Reads `2/8`.
    pub(crate) fn read(text: &str) -> Result<Self, String> {
        let wrong = || "a part of several, such as 2/8".to_owned();
        let (number, of) = text.split_once('/').ok_or_else(wrong)?;
        let number: u64 = number.trim().parse().map_err(|_| wrong())?;
        let of: u64 = of.trim().parse().map_err(|_| wrong())?;
        if number == 0 || number > of || of > 1_000_000 {
            return Err(format!("there is no part {number} of {of}; parts are 1/{of} to {of}/{of}"));
        }
        Ok(Part { number, of })
    }

    /// Its points, of `n` in all, in order.
    pub(crate) fn points(self, n: u64) -> impl Iterator<Item = u64> {
        (self.number - 1..n).step_by(self.of as usize)
    }

    /// As it is typed.
    pub(crate) fn words(self) -> String {
        format!("{}/{}", self.number, self.of)
    }
}

impl Identity {
    /// Of a sweep that is about to be run.
    pub(crate) fn of_sweep(job: &Job, part: Part) -> Self {
        let (replications, precision, at_most) = match job.terms.replications {
            Replications::Fixed(n) => (Some(n), None, None),
            Replications::Precision { share, at_most } => (None, Some(share), Some(at_most)),
        };
        let hex = |hash: u64| format!("{hash:016x}");
        let factors = job.points.factors().iter().map(|factor| {
            let set: Vec<&str> = factor.addresses.iter().map(|address| address.value.text()).collect();
            json!({ "name": factor.name, "column": factor.column(), "set": set })
        });
        Identity::new(&json!({
            "title": job.sweep.title,
            "scenario": job.sweep.scenario.value,
            "sweep_hash": hex(fnv_1a(job.source.text.as_bytes())),
            "scenario_hash": hex(fnv_1a(job.base.text.as_bytes())),
            "list_hash": job.list_hash.map(hex),
            "seed": job.terms.seed,
            "replications": replications,
            "precision": precision,
            "at_most": at_most,
            "level": job.terms.level,
            "outputs": job.terms.outputs,
            "factors": factors.collect::<Vec<_>>(),
            "points": job.points.count(),
            "part": (part != Part::WHOLE).then(|| part.words()),
        }))
    }

    /// The part.
    pub(crate) fn part(&self) -> Part {
        self.text("part").and_then(|text| Part::read(text).ok()).unwrap_or(Part::WHOLE)
    }

    /// The same sweep as a whole.
    pub(crate) fn whole(&self) -> Self {
        self.with("part", Value::Null)
    }

    /// Points of the whole sweep.
    pub(crate) fn n_points(&self) -> u64 {
        self.get("points").and_then(Value::as_u64).unwrap_or(0)
    }

    /// Heads of the columns of the factors.
    pub(crate) fn columns(&self) -> Vec<String> {
        let factors = self.get("factors").and_then(Value::as_array);
        let column = |factor: &Value| factor.get("column").and_then(Value::as_str).unwrap_or("").to_owned();
        factors.map(|factors| factors.iter().map(column).collect()).unwrap_or_default()
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn parts_share_the_points_out() {
        for (n, of) in [(10, 3), (2, 5), (7, 1)] {
            let mut all: Vec<u64> = (1..=of).flat_map(|number| Part { number, of }.points(n)).collect();
            all.sort_unstable();
            assert!(all.into_iter().eq(0..n));
        }
        assert_eq!(Part::read("2/8").map(Part::words), Ok("2/8".to_owned()));
        for wrong in ["0/3", "4/3", "2", "a/b", "2/0", "-1/2"] {
            assert!(Part::read(wrong).is_err(), "{wrong}");
        }
    }
}
