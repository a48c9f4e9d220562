//! Strongly connected components of a directed graph (Tarjan 1972): loops, and what leads from one to the other.

/// Strongly connected components, those downstream first; states within one ascend.
pub(crate) fn components(n: usize, next: impl Fn(usize) -> Vec<usize>) -> Vec<Vec<usize>> {
    let next: Vec<Vec<usize>> = (0..n).map(next).collect();
    let (mut order, mut low) = (vec![usize::MAX; n], vec![0; n]);
    let (mut stack, mut on_stack, mut found) = (Vec::new(), vec![false; n], Vec::new());
    let mut n_seen = 0;
    for start in 0..n {
        if order[start] != usize::MAX {
            continue;
        }
        let mut walk = vec![(start, 0)];
        while let Some(&(state, child)) = walk.last() {
            if child == 0 {
                (order[state], low[state]) = (n_seen, n_seen);
                n_seen += 1;
                stack.push(state);
                on_stack[state] = true;
            }
            if let Some(&to) = next[state].get(child) {
                if let Some(top) = walk.last_mut() {
                    top.1 += 1;
                }
                if order[to] == usize::MAX {
                    walk.push((to, 0));
                } else if on_stack[to] {
                    low[state] = low[state].min(order[to]);
                }
                continue;
            }
            walk.pop();
            if let Some(&(parent, _)) = walk.last() {
                low[parent] = low[parent].min(low[state]);
            }
            if low[state] == order[state] {
                let at = stack.iter().rposition(|&s| s == state).unwrap_or(0);
                let mut component = stack.split_off(at);
                component.iter().for_each(|&s| on_stack[s] = false);
                component.sort_unstable();
                found.push(component);
            }
        }
    }
    found
}
