//! Exponential and normal variates by the ziggurat of Marsaglia and Tsang (2000), 256 layers.
//!
//! One word nearly always suffices (97.8 % exponential, 98.5 % normal): eight bits choose the layer, 53 other bits
//! the place in it, one bit the sign. The remaining draws take more words, so these variates are not monotone in
//! a uniform and must not be used where streams are paired or mirrored. Invariant: all layers have equal area, so
//! the variates are exact up to rounding; tested against the curve itself.

use super::luck::Stream;
use super::ziggurat_tables::{EXPONENTIAL_F, EXPONENTIAL_X, NORMAL_F, NORMAL_X};

const PLACES: f64 = (1_u64 << 53) as f64;

/// A layer: places below `inside` lie under the curve for certain; `width` turns a place into an abscissa.
#[derive(Clone, Copy)]
struct Layer {
    inside: i64,
    width: f64,
}

const fn layers(edges: &[f64; 257]) -> [Layer; 256] {
    let mut out = [Layer { inside: 0, width: 0.0 }; 256];
    let mut i = 0;
    while i < 256 {
        out[i] = Layer { inside: (edges[i + 1] / edges[i] * PLACES) as i64, width: edges[i] / PLACES };
        i += 1;
    }
    out
}

static EXPONENTIAL: [Layer; 256] = layers(&EXPONENTIAL_X);
static NORMAL: [Layer; 256] = layers(&NORMAL_X);
static EXPONENTIAL_HEIGHT: [f64; 257] = EXPONENTIAL_F;
static NORMAL_HEIGHT: [f64; 257] = NORMAL_F;

/// Exponential variate of mean one, zero or more.
#[inline]
pub(super) fn exponential(stream: &mut Stream) -> f64 {
    let word = stream.next_u64();
    let layer = EXPONENTIAL[(word & 255) as usize];
    let place = (word >> 11).cast_signed();
    let x = place as f64 * layer.width;
    if place < layer.inside { x } else { exponential_edge(stream, (word & 255) as usize, x) }
}

#[cold]
fn exponential_edge(stream: &mut Stream, mut i: usize, mut x: f64) -> f64 {
    // What the tails passed so far add up to: the exponential has no memory, so a tail is an edge plus a fresh draw.
    let mut passed = 0.0;
    loop {
        if i == 0 {
            passed += EXPONENTIAL_X[1];
        } else {
            let (low, high) = (EXPONENTIAL_HEIGHT[i], EXPONENTIAL_HEIGHT[i + 1]);
            if low + (high - low) * stream.unit() < libm::exp(-x) {
                return passed + x;
            }
        }
        let word = stream.next_u64();
        i = (word & 255) as usize;
        let place = (word >> 11).cast_signed();
        x = place as f64 * EXPONENTIAL[i].width;
        if place < EXPONENTIAL[i].inside {
            return passed + x;
        }
    }
}

/// Standard normal variate.
#[inline]
pub(super) fn normal(stream: &mut Stream) -> f64 {
    loop {
        let word = stream.next_u64();
        let i = (word & 255) as usize;
        let layer = NORMAL[i];
        let place = (word >> 11).cast_signed();
        let x = place as f64 * layer.width;
        let negative = word & 256 != 0;
        if place < layer.inside {
            return if negative { -x } else { x };
        }
        if let Some(x) = normal_edge(stream, i, x) {
            return if negative { -x } else { x };
        }
    }
}

/// The part of a layer that the curve cuts, or the tail; `None` if the point lies above the curve.
#[cold]
fn normal_edge(stream: &mut Stream, i: usize, x: f64) -> Option<f64> {
    if i > 0 {
        let (low, high) = (NORMAL_HEIGHT[i], NORMAL_HEIGHT[i + 1]);
        return (low + (high - low) * stream.unit() < libm::exp(-0.5 * x * x)).then_some(x);
    }
    // Tail beyond the last edge: Marsaglia (1964).
    let edge = NORMAL_X[1];
    loop {
        let beyond = exponential(stream) / edge;
        if 2.0 * exponential(stream) >= beyond * beyond {
            return Some(edge + beyond);
        }
    }
}

#[cfg(test)]
mod tests {
    use super::super::ziggurat_tables::{EXPONENTIAL_AREA, NORMAL_AREA};
    use super::*;

    fn ulps(a: f64, b: f64) -> u64 {
        a.to_bits().abs_diff(b.to_bits())
    }

