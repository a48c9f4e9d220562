//! The mean rate from fewer shifts: mirrored shifts, and luck as controls.
//!
//! For the mean alone, never for the verdict: a promise counts shifts as they are. A *mirrored* shift draws 1 - u wherever
//! its partner draws u, all by inversion; the mean of a pair is unbiased whatever the line, and spreads less where luck
//! acts the same way throughout. *Controls* are what the draws of a shift were off their means, weighed by what the balance
//! says that they cost (`controls.rs`): 0 on the mean, so that bad luck explains part of what a rate lacks (Lavenberg &
//! Welch 1981). Where they explain nearly all of it, what is left is what was under way at the end, which is skewed, and where
//! stops are rare hardly any shift sees one: then its variance is worked out and is the least that is taken for what is left. Invariant: the result depends on scenario, seed and options alone.

use super::controls::{Column, chosen};
use super::crew::Crew;
use super::result::Figure;
use super::run::RunError;
use super::variant::{Task, Variant, run_tasks};
use crate::kernel::MIRRORED;
use crate::statistics::{CannotSay, ControlledMean, MirroredMean};
use schemars::JsonSchema;
use serde::Serialize;

/// What to use.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, JsonSchema)]
pub struct Reduction {
    /// Each shift is followed by its mirrored one.
    pub mirrored: bool,
    /// What the draws were off their means are controls.
    pub controls: bool,
}

/// A mean rate from fewer shifts.
#[derive(Debug, Clone, PartialEq, Serialize, JsonSchema)]
pub struct ReducedReport {
    /// What was used.
    pub reduction: Reduction,
    /// Shifts in all, mirrored ones included.
    pub shifts: u64,
    /// Good parts per minute. Its count is that of pairs, if shifts were mirrored.
    pub rate: Figure,
    /// Names of the controls that were used.
    pub controls: Vec<String>,
    /// Factor by which the variance grows because coefficients are estimated; it is contained in the interval.
    pub loss: f64,
    /// Squared standard error over that of as many plain shifts: below 1 is saved. None if the rate does not vary.
    pub variance_ratio: Option<f64>,
}

/// Estimates the mean rate from so many shifts (mirrored ones included). None if it was cancelled.
///
/// The warm-up of the variant must have been settled.
///
/// # Errors
/// Too few shifts for the controls, and what makes a shift worthless; see [`RunError`].
pub fn mean_rate<C: Crew>(
    variant: Variant,
    reduction: Reduction,
    shifts: u64,
    seed: u64,
    level: f64,
    crew: &C,
    cancelled: &(dyn Fn() -> bool + Sync),
) -> Result<Option<ReducedReport>, RunError> {
    let variant = if reduction.controls { variant.with_controls() } else { variant };
    let names = variant.control_names();
    let halves: u64 = if reduction.mirrored { 2 } else { 1 };
    let tasks: Vec<Task> = (0..shifts / halves)
        .flat_map(|number| (0..halves).map(move |half| number + half * MIRRORED))
        .map(|number| Task { variant: 0, number })
        .collect();
    let rate = variant.rate_index();
    let mut seen = vec![Seen { rates: Vec::new(), controls: vec![Vec::new(); names.len()] }; halves as usize];
    let mut fault = None;
    let variants = std::slice::from_ref(&variant);
    let done = run_tasks(variants, &tasks, seed, crew, cancelled, &mut |task, heard| match heard {
        Ok(values) => {
            let half = &mut seen[usize::from(task.number & MIRRORED != 0)];
            half.rates.push(values[rate]);
            for (column, value) in half.controls.iter_mut().zip(variant.controls_of(values)) {
                column.push(*value);
            }
        }
        Err(why) => fault = fault.take().or(Some(why)),
    });
    if let Some(fault) = fault {
        return Err(fault);
    }
    if done < tasks.len() {
        return Ok(None);
    }
    estimate(reduction, &seen, names, &variant, level).map(Some).map_err(RunError::BadOptions)
}

/// Rates and controls of the shifts of one half.
#[derive(Debug, Clone)]
struct Seen {
    rates: Vec<f64>,
    controls: Vec<Vec<f64>>,
}

