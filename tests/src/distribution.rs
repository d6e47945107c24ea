//! In: a point. Out: the share of a distribution below it, for the distributions of normal samples.
//!
//! Shares nothing with the host's library. Each is an integral over the density, with a substitution that leaves
//! nothing sharp in it, divided by the same integral over everything: so no gamma function is needed.

use std::f64::consts::FRAC_PI_2;
use std::sync::OnceLock;

use crate::normal::{below, density, gauss_legendre};

const NODES: usize = 160;
/// Nothing that counts is further out. Unit: standard deviations
const FURTHEST: f64 = 9.0;

fn integral(from: f64, upto: f64, height: impl Fn(f64) -> f64) -> f64 {
    static GAUSS: OnceLock<Vec<(f64, f64)>> = OnceLock::new();
    let nodes = GAUSS.get_or_init(|| gauss_legendre(NODES));
    let (middle, half) = ((from + upto) / 2.0, (upto - from) / 2.0);
    nodes.iter().map(|(x, weight)| weight * half * height(middle + half * x)).sum()
}

/// Power of the root of a sum of squares, times the normal density, at `root`.
fn chi(power: f64, root: f64) -> f64 {
    (power * root.ln() - root * root / 2.0).exp()
}

/// χ², the sum of `freedom` squares: its root has the density u^(freedom − 1) e^(−u²/2).
pub fn chi_square(freedom: f64, square: f64) -> f64 {
    let height = |root| chi(freedom - 1.0, root);
    integral(0.0, square.sqrt(), height) / integral(0.0, freedom.sqrt() + FURTHEST, height)
}

/// F, the ratio of two mean squares, which is b/a tan² of an angle of density sin^(a − 1) cos^(b − 1).
pub fn variance_ratio(above: f64, below: f64, ratio: f64) -> f64 {
    let height = |angle: f64| angle.sin().powf(above - 1.0) * angle.cos().powf(below - 1.0);
    integral(0.0, (above * ratio / below).sqrt().atan(), height) / integral(0.0, FRAC_PI_2, height)
}

/// Student's t, which is √freedom tan of an angle of density cos^(freedom − 1).
pub fn student(freedom: f64, t: f64) -> f64 {
    let height = |angle: f64| angle.cos().powf(freedom - 1.0);
    0.5 + 0.5 * integral(0.0, (t / freedom.sqrt()).atan(), height) / integral(0.0, FRAC_PI_2, height)
}

/// Mean of the standard deviation of `count` values (divisor count − 1): c4. Unit: standard deviations
pub fn mean_deviation(count: f64) -> f64 {
    let [above, below] = [count - 1.0, count - 2.0]
        .map(|power| integral(0.0, (count - 1.0).sqrt() + FURTHEST, |root| chi(power, root)));
    above / below / (count - 1.0).sqrt()
}

/// Mean and standard deviation of the range of `count` values: d2 and d3. Unit: standard deviations
///
/// The range is at most w with probability n ∫ φ(x) (Φ(x + w) − Φ(x))^(n − 1) dx.
pub fn range(count: f64) -> (f64, f64) {
    let beyond = |w: f64| {
        let height = |x: f64| density(x) * (below(x + w) - below(x)).powf(count - 1.0);
        1.0 - count * integral(-FURTHEST, FURTHEST, height)
    };
    let [mean, square] = [0, 1]
        .map(|power| integral(0.0, 1.5 * FURTHEST, |w| f64::from(power + 1) * w.powi(power) * beyond(w)));
    (mean, (square - mean * mean).sqrt())
}
