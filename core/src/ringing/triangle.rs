//! In: rows of a linear least-squares problem, a few at a time. Out: its triangle, from which the solution, the sum of
//! squares that stays, and the uncertainty follow.
//!
//! Householder reflections of four rows against the triangle found so far (Golub & Van Loan, "Matrix Computations", 5.2,
//! from memory). Normal equations would be shorter; they square the condition, which f32 does not stand.

use crate::ringing::elementary::root;

/// Columns: up to eight unknowns, and the right side as the last.
pub(crate) const WIDTH: usize = 9;
/// The column of the right side.
pub(crate) const RIGHT: usize = WIDTH - 1;
/// Rows that are added at once.
pub(crate) const ROWS: usize = 4;

/// Rows of a problem: coefficients of the unknowns, then the right side.
pub(crate) type Block = [[f32; WIDTH]; ROWS];

/// The triangular factor of all rows that were added. A column of zeros is no unknown.
#[derive(Clone, Copy, Debug, Default)]
pub(crate) struct Triangle {
    rows: [[f32; WIDTH]; WIDTH],
}

impl Triangle {
    /// Adds rows, which are used up; about 400 multiplications with all columns in use.
    #[allow(clippy::needless_range_loop)]
    pub(crate) fn add(&mut self, block: &mut Block) {
        for (column, top) in self.rows.iter_mut().enumerate() {
            let (mut elements, mut below) = ([0.0; ROWS], 0.0);
            for k in 0..ROWS {
                elements[k] = block[k].get(column).copied().unwrap_or(0.0);
                below += elements[k] * elements[k];
            }
            if below > 0.0 {
                reflect(column, top, &elements, below, block);
            }
        }
    }

    /// An element; 0 below the diagonal and outside.
    pub(crate) fn at(&self, row: usize, column: usize) -> f32 {
        self.rows.get(row).and_then(|row| row.get(column)).copied().unwrap_or(0.0)
    }

    /// The unknowns from `first` on, up to `N` of them, each 0 if its column is.
    pub(crate) fn solve<const N: usize>(&self) -> [f32; N] {
        let mut found = [0.0; N];
        for row in (0..N).rev() {
            let known: f32 = (row + 1..N).map(|k| self.at(row, k) * found[k]).sum();
            let pivot = self.at(row, row);
            found[row] = if pivot != 0.0 { (self.at(row, RIGHT) - known) / pivot } else { 0.0 };
        }
        found
    }
}

#[allow(clippy::needless_range_loop)]
/// Turns the block's elements of a column into zeros, whose squares add up to `below`; `top` is the triangle's row.
fn reflect(column: usize, top: &mut [f32; WIDTH], elements: &[f32; ROWS], below: f32, block: &mut Block) {
    let old = top.get(column).copied().unwrap_or(0.0);
    let length = root(old * old + below);
    let new = if old > 0.0 { -length } else { length };
    let head = old - new;
    // Half the square of the reflection's vector.
    let half = -new * head;
    if half <= 0.0 {
        return;
    }
    // Loops over numbers: iterators cost three times as much when optimised for size.
    let mut other = column + 1;
    while other < WIDTH {
        let mut along = head * top[other];
        for k in 0..ROWS {
            along += elements[k] * block[k][other];
        }
        let share = along / half;
        top[other] -= share * head;
        for k in 0..ROWS {
            block[k][other] -= share * elements[k];
        }
        other += 1;
    }
    if let Some(diagonal) = top.get_mut(column) {
        *diagonal = new;
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_cubic_is_found_and_what_is_beyond_it() {
        // Rows 1, t, t², t³ and a cubic; points are 0.01 higher and lower in turn.
        let truth = [0.5, -2.0, 3.0, -1.25];
        let mut triangle = Triangle::default();
        for k in 0..16_u8 {
            let mut block = core::array::from_fn(|j| {
                let t = f32::from(4 * k + j as u8) / 63.0;
                let powers = [1.0, t, t * t, t * t * t];
                let mut row = [0.0; WIDTH];
                row[..4].copy_from_slice(&powers);
                let cubic: f32 = powers.iter().zip(truth).map(|(power, share)| power * share).sum();
                row[RIGHT] = cubic + if j % 3 == 0 { 0.01 } else { -0.01 };
                row
            });
            triangle.add(&mut block);
        }
        let found: [f32; 4] = triangle.solve();
        let off = found.iter().zip(truth).map(|(found, truth)| (found - truth).abs()).fold(0.0, f32::max);
        assert!(off < 0.01, "{found:?}");
        // √64 · 0.01, less the little that the cubic takes up.
        assert!((triangle.at(RIGHT, RIGHT).abs() - 0.08).abs() < 1e-4, "{}", triangle.at(RIGHT, RIGHT));
    }

    #[test]
    fn columns_of_zeros_are_no_unknowns() {
        let mut triangle = Triangle::default();
        triangle.add(&mut [[0.0, 2.0, 0.0, 0.0, 0.0, 0.0, 0.0, 0.0, 6.0]; ROWS]);
        assert_eq!(triangle.solve::<3>(), [0.0, 3.0, 0.0]);
        assert_eq!(Triangle::default().solve::<8>(), [0.0; 8]);
    }
}
