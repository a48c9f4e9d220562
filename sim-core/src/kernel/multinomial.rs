//! Counts of many parts at once: how many of `n` fall into each class.
//!
//! For containers and bins, whose parts are counts and not tokens. A multinomial is drawn as a sequence of
//! binomials, each by inversion from its mode outwards: one word per binomial whatever comes out, and the
//! counts add up to `n` exactly. Meant for a draw per container, not per part: a draw costs some ten standard
//! deviations of steps.

use super::discrete::{Ladder, weights_around};
use super::luck::Stream;

/// Number of successes in `n` trials with chance `p` (0 to 1), non-decreasing in the word drawn.
pub fn binomial(n: u32, p: f64, luck: &mut Stream) -> u32 {
    let u = luck.inner_unit();
    if n == 0 || p <= 0.0 {
        return 0;
    }
    if p >= 1.0 {
        return n;
    }
    let (trials, odds) = (f64::from(n), p / (1.0 - p));
    let mode = (((trials + 1.0) * p) as u64).min(u64::from(n));
    let (first, weights) = weights_around(mode, |k| (trials - k as f64) / (k as f64 + 1.0) * odds);
    first as u32 + Ladder::new(&weights).rung(u) as u32
}

/// How many of `n` fall into each class, by the classes' `shares` (zero or more; need not add up to one). One
/// word per class but the last. With all shares zero, all fall into the first.
pub fn multinomial(n: u32, shares: &[f64], luck: &mut Stream) -> Vec<u32> {
    let mut counts = vec![0; shares.len()];
    let mut left = n;
    for ix in 0..shares.len().saturating_sub(1) {
        let rest: f64 = shares[ix..].iter().sum();
        // Beyond the last class of any weight nothing is left, so its rest of zero decides nothing.
        let p = if rest > 0.0 { shares[ix] / rest } else { 1.0 };
        counts[ix] = binomial(left, p, luck);
        left -= counts[ix];
    }
    if let Some(last) = counts.last_mut() {
        *last += left;
    }
    counts
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn small_binomials_have_their_exact_chances() {
        let mut luck = Stream::new(1, 0, "test", "binomial");
        const N: usize = 60_000;
        let mut seen = [0_u32; 5];
        for _ in 0..N {
            seen[binomial(4, 0.3, &mut luck) as usize] += 1;
        }
        for (k, ways) in [1.0, 4.0, 6.0, 4.0, 1.0].into_iter().enumerate() {
            let p = ways * 0.3_f64.powi(k as i32) * 0.7_f64.powi(4 - k as i32);
            let error = (N as f64 * p * (1.0 - p)).sqrt();
            assert!((f64::from(seen[k]) - N as f64 * p).abs() < 5.0 * error, "{k}: {seen:?}");
        }
    }

    #[test]
    fn large_binomials_have_their_mean_and_variance() {
        for (n, p, seed) in [(100_000, 0.001, 2), (5_000, 0.4, 3), (2_000, 0.9995, 4)] {
            let mut luck = Stream::new(seed, 0, "test", "binomial");
            const N: u32 = 20_000;
            let (mut sum, mut squares) = (0.0, 0.0);
            let mean = f64::from(n) * p;
            for _ in 0..N {
                let off = f64::from(binomial(n, p, &mut luck)) - mean;
                sum += off;
                squares += off * off;
            }
            let variance = mean * (1.0 - p);
            let runs = f64::from(N);
            assert!((sum / runs).abs() < 5.0 * (variance / runs).sqrt(), "mean of {n}, {p}: {}", sum / runs);
            // Variance of the squared deviation of a binomial: v^2 (2 + (1 - 6 p q) / v).
            let error = (variance * variance * (2.0 + (1.0 - 6.0 * p * (1.0 - p)) / variance) / runs).sqrt();
            assert!((squares / runs - variance).abs() < 5.0 * error, "variance of {n}, {p}");
        }
    }

    #[test]
    fn binomials_rise_with_their_word_and_take_one() {
        let mut rows = Vec::new();
        let mut luck = Stream::new(5, 0, "test", "binomial");
        for _ in 0..2000 {
            let mut next = luck.clone();
            let word = next.next_u64();
            rows.push((word, binomial(300, 0.2, &mut luck)));
            assert_eq!(luck, next);
        }
        rows.sort_unstable();
        assert!(rows.windows(2).all(|pair| pair[0].1 <= pair[1].1));
    }

    #[test]
    fn counts_add_up_and_classes_without_weight_stay_empty() {
        let mut luck = Stream::new(6, 0, "test", "multinomial");
        let shares = [0.5, 0.0, 0.2, 0.3, 0.0];
        let mut sums = [0_u32; 5];
        for _ in 0..1000 {
            let counts = multinomial(1000, &shares, &mut luck);
            assert_eq!(counts.iter().sum::<u32>(), 1000);
            assert_eq!((counts[1], counts[4]), (0, 0));
            for (sum, count) in sums.iter_mut().zip(&counts) {
                *sum += count;
            }
        }
        for (sum, share) in sums.iter().zip(shares) {
            let error = (1e6 * share * (1.0 - share)).sqrt();
            assert!((f64::from(*sum) - 1e6 * share).abs() <= 5.0 * error, "{sums:?}");
        }
        assert_eq!(multinomial(7, &[1.0], &mut luck), [7]);
        assert_eq!(multinomial(7, &[], &mut luck), Vec::<u32>::new());
    }
}
