//! In: one reading of the two counters. Out: a sample: what changed, and the following error.

use crate::settings::Settings;

/// One simultaneous reading of an axis's two signals.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
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
pub(crate) struct Sample {
    /// Time stamp. Unit: ticks, wrapping
    pub tick: u32,
    /// Time since the sample before. Unit: ticks
    pub elapsed: u32,
    /// Change of the command. Unit: feedback counts
    pub command_change: i32,
    /// Measured position. Unit: feedback counts, wrapping
    pub feedback: i32,
    /// Change of the feedback. Unit: feedback counts
    pub feedback_change: i32,
    /// command − feedback. Unit: feedback counts, wrapping
    pub error: i32,
    /// What was wrong just before.
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

/// The stage: remembers the last reading.
#[derive(Clone, Debug, Default)]
pub(crate) struct Sampler {
    last: Reading,
    /// Command in feedback counts; the fraction of a count waits in `remainder`.
    command: i32,
    remainder: i32,
    /// Time since the first reading. Unit: ticks
    now: u64,
    /// What is known to be wrong before the next reading.
    faults: Faults,
}

impl Sampler {
    /// Readings are missing before the next one.
    pub(crate) fn gap(&mut self) {
        self.faults = self.faults.with(Faults::GAP);
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

    /// Starts from this reading: nothing is known of the time and the way before it.
    pub(crate) fn begin(&mut self, settings: &Settings, reading: Reading) {
        (self.command, self.remainder) = scaled(settings, reading.command, 0);
        (self.last, self.faults) = (reading, Faults::NONE);
    }

    /// Scales the command of the last reading anew, for other settings.
    pub(crate) fn rescale(&mut self, settings: &Settings) {
        (self.command, self.remainder) = scaled(settings, self.last.command, 0);
    }

    /// Differences the counters.
    pub(crate) fn step(&mut self, settings: &Settings, reading: Reading) -> Sample {
        let mut faults = core::mem::take(&mut self.faults);
        let mut elapsed = reading.tick.wrapping_sub(self.last.tick);
        let feedback_change = reading.feedback.wrapping_sub(self.last.feedback);
        // Differences wrap: a time stamp that went back shows as more than half the range.
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

/// A change of the command in feedback counts, and the fraction that waits for the next change: nothing is lost.
fn scaled(settings: &Settings, change: i32, remainder: i32) -> (i32, i32) {
    let (upper, lower) = settings.command_scale;
    if upper == lower {
        return (change, remainder);
    }
    let lower = lower.max(1);
    let total = i64::from(change) * i64::from(upper) + i64::from(remainder);
    // Most changes fit 32 bits, and a small processor divides 64 bits in many steps.
    if let Ok(total) = i32::try_from(total) {
        return (total.div_euclid(lower), total.rem_euclid(lower));
    }
    let whole = total.div_euclid(i64::from(lower));
    (whole as i32, (total - whole * i64::from(lower)) as i32)
}

#[cfg(test)]
#[path = "sample_tests.rs"]
mod tests;
