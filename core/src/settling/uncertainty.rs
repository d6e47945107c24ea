//! In: a crossing and its slope. Out: the uncertainty of the crossing: standard, and half-width of the 95 % interval.
//!
//! Source: JCGM 100:2008 (GUM). Once per move, in f32, whose sums, products and quotients are exactly rounded on every
//! machine. Factors without a source were found by simulation; see the coverage test.

use crate::settings::Settings;
use crate::settling::crossing::Crossing;
use crate::settling::slope::{Slope, real_root};

/// Standard uncertainty and half-width of the 95 % interval. Unit: ticks
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
pub(crate) struct Uncertainty {
    /// Standard uncertainty (JCGM 100, 5.1).
    pub standard: u32,
    /// Half-width of the interval that contains the true value in 95 of 100 moves.
    pub expanded: u32,
}

impl Uncertainty {
    /// Of a value uniform over an interval of this width (JCGM 100, 4.3.7), rounded up. Unit: ticks
    pub(crate) fn uniform(width: u32) -> Uncertainty {
        let share = |per_mille: u64| (u64::from(width) * per_mille).div_ceil(1000) as u32;
        Uncertainty { standard: share(289), expanded: share(475) }
    }

    /// Of the sum of two independent values.
    pub(crate) fn and(self, other: Uncertainty) -> Uncertainty {
        let sum = |a: u32, b: u32| root(square(a as f32) + square(b as f32));
        Uncertainty {
            standard: sum(self.standard, other.standard),
            expanded: sum(self.expanded, other.expanded),
        }
    }

    /// Of the sum with an independent value that is uniform over twice this half-width. Unit: ticks
    ///
    /// 95 of 100 sums of two uniform values with the half-widths a ≥ b lie within a + b − √(ab/5), unless b is small
    /// beside a. The factor before the root allows for a bias in place of chance. A uniform and a normal value lie
    /// half-way between this and the root of the squares.
    pub(crate) fn and_uniform(self, half_width: u32) -> Uncertainty {
        if half_width == 0 {
            return self;
        }
        let (this, other) = (self.expanded as f32 / 0.95, half_width as f32);
        let (small, large) = if this < other { (this, other) } else { (other, this) };
        let bounded = if small * 20.0 < large {
            0.95 * large
        } else {
            large + small - 0.85 * real_root(small * large / 5.0)
        };
        let squares = real_root(square(self.expanded as f32) + square(0.95 * other));
        // 1.645 standard uncertainties of a uniform value are within the interval, 1.96 of a normal one.
        let normal = (self.expanded as f32 / self.standard.max(1) as f32 - 1.645) / (1.96 - 1.645);
        Uncertainty {
            standard: root(square(self.standard as f32) + square(other) / 3.0),
            expanded: (bounded + (squares - bounded) * normal.clamp(0.0, 1.0) / 2.0) as u32 + 1,
        }
    }

    /// Of a value that may also lie a swing away: the interval reaches there. Unit: ticks
    pub(crate) fn widened(self, swing: u32) -> Uncertainty {
        Uncertainty {
            standard: self.standard.saturating_add(swing / 2),
            expanded: self.expanded.saturating_add(swing),
        }
    }
}

/// Variance of a time rounded to whole ticks (JCGM 100, F.2.2.1). Unit: ticks²
const ROUNDING: f32 = 1.0 / 12.0;

impl Crossing {
    /// Uncertainty of the crossing; see METHOD.md. `delay` is that of the entry. Unit: ticks
    pub(crate) fn uncertainty(&self, settings: &Settings, delay: u32, slope: &Slope) -> Uncertainty {
        let (step, per_count) = (settings.encoder_step as f32, slope.ticks_per_count);
        let fraction = delay as f32 / self.entry.elapsed.max(1) as f32;
        let weight = if self.entry.change() <= settings.encoder_step {
            1.0
        } else {
            square(fraction) + square(1.0 - fraction)
        };
        // Where the encoder's steps lie relative to the target: uniform over one step (JCGM 100, 4.3.7).
        let phase = square(step * per_count) / 12.0;
        let offset = self.offset(settings) * per_count;
        // Where in its encoder step the error was when sampled; at most uniform over the sample period.
        let place = (phase * weight).min(square(self.entry.elapsed as f32) / 12.0) + ROUNDING;
        let bend = square(self.bend_width(settings, fraction)) / 12.0;
        let both = step * per_count / 2.0 + offset.abs();
        let standard = phase + square(offset) + place + bend;
        if slope.hidden {
            // The last of many readings about the edge comes late, where the error comes to the window later anyway.
            let late = slope.late * latest(slope.late / self.entry.elapsed.max(1) as f32);
            let interval = phase * 3.0 + 4.1 * place + 3.0 * bend + square((late - offset).max(0.0));
            return Uncertainty {
                standard: root(standard + square(late) / 3.842),
                expanded: root(interval.max(square(both))),
            };
        }
        // Interpolation leaves `weight` of the noise; choosing the last of all crossings adds half of the rest again.
        let noise = square(slope.noise * per_count) * (weight + 1.0) / 2.0;
        let chatter = self.chatter(settings, slope);
        Uncertainty {
            standard: root(standard + noise + chatter),
            expanded: root(square(both) + 4.1 * place + 3.0 * bend + 4.4 * noise + 3.842 * chatter),
        }
    }

