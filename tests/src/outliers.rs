//! In: values. Out: quantiles by each of the nine published definitions, the MAD, Grubbs' outlier test.
//!
//! No command uses these; the host has definition 7 alone (`analysis::quantile`), which is checked against this one.
//! Definitions: Hyndman & Fan, "Sample quantiles in statistical packages", The American Statistician 50 (1996),
//! numbered as there. Grubbs: NIST/SEMATECH e-Handbook 1.3.5.17.1.

use statrs::distribution::{ContinuousCDF, StudentsT};
use stillpoint::analysis::quantile::{median, sorted};

/// How a quantile is read between the sorted values: Hyndman & Fan's types 1 to 9.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Definition {
    /// Inverse of the empirical distribution.
    R1,
    /// As R1, averaged where it jumps.
    R2,
    /// The value nearest to n·p, ties to the even one.
    R3,
    /// Linear between n·p.
    R4,
    /// Linear between the middles of the steps (hydrology).
    R5,
    /// Linear, (n + 1)·p.
    R6,
    /// Linear, (n − 1)·p + 1: the host's definition.
    R7,
    /// Linear, nearly median-unbiased whatever the distribution.
    R8,
    /// Linear, nearly unbiased for a normal distribution.
    R9,
}

impl Definition {
    /// All nine, in their order.
    pub const ALL: [Definition; 9] = {
        use Definition::{R1, R2, R3, R4, R5, R6, R7, R8, R9};
        [R1, R2, R3, R4, R5, R6, R7, R8, R9]
    };
}

/// The `p` quantile of values in any order; `None` without values or for a `p` outside 0 … 1.
pub fn quantile(values: &[f64], p: f64, definition: Definition) -> Option<f64> {
    let sorted = sorted(values);
    let last = sorted.len().checked_sub(1)?;
    if !(0.0..=1.0).contains(&p) {
        return None;
    }
    let n = sorted.len() as f64;
    let at = |one_based: f64| sorted[(one_based.max(1.0) as usize - 1).min(last)];
    let (a, b) = match definition {
        Definition::R1 => return Some(at((n * p).ceil())),
        Definition::R2 => return Some((at((n * p).ceil()) + at((n * p).floor() + 1.0)) / 2.0),
        Definition::R3 => return Some(at((n * p).round_ties_even())),
        Definition::R4 => (0.0, 1.0),
        Definition::R5 => (0.5, 0.5),
        Definition::R6 => (0.0, 0.0),
        Definition::R7 => (1.0, 1.0),
        Definition::R8 => (1.0 / 3.0, 1.0 / 3.0),
        Definition::R9 => (0.375, 0.375),
    };
    let rank = (a + p * (n + 1.0 - a - b)).clamp(1.0, n);
    let (low, high) = (at(rank.floor()), at(rank.floor() + 1.0));
    let share = rank - rank.floor();
    // The difference of two infinities is not a number.
    Some(if share == 0.0 || low == high { low } else { low + share * (high - low) })
}

/// Median of the absolute deviations from the median, unscaled; `None` without values.
pub fn mad(values: &[f64]) -> Option<f64> {
    let middle = median(values)?;
    median(&values.iter().map(|value| (value - middle).abs()).collect::<Vec<_>>())
}

/// Grubbs' test of the value farthest from the mean.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Grubbs {
    /// Index of the value.
    pub index: usize,
    /// Its distance from the mean in standard deviations.
    pub statistic: f64,
    /// Value that the statistic exceeds in one of `1 / alpha` normal samples without an outlier.
    pub critical: f64,
}

/// Grubbs' test on whichever side the farthest value lies, `alpha` being the risk on that one side; `None` for fewer
/// than three values, without scatter, or for an `alpha` outside 0 … 1.
pub fn grubbs(values: &[f64], alpha: f64) -> Option<Grubbs> {
    let n = values.len() as f64;
    let mean = values.iter().sum::<f64>() / n;
    let sd = (values.iter().map(|value| (value - mean).powi(2)).sum::<f64>() / (n - 1.0)).sqrt();
    if values.len() < 3 || !sd.is_finite() || sd == 0.0 || !(alpha > 0.0 && alpha < 1.0) {
        return None;
    }
    let distance = |index: &usize| (values[*index] - mean).abs();
    let index = (0..values.len()).max_by(|a, b| distance(a).total_cmp(&distance(b)))?;
    let t = StudentsT::new(0.0, 1.0, n - 2.0).ok()?.inverse_cdf(1.0 - alpha / n);
    let critical = (n - 1.0) / n.sqrt() * (t * t / (n - 2.0 + t * t)).sqrt();
    Some(Grubbs { index, statistic: distance(&index) / sd, critical })
}

#[cfg(test)]
mod tests {
    use super::*;
    use stillpoint::analysis::quantile;

    #[test]
    fn every_definition_meets_the_ends_and_refuses_nonsense() {
        for definition in Definition::ALL {
            let check = |values: &[f64], p, expected| {
                assert_eq!(quantile(values, p, definition), expected, "{definition:?} {values:?} {p}");
            };
            check(&[3.0, 1.0, 2.0], 0.0, Some(1.0));
            check(&[3.0, 1.0, 2.0], 1.0, Some(3.0));
            check(&[5.0], 0.3, Some(5.0));
            check(&[], 0.5, None);
            check(&[1.0], 1.5, None);
            check(&[1.0], f64::NAN, None);
            check(&[f64::INFINITY, f64::INFINITY, 1.0], 1.0, Some(f64::INFINITY));
            check(&[f64::INFINITY, f64::INFINITY], 0.5, Some(f64::INFINITY));
        }
    }

    #[test]
    fn the_host_uses_definition_7() {
        let values: Vec<f64> = (0..40_u64).map(|i| (i * 7919 % 61) as f64 / 7.0).collect();
        for count in [1, 2, 3, 17, 40] {
            for p in [0.0, 0.05, 0.37, 0.5, 0.95, 1.0] {
                let host = quantile::quantile_sorted(&sorted(&values[..count]), p);
                assert_eq!(host, quantile(&values[..count], p, Definition::R7), "{count} values, {p}");
            }
        }
    }

    #[test]
    fn grubbs_needs_scatter() {
        assert_eq!(grubbs(&[1.0, 1.0, 1.0], 0.05), None);
        assert_eq!(grubbs(&[1.0, 2.0], 0.05), None);
        assert_eq!(grubbs(&[1.0, 2.0, 3.0, 90.0], 0.05).map(|found| found.index), Some(3));
    }
}
