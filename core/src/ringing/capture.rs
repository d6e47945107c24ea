//! In: the error at each sample after the command end. Out: up to 128 points that hold the stop at the rate it needs.
//!
//! When the points are full and the stop still goes on, pairs of them become one and the time of a point doubles: a mean
//! biases neither frequency nor damping, only size and phase. Two rules end the doubling: the second half has come to
//! rest, or an oscillation above a tenth of the rate of the points is alive. Without the second rule an oscillation
//! would be folded: found at a frequency it does not have, with a small uncertainty.
//!
//! A sample costs a few integer instructions; one that fills the points about 9,000 more. That happens at sample 128 and at
//! each doubling after it.

/// Points of a capture.
pub const POINTS: usize = 128;
const QUARTER: usize = POINTS / 4;
/// Samples to a point at most: the sum of small errors stays far from the range of its integer.
const LONGEST: u32 = 1 << 12;
/// Points at the beginning that are looked at apart: an oscillation may be over after them.
const HEAD: usize = 16;

/// Limits for all points, a quarter of them, and the head. Unit: 1/64
struct Limits {
    whole: i64,
    quarter: i64,
    head: i64,
}

/// Share of x² that may stay for an oscillation: less where fewer points let noise look like one.
const TONE: Limits = Limits { whole: 38, quarter: 22, head: 16 };
/// Share of the second differences in the first, as squares, of an oscillation that fades: 24/64 belongs to a tenth of the
/// rate. It counts only if it is several times that of the last quarter.
const ROUGH: Limits = Limits { whole: 64, quarter: 17, head: 24 };

/// The error after a command end. Restart it with [`Capture::new`].
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Capture {
    /// Sums of the errors of `samples` samples each. Unit: counts
    sums: [i32; POINTS],
    count: usize,
    /// Samples to a point.
    samples: u32,
    /// The point that is being summed, and its samples so far. Unit: counts
    sum: i32,
    pending: u32,
    /// Ticks of the first and the last sample, and the first interval. Unit: ticks
    first: u32,
    last: u32,
    interval: u32,
    all: u32,
    uneven: bool,
    complete: bool,
    /// Unit: counts
    encoder_step: u32,
    /// The first error, from which all others differ by whole steps. Unit: counts
    reading: i32,
}

impl Capture {
    /// An empty capture of errors whose smallest change is this. Unit: counts
    pub const fn new(encoder_step: u32) -> Capture {
        Capture {
            sums: [0; POINTS],
            count: 0,
            samples: 1,
            sum: 0,
            pending: 0,
            first: 0,
            last: 0,
            interval: 0,
            all: 0,
            uneven: false,
            complete: false,
            encoder_step,
            reading: 0,
        }
    }

    /// Adds the error at a sample, the first at the command end. Unit: ticks, counts
    pub fn step(&mut self, tick: u32, error: i32) {
        if self.complete {
            return;
        }
        if self.is_empty() {
            self.reading = error;
        }
        self.time(tick);
        self.sum = self.sum.saturating_add(error);
        self.pending += 1;
        if self.pending < self.samples {
            return;
        }
        if let Some(place) = self.sums.get_mut(self.count) {
            *place = self.sum;
            self.count += 1;
        }
        (self.sum, self.pending) = (0, 0);
        if self.count == POINTS {
            self.filled();
        }
    }

    /// Whether further samples change nothing.
    pub fn is_complete(&self) -> bool {
        self.complete
    }

    /// Whether there is no sample.
    pub fn is_empty(&self) -> bool {
        self.all == 0
    }

    /// Time stamp of the first sample. Unit: ticks
    pub fn first(&self) -> u32 {
        self.first
    }

    /// Whether an interval between samples differed by half from the first.
    pub(crate) fn is_uneven(&self) -> bool {
        self.uneven
    }

    /// Unit: counts
    pub(crate) fn encoder_step(&self) -> u32 {
        self.encoder_step
    }

    /// How far the first point is from a whole step. Unit: encoder steps
    pub(crate) fn phase(&self) -> f32 {
        let first = self.points().first().copied().unwrap_or(0);
        let off = i64::from(first) - i64::from(self.reading) * i64::from(self.samples);
        off as f32 / (self.samples as f32 * self.encoder_step.max(1) as f32)
    }

    /// Whether a sum left the range of its integer.
    pub(crate) fn is_overflown(&self) -> bool {
        self.points().iter().any(|sum| matches!(*sum, i32::MIN | i32::MAX))
    }

    /// The points. Unit: 1/`samples` counts
    pub fn points(&self) -> &[i32] {
        self.sums.get(..self.count).unwrap_or(&self.sums)
    }

