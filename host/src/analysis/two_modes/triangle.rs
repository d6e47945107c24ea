//! In: products of the columns of a least-squares problem. Out: its triangle, from which the solution and the sum of squares
//! that stays follow.
//!
//! Cholesky's factor of the products is the triangle of an orthogonal decomposition of the columns. It squares their
//! condition, which f64 stands here: modes half a period apart over the record are still told apart at 60 dB.

/// Share of a column's square below which it counts as dependent on those before it.
const DEPENDENT: f64 = 1e-13;

/// Products of `N` columns with each other; the last column is the right side.
#[derive(Clone, Copy, Debug)]
pub(super) struct Products<const N: usize>(pub(super) [[f64; N]; N]);

impl<const N: usize> Default for Products<N> {
    fn default() -> Self {
        Products([[0.0; N]; N])
    }
}

impl<const N: usize> Products<N> {
    /// Adds a row of the problem.
    pub(super) fn add(&mut self, row: &[f64; N]) {
        for (k, sums) in self.0.iter_mut().enumerate() {
            let factor = row[k];
            for (sum, value) in sums[k..].iter_mut().zip(&row[k..]) {
                *sum += factor * value;
            }
        }
    }

    /// The triangle; a column of zeros, or one that depends on those before it, is no unknown.
    pub(super) fn triangle(&self) -> Triangle<N> {
        let mut rows = [[0.0; N]; N];
        for k in 0..N {
            let above = |rows: &[[f64; N]; N], column: usize| -> f64 {
                rows[..k].iter().map(|row| row[k] * row[column]).sum()
            };
            let square = self.0[k][k] - above(&rows, k);
            if square <= DEPENDENT * self.0[k][k] {
                continue;
            }
            let pivot = square.sqrt();
            for column in k..N {
                rows[k][column] = (self.0[k][column] - above(&rows, column)) / pivot;
            }
        }
        Triangle(rows)
    }
}

/// The triangular factor.
#[derive(Clone, Copy, Debug)]
pub(super) struct Triangle<const N: usize>([[f64; N]; N]);

impl<const N: usize> Triangle<N> {
    pub(super) fn at(&self, row: usize, column: usize) -> f64 {
        self.0[row][column]
    }

    /// The first `M` unknowns by the first `M` rows, each 0 if it is none.
    pub(super) fn solve<const M: usize>(&self) -> [f64; M] {
        let mut found = [0.0; M];
        for row in (0..M).rev() {
            let known: f64 = (row + 1..M).map(|k| self.0[row][k] * found[k]).sum();
            let pivot = self.0[row][row];
            found[row] = if pivot == 0.0 { 0.0 } else { (self.0[row][N - 1] - known) / pivot };
        }
        found
    }
}
