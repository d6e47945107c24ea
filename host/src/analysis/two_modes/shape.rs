//! In: frequencies, decays and the rate of a tail. Out: the rows of the least-squares problem.
//!
//! error(t) = offset + Σ e^(−αt)(a cos ωt + b sin ωt) + c e^(−λt), with t in points and one or two modes.

use std::f64::consts::{PI, TAU};

/// Most modes.
pub(super) const MODES: usize = 2;
/// Linear parameters: offset, cosine and sine of each mode, tail.
pub(super) const SIZES: usize = 2 * MODES + 2;
/// Other parameters: ln ω and α/ω of each mode, ln λ.
pub(super) const OTHERS: usize = 2 * MODES + 1;
/// Columns: those of the linear parameters, t times all but the first of them, the points.
pub(super) const WIDTH: usize = SIZES + OTHERS + 1;
/// Linear parameter of the tail.
const TAIL: usize = SIZES - 1;

/// Longest step of the logarithm of a parameter, and of α/ω.
const STEP: f64 = 0.5;
const RATIO_STEP: f64 = 0.2;
/// Bounds of ω: half a period over all points, 0.45 periods a point. Unit: rad, rad/point
const SLOWEST: f64 = PI;
const FASTEST: f64 = 0.45 * TAU;
/// Bounds of α/ω, and of λ. Unit: 1, 1/all points and 1/point
const RATIO: (f64, f64) = (-0.02, 0.7);
const RATE: (f64, f64) = (0.3, 1.5);

/// An oscillation: ω and α/ω. Unit: rad/point, 1
#[derive(Clone, Copy, Debug, Default, PartialEq)]
pub(super) struct Mode {
    pub frequency: f64,
    pub ratio: f64,
}

/// The parameters that are not linear; a frequency of 0 is no mode, a tail of 0 none. Unit of the tail: 1/point
#[derive(Clone, Copy, Debug, Default, PartialEq)]
pub(super) struct Shape {
    pub modes: [Mode; MODES],
    pub tail: f64,
}

impl Shape {
    /// Number of parameters, the linear ones among them.
    pub(super) fn parameters(&self) -> f64 {
        let modes = self.modes.iter().filter(|mode| mode.frequency > 0.0).count();
        1.0 + 4.0 * modes as f64 + if self.tail > 0.0 { 2.0 } else { 0.0 }
    }

    /// Calls `with` with the row of each point.
    pub(super) fn rows(&self, points: &[f64], mut with: impl FnMut(&[f64; WIDTH])) {
        let turns = self.modes.map(|mode| {
            let shrink = (-mode.ratio * mode.frequency).exp();
            (shrink * mode.frequency.cos(), shrink * mode.frequency.sin())
        });
        let fall = (-self.tail).exp();
        let mut waves = self.modes.map(|mode| (if mode.frequency > 0.0 { 1.0 } else { 0.0 }, 0.0));
        let mut tail = if self.tail > 0.0 { 1.0 } else { 0.0 };
        let mut row = [0.0; WIDTH];
        row[0] = 1.0;
        for (t, point) in points.iter().enumerate() {
            for (k, wave) in waves.iter_mut().enumerate() {
                (row[2 * k + 1], row[2 * k + 2]) = *wave;
                let (cos, sin) = turns[k];
                *wave = (wave.0 * cos - wave.1 * sin, wave.0 * sin + wave.1 * cos);
            }
            row[TAIL] = tail;
            tail *= fall;
            for k in 1..SIZES {
                row[SIZES + k - 1] = t as f64 * row[k];
            }
            row[WIDTH - 1] = *point;
            with(&row);
        }
    }

    /// What a small change of each other parameter adds, as factors of the columns with t (Kaufman's simplification).
    pub(super) fn changes(&self, sizes: &[f64; SIZES]) -> [[f64; OTHERS]; OTHERS] {
        let mut changes = [[0.0; OTHERS]; OTHERS];
        for (k, mode) in self.modes.iter().enumerate() {
            let (a, b) = (sizes[2 * k + 1], sizes[2 * k + 2]);
            let (omega, decay) = (mode.frequency, mode.ratio * mode.frequency);
            let at = 2 * k;
            (changes[at][at], changes[at][at + 1]) = (omega * b - decay * a, -omega * a - decay * b);
            (changes[at + 1][at], changes[at + 1][at + 1]) = (-omega * a, -omega * b);
        }
        changes[OTHERS - 1][OTHERS - 1] = -self.tail * sizes[TAIL];
        changes
    }

    /// After such a change, within the bounds for this many points.
    pub(super) fn changed(&self, change: &[f64; OTHERS], points: usize) -> Shape {
        let mut shape = *self;
        for (k, mode) in shape.modes.iter_mut().enumerate() {
            mode.frequency *= change[2 * k].clamp(-STEP, STEP).exp();
            mode.ratio += change[2 * k + 1].clamp(-RATIO_STEP, RATIO_STEP);
        }
        shape.tail *= change[OTHERS - 1].clamp(-STEP, STEP).exp();
        shape.bounded(points)
    }

    /// The nearest shape that these points could show.
    pub(super) fn bounded(&self, points: usize) -> Shape {
        let mut shape = *self;
        for mode in shape.modes.iter_mut().filter(|mode| mode.frequency > 0.0) {
            mode.frequency = mode.frequency.clamp(SLOWEST / points as f64, FASTEST);
            mode.ratio = mode.ratio.clamp(RATIO.0, RATIO.1);
        }
        if shape.tail > 0.0 {
            shape.tail = shape.tail.clamp(RATE.0 / points as f64, RATE.1);
        }
        shape
    }

    /// The same with a tail of this rate. Unit: 1/point
    pub(super) fn with_tail(self, tail: f64) -> Shape {
        Shape { modes: self.modes, tail }
    }

    /// The same in points that are `factor` times as long.
    pub(super) fn in_points_of(&self, factor: f64) -> Shape {
        let modes = self.modes.map(|mode| Mode { frequency: mode.frequency * factor, ..mode });
        Shape { modes, tail: self.tail * factor }
    }
}
