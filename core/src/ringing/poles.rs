//! In: a polynomial of degree 2 to 4 as 1 + a₁z⁻¹ + …. Out: its roots, and the same polynomial with all roots inside the unit
//! circle.
//!
//! Durand–Kerner iteration: all roots at once, no case distinction. The roots are only a place to begin from.

/// Largest degree.
pub(crate) const DEGREE: usize = 4;
/// Sweeps at most; a simple root takes about ten.
const SWEEPS: u8 = 24;
/// Roots are held within this circle.
const LARGEST: f32 = 0.9999;

/// A complex number.
#[derive(Clone, Copy, Debug, Default, PartialEq)]
pub(crate) struct Complex {
    pub re: f32,
    pub im: f32,
}

impl Complex {
    fn times(self, other: Complex) -> Complex {
        Complex { re: self.re * other.re - self.im * other.im, im: self.re * other.im + self.im * other.re }
    }

    fn minus(self, other: Complex) -> Complex {
        Complex { re: self.re - other.re, im: self.im - other.im }
    }

    fn over(self, other: Complex) -> Complex {
        let square = other.square();
        let conjugate = Complex { re: other.re, im: -other.im };
        let product = self.times(conjugate);
        if square > 0.0 {
            Complex { re: product.re / square, im: product.im / square }
        } else {
            Complex::default()
        }
    }

    pub(crate) fn square(self) -> f32 {
        self.re * self.re + self.im * self.im
    }
}

/// Roots that are being found.
#[derive(Clone, Copy, Debug, Default)]
pub(crate) struct Roots {
    degree: usize,
    roots: [Complex; DEGREE],
    sweeps: u8,
}

impl Roots {
    /// Begins at places that belong to no symmetry.
    pub(crate) fn new(degree: usize) -> Roots {
        let mut place = Complex { re: 0.9, im: 0.4 };
        let roots = core::array::from_fn(|_| {
            let this = place;
            place = place.times(Complex { re: 0.4, im: 0.9 });
            this
        });
        Roots { degree: degree.min(DEGREE), roots, sweeps: 0 }
    }

    /// One sweep; whether the roots are found.
    pub(crate) fn step(&mut self, polynomial: &[f32; DEGREE]) -> bool {
        let mut largest = 0.0_f32;
        for k in 0..self.degree.min(DEGREE) {
            let root = self.roots[k];
            let mut value = Complex { re: 1.0, im: 0.0 };
            for a in polynomial.iter().take(self.degree) {
                value = value.times(root);
                value.re += a;
            }
            for (_, other) in self.roots.iter().take(self.degree).enumerate().filter(|(j, _)| *j != k) {
                value = value.over(root.minus(*other));
            }
            self.roots[k] = root.minus(value);
            largest = largest.max(value.square());
        }
        self.sweeps += 1;
        largest < 1e-12 || self.sweeps >= SWEEPS
    }

    /// The roots, those outside the unit circle reflected into it.
    pub(crate) fn inside(&self) -> impl Iterator<Item = Complex> {
        self.roots.into_iter().take(self.degree).map(|root| {
            let square = root.square();
            let root =
                if square > 1.0 { Complex { re: root.re / square, im: root.im / square } } else { root };
            if root.square() > LARGEST * LARGEST {
                Complex { re: root.re * LARGEST, im: root.im * LARGEST }
            } else {
                root
            }
        })
    }

    /// The polynomial of the roots inside the unit circle.
    pub(crate) fn polynomial(&self) -> [f32; DEGREE] {
        let mut product = [Complex::default(); DEGREE + 1];
        product[0].re = 1.0;
        for root in self.inside() {
            for k in (0..DEGREE).rev() {
                product[k + 1] = product[k + 1].minus(root.times(product[k]));
            }
        }
        core::array::from_fn(|k| product[k + 1].re)
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn found(degree: usize, polynomial: [f32; DEGREE]) -> Roots {
        let mut roots = Roots::new(degree);
        while !roots.step(&polynomial) {}
        roots
    }

    #[test]
    fn roots_give_their_polynomial_again() {
        // (z − 0.9)(z − 0.5)(z² − 1.8 z + 0.9)
        let polynomial = [-3.2, 3.87, -2.07, 0.405];
        let again = found(4, polynomial).polynomial();
        let off = again.iter().zip(polynomial).map(|(a, b)| (a - b).abs()).fold(0.0, f32::max);
        assert!(off < 1e-4, "{again:?}");
    }

    #[test]
    fn roots_outside_are_reflected() {
        // z² − 2.5 z + 1 has the roots 2 and 0.5; 2 becomes 0.5.
        let again = found(2, [-2.5, 1.0, 0.0, 0.0]).polynomial();
        assert!((again[0] + 1.0).abs() < 1e-5 && (again[1] - 0.25).abs() < 1e-5, "{again:?}");
        assert!(found(3, [-3.0, 3.0, -1.0, 0.0]).inside().all(|root| root.square() < 1.0));
    }
}