    /// How far the place where the reading changes, on average, lies beyond the window as it was before it was rounded
    /// to counts. Unit: counts
    fn offset(&self, settings: &Settings) -> f32 {
        let step = settings.encoder_step.max(1);
        let beyond = self.entry.before.unsigned_abs().saturating_sub(settings.window).max(1);
        let least = (beyond - 1) % step + 1;
        least as f32 - step as f32 / 2.0 - f32::from(settings.window_fraction) / 256.0
    }

    /// Variance that chatter adds. Unit: ticks²
    ///
    /// The last of several entries that noise makes comes late.
    fn chatter(&self, settings: &Settings, slope: &Slope) -> f32 {
        let noisy = self.largest_error.saturating_sub(settings.window) as f32 <= 4.0 * slope.noise;
        if noisy { square(self.since(self.chatter_start) as f32) / 5.0 } else { 0.0 }
    }

    /// Time since the entry before, if noise or the encoder's steps may have made the swing between, so that the entry
    /// before was the true last one; else 0. Unit: ticks
    pub(crate) fn grazed(&self, settings: &Settings, slope: &Slope) -> u32 {
        // The smallest reading outside belongs to an error inside only if the window was rounded down by half a count.
        let step = if settings.window_fraction < 128 { 0 } else { settings.encoder_step };
        let beyond = self.swing_error.saturating_sub(settings.window) as f32;
        let grazes = beyond <= step as f32 + 1.5 * slope.noise && self.entry_before < self.chatter_start;
        if grazes && !slope.hidden { self.since(self.entry_before) } else { 0 }
    }

    /// Largest deviation of a straight line from the bent path of the error, at `fraction` (0 to 1) of the sample
    /// period; at most one sample period. Unit: ticks
    fn bend_width(&self, settings: &Settings, fraction: f32) -> f32 {
        // The encoder's steps alone make a bend of up to two steps.
        let bend = self.bend.saturating_sub(settings.encoder_step.saturating_mul(2)) as f32;
        let share = fraction * (1.0 - fraction) * bend / self.entry.change().max(1) as f32;
        share.min(1.0) * self.entry.elapsed as f32
    }
}

/// How late the last reading outside comes, at most, in 95 of 100 moves, if the error falls by the noise of one reading
/// within this number of samples, r. Unit: noise of one reading
///
/// The number of readings outside later than z is nearly a Poisson variable with the mean r (φ(z) − z Q(z)). That is 0.05
/// at z = 1.25, 2.2, 2.95 and 3.6 for r = 1, 10, 100 and 1000.
fn latest(samples: f32) -> f32 {
    // The exponent of a floating-point number, and its fraction: the binary logarithm to 0.09.
    let octaves = samples.to_bits() as f32 / (1_u32 << 23) as f32 - 127.0;
    if octaves > 0.0 { 1.35 + 0.26 * octaves } else { 0.0 }
}

fn square(value: f32) -> f32 {
    value * value
}

/// Square root of ticks², rounded up to ticks. Most values fit 32 bits, where the root is fast.
fn root(square: f32) -> u32 {
    let fine = square * 65_536.0;
    if fine < (1_u64 << 32) as f32 {
        (fine as u32).isqrt().div_ceil(256)
    } else if square < (1_u64 << 46) as f32 {
        (fine as u64).isqrt().div_ceil(256) as u32
    } else {
        (square as u64).isqrt().saturating_add(1) as u32
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::settings::Parameters;
    use crate::settling::crossing::Entry;

    #[test]
    fn a_steeper_entry_has_less_uncertainty() {
        let parameters = Parameters { window: 5, window_fraction: 128, ..Parameters::at(1_000_000) };
        let settings = Settings::new(parameters).unwrap();
        let entry = |before, flat| {
            let entry = Entry { instant: 5000, elapsed: 1000, before, after: 5 };
            let crossing =
                Crossing { entry, flat, chatter_start: 5000, entry_before: 5000, ..Crossing::default() };
            let slope = crossing.slope(&settings, 0, |_| None);
            crossing.uncertainty(&settings, entry.delay(&settings), &slope)
        };
        // One step per sample: the encoder's phase and the place in the step, 1000/√12 each.
        assert_eq!(entry(6, 1000).standard, 409);
        assert_eq!(entry(6, 4000).standard, 1395);
        assert!(entry(105, 1000).standard <= 6);
    }

    #[test]
    fn uncertainties_are_rounded_up() {
        assert_eq!(Uncertainty::uniform(1), Uncertainty { standard: 1, expanded: 1 });
        assert_eq!(Uncertainty::uniform(1000), Uncertainty { standard: 289, expanded: 475 });
        assert_eq!((root(0.0), root(1.0), root(1.1), root(4e12)), (0, 1, 2, 2_000_000));
    }

    #[test]
    fn two_uniform_values_add_up_to_a_trapezoid() {
        // Exact for equal half-widths of 1000: 2000 (1 − √0.05) = 1553, and somewhat more for a bias.
        let sum = Uncertainty { standard: 577, expanded: 950 }.and_uniform(1000);
        assert!((1553..1640).contains(&sum.expanded), "{sum:?}");
        assert_eq!(Uncertainty::default().and_uniform(500), Uncertainty { standard: 289, expanded: 476 });
    }
}
