//! Factors for normal tolerance limits: mean plus or minus k standard deviations holds a share of all values with a
//! stated confidence.
//!
//! For saying what nearly all shifts do, when shift rates are near normal. The one-sided factor is exact; the
//! approximations are kept under their own names, because tables print both and they differ in the third digit.
//! Invariant: no factor is returned without its sample size being checked.

use super::quadrature::panels;
use super::quantiles::{chi_square, normal};
use super::special::{normal_cdf, relative_deviation_density};
use super::{CannotSay, at_least, inside_unit};

fn check(n: u64, share: f64, confidence: f64) -> Result<(), CannotSay> {
    at_least(n, 2)?;
    inside_unit("share", share)?;
    inside_unit("confidence", confidence)?;
    Ok(())
}

/// Exact one-sided factor from the non-central t law (Owen 1963), evaluated as the chance that
/// Z + z_share sqrt(n) <= k sqrt(n) s, integrated over the law of s.
///
/// # Errors
/// Fewer than two values; `share` or `confidence` outside (0, 1).
pub fn one_sided(n: u64, share: f64, confidence: f64) -> Result<f64, CannotSay> {
    check(n, share, confidence)?;
    let root = (n as f64).sqrt();
    let z = normal(share);
    let weights = deviation_weights(n as f64 - 1.0);
    let reached = |k: f64| -> f64 { weights.iter().map(|&(s, w)| w * normal_cdf(root * (k * s - z))).sum() };
    // The factor rises with the confidence; the bracket doubles until it holds it.
    let (mut low, mut high) = (-1.0, 1.0);
    while reached(low) > confidence && low > -1e9 {
        low *= 2.0;
    }
    while reached(high) < confidence && high < 1e9 {
        high *= 2.0;
    }
    for _ in 0..100 {
        let middle = 0.5 * (low + high);
        if reached(middle) < confidence {
            low = middle;
        } else {
            high = middle;
        }
    }
    Ok(0.5 * (low + high))
}

/// Points and weights for expectations over the relative standard deviation of a normal sample.
fn deviation_weights(df: f64) -> Vec<(f64, f64)> {
    // The law has mean near 1 and standard deviation near 1/sqrt(2 df); beyond 12 of them nothing is left.
    let reach = 12.0 / (2.0 * df).sqrt();
    let nodes = panels((1.0 - reach).max(0.0), 1.0 + reach, 40);
    nodes.iter().map(|node| (node.at, node.weight * relative_deviation_density(node.at, df))).collect()
}

/// One-sided factor in Natrella's approximation (Natrella 1963, Experimental Statistics, Handbook 91).
///
/// # Errors
/// Fewer than two values, arguments outside (0, 1), or a sample too small for the approximation.
pub fn one_sided_natrella(n: u64, share: f64, confidence: f64) -> Result<f64, CannotSay> {
    check(n, share, confidence)?;
    let (zp, zc) = (normal(share), normal(confidence));
    let n = n as f64;
    let a = 1.0 - zc * zc / (2.0 * (n - 1.0));
    let b = zp * zp - zc * zc / n;
    let inner = zp * zp - a * b;
    if a <= 0.0 || inner < 0.0 {
        return Err(CannotSay::OutOfRange { what: "sample size for this approximation", value: n });
    }
    Ok((zp + inner.sqrt()) / a)
}

/// Two-sided factor in Howe's approximation (Howe 1969, Journal of the American Statistical Association 64).
///
/// # Errors
/// Fewer than two values; `share` or `confidence` outside (0, 1).
pub fn two_sided_howe(n: u64, share: f64, confidence: f64) -> Result<f64, CannotSay> {
    check(n, share, confidence)?;
    let df = n as f64 - 1.0;
    let z = normal(0.5 * (1.0 + share));
    Ok(z * (df * (1.0 + 1.0 / n as f64) / chi_square(1.0 - confidence, df)).sqrt())
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::statistics::quantiles::student_t;

    fn within(value: f64, expected: f64, tolerance: f64) {
        assert!((value - expected).abs() <= tolerance, "{value} is not {expected}");
    }

    #[test]
    fn published_factors() {
        // Check rows S-33 to S-35: NIST/SEMATECH e-Handbook of Statistical Methods, 7.2.6.3 (n = 43, coverage 0.90,
        // confidence 0.99). Row S-36: Owen (1963) tables print 2.911.
        within(one_sided(43, 0.90, 0.99).unwrap(), 1.873_953_6, 0.6e-7); // S-33
        within(one_sided_natrella(43, 0.90, 0.99).unwrap(), 1.875_189_581, 0.6e-9); // S-34
        within(two_sided_howe(43, 0.90, 0.99).unwrap(), 2.217_315_897, 0.6e-9); // S-35
        within(one_sided(10, 0.95, 0.95).unwrap(), 2.910_963_4, 0.6e-7); // S-36
    }

    #[test]
    fn half_of_all_values_is_a_central_t() {
        // With share 0.5 the non-central t law is Student's: k = t / sqrt(n).
        for n in [2_u64, 3, 5, 100, 2000] {
            let exact = student_t(0.95, n as f64 - 1.0) / (n as f64).sqrt();
            within(one_sided(n, 0.5, 0.95).unwrap(), exact, 1e-9 * exact);
        }
    }

    #[test]
    fn senseless_questions_are_refused() {
        assert!(one_sided(1, 0.9, 0.9).is_err() && two_sided_howe(10, 1.0, 0.9).is_err());
        assert!(one_sided_natrella(2, 0.9, 0.99).is_err());
    }
}
