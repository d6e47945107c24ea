//! In: a fitted mode, the points and the encoder's step. Out: the points without what reading in whole steps added to them.
//!
//! Readings that stand at one step err alike: the steps act as noise only where the error crosses several of them in a
//! point. What they add is known as soon as the mode is. Along a straight line the mean of (round x − x) is
//! (f₁² − f₂²) / 2 over its height, as ∫(round x − x) dx = −f²/2; f are the distances of its ends to the nearest steps.
//! The mode is then fitted to what is left, and again, as a better mode knows better what was added.

use crate::ringing::elementary::nearest;
use crate::ringing::judge::Scale;
use crate::ringing::mode::{Columns, Sizes};
use crate::ringing::search::{Found, Search};
use crate::ringing::triangle::Triangle;

/// Fits to corrected points; more of them change nothing.
const FITS: u8 = 6;
/// Points in a slice.
const SLICE: usize = 8;
/// Least height of a line, as noise moves readings too. Unit: steps
const LEAST: f32 = 0.2;

/// What was taken from the points, and what is to be taken.
#[derive(Clone, Debug, Default)]
pub(crate) struct Rounding {
    found: Found,
    before: Option<Added>,
    now: Added,
    at: usize,
    fits: u8,
}

impl Rounding {
    /// Begins with points as they were read, and with their mode.
    pub(crate) fn begin(&mut self, found: &Found) {
        *self = Rounding { found: *found, now: Added::new(found), fits: FITS, ..Rounding::default() };
    }

    /// Whether there is nothing to do.
    pub(crate) fn is_done(&self) -> bool {
        self.fits == 0
    }

    /// Goes on by a slice; returns the mode of the corrected points once, when it is found.
    pub(crate) fn step(
        &mut self,
        points: &mut [f32],
        scale: &Scale,
        search: &mut Search,
        triangle: &mut Triangle,
    ) -> Option<Found> {
        if self.at < points.len() {
            self.correct(points, scale);
            if self.at == points.len() {
                search.begin(core::iter::once(self.found.mode), triangle, points.len());
            }
            return None;
        }
        let found = search.step(points, triangle)?;
        self.again(&found);
        Some(found).filter(|_| self.is_done())
    }

    fn correct(&mut self, points: &mut [f32], scale: &Scale) {
        for point in points.iter_mut().skip(self.at).take(SLICE) {
            let before = self.before.as_mut().map_or(0.0, |before| before.step(scale));
            *point += before - self.now.step(scale);
            self.at += 1;
        }
    }

    fn again(&mut self, found: &Found) {
        (self.before, self.now) = (Some(Added::new(&self.found)), Added::new(found));
        (self.found, self.at) = (*found, 0);
        self.fits = self.fits.saturating_sub(1);
    }
}

/// What rounding adds to a mode, from point to point.
#[derive(Clone, Copy, Debug, Default)]
struct Added {
    columns: Columns,
    /// Of the mode, its slope and its bend.
    value: Sizes,
    slope: Sizes,
    bend: Sizes,
}

impl Added {
    fn new(found: &Found) -> Added {
        let slope = found.sizes.slope(&found.mode);
        Added {
            columns: Columns::new(&found.mode),
            value: found.sizes,
            slope,
            bend: slope.slope(&found.mode),
        }
    }

    /// At this point; goes on to the next. Unit: that of the points
    fn step(&mut self, scale: &Scale) -> f32 {
        let steps = |sizes: &Sizes| self.columns.at(sizes) / scale.step;
        let middle = steps(&self.value) + scale.phase;
        // At a turning point a parabola ranges over an eighth of its bend.
        let height = steps(&self.slope).abs() + steps(&self.bend).abs() / 8.0;
        let height = if height > LEAST { height } else { LEAST };
        let (low, high) = (off(middle - height / 2.0), off(middle + height / 2.0));
        self.columns.advance();
        (low * low - high * high) / (2.0 * height) * scale.step
    }
}

/// Distance to the nearest whole number.
fn off(x: f32) -> f32 {
    x - nearest(x) as f32
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::ringing::mode::Mode;

    /// A mode that decays by nothing in sight, so that only its sizes count.
    fn found(offset: f32, cos: f32) -> Found {
        let mode = Mode { frequency: 0.02, decay: 0.0, tail: 0.0 };
        let mut found = Found::default();
        (found.mode, found.sizes) = (mode, Sizes { offset, cos, ..Sizes::default() });
        found
    }

    #[test]
    fn what_rounding_adds_is_the_mean_over_a_point() {
        let scale = Scale { step: 0.5, phase: 0.25, ..Scale::default() };
        let found = found(0.1, 20.0);
        let (mut added, mut compared) = (Added::new(&found), 0);
        for k in 0..128 {
            // Unit: steps
            let at = |t: f64| (0.1 + 20.0 * (0.02 * t).cos()) / 0.5 + 0.25;
            let fine = 1000;
            let mean = (0..fine)
                .map(|j| at(f64::from(k) - 0.5 + (f64::from(j) + 0.5) / f64::from(fine)))
                .map(|x| (x.round() - x) / f64::from(fine))
                .sum::<f64>();
            let off = f64::from(added.step(&scale)) / 0.5 - mean;
            // Flatter ones are smoothed as noise would.
            if (0.8 * (0.02 * f64::from(k)).sin()).abs() > f64::from(LEAST) {
                assert!(off.abs() < 0.05, "{k}: {off}");
                compared += 1;
            }
        }
        assert!(compared > 100, "{compared}");
    }

    #[test]
    fn points_are_corrected_by_the_newest_mode_alone() {
        let scale = Scale { step: 1.0, phase: 0.0, ..Scale::default() };
        let corrected = |modes: &[Found]| {
            let (mut points, mut rounding) = ([0.0; 20], Rounding::default());
            rounding.begin(&modes[0]);
            (0..20).for_each(|_| rounding.correct(&mut points, &scale));
            for mode in &modes[1..] {
                rounding.again(mode);
                (0..20).for_each(|_| rounding.correct(&mut points, &scale));
            }
            points
        };
        let (once, twice) = (corrected(&[found(0.0, 9.0)]), corrected(&[found(3.3, 5.0), found(0.0, 9.0)]));
        let off = once.iter().zip(&twice).map(|(a, b)| (a - b).abs()).fold(0.0, f32::max);
        assert!(off < 1e-5, "{off}");
        assert!(once.iter().any(|point| point.abs() > 0.1));
    }
}
