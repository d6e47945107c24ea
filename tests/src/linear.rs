//! In: a square matrix and a right side. Out: the solution, by elimination with the largest pivot.

/// Solves `matrix` · x = `right`.
pub fn solve(matrix: &[Vec<f64>], right: &[f64]) -> Vec<f64> {
    let count = matrix.len();
    let mut rows: Vec<Vec<f64>> =
        matrix.iter().zip(right).map(|(row, right)| row.iter().copied().chain([*right]).collect()).collect();
    for column in 0..count {
        let best = (column..count).max_by(|&a, &b| rows[a][column].abs().total_cmp(&rows[b][column].abs()));
        rows.swap(column, best.expect("a row"));
        let pivot = rows[column].clone();
        for row in rows.iter_mut().skip(column + 1) {
            let factor = row[column] / pivot[column];
            row.iter_mut().zip(&pivot).skip(column).for_each(|(cell, top)| *cell -= factor * top);
        }
    }
    let mut found = vec![0.0; count];
    for k in (0..count).rev() {
        let known: f64 = (k + 1..count).map(|j| rows[k][j] * found[j]).sum();
        found[k] = (rows[k][count] - known) / rows[k][k];
    }
    found
}
