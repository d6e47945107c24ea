//! In: chance. Out: stops of a single oscillation, in nine shapes; two oscillations stated for one of them are a false claim.

use core::f64::consts::TAU;

use crate::chance::Chance;
use crate::ringing::stops::{RATE, Stop};

/// Samples of a stop.
const SAMPLES: usize = 1024;

/// Shapes of a single oscillation.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Single {
    /// An offset and noise beside it.
    Plain,
    /// A tail beside it.
    Tailed,
    /// Two tails beside it.
    TwoTails,
    /// Noise far below a step of the encoder.
    Steps,
    /// Noise whose neighbours are alike.
    Correlated,
    /// It comes in along a straight line before it decays.
    Late,
    /// Its amplitude falls by a straight line as well, as with friction.
    Straight,
    /// Its frequency changes with the amplitude, by up to a tenth.
    Bent,
    /// It does not decay: a square wave, a triangle or a saw tooth.
    Sustained,
}

/// All of them.
pub const ALL: [Single; 9] = [
    Single::Plain,
    Single::Tailed,
    Single::TwoTails,
    Single::Steps,
    Single::Correlated,
    Single::Late,
    Single::Straight,
    Single::Bent,
    Single::Sustained,
];

/// A number between these, evenly spread over its logarithm.
fn between(low: f64, high: f64, chance: &mut Chance) -> f64 {
    low * (high / low).powf(chance.uniform())
}

impl Single {
    /// Errors of one stop. Unit: counts
    pub fn errors(self, chance: &mut Chance) -> Vec<f64> {
        let stop = self.stop(chance);
        let shape = self.shape(&stop, chance);
        let alike = if self == Single::Correlated { 0.98 * chance.uniform() } else { 0.0 };
        let mut noise = 0.0;
        let mut read = |(k, value): (usize, f64)| {
            noise = alike * noise + (1.0 - alike * alike).sqrt() * chance.normal();
            (stop.error(k as f64 / RATE) + value + stop.noise * noise).round()
        };
        shape.into_iter().enumerate().map(&mut read).collect()
    }

    fn stop(self, chance: &mut Chance) -> Stop {
        let amplitude = between(20.0, 20_000.0, chance);
        let has_tail = matches!(self, Single::Tailed | Single::TwoTails);
        let decibels = between(20.0, 60.0, chance);
        let noise = amplitude / 2.0_f64.sqrt() * 10.0_f64.powf(-decibels / 20.0);
        Stop {
            frequency: between(3.0, 200.0, chance),
            damping: between(0.003, 0.2, chance),
            amplitude,
            phase: TAU * chance.uniform(),
            offset: amplitude * (chance.uniform() - 0.5),
            tail: if has_tail { amplitude * (4.0 * chance.uniform() - 2.0) } else { 0.0 },
            tail_time: between(0.02, 0.7, chance),
            noise: if self == Single::Steps { 0.02 } else { noise },
            samples: SAMPLES,
        }
    }

    /// What the shape adds to the stop.
    fn shape(self, stop: &Stop, chance: &mut Chance) -> Vec<f64> {
        let (size, rate) = (2.0 * chance.uniform() - 1.0, between(2.0, 15.0, chance));
        let swing = |t: f64, envelope: f64, turn: f64| {
            stop.amplitude * envelope * (TAU * stop.frequency * t + stop.phase + turn).cos()
        };
        let fall = |t: f64| (-stop.decay() * t).exp();
        let of = |f: &dyn Fn(f64) -> f64| (0..SAMPLES).map(|k| f(k as f64 / RATE)).collect();
        match self {
            Single::TwoTails => of(&|t| 2.0 * size * stop.amplitude * (-rate * t).exp()),
            Single::Late => of(&|t| swing(t, fall(t) * ((rate * rate * t / 2.0).min(1.0) - 1.0), 0.0)),
            Single::Straight => {
                let least = |t: f64| (fall(t) - size.abs() * t * stop.frequency / rate).max(0.0);
                of(&|t| swing(t, least(t) - fall(t), 0.0))
            }
            // The integral of a frequency that is higher by a share of the envelope.
            Single::Bent => of(&|t| {
                let turn = 0.1 * size * TAU * stop.frequency * (1.0 - fall(t)) / stop.decay();
                swing(t, fall(t), turn) - swing(t, fall(t), 0.0)
            }),
            Single::Sustained => of(&|t| {
                let wave = waveform(0.3 * stop.frequency * t + stop.phase, (3.0 * size.abs()) as u32);
                stop.amplitude * wave - swing(t, fall(t), 0.0)
            }),
            _ => vec![0.0; SAMPLES],
        }
    }
}

/// A square wave, a triangle, or a saw tooth.
fn waveform(periods: f64, sort: u32) -> f64 {
    let place = periods.fract();
    match sort {
        0 if place < 0.5 => 1.0,
        0 => -1.0,
        1 => 1.0 - 4.0 * (place - 0.5).abs(),
        _ => 2.0 * place - 1.0,
    }
}
