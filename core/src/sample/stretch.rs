//! In: many readings at once. Out: the first of them that are alike, and their errors.
//!
//! At most samples nothing new happens: they are sound, the command changes at all of them or at none,
//! and the error stays on one side of the window. Such a stretch is found in one pass, and each stage
//! then takes it in a short loop of its own, with fewer decisions and its sums in registers. The result
//! is the same as from one step per sample, and a test holds it to that.

use crate::sample::Reading;
use crate::settings::Settings;

/// Most samples of a stretch.
const LENGTH: usize = 64;

/// Longest time that readings may be told of beforehand. Unit: ticks
pub const LONGEST: u32 = (1 << 31) - 1;

/// What the samples of a stretch have in common.
#[derive(Clone, Copy, Debug, Default)]
pub struct Alike {
    /// The command changes at each of them, or at none.
    pub moving: bool,
    /// Least error. Unit: feedback counts
    pub least: i32,
    /// How far the others lie above it at most. Unit: feedback counts
    pub span: u32,
    /// All lie no longer than this after the sample before the stretch. Unit: ticks, less than 2^31
    pub ticks: u32,
    /// There are no more of them.
    pub samples: u32,
}

impl Alike {
    /// Errors of at most this size, of a standing command, without an end.
    #[inline]
    pub fn within(size: i32) -> Alike {
        let span = size as u32 * 2;
        Alike { moving: false, least: -size, span, ticks: LONGEST, samples: u32::MAX }
    }

    /// The same of a moving command.
    #[inline]
    pub fn moving(self) -> Alike {
        Alike { moving: true, ..self }
    }

    /// Whether this error is one of theirs.
    #[inline]
    pub fn has(&self, error: i32) -> bool {
        error.wrapping_sub(self.least) as u32 <= self.span
    }
}

/// Readings that are alike, and their errors.
#[derive(Debug)]
pub struct Stretch<'a> {
    before: Reading,
    readings: &'a [Reading],
    /// That of the sample before comes first.
    errors: [i32; LENGTH + 1],
}

impl Default for Stretch<'_> {
    fn default() -> Self {
        let before = Reading { tick: 0, command: 0, feedback: 0 };
        Stretch { before, readings: &[], errors: [0; LENGTH + 1] }
    }
}

impl<'a> Stretch<'a> {
    /// Takes the first of these readings that are alike.
    ///
    /// `command` is the scaled command at the reading `before`. Unit: feedback counts
    #[inline]
    pub fn fill(
        &mut self,
        settings: &Settings,
        (before, command): (Reading, i32),
        alike: Alike,
        readings: &'a [Reading],
    ) {
        self.before = before;
        self.readings = &[];
        self.errors[0] = command.wrapping_sub(before.feedback);
        let jump = settings.jump;
        if alike.moving {
            self.scan(alike, readings, |last, reading| {
                let change = reading.feedback.wrapping_sub(last.feedback).unsigned_abs();
                reading.command != last.command && change <= jump
            });
        } else if alike.span <= jump && alike.has(self.errors[0]) {
            // Within a range no wider than a jump feedback can't jump.
            self.scan(alike, readings, |_, reading| reading.command == before.command);
        }
    }

    /// Takes readings up to the first that is late, doesn't fit after the one before or has another error.
    #[inline]
    fn scan(&mut self, alike: Alike, readings: &'a [Reading], fits: impl Fn(&Reading, &Reading) -> bool) {
        let most = readings.len().min(LENGTH).min(alike.samples as usize);
        let command = self.errors[0].wrapping_add(self.before.feedback);
        let scaled = command.wrapping_sub(self.before.command);
        let (mut last, mut left, mut samples) = (&self.before, alike.ticks, 0);
        let near = readings.get(..most).unwrap_or(readings);
        for (reading, place) in near.iter().zip(&mut self.errors[1..]) {
            let elapsed = reading.tick.wrapping_sub(last.tick);
            let error = reading.command.wrapping_add(scaled).wrapping_sub(reading.feedback);
            if elapsed.wrapping_sub(1) >= left || !fits(last, reading) || !alike.has(error) {
                break;
            }
            *place = error;
            left -= elapsed;
            last = reading;
            samples += 1;
        }
        self.readings = readings.get(..samples).unwrap_or_default();
    }

    /// The sample before the stretch.
    #[inline]
    pub fn before(&self) -> Reading {
        self.before
    }

    /// The readings.
    #[inline]
    pub fn readings(&self) -> &'a [Reading] {
        self.readings
    }

    /// Their errors, beginning with the one before. Unit: feedback counts
    #[inline]
    pub fn errors(&self) -> &[i32] {
        self.errors.get(..=self.readings.len()).unwrap_or(&self.errors)
    }

    /// The last error. Unit: feedback counts
    #[inline]
    pub fn last_error(&self) -> i32 {
        self.errors().last().copied().unwrap_or_default()
    }

    /// The last two readings, or the one before and the only one.
    #[inline]
    pub fn end(&self) -> (Reading, Reading) {
        match self.readings {
            [] => (self.before, self.before),
            [only] => (self.before, *only),
            [.., last_but_one, last] => (*last_but_one, *last),
        }
    }
}
