//! In: the bytes of one cell. Out: the exact decimal figure written there.
//!
//! Figures stay decimal (digits and a place) until they are counts, so nothing is rounded twice.

use core::fmt;

/// A decimal figure as it was written: `mantissa / 10^decimals`. Unit: that of its column
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
pub(crate) struct Decimal {
    /// All digits.
    pub(crate) mantissa: i64,
    /// How many of them stand behind the decimal sign.
    pub(crate) decimals: u32,
}

/// Powers of ten that an `i64` holds.
const POWERS: [i64; 19] = {
    let mut powers = [1; 19];
    let mut at = 1;
    while at < 19 {
        powers[at] = powers[at - 1] * 10;
        at += 1;
    }
    powers
};

/// 10 to the power of `exponent`, if an `i64` holds it.
pub(crate) fn power(exponent: u32) -> Option<i64> {
    POWERS.get(exponent as usize).copied()
}

impl Decimal {
    /// The value times `10^places`, rounded to nearest, and whether that was exact; `None` if too large.
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
        let (whole, rest) = (self.mantissa / divisor, self.mantissa % divisor);
        let up = if rest.unsigned_abs() >= divisor.unsigned_abs().div_ceil(2) {
            self.mantissa.signum()
        } else {
            0
        };
        Some((whole + up, rest == 0))
    }

    /// Whether nothing but zeros stands behind the decimal sign.
    pub(crate) fn is_whole(self) -> bool {
        self.scaled(0).is_some_and(|(_, exact)| exact)
    }

    /// How many decimals are left without the zeros at the end.
    pub(crate) fn needed(self) -> u32 {
        let (mut mantissa, mut decimals) = (self.mantissa, self.decimals);
        while decimals > 0 && mantissa % 10 == 0 {
            mantissa /= 10;
            decimals -= 1;
        }
        decimals
    }

    /// The difference, exact but for its last step to a double.
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

/// Reads a plain figure of up to 18 digits that starts at `at` and ends before a delimiter or the
/// end of the line. Gives the figure and where it ended; `None` leaves the cell to [`parse`].
#[inline]
pub(crate) fn fast(line: &[u8], mut at: usize, delimiter: u8, decimal: u8) -> Option<(Decimal, usize)> {
    while line.get(at) == Some(&b' ') {
        at += 1;
    }
    let negative = line.get(at) == Some(&b'-');
    at += usize::from(negative);
    let start = at;
    let mut mantissa = 0i64;
    at = digits(line, at, &mut mantissa);
    let mut count = at - start;
    let mut decimals = 0;
    if line.get(at) == Some(&decimal) && decimal != delimiter {
        let point = at + 1;
        at = digits(line, point, &mut mantissa);
        decimals = at - point;
        count += decimals;
    }
    while delimiter != b' ' && line.get(at) == Some(&b' ') {
        at += 1;
    }
    let ended = line.get(at).is_none_or(|&byte| byte == delimiter);
    let mantissa = if negative { mantissa.wrapping_neg() } else { mantissa };
    (ended && (1..=18).contains(&count)).then_some((Decimal { mantissa, decimals: decimals as u32 }, at))
}

/// Takes digits from `at` on; wraps when there are too many, which the caller counts.
#[inline]
fn digits(line: &[u8], mut at: usize, mantissa: &mut i64) -> usize {
    while let Some(digit) = line.get(at).map(|byte| byte.wrapping_sub(b'0')).filter(|&digit| digit < 10) {
        *mantissa = mantissa.wrapping_mul(10).wrapping_add(i64::from(digit));
        at += 1;
    }
    at
}

/// Reads any figure a cell may hold: sign, digits, decimal sign, exponent, blanks around it.
///
/// Digits beyond the 18 or 19 that an `i64` holds are dropped behind the decimal sign, and make the
/// figure unreadable before it. `NaN`, infinities and everything else give `None`.
pub(crate) fn parse(cell: &[u8], decimal: u8) -> Option<Decimal> {
    let (negative, cell) = sign(trim(cell));
    let (body, exponent) = match cell.iter().position(|byte| matches!(byte, b'e' | b'E' | b'd' | b'D')) {
        Some(at) => (&cell[..at], self::exponent(&cell[at + 1..])?),
        None => (cell, 0),
    };
    let (mut mantissa, mut places, mut count, mut behind) = (0i64, exponent, 0, false);
    for &byte in body {
        if byte == decimal && !behind {
            behind = true;
            continue;
        }
        let digit = i64::from(byte.checked_sub(b'0').filter(|&digit| digit < 10)?);
        count += 1;
        match mantissa.checked_mul(10).and_then(|shifted| shifted.checked_add(digit)) {
            Some(longer) => (mantissa, places) = (longer, places - i32::from(behind)),
            None => places += i32::from(!behind),
        }
    }
    let mantissa = if negative { -mantissa } else { mantissa };
    (count > 0).then(|| normal(mantissa, places)).flatten()
}

