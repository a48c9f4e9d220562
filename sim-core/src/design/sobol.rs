//! The Sobol sequence (Sobol, 1967), with the direction numbers of Joe and Kuo (2008), plain or scrambled.
//!
//! Points are in Gray-code order (Antonov and Saleev, 1979), beginning with the origin, and are found by index. Scrambling is
//! nested and uniform (Owen, 1995): whether a binary digit is turned over is decided by luck anew for each string of the digits
//! before it. Every scrambled point is uniform in the cube, and the points together stay as even as the plain ones.
//! Invariants: the first 2^k points have one coordinate in each 2^k-th part of the range of each factor; a coordinate
//! does not depend on the number of factors.

use super::joe_kuo::JOE_KUO;
use crate::kernel::luck::{Stream, absorb};
use crate::statistics::CannotSay;

/// Factors at most.
pub const MOST_FACTORS: usize = JOE_KUO.len() + 1;
/// Points at most: 2^32.
pub const MOST_POINTS: u64 = 1 << 32;

/// Binary digits of a plain coordinate.
const DIGITS: usize = 32;

/// The sequence for a number of factors.
#[derive(Debug, Clone, PartialEq)]
pub struct Sobol {
    directions: Vec<[u32; DIGITS]>,
    key: Option<u64>,
}

impl Sobol {
    /// The plain sequence.
    ///
    /// # Errors
    /// For more than [`MOST_FACTORS`].
    pub fn plain(factors: usize) -> Result<Self, CannotSay> {
        if factors > MOST_FACTORS {
            return Err(CannotSay::OutOfRange { what: "factors of a Sobol sequence", value: factors as f64 });
        }
        Ok(Sobol { directions: (0..factors).map(directions).collect(), key: None })
    }

    /// The sequence, scrambled by this seed.
    ///
    /// # Errors
    /// For more than [`MOST_FACTORS`].
    pub fn scrambled(factors: usize, seed: u64) -> Result<Self, CannotSay> {
        Ok(Sobol::plain(factors)?.scramble(seed, 0))
    }

    /// The same sequence in another scrambling: those of different seeds or numbers are independent.
    #[must_use]
    pub fn scramble(self, seed: u64, number: u64) -> Self {
        Sobol { key: Some(key(seed, number)), ..self }
    }

    /// Number of factors.
    pub fn factors(&self) -> usize {
        self.directions.len()
    }

    /// The coordinates of a point in [0, 1), into `at`.
    ///
    /// # Panics
    /// For an index of [`MOST_POINTS`] or above.
    pub fn point(&self, index: u64, at: &mut Vec<f64>) {
        self.point_with(self.key, index, at);
    }

    /// A point of another scrambling of this sequence, as after [`Sobol::scramble`].
    pub(super) fn point_of(&self, seed: u64, number: u64, index: u64, at: &mut Vec<f64>) {
        self.point_with(Some(key(seed, number)), index, at);
    }

    fn point_with(&self, key: Option<u64>, index: u64, at: &mut Vec<f64>) {
        assert!(index < MOST_POINTS, "a Sobol sequence has 2^32 points, no point {index}");
        let gray = index ^ (index >> 1);
        at.clear();
        at.extend(self.directions.iter().zip(0..).map(|(directions, factor)| {
            let taken = directions.iter().enumerate().filter(|(digit, _)| gray >> digit & 1 == 1);
            let plain = taken.fold(0, |x, (_, direction)| x ^ direction);
            match key {
                None => f64::from(plain) / MOST_POINTS as f64,
                Some(key) => scrambled(plain, absorb(key, factor)),
            }
        }));
    }
}

fn key(seed: u64, number: u64) -> u64 {
    Stream::new(seed, number, "design", "sobol").next_u64()
}

/// Direction numbers of a factor from 0, as fractions of 2^32: Bratley and Fox (1988), ACM Trans. Math. Softw. 14.
fn directions(factor: usize) -> [u32; DIGITS] {
    let mut v = std::array::from_fn(|digit| 1 << (DIGITS - 1 - digit));
    let Some(row) = factor.checked_sub(1) else { return v };
    let (polynomial, initial) = JOE_KUO[row];
    let degree = initial.len();
    for digit in 0..DIGITS {
        v[digit] = match initial.get(digit) {
            Some(m) => m << (DIGITS - 1 - digit),
            None => {
                let first = v[digit - degree] ^ (v[digit - degree] >> degree);
                let inner = (1..degree).filter(|k| polynomial >> (degree - k) & 1 == 1);
                inner.fold(first, |x, k| x ^ v[digit - k])
            }
        };
    }
    v
}

/// Turns each digit over or not, by luck that belongs to the digits before it. What is behind the last digit is luck too.
fn scrambled(plain: u32, key: u64) -> f64 {
    let mut turned: u32 = 0;
    for digit in 0..DIGITS {
        // The digits before, behind a leading one: a number of its own for each string of any length.
        let before = (1_u64 << digit) | u64::from(plain).checked_shr((DIGITS - digit) as u32).unwrap_or(0);
        let flip = (absorb(key, before) >> 63) as u32;
        turned |= flip << (DIGITS - 1 - digit);
    }
    let behind = absorb(key, (1 << DIGITS) | u64::from(plain)) >> (64 - 21);
    let whole = (u64::from(plain ^ turned) << 21) | behind;
    whole as f64 / (1_u64 << 53) as f64
}

