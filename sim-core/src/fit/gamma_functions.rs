//! Derivatives of the logarithm of the gamma function, for the likelihood of the gamma law.
//!
//! Recurrence up to 20, then the asymptotic series (Abramowitz & Stegun 1964, 6.3.18 and 6.4.12): about 15 digits.

/// From here on the series is used.
const FAR: f64 = 20.0;

/// Digamma function at x > 0.
pub(super) fn digamma(x: f64) -> f64 {
    let (mut x, mut sum) = (x, 0.0);
    while x < FAR {
        sum -= 1.0 / x;
        x += 1.0;
    }
    let y = 1.0 / (x * x);
    sum + libm::log(x) - 0.5 / x - y * (1.0 / 12.0 - y * (1.0 / 120.0 - y * (1.0 / 252.0 - y / 240.0)))
}

/// Trigamma function at x > 0.
pub(super) fn trigamma(x: f64) -> f64 {
    let (mut x, mut sum) = (x, 0.0);
    while x < FAR {
        sum += 1.0 / (x * x);
        x += 1.0;
    }
    let y = 1.0 / (x * x);
    sum + 1.0 / x + 0.5 * y + y / x * (1.0 / 6.0 - y * (1.0 / 30.0 - y * (1.0 / 42.0 - y / 30.0)))
}

#[cfg(test)]
mod tests {
    use super::*;
    use std::f64::consts::PI;

    #[test]
    fn known_values() {
        // Abramowitz & Stegun (1964), 6.3.2, 6.3.3 and 6.4.2: minus Euler's constant, pi^2/6 and pi^2/2.
        const EULER: f64 = 0.577_215_664_901_532_9;
        assert!((digamma(1.0) + EULER).abs() < 1e-14);
        assert!((digamma(0.5) + EULER + 2.0 * std::f64::consts::LN_2).abs() < 1e-14);
        assert!((trigamma(1.0) - PI * PI / 6.0).abs() < 1e-14);
        assert!((trigamma(0.5) - PI * PI / 2.0).abs() < 1e-13);
        // Against an independent library.
        for x in [0.01, 0.3, 2.5, 19.9, 20.1, 1e4] {
            let other = statrs::function::gamma::digamma(x);
            assert!((digamma(x) - other).abs() < 1e-10 * other.abs().max(1.0), "{x}");
        }
    }
}
