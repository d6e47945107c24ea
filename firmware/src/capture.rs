//! In: readings of one axis, the command moving or standing. Out: those around its last stop, packed.
//!
//! A stop begins with the last eight readings at which the command moved and goes on until its room is
//! full: most readings take a byte, hardly one more than two. So that a quarter of a second fits in any
//! case, only one of `factor` readings after the command end is taken; see [`Capture::factor_of`].
//!
//! Stops that did not settle are evidence and are kept in the log, but not all: a log of 16 MiB has to
//! hold the moves of a shift, and an axis that never settles must not push out what led to it. An axis has
//! two to spare and gains one every eight minutes, see [`Spare`].

use stillpoint_core::Reading;
use stillpoint_core::wire::trace::{Packer, Trace};

/// Room for the readings after the command end. Unit: bytes
pub const BYTES: usize = 512;

/// Readings before it.
const BEFORE: usize = 8;

/// The readings around one stop.
#[derive(Clone, Debug)]
pub struct Capture {
    before: [Reading; BEFORE],
    /// How many were ever put in there for this stop.
    came: usize,
    /// First reading at which the command stood, and what comes after it.
    packed: Option<(Reading, Packer)>,
    factor: u16,
    skipped: u16,
    bytes: [u8; BYTES],
}

impl Capture {
    /// Takes one of so many readings of a standing command.
    pub fn new(factor: u16) -> Capture {
        let none = Reading { tick: 0, command: 0, feedback: 0 };
        let (before, bytes) = ([none; BEFORE], [0; BYTES]);
        Capture { before, came: 0, packed: None, factor: factor.max(1), skipped: 0, bytes }
    }

    /// The smallest factor by which a quarter of a second fits at two bytes each. Unit: samples/s
    pub fn factor_of(samples_per_second: u32) -> u16 {
        let bytes = samples_per_second / 4 * 2;
        u16::try_from(bytes.div_ceil(BYTES as u32)).unwrap_or(u16::MAX).max(1)
    }

    /// One of so many readings was taken after the command end.
    pub fn factor(&self) -> u16 {
        self.factor
    }

    /// A move begins: what was captured is forgotten.
    pub fn begin(&mut self) {
        (self.came, self.packed) = (0, None);
    }

    /// Adds a reading; `moving` if the command has changed with it.
    pub fn step(&mut self, moving: bool, reading: Reading) {
        if moving {
            self.packed = None;
            if let Some(place) = self.before.get_mut(self.came % BEFORE) {
                *place = reading;
            }
            self.came = self.came.wrapping_add(1);
            return;
        }
        let Some((_, packer)) = &mut self.packed else {
            (self.packed, self.skipped) = (Some((reading, Packer::new(reading))), 0);
            return;
        };
        self.skipped = self.skipped.saturating_add(1);
        if self.skipped >= self.factor && packer.has_room(&self.bytes) {
            self.skipped = 0;
            packer.push(reading, &mut self.bytes);
        }
    }

    /// All readings of the stop, the oldest first.
    pub fn readings(&self) -> impl Iterator<Item = Reading> + '_ {
        let from = self.came.saturating_sub(BEFORE);
        let before = (from..self.came).filter_map(|place| self.before.get(place % BEFORE)).copied();
        let after = self.packed.iter().flat_map(|(start, packer)| {
            let Reading { tick, command, feedback } = *start;
            let readings = self.bytes.get(..packer.used()).unwrap_or_default();
            Trace { tick, command, feedback, readings, ..Trace::default() }.readings()
        });
        before.chain(after)
    }
}

/// Evidence that an axis may keep: two stops at once, and one more every eight minutes. Of 2.1 KiB each with
/// the settling curve at the very most, those of four axes in eight hours take less than 3.3 % of 16 MiB.
#[derive(Clone, Copy, Debug)]
pub struct Spare {
    left: u8,
    /// When the last was gained. Unit: ticks
    gained: u64,
}

impl Default for Spare {
    fn default() -> Spare {
        Spare { left: Spare::MOST, gained: 0 }
    }
}

impl Spare {
    /// At once.
    pub const MOST: u8 = 2;
    /// One more after so long. Unit: s
    pub const EVERY: u32 = 480;

    /// Takes one, if there is one. Unit: ticks, ticks/s
    pub fn take(&mut self, now: u64, ticks_per_second: u32) -> bool {
        let every = u64::from(ticks_per_second.max(1)) * u64::from(Spare::EVERY);
        let gains = now.saturating_sub(self.gained) / every;
        self.gained += gains * every;
        self.left = u8::try_from(gains.saturating_add(self.left.into())).unwrap_or(u8::MAX).min(Spare::MOST);
        let taken = self.left > 0;
        self.left = self.left.saturating_sub(1);
        taken
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use std::vec::Vec;

    /// A command that moves for so many readings of 100 ticks, then stands while feedback rings by `size`.
    fn stop(capture: &mut Capture, moving: u32, standing: u32, size: i32) -> Vec<Reading> {
        let reading = |number: u32| {
            let feedback =
                if number < moving { number as i32 } else { size * (number % 7) as i32 - number as i32 };
            Reading { tick: number.wrapping_mul(100), command: number.min(moving) as i32, feedback }
        };
        let readings: Vec<Reading> = (0..=moving + standing).map(reading).collect();
        readings
            .iter()
            .for_each(|&reading| capture.step(reading.tick > 0 && reading.tick <= moving * 100, reading));
        readings
    }

    #[track_caller]
    fn check(factor: u16, moving: u32, standing: u32, size: i32, at_least: usize) {
        let mut capture = Capture::new(factor);
        let readings = stop(&mut capture, moving, standing, size);
        let captured: Vec<Reading> = capture.readings().collect();
        let before = (moving as usize).min(BEFORE);
        let after = readings[moving as usize + 1..].iter().step_by(factor.into());
        let expected: Vec<Reading> =
            readings[moving as usize + 1 - before..=moving as usize].iter().chain(after).copied().collect();
        assert!(captured.len() >= at_least, "{}", captured.len());
        assert_eq!(captured, expected[..captured.len()]);
        assert!(
            captured.len() == expected.len() || captured.len() > 200,
            "nothing is missing but for want of room"
        );
    }

    #[test]
    fn what_is_captured_is_what_came() {
        check(1, 100, 50, 3, 58);
        check(1, 3, 50, 3, 53);
        check(1, 100, 5000, 3, 490);
        check(1, 100, 5000, 400, 250);
        check(10, 100, 5000, 3, 490);
        check(10, 100, 45, 3, 13);
    }

    #[test]
    fn a_command_that_goes_on_starts_the_capture_again() {
        let mut capture = Capture::new(1);
        stop(&mut capture, 100, 50, 3);
        stop(&mut capture, 20, 30, 3);
        assert_eq!(capture.readings().count(), 8 + 30);
        capture.begin();
        assert_eq!(capture.readings().count(), 0);
    }

    #[test]
    fn a_quarter_of_a_second_fits() {
        for (rate, factor) in [(100, 1), (1000, 1), (4000, 4), (10_000, 10), (u32::MAX, u16::MAX)] {
            assert_eq!(Capture::factor_of(rate), factor);
        }
    }

    #[test]
    fn evidence_is_limited() {
        let mut spare = Spare::default();
        let taken = (0..8 * 3600).filter(|&second| spare.take(second * 1000, 1000)).count();
        assert_eq!(taken, 2 + 8 * 3600 / 480 - 1);
        let at_once = (0..9).filter(|_| spare.take(1 << 60, u32::MAX)).count();
        assert_eq!(at_once, usize::from(Spare::MOST));
    }
}
