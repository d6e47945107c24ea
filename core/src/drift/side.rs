//! In: the baseline of a kind, the smallest change. Out: for slower and for faster, from where on a change calls for a person.
//!
//! A change of less than a part of the smallest change, the quiet part, raises no more false alarms than promised: the
//! sum has the allowance midway between the quiet part and the smallest change, and its limit is that of a level at the
//! edge of the quiet part.

use crate::baseline::{Distribution, Moments, Scores};
use crate::drift::SUBGROUP;
use crate::drift::limit::Limits;
use crate::drift::settings::DriftSettings;
use crate::drift::spread::{Dependence, Scatter};

/// Least distance from the quiet part to the smallest change: where scores are cut off, both are the same.
const LEAST: f32 = 0.05;

/// One direction of change. Unit: score units, unless said otherwise
#[derive(Clone, Copy, Debug, Default)]
pub(super) struct Side {
    /// Subtracted from the deviation of every subgroup.
    pub(super) allowance: f32,
    /// Limit of the sum: beyond it a drift begins.
    pub(super) limit: f32,
    /// Change that is found. Unit: that of the values
    pub(super) smallest: f32,
}

/// Both directions.
#[derive(Clone, Copy, Debug, Default)]
pub(super) struct Sides {
    pub(super) up: Side,
    pub(super) down: Side,
    /// Mean score of the baseline.
    pub(super) centre: f32,
    /// Variance of a subgroup's mean.
    pub(super) variance: f32,
    /// Values per score unit, between the baseline and the smallest change.
    slope: f32,
    /// Whether moves depend on each other more than the limits allow for.
    pub(super) dependent: bool,
    /// Whether the limits are wide enough to guarantee the rate of false alarms.
    pub(super) wide_enough: bool,
    /// Whether the baseline is too short for the smallest change: only a larger one is found.
    pub(super) short: bool,
}

/// What limits are computed from.
pub(super) struct Ground<'a> {
    pub(super) settings: &'a DriftSettings,
    pub(super) distribution: &'a Distribution,
    pub(super) scores: &'a Scores,
    pub(super) dependence: Dependence,
    /// Smallest change of the settings, and change that is to be found. Unit: that of the values
    pub(super) smallest: f32,
    pub(super) found: f32,
}

impl Ground<'_> {
    /// Moments of the scores if the mean were larger by `change`. Unit: that of the values
    fn moments(&self, change: f32) -> Moments {
        self.distribution.moments(self.scores, change, self.smallest)
    }

    /// The direction of `sign`, +1 or −1, and its limits.
    fn side(&self, centre: &Moments, sign: f32) -> (Side, Limits) {
        let quiet = self.moments(sign * self.found * self.settings.quiet_permille as f32 / 1000.0);
        let deviation = |moments: &Moments| sign * (moments.mean - centre.mean);
        let (edge, reached) = (deviation(&quiet).max(0.0), deviation(&self.moments(sign * self.found)));
        let scatter = Scatter {
            variance: self.dependence.variance * (quiet.variance / centre.variance).max(0.25),
            skewness: sign * quiet.skewness,
            kurtosis: quiet.kurtosis,
            estimation: self.dependence.estimation,
            dependent: self.dependence.dependent,
        };
        let wanted = (reached - edge).max(LEAST);
        let subgroups = self.distribution.count() as f32 / SUBGROUP as f32;
        let limits = Limits::new(self.settings.subgroups(), wanted, &scatter, subgroups);
        let allowance = edge + limits.allowance;
        let smallest = self.found * ((allowance + limits.allowance) / (edge + wanted)).max(1.0);
        (Side { allowance, limit: limits.up, smallest }, limits)
    }

    /// Both directions.
    pub(super) fn sides(&self) -> Sides {
        let (centre, full) = (self.moments(0.0), self.moments(self.smallest));
        let ((up, slower), (down, faster)) = (self.side(&centre, 1.0), self.side(&centre, -1.0));
        Sides {
            up,
            down,
            centre: centre.mean,
            variance: self.dependence.variance,
            slope: self.smallest / (full.mean - centre.mean).max(LEAST),
            dependent: slower.dependent,
            wide_enough: slower.wide_enough && faster.wide_enough,
            short: slower.short,
        }
    }
}

impl Sides {
    /// Change of the values of a deviation. Unit: that of the values
    pub(super) fn change(&self, deviation: f32) -> f32 {
        deviation * self.slope
    }

    /// Deviation of a change of the values. Unit: that of the values
    pub(super) fn deviation(&self, change: f32) -> f32 {
        change / self.slope.max(1e-9)
    }
}
