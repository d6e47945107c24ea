//! In: points. Out: oscillations that a search may begin with.
//!
//! Steiglitz & McBride 1965 (from memory), as in the core: the points are taken as the response of a filter to an impulse,
//! whose recursive part is found by linear least squares after filtering both with that of the iteration before. Degree 4 is
//! two oscillations, 5 and 6 have an offset and a tail beside them; 3 is one with an offset.

use super::roots::{polynomial, roots};
use super::shape::Mode;
use super::triangle::Products;

/// Degrees that are tried.
const DEGREES: [usize; 4] = [3, 4, 5, 6];
const DEGREE: usize = 6;
const ITERATIONS: usize = 4;
/// Columns: outputs before for the points, outputs for the impulse, the points.
const WIDTH: usize = 2 * DEGREE + 1;

/// The oscillations of each degree.
pub(super) fn seeds(points: &[f64]) -> Vec<Vec<Mode>> {
    let last = &points[points.len() - points.len() / 8..];
    let mean = last.iter().sum::<f64>() / last.len().max(1) as f64;
    let about: Vec<f64> = points.iter().map(|point| point - mean).collect();
    DEGREES.iter().map(|degree| of_degree(&about, *degree)).collect()
}

fn of_degree(points: &[f64], degree: usize) -> Vec<Mode> {
    let (mut filter, mut found) = (vec![0.0; degree], Vec::new());
    for _ in 0..ITERATIONS {
        found = roots(&recursive_part(points, &filter));
        if found.is_empty() {
            return Vec::new();
        }
        filter = polynomial(&found);
    }
    let oscillating = found.iter().filter(|root| root.im > 1e-5);
    oscillating.map(|root| mode(root.im.atan2(root.re), -root.size().ln())).collect()
}

/// Unit: rad/point, 1/point
fn mode(frequency: f64, decay: f64) -> Mode {
    Mode { frequency, ratio: decay / frequency }
}

/// Coefficients a₁ and up, after filtering with those of the iteration before.
fn recursive_part(points: &[f64], filter: &[f64]) -> Vec<f64> {
    let degree = filter.len();
    let mut products = Products::<WIDTH>::default();
    // The last outputs for the points and for the impulse, the newest first.
    let (mut of_points, mut of_impulse) = ([0.0; DEGREE], [0.0; DEGREE]);
    let filtered = |input: f64, past: &[f64]| -> f64 {
        input - filter.iter().zip(past).map(|(a, output)| a * output).sum::<f64>()
    };
    for (k, point) in points.iter().enumerate() {
        let output = filtered(*point, &of_points);
        let response = filtered(if k == 0 { 1.0 } else { 0.0 }, &of_impulse);
        push(&mut of_impulse, response);
        let mut row = [0.0; WIDTH];
        for j in 0..degree {
            (row[j], row[DEGREE + j]) = (-of_points[j], of_impulse[j]);
        }
        row[WIDTH - 1] = output;
        products.add(&row);
        push(&mut of_points, output);
    }
    let all: [f64; WIDTH - 1] = products.triangle().solve();
    all[..degree].to_vec()
}

fn push(past: &mut [f64; DEGREE], newest: f64) {
    past.copy_within(..DEGREE - 1, 1);
    past[0] = newest;
}
