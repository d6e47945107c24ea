//! In: feedback and error from a move's start on. Out: how far it went, how fast, how wrong.

use crate::sample::Sample;
use crate::sample::stretch::{Alike, Stretch};

/// Samples over which a speed is taken: one count of an encoder is then an eighth of it.
const BLOCK: u32 = 8;

/// A distance and the time it took.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
pub struct Speed {
    /// Unit: counts
    pub distance: u32,
    /// Unit: ticks
    pub time: u32,
}

impl Speed {
    fn faster(self, other: Speed) -> bool {
        u64::from(self.distance) * u64::from(other.time.max(1))
            > u64::from(other.distance) * u64::from(self.time.max(1))
    }
}

/// Largest and smallest error. Unit: counts
#[derive(Clone, Copy, Debug, Default)]
pub struct Extremes {
    most: i32,
    least: i32,
}

impl Extremes {
    /// Adds one error.
    #[inline]
    fn add(&mut self, error: i32) {
        // Most errors lie between the two, which one comparison tells.
        let span = self.most.wrapping_sub(self.least) as u32;
        if error.wrapping_sub(self.least) as u32 > span {
            self.most = self.most.max(error);
            self.least = self.least.min(error);
        }
    }

    /// The extremes of these.
    #[inline]
    fn of(errors: &[i32]) -> Extremes {
        let first = errors.first().copied().unwrap_or_default();
        // No decisions here: a whole stretch goes through in a few wide steps.
        errors.iter().fold(Extremes { most: first, least: first }, |extremes, error| Extremes {
            most: extremes.most.max(*error),
            least: extremes.least.min(*error),
        })
    }

    /// Largest |error|.
    #[inline]
    fn size(self) -> u32 {
        self.most.unsigned_abs().max(self.least.unsigned_abs())
    }
}

/// Where a block of samples began.
#[derive(Clone, Copy, Debug, Default)]
struct Mark {
    tick: u32,
    feedback: i32,
    error: i32,
}

/// Extremes since the start of a move.
#[derive(Clone, Debug, Default)]
pub struct Peaks {
    /// Feedback just before the start, and its extremes relative to that while the command moved.
    origin: i32,
    high: i32,
    low: i32,
    moving_error: u32,
    /// Since the command stands.
    held: Extremes,
    count: u32,
    mark: Mark,
    /// The one before it, as far as it is asked for.
    older: (u32, i32),
    fastest: Speed,
}

impl Peaks {
    /// A move starts with this sample.
    #[inline]
    pub fn restart(&mut self, sample: Sample) {
        let tick = sample.tick.wrapping_sub(sample.elapsed);
        let feedback = sample.feedback.wrapping_sub(sample.feedback_change);
        let error = sample.error_before();
        *self = Peaks {
            origin: feedback,
            high: sample.feedback_change.max(0),
            low: sample.feedback_change.min(0),
            moving_error: error.unsigned_abs().max(sample.error.unsigned_abs()),
            // Counts from the command end on.
            held: self.held,
            count: 1,
            mark: Mark { tick, feedback, error },
            older: (tick, error),
            fastest: Speed::default(),
        };
    }

    /// Adds one sample at which the command has changed; whether a block ends there.
    #[inline]
    pub fn moving(&mut self, sample: Sample) -> bool {
        let away = sample.feedback.wrapping_sub(self.origin);
        // Written only where it changes.
        if away > self.high {
            self.high = away;
        } else if away < self.low {
            self.low = away;
        }
        if sample.error.unsigned_abs() > self.moving_error {
            self.moving_error = sample.error.unsigned_abs();
        }
        self.block(sample)
    }

    /// The command stood at `target` and has gone on: what was seen there belongs to the motion.
    #[inline]
    pub fn went_on(&mut self, target: i32) {
        let Extremes { most, least } = self.held;
        let away = target.wrapping_sub(self.origin);
        self.high = self.high.max(away.wrapping_sub(least));
        self.low = self.low.min(away.wrapping_sub(most));
        self.moving_error = self.moving_error.max(self.held.size());
    }

    /// From here on the command stands.
    pub fn command_ended(&mut self, error: i32) {
        self.held = Extremes { most: error, least: error };
    }

    /// Adds one sample at which it has not.
    #[inline]
    pub fn held(&mut self, error: i32) {
        self.held.add(error);
    }

    /// Adds a stretch at which the command has changed.
    #[inline]
    pub fn moving_all(&mut self, stretch: &Stretch) {
        for reading in stretch.readings() {
            let away = reading.feedback.wrapping_sub(self.origin);
            self.high = self.high.max(away);
            self.low = self.low.min(away);
        }
        self.moving_error = self.moving_error.max(Extremes::of(stretch.errors()).size());
        self.blocks(stretch);
    }

    /// Adds a stretch at which it has not; returns the largest |error|, that of the sample before included.
    #[inline]
    pub fn held_all(&mut self, errors: &[i32]) -> u32 {
        let these = Extremes::of(errors);
        self.held.add(these.most);
        self.held.add(these.least);
        these.size()
    }

