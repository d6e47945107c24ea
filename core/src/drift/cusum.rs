//! In: deviations of subgroups from the baseline. Out: the sum of their excess over an allowance, and its start.
//!
//! Source: E. S. Page, "Continuous inspection schemes", Biometrika 41, 1954, 100–115; in this tabular form
//! NIST/SEMATECH e-Handbook 6.3.2.3.

use crate::drift::SUBGROUP;

/// A sum up to this part of the limit is small: the change may as well have begun later, by 95 % (1.92 of the logarithm of
/// the likelihood ratio, of some 12 at the limit). Source: D. V. Hinkley, Biometrika 57, 1970, 1–17.
const SMALL: f32 = 1.0 / 6.0;

/// The sum of one direction.
#[derive(Clone, Copy, Debug, Default, PartialEq)]
pub struct Cusum {
    sum: f32,
    /// Total of the deviations since the sum left 0.
    deviations: f32,
    since: u32,
    /// Last move at which the sum was small.
    small: u32,
}

impl From<u32> for Cusum {
    /// Zero since this move.
    fn from(number: u32) -> Cusum {
        Cusum { since: number, small: number, ..Cusum::default() }
    }
}

impl Cusum {
    /// Adds the deviation of a subgroup that ends with the given move.
    pub fn step(&mut self, deviation: f32, allowance: f32, limit: f32, number: u32) {
        let sum = self.sum + deviation - allowance;
        if sum <= 0.0 {
            *self = Cusum::from(number);
            return;
        }
        self.sum = sum;
        if sum <= SMALL * limit {
            self.small = number;
        }
        self.deviations += deviation;
    }

    /// The sum, from 0. Unit: that of the deviations
    pub fn sum(&self) -> f32 {
        self.sum
    }

    /// Mean deviation since the sum left 0, at one allowance all the time. Unit: that of the deviations
    pub fn deviation(&self, allowance: f32) -> f32 {
        // The sum is the total of the deviations less the allowances.
        let steps = (self.deviations - self.sum) / allowance;
        if self.sum > 0.0 { self.deviations / steps.max(1.0) } else { 0.0 }
    }

    /// Number of the last move before the sum left 0.
    pub fn since(&self) -> u32 {
        self.since
    }

    /// First and last move that may have been the one before the change. While nothing changes, the sum falls by about the
    /// allowance with every subgroup.
    pub fn since_within(&self, allowance: f32, limit: f32) -> (u32, u32) {
        let subgroups = (SMALL * limit / allowance) as u32 + 1;
        (self.since.saturating_sub(subgroups.saturating_mul(SUBGROUP)), self.small)
    }
}
