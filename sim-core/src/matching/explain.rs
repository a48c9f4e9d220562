//! Which inputs would explain a log: approximate Bayesian rejection over sets of inputs.
//!
//! Shifts are simulated with some inputs multiplied by factors, evenly spread over logarithms; those nearest to the log are kept,
//! and what they weigh is the posterior weight of their sets (rejection with a choice of models: Grelaud et al. 2009). Distances
//! are in standard deviations of the shifts of the file as it stands or, if these are larger, of the shifts near to the log: as near as
//! one came in an output, so near is one asked to come (adaptive distances: Prangle 2017).

use super::outputs::Outputs;
use super::result::{Combination, Explanation, Reach};
use crate::statistics::Moments;
use crate::statistics::order::percentile_point;
use crate::vary::Address;

/// Fewest shifts that are kept as nearest.
const KEPT_MIN: usize = 25;
/// Share of shifts that are kept as nearest.
const KEPT_SHARE: f64 = 0.02;
/// Share of shifts that tell how near one may come.
const NEAR_SHARE: f64 = 0.05;
/// Sets that are reported.
const SETS_MAX: usize = 20;

/// A simulated shift of a set.
#[derive(Debug, Clone)]
pub(super) struct Tried {
    /// Inputs with the places of their factors, in rising order of the inputs; none: the file as it stands.
    pub(super) places: Vec<(usize, f64)>,
    pub(super) outputs: Outputs,
    /// What it counts.
    pub(super) weight: f64,
}

/// The log as it is compared.
#[derive(Debug)]
pub(super) struct Target {
    pub(super) log: Outputs,
    scales: [f64; 6],
    /// How far shifts of the file as it stands lie from each other: 99 % of pairs lie nearer.
    own_distance: f64,
}

impl Target {
    pub(super) fn of(log: Outputs, own: &[Outputs]) -> Self {
        // Where the file's own shifts do not vary, one.
        let scales = deviations(own).map(|scale| if scale > 0.0 { scale } else { 1.0 });
        let seen = |outputs: &Outputs| -> Outputs { std::array::from_fn(|n| log[n].and(outputs[n])) };
        let mut pairs: Vec<f64> =
            own.windows(2).map(|pair| distance(&seen(&pair[0]), &pair[1], &scales)).collect();
        pairs.sort_by(f64::total_cmp);
        Target { log, scales, own_distance: percentile_point(&pairs, 0.99).unwrap_or(f64::INFINITY) }
    }

    /// The same with scales that fit the shifts near to the log.
    pub(super) fn refined(&self, tried: &[Tried]) -> Self {
        let (near, _) = self.nearest(tried, NEAR_SHARE);
        let near: Vec<Outputs> = near.into_iter().map(|one| one.outputs).collect();
        let mut scales = deviations(&near);
        scales.iter_mut().zip(self.scales).for_each(|(scale, own)| *scale = f64::max(*scale, own));
        Target { scales, ..*self }
    }

    /// How far a shift is from the log.
    fn distance(&self, outputs: &Outputs) -> f64 {
        distance(&self.log, outputs, &self.scales)
    }

    /// How near the kept shifts come to the log, beside how near the file's own come to each other.
    pub(super) fn reach(&self, tried: &[Tried]) -> Reach {
        let refined = self.refined(tried);
        let (near, _) = refined.nearest(tried, KEPT_SHARE);
        // They are in rising order.
        let kept = near.get(near.len() / 2).map_or(0.0, |one| refined.distance(&one.outputs));
        let [kept, own] = [kept, self.own_distance].map(f64::sqrt);
        // Within one deviation is near, also where the file's own shifts do not vary.
        Reach { kept, own, is_beyond: kept > own.max(1.0) }
    }

    /// The nearest shifts, and what they weigh together.
    pub(super) fn nearest(&self, tried: &[Tried], share: f64) -> (Vec<Tried>, f64) {
        let mut order: Vec<(f64, usize)> =
            tried.iter().enumerate().map(|(ix, one)| (self.distance(&one.outputs), ix)).collect();
        order.sort_by(|a, b| a.0.total_cmp(&b.0).then(a.1.cmp(&b.1)));
        let kept = ((tried.len() as f64 * share) as usize).max(KEPT_MIN).min(tried.len());
        let near: Vec<Tried> = order[..kept].iter().map(|(_, ix)| tried[*ix].clone()).collect();
        let whole = near.iter().map(|one| one.weight).sum();
        (near, whole)
    }

    /// From what larger sets are guided: the changes in the nearest shifts, with what they weigh.
    pub(super) fn near_changes(&self, tried: &[Tried]) -> Vec<(usize, f64, f64)> {
        let (near, _) = self.refined(tried).nearest(tried, KEPT_SHARE);
        let changes = |one: &Tried| -> Vec<(usize, f64, f64)> {
            one.places.iter().map(|(input, place)| (*input, *place, one.weight)).collect()
        };
        near.iter().flat_map(changes).collect()
    }
}

/// Sum of the squares of what two shifts differ by, each output in its scale.
fn distance(a: &Outputs, b: &Outputs, scales: &[f64; 6]) -> f64 {
    let one = |n: usize| match (a[n], b[n]) {
        (Some(a), Some(b)) => (a - b) * (a - b) / (scales[n] * scales[n]),
        (Some(_), None) | (None, _) => 0.0,
    };
    (0..scales.len()).map(one).sum()
}

