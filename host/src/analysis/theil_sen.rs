//! In: times and values. Out: the Theil–Sen line, its slope with a confidence interval.
//!
//! The slope is the median of the slopes of all pairs (Theil 1950; Sen, J. American Statistical Association 63,
//! 1968). Its interval reads the slopes at the ranks (N ± z·√Var S)/2 with Var S of the Mann–Kendall statistic,
//! between two slopes linearly (Gilbert, "Statistical methods for environmental pollution monitoring", 1987, 16.5).
//! A value may be +∞, larger than any number: its pairs have infinite slopes, and two infinities make no pair.
//! No list of pairs is made: the k-th slope is found by bisection, which counts the slopes below in O(n log n).

use statrs::distribution::{ContinuousCDF, Normal};

use super::mann_kendall::variance;
use super::order::inversions;
use super::quantile::median;

/// The Theil–Sen line.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Slope {
    /// Change of the value per second; infinite if most pairs have an infinite value.
    pub slope: f64,
    /// Lower end of the confidence interval of `slope`; −∞ if there are too few values for that confidence.
    pub low: f64,
    /// Upper end; +∞ if there are too few values.
    pub high: f64,
    /// Value of the line at time 0: median value minus `slope` × median time; NaN where these are infinite.
    pub intercept: f64,
}

impl Slope {
    /// No slope can be stated.
    pub const UNKNOWN: Slope =
        Slope { slope: f64::NAN, low: f64::NEG_INFINITY, high: f64::INFINITY, intercept: f64::NAN };
}

/// The line. `variance_factor` widens the interval for autocorrelated values (1 for independent ones); `None` for
/// fewer than two different times or finite values, for NaN or −∞, or a confidence outside 0 … 1.
pub fn theil_sen(time: &[f64], values: &[f64], confidence: f64, variance_factor: f64) -> Option<Slope> {
    let pairs = Pairs::new(time, values)?;
    if !(confidence > 0.0 && confidence < 1.0) {
        return None;
    }
    let half = Normal::standard().inverse_cdf(0.5 + confidence / 2.0)
        * (variance(values) * variance_factor.max(0.0)).sqrt()
        / 2.0;
    let middle = (pairs.count as f64 + 1.0) / 2.0;
    // Gilbert counts ranks from 1: the lower end is the (N − C)/2-th slope, the upper the (N + C)/2 + 1-th.
    let slope = pairs.at(middle);
    let (low, high) = (pairs.at(middle - half - 0.5), pairs.at(middle + half + 0.5));
    let intercept = median(values)? - slope * median(time)?;
    Some(Slope { slope, low, high, intercept })
}

/// The slope alone; `None` as for [`theil_sen`].
pub fn median_slope(time: &[f64], values: &[f64]) -> Option<f64> {
    let pairs = Pairs::new(time, values)?;
    Some(pairs.at((pairs.count as f64 + 1.0) / 2.0))
}

/// The points in time order, and in order of value where times are equal.
struct Pairs {
    points: Vec<(f64, f64)>,
    /// Pairs at different times with at least one finite value.
    count: u64,
    /// Pairs that fall from +∞, and pairs that rise to it.
    steep: (u64, u64),
}

impl Pairs {
    fn new(time: &[f64], values: &[f64]) -> Option<Pairs> {
        let numbers: Vec<f64> = values.iter().copied().filter(|value| *value != f64::INFINITY).collect();
        let (time_0, value_0) = (median(time)?, median(&numbers)?);
        // Times of day are large numbers with small differences: the median is subtracted before multiplying.
        let mut points: Vec<(f64, f64)> =
            time.iter().zip(values).map(|(time, value)| (time - time_0, value - value_0)).collect();
        if points
            .iter()
            .any(|(time, value)| !time.is_finite() || value.is_nan() || *value == f64::NEG_INFINITY)
        {
            return None;
        }
        points.sort_by(|a, b| a.0.total_cmp(&b.0).then(a.1.total_cmp(&b.1)));
        let all = |points: &[(f64, f64)]| {
            let infinite = points.iter().filter(|point| point.1 == f64::INFINITY).count() as u64;
            let pairs = |n: u64| n * n.saturating_sub(1) / 2;
            pairs(points.len() as u64) - pairs(infinite)
        };
        let equal: u64 = points.chunk_by(|a, b| a.0 == b.0).map(all).sum();
        let count = all(&points) - equal;
        (count > 0).then(|| Pairs { steep: steep(&points), points, count })
    }

