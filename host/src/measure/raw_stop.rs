//! In: readings. Out: feedback at every sample of the last stop, for fits that need more than a capture.
//!
//! As for the core's capture, a command that stands for a few samples is not yet a stop: the one before stays until then.
//! Where feedback is renewed more seldom than every sample, only renewals count: what it holds between them has images.

use std::mem::swap;

use stillpoint_core::Reading;

use crate::analysis::renewal::{Renewal, renewal};
use crate::analysis::two_modes::MOST;

/// Samples after which a standing command is a stop.
const EARLY: usize = 16;

/// Readings at a standing command.
#[derive(Clone, Debug, Default)]
struct Stand {
    /// Unit: ticks
    first: u32,
    last: u32,
    /// Unit: counts
    feedback: Vec<i32>,
    /// Samples are missing or uneven from here on.
    is_over: bool,
}

/// The last two stands of the command.
#[derive(Clone, Debug, Default)]
pub(super) struct RawStop {
    command: Option<i32>,
    now: Stand,
    before: Stand,
}

/// The samples of a stop, one for each renewal of feedback.
#[derive(Clone, Debug, PartialEq)]
pub(super) struct Samples {
    /// command − feedback, from that of the first sample on. Unit: counts
    pub(super) errors: Vec<f64>,
    /// From one to the next. Unit: ticks
    pub(super) period: f64,
}

impl RawStop {
    /// Adds readings.
    pub(super) fn add(&mut self, readings: &[Reading]) {
        for reading in readings {
            if self.command.replace(reading.command) != Some(reading.command) {
                self.begin(reading);
            }
            self.now.add(reading);
        }
    }

    fn begin(&mut self, reading: &Reading) {
        if self.now.feedback.len() > EARLY {
            swap(&mut self.now, &mut self.before);
        }
        self.now.feedback.clear();
        (self.now.first, self.now.last, self.now.is_over) = (reading.tick, reading.tick, false);
    }

    /// Samples are missing.
    pub(super) fn gap(&mut self) {
        self.now.is_over = true;
    }

    /// The stop whose command ended at this tick, if it is one of the last two.
    pub(super) fn of(&self, command_end: u32) -> Option<Samples> {
        [&self.now, &self.before].into_iter().find(|stand| stand.first == command_end)?.samples()
    }
}

impl Stand {
    #[inline]
    fn add(&mut self, reading: &Reading) {
        if self.is_over || self.feedback.len() == MOST {
            return;
        }
        let count = self.feedback.len() as u32;
        if count > 1 {
            let mean = self.last.wrapping_sub(self.first) / (count - 1);
            let interval = reading.tick.wrapping_sub(self.last);
            if interval.abs_diff(mean) > mean / 2 {
                self.is_over = true;
                return;
            }
        }
        self.last = reading.tick;
        self.feedback.push(reading.feedback);
    }

    /// None where feedback is renewed at uneven distances.
    fn samples(&self) -> Option<Samples> {
        let (first, each) = match renewal(&self.feedback) {
            Renewal::Every => (0, 1),
            Renewal::Steady { first, each } => (first, each),
            Renewal::Uneven => return None,
        };
        let intervals = self.feedback.len().checked_sub(1).filter(|intervals| *intervals > 0)?;
        let renewed = self.feedback.get(first..)?;
        let errors =
            renewed.iter().step_by(each).map(|one| f64::from(renewed[0].wrapping_sub(*one))).collect();
        let length = self.last.wrapping_sub(self.first);
        Some(Samples { errors, period: each as f64 * f64::from(length) / intervals as f64 })
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    /// A command that stands at 0, 1, 1, … after so many samples; feedback is the number of the sample.
    fn readings(ends: &[i32], from: u32) -> Vec<Reading> {
        let command = |k: i32| ends.iter().filter(|end| **end <= k).count() as i32;
        let tick = |k: i32| from.wrapping_add(10 * k as u32);
        (0..100).map(|k| Reading { tick: tick(k), command: command(k), feedback: k }).collect()
    }

    #[test]
    fn a_stop_stays_until_the_next_one_stands() {
        // The clock wraps in between.
        let from = u32::MAX - 400;
        let all = readings(&[20, 60, 63, 66], from);
        let mut stop = RawStop::default();
        stop.add(&all[..60]);
        let expected = Samples { errors: (0..40).map(|k| f64::from(-k)).collect(), period: 10.0 };
        let at = |k: u32| from.wrapping_add(10 * k);
        assert_eq!(stop.of(at(20)), Some(expected.clone()));
        stop.add(&all[60..]);
        assert_eq!(stop.of(at(20)), Some(expected), "three short stands are none");
        assert_eq!(stop.of(at(66)).map(|found| found.errors.len()), Some(34));
        assert_eq!(stop.of(at(63)), None);
    }

    #[test]
    fn missing_samples_end_it() {
        let mut all = readings(&[20], 0);
        all.drain(70..73);
        let mut stop = RawStop::default();
        stop.add(&all);
        assert_eq!(stop.of(200).map(|found| found.errors.len()), Some(50));
        let mut stop = RawStop::default();
        stop.add(&readings(&[20], 0)[..50]);
        stop.gap();
        stop.add(&readings(&[20], 0)[50..]);
        assert_eq!(stop.of(200).map(|found| found.errors.len()), Some(30));
    }

    /// Errors are those of a stop that swings at 230 Hz, in steps and noise of an encoder, at 4,000 rows a second; a row has
    /// the feedback of the row that `of` gives.
    fn held(of: fn(usize) -> usize) -> RawStop {
        let mut state = 12_345_u64;
        let mut noise = || {
            state = (state * 1_103_515_245 + 12_345) % (1 << 31);
            ((state >> 15) % 2001) as f64 / 1000.0 - 1.0
        };
        let swing = |k: usize| {
            let t = k as f64 / 4000.0;
            300.0 * (-15.0 * t).exp() * (std::f64::consts::TAU * 230.0 * t).cos()
        };
        let all: Vec<i32> = (0..4000).map(|k| (swing(k) + noise()).round() as i32).collect();
        let reading = |k: usize| {
            let (command, feedback) = if k < 40 { (0, 0) } else { (1000, 1000 + all[of(k - 40)]) };
            Reading { tick: 250 * k as u32, command, feedback }
        };
        let readings: Vec<Reading> = (0..4000).map(reading).collect();
        let mut stop = RawStop::default();
        stop.add(&readings);
        stop
    }

    /// Held feedback has images: at 500 renewals a second, 230 Hz looks like 230 and 270 Hz.
    #[test]
    fn a_renewal_has_one_sample() {
        let found = |stop: RawStop| stop.of(10_000).map(|stop| (stop.errors.len(), stop.period));
        assert_eq!(found(held(|k| k)), Some((3960, 250.0)), "a row, a renewal");
        assert_eq!(found(held(|k| k & !7)), Some((495, 2000.0)));
        assert_eq!(
            found(held(|k| ((k + 5) / 8 * 8).saturating_sub(5))),
            Some((495, 2000.0)),
            "from row 3 on"
        );
        assert_eq!(found(held(|k| k - k * 5 % 32 / 5)), None, "6.4 rows each");
    }

    #[test]
    fn images_of_held_feedback_are_no_oscillations() {
        use crate::analysis::two_modes::two_modes;
        let stop = held(|k| k & !7).of(10_000).expect("a stop");
        assert!(two_modes(&stop.errors, 1e-6 * stop.period, 1.0).is_err());
    }
}
