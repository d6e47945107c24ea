//! In: samples from the start of a move to the end of its rest. Out: overshoot, largest error, peak speed.

use crate::sample::Sample;
use crate::settings::Settings;

/// Samples in a block. One encoder count of distance is spread over eight samples.
pub(crate) const BLOCK: u32 = 8;

/// Speed stretches a second: 2 ms each, or one sample period if that is longer.
const STRETCHES: u32 = 500;

/// How long a speed stretch lasts at least, unless a whole block is shorter. Unit: ticks
/// Encoder steps of a stretch that is shorter than a block: one step more or less is then 6 %.
const STEPS: u32 = 16;

/// How long a speed stretch is at least, if it is shorter than a block.
#[derive(Clone, Copy, Debug)]
pub(crate) struct Least {
    /// Unit: ticks
    pub time: u32,
    /// Unit: counts
    pub distance: u32,
}

impl Least {
    pub(crate) fn of(settings: &Settings) -> Least {
        Least {
            time: (settings.ticks_per_second / STRETCHES).max(1),
            distance: settings.encoder_step.saturating_mul(STEPS),
        }
    }
}

/// A speed as a distance and its time.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
pub struct Speed {
    /// Unit: counts
    pub distance: u32,
    /// Unit: ticks
    pub time: u32,
}

impl Speed {
    /// Whether this speed is higher than `other`.
    fn faster(self, other: Speed) -> bool {
        u64::from(self.distance) * u64::from(other.time.max(1))
            > u64::from(other.distance) * u64::from(self.time.max(1))
    }
}

/// Largest and smallest error. Unit: counts
#[derive(Clone, Copy, Debug, Default)]
pub(crate) struct Extremes {
    most: i32,
    least: i32,
}

impl Extremes {
    /// Adds one error.
    fn add(&mut self, error: i32) {
        self.most = self.most.max(error);
        self.least = self.least.min(error);
    }

    /// Largest |error|.
    fn size(self) -> u32 {
        self.most.unsigned_abs().max(self.least.unsigned_abs())
    }
}

/// Start of a block.
#[derive(Clone, Copy, Debug, Default)]
pub(crate) struct BlockStart {
    pub tick: u32,
    pub feedback: i32,
    pub error: i32,
}

impl BlockStart {
    pub(crate) fn at(sample: Sample) -> BlockStart {
        BlockStart { tick: sample.tick, feedback: sample.feedback, error: sample.error }
    }
}

/// Extremes since the start of a move.
#[derive(Clone, Debug, Default)]
pub(crate) struct Peaks {
    /// Feedback just before the start of the move. Unit: counts, wrapping
    pub origin: i32,
    /// Extremes of feedback relative to `origin` while the command moves. Unit: counts
    pub high: i32,
    pub low: i32,
    /// Largest |error| while the command moves. Unit: counts
    pub moving_error: u32,
    /// Extremes of the error since the command end.
    standing: Extremes,
    /// Samples in the current block.
    pub count: u8,
    block: BlockStart,
    /// Tick and error at the start of the block before.
    older: (u32, i32),
    /// Tick and feedback at the start of the current speed stretch, if that is not the start of the block.
    stretch: Option<(u32, i32)>,
    fastest: Speed,
}

impl Peaks {
    /// A move starts with this sample.
    pub(crate) fn restart(&mut self, settings: &Settings, sample: Sample) {
        let (tick, feedback, error) = (sample.tick_before(), sample.feedback_before(), sample.error_before());
        *self = Peaks {
            origin: feedback,
            high: sample.feedback_change.max(0),
            low: sample.feedback_change.min(0),
            moving_error: error.unsigned_abs().max(sample.error.unsigned_abs()),
            // Set at the command end.
            standing: self.standing,
            count: 0,
            block: BlockStart { tick, feedback, error },
            older: (tick, error),
            stretch: None,
            fastest: Speed::default(),
        };
        self.add_to_block(BlockStart::at(sample), Least::of(settings));
    }

    /// Adds one sample at which the command has changed.
    pub(crate) fn moving(&mut self, settings: &Settings, sample: Sample) {
        let distance = sample.feedback.wrapping_sub(self.origin);
        self.high = self.high.max(distance);
        self.low = self.low.min(distance);
        self.moving_error = self.moving_error.max(sample.error.unsigned_abs());
        self.add_to_block(BlockStart::at(sample), Least::of(settings));
    }

    /// The command moves again after a pause at `target`: the errors during the pause belong to the motion.
    pub(crate) fn resume(&mut self, target: i32) {
        let Extremes { most, least } = self.standing;
        let distance = target.wrapping_sub(self.origin);
        self.high = self.high.max(distance.wrapping_sub(least));
        self.low = self.low.min(distance.wrapping_sub(most));
        self.moving_error = self.moving_error.max(self.standing.size());
    }

    /// Joins what was measured before these, up to a pause of the command.
    pub(crate) fn join(&mut self, earlier: &Peaks) {
        let away = self.origin.wrapping_sub(earlier.origin);
        self.high = earlier.high.max(away.wrapping_add(self.high));
        self.low = earlier.low.min(away.wrapping_add(self.low));
        self.origin = earlier.origin;
        self.moving_error = self.moving_error.max(earlier.moving_error);
        if earlier.fastest.faster(self.fastest) {
            self.fastest = earlier.fastest;
        }
    }

    /// The command end, with its error.
    pub(crate) fn command_ended(&mut self, error: i32) {
        self.standing = Extremes { most: error, least: error };
    }

    /// Adds one error at an unchanged command.
    pub(crate) fn standing(&mut self, error: i32) {
        self.standing.add(error);
    }