    /// What of this range lies within the extremes since the command stands, so that it changes neither.
    pub fn known(&self, alike: Alike) -> Alike {
        let most = alike.least.wrapping_add(alike.span as i32).min(self.held.most);
        let least = alike.least.max(self.held.least);
        Alike { least, span: most.wrapping_sub(least) as u32, ..alike }
    }

    /// Adds one sample to the speed; not needed while feedback stays inside the window. Whether a block ends.
    #[inline]
    pub fn block(&mut self, sample: Sample) -> bool {
        self.count += 1;
        let ends = self.count >= BLOCK;
        if ends {
            self.roll(sample.tick, sample.feedback, sample.error);
        }
        ends
    }

    /// Adds a stretch to it.
    #[inline]
    pub fn blocks(&mut self, stretch: &Stretch) {
        let samples = stretch.readings().iter().zip(stretch.errors().iter().skip(1));
        let first = (BLOCK - 1 - self.count) as usize;
        let count = self.count as usize + samples.len();
        for (reading, error) in samples.skip(first).step_by(BLOCK as usize) {
            self.roll(reading.tick, reading.feedback, *error);
        }
        self.count = count as u32 % BLOCK;
    }

    /// Feedback left the window: a block begins here.
    pub fn left(&mut self, sample: Sample) {
        self.mark = Mark { tick: sample.tick, feedback: sample.feedback, error: sample.error };
        self.older = (sample.tick, sample.error);
        self.count = 0;
    }

    #[inline(never)]
    fn roll(&mut self, tick: u32, feedback: i32, error: i32) {
        let mark = Mark { tick, feedback, error };
        let distance = mark.feedback.wrapping_sub(self.mark.feedback).unsigned_abs();
        let speed = Speed { distance, time: mark.tick.wrapping_sub(self.mark.tick) };
        if speed.faster(self.fastest) {
            self.fastest = speed;
        }
        self.older = (self.mark.tick, self.mark.error);
        self.mark = mark;
        self.count = 0;
    }

    /// Error eight to sixteen samples ago, and the time since. Unit: counts, ticks
    pub fn earlier(&self, sample: Sample) -> (i32, u32) {
        let (tick, error) = self.older;
        (error, sample.tick.wrapping_sub(tick))
    }

    /// Largest |error|. Unit: counts
    pub fn error(&self) -> u32 {
        self.moving_error.max(self.held.size())
    }

    /// Fastest feedback over eight samples.
    pub fn fastest(&self) -> Speed {
        self.fastest
    }

    /// Largest excursion beyond the target in the direction of travel. Unit: counts
    ///
    /// `target` is the feedback that would leave no error.
    pub fn overshoot(&self, target: i32, travel: i32) -> u32 {
        let target = i64::from(target.wrapping_sub(self.origin));
        let (moving, held) = if travel >= 0 {
            (i64::from(self.high) - target, -i64::from(self.held.least))
        } else {
            (target - i64::from(self.low), i64::from(self.held.most))
        };
        moving.max(held).clamp(0, i64::from(u32::MAX)) as u32
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[track_caller]
    fn check(origin: i32, feedback: &[i32], target: i32, overshoot: u32, fastest: Speed) {
        let mut peaks = Peaks::default();
        let travel = target.wrapping_sub(origin);
        let mut before = origin;
        for (k, &feedback) in feedback.iter().enumerate() {
            let sample = Sample {
                tick: k as u32 * 10,
                elapsed: 10,
                command_change: if k == 0 { travel } else { 0 },
                feedback,
                feedback_change: feedback.wrapping_sub(before),
                error: target.wrapping_sub(feedback),
                faults: Default::default(),
            };
            match k {
                0 => {
                    peaks.restart(sample);
                    peaks.command_ended(sample.error);
                }
                _ => {
                    peaks.held(sample.error);
                    peaks.block(sample);
                }
            }
            before = feedback;
        }
        assert_eq!(peaks.overshoot(target, travel), overshoot);
        assert_eq!(peaks.fastest(), fastest);
        assert_eq!(peaks.error(), target.wrapping_sub(feedback[0]).unsigned_abs());
    }

    #[test]
    fn overshoot_lies_beyond_the_target_on_either_side_and_across_the_wrap() {
        let none = Speed::default();
        check(0, &[50, 103, 99, 100], 100, 3, none);
        check(0, &[50, 90], 100, 0, none);
        check(0, &[-50, -103, -99], -100, 3, none);
        check(i32::MAX - 10, &[i32::MIN + 80, i32::MIN + 95], i32::MIN + 89, 6, none);
    }

    #[test]
    fn speed_is_the_fastest_of_whole_blocks() {
        let ramp: std::vec::Vec<i32> = (1..=20).map(|k| if k <= 8 { k } else { 8 + (k - 8) * 3 }).collect();
        check(0, &ramp, 1000, 0, Speed { distance: 24, time: 80 });
    }
}
