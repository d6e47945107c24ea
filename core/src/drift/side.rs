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

impl Sides {
    /// From the baseline and the scatter of its moves. Unit of the smallest changes, that of the settings and that to be
    /// found: that of the values
    pub(super) fn new(
        settings: &DriftSettings,
        (distribution, scores, dependence): (&Distribution, &Scores, &Dependence),
        (smallest, found): (f32, f32),
    ) -> Sides {
        let moments = |change: f32| distribution.moments(scores, change, smallest);
        let (centre, full) = (moments(0.0), moments(smallest));
        let side = |sign: f32| {
            let quiet = moments(sign * found * settings.quiet_permille as f32 / 1000.0);
            let deviation = |moments: &Moments| sign * (moments.mean - centre.mean);
            let (edge, reached) = (deviation(&quiet).max(0.0), deviation(&moments(sign * found)));
            let scatter = Scatter {
                variance: dependence.variance * (quiet.variance / centre.variance).max(0.25),
                skewness: sign * quiet.skewness,
                kurtosis: quiet.kurtosis,
                estimation: dependence.estimation,
                dependent: dependence.dependent,
            };
            let wanted = (reached - edge).max(LEAST);
            let subgroups = distribution.count() as f32 / SUBGROUP as f32;
            let limits = Limits::new(settings.subgroups(), wanted, &scatter, subgroups);
            let allowance = edge + limits.allowance;
            (
                Side {
                    allowance,
                    limit: limits.up,
                    smallest: found * ((allowance + limits.allowance) / (edge + wanted)).max(1.0),
                },
                limits,
            )
        };
        let ((up, slower), (down, faster)) = (side(1.0), side(-1.0));
        Sides {
            up,
            down,
            centre: centre.mean,
            variance: dependence.variance,
            slope: smallest / (full.mean - centre.mean).max(LEAST),
            dependent: slower.dependent,
            wide_enough: slower.wide_enough && faster.wide_enough,
            short: slower.short,
        }
    }

    /// Change of the values of a deviation. Unit: that of the values
    pub(super) fn change(&self, deviation: f32) -> f32 {
        deviation * self.slope
    }

    /// Deviation of a change of the values. Unit: that of the values
    pub(super) fn deviation(&self, change: f32) -> f32 {
        change / self.slope.max(1e-9)
    }
}