fn estimate(
    reduction: Reduction,
    seen: &[Seen],
    names: Vec<String>,
    variant: &Variant,
    level: f64,
) -> Result<ReducedReport, CannotSay> {
    let mean_of = |columns: &[&[f64]]| -> Vec<f64> {
        let n = columns.len() as f64;
        (0..columns[0].len()).map(|t| columns.iter().map(|column| column[t]).sum::<f64>() / n).collect()
    };
    let rates: Vec<&[f64]> = seen.iter().map(|half| half.rates.as_slice()).collect();
    let column = |(n, name): (usize, String)| Column {
        name,
        values: mean_of(&seen.iter().map(|half| half.controls[n].as_slice()).collect::<Vec<_>>()),
    };
    let (names, controls): (Vec<_>, Vec<_>) = chosen(names.into_iter().enumerate().map(column).collect())
        .into_iter()
        .map(|column| (column.name, column.values))
        .unzip();
    let paired = match rates[..] {
        [plain, mirrored] => MirroredMean::of(plain, mirrored, level)?.variance_ratio,
        [] | [_] | [_, _, _, ..] => Some(1.0),
    };
    let shifts = rates.iter().map(|half| half.len()).sum();
    // The mean of a pair varies half as much.
    let least = if controls.is_empty() { 0.0 } else { variant.hardly_seen(shifts) / seen.len() as f64 };
    let found = ControlledMean::with_least(&mean_of(&rates), &controls, least, level)?;
    let estimate = found.estimate;
    let used = names.into_iter().zip(&found.coefficients).filter(|(_, slope)| **slope != 0.0);
    let varies = found.plain.standard_error > 0.0;
    Ok(ReducedReport {
        reduction,
        shifts: rates.iter().map(|half| half.len() as u64).sum(),
        rate: Figure {
            mean: Some(estimate.mean),
            standard_error: Some(estimate.standard_error),
            low: Some(estimate.low),
            high: Some(estimate.high),
            level,
            n: estimate.n,
        },
        controls: used.map(|(name, _)| name).collect(),
        loss: found.loss,
        variance_ratio: found.variance_ratio.zip(paired).map(|(a, b)| a * b).filter(|_| varies),
    })
}

#[cfg(test)]
mod tests {
    use super::super::Alone;
    use super::*;
    use crate::statistics::{Estimate, Moments};

