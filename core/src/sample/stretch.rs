//! In: many readings at once. Out: how many of the first are alike, laid out side by side.
//!
//! Samples at which nothing new happens need no decisions one by one: sound, the command standing (or
//! changing) at each, the error on one side of the window. Taken together they go through short loops
//! without branches, which makes a PC several times faster; the result is the same as from one step
//! per sample, and a test holds it to that.

use crate::sample::Reading;
use crate::settings::Settings;

/// Most samples of a stretch.
const LENGTH: usize = 32;

/// What the samples of a stretch have in common.
#[derive(Clone, Copy, Debug)]
pub struct Alike {
    /// The command changes at each of them, or at none.
    pub moving: bool,
    /// Smallest and largest |error|. Unit: feedback counts
    pub size: (u32, u32),
    /// All lie less than this after the sample before the stretch. Unit: ticks, less than 2^31
    pub ticks: u32,
    /// There are no more of them.
    pub samples: u32,
}

/// Samples that are alike; each list begins with the sample before them.
#[derive(Debug)]
pub struct Stretch {
    samples: usize,
    ticks: [u32; LENGTH + 1],
    commands: [i32; LENGTH + 1],
    feedback: [i32; LENGTH + 1],
    errors: [i32; LENGTH + 1],
}

impl Default for Stretch {
    fn default() -> Stretch {
        let zeros = [0; LENGTH + 1];
        Stretch { samples: 0, ticks: [0; LENGTH + 1], commands: zeros, feedback: zeros, errors: zeros }
    }
}

impl Stretch {
    /// Takes the first of these readings that are alike; none if there are too few to be quicker so.
    ///
    /// `command` is the scaled command at the reading `before`. Unit: feedback counts
    #[inline]
    pub fn fill(
        &mut self,
        settings: &Settings,
        (before, command): (Reading, i32),
        alike: Alike,
        readings: &[Reading],
    ) {
        self.samples = 0;
        let Some(readings) = readings.first_chunk::<LENGTH>() else { return };
        self.ticks[0] = before.tick;
        self.commands[0] = before.command;
        self.feedback[0] = before.feedback;
        self.errors[0] = command.wrapping_sub(before.feedback);
        let scaled = command.wrapping_sub(before.command);
        for (k, reading) in readings.iter().enumerate() {
            self.ticks[k + 1] = reading.tick;
            self.commands[k + 1] = reading.command;
            self.feedback[k + 1] = reading.feedback;
            self.errors[k + 1] = reading.command.wrapping_add(scaled).wrapping_sub(reading.feedback);
        }
        self.samples = self.alike(settings, alike);
    }

    /// How many of the first samples are alike.
    #[inline]
    fn alike(&self, settings: &Settings, alike: Alike) -> usize {
        let (mut unlike, mut any) = ([0; LENGTH], 0);
        for (k, unlike) in unlike.iter_mut().enumerate() {
            let elapsed = self.ticks[k + 1].wrapping_sub(self.ticks[k]) as i32;
            let passed = self.ticks[k + 1].wrapping_sub(self.ticks[0]);
            let change = self.feedback[k + 1].wrapping_sub(self.feedback[k]).unsigned_abs();
            let size = self.errors[k + 1].unsigned_abs();
            *unlike = u32::from(elapsed <= 0)
                | u32::from(passed >= alike.ticks)
                | u32::from((self.commands[k + 1] != self.commands[k]) != alike.moving)
                | u32::from(change > settings.jump)
                | u32::from(size.wrapping_sub(alike.size.0) > alike.size.1 - alike.size.0);
            any |= *unlike;
        }
        let first = if any == 0 { None } else { unlike.iter().position(|unlike| *unlike != 0) };
        first.unwrap_or(LENGTH).min(alike.samples as usize)
    }

    /// How many samples there are.
    #[inline]
    pub fn samples(&self) -> usize {
        self.samples
    }

    /// The errors, beginning with the one before. Unit: feedback counts
    #[inline]
    pub fn errors(&self) -> &[i32] {
        self.errors.get(..=self.samples).unwrap_or(&self.errors)
    }

    /// The feedback, beginning with the one before. Unit: feedback counts
    #[inline]
    pub fn feedback(&self) -> &[i32] {
        self.feedback.get(..=self.samples).unwrap_or(&self.feedback)
    }

    /// The commands, beginning with the one before. Unit: command counts
    #[inline]
    pub fn commands(&self) -> &[i32] {
        self.commands.get(..=self.samples).unwrap_or(&self.commands)
    }

    /// The time stamps, beginning with the one before. Unit: ticks, wrapping
    #[inline]
    pub fn ticks(&self) -> &[u32] {
        self.ticks.get(..=self.samples).unwrap_or(&self.ticks)
    }

    /// From the sample before to the last. Unit: ticks
    #[inline]
    pub fn passed(&self) -> u32 {
        self.ticks[self.samples].wrapping_sub(self.ticks[0])
    }

    /// From the last sample but one to the last. Unit: ticks
    #[inline]
    pub fn elapsed(&self) -> u32 {
        self.ticks[self.samples].wrapping_sub(self.ticks[self.samples.saturating_sub(1)])
    }

    /// Change of the command at the last sample. Unit: command counts
    #[inline]
    pub fn step(&self) -> i32 {
        self.commands[self.samples].wrapping_sub(self.commands[self.samples.saturating_sub(1)])
    }

    /// Error of the last sample. Unit: feedback counts
    #[inline]
    pub fn last_error(&self) -> i32 {
        self.errors[self.samples]
    }

    /// The last reading.
    #[inline]
    pub fn last(&self) -> Reading {
        let last = self.samples;
        Reading { tick: self.ticks[last], command: self.commands[last], feedback: self.feedback[last] }
    }
}
