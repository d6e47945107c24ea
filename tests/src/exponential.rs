//! In: points, a model and a start. Out: the parameters with the smallest sum of squared residuals.
//!
//! Levenberg and Marquardt's steps with derivatives from differences: slow and obvious. The product fits no
//! exponential; this one is held against certified figures, and then reads a time constant off the settling curve.

use crate::linear::solve;

/// Limit of the number of steps; the hard starts of NIST's sets need some hundred.
const TRIES: usize = 5000;

/// A least-squares fit.
#[derive(Clone, Debug)]
pub struct Fit {
    /// In the model's order.
    pub parameters: Vec<f64>,
    /// Their standard deviations.
    pub deviations: Vec<f64>,
    /// Sum of the squared residuals.
    pub squares: f64,
}

/// Points are (x, y); the model is given x and the parameters.
pub fn fit(points: &[(f64, f64)], model: impl Fn(f64, &[f64]) -> f64, start: &[f64]) -> Fit {
    let squares = |at: &[f64]| points.iter().map(|(x, y)| (y - model(*x, at)).powi(2)).sum::<f64>();
    let (mut parameters, mut damping) = (start.to_vec(), 1e-3);
    let mut least = squares(&parameters);
    for _ in 0..TRIES {
        let (normal, slope) = equations(points, &model, &parameters);
        let step = solve(&damped(&normal, damping), &slope);
        let next: Vec<f64> = parameters.iter().zip(&step).map(|(now, step)| now + step).collect();
        let there = squares(&next);
        if there < least {
            (parameters, least, damping) = (next, there, damping / 10.0);
        } else {
            damping = (damping * 10.0).min(1e12);
        }
    }
    let (normal, _) = equations(points, &model, &parameters);
    let variance = least / (points.len() - parameters.len()) as f64;
    let unit = |place: usize| (0..start.len()).map(|k| f64::from(u8::from(k == place))).collect::<Vec<_>>();
    let deviation = |place: usize| (variance * solve(&normal, &unit(place))[place]).sqrt();
    Fit { deviations: (0..start.len()).map(deviation).collect(), parameters, squares: least }
}

/// JᵀJ and Jᵀ(y − model).
fn equations(
    points: &[(f64, f64)],
    model: &impl Fn(f64, &[f64]) -> f64,
    at: &[f64],
) -> (Vec<Vec<f64>>, Vec<f64>) {
    let slope = |x: f64, place: usize| {
        let far = 1e-5 * at[place].abs();
        let moved = |by: f64| {
            let mut moved = at.to_vec();
            moved[place] += by;
            model(x, &moved)
        };
        (moved(far) - moved(-far)) / (2.0 * far)
    };
    let slopes: Vec<Vec<f64>> =
        points.iter().map(|(x, _)| (0..at.len()).map(|place| slope(*x, place)).collect()).collect();
    let product = |i: usize, j: usize| slopes.iter().map(|row| row[i] * row[j]).sum::<f64>();
    let normal = (0..at.len()).map(|i| (0..at.len()).map(|j| product(i, j)).collect()).collect();
    let residual =
        |i: usize| slopes.iter().zip(points).map(|(row, (x, y))| row[i] * (y - model(*x, at))).sum::<f64>();
    (normal, (0..at.len()).map(residual).collect())
}

/// A larger diagonal makes a shorter step, nearer to straight downhill.
fn damped(normal: &[Vec<f64>], damping: f64) -> Vec<Vec<f64>> {
    let mut damped = normal.to_vec();
    (0..damped.len()).for_each(|k| damped[k][k] *= 1.0 + damping);
    damped
}
