//! Linear programmes that begin at nothing: the largest value of a sum, then of another among those that reach the first.
//!
//! Dense tableau, entering column by Bland's rule (Bland 1977), so that it ends and finds the same vertex everywhere. All
//! variables are zero or more, and with all of them at zero every row holds (`most` is never below zero), which spares a
//! first phase. It knows nothing of flows.

/// Smaller than this is nothing. Rows are scaled to about one.
const NOTHING: f64 = 1e-10;
/// Most exchanges for one aim. Bland's rule ends always, but only where numbers are exact, and after how many exchanges
/// nobody can say (Klee and Minty 1972: it may be twice as many for each variable).
const EXCHANGES_MAX: usize = 5000;

/// Rows of `sum of coefficient x variable <= most`, and where the solver stands.
#[derive(Debug, Clone)]
pub(super) struct Simplex {
    n_variables: usize,
    /// Rows over variables, slacks and the right side.
    rows: Vec<Vec<f64>>,
    /// The variable or slack that each row gives the value of.
    basis: Vec<usize>,
    /// Columns that must stay at zero, lest an earlier aim suffers.
    barred: Vec<bool>,
    /// Most exchanges for one aim.
    exchanges_max: usize,
}

/// What became of an aim.
#[derive(Debug, Clone, PartialEq)]
pub(super) enum Reached {
    /// The largest value, and what one more of the right side of each row would add to it.
    Most(f64, Vec<f64>),
    /// There is no largest value.
    Endless,
    /// It was not found in so many exchanges.
    NotFound,
}

impl Simplex {
    /// All variables at zero.
    pub(super) fn new(n_variables: usize, rows: Vec<(Vec<f64>, f64)>) -> Self {
        let n_rows = rows.len();
        let full = |(n, (coefficients, most)): (usize, (Vec<f64>, f64))| {
            let mut row = coefficients;
            row.resize(n_variables + n_rows + 1, 0.0);
            row[n_variables + n] = 1.0;
            row[n_variables + n_rows] = most;
            row
        };
        Simplex {
            n_variables,
            rows: rows.into_iter().enumerate().map(full).collect(),
            basis: (n_variables..n_variables + n_rows).collect(),
            barred: vec![false; n_variables + n_rows],
            exchanges_max: EXCHANGES_MAX,
        }
    }

    /// Values of the variables.
    pub(super) fn values(&self) -> Vec<f64> {
        let mut values = vec![0.0; self.n_variables];
        for (row, &variable) in self.rows.iter().zip(&self.basis) {
            if variable < self.n_variables {
                values[variable] = row[row.len() - 1].max(0.0);
            }
        }
        values
    }

    /// Makes `sum of aim x variable` as large as can be without loss to earlier aims; where it has no end, or that was
    /// not found, it stays where it was before.
    pub(super) fn raise(&mut self, aim: &[f64]) -> Reached {
        let before = self.clone();
        let mut gains = self.gains(aim);
        for _ in 0..self.exchanges_max {
            let enters =
                (0..self.barred.len()).find(|&column| !self.barred[column] && gains[column] > NOTHING);
            let Some(enters) = enters else {
                for (barred, gain) in self.barred.iter_mut().zip(&gains) {
                    *barred |= *gain < -NOTHING;
                }
                let worth = gains[self.n_variables..self.barred.len()].iter().map(|gain| (-gain).max(0.0));
                return Reached::Most(-gains[self.barred.len()], worth.collect());
            };
            let Some(leaves) = self.leaves(enters) else {
                *self = before;
                return Reached::Endless;
            };
            self.exchange(leaves, enters, &mut gains);
        }
        *self = before;
        Reached::NotFound
    }

    /// What one more of each column adds to the aim; last, what the aim has, with a minus.
    fn gains(&self, aim: &[f64]) -> Vec<f64> {
        let mut gains = aim.to_vec();
        gains.resize(self.barred.len() + 1, 0.0);
        for (row, &variable) in self.rows.iter().zip(&self.basis) {
            let worth = if variable < self.n_variables { aim[variable] } else { 0.0 };
            if worth != 0.0 {
                row.iter().zip(&mut gains).for_each(|(value, gain)| *gain -= worth * value);
            }
        }
        gains
    }

