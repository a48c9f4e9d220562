//! Samplers: laws compiled to plain numbers for the loop.
//!
//! Two methods. *Fast* uses the ziggurat for exponential and normal variates and the alias method for tables.
//! *Inversion* takes exactly one word per variate and is non-decreasing in its uniform, so that two designs can be
//! paired and a stream be mirrored ([`Stream::mirrored`] turns u into 1 - u; the sampler is the same). A law that
//! allows only one amount takes nothing from the stream under either method.
//!
//! Why no ready-made distributions: their logarithms come from whatever library the build links, and the promise
//! here is the same bits on every platform. Everything below uses basic arithmetic, roots and `libm`.
//!
//! Invariant: a draw is minimum + shape, times the scale given at compile time, never negative; a time is rounded
//! to the nearest nanosecond and at most [`LONGEST_NS`].

use std::sync::Arc;

use super::discrete::{Alias, Ladder, weights_around};
use super::luck::Stream;
use super::{quantile, ziggurat};
use crate::terms::law::{Law, Shape};

/// Longest time a draw can give, 2^50 ns (13 days): the end of simulated time. Longer draws are cut to it, so that
/// time plus a draw never overflows; counts are cut to the same number.
pub const LONGEST_NS: u64 = 1 << 50;

/// How variates are made.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Method {
    /// Fastest; the number of words per variate varies.
    Fast,
    /// One word per variate, monotone in it: for paired and mirrored streams.
    Inversion,
}

/// A compiled law. Cheap to clone; tables are shared.
#[derive(Clone, Debug)]
pub struct Sampler {
    core: Core,
    shift: f64,
    scale: f64,
    shift_ns: f64,
    scale_ns: f64,
    mean: f64,
}

/// The standard form of a variate, before shift and scale.
#[derive(Clone, Debug)]
enum Core {
    /// Always zero; the amount is the shift, here in whole nanoseconds.
    Fixed {
        ns: u64,
    },
    Uniform,
    /// Peak at this share of the width.
    Triangular {
        peak: f64,
    },
    ExponentialFast,
    ExponentialInversion,
    /// Marsaglia and Tsang (2000); `boost` is 1 / shape for shapes below one, else zero.
    GammaFast {
        d: f64,
        c: f64,
        boost: f64,
    },
    GammaInversion(quantile::Gamma),
    LognormalFast {
        sigma: f64,
    },
    LognormalInversion {
        sigma: f64,
    },
    WeibullFast {
        power: f64,
    },
    WeibullInversion {
        power: f64,
    },
    /// Trials per unit of a standard exponential.
    GeometricFast {
        trials: f64,
    },
    GeometricInversion {
        trials: f64,
    },
    /// Count from `first` upwards.
    Counted {
        first: f64,
        ladder: Arc<Ladder>,
    },
    Alias(Arc<Alias>),
    /// Values ascending.
    Ladder {
        values: Arc<[f64]>,
        ladder: Arc<Ladder>,
    },
    /// Values ascending, equally likely.
    Observed(Arc<[f64]>),
}

impl Sampler {
    /// Compiles a checked law. Every amount is multiplied by `unit_scale` (one for none), folded in here.
    pub fn new(law: &Law, unit_scale: f64, method: Method) -> Self {
        let (core, shift, scale) = compile(law, method);
        let unit_scale_ns = unit_scale * 1e9;
        let core = match core {
            Core::Fixed { .. } => Core::Fixed { ns: nearest(shift * unit_scale_ns) },
            other => other,
        };
        Sampler {
            core,
            shift: shift * unit_scale,
            scale: scale * unit_scale,
            shift_ns: shift * unit_scale_ns,
            scale_ns: scale * unit_scale_ns,
            mean: law.mean() * unit_scale,
        }
    }

    /// Exact mean of a draw, after scaling.
    pub fn mean(&self) -> f64 {
        self.mean
    }

    /// What a time drawn of it is off the mean, ns.
    pub fn off_mean_ns(&self, time: u64) -> f64 {
        time as f64 - 1e9 * self.mean
    }

    /// Whether what is left of a draw has the law of the draw, however much has gone by.
    pub fn has_no_memory(&self) -> bool {
        matches!(self.core, Core::ExponentialFast | Core::ExponentialInversion) && self.shift == 0.0
    }

    /// Whether every draw is the same; such a sampler leaves the stream alone.
    pub fn is_fixed(&self) -> bool {
        matches!(self.core, Core::Fixed { .. })
    }

