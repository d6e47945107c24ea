//! In: the points of a capture. Out: the mode nearest to them, found slowly and plainly in f64.
//!
//! The twin of the fit: every frequency, decay and tail of a fine grid is tried, then all seven parameters go downhill
//! together, with derivatives from differences. It shares nothing with the core but the model.

use core::f64::consts::TAU;

use stillpoint_core::ringing::Capture;

use crate::linear::solve;

/// Offset, cosine, sine, tail; frequency, decay and the tail's rate. Unit: counts, 1/point
pub type Parameters = [f64; 7];

/// Parameters that are unknown without a tail.
pub const PLAIN: [usize; 5] = [0, 1, 2, 4, 5];
/// Parameters that are unknown with a tail.
pub const TAILED: [usize; 7] = [0, 1, 2, 3, 4, 5, 6];

/// The nearest mode and what it leaves.
#[derive(Clone, Debug)]
pub struct Nearest {
    /// Its parameters.
    pub parameters: Parameters,
    /// Sum of the squares that it leaves.
    pub squares: f64,
}

impl Nearest {
    /// Damping ratio.
    pub fn damping(&self) -> f64 {
        let omega = TAU * self.parameters[4];
        self.parameters[5] / omega.hypot(self.parameters[5])
    }
}

/// The points as means. Unit: counts
pub fn means(capture: &Capture) -> Vec<f64> {
    capture.points().iter().map(|sum| f64::from(*sum) / f64::from(capture.samples())).collect()
}

/// The nearest mode, with a tail if that is worth its two parameters; and by how much Schwarz's criterion decided.
pub fn nearest(points: &[f64]) -> (Nearest, f64) {
    let count = points.len() as f64;
    let plain = descend(points, grid(points, false), &PLAIN);
    let tailed = descend(points, grid(points, true), &TAILED);
    let margin = count * (plain.squares / tailed.squares).ln() - 2.0 * count.ln();
    (if margin > 0.0 { tailed } else { plain }, margin.abs())
}

/// Fits to points without what rounding adds.
const FITS: u32 = 6;

/// The nearest mode once what reading in whole counts adds is taken from the points, if that leaves less than nine tenths.
pub fn without_rounding(points: &[f64], nearest: Nearest) -> Nearest {
    let unknowns = if nearest.parameters[3] == 0.0 { &PLAIN[..] } else { &TAILED[..] };
    let freedom = points.len() - unknowns.len();
    if nearest.squares > 0.25 * freedom as f64 {
        return nearest;
    }
    let again = (0..FITS).fold(nearest.clone(), |found, _| {
        let less = |(t, point): (usize, &f64)| point - added(&found.parameters, t as f64);
        let corrected: Vec<f64> = points.iter().enumerate().map(less).collect();
        descend(&corrected, found.parameters, unknowns)
    });
    if again.squares < 0.9 * nearest.squares { again } else { nearest }
}

/// The mean of what rounding adds over a point, by quadrature along a straight line.
fn added(p: &Parameters, t: f64) -> f64 {
    let near = 1e-3;
    let (before, this, after) = (model(p, t - near), model(p, t), model(p, t + near));
    let (slope, bend) = ((after - before) / (2.0 * near), (after - 2.0 * this + before) / (near * near));
    let height = (slope.abs() + bend.abs() / 8.0).max(0.2);
    let places = 2000;
    let at = |k: i32| this + height * ((f64::from(k) + 0.5) / f64::from(places) - 0.5);
    (0..places).map(|k| at(k).round() - at(k)).sum::<f64>() / f64::from(places)
}

fn model(p: &Parameters, t: f64) -> f64 {
    let (sin, cos) = (TAU * p[4] * t).sin_cos();
    p[0] + (-p[5] * t).exp() * (p[1] * cos + p[2] * sin) + p[3] * (-p[6] * t).exp()
}

fn squares(points: &[f64], p: &Parameters) -> f64 {
    points.iter().enumerate().map(|(t, point)| (point - model(p, t as f64)).powi(2)).sum()
}

