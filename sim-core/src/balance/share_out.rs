//! Sharing an amount among takers by what each can take (ruling 27).

/// How takers come to their shares.
#[derive(Debug, Clone, PartialEq)]
pub(super) enum Rule {
    /// In this order, each what it can take; the last one gets what is left, whether or not it can.
    InOrder(Vec<usize>),
    /// By these weights; those that can't take so much take what they can. What nobody can take is shared by weight, too.
    By(Vec<f64>),
    /// Nobody knows: evenly among so many, for want of better, and in any way for bounds.
    Any(usize),
}

/// Shares `total` among takers that can take `most` each (may be infinite). The shares add up to `total`.
pub(super) fn share_out(total: f64, most: &[f64], rule: &Rule) -> Vec<f64> {
    let mut taken = vec![0.0; most.len()];
    let mut rest = total;
    match rule {
        Rule::InOrder(order) => {
            for &taker in order {
                taken[taker] = rest.min(most[taker]).max(0.0);
                rest -= taken[taker];
            }
            if let Some(&last) = order.last() {
                taken[last] += rest.max(0.0);
            }
        }
        Rule::By(weights) => by_weight(rest, most, weights, &mut taken),
        Rule::Any(n) => by_weight(rest, most, &vec![1.0; *n], &mut taken),
    }
    taken
}

fn by_weight(total: f64, most: &[f64], weights: &[f64], taken: &mut [f64]) {
    let until_full = |taker: usize| most[taker] / weights[taker];
    let mut order: Vec<usize> = (0..most.len()).collect();
    order.sort_by(|&a, &b| until_full(a).total_cmp(&until_full(b)));
    let (mut rest, mut left) = (total, weights.iter().sum::<f64>());
    for &taker in &order {
        taken[taker] = (rest * weights[taker] / left).min(most[taker]).max(0.0);
        rest -= taken[taker];
        left -= weights[taker];
    }
    let (over, all) = (rest.max(0.0), weights.iter().sum::<f64>());
    taken.iter_mut().zip(weights).for_each(|(taken, weight)| *taken += over * weight / all);
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn in_order_and_evenly_by_hand() {
        let order = Rule::InOrder(vec![1, 0, 2]);
        assert_eq!(share_out(5.0, &[2.0, 1.0, 9.0], &order), [2.0, 1.0, 2.0]);
        assert_eq!(share_out(0.5, &[2.0, 1.0, 9.0], &order), [0.0, 0.5, 0.0]);
        assert_eq!(share_out(20.0, &[2.0, 1.0, 9.0], &order), [2.0, 1.0, 17.0], "the last gets the rest");
        let even = |n: usize| Rule::By(vec![1.0; n]);
        assert_eq!(share_out(6.0, &[1.0, f64::INFINITY, 2.5], &even(3)), [1.0, 2.5, 2.5]);
        assert_eq!(share_out(3.0, &[1.0, 1.0], &even(2)), [1.5, 1.5], "nobody can take it: evenly");
        let ratio = Rule::By(vec![3.0, 1.0]);
        assert_eq!(share_out(8.0, &[9.0, 9.0], &ratio), [6.0, 2.0]);
        assert_eq!(share_out(8.0, &[4.0, 9.0], &ratio), [4.0, 4.0], "the first is full");
    }
}