    /// The row that is at its end first when a column rises.
    fn leaves(&self, enters: usize) -> Option<usize> {
        let mut first: Option<(f64, usize)> = None;
        for (n, row) in self.rows.iter().enumerate().filter(|(_, row)| row[enters] > NOTHING) {
            let room = row[row.len() - 1].max(0.0) / row[enters];
            let is_sooner = first.is_none_or(|(least, best)| {
                room < least - NOTHING || (room <= least + NOTHING && self.basis[n] < self.basis[best])
            });
            if is_sooner {
                first = Some((room, n));
            }
        }
        first.map(|(_, row)| row)
    }

    fn exchange(&mut self, leaves: usize, enters: usize, gains: &mut [f64]) {
        let by = self.rows[leaves][enters];
        self.rows[leaves].iter_mut().for_each(|value| *value /= by);
        let pivot = self.rows[leaves].clone();
        let clear = |row: &mut [f64]| {
            let times = row[enters];
            if times != 0.0 {
                pivot.iter().zip(row.iter_mut()).for_each(|(pivot, value)| *value -= times * pivot);
                row[enters] = 0.0;
            }
        };
        for (n, row) in self.rows.iter_mut().enumerate() {
            if n != leaves {
                clear(row);
            }
        }
        clear(gains);
        self.basis[leaves] = enters;
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    /// Dantzig's standard example as in Cormen, Leiserson, Rivest and Stein, Introduction to Algorithms, section on the
    /// simplex algorithm: 3x + y + 2z, with x + y + 3z <= 30, 2x + 2y + 5z <= 24, 4x + y + 2z <= 36, has its most, 28, at
    /// (8, 4, 0). (From memory; checked by hand: 3 x 8 + 4.)
    fn example() -> Simplex {
        let rows =
            vec![(vec![1.0, 1.0, 3.0], 30.0), (vec![2.0, 2.0, 5.0], 24.0), (vec![4.0, 1.0, 2.0], 36.0)];
        Simplex::new(3, rows)
    }

    #[test]
    fn the_example_of_a_textbook() {
        let mut simplex = example();
        let Reached::Most(most, worth) = simplex.raise(&[3.0, 1.0, 2.0]) else { panic!("it has an end") };
        assert!((most - 28.0).abs() < 1e-12, "{most}");
        for (value, wanted) in simplex.values().iter().zip([8.0, 4.0, 0.0]) {
            assert!((value - wanted).abs() < 1e-12, "{value}, {wanted}");
        }
        // Duality: what the rows are worth adds up to the most.
        let dual: f64 = worth.iter().zip([30.0, 24.0, 36.0]).map(|(worth, most)| worth * most).sum();
        assert!((dual - 28.0).abs() < 1e-12, "{worth:?}");
    }

    #[test]
    fn a_second_aim_costs_the_first_nothing() {
        // x + y <= 4, x <= 3: of all points with x + y = 4, x is at most 3 and at least 0.
        let rows = vec![(vec![1.0, 1.0], 4.0), (vec![1.0, 0.0], 3.0)];
        let mut simplex = Simplex::new(2, rows);
        assert!(matches!(simplex.raise(&[1.0, 1.0]), Reached::Most(most, _) if (most - 4.0).abs() < 1e-12));
        let mut other = simplex.clone();
        assert!(matches!(simplex.raise(&[1.0, 0.0]), Reached::Most(most, _) if (most - 3.0).abs() < 1e-12));
        assert_eq!(simplex.values(), [3.0, 1.0]);
        assert!(matches!(other.raise(&[-1.0, 0.0]), Reached::Most(least, _) if least.abs() < 1e-12));
        assert_eq!(other.values(), [0.0, 4.0]);
    }

    #[test]
    fn what_is_not_found_in_so_many_exchanges_is_told_and_changes_nothing() {
        let mut simplex = example();
        simplex.exchanges_max = 1;
        assert_eq!(simplex.raise(&[3.0, 1.0, 2.0]), Reached::NotFound);
        assert_eq!(simplex.values(), [0.0; 3]);
        simplex.exchanges_max = EXCHANGES_MAX;
        assert!(
            matches!(simplex.raise(&[3.0, 1.0, 2.0]), Reached::Most(most, _) if (most - 28.0).abs() < 1e-12)
        );
    }

    #[test]
    fn what_has_no_end_is_told_and_changes_nothing() {
        let mut simplex = Simplex::new(2, vec![(vec![1.0, -1.0], 0.0), (vec![1.0, 0.0], 2.0)]);
        assert!(matches!(simplex.raise(&[1.0, 0.0]), Reached::Most(most, _) if (most - 2.0).abs() < 1e-12));
        assert_eq!(simplex.raise(&[0.0, 1.0]), Reached::Endless);
        assert!((simplex.values()[0] - 2.0).abs() < 1e-12);
    }
}
