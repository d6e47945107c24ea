//! In: values in time order. Out: their scatter and autocorrelation, whatever trend or steps they have.
//!
//! Differences of neighbours do not see slow trends and suffer little from a few steps. For an AR(1) series the mean
//! square of the differences at lag 1 is 2σ²(1 − ρ), at lag 2 it is 2σ²(1 − ρ²): their ratio is 1 + ρ (von Neumann,
//! Annals of Mathematical Statistics 12 (1941), for the first; the ratio is our own use of it).

use super::quantile::{MAD_TO_SD, median};

/// Larger differences are cut to this size, so that one outlier changes little. Unit: standard deviations
const FARTHEST: f64 = 4.0;
/// Relative standard deviation of the rounding in a store, whose values have steps of 2 % (store/sketch.rs): 0.02/√12.
const RESOLUTION: f64 = 0.005_77;
/// Largest autocorrelation: beyond it a series would carry next to no information.
const MOST_AUTOCORRELATION: f64 = 0.9;

/// Scatter of values about their course.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Noise {
    /// Standard deviation of a value. Unit: that of the values
    pub sd: f64,
    /// Correlation of neighbours, 0 … 0.9; negative correlations are given as 0.
    pub autocorrelation: f64,
}

impl Noise {
    /// The noise of a series; `None` for fewer than five values.
    pub fn of(values: &[f64]) -> Option<Noise> {
        if values.len() < 5 {
            return None;
        }
        let (one, two) = (mean_square(values, 1)?, mean_square(values, 2)?);
        let ratio = if one > 0.0 { two / one - 1.0 } else { 0.0 };
        let autocorrelation = ratio.clamp(0.0, MOST_AUTOCORRELATION);
        Some(Noise { sd: (one / 2.0 / (1.0 - autocorrelation)).sqrt(), autocorrelation })
    }

    /// Factor on the variance of means and slopes of correlated values: (1 + ρ)/(1 − ρ).
    pub fn variance_factor(&self) -> f64 {
        (1.0 + self.autocorrelation) / (1.0 - self.autocorrelation)
    }
}

/// Factor on the variance of means and slopes, from the residuals of a fitted line: (1 + r)/(1 − r), at least 1. The
/// fit makes their correlation of neighbours r too small by about (2 + 4r)/n (Kendall, Biometrika 41, 1954).
pub fn residual_factor(residuals: &[f64]) -> f64 {
    let power: f64 = residuals.iter().map(|residual| residual * residual).sum();
    if power <= 0.0 {
        return 1.0;
    }
    let plain = residuals.windows(2).map(|pair| pair[0] * pair[1]).sum::<f64>() / power;
    let correlation = (plain + (2.0 + 4.0 * plain) / residuals.len() as f64).clamp(0.0, MOST_AUTOCORRELATION);
    (1.0 + correlation) / (1.0 - correlation)
}

/// Mean square of the differences at `lag`, outliers cut.
fn mean_square(values: &[f64], lag: usize) -> Option<f64> {
    let differences: Vec<f64> = values.iter().zip(&values[lag..]).map(|(a, b)| b - a).collect();
    let middle = median(&differences)?;
    let sizes: Vec<f64> = differences.iter().map(|difference| (difference - middle).abs()).collect();
    // Where most neighbours are equal, a single step would otherwise be taken for noise.
    let resolution = RESOLUTION * median(values)?.abs();
    let scale = [MAD_TO_SD * median(&sizes)?, resolution].into_iter().find(|scale| *scale > 0.0);
    let largest = scale.map_or(f64::INFINITY, |scale| FARTHEST * scale);
    Some(sizes.iter().map(|size| size.min(largest).powi(2)).sum::<f64>() / sizes.len() as f64)
}

#[cfg(test)]
mod tests {
    use super::*;
    use rand_pcg::Pcg32;
    use rand_pcg::rand_core::Rng;

    #[test]
    fn finds_scatter_and_correlation_under_a_ramp_and_a_step() {
        for correlation in [0.0_f64, 0.3, 0.6] {
            let mut random = Pcg32::new(4, 4);
            let mut uniform = || f64::from(random.next_u32()) / f64::from(u32::MAX) - 0.5;
            let mut state = 0.0;
            let mut values: Vec<f64> = (0..4000)
                .map(|i| {
                    let new: f64 = (0..12).map(|_| uniform()).sum();
                    state = correlation * state + (1.0 - correlation * correlation).sqrt() * new;
                    3.0 * state + f64::from(i) * 0.01 + if i > 2000 { 90.0 } else { 0.0 }
                })
                .collect();
            values[77] = 1e6;
            let noise = Noise::of(&values).unwrap();
            assert!((noise.sd - 3.0).abs() < 0.2, "{noise:?}");
            assert!((noise.autocorrelation - correlation).abs() < 0.06, "{correlation}: {noise:?}");
        }
        assert_eq!(Noise::of(&[1.0; 4]), None);
        let step: Vec<f64> = (0..48).map(|i| if i < 30 { 20.0 } else { 30.0 }).collect();
        assert!(Noise::of(&step).unwrap().sd < 0.3, "a step between equal figures is no noise");
        assert_eq!(Noise::of(&[1.0; 9]), Some(Noise { sd: 0.0, autocorrelation: 0.0 }));
    }
}
