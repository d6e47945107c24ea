//! In: chance. Out: stops that ring against dry friction, and the frequency of their swings.
//!
//! A load on a belt, with the friction of Canudas de Wit, Olsson, Åström and Lischinsky 1995 (LuGre; from memory): its
//! swings shrink by about the same amount each, and the last one ends where it sticks.

use core::f64::consts::TAU;

use crate::chance::Chance;
use crate::ringing::stops::RATE;

/// Steps of the integration in a sample.
const STEPS: usize = 20;
const SAMPLES: usize = 1024;

/// A load of mass 1 on a spring, and its friction. Unit: counts, s
#[derive(Clone, Copy, Debug)]
struct Load {
    omega: f64,
    viscous: f64,
    /// Coulomb's friction, and the velocity below which it rises towards that of standstill.
    dry: f64,
    slow: f64,
    /// Stiffness of the bristles.
    bristles: f64,
    position: f64,
    velocity: f64,
    bent: f64,
}

impl Load {
    fn advance(&mut self, dt: f64) {
        let level = self.dry * (1.0 + 0.3 * (-(self.velocity / self.slow).powi(2)).exp());
        let bending = self.velocity - self.bristles * self.velocity.abs() / level * self.bent;
        let friction = self.bristles * self.bent + self.bristles.sqrt() * bending;
        let force = -self.omega * self.omega * self.position - self.viscous * self.velocity - friction;
        self.bent += bending * dt;
        self.velocity += force * dt;
        self.position += self.velocity * dt;
    }
}

/// A stop against friction.
#[derive(Clone, Debug)]
pub struct Rubbing {
    /// Unit: counts
    pub errors: Vec<i32>,
    /// Mean frequency of the swings without noise, while they are larger than a sixteenth of the first. Unit: Hz
    pub frequency: f64,
    /// Turning points of these swings.
    pub turns: usize,
}

impl Rubbing {
    /// A stop with 3 to 17 swings until it sticks.
    pub fn draw(chance: &mut Chance) -> Rubbing {
        let between = |low: f64, high: f64, chance: &mut Chance| low * (high / low).powf(chance.uniform());
        let amplitude = between(20.0, 2000.0, chance);
        let omega = TAU * between(4.0, 80.0, chance);
        let dry = amplitude * omega * omega * between(0.03, 0.15, chance);
        let mut load = Load {
            omega,
            viscous: 2.0 * omega * between(0.002, 0.03, chance),
            dry,
            slow: 0.02 * amplitude * omega,
            bristles: dry / (0.01 * amplitude),
            position: amplitude * (1.0 - 2.0 * chance.uniform()),
            velocity: amplitude * omega * (1.0 - 2.0 * chance.uniform()),
            bent: 0.0,
        };
        let path: Vec<f64> = (0..SAMPLES * STEPS)
            .map(|_| {
                load.advance(1.0 / RATE / STEPS as f64);
                load.position
            })
            .collect();
        let (noise, offset) = (between(0.1, 0.01 * amplitude + 0.11, chance), 40.0 * chance.uniform());
        let read = |x: &f64| (x + offset + noise * chance.normal()).round() as i32;
        let errors = path.iter().step_by(STEPS).map(read).collect();
        let (frequency, turns) = swings(&path, amplitude / 16.0);
        Rubbing { errors, frequency, turns }
    }
}

/// Frequency and number of the turning points that lie at least this far apart.
fn swings(path: &[f64], apart: f64) -> (f64, usize) {
    let mut turns: Vec<(usize, f64)> = vec![];
    for k in 1..path.len() - 1 {
        let turning = (path[k] - path[k - 1]) * (path[k + 1] - path[k]) < 0.0;
        if turning && turns.last().is_none_or(|(_, last)| (path[k] - last).abs() >= apart) {
            turns.push((k, path[k]));
        }
    }
    let (Some(first), Some(last)) = (turns.first(), turns.last()) else { return (0.0, 0) };
    let seconds = (last.0 - first.0) as f64 / RATE / STEPS as f64;
    ((turns.len() - 1) as f64 / 2.0 / seconds, turns.len())
}
