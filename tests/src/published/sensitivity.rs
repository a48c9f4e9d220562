//! Rows of family G: designs and estimators of sensitivity on functions whose answers are known.
//!
//! The designs are seeded, so that each row is one number; how close it has to come is stated with it, from the error that
//! the estimator states for itself.

use super::Row;
use sim_core::design::effects::Effect;
use sim_core::design::{FactorShares, ShareDesign, Shares, Sobol, Trajectory};
use std::f64::consts::PI;

/// Ishigami and Homma (1990): sin x1 + 7 sin^2 x2 + 0.1 x3^4 sin x1, all from -pi to pi.
fn ishigami(at: &[f64]) -> f64 {
    let [x1, x2, x3] = [at[0], at[1], at[2]].map(|u| PI * (2.0 * u - 1.0));
    libm::sin(x1) + 7.0 * libm::sin(x2).powi(2) + 0.1 * x3.powi(4) * libm::sin(x1)
}

/// Saltelli and Sobol (1995): product of (|4 x - 2| + a) / (1 + a).
fn g_function(at: &[f64], a: &[f64]) -> f64 {
    at.iter().zip(a).map(|(x, a)| ((4.0 * x - 2.0).abs() + a) / (1.0 + a)).product()
}

/// Shares from 16 groups of 4096 rows.
fn shares(factors: usize, function: impl Fn(&[f64]) -> f64) -> Shares {
    let known = "a design of a few factors is sound, and the function varies";
    let design = ShareDesign::new(factors, 16, 4096, false, 1).expect(known);
    let mut at = Vec::new();
    let tally = |group| {
        let values: Vec<f64> = (0..design.group_len())
            .map(|index| {
                design.point(group, index, &mut at);
                function(&at)
            })
            .collect();
        design.tally(&values, 1).expect(known)
    };
    let groups: Vec<_> = (0..design.groups()).map(tally).collect();
    design.shares(&groups, 1, 0.95).expect(known)
}

/// Effects of the g-function with four factors from the whole grid: one trajectory from each of its 256 points. A move
/// takes the grid onto itself, so that each effect is met twice, whatever was moved before.
fn whole_grid(factor: usize) -> Effect {
    let known = "the trajectories of a grid are sound";
    let mut at = Vec::new();
    let effects: Vec<Vec<f64>> = (0..256_u64)
        .map(|start| {
            let trajectory = Trajectory {
                start: (0..4).map(|digit| start >> (2 * digit) & 3).collect(),
                order: vec![0, 1, 2, 3],
                levels: 4,
            };
            let mut value = |moves| {
                trajectory.point(moves, &mut at);
                g_function(&at, &[0.0, 1.0, 4.5, 9.0])
            };
            let values: Vec<f64> = (0..5).map(&mut value).collect();
            trajectory.effects(&values, 1).expect(known).swap_remove(factor)
        })
        .collect();
    Effect::of(&effects, 0.95).expect(known)
}

/// A coordinate of the plain sequence.
fn coordinate(index: u64, factor: usize) -> f64 {
    let mut at = Vec::new();
    Sobol::plain(5).expect("five factors are few").point(index, &mut at);
    at[factor]
}

/// Rows of family G.
pub fn rows() -> Vec<Row> {
    // Standard errors of these estimates are about 0.001 for shares and 0.01 for the variance; allowed: five of them.
    let of_ishigami = |id, share: fn(&FactorShares) -> f64, factor: usize| {
        Row::exactly(id, 0.005, move || share(&shares(3, ishigami).factors[factor]))
    };
    let of_g = |id, share: fn(&FactorShares) -> f64| {
        let a = [0.0, 1.0, 4.5, 9.0, 99.0, 99.0, 99.0, 99.0];
        Row::exactly(id, 0.005, move || share(&shares(8, |at| g_function(at, &a)).factors[0]))
    };
    const ROUNDING: f64 = 1e-8;
    vec![
        Row::exactly("G-01", 0.05, || shares(3, ishigami).variance.mean),
        of_ishigami("G-02", |factor| factor.first.mean, 0),
        of_ishigami("G-03", |factor| factor.first.mean, 1),
        of_ishigami("G-03", |factor| factor.total.mean, 1),
        of_ishigami("G-04", |factor| factor.total.mean, 2),
        of_ishigami("G-04", |factor| factor.interactions.mean, 2),
        of_ishigami("G-05", |factor| factor.total.mean, 0),
        of_g("G-06", |factor| factor.first.mean),
        of_g("G-07", |factor| factor.total.mean),
        Row::exactly("G-08", ROUNDING, || whole_grid(0).size.mean),
        Row::exactly("G-09", ROUNDING, || whole_grid(3).size.mean),
        // The row divides by the count, the estimator by one less.
        Row::exactly("G-10", ROUNDING, || whole_grid(0).spread.value * (255.0_f64 / 256.0).sqrt()),
        Row::exactly("G-11", 0.0, || coordinate(4, 2)),
        Row::exactly("G-12", 0.0, || coordinate(10, 4)),
        Row::exactly("G-13", 0.0, || {
            (0..1024).flat_map(|index| (0..5).map(move |factor| coordinate(index, factor))).sum()
        }),
    ]
}
