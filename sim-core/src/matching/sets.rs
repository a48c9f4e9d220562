//! Sets of inputs that may differ together, and their factors: what they weigh before, and which are tried.
//!
//! Before: no input, one, two and so on up to the most are equally likely, so are all sets of one size, and factors are spread evenly
//! over logarithms. Sets of each size are tried in rounds: the first one evenly, the others by what came near to the log so far. A
//! simulated shift then counts by its density before over the mean density with which the rounds try it (population Monte Carlo
//! with a mixture: Beaumont et al. 2009; Cornuet et al. 2012), so that what is tried more often gets no more weight by that, and
//! nothing counts more than the number of rounds times what it would in the first one. Pure numbers. A factor is told by its *place*: from 0, the
//! smallest, to 1, the largest, evenly over logarithms.

use crate::kernel::Stream;

/// Share of sets, of the inputs that are guided into them, and of their places, that is even all the same.
const EVEN: f64 = 0.2;
/// Stretches of places that are told apart.
const STRETCHES: usize = 24;

/// Number of sets of `size` among `n` inputs.
pub(super) fn sets(n: usize, size: usize) -> f64 {
    (0..size).map(|k| (n - k) as f64 / (k + 1) as f64).product()
}

/// What a set of `size` inputs of `n` weighs before, if `most` may differ.
pub(super) fn before(n: usize, size: usize, most: usize) -> f64 {
    1.0 / ((most + 1) as f64 * sets(n, size))
}

/// How the sets of a round are drawn.
#[derive(Debug, Clone)]
pub(super) struct Proposal {
    /// How inputs are drawn into a set, one after the other without putting back; adds up to one.
    guide: Vec<f64>,
    /// For each input the density of its place, in equal stretches.
    places: Vec<[f64; STRETCHES]>,
}

impl Proposal {
    /// From the changes (input and place) that came near to the log, each with its weight, among `n` inputs.
    pub(super) fn of(near: &[(usize, f64, f64)], n: usize) -> Self {
        let mut weights = vec![0.0; n];
        let mut masses = vec![[0.0; STRETCHES]; n];
        for (input, place, weight) in near {
            let at = ((place * STRETCHES as f64) as usize).min(STRETCHES - 1);
            weights[*input] += weight;
            // Half stays, half goes to both neighbours, or stays at the ends.
            masses[*input][at] += 0.5 * weight;
            masses[*input][at.saturating_sub(1)] += 0.25 * weight;
            masses[*input][(at + 1).min(STRETCHES - 1)] += 0.25 * weight;
        }
        let sum: f64 = weights.iter().sum();
        let share = |weight: &f64| if sum > 0.0 { weight / sum } else { 1.0 / n as f64 };
        let guide = weights.iter().map(|weight| (1.0 - EVEN) * share(weight) + EVEN / n as f64).collect();
        let density = |(masses, weight): (&[f64; STRETCHES], &f64)| {
            masses.map(|mass| {
                let guided = if *weight > 0.0 { mass / weight * STRETCHES as f64 } else { 1.0 };
                EVEN + (1.0 - EVEN) * guided
            })
        };
        let places = masses.iter().zip(&weights).map(density).collect();
        Proposal { guide, places }
    }

    /// A set of `size` inputs in rising order, with their places.
    pub(super) fn choose(&self, size: usize, luck: &mut Stream) -> Vec<(usize, f64)> {
        let is_even = luck.chance(EVEN);
        let mut set: Vec<usize> = Vec::with_capacity(size);
        while set.len() < size {
            let weight = |input: usize| match (set.contains(&input), is_even) {
                (true, _) => 0.0,
                (false, true) => 1.0,
                (false, false) => self.guide[input],
            };
            let weights: Vec<f64> = (0..self.guide.len()).map(weight).collect();
            set.push(pick(&weights, luck));
        }
        set.sort_unstable();
        set.into_iter()
            .map(|input| {
                let stretch = pick(&self.places[input], luck);
                (input, (stretch as f64 + luck.unit()) / STRETCHES as f64)
            })
            .collect()
    }