#[cfg(test)]
mod tests {
    use super::*;

    fn points(sobol: &Sobol, n: u64) -> Vec<Vec<f64>> {
        let mut at = Vec::new();
        let mut point = |index| {
            sobol.point(index, &mut at);
            at.clone()
        };
        (0..n).map(&mut point).collect()
    }

    #[test]
    fn plain_points_are_the_published_ones() {
        // Points 0..7 in three dimensions, Gray-code order: Joe and Kuo (2008).
        let expected = [
            [0.0, 0.0, 0.0],
            [0.5, 0.5, 0.5],
            [0.75, 0.25, 0.25],
            [0.25, 0.75, 0.75],
            [0.375, 0.375, 0.625],
            [0.875, 0.875, 0.125],
            [0.625, 0.125, 0.875],
            [0.125, 0.625, 0.375],
        ];
        assert_eq!(points(&Sobol::plain(3).unwrap(), 8), expected);
    }

    /// Sum over 1024 points and 256 factors of coordinate * 2^32 * number of the factor * number of the point, both from 1,
    /// as worked out with scipy 1.17.1 (`qmc.Sobol(256, scramble=False, bits=32)`).
    #[test]
    fn all_factors_agree_with_another_program() {
        let points = points(&Sobol::plain(MOST_FACTORS).unwrap(), 1024);
        let mut sum = 0_u64;
        for (point, i) in points.iter().zip(1_u64..) {
            for (x, k) in point.iter().zip(1_u64..) {
                sum = sum.wrapping_add((x * MOST_POINTS as f64) as u64 * i * k);
            }
        }
        assert_eq!(sum, 180_965_732_597_628_928);
        assert!(Sobol::plain(MOST_FACTORS + 1).is_err());
    }

    #[test]
    fn scrambled_points_stay_as_even_as_plain_ones() {
        for seed in 0..20 {
            let points = points(&Sobol::scrambled(10, seed).unwrap(), 64);
            for factor in 0..10 {
                let mut parts: Vec<u64> = points.iter().map(|at| (at[factor] * 64.0) as u64).collect();
                parts.sort_unstable();
                assert!(parts.into_iter().eq(0..64), "seed {seed}, factor {factor}");
            }
            // The first two factors are a net: each box of 2^a by 2^(6-a) parts has one point.
            for a in 0..=6 {
                let (n, m) = ((1 << a) as f64, (1 << (6 - a)) as f64);
                let mut boxes: Vec<u64> =
                    points.iter().map(|at| (at[0] * n) as u64 * m as u64 + (at[1] * m) as u64).collect();
                boxes.sort_unstable();
                assert!(boxes.into_iter().eq(0..64), "seed {seed}, boxes {n} x {m}");
            }
        }
    }

    #[test]
    fn each_scrambled_point_is_uniform() {
        // Standard error of a count: sqrt(8000 * 1/8 * 7/8) = 29.6; allowed: 5 of them.
        let sobol = Sobol::plain(3).unwrap();
        let mut at = Vec::new();
        for index in [0, 5] {
            let mut counts = [[0_i32; 8]; 3];
            for number in 0..8000 {
                sobol.point_of(1, number, index, &mut at);
                at.iter().zip(&mut counts).for_each(|(x, counts)| counts[(x * 8.0) as usize] += 1);
            }
            assert!(counts.as_flattened().iter().all(|n| (n - 1000).abs() < 148), "{counts:?}");
        }
    }

    #[test]
    fn scramblings_are_unbiased_and_sharp() {
        // Mean of (x + y + z)^2, which is 10/4 = 2.5, from 256 points in 200 scramblings. Independent points would have
        // a standard error of sqrt(Var / 256): the variance of the square of a sum of three
        // uniforms is 2.35, which gives 0.096.
        let sobol = Sobol::plain(3).unwrap();
        let mut at = Vec::new();
        let mut moments = crate::statistics::Moments::new();
        for number in 0..200 {
            let mut sum = 0.0;
            for index in 0..256 {
                sobol.point_of(2, number, index, &mut at);
                sum += at.iter().sum::<f64>().powi(2);
            }
            moments.push(sum / 256.0);
        }
        let (mean, error) = (moments.mean().unwrap(), moments.standard_error().unwrap());
        assert!((mean - 2.5).abs() < 4.5 * error, "{mean} +/- {error}");
        assert!(moments.standard_deviation().unwrap() < 0.0095, "ten times sharper than independent points");
    }

    #[test]
    fn an_index_is_all_that_is_needed() {
        let sobol = Sobol::scrambled(4, 9).unwrap();
        let mut at = Vec::new();
        sobol.point(77, &mut at);
        assert_eq!(at, points(&sobol, 78)[77]);
        sobol.point(MOST_POINTS - 1, &mut at);
        assert!(at.iter().all(|x| (0.0..1.0).contains(x)));
    }
}
