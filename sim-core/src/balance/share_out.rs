//! Sharing an amount among takers by what each can take (ruling 27).

/// How takers come to their shares.
#[derive(Debug, Clone, PartialEq)]
pub(super) enum Rule {
    /// In this order, each what it can take; the last one gets what is left, whether or not it can.
    InOrder(Vec<usize>),
    /// Evenly; those that can't take so much take what they can. What nobody can take is shared evenly.
    Even,
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
        Rule::Even => {
            let mut order: Vec<usize> = (0..most.len()).collect();
            order.sort_by(|&a, &b| most[a].total_cmp(&most[b]));
            for (n, &taker) in order.iter().enumerate() {
                taken[taker] = (rest / (order.len() - n) as f64).min(most[taker]).max(0.0);
                rest -= taken[taker];
            }
            let over = rest.max(0.0) / most.len() as f64;
            taken.iter_mut().for_each(|taken| *taken += over);
        }
    }
    taken
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
        assert_eq!(share_out(6.0, &[1.0, f64::INFINITY, 2.5], &Rule::Even), [1.0, 2.5, 2.5]);
        assert_eq!(share_out(3.0, &[1.0, 1.0], &Rule::Even), [1.5, 1.5], "nobody can take it: evenly");
    }
}