    /// One amount.
    #[inline]
    pub fn draw(&self, stream: &mut Stream) -> f64 {
        (self.shift + self.scale * self.core.standard(stream)).max(0.0)
    }

    /// One amount of seconds, in whole nanoseconds.
    #[inline(always)]
    pub fn draw_ns(&self, stream: &mut Stream) -> u64 {
        if let Core::Fixed { ns } = self.core {
            ns
        } else if let Core::Uniform = self.core {
            nearest(self.shift_ns + self.scale_ns * stream.unit())
        } else {
            self.draw_random_ns(stream)
        }
    }

    #[inline(never)]
    fn draw_random_ns(&self, stream: &mut Stream) -> u64 {
        // The most usual law first: a test is cheaper than a jump by a table.
        let standard = if let Core::ExponentialFast = self.core {
            ziggurat::exponential(stream)
        } else {
            self.core.standard(stream)
        };
        nearest(self.shift_ns + self.scale_ns * standard)
    }

    /// One amount as a whole number.
    #[inline]
    pub fn draw_count(&self, stream: &mut Stream) -> u64 {
        nearest(self.shift + self.scale * self.core.standard(stream))
    }
}

/// Nearest whole number (ties to even) in 0 to [`LONGEST_NS`].
#[inline]
fn nearest(x: f64) -> u64 {
    // Doubles from 2^52 to 2^53 are the whole numbers, so the addition rounds and the low bits are the result.
    const WHOLE: f64 = (1_u64 << 52) as f64;
    (x.clamp(0.0, LONGEST_NS as f64) + WHOLE).to_bits() & ((1 << 52) - 1)
}

/// Standard form of a law: core, shift and scale in base units.
fn compile(law: &Law, method: Method) -> (Core, f64, f64) {
    if law.is_fixed() {
        return (Core::Fixed { ns: 0 }, law.least(), 0.0);
    }
    let fast = method == Method::Fast;
    let exponential = || {
        if fast { Core::ExponentialFast } else { Core::ExponentialInversion }
    };
    let (core, offset, scale) = match &law.shape {
        Shape::Fixed(x) => (Core::Fixed { ns: 0 }, *x, 0.0),
        Shape::Uniform { from, to } => (Core::Uniform, *from, to - from),
        Shape::Triangular { low, likely, high } => {
            (Core::Triangular { peak: (likely - low) / (high - low) }, *low, high - low)
        }
        Shape::Exponential { mean } => (exponential(), 0.0, *mean),
        Shape::Gamma { mean, spread } => {
            let shape = (mean / spread) * (mean / spread);
            (gamma(shape, fast), 0.0, mean / shape)
        }
        Shape::Lognormal { mean, spread } => {
            let variance = libm::log1p((spread / mean) * (spread / mean));
            let sigma = variance.sqrt();
            let core = if fast { Core::LognormalFast { sigma } } else { Core::LognormalInversion { sigma } };
            (core, 0.0, mean * libm::exp(-0.5 * variance))
        }
        Shape::Weibull { shape, scale } if *shape == 1.0 => (exponential(), 0.0, *scale),
        Shape::Weibull { shape, scale } => {
            let power = 1.0 / shape;
            (if fast { Core::WeibullFast { power } } else { Core::WeibullInversion { power } }, 0.0, *scale)
        }
        Shape::Geometric { mean, step } => {
            let trials = trials_per_exponential(step / mean);
            (
                if fast { Core::GeometricFast { trials } } else { Core::GeometricInversion { trials } },
                0.0,
                *step,
            )
        }
        Shape::Binomial { trials, chance } => (binomial(*trials, *chance), 0.0, 1.0),
        Shape::Poisson { mean } => (counted(*mean as u64, |k| mean / (k + 1) as f64), 0.0, 1.0),
        Shape::Table(rows) => (table(rows, fast), 0.0, 1.0),
        Shape::Observed(list) => {
            let mut values = list.clone();
            values.sort_by(f64::total_cmp);
            (Core::Observed(values.into()), 0.0, 1.0)
        }
    };
    (core, law.minimum + offset, scale)
}

/// With success chance `p` per trial, ceil(this times a standard exponential) is the trial of the first success.
/// Infinite for 0, zero for 1.
pub(super) fn trials_per_exponential(p: f64) -> f64 {
    -1.0 / libm::log1p(-p)
}