/// The linear parameters for given others, by normal equations.
fn linear(points: &[f64], mut p: Parameters, tail: bool) -> Parameters {
    let unknowns = if tail { 4 } else { 3 };
    let row = |t: usize| {
        let unit = |k: usize| {
            let mut one = p;
            one[..4].fill(0.0);
            one[k] = 1.0;
            model(&one, t as f64)
        };
        (0..unknowns).map(unit).collect::<Vec<f64>>()
    };
    let rows: Vec<Vec<f64>> = (0..points.len()).map(row).collect();
    let matrix: Vec<Vec<f64>> = (0..unknowns)
        .map(|a| (0..unknowns).map(|b| rows.iter().map(|row| row[a] * row[b]).sum()).collect())
        .collect();
    let right: Vec<f64> =
        (0..unknowns).map(|a| rows.iter().zip(points).map(|(row, point)| row[a] * point).sum()).collect();
    p[..4].fill(0.0);
    p[..unknowns].copy_from_slice(&solve(&matrix, &right));
    p
}

/// The best of a grid: frequencies in thirds of a period over the points, five decays, three tails.
fn grid(points: &[f64], tail: bool) -> Parameters {
    let count = points.len() as f64;
    let mut best = ([0.0; 7], f64::INFINITY);
    let tails: &[f64] = if tail { &[1.0, 4.0, 12.0] } else { &[0.0] };
    for third in 2..(1.26 * count) as usize {
        for decay in [0.5, 2.0, 5.0, 12.0, 25.0] {
            for rate in tails {
                let p = [0.0, 0.0, 0.0, 0.0, third as f64 / 3.0 / count, decay / count, rate / count];
                let found = linear(points, p, tail);
                let squares = squares(points, &found);
                if squares < best.1 {
                    best = (found, squares);
                }
            }
        }
    }
    best.0
}

/// Downhill with all unknown parameters by Levenberg and Marquardt, derivatives by differences.
pub fn descend(points: &[f64], start: Parameters, unknowns: &[usize]) -> Nearest {
    let mut best = Nearest { parameters: start, squares: squares(points, &start) };
    let mut damping = 1e-3;
    for _ in 0..300 {
        let changed = step(points, &best.parameters, unknowns, damping);
        let next = squares(points, &changed);
        if next < best.squares {
            best = Nearest { parameters: changed, squares: next };
            damping = f64::max(damping / 4.0, 1e-12);
        } else {
            damping *= 4.0;
        }
        if damping > 1e12 {
            break;
        }
    }
    best
}

fn step(points: &[f64], p: &Parameters, unknowns: &[usize], damping: f64) -> Parameters {
    let derivative = |k: usize, t: f64| {
        let mut sides = [*p, *p];
        let small = 1e-6 * p[k].abs().max(1e-6);
        sides[0][k] += small;
        sides[1][k] -= small;
        (model(&sides[0], t) - model(&sides[1], t)) / (2.0 * small)
    };
    let rows: Vec<Vec<f64>> =
        (0..points.len()).map(|t| unknowns.iter().map(|k| derivative(*k, t as f64)).collect()).collect();
    let product = |a: usize, b: usize| rows.iter().map(|row| row[a] * row[b]).sum::<f64>();
    let count = unknowns.len();
    let scale: Vec<f64> = (0..count).map(|k| product(k, k).sqrt().max(1e-300)).collect();
    let matrix: Vec<Vec<f64>> = (0..count)
        .map(|a| {
            let cell = |b: usize| product(a, b) / scale[a] / scale[b] + if a == b { damping } else { 0.0 };
            (0..count).map(cell).collect()
        })
        .collect();
    let off = |t: usize| points[t] - model(p, t as f64);
    let right: Vec<f64> =
        (0..count).map(|a| (0..points.len()).map(|t| rows[t][a] * off(t)).sum::<f64>() / scale[a]).collect();
    let mut changed = *p;
    for (k, (change, scale)) in unknowns.iter().zip(solve(&matrix, &right).iter().zip(&scale)) {
        changed[*k] += change / scale;
    }
    changed
}