fn exponent(text: &[u8]) -> Option<i32> {
    let (negative, digits) = sign(text);
    let text =
        core::str::from_utf8(digits).ok().filter(|text| text.bytes().all(|byte| byte.is_ascii_digit()))?;
    let size: i32 = text.parse().ok().filter(|&size| size < 400)?;
    Some(if negative { -size } else { size })
}

/// Makes `mantissa × 10^places` a figure without a positive exponent.
fn normal(mantissa: i64, places: i32) -> Option<Decimal> {
    if places <= 0 {
        return Some(Decimal { mantissa, decimals: places.unsigned_abs() });
    }
    if mantissa == 0 {
        return Some(Decimal::default());
    }
    let mantissa = mantissa.checked_mul(power(places as u32)?)?;
    Some(Decimal { mantissa, decimals: 0 })
}

/// Minus may also be U+2212, as typeset by spreadsheets.
fn sign(text: &[u8]) -> (bool, &[u8]) {
    match text {
        [b'-', rest @ ..] | [0xE2, 0x88, 0x92, rest @ ..] => (true, rest),
        [b'+', rest @ ..] => (false, rest),
        _ => (false, text),
    }
}

/// Takes blanks and no-break spaces (Windows-1252 or UTF-8) off both ends.
fn trim(mut text: &[u8]) -> &[u8] {
    loop {
        text = match text {
            [b' ' | b'\t' | 0xA0, rest @ ..] | [0xC2, 0xA0, rest @ ..] => rest,
            [rest @ .., 0xC2, 0xA0] | [rest @ .., b' ' | b'\t' | 0xA0] => rest,
            _ => return text,
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[track_caller]
    fn check(text: &str, decimal: u8, expected: Option<(i64, u32)>) {
        let found = parse(text.as_bytes(), decimal).map(|figure| (figure.mantissa, figure.decimals));
        assert_eq!(found, expected, "{text:?}");
        let quick =
            fast(text.as_bytes(), 0, b';', decimal).map(|(figure, _)| (figure.mantissa, figure.decimals));
        assert!(quick.is_none() || quick == expected, "{text:?} gave {quick:?} on the fast path");
    }

    #[test]
    fn figures_are_exact() {
        let dot = |text, mantissa, decimals| check(text, b'.', Some((mantissa, decimals)));
        dot("0", 0, 0);
        dot("-0.19556", -19556, 5);
        dot("+12.50", 1250, 2);
        dot("  7 ", 7, 0);
        dot("\u{a0}7\u{a0}", 7, 0);
        dot("\u{2212}1.5", -15, 1);
        dot(".5", 5, 1);
        dot("5.", 5, 0);
        dot("1.25e-3", 125, 5);
        dot("1.25E+3", 1250, 0);
        dot("1d2", 100, 0);
        dot("0e300", 0, 0);
        dot("1e-30", 1, 30);
        dot("1700000000000000000", 1_700_000_000_000_000_000, 0);
        dot("0.95533648912560612345678", 955_336_489_125_606_123, 18);
        check("-3,25", b',', Some((-325, 2)));
        for text in [
            "",
            "-",
            ".",
            "e5",
            "1e",
            "1e+",
            "1.2.3",
            "1,5",
            "nan",
            "inf",
            "0x10",
            "1 2",
            "1e999",
            "99999999999999999999",
        ] {
            check(text, b'.', None);
        }
    }

    #[test]
    fn the_fast_path_stops_at_the_delimiter() {
        let (figure, at) = fast(b"x;-12,5 ;9", 2, b';', b',').unwrap();
        assert_eq!((figure, at), (Decimal { mantissa: -125, decimals: 1 }, 8));
        assert_eq!(fast(b"1e3;", 0, b';', b'.'), None);
        assert_eq!(fast(b"1234567890123456789", 0, b';', b'.'), None);
    }

    #[test]
    fn scaling_rounds_to_nearest_and_says_so() {
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
