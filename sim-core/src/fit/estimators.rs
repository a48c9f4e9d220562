//! Maximum likelihood of four laws of times, some of them cut off before they ended.
//!
//! A time that ended counts with its density, one that was cut off with the chance to last longer. Weibull by the profile
//! equation of its shape; lognormal as a normal law cut off on the right, in the parameters in which its likelihood is concave
//! (Olsen 1978); gamma by Newton's method in the logarithms of its parameters. Formulas: Lawless, Statistical Models and Methods
//! for Lifetime Data (2003). Invariant: a fit that is handed out is a maximum; its covariance is positive.

use super::gamma_functions::{digamma, trigamma};
use super::{CannotFit, Family, Fitted, Sample};
use crate::statistics::special::{gamma_tails, normal_cdf, normal_density};
use std::f64::consts::PI;

/// Largest shape that is looked for; a scenario accepts none above it.
const STEEPEST: f64 = 1000.0;
/// Steps after which a search has failed.
const STEPS_MAX: u32 = 200;

/// Fits one law.
///
/// # Errors
/// Why it cannot be fitted to this sample.
pub fn fit(family: Family, sample: &Sample) -> Result<Fitted, CannotFit> {
    match family {
        Family::Exponential => exponential(sample),
        Family::Weibull => after_checks(sample, weibull),
        Family::Lognormal => after_checks(sample, lognormal),
        Family::Gamma => after_checks(sample, gamma),
    }
}

/// Laws of two parameters need positive times, of which at least two that differ.
fn after_checks(
    sample: &Sample,
    fit: impl Fn(&Sample) -> Result<Fitted, CannotFit>,
) -> Result<Fitted, CannotFit> {
    if sample.n_zero > 0 {
        return Err(CannotFit::Zeros { n: sample.n_zero });
    }
    if sample.n_ended < 2 {
        return Err(CannotFit::TooFewEnded { have: sample.n_ended, need: 2 });
    }
    let first = sample.ended().next().map_or(0.0, |grain| grain.time);
    let is_beyond = sample.grains.last().is_some_and(|grain| grain.time > first);
    if sample.n_different() < 2 && !is_beyond { Err(CannotFit::AllEqual) } else { fit(sample) }
}

fn exponential(sample: &Sample) -> Result<Fitted, CannotFit> {
    if sample.n_ended == 0 {
        return Err(CannotFit::TooFewEnded { have: 0, need: 1 });
    }
    if sample.total <= 0.0 {
        return Err(CannotFit::AllEqual);
    }
    let d = sample.n_ended as f64;
    let mean = sample.total / d;
    let log_likelihood = -d * libm::log(mean) - d;
    Ok(made(sample, Family::Exponential, [mean, 0.0], [[mean * mean / d, 0.0], [0.0, 0.0]], log_likelihood))
}

fn made(
    sample: &Sample,
    family: Family,
    natural: [f64; 2],
    covariance: [[f64; 2]; 2],
    log_likelihood: f64,
) -> Fitted {
    Fitted { family, natural, covariance, log_likelihood, n_ended: sample.n_ended, n: sample.n }
}

/// The fit with the inverse of the observed information, if that is positive definite.
fn with_information(
    sample: &Sample,
    family: Family,
    natural: [f64; 2],
    information: [f64; 3],
    log_likelihood: f64,
) -> Result<Fitted, CannotFit> {
    let [aa, ab, bb] = information;
    let determinant = aa * bb - ab * ab;
    let is_sound = aa > 0.0 && determinant > 0.0 && determinant.is_finite() && log_likelihood.is_finite();
    if !is_sound {
        return Err(CannotFit::NoMaximum);
    }
    let covariance = [[bb / determinant, -ab / determinant], [-ab / determinant, aa / determinant]];
    Ok(made(sample, family, natural, covariance, log_likelihood))
}

