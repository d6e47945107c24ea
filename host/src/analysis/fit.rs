//! In: hot points of one stretch. Out: the line through them, and what it is worth.
//!
//! A figure may be +∞, not settled: it is larger than any other, by rank and by slope.

use statrs::distribution::{ContinuousCDF, Normal, StudentsT};

use super::change_point::SHORTEST;
use super::mann_kendall::{MannKendall, mann_kendall, variance_factor};
use super::noise::residual_factor;
use super::order::ranks;
use super::quantile::median;
use super::theil_sen::{Slope, median_slope, theil_sen};

/// The trend since the last change.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Fit {
    /// Start of the first interval fitted; of the middle one of its group if `grouped`. Unit: s
    pub from_s: f64,
    /// Points fitted, each of `grouped` intervals.
    pub points: usize,
    /// Theil–Sen line through the middles of the intervals; its interval covers every beginning the stretch may have.
    /// Infinite where most pairs go to or from "not settled", and no number where none settled.
    pub slope: Slope,
    /// Mann–Kendall test of the same points; `None` if all are equal.
    pub test: Option<MannKendall>,
    /// By how much autocorrelation widens variances, from 1.
    pub variance_factor: f64,
    /// Value of the line at the end of the last interval, at least 0; where no line can be drawn, the median of the last eight
    /// points; +∞: not settled. Unit: s
    pub level_s: f64,
}

/// The line through one stretch that ends at `end`; `None` if it is too short.
pub(super) fn fitted(
    time: &[f64],
    figures: &[f64],
    end: f64,
    (interval_s, confidence): (f64, f64),
) -> Option<Fit> {
    if time.len() < SHORTEST {
        return None;
    }
    let middles: Vec<f64> = time.iter().map(|time| time + interval_s / 2.0).collect();
    let drawn = Drawn::new(&middles, figures);
    let residuals = drawn.as_ref().map_or_else(|| centred_ranks(figures), |drawn| drawn.residuals.clone());
    let (n, factor) = (time.len() as f64, widening(&residuals));
    // Student's t for as many independent values as the series is worth.
    let freedom = (n / factor - 2.0).max(1.0);
    let quantile = StudentsT::new(0.0, 1.0, freedom).ok()?.inverse_cdf(0.5 + confidence / 2.0);
    let confidence = (2.0 * Normal::standard().cdf(quantile) - 1.0).min(1.0 - 1e-12);
    let slope = theil_sen(&middles, figures, confidence, factor).unwrap_or(Slope::UNKNOWN);
    let last = median(figures.get(figures.len() - SHORTEST..)?)?;
    let level_s =
        drawn.as_ref().map_or(last, |drawn| (drawn.value + slope.slope * (end - drawn.center)).max(0.0));
    let test = mann_kendall(figures, factor);
    Some(Fit { from_s: *time.first()?, points: time.len(), slope, test, variance_factor: factor, level_s })
}

/// A line that can be drawn: its slope and the median about it are numbers.
struct Drawn {
    center: f64,
    value: f64,
    /// +∞ where not settled.
    residuals: Vec<f64>,
}

impl Drawn {
    fn new(middles: &[f64], figures: &[f64]) -> Option<Drawn> {
        let slope = median_slope(middles, figures).filter(|slope| slope.is_finite())?;
        let center = median(middles)?;
        let flat: Vec<f64> = middles.iter().zip(figures).map(|(t, y)| y - slope * (t - center)).collect();
        let value = median(&flat).filter(|value| value.is_finite())?;
        let residuals = flat.iter().map(|level| level - value).collect();
        Some(Drawn { center, value, residuals })
    }
}

/// Ranks about their middle: what takes the place of residuals without a line.
fn centred_ranks(figures: &[f64]) -> Vec<f64> {
    let middle = (figures.len() as f64 + 1.0) / 2.0;
    ranks(figures).0.into_iter().map(|rank| rank - middle).collect()
}

/// The larger of Hamed & Rao's factor and that of an AR(1) series; at least 1.
pub(super) fn widening(residuals: &[f64]) -> f64 {
    let sized = match residuals.iter().all(|residual| residual.is_finite()) {
        true => residual_factor(residuals),
        false => residual_factor(&centred_ranks(residuals)),
    };
    variance_factor(residuals, residuals.len() / 4).max(sized)
}

#[cfg(test)]
mod tests {
    use super::*;

    const LIMIT: f64 = 1e3;

    /// Points each 300 s; a figure from `LIMIT` on is not settled.
    fn fit(figures: &[f64]) -> Fit {
        let time: Vec<f64> = (0..figures.len()).map(|i| 300.0 * i as f64).collect();
        let limited = figures.iter().map(|y| if *y < LIMIT { *y } else { f64::INFINITY });
        let end = 300.0 * figures.len() as f64;
        fitted(&time, &limited.collect::<Vec<f64>>(), end, (300.0, 0.95)).expect("long enough")
    }

    #[test]
    fn what_does_not_settle_is_larger_than_any() {
        let noise = |i: usize| (i * i * 7919 % 89) as f64 / 89.0;
        let series =
            |shape: &dyn Fn(usize) -> f64| (0..40).map(|i| shape(i) + noise(i)).collect::<Vec<f64>>();
        // The obvious twin by rank: a large number instead.
        let check = |figures: Vec<f64>, rises: i64, steep: bool, reached: bool| {
            let found = fit(&figures);
            let twin = mann_kendall(&figures.iter().map(|y| y.min(LIMIT)).collect::<Vec<f64>>(), 1.0);
            let test = found.test;
            assert_eq!(test.map(|test| test.statistic), twin.map(|test| test.statistic));
            assert_eq!(test.map_or(0, |test| test.statistic.signum()), rises, "{test:?}");
            assert_eq!(!found.slope.slope.is_finite(), steep, "{found:?}");
            assert_eq!(found.level_s == f64::INFINITY, reached, "{found:?}");
        };
        check(series(&|i| 10.0 + 0.2 * i as f64), 1, false, false);
        // Few that don't settle leave the line drawn.
        check(series(&|i| if i == 30 || i == 38 { LIMIT } else { 10.0 + 0.2 * i as f64 }), 1, false, false);
        check(series(&|i| if i >= 20 { LIMIT } else { 10.0 }), 1, true, true);
        check(series(&|i| if i < 20 { LIMIT } else { 10.0 }), -1, true, false);
        check(vec![LIMIT; 40], 0, true, true);
    }
}
