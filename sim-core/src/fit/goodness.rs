//! How far a sample is from a law, and how likely such a distance is by luck.
//!
//! The Anderson-Darling statistic where all times ended, else the largest distance of the Kaplan-Meier law from the fitted one.
//! Tables of these statistics hold for laws that were known beforehand; a law that was fitted to the same times lies closer. So
//! its chance is found by *parametric bootstrap* (Stute, Gonzales Manteiga & Presedo Quindimil 1993): samples are drawn from the
//! fitted law, fitted anew, and the share of those that lie as far away is the chance. Cut-offs are drawn from their own empirical law
//! (Efron 1981). Invariant: a chance is never zero: the sample itself counts as one of the draws.

use super::{Fitted, Sample, estimators, sample::Grain, survival};
use crate::kernel::luck::Stream;
use crate::kernel::sampler::{Method, Sampler};
use std::f64::consts::PI;

/// Most times of a bootstrap sample: the laws of both statistics hardly change from here on (the distance is multiplied by the
/// root of the number).
pub const BOOTSTRAP_ROWS_MAX: u64 = 1000;
/// Smallest tail whose logarithm counts.
const SMALLEST: f64 = 1e-300;

/// Anderson-Darling statistic of times that all ended against a law (Anderson & Darling 1954).
pub fn anderson_darling(sample: &Sample, law: &Fitted) -> f64 {
    let n = sample.n as f64;
    let mut sum = 0.0;
    let mut below = 0.0;
    for grain in &sample.grains {
        let with = below + grain.count as f64;
        let (lower, upper) = law.tails(grain.time);
        // Sums of 2i - 1 over the ranks of equal times, from below and from above.
        sum += (with * with - below * below) * libm::log(lower.max(SMALLEST));
        sum += ((n - below) * (n - below) - (n - with) * (n - with)) * libm::log(upper.max(SMALLEST));
        below = with;
    }
    -n - sum / n
}

/// Largest distance of the empirical law from a law: that of Kolmogorov (1933) where all times ended.
pub fn distance(sample: &Sample, law: &Fitted) -> f64 {
    survival::steps(sample)
        .iter()
        .map(|step| {
            let (_, upper) = law.tails(step.time);
            (upper - step.before).abs().max((upper - step.after).abs())
        })
        .fold(0.0, f64::max)
}

/// Which statistic.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Statistic {
    /// For times that all ended.
    AndersonDarling,
    /// For times of which some were cut off.
    Distance,
}

impl Statistic {
    /// The one for this sample.
    pub fn of(sample: &Sample) -> Self {
        if sample.n_ended == sample.n { Statistic::AndersonDarling } else { Statistic::Distance }
    }

    /// Its value.
    pub fn value(self, sample: &Sample, law: &Fitted) -> f64 {
        match self {
            Statistic::AndersonDarling => anderson_darling(sample, law),
            Statistic::Distance => distance(sample, law),
        }
    }

    /// Its name.
    pub fn name(self) -> &'static str {
        match self {
            Statistic::AndersonDarling => "Anderson-Darling",
            Statistic::Distance => "largest distance from Kaplan-Meier",
        }
    }

    /// The value on a scale that does not depend on the number of times.
    fn scaled(self, value: f64, n: u64) -> f64 {
        match self {
            Statistic::AndersonDarling => value,
            Statistic::Distance => value * (n as f64).sqrt(),
        }
    }
}

/// A distance and how likely it is.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Goodness {
    /// Which statistic.
    pub statistic: Statistic,
    /// Its value.
    pub value: f64,
    /// Chance of a value as large if the law were right; none if it was not asked for.
    pub chance: Option<f64>,
    /// Bootstrap samples behind the chance.
    pub samples: u64,
}

/// Compares a sample with the law that was fitted to it, with so many bootstrap samples. Luck: the streams `fit` of the seed.
pub fn goodness(sample: &Sample, law: &Fitted, bootstrap: u64, seed: u64) -> Goodness {
    let statistic = Statistic::of(sample);
    let value = statistic.value(sample, law);
    let found = statistic.scaled(value, sample.n);
    let rows = sample.n.min(BOOTSTRAP_ROWS_MAX);
    let draws = Draws::new(sample, law);
    let (mut done, mut as_far) = (0_u64, 0_u64);
    for number in 0..bootstrap {
        let mut luck = Stream::new(seed, number, "fit", law.family.word());
        let drawn = draws.sample(rows, &mut luck);
        // A drawn sample without two ends says nothing of the law.
        let Ok(refitted) = estimators::fit(law.family, &drawn) else { continue };
        done += 1;
        as_far += u64::from(statistic.scaled(statistic.value(&drawn, &refitted), rows) >= found);
    }
    let chance = (done > 0).then(|| (as_far + 1) as f64 / (done + 1) as f64);
    Goodness { statistic, value, chance, samples: done }
}

