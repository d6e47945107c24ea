//! In: a distribution, an autocorrelation, a seed. Out: settling times of moves, fast enough for months of them.
//!
//! A normal process of first order is looked up in a table of the distribution's quantiles, so every
//! distribution has the same dependence. Tables end 4.2 deviations out; scores end long before.

use std::sync::OnceLock;

use crate::normal::{below, quantile};

/// How settling times scatter while nothing changes. All have a median or mean of 50 ms.
#[derive(Clone, Copy, Debug, PartialEq)]
pub enum Shape {
    /// Normal; the figure is its coefficient of variation.
    Normal(f64),
    /// Lognormal; the figure is the deviation of its logarithm.
    Lognormal(f64),
    /// Gamma (of whole shape: Erlang); the figure is that shape.
    Gamma(u32),
}

/// Typical settling time. Unit: ticks (µs)
pub const TYPICAL: f64 = 50_000.0;

const ROW: f64 = 256.0;
const FURTHEST: f64 = 5.0;

/// A source of settling times.
#[derive(Clone)]
pub struct Scatter {
    /// Normal deviates at 2^16 equal probabilities.
    normal: &'static [f32],
    /// Settling time by normal deviate.
    times: Vec<f32>,
    alike: f32,
    fresh: f32,
    latent: f32,
    chance: u64,
}

impl Shape {
    /// The value below which `part` of the settling times lie, of the normal deviate `z` with the same part.
    fn quantile(self, z: f64, part: f64) -> f64 {
        match self {
            Shape::Normal(deviation) => TYPICAL * (1.0 + deviation * z).max(0.0),
            Shape::Lognormal(deviation) => TYPICAL * (deviation * z).exp(),
            Shape::Gamma(shape) => TYPICAL / f64::from(shape) * erlang(shape, part),
        }
    }
}

/// Normal deviates at 2^16 equal probabilities; worked out once.
fn deviates() -> &'static [f32] {
    static DEVIATES: OnceLock<Vec<f32>> = OnceLock::new();
    DEVIATES.get_or_init(|| {
        let lower = (0..1 << 15).map(|row| quantile((f64::from(row) + 0.5) / f64::from(1 << 16)) as f32);
        let lower: Vec<f32> = lower.collect();
        lower.iter().copied().chain(lower.iter().rev().map(|z| -z)).collect()
    })
}

/// Inverts 1 − e^−x Σ x^i/i! by bisection.
fn erlang(shape: u32, part: f64) -> f64 {
    let below = |x: f64| {
        let (sum, _) = (1..shape).fold((1.0, 1.0), |(sum, term), i| {
            let term = term * x / f64::from(i);
            (sum + term, term)
        });
        1.0 - (-x).exp() * sum
    };
    let (mut low, mut high) = (0.0, 40.0 + 4.0 * f64::from(shape));
    for _ in 0..60 {
        let middle = (low + high) / 2.0;
        if below(middle) < part { low = middle } else { high = middle }
    }
    low
}

impl Scatter {
    /// Autocorrelation of the normal process: 0 to below 1.
    pub fn new(shape: Shape, alike: f64, seed: u64) -> Scatter {
        let deviate = |k: usize| k as f64 / ROW - FURTHEST;
        let points = (2.0 * FURTHEST * ROW) as usize + 1;
        let times = (0..points).map(|k| shape.quantile(deviate(k), below(deviate(k))) as f32);
        let fresh = (1.0 - alike * alike).sqrt() as f32;
        let mut scatter = Scatter {
            normal: deviates(),
            times: times.collect(),
            alike: alike as f32,
            fresh,
            latent: 0.0,
            chance: seed.wrapping_mul(0x9E37_79B9_7F4A_7C15) | 1,
        };
        (0..100).for_each(|_| {
            scatter.time();
        });
        scatter
    }

    /// A standard normal deviate of the process.
    #[inline]
    pub fn deviate(&mut self) -> f32 {
        self.chance ^= self.chance >> 12;
        self.chance ^= self.chance << 25;
        self.chance ^= self.chance >> 27;
        let row = self.chance.wrapping_mul(0x2545_F491_4F6C_DD1D) >> 48;
        self.latent = self.alike * self.latent + self.fresh * self.normal[row as usize];
        self.latent
    }

    /// The next settling time. Unit: ticks
    #[inline]
    pub fn time(&mut self) -> f32 {
        let row = (self.deviate() + FURTHEST as f32) * ROW as f32;
        self.times[(row as usize).min(self.times.len() - 1)]
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    /// Mean, deviation, skewness and lag-1 autocorrelation against closed forms.
    #[track_caller]
    fn check(shape: Shape, alike: f64, expected: [f64; 3]) {
        let mut scatter = Scatter::new(shape, alike, 7);
        let times: Vec<f64> = (0..2_000_000).map(|_| f64::from(scatter.time()) / TYPICAL).collect();
        let count = times.len() as f64;
        let mean = times.iter().sum::<f64>() / count;
        let moment = |power| times.iter().map(|time| (time - mean).powi(power)).sum::<f64>() / count;
        let found = [mean, moment(2).sqrt(), moment(3) / moment(2).powf(1.5)];
        for (found, expected) in found.iter().zip(expected) {
            assert!((found - expected).abs() < 0.01 + 0.02 * expected, "{shape:?}: {found} for {expected}");
        }
    }

    #[test]
    fn the_shapes_are_what_they_are_called() {
        check(Shape::Normal(0.1), 0.0, [1.0, 0.1, 0.0]);
        check(Shape::Normal(0.1), 0.3, [1.0, 0.1, 0.0]);
        check(Shape::Gamma(4), 0.3, [1.0, 0.5, 1.0]);
        // e^(s²/2), and so on.
        check(Shape::Lognormal(0.5), 0.0, [1.1331, 0.6039, 1.75]);
    }
}