/// Weibull: the shape is the root of a rising function, the scale follows from it.
fn weibull(sample: &Sample) -> Result<Fitted, CannotFit> {
    let d = sample.n_ended as f64;
    let longest = sample.grains.last().map_or(1.0, |grain| grain.time);
    // Logarithms of times over the longest one, so that no power overflows.
    let grains: Vec<(f64, f64)> =
        sample.grains.iter().map(|grain| (grain.count as f64, libm::log(grain.time / longest))).collect();
    let mean_log = sample.sum_ended(|t| libm::log(t / longest)) / d;
    // Value and slope of sum(x^k ln x) / sum(x^k) - 1/k - mean of ln x over those that ended.
    let equation = |k: f64| {
        let (mut s0, mut s1, mut s2) = (0.0, 0.0, 0.0);
        for (count, log) in &grains {
            let power = count * libm::exp(k * log);
            s0 += power;
            s1 += power * log;
            s2 += power * log * log;
        }
        let mean = s1 / s0;
        (mean - 1.0 / k - mean_log, s2 / s0 - mean * mean + 1.0 / (k * k), s0)
    };
    let (mut low, mut high) = (1e-6, STEEPEST);
    if equation(high).0 < 0.0 || equation(low).0 > 0.0 {
        return Err(CannotFit::NoMaximum);
    }
    let mut k = 1.0;
    for _ in 0..STEPS_MAX {
        let (value, slope, _) = equation(k);
        if value > 0.0 {
            high = k
        } else {
            low = k
        }
        let newton = k - value / slope;
        let next = if newton > low && newton < high { newton } else { (low * high).sqrt() };
        let step = (next - k).abs();
        k = next;
        if step <= 4.0 * f64::EPSILON * k {
            break;
        }
    }
    let relative = libm::pow(equation(k).2 / d, 1.0 / k);
    let scale = longest * relative;
    let log_scale = libm::log(relative);
    let (mut s1, mut s2) = (0.0, 0.0);
    for (count, log) in &grains {
        let distance = log - log_scale;
        let power = count * libm::exp(k * distance);
        s1 += power * distance;
        s2 += power * distance * distance;
    }
    // The sum of (x / scale)^k is the number of ends.
    let information = [d / (k * k) + s2, -k * s1 / scale, d * k * k / (scale * scale)];
    let log_likelihood =
        d * (libm::log(k) - libm::log(longest)) + d * (k - 1.0) * mean_log - d * k * log_scale - d;
    with_information(sample, Family::Weibull, [k, scale], information, log_likelihood)
}

/// Hazard of the standard normal law, phi(u) / Phi(-u), without underflow far out (first terms of its continued fraction).
fn normal_hazard(u: f64) -> f64 {
    if u > 25.0 { u + 1.0 / (u + 2.0 / (u + 3.0 / u)) } else { normal_density(u) / normal_cdf(-u) }
}

/// Logarithm of the upper tail of the standard normal law.
fn ln_normal_upper(u: f64) -> f64 {
    if u > 25.0 {
        -0.5 * u * u - 0.5 * libm::log(2.0 * PI) - libm::log(normal_hazard(u))
    } else {
        libm::log(normal_cdf(-u))
    }
}

/// Lognormal: Newton's method for 1/sigma and mu/sigma, where the likelihood is concave.
fn lognormal(sample: &Sample) -> Result<Fitted, CannotFit> {
    let d = sample.n_ended as f64;
    let ended: Vec<(f64, f64)> = sample.ended().map(|g| (g.count as f64, libm::log(g.time))).collect();
    let cut_off: Vec<(f64, f64)> = sample.cut_off().map(|g| (g.count as f64, libm::log(g.time))).collect();
    let sum_logs: f64 = ended.iter().map(|(count, y)| count * y).sum();
    let mean = sum_logs / d;
    let square = ended.iter().map(|(count, y)| count * (y - mean) * (y - mean)).sum::<f64>() / d;
    let constant = -sum_logs - 0.5 * d * libm::log(2.0 * PI);
    if cut_off.is_empty() {
        let information = [d / square, 0.0, 2.0 * d / square];
        let log_likelihood = constant - 0.5 * d * libm::log(square) - 0.5 * d;
        return with_information(
            sample,
            Family::Lognormal,
            [mean, square.sqrt()],
            information,
            log_likelihood,
        );
    }
    // From here on logarithms are counted from the mean of those that ended.
    let at = |[g, e]: [f64; 2]| {
        let mut sums =
            Normal { value: d * libm::log(g), slope: [d / g, 0.0], bend: [-d / (g * g), 0.0, 0.0] };
        for (count, y) in &ended {
            sums.ended(*count, y - mean, g, e);
        }
        for (count, y) in &cut_off {
            sums.cut_off(*count, y - mean, g, e);
        }
        sums
    };
    let all = ended.iter().chain(&cut_off);
    let spread = all.map(|(count, y)| count * (y - mean) * (y - mean)).sum::<f64>() / sample.n as f64;
    let start = [1.0 / spread.sqrt(), 0.0];
    let ([g, e], value) = climb(start, 1e-11, |x| (x[0] > 0.0).then(|| at(x)))?;
    let (mu, sigma) = (mean + e / g, 1.0 / g);
    let information = normal_information(&ended, &cut_off, mu, sigma);
    with_information(sample, Family::Lognormal, [mu, sigma], information, value + constant)
}

