//! Tails of the normal, beta, Student t and gamma laws.
//!
//! For the quantiles and the exact binomial tails. Own evaluation, not a library's, for two reasons: the continued
//! fractions run until they have converged (a fixed cap of iterations is silently wrong for shape values beyond some
//! ten thousands), and all transcendental functions come from `libm`. Invariant: both tails are returned, and the
//! smaller one is never found by subtraction from one. Relative accuracy is about 1e-13 for small shape values and
//! 1e-16 times the logarithm of the gamma function for large ones (1e-10 at a shape of 100 000).

use std::f64::consts::{LN_2, PI, SQRT_2};

/// More terms than any shape value up to 1e9 needs.
const MOST_TERMS: u32 = 1_000_000;
/// Relative size of a term from which on a series or fraction has converged.
const CONVERGED: f64 = 1e-16;
/// Stands for zero in Lentz's method.
const TINY: f64 = 1e-300;

/// Chances of falling below and above a point.
#[derive(Debug, Clone, Copy)]
pub(crate) struct Tails {
    /// Chance of a value at or below the point.
    pub(crate) lower: f64,
    /// Chance of a value above the point.
    pub(crate) upper: f64,
}

impl Tails {
    fn from_lower(lower: f64) -> Self {
        Self { lower, upper: 1.0 - lower }
    }

    fn from_upper(upper: f64) -> Self {
        Self { lower: 1.0 - upper, upper }
    }
}

/// Distribution function of the standard normal law.
pub(crate) fn normal_cdf(z: f64) -> f64 {
    0.5 * libm::erfc(-z / SQRT_2)
}

/// Density of the standard normal law.
pub(crate) fn normal_density(z: f64) -> f64 {
    libm::exp(-0.5 * z * z) / (2.0 * PI).sqrt()
}

/// Logarithm of x, where y = 1 - x is known without cancellation.
fn ln_with_complement(x: f64, y: f64) -> f64 {
    if x > 0.5 { libm::log1p(-y) } else { libm::log(x) }
}

/// Tails of the beta law with shapes `a`, `b` at `x`; `y` is 1 - x, passed apart so that neither cancels.
pub(crate) fn beta_tails(a: f64, b: f64, x: f64, y: f64) -> Tails {
    if x <= 0.0 {
        return Tails { lower: 0.0, upper: 1.0 };
    }
    if y <= 0.0 {
        return Tails { lower: 1.0, upper: 0.0 };
    }
    let front = libm::exp(ln_beta_front(a, b, x, y));
    if x < (a + 1.0) / (a + b + 2.0) {
        Tails::from_lower((front * beta_fraction(a, b, x) / a).min(1.0))
    } else {
        Tails::from_upper((front * beta_fraction(b, a, y) / b).min(1.0))
    }
}

/// Density of the beta law.
pub(crate) fn beta_density(a: f64, b: f64, x: f64, y: f64) -> f64 {
    libm::exp(ln_beta_front(a, b, x, y)) / (x * y)
}

/// Logarithm of x^a y^b / B(a, b).
fn ln_beta_front(a: f64, b: f64, x: f64, y: f64) -> f64 {
    libm::lgamma(a + b) - libm::lgamma(a) - libm::lgamma(b)
        + a * ln_with_complement(x, y)
        + b * ln_with_complement(y, x)
}

/// Continued fraction of the incomplete beta function (Abramowitz & Stegun 1964, 26.5.8) by Lentz's method as modified
/// by Thompson & Barnett (1986).
fn beta_fraction(a: f64, b: f64, x: f64) -> f64 {
    let away_from_zero = |v: f64| if v.abs() < TINY { TINY } else { v };
    let mut c = 1.0;
    let mut d = 1.0 / away_from_zero(1.0 - (a + b) * x / (a + 1.0));
    let mut value = d;
    for term in 1..MOST_TERMS {
        let m = f64::from(term);
        let even = m * (b - m) * x / ((a + 2.0 * m - 1.0) * (a + 2.0 * m));
        d = 1.0 / away_from_zero(1.0 + even * d);
        c = away_from_zero(1.0 + even / c);
        value *= d * c;
        let odd = -(a + m) * (a + b + m) * x / ((a + 2.0 * m) * (a + 2.0 * m + 1.0));
        d = 1.0 / away_from_zero(1.0 + odd * d);
        c = away_from_zero(1.0 + odd / c);
        let step = d * c;
        value *= step;
        if (step - 1.0).abs() <= 2.0 * f64::EPSILON {
            break;
        }
    }
    value
}

/// Chance that a binomial count of `n` trials with chance `p` is at least `k`.
pub(crate) fn binomial_at_least(n: u64, p: f64, k: u64) -> f64 {
    if k == 0 {
        return 1.0;
    }
    if k > n {
        return 0.0;
    }
    beta_tails(k as f64, (n - k) as f64 + 1.0, p, 1.0 - p).lower
}

/// Chance that a binomial count of `n` trials with chance `p` is at most `k`.
pub(crate) fn binomial_at_most(n: u64, p: f64, k: u64) -> f64 {
    if k >= n {
        return 1.0;
    }
    beta_tails(k as f64 + 1.0, (n - k) as f64, p, 1.0 - p).upper
}