fn gamma(shape: f64, fast: bool) -> Core {
    if shape == 1.0 {
        return if fast { Core::ExponentialFast } else { Core::ExponentialInversion };
    }
    if !fast {
        return Core::GammaInversion(quantile::Gamma::new(shape));
    }
    let (lifted, boost) = if shape < 1.0 { (shape + 1.0, 1.0 / shape) } else { (shape, 0.0) };
    let d = lifted - 1.0 / 3.0;
    Core::GammaFast { d, c: 1.0 / (9.0 * d).sqrt(), boost }
}

fn binomial(trials: u32, chance: f64) -> Core {
    let n = f64::from(trials);
    let mode = (((n + 1.0) * chance) as u64).min(u64::from(trials));
    counted(mode, |k| (n - k as f64) / (k + 1) as f64 * (chance / (1.0 - chance)))
}

fn counted(mode: u64, up: impl Fn(u64) -> f64) -> Core {
    let (first, weights) = weights_around(mode, up);
    Core::Counted { first: first as f64, ladder: Arc::new(Ladder::new(&weights)) }
}

fn table(rows: &[(f64, f64)], fast: bool) -> Core {
    if fast {
        return Core::Alias(Arc::new(Alias::new(rows)));
    }
    let mut rows = rows.to_vec();
    rows.sort_by(|a, b| a.0.total_cmp(&b.0));
    let values = rows.iter().map(|row| row.0).collect();
    let weights: Vec<f64> = rows.iter().map(|row| row.1).collect();
    Core::Ladder { values, ladder: Arc::new(Ladder::new(&weights)) }
}

impl Core {
    fn standard(&self, stream: &mut Stream) -> f64 {
        match self {
            Core::Fixed { .. } => 0.0,
            Core::Uniform => stream.unit(),
            Core::ExponentialFast => ziggurat::exponential(stream),
            Core::ExponentialInversion => inverse_exponential(stream),
            Core::Triangular { peak } => triangular(*peak, stream.inner_unit()),
            Core::GammaFast { d, c, boost } => gamma_fast(*d, *c, *boost, stream),
            Core::GammaInversion(gamma) => gamma.at(stream.inner_unit()),
            Core::LognormalFast { sigma } => libm::exp(sigma * ziggurat::normal(stream)),
            Core::LognormalInversion { sigma } => libm::exp(sigma * quantile::normal(stream.inner_unit())),
            Core::WeibullFast { power } => libm::pow(ziggurat::exponential(stream), *power),
            Core::WeibullInversion { power } => libm::pow(inverse_exponential(stream), *power),
            Core::GeometricFast { trials } => (trials * ziggurat::exponential(stream)).ceil().max(1.0),
            Core::GeometricInversion { trials } => (trials * inverse_exponential(stream)).ceil().max(1.0),
            Core::Counted { first, ladder } => first + ladder.rung(stream.inner_unit()) as f64,
            Core::Alias(alias) => alias.draw(stream),
            Core::Ladder { values, ladder } => values[ladder.rung(stream.inner_unit())],
            Core::Observed(values) => {
                // Multiply and shift: monotone in the word.
                let i = (u128::from(stream.next_u64()) * values.len() as u128) >> 64;
                values[i as usize]
            }
        }
    }
}

/// Standard exponential by inversion, increasing in the uniform; `1 - u` is exact.
#[inline]
pub(super) fn inverse_exponential(stream: &mut Stream) -> f64 {
    -libm::log(1.0 - stream.inner_unit())
}

fn triangular(peak: f64, u: f64) -> f64 {
    if u < peak { (u * peak).sqrt() } else { 1.0 - ((1.0 - u) * (1.0 - peak)).sqrt() }
}

/// Gamma variate of scale one: Marsaglia and Tsang (2000), "A simple method for generating gamma variables".
fn gamma_fast(d: f64, c: f64, boost: f64, stream: &mut Stream) -> f64 {
    loop {
        let x = ziggurat::normal(stream);
        let root = 1.0 + c * x;
        if root <= 0.0 {
            continue;
        }
        let v = root * root * root;
        let u = stream.open_unit();
        let squared = x * x;
        if u < 1.0 - 0.0331 * squared * squared || libm::log(u) < 0.5 * squared + d * (1.0 - v + libm::log(v))
        {
            // Shapes below one: times a uniform to the power 1 / shape.
            let lowered = if boost > 0.0 { libm::exp(-boost * ziggurat::exponential(stream)) } else { 1.0 };
            return d * v * lowered;
        }
    }
}

#[cfg(test)]
mod tests;
