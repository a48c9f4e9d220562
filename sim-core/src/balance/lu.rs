//! Dense LU decomposition with partial pivoting (Golub and Van Loan 2013, algorithm 3.4.1).
//!
//! Written out here, and not taken from a library of linear algebra, because balances are compared byte for
//! byte across machines: the libraries choose blocked and fused instructions by the processor they find, and
//! their sums differ in the last digit. The matrices are small (the loops of a line, stations without a
//! choice eliminated). It does not refine a solution; the matrices here are diagonally dominant by columns.

/// A decomposed matrix.
#[derive(Debug, Clone)]
pub(crate) struct Lu {
    n: usize,
    /// Row by row: below the diagonal L (its diagonal is 1), on and above it U.
    a: Vec<f64>,
    /// Row with which row `k` was exchanged in step `k`.
    swaps: Vec<usize>,
}

impl Lu {
    /// Decomposes the `n` by `n` matrix `a` (row by row); `None` if it is singular.
    pub(crate) fn new(n: usize, mut a: Vec<f64>) -> Option<Self> {
        let mut swaps = Vec::with_capacity(n);
        for k in 0..n {
            let mut best = k;
            for row in k + 1..n {
                if a[row * n + k].abs() > a[best * n + k].abs() {
                    best = row;
                }
            }
            if a[best * n + k] == 0.0 || !a[best * n + k].is_finite() {
                return None;
            }
            swaps.push(best);
            if best != k {
                let (upper, lower) = a.split_at_mut(best * n);
                upper[k * n..k * n + n].swap_with_slice(&mut lower[..n]);
            }
            let (upper, lower) = a.split_at_mut((k + 1) * n);
            let pivot_row = &upper[k * n..];
            for row in lower.chunks_exact_mut(n) {
                if row[k] == 0.0 {
                    continue;
                }
                let factor = row[k] / pivot_row[k];
                row[k] = factor;
                for column in k + 1..n {
                    row[column] -= factor * pivot_row[column];
                }
            }
        }
        Some(Lu { n, a, swaps })
    }

    /// Solves `A x = b` in place.
    pub(crate) fn solve(&self, b: &mut [f64]) {
        let n = self.n;
        for (k, &swap) in self.swaps.iter().enumerate() {
            b.swap(k, swap);
        }
        for row in 0..n {
            let done: f64 = (0..row).map(|column| self.a[row * n + column] * b[column]).sum();
            b[row] -= done;
        }
        for row in (0..n).rev() {
            let done: f64 = (row + 1..n).map(|column| self.a[row * n + column] * b[column]).sum();
            b[row] = (b[row] - done) / self.a[row * n + row];
        }
    }

    /// Solves `Aᵀ x = b` in place.
    pub(super) fn solve_transposed(&self, b: &mut [f64]) {
        let n = self.n;
        for row in 0..n {
            let done: f64 = (0..row).map(|column| self.a[column * n + row] * b[column]).sum();
            b[row] = (b[row] - done) / self.a[row * n + row];
        }
        for row in (0..n).rev() {
            let done: f64 = (row + 1..n).map(|column| self.a[column * n + row] * b[column]).sum();
            b[row] -= done;
        }
        for (k, &swap) in self.swaps.iter().enumerate().rev() {
            b.swap(k, swap);
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn both_ways_with_a_zero_on_the_diagonal() {
        // By hand: A = [[0, 2, 1], [4, 0, 1], [1, 1, 0]].
        let a = vec![0.0, 2.0, 1.0, 4.0, 0.0, 1.0, 1.0, 1.0, 0.0];
        let lu = Lu::new(3, a).expect("its determinant is 6");
        let mut b = [7.0, 7.0, 3.0];
        lu.solve(&mut b);
        for (found, wanted) in b.iter().zip([1.0, 2.0, 3.0]) {
            assert!((found - wanted).abs() < 1e-14, "A x = b: {b:?}");
        }
        let mut b = [11.0, 5.0, 3.0];
        lu.solve_transposed(&mut b);
        for (found, wanted) in b.iter().zip([1.0, 2.0, 3.0]) {
            assert!((found - wanted).abs() < 1e-14, "A' x = b: {b:?}");
        }
    }

    #[test]
    fn a_singular_matrix_is_refused() {
        assert!(Lu::new(2, vec![1.0, 2.0, 2.0, 4.0]).is_none());
    }
}
