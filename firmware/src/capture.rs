//! In: readings of one axis, the command moving or standing. Out: the readings around its last stop, packed.
//!
//! A capture begins with the last eight readings of the moving command and ends when its buffer is full: most
//! readings take one byte, few more than two. So that a quarter of a second always fits, only one of `factor` readings
//! after the command end is recorded; see [`Capture::factor_of`].
//!
//! Captures of stops that did not settle are evidence and go into the log, but not all of them: a log of 16 MiB
//! must hold the moves of a shift, and an axis that never settles must not displace the moves that led to it. Each
//! axis has a budget, see [`EvidenceBudget`].

use stillpoint_core::Reading;
use stillpoint_core::wire::trace::{Packer, Trace};

/// Buffer for the readings after the command end. Unit: bytes
pub const BYTES: usize = 512;

/// Readings before the command end.
const BEFORE: usize = 8;

/// The readings around one stop.
#[derive(Clone, Debug)]
pub struct Capture {
    /// A ring.
    before: [Reading; BEFORE],
    /// Readings of the moving command so far.
    moving: usize,
    /// First reading of the standing command, and the packer of those after it.
    packed: Option<(Reading, Packer)>,
    factor: u16,
    skipped: u16,
    bytes: [u8; BYTES],
}

impl Capture {
    /// Records one of `factor` readings of a standing command.
    pub fn new(factor: u16) -> Capture {
        let none = Reading { tick: 0, command: 0, feedback: 0 };
        let (before, bytes) = ([none; BEFORE], [0; BYTES]);
        Capture { before, moving: 0, packed: None, factor: factor.max(1), skipped: 0, bytes }
    }

    /// The smallest factor by which a quarter of a second fits at two bytes each. Unit: samples/s
    pub fn factor_of(samples_per_second: u32) -> u16 {
        let bytes = samples_per_second / 4 * 2;
        u16::try_from(bytes.div_ceil(BYTES as u32)).unwrap_or(u16::MAX).max(1)
    }

    /// One of this many readings is recorded after the command end.
    pub fn factor(&self) -> u16 {
        self.factor
    }

    /// Forgets the last stop.
    pub fn restart(&mut self) {
        (self.moving, self.packed) = (0, None);
    }

    /// Adds a reading; `moving` if the command has changed with it.
    pub fn step(&mut self, moving: bool, reading: Reading) {
        if moving {
            self.packed = None;
            if let Some(place) = self.before.get_mut(self.moving % BEFORE) {
                *place = reading;
            }
            self.moving = self.moving.wrapping_add(1);
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
        let from = self.moving.saturating_sub(BEFORE);
        let before = (from..self.moving).filter_map(|place| self.before.get(place % BEFORE)).copied();
        let after = self.packed.iter().flat_map(|(start, packer)| {
            let Reading { tick, command, feedback } = *start;
            let readings = self.bytes.get(..packer.used()).unwrap_or_default();
            Trace { tick, command, feedback, readings, ..Trace::default() }.readings()
        });
        before.chain(after)
    }
}

/// Stops that an axis may still store as evidence: two at once, and one more every eight minutes.
///
/// A stop takes at most 2.1 KiB with its settling curve: those of four axes in eight hours take less than 3.3 % of
/// 16 MiB.
#[derive(Clone, Copy, Debug)]
pub struct EvidenceBudget {
    stops: u8,
    /// When the last stop was added. Unit: ticks
    refilled: u64,
}

impl Default for EvidenceBudget {
    fn default() -> EvidenceBudget {
        EvidenceBudget { stops: EvidenceBudget::BURST, refilled: 0 }
    }
}

impl EvidenceBudget {
    /// Stops at once.
    pub const BURST: u8 = 2;
    /// Time until one more. Unit: s
    pub const INTERVAL: u32 = 480;

    /// Spends one stop; `false` if none remains. Unit: ticks, ticks/s
    pub fn spend(&mut self, now: u64, ticks_per_second: u32) -> bool {
        let interval = u64::from(ticks_per_second.max(1)) * u64::from(Self::INTERVAL);
        let added = now.saturating_sub(self.refilled) / interval;
        self.refilled += added * interval;
        self.stops =
            u8::try_from(added.saturating_add(self.stops.into())).unwrap_or(u8::MAX).min(Self::BURST);
        let remains = self.stops > 0;
        self.stops = self.stops.saturating_sub(1);
        remains
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use std::vec::Vec;

    /// A command that changes in `moving` readings of 100 ticks, then stands while feedback rings by `size`.
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
            "readings are missing only where the buffer is full"
        );
    }

    #[test]
    fn the_capture_holds_the_readings() {
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
        capture.restart();
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
        let mut budget = EvidenceBudget::default();
        let spent = (0..8 * 3600).filter(|&second| budget.spend(second * 1000, 1000)).count();
        assert_eq!(spent, 2 + 8 * 3600 / 480 - 1);
        let at_once = (0..9).filter(|_| budget.spend(1 << 60, u32::MAX)).count();
        assert_eq!(at_once, usize::from(EvidenceBudget::BURST));
    }
}
