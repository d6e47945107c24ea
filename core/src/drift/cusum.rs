//! In: deviations of subgroups from the baseline. Out: the sum of their excess over an allowance, and its start.
//!
//! Source: E. S. Page, "Continuous inspection schemes", Biometrika 41, 1954, 100–115; in this tabular form
//! NIST/SEMATECH e-Handbook 6.3.2.3.

/// Largest sum, so that it is back at zero soon after a repair. Unit: limits
const HIGHEST: f32 = 2.0;

/// The sum of one direction.
#[derive(Clone, Copy, Debug, Default, PartialEq)]
pub struct Cusum {
    sum: f32,
    /// Total of the deviations since the sum left 0, and their number.
    deviations: f32,
    steps: f32,
    since: u32,
}

impl Cusum {
    /// Adds the deviation of a subgroup that ends with the given move.
    pub fn step(&mut self, deviation: f32, allowance: f32, limit: f32, number: u32) {
        let sum = self.sum + deviation - allowance;
        if sum <= 0.0 {
            *self = Cusum { since: number, ..Cusum::default() };
            return;
        }
        self.sum = sum.min(HIGHEST * limit);
        self.deviations += deviation;
        self.steps += 1.0;
    }

    /// The sum, from 0. Unit: that of the deviations
    pub fn sum(&self) -> f32 {
        self.sum
    }

    /// Mean deviation since the sum left 0. Unit: that of the deviations
    pub fn deviation(&self) -> f32 {
        self.deviations / self.steps.max(1.0)
    }

    /// Number of the last move before the sum left 0.
    pub fn since(&self) -> u32 {
        self.since
    }
}
