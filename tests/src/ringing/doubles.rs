//! In: chance. Out: stops of two oscillations, and the least standard deviations that any unbiased estimate of them can have.
//!
//! Unknown are the offset, and of each oscillation amplitude, phase, frequency and decay.

use core::f64::consts::TAU;

use crate::chance::Chance;
use crate::linear::solve;
use crate::ringing::stops::RATE;

/// Samples of a stop.
pub const SAMPLES: usize = 1024;
/// Unit: counts
pub const AMPLITUDE: f64 = 20_000.0;
/// Frequency and damping ratio of the first one. Unit: Hz, 1
pub const FIRST: (f64, f64) = (8.0, 0.015);

/// A cell.
#[derive(Clone, Copy, Debug)]
pub struct Double {
    /// Distance of the frequencies, in periods over the record.
    pub apart: f64,
    /// Amplitude of the second one, in that of the first.
    pub size: f64,
    /// Its damping ratio.
    pub damping: f64,
    /// Signal of the first one to noise, at the first sample. Unit: dB
    pub decibels: f64,
}

/// The fourteen cells.
pub fn cells() -> Vec<Double> {
    [
        (0.5, 1.0, 0.01, 40.0),
        (0.5, 0.3, 0.02, 60.0),
        (0.5, 0.5, 0.03, 60.0),
        (1.0, 1.0, 0.03, 30.0),
        (1.0, 0.3, 0.02, 40.0),
        (1.0, 0.1, 0.01, 60.0),
        (1.5, 1.0, 0.02, 30.0),
        (1.5, 0.3, 0.01, 30.0),
        (1.5, 0.1, 0.03, 60.0),
        (2.0, 1.0, 0.03, 40.0),
        (2.0, 0.3, 0.02, 30.0),
        (3.0, 1.0, 0.01, 30.0),
        (3.0, 0.3, 0.03, 40.0),
        (3.0, 0.1, 0.02, 40.0),
    ]
    .map(|(apart, size, damping, decibels)| Double { apart, size, damping, decibels })
    .to_vec()
}

/// One oscillation: amplitude, phase, frequency, decay. Unit: counts, rad, Hz, 1/s
type Swing = [f64; 4];

impl Double {
    /// Frequency of the second one. Unit: Hz
    pub fn second(&self) -> f64 {
        FIRST.0 + self.apart * RATE / SAMPLES as f64
    }

    fn noise(&self) -> f64 {
        AMPLITUDE / 2.0_f64.sqrt() * 10.0_f64.powf(-self.decibels / 20.0)
    }

    /// Errors of a stop, and the bounds of both frequencies. Unit: counts, Hz
    pub fn stop(&self, chance: &mut Chance) -> (Vec<f64>, [f64; 2]) {
        let decay =
            |frequency: f64, damping: f64| TAU * frequency * damping / (1.0 - damping * damping).sqrt();
        let swings = [
            [AMPLITUDE, TAU * chance.uniform(), FIRST.0, decay(FIRST.0, FIRST.1)],
            [
                self.size * AMPLITUDE,
                TAU * chance.uniform(),
                self.second(),
                decay(self.second(), self.damping),
            ],
        ];
        let error = |k: usize| {
            let value: f64 = swings.iter().map(|swing| wave(swing, k as f64 / RATE)).sum();
            (value + self.noise() * chance.normal()).round()
        };
        let errors = (0..SAMPLES).map(error).collect();
        (errors, bounds(&swings, self.noise()))
    }
}

fn wave([amplitude, phase, frequency, decay]: &Swing, t: f64) -> f64 {
    amplitude * (-decay * t).exp() * (TAU * frequency * t + phase).cos()
}

fn bounds(swings: &[Swing; 2], noise: f64) -> [f64; 2] {
    let row = |k: usize| {
        let t = k as f64 / RATE;
        let mut row = vec![1.0];
        for [amplitude, phase, frequency, decay] in swings {
            let (envelope, (sin, cos)) = ((-decay * t).exp(), (TAU * frequency * t + phase).sin_cos());
            let wave = amplitude * envelope;
            row.extend([envelope * cos, -wave * sin, -wave * TAU * t * sin, -wave * t * cos]);
        }
        row
    };
    let rows: Vec<Vec<f64>> = (0..SAMPLES).map(row).collect();
    let product = |a: usize, b: usize| rows.iter().map(|row| row[a] * row[b]).sum::<f64>();
    let scale: Vec<f64> = (0..9).map(|k| product(k, k).sqrt()).collect();
    let matrix: Vec<Vec<f64>> =
        (0..9).map(|a| (0..9).map(|b| product(a, b) / scale[a] / scale[b]).collect()).collect();
    [3, 7].map(|index| {
        let unit: Vec<f64> = (0..9).map(|k| if k == index { 1.0 / scale[k] } else { 0.0 }).collect();
        noise * (solve(&matrix, &unit)[index] / scale[index]).sqrt()
    })
}
