//! Constants for choosing the best of several designs in two stages.
//!
//! Given k designs, n0 first-stage replications each and a wanted chance of choosing the best, the constant times the
//! first-stage standard deviation over the smallest difference that matters, squared, is the sample size (rounded up).
//! Both procedures need streams that are independent between designs: under common random numbers they do not hold.
//! Invariant: the constant is found from the defining integral, never from a table.

use super::quadrature::panels;
use super::special::{normal_cdf, relative_deviation_density, student_t_upper_tail};
use super::{CannotSay, at_least};

/// Largest constant looked for.
const LARGEST: f64 = 1e4;

fn check(designs: u64, first_stage: u64, chance: f64) -> Result<(), CannotSay> {
    at_least(designs, 2)?;
    at_least(first_stage, 2)?;
    // Picking at random already gives 1/k; the constant is positive only above it.
    if chance > 1.0 / designs as f64 && chance < 1.0 {
        Ok(())
    } else {
        Err(CannotSay::OutOfRange { what: "chance of choosing the best", value: chance })
    }
}

/// Rinott's constant h (Rinott 1978, Communications in Statistics A7): the root of
/// E_y[ (E_x Phi(h / sqrt((n0-1)(1/x + 1/y))))^(k-1) ] = `chance`, x and y chi-square with n0 - 1 degrees of freedom.
///
/// # Errors
/// Fewer than two designs or two first-stage replications, or a chance not strictly between 1/k and 1.
pub fn rinott(designs: u64, first_stage: u64, chance: f64) -> Result<f64, CannotSay> {
    check(designs, first_stage, chance)?;
    let df = first_stage as f64 - 1.0;
    let reach = 12.0 / (2.0 * df).sqrt();
    // With s = sqrt(x / (n0-1)) the argument is h / sqrt(1/s^2 + 1/r^2).
    let nodes: Vec<(f64, f64)> = panels((1.0 - reach).max(0.0), 1.0 + reach, 8)
        .iter()
        .map(|n| (1.0 / (n.at * n.at), n.weight * relative_deviation_density(n.at, df)))
        .collect();
    let others = designs as f64 - 1.0;
    let reached = |h: f64| -> f64 {
        nodes
            .iter()
            .map(|&(y, wy)| {
                let beats: f64 = nodes.iter().map(|&(x, wx)| wx * normal_cdf(h / (x + y).sqrt())).sum();
                wy * libm::pow(beats, others)
            })
            .sum()
    };
    root_of_rising(reached, chance)
}

/// Dudewicz and Dalal's constant h1 (Dudewicz & Dalal 1975, Sankhya B 37): the root of
/// integral F(t + h)^(k-1) f(t) dt = `chance`, with Student's t on n0 - 1 degrees of freedom.
///
/// # Errors
/// As for [`rinott`].
pub fn dudewicz_dalal(designs: u64, first_stage: u64, chance: f64) -> Result<f64, CannotSay> {
    check(designs, first_stage, chance)?;
    let df = first_stage as f64 - 1.0;
    // t = sqrt(df) tan(angle) turns the density into a power of the cosine on a finite range.
    let half_turn = std::f64::consts::FRAC_PI_2;
    let nodes: Vec<(f64, f64)> = panels(-half_turn, half_turn, 16)
        .iter()
        .map(|n| (df.sqrt() * libm::tan(n.at), n.weight * libm::pow(libm::cos(n.at), df - 1.0)))
        .collect();
    let total: f64 = nodes.iter().map(|n| n.1).sum();
    let others = designs as f64 - 1.0;
    let reached = |h: f64| -> f64 {
        let sum: f64 =
            nodes.iter().map(|&(t, w)| w * libm::pow(student_t_upper_tail(-t - h, df), others)).sum();
        sum / total
    };
    root_of_rising(reached, chance)
}

/// Root by halving the interval and, inside it, the secant with Illinois weights (Dowell & Jarratt 1971).
fn root_of_rising(reached: impl Fn(f64) -> f64, chance: f64) -> Result<f64, CannotSay> {
    let (mut low, mut high) = (0.0, 1.0);
    let mut below = reached(low) - chance;
    let mut above = reached(high) - chance;
    while above < 0.0 {
        if high > LARGEST {
            return Err(CannotSay::OutOfRange { what: "chance of choosing the best", value: chance });
        }
        (low, below) = (high, above);
        high *= 2.0;
        above = reached(high) - chance;
    }
    let mut last_side = 0;
    for _ in 0..100 {
        if high - low <= 1e-11 * high {
            break;
        }
        let h = (low * above - high * below) / (above - below);
        let value = reached(h) - chance;
        if value == 0.0 {
            return Ok(h);
        }
        if value < 0.0 {
            (low, below) = (h, value);
            if last_side == -1 {
                above *= 0.5;
            }
            last_side = -1;
        } else {
            (high, above) = (h, value);
            if last_side == 1 {
                below *= 0.5;
            }
            last_side = 1;
        }
        if value.abs() < 1e-14 {
            return Ok(h);
        }
    }
    Ok(0.5 * (low + high))
}

#[cfg(test)]
mod tests {
    use super::*;

    fn six_digits(value: Result<f64, CannotSay>, expected: f64) {
        let value = value.unwrap();
        assert!((value - expected).abs() <= 1e-5, "{value} is not {expected}");
    }

    #[test]
    fn rinott_constants() {
        // Check rows S-19 to S-22: Rinott (1978), n0 = 20, chance 0.95; by double quadrature there, good to one unit of
        // the last digit. S-21 and S-22 are cut, not rounded: a second quadrature (trapezoids in the logarithm of
        // chi-square) gives 3.3854187 and 3.8752766.
        six_digits(rinott(2, 20, 0.95), 2.452_47); // S-19
        six_digits(rinott(3, 20, 0.95), 2.937_19); // S-20
        six_digits(rinott(5, 20, 0.95), 3.385_41); // S-21
        six_digits(rinott(10, 20, 0.95), 3.875_27); // S-22
        assert!((rinott(5, 20, 0.95).unwrap() - 3.385_418_731).abs() < 1e-8);
        assert!((rinott(10, 20, 0.95).unwrap() - 3.875_276_636).abs() < 1e-8);
    }

    #[test]
    fn dudewicz_dalal_constants() {
        // Check rows S-23 to S-25: Dudewicz & Dalal (1975), n0 = 20.
        six_digits(dudewicz_dalal(2, 20, 0.9), 1.895_75); // S-23
        six_digits(dudewicz_dalal(5, 20, 0.9), 2.747_09); // S-24
        six_digits(dudewicz_dalal(5, 20, 0.95), 3.258_01); // S-25
    }

    #[test]
    fn the_two_coincide_for_two_designs() {
        for first_stage in [5, 20, 60] {
            let (a, b) =
                (rinott(2, first_stage, 0.95).unwrap(), dudewicz_dalal(2, first_stage, 0.95).unwrap());
            assert!((a - b).abs() < 1e-8, "n0 {first_stage}: {a} and {b}");
        }
    }

    #[test]
    fn a_chance_that_needs_no_choosing_is_refused() {
        assert!(
            rinott(4, 20, 0.25).is_err() && dudewicz_dalal(1, 20, 0.9).is_err() && rinott(2, 1, 0.9).is_err()
        );
    }
}
