//! In: frequency, decay and the rate of a tail. Out: the rows of the least-squares problem, and what the error is by them.
//!
//! error(t) = offset + e^(−αt)(a cos ωt + b sin ωt) + c e^(−λt), with t in points. A frequency of 0 makes the first part
//! an exponential: two of them are what a stop without ringing is compared with. A λ of 0 is no tail.

use crate::ringing::elementary::{exp, sin_cos};
use crate::ringing::triangle::{Block, RIGHT, WIDTH};

/// The parameters that are not linear. Unit: rad/point, 1/point, 1/point
#[derive(Clone, Copy, Debug, Default, PartialEq)]
pub(crate) struct Mode {
    pub frequency: f32,
    pub decay: f32,
    pub tail: f32,
}

/// The linear parameters. Unit: that of the points
#[derive(Clone, Copy, Debug, Default, PartialEq)]
pub(crate) struct Sizes {
    pub offset: f32,
    pub cos: f32,
    pub sin: f32,
    pub tail: f32,
}

impl Sizes {
    pub(crate) fn new([offset, cos, sin, tail]: [f32; 4]) -> Sizes {
        Sizes { offset, cos, sin, tail }
    }

    pub(crate) fn times(&self, factor: f32) -> Sizes {
        let Sizes { offset, cos, sin, tail } = *self;
        Sizes { offset: offset * factor, cos: cos * factor, sin: sin * factor, tail: tail * factor }
    }

    /// Those of the derivative by time. Unit: that of the points, 1/point
    pub(crate) fn slope(&self, mode: &Mode) -> Sizes {
        let Mode { frequency, decay, tail } = *mode;
        Sizes {
            offset: 0.0,
            cos: frequency * self.sin - decay * self.cos,
            sin: -frequency * self.cos - decay * self.sin,
            tail: -tail * self.tail,
        }
    }
}

/// First column of the derivatives: t times the oscillation's two columns, and the tail's.
pub(crate) const DERIVATIVES: usize = 4;

/// The columns at one point, carried from point to point by rotation: no table, no function per point.
#[derive(Clone, Copy, Debug, Default)]
pub(crate) struct Columns {
    cos: f32,
    sin: f32,
    tail: f32,
    /// Factors from one point to the next.
    turn: (f32, f32),
    fall: f32,
    /// Unit: points
    time: f32,
}

impl Columns {
    /// At the first point.
    pub(crate) fn new(mode: &Mode) -> Columns {
        let (sin, cos) = sin_cos(mode.frequency);
        let shrink = exp(-mode.decay);
        Columns {
            cos: 1.0,
            sin: 0.0,
            tail: if mode.tail > 0.0 { 1.0 } else { 0.0 },
            turn: (shrink * cos, shrink * sin),
            fall: exp(-mode.tail),
            time: 0.0,
        }
    }

    pub(crate) fn advance(&mut self) {
        let (cos, sin) = (self.cos, self.sin);
        self.cos = cos * self.turn.0 - sin * self.turn.1;
        self.sin = cos * self.turn.1 + sin * self.turn.0;
        self.tail *= self.fall;
        self.time += 1.0;
    }

    /// The rows of these points; rows without a point are zeros.
    pub(crate) fn block(&mut self, points: &[f32]) -> Block {
        let mut block = Block::default();
        for (row, point) in block.iter_mut().zip(points) {
            *row = self.row(*point);
            self.advance();
        }
        block
    }

    fn row(&self, point: f32) -> [f32; WIDTH] {
        let mut row = [0.0; WIDTH];
        let columns = [1.0, self.cos, self.sin, self.tail];
        for (k, column) in columns.into_iter().enumerate() {
            row[k] = column;
            if k > 0 {
                row[k + DERIVATIVES - 1] = self.time * column;
            }
        }
        row[RIGHT] = point;
        row
    }

    /// What these points are beyond the mode.
    pub(crate) fn rest(&mut self, sizes: &Sizes, point: f32) -> f32 {
        let mode = self.at(sizes);
        self.advance();
        point - mode
    }

