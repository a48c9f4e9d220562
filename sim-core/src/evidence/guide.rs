//! Sharper chances of single draws to keep a promise, by regression on what was drawn.
//!
//! The assurance takes draws as members of a population without asking what was drawn ([`super::pool`]): that is exact
//! in the long run, but leaves single draws blurred. What further trials would tell depends on how the promise hangs on
//! the inputs, and blurred draws would hide it. So here the draws have a law around a regression: beta for chances
//! around a logistic one (iteratively reweighted least squares: McCullagh & Nelder 1989, chapter 4), normal for means
//! around a linear one (Fay & Herriot 1979); the spread around it is the most likely one, and a draw contributes its
//! chance to reach the bound given its own values too. To the counts half a success and half a failure are added in all
//! (Jeffreys), and slopes have a normal prior with standard deviation 2.5 per standard deviation of the number (a weak
//! one, as in Gelman et al. 2008), so that counts which a number tells apart without exception stay finite. Pure
//! numbers. Invariant: without numbers the regression is the mean.

use super::pool::{Hits, noise_variance};
use crate::balance::lu::Lu;
use crate::statistics::Moments;
use crate::statistics::special::{beta_tails, normal_cdf};

/// Precision of a slope's prior.
const SLOPE_PRECISION: f64 = 1.0 / (2.5 * 2.5);
/// Largest step of a coefficient.
const STEP: f64 = 1.5;

/// Row of a member: one, then its numbers.
fn rows(columns: &[Vec<f64>], count: usize) -> Vec<Vec<f64>> {
    let row = |ix: usize| std::iter::once(1.0).chain(columns.iter().map(|column| column[ix])).collect();
    (0..count).map(row).collect()
}

fn dot(a: &[f64], b: &[f64]) -> f64 {
    a.iter().zip(b).map(|(a, b)| a * b).sum()
}

/// Weighted cross products of the rows, with a precision on all but the first.
fn cross(rows: &[Vec<f64>], weight: impl Fn(usize) -> f64, precision: f64) -> Vec<f64> {
    let width = rows[0].len();
    let mut square = vec![0.0; width * width];
    for (ix, row) in rows.iter().enumerate() {
        let weight = weight(ix);
        for (i, x) in row.iter().enumerate() {
            for (j, y) in row.iter().enumerate() {
                square[i * width + j] += weight * x * y;
            }
        }
    }
    (1..width).for_each(|i| square[i * width + i] += precision);
    square
}

/// The chances of members by their numbers.
fn logistic(columns: &[Vec<f64>], members: &[Hits]) -> Vec<f64> {
    let count = members.len() as f64;
    let rows = rows(columns, members.len());
    let of = |ix: usize| members[ix].of as f64 + 1.0 / count;
    let hits = |ix: usize| members[ix].all as f64 + 0.5 / count;
    let (all, hit): (f64, f64) =
        (0..members.len()).fold((0.0, 0.0), |sum, ix| (sum.0 + of(ix), sum.1 + hits(ix)));
    let mut slopes = vec![0.0; rows[0].len()];
    slopes[0] = libm::log(hit / (all - hit));
    let chance = |slopes: &[f64], row: &[f64]| 1.0 / (1.0 + libm::exp(-dot(slopes, row).clamp(-30.0, 30.0)));
    for _ in 0..60 {
        let fit: Vec<f64> = rows.iter().map(|row| chance(&slopes, row)).collect();
        let square = cross(&rows, |ix| of(ix) * fit[ix] * (1.0 - fit[ix]), SLOPE_PRECISION);
        let mut step: Vec<f64> = (0..slopes.len())
            .map(|k| {
                let pull: f64 =
                    rows.iter().enumerate().map(|(ix, row)| row[k] * (hits(ix) - of(ix) * fit[ix])).sum();
                pull - if k > 0 { SLOPE_PRECISION * slopes[k] } else { 0.0 }
            })
            .collect();
        let Some(lu) = Lu::new(slopes.len(), square) else { break };
        lu.solve(&mut step);
        let largest = step.iter().fold(0.0_f64, |most, step| most.max(step.abs()));
        let shorten = if largest > STEP { STEP / largest } else { 1.0 };
        slopes.iter_mut().zip(&step).for_each(|(slope, step)| *slope += shorten * step);
        if largest < 1e-9 {
            break;
        }
    }
    rows.iter().map(|row| chance(&slopes, row).clamp(1e-12, 1.0 - 1e-12)).collect()
}

/// Means by numbers (least squares), and the variance that is left.
fn linear(columns: &[Vec<f64>], means: &[f64]) -> (Vec<f64>, f64) {
    let rows = rows(columns, means.len());
    let width = rows[0].len();
    // A trace of ridge keeps numbers that say the same twice apart.
    let square = cross(&rows, |_| 1.0, 1e-9 * means.len() as f64);
    let mut slopes: Vec<f64> =
        (0..width).map(|k| rows.iter().zip(means).map(|(row, mean)| row[k] * mean).sum()).collect();
    let Some(lu) = Lu::new(width, square) else { return (means.to_vec(), 0.0) };
    lu.solve(&mut slopes);
    let at: Vec<f64> = rows.iter().map(|row| dot(&slopes, row)).collect();
    let freedom = (means.len() as f64 - width as f64).max(1.0);
    let left = means.iter().zip(&at).map(|(mean, at)| (mean - at) * (mean - at)).sum::<f64>() / freedom;
    (at, left)
}