/// A likelihood of two parameters with its first and second derivatives (aa, ab, bb).
struct Normal {
    value: f64,
    slope: [f64; 2],
    bend: [f64; 3],
}

impl Normal {
    fn ended(&mut self, count: f64, y: f64, g: f64, e: f64) {
        let u = g * y - e;
        self.value -= 0.5 * count * u * u;
        self.slope[0] -= count * u * y;
        self.slope[1] += count * u;
        self.bend[0] -= count * y * y;
        self.bend[1] += count * y;
        self.bend[2] -= count;
    }

    fn cut_off(&mut self, count: f64, y: f64, g: f64, e: f64) {
        let u = g * y - e;
        let hazard = normal_hazard(u);
        let bend = hazard * (hazard - u);
        self.value += count * ln_normal_upper(u);
        self.slope[0] -= count * hazard * y;
        self.slope[1] += count * hazard;
        self.bend[0] -= count * bend * y * y;
        self.bend[1] += count * bend * y;
        self.bend[2] -= count * bend;
    }
}

/// Observed information of mean and standard deviation of a normal law cut off on the right.
fn normal_information(ended: &[(f64, f64)], cut_off: &[(f64, f64)], mu: f64, sigma: f64) -> [f64; 3] {
    let (mut mm, mut ms, mut ss) = (0.0, 0.0, 0.0);
    for (count, y) in ended {
        let u = (y - mu) / sigma;
        mm += count;
        ms += 2.0 * count * u;
        ss += count * (3.0 * u * u - 1.0);
    }
    for (count, y) in cut_off {
        let u = (y - mu) / sigma;
        let hazard = normal_hazard(u);
        let bend = hazard * (hazard - u);
        mm += count * bend;
        ms += count * (hazard + u * bend);
        ss += count * (2.0 * u * hazard + u * u * bend);
    }
    let square = sigma * sigma;
    [mm / square, ms / square, ss / square]
}

/// Newton's method for a maximum, with halved steps until it gets better. Where the likelihood is not concave it goes
/// along the slope instead. It has arrived when a step is below `fine`.
fn climb(
    start: [f64; 2],
    fine: f64,
    at: impl Fn([f64; 2]) -> Option<Normal>,
) -> Result<([f64; 2], f64), CannotFit> {
    let mut x = start;
    let mut here = at(x).ok_or(CannotFit::NoMaximum)?;
    for _ in 0..STEPS_MAX {
        let [aa, ab, bb] = here.bend;
        let determinant = aa * bb - ab * ab;
        let step = if aa < 0.0 && determinant > 0.0 {
            let [a, b] = here.slope;
            [(ab * b - bb * a) / determinant, (ab * a - aa * b) / determinant]
        } else {
            let size = (aa.abs() + bb.abs()).max(f64::MIN_POSITIVE);
            [here.slope[0] / size, here.slope[1] / size]
        };
        let mut share = 1.0;
        let next = loop {
            let tried = [x[0] + share * step[0], x[1] + share * step[1]];
            match at(tried) {
                Some(there) if there.value >= here.value => break Some((tried, there)),
                Some(_) | None if share > 1e-10 => share *= 0.5,
                // Nothing better along a rising line: this is the top, up to rounding.
                Some(_) | None => break None,
            }
        };
        let Some((tried, there)) = next else { return Ok((x, here.value)) };
        let moved = (0..2).all(|n| (tried[n] - x[n]).abs() <= fine * (1.0 + x[n].abs()));
        (x, here) = (tried, there);
        if moved {
            return Ok((x, here.value));
        }
    }
    Err(CannotFit::NoMaximum)
}