    /// Samples to a point.
    pub fn samples(&self) -> u32 {
        self.samples
    }

    /// Time from point to point. Unit: ticks
    pub(crate) fn period(&self) -> f32 {
        let intervals = self.all.saturating_sub(1).max(1);
        self.last.wrapping_sub(self.first) as f32 / intervals as f32 * self.samples as f32
    }

    fn time(&mut self, tick: u32) {
        let interval = tick.wrapping_sub(self.last);
        match self.all {
            0 => self.first = tick,
            1 => self.interval = interval,
            _ => self.uneven |= interval.abs_diff(self.interval) > self.interval / 2,
        }
        self.last = tick;
        self.all = self.all.saturating_add(1);
    }

    /// Ends the capture or makes room.
    fn filled(&mut self) {
        let shift = scale(&self.sums);
        self.complete = self.is_at_rest(shift) || self.is_fast(shift) || self.samples >= LONGEST;
        if self.complete {
            return;
        }
        for k in 0..POINTS / 2 {
            self.sums[k] = self.sums[2 * k].saturating_add(self.sums[2 * k + 1]);
        }
        (self.count, self.samples) = (POINTS / 2, self.samples * 2);
    }

    /// Whether the second half ranges over less than a twentieth of the first, or than that many times the noise.
    fn is_at_rest(&self, shift: u32) -> bool {
        let (first, second) = self.sums.split_at(POINTS / 2);
        let late = range(second);
        let early = range(first);
        20 * late < early || late < noise(&self.sums, shift) && 2 * late < early
    }

    /// Whether an oscillation above a tenth of the rate of the points is alive.
    fn is_fast(&self, shift: u32) -> bool {
        let texture = |points: &[i32]| Texture::new(points, shift);
        let quarters: [Texture; 4] =
            core::array::from_fn(|k| texture(self.sums.get(k * QUARTER..(k + 1) * QUARTER).unwrap_or(&[])));
        let whole = quarters.iter().fold(Texture::default(), |sum, quarter| sum.and(quarter));
        let head = texture(self.sums.get(..HEAD).unwrap_or(&[]));
        let last = quarters[3].rough;
        // What the steps of the encoder and of a few counts make of the second differences.
        let step = u64::from(self.encoder_step);
        let steps = step.saturating_mul(step).saturating_mul(64 * u64::from(self.samples));
        let least = i64::try_from(steps >> (2 * shift).min(63)).unwrap_or(i64::MAX);
        let fades = |part: &Texture, rough: i64, times: i64| {
            part.is_rough(rough) && part.rough > (times * last).max(least)
        };
        whole.is_tone(TONE.whole)
            || head.is_tone(TONE.head)
            || quarters.iter().any(|quarter| quarter.is_tone(TONE.quarter))
            || quarters.iter().any(|quarter| fades(quarter, ROUGH.quarter, 8))
            || fades(&head, ROUGH.head, 6)
    }
}

/// Sums over consecutive differences x of points, by which an oscillation, a drift and noise differ.
///
/// For an oscillation of frequency ω, x₊ + x₋ = 2 cos ω · x. Least squares give that factor; for noise or a mixture, much
/// stays.
#[derive(Clone, Copy, Debug, Default)]
struct Texture {
    /// Σ x², Σ (x₊ + x₋)², Σ x (x₊ + x₋)
    square: i64,
    sides: i64,
    cross: i64,
    /// Σ (x₊ − x)²
    rough: i64,
}

impl Texture {
    /// Of points that are shifted to 12 bits of range.
    fn new(points: &[i32], shift: u32) -> Texture {
        let mut sums = Texture::default();
        let difference = |pair: &[i32]| (pair[1] >> shift) - (pair[0] >> shift);
        let mut past = (0, 0);
        for (k, pair) in points.windows(2).enumerate() {
            let x = difference(pair);
            let (before, middle) = past;
            if k >= 1 {
                sums.rough += i64::from((x - middle) * (x - middle));
            }
            if k >= 2 {
                sums.square += i64::from(middle * middle);
                sums.sides += i64::from((x + before) * (x + before));
                sums.cross += i64::from(middle * (x + before));
            }
            past = (middle, x);
        }
        sums
    }

    fn and(self, other: &Texture) -> Texture {
        Texture {
            square: self.square + other.square,
            sides: self.sides + other.sides,
            cross: self.cross + other.cross,
            rough: self.rough + other.rough,
        }
    }