/// Steps of the spread around a regression.
const SPREADS: usize = 32;

/// For each member the chance that its own chance reaches the bound.
pub(super) fn keep_chance(columns: &[Vec<f64>], members: &[Hits], bound: f64) -> Vec<f64> {
    let centres = logistic(columns, members);
    let ln_beta = |a: f64, b: f64| libm::lgamma(a) + libm::lgamma(b) - libm::lgamma(a + b);
    let likely = |both: f64| -> f64 {
        let one = |(member, centre): (&Hits, &f64)| {
            let (a, b) = (centre * both, (1.0 - centre) * both);
            ln_beta(a + member.all as f64, b + (member.of - member.all) as f64) - ln_beta(a, b)
        };
        members.iter().zip(&centres).map(one).sum()
    };
    let mut best = (f64::NEG_INFINITY, 1.0);
    for k in 0..SPREADS {
        // The correlation between values of a member, denser where it is small.
        let t = (k as f64 + 0.5) / SPREADS as f64;
        let both = 1.0 / (t * t * t * t) - 1.0;
        let found = likely(both);
        if found > best.0 {
            best = (found, both);
        }
    }
    let reaches = |(member, centre): (&Hits, &f64)| {
        let a = centre * best.1 + member.all as f64;
        let b = (1.0 - centre) * best.1 + (member.of - member.all) as f64;
        beta_tails(a, b, bound, 1.0 - bound).upper
    };
    members.iter().zip(&centres).map(reaches).collect()
}

/// For each member the chance that its own mean reaches the bound; moments of its first, equally many, values and of all.
pub(super) fn keep_mean(columns: &[Vec<f64>], first: &[Moments], all: &[Moments], bound: f64) -> Vec<f64> {
    let mean = |moments: &Moments| moments.mean().expect("a member has values");
    let (centres, left) = linear(columns, &first.iter().map(mean).collect::<Vec<f64>>());
    let noise = noise_variance(first);
    let variance = (left - noise / first[0].count() as f64).max(0.0);
    let reaches = |(member, centre): (&Moments, &f64)| {
        let own = noise / member.count() as f64;
        let trust = if variance + own > 0.0 { variance / (variance + own) } else { 1.0 };
        let middle = centre + trust * (mean(member) - centre);
        let spread = (trust * own).sqrt();
        if spread > 0.0 {
            normal_cdf((middle - bound) / spread)
        } else {
            f64::from(u8::from(middle >= bound))
        }
    };
    all.iter().zip(&centres).map(reaches).collect()
}

/// Numbers of the draws (by draw, input, number) as columns: each number and its logarithm, centred and scaled, since
/// chances and rates act by either.
pub(super) fn columns(bases: &[Vec<Vec<f64>>]) -> Vec<Vec<f64>> {
    let mut columns = Vec::new();
    let Some(first) = bases.first() else { return columns };
    let n_all: usize = first.iter().map(Vec::len).sum();
    for (input, numbers) in first.iter().enumerate() {
        for n in 0..numbers.len() {
            let plain: Vec<f64> = bases.iter().map(|draw| draw[input][n]).collect();
            let logs: Vec<f64> = plain.iter().map(|x| libm::log(x.max(1e-300))).collect();
            columns.extend(scaled(&logs));
            if 6 * n_all < bases.len() {
                columns.extend(scaled(&plain));
            }
        }
    }
    columns
}

/// Centred and scaled; none if all are the same.
fn scaled(numbers: &[f64]) -> Option<Vec<f64>> {
    let moments: Moments = numbers.iter().copied().collect();
    let (mean, spread) = (moments.mean()?, moments.standard_deviation()?);
    (spread > 0.0).then(|| numbers.iter().map(|x| (x - mean) / spread).collect())
}

#[cfg(test)]
mod tests {
    use super::super::pool::chances;
    use super::*;
    use crate::kernel::Stream;

    /// Own chances are 1 / (1 + exp(-3 - 2 x)) of a standard normal x, seen through four values each. With x as a guide nearly
    /// each member is clear; the share above 0.9 is that of x above (ln 9 - 3) / 2, 65.6 % (table of the normal law).
    #[test]
    fn a_guide_makes_members_clear() {
        let mut luck = Stream::new(6, 0, "test", "guided pool");
        let (mut members, mut column) = (Vec::new(), Vec::new());
        for _ in 0..1000 {
            let x = luck.normal();
            let own = 1.0 / (1.0 + libm::exp(-3.0 - 2.0 * x));
            let hits = (0..4).map(|_| u64::from(luck.chance(own))).sum();
            members.push(Hits { first: hits, all: hits, of: 4 });
            column.push(x);
        }
        let guided = keep_chance(&[column], &members, 0.9);
        let blind = chances(&members, 4, 0.9, 0.025, &[0.5]).each;
        let unclear = |each: &[f64]| each.iter().filter(|w| **w > 0.05 && **w < 0.95).count();
        assert!(3 * unclear(&guided) < unclear(&blind), "{} {}", unclear(&guided), unclear(&blind));
        // 1000 members: 0.015 of error for the members, as much again for the regression. Allowed: 4.5 of them together.
        let share = guided.iter().sum::<f64>() / 1000.0;
        assert!((share - 0.656).abs() < 0.095, "{share}");
    }
}
