//! In: many readings at once, while feedback stands inside its window. Out: how many of them change nothing.
//!
//! Most samples of a recording are like that. Taking them in one loop keeps the sums in registers,
//! which trebles the speed on a PC; the result is the same as from one step per sample, and a test
//! holds it to that.

use super::Settling;
use crate::sample::{Reading, Sampler};
use crate::settings::Settings;
use crate::settling::window::Position;

/// Longest stretch taken at once: its ticks are counted in 32 bits.
const LONGEST: u64 = (1 << 31) - 1;

impl Settling {
    /// Whether the next sample can be a calm one.
    #[inline]
    pub fn is_calm(&self, settings: &Settings, sampler: &Sampler) -> bool {
        self.window.position() == Position::TargetReached
            && !self.moving
            && self.rest.is_under_way()
            && self.following.is_inside()
            && sampler.is_sound()
            // Inside the window feedback can't jump.
            && settings.window <= settings.jump / 2
    }

    /// While [`Settling::is_calm`], takes readings up to the first that needs a step of its own, and none at or after `until`.
    /// Returns how many were taken.
    ///
    /// Unit of `until`: ticks since the first reading
    pub fn calm(
        &mut self,
        settings: &Settings,
        sampler: &mut Sampler,
        until: u64,
        readings: &[Reading],
    ) -> usize {
        let narrowest = settings.window.min(settings.following_error_window);
        let room = settings.rest_samples().saturating_sub(self.rest.count()) as usize;
        let longest = until.saturating_sub(sampler.now()).min(LONGEST) as u32;
        let (raw_command, command) = sampler.command();
        let (first_tick, mut error) = sampler.last();
        let (mut rest, mut peaks) = (self.rest.clone(), self.peaks.extremes());
        let (mut passed, mut size) = (0, error.unsigned_abs());
        let within_room = readings.get(..room).unwrap_or(readings);
        let mut left = within_room.iter();
        while let Some(reading) = left.as_slice().first() {
            let next = command.wrapping_sub(reading.feedback);
            let next_size = next.unsigned_abs();
            let passed_next = reading.tick.wrapping_sub(first_tick);
            let sound = passed_next > passed && passed_next < longest;
            if !sound || reading.command != raw_command || next_size > narrowest {
                break;
            }
            self.curve.stamp(size, reading.tick);
            peaks.add(next);
            rest.add(next, error.wrapping_sub(next));
            (passed, error, size) = (passed_next, next, next_size);
            left.next();
        }
        let taken = within_room.len() - left.len();
        rest.count_more(taken as u32);
        self.rest = rest;
        self.peaks.set_extremes(peaks);
        sampler.go_on(first_tick.wrapping_add(passed), error);
        taken
    }
}
