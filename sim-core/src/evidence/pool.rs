//! How much of a population reaches a bound, when each member is seen through few noisy values only.
//!
//! The members are outer draws: each has a chance (or a mean) of its own, of which some shifts tell something. To count
//! the members whose *estimate* reaches the bound is biased, since the noise spreads the population; with n shifts each
//! the bias falls as 1/n only (Gordy & Juneja 2010). So the population has a law, beta for chances and normal for means,
//! whose parameters have a posterior given the values of all members, and each member contributes its posterior chance
//! to reach the bound given its own values (Robbins 1956; Morris 1983; parameters integrated out: Gelman et al. 2013,
//! chapter 5). Where the values of a member are many the law of the population no longer matters.
//!
//! The spread of the population has a flat prior (Gelman 2006), its mean Jeffreys'. The interval of the share adds
//! three errors: finitely many members (a beta posterior with N members; Jeffreys), their noise, and the parameters.
//! Pure numbers. Invariant: parameters come from the first, equally many, values of each member, so that giving some
//! members more values afterwards biases nothing.

use crate::statistics::Moments;
use crate::statistics::quantiles::{beta, normal};
use crate::statistics::special::{beta_tails, normal_cdf};

/// Values of one member that are successes or not.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Hits {
    /// Successes among the first values, which are equally many for all members.
    pub first: u64,
    /// Successes among all values.
    pub all: u64,
    /// All values.
    pub of: u64,
}

/// What is known of the share that reaches the bound.
#[derive(Debug, Clone, PartialEq)]
pub struct Reach {
    /// Its estimate.
    pub share: f64,
    /// Lower limit.
    pub low: f64,
    /// Upper limit.
    pub high: f64,
    /// For each member the chance that it reaches the bound.
    pub each: Vec<f64>,
    /// Quantiles of the population's own chances or means, as asked for.
    pub quantiles: Vec<f64>,
}

/// Steps of the spread of the population.
const SPREADS: usize = 32;
/// Steps of its mean, at equal chances.
const CENTRES: usize = 11;
/// Parameters less likely than this share of the most likely ones are left out.
const NEGLIGIBLE: f64 = 1e-4;

/// A weighted choice of the parameters of a population.
#[derive(Debug, Clone, Copy)]
struct Setting {
    weight: f64,
    /// Mean of the population.
    centre: f64,
    /// Beta: sum of both shapes. Normal: standard deviation.
    width: f64,
}

/// Members with the same values, which are worked out once.
struct Group {
    all: u64,
    of: u64,
    members: Vec<usize>,
}

/// For chances: `first` values of each member come first. `error`: of each end of the interval. `at`: which quantiles.
///
/// # Panics
/// Without members, or without first values.
pub fn chances(members: &[Hits], first: u64, bound: f64, error: f64, at: &[f64]) -> Reach {
    assert!(!members.is_empty() && first > 0, "a population has members, and they have values");
    let settings = beta_settings(members, first);
    let groups = grouped(members);
    let upper = |setting: &Setting, group: &Group, x: f64| {
        let a = setting.centre * setting.width + group.all as f64;
        let b = (1.0 - setting.centre) * setting.width + (group.of - group.all) as f64;
        beta_tails(a, b, x, 1.0 - x).upper
    };
    let mut each = vec![0.0; members.len()];
    let mut shares = Vec::with_capacity(settings.len());
    for setting in &settings {
        let mut share = 0.0;
        for group in &groups {
            let reaches = upper(setting, group, bound);
            share += reaches * group.members.len() as f64;
            group.members.iter().for_each(|member| each[*member] += setting.weight * reaches);
        }
        shares.push((setting.weight, share / members.len() as f64));
    }
    let middle = middle_of(&settings);
    let below = |x: f64| {
        let sum: f64 =
            groups.iter().map(|group| (1.0 - upper(&middle, group, x)) * group.members.len() as f64).sum();
        sum / members.len() as f64
    };
    let quantiles = at.iter().map(|p| bisect(*p, 0.0, 1.0, below)).collect();
    finished(&shares, each, quantiles, error)
}

