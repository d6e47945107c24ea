//! In: the last error outside the window and the first inside. Out: the crossing and its uncertainty.
//!
//! The edge lies half an encoder step beyond the last reading that is inside: averaged over the encoder's phase, the
//! reading changes there.

use crate::settings::Settings;

/// One entry into the window: one sample outside, the next inside.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
pub(crate) struct Entry {
    /// First sample inside. Unit: ticks since the first reading
    pub instant: u64,
    /// Sample period: time since the sample before. Unit: ticks
    pub elapsed: u32,
    /// Error of the sample before, outside. Unit: counts
    pub before: i32,
    /// Error of the first sample inside. Unit: counts
    pub after: i32,
}

/// One entry into the window, and the data for its uncertainty.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
pub(crate) struct Crossing {
    /// The samples before and after the edge.
    pub entry: Entry,
    /// Time for which the last reading outside had stood. Unit: ticks
    pub flat: u32,
    /// Error eight to sixteen samples ago. Unit: counts
    pub earlier: i32,
    /// Time since that earlier error. Unit: ticks
    pub earlier_time: u32,
    /// Largest |error| since the window was left. Unit: counts
    pub largest_error: u32,
    /// The same for the whole row of entries that noise makes. Unit: counts
    pub swing_error: u32,
    /// Start of the chatter span: first entry of a row of entries that noise makes and this entry ends; this entry
    /// itself if there is no chatter. Unit: ticks since the first reading
    pub chatter_start: u64,
    /// The entry before that; `chatter_start` itself if there is none. Unit: ticks since the first reading
    pub entry_before: u64,
    /// Feedback was inside before at this command.
    pub again: bool,
    /// The excursion before went beyond the other edge.
    pub swings: bool,
    /// Bend: |second difference of the error|. Unit: counts
    pub bend: u32,
}

/// Steepness of the error at the edge of the window.
#[derive(Clone, Copy, Debug, Default, PartialEq)]
pub(crate) struct Slope {
    /// Unit: ticks/count
    pub ticks_per_count: f32,
    /// Noise of one reading. Unit: counts
    pub noise: f32,
    /// Time in which the error falls by the noise without that of the encoder's steps (Sheppard's correction). Unit: ticks
    pub late: f32,
    /// Unit: counts
    pub window: u32,
    /// Taken from a wider window, because noise hides the fall near the edge.
    pub long: bool,
}

impl Crossing {
    /// The first entry, without chatter and without further data.
    pub(crate) fn first(entry: Entry) -> Crossing {
        Crossing { entry, chatter_start: entry.instant, entry_before: entry.instant, ..Crossing::default() }
    }
}

/// Delay: time from the last sample outside to the edge, to the nearest tick. Unit: ticks
///
/// `before` is outside the window, `after` inside or outside on the other side.
pub(crate) fn delay(before: i32, after: i32, settings: &Settings, elapsed: u32) -> u32 {
    let excess = before.unsigned_abs().saturating_sub(settings.window).max(1);
    let step = settings.encoder_step.max(1);
    // Whole encoder steps by which the reading exceeds the smallest reading outside.
    let whole_steps = (excess - 1) / step * step;
    let to_edge = 2 * u64::from(whole_steps) + u64::from(step);
    let change = 2 * u64::from(change(before, after)).max(1);
    // Three bits less of each keep the product within 64 bits; large errors have bits to spare.
    let spare = if change >> 31 == 0 { 0 } else { 3 };
    let (to_edge, change) = (to_edge.min(change) >> spare, (change >> spare).max(1));
    quotient(u64::from(elapsed) * to_edge + change / 2, change) as u32
}

/// Quotient rounded down. Most operands fit 32 bits, and a processor without 64-bit division is slow at it.
pub(crate) fn quotient(upper: u64, lower: u64) -> u64 {
    match (u32::try_from(upper), u32::try_from(lower)) {
        (Ok(upper), Ok(lower)) => u64::from(upper / lower.max(1)),
        _ => upper / lower.max(1),
    }
}