/// Gamma: the shape by the digamma equation where all times ended, else both by Newton's method.
fn gamma(sample: &Sample) -> Result<Fitted, CannotFit> {
    let d = sample.n_ended as f64;
    let sum_ended = sample.sum_ended(|t| t);
    let sum_logs = sample.sum_ended(libm::log);
    // Logarithm of the mean less the mean of logarithms of those that ended: above zero.
    let gap = libm::log(sum_ended / d) - sum_logs / d;
    if sample.n_ended == sample.n {
        let shape = gamma_shape(gap)?;
        let scale = sum_ended / d / shape;
        return gamma_at(sample, shape, scale, sum_ended, sum_logs);
    }
    // A start between the times that ended and the mean under the exponential law.
    let mean = sample.total / d;
    let guess = if gap > 1e-6 { (0.5 / gap).clamp(0.05, 500.0) } else { 1.0 };
    let at = |x: [f64; 2]| {
        let is_near = x[0].abs() < 14.0 && x[1].abs() < 700.0;
        is_near.then(|| gamma_slopes(sample, x, sum_ended, sum_logs))
    };
    let (x, _) = climb([libm::log(guess), libm::log(mean / guess)], 1e-7, at)?;
    gamma_at(sample, libm::exp(x[0]), libm::exp(x[1]), sum_ended, sum_logs)
}

/// Root of ln(a) - digamma(a) = gap, by Newton's method from the start of Minka (2002).
fn gamma_shape(gap: f64) -> Result<f64, CannotFit> {
    if gap <= 0.0 {
        return Err(CannotFit::AllEqual);
    }
    let mut a = (3.0 - gap + ((gap - 3.0) * (gap - 3.0) + 24.0 * gap).sqrt()) / (12.0 * gap);
    for _ in 0..STEPS_MAX {
        // In 1/a the equation is nearly straight.
        let inverse = 1.0 / a + (libm::log(a) - digamma(a) - gap) / (a * a * (1.0 / a - trigamma(a)));
        let next = if inverse > 0.0 { 1.0 / inverse } else { 0.5 * a };
        let step = (next - a).abs();
        a = next;
        if step <= 1e-14 * a {
            break;
        }
    }
    if a.is_finite() { Ok(a) } else { Err(CannotFit::NoMaximum) }
}

fn gamma_value(sample: &Sample, shape: f64, scale: f64, sum_ended: f64, sum_logs: f64) -> f64 {
    let d = sample.n_ended as f64;
    let lasting: f64 =
        sample.cut_off().map(|grain| grain.count as f64 * ln_gamma_upper(shape, grain.time / scale)).sum();
    (shape - 1.0) * sum_logs - sum_ended / scale - d * shape * libm::log(scale) - d * libm::lgamma(shape)
        + lasting
}

/// Logarithm of the upper tail of the gamma law; far out by the first terms of its expansion (Abramowitz & Stegun 1964, 6.5.32).
fn ln_gamma_upper(shape: f64, x: f64) -> f64 {
    let upper = gamma_tails(shape, x).upper;
    if upper > 1e-290 {
        return libm::log(upper);
    }
    (shape - 1.0) * libm::log(x) - x - libm::lgamma(shape)
        + libm::log1p((shape - 1.0) / x * (1.0 + (shape - 2.0) / x))
}

/// Value, slopes and bends in the logarithms of shape and scale, by central differences: their error, some 1e-9 of
/// the number of times, is far below any standard error.
fn gamma_slopes(sample: &Sample, x: [f64; 2], sum_ended: f64, sum_logs: f64) -> Normal {
    let at = |a: f64, b: f64| gamma_value(sample, libm::exp(a), libm::exp(b), sum_ended, sum_logs);
    let [a, b] = x;
    let value = at(a, b);
    let fine = 1e-5;
    let slope = [
        (at(a + fine, b) - at(a - fine, b)) / (2.0 * fine),
        (at(a, b + fine) - at(a, b - fine)) / (2.0 * fine),
    ];
    let h = 1e-3;
    let (up, down) = (at(a + h, b), at(a - h, b));
    let (right, left) = (at(a, b + h), at(a, b - h));
    let cross = at(a + h, b + h) - at(a + h, b - h) - at(a - h, b + h) + at(a - h, b - h);
    let bend =
        [(up - 2.0 * value + down) / (h * h), cross / (4.0 * h * h), (right - 2.0 * value + left) / (h * h)];
    Normal { value, slope, bend }
}

