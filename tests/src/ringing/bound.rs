//! In: a stop and how it was captured. Out: the least standard deviations that any unbiased estimate can have (Cramér–Rao).
//!
//! Unknown are offset, amplitude, phase, frequency and decay, and size and time constant of a tail if there is one; the
//! noise of a point is normal. `03_crb_damped_sinusoid.csv` checks it without the offset.

use core::f64::consts::TAU;

use crate::linear::solve;
use crate::ringing::stops::{RATE, Stop};

/// Least standard deviations, and the amplitude that the points see. Unit: Hz, 1, counts
#[derive(Clone, Copy, Debug)]
pub struct Bound {
    /// Least standard deviation of the frequency. Unit: Hz
    pub frequency: f64,
    /// Least standard deviation of the damping ratio.
    pub damping: f64,
    /// Amplitude at the first point. Unit: counts
    pub amplitude: f64,
}

/// Σ e^(−xt) over the samples of a point, divided by their number: size and phase.
fn mean(decay: f64, omega: f64, samples: usize) -> (f64, f64) {
    let sum = (0..samples).fold((0.0, 0.0), |(re, im), k| {
        let t = k as f64 / RATE;
        let size = (-decay * t).exp() / samples as f64;
        (re + size * (omega * t).cos(), im + size * (omega * t).sin())
    });
    (sum.0.hypot(sum.1), sum.1.atan2(sum.0))
}

impl Bound {
    /// For points that are means of this many samples; `deviation` is that of a point's noise. Unit: counts
    pub fn new(stop: &Stop, points: usize, samples: usize, deviation: f64, offset: bool) -> Bound {
        let (omega, decay) = (TAU * stop.frequency, stop.decay());
        let (size, turn) = mean(decay, omega, samples);
        let (amplitude, phase) = (stop.amplitude * size, stop.phase + turn);
        let rows: Vec<Vec<f64>> = (0..points)
            .map(|k| {
                let t = (k * samples) as f64 / RATE;
                let (sin, cos) = (omega * t + phase).sin_cos();
                let envelope = (-decay * t).exp();
                let mut row = vec![
                    envelope * cos,
                    -envelope * sin,
                    -amplitude * envelope * t * sin * omega,
                    -amplitude * envelope * t * cos * omega,
                ];
                if offset {
                    row.push(1.0);
                }
                if stop.tail != 0.0 {
                    let fall = (-t / stop.tail_time).exp();
                    row.extend([fall, stop.tail * t * fall / stop.tail_time]);
                }
                row
            })
            .collect();
        // Relative frequency, and α in units of ω: damping = ratio / √(1 + ratio²).
        let covariance = |index: usize| Self::column(&rows, index);
        let (of_frequency, of_decay) = (covariance(2), covariance(3));
        let ratio = decay / omega;
        let u_ratio =
            (of_decay[3] - 2.0 * ratio * of_frequency[3] + ratio * ratio * of_frequency[2]).max(0.0).sqrt();
        Bound {
            frequency: deviation * of_frequency[2].sqrt() * stop.frequency,
            damping: deviation * u_ratio / (1.0 + ratio * ratio).powf(1.5),
            amplitude,
        }
    }

    /// A column of the inverse of the information, for noise of 1.
    fn column(rows: &[Vec<f64>], index: usize) -> Vec<f64> {
        let count = rows[0].len();
        let product = |a: usize, b: usize| rows.iter().map(|row| row[a] * row[b]).sum::<f64>();
        let scale: Vec<f64> = (0..count).map(|k| product(k, k).sqrt()).collect();
        let matrix: Vec<Vec<f64>> =
            (0..count).map(|a| (0..count).map(|b| product(a, b) / scale[a] / scale[b]).collect()).collect();
        let unit: Vec<f64> = (0..count).map(|k| if k == index { 1.0 / scale[k] } else { 0.0 }).collect();
        solve(&matrix, &unit).iter().zip(&scale).map(|(x, scale)| x / scale).collect()
    }
}
