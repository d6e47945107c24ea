//! In: when feedback passed distances of two to some power, on its way out and in. Out: the command end.
//!
//! All times here count sixteenths of a sample from the first sample of the move.

use super::line::{Line, rest_of_sample};

/// Distances of one octave each that are timed on the way out.
const OCTAVES: usize = 32;

/// Samples before a move that tell where it began and how much noise there is.
const CALM: u32 = 32;

/// How far before it was noticed a move may have begun. Unit: samples
const BACK: u32 = 64;

/// When feedback first was 2⁰, 2¹, … counts from where it rested.
#[derive(Clone, Debug, Default)]
pub(super) struct Departure {
    times: [i32; OCTAVES],
    reached: usize,
    /// Where the move began. Unit: counts
    from: i32,
    /// Widest spread of feedback just before. Unit: counts
    noise: u32,
    /// Unit: counts
    farthest: u32,
    /// Distance at the sample before. Unit: counts
    before: u32,
    now: i32,
}

impl Departure {
    /// A move was noticed at sample `number`, the newest: goes back to where it began; returns the
    /// number of its first sample.
    pub(super) fn begin<const SAMPLES: usize>(
        &mut self,
        line: &Line<SAMPLES>,
        number: u32,
        target: i32,
    ) -> u32 {
        let calm = (0..CALM).filter_map(|ago| line.get(number.wrapping_sub(BACK + ago)));
        let ways = calm.map(|feedback| feedback.wrapping_sub(target));
        let (count, sum, low, high) = ways
            .fold((0, 0, i32::MAX, i32::MIN), |(count, sum, low, high), way| {
                (count + 1, sum + i64::from(way), low.min(way), high.max(way))
            });
        let mean = sum.checked_div(count).unwrap_or(0) as i32;
        let noise = high.checked_sub(low).unwrap_or(0).unsigned_abs();
        *self = Departure { from: target.wrapping_add(mean), noise, ..Departure::default() };
        let near = |&ago: &u32| {
            line.get(number.wrapping_sub(ago)).is_none_or(|feedback| self.distance(feedback) <= noise)
        };
        let back = (1..=BACK).find(near).unwrap_or(BACK + 1).saturating_sub(1);
        for ago in (0..=back).rev() {
            if let Some(feedback) = line.get(number.wrapping_sub(ago)) {
                self.step(feedback);
            }
        }
        number.wrapping_sub(back)
    }

    fn distance(&self, feedback: i32) -> u32 {
        feedback.wrapping_sub(self.from).unsigned_abs()
    }

    /// Adds one sample of the move; the first is at time zero. Unit: counts
    pub(super) fn step(&mut self, feedback: i32) {
        let distance = self.distance(feedback);
        self.farthest = self.farthest.max(distance);
        while let Some(time) = self.times.get_mut(self.reached) {
            let octave = 1_u32 << (self.reached & 31);
            if distance < octave {
                break;
            }
            *time = self.now.saturating_sub(rest_of_sample(self.before, distance, octave));
            self.reached += 1;
        }
        self.before = distance;
        self.now = self.now.saturating_add(16);
    }

    /// Farthest that feedback went. Unit: counts
    pub(super) fn farthest(&self) -> u32 {
        self.farthest
    }

    fn time(&self, octave: usize) -> Option<i32> {
        self.times.get(octave).copied().filter(|_| octave < self.reached)
    }

    /// When the move began, and how long before the first time it goes by, from three octaves above
    /// the noise that are two apart. None if the noise leaves no room for them below `octave`.
    ///
    /// From standstill a distance grows with some power of time: the third while the jerk is steady,
    /// the second without a jerk limit, a higher one behind a lag. Three times at distances of one
    /// ratio give the origin of any such power (Aitken's extrapolation).
    fn origin(&self, octave: usize) -> Option<(i32, i32)> {
        let lowest = (u32::BITS - self.noise.leading_zeros()) as usize + 1;
        if lowest + 4 > octave {
            return None;
        }
        let [near, middle, far] = [lowest, lowest + 2, lowest + 4].map(|octave| self.time(octave));
        let (near, first, second) = (near?, middle?.saturating_sub(near?), far?.saturating_sub(middle?));
        let growth = i64::from(second) - i64::from(first);
        // At most as far back as the fourth power would lie, a steady jerk behind a lag.
        let back = (i64::from(first) * i64::from(first)).checked_div(growth).filter(|_| growth > 0);
        let back = back.unwrap_or(i64::from(first)).min(i64::from(first) * 12 / 5);
        let back = i32::try_from(back).ok()?;
        Some((near.saturating_sub(back), back))
    }
}

/// A command end and its standard uncertainty. Unit: 1/16 samples
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(super) struct End {
    pub(super) time: i32,
    pub(super) uncertainty: u32,
}

/// The octave that the stop is timed at: between 1/128 and 1/64 of the travel.
pub(super) fn octave(travel: u32) -> Option<usize> {
    (travel.checked_ilog2()? as usize).checked_sub(6)
}

/// The stop mirrors the start, stretched in time as the ways between both distances differ.
///
/// `arrival` is when feedback first came within four and one times 2^`octave` counts of the target.
pub(super) fn end(departure: &Departure, octave: usize, arrival: (i32, i32)) -> Option<End> {
    let (origin, back) = departure.origin(octave)?;
    let (near, far) = (departure.time(octave)?, departure.time(octave + 2)?);
    let start = i64::from(near.saturating_sub(origin).max(0));
    let (out, home) = (i64::from(far.saturating_sub(near)), i64::from(arrival.1.saturating_sub(arrival.0)));
    let stretched = start.checked_mul(home)?.checked_div(out)?;
    let time = i64::from(arrival.1).checked_add(stretched)?;
    let parts = [stretched - start, stretched / 8, i64::from(back) / 4];
    let squares = parts.into_iter().fold(256 / 12, |sum, part| {
        u64::saturating_add(sum, part.unsigned_abs().saturating_mul(part.unsigned_abs()))
    });
    Some(End { time: i32::try_from(time).ok()?, uncertainty: u32::try_from(squares.isqrt()).ok()? })
}
