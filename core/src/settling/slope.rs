//! In: a crossing, and the noise of one reading. Out: how steeply the error passes the edge of the window.
//!
//! The last step alone, the fall over several samples before it, or, if noise hides both, the time since the error was
//! last outside a wider window. Once per move, in f32, whose sums, products and quotients are exactly rounded on every
//! machine.

use micromath::F32Ext;

use crate::settings::Settings;
use crate::settling::crossing::{Crossing, quotient};

/// Steepness of the error at the edge of the window, and the noise about it.
#[derive(Clone, Copy, Debug, Default, PartialEq)]
pub(crate) struct Slope {
    /// Unit: ticks/count
    pub ticks_per_count: f32,
    /// Noise of one reading. Unit: counts
    pub noise: f32,
    /// Time in which the error falls by the noise without that of the encoder's steps. Unit: ticks
    pub late: f32,
    /// Taken from a wider window, because noise hides the fall near the edge.
    pub hidden: bool,
}

/// A fall of the error and its time.
#[derive(Clone, Copy, Debug)]
pub(crate) struct Fall {
    /// Unit: counts
    pub counts: u32,
    /// Unit: ticks
    pub time: u32,
}

impl Fall {
    /// From one size of the error to another, corrected for a tail, whose steepness is proportional to the error:
    /// the fall at the edge of the window. Unit: counts, ticks
    fn of_tail(window: u32, from: u32, to: u32, time: u32) -> Fall {
        // Twice the logarithmic mean, by way of the geometric and the arithmetic one; the edge is half a count further.
        let geometric = (u64::from(from) * u64::from(to)).isqrt();
        let middle = (4 * geometric + u64::from(from) + u64::from(to)) / 3 + 1;
        let edge = (2 * u64::from(window)).clamp(1, middle);
        let time = quotient(u64::from(time) * middle, edge);
        Fall { counts: from.saturating_sub(to).max(1), time: u32::try_from(time).unwrap_or(u32::MAX).max(1) }
    }

    fn is_flatter(self, other: Fall) -> bool {
        u64::from(self.counts) * u64::from(other.time) < u64::from(other.counts) * u64::from(self.time)
    }
}

/// Variance of one reading above which its noise counts: a third of an encoder step of one count. Unit: 1/256 counts²
const NOISY: u64 = 28;

impl Crossing {
    /// Steepness of the error at the edge. `noise` is the variance of one reading. Unit: 1/256 counts²
    ///
    /// `before` has the narrowest window of the settling curve at or above one, and the time from the last error outside
    /// it to this entry. Unit: counts, ticks
    pub(crate) fn slope(
        &self,
        settings: &Settings,
        noise: u64,
        before: impl FnOnce(u32) -> Option<Fall>,
    ) -> Slope {
        let (step, rms) = (settings.encoder_step, noise.isqrt().min(u64::from(u32::MAX)) as u32);
        let last = self.last_step(step);
        let steep = self.is_steep(step, rms);
        let long = if steep { None } else { self.long_fall(settings) };
        // A sixteenth of the rms is in counts: eight times the noise.
        let clear = long.is_some_and(|long| long.counts >= step.saturating_mul(4).max(rms / 2));
        let fine = last.counts >= step.max(rms >> 4).saturating_mul(8);
        let hidden = if noise > NOISY && !self.swings && !steep && !clear && !fine {
            let apart = rms.div_ceil(4).max(step.saturating_mul(2));
            before(settings.window.saturating_add(apart)).map(|wider| {
                // The last errors outside both windows come late by noise, that of the wider one by less.
                Fall::of_tail(settings.window, wider.counts, settings.window, wider.time - wider.time / 16)
            })
        } else {
            None
        };
        let fall = match (hidden, long) {
            (Some(hidden), _) => hidden,
            (None, Some(long))
                if clear && !(fine || self.is_straight(step, noise) && long.is_flatter(last)) =>
            {
                long
            }
            (None, Some(long)) if !clear && long.is_flatter(last) => long,
            _ => last,
        };
        Slope::new(fall, noise, step, hidden.is_some())
    }

    /// The last step, over the time for which the last reading outside had stood.
    fn last_step(&self, step: u32) -> Fall {
        let (size, step) = (2 * u64::from(self.entry.before.unsigned_abs()), u64::from(step));
        let (stood, elapsed) = (u64::from(self.flat.max(self.entry.elapsed)), u64::from(self.entry.elapsed));
        // A reading that stood for several samples did so a step before the edge, where a tail is steeper.
        let later = size.saturating_sub(step).max(1);
        let time = if stood > elapsed { quotient(stood * (size + step), later) } else { stood };
        Fall { counts: self.entry.change().max(1), time: u32::try_from(time).unwrap_or(u32::MAX).max(1) }
    }

    /// Whether this is the end of a swing whose last step is well beyond encoder step and noise, and no bend: a swing is
    /// steeper at the edge than since its peak. `rms` is the noise of one reading. Unit: 1/16 counts
    fn is_steep(&self, step: u32, rms: u32) -> bool {
        let change = self.entry.change();
        self.again && change / 3 >= step.max(rms / 12) && self.bend <= (change / 2).saturating_add(step)
    }

    /// Whether the last step, without noise, is several encoder steps long, and no bend.
    fn is_straight(&self, step: u32, noise: u64) -> bool {
        let change = self.entry.change();
        noise <= NOISY && change >= step.saturating_mul(5) && self.bend <= change / 2
    }

    /// Fall over the last eight to sixteen samples, or since the peak of a swing that rose and fell within them.
    fn long_fall(&self, settings: &Settings) -> Option<Fall> {
        let (from, to) = (self.earlier.unsigned_abs(), self.entry.after.unsigned_abs());
        let from = if self.again { from.max(self.largest_error) } else { from };
        let falls = (self.earlier < 0) == (self.entry.before < 0) && from > to;
        falls.then(|| Fall::of_tail(settings.window, from, to, self.earlier_time))
    }
}

impl Slope {
    fn new(fall: Fall, noise: u64, step: u32, hidden: bool) -> Slope {
        let (ticks_per_count, step) = (fall.time as f32 / fall.counts as f32, step as f32);
        // Sheppard's correction: the encoder's steps do not add to the noise about the edge.
        let alone = (noise as f32 / 256.0 - step * step / 12.0).max(noise as f32 / 512.0);
        Slope {
            ticks_per_count,
            noise: noise.isqrt() as f32 / 16.0,
            late: real_root(alone) * ticks_per_count,
            hidden,
        }
    }
}

/// Square root, to a millionth: three steps of Newton's method. The guess is micromath's, wrong by up to 7 %, of which a
/// step leaves half the square.
pub(crate) fn real_root(square: f32) -> f32 {
    if square <= 0.0 {
        return 0.0;
    }
    (0..3).fold(F32Ext::sqrt(square), |root, _| (root + square / root) / 2.0)
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn roots_are_those_of_f64_to_a_millionth() {
        let numbers = (0..200_000_u32).map(|k| f32::from_bits(0x0080_0000 + k.wrapping_mul(10_457)));
        let (mut guess, mut root): (f64, f64) = (0.0, 0.0);
        for number in numbers.filter(|number| number.is_finite()) {
            let exact = f64::from(number).sqrt();
            let error = |found: f32| (f64::from(found) / exact - 1.0).abs();
            guess = guess.max(error(F32Ext::sqrt(number)));
            root = root.max(error(real_root(number)));
        }
        assert!(guess > 0.05 && guess < 0.07, "{guess}");
        assert!(root < 1e-6, "{root}");
        assert_eq!((real_root(0.0), real_root(-1.0)), (0.0, 0.0));
    }
}