    /// Pairs with a slope below `slope`: those that fall after `slope` is subtracted.
    fn below(&self, slope: f64) -> u64 {
        let mut levels: Vec<f64> = self.points.iter().map(|(time, value)| value - slope * time).collect();
        inversions(&mut levels)
    }

    /// The slope at a rank from 1, linear between two ranks; infinite outside the ranks.
    fn at(&self, rank: f64) -> f64 {
        if rank < 1.0 {
            return f64::NEG_INFINITY;
        } else if rank > self.count as f64 {
            return f64::INFINITY;
        }
        let low = self.ranked(rank as u64);
        if rank.fract() == 0.0 {
            return low;
        }
        let high = self.ranked(rank as u64 + 1);
        match low.is_finite() && high.is_finite() {
            true => low + rank.fract() * (high - low),
            // No number lies between a finite and an infinite slope: use the nearer rank.
            false => {
                if rank.fract() < 0.5 {
                    low
                } else {
                    high
                }
            }
        }
    }

    /// The slope with a whole rank from 1. Bisection narrows a bracket until it holds no more slopes than there are points;
    /// these are listed. If too many slopes are equal for that, bisection ends at the slope itself.
    fn ranked(&self, rank: u64) -> f64 {
        let (falling, rising) = self.steep;
        if rank <= falling {
            return f64::NEG_INFINITY;
        } else if rank > self.count - rising {
            return f64::INFINITY;
        }
        let (mut low, mut high) = (key(f64::MIN), key(f64::MAX));
        let (mut below_low, mut below_high) = (0, self.count);
        // Bisecting the integer keys of the numbers takes at most 64 steps, whatever the size of the slope.
        while high - low > 1 {
            if below_high - below_low <= self.points.len() as u64 {
                let mut between = self.between(number(low), number(high));
                // Rounding may place a pair on both sides of a bracket: then bisection continues.
                if between.len() as u64 == below_high - below_low {
                    let place = (rank - below_low - 1) as usize;
                    return *between.select_nth_unstable_by(place, f64::total_cmp).1;
                }
            }
            let middle = low.midpoint(high);
            let below = self.below(number(middle));
            if below < rank {
                (low, below_low) = (middle, below)
            } else {
                (high, below_high) = (middle, below)
            }
        }
        number(low)
    }

    /// Slopes from `low` up to `high`: those of the pairs whose order differs after subtracting `low` and `high`.
    fn between(&self, low: f64, high: f64) -> Vec<f64> {
        let level = |point: &(f64, f64), slope: f64| point.1 - slope * point.0;
        let mut order = self.points.clone();
        order.sort_by(|a, b| level(a, low).total_cmp(&level(b, low)));
        let mut slopes = Vec::new();
        for from in 1..order.len() {
            let mut place = from;
            while place > 0 && level(&order[place - 1], high) > level(&order[place], high) {
                let (a, b) = (order[place - 1], order[place]);
                slopes.push((b.1 - a.1) / (b.0 - a.0));
                order.swap(place - 1, place);
                place -= 1;
                if slopes.len() > self.points.len() {
                    return slopes;
                }
            }
        }
        slopes
    }
}

/// Pairs at different times that fall from +∞ to a number, and those that rise to it. `points` are sorted.
fn steep(points: &[(f64, f64)]) -> (u64, u64) {
    let (mut infinite, mut finite, mut falling, mut rising) = (0, 0, 0, 0);
    for at_once in points.chunk_by(|a, b| a.0 == b.0) {
        let here = at_once.iter().filter(|point| point.1 == f64::INFINITY).count() as u64;
        let others = at_once.len() as u64 - here;
        (falling, rising) = (falling + infinite * others, rising + finite * here);
        (infinite, finite) = (infinite + here, finite + others);
    }
    (falling, rising)
}

/// An integer for each number, in the same order.
pub(super) fn key(number: f64) -> i128 {
    let bits = i128::from(number.abs().to_bits());
    if number < 0.0 { -bits } else { bits }
}

