//! In: a signed fraction and a number as written. Out: their product, exact or rounded once.

use crate::trace::decimal::{Decimal, power};
use stillpoint_core::Fraction;

/// An exact signed fraction in lowest terms. Unit: that of the ratio it represents
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Ratio {
    upper: i64,
    /// Above 0.
    lower: i64,
}

impl Ratio {
    /// Nothing.
    pub const ZERO: Ratio = Ratio { upper: 0, lower: 1 };

    /// One to one.
    pub const ONE: Ratio = Ratio { upper: 1, lower: 1 };

    /// The fraction, negative if `negative`; `None` if it needs more than 63 bits.
    pub fn new(negative: bool, size: Fraction) -> Option<Ratio> {
        let upper = i64::try_from(size.numerator()).ok()?;
        let lower = i64::try_from(size.denominator()).ok()?;
        Some(Ratio { upper: if negative { -upper } else { upper }, lower })
    }

    /// Numerator and denominator of 31 bits, as the core has them; `None` if they need more.
    pub(crate) fn narrow(self) -> Option<(i32, i32)> {
        Some((i32::try_from(self.upper).ok()?, i32::try_from(self.lower).ok()?))
    }

    /// Its size without sign; `None` for 0.
    pub(crate) fn size(self) -> Option<Fraction> {
        Fraction::new(self.upper.unsigned_abs(), self.lower.unsigned_abs()).ok()
    }

    /// The product with a positive fraction; `None` if it needs more than 63 bits.
    pub(crate) fn times(self, other: Fraction) -> Option<Ratio> {
        match self.size() {
            Some(size) => Ratio::new(self.upper < 0, size.times(other).ok()?),
            None => Some(Ratio::ZERO),
        }
    }

    /// The product with a number, rounded to nearest, and whether it is exact; `None` if it is too large.
    pub(crate) fn of(self, figure: Decimal) -> Option<(i64, bool)> {
        let upper = i128::from(figure.mantissa) * i128::from(self.upper);
        let Some(tens) = power(figure.decimals) else { return Some((0, upper == 0)) };
        // At most 2^63 × 10^18, which is below 2^123.
        let lower = i128::from(self.lower) * i128::from(tens);
        let (whole, remainder) = (upper / lower, upper % lower);
        let up = if 2 * remainder.abs() >= lower { remainder.signum() } else { 0 };
        i64::try_from(whole + up).ok().map(|count| (count, remainder == 0))
    }

    /// The nearest double.
    pub fn to_f64(self) -> f64 {
        self.upper as f64 / self.lower as f64
    }
}

/// The least number of counts in a unit that hold every multiple of `ratio / 10^decimals` units exactly.
pub(crate) fn finest(ratio: Ratio, decimals: u32) -> Option<u64> {
    let tens = power(decimals)?.unsigned_abs();
    let step = ratio.size()?.times(Fraction::new(1, tens).ok()?).ok()?;
    Some(step.denominator())
}

/// Least common multiple; `None` beyond 64 bits.
pub(crate) fn common(one: u64, other: u64) -> Option<u64> {
    let ratio = Fraction::new(one, other).ok()?;
    one.checked_mul(ratio.denominator())
}

#[cfg(test)]
mod tests {
    use super::*;

    fn ratio(upper: i64, lower: u64) -> Ratio {
        Ratio::new(upper < 0, Fraction::new(upper.unsigned_abs(), lower).unwrap()).unwrap()
    }

    #[test]
    fn products_are_exact_or_rounded_once() {
        let of = |ratio: Ratio, mantissa, decimals| ratio.of(Decimal { mantissa, decimals });
        assert_eq!(of(ratio(1, 3), 9, 0), Some((3, true)));
        assert_eq!(of(ratio(1, 3), 10, 0), Some((3, false)));
        assert_eq!(of(ratio(-1, 3), 11, 0), Some((-4, false)));
        assert_eq!(of(ratio(-5, 2), -125, 2), Some((3, false)));
        assert_eq!(of(ratio(2500, 1), 125, 2), Some((3125, true)));
        assert_eq!(of(ratio(1, 1), 5, 30), Some((0, false)));
        assert_eq!(of(ratio(i64::MAX, 1), i64::MAX, 0), None);
        assert_eq!(of(ratio(i64::MAX, 1), i64::MIN, 18), None);
        assert_eq!(of(Ratio::ZERO, i64::MIN, 0), Some((0, true)));
        assert_eq!(of(ratio(1, i64::MAX as u64), i64::MIN, 18), Some((0, false)));
    }

    #[test]
    fn the_finest_counts_hold_every_number() {
        assert_eq!(finest(ratio(1, 3), 3), Some(3000));
        assert_eq!(finest(ratio(-5, 2), 1), Some(4));
        assert_eq!(finest(ratio(1000, 1), 3), Some(1));
        assert_eq!((finest(Ratio::ZERO, 0), finest(Ratio::ONE, 19)), (None, None));
        assert_eq!((common(3000, 4), common(1, 7), common(u64::MAX, 2)), (Some(3000), Some(7), None));
    }
}
