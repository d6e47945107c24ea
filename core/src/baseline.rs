//! In: the moves of one kind while it is good. Out: what that looks like.
//!
//! [`moments`] are exact, [`quantile`] is P²; [`quantiles`] has two in little room, for the monitor; [`reference`]
//! turns a value into a bounded score.
//! A baseline is for telling people; what watches for a change is `drift`.

pub mod moments;
pub mod quantile;
pub mod quantiles;
pub mod reference;

use moments::Moments;
use quantile::Quantile;

/// What one kind's settling looked like when it was declared good.
#[derive(Clone, Debug)]
pub struct Baseline {
    moments: Moments,
    median: Quantile,
    p95: Quantile,
}

impl Default for Baseline {
    fn default() -> Baseline {
        Baseline { moments: Moments::default(), median: Quantile::new(0.5), p95: Quantile::new(0.95) }
    }
}

impl Baseline {
    /// Adds one settling time. Unit: ticks
    pub fn step(&mut self, settling: u32) {
        self.moments.step(i64::from(settling));
        self.median.step(f64::from(settling));
        self.p95.step(f64::from(settling));
    }

    /// Count, mean, variance and autocorrelation.
    pub fn moments(&self) -> &Moments {
        &self.moments
    }

    /// Half of the moves settle within it. Unit: ticks
    pub fn median(&self) -> Option<f64> {
        self.median.value()
    }

    /// 95 of 100 moves settle within it. Unit: ticks
    pub fn p95(&self) -> Option<f64> {
        self.p95.value()
    }
}
