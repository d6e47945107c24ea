//! In: the raw counters of all axes at one tick. Out: numbered readings, and how many ticks were missed.
//!
//! The board latches all counters at one hardware instant and passes them on with the time stamp of that instant. A
//! loop that is late by whole periods finds later counters, not wrong ones: the missed ticks are a counted gap, never
//! an error. During a gap a 16-bit counter may pass half its range unseen: its position is then wrong by a multiple
//! of 65,536. The gap marks the move, and later travels are right again.

use stillpoint_core::Reading;

use crate::tap::{Extended, Register};

/// Both counters of one axis, latched together.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Raw {
    /// Command counter.
    pub command: Register,
    /// Feedback counter.
    pub feedback: Register,
}

/// The readings of all axes at one tick.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Sampled<const AXES: usize> {
    /// Number of the tick, with the missed ones; wraps on purpose.
    pub number: u32,
    /// Ticks missed just before.
    pub missed: u32,
    /// The pair of each axis, all of one instant.
    pub readings: [Reading; AXES],
}

/// Command and feedback counter of one axis.
#[derive(Clone, Copy, Debug, Default)]
struct Counters {
    command: Extended,
    feedback: Extended,
}

/// The stage: extends the counters and numbers the ticks.
#[derive(Clone, Debug)]
pub struct Sampler<const AXES: usize> {
    period: u32,
    last: Option<u32>,
    number: u32,
    missed: u32,
    counters: [Counters; AXES],
}

impl<const AXES: usize> Sampler<AXES> {
    /// Expects a tick every `period`; a period of 0 finds no gaps. Unit: ticks
    pub fn new(period: u32) -> Sampler<AXES> {
        Sampler { period, last: None, number: 0, missed: 0, counters: [Counters::default(); AXES] }
    }

    /// Makes readings of the counters latched at `tick`; the first tick has number 0. Unit: ticks, wrapping
    pub fn step(&mut self, tick: u32, raw: &[Raw; AXES]) -> Sampled<AXES> {
        let missed = self.missed_before(tick);
        self.missed = self.missed.saturating_add(missed);
        if self.last.replace(tick).is_some() {
            self.number = self.number.wrapping_add(missed).wrapping_add(1);
        }
        let none = Reading { tick, command: 0, feedback: 0 };
        let mut sampled = Sampled { number: self.number, missed, readings: [none; AXES] };
        for ((reading, counters), raw) in sampled.readings.iter_mut().zip(&mut self.counters).zip(raw) {
            reading.command = counters.command.extend(raw.command);
            reading.feedback = counters.feedback.extend(raw.feedback);
        }
        sampled
    }

    /// All ticks missed since the start.
    pub fn missed(&self) -> u32 {
        self.missed
    }

    /// Whole periods missed. The core marks a clock that stands still or goes back.
    fn missed_before(&self, tick: u32) -> u32 {
        let elapsed = self.last.map_or(0, |last| tick.wrapping_sub(last));
        if elapsed > u32::MAX / 2 {
            return 0;
        }
        let nearest = elapsed.saturating_add(self.period / 2);
        nearest.checked_div(self.period).unwrap_or(0).saturating_sub(1)
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use std::vec::Vec;

    #[track_caller]
    fn check(period: u32, ticks: &[u32], numbers: &[u32], missed: &[u32]) {
        let mut sampler = Sampler::<1>::new(period);
        let raw = [Raw { command: Register::Half(0), feedback: Register::Half(0) }];
        let found: Vec<(u32, u32)> = ticks
            .iter()
            .map(|&tick| sampler.step(tick, &raw))
            .map(|tick| (tick.number, tick.missed))
            .collect();
        let expected: Vec<(u32, u32)> = numbers.iter().copied().zip(missed.iter().copied()).collect();
        assert_eq!(found, expected);
        assert_eq!(sampler.missed(), missed.iter().sum::<u32>());
    }

    #[test]
    fn late_ticks_are_counted_gaps() {
        check(100, &[7, 107, 207], &[0, 1, 2], &[0, 0, 0]);
        check(100, &[0, 149, 251, 600, 700], &[0, 1, 2, 5, 6], &[0, 0, 0, 2, 0]);
        check(100, &[u32::MAX - 49, 50, 350], &[0, 1, 4], &[0, 0, 2]);
        check(100, &[500, 500, 400, 500], &[0, 1, 2, 3], &[0, 0, 0, 0]);
        check(0, &[0, 1000], &[0, 1], &[0, 0]);
    }

    #[test]
    fn every_axis_gets_a_pair_of_one_instant() {
        let mut sampler = Sampler::<2>::new(10);
        let raw = |command: i32, feedback: i32| Raw {
            command: Register::Whole(command as u32),
            feedback: Register::Half(feedback as u16),
        };
        sampler.step(0, &[raw(1, 2), raw(3, 32_000)]);
        let tick = sampler.step(30, &[raw(-5, -1), raw(4, 33_000)]);
        let reading = |command, feedback| Reading { tick: 30, command, feedback };
        assert_eq!(tick, Sampled { number: 3, missed: 2, readings: [reading(-5, -1), reading(4, 33_000)] });
    }
}
