//! In: a number. Out: its exponential, logarithm, sine and cosine, or the angle of a point.
//!
//! Sums, products and quotients in f32 are exactly rounded on every machine, the functions of a platform's library are
//! not: these give the same bits everywhere. Their errors are bounded by the tests below. In line they would take three
//! kilobytes more of flash.

use core::f32::consts::{FRAC_PI_2, FRAC_PI_4, LN_2, LOG2_E, PI};

/// π/2 and ln 2 in two parts, the first with few digits, so that small multiples of it are exact (Cody & Waite 1980).
const QUARTER: (f32, f32) = (1.570_312_5, 4.838_268e-4);
const LN_2_PARTS: (f32, f32) = (0.693_359_4, -2.121_944_4e-4);

/// e^x, for x between −80 and 80; beyond, that of the nearest of these. Relative error: 2·10⁻⁷
#[inline(never)]
pub(crate) fn exp(x: f32) -> f32 {
    let x = x.clamp(-80.0, 80.0);
    let twos = nearest(x * LOG2_E);
    let rest = (x - twos as f32 * LN_2_PARTS.0) - twos as f32 * LN_2_PARTS.1;
    let series = [1.0 / 5040.0, 1.0 / 720.0, 1.0 / 120.0, 1.0 / 24.0, 1.0 / 6.0, 0.5, 1.0, 1.0];
    horner(&series, rest) * f32::from_bits(((twos + 127) as u32) << 23)
}

/// Natural logarithm of a positive normal number. Error: 1.3·10⁻⁷ of the larger of 1 and the result
#[inline(never)]
pub(crate) fn ln(x: f32) -> f32 {
    // The mantissa between √½ and √2.
    let bits = x.max(f32::MIN_POSITIVE).to_bits().wrapping_sub(0x3f35_04f3);
    let twos = (bits as i32) >> 23;
    let mantissa = f32::from_bits((bits & 0x007f_ffff) + 0x3f35_04f3);
    let s = (mantissa - 1.0) / (mantissa + 1.0);
    2.0 * s * horner(&[1.0 / 9.0, 1.0 / 7.0, 0.2, 1.0 / 3.0, 1.0], s * s) + twos as f32 * LN_2
}

/// Sine and cosine of an angle between −2π and 2π. Error: 10⁻⁷
pub(crate) fn sin_cos(angle: f32) -> (f32, f32) {
    let quarters = nearest(angle / FRAC_PI_2);
    let rest = (angle - quarters as f32 * QUARTER.0) - quarters as f32 * QUARTER.1;
    let square = rest * rest;
    let sin = rest * horner(&[1.0 / 362_880.0, -1.0 / 5040.0, 1.0 / 120.0, -1.0 / 6.0, 1.0], square);
    let cos = horner(&[1.0 / 40_320.0, -1.0 / 720.0, 1.0 / 24.0, -0.5, 1.0], square);
    match quarters & 3 {
        0 => (sin, cos),
        1 => (cos, -sin),
        2 => (-sin, -cos),
        _ => (-cos, sin),
    }
}

/// Angle of the point (x, y), between −π and π; 0 for the origin. Error: 4·10⁻⁷
pub(crate) fn angle(y: f32, x: f32) -> f32 {
    let (small, large) = if y.abs() <= x.abs() { (y.abs(), x.abs()) } else { (x.abs(), y.abs()) };
    let ratio = if large > 0.0 { small / large } else { 0.0 };
    // Below 22.5°, or about 45°.
    let (known, rest) =
        if ratio > 0.414_213_57 { (FRAC_PI_4, (ratio - 1.0) / (ratio + 1.0)) } else { (0.0, ratio) };
    let series =
        [1.0 / 17.0, -1.0 / 15.0, 1.0 / 13.0, -1.0 / 11.0, 1.0 / 9.0, -1.0 / 7.0, 0.2, -1.0 / 3.0, 1.0];
    let acute = known + rest * horner(&series, rest * rest);
    let first = if y.abs() <= x.abs() { acute } else { FRAC_PI_2 - acute };
    let upper = if x < 0.0 { PI - first } else { first };
    if y < 0.0 { -upper } else { upper }
}

/// Square root, to the last bit or two: the settling stage's, and one more step of Newton's method.
#[inline(never)]
pub(crate) fn root(square: f32) -> f32 {
    let root = crate::settling::slope::real_root(square);
    if root > 0.0 { (root + square / root) / 2.0 } else { 0.0 }
}

/// The nearest whole number; a half goes away from zero.
pub(crate) fn nearest(x: f32) -> i32 {
    (x + if x < 0.0 { -0.5 } else { 0.5 }) as i32
}

/// A polynomial whose coefficients begin with that of the highest power.
fn horner(coefficients: &[f32], x: f32) -> f32 {
    coefficients.iter().fold(0.0, |sum, coefficient| sum * x + coefficient)
}

#[cfg(test)]
mod tests {
    use super::*;

    /// Largest distance from the function of the standard library in f64, over evenly spread numbers.
    fn worst(from: f64, to: f64, distance: impl Fn(f32) -> f64) -> f64 {
        let steps = 200_000;
        let at = |k: i32| (from + (to - from) * f64::from(k) / f64::from(steps)) as f32;
        (0..=steps).map(|k| distance(at(k))).fold(0.0, f64::max)
    }

    #[test]
    fn they_agree_with_f64() {
        let of_exp = |x: f32| (f64::from(exp(x)) / f64::from(x).exp() - 1.0).abs();
        assert!(worst(-80.0, 80.0, of_exp) < 2e-7);
        let of_ln = |x: f32| {
            let true_value = f64::from(x).ln();
            (f64::from(ln(x)) - true_value).abs() / true_value.abs().max(1.0)
        };
        assert!(worst(1e-3, 4.0, of_ln) < 1.3e-7 && worst(1.0, 1e9, of_ln) < 1.3e-7);
        assert!(worst(1e-30, 1e-20, of_ln) < 1.3e-7);
        let of_circle = |x: f32| {
            let (sin, cos) = sin_cos(x);
            let (true_sin, true_cos) = f64::from(x).sin_cos();
            (f64::from(sin) - true_sin).abs().max((f64::from(cos) - true_cos).abs())
        };
        assert!(worst(-6.3, 6.3, of_circle) < 1e-7, "{}", worst(-6.3, 6.3, of_circle));
        let of_angle = |turn: f32| {
            let (y, x) = (f64::from(turn).sin() as f32, f64::from(turn).cos() as f32);
            (f64::from(angle(y, x)) - f64::from(y).atan2(f64::from(x))).abs()
        };
        assert!(worst(-3.1, 3.1, of_angle) < 4e-7);
        let of_root = |x: f32| (f64::from(root(x)) / f64::from(x).sqrt() - 1.0).abs();
        assert!(worst(1e-12, 1e-3, of_root) < 1.3e-7 && worst(0.01, 1e6, of_root) < 1.3e-7);
    }

    #[test]
    fn edges_are_finite() {
        assert_eq!((root(0.0), root(-1.0), angle(0.0, 0.0)), (0.0, 0.0, 0.0));
        assert_eq!((angle(0.0, -1.0), angle(1.0, 0.0)), (PI, FRAC_PI_2));
        assert!(exp(1e9).is_finite() && exp(-1e9) > 0.0 && ln(0.0).is_finite());
    }
}