/// The number of a [`key`].
pub(super) fn number(key: i128) -> f64 {
    let size = f64::from_bits(key.unsigned_abs() as u64);
    if key < 0 { -size } else { size }
}

#[cfg(test)]
mod tests {
    use super::*;

    /// The slow twin: lists every pair.
    fn slow(time: &[f64], values: &[f64], half: f64) -> [f64; 3] {
        let mut slopes = Vec::new();
        for i in 0..time.len() {
            for j in 0..i {
                if time[i] != time[j] && values[i].min(values[j]).is_finite() {
                    slopes.push((values[i] - values[j]) / (time[i] - time[j]));
                }
            }
        }
        slopes.sort_by(f64::total_cmp);
        let at = |rank: f64| {
            let (low, high) = (slopes[rank as usize - 1], *slopes.get(rank as usize).unwrap_or(&f64::NAN));
            match rank.fract() {
                0.0 => low,
                part if (high - low).is_finite() => low + part * (high - low),
                part => [low, high][usize::from(part >= 0.5)],
            }
        };
        let middle = (slopes.len() as f64 + 1.0) / 2.0;
        [at(middle), at(middle - half - 0.5), at(middle + half + 0.5)]
    }

    #[test]
    fn equals_the_slow_twin() {
        let mut state = 7_u64;
        let mut random = || {
            state = state.wrapping_mul(6_364_136_223_846_793_005).wrapping_add(1_442_695_040_888_963_407);
            (state >> 33) as f64 / (1_u64 << 31) as f64
        };
        // A value of `limit` or more becomes +∞.
        for (n, offset, step, limit) in [
            (9, 0.0, 1.0, 1.0),
            (40, 1.7e9, 300.0, 1.0),
            (160, -5.0, 0.25, 1.0),
            (401, 1e5, 60.0, 1.0),
            (160, -5.0, 0.25, 0.0508),
            (160, 0.0, 60.0, 0.0503),
            (90, 0.0, 1e4, 0.0550),
        ] {
            let time: Vec<f64> =
                (0..n).map(|i| offset + step * (f64::from(i) + (random() * 3.0).floor())).collect();
            let value = |t: &f64| 0.05 + 1e-7 * (t - offset) + 0.001 * random();
            let limited = |value: f64| if value < limit { value } else { f64::INFINITY };
            let values: Vec<f64> = time.iter().map(value).map(limited).collect();
            let fast = theil_sen(&time, &values, 0.9, 1.3).unwrap();
            let half = 1.644_853_626_951_472_7 * (variance(&values) * 1.3).sqrt() / 2.0;
            for (got, expected) in [fast.slope, fast.low, fast.high].iter().zip(slow(&time, &values, half)) {
                let same = *got == expected || (got - expected).abs() <= 1e-9 * expected.abs();
                assert!(same, "n {n}, limit {limit}: {got}, slowly {expected}");
            }
        }
    }

    #[test]
    fn too_few_values_give_no_line() {
        assert_eq!(theil_sen(&[1.0, 1.0], &[1.0, 2.0], 0.95, 1.0), None);
        assert_eq!(theil_sen(&[1.0, 2.0], &[1.0, f64::NAN], 0.95, 1.0), None);
        assert_eq!(theil_sen(&[1.0, 2.0], &[f64::INFINITY; 2], 0.95, 1.0), None);
        assert_eq!(theil_sen(&[1.0, 2.0], &[1.0, f64::NEG_INFINITY], 0.95, 1.0), None);
        let step = [1.0, 2.0, f64::INFINITY, f64::INFINITY];
        assert_eq!(median_slope(&[1.0, 2.0, 3.0, 4.0], &step), Some(f64::INFINITY));
        assert_eq!(theil_sen(&[1.0, 2.0, 3.0], &[1.0, 2.0, 3.0], 1.0, 1.0), None);
        let line = theil_sen(&[1.0, 2.0, 3.0], &[1.0, 2.0, 3.0], 0.95, 1.0).unwrap();
        assert!(
            (line.slope - 1.0).abs() < 1e-12 && line.low == f64::NEG_INFINITY && line.high == f64::INFINITY
        );
    }
}
