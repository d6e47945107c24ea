//! In: digits and the number of decimals. Out: the value times a power of ten, exact or rounded once.

use core::fmt;

/// A decimal number as written: `mantissa / 10^decimals`. Unit: that of its column
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
pub(crate) struct Decimal {
    /// All digits.
    pub(crate) mantissa: i64,
    /// Number of digits after the decimal sign.
    pub(crate) decimals: u32,
}

/// Powers of ten within the range of `i64`.
const POWERS: [i64; 19] = {
    let mut powers = [1; 19];
    let mut at = 1;
    while at < 19 {
        powers[at] = powers[at - 1] * 10;
        at += 1;
    }
    powers
};

/// 10 to the power of `exponent`; `None` outside the range of `i64`.
pub(crate) fn power(exponent: u32) -> Option<i64> {
    POWERS.get(exponent as usize).copied()
}

impl Decimal {
    /// The value times `10^places`, rounded to nearest, and whether it is exact; `None` if it is too large.
    #[inline]
    pub(crate) fn scaled(self, places: i32) -> Option<(i64, bool)> {
        let shift = places - self.decimals as i32;
        if shift >= 0 {
            return if self.mantissa == 0 {
                Some((0, true))
            } else {
                self.mantissa.checked_mul(power(shift as u32)?).map(|whole| (whole, true))
            };
        }
        let Some(divisor) = power(shift.unsigned_abs()) else {
            return Some((0, self.mantissa == 0));
        };
        let (whole, remainder) = (self.mantissa / divisor, self.mantissa % divisor);
        let up = if remainder.unsigned_abs() >= divisor.unsigned_abs().div_ceil(2) {
            self.mantissa.signum()
        } else {
            0
        };
        Some((whole + up, remainder == 0))
    }

    /// Whether all digits after the decimal sign are zeros.
    pub(crate) fn is_whole(self) -> bool {
        self.scaled(0).is_some_and(|(_, exact)| exact)
    }

    /// Number of decimals without trailing zeros.
    pub(crate) fn needed(self) -> u32 {
        let (mut mantissa, mut decimals) = (self.mantissa, self.decimals);
        while decimals > 0 && mantissa % 10 == 0 {
            mantissa /= 10;
            decimals -= 1;
        }
        decimals
    }

    /// The difference, exact until its conversion to a double.
    pub(crate) fn minus(self, other: Decimal) -> f64 {
        let decimals = self.decimals.max(other.decimals);
        match (self.scaled(decimals as i32), other.scaled(decimals as i32)) {
            (Some((this, _)), Some((other, _))) => {
                (i128::from(this) - i128::from(other)) as f64 / 10f64.powi(decimals as i32)
            }
            _ => self.to_f64() - other.to_f64(),
        }
    }

    /// The nearest double.
    pub(crate) fn to_f64(self) -> f64 {
        self.mantissa as f64 / 10f64.powi(self.decimals as i32)
    }
}

impl fmt::Display for Decimal {
    fn fmt(&self, out: &mut fmt::Formatter<'_>) -> fmt::Result {
        match power(self.decimals) {
            Some(divisor) if self.decimals > 0 => {
                let sign = if self.mantissa < 0 { "-" } else { "" };
                let (size, divisor) = (self.mantissa.unsigned_abs(), divisor.unsigned_abs());
                write!(
                    out,
                    "{sign}{}.{:0width$}",
                    size / divisor,
                    size % divisor,
                    width = self.decimals as usize
                )
            }
            Some(_) => write!(out, "{}", self.mantissa),
            None => write!(out, "{}e-{}", self.mantissa, self.decimals),
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn scaling_rounds_to_nearest_and_reports_it() {
        let scaled = |mantissa, decimals, places| Decimal { mantissa, decimals }.scaled(places);
        assert_eq!(scaled(125, 2, 3), Some((1250, true)));
        assert_eq!(scaled(125, 2, 1), Some((13, false)));
        assert_eq!(scaled(-125, 2, 1), Some((-13, false)));
        assert_eq!(scaled(-124, 2, 1), Some((-12, false)));
        assert_eq!(scaled(120, 2, 1), Some((12, true)));
        assert_eq!(scaled(i64::MAX, 0, 1), None);
        assert_eq!(scaled(5, 30, 3), Some((0, false)));
        assert_eq!(scaled(0, 0, 99), Some((0, true)));
        assert_eq!(Decimal { mantissa: 1200, decimals: 3 }.needed(), 1);
        let (late, early) = (Decimal { mantissa: 1501, decimals: 3 }, Decimal { mantissa: 15, decimals: 1 });
        assert_eq!((late.minus(early), early.minus(late)), (0.001, -0.001));
        let shown = |mantissa, decimals| Decimal { mantissa, decimals }.to_string();
        assert_eq!(
            [shown(-5, 2), shown(-7, 0), shown(123, 1), shown(1, 30)],
            ["-0.05", "-7", "12.3", "1e-30"]
        );
        assert!(Decimal { mantissa: 1200, decimals: 2 }.is_whole());
        assert!(!Decimal { mantissa: 1200, decimals: 3 }.is_whole());
    }
}
