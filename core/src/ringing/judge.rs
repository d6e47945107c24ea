//! In: what was fitted. Out: ringing, or the reason why none is stated.
//!
//! The thresholds are ours, found by simulation; `core/METHOD.md`, Ringing, has the measured rates.

use core::f32::consts::TAU;

use crate::ringing::elementary::{ln, root};
use crate::ringing::mode::Columns;
use crate::ringing::search::Found;
use crate::ringing::turning::Swings;
use crate::ringing::{Answer, Refusal, Ringing};

/// Units of the points.
#[derive(Clone, Copy, Debug, Default)]
pub(crate) struct Scale {
    /// Of their values. Unit: counts
    pub counts: f32,
    /// From point to point. Unit: s
    pub seconds: f32,
    /// Of the encoder. Unit: that of the points
    pub step: f32,
}

/// Highest frequency, and quickest decay: an oscillation must be alive for eight points. Unit: 1/point
const HIGHEST: f32 = 0.4;
const QUICKEST: f32 = 3.0 / 8.0;

/// The fitted oscillation and what speaks for it.
#[derive(Clone, Copy, Debug)]
pub(crate) struct Evidence {
    best: Found,
    /// Number of points, and of parameters of the best.
    points: f32,
    parameters: f32,
    /// Lag-1 autocorrelation of what the fit leaves.
    correlation: f32,
    /// The same sum of squares for exponentials alone.
    null: f32,
}

impl Evidence {
    pub(crate) fn new(points: &[f32], plain: &Found, tailed: &Found, null: &Found) -> Evidence {
        let count = points.len() as f32;
        // Schwarz's criterion for two parameters more.
        let better = count * (ln(plain.squares) - ln(tailed.squares)) > 2.0 * ln(count);
        let (best, parameters) = if better { (*tailed, 7.0) } else { (*plain, 5.0) };
        Evidence {
            best,
            points: count,
            parameters,
            correlation: correlation(points, &best),
            null: null.squares,
        }
    }

    /// Factor on variances, as neighbouring points err alike.
    fn inflation(&self) -> f32 {
        let correlation = self.correlation.clamp(0.0, 0.98);
        (1.0 + correlation) / (1.0 - correlation)
    }

    fn deviation(&self) -> f32 {
        root(self.best.squares / (self.points - self.parameters).max(1.0))
    }

    pub(crate) fn answer(&self, points: &[f32], scale: &Scale) -> Answer {
        let swings = Swings::new(points, noise(points), scale.step);
        match (self.refusal(scale), swings) {
            (None, Some(swings)) if swings.turns > 3 && !self.agrees(&swings) => {
                Answer::Refused(Refusal::NotExponential)
            }
            (None, _) => Answer::Ringing(self.ringing(scale)),
            (Some(_), Some(swings)) if self.agrees(&swings) && self.shows(&swings) => {
                Answer::Ringing(Ringing {
                    frequency: swings.frequency / scale.seconds,
                    frequency_u: swings.u / scale.seconds,
                    damping: None,
                    tail: None,
                    amplitude: self.amplitude() * scale.counts,
                })
            }
            (Some(refusal), _) => Answer::Refused(refusal),
        }
    }

    /// Whether the fit has the frequency of the turning points.
    fn agrees(&self, swings: &Swings) -> bool {
        let fitted = self.best.mode.frequency / TAU;
        (fitted - swings.frequency).abs() <= 0.1 * swings.frequency && swings.frequency <= HIGHEST
    }

    /// Whether an oscillation describes the points so much better than exponentials that so few turning points are one.
    fn shows(&self, swings: &Swings) -> bool {
        let share = if swings.turns > 3 { 0.5 } else { 0.2 };
        self.best.squares < share * self.null
    }

    fn amplitude(&self) -> f32 {
        let sizes = &self.best.sizes;
        root(sizes.cos * sizes.cos + sizes.sin * sizes.sin)
    }

    fn ringing(&self, scale: &Scale) -> Ringing {
        let mode = &self.best.mode;
        let (u_frequency, u_ratio) = self.uncertainties();
        let ratio = mode.decay / mode.frequency;
        let hertz = mode.frequency / TAU / scale.seconds;
        let square = 1.0 + ratio * ratio;
        Ringing {
            frequency: hertz,
            frequency_u: hertz * u_frequency,
            damping: Some((ratio / root(square), u_ratio / (square * root(square)))),
            tail: (mode.tail > 0.0).then(|| scale.seconds / mode.tail),
            amplitude: self.amplitude() * scale.counts,
        }
    }

    /// Standard uncertainties of ln ω and of α/ω.
    fn uncertainties(&self) -> (f32, f32) {
        let [frequency, ratio, _] = self.best.variances();
        let factor = self.deviation() * root(self.inflation());
        (factor * root(frequency), factor * root(ratio))
    }

    /// Periods that can be seen before the record or the noise ends them.
    fn visible(&self, scale: &Scale) -> f32 {
        let mode = &self.best.mode;
        let recorded = mode.frequency * self.points / TAU;
        let least = self.deviation().max(0.29 * scale.step) * 2.0 * root(self.inflation());
        let decaying = mode.decay.max(1e-6 * mode.frequency) * TAU / mode.frequency;
        let seen = ln(self.amplitude().max(1e-12) / least.max(1e-12)) / decaying;
        recorded.min(seen)
    }

    fn refusal(&self, scale: &Scale) -> Option<Refusal> {
        let mode = &self.best.mode;
        let ratio = mode.decay / mode.frequency;
        let (u_frequency, u_ratio) = self.uncertainties();
        let squares = self.best.squares.max(1e-30);
        // Beside a tail, more damping can't be told from friction.
        let most = if mode.tail > 0.0 { 0.25 } else { 0.45 };
        let gain = self.points * (ln(self.null.max(1e-30)) - ln(squares));
        let refusals = [
            (gain < 25.0 * self.inflation() || squares > 0.5 * self.null, Refusal::NotBeyondDecay),
            (mode.frequency > HIGHEST * TAU || mode.decay > QUICKEST, Refusal::TooFast),
            (self.correlation > 0.5, Refusal::NotExponential),
            (!(-0.01..=most).contains(&ratio), Refusal::Damping),
            (self.visible(scale) < 1.4, Refusal::TooFewPeriods),
            (u_frequency > 0.1, Refusal::UncertainFrequency),
            (u_ratio > (0.3 * ratio).max(0.03), Refusal::UncertainDamping),
        ];
        refusals.into_iter().find(|(holds, _)| *holds).map(|(_, refusal)| refusal)
    }
}

/// Lag-1 autocorrelation of what a fit leaves of the points.
fn correlation(points: &[f32], found: &Found) -> f32 {
    let mut columns = Columns::new(&found.mode);
    let (mut square, mut product, mut before) = (0.0, 0.0, 0.0);
    for point in points {
        let rest = columns.rest(&found.sizes, *point);
        square += rest * rest;
        product += rest * before;
        before = rest;
    }
    if square > 0.0 { product / square } else { 0.0 }
}

/// Standard deviation of the noise, from the second differences in the quietest quarter. Unit: that of the points
fn noise(points: &[f32]) -> f32 {
    let mean = |quarter: &[f32]| {
        let second = quarter.windows(3).map(|triple| (triple[0] - 2.0 * triple[1] + triple[2]).abs());
        second.sum::<f32>() / (quarter.len() as f32 - 2.0).max(1.0)
    };
    points
        .chunks(points.len().div_ceil(4).max(3))
        .map(|quarter| mean(quarter) / 1.954)
        .fold(f32::INFINITY, f32::min)
}