/// |change of the error|. Unit: counts
fn change(before: i32, after: i32) -> u32 {
    (i64::from(before) - i64::from(after)).unsigned_abs().min(u64::from(u32::MAX)) as u32
}

/// Standard uncertainty and half-width of the 95 % interval. Unit: ticks
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
pub struct Uncertainty {
    /// Standard uncertainty (JCGM 100, 5.1).
    pub standard: u32,
    /// Half-width of the interval that contains the true value in 95 of 100 moves.
    pub expanded: u32,
}

impl Uncertainty {
    /// Of a value uniform over an interval of this width (JCGM 100, 4.3.7), rounded up. Unit: ticks
    pub fn uniform(width: u32) -> Uncertainty {
        let share = |per_mille: u64| (u64::from(width) * per_mille).div_ceil(1000) as u32;
        Uncertainty { standard: share(289), expanded: share(475) }
    }

    /// Of the sum with an independent value that is uniform over twice this half-width (JCGM 101, G.6). Unit: ticks
    ///
    /// The half-width of the 95 % interval of the sum of two uniform values with half-widths *a* ≥ *b* is
    /// a + b − √(ab/5), or somewhat more if the smaller is no chance but a bias, unless *b* is small beside *a*; that of a uniform and a normal value lies half-way between this
    /// and the root of the squares.
    pub fn and_uniform(self, half_width: u32) -> Uncertainty {
        if half_width == 0 {
            return self;
        }
        let (this, other) = (self.expanded as f32 / 0.95, half_width as f32);
        let (low, high) = if this < other { (this, other) } else { (other, this) };
        let bounded = if low * 20.0 < high { 0.95 * high } else { high + low - 0.85 * real_root(low * high / 5.0) };
        let squares = real_root(square(self.expanded as f32) + square(0.95 * other));
        // 1.645 standard uncertainties of a uniform value are within the interval, 1.96 of a normal one.
        let normal = (self.expanded as f32 / self.standard.max(1) as f32 - 1.645) / (1.96 - 1.645);
        let normal = if normal < 0.0 { 0.0 } else if normal > 1.0 { 1.0 } else { normal };
        Uncertainty {
            standard: root(square(self.standard as f32) + square(other) / 3.0),
            expanded: (bounded + (squares - bounded) * normal / 2.0) as u32 + 1,
        }
    }

    /// Of a value that may also lie this far away: the interval reaches there. Unit: ticks
    pub(crate) fn widened(self, swing: u32) -> Uncertainty {
        Uncertainty {
            standard: self.standard.saturating_add(swing / 2),
            expanded: self.expanded.saturating_add(swing),
        }
    }

    /// Of the sum of two independent values.
    pub fn and(self, other: Uncertainty) -> Uncertainty {
        let sum = |a: u32, b: u32| root(square(a as f32) + square(b as f32));
        Uncertainty {
            standard: sum(self.standard, other.standard),
            expanded: sum(self.expanded, other.expanded),
        }
    }
}

impl Entry {
    /// Time from the last sample outside to the edge. Unit: ticks
    pub(crate) fn delay(&self, settings: &Settings) -> u32 {
        delay(self.before, self.after, settings, self.elapsed)
    }

    /// Crossing: instant at which the error passed the edge, from the delay. Unit: ticks since the first reading
    pub(crate) fn edge(&self, delay: u32) -> u64 {
        (self.instant + u64::from(delay)).saturating_sub(u64::from(self.elapsed))
    }

    /// |change of the error| over this entry. Unit: counts
    fn change(&self) -> u32 {
        change(self.before, self.after)
    }
}

