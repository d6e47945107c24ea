//! In: errors since the last passage of the window's edge. Out: their mean, spread and reading noise.
//!
//! Integer sums are exact: a one-pass variance in f32 fails with 24-bit encoders (NIST StRD NumAcc4
//! shows how).

use crate::settings::Settings;

/// Exact sums over the rest.
#[derive(Clone, Debug, Default)]
pub struct Rest {
    count: u32,
    sum: i64,
    squares: u64,
    /// Squares of second differences: they see noise, but not a decay.
    bends: u64,
    change: i32,
}

impl Rest {
    /// Begins anew with this error.
    #[inline]
    pub fn restart(&mut self, error: i32) {
        *self = Rest { count: 1, sum: i64::from(error), squares: square(error), ..Rest::default() };
    }

    /// Adds one error inside the window, and what feedback changed by.
    #[inline]
    pub fn step(&mut self, settings: &Settings, error: i32, change: i32) {
        if self.count >= settings.rest_samples() {
            return;
        }
        if self.count <= 1 {
            // The first change began before the rest; no bend of the rest has a part of it.
            self.change = change;
        }
        self.add(error, change);
        self.count += 1;
    }

    /// Adds many errors, that begin with one already added.
    #[inline]
    pub fn step_all(&mut self, errors: &[i32]) {
        let change = |pair: &[i32]| pair[0].wrapping_sub(pair[1]);
        let Some(first) = errors.first_chunk::<2>() else { return };
        self.bend(change(first).wrapping_sub(self.change));
        for ((older, old), new) in errors.iter().zip(&errors[1..]).zip(errors.iter().skip(2)) {
            self.bend(old.wrapping_mul(2).wrapping_sub(*older).wrapping_sub(*new));
        }
        for error in &errors[1..] {
            self.sum += i64::from(*error);
            self.squares += square(*error);
        }
        self.change = errors.last_chunk::<2>().map_or(self.change, |last| change(last));
        self.count += (errors.len() - 1) as u32;
    }

    #[inline]
    fn bend(&mut self, bend: i32) {
        self.bends += square(bend);
    }

    /// How many more errors can be added at once; `None` if there is no end to them, none being summed.
    #[inline]
    pub fn room(&self, settings: &Settings) -> Option<u32> {
        let room = settings.rest_samples().saturating_sub(self.count);
        // The second error is added by itself: the change before it began before the rest.
        (room > 0).then_some(if self.count > 1 { room } else { 0 })
    }

    #[inline]
    fn add(&mut self, error: i32, change: i32) {
        self.bend(change.wrapping_sub(self.change));
        self.change = change;
        self.sum += i64::from(error);
        self.squares += square(error);
    }

    /// How many errors were added.
    pub fn count(&self) -> u32 {
        self.count
    }

    /// Unit: 1/256 counts
    pub fn mean(&self) -> i64 {
        let count = i64::from(self.count.max(1));
        (i128::from(self.sum) * 256 + i128::from(count) / 2).div_euclid(i128::from(count)) as i64
    }

    /// Root mean square about the mean. Unit: 1/256 counts
    pub fn rms(&self) -> u32 {
        let count = u128::from(self.count.max(1));
        let sum = u128::from(self.sum.unsigned_abs());
        let spread = (count * u128::from(self.squares)).saturating_sub(sum * sum);
        u64::try_from((spread << 16) / (count * count)).unwrap_or(u64::MAX).isqrt() as u32
    }

    /// Variance of one reading, from second differences, a sixth of their mean square.
    /// Unit: 1/256 counts²
    ///
    /// Source: Gasser, Sroka and Jennen-Steinmetz, Biometrika 73 (1986); from memory.
    pub fn noise(&self) -> u64 {
        let triples = u128::from(self.count.max(3) - 2);
        u64::try_from(u128::from(self.bends) * 256 / (6 * triples)).unwrap_or(u64::MAX)
    }
}

#[inline]
fn square(value: i32) -> u64 {
    let size = u64::from(value.unsigned_abs());
    size * size
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::settings::Parameters;

    fn settings(window: u32) -> Settings {
        Settings::new(Parameters { window, ..Parameters::default() }).unwrap()
    }

    #[track_caller]
    fn check(errors: &[i32], mean: f64, rms: f64, noise: f64) {
        let mut rest = Rest::default();
        rest.restart(errors[0]);
        let settings = settings(1 << 22);
        errors.windows(2).for_each(|pair| rest.step(&settings, pair[1], pair[1] - pair[0]));
        assert!((rest.mean() as f64 / 256.0 - mean).abs() <= 1.0 / 256.0, "mean {}", rest.mean());
        assert!((f64::from(rest.rms()) / 256.0 - rms).abs() <= 1.0 / 256.0, "rms {}", rest.rms());
        assert!((rest.noise() as f64 / 256.0 - noise).abs() <= 1.0 / 256.0, "noise {}", rest.noise());
    }

    #[test]
    fn sums_are_exact_far_from_zero() {
        check(&[7], 7.0, 0.0, 0.0);
        check(&[-3, -1], -2.0, 1.0, 0.0);
        check(&[3, 6, 9, 12], 7.5, (45.0_f64 / 4.0).sqrt(), 0.0);
        // NIST StRD NumAcc3 has this shape: 1000000.2 then 1000000.1 and 1000000.3 in turn, times ten.
        let mut numbers = std::vec![10_000_002];
        (0..500).for_each(|_| numbers.extend([10_000_001, 10_000_003]));
        check(&numbers, 10_000_002.0, (1000.0_f64 / 1001.0).sqrt(), (9.0 + 998.0 * 16.0) / 6.0 / 999.0);
    }

    #[test]
    fn a_flood_of_wild_errors_stays_in_bounds() {
        let mut rest = Rest::default();
        for (window, count) in [(1 << 20, 1 << 16), (1 << 26, 255), (1 << 30, 1), (i32::MAX as u32, 1)] {
            let edge = window as i32;
            rest.restart(-edge);
            let wild = |k: i32| if k % 2 == 0 { edge } else { -edge };
            (0..200_000).for_each(|k| rest.step(&settings(window), wild(k), wild(k).wrapping_mul(2)));
            assert_eq!(rest.count(), count);
            assert_eq!((rest.rms() > 0, rest.noise() > 0), (count > 1, count > 1));
        }
    }
}
