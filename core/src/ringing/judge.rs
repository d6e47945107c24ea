//! In: what was fitted. Out: ringing, or the reason why none is stated.
//!
//! The thresholds are ours, found by simulation; `core/METHOD.md`, Ringing, has the measured rates.

use core::f32::consts::TAU;

use crate::ringing::answer::{Answer, Damping, Refusal, Ringing};
use crate::ringing::elementary::{ln, root};
use crate::ringing::mode::{Columns, Sizes};
use crate::ringing::search::Found;
use crate::ringing::turning::Swings;

/// Units of the points.
#[derive(Clone, Copy, Debug, Default)]
pub(crate) struct Scale {
    /// Of their values. Unit: counts
    pub counts: f32,
    /// From point to point. Unit: s
    pub seconds: f32,
    /// Of the encoder. Unit: that of the points
    pub step: f32,
    /// How far the first point is from a whole step. Unit: encoder steps
    pub phase: f32,
}

/// What f32 leaves of points without noise, at most; neighbours err alike. Unit: largest point
const ROUNDING: f32 = 3e-6;
/// Points in a slice.
const SLICE: usize = 64;
/// Share of the squares that rounding must explain to be taken into account.
const ROUNDED: f32 = 0.1;

/// Highest frequency, and quickest decay: an oscillation must be alive for eight points. Unit: 1/point
const HIGHEST: f32 = 0.4;
const QUICKEST: f32 = 3.0 / 8.0;

/// Smallest tail that is stated, and largest uncertainty of its time constant. Unit: encoder steps, 1
const TAIL_STEPS: f32 = 2.0;
const TAIL_U: f32 = 0.3;

/// The fitted oscillation and what speaks for it.
#[derive(Clone, Copy, Debug, Default)]
pub(crate) struct Evidence {
    best: Found,
    /// Number of points, and of parameters of the best.
    points: f32,
    parameters: f32,
    /// The same sum of squares for exponentials alone.
    null: f32,
    rest: Rest,
    noise: Option<f32>,
    /// Whether points without what rounding adds were tried, and whether the best is theirs.
    tried: bool,
    rounded: bool,
}

impl Evidence {
    /// Of an oscillation alone.
    pub(crate) fn new(plain: &Found, points: usize) -> Evidence {
        Evidence { best: *plain, points: points as f32, parameters: 5.0, ..Evidence::default() }
    }

    /// The oscillation, now that it was also fitted with a tail: Schwarz's criterion for two parameters more.
    pub(crate) fn with_tail(&mut self, tailed: &Found) {
        let least = ROUNDING * ROUNDING * self.points;
        let gain = self.points * (ln(self.best.squares.max(least)) - ln(tailed.squares.max(least)));
        if gain > 2.0 * ln(self.points) {
            (self.best, self.parameters) = (*tailed, 7.0);
        }
        self.rest = Rest::new(&self.best);
    }

    /// The fit, if what it leaves may be rounding, at most half a step; once.
    pub(crate) fn roundable(&mut self, scale: &Scale) -> Option<&Found> {
        let again = core::mem::replace(&mut self.tried, true);
        let (freedom, half) = (self.points - self.parameters, 0.5 * scale.step);
        let small = self.best.squares <= half * half * freedom && half > ROUNDING;
        Some(&self.best).filter(|_| !again && small)
    }

    /// The fit to points without what rounding adds; whether these are now to be judged.
    pub(crate) fn without_rounding(&mut self, found: &Found) -> bool {
        self.rounded = found.squares < (1.0 - ROUNDED) * self.best.squares;
        if self.rounded {
            (self.best, self.rest) = (*found, Rest::new(found));
        }
        self.rounded
    }

    /// Beside exponentials alone.
    pub(crate) fn beside(&mut self, null: &Found) {
        self.null = null.squares;
    }

    /// Goes on by a slice; returns the answer when all is weighed.
    pub(crate) fn step(&mut self, points: &[f32], scale: &Scale) -> Option<Answer> {
        if self.rest.step(points, &self.best.sizes) {
            return None;
        }
        let Some(noise) = self.noise else {
            self.noise = Some(noise(points));
            return None;
        };
        Some(self.answer(Swings::new(points, noise, scale.step), scale))
    }

    /// Factor on variances, as neighbouring points err alike.
    fn inflation(&self) -> f32 {
        let correlation = self.rest.correlation().clamp(0.0, 0.98);
        (1.0 + correlation) / (1.0 - correlation)
    }