fn grouped(members: &[Hits]) -> Vec<Group> {
    let mut groups: Vec<Group> = Vec::new();
    let mut order: Vec<usize> = (0..members.len()).collect();
    order.sort_by_key(|&ix| (members[ix].of, members[ix].all, ix));
    for ix in order {
        let Hits { all, of, .. } = members[ix];
        match groups.last_mut() {
            Some(group) if group.all == all && group.of == of => group.members.push(ix),
            _ => groups.push(Group { all, of, members: vec![ix] }),
        }
    }
    groups
}

/// Parameters of the beta law of the population with their weights. The spread is told by the root of the correlation
/// rho between values of a member: its standard deviation is sqrt(mean (1 - mean) rho).
fn beta_settings(members: &[Hits], first: u64) -> Vec<Setting> {
    let (n, count) = (first as f64, members.len() as f64);
    let hits: u64 = members.iter().map(|member| member.first).sum();
    let mean = (hits as f64 + 0.5) / (count * n + 1.0);
    let mut counts = vec![0_u64; first as usize + 1];
    members.iter().for_each(|member| counts[member.first as usize] += 1);
    let ln_beta = |a: f64, b: f64| libm::lgamma(a) + libm::lgamma(b) - libm::lgamma(a + b);
    let mut rows = Vec::with_capacity(SPREADS);
    for k in 0..SPREADS {
        // Denser at small spreads: the root is t squared, so that a flat prior has the weight t.
        let t = (k as f64 + 0.5) / SPREADS as f64;
        let rho = t * t * t * t;
        let both = 1.0 / rho - 1.0;
        let (a, b) = (mean * both, (1.0 - mean) * both);
        let rest = ln_beta(a, b);
        let likely: f64 = counts
            .iter()
            .enumerate()
            .filter(|(_, count)| **count > 0)
            .map(|(hits, count)| *count as f64 * (ln_beta(a + hits as f64, b + n - hits as f64) - rest))
            .sum();
        rows.push((likely + libm::log(t), both, rho));
    }
    let best = rows.iter().map(|row| row.0).fold(f64::NEG_INFINITY, f64::max);
    let mut settings = Vec::new();
    for (likely, both, rho) in rows {
        let weight = libm::exp(likely - best);
        if weight < NEGLIGIBLE {
            continue;
        }
        // So many independent values would tell as much of the mean (design effect; Kish 1965).
        let worth = count * n / (1.0 + (n - 1.0) * rho);
        let share = hits as f64 / (count * n);
        for k in 0..CENTRES {
            let p = (k as f64 + 0.5) / CENTRES as f64;
            let centre = beta(p, worth * share + 0.5, worth * (1.0 - share) + 0.5);
            let centre = centre.clamp(1e-12, 1.0 - 1e-12);
            settings.push(Setting { weight, centre, width: both });
        }
    }
    normalised(settings)
}

/// For means: moments of the first, equally many, values of each member, and of all. `error` and `at` as for
/// [`chances`].
///
/// # Panics
/// Without members, or if a member has no values.
pub fn means(first: &[Moments], all: &[Moments], bound: f64, error: f64, at: &[f64]) -> Reach {
    let mean = |moments: &Moments| moments.mean().expect("a member has values");
    let centre: Moments = first.iter().map(mean).collect();
    let noise = noise_variance(first);
    let n = first[0].count() as f64;
    let settings = normal_settings(&centre, noise / n);
    let upper = |setting: &Setting, member: &Moments, x: f64| {
        let variance = setting.width * setting.width;
        let own = noise / member.count() as f64;
        let trust = if variance + own > 0.0 { variance / (variance + own) } else { 1.0 };
        let middle = setting.centre + trust * (mean(member) - setting.centre);
        let spread = (trust * own).sqrt();
        if spread > 0.0 { normal_cdf((middle - x) / spread) } else { f64::from(u8::from(middle >= x)) }
    };
    let mut each = vec![0.0; all.len()];
    let mut shares = Vec::with_capacity(settings.len());
    for setting in &settings {
        let mut share = 0.0;
        for (each, member) in each.iter_mut().zip(all) {
            let reaches = upper(setting, member, bound);
            share += reaches;
            *each += setting.weight * reaches;
        }
        shares.push((setting.weight, share / all.len() as f64));
    }
    let middle = middle_of(&settings);
    let below =
        |x: f64| all.iter().map(|member| 1.0 - upper(&middle, member, x)).sum::<f64>() / all.len() as f64;
    let (low, high) = (centre.min().unwrap_or(0.0), centre.max().unwrap_or(0.0));
    let reach = 5.0 * (noise / n).sqrt() + 1e-9 * high.abs();
    let quantiles = at.iter().map(|p| bisect(*p, low - reach, high + reach, below)).collect();
    finished(&shares, each, quantiles, error)
}

