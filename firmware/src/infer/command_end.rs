//! In: when feedback passed distances of powers of two, after its start and before its target. Out: the command end.
//!
//! All times here are in sixteenths of a sample since the first sample of the move.

use super::delay_line::{DelayLine, time_since_crossing};

/// Distances from the start that are timed, one per octave.
const OCTAVES: usize = 32;

/// Samples before a move that give its start position and the noise.
const CALM: u32 = 32;

/// Longest time from the begin of a move to its detection. Unit: samples
const BACK: u32 = 64;

/// When feedback was first 2⁰, 2¹, … counts away from its rest.
#[derive(Clone, Debug, Default)]
pub(super) struct Departure {
    times: [i32; OCTAVES],
    reached: usize,
    /// Position at which the move began. Unit: counts
    from: i32,
    /// Spread of feedback just before the move. Unit: counts
    noise: u32,
    /// Largest distance so far. Unit: counts
    farthest: u32,
    /// Distance at the sample before. Unit: counts
    before: u32,
    now: i32,
}

impl Departure {
    /// A move was detected at sample `number`, the newest: searches back for its begin. Returns the number of its
    /// first sample.
    pub(super) fn begin<const SAMPLES: usize>(
        &mut self,
        line: &DelayLine<SAMPLES>,
        number: u32,
        target: i32,
    ) -> u32 {
        let calm = (0..CALM).filter_map(|ago| line.get(number.wrapping_sub(BACK + ago)));
        let offsets = calm.map(|feedback| feedback.wrapping_sub(target));
        let (count, sum, low, high) =
            offsets.fold((0, 0, i32::MAX, i32::MIN), |(count, sum, low, high), offset| {
                (count + 1, sum + i64::from(offset), low.min(offset), high.max(offset))
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
            *time = self.now.saturating_sub(time_since_crossing(self.before, distance, octave));
            self.reached += 1;
        }
        self.before = distance;
        self.now = self.now.saturating_add(16);
    }

    /// Largest distance of feedback from its start. Unit: counts
    pub(super) fn farthest(&self) -> u32 {
        self.farthest
    }

    fn time(&self, octave: usize) -> Option<i32> {
        self.times.get(octave).copied().filter(|_| octave < self.reached)
    }

    /// When the move began, and the extrapolated time before its first crossing; from three distances above the noise
    /// that are two octaves apart. `None` if the noise leaves no room for them below `octave`.
    ///
    /// From standstill a distance grows with a power of time: the third while the jerk is constant, the second without
    /// a jerk limit, a higher one behind a lag. The times of three distances in one ratio give the origin of any such
    /// power (Aitken's extrapolation).
    fn origin(&self, octave: usize) -> Option<(i32, i32)> {
        let lowest = (u32::BITS - self.noise.leading_zeros()) as usize + 1;
        if lowest + 4 > octave {
            return None;
        }
        let [near, middle, far] = [lowest, lowest + 2, lowest + 4].map(|octave| self.time(octave));
        let (near, first, second) = (near?, middle?.saturating_sub(near?), far?.saturating_sub(middle?));
        let growth = i64::from(second) - i64::from(first);
        // At most as far back as for the fourth power: a constant jerk behind a lag.
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

/// Octave of the distance at which the stop is timed: between 1/128 and 1/64 of the travel.
pub(super) fn octave(travel: u32) -> Option<usize> {
    (travel.checked_ilog2()? as usize).checked_sub(6)
}

/// The command end, if the stop mirrors the start, stretched in time by the ratio of the times between both distances.
///
/// `arrival`: when feedback first came within four and one times 2^`octave` counts of the target.
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
