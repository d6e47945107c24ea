//! In: errors since the last entry into the window. Out: rest error (mean), rest noise (rms about it) and the noise of
//! one reading.
//!
//! Integer sums are exact. A one-pass variance in f32 fails with 24-bit encoders, as NIST StRD NumAcc4 shows.

use crate::settings::Settings;
use crate::settling::crossing::quotient;

/// Exact sums over the rest.
#[derive(Clone, Debug, Default)]
pub(crate) struct Rest {
    count: u32,
    sum: i64,
    squares: u64,
    /// Sum of squares of second differences, which contain noise but not a decay. Unit: counts²
    bends: u64,
    /// Change of feedback in the last sample. Unit: counts
    change: i32,
}

impl Rest {
    /// A rest begins with this error.
    pub(crate) fn restart(&mut self, error: i32) {
        *self = Rest { count: 1, sum: i64::from(error), squares: square(error), ..Rest::default() };
    }

    /// Feedback is outside the window: no rest until the next entry.
    pub(crate) fn clear(&mut self) {
        self.count = 0;
    }

    /// Adds one error inside the window, and the change of feedback.
    pub(crate) fn step(&mut self, settings: &Settings, error: i32, change: i32) {
        if self.count >= settings.rest_samples() {
            return;
        }
        // The first change began before the rest: no second difference of the rest contains it.
        let change_before = if self.count <= 1 { change } else { self.change };
        self.bends += square(change.wrapping_sub(change_before));
        self.change = change;
        self.sum += i64::from(error);
        self.squares += square(error);
        self.count += 1;
    }

    /// Number of errors added.
    pub(crate) fn count(&self) -> u32 {
        self.count
    }

    /// The mean rounded down, and the remainder of that division. Unit: counts
    fn whole_mean(&self) -> (i64, u32) {
        let count = i64::from(self.count.max(1));
        // Most sums fit 32 bits, which avoids a 64-bit division.
        let short = i32::try_from(self.sum).ok().and_then(|sum| sum.checked_div_euclid(count as i32));
        let whole = short.map_or_else(|| self.sum.div_euclid(count), i64::from);
        (whole, (self.sum - whole * count) as u32)
    }

    /// Unit: 1/256 counts
    pub(crate) fn mean(&self) -> i64 {
        let (count, (whole, remainder)) = (self.count.max(1), self.whole_mean());
        // At most 2^16 samples are summed, so 256 times the remainder fits 32 bits.
        whole * 256 + i64::from((remainder * 256 + count / 2) / count)
    }

    /// Root mean square about the mean. Unit: 1/256 counts
    ///
    /// The sum of squares about the whole mean fits 64 bits, so intermediate overflow wraps back.
    /// Above 2^48 low bits are dropped, far below the sixth digit.
    pub(crate) fn rms(&self) -> u32 {
        let (count, (whole, remainder)) = (u64::from(self.count.max(1)), self.whole_mean());
        let shift = (2 * self.sum - whole * count as i64).wrapping_mul(whole);
        let about_whole = self.squares.wrapping_sub(shift as u64);
        let fraction = (about_whole.leading_zeros() & !1).min(16);
        let excess =
            divided(((u64::from(remainder) * u64::from(remainder)) << fraction) + count - 1, self.count);
        let variance = divided((about_whole << fraction).saturating_sub(excess), self.count);
        let root = variance.isqrt() << ((16 - fraction) / 2);
        u32::try_from(root).unwrap_or(u32::MAX)
    }

    /// Variance of the noise of one reading: a sixth of the mean square of second differences. Unit: 1/256 counts²
    ///
    /// Source: Gasser, Sroka and Jennen-Steinmetz, Biometrika 73 (1986); from memory.
    pub(crate) fn noise(&self) -> u64 {
        let sixfold = (6 * (self.count.max(3) - 2)).max(1);
        let whole = quotient(self.bends, u64::from(sixfold));
        let remainder = (self.bends - whole * u64::from(sixfold)) as u32;
        whole.saturating_mul(256).saturating_add(u64::from(remainder * 256 / sixfold))
    }
}

/// `sum / count` for a count of at most 2^16: three divisions of 32 bits instead of one of 64.
fn divided(sum: u64, count: u32) -> u64 {
    let count = count.max(1);
    let (upper, middle, lower) = ((sum >> 32) as u32, (sum >> 16) as u32 & 0xffff, sum as u32 & 0xffff);
    let middle = (upper % count) << 16 | middle;
    let lower = (middle % count) << 16 | lower;
    (u64::from(upper / count) << 32) + (u64::from(middle / count) << 16) + u64::from(lower / count)
}

fn square(value: i32) -> u64 {
    (i64::from(value) * i64::from(value)) as u64
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::settings::Parameters;

    fn settings(window: u32) -> Settings {
        Settings::new(Parameters { window, ..Parameters::at(1_000_000) }).unwrap()
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
    fn division_in_parts_is_division() {
        for sum in [0, 1, 0xffff, 0x1_0000, u64::from(u32::MAX), 0x1234_5678_9abc_def0, u64::MAX] {
            for count in [1, 2, 3, 255, 999, 0xfffe, 0xffff, 0x1_0000] {
                assert_eq!(divided(sum, count), sum / u64::from(count), "{sum} in {count}");
            }
        }
    }

    #[test]
    fn extreme_errors_do_not_overflow() {
        let mut rest = Rest::default();
        for (window, count) in [(1 << 20, 1 << 16), (1 << 26, 255), (1 << 30, 1), (i32::MAX as u32, 1)] {
            let edge = window as i32;
            rest.restart(-edge);
            let error = |k: i32| if k % 2 == 0 { edge } else { -edge };
            (0..200_000).for_each(|k| rest.step(&settings(window), error(k), error(k).wrapping_mul(2)));
            assert_eq!(rest.count(), count);
            assert_eq!((rest.rms() > 0, rest.noise() > 0), (count > 1, count > 1));
        }
    }
}
