//! In: changes of the error after the command end. Out: the noise of one reading, also where feedback never rests.
//!
//! As in the rest: a sixth of the mean square of second differences, here of every fourth sample.

use crate::settling::rest::square;

/// Larger second differences count as this, so that sums fit 64 bits. Unit: counts
const LARGEST: i32 = 1 << 20;

/// Sum of second differences.
#[derive(Clone, Copy, Debug, Default)]
pub(crate) struct Noise {
    /// Change in the sample before. Unit: counts
    change: i32,
    samples: u32,
    /// Unit: counts²
    bends: u64,
}

impl Noise {
    /// Starts at a command end.
    pub(crate) fn restart(&mut self) {
        *self = Noise::default();
    }

    /// Adds the change of one sample. Unit: counts
    pub(crate) fn step(&mut self, change: i32) {
        self.samples = self.samples.wrapping_add(1);
        if self.samples & 3 == 0 {
            self.add_bend(change.wrapping_sub(self.change));
        }
        self.change = change;
    }

    /// Adds the changes between many errors. Unit: counts
    pub(crate) fn add(&mut self, errors: &[i32]) {
        let [first, second, ..] = errors else { return };
        self.step(first.wrapping_sub(*second));
        let next = (3 - (self.samples & 3)) as usize;
        for three in errors.windows(3).skip(next).step_by(4) {
            let (earlier, later) = (three[0].wrapping_sub(three[1]), three[1].wrapping_sub(three[2]));
            self.add_bend(later.wrapping_sub(earlier));
        }
        if let [.., before, last] = errors {
            self.change = before.wrapping_sub(*last);
        }
        self.samples = self.samples.wrapping_add((errors.len() - 2) as u32);
    }

    fn add_bend(&mut self, bend: i32) {
        self.bends = self.bends.saturating_add(square(bend.clamp(-LARGEST, LARGEST)));
    }

    /// Variance of one reading. Unit: 1/256 counts²
    pub(crate) fn variance(&self) -> u64 {
        let count = u64::from(self.samples / 4).max(1);
        (self.bends / 6).saturating_mul(256) / count
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use std::vec::Vec;

    #[test]
    fn the_variance_is_that_of_every_fourth_second_difference() {
        let mut state = 1_u32;
        let error = |k: u32| {
            state = state.wrapping_mul(1_664_525).wrapping_add(1_013_904_223);
            (state >> 24) as i32 + (k / 7) as i32
        };
        let errors: Vec<i32> = (0..4001).map(error).collect();
        let change = |k: usize| errors[k - 1] - errors[k];
        let (mut noise, mut many) = (Noise::default(), Noise::default());
        (1..errors.len()).for_each(|k| noise.step(change(k)));
        let bends = (4..errors.len()).step_by(4).map(|k| f64::from(change(k) - change(k - 1)).powi(2));
        let expected = bends.sum::<f64>() / 6.0 / 1000.0 * 256.0;
        assert!((noise.variance() as f64 - expected).abs() <= 1.0, "{} {expected}", noise.variance());
        // Readings that are uniform over 256 counts.
        assert!((expected / 256.0 / (65_536.0 / 12.0) - 1.0).abs() < 0.1, "{expected}");
        let mut from = 0;
        for length in [1, 2, 3, 5, 256, 4, 1000, 2729] {
            many.add(&errors[from..=from + length]);
            from += length;
        }
        assert_eq!((many.bends, many.samples, many.change), (noise.bends, noise.samples, noise.change));
    }

    #[test]
    fn the_largest_bends_are_clipped() {
        let mut noise = Noise::default();
        (0..100_000).for_each(|k| noise.step(if k % 2 == 0 { 1 << 25 } else { 0 }));
        assert!(noise.variance().abs_diff((1 << 48) / 6) <= 256, "{}", noise.variance());
    }
}
