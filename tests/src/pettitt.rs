//! In: values in time order. Out: Pettitt's test for one change, beside which the host's change points are checked.
//!
//! Source: Pettitt, "A non-parametric approach to the change-point problem", Applied Statistics 28 (1979).

use stillpoint::analysis::order::ranks;

/// Result of Pettitt's test for one change.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Pettitt {
    /// Number of values before the change.
    pub before: usize,
    /// Largest difference of rank sums.
    pub statistic: f64,
    /// Probability of a statistic at least this large without a change; approximate, at most 1.
    pub p: f64,
}

/// Pettitt's test; `None` for fewer than two values.
pub fn pettitt(values: &[f64]) -> Option<Pettitt> {
    let n = values.len() as f64;
    let mut sum = 0.0;
    let mut best: Option<(usize, f64)> = None;
    for (index, rank) in ranks(values).0.iter().enumerate().take(values.len().saturating_sub(1)) {
        sum += 2.0 * rank - (n + 1.0);
        if best.is_none_or(|(_, largest)| f64::abs(sum) > largest) {
            best = Some((index + 1, f64::abs(sum)));
        }
    }
    let (before, statistic) = best?;
    let p = 2.0 * (-6.0 * statistic * statistic / (n.powi(3) + n * n)).exp();
    Some(Pettitt { before, statistic, p: p.min(1.0) })
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn fewer_than_two_values_have_no_change() {
        assert_eq!(pettitt(&[1.0]), None);
        assert_eq!(pettitt(&[]), None);
    }
}
