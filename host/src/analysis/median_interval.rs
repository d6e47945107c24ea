//! In: values in the order in which they came. Out: their median, with a 95 % interval.
//!
//! The ends are values at ranks equally far from the middle: z·√n/2 for independent ones, whatever they are distributed
//! like (sign test; normal approximation, rounded outwards). Values that depend on each other count for fewer, as
//! [`super::dependence`] finds from twenty values on.

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

/// The median; `None` without values.
pub fn median_interval(values: &[f64]) -> Option<MedianInterval> {
    let count = values.len();
    let factor = if count < FEWEST_FOR_DEPENDENCE { 1.0 } else { Dependence::of(values).factor() };
    let sorted = sorted(values);
    let ends = upper_rank(count, factor).map(|rank| (sorted[count - rank], sorted[rank - 1]));
    Some(MedianInterval { median: median(values)?, ends, values: count })
}

/// Rank from 1 of the upper end; the lower end is as far from the other end of the values.
fn upper_rank(count: usize, factor: f64) -> Option<usize> {
    let half = Normal::standard().inverse_cdf(0.975) * (count as f64 * factor).sqrt() / 2.0;
    let rank = ((count as f64 + 1.0) / 2.0 + half).ceil() as usize;
    Some(rank).filter(|rank| *rank <= count)
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
            let found = upper_rank(count, 1.0);
            let is_same = found == exact || exact.is_some_and(|exact| found == Some(exact + 1));
            assert!(is_same, "{count}: {found:?}, exactly {exact:?}");
        }
        assert_eq!((upper_rank(5, 1.0), upper_rank(6, 1.0)), (None, Some(6)));
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
