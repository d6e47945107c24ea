//! In: what the next readings are if nothing happens. Out: those that are so, with no closer look.
//!
//! At most samples nothing new happens, and a few comparisons tell. Readings that pass them are sound, no
//! later than `until`, and the error stays within a range; all others are left to the long way, which
//! then says what to expect next. The result is the same, and a test holds it to that.

use super::{Faults, Reading, Sample, Sampler};
use crate::sample::stretch::{Alike, LONGEST};
use crate::settings::Settings;

impl Sampler {
    /// Until something else comes, readings like these need no closer look; so many of them lie within a target
    /// that is reached.
    #[inline]
    pub fn expect(&mut self, alike: Alike, reached: u32) {
        // Not the ticks, which `until` stands for.
        let Alike { moving, least, span, .. } = alike;
        (self.expected.moving, self.expected.least, self.expected.span) = (moving, least, span);
        self.expected.samples = reached;
        self.until = self.tick.wrapping_add(alike.ticks);
        self.left = reached;
    }

    /// Until something else comes, the command goes on changing.
    #[inline]
    pub fn expect_motion(&mut self) {
        (self.expected.moving, self.expected.samples, self.left) = (true, 0, 0);
        self.until = self.tick.wrapping_add(LONGEST);
    }

    /// The next reading needs a closer look, but perhaps not the closest.
    #[inline]
    pub fn expect_nothing(&mut self) {
        self.until = self.tick;
    }

    /// For so long a standing command changes nothing but where feedback is. Unit: ticks, less than 2^31
    #[inline]
    pub fn stay_calm(&mut self, ticks: u32) {
        self.calm = self.tick.wrapping_add(ticks);
        self.expected.moving = false;
    }

    /// How much of that is left. Unit: ticks
    #[inline]
    pub fn calm_left(&self) -> u32 {
        self.calm.wrapping_sub(self.tick)
    }

    /// Whether a reading of this command changes it.
    #[inline]
    pub fn moves(&self, command: i32) -> bool {
        command != self.raw_command
    }

    /// Adds a reading while it is calm, wherever feedback is within its bounds.
    #[inline]
    pub fn step_calm(&mut self, settings: &Settings, reading: Reading) -> Option<Sample> {
        self.step_standing(settings, reading, self.calm)
    }

    /// Adds the first reading of a standing command, where it was expected to move; what follows is calm, as nothing
    /// is at rest sooner than the rest time.
    #[inline]
    pub fn step_stopped(&mut self, settings: &Settings, reading: Reading) -> Option<Sample> {
        let sample = self.step_standing(settings, reading, self.until)?;
        self.count(0, reading.tick);
        self.stay_calm(settings.rest_time.saturating_sub(sample.elapsed + 1));
        Some(sample)
    }

    #[inline]
    fn step_standing(&mut self, settings: &Settings, reading: Reading, until: u32) -> Option<Sample> {
        let Reading { tick, feedback, .. } = reading;
        let elapsed = tick.wrapping_sub(self.tick);
        if elapsed.wrapping_sub(1) >= until.wrapping_sub(self.tick) {
            return None;
        }
        let error = self.command.wrapping_sub(feedback);
        let feedback_change = feedback.wrapping_sub(self.feedback);
        let far = error.unsigned_abs() > settings.following_error_window;
        if far || feedback_change.unsigned_abs() > settings.jump {
            return None;
        }
        (self.tick, self.feedback) = (tick, feedback);
        Some(Sample {
            tick,
            elapsed,
            command_change: 0,
            feedback,
            feedback_change,
            error,
            faults: Faults::NONE,
        })
    }

    /// Adds a reading while it is calm, but of a command that changes.
    #[inline]
    pub fn step_away(&mut self, settings: &Settings, reading: Reading) -> Option<Sample> {
        let change = self.scaled(settings, reading.command.wrapping_sub(self.raw_command));
        let sample = self.step_moved(settings, reading, change, self.calm)?;
        self.count(0, reading.tick);
        Some(sample)
    }

    /// Whether the command is expected to go on changing.
    #[inline]
    pub fn expects_motion(&self) -> bool {
        self.expected.moving
    }

    /// Whether the target is reached and expected to stay so: then [`Sampler::step_reached`] does.
    #[inline]
    pub fn expects_rest(&self) -> bool {
        self.left > 0
    }

    /// How many readings [`Sampler::step_reached`] has added since this was last asked.
    #[inline]
    pub fn passed(&mut self) -> u32 {
        let passed = self.expected.samples - self.left;
        self.expected.samples = self.left;
        passed
    }

    /// Adds a reading if it is as expected, the target being reached.
    #[inline]
    pub fn step_reached(&mut self, reading: Reading) -> Option<Sample> {
        let sample = self.step_held(reading)?;
        self.left = self.left.wrapping_sub(1);
        Some(sample)
    }

    /// Adds a reading of a standing command if it is as expected.
    #[inline]
    pub fn step_held(&mut self, reading: Reading) -> Option<Sample> {
        let Reading { tick, feedback, .. } = reading;
        let elapsed = tick.wrapping_sub(self.tick);
        if elapsed.wrapping_sub(1) >= self.until.wrapping_sub(self.tick) {
            return None;
        }
        let error = self.command.wrapping_sub(feedback);
        if !self.expected.has(error) {
            return None;
        }
        let feedback_change = feedback.wrapping_sub(self.feedback);
        self.tick = tick;
        self.feedback = feedback;
        let (command_change, faults) = (0, Faults::NONE);
        Some(Sample { tick, elapsed, command_change, feedback, feedback_change, error, faults })
    }

    /// Adds a reading if it is as expected, the command changing.
    #[inline]
    pub fn step_moving(&mut self, settings: &Settings, reading: Reading) -> Option<Sample> {
        let change = self.scaled(settings, reading.command.wrapping_sub(self.raw_command));
        self.step_moved(settings, reading, change, self.until)
    }

    /// The same for a change of so many feedback counts, and the fraction of one that is left over.
    #[inline]
    fn step_moved(
        &mut self,
        settings: &Settings,
        reading: Reading,
        (command_change, remainder): (i32, i32),
        until: u32,
    ) -> Option<Sample> {
        let Reading { tick, command, feedback } = reading;
        let elapsed = tick.wrapping_sub(self.tick);
        if elapsed.wrapping_sub(1) >= until.wrapping_sub(self.tick) || command_change == 0 {
            return None;
        }
        let scaled = self.command.wrapping_add(command_change);
        let feedback_change = feedback.wrapping_sub(self.feedback);
        let error = scaled.wrapping_sub(feedback);
        let far = error.unsigned_abs() > settings.following_error_window;
        if far || feedback_change.unsigned_abs() > settings.jump {
            return None;
        }
        (self.tick, self.raw_command, self.command, self.feedback) = (tick, command, scaled, feedback);
        self.remainder = remainder;
        Some(Sample { tick, elapsed, command_change, feedback, feedback_change, error, faults: Faults::NONE })
    }
}