    /// Chance of the set, times the density of the places in it, with which [`Proposal::choose`] gives them.
    pub(super) fn density(&self, changes: &[(usize, f64)]) -> f64 {
        let set: Vec<usize> = changes.iter().map(|(input, _)| *input).collect();
        let guided = in_any_order(&self.guide, &set, 1.0);
        let chance = EVEN / sets(self.guide.len(), set.len()) + (1.0 - EVEN) * guided;
        let at = |place: f64| ((place * STRETCHES as f64) as usize).min(STRETCHES - 1);
        changes.iter().fold(chance, |density, (input, place)| density * self.places[*input][at(*place)])
    }
}

/// A number drawn by weights, at least one of which is above zero.
fn pick(weights: &[f64], luck: &mut Stream) -> usize {
    let mut left = luck.unit() * weights.iter().sum::<f64>();
    let taken = weights.iter().position(|weight| {
        left -= weight;
        left < 0.0
    });
    // Rounding may leave nothing: then the last one that can be drawn.
    taken.or(weights.iter().rposition(|weight| *weight > 0.0)).unwrap_or(0)
}

/// Chance that the inputs of a set are drawn first, in any order, if `left` of all weight is left.
fn in_any_order(guide: &[f64], set: &[usize], left: f64) -> f64 {
    if set.is_empty() {
        return 1.0;
    }
    let first = |n: usize| {
        let rest: Vec<usize> =
            set.iter().enumerate().filter(|(k, _)| *k != n).map(|(_, input)| *input).collect();
        guide[set[n]] / left * in_any_order(guide, &rest, left - guide[set[n]])
    };
    (0..set.len()).map(first).sum()
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn weights_before_add_up_to_one() {
        let all: f64 = (0..=3).map(|size| sets(7, size) * before(7, size, 3)).sum();
        assert!((all - 1.0).abs() < 1e-12 && sets(7, 2) == 21.0 && sets(7, 3) == 35.0, "{all}");
    }

    /// 20,000 draws of pairs of four: each share lies within 4.5 standard errors (0.016 at most) of its chance, chances add up to
    /// one, and so does the density of the places: the mean of one over it, over what it gives, is one.
    #[test]
    fn sets_come_as_often_as_is_said() {
        let near = [(0, 0.1, 0.4), (0, 0.15, 0.2), (2, 0.9, 0.3), (3, 1.0, 0.1)];
        let proposal = Proposal::of(&near, 4);
        let mut luck = Stream::new(3, 0, "test", "sets");
        let (mut counts, mut inverse) = ([0_u32; 16], 0.0);
        for _ in 0..20_000 {
            let set = proposal.choose(2, &mut luck);
            counts[4 * set[0].0 + set[1].0] += 1;
            inverse += 1.0 / proposal.density(&set) / sets(4, 2) / 20_000.0;
        }
        let mut sum = 0.0;
        for a in 0..4 {
            for b in a + 1..4 {
                let guided = in_any_order(&proposal.guide, &[a, b], 1.0);
                let exact = EVEN / 6.0 + (1.0 - EVEN) * guided;
                let found = f64::from(counts[4 * a + b]) / 20_000.0;
                sum += exact;
                assert!((found - exact).abs() < 0.016, "{a} and {b}: {found}, {exact}");
            }
        }
        assert!((sum - 1.0).abs() < 1e-12, "{sum}");
        // One over a density that is never below 0.2^3 of an even one: values up to 125 with mean one have a variance of at most
        // 124, so 4.5 standard errors are 0.35 at worst.
        assert!((inverse - 1.0).abs() < 0.35, "{inverse}");
        let even = Proposal::of(&[], 4).density(&[(1, 0.3), (2, 0.99)]);
        assert!((even - 1.0 / 6.0).abs() < 1e-12, "{even}");
    }
}