/// Standard deviations of the outputs of these shifts.
fn deviations(shifts: &[Outputs]) -> [f64; 6] {
    let mut deviations = [0.0; 6];
    for (n, deviation) in deviations.iter_mut().enumerate() {
        let values: Moments = shifts.iter().filter_map(|outputs| outputs[n]).collect();
        *deviation = values.standard_deviation().unwrap_or(0.0);
    }
    deviations
}

/// Smallest value below which, or at which, this share of the weight lies.
fn weighted_quantile(values: &mut [(f64, f64)], share: f64) -> Option<f64> {
    values.sort_by(|a, b| a.0.total_cmp(&b.0));
    let whole: f64 = values.iter().map(|(_, weight)| weight).sum();
    let mut below = 0.0;
    let reached = |(_, weight): &&(f64, f64)| {
        below += weight;
        below >= share * whole * (1.0 - 1e-12)
    };
    values.iter().find(reached).or(values.last()).map(|(value, _)| *value)
}

/// Explanations by input and by set, the likeliest first.
pub(super) fn explain(
    target: &Target,
    tried: &[Tried],
    inputs: &[Address],
    factor_at: &dyn Fn(f64) -> f64,
) -> (Vec<Explanation>, Vec<Combination>) {
    if inputs.is_empty() {
        return (Vec::new(), Vec::new());
    }
    let (near, whole) = target.refined(tried).nearest(tried, KEPT_SHARE);
    let of_input = |who: Option<usize>| {
        let mut factors: Vec<(f64, f64)> = near
            .iter()
            .filter_map(|one| match who {
                None => one.places.is_empty().then_some((1.0, one.weight)),
                Some(input) => {
                    let change = one.places.iter().find(|(changed, _)| *changed == input);
                    change.map(|(_, place)| (factor_at(*place), one.weight))
                }
            })
            .collect();
        let mut at = |share: f64| who.and_then(|_| weighted_quantile(&mut factors, share));
        let [factor, low, high] = [0.5, 0.05, 0.95].map(&mut at);
        (!factors.is_empty()).then(|| Explanation {
            path: who.map(|input| inputs[input].text().to_owned()),
            weight: factors.iter().map(|(_, weight)| weight).sum::<f64>() / whole,
            factor,
            low,
            high,
            accepted: factors.len() as u64,
        })
    };
    let mut single: Vec<Explanation> =
        std::iter::once(None).chain((0..inputs.len()).map(Some)).filter_map(of_input).collect();
    single.sort_by(|a, b| b.weight.total_cmp(&a.weight));
    (single, combinations(&near, whole, inputs, factor_at))
}

fn combinations(
    near: &[Tried],
    whole: f64,
    inputs: &[Address],
    factor_at: &dyn Fn(f64) -> f64,
) -> Vec<Combination> {
    let set_of = |one: &Tried| one.places.iter().map(|(input, _)| *input).collect::<Vec<usize>>();
    let mut sets: Vec<Vec<usize>> = near.iter().map(set_of).collect();
    sets.sort();
    sets.dedup();
    let of_set = |set: &Vec<usize>| {
        let members: Vec<&Tried> = near.iter().filter(|one| set_of(one) == *set).collect();
        let factors = (0..set.len()).map(|place| {
            let mut values: Vec<(f64, f64)> =
                members.iter().map(|one| (factor_at(one.places[place].1), one.weight)).collect();
            weighted_quantile(&mut values, 0.5).unwrap_or(1.0)
        });
        Combination {
            paths: set.iter().map(|input| inputs[*input].text().to_owned()).collect(),
            factors: factors.collect(),
            weight: members.iter().map(|one| one.weight).sum::<f64>() / whole,
            accepted: members.len() as u64,
        }
    };
    let mut all: Vec<Combination> = sets.iter().map(of_set).collect();
    all.sort_by(|a, b| b.weight.total_cmp(&a.weight));
    all.truncate(SETS_MAX);
    all
}

#[cfg(test)]
mod tests {
    use super::*;

    /// Shifts with rates from `from` on, evenly over one.
    fn shifts(from: f64) -> Vec<Outputs> {
        (0..100)
            .map(|n| [Some(from + f64::from(n * 37 % 100) / 100.0), None, None, None, None, None])
            .collect()
    }

    fn reach(log: f64) -> Reach {
        let own = shifts(10.0);
        let mut tried: Vec<Tried> =
            own.iter().map(|outputs| Tried { places: Vec::new(), outputs: *outputs, weight: 1.0 }).collect();
        tried.extend(shifts(20.0).into_iter().map(|outputs| Tried {
            places: vec![(0, 0.5)],
            outputs,
            weight: 1.0,
        }));
        Target::of([Some(log), None, None, None, None, None], &own).reach(&tried)
    }

    #[test]
    fn a_log_is_near_where_something_that_was_tried_is() {
        assert!(!reach(10.5).is_beyond, "the file as it stands");
        assert!(!reach(20.5).is_beyond, "an input that was changed");
        for log in [0.0, 40.0] {
            let found = reach(log);
            // Uniform over one: the deviation is 1 / sqrt(12), and no two lie further apart than one.
            assert!(found.is_beyond && found.own <= 12.0_f64.sqrt() && found.kept > 30.0, "{log}: {found:?}");
        }
    }
}
