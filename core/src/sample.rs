//! In: one reading of the two counters. Out: a sample: differences to the reading before, following error, faults.

use crate::settings::Settings;

/// One simultaneous reading of an axis's two signals.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
pub struct Reading {
    /// Time stamp; may wrap. A step of 2^31 ticks or more counts as a clock that went back. Unit: ticks
    pub tick: u32,
    /// Commanded position, from the same zero as `feedback`; may wrap. Unit: command counts
    pub command: i32,
    /// Measured position; may wrap. Unit: feedback counts
    pub feedback: i32,
}

/// Faults between a sample and the one before it, one bit each.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
pub struct Faults(u8);

impl Faults {
    /// No fault.
    pub const NONE: Faults = Faults(0);
    /// Readings are missing.
    pub const GAP: Faults = Faults(1);
    /// The time stamp did not advance, or went back.
    pub const CLOCK: Faults = Faults(2);
    /// Feedback changed by more than [`crate::Parameters::jump`].
    pub const JUMP: Faults = Faults(4);

    /// Faults of both.
    pub const fn with(self, other: Faults) -> Faults {
        Faults(self.0 | other.0)
    }

    /// The faults that are not in `other`.
    pub const fn without(self, other: Faults) -> Faults {
        Faults(self.0 & !other.0)
    }

    /// Whether all bits of `other` are set.
    pub const fn has(self, other: Faults) -> bool {
        self.0 & other.0 == other.0
    }
}

/// A reading with its differences to the reading before.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(crate) struct Sample {
    /// Time stamp. Unit: ticks, wrapping
    pub tick: u32,
    /// Sample period: time since the sample before. Unit: ticks
    pub elapsed: u32,
    /// Change of the command. Unit: feedback counts
    pub command_change: i32,
    /// Measured position. Unit: feedback counts, wrapping
    pub feedback: i32,
    /// Change of the feedback. Unit: feedback counts
    pub feedback_change: i32,
    /// command − feedback. Unit: feedback counts, wrapping
    pub error: i32,
    /// Faults since the sample before.
    pub faults: Faults,
}

impl Sample {
    /// Time stamp of the sample before. Unit: ticks, wrapping
    pub(crate) fn tick_before(&self) -> u32 {
        self.tick.wrapping_sub(self.elapsed)
    }

    /// Measured position at the sample before. Unit: feedback counts, wrapping
    pub(crate) fn feedback_before(&self) -> i32 {
        self.feedback.wrapping_sub(self.feedback_change)
    }

    /// Error of the sample before. Unit: feedback counts, wrapping
    pub(crate) fn error_before(&self) -> i32 {
        self.error.wrapping_sub(self.command_change).wrapping_add(self.feedback_change)
    }
}

/// The stage: makes samples of readings.
#[derive(Clone, Debug, Default)]
pub(crate) struct Sampler {
    pub(crate) last: Reading,
    /// Scaled command. Unit: feedback counts, wrapping
    pub(crate) command: i32,
    /// Fraction of a count that scaling carries over to the next change. Unit: feedback counts / `command_scale.1`
    remainder: i32,
    /// Time since the first reading. Unit: ticks
    pub(crate) now: u64,
    /// Faults to report with the next reading.
    pub(crate) faults: Faults,
    begun: bool,
}

impl Sampler {
    /// Readings are missing before the next one.
    pub(crate) fn gap(&mut self) {
        self.faults = self.faults.with(Faults::GAP);
    }

    /// Whether there was a reading.
    pub(crate) fn has_begun(&self) -> bool {
        self.begun
    }

    /// Time since the first reading. Unit: ticks
    pub(crate) fn now(&self) -> u64 {
        self.now
    }

    /// Time stamp of the last reading. Unit: ticks, wrapping
    pub(crate) fn tick(&self) -> u32 {
        self.last.tick
    }

    /// command − feedback at the last reading. Unit: feedback counts, wrapping
    pub(crate) fn error(&self) -> i32 {
        self.command.wrapping_sub(self.last.feedback)
    }

    /// Starts from the first reading; it makes no sample, because there is no reading before it.
    pub(crate) fn begin(&mut self, settings: &Settings, reading: Reading) {
        (self.command, self.remainder) = scaled(settings, reading.command, 0);
        (self.last, self.faults, self.begun) = (reading, Faults::NONE, true);
    }

    /// Scales the command of the last reading by a new `command_scale`.
    pub(crate) fn rescale(&mut self, settings: &Settings) {
        (self.command, self.remainder) = scaled(settings, self.last.command, 0);
    }

