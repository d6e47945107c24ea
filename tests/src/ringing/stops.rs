//! In: an oscillation, a tail, noise. Out: the errors of a stop as counts, and the answer of the core.

use core::f64::consts::TAU;

use stillpoint_core::ringing::{Answer, Capture, Fit};

use crate::chance::Chance;

/// Samples per second of all stops here, and ticks. Unit: Hz
pub const RATE: f64 = 1000.0;
/// Unit: ticks/s
pub const TICKS: u32 = 1_000_000;

/// A stop: e^(−αt) cos(2πft + φ), a tail, an offset, and noise. Unit: Hz, rad, counts, s
#[derive(Clone, Copy, Debug, Default)]
pub struct Stop {
    /// Frequency of the oscillation. Unit: Hz
    pub frequency: f64,
    /// Damping ratio.
    pub damping: f64,
    /// Amplitude of the oscillation at the command end. Unit: counts
    pub amplitude: f64,
    /// Phase at the command end. Unit: rad
    pub phase: f64,
    /// Error that stays. Unit: counts
    pub offset: f64,
    /// Size of the tail at the command end. Unit: counts
    pub tail: f64,
    /// Time constant of the tail. Unit: s
    pub tail_time: f64,
    /// Standard deviation of a reading. Unit: counts
    pub noise: f64,
    /// Number of samples.
    pub samples: usize,
}

impl Stop {
    /// Decay of the amplitude. Unit: 1/s
    pub fn decay(&self) -> f64 {
        TAU * self.frequency * self.damping / (1.0 - self.damping * self.damping).sqrt()
    }

    /// The error without noise. Unit: s, counts
    pub fn error(&self, t: f64) -> f64 {
        let ringing =
            self.amplitude * (-self.decay() * t).exp() * (TAU * self.frequency * t + self.phase).cos();
        let tail = if self.tail == 0.0 { 0.0 } else { self.tail * (-t / self.tail_time).exp() };
        self.offset + ringing + tail
    }

    /// As it is sampled. Unit: counts
    pub fn errors(&self, chance: &mut Chance) -> Vec<i32> {
        (0..self.samples)
            .map(|k| (self.error(k as f64 / RATE) + self.noise * chance.normal()).round() as i32)
            .collect()
    }
}

/// A capture of these errors. Unit: counts
pub fn capture(errors: &[i32]) -> Capture {
    let mut capture = Capture::new(1);
    let period = TICKS / RATE as u32;
    for (k, error) in errors.iter().enumerate() {
        capture.step(k as u32 * period, *error);
    }
    capture
}

/// The answer, and in how many slices it was found.
pub fn fitted(capture: &Capture) -> (Answer, u32) {
    let mut fit = Fit::default();
    fit.start(capture, TICKS);
    let mut slices = 1;
    loop {
        if let Some(answer) = fit.step() {
            return (answer, slices);
        }
        slices += 1;
        assert!(slices < 1_000_000, "the fit does not end");
    }
}
