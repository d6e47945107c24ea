//! In: one reading of the two counters. Out: a sample: what changed, and the following error.

use crate::settings::Settings;

mod expected;
pub mod stretch;

use stretch::{Alike, Stretch};

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
    /// Change of the feedback. Unit: feedback counts
    pub feedback_change: i32,
    /// command − feedback. Unit: feedback counts, wrapping
    pub error: i32,
    /// What was wrong just before.
    pub faults: Faults,
}

impl Sample {
    /// A copy in memory for a rare call, so that the common path keeps the sample in registers.
    #[inline]
    pub fn aside(self) -> Sample {
        core::hint::black_box(self)
    }

    /// Error of the sample before. Unit: feedback counts, wrapping
    #[inline]
    pub fn error_before(&self) -> i32 {
        self.error.wrapping_sub(self.command_change).wrapping_add(self.feedback_change)
    }
}

/// The stage: keeps the last reading.
///
/// What is read or written together lies together.
#[derive(Clone, Debug)]
#[repr(C)]
pub struct Sampler {
    /// The last reading.
    feedback: i32,
    tick: u32,
    /// What readings up to `until` need no closer look; none if that is the last one's tick.
    until: u32,
    /// How many of them are left for [`Sampler::step_reached`].
    left: u32,
    raw_command: i32,
    /// Scaled command; its fraction waits in `remainder`. Unit: feedback counts
    command: i32,
    remainder: i32,
    /// Time from the first reading to the one at `counted`; what came after it is added when asked for.
    now: u64,
    counted: u32,
    expected: Alike,
    /// Until then a standing command changes nothing but where feedback is; not at all if that is the last tick.
    calm: u32,
    faults: Faults,
}

/// Nothing has been read yet.
const FIRST: Faults = Faults(1 << 7);

impl Default for Sampler {
    fn default() -> Sampler {
        let (tick, feedback, raw_command, command, remainder) = (0, 0, 0, 0, 0);
        let (now, counted, until, left, calm, expected) = (0, 0, 0, 0, 0, Alike::default());
        Sampler {
            tick,
            feedback,
            raw_command,
            command,
            remainder,
            now,
            counted,
            expected,
            until,
            left,
            calm,
            faults: FIRST,
        }
    }
}

impl Sampler {
    /// Readings are missing before the next one.
    pub fn gap(&mut self) {
        self.faults = self.faults.with(Faults::GAP);
        self.until = self.tick;
        self.calm = self.tick;
    }

    /// Time since the first reading. Unit: ticks
    #[inline]
    pub fn now(&self) -> u64 {
        self.now + u64::from(self.tick.wrapping_sub(self.counted))
    }

    /// Time stamp and following error of the last reading. Unit: ticks, feedback counts
    pub fn last(&self) -> (u32, i32) {
        (self.tick, self.command.wrapping_sub(self.feedback))
    }

    /// Nothing is known to be wrong before the next reading.
    pub fn is_sound(&self) -> bool {
        self.faults == Faults::NONE
    }

