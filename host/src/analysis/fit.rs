//! In: statistics of hot intervals in one segment. Out: their Theil–Sen line, with its confidence interval and test.
//!
//! A statistic may be +∞, which means not settled: larger than any number, by rank and by slope.

use statrs::distribution::{ContinuousCDF, Normal, StudentsT};

use super::change_point::SHORTEST;
use super::mann_kendall::{MannKendall, mann_kendall, variance_factor};
use super::noise::residual_factor;
use super::order::ranks;
use super::quantile::median;
use super::theil_sen::{Slope, median_slope, theil_sen};

/// The trend of the last segment.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Fit {
    /// Start of the first interval fitted, or mean start of the first group. Unit: s
    pub from_s: f64,
    /// Number of points fitted, each of one interval or one group of intervals.
    pub points: usize,
    /// Theil–Sen line through the middles of the intervals; its confidence interval covers every possible start of the
    /// segment. Infinite where most pairs rise to or fall from "not settled"; NaN where nothing settled.
    pub slope: Slope,
    /// Mann–Kendall test of the same points; `None` if all are equal.
    pub test: Option<MannKendall>,
    /// Factor by which autocorrelation widens variances, at least 1.
    pub variance_factor: f64,
    /// Value of the line at the end of the last interval, at least 0; without a line, the median of the last eight points;
    /// +∞: not settled. Unit: s
    pub level_s: f64,
}

/// The line through one segment that ends at `end`; `None` if the segment is too short.
pub(super) fn fitted(
    time: &[f64],
    values: &[f64],
    end: f64,
    (interval_s, confidence): (f64, f64),
) -> Option<Fit> {
    if time.len() < SHORTEST {
        return None;
    }
    let middles: Vec<f64> = time.iter().map(|time| time + interval_s / 2.0).collect();
    let line = MedianLine::new(&middles, values);
    let residuals = line.as_ref().map_or_else(|| centred_ranks(values), |line| line.residuals.clone());
    let (n, factor) = (time.len() as f64, widening(&residuals));
    // Student's t with the effective number of independent values.
    let freedom = (n / factor - 2.0).max(1.0);
    let quantile = StudentsT::new(0.0, 1.0, freedom).ok()?.inverse_cdf(0.5 + confidence / 2.0);
    let confidence = (2.0 * Normal::standard().cdf(quantile) - 1.0).min(1.0 - 1e-12);
    let slope = theil_sen(&middles, values, confidence, factor).unwrap_or(Slope::UNKNOWN);
    let last = median(values.get(values.len() - SHORTEST..)?)?;
    let level_s =
        line.as_ref().map_or(last, |line| (line.value + slope.slope * (end - line.center)).max(0.0));
    let test = mann_kendall(values, factor);
    Some(Fit { from_s: *time.first()?, points: time.len(), slope, test, variance_factor: factor, level_s })
}

/// A line whose slope and median residual are finite.
struct MedianLine {
    center: f64,
    value: f64,
    /// +∞ for not settled.
    residuals: Vec<f64>,
}

impl MedianLine {
    fn new(middles: &[f64], values: &[f64]) -> Option<MedianLine> {
        let slope = median_slope(middles, values).filter(|slope| slope.is_finite())?;
        let center = median(middles)?;
        let flat: Vec<f64> = middles.iter().zip(values).map(|(t, y)| y - slope * (t - center)).collect();
        let value = median(&flat).filter(|value| value.is_finite())?;
        let residuals = flat.iter().map(|level| level - value).collect();
        Some(MedianLine { center, value, residuals })
    }
}

/// Ranks minus their mean: the substitute for residuals where there is no line.
fn centred_ranks(values: &[f64]) -> Vec<f64> {
    let middle = (values.len() as f64 + 1.0) / 2.0;
    ranks(values).0.into_iter().map(|rank| rank - middle).collect()
}

/// Factor on variances for autocorrelation: the larger of Hamed & Rao's and that of an AR(1) series; at least 1.
pub(super) fn widening(residuals: &[f64]) -> f64 {
    let of_residuals = match residuals.iter().all(|residual| residual.is_finite()) {
        true => residual_factor(residuals),
        false => residual_factor(&centred_ranks(residuals)),
    };
    variance_factor(residuals, residuals.len() / 4).max(of_residuals)
}

#[cfg(test)]
mod tests {
    use super::*;

    const LIMIT: f64 = 1e3;

    /// A point every 300 s; a value of `LIMIT` or more is not settled.
    fn fit(values: &[f64]) -> Fit {
        let time: Vec<f64> = (0..values.len()).map(|i| 300.0 * i as f64).collect();
        let limited = values.iter().map(|y| if *y < LIMIT { *y } else { f64::INFINITY });
        let end = 300.0 * values.len() as f64;
        fitted(&time, &limited.collect::<Vec<f64>>(), end, (300.0, 0.95)).expect("long enough")
    }

    #[test]
    fn not_settled_is_larger_than_any_number() {
        let noise = |i: usize| (i * i * 7919 % 89) as f64 / 89.0;
        let series =
            |shape: &dyn Fn(usize) -> f64| (0..40).map(|i| shape(i) + noise(i)).collect::<Vec<f64>>();
        // The obvious twin by rank: a large number instead of infinity.
        let check = |values: Vec<f64>, rises: i64, steep: bool, reached: bool| {
            let found = fit(&values);
            let twin = mann_kendall(&values.iter().map(|y| y.min(LIMIT)).collect::<Vec<f64>>(), 1.0);
            let test = found.test;
            assert_eq!(test.map(|test| test.statistic), twin.map(|test| test.statistic));
            assert_eq!(test.map_or(0, |test| test.statistic.signum()), rises, "{test:?}");
            assert_eq!(!found.slope.slope.is_finite(), steep, "{found:?}");
            assert_eq!(found.level_s == f64::INFINITY, reached, "{found:?}");
        };
        check(series(&|i| 10.0 + 0.2 * i as f64), 1, false, false);
        // A few intervals that are not settled do not hide the line.
        check(series(&|i| if i == 30 || i == 38 { LIMIT } else { 10.0 + 0.2 * i as f64 }), 1, false, false);
        check(series(&|i| if i >= 20 { LIMIT } else { 10.0 }), 1, true, true);
        check(series(&|i| if i < 20 { LIMIT } else { 10.0 }), -1, true, false);
        check(vec![LIMIT; 40], 0, true, true);
    }
}
