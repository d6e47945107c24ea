//! In: a polynomial 1 + a₁z⁻¹ + … with real coefficients. Out: its roots, those outside the unit circle reflected into it.
//!
//! Durand–Kerner iteration, as in the core: all roots at once.

/// Sweeps at most; a simple root takes about ten.
const SWEEPS: usize = 60;
/// Roots are held within this circle.
const LARGEST: f64 = 0.999_99;

/// A complex number.
#[derive(Clone, Copy, Debug, Default, PartialEq)]
pub(super) struct Complex {
    pub re: f64,
    pub im: f64,
}

impl Complex {
    fn times(self, other: Complex) -> Complex {
        Complex { re: self.re * other.re - self.im * other.im, im: self.re * other.im + self.im * other.re }
    }

    fn minus(self, other: Complex) -> Complex {
        Complex { re: self.re - other.re, im: self.im - other.im }
    }

    fn over(self, other: Complex) -> Complex {
        let square = other.re * other.re + other.im * other.im;
        let product = self.times(Complex { im: -other.im, ..other });
        if square > 0.0 { product.shrunk(1.0 / square) } else { Complex::default() }
    }

    fn shrunk(self, factor: f64) -> Complex {
        Complex { re: self.re * factor, im: self.im * factor }
    }

    pub(super) fn size(self) -> f64 {
        self.re.hypot(self.im)
    }
}

/// The roots inside the unit circle; empty if the coefficients are not finite.
pub(super) fn roots(polynomial: &[f64]) -> Vec<Complex> {
    if polynomial.iter().any(|a| !a.is_finite()) {
        return Vec::new();
    }
    let place = Complex { re: 0.9, im: 0.4 };
    let beginnings =
        std::iter::successors(Some(place), |last| Some(last.times(Complex { re: 0.4, im: 0.9 })));
    let mut roots: Vec<Complex> = beginnings.take(polynomial.len()).collect();
    for _ in 0..SWEEPS {
        let mut largest = 0.0_f64;
        for k in 0..roots.len() {
            let root = roots[k];
            let horner = |value: Complex, a: &f64| {
                let value = value.times(root);
                Complex { re: value.re + a, ..value }
            };
            let value = polynomial.iter().fold(Complex { re: 1.0, im: 0.0 }, horner);
            let others = roots.iter().enumerate().filter(|(other, _)| *other != k);
            let change = others.fold(value, |value, (_, other)| value.over(root.minus(*other)));
            roots[k] = root.minus(change);
            largest = largest.max(change.size());
        }
        if largest < 1e-12 {
            break;
        }
    }
    roots.into_iter().map(inside).collect()
}

fn inside(root: Complex) -> Complex {
    let size = root.size();
    let root = if size > 1.0 { root.shrunk(1.0 / (size * size)) } else { root };
    if root.size() > LARGEST { root.shrunk(LARGEST / root.size()) } else { root }
}

/// The coefficients a₁ and up of these roots.
pub(super) fn polynomial(roots: &[Complex]) -> Vec<f64> {
    let mut product = vec![Complex { re: 1.0, im: 0.0 }];
    for root in roots {
        product.push(Complex::default());
        for k in (1..product.len()).rev() {
            product[k] = product[k].minus(root.times(product[k - 1]));
        }
    }
    product.iter().skip(1).map(|a| a.re).collect()
}