    /// Whatever jams stands for a while; the rest is regular, so that jams and their number are nearly all the luck.
    const LINE: &str = r#"{"feedproof": 1, "stations": [
        {"id": "F", "type": "work", "endless": true, "time": {"law": "exponential", "mean": "1 s"},
         "jams": [{"per_part": 0.02, "time": "20 s"}]}],
        "plan": {"shift": "10 min"}}"#;

    fn reduced(line: &str, reduction: Reduction, shifts: u64, seed: u64) -> ReducedReport {
        let variant = Variant::read(line).unwrap();
        mean_rate(variant, reduction, shifts, seed, 0.95, &Alone, &|| false).unwrap().unwrap()
    }

    const ALL: [Reduction; 3] = [
        Reduction { mirrored: true, controls: false },
        Reduction { mirrored: false, controls: true },
        Reduction { mirrored: true, controls: true },
    ];

    #[test]
    fn each_way_saves_variance_here() {
        let plain = reduced(LINE, Reduction { mirrored: false, controls: false }, 100, 1);
        assert!((plain.variance_ratio.unwrap() - 1.0).abs() < 1e-12 && plain.controls.is_empty());
        for reduction in ALL {
            let found = reduced(LINE, reduction, 100, 1);
            assert_eq!((found.shifts, found.rate.n), (100, if reduction.mirrored { 50 } else { 100 }));
            let named = ["F: stops", "F: times and outcomes"];
            assert_eq!(found.controls, if reduction.controls { &named[..] } else { &[] });
            assert!(found.variance_ratio.unwrap() < 0.6, "{reduction:?}: {:?}", found.variance_ratio);
        }
        // The jams of ten minutes are a dozen: nothing but their number, their length and the times is luck here.
        assert!(reduced(LINE, ALL[1], 100, 1).variance_ratio.unwrap() < 0.1);
    }

    /// 1000 studies of so many shifts each, seeds 0 to 999, against a mean.
    fn assert_honest(what: &str, line: &str, shifts: u64, (truth, error_of_truth): (f64, f64)) {
        for reduction in ALL {
            let (mut means, mut holds) = (Moments::new(), 0);
            for seed in 0..1000 {
                let found = reduced(line, reduction, shifts, seed).rate;
                means.push(found.mean.unwrap());
                holds += u32::from(found.low.unwrap() <= truth && truth <= found.high.unwrap());
            }
            let off = means.mean().unwrap() - truth;
            let error = means.standard_error().unwrap().hypot(error_of_truth);
            println!(
                "{what}, {reduction:?}: {:.2} standard errors off, held by {holds} of 1000",
                off / error
            );
            assert!(off.abs() < 4.5 * error, "{what}, {reduction:?}: {off} with a standard error of {error}");
            // 0.95 has a standard error of 0.0069 in 1000.
            assert!((914..=981).contains(&holds), "{what}, {reduction:?}: held by {holds} of 1000");
        }
    }

    /// The mean is that of 20,000 other plain shifts, whose error lowers coverage by up to 0.005.
    #[test]
    fn each_way_is_unbiased_and_its_intervals_hold() {
        let variant = Variant::read(LINE).unwrap();
        let rate = variant.rate_index();
        let tasks: Vec<Task> = (0..20_000).map(|number| Task { variant: 0, number }).collect();
        let mut plain = Moments::new();
        run_tasks(&[variant], &tasks, 77_777, &Alone, &|| false, &mut |_, heard| {
            plain.push(heard.unwrap()[rate])
        });
        let truth = Estimate::of_mean(&plain, 0.95).unwrap();
        assert_honest("other shifts", LINE, 20, (truth.mean, truth.standard_error));
    }

    /// Mean time up until T, and chance to be down at T, of what fails at `fails` and is mended at `mends`, both exponential, and
    /// is up at 0: the integral of the availability m/(f + m) + f/(f + m) exp(-(f + m) t) (textbooks on reliability, from
    /// memory; it is the solution of p' = m (1 - p) - f p).
    fn up_and_down(fails: f64, mends: f64, end: f64) -> (f64, f64) {
        let (both, share) = (fails + mends, fails / (fails + mends));
        let gone = 1.0 - libm::exp(-both * end);
        ((1.0 - share) * end + share / both * gone, share * gone)
    }

    /// Everything is exponential, so that services end at a rate of one a second while it is up. Breakdowns by the clock,
    /// and how long they last, are controls. They explain all but the service under way at the end, whose time is skewed:
    /// of 20 shifts an interval holds the mean with a chance of 91 % only, so that this takes 40.
    #[test]
    fn breakdowns_by_the_clock_against_the_exact_mean_of_a_short_shift() {
        let line = r#"{"feedproof": 1, "stations": [
            {"id": "F", "type": "work", "endless": true, "time": {"law": "exponential", "mean": "1 s"},
             "breakdowns": [{"clock": "working", "every": {"law": "exponential", "mean": "60 s"},
                             "time": {"law": "exponential", "mean": "15 s"}}]}],
            "plan": {"shift": "6 min"}}"#;
        let (up, _) = up_and_down(1.0 / 60.0, 1.0 / 15.0, 360.0);
        assert_honest("breakdowns", line, 40, (up / 6.0, 0.0));
    }

    /// A breakdown every four hours, so that of 40 hours most see none that is under way at the end: what the controls leave
    /// seems to be next to nothing, and is not. 300 studies; a share of 95 % is above 92 % with a chance of more than 97 %, and
    /// the least variance of what is left makes it more than 95 %.
    #[test]
    fn rare_breakdowns_do_not_make_intervals_too_short() {
        let line = r#"{"feedproof": 1, "stations": [
            {"id": "F", "type": "work", "endless": true, "time": {"law": "exponential", "mean": "2 s"},
             "breakdowns": [{"clock": "working", "every": {"law": "exponential", "mean": "4 h"},
                             "time": {"law": "exponential", "mean": "5 min"}}]}],
            "plan": {"shift": "1 h"}}"#;
        let (up, _) = up_and_down(1.0 / 14_400.0, 1.0 / 300.0, 3600.0);
        let exact = up / 2.0 / 60.0;
        let way = Reduction { mirrored: false, controls: true };
        let holds = (0..300).filter(|&seed| {
            let rate = reduced(line, way, 40, seed).rate;
            rate.low.is_some_and(|low| low <= exact) && rate.high.is_some_and(|high| exact <= high)
        });
        let n = holds.count();
        assert!(n >= 276, "{n} of 300 intervals hold the exact mean");
    }

    /// Passes end at a rate of one a second while nothing is jammed, every 25th of them in a jam that has to be cleared before
    /// the part goes on. Of the parts 70 % lie the right way, and of these the tool lets 95 % go on.
    #[test]
    fn a_path_that_jams_against_the_exact_mean_of_a_short_shift() {
        let line = r#"{"feedproof": 1,
            "parts": {"pin": {"attitudes": {"up": 0.7, "down": 0.3}, "right_way": "up"}}, "stations": [
            {"id": "B", "type": "bin", "endless": true},
            {"id": "P", "type": "orienting path", "pass": {"law": "exponential", "mean": "1 s"},
             "tools": [{"id": "edge", "passes": {"up": 0.95, "down": 0.1}}], "rejects_to": "scrap", "to": "C",
             "jams": [{"per_part": 0.04, "time": {"law": "exponential", "mean": "10 s"}}]},
            {"id": "C", "type": "work", "time": "0 s", "to": "out"},
            {"id": "scrap", "type": "scrap box"}],
            "plan": {"shift": "6 min"}, "promise": {"at": "C", "clauses": {"mean_rate": "30 /min"}}}"#;
        let (up, down) = up_and_down(0.04, 0.1, 360.0);
        assert_honest("a path", line, 20, (0.7 * 0.95 * (up - down) / 6.0, 0.0));
    }
}
