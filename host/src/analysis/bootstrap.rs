//! In: values and a figure made of them. Out: an interval for the figure, by drawing the values again and again.
//!
//! Source: Efron, "Better bootstrap confidence intervals", J. American Statistical Association 82 (1987): BCa corrects
//! the percentile interval for bias and for a spread that changes with the figure. Values must be independent; a
//! series in time is not, unless its trend and autocorrelation are taken off first.

use rand_pcg::Pcg32;
use rand_pcg::rand_core::Rng;
use statrs::distribution::{ContinuousCDF, Normal};

use super::quantile::{Definition, quantile_sorted};

/// Both intervals from the same draws.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Intervals {
    /// The figure of the values themselves.
    pub figure: f64,
    /// Plain quantiles of the drawn figures.
    pub percentile: (f64, f64),
    /// Bias-corrected and accelerated; `None` where the figure doesn't vary enough for the correction.
    pub bca: Option<(f64, f64)>,
}

/// Draws `draws` samples with `seed` and makes the figure of each; the same seed gives the same intervals. `None` under
/// two values, without draws, for a figure that is no number, or a confidence outside 0 … 1.
pub fn bootstrap(
    values: &[f64],
    figure: impl Fn(&[f64]) -> f64,
    confidence: f64,
    draws: usize,
    seed: u64,
) -> Option<Intervals> {
    if values.len() < 2 || draws == 0 || !(confidence > 0.0 && confidence < 1.0) {
        return None;
    }
    let mut chance = Pcg32::new(seed, 0x5f1e);
    let mut drawn = values.to_vec();
    let mut figures = Vec::with_capacity(draws);
    for _ in 0..draws {
        for place in &mut drawn {
            // The product's upper half is even to 1 in 2³² over the length.
            let at = (u64::from(chance.next_u32()) * values.len() as u64) >> 32;
            *place = values[at as usize];
        }
        figures.push(figure(&drawn));
    }
    let whole = figure(values);
    if !whole.is_finite() || figures.iter().any(|figure| !figure.is_finite()) {
        return None;
    }
    figures.sort_by(f64::total_cmp);
    let tail = (1.0 - confidence) / 2.0;
    let at = |p: f64| quantile_sorted(&figures, p, Definition::R7);
    let percentile = (at(tail)?, at(1.0 - tail)?);
    let bca =
        corrected(values, &figure, &figures, whole, tail).and_then(|(low, high)| Some((at(low)?, at(high)?)));
    Some(Intervals { figure: whole, percentile, bca })
}

/// The shares at which BCa reads the drawn figures.
fn corrected(
    values: &[f64],
    figure: impl Fn(&[f64]) -> f64,
    figures: &[f64],
    whole: f64,
    tail: f64,
) -> Option<(f64, f64)> {
    let normal = Normal::standard();
    // Ties with the figure itself count half, as a figure on a grid (a median) has many.
    let below = figures.partition_point(|drawn| *drawn < whole);
    let up_to = figures.partition_point(|drawn| *drawn <= whole);
    let bias = normal.inverse_cdf((below + up_to) as f64 / 2.0 / figures.len() as f64);
    let left_out: Vec<f64> =
        (0..values.len()).map(|out| figure(&[&values[..out], &values[out + 1..]].concat())).collect();
    let mean = left_out.iter().sum::<f64>() / left_out.len() as f64;
    let power = |degree| left_out.iter().map(|each| (mean - each).powi(degree)).sum::<f64>();
    let acceleration = power(3) / (6.0 * power(2).powf(1.5));
    let share = |z: f64| normal.cdf(bias + (bias + z) / (1.0 - acceleration * (bias + z)));
    let z = normal.inverse_cdf(tail);
    let shares = (share(z), share(-z));
    (shares.0.is_finite() && shares.1.is_finite()).then_some(shares)
}

#[cfg(test)]
mod tests {
    use super::*;

    fn mean(values: &[f64]) -> f64 {
        values.iter().sum::<f64>() / values.len() as f64
    }

    #[test]
    fn the_same_seed_gives_the_same_interval() {
        let values = [1.0, 4.0, 2.0, 8.0, 5.0, 7.0];
        let run = |seed| bootstrap(&values, mean, 0.9, 500, seed).unwrap();
        assert_eq!(run(1), run(1));
        assert_ne!(run(1), run(2));
    }

    #[test]
    fn a_skewed_figure_moves_bca_to_the_long_side() {
        let values: Vec<f64> = (1..=30).map(|i| (f64::from(i) / 6.0).exp()).collect();
        let found = bootstrap(&values, mean, 0.95, 4000, 3).unwrap();
        assert!(
            found.bca.unwrap().1 > found.percentile.1 && found.bca.unwrap().0 > found.percentile.0,
            "{found:?}"
        );
    }

    #[test]
    fn nonsense_is_refused() {
        assert_eq!(bootstrap(&[1.0], mean, 0.9, 100, 1), None);
        assert_eq!(bootstrap(&[1.0, 2.0], mean, 1.0, 100, 1), None);
        assert_eq!(bootstrap(&[1.0, 2.0], |_| f64::NAN, 0.9, 100, 1), None);
        assert_eq!(bootstrap(&[1.0, 1.0], mean, 0.9, 100, 1).unwrap().bca, None);
    }
}
