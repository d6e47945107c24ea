//! In: deviations from the baseline. Out: their sum beyond an allowance, and since when.
//!
//! Source: E. S. Page, "Continuous inspection schemes", Biometrika 41, 1954, 100–115; in this tabular form
//! NIST/SEMATECH e-Handbook 6.3.2.3.

/// Sums grow no further than twice the limit: after a repair they are back soon.
const HIGHEST: f32 = 2.0;

/// One side.
#[derive(Clone, Copy, Debug, Default, PartialEq)]
pub struct Cusum {
    sum: f32,
    deviations: f32,
    steps: f32,
    since: u32,
}

impl Cusum {
    /// Adds the deviation of a subgroup that ends with the given move.
    #[inline]
    pub fn step(&mut self, deviation: f32, allowance: f32, limit: f32, moved: u32) {
        let sum = self.sum + deviation - allowance;
        if sum <= 0.0 {
            *self = Cusum { since: moved, ..Cusum::default() };
            return;
        }
        self.sum = sum.min(HIGHEST * limit);
        self.deviations += deviation;
        self.steps += 1.0;
    }

    /// Never below 0. Unit: that of the deviations
    pub fn sum(&self) -> f32 {
        self.sum
    }

    /// Mean deviation since the sum left 0. Unit: that of the deviations
    pub fn deviation(&self) -> f32 {
        self.deviations / self.steps.max(1.0)
    }

    /// Last move before the sum left 0.
    pub fn since(&self) -> u32 {
        self.since
    }
}