    /// Makes a sample of a reading.
    pub(crate) fn step(&mut self, settings: &Settings, reading: Reading) -> Sample {
        let mut faults = core::mem::take(&mut self.faults);
        let mut elapsed = reading.tick.wrapping_sub(self.last.tick);
        let feedback_change = reading.feedback.wrapping_sub(self.last.feedback);
        // A time stamp that went back gives a wrapped difference of more than half the range.
        if (elapsed as i32) <= 0 {
            elapsed = 0;
            faults = faults.with(Faults::CLOCK);
        }
        if feedback_change.unsigned_abs() > settings.jump {
            faults = faults.with(Faults::JUMP);
        }
        let command_change = self.command_change(settings, reading.command);
        self.now += u64::from(elapsed);
        self.last = reading;
        let Reading { tick, feedback, .. } = reading;
        let error = self.error();
        Sample { tick, elapsed, command_change, feedback, feedback_change, error, faults }
    }

    fn command_change(&mut self, settings: &Settings, command: i32) -> i32 {
        if command == self.last.command {
            return 0;
        }
        let change;
        let raw_change = command.wrapping_sub(self.last.command);
        (change, self.remainder) = scaled(settings, raw_change, self.remainder);
        self.command = self.command.wrapping_add(change);
        change
    }
}

/// A change of the command in feedback counts, and the remainder to carry over to the next change.
fn scaled(settings: &Settings, change: i32, remainder: i32) -> (i32, i32) {
    let (numerator, denominator) = settings.command_scale;
    if numerator == denominator {
        return (change, remainder);
    }
    let denominator = denominator.max(1);
    let total = i64::from(change) * i64::from(numerator) + i64::from(remainder);
    // Most totals fit 32 bits, and a processor without 64-bit division is slow at it.
    if let Ok(total) = i32::try_from(total) {
        return (total.div_euclid(denominator), total.rem_euclid(denominator));
    }
    let whole = total.div_euclid(i64::from(denominator));
    (whole as i32, (total - whole * i64::from(denominator)) as i32)
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::settings::Parameters;

    #[track_caller]
    fn check(scale: (i32, i32), readings: &[(u32, i32, i32)], expected: &[(u32, i32, i32, Faults)]) {
        let parameters = Parameters { command_scale: scale, jump: 1000, ..Parameters::at(1_000_000) };
        let settings = Settings::new(parameters).unwrap();
        let mut sampler = Sampler::default();
        for (k, (&(tick, command, feedback), &expected)) in readings.iter().zip(expected).enumerate() {
            let reading = Reading { tick, command, feedback };
            let found = if k == 0 {
                sampler.begin(&settings, reading);
                (0, 0, sampler.error(), Faults::NONE)
            } else {
                let sample = sampler.step(&settings, reading);
                (sample.elapsed, sample.command_change, sample.error, sample.faults)
            };
            assert_eq!(found, expected, "at tick {tick}");
        }
    }

    #[test]
    fn counters_and_time_stamps_wrap() {
        check(
            (1, 1),
            &[(u32::MAX, i32::MAX, i32::MAX), (9, i32::MIN, i32::MAX), (19, i32::MIN, i32::MIN)],
            &[(0, 0, 0, Faults::NONE), (10, 1, 1, Faults::NONE), (10, 0, 0, Faults::NONE)],
        );
    }

    #[test]
    fn a_scaled_command_carries_its_remainder_over() {
        let readings = [(0, 0, 0), (1, 1, 0), (2, 2, 0), (3, 3, 2), (4, 0, 0)];
        check(
            (2, 3),
            &readings,
            &[(0, 0, 0), (1, 0, 0), (1, 1, 1), (1, 1, 0), (1, -2, 0)]
                .map(|(t, c, e)| (t, c, e, Faults::NONE)),
        );
        check((-1, 2), &[(0, 10, -5), (1, 12, -5)], &[(0, 0, 0, Faults::NONE), (1, -1, -1, Faults::NONE)]);
    }

    #[test]
    fn a_clock_that_stops_or_goes_back_and_a_jump_are_marked() {
        check(
            (1, 1),
            &[(5, 0, 0), (5, 0, 0), (3, 0, 0), (4, 0, 1001)],
            &[
                (0, 0, 0, Faults::NONE),
                (0, 0, 0, Faults::CLOCK),
                (0, 0, 0, Faults::CLOCK),
                (1, 0, -1001, Faults::JUMP),
            ],
        );
    }
}