    /// What the mode is at this point.
    pub(crate) fn at(&self, sizes: &Sizes) -> f32 {
        sizes.offset + sizes.cos * self.cos + sizes.sin * self.sin + sizes.tail * self.tail
    }

    /// What a change of the oscillation counts here, as a square: of its size, of its frequency or decay.
    pub(crate) fn weights(&self) -> [f32; 2] {
        let alive = self.cos * self.cos + self.sin * self.sin;
        [alive, alive * self.time * self.time]
    }
}

impl Mode {
    /// Columns of the derivatives that a small relative change of each parameter adds, by Kaufman's simplification. The
    /// parameters are ln ω and α/ω of an oscillation, or ln α of an exponential, and ln λ.
    pub(crate) fn changes(&self, sizes: &Sizes) -> [[f32; 3]; 3] {
        let (a, b, omega) = (sizes.cos, sizes.sin, self.frequency);
        let slope = sizes.slope(self);
        let tail = [0.0, 0.0, slope.tail];
        if omega == 0.0 {
            return [[-self.decay * a, 0.0, 0.0], [0.0; 3], tail];
        }
        [[slope.cos, slope.sin, 0.0], [-omega * a, -omega * b, 0.0], tail]
    }

    /// After such a change, within the bounds for this many points.
    pub(crate) fn changed(&self, change: [f32; 3], points: f32) -> Mode {
        let factor = |k: usize| exp(change.get(k).copied().unwrap_or(0.0).clamp(-LONGEST, LONGEST));
        let mut mode = *self;
        if self.frequency == 0.0 {
            mode.decay *= factor(0);
        } else {
            let ratio = self.decay / self.frequency + change[1].clamp(-RATIO_STEP, RATIO_STEP);
            mode.frequency *= factor(0);
            mode.decay = ratio * mode.frequency;
        }
        mode.tail *= factor(2);
        mode.bounded(points)
    }

    /// Whether there is a tail within its bounds: at one of them its rate is that of the bound, not of the points.
    pub(crate) fn has_free_tail(&self, points: f32) -> bool {
        self.tail > FREE * FLATTEST / points && FREE * self.tail < STEEPEST
    }

    /// The nearest mode that these points could show.
    pub(crate) fn bounded(&self, points: f32) -> Mode {
        let mut mode = *self;
        let exponential = |rate: f32| limited(rate, FLATTEST / points, STEEPEST);
        if mode.frequency > 0.0 {
            mode.frequency = limited(mode.frequency, SLOWEST / points, FASTEST);
            let ratio = limited(mode.decay / mode.frequency, LEAST_RATIO, LARGEST_RATIO);
            mode.decay = ratio * mode.frequency;
        } else {
            mode.decay = exponential(mode.decay);
        }
        if mode.tail > 0.0 {
            mode.tail = exponential(mode.tail);
        }
        mode
    }
}

/// The nearest number between two; `f32::clamp` would panic if they changed places.
fn limited(number: f32, least: f32, most: f32) -> f32 {
    if number < least {
        least
    } else if number > most {
        most
    } else {
        number
    }
}

/// Longest step of the logarithm of a parameter, and of α/ω.
const LONGEST: f32 = 0.5;
const RATIO_STEP: f32 = 0.2;
/// Bounds of the frequency: half a period over all points; 0.42 per point. Unit: rad, rad/point
const SLOWEST: f32 = core::f32::consts::PI;
const FASTEST: f32 = 0.42 * core::f32::consts::TAU;
/// Bounds of α/ω.
const LEAST_RATIO: f32 = -0.02;
const LARGEST_RATIO: f32 = 0.7;
/// Bounds of an exponential: a flatter one is an offset and a slope, a steeper one a point. Unit: 1, 1/point
const FLATTEST: f32 = 0.3;
const STEEPEST: f32 = 1.5;
/// A rate this much from its bound is none that the bound has made. Unit: 1
const FREE: f32 = 1.01;