/// Draws times of a law, cut off as in a sample.
struct Draws {
    law: Sampler,
    /// Times of cut-offs with the chance to be watched for longer, falling.
    watch: Vec<(f64, f64)>,
}

impl Draws {
    fn new(sample: &Sample, law: &Fitted) -> Self {
        let watch = survival::watch_steps(sample);
        Draws {
            law: Sampler::new(&law.law(), 1.0, Method::Inversion),
            watch: watch.iter().map(|step| (step.time, step.after)).collect(),
        }
    }

    fn sample(&self, rows: u64, luck: &mut Stream) -> Sample {
        let grains = (0..rows).map(|_| {
            // A draw of exactly zero is rounding.
            let time = self.law.draw(luck).max(f64::MIN_POSITIVE);
            let watched = self.watched(luck);
            Grain { time: time.min(watched), count: 1, ended: time <= watched }
        });
        Sample::of(grains.collect())
    }

    /// How long one watches: for ever where none was cut off so late.
    fn watched(&self, luck: &mut Stream) -> f64 {
        if self.watch.is_empty() {
            return f64::INFINITY;
        }
        let u = luck.open_unit();
        let step = self.watch.partition_point(|(_, after)| *after >= u);
        self.watch.get(step).map_or(f64::INFINITY, |(time, _)| *time)
    }
}

/// Chance that Kolmogorov's distance of `n` independent times from a law that was known beforehand is below `d` (Marsaglia, Tsang &
/// Wang 2003, J. Statistical Software 8, after Durbin 1973): a power of a matrix of the order of twice n d.
pub fn kolmogorov(n: u32, d: f64) -> f64 {
    let nd = f64::from(n) * d;
    if d <= 0.0 || n == 0 {
        return 0.0;
    }
    if d >= 1.0 {
        return 1.0;
    }
    let k = nd.ceil() as usize;
    let m = 2 * k - 1;
    let h = k as f64 - nd;
    let mut matrix = vec![vec![0.0; m]; m];
    for (i, row) in matrix.iter_mut().enumerate() {
        for (j, cell) in row.iter_mut().enumerate() {
            *cell = if i + 1 < j { 0.0 } else { 1.0 };
        }
    }
    for (i, row) in matrix.iter_mut().enumerate() {
        row[0] -= libm::pow(h, (i + 1) as f64);
    }
    for (i, cell) in matrix[m - 1].iter_mut().enumerate() {
        *cell -= libm::pow(h, (m - i) as f64);
    }
    if 2.0 * h > 1.0 {
        matrix[m - 1][0] += libm::pow(2.0 * h - 1.0, m as f64);
    }
    for (i, row) in matrix.iter_mut().enumerate() {
        for (j, cell) in row.iter_mut().enumerate().take(i + 1) {
            *cell /= libm::tgamma((i + 2 - j) as f64);
        }
    }
    // Each factor is divided by n as it comes, so that n! / n^n never has to be formed.
    let mut vector: Vec<f64> = (0..m).map(|i| f64::from(u8::from(i == k - 1))).collect();
    for step in 1..=n {
        let factor = f64::from(step) / f64::from(n);
        vector = (0..m).map(|j| factor * (0..m).map(|i| vector[i] * matrix[i][j]).sum::<f64>()).collect();
    }
    vector[k - 1]
}

/// Limit law of the root of n times Kolmogorov's distance (Kolmogorov 1933).
pub fn kolmogorov_limit(x: f64) -> f64 {
    if x < 0.2 {
        return 0.0;
    }
    let term = |k: f64| libm::exp(-2.0 * k * k * x * x);
    1.0 - 2.0
        * (1..40).map(|k| if k % 2 == 1 { term(f64::from(k)) } else { -term(f64::from(k)) }).sum::<f64>()
}

