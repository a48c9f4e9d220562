//! Dice: chances per part as a countdown, choices among few outcomes, and chances that differ from lot to lot.
//!
//! These work on chances, not on amounts (see `sampler`). Every draw takes a number of words that does not depend on
//! what comes out, so paired designs stay in step. Invariant: a chance of zero never strikes and one of one always
//! does.

use super::luck::Stream;
use super::quantile;
use super::sampler::{inverse_exponential, trials_per_exponential};

/// A chance per part, run as a countdown to the next strike: one logarithm per strike instead of a draw per part.
#[derive(Clone, Debug)]
pub struct Countdown {
    chance: f64,
    /// Parts per unit of a standard exponential.
    per_unit: f64,
    /// Parts up to and including the one struck next; zero while no gap has been drawn.
    left: u64,
}

impl Countdown {
    /// A countdown for strikes with chance `p` (0 to 1) at each part, independently.
    pub fn new(p: f64) -> Self {
        Countdown { chance: p, per_unit: trials_per_exponential(p), left: 0 }
    }

    /// Starts afresh: draws the first gap.
    pub fn reset(&mut self, stream: &mut Stream) {
        self.left = self.gap(stream);
    }

    /// The chance at each part.
    pub fn chance(&self) -> f64 {
        self.chance
    }

    /// Changes the chance, as for a new lot. The gap is drawn again if the chance is another one: what has passed
    /// says nothing about what comes.
    pub fn set_chance(&mut self, p: f64, stream: &mut Stream) {
        if p != self.chance {
            *self = Countdown::new(p);
            self.reset(stream);
        }
    }

    /// Whether this part is struck. One word per strike; none for a chance of zero or one.
    #[inline]
    pub fn strikes(&mut self, stream: &mut Stream) -> bool {
        if self.left > 1 {
            self.left -= 1;
            return false;
        }
        self.at_the_end(stream)
    }

    #[cold]
    fn at_the_end(&mut self, stream: &mut Stream) -> bool {
        if self.left == 0 {
            self.left = self.gap(stream);
            return self.strikes(stream);
        }
        self.left = self.gap(stream);
        true
    }

    /// Parts up to and including the next strike. A chance of zero gives 2^64 - 1, which no run counts down.
    fn gap(&self, stream: &mut Stream) -> u64 {
        if self.chance <= 0.0 {
            u64::MAX
        } else if self.chance >= 1.0 {
            1
        } else {
            // The cast saturates.
            ((self.per_unit * inverse_exponential(stream)).ceil() as u64).max(1)
        }
    }
}

/// A choice among a few outcomes, as thresholds on a random word. Meant for up to about eight.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Outcomes {
    /// Outcome `i` is passed over by words at or above threshold `i`.
    thresholds: Box<[u64]>,
    /// Last outcome of any weight.
    last: usize,
}

impl Outcomes {
    /// Compiles weights (zero or more, at least one above zero; need not add up to one).
    pub fn new(weights: &[f64]) -> Result<Self, String> {
        let mut outcomes = Outcomes { thresholds: vec![0; weights.len().saturating_sub(1)].into(), last: 0 };
        outcomes.set_weights(weights)?;
        Ok(outcomes)
    }

    /// New weights for the same outcomes, as for a new lot; allocates nothing unless it fails, and then changes
    /// nothing.
    pub fn set_weights(&mut self, weights: &[f64]) -> Result<(), String> {
        let sum: f64 = weights.iter().sum();
        let last = weights.iter().rposition(|weight| *weight > 0.0);
        let sound = weights.iter().all(|weight| *weight >= 0.0) && sum.is_finite();
        let (Some(last), true, true) = (last, sound, weights.len() == self.thresholds.len() + 1) else {
            return Err(format!(
                "expected {} weights of zero or more with a sum above zero, found {weights:?}",
                self.thresholds.len() + 1
            ));
        };
        let mut below = 0.0;
        for (threshold, weight) in self.thresholds.iter_mut().zip(weights) {
            below += weight;
            // 2^64 saturates to the largest word, which `last` sets right.
            *threshold = (below / sum * 18_446_744_073_709_551_616.0) as u64;
        }
        self.last = last;
        Ok(())
    }

