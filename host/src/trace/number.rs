//! In: the bytes of one cell. Out: the exact decimal number written there.
//!
//! Numbers stay decimal until they become counts, so nothing is rounded twice.

use crate::trace::decimal::{Decimal, power};

/// Reads a plain number of up to 18 digits that starts at `at` and ends before a delimiter or the end of the line.
/// Returns the number and its end; for `None` call [`quick`].
#[inline]
pub(crate) fn fast(line: &[u8], mut at: usize, delimiter: u8, decimal: u8) -> Option<(Decimal, usize)> {
    while line.get(at) == Some(&b' ') {
        at += 1;
    }
    let (figure, count, mut at) = plain(line, at, decimal);
    while delimiter != b' ' && line.get(at) == Some(&b' ') {
        at += 1;
    }
    let ended = line.get(at).is_none_or(|&byte| byte == delimiter);
    (ended && (1..=18).contains(&count)).then_some((figure, at))
}

/// As [`fast`], for numbers with an exponent, in quotes or with zeros before 18 digits; for `None` call [`parse`].
#[inline(never)]
pub(crate) fn quick(line: &[u8], mut at: usize, delimiter: u8, decimal: u8) -> Option<(Decimal, usize)> {
    while line.get(at) == Some(&b' ') {
        at += 1;
    }
    let quoted = line.get(at) == Some(&b'"');
    let start = at + usize::from(quoted);
    let (mut figure, count, mut at) = plain(line, start, decimal);
    let zeros =
        || line[start..at].iter().take_while(|&&byte| matches!(byte, b'-' | b'0') || byte == decimal).count();
    if count == 0 || count > 18 && at - start - zeros() > 18 {
        return None;
    }
    if let Some(b'e' | b'E') = line.get(at) {
        (figure, at) = shifted(line, at + 1, figure)?;
    }
    if quoted {
        line.get(at).filter(|&&byte| byte == b'"')?;
        at += 1;
    }
    while delimiter != b' ' && line.get(at) == Some(&b' ') {
        at += 1;
    }
    line.get(at).is_none_or(|&byte| byte == delimiter).then_some((figure, at))
}

/// The number of sign, digits and decimal sign at `at`, the count of its digits, and its end.
/// It is invalid if there are more than 18 digits after the leading zeros.
#[inline(always)]
fn plain(line: &[u8], mut at: usize, decimal: u8) -> (Decimal, usize, usize) {
    let negative = line.get(at) == Some(&b'-');
    at += usize::from(negative);
    let start = at;
    let mut mantissa = 0i64;
    at = digits(line, at, &mut mantissa);
    let mut count = at - start;
    let mut decimals = 0;
    if line.get(at) == Some(&decimal) {
        let point = at + 1;
        at = digits(line, point, &mut mantissa);
        decimals = at - point;
        count += decimals;
    }
    let mantissa = if negative { mantissa.wrapping_neg() } else { mantissa };
    (Decimal { mantissa, decimals: decimals as u32 }, count, at)
}

/// Reads the exponent that starts at `at`, and applies it to the number.
fn shifted(line: &[u8], mut at: usize, figure: Decimal) -> Option<(Decimal, usize)> {
    let negative = line.get(at) == Some(&b'-');
    at += usize::from(negative || line.get(at) == Some(&b'+'));
    let (start, mut size) = (at, 0);
    at = digits(line, at, &mut size);
    if !(1..=3).contains(&(at - start)) {
        return None;
    }
    let places = if negative { -(size as i32) } else { size as i32 } - figure.decimals as i32;
    normal(figure.mantissa, places).map(|figure| (figure, at))
}

/// Reads digits from `at` on; wraps if there are too many, which the caller checks by their count.
#[inline]
fn digits(line: &[u8], mut at: usize, mantissa: &mut i64) -> usize {
    while let Some(digit) = line.get(at).map(|byte| byte.wrapping_sub(b'0')).filter(|&digit| digit < 10) {
        *mantissa = mantissa.wrapping_mul(10).wrapping_add(i64::from(digit));
        at += 1;
    }
    at
}

/// Reads any number of a cell: sign, digits, decimal sign, exponent, surrounding spaces.
///
/// Digits beyond the range of `i64` are dropped after the decimal sign; before it they make the number unreadable. `NaN`,
/// infinities and anything else give `None`.
pub(crate) fn parse(cell: &[u8], decimal: u8) -> Option<Decimal> {
    let (negative, cell) = sign(trim(cell));
    let (body, exponent) = match cell.iter().position(|byte| matches!(byte, b'e' | b'E' | b'd' | b'D')) {
        Some(at) => (&cell[..at], self::exponent(&cell[at + 1..])?),
        None => (cell, 0),
    };
    let (mut mantissa, mut places, mut count, mut is_fraction) = (0i64, exponent, 0, false);
    for &byte in body {
        if byte == decimal && !is_fraction {
            is_fraction = true;
            continue;
        }
        let digit = i64::from(byte.checked_sub(b'0').filter(|&digit| digit < 10)?);
        count += 1;
        match mantissa.checked_mul(10).and_then(|shifted| shifted.checked_add(digit)) {
            Some(longer) => (mantissa, places) = (longer, places - i32::from(is_fraction)),
            None => places += i32::from(!is_fraction),
        }
    }
    let mantissa = if negative { -mantissa } else { mantissa };
    (count > 0).then(|| normal(mantissa, places)).flatten()
}

