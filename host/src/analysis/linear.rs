//! In: columns of regressors and values. Out: least squares with the uncertainty and the collinearity of each column.

/// Least squares on a few columns.
#[derive(Clone, Debug, PartialEq)]
pub struct LinearFit {
    /// Factor of each column.
    pub factors: Vec<f64>,
    /// Standard deviation of each factor, for residuals that are independent.
    pub sd: Vec<f64>,
    /// Variance inflation of each column: 1/(1 − R²) of the column on the others, without a mean; 1 if it is orthogonal to
    /// them. Source: Belsley, Kuh & Welsch 1980 (from memory).
    pub inflation: Vec<f64>,
    /// Lag-1 autocorrelation of the residuals in the order of the rows.
    pub lag_one: f64,
}

/// Fits `values` by the columns; `None` with fewer than two rows more than columns, or if a column depends on those
/// before it to within rounding.
pub fn linear_fit(columns: &[Vec<f64>], values: &[f64]) -> Option<LinearFit> {
    let (rows, n) = (values.len(), columns.len());
    if rows < n + 2 {
        return None;
    }
    let basis = Basis::new(columns)?;
    let mut residual = values.to_vec();
    let shares: Vec<f64> = basis.unit.iter().map(|unit| remove(unit, &mut residual)).collect();
    let inverse = basis.inverse();
    let dot = |row: &[f64]| row.iter().zip(&shares).map(|(entry, share)| entry * share).sum::<f64>();
    let squares: f64 = residual.iter().map(|value| value * value).sum();
    let variance = squares / (rows - n) as f64;
    let length = |row: &[f64]| row.iter().map(|entry| entry * entry).sum::<f64>();
    let of_column = |column: &[f64]| column.iter().map(|value| value * value).sum::<f64>();
    let lag: f64 = residual.windows(2).map(|pair| pair[0] * pair[1]).sum();
    Some(LinearFit {
        factors: inverse.iter().map(|row| dot(row)).collect(),
        sd: inverse.iter().map(|row| (variance * length(row)).sqrt()).collect(),
        inflation: inverse.iter().zip(columns).map(|(row, column)| length(row) * of_column(column)).collect(),
        lag_one: if squares > 0.0 { lag / squares } else { 0.0 },
    })
}

/// Columns as orthonormal ones times a triangle (modified Gram–Schmidt, twice; Björck 1967).
struct Basis {
    unit: Vec<Vec<f64>>,
    /// `triangle[j][i]`: share of the unit column i in column j.
    triangle: Vec<Vec<f64>>,
}

/// Share of a column's length below which it counts as dependent on those before it.
const DEPENDENT: f64 = 1e-9;

impl Basis {
    fn new(columns: &[Vec<f64>]) -> Option<Basis> {
        let mut basis = Basis { unit: Vec::new(), triangle: Vec::new() };
        for column in columns {
            let (mut rest, before) = (column.clone(), length(column));
            let mut shares: Vec<f64> = basis.unit.iter().map(|unit| remove(unit, &mut rest)).collect();
            for (share, unit) in shares.iter_mut().zip(&basis.unit) {
                *share += remove(unit, &mut rest);
            }
            let own = length(&rest);
            if !own.is_finite() || own <= DEPENDENT * before {
                return None;
            }
            rest.iter_mut().for_each(|value| *value /= own);
            shares.push(own);
            basis.unit.push(rest);
            basis.triangle.push(shares);
        }
        Some(basis)
    }

    /// Rows of the inverse triangle: factors = inverse × shares.
    fn inverse(&self) -> Vec<Vec<f64>> {
        let n = self.unit.len();
        let mut inverse = vec![vec![0.0; n]; n];
        for (column, own) in self.triangle.iter().enumerate() {
            inverse[column][column] = 1.0 / own[column];
            for row in (0..column).rev() {
                let sum: f64 = (row..column).map(|i| inverse[row][i] * own[i]).sum();
                inverse[row][column] = -sum / own[column];
            }
        }
        inverse
    }
}

fn length(column: &[f64]) -> f64 {
    column.iter().map(|value| value * value).sum::<f64>().sqrt()
}

/// Removes the part along a unit column; returns its length.
fn remove(unit: &[f64], from: &mut [f64]) -> f64 {
    let share: f64 = unit.iter().zip(from.iter()).map(|(unit, value)| unit * value).sum();
    from.iter_mut().zip(unit).for_each(|(value, unit)| *value -= share * unit);
    share
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_plane_is_found_and_dependent_columns_are_refused() {
        let a: Vec<f64> = (0..50).map(|i| f64::from(i % 7)).collect();
        let b: Vec<f64> = (0..50).map(|i| f64::from(i % 5) - 1.0).collect();
        let one = vec![1.0; 50];
        let noise = |i: usize| if i.is_multiple_of(3) { 0.2 } else { -0.1 };
        let values: Vec<f64> = (0..50).map(|i| 3.0 * a[i] - 2.0 * b[i] + 7.0 + noise(i)).collect();
        let columns = [a.clone(), b.clone(), one.clone()];
        let fit = linear_fit(&columns, &values).expect("a fit");
        // Normal equations by Cramer's rule.
        let sum = |x: &[f64], y: &[f64]| x.iter().zip(y).map(|(x, y)| x * y).sum::<f64>();
        let m: Vec<Vec<f64>> = columns.iter().map(|x| columns.iter().map(|y| sum(x, y)).collect()).collect();
        let det = |m: &[Vec<f64>]| {
            m[0][0] * (m[1][1] * m[2][2] - m[1][2] * m[2][1])
                - m[0][1] * (m[1][0] * m[2][2] - m[1][2] * m[2][0])
                + m[0][2] * (m[1][0] * m[2][1] - m[1][1] * m[2][0])
        };
        let whole = det(&m);
        for column in 0..3 {
            let mut replaced = m.clone();
            (0..3).for_each(|row| replaced[row][column] = sum(&columns[row], &values));
            let expected = det(&replaced) / whole;
            assert!((fit.factors[column] - expected).abs() < 1e-9, "{:?}, slowly {expected}", fit.factors);
            let (one, two) = ((column + 1) % 3, (column + 2) % 3);
            let minor = m[one][one] * m[two][two] - m[one][two] * m[two][one];
            assert!((fit.inflation[column] - m[column][column] * minor / whole).abs() < 1e-9);
        }
        let twice: Vec<f64> = a.iter().map(|value| 2.0 * value).collect();
        assert_eq!(linear_fit(&[a, one, twice], &values), None);
        assert_eq!(linear_fit(&[vec![1.0; 2]], &[1.0, 2.0]), None);
    }
}
