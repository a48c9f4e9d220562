//! The empirical law of times, some of which were cut off (Kaplan & Meier 1958).
//!
//! At each time that ended the chance to last longer falls by the share of those still watched. Invariant: the steps rise in
//! time, and their weights and what is left after the last one add up to one.

use super::{Sample, sample::Grain};

/// A step of the empirical law.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Step {
    /// When.
    pub time: f64,
    /// Chance to last up to here.
    pub before: f64,
    /// Chance to last longer.
    pub after: f64,
}

impl Step {
    /// What ends here.
    pub fn weight(&self) -> f64 {
        self.before - self.after
    }
}

/// The steps at times that ended.
pub fn steps(sample: &Sample) -> Vec<Step> {
    fall(sample, |grain| grain.ended)
}

/// The steps at which times were cut off: the empirical law of how long one would have watched. At equal times those that ended
/// are no longer watched.
pub fn watch_steps(sample: &Sample) -> Vec<Step> {
    fall(sample, |grain| !grain.ended)
}

fn fall(sample: &Sample, counts: impl Fn(&Grain) -> bool) -> Vec<Step> {
    let mut watched = sample.n;
    let mut chance = 1.0;
    let mut steps = Vec::new();
    for grain in &sample.grains {
        if counts(grain) {
            // All that are left end here: exactly nothing lasts longer.
            let after = chance * (watched - grain.count) as f64 / watched as f64;
            steps.push(Step { time: grain.time, before: chance, after });
            chance = after;
        }
        watched -= grain.count;
    }
    steps
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn steps_by_hand() {
        // Six times: 1, 2, 2+, 3, 5+, 6 (+: cut off).
        let grain = |time, ended| Grain { time, count: 1, ended };
        let sample = Sample::of(vec![
            grain(3.0, true),
            grain(1.0, true),
            grain(2.0, false),
            grain(2.0, true),
            grain(5.0, false),
            grain(6.0, true),
        ]);
        let found: Vec<(f64, f64)> = steps(&sample).iter().map(|step| (step.time, step.after)).collect();
        let expected = [(1.0, 5.0 / 6.0), (2.0, 4.0 / 6.0), (3.0, 4.0 / 6.0 * 2.0 / 3.0), (6.0, 0.0)];
        for (found, expected) in found.iter().zip(expected) {
            assert!(found.0 == expected.0 && (found.1 - expected.1).abs() < 1e-15);
        }
        assert_eq!(found.len(), 4);
        let watched: Vec<f64> = watch_steps(&sample).iter().map(|step| step.after).collect();
        assert_eq!(watched, [0.75, 0.375]);
    }
}