/// As [`parse`], and also numbers with separators of thousands, where they can't be anything else: `1.027,2` with a decimal
/// comma, `1,027.2` with a point, `1'027`. One separator without a decimal sign, as in `1,027`, is not read.
pub(crate) fn of_cell(cell: &[u8], decimal: u8) -> Option<Decimal> {
    parse(cell, decimal).or_else(|| grouped(cell, decimal))
}

/// The number of a cell whose whole part is written in groups of three digits.
#[cold]
fn grouped(cell: &[u8], decimal: u8) -> Option<Decimal> {
    let cell = trim(cell);
    let (_, digits) = sign(cell);
    let start = cell.len() - digits.len();
    let end = digits.iter().position(|&byte| byte == decimal).unwrap_or(digits.len());
    let separator = *digits[..end].iter().find(|byte| !byte.is_ascii_digit())?;
    let is_other = separator == b'.' || separator == b',';
    let groups: Vec<&[u8]> = digits[..end].split(|&byte| byte == separator).collect();
    let (first, later) = groups.split_first()?;
    let is_sure = !is_other || end < digits.len() || later.len() > 1;
    let is_first = (1..=3).contains(&first.len()) && first[0] != b'0';
    let are_groups = later.iter().all(|group| group.len() == 3);
    if !(is_sure && is_first && are_groups && (is_other || separator == b'\'')) {
        return None;
    }
    let whole = cell[..start + end].iter().filter(|&&byte| byte != separator);
    let bare: Vec<u8> = whole.chain(&cell[start + end..]).copied().collect();
    parse(&bare, decimal)
}

fn exponent(text: &[u8]) -> Option<i32> {
    let (negative, digits) = sign(text);
    let text =
        core::str::from_utf8(digits).ok().filter(|text| text.bytes().all(|byte| byte.is_ascii_digit()))?;
    let size: i32 = text.parse().ok().filter(|&size| size < 400)?;
    Some(if negative { -size } else { size })
}

/// `mantissa × 10^places` as a decimal number; `None` if it is too large.
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

/// Splits off the sign; minus may also be U+2212, as some spreadsheets write it.
fn sign(text: &[u8]) -> (bool, &[u8]) {
    match text {
        [b'-', rest @ ..] | [0xE2, 0x88, 0x92, rest @ ..] => (true, rest),
        [b'+', rest @ ..] => (false, rest),
        _ => (false, text),
    }
}

/// Removes spaces and no-break spaces (Windows-1252 or UTF-8) from both ends.
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
        for faster in [fast, quick] {
            let other = faster(text.as_bytes(), 0, b';', decimal)
                .map(|(figure, _)| (figure.mantissa, figure.decimals));
            assert!(other.is_none() || other == expected, "{text:?} gave {other:?} on a faster path");
        }
    }

    #[test]
    fn numbers_are_exact() {
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

    /// Source: ISO 80000-1, 7.3.1, groups of three digits; which signs separate them is common practice.
    #[test]
    fn separators_of_thousands_are_read_where_they_are_certain() {
        let found = |text: &str, decimal| {
            of_cell(text.as_bytes(), decimal).map(|figure| (figure.mantissa, figure.decimals))
        };
        for (text, decimal, mantissa, decimals) in [
            ("1.000,0", b',', 10_000, 1),
            (" -1,027.25 ", b'.', -102_725, 2),
            ("12.345.678", b',', 12_345_678, 0),
            ("1'027", b'.', 1027, 0),
            ("999,5", b',', 9995, 1),
            ("1.000,5e2", b',', 100_050, 0),
        ] {
            assert_eq!(found(text, decimal), Some((mantissa, decimals)), "{text:?}");
        }
        for (text, decimal) in [
            ("1.000", b','),
            ("1,000", b'.'),
            ("0.001,5", b','),
            ("1000.000,5", b','),
            ("1.00,5", b','),
            ("1.000,5.5", b','),
            ("1.000'000,5", b','),
            (".000,5", b','),
            ("1_000.5", b'.'),
            ("1:000.5", b'.'),
            ("03.11.2031", b','),
        ] {
            assert_eq!(found(text, decimal), None, "{text:?}");
        }
    }

    #[test]
    fn the_fast_path_stops_at_the_delimiter() {
        let (figure, at) = fast(b"x;-12,5 ;9", 2, b';', b',').unwrap();
        assert_eq!((figure, at), (Decimal { mantissa: -125, decimals: 1 }, 8));
        assert_eq!(quick(b"\"1.5\";", 0, b';', b'.'), Some((Decimal { mantissa: 15, decimals: 1 }, 5)));
        assert_eq!(
            quick(b"0.0012345678901234567;", 0, b';', b'.').map(|(figure, _)| figure.decimals),
            Some(19)
        );
        for unread in ["\"1.5;", "1.5\";", "\"1\"2;", "1e;", "1e1234;", "1e3x;", "e3;"] {
            assert_eq!(quick(unread.as_bytes(), 0, b';', b'.'), None, "{unread:?}");
        }
        assert_eq!(fast(b"1234567890123456789", 0, b';', b'.'), None);
    }
}
