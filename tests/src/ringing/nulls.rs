//! In: chance. Out: stops that do not ring, in fourteen shapes; a frequency stated for one of them is a false claim.

use core::f64::consts::TAU;

use crate::chance::Chance;

/// Samples of a stop.
const SAMPLES: usize = 1024;

/// Shapes without ringing. Damping ratios from 0.6 on are none: less than a hundredth of a swing is ever seen.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Null {
    /// Nothing but noise.
    Noise,
    /// A tail.
    Exponential,
    /// Two tails, the second with any sign.
    TwoExponentials,
    /// The critically damped response: a tail times a straight line.
    Critical,
    /// An oscillation with a damping ratio from 0.6 to 0.95.
    Overdamped,
    /// A delay, then a tail.
    Delayed,
    /// A straight line.
    Ramp,
    /// A parabola that ends level.
    Parabola,
    /// Noise whose neighbours are alike: autocorrelation 0.8, 0.95 or 0.99.
    Correlated,
    /// A random walk.
    RandomWalk,
    /// Sticking and jumping at irregular times.
    Jumps,
    /// A tail of two to eight counts.
    Steps,
    /// Friction that brings a load to rest without a swing.
    Friction,
    /// A tail in noise whose neighbours are alike.
    CorrelatedTail,
}

/// All of them.
pub const ALL: [Null; 14] = [
    Null::Noise,
    Null::Exponential,
    Null::TwoExponentials,
    Null::Critical,
    Null::Overdamped,
    Null::Delayed,
    Null::Ramp,
    Null::Parabola,
    Null::Correlated,
    Null::RandomWalk,
    Null::Jumps,
    Null::Steps,
    Null::Friction,
    Null::CorrelatedTail,
];

/// Noise of which each value is this share of the one before and a new one.
fn correlated(share: f64, chance: &mut Chance) -> Vec<f64> {
    let mut value = 0.0;
    let fresh = (1.0 - share * share).sqrt();
    (0..SAMPLES)
        .map(|_| {
            value = share * value + fresh * chance.normal();
            value
        })
        .collect()
}

/// A number between these, evenly spread over its logarithm.
fn between(low: f64, high: f64, chance: &mut Chance) -> f64 {
    low * (high / low).powf(chance.uniform())
}

impl Null {
    /// Errors of one stop. Unit: counts
    pub fn errors(self, chance: &mut Chance) -> Vec<i32> {
        let size =
            if self == Null::Steps { between(2.0, 8.0, chance) } else { between(30.0, 20_000.0, chance) };
        let noise = if self == Null::Steps { 0.02 } else { size * between(0.003, 0.1, chance) };
        let shape = self.shape(chance);
        let offset = size * (chance.uniform() - 0.5);
        let white = if matches!(self, Null::Correlated | Null::RandomWalk) { 0.01 * noise } else { noise };
        shape.iter().map(|value| (offset + size * value + white * chance.normal()).round() as i32).collect()
    }

    /// The error without noise, about 1 in size.
    fn shape(self, chance: &mut Chance) -> Vec<f64> {
        let time = between(0.01, 0.6, chance);
        let of = |f: &dyn Fn(f64) -> f64| (0..SAMPLES).map(|k| f(k as f64 / SAMPLES as f64)).collect();
        match self {
            Null::Noise => vec![0.0; SAMPLES],
            Null::Exponential | Null::Steps => of(&|t| (-t / time).exp()),
            Null::TwoExponentials => {
                let (other, size) = (time * between(0.1, 0.9, chance), 4.0 * chance.uniform() - 2.0);
                of(&|t| (-t / time).exp() + size * (-t / other).exp())
            }
            Null::Critical => {
                let slope = 8.0 * chance.uniform() - 4.0;
                of(&|t| (1.0 + slope * t / time) * (-t / time).exp())
            }
            Null::Overdamped => {
                let (damping, phase) = (0.6 + 0.35 * chance.uniform(), TAU * chance.uniform());
                let turn = (1.0 - damping * damping).sqrt() / damping;
                of(&|t| (-t / time).exp() * (turn * t / time + phase).cos())
            }
            Null::Delayed => {
                let delay = 0.2 * chance.uniform();
                of(&|t| if t < delay { 1.0 } else { ((delay - t) / time).exp() })
            }
            Null::Ramp => of(&|t| 1.0 - t),
            Null::Parabola => of(&|t| (1.0 - t) * (1.0 - t)),
            Null::Correlated => {
                let share = [0.8, 0.95, 0.99][chance.below(3) as usize];
                correlated(share, chance)
            }
            Null::RandomWalk => walk(chance),
            Null::Jumps => jumps(chance),
            Null::Friction => of(&|t| (1.0 - t / (2.0 * time)).max(0.0).powi(2)),
            Null::CorrelatedTail => tail_in_noise(time, chance),
        }
    }
}

/// A tail of this time constant in noise whose neighbours are alike. Unit: 1/all samples
fn tail_in_noise(time: f64, chance: &mut Chance) -> Vec<f64> {
    let share = [0.8, 0.95, 0.99][chance.below(3) as usize];
    let size = between(0.02, 0.3, chance);
    let tail = (0..SAMPLES).map(|k| (-(k as f64) / SAMPLES as f64 / time).exp());
    tail.zip(correlated(share, chance)).map(|(tail, noise)| tail + size * noise).collect()
}

fn walk(chance: &mut Chance) -> Vec<f64> {
    let mut value = 0.0;
    (0..SAMPLES)
        .map(|_| {
            value += chance.normal() / (SAMPLES as f64).sqrt();
            value
        })
        .collect()
}

/// An axis that sticks and jumps at irregular times towards its target and beyond.
fn jumps(chance: &mut Chance) -> Vec<f64> {
    let mut value = 1.0;
    (0..SAMPLES)
        .map(|_| {
            if chance.uniform() < 0.01 {
                value -= 0.4 * value + 0.2 * chance.normal();
            }
            value
        })
        .collect()
}
