//! Where the variance of one shift's rate comes from: luck, and ignorance of each input.
//!
//! Luck and ignorance by the analysis of variance of shifts within outer draws (one-way random effects: Searle, Casella &
//! McCulloch 1992; of nested simulation: Sun, Apley & Staum 2011), which is unbiased however few shifts a draw has.
//! Ignorance by input: the means of the draws are regressed on the drawn inputs, each with a parabola of its own (inputs
//! are independent a posteriori, so the variances of the parabolas add up; the main effect of an input is the variance
//! of the conditional mean, Sobol' 1993, by regression as in Strong, Oakley & Brennan 2014). What the fit of noise adds
//! to a parabola is subtracted. Intervals: delete-a-group jackknife (Kott 2001). Pure numbers. Invariant: shares of luck,
//! inputs alone, and together add up to one.

use super::pool::noise_variance;
use crate::balance::lu::Lu;
use crate::statistics::Moments;
use crate::statistics::quantiles::student_t_upper;
use crate::study::result::{VarianceReport, VarianceShare};

/// Groups of the jackknife.
const GROUPS: usize = 10;

/// Shares of the variance: of luck, of each input, and of all ignorance.
struct Shares {
    luck: f64,
    ignorance: f64,
    inputs: Vec<f64>,
    variance: f64,
}

/// Splits the variance of the rate. `rates`: of each draw the moments of its first, equally many, shifts; `bases`: of each
/// draw, for each input, the numbers to regress on. None without variance, or with fewer draws than 20.
pub fn split(rates: &[Moments], bases: &[Vec<Vec<f64>>], level: f64) -> Option<VarianceReport> {
    if rates.len() < 2 * GROUPS {
        return None;
    }
    let whole = shares(rates, bases)?;
    let mut parts: Vec<Shares> = Vec::with_capacity(GROUPS);
    for group in 0..GROUPS {
        let kept = |ix: &usize| ix % GROUPS != group;
        let rates: Vec<Moments> = (0..rates.len()).filter(kept).map(|ix| rates[ix]).collect();
        let bases: Vec<Vec<Vec<f64>>> = (0..bases.len()).filter(kept).map(|ix| bases[ix].clone()).collect();
        parts.push(shares(&rates, &bases)?);
    }
    let quantile = student_t_upper(0.5 * (1.0 - level), GROUPS as f64 - 1.0);
    let share = |of: &dyn Fn(&Shares) -> f64| {
        let (estimate, groups) = (of(&whole), GROUPS as f64);
        let square: f64 = parts.iter().map(|part| (of(part) - estimate) * (of(part) - estimate)).sum();
        let half = quantile * (square * (groups - 1.0) / groups).sqrt();
        VarianceShare {
            share: estimate,
            low: (estimate - half).clamp(0.0, 1.0),
            high: (estimate + half).clamp(0.0, 1.0),
        }
    };
    let inputs: Vec<VarianceShare> = (0..whole.inputs.len()).map(|n| share(&|part| part.inputs[n])).collect();
    Some(VarianceReport {
        standard_deviation: whole.variance.sqrt(),
        luck: share(&|part| part.luck),
        ignorance: share(&|part| part.ignorance),
        together: whole.ignorance - whole.inputs.iter().sum::<f64>(),
        inputs,
        level,
    })
}

fn shares(rates: &[Moments], bases: &[Vec<Vec<f64>>]) -> Option<Shares> {
    let means: Vec<f64> = rates.iter().filter_map(Moments::mean).collect();
    if means.len() < rates.len() {
        return None;
    }
    let luck = noise_variance(rates);
    let between: Moments = means.iter().copied().collect();
    let ignorance = between.variance()? - luck / rates[0].count() as f64;
    let variance = luck + ignorance;
    if variance <= 0.0 {
        return None;
    }
    let inputs = effects(&means, bases).into_iter().map(|effect| effect / variance).collect();
    Some(Shares { luck: luck / variance, ignorance: ignorance / variance, inputs, variance })
}