    /// Whether there is one outcome, so that nothing is drawn.
    #[inline(always)]
    pub(crate) fn is_sure(&self) -> bool {
        self.thresholds.is_empty()
    }

    /// The threshold between the first outcome and the second; 0 if there is one outcome.
    pub(crate) fn first_threshold(&self) -> u64 {
        self.thresholds.first().copied().unwrap_or(0)
    }

    /// Last outcome of any weight.
    pub(crate) fn last(&self) -> usize {
        self.last
    }

    /// Chances of the outcomes, adding up to one; as sharp as the thresholds, some 2^-53.
    pub fn shares(&self) -> Vec<f64> {
        self.each_share().collect()
    }

    /// The same one by one.
    pub fn each_share(&self) -> impl Iterator<Item = f64> {
        let tops = self.thresholds.iter().map(|top| *top as f64 / 18_446_744_073_709_551_616.0);
        let share = |below: &mut f64, (ix, top): (usize, f64)| {
            let top = if ix >= self.last { 1.0 } else { top };
            Some(top - std::mem::replace(below, top))
        };
        tops.chain([1.0]).enumerate().scan(0.0, share)
    }

    /// Number of the outcome: 0, 1, 2 ... Non-decreasing in the word drawn. One word, none if there is one outcome.
    #[inline(always)]
    pub fn pick(&self, stream: &mut Stream) -> usize {
        match self.thresholds[..] {
            [] => 0,
            [threshold] => usize::from(stream.next_u64() >= threshold).min(self.last),
            _ => self.pick_of_many(stream.next_u64()),
        }
    }

    #[inline(never)]
    fn pick_of_many(&self, word: u64) -> usize {
        let passed: usize = self.thresholds.iter().map(|threshold| usize::from(word >= *threshold)).sum();
        passed.min(self.last)
    }
}

/// How chances differ between lots: drawn anew when a container or a shift begins.
///
/// All draws are by inversion: one word per gamma variate, monotone, whatever the parameters.
#[derive(Clone, Debug)]
pub struct Variation {
    kind: Kind,
}

#[derive(Clone, Debug)]
enum Kind {
    Beta {
        hit: quantile::Gamma,
        miss: quantile::Gamma,
    },
    Factor {
        gamma: quantile::Gamma,
        scale: f64,
    },
    /// `None` where the mean chance is zero: it stays zero.
    Dirichlet(Box<[Option<quantile::Gamma>]>),
}

/// Smallest shape of a gamma variate; below it nearly all lots would be all or nothing.
const LEAST_SHAPE: f64 = 1e-4;

impl Variation {
    /// One chance, beta distributed around `mean` (between 0 and 1, both excluded) with standard deviation `sd`
    /// between lots.
    pub fn beta(mean: f64, sd: f64) -> Result<Self, String> {
        // Concentration: mean (1 - mean) / (1 + concentration) = sd^2.
        let concentration = mean * (1.0 - mean) / (sd * sd) - 1.0;
        let (hit, miss) = (mean * concentration, (1.0 - mean) * concentration);
        if !(hit >= LEAST_SHAPE && miss >= LEAST_SHAPE && hit.is_finite() && miss.is_finite()) {
            return Err(format!(
                "expected a mean chance between 0 and 1 and a spread above zero and below {}, found {mean} and {sd}",
                (mean * (1.0 - mean)).max(0.0).sqrt()
            ));
        }
        Ok(Variation {
            kind: Kind::Beta { hit: quantile::Gamma::new(hit), miss: quantile::Gamma::new(miss) },
        })
    }

    /// As [`Variation::beta`], around a mean that was drawn itself: by the concentration, which is above zero, instead
    /// of the spread. Shapes that would be too small are taken as the smallest.
    pub fn beta_around(mean: f64, concentration: f64) -> Self {
        let shape = |mean: f64| quantile::Gamma::new((mean * concentration).max(LEAST_SHAPE));
        Variation { kind: Kind::Beta { hit: shape(mean), miss: shape(1.0 - mean) } }
    }

    /// As [`Variation::dirichlet`], around means that were drawn themselves and add up to one. Shapes that would be too
    /// small are taken as the smallest.
    pub fn dirichlet_around(means: &[f64], concentration: f64) -> Self {
        let shape = |mean: f64| quantile::Gamma::new((mean * concentration).max(LEAST_SHAPE));
        let gammas = means.iter().map(|mean| (*mean > 0.0).then(|| shape(*mean)));
        Variation { kind: Kind::Dirichlet(gammas.collect()) }
    }