impl Crossing {
    /// Uncertainty of the crossing from encoder step, noise of one reading and sample period; see METHOD.md.
    ///
    /// `delay` is that of the entry. Unit: ticks
    ///
    /// Runs once per move, in f32, whose sums, products and quotients are exactly rounded on every machine.
    pub(crate) fn uncertainty(&self, settings: &Settings, delay: u32, slope: &Slope) -> Uncertainty {
        let per_count = slope.ticks_per_count;
        let fraction = delay as f32 / self.entry.elapsed.max(1) as f32;
        let weight = if self.entry.change() <= settings.encoder_step {
            1.0
        } else {
            square(fraction) + square(1.0 - fraction)
        };
        // Where the encoder's steps lie relative to the target: uniform over one step (JCGM 100, 4.3.7).
        let phase = square(settings.encoder_step as f32 * per_count) / 12.0;
        let offset = self.offset(settings) * per_count;
        // Where in its encoder step the error was when sampled; at most uniform over the sample period.
        let place = (phase * weight).min(square(self.entry.elapsed as f32) / 12.0);
        let bend = square(self.bend_width(settings, fraction)) / 12.0;
        let chatter = self.chatter(slope);
        // Interpolation leaves `weight` of the noise; choosing the last of all crossings adds half of the rest again.
        let spread = square(slope.noise * per_count);
        let noise = spread * (weight + 1.0) / 2.0;
        // The last of many readings about the edge comes late, where the error comes to the window later anyway.
        let late = slope.late * latest_of(slope.late / self.entry.elapsed.max(1) as f32);
        let noise_interval = if slope.long { square((late - offset).max(0.0)) } else { noise * 4.4 };
        let half_step = settings.encoder_step as f32 * per_count / 2.0;
        let offset_interval = if slope.long { half_step } else { half_step + offset.abs() };
        // 95 of 100 values lie within 1.645 standard uncertainties if one uniform part prevails, within 1.90 if two do
        // and within 1.96 if the sum is normal.
        let expanded = square(offset_interval)
            + bend * 3.0
            + (place + ROUNDING) * 4.1
            + noise_interval
            + chatter * 3.842;
        let nearest = if slope.long { square(half_step + offset.abs()) } else { 0.0 };
        let late = if slope.long { square(late) / 3.842 } else { noise };
        Uncertainty {
            standard: root(phase + square(offset) + bend + place + late + chatter + ROUNDING),
            expanded: root(expanded.max(nearest)),
        }
    }

    /// How far the place where the reading changes, on average, lies beyond the window before it was rounded to counts.
    /// Unit: counts
    fn offset(&self, settings: &Settings) -> f32 {
        let beyond = self.entry.before.unsigned_abs().saturating_sub(settings.window).max(1);
        let step = settings.encoder_step;
        let least = beyond - (beyond - 1) / step * step;
        least as f32 - step as f32 / 2.0 - f32::from(settings.window_fraction) / 256.0
    }

    /// Whether the excursion before this entry is noise about the edge: it went no further beyond the window than twice
    /// the last step.
    pub(crate) fn is_chatter(&self, settings: &Settings) -> bool {
        u64::from(self.largest_error.saturating_sub(settings.window)) <= 2 * u64::from(self.entry.change())
    }

    /// Variance that chatter adds. Unit: ticks²
    ///
    /// The last of several entries that noise makes comes late. The divisor was found by simulation; see the coverage
    /// test.
    fn chatter(&self, slope: &Slope) -> f32 {
        let beyond = self.largest_error.saturating_sub(slope.window);
        let noisy = beyond as f32 <= 4.0 * slope.noise;
        if noisy && !slope.long { square(self.since(self.chatter_start)) / 5.0 } else { 0.0 }
    }

    /// Time since an earlier entry. Unit: ticks
    fn since(&self, instant: u64) -> f32 {
        self.entry.instant.saturating_sub(instant) as f32
    }

