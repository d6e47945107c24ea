//! In: whole numbers, one at a time. Out: their mean, variance and lag-1 autocorrelation.
//!
//! Ticks are whole numbers, so the sums are exact in 128 bits and nothing is rounded before the last division:
//! order, offset and count don't matter, which no floating-point recurrence can say of itself.

/// Values counted; later ones are not. Keeps the largest sum of products below 2^127.
pub const MOST: u32 = 1 << 20;

/// Exact sums.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
pub struct Moments {
    count: u32,
    first: i64,
    last: i64,
    sum: i128,
    squares: i128,
    products: i128,
}

impl Moments {
    /// Adds one value of at most 2^32 in size.
    pub fn step(&mut self, value: i64) {
        if self.count >= MOST {
            return;
        }
        let wide = i128::from(value);
        if self.count == 0 {
            self.first = value;
        } else {
            self.products += wide * i128::from(self.last);
        }
        self.last = value;
        self.count += 1;
        self.sum += wide;
        self.squares += wide * wide;
    }

    /// Values added.
    pub fn count(&self) -> u32 {
        self.count
    }

    /// Arithmetic mean; none of nothing.
    pub fn mean(&self) -> Option<f64> {
        (self.count > 0).then(|| self.sum as f64 / f64::from(self.count))
    }

    /// Sum of squared deviations, times the count; exact.
    fn spread(&self) -> i128 {
        i128::from(self.count) * self.squares - self.sum * self.sum
    }

    /// Σ(x − mean)² / (count − 1).
    pub fn variance(&self) -> Option<f64> {
        let count = f64::from(self.count);
        (self.count > 1).then(|| self.spread() as f64 / (count * (count - 1.0)))
    }

    /// Standard deviation.
    pub fn deviation(&self) -> Option<f64> {
        self.variance().map(root)
    }

    /// Σ(x_t − mean)(x_t+1 − mean) / Σ(x_t − mean)²; none if all values are the same.
    pub fn autocorrelation(&self) -> Option<f64> {
        let count = i128::from(self.count);
        let ends = i128::from(self.first) + i128::from(self.last);
        let above =
            count * (count * self.products - self.sum * self.sum + self.sum * ends) - self.sum * self.sum;
        let below = count * self.spread();
        (below > 0).then(|| above as f64 / below as f64)
    }
}

/// Square root to the last or last but one bit: Newton's steps from a guess that halves the exponent.
///
/// The core library has none, and a processor's own would not be on every board.
pub fn root(square: f64) -> f64 {
    if square.is_nan() || square <= 0.0 {
        return 0.0;
    }
    let guess = f64::from_bits((square.to_bits() >> 1) + (1023_u64 << 51));
    (0..6).fold(guess, |root, _| 0.5 * (root + square / root))
}

#[cfg(test)]
mod tests {
    use super::*;

    fn check(values: &[i64], mean: Option<f64>, deviation: Option<f64>, autocorrelation: Option<f64>) {
        let mut moments = Moments::default();
        values.iter().for_each(|&value| moments.step(value));
        assert_eq!((moments.mean(), moments.deviation()), (mean, deviation), "{values:?}");
        assert_eq!(moments.autocorrelation(), autocorrelation, "{values:?}");
    }

    #[test]
    fn exact_where_floating_point_gives_up() {
        check(&[], None, None, None);
        check(&[7], Some(7.0), None, None);
        check(&[7, 7, 7], Some(7.0), Some(0.0), None);
        check(&[1, 2, 3], Some(2.0), Some(1.0), Some(0.0));
        let far = 1 << 32;
        check(&[far - 1, far, far - 1, far], Some(far as f64 - 0.5), Some(root(1.0 / 3.0)), Some(-0.75));
    }

    #[test]
    fn the_largest_values_fit() {
        let mut moments = Moments::default();
        (0..MOST + 5).for_each(|k| moments.step(if k % 2 == 0 { 1 << 32 } else { -(1 << 32) }));
        assert_eq!((moments.count(), moments.mean()), (MOST, Some(0.0)));
        assert!((moments.autocorrelation().unwrap() + 1.0).abs() < 1e-5);
    }

    #[test]
    fn roots_are_good_to_the_last_bit_but_one() {
        for k in 1..2000 {
            let square = f64::from(k) * 1.37e-3 * f64::powi(10.0, k % 40 - 20);
            let exact = square.sqrt();
            assert!((root(square) - exact).abs() <= 2.3e-16 * exact, "{square}");
        }
        assert_eq!([root(0.0), root(-1.0), root(f64::NAN)], [0.0; 3]);
    }
}
