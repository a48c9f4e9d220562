//! The mean rate from fewer shifts: mirrored shifts, and jams as controls.
//!
//! For the mean alone, never for the verdict: a promise counts shifts as they are. A *mirrored* shift draws 1 - u wherever
//! its partner draws u, all by inversion; the mean of a pair is unbiased whatever the line, and spreads less where luck
//! acts the same way throughout. *Controls* are jams by part less their chance times the parts that had it: 0 on the mean, so
//! that what a shift had too many explains part of what its rate lacks (Lavenberg & Welch 1981). Parts under way when the
//! window closes have not had their chance: that shifts a control by less than their number times the chance. Invariant: the result depends
//! on scenario, seed and options alone.

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
    /// Jams by part are controls.
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
    variant: &Variant,
    reduction: Reduction,
    shifts: u64,
    seed: u64,
    level: f64,
    crew: &C,
    cancelled: &(dyn Fn() -> bool + Sync),
) -> Result<Option<ReducedReport>, RunError> {
    let named = if reduction.controls { variant.controls() } else { Vec::new() };
    let halves: u64 = if reduction.mirrored { 2 } else { 1 };
    let tasks: Vec<Task> = (0..shifts / halves)
        .flat_map(|number| (0..halves).map(move |half| number + half * MIRRORED))
        .map(|number| Task { variant: 0, number })
        .collect();
    let rate = variant.rate_index();
    let mut seen = vec![Seen { rates: Vec::new(), controls: vec![Vec::new(); named.len()] }; halves as usize];
    let mut fault = None;
    let variants = std::slice::from_ref(variant);
    let done = run_tasks(variants, &tasks, seed, crew, cancelled, &mut |task, heard| match heard {
        Ok(values) => {
            let half = &mut seen[usize::from(task.number & MIRRORED != 0)];
            half.rates.push(values[rate]);
            for (column, (_, control)) in half.controls.iter_mut().zip(&named) {
                let parts: f64 = control.parts.iter().map(|part| values[*part]).sum();
                column.push(values[control.stops] - control.chance * parts);
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
    let names = named.into_iter().map(|(name, _)| name).collect();
    estimate(reduction, &seen, names, level).map(Some).map_err(RunError::BadOptions)
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
    level: f64,
) -> Result<ReducedReport, CannotSay> {
    let mean_of = |columns: &[&[f64]]| -> Vec<f64> {
        let n = columns.len() as f64;
        (0..columns[0].len()).map(|t| columns.iter().map(|column| column[t]).sum::<f64>() / n).collect()
    };
    let rates: Vec<&[f64]> = seen.iter().map(|half| half.rates.as_slice()).collect();
    let controls: Vec<Vec<f64>> = (0..names.len())
        .map(|n| mean_of(&seen.iter().map(|half| half.controls[n].as_slice()).collect::<Vec<_>>()))
        .collect();
    let paired = match rates[..] {
        [plain, mirrored] => MirroredMean::of(plain, mirrored, level)?.variance_ratio,
        [] | [_] | [_, _, _, ..] => Some(1.0),
    };
    let found = ControlledMean::of(&mean_of(&rates), &controls, level)?;
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

    fn reduced(reduction: Reduction, shifts: u64, seed: u64) -> ReducedReport {
        let variant = Variant::read(LINE).unwrap();
        mean_rate(&variant, reduction, shifts, seed, 0.95, &Alone, &|| false).unwrap().unwrap()
    }

    const ALL: [Reduction; 3] = [
        Reduction { mirrored: true, controls: false },
        Reduction { mirrored: false, controls: true },
        Reduction { mirrored: true, controls: true },
    ];

    #[test]
    fn each_way_saves_variance_here() {
        let plain = reduced(Reduction { mirrored: false, controls: false }, 100, 1);
        assert!((plain.variance_ratio.unwrap() - 1.0).abs() < 1e-12 && plain.controls.is_empty());
        for reduction in ALL {
            let found = reduced(reduction, 100, 1);
            assert_eq!((found.shifts, found.rate.n), (100, if reduction.mirrored { 50 } else { 100 }));
            assert_eq!(found.controls.len(), usize::from(reduction.controls));
            assert!(found.variance_ratio.unwrap() < 0.6, "{reduction:?}: {:?}", found.variance_ratio);
        }
    }

    /// 1000 studies of 20 shifts each, seeds 0 to 999. The mean is compared with that of other plain shifts, whose error is allowed for.
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
        for reduction in ALL {
            let (mut means, mut holds) = (Moments::new(), 0);
            for seed in 0..1000 {
                let found = reduced(reduction, 20, seed).rate;
                means.push(found.mean.unwrap());
                holds += u32::from(found.low.unwrap() <= truth.mean && truth.mean <= found.high.unwrap());
            }
            let off = means.mean().unwrap() - truth.mean;
            let error = (means.standard_error().unwrap().powi(2) + truth.standard_error.powi(2)).sqrt();
            println!("{reduction:?}: {:.2} standard errors off, held by {holds} of 1000", off / error);
            assert!(off.abs() < 4.5 * error, "{reduction:?}: {off} with a standard error of {error}");
            // 0.95 has a standard error of 0.0069 in 1000; the error of the truth itself lowers coverage by up to 0.005.
            assert!((914..=981).contains(&holds), "{reduction:?}: held by {holds} of 1000");
        }
    }
}