/// Chance that Student's t with `df` degrees of freedom exceeds `t`, for t of either sign.
pub(crate) fn student_t_upper_tail(t: f64, df: f64) -> f64 {
    let square = t * t;
    let x = df / (df + square);
    let y = square / (df + square);
    let half = 0.5 * beta_tails(0.5 * df, 0.5, x, y).lower;
    if t >= 0.0 { half } else { 1.0 - half }
}

/// Density of Student's t.
pub(crate) fn student_t_density(t: f64, df: f64) -> f64 {
    let log = libm::lgamma(0.5 * (df + 1.0))
        - libm::lgamma(0.5 * df)
        - 0.5 * libm::log(df * PI)
        - 0.5 * (df + 1.0) * libm::log1p(t * t / df);
    libm::exp(log)
}

/// Tails of the gamma law with the given shape and scale 1 at `x`: series below the mean, Legendre's continued fraction
/// above it (Abramowitz & Stegun 1964, 6.5.29 and 6.5.31).
pub(crate) fn gamma_tails(shape: f64, x: f64) -> Tails {
    if x <= 0.0 {
        return Tails { lower: 0.0, upper: 1.0 };
    }
    let front = libm::exp(shape * libm::log(x) - x - libm::lgamma(shape));
    if x < shape + 1.0 {
        Tails::from_lower((front * gamma_series(shape, x)).min(1.0))
    } else {
        Tails::from_upper((front * gamma_fraction(shape, x)).min(1.0))
    }
}

fn gamma_series(shape: f64, x: f64) -> f64 {
    let mut term = 1.0 / shape;
    let mut sum = term;
    for k in 1..MOST_TERMS {
        term *= x / (shape + f64::from(k));
        sum += term;
        if term <= sum * CONVERGED {
            break;
        }
    }
    sum
}

fn gamma_fraction(shape: f64, x: f64) -> f64 {
    let mut b = x + 1.0 - shape;
    let mut c = 1.0 / TINY;
    let mut d = 1.0 / b;
    let mut value = d;
    for k in 1..MOST_TERMS {
        let k = f64::from(k);
        let a = -k * (k - shape);
        b += 2.0;
        d = a * d + b;
        d = 1.0 / if d.abs() < TINY { TINY } else { d };
        c = b + a / c;
        c = if c.abs() < TINY { TINY } else { c };
        value *= d * c;
        if (d * c - 1.0).abs() <= 2.0 * f64::EPSILON {
            break;
        }
    }
    value
}

/// Density of the gamma law with the given shape and scale 1.
pub(crate) fn gamma_density(shape: f64, x: f64) -> f64 {
    libm::exp((shape - 1.0) * libm::log(x) - x - libm::lgamma(shape))
}

/// Density of s / sigma, the standard deviation of a normal sample with `df` degrees of freedom relative to the true
/// one: s^2 df / sigma^2 is chi-square.
pub(crate) fn relative_deviation_density(s: f64, df: f64) -> f64 {
    if s <= 0.0 {
        // Only the half-normal law, one degree of freedom, has a density at zero.
        return if df > 1.0 { 0.0 } else { (2.0 / PI).sqrt() };
    }
    let half = 0.5 * df;
    libm::exp(LN_2 + half * libm::log(half) - libm::lgamma(half) + (df - 1.0) * libm::log(s) - half * s * s)
}

#[cfg(test)]
mod tests {
    use super::*;
    use statrs::distribution::{Binomial, ContinuousCDF, DiscreteCDF, Gamma, StudentsT};

    fn close(a: f64, b: f64, relative: f64) {
        assert!((a - b).abs() <= relative * b.abs(), "{a} is not {b}");
    }

    #[test]
    fn tails_agree_with_an_independent_library() {
        for (n, p, k) in [(10, 0.3, 4), (263, 0.31, 90), (2000, 0.95, 1888), (50, 0.5, 25)] {
            let law = Binomial::new(p, n).unwrap();
            close(binomial_at_most(n, p, k), law.cdf(k), 1e-10);
            close(binomial_at_least(n, p, k), law.sf(k - 1), 1e-10);
        }
        for (t, df) in [(0.3, 1.0), (-2.0, 4.0), (3.5, 30.0), (1.7, 400.0)] {
            close(student_t_upper_tail(t, df), StudentsT::new(0.0, 1.0, df).unwrap().sf(t), 1e-10);
        }
        for (shape, x) in [(0.5, 0.1), (3.0, 2.0), (9.5, 20.0), (100.0, 101.5)] {
            close(gamma_tails(shape, x).lower, Gamma::new(shape, 1.0).unwrap().cdf(x), 1e-10);
        }
    }

    #[test]
    fn a_large_binomial_tail_is_the_sum_of_its_terms() {
        // 100 000 trials: beyond the reach of a fraction cut off after some hundred terms.
        let (n, p, k) = (100_000_u64, 0.5_f64, 49_900_u64);
        let mut sum = 0.0;
        let mut term = libm::exp(
            libm::lgamma(n as f64 + 1.0) - libm::lgamma(k as f64 + 1.0) - libm::lgamma((n - k) as f64 + 1.0)
                + n as f64 * libm::log(p),
        );
        for j in (0..=k).rev() {
            sum += term;
            term *= j as f64 / (n - j + 1) as f64;
        }
        close(binomial_at_most(n, p, k), sum, 1e-9);
    }
}
