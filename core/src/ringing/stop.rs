//! In: the error of one axis at every sample. Out: the capture of its last stop.
//!
//! A capture begins at the last change of the command. A command that starts slowly stands for single samples: only if it
//! stands for [`EARLY`] of them, the stop before is overwritten, and until then it stays for whoever has not read it.

use heapless::Vec;

use crate::ringing::capture::Capture;

/// Samples after which a standing command is a stop; a fit needs as many.
const EARLY: usize = 15;

/// The capture of one axis.
#[derive(Clone, Debug)]
pub struct StopCapture {
    capture: Capture,
    /// Of the captures to come. Unit: counts
    encoder_step: u32,
    /// Time stamp of the first sample. Unit: ticks
    origin: Option<u32>,
    /// Time stamps and errors from the last change of the command on, until they are captured. Unit: ticks, counts
    early: Vec<(u32, i32), { EARLY + 1 }>,
    /// The captured stop goes on.
    stands: bool,
}

impl StopCapture {
    /// For errors whose smallest change is this; give it every sample of an [`crate::Axis`]. Unit: counts
    pub const fn new(encoder_step: u32) -> StopCapture {
        StopCapture {
            capture: Capture::new(encoder_step),
            encoder_step,
            origin: None,
            early: Vec::new(),
            stands: false,
        }
    }

    /// The axis begins anew; the capture stays until the next stop. Unit: counts
    pub fn restart(&mut self, encoder_step: u32) {
        self.set(encoder_step);
        self.origin = None;
    }

    /// The settings of the axis change, with which its stop ends. Unit: counts
    pub fn set(&mut self, encoder_step: u32) {
        (self.encoder_step, self.stands) = (encoder_step, false);
        self.early.clear();
    }

    /// Adds a sample, with which the command has changed or not; returns whether another stop is captured from now on.
    /// Unit: ticks, counts
    pub fn step(&mut self, moving: bool, tick: u32, error: i32) -> bool {
        self.origin.get_or_insert(tick);
        if moving {
            self.stands = false;
            self.early.clear();
            return self.early.push((tick, error)).is_err();
        }
        if self.stands {
            self.capture.step(tick, error);
            return false;
        }
        // Without a change of the command there is no stop.
        if self.early.is_empty() || self.early.push((tick, error)).is_ok() && !self.early.is_full() {
            return false;
        }
        self.capture = Capture::new(self.encoder_step);
        self.early.iter().for_each(|(tick, error)| self.capture.step(*tick, *error));
        self.early.clear();
        self.stands = true;
        true
    }

    /// The stop of the move with this command end, if it is the captured one. Unit: ticks since the first sample
    pub fn of(&self, command_end: u64) -> Option<&Capture> {
        let expected = self.origin?.wrapping_add(command_end as u32);
        Some(&self.capture).filter(|capture| !capture.is_empty() && capture.first() == expected)
    }

    /// What is captured, whole or not.
    pub fn captured(&self) -> &Capture {
        &self.capture
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use std::vec::Vec;

    #[test]
    fn a_stop_is_captured_from_its_command_end_to_the_next_change() {
        let mut stop = StopCapture::new(1);
        let moving = |k: u32| (10..20).contains(&k) || (60..70).contains(&k);
        let error = |k: u32| 1000 - k as i32;
        let tick = |k: u32| (u32::MAX - 150).wrapping_add(10 * k);
        let add = |stop: &mut StopCapture, from: u32, to: u32| {
            (from..to).filter(|k| stop.step(moving(*k), tick(*k), error(*k))).collect::<Vec<_>>()
        };
        assert_eq!(add(&mut stop, 0, 65), [34]);
        let capture = stop.of(190).expect("the command ended at sample 19");
        assert_eq!(capture.points(), (19..60).map(error).collect::<Vec<_>>());
        assert!(stop.of(200).is_none() && stop.of(180).is_none());
        assert_eq!(add(&mut stop, 65, 84), [], "until then it is as it was");
        assert!(stop.of(190).is_some());
        assert_eq!(add(&mut stop, 84, 86), [84]);
        assert!(stop.of(190).is_none() && stop.of(690).is_some());
        stop.set(2);
        assert_eq!(add(&mut stop, 86, 120), []);
        assert_eq!(stop.captured().points().len(), 17, "settings end a stop");
        stop.restart(2);
        assert!(stop.of(690).is_none() && !stop.captured().is_empty());
    }
}
