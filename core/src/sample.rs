//! In: one reading of the two counters. Out: a sample: what changed, and the following error.

use crate::settings::Settings;

/// One simultaneous reading of an axis's two signals.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Reading {
    /// Time stamp; wraps on purpose. Unit: ticks
    pub tick: u32,
    /// Commanded position; wraps on purpose. Unit: command counts
    pub command: i32,
    /// Measured position; wraps on purpose. Unit: feedback counts
    pub feedback: i32,
}

/// What was wrong just before a sample; several may be.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
pub struct Faults(u8);

impl Faults {
    /// Nothing was wrong.
    pub const NONE: Faults = Faults(0);
    /// Readings are missing.
    pub const GAP: Faults = Faults(1);
    /// The time stamp stood still, or went back.
    pub const CLOCK: Faults = Faults(2);
    /// Feedback moved further in one sample than a machine can.
    pub const JUMP: Faults = Faults(4);

    /// Both together.
    pub const fn with(self, other: Faults) -> Faults {
        Faults(self.0 | other.0)
    }

    /// Whether all of `other` is in here.
    pub const fn has(self, other: Faults) -> bool {
        self.0 & other.0 == other.0
    }
}

/// A reading made relative to the one before it.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Sample {
    /// Time stamp. Unit: ticks, wrapping
    pub tick: u32,
    /// Time since the sample before. Unit: ticks
    pub elapsed: u32,
    /// Change of the command. Unit: feedback counts
    pub command_change: i32,
    /// Measured position. Unit: feedback counts, wrapping
    pub feedback: i32,
    /// command − feedback. Unit: feedback counts, wrapping
    pub error: i32,
    /// What was wrong just before.
    pub faults: Faults,
}

/// The stage: keeps the last reading.
#[derive(Clone, Debug, Default)]
pub struct Sampler {
    last: Option<Reading>,
    /// Scaled command; its fraction waits in `remainder`. Unit: feedback counts
    command: i32,
    remainder: i32,
    /// Time since the first reading. Unit: ticks
    now: u64,
    faults: Faults,
}

impl Sampler {
    /// Readings are missing before the next one.
    pub fn gap(&mut self) {
        self.faults = self.faults.with(Faults::GAP);
    }

    /// Time since the first reading. Unit: ticks
    pub fn now(&self) -> u64 {
        self.now
    }

    /// Differences the counters; the first reading stands for its own past.
    #[inline]
    pub fn step(&mut self, settings: &Settings, reading: Reading) -> Sample {
        let last = match self.last {
            Some(last) => last,
            None => self.begin(settings, reading),
        };
        let mut faults = core::mem::take(&mut self.faults);
        let mut elapsed = reading.tick.wrapping_sub(last.tick);
        // Differences wrap, so a time stamp that went back shows as more than half the range.
        if elapsed.wrapping_sub(1) >= (1 << 31) - 1 {
            faults = faults.with(self.stopped_clock());
            elapsed = 0;
        }
        let moved = reading.feedback.wrapping_sub(last.feedback);
        if moved.unsigned_abs() > settings.jump {
            faults = faults.with(Faults::JUMP);
        }
        let change = reading.command.wrapping_sub(last.command);
        let command_change = if change == 0 { 0 } else { self.scaled(settings, change) };
        self.command = self.command.wrapping_add(command_change);
        self.now += u64::from(elapsed);
        self.last = Some(reading);
        Sample {
            tick: reading.tick,
            elapsed,
            command_change,
            feedback: reading.feedback,
            error: self.command.wrapping_sub(reading.feedback),
            faults,
        }
    }

    #[cold]
    fn begin(&mut self, settings: &Settings, reading: Reading) -> Reading {
        self.command = self.scaled(settings, reading.command);
        reading
    }

    /// The first reading has no elapsed time either, and is no fault.
    #[cold]
    fn stopped_clock(&self) -> Faults {
        if self.last.is_some() { Faults::CLOCK } else { Faults::NONE }
    }

    /// Exact: the fraction of a count that is left over waits for the next change.
    fn scaled(&mut self, settings: &Settings, change: i32) -> i32 {
        let (upper, lower) = settings.command_scale;
        if upper == lower {
            return change;
        }
        let total = i64::from(change) * i64::from(upper) + i64::from(self.remainder);
        let whole = total.div_euclid(i64::from(lower));
        self.remainder = (total - whole * i64::from(lower)) as i32;
        whole as i32
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::settings::Parameters;

    #[track_caller]
    fn check(scale: (i32, i32), readings: &[(u32, i32, i32)], expected: &[(u32, i32, i32, Faults)]) {
        let parameters = Parameters { command_scale: scale, jump: 1000, ..Parameters::default() };
        let settings = Settings::new(parameters).unwrap();
        let mut sampler = Sampler::default();
        for (&(tick, command, feedback), &(elapsed, change, error, faults)) in readings.iter().zip(expected) {
            let sample = sampler.step(&settings, Reading { tick, command, feedback });
            let found = (sample.elapsed, sample.command_change, sample.error, sample.faults);
            assert_eq!(found, (elapsed, change, error, faults), "at tick {tick}");
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
    fn a_scaled_command_loses_nothing() {
        let thirds = [(0, 0, 0), (1, 1, 0), (2, 2, 0), (3, 3, 2), (4, 0, 0)];
        check(
            (2, 3),
            &thirds,
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