/// Variance of the parabola of each input in a common least-squares fit.
fn effects(means: &[f64], bases: &[Vec<Vec<f64>>]) -> Vec<f64> {
    let n_inputs = bases.first().map_or(0, Vec::len);
    let (columns, owners) = columns(means.len(), bases);
    let (count, width) = (means.len(), columns.len());
    let centre = means.iter().sum::<f64>() / count as f64;
    let mut square = vec![0.0; width * width];
    let mut right = vec![0.0; width];
    for row in 0..width {
        for column in 0..width {
            square[row * width + column] = dot(&columns[row], &columns[column]);
        }
        // A trace of ridge keeps numbers that say the same twice apart.
        square[row * width + row] += 1e-9 * count as f64;
        right[row] = columns[row].iter().zip(means).map(|(x, mean)| x * (mean - centre)).sum();
    }
    let Some(lu) = Lu::new(width, square) else { return vec![0.0; n_inputs] };
    let mut slopes = right;
    lu.solve(&mut slopes);
    let residual: f64 = (0..count)
        .map(|ix| {
            let fit: f64 = columns.iter().zip(&slopes).map(|(column, slope)| column[ix] * slope).sum();
            let gap = means[ix] - centre - fit;
            gap * gap
        })
        .sum::<f64>()
        / (count.saturating_sub(width + 1)).max(1) as f64;
    // What noise alone would add: residual variance x trace of the input's part of the inverse x its cross products.
    let mut noise = vec![0.0; n_inputs];
    for k in 0..width {
        let mut unit = vec![0.0; width];
        unit[k] = 1.0;
        lu.solve(&mut unit);
        for (other, inverse) in unit.iter().enumerate() {
            if owners[other] == owners[k] {
                noise[owners[k]] += residual * inverse * dot(&columns[k], &columns[other]) / count as f64;
            }
        }
    }
    let variance = |input: usize| {
        let sum: f64 = (0..count)
            .map(|ix| {
                let own = (0..width).filter(|k| owners[*k] == input);
                let fit: f64 = own.map(|k| columns[k][ix] * slopes[k]).sum();
                fit * fit
            })
            .sum();
        sum / count as f64 - noise[input]
    };
    (0..n_inputs).map(variance).collect()
}

/// Numbers of all inputs, centred and scaled, column by column, and whose they are. With many for the draws that there
/// are, squares are left out.
fn columns(count: usize, bases: &[Vec<Vec<f64>>]) -> (Vec<Vec<f64>>, Vec<usize>) {
    let (mut columns, mut owners) = (Vec::new(), Vec::new());
    let Some(first) = bases.first() else { return (columns, owners) };
    let n_all: usize = first.iter().map(Vec::len).sum();
    let with_squares = 6 * n_all < count;
    for (input, numbers) in first.iter().enumerate() {
        for n in 0..numbers.len() {
            let column: Vec<f64> = bases.iter().map(|draw| draw[input][n]).collect();
            let moments: Moments = column.iter().copied().collect();
            let (Some(mean), Some(spread)) = (moments.mean(), moments.standard_deviation()) else { continue };
            if spread <= 0.0 {
                continue;
            }
            let straight: Vec<f64> = column.iter().map(|x| (x - mean) / spread).collect();
            let rest = 1.0 - 1.0 / count as f64;
            if with_squares {
                columns.push(straight.iter().map(|z| z * z - rest).collect());
                owners.push(input);
            }
            columns.push(straight);
            owners.push(input);
        }
    }
    (columns, owners)
}

fn dot(a: &[f64], b: &[f64]) -> f64 {
    a.iter().zip(b).map(|(a, b)| a * b).sum()
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::kernel::Stream;

    /// rate = 3 x + y^2 - 1 + luck, x and y standard normal, luck with standard deviation 2: variances 9, 2 and 4.
    #[test]
    fn the_parts_of_a_known_sum_are_found() {
        let mut luck = Stream::new(5, 0, "test", "split");
        let (mut rates, mut bases) = (Vec::new(), Vec::new());
        for _ in 0..4000 {
            let (x, y) = (luck.normal(), luck.normal());
            let own = 3.0 * x + y * y - 1.0;
            rates.push((0..3).map(|_| own + 2.0 * luck.normal()).collect::<Moments>());
            bases.push(vec![vec![x], vec![y], vec![luck.normal(), luck.unit()]]);
        }
        let report = split(&rates, &bases, 0.95).expect("there is variance");
        let whole =
            report.luck.share + report.inputs.iter().map(|input| input.share).sum::<f64>() + report.together;
        assert!((whole - 1.0).abs() < 1e-12);
        // Relative errors of the variances are some sqrt(2/4000) = 2.2 %; a share of 0.6 has 0.01 or less. Allowed: 4.5.
        for (found, exact) in [
            (report.luck, 4.0 / 15.0),
            (report.ignorance, 11.0 / 15.0),
            (report.inputs[0], 9.0 / 15.0),
            (report.inputs[1], 2.0 / 15.0),
            (report.inputs[2], 0.0),
        ] {
            assert!((found.share - exact).abs() < 0.045, "{found:?} is not {exact}");
            assert!(found.low <= exact + 0.01 && exact - 0.01 <= found.high, "{found:?} leaves {exact} out");
        }
        assert!((report.standard_deviation - 15.0_f64.sqrt()).abs() < 0.2);
    }

    #[test]
    fn without_variance_there_is_nothing_to_split() {
        let rates = vec![[1.0, 1.0].into_iter().collect::<Moments>(); 40];
        assert_eq!(split(&rates, &vec![vec![vec![1.0]]; 40], 0.95), None);
    }
}