/// Variance of a value within its member, pooled.
pub fn noise_variance(first: &[Moments]) -> f64 {
    let (mut sum, mut freedom) = (0.0, 0.0);
    for moments in first {
        if let Some(variance) = moments.variance() {
            let n = moments.count() as f64 - 1.0;
            sum += n * variance;
            freedom += n;
        }
    }
    if freedom > 0.0 { sum / freedom } else { 0.0 }
}

/// Parameters of the normal law of the population with their weights; `noise`: variance of a member's estimate.
fn normal_settings(centre: &Moments, noise: f64) -> Vec<Setting> {
    let mean = centre.mean().unwrap_or(0.0);
    let (seen, count) = (centre.variance().unwrap_or(0.0), centre.count() as f64);
    if seen <= 0.0 {
        return vec![Setting { weight: 1.0, centre: mean, width: 0.0 }];
    }
    let rows: Vec<(f64, f64, f64)> = (0..SPREADS)
        .map(|k| {
            let width = 2.0 * seen.sqrt() * (k as f64 + 0.5) / SPREADS as f64;
            let whole = width * width + noise;
            (-0.5 * (count - 1.0) * (libm::log(whole) + seen / whole), width, whole)
        })
        .collect();
    let best = rows.iter().map(|row| row.0).fold(f64::NEG_INFINITY, f64::max);
    let mut settings = Vec::new();
    for (likely, width, whole) in rows {
        let weight = libm::exp(likely - best);
        if weight < NEGLIGIBLE {
            continue;
        }
        for k in 0..CENTRES {
            let z = normal((k as f64 + 0.5) / CENTRES as f64);
            settings.push(Setting { weight, centre: mean + z * (whole / count).sqrt(), width });
        }
    }
    normalised(settings)
}

fn normalised(mut settings: Vec<Setting>) -> Vec<Setting> {
    let sum: f64 = settings.iter().map(|setting| setting.weight).sum();
    settings.iter_mut().for_each(|setting| setting.weight /= sum);
    settings
}

fn middle_of(settings: &[Setting]) -> Setting {
    let weighted = |of: fn(&Setting) -> f64| settings.iter().map(|s| s.weight * of(s)).sum::<f64>();
    // Widths of beta laws range over decades: their logarithm is what has a mean.
    let width = libm::exp(weighted(|s| libm::log(s.width.max(1e-300))));
    Setting { weight: 1.0, centre: weighted(|s| s.centre), width }
}