/// The fit at its maximum, with its information carried from logarithms to the parameters themselves.
fn gamma_at(
    sample: &Sample,
    shape: f64,
    scale: f64,
    sum_ended: f64,
    sum_logs: f64,
) -> Result<Fitted, CannotFit> {
    let log_likelihood = gamma_value(sample, shape, scale, sum_ended, sum_logs);
    let d = sample.n_ended as f64;
    let information = if sample.n_ended == sample.n {
        [d * trigamma(shape), d / scale, d * shape / (scale * scale)]
    } else {
        let x = [libm::log(shape), libm::log(scale)];
        let [aa, ab, bb] = gamma_slopes(sample, x, sum_ended, sum_logs).bend;
        // At the maximum the slopes are zero, so second derivatives only get the factors.
        [-aa / (shape * shape), -ab / (shape * scale), -bb / (scale * scale)]
    };
    with_information(sample, Family::Gamma, [shape, scale], information, log_likelihood)
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::fit::sample::Grain;

    /// Lieblein & Zelen (1956), J. Research NBS 57(5), RP 2719: 23 bearings.
    const BEARINGS: [f64; 23] = [
        17.88, 28.92, 33.0, 41.52, 42.12, 45.6, 48.48, 51.84, 51.96, 54.12, 55.56, 67.8, 68.64, 68.64, 68.88,
        84.12, 93.12, 98.64, 105.12, 105.84, 127.92, 128.04, 173.4,
    ];

    /// The bearings as if the watch had ended at 80.
    fn cut_at_80() -> Sample {
        let grain = |&time: &f64| Grain { time: time.min(80.0), count: 1, ended: time < 80.0 };
        Sample::of(BEARINGS.iter().map(grain).collect())
    }

    /// A maximum by its definition: any small step away from it makes the likelihood, worked out anew from densities
    /// and tails, smaller; and the curvature there is the information.
    #[test]
    fn every_fit_is_a_maximum_with_its_curvature() {
        for sample in [Sample::complete(&BEARINGS), cut_at_80()] {
            for family in Family::ALL {
                let found = fit(family, &sample).unwrap();
                let at = |da: f64, db: f64| {
                    let natural = [found.natural[0] + da, found.natural[1] + db];
                    value(&Fitted { natural, ..found }, &sample)
                };
                let top = at(0.0, 0.0);
                assert!(
                    (top - found.log_likelihood).abs() < 1e-6,
                    "{family:?}: {top} {}",
                    found.log_likelihood
                );
                let n = family.n_parameters() as usize;
                let error = |k: usize| found.covariance[k][k].sqrt();
                for k in 0..n {
                    let step = 1e-2 * error(k);
                    let moved = |sign: f64| if k == 0 { at(sign * step, 0.0) } else { at(0.0, sign * step) };
                    let (up, down) = (moved(1.0), moved(-1.0));
                    assert!(up < top && down < top, "{family:?} {k}: {up} {down} below {top}");
                    let bend = -(up - 2.0 * top + down) / (step * step);
                    let c = found.covariance;
                    let determinant = c[0][0] * c[1][1] - c[0][1] * c[0][1];
                    let information = if n == 1 { 1.0 / c[0][0] } else { c[1 - k][1 - k] / determinant };
                    assert!((bend / information - 1.0).abs() < 1e-3, "{family:?} {k}: {bend} {information}");
                }
            }
        }
    }

    /// From the tails alone: densities by differences.
    fn value(law: &Fitted, sample: &Sample) -> f64 {
        let one = |grain: &Grain| {
            let chance = if grain.ended {
                let h = 1e-4 * grain.time;
                (law.tails(grain.time + h).0 - law.tails(grain.time - h).0) / (2.0 * h)
            } else {
                law.tails(grain.time).1
            };
            grain.count as f64 * libm::log(chance)
        };
        sample.grains.iter().map(one).sum()
    }

    #[test]
    fn what_cannot_be_fitted_says_why() {
        let none = Sample::of(vec![Grain { time: 5.0, count: 3, ended: false }]);
        assert_eq!(fit(Family::Exponential, &none), Err(CannotFit::TooFewEnded { have: 0, need: 1 }));
        let equal = Sample::complete(&[2.0; 10]);
        let zero = Sample::complete(&[0.0, 1.0, 2.0]);
        for family in [Family::Weibull, Family::Lognormal, Family::Gamma] {
            assert_eq!(fit(family, &equal), Err(CannotFit::AllEqual));
            assert_eq!(fit(family, &zero), Err(CannotFit::Zeros { n: 1 }));
        }
        assert!(fit(Family::Exponential, &zero).is_ok());
    }

    #[test]
    fn quantiles_undo_tails() {
        for family in Family::ALL {
            let law = fit(family, &Sample::complete(&BEARINGS)).unwrap();
            for p in [0.001, 0.2, 0.5, 0.9, 0.9999] {
                assert!((law.tails(law.quantile(p)).0 - p).abs() < 1e-9, "{family:?} {p}");
            }
        }
    }
}