    /// One factor for all chances of a lot, gamma distributed with mean one and standard deviation `sd` (above zero,
    /// at most 100).
    pub fn factor(sd: f64) -> Result<Self, String> {
        let shape = 1.0 / (sd * sd);
        if !(sd > 0.0 && shape >= LEAST_SHAPE && shape.is_finite()) {
            return Err(format!("expected a spread above 0 and at most 100, found {sd}"));
        }
        Ok(Variation { kind: Kind::Factor { gamma: quantile::Gamma::new(shape), scale: 1.0 / shape } })
    }

    /// Shares that add up to one, Dirichlet distributed around `means` (scaled to add up to one). A share of mean m
    /// has variance m (1 - m) / (concentration + 1) between lots.
    pub fn dirichlet(means: &[f64], concentration: f64) -> Result<Self, String> {
        let sum: f64 = means.iter().sum();
        let sound = sum > 0.0 && concentration > 0.0 && concentration.is_finite();
        let shapes: Vec<f64> = means.iter().map(|mean| mean / sum * concentration).collect();
        if !sound || !shapes.iter().all(|shape| *shape == 0.0 || *shape >= LEAST_SHAPE) {
            return Err(format!(
                "expected shares of zero or more with a sum above zero and a concentration of at least {LEAST_SHAPE} \
                 over the smallest share, found {means:?} and {concentration}"
            ));
        }
        let gammas = shapes.iter().map(|shape| (*shape > 0.0).then(|| quantile::Gamma::new(*shape)));
        Ok(Variation { kind: Kind::Dirichlet(gammas.collect()) })
    }

    /// Draws the chances of a lot. On entry `chances` holds the mean chances; on return those of this lot. Beta wants
    /// one chance, Dirichlet as many as it has means; a factor multiplies any number of them and stops at one (which
    /// lowers the mean where factor times chance reaches one).
    pub fn vary(&self, chances: &mut [f64], stream: &mut Stream) {
        match &self.kind {
            Kind::Beta { hit, miss } => {
                debug_assert_eq!(chances.len(), 1, "a beta variation is of one chance");
                let ln_hit = hit.ln_at(stream.inner_unit());
                // The complement keeps the chance increasing in both uniforms.
                let ln_miss = miss.ln_at(1.0 - stream.inner_unit());
                chances.fill(1.0 / (1.0 + libm::exp(ln_miss - ln_hit)));
            }
            Kind::Factor { gamma, scale } => {
                let factor = gamma.at(stream.inner_unit()) * scale;
                chances.iter_mut().for_each(|chance| *chance = (*chance * factor).min(1.0));
            }
            Kind::Dirichlet(gammas) => {
                debug_assert_eq!(chances.len(), gammas.len(), "a Dirichlet variation is of all its shares");
                vary_shares(gammas, chances, stream);
            }
        }
    }
}