    /// Time since the entry before, if the swing between went no more than one encoder step and three times the noise
    /// beyond the edge: then that entry may have been the true last one. Unit: ticks
    pub(crate) fn grazed(&self, settings: &Settings, slope: &Slope) -> u32 {
        let beyond = self.swing_error.saturating_sub(settings.window);
        let step = if settings.window_fraction < 128 { 0 } else { settings.encoder_step };
        let grazes = beyond as f32 <= step as f32 + 1.5 * slope.noise;
        let swings = self.entry_before < self.chatter_start;
        if grazes && swings && !slope.long { self.since(self.entry_before) as u32 } else { 0 }
    }

    /// Steepness of the error at the edge, with the variance of the noise of one reading.
    /// Unit: 1/256 counts²
    ///
    /// The last step alone is used only if it is much larger than encoder step and noise. `before` is the time since
    /// the last error outside a wider window: it serves if noise hides the fall near the edge.
    pub(crate) fn slope(&self, settings: &Settings, noise: u64, before: impl FnOnce(u32) -> Option<(u32, u32)>) -> Slope {
        let noise_rms = noise.isqrt();
        let change = self.entry.change().max(1);
        let rough = settings.encoder_step.max((noise_rms >> 4) as u32);
        // A reading that stood for several samples did so a step before the edge, where a tail is steeper.
        let step = u64::from(settings.encoder_step);
        let size = u64::from(self.entry.before.unsigned_abs());
        let (earlier, later) = (2 * size + step, (2 * size).saturating_sub(step).max(1));
        let stood = u64::from(self.flat.max(self.entry.elapsed));
        let flat =
            if stood > u64::from(self.entry.elapsed) { quotient(stood * earlier, later) } else { stood };
        let last = (change, u32::try_from(flat).unwrap_or(u32::MAX).max(1));
        // A swing is steeper at the edge than since its peak, if the last step is no bend of the encoder's steps.
        let steep = self.again
            && change >= 3 * settings.encoder_step.max((noise_rms / 12) as u32)
            && 2 * self.bend <= change + 2 * settings.encoder_step;
        let local = if steep { None } else { self.long_slope(settings) };
        let clear = local.is_some_and(|long| long.0 >= (4 * settings.encoder_step).max((noise_rms / 2) as u32));
        let flatter =
            |long: (u32, u32)| u64::from(long.0) * u64::from(last.1) < u64::from(last.0) * u64::from(long.1);
        // Noise of at least a third of a step.
        let noisy = noise > 28;
        // A swing is steeper at the edge than over several samples before.
        let last_is_rough = |long: (u32, u32)| {
            let straight = !noisy && change >= 5 * rough && 2 * self.bend <= change;
            change < rough.saturating_mul(8) && !straight
                || change < rough.saturating_mul(8)
                    && u64::from(long.0) * u64::from(last.1) > u64::from(last.0) * u64::from(long.1)
        };
        let hidden = noisy && !self.swings && !steep && !clear && change < rough.saturating_mul(8);
        let wider = if hidden {
            let apart = (4 * noise_rms).div_ceil(16).max(2 * u64::from(settings.encoder_step)) as u32;
            before(settings.window.saturating_add(apart))
                .map(|(window, time)| tail_slope(settings.window, window, settings.window, time - time / 8))
        } else {
            None
        };
        let (fall, time) = match (wider, local) {
            (Some(wider), _) => wider,
            (None, Some(long)) if if clear { last_is_rough(long) } else { flatter(long) } => long,
            _ => last,
        };
        let ticks_per_count = time as f32 / fall as f32;
        let step = settings.encoder_step as f32;
        let without_step = (noise as f32 / 256.0 - step * step / 12.0).max(noise as f32 / 512.0);
        Slope {
            ticks_per_count,
            noise: noise_rms as f32 / 16.0,
            late: real_root(without_step) * ticks_per_count,
            window: settings.window,
            long: wider.is_some(),
        }
    }