    /// Works the tables out again: heights from the edges, each edge from the one before (equal areas), the area
    /// from the base and its tail. Heights agree to 1 ulp, plus what the rounding of the exponent (in ulp per unit
    /// of it) does to them.
    fn recompute(
        x: &[f64; 257],
        f: &[f64; 257],
        area: f64,
        curve: fn(f64) -> f64,
        inverse: fn(f64) -> f64,
        tail: fn(f64) -> f64,
        rounding: f64,
    ) {
        let base = x[1] * curve(x[1]) + tail(x[1]);
        assert!((base / area - 1.0).abs() < 4e-15, "area {base} {area}");
        assert!(ulps(x[0], area / curve(x[1])) <= 8, "base width");
        assert_eq!(x[256], 0.0);
        for i in 0..257 {
            let allowed = 1 + (rounding * -libm::log(f[i])).ceil() as u64;
            assert!(ulps(f[i], curve(x[i])) <= allowed, "height {i}: {} {}", f[i], curve(x[i]));
        }
        for i in 1..256 {
            let next = area / x[i] + f[i];
            if i == 255 {
                assert!((next - 1.0).abs() <= f64::EPSILON, "top {next}");
            } else {
                let edge = inverse(next);
                // One rounding of the height (2^-53 near one) over the slope of the curve, doubled, plus 2 ulp.
                let slope = (curve(edge) - curve(edge + 1e-6)) / 1e-6;
                let allowed = f64::EPSILON * (next / slope + 2.0 * edge);
                assert!((edge - x[i + 1]).abs() <= allowed, "edge {}: {edge} {}", i + 1, x[i + 1]);
            }
        }
    }

    #[test]
    fn exponential_table_is_worked_out_again() {
        recompute(
            &EXPONENTIAL_X,
            &EXPONENTIAL_F,
            EXPONENTIAL_AREA,
            |x| libm::exp(-x),
            |y| -libm::log(y),
            |r| libm::exp(-r),
            0.0,
        );
    }

    #[test]
    fn normal_table_is_worked_out_again() {
        recompute(
            &NORMAL_X,
            &NORMAL_F,
            NORMAL_AREA,
            |x| libm::exp(-0.5 * x * x),
            |y| libm::sqrt(-2.0 * libm::log(y)),
            |r| libm::sqrt(core::f64::consts::FRAC_PI_2) * libm::erfc(r / core::f64::consts::SQRT_2),
            1.0,
        );
    }

    /// Largest distance between the empirical and the exact distribution function, times the root of n.
    fn distance(mut draws: Vec<f64>, cdf: impl Fn(f64) -> f64) -> f64 {
        draws.sort_by(f64::total_cmp);
        let n = draws.len() as f64;
        let worst = draws.iter().enumerate().fold(0.0_f64, |worst, (i, x)| {
            let p = cdf(*x);
            worst.max((p - i as f64 / n).abs()).max(((i + 1) as f64 / n - p).abs())
        });
        worst * n.sqrt()
    }

    // Kolmogorov (1933): P(distance > 2.5) = 2 exp(-2 * 2.5^2) = 7.5e-6.
    const ALLOWED: f64 = 2.5;

    #[test]
    fn exponential_follows_its_law_everywhere() {
        let mut stream = Stream::new(1, 0, "test", "exponential");
        let draws: Vec<f64> = (0..400_000).map(|_| exponential(&mut stream)).collect();
        // Beyond the base edge only the tail branch delivers: exp(-7.697) * 400000 = 181.7, standard error 13.5.
        let tail: Vec<f64> = draws.iter().copied().filter(|x| *x > EXPONENTIAL_X[1]).collect();
        assert!((tail.len() as f64 - 181.7).abs() < 61.0, "{} in the tail", tail.len());
        let d = distance(tail, |x| 1.0 - libm::exp(EXPONENTIAL_X[1] - x));
        assert!(d < ALLOWED, "tail distance {d}");
        let d = distance(draws, |x| 1.0 - libm::exp(-x));
        assert!(d < ALLOWED, "distance {d}");
    }

    #[test]
    fn normal_follows_its_law_everywhere() {
        let mut stream = Stream::new(1, 0, "test", "normal");
        let draws: Vec<f64> = (0..400_000).map(|_| normal(&mut stream)).collect();
        let upper = |x: f64| 0.5 * libm::erfc(x / core::f64::consts::SQRT_2);
        let edge = NORMAL_X[1];
        let tail: Vec<f64> = draws.iter().map(|x| x.abs()).filter(|x| *x > edge).collect();
        // 2 * 400000 * upper(3.654) = 103.3, standard error 10.2.
        assert!((tail.len() as f64 - 103.3).abs() < 47.0, "{} in the tails", tail.len());
        let d = distance(tail, |x| 1.0 - upper(x) / upper(edge));
        assert!(d < ALLOWED, "tail distance {d}");
        let d = distance(draws, |x| 1.0 - upper(x));
        assert!(d < ALLOWED, "distance {d}");
    }

    #[test]
    fn edges_of_the_layers_follow_their_law() {
        // Draws that needed more than one word come from the cut parts of the layers and the tail: a mistake there
        // hides in the whole. Their share is 1 - (mean of inside / places).
        let mut stream = Stream::new(2, 0, "test", "edges");
        let n = 1_000_000;
        let mut edges = 0;
        for _ in 0..n {
            let mut once = stream.clone();
            once.next_u64();
            exponential(&mut stream);
            edges += u32::from(once != stream);
        }
        let sure: f64 = EXPONENTIAL.iter().map(|l| l.inside as f64 / PLACES).sum::<f64>() / 256.0;
        let share = f64::from(edges) / f64::from(n);
        let error = (sure * (1.0 - sure) / f64::from(n)).sqrt();
        assert!((share - (1.0 - sure)).abs() < 5.0 * error, "{share} {}", 1.0 - sure);
        assert!((0.977..0.978).contains(&sure), "{sure}");
    }
}
