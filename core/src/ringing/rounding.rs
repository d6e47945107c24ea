//! In: a fitted mode, the points and the encoder's step. Out: the points without what reading in whole steps added to them.
//!
//! Readings that stand at one step err alike: the steps act as noise only where the error crosses several of them in a
//! point. What they add is known as soon as the mode is. Along a straight line the mean of (round x − x) is
//! (f₁² − f₂²) / 2 over its height, as ∫(round x − x) dx = −f²/2; f are the distances of its ends to the nearest steps.
//! The mode is then fitted to what is left, and again, as a better mode knows better what was added.

use heapless::Vec;

use crate::ringing::capture::POINTS;
use crate::ringing::elementary::nearest;
use crate::ringing::judge::Scale;
use crate::ringing::mode::{Columns, Mode, Sizes};
use crate::ringing::search::{Found, Search};
use crate::ringing::triangle::Triangle;

/// Fits to corrected points; more of them change nothing.
const FITS: u8 = 6;
/// Points in a slice.
const SLICE: usize = 8;
/// Least height of a line, as noise moves readings too. Unit: steps
const LEAST: f32 = 0.2;

/// Points that are corrected again and again.
#[derive(Clone, Debug, Default)]
pub(crate) struct Rounding {
    /// Those of the fit less what is added to the newest mode.
    corrected: Vec<f32, POINTS>,
    added: Added,
    mode: Mode,
    /// Fits that are left.
    fits: u8,
}

impl Rounding {
    /// Begins with the mode of the points as they were read.
    pub(crate) fn begin(&mut self, found: &Found, scale: &Scale) {
        self.fits = FITS;
        self.correct_by(found, scale);
    }

    /// Goes on by a slice; returns the mode of the corrected points once, when it is found.
    pub(crate) fn step(
        &mut self,
        points: &[f32],
        scale: &Scale,
        search: &mut Search,
        triangle: &mut Triangle,
    ) -> Option<Found> {
        let done = self.corrected.len();
        if done < points.len() {
            for point in points.iter().skip(done).take(SLICE) {
                let _full = self.corrected.push(point - self.added.step() * scale.step);
            }
            if self.corrected.len() == points.len() {
                search.begin_at(&self.mode, triangle, points.len());
            }
            return None;
        }
        let found = search.step(&self.corrected, triangle)?;
        self.fits = self.fits.saturating_sub(1);
        if self.fits == 0 {
            return Some(found);
        }
        self.correct_by(&found, scale);
        None
    }

    /// The points without what rounding adds, as they were fitted last.
    pub(crate) fn corrected(&self) -> &Vec<f32, POINTS> {
        &self.corrected
    }

    #[inline(never)]
    fn correct_by(&mut self, found: &Found, scale: &Scale) {
        self.corrected.clear();
        (self.mode, self.added) = (found.mode, Added::new(found, scale));
    }
}

/// What rounding adds to a mode, from point to point.
#[derive(Clone, Copy, Debug, Default)]
struct Added {
    columns: Columns,
    /// Of the mode, its slope and its bend. Unit: steps
    value: Sizes,
    slope: Sizes,
    bend: Sizes,
}

impl Added {
    fn new(found: &Found, scale: &Scale) -> Added {
        let mut value = found.sizes.times(1.0 / scale.step);
        value.offset += scale.phase;
        let slope = value.slope(&found.mode);
        Added { columns: Columns::new(&found.mode), value, slope, bend: slope.slope(&found.mode) }
    }

    /// At this point; goes on to the next. Unit: steps
    fn step(&mut self) -> f32 {
        let [middle, slope, bend] = [self.value, self.slope, self.bend].map(|sizes| self.columns.at(&sizes));
        // At a turning point a parabola ranges over an eighth of its bend.
        let height = slope.abs() + bend.abs() / 8.0;
        let height = if height > LEAST { height } else { LEAST };
        let (low, high) = (off(middle - height / 2.0), off(middle + height / 2.0));
        self.columns.advance();
        (low * low - high * high) / (2.0 * height)
    }
}

/// Distance to the nearest whole number.
fn off(x: f32) -> f32 {
    x - nearest(x) as f32
}

#[cfg(test)]
mod tests {
    use super::*;

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
        let (mut added, mut compared) = (Added::new(&found, &scale), 0);
        for k in 0..128 {
            // Unit: steps
            let at = |t: f64| (0.1 + 20.0 * (0.02 * t).cos()) / 0.5 + 0.25;
            let fine = 1000;
            let mean = (0..fine)
                .map(|j| at(f64::from(k) - 0.5 + (f64::from(j) + 0.5) / f64::from(fine)))
                .map(|x| (x.round() - x) / f64::from(fine))
                .sum::<f64>();
            let off = f64::from(added.step()) - mean;
            // Flatter ones are smoothed as noise would.
            if (0.8 * (0.02 * f64::from(k)).sin()).abs() > f64::from(LEAST) {
                assert!(off.abs() < 0.05, "{k}: {off}");
                compared += 1;
            }
        }
        assert!(compared > 100, "{compared}");
    }
}