    /// Takes the first of these readings that are alike, if a stretch of them can be told at once.
    #[inline]
    pub fn stretch<'a>(
        &self,
        settings: &Settings,
        alike: Alike,
        readings: &'a [Reading],
        stretch: &mut Stretch<'a>,
    ) {
        let Sampler { tick, raw_command: command, feedback, .. } = *self;
        stretch.fill(settings, (Reading { tick, command, feedback }, self.command), alike, readings);
    }

    /// Whether the next readings can be a stretch.
    #[inline]
    pub fn is_even(&self, settings: &Settings, moving: bool) -> bool {
        self.is_sound() && (!moving || settings.command_scale.0 == settings.command_scale.1)
    }

    /// Adds a whole stretch.
    #[inline]
    pub fn take(&mut self, stretch: &Stretch) {
        let (_, last) = stretch.end();
        self.count(last.tick.wrapping_sub(self.tick), last.tick);
        self.feedback = last.feedback;
        // Not scaled: a stretch in which the command changes is at a scale of one.
        self.command = self.command.wrapping_add(last.command.wrapping_sub(self.raw_command));
        self.raw_command = last.command;
    }

    #[inline]
    fn count(&mut self, elapsed: u32, tick: u32) {
        self.now = self.now() + u64::from(elapsed);
        self.counted = tick;
        self.tick = tick;
        self.until = tick;
        self.calm = tick;
    }

    /// Whether nothing has been read yet: then [`Sampler::begin`] takes the reading.
    #[inline]
    pub fn is_new(&self) -> bool {
        self.faults.has(FIRST)
    }

    /// Takes the first reading, that has no time and no way before it; returns its error. Unit: feedback counts
    pub fn begin(&mut self, settings: &Settings, reading: Reading) -> i32 {
        let Reading { tick, command, feedback } = reading;
        self.faults = Faults::NONE;
        (self.command, self.remainder) = self.scaled(settings, command);
        (self.raw_command, self.feedback) = (command, feedback);
        (self.tick, self.counted, self.until, self.calm) = (tick, tick, tick, tick);
        self.command.wrapping_sub(feedback)
    }

    /// Differences the counters.
    #[inline]
    pub fn step(&mut self, settings: &Settings, reading: Reading) -> Sample {
        let mut elapsed = reading.tick.wrapping_sub(self.tick);
        let mut feedback_change = reading.feedback.wrapping_sub(self.feedback);
        let mut faults = Faults::NONE;
        // Differences wrap, so a time stamp that went back shows as more than half the range.
        if (elapsed as i32) <= 0 || feedback_change.unsigned_abs() > settings.jump || !self.is_sound() {
            (elapsed, feedback_change, faults) = self.unsound(settings, reading);
        }
        let command_change = self.command_change(settings, reading.command);
        self.count(elapsed, reading.tick);
        self.feedback = reading.feedback;
        let error = self.command.wrapping_sub(reading.feedback);
        let (tick, feedback) = (reading.tick, reading.feedback);
        Sample { tick, elapsed, command_change, feedback, feedback_change, error, faults }
    }

    /// Says what was wrong, and how much time and way count as passed.
    #[cold]
    #[inline(never)]
    fn unsound(&mut self, settings: &Settings, reading: Reading) -> (u32, i32, Faults) {
        let mut faults = core::mem::take(&mut self.faults);
        let mut elapsed = reading.tick.wrapping_sub(self.tick);
        let feedback_change = reading.feedback.wrapping_sub(self.feedback);
        if (elapsed as i32) <= 0 {
            elapsed = 0;
            faults = faults.with(Faults::CLOCK);
        }
        if feedback_change.unsigned_abs() > settings.jump {
            faults = faults.with(Faults::JUMP);
        }
        (elapsed, feedback_change, faults)
    }

    #[inline]
    fn command_change(&mut self, settings: &Settings, command: i32) -> i32 {
        if command == self.raw_command {
            return 0;
        }
        let change;
        (change, self.remainder) = self.scaled(settings, command.wrapping_sub(self.raw_command));
        self.raw_command = command;
        self.command = self.command.wrapping_add(change);
        change
    }

    /// A change of the command in feedback counts, and the fraction left over, that waits for the next change: exact.
    #[inline]
    fn scaled(&self, settings: &Settings, change: i32) -> (i32, i32) {
        let (upper, lower) = (settings.command_scale.0, settings.command_scale.1);
        if upper == lower { (change, self.remainder) } else { self.quotient(change, upper, lower) }
    }

    #[inline]
    fn quotient(&self, change: i32, upper: i32, lower: i32) -> (i32, i32) {
        let lower = lower.max(1);
        let total = i64::from(change) * i64::from(upper) + i64::from(self.remainder);
        // Most changes are small, and need no division of 64 bits, which a small processor has to do in steps.
        let Ok(total) = i32::try_from(total) else { return long_quotient(total, lower) };
        let (whole, rest) = (total / lower, total % lower);
        if rest < 0 { (whole - 1, rest + lower) } else { (whole, rest) }
    }
}

/// The quotient, rounded down, and what is left.
#[cold]
#[inline(never)]
fn long_quotient(total: i64, lower: i32) -> (i32, i32) {
    let whole = total.div_euclid(i64::from(lower));
    (whole as i32, (total - whole * i64::from(lower)) as i32)
}

#[cfg(test)]
#[path = "sample_tests.rs"]
mod tests;