/// Gamma variates over their sum. Logarithms are scaled by the largest, since all may be too small for a double.
fn vary_shares(gammas: &[Option<quantile::Gamma>], shares: &mut [f64], stream: &mut Stream) {
    let mut largest = f64::NEG_INFINITY;
    for (share, gamma) in shares.iter_mut().zip(gammas) {
        *share = gamma.as_ref().map_or(f64::NEG_INFINITY, |gamma| gamma.ln_at(stream.inner_unit()));
        largest = largest.max(*share);
    }
    shares.iter_mut().for_each(|share| *share = libm::exp(*share - largest));
    let sum: f64 = shares.iter().sum();
    shares.iter_mut().for_each(|share| *share /= sum);
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn gaps_of_a_countdown_are_geometric() {
        for (p, seed) in [(0.3, 1), (0.02, 2)] {
            let mut stream = Stream::new(seed, 0, "test", "countdown");
            let mut countdown = Countdown::new(p);
            countdown.reset(&mut stream);
            const N: usize = 50_000;
            let mut counts = [0_u32; 12];
            let mut parts = 0_u64;
            for _ in 0..N {
                let mut gap = 1;
                while !countdown.strikes(&mut stream) {
                    gap += 1;
                }
                parts += gap as u64;
                counts[gap.min(12) - 1] += 1;
            }
            // Chi-square with 11 degrees of freedom (gamma of shape 5.5, doubled), false alarm 5e-6.
            let mut chi = 0.0;
            for (i, count) in counts.iter().enumerate() {
                let beyond = (1.0 - p).powi(i as i32);
                let expected = N as f64 * if i == 11 { beyond } else { beyond * p };
                chi += (f64::from(*count) - expected).powi(2) / expected;
            }
            let limit = 2.0 * quantile::Gamma::new(5.5).at(1.0 - 5e-6);
            assert!(chi < limit, "p {p}: chi-square {chi} above {limit}");
            let mean = parts as f64 / N as f64;
            let error = (1.0 - p).sqrt() / p / (N as f64).sqrt();
            assert!((mean - 1.0 / p).abs() < 4.5 * error, "p {p}: mean gap {mean}");
        }
    }

    #[test]
    fn sure_and_impossible_strikes_draw_nothing() {
        let untouched = Stream::new(3, 0, "test", "sure");
        let mut stream = untouched.clone();
        let (mut never, mut always) = (Countdown::new(0.0), Countdown::new(1.0));
        never.reset(&mut stream);
        always.reset(&mut stream);
        assert!((0..10_000).all(|_| !never.strikes(&mut stream) && always.strikes(&mut stream)));
        assert_eq!(stream, untouched);
        never.set_chance(1.0, &mut stream);
        assert!(never.strikes(&mut stream));
        // So rare that the gap does not fit: never, not at once.
        let mut rare = Countdown::new(1e-300);
        rare.reset(&mut stream);
        assert!((0..1000).all(|_| !rare.strikes(&mut stream)));
    }

    #[test]
    fn a_countdown_without_reset_still_keeps_its_chance() {
        let mut hits = 0;
        for replication in 0..20_000 {
            let mut stream = Stream::new(4, replication, "test", "lazy");
            hits += u32::from(Countdown::new(0.25).strikes(&mut stream));
        }
        // Standard error sqrt(20000 * 0.1875) = 61.2.
        assert!(hits.abs_diff(5000) < 306, "{hits}");
    }

    #[test]
    fn the_same_chance_keeps_the_gap_and_another_draws_it_again() {
        let mut stream = Stream::new(5, 0, "test", "change");
        let mut countdown = Countdown::new(0.1);
        countdown.reset(&mut stream);
        let before = (countdown.left, stream.clone());
        countdown.set_chance(0.1, &mut stream);
        assert_eq!((countdown.left, stream.clone()), before);
        countdown.set_chance(0.2, &mut stream);
        assert_ne!(stream, before.1);
    }

    #[test]
    fn outcomes_follow_their_weights_and_rise_with_the_word() {
        let weights = [0.0, 3.0, 1.0, 0.0, 6.0, 0.0];
        let outcomes = Outcomes::new(&weights).expect("sound weights");
        let mut stream = Stream::new(6, 0, "test", "outcomes");
        let mut rows = Vec::new();
        let mut counts = [0_u32; 6];
        for _ in 0..100_000 {
            let word = stream.clone().next_u64();
            let outcome = outcomes.pick(&mut stream);
            counts[outcome] += 1;
            rows.push((word, outcome));
        }
        for (count, weight) in counts.iter().zip(weights) {
            let p: f64 = weight / 10.0;
            let error = (100_000.0 * p * (1.0 - p)).sqrt();
            assert!((f64::from(*count) - 100_000.0 * p).abs() <= 5.0 * error, "{counts:?}");
        }
        rows.sort_unstable();
        assert!(rows.windows(2).all(|pair| pair[0].1 <= pair[1].1));
    }

    #[test]
    fn outcomes_know_their_shares() {
        for weights in [&[0.0, 3.0, 1.0, 0.0, 6.0, 0.0][..], &[1.0], &[1.0, 0.0], &[0.25, 0.75]] {
            let sum: f64 = weights.iter().sum();
            let shares = Outcomes::new(weights).expect("sound weights").shares();
            assert_eq!(shares.len(), weights.len());
            for (share, weight) in shares.iter().zip(weights) {
                assert!((share - weight / sum).abs() < 1e-15, "{shares:?}");
            }
        }
    }

    #[test]
    fn outcomes_refuse_nonsense_and_keep_what_they_had() {
        assert!(Outcomes::new(&[]).is_err());
        assert!(Outcomes::new(&[0.0, 0.0]).is_err());
        assert!(Outcomes::new(&[1.0, -0.5]).is_err());
        assert!(Outcomes::new(&[1.0, f64::NAN]).is_err());
        let mut outcomes = Outcomes::new(&[1.0, 2.0]).expect("sound weights");
        let before = outcomes.clone();
        assert!(outcomes.set_weights(&[1.0, 1.0, 1.0]).is_err());
        assert_eq!(outcomes, before);
        // The largest word must not reach a last outcome without weight.
        let sure = Outcomes::new(&[1.0, 0.0]).expect("sound weights");
        let mut stream = Stream::new(7, 0, "test", "sure");
        assert!((0..1000).all(|_| sure.pick(&mut stream) == 0));
        assert_eq!(sure.last, 0);
    }

    /// Mean and variance of each chance over many lots, against the exact ones.
    fn check_lots(variation: &Variation, means: &[f64], variances: &[f64], seed: u64) {
        const N: u32 = 40_000;
        let mut stream = Stream::new(seed, 0, "test", "lots");
        let mut sums = vec![[0.0; 3]; means.len()];
        for _ in 0..N {
            let mut chances = means.to_vec();
            variation.vary(&mut chances, &mut stream);
            for ((sum, chance), mean) in sums.iter_mut().zip(&chances).zip(means) {
                assert!((0.0..=1.0).contains(chance), "{chance}");
                let off = chance - mean;
                *sum = [sum[0] + off, sum[1] + off * off, sum[2] + off.powi(4)];
            }
        }
        let n = f64::from(N);
        for (sum, variance) in sums.iter().zip(variances) {
            let error = (variance / n).sqrt();
            assert!((sum[0] / n).abs() <= 5.0 * error, "mean off by {} ({error}): {variation:?}", sum[0] / n);
            let error = ((sum[2] / n - variance * variance) / n).max(0.0).sqrt();
            let off = sum[1] / n - variance;
            assert!(off.abs() <= 5.0 * error, "variance off by {off} ({error}): {variation:?}");
        }
    }

    #[test]
    fn lots_have_the_mean_and_spread_asked_for() {
        for (mean, sd) in [(0.01_f64, 0.005), (0.3, 0.1), (0.02, 0.13), (0.999, 0.001)] {
            check_lots(&Variation::beta(mean, sd).expect("sound"), &[mean], &[sd * sd], 8);
        }
        let bases = [0.001, 0.02];
        let variances = bases.map(|base| (0.5 * base) * (0.5 * base));
        check_lots(&Variation::factor(0.5).expect("sound"), &bases, &variances, 9);
        let means = [0.5, 0.3, 0.0, 0.2];
        let variances = means.map(|m| m * (1.0 - m) / 21.0);
        check_lots(&Variation::dirichlet(&means, 20.0).expect("sound"), &means, &variances, 10);
    }

    #[test]
    fn shares_of_a_lot_add_up_to_one_even_if_extreme() {
        let mut stream = Stream::new(11, 0, "test", "shares");
        let means = [0.5, 0.3, 0.2];
        let variation = Variation::dirichlet(&means, 0.001).expect("sound");
        for _ in 0..2000 {
            let mut shares = means;
            variation.vary(&mut shares, &mut stream);
            assert!((shares.iter().sum::<f64>() - 1.0).abs() < 1e-12, "{shares:?}");
        }
    }

    #[test]
    fn impossible_spreads_are_refused() {
        // A chance of mean 0.1 cannot spread more than sqrt(0.09) = 0.3.
        let message = Variation::beta(0.1, 0.31).expect_err("too wide");
        assert!(message.contains("below 0.3"), "{message}");
        assert!(Variation::beta(0.1, 0.0).is_err());
        assert!(Variation::beta(1.0, 0.1).is_err());
        assert!(Variation::beta(f64::NAN, 0.1).is_err());
        assert!(Variation::factor(0.0).is_err() && Variation::factor(101.0).is_err());
        assert!(Variation::dirichlet(&[0.5, -0.5], 2.0).is_err());
        assert!(Variation::dirichlet(&[1.0], 0.0).is_err());
    }
}