    /// Adds one sample to block and speed stretch; not called while feedback stays inside the window.
    pub(crate) fn add_to_block(&mut self, sample: BlockStart, least: Least) {
        self.count += 1;
        if u32::from(self.count) >= BLOCK || self.is_long(sample.tick, least.time) {
            self.end_stretch(sample, least);
        }
    }

    /// Whether the speed stretch has lasted long enough to end at this tick.
    pub(crate) fn is_long(&self, tick: u32, time: u32) -> bool {
        tick.wrapping_sub(self.stretch.map_or(self.block.tick, |start| start.0)) >= time
    }

    /// Whether the speed stretch began with the block.
    pub(crate) fn is_aligned(&self) -> bool {
        self.stretch.is_none()
    }

    /// Feedback has left the window: block and speed stretch begin at this sample.
    pub(crate) fn exited(&mut self, sample: Sample) {
        self.block = BlockStart::at(sample);
        self.older = (sample.tick, sample.error);
        self.stretch = None;
        self.count = 0;
    }

    /// The speed stretch ends at this sample if it is long enough or fills a block; and so does a full block.
    fn end_stretch(&mut self, end: BlockStart, least: Least) {
        let full = u32::from(self.count) >= BLOCK;
        if full && self.is_aligned() {
            return self.end_block(end);
        }
        let (tick, feedback) = self.stretch.unwrap_or((self.block.tick, self.block.feedback));
        let is_long = self.is_long(end.tick, least.time);
        if is_long && end.feedback.wrapping_sub(feedback).unsigned_abs() >= least.distance {
            self.add_speed(tick, feedback, end);
            self.stretch = Some((end.tick, end.feedback));
        }
        if full {
            // A stretch of few encoder steps is no measure of speed; the next fills a block.
            self.begin_block(end);
            self.stretch = self.stretch.filter(|_| !is_long);
        }
    }

    /// Block and speed stretch, which began together, end at this sample, and the next begin.
    pub(crate) fn end_block(&mut self, end: BlockStart) {
        self.add_speed(self.block.tick, self.block.feedback, end);
        self.begin_block(end);
    }

    fn begin_block(&mut self, start: BlockStart) {
        self.older = (self.block.tick, self.block.error);
        self.block = start;
        self.count = 0;
    }

    fn add_speed(&mut self, tick: u32, feedback: i32, end: BlockStart) {
        let distance = end.feedback.wrapping_sub(feedback).unsigned_abs();
        let speed = Speed { distance, time: end.tick.wrapping_sub(tick) };
        if speed.faster(self.fastest) {
            self.fastest = speed;
        }
    }

    /// Error eight to sixteen samples ago, and the time since then. Unit: counts, ticks
    pub(crate) fn earlier(&self, sample: Sample) -> (i32, u32) {
        let (tick, error) = self.older;
        (error, sample.tick.wrapping_sub(tick))
    }

    /// Largest |error|. Unit: counts
    pub(crate) fn error(&self) -> u32 {
        self.moving_error.max(self.standing.size())
    }

    /// Fastest feedback over a speed stretch; none if there was no stretch.
    pub(crate) fn fastest(&self) -> Speed {
        self.fastest
    }

    /// Largest excursion beyond the target in the direction of travel. Unit: counts
    ///
    /// `target` is the feedback that would leave no error.
    pub(crate) fn overshoot(&self, target: i32, travel: i32) -> u32 {
        let target = i64::from(target.wrapping_sub(self.origin));
        let (moving, standing) = if travel >= 0 {
            (i64::from(self.high) - target, -i64::from(self.standing.least))
        } else {
            (target - i64::from(self.low), i64::from(self.standing.most))
        };
        moving.max(standing).clamp(0, i64::from(u32::MAX)) as u32
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::settings::Parameters;

    #[track_caller]
    fn check(origin: i32, feedback: &[i32], target: i32, overshoot: u32, fastest: Speed) {
        check_at(100_000, origin, feedback, target, overshoot, fastest);
    }

    /// Samples every ten ticks.
    #[track_caller]
    fn check_at(
        ticks_per_second: u32,
        origin: i32,
        feedback: &[i32],
        target: i32,
        overshoot: u32,
        fastest: Speed,
    ) {
        let mut peaks = Peaks::default();
        let settings = Settings::new(Parameters::at(ticks_per_second)).unwrap();
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
                    peaks.restart(&settings, sample);
                    peaks.command_ended(sample.error);
                }
                _ => {
                    peaks.standing(sample.error);
                    peaks.add_to_block(BlockStart::at(sample), Least::of(&settings));
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
    fn speed_is_the_fastest_stretch_of_eight_samples_two_milliseconds_or_one_sample() {
        let ramp: std::vec::Vec<i32> = (1..=20).map(|k| if k <= 8 { k } else { 8 + (k - 8) * 3 }).collect();
        // At 10 kHz, 1 kHz and 100 Hz.
        check_at(100_000, 0, &ramp, 1000, 0, Speed { distance: 24, time: 80 });
        // Few encoder steps: until there are sixteen.
        check_at(10_000, 0, &ramp, 1000, 0, Speed { distance: 18, time: 60 });
        let ramp: std::vec::Vec<i32> = ramp.iter().map(|feedback| 10 * feedback).collect();
        check_at(10_000, 0, &ramp, 1000, 0, Speed { distance: 60, time: 20 });
        check_at(1000, 0, &ramp, 1000, 0, Speed { distance: 30, time: 10 });
        // One step now and then is no speed.
        let steps: std::vec::Vec<i32> = (1..=16).map(|k| 5 * (k / 5)).collect();
        check_at(1000, 0, &steps, 1000, 0, Speed { distance: 10, time: 80 });
    }
}
