//! In: the run length asked for, the smallest change, the scatter. Out: reference value and limits of a two-sided CUSUM.
//!
//! Of a CUSUM of x − k on normal x the average run length is (e^y − y − 1) σ²/(2k²) with y = 2k(h + 1.166σ)/σ²
//! (D. Siegmund, "Sequential Analysis", Springer 1985, 2.51; two sides have half of it). Three corrections make it
//! hold for a real baseline: see METHOD.md, "Limits".

use crate::drift::SUBGROUP;
use crate::drift::spread::{Scatter, sqrt};

/// How far a CUSUM overshoots its limit. Source: Siegmund. Unit: standard deviations
const OVERSHOOT: f32 = 1.166;
/// What the formula runs short by at large k, put into y: times k³/σ³. Fitted to Nyström's method at k up to 1.5σ.
const SHORT: f32 = 0.057;
/// Larger reference values than this are beyond that formula. Unit: standard deviations
const LARGEST: f32 = 1.5;
/// k²/s² per unit of y: 2 is the least at which there is a limit at all.
const GUARD: f32 = 2.4;

/// Limits of both sides. Unit: score units
#[derive(Clone, Copy, Debug, Default, PartialEq)]
pub struct Limits {
    /// Deviation that is taken off every subgroup.
    pub allowance: f32,
    /// Sum above which the values have grown.
    pub up: f32,
    /// Sum above which they have shrunk.
    pub down: f32,
    /// Standard deviation of a subgroup's mean, as seen.
    pub deviation: f32,
    /// Whether moves depend on each other more than these limits allow for.
    pub dependent: bool,
    /// Whether the limits are as wide as the promise asks for.
    pub wide_enough: bool,
    /// Whether the baseline is too short for the smallest change, so that only a larger one is found.
    pub short: bool,
}

impl Limits {
    /// `run_length` in subgroups, `smallest` change and `scatter` in score units; the baseline is of
    /// `subgroups` subgroups.
    pub fn new(run_length: f32, smallest: f32, scatter: &Scatter, subgroups: f32) -> Limits {
        let wanted = smallest / 2.0;
        let variance = scatter.variance.max(wanted * wanted / (LARGEST * LARGEST));
        let one_sided = 2.0 * run_length;
        // The mean of the baseline is off by s; a change within its reach can't be told from that.
        let off = variance / subgroups.max(1.0);
        let guard = |ratio| sqrt(GUARD * off * exponent(one_sided, ratio));
        let rough = guard(wanted * wanted / variance);
        let guard = guard(wanted.max(rough) * wanted.max(rough) / variance);
        let allowance = wanted.max(guard);
        let variance = variance.max(allowance * allowance / (LARGEST * LARGEST));
        let ratio = allowance * allowance / variance;
        let certain = exponent(one_sided, ratio) + SHORT * ratio * sqrt(ratio);
        let doubt = off / (2.0 * allowance * allowance) + scatter.doubt / 2.0;
        // Of single moves: grouping changes neither. Where more variance is allowed for than was seen, they matter less.
        let ratio = ratio / SUBGROUP as f32;
        let allowed = scatter.variance / variance;
        let lopsided = 2.0 / 3.0 * scatter.skewness * sqrt(ratio * allowed * allowed * allowed);
        let heavy = scatter.kurtosis / 3.0 * ratio * allowed * allowed;
        let deviation = sqrt(variance);
        let limit = |lopsided: f32| {
            let widened = doubted(certain * (1.0 + lopsided.max(0.0) + heavy), doubt);
            let limit = widened * variance / (2.0 * allowance) - OVERSHOOT * deviation;
            limit.max(deviation / 2.0)
        };
        Limits {
            allowance,
            up: limit(lopsided),
            down: limit(-lopsided),
            deviation: sqrt(scatter.variance),
            dependent: scatter.dependent && allowed > 0.25,
            wide_enough: 4.0 * doubt * certain <= 1.0,
            short: guard > wanted,
        }
    }
}

/// y of e^y − y − 1 = 2k²/σ² · run length, by Newton's steps from above.
fn exponent(run_length: f32, ratio: f32) -> f32 {
    let most = (2.0 * ratio * run_length).max(1.0);
    (0..3).fold(ln(2.0 * most + 2.0), |y, _| {
        let all = most + 1.0 + y;
        y - (y - ln(all)) * all / (all - 1.0)
    })
}

/// The exponent at which the mean false alarm rate over all baselines that could have been is that of `certain`.
///
/// A relative error ε of the exponent's slope, of variance 2·doubt, makes of e^-y a mean of e^(-y + doubt·y²).
/// Beyond the largest y for which this can hold, limits only grow with the doubt.
fn doubted(certain: f32, doubt: f32) -> f32 {
    let part = 4.0 * doubt * certain;
    2.0 * certain / (1.0 + sqrt(1.0 - part.min(1.0))) * part.max(1.0)
}

/// Natural logarithm of a positive normal number, to 3 units in the last place, alike on every processor:
/// exponent, and 2 artanh((m − 1)/(m + 1)) of a mantissa about 1 as a series.
#[inline(never)]
fn ln(value: f32) -> f32 {
    let bits = value.max(f32::MIN_POSITIVE).to_bits();
    // Mantissas from √½ to √2.
    let exponent = (bits.wrapping_sub(0x3F35_04F3) as i32) >> 23;
    let mantissa = f32::from_bits(bits.wrapping_sub((exponent << 23) as u32));
    let t = (mantissa - 1.0) / (mantissa + 1.0);
    let square = t * t;
    let series = 1.0 + square * (1.0 / 3.0 + square * (0.2 + square * (1.0 / 7.0)));
    exponent as f32 * core::f32::consts::LN_2 + 2.0 * t * series
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn logarithms_agree_with_the_library() {
        for k in 1..200_000 {
            let value = k as f32 * 0.37 + 1e-6;
            let exact = f64::from(value).ln();
            assert!((f64::from(ln(value)) - exact).abs() <= 4e-7 * exact.abs().max(0.3), "{value}");
        }
    }

    /// The exponent put back into the formula gives the run length.
    #[test]
    fn the_exponent_solves_the_formula() {
        for ratio in [0.02_f32, 0.25, 1.0, 2.25] {
            for run_length in [100.0_f32, 1e4, 1e6, 1e9] {
                let y = f64::from(exponent(run_length, ratio));
                let found = (y.exp() - y - 1.0) / (2.0 * f64::from(ratio));
                assert!((found / f64::from(run_length) - 1.0).abs() < 2e-5, "{ratio} {run_length}: {found}");
            }
        }
    }

    #[test]
    fn doubt_only_widens() {
        let mut last = 0.0;
        for k in 0..100 {
            let y = doubted(15.0, k as f32 * 1e-3);
            assert!(y > last, "{k}");
            last = y;
        }
        assert_eq!(doubted(15.0, 0.0), 15.0);
    }
}