    /// Whether less than this share of x² stays and the frequency is above a twelfth of the rate. For noise alone all of
    /// it stays. Unit: 1/64
    fn is_tone(&self, share: i64) -> bool {
        // 27 bits, so that products fit.
        let spare = 37_u32.saturating_sub(self.square.max(self.sides).leading_zeros());
        let (square, sides, cross) = (self.square >> spare, self.sides >> spare, self.cross >> spare);
        let stays = sides * square - cross * cross;
        // 2 cos (2π/12) = 111/64
        64 * cross < 111 * square && 64 * stays < share * square * square
    }

    /// Whether the second differences are at least this share of the first, as squares. Unit: 1/64
    fn is_rough(&self, share: i64) -> bool {
        64 * self.rough > share * self.square
    }
}

/// Places by which the points are shifted to have 12 bits of range. 0 if they have less.
fn scale(points: &[i32]) -> u32 {
    52_u32.saturating_sub(range(points).leading_zeros())
}

/// Largest less smallest. Unit: that of the points
fn range(points: &[i32]) -> i64 {
    let (mut least, mut most) = (i32::MAX, i32::MIN);
    for point in points {
        (least, most) = (least.min(*point), most.max(*point));
    }
    (i64::from(most) - i64::from(least)).max(0)
}

/// Six standard deviations of the noise, from the second differences in the quietest quarter. For normal noise their mean
/// size is √(12/π) standard deviations. Points are shifted to 12 bits; the result is not. Unit: that of the points
fn noise(points: &[i32], shift: u32) -> i64 {
    let mean = |quarter: &[i32]| {
        let second = |triple: &[i32]| {
            let &[before, middle, after] = triple else { return 0 };
            ((before >> shift) - (middle >> shift) + ((after >> shift) - (middle >> shift))).abs()
        };
        quarter.windows(3).map(second).sum::<i32>() * 307 / (100 * (QUARTER as i32 - 2))
    };
    points.chunks(QUARTER).map(mean).min().map_or(0, |least| i64::from(least) << shift)
}

#[cfg(test)]
mod tests {
    use super::*;

    /// A capture of so many errors, a sample each ten ticks.
    fn captured(samples: usize, error: impl Fn(f64) -> f64) -> Capture {
        let mut capture = Capture::new(1);
        for k in 0..samples {
            capture.step(10 * k as u32, error(k as f64).round() as i32);
        }
        capture
    }

    fn ringing(frequency: f64, decay: f64) -> impl Fn(f64) -> f64 {
        move |k| 1000.0 * (-decay * k).exp() * (std::f64::consts::TAU * frequency * k).cos()
    }

    #[test]
    fn points_are_sums_of_samples() {
        let slow = |k: f64| 5000.0 * (0.002 * k).cos() + (k * k) % 7.0;
        let capture = captured(1000, slow);
        assert_eq!((capture.samples(), capture.points().len()), (8, 125));
        assert_eq!(capture.period(), 80.0);
        for (k, point) in capture.points().iter().enumerate() {
            let sum: i32 = (8 * k..8 * k + 8).map(|k| slow(k as f64).round() as i32).sum();
            assert_eq!(*point, sum);
        }
    }

    #[test]
    fn an_oscillation_is_never_averaged_away() {
        // The highest frequency that a point may hold is a quarter of its rate.
        for frequency in [0.45, 0.3, 0.2, 0.11, 0.06, 0.03, 0.01] {
            for decay in [0.0, 0.001, 0.01, 0.03] {
                let capture = captured(4000, ringing(frequency, decay));
                let per_point = frequency * f64::from(capture.samples());
                assert!(per_point < 0.25 || capture.samples() == 1, "{frequency} {decay}: {per_point}");
            }
        }
    }

    #[test]
    fn a_stop_at_rest_ends_its_capture() {
        let capture = captured(4000, ringing(0.04, 0.05));
        assert!(capture.is_complete());
        assert_eq!((capture.samples(), capture.points().len()), (1, POINTS));
        // A slow one goes on.
        assert!(!captured(4000, ringing(0.0003, 0.0001)).is_complete());
    }

    #[test]
    fn what_no_fit_can_use_is_known() {
        let mut uneven = Capture::new(1);
        [0, 10, 20, 36].iter().for_each(|tick| uneven.step(*tick, 0));
        assert!(uneven.is_uneven());
        let mut even = Capture::new(1);
        [u32::MAX - 14, u32::MAX - 4, 5, 16].iter().for_each(|tick| even.step(*tick, 0));
        assert!(!even.is_uneven());
        assert!(captured(129, |_| 2e9).is_overflown());
    }
}