/// Share and interval: a mixture, over the parameters, of what finitely many members tell of the share.
fn finished(shares: &[(f64, f64)], mut each: Vec<f64>, quantiles: Vec<f64>, error: f64) -> Reach {
    const BINS: usize = 64;
    let count = each.len() as f64;
    each.iter_mut().for_each(|reaches| *reaches = reaches.clamp(0.0, 1.0));
    let mut bins = vec![(0.0, 0.0); BINS];
    for (weight, share) in shares {
        let bin = &mut bins[((share * BINS as f64) as usize).min(BINS - 1)];
        *bin = (bin.0 + weight, bin.1 + weight * share);
    }
    bins.retain(|(weight, _)| *weight > 1e-9);
    let below = |x: f64| {
        let part = |(weight, sum): &(f64, f64)| {
            let hits = count * (sum / weight).clamp(0.0, 1.0);
            weight * beta_tails(hits + 0.5, count - hits + 0.5, x, 1.0 - x).lower
        };
        bins.iter().map(part).sum::<f64>()
    };
    let share = shares.iter().map(|(weight, share)| weight * share).sum::<f64>().clamp(0.0, 1.0);
    // An interval that leaves its estimate out would confuse; at the ends of the scale it may.
    let low = bisect(error, 0.0, 1.0, below).min(share);
    let high = bisect(1.0 - error, 0.0, 1.0, below).max(share);
    Reach { share, low, high, each, quantiles }
}

/// Where a rising function reaches `p`.
fn bisect(p: f64, mut low: f64, mut high: f64, rising: impl Fn(f64) -> f64) -> f64 {
    for _ in 0..40 {
        let middle = 0.5 * (low + high);
        if rising(middle) < p { low = middle } else { high = middle }
    }
    0.5 * (low + high)
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::kernel::Stream;

    /// Normal population (mean 10, sd 1) seen through three values each (sd 2): counting estimates above 11.5 would give
    /// 16 % (sd of an estimate is 1.53), the truth is 6.7 %.
    #[test]
    fn noise_of_members_is_taken_out_of_means() {
        let mut luck = Stream::new(2, 0, "test", "pool");
        let members: Vec<Moments> = (0..3000)
            .map(|_| {
                let own = 10.0 + luck.normal();
                (0..3).map(|_| own + 2.0 * luck.normal()).collect()
            })
            .collect();
        let reach = means(&members, &members, 11.5, 0.025, &[0.025, 0.5, 0.975]);
        let exact = 0.066_807; // 1 - Phi(1.5), any table of the normal law
        assert!(reach.low < exact && exact < reach.high && reach.high - reach.low < 0.04, "{reach:?}");
        // Normal quantiles 10 - 1.96 and 10 + 1.96; with 3000 members they are known to some 0.05. Allowed: 4.5 of these.
        assert!((reach.quantiles[0] - 8.04).abs() < 0.23 && (reach.quantiles[2] - 11.96).abs() < 0.23);
    }

    #[test]
    fn members_without_noise_are_counted() {
        let members: Vec<Moments> = (0..100).map(|n| [f64::from(n); 2].into_iter().collect()).collect();
        let reach = means(&members, &members, 89.5, 0.025, &[0.5]);
        assert!((reach.share - 0.1).abs() < 1e-9, "{}", reach.share);
        // Jeffreys interval of 10 of 100 (Brown, Cai & DasGupta 2001, by beta quantiles): 0.0526 to 0.1703.
        assert!((reach.low - 0.0526).abs() < 0.002 && (reach.high - 0.1703).abs() < 0.002, "{reach:?}");
    }

    #[test]
    fn a_population_without_spread_is_as_sharp_as_its_values_together() {
        // 100 members of four values, all of them hits: 400 hits of 400 leave some 1 % at most.
        let members = vec![Hits { first: 4, all: 4, of: 4 }; 100];
        let sure = chances(&members, 4, 0.9, 0.025, &[0.5]);
        assert!(sure.low > 0.95, "{sure:?}");
        let never = chances(&vec![Hits { first: 0, all: 0, of: 4 }; 100], 4, 0.9, 0.025, &[0.5]);
        assert!(never.high < 0.05, "{never:?}");
        // Chances near the bound: half of the values hit, and the bound is one half. Nothing is sure.
        let even: Vec<Hits> = (0..100).map(|n| Hits { first: 1 + n % 3, all: 1 + n % 3, of: 4 }).collect();
        let open = chances(&even, 4, 0.5, 0.025, &[0.5]);
        assert!(open.low < 0.2 && open.high > 0.8, "{open:?}");
    }
}