    /// Fall since the earlier error and its time, corrected for a tail, whose steepness is proportional to the error.
    fn long_slope(&self, settings: &Settings) -> Option<(u32, u32)> {
        let (from, to) = (self.earlier.unsigned_abs(), self.entry.after.unsigned_abs());
        // A swing may have risen and fallen since then.
        let from = if self.again { from.max(self.largest_error) } else { from };
        let falls = (self.earlier < 0) == (self.entry.before < 0) && from > to;
        falls.then(|| tail_slope(settings.window, from, to, self.earlier_time))
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

/// Variance of a time rounded to whole ticks (JCGM 100, F.2.2.1). Unit: ticks²
const ROUNDING: f32 = 1.0 / 12.0;

/// A fall and its time, corrected for a tail, whose steepness is proportional to the error. Unit: counts, ticks
fn tail_slope(window: u32, from: u32, to: u32, time: u32) -> (u32, u32) {
    // Twice the errors, half a count further: where the reading changes.
    let middle = u64::from(from) + u64::from(to) + 1;
    let lower = (2 * u64::from(window)).clamp(1, middle);
    let time = quotient(u64::from(time) * middle, lower);
    (from.saturating_sub(to).max(1), u32::try_from(time).unwrap_or(u32::MAX).max(1))
}

/// How late the last reading outside comes, at most, in 95 of 100 moves, if the error falls by the noise of one reading
/// within this number of samples. Unit: noise of one reading
///
/// The number of later readings outside is nearly a Poisson variable with the mean r (φ(z) − z Q(z)): that is 0.05 at
/// z = 1.25, 2.2, 2.95 and 3.6 for r = 1, 10, 100 and 1000.
fn latest_of(samples: f32) -> f32 {
    // The exponent of a floating-point number, and its fraction: log2 to 0.09.
    let octaves = samples.to_bits() as f32 / (1_u32 << 23) as f32 - 127.0;
    if octaves > 0.0 { 1.35 + 0.26 * octaves } else { 0.0 }
}

fn square(value: f32) -> f32 {
    value * value
}

/// Square root, to a millionth: Newton's method.
fn real_root(square: f32) -> f32 {
    if square <= 0.0 {
        return 0.0;
    }
    (0..3).fold(f32::from_bits(0x1fbd_1df5 + square.to_bits() / 2), |root, _| (root + square / root) / 2.0)
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

    fn settings(window: u32, encoder_step: u32) -> Settings {
        Settings::new(Parameters { window, encoder_step, ..Parameters::at(1_000_000) }).unwrap()
    }

    #[track_caller]
    fn check(before: i32, after: i32, window: u32, encoder_step: u32, expected: u32) {
        let settings = settings(window, encoder_step);
        assert_eq!(delay(before, after, &settings, 1000), expected, "{before} to {after}");
        assert_eq!(delay(-before, -after, &settings, 1000), expected, "mirrored");
    }

    #[test]
    fn the_edge_lies_half_a_step_beyond_the_window() {
        check(6, 5, 5, 1, 500);
        check(105, 5, 5, 1, 995);
        check(105, -5, 5, 1, 904);
        check(15, 5, 5, 10, 500);
        check(12, 2, 5, 10, 500);
        check(22, 2, 5, 10, 750);
        // Across the whole window in one sample; and the largest possible errors.
        check(100, -100, 10, 1, 447);
        check(i32::MIN + 1, i32::MAX, 0, 1, 499);
    }

    #[test]
    fn a_steeper_entry_has_less_uncertainty() {
        let entry = |before, flat| {
            let entry = Entry { instant: 5000, elapsed: 1000, before, after: 5 };
            let crossing =
                Crossing { entry, flat, chatter_start: 5000, entry_before: 5000, ..Crossing::default() };
            crossing.uncertainty(&settings(5, 1), entry.delay(&settings(5, 1)), 0)
        };
        // One step per sample: the encoder's phase and the place in the step, 1000/√12 each.
        assert_eq!(entry(6, 1000), Uncertainty { standard: 408, expanded: 753 });
        assert_eq!(entry(6, 4000).standard, 1292);
        assert!(entry(105, 1000).standard <= 5);
    }
}