    /// Standard deviation of what the fit leaves. Unit: that of the points
    fn deviation(&self) -> f32 {
        root(self.best.squares / (self.points - self.parameters).max(1.0)).max(ROUNDING)
    }

    fn answer(&self, swings: Option<Swings>, scale: &Scale) -> Answer {
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
        let [u_frequency, u_ratio, _] = self.uncertainties();
        let ratio = mode.decay / mode.frequency;
        let hertz = mode.frequency / TAU / scale.seconds;
        let square = 1.0 + ratio * ratio;
        Ringing {
            frequency: hertz,
            frequency_u: hertz * u_frequency,
            damping: Some(Damping { ratio: ratio / root(square), u: u_ratio / (square * root(square)) }),
            tail: self.shows_tail(scale).then(|| scale.seconds / mode.tail),
            amplitude: self.amplitude() * scale.counts,
        }
    }

    /// Standard uncertainties of ln ω, of α/ω and of ln λ.
    fn uncertainties(&self) -> [f32; 3] {
        let uneven = if self.rounded { self.rest.unevenness() } else { 1.0 };
        let factor = self.deviation() * root(self.inflation() * uneven);
        self.best.variances().map(|variance| factor * root(variance))
    }

    /// Whether the tail of the model is one that was seen. Where there is none, the model may still take one for what
    /// encoder steps and f32 leave.
    fn shows_tail(&self, scale: &Scale) -> bool {
        let [_, _, u] = self.uncertainties();
        let size = self.best.sizes.tail.abs();
        self.best.mode.has_free_tail(self.points) && size >= TAIL_STEPS * scale.step && u <= TAIL_U
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
        let [u_frequency, u_ratio, _] = self.uncertainties();
        let squares = self.best.squares.max(1e-30);
        // Beside a tail, more damping can't be told from friction.
        let most = if mode.tail > 0.0 { 0.25 } else { 0.5 };
        let gain = self.points * (ln(self.null.max(1e-30)) - ln(squares));
        let refusals = [
            (gain < 25.0 * self.inflation() || squares > 0.5 * self.null, Refusal::NotBeyondDecay),
            (mode.frequency > HIGHEST * TAU || mode.decay > QUICKEST, Refusal::TooFast),
            (self.rest.correlation() > 0.5, Refusal::NotExponential),
            (!(-0.01..=most).contains(&ratio), Refusal::Damping),
            (self.visible(scale) < 1.4, Refusal::TooFewPeriods),
            (u_frequency > 0.1, Refusal::UncertainFrequency),
            (u_ratio > (0.3 * ratio).max(0.03), Refusal::UncertainDamping),
        ];
        refusals.into_iter().find(|(holds, _)| *holds).map(|(_, refusal)| refusal)
    }
}

/// What a fit leaves of the points, summed up slice by slice.
#[derive(Clone, Copy, Debug, Default)]
struct Rest {
    columns: Columns,
    at: usize,
    /// Sums of squares, and of products of neighbours; what the last point left.
    square: f32,
    product: f32,
    before: f32,
    /// The squares again, by what each point counts for the oscillation, and the sums of these weights.
    weighted: [(f32, f32); 2],
}

impl Rest {
    #[inline(never)]
    fn new(found: &Found) -> Rest {
        Rest { columns: Columns::new(&found.mode), ..Rest::default() }
    }

    /// Goes on by some points; false if there are none.
    fn step(&mut self, points: &[f32], sizes: &Sizes) -> bool {
        let next = points.iter().skip(self.at).take(SLICE);
        let begun = self.at;
        for point in next {
            let weights = self.columns.weights();
            let rest = self.columns.rest(sizes, *point);
            for ((squares, sum), weight) in self.weighted.iter_mut().zip(weights) {
                *squares += weight * rest * rest;
                *sum += weight;
            }
            self.square += rest * rest;
            self.product += rest * self.before;
            (self.before, self.at) = (rest, self.at + 1);
        }
        self.at > begun
    }

    /// Factor on variances, as points that count more err more: what the steps add to points that stand, or that cross
    /// few of them, is known best.
    fn unevenness(&self) -> f32 {
        let mean = self.square / self.at as f32;
        let factor = |(squares, sum): (f32, f32)| if mean * sum > 0.0 { squares / (mean * sum) } else { 1.0 };
        let [size, change] = self.weighted.map(factor);
        if size > change { size } else { change }
    }

    /// Autocorrelation of neighbours.
    fn correlation(&self) -> f32 {
        let rounded = ROUNDING * ROUNDING * self.at as f32;
        if self.square > rounded { self.product / self.square } else { 0.0 }
    }
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
