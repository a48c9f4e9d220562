//! Some shifts of a line given as text, and what a test asks of them.
//!
//! It runs the line as its plan says: every number that a test takes from it is a mean or a sum over the shifts.
//! Invariant: a shift that ends early or loses a part is a failed test.

use sim_core::balance;
use sim_core::kernel::{State, StationId};
use sim_core::measure::{Counts, Tally};
use sim_core::network::{Plan, compile};
use sim_core::replication::{Replica, Stop};
use sim_core::scenario::{self, Scenario};

/// Some shifts of one line.
#[derive(Debug)]
pub struct Shifts {
    /// The compiled line.
    pub plan: Plan,
    /// What was counted, shift by shift.
    pub tallies: Vec<Tally>,
}

/// The scenario that a text states.
///
/// # Panics
/// If it has errors.
pub fn sound(text: &str) -> Scenario {
    let checked = scenario::read(text);
    checked.scenario.unwrap_or_else(|| panic!("{:#?}", checked.problems))
}

/// The text with one piece of it changed, which stands there once.
///
/// # Panics
/// If it stands there more often, or not at all.
pub fn changed(text: &str, from: &str, to: &str) -> String {
    assert_eq!(text.matches(from).count(), 1, "the line says {from}, once");
    text.replace(from, to)
}

impl Shifts {
    /// Runs as many shifts of a line with this seed.
    ///
    /// # Panics
    /// If the text has errors, or a shift ends in a knot or loses a part.
    pub fn run(text: &str, seed: u64, shifts: u64) -> Shifts {
        Self::run_plan(compile(&sound(text)), seed, shifts)
    }

    /// The same, but the window is from and to these hours.
    ///
    /// # Panics
    /// As [`Shifts::run`].
    pub fn run_between(text: &str, seed: u64, shifts: u64, hours: (f64, f64)) -> Shifts {
        let mut plan = compile(&sound(text));
        let ns = |hours: f64| (hours * 3.6e12) as u64;
        (plan.open_ns, plan.close_ns) = (ns(hours.0), ns(hours.1));
        Self::run_plan(plan, seed, shifts)
    }

    /// Runs a line of the gallery: an example, which has no warnings and a balance.
    ///
    /// # Panics
    /// As [`Shifts::run`], or if it has warnings, or no balance.
    pub fn example(text: &str, seed: u64, shifts: u64) -> Shifts {
        let problems = scenario::read(text).problems;
        assert!(problems.is_empty(), "an example has no warnings: {problems:#?}");
        assert!(balance::solve(&sound(text)).is_ok(), "it has a balance");
        Self::run(text, seed, shifts)
    }

    fn run_plan(plan: Plan, seed: u64, shifts: u64) -> Shifts {
        let shift = |replication| {
            let mut replica = Replica::new(&plan, seed, replication, Tally::new(&plan.tally));
            if plan.open_ns > 0 {
                assert_eq!(replica.run_until(plan.open_ns), Stop::TimeReached);
                replica.floor.observer.open(plan.open_ns);
            }
            let stop = replica.run_until(plan.close_ns);
            assert_eq!(stop, Stop::TimeReached, "seed {seed}, shift {replication}");
            assert!(replica.conserves_parts(), "seed {seed}, shift {replication}");
            replica.floor.observer.close(plan.close_ns);
            replica.floor.observer.clone()
        };
        let tallies = (0..shifts).map(shift).collect();
        Shifts { plan, tallies }
    }

    /// Mean over the shifts.
    pub fn mean(&self, of: impl Fn(&Tally) -> f64) -> f64 {
        self.tallies.iter().map(of).sum::<f64>() / self.tallies.len() as f64
    }

    /// Good parts a minute at the points of use.
    pub fn rate(&self) -> f64 {
        let good = |tally: &Tally| tally.points.iter().map(|point| point.good as f64).sum::<f64>();
        self.mean(|tally| good(tally) * 6e10 / tally.window as f64)
    }

    /// Good and bad parts completed at the points of use, all shifts together.
    pub fn completed(&self) -> (u64, u64) {
        let points = || self.tallies.iter().flat_map(|tally| &tally.points);
        (points().map(|point| point.good).sum(), points().map(|point| point.bad).sum())
    }

    /// Number of a station.
    ///
    /// # Panics
    /// If there is none of this name.
    pub fn ix(&self, name: &str) -> usize {
        let ix = self.plan.names.posts.iter().position(|known| known == name);
        StationId(ix.unwrap_or_else(|| panic!("there is a station {name}")) as u16).ix()
    }

    /// Share of time in a state, %.
    pub fn share(&self, name: &str, state: State) -> f64 {
        let ix = self.ix(name);
        self.mean(|tally| 100.0 * tally.time[ix][state as usize] as f64 / tally.window as f64)
    }

    /// Parts taken by one station for each taken by another.
    pub fn taken_ratio(&self, one: &str, other: &str) -> f64 {
        self.counted(one, |counts| counts.took) as f64 / self.counted(other, |counts| counts.took) as f64
    }

    /// Sum over the shifts of something counted at a station.
    pub fn counted(&self, name: &str, of: impl Fn(&Counts) -> u64) -> u64 {
        let ix = self.ix(name);
        self.tallies.iter().map(|tally| of(&tally.counts[ix])).sum()
    }
}
