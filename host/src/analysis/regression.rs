//! In: times and values. Out: least-squares levels, lines and bends of any segment, each in constant time.
//!
//! Prefix sums are computed once; the sums of a segment are a difference of two of them. Time is scaled to −1/2 … 1/2
//! and values are taken about their mean, so that the subtraction loses little precision.

use std::ops::Range;

/// A least-squares line.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct RegressionLine {
    /// Value at time 0.
    pub intercept: f64,
    /// Change of the value per unit of time.
    pub slope: f64,
}

/// The least-squares line; `None` for fewer than three points or equal times.
pub fn least_squares(time: &[f64], values: &[f64]) -> Option<RegressionLine> {
    let n = time.len().min(values.len()) as f64;
    let (time_mean, mean) = (time.iter().sum::<f64>() / n, values.iter().sum::<f64>() / n);
    let each = || time.iter().zip(values).map(|(time, value)| (time - time_mean, value - mean));
    let power: f64 = each().map(|(time, _)| time * time).sum();
    if n < 3.0 || !power.is_finite() || power <= 0.0 {
        return None;
    }
    let slope = each().map(|(time, value)| time * value).sum::<f64>() / power;
    Some(RegressionLine { intercept: mean - slope * time_mean, slope })
}

/// Sums of n, t, y, t², t·y, y².
type Sums = [f64; 6];

/// Prefix sums of a series, from its start to each of its points.
#[derive(Clone, Debug)]
pub struct PrefixSums {
    sums: Vec<Sums>,
    time: Vec<f64>,
}

impl PrefixSums {
    /// Sums up a series in time order.
    pub fn new(time: &[f64], values: &[f64]) -> PrefixSums {
        let n = time.len().min(values.len());
        let mean = values.iter().take(n).sum::<f64>() / n.max(1) as f64;
        let (first, last) = (time.first().copied().unwrap_or(0.0), time.last().copied().unwrap_or(0.0));
        let span = if last > first { last - first } else { 1.0 };
        let time: Vec<f64> = time.iter().take(n).map(|time| (time - first) / span - 0.5).collect();
        let mut sums = vec![[0.0; 6]];
        let mut sum = [0.0; 6];
        for (t, value) in time.iter().zip(values) {
            let y = value - mean;
            for (sum, term) in sum.iter_mut().zip([1.0, *t, y, t * t, t * y, y * y]) {
                *sum += term;
            }
            sums.push(sum);
        }
        PrefixSums { sums, time }
    }

    /// Number of points.
    pub fn len(&self) -> usize {
        self.time.len()
    }

    /// Whether there are no points.
    pub fn is_empty(&self) -> bool {
        self.time.is_empty()
    }

    fn sums(&self, range: &Range<usize>) -> Sums {
        let (from, to) = (self.sums[range.start], self.sums[range.end]);
        std::array::from_fn(|i| to[i] - from[i])
    }

    /// Sum of squares about the mean of a segment.
    pub fn about_level(&self, range: Range<usize>) -> f64 {
        let [n, _, y, _, _, yy] = self.sums(&range);
        if n == 0.0 { 0.0 } else { (yy - y * y / n).max(0.0) }
    }

    /// Sum of squares about the least-squares line of a segment.
    pub fn about_line(&self, range: Range<usize>) -> f64 {
        let [n, t, y, tt, ty, _] = self.sums(&range);
        let (power, product) = (tt - t * t / n, ty - t * y / n);
        let level = self.about_level(range);
        if n < 2.0 || power <= 0.0 { level } else { (level - product * product / power).max(0.0) }
    }

    /// Sum of squares about the best line of a segment that bends at the point `bend`.
    pub fn about_bend(&self, range: Range<usize>, bend: usize) -> f64 {
        let Some(knee) = self.time.get(bend) else { return self.about_line(range) };
        let [n, t, y, tt, ty, _] = self.sums(&range);
        let [m, u, v, uu, uv, _] = self.sums(&(bend..range.end));
        // Regressor h = max(0, time − knee); its sums follow from those after the bend.
        let (h, hh, th, hy) =
            (u - knee * m, uu - 2.0 * knee * u + knee * knee * m, uu - knee * u, uv - knee * v);
        let (power, product) = (tt - t * t / n, ty - t * y / n);
        let slant = (th - t * h / n) / power;
        let own = hh - h * h / n - slant * (th - t * h / n);
        let with = hy - h * y / n - slant * product;
        let line = self.about_line(range);
        if own > 1e-12 * hh { (line - with * with / own).max(0.0) } else { line }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    /// Residual sum of squares by solving the normal equations with `columns` outright.
    fn slow(columns: &[Vec<f64>], values: &[f64]) -> f64 {
        let mut base: Vec<Vec<f64>> = Vec::new();
        let mut residual = values.to_vec();
        let dot = |a: &[f64], b: &[f64]| a.iter().zip(b).map(|(a, b)| a * b).sum::<f64>();
        for column in columns {
            let mut column = column.clone();
            for _ in 0..2 {
                for earlier in &base {
                    let share = dot(earlier, &column);
                    column.iter_mut().zip(earlier).for_each(|(c, e)| *c -= share * e);
                }
            }
            let length = dot(&column, &column).sqrt();
            column.iter_mut().for_each(|c| *c /= length);
            let share = dot(&column, &residual);
            residual.iter_mut().zip(&column).for_each(|(r, c)| *r -= share * c);
            base.push(column);
        }
        dot(&residual, &residual)
    }

    #[test]
    fn segments_equal_the_slow_twin() {
        let time: Vec<f64> = (0..90).map(|i| 1.7e9 + 300.0 * f64::from(i + i / 30 * 5)).collect();
        let values: Vec<f64> =
            (0..90_u64).map(|i| 5.0 + 0.01 * i as f64 + (i * i * 7919 % 89) as f64 / 89.0).collect();
        let sums = PrefixSums::new(&time, &values);
        for (from, bend, to) in [(0, 30, 90), (10, 15, 40), (60, 80, 90), (3, 33, 88)] {
            let (t, y) = (&time[from..to], &values[from..to]);
            let mean = t.iter().sum::<f64>() / t.len() as f64;
            let one = vec![1.0; t.len()];
            let line: Vec<f64> = t.iter().map(|t| (t - mean) / 1e4).collect();
            let hinge: Vec<f64> = t.iter().map(|t| (t - time[bend]).max(0.0) / 1e4).collect();
            let check =
                |fast: f64, slow: f64| assert!((fast - slow).abs() < 1e-9 * slow, "{fast}, slowly {slow}");
            check(sums.about_level(from..to), slow(std::slice::from_ref(&one), y));
            check(sums.about_line(from..to), slow(&[one.clone(), line.clone()], y));
            check(sums.about_bend(from..to, bend), slow(&[one, line, hinge], y));
        }
    }
}
