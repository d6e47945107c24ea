//! In: a point. Out: density, distribution and quantile of the standard normal, to about 1e-15.

use std::f64::consts::{PI, TAU};

/// φ.
pub fn density(z: f64) -> f64 {
    (-z * z / 2.0).exp() / TAU.sqrt()
}

/// Φ: a power series in the middle, a continued fraction in the tails (Abramowitz & Stegun 7.1.6, 26.2.14).
pub fn below(z: f64) -> f64 {
    if z.abs() > 3.0 {
        let fraction = (1..300).rev().fold(0.0, |inner, k| f64::from(k) / (z.abs() + inner));
        let tail = density(z) / (z.abs() + fraction);
        return if z > 0.0 { 1.0 - tail } else { tail };
    }
    let (mut term, mut sum) = (z, z);
    for k in 1..100 {
        term *= z * z / f64::from(2 * k + 1);
        sum += term;
    }
    0.5 + density(z) * sum
}

/// Φ⁻¹ by bisection.
pub fn quantile(part: f64) -> f64 {
    let (mut low, mut high) = (-9.0, 9.0);
    for _ in 0..70 {
        let middle = (low + high) / 2.0;
        if below(middle) < part { low = middle } else { high = middle }
    }
    low
}

/// Nodes and weights of Gauss and Legendre on −1 to 1, by Newton's steps on the polynomial.
pub fn gauss_legendre(count: usize) -> Vec<(f64, f64)> {
    let node = |k: usize| {
        let mut x = (PI * (k as f64 + 0.75) / (count as f64 + 0.5)).cos();
        let mut slope = 1.0;
        for _ in 0..50 {
            let (mut before, mut here) = (1.0, x);
            for n in 2..=count {
                let n = n as f64;
                (before, here) = (here, ((2.0 * n - 1.0) * x * here - (n - 1.0) * before) / n);
            }
            slope = count as f64 * (x * here - before) / (x * x - 1.0);
            x -= here / slope;
        }
        (x, 2.0 / ((1.0 - x * x) * slope * slope))
    };
    (0..count).map(node).collect()
}
