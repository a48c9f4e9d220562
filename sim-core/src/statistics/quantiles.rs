//! Quantiles of the normal, Student t, beta and chi-square laws.
//!
//! For every interval in this folder. Each is found as the root of the logarithm of the smaller tail, by Newton steps
//! kept inside a bracket; no approximation formula is involved, so the digits are those of the tail itself. Arguments
//! outside the stated ranges give NaN: callers check levels where they enter.

use super::special::{
    beta_density, beta_tails, gamma_density, gamma_tails, normal_cdf, normal_density, student_t_density,
    student_t_upper_tail,
};

/// Value that a standard normal variable exceeds with chance `error`, 0 < error < 1.
pub fn normal_upper(error: f64) -> f64 {
    if !(error > 0.0 && error < 1.0) {
        return f64::NAN;
    }
    if error > 0.5 {
        return -normal_upper(1.0 - error);
    }
    falling_root(error, 0.0, 40.0, |z| (normal_cdf(-z), normal_density(z)))
}

/// Standard normal quantile: the value not exceeded with chance `p`, 0 < p < 1.
pub fn normal(p: f64) -> f64 {
    -normal_upper(p)
}

/// Value that Student's t with `df` > 0 degrees of freedom exceeds with chance `error`, 0 < error < 1.
pub fn student_t_upper(error: f64, df: f64) -> f64 {
    if !(error > 0.0 && error < 1.0 && df > 0.0) {
        return f64::NAN;
    }
    if error > 0.5 {
        return -student_t_upper(1.0 - error, df);
    }
    let tail = |t: f64| (student_t_upper_tail(t, df), student_t_density(t, df));
    let (low, high) = doubled(error, 1.0, |t| tail(t).0);
    falling_root(error, low, high, tail)
}

/// Quantile of Student's t: the value not exceeded with chance `p`, 0 < p < 1.
pub fn student_t(p: f64, df: f64) -> f64 {
    -student_t_upper(p, df)
}

/// Quantile of the beta law with shapes `a`, `b` > 0: the value not exceeded with chance `p`, 0 < p < 1.
pub fn beta(p: f64, a: f64, b: f64) -> f64 {
    if !(p > 0.0 && p < 1.0 && a > 0.0 && b > 0.0) {
        return f64::NAN;
    }
    if p <= 0.5 { beta_from_below(p, a, b) } else { 1.0 - beta_from_below(1.0 - p, b, a) }
}

/// Beta quantile for a chance of at most one half or so, to full relative precision even near zero.
pub(crate) fn beta_from_below(p: f64, a: f64, b: f64) -> f64 {
    let lower = |x: f64| beta_tails(a, b, x, 1.0 - x).lower;
    let mut high = 1.0;
    while high > f64::MIN_POSITIVE && lower(0.5 * high) > p {
        high *= 0.5;
    }
    // Reflected, so that the tail falls: x = -u.
    -falling_root(p, -high, -0.5 * high, |u| (lower(-u), beta_density(a, b, -u, 1.0 + u)))
}

/// Quantile of the chi-square law with `df` > 0 degrees of freedom: the value not exceeded with chance `p`, 0 < p < 1.
pub fn chi_square(p: f64, df: f64) -> f64 {
    if !(p > 0.0 && p < 1.0 && df > 0.0) {
        return f64::NAN;
    }
    let shape = 0.5 * df;
    if p > 0.5 {
        let tail = |x: f64| (gamma_tails(shape, x).upper, gamma_density(shape, x));
        let (low, high) = doubled(1.0 - p, shape, |x| tail(x).0);
        return 2.0 * falling_root(1.0 - p, low, high, tail);
    }
    let lower = |x: f64| gamma_tails(shape, x).lower;
    let mut high = 2.0 * shape + 1.0;
    while high > f64::MIN_POSITIVE && lower(0.5 * high) > p {
        high *= 0.5;
    }
    -2.0 * falling_root(p, -high, -0.5 * high, |u| (lower(-u), gamma_density(shape, -u)))
}

/// A bracket above zero for the point at which a falling tail reaches `target`.
fn doubled(target: f64, start: f64, tail: impl Fn(f64) -> f64) -> (f64, f64) {
    let (mut low, mut high) = (0.0, start);
    while high < 1e300 && tail(high) > target {
        low = high;
        high *= 2.0;
    }
    (low, high)
}

