//! In: values in the order in which they came; +∞ is one that never came. Out: their median, with its interval.
//!
//! The ends are values at ranks equally far from the middle: z·√n/2 for independent ones, whatever they are distributed
//! like (Thompson, Annals of Mathematical Statistics 7, 1936; normal approximation, rounded outwards: the exact ranks or
//! one further out). Values that depend on each other count for fewer, as [`super::dependence`] finds from twenty values
//! on.

use statrs::distribution::{ContinuousCDF, Normal};

use super::comparison::FEWEST_FOR_DEPENDENCE;
use super::dependence::Dependence;
use super::quantile::{median, sorted};

/// The median of some values.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct MedianInterval {
    /// In the unit of the values.
    pub median: f64,
    /// Ends of its interval; none for fewer than six independent values. In the unit of the values.
    pub ends: Option<(f64, f64)>,
    /// Number of values.
    pub values: usize,
}

impl MedianInterval {
    /// Distance of the median to the farther end. In the unit of the values.
    pub fn half_width(&self) -> Option<f64> {
        self.ends.map(|(low, high)| (self.median - low).max(high - self.median))
    }

    /// The same of the values with the other sign, if the median is negative.
    pub fn size(self) -> MedianInterval {
        match self.median < 0.0 {
            true => MedianInterval {
                median: -self.median,
                ends: self.ends.map(|(low, high)| (-high, -low)),
                ..self
            },
            false => self,
        }
    }
}

/// The median with its 95 % interval; `None` without values.
pub fn median_interval(values: &[f64]) -> Option<MedianInterval> {
    Some(MedianInterval { median: median(values)?, ends: median_ends(values, 0.95), values: values.len() })
}

/// The interval of the median; `None` if the values are too few for it. An end may be +∞.
pub fn median_ends(values: &[f64], confidence: f64) -> Option<(f64, f64)> {
    let count = values.len();
    let factor = if count < FEWEST_FOR_DEPENDENCE { 1.0 } else { Dependence::of(values).factor() };
    let sorted = sorted(values);
    let rank = upper_rank(count, factor, confidence)?;
    Some((*sorted.get(count - rank)?, *sorted.get(rank - 1)?))
}

/// Rank from 1 of the upper end; the lower end is as far from the other end of the values.
fn upper_rank(count: usize, factor: f64, confidence: f64) -> Option<usize> {
    let quantile = Normal::standard().inverse_cdf(0.5 + confidence / 2.0);
    let rank = ((count as f64 + 1.0 + quantile * (count as f64 * factor).sqrt()) / 2.0).ceil();
    Some(rank as usize).filter(|rank| (1..=count).contains(rank) && factor.is_finite())
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::analysis::tolerance;

    /// The exact ranks of the binomial distribution; the approximation is one rank wider at times, never narrower.
    #[test]
    fn ranks_are_those_of_the_sign_test() {
        for count in 1..=400 {
            let exact = tolerance::upper_rank(count, 0.5, 0.975);
            let found = upper_rank(count, 1.0, 0.95);
            let is_same = found == exact || exact.is_some_and(|exact| found == Some(exact + 1));
            assert!(is_same, "{count}: {found:?}, exactly {exact:?}");
        }
        let never = [f64::INFINITY; 9];
        assert_eq!(median_ends(&never, 0.95), Some((f64::INFINITY, f64::INFINITY)));
        assert_eq!((upper_rank(5, 1.0, 0.95), upper_rank(6, 1.0, 0.95)), (None, Some(6)));
    }

    #[test]
    fn values_that_follow_each_other_count_for_fewer() {
        let steady: Vec<f64> = (0..40).map(|at| f64::from(at * 17 % 40)).collect();
        let rising: Vec<f64> = (0..40).map(f64::from).collect();
        let half = |values: &[f64]| median_interval(values).unwrap().half_width();
        // Ranks 14 and 27 of 40.
        assert_eq!(half(&steady), Some(6.5));
        assert_eq!(half(&rising), None, "a ramp has no median of its own");
        assert_eq!(median_interval(&[]), None);
        let negative = MedianInterval { median: -2.0, ends: Some((-3.0, 1.0)), values: 9 };
        assert_eq!(negative.size(), MedianInterval { median: 2.0, ends: Some((-1.0, 3.0)), values: 9 });
        assert_eq!(negative.size().size(), negative.size());
        assert_eq!(median_interval(&[2.0, 1.0]), Some(MedianInterval { median: 1.5, ends: None, values: 2 }));
    }
}