/// Limit law of the Anderson-Darling statistic for a law that was known beforehand: the chance to be below `a` (Anderson &
/// Darling 1954, their series; the integrals by the midpoint rule in a variable in which they fall off as a normal density).
pub fn anderson_darling_limit(a: f64) -> f64 {
    if a <= 0.01 {
        return 0.0;
    }
    let mut sum = 0.0;
    // Generalised binomial coefficient (-1/2 over j), from term to term.
    let mut coefficient = 1.0;
    for j in 0..60 {
        let j = f64::from(j);
        let t = (4.0 * j + 1.0) * (4.0 * j + 1.0) * PI * PI / (8.0 * a);
        if t > 700.0 {
            break;
        }
        let integrand = |w: f64| libm::exp(a / (8.0 * (w * w + 1.0)) - t * w * w);
        let (steps, reach) = (2000, (40.0 / t).sqrt());
        let width = reach / f64::from(steps);
        let integral: f64 = (0..steps).map(|k| integrand((f64::from(k) + 0.5) * width)).sum::<f64>() * width;
        sum += coefficient * (4.0 * j + 1.0) * libm::exp(-t) * integral;
        coefficient *= (-0.5 - j) / (j + 1.0);
    }
    // Over w from 0 on; the series has sqrt(2 pi) / a before it.
    (2.0 * PI).sqrt() / a * sum
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::fit::Family;

    #[test]
    fn limit_laws_have_their_known_points() {
        // Check rows F-15 to F-17: Miller (1956), J. American Statistical Association 51; Kolmogorov (1933); Anderson & Darling
        // (1954), J. American Statistical Association 49.
        assert!((kolmogorov(10, 0.409_246_084_8) - 0.95).abs() < 1e-9);
        assert!((kolmogorov_limit(1.358_098_639) - 0.95).abs() < 1e-9);
        assert!((anderson_darling_limit(2.492_367_2) - 0.95).abs() < 1e-7);
        assert!(anderson_darling_limit(50.0) > 1.0 - 1e-9 && kolmogorov(10, 1.0) == 1.0);
    }

    #[test]
    fn statistics_agree_with_their_definitions_where_times_are_equal() {
        let sample = Sample::complete(&[1.0, 2.0, 2.0, 2.0, 5.0]);
        let law = estimators::fit(Family::Exponential, &sample).unwrap();
        let times = [1.0, 2.0, 2.0, 2.0, 5.0];
        let f = |t: f64| 1.0 - libm::exp(-t / 2.4);
        let n = 5;
        let sum: f64 = (0..n)
            .map(|i| (2 * i + 1) as f64 * (libm::log(f(times[i])) + libm::log(1.0 - f(times[n - 1 - i]))))
            .sum();
        assert!((anderson_darling(&sample, &law) - (-5.0 - sum / 5.0)).abs() < 1e-12);
        let steps = [(1.0, 0.0, 0.2), (2.0, 0.2, 0.8), (5.0, 0.8, 1.0)];
        let largest = steps
            .iter()
            .map(|&(t, before, after)| (f(t) - before).abs().max((f(t) - after).abs()))
            .fold(0.0, f64::max);
        assert!((distance(&sample, &law) - largest).abs() < 1e-12);
    }

    /// 60 samples of a gamma law, fitted by it: chances are spread evenly, so that 15 of 60 lie below one quarter; and 60 times of
    /// two kinds of stops mixed are told from an exponential law. Tolerance 4.5 standard errors, seeds fixed.
    #[test]
    fn a_right_law_is_rarely_rejected_and_a_wrong_one_is() {
        let law = crate::terms::law::Law::from(crate::terms::law::Shape::Gamma { mean: 3.0, spread: 2.0 });
        let sampler = Sampler::new(&law, 1.0, Method::Inversion);
        let mut below = 0;
        for number in 0..60 {
            let mut luck = Stream::new(7, number, "test", "gamma");
            let times: Vec<f64> = (0..40).map(|_| sampler.draw(&mut luck)).collect();
            let sample = Sample::complete(&times);
            let fitted = estimators::fit(Family::Gamma, &sample).unwrap();
            below += u32::from(goodness(&sample, &fitted, 39, number).chance.unwrap() <= 0.25);
        }
        crate::statistics::test_draws::assert_share("chances", below, 60, 0.25, 0.0);
        let mixed: Vec<f64> = (0..60).map(|n| if n % 2 == 0 { 10.0 } else { 200.0 } + f64::from(n)).collect();
        let sample = Sample::complete(&mixed);
        let fitted = estimators::fit(Family::Exponential, &sample).unwrap();
        assert!(goodness(&sample, &fitted, 199, 1).chance.unwrap() <= 0.01);
    }
}