/// Where a falling tail equals `target`: Newton's method on the logarithm of the tail, which is close to straight in the
/// far tail, with bisection whenever a step leaves the bracket. `tail` gives the tail and the density at a point.
fn falling_root(target: f64, low: f64, high: f64, tail: impl Fn(f64) -> (f64, f64)) -> f64 {
    let (mut low, mut high) = (low, high);
    let wanted = libm::log(target);
    let mut x = 0.5 * (low + high);
    for _ in 0..200 {
        let (value, density) = tail(x);
        let excess = libm::log(value) - wanted;
        if excess > 0.0 {
            low = x;
        } else {
            high = x;
        }
        let newton = x + excess * value / density;
        let next = if newton > low && newton < high { newton } else { 0.5 * (low + high) };
        if (next - x).abs() <= 2.0 * f64::EPSILON * x.abs() || excess == 0.0 {
            return if excess == 0.0 { x } else { next };
        }
        x = next;
    }
    x
}

#[cfg(test)]
mod tests {
    use super::*;
    use statrs::distribution::{Beta, ChiSquared, ContinuousCDF};

    fn digits(value: f64, expected: f64) {
        assert!((value - expected).abs() < 0.6e-9 * expected.abs(), "{value} is not {expected}");
    }

    #[test]
    fn student_t_has_the_digits_of_the_tables() {
        // Student (1908), Biometrika 6, and standard t tables: check rows S-01 to S-04.
        digits(student_t(0.975, 4.0), 2.776_445_105); // S-01
        digits(student_t(0.95, 9.0), 1.833_112_933); // S-02
        digits(student_t(0.975, 19.0), 2.093_024_054); // S-03
        digits(student_t(0.995, 39.0), 2.707_913_184); // S-04
        digits(student_t(0.005, 39.0), -2.707_913_184);
    }

    #[test]
    fn closed_forms_are_met() {
        // The t law with 1 degree of freedom is Cauchy's; with 2 its quantile is (2p-1)/sqrt(2p(1-p)).
        digits(student_t(0.75, 1.0), 1.0);
        digits(student_t(0.9, 2.0), 0.8 / (2.0_f64 * 0.9 * 0.1).sqrt());
        // Chi-square with 2 degrees of freedom is exponential; beta(1, n) is the smallest of n uniforms.
        digits(chi_square(0.3, 2.0), -2.0 * libm::log(0.7));
        digits(chi_square(0.999, 2.0), -2.0 * libm::log(0.001));
        digits(beta(1e-9, 1.0, 5000.0), -libm::expm1(libm::log1p(-1e-9) / 5000.0));
        digits(beta(0.9, 1.0, 20.0), 1.0 - libm::pow(0.1, 0.05));
        // Normal: standard tables.
        digits(normal(0.975), 1.959_963_985);
        digits(normal_upper(1e-12), 7.034_483_825);
        assert!(normal(0.5).abs() < 1e-15);
    }

    #[test]
    fn quantiles_invert_an_independent_distribution_function() {
        for p in [1e-6, 0.01, 0.4, 0.6, 0.99, 1.0 - 1e-6] {
            for (a, b) in [(0.5, 0.5), (3.0, 90.0), (400.0, 20.0)] {
                let back = Beta::new(a, b).unwrap().cdf(beta(p, a, b));
                assert!((back - p).abs() < 1e-10, "beta {a} {b} {p}: {back}");
            }
            for df in [0.7, 3.0, 250.0] {
                let back = ChiSquared::new(df).unwrap().cdf(chi_square(p, df));
                assert!((back - p).abs() < 1e-10, "chi-square {df} {p}: {back}");
            }
        }
    }

    #[test]
    fn senseless_arguments_give_no_number() {
        assert!(normal(0.0).is_nan() && normal(1.0).is_nan() && normal(f64::NAN).is_nan());
        assert!(
            student_t(0.9, 0.0).is_nan() && beta(0.5, -1.0, 1.0).is_nan() && chi_square(1.5, 3.0).is_nan()
        );
    }
}
