//! In: a time of day, with or without a date: `2031-05-04 10:11:12.345`. Out: seconds as a decimal number.
//!
//! Only differences matter, so a zone is ignored, and a time without a date counts from midnight.

use crate::trace::decimal::Decimal;
use memchr::memchr;

/// Decimals of a second.
const DECIMALS: u32 = 9;

/// Forms that are read, for messages.
pub(crate) const FORMS: &str =
    "10:11:12.345, 2031-05-04 10:11:12.345, 04.05.2031 10:11:12,345 or 04/05/2031 10:11:12.345 AM";

/// Seconds since midnight, or since 1970 if there is a date: ISO 8601, `2031/05/04` or `04.05.2031`. With `04/05/2031` only
/// their differences within a month are those of the calendar.
pub(crate) fn parse(cell: &[u8]) -> Option<Decimal> {
    // Most cells have no colon, and need not be text.
    memchr(b':', cell)?;
    let (text, half) = half(core::str::from_utf8(cell).ok()?.trim());
    let (date, time) = match text.split_once(['T', ' ']) {
        Some((date, time)) => (days(date)?, time.trim()),
        None => (0, text),
    };
    let (second, nanos) = clock(time.trim_end_matches('Z').split(['+', ' ']).next()?)?;
    let second = match half {
        Some(_) if !(3600..13 * 3600).contains(&second) => return None,
        Some(start) => second % (12 * 3600) + start,
        None => second,
    };
    let mantissa = (date * 86_400 + second).checked_mul(10i64.pow(DECIMALS))?.checked_add(nanos)?;
    Some(Decimal { mantissa, decimals: DECIMALS })
}

/// The text without AM or PM, and the start of that half of the day. Unit: s
fn half(text: &str) -> (&str, Option<i64>) {
    let end = text.len().checked_sub(2).filter(|&at| text.is_char_boundary(at));
    let (rest, mark) = text.split_at(end.unwrap_or(text.len()));
    match mark.to_ascii_uppercase().as_str() {
        "AM" => (rest.trim_end(), Some(0)),
        "PM" => (rest.trim_end(), Some(12 * 3600)),
        _ => (text, None),
    }
}

/// `10:11:12.345` as seconds and nanoseconds; comma or point as decimal sign.
fn clock(text: &str) -> Option<(i64, i64)> {
    let mut parts = text.split(':');
    let (hour, minute, seconds) = (part(parts.next()?, 24)?, part(parts.next()?, 60)?, parts.next()?);
    let (second, fraction) = seconds.split_once(['.', ',']).unwrap_or((seconds, ""));
    let digits = fraction.bytes().all(|byte| byte.is_ascii_digit()) && parts.next().is_none();
    let nanos = fraction.bytes().chain(core::iter::repeat(b'0')).take(DECIMALS as usize);
    let nanos = nanos.fold(0, |nanos, byte| nanos * 10 + i64::from(byte.wrapping_sub(b'0')));
    digits.then_some((hour * 3600 + minute * 60 + part(second, 61)?, nanos))
}

/// Days since 1970 of a date in the Gregorian calendar.
fn days(text: &str) -> Option<i64> {
    let parts: Vec<&str> = text.split(['-', '/', '.']).collect();
    let (year, month, day) = match parts[..] {
        [day, month, year] if text.contains('.') && year.len() == 4 => (year, month, day),
        [year, month, day] if year.len() == 4 => (year, month, day),
        [first, second, year] if text.contains('/') && year.len() == 4 => return either(first, second, year),
        _ => return None,
    };
    let (year, month, day) = (part(year, 10_000)?, part(month, 13)?, part(day, 32)?);
    // Years are counted from March, so that the leap day is the last day: 153 days in each five months from there.
    let (year, month) = if month > 2 { (year, month - 3) } else { (year - 1, month + 9) };
    Some(
        365 * year + year.div_euclid(4) - year.div_euclid(100)
            + year.div_euclid(400)
            + (153 * month + 2) / 5
            + day
            - 719_469,
    )
}

/// Days of a date whose first number may be day or month: their sum is one more a day later, whichever is the day. A new
/// month goes back, which reads as a restart of the clock.
fn either(first: &str, second: &str, year: &str) -> Option<i64> {
    let (first, second, year) = (part(first, 32)?, part(second, 32)?, part(year, 10_000)?);
    let is_date = first >= 1 && second >= 1 && first.min(second) <= 12;
    is_date.then(|| 366 * (year - 1970) + first + second)
}

/// A whole number below `limit`.
fn part(text: &str, limit: i64) -> Option<i64> {
    let digits = !text.is_empty() && text.len() <= 4 && text.bytes().all(|byte| byte.is_ascii_digit());
    digits.then(|| text.parse().ok())?.filter(|&number| number < limit)
}

#[cfg(test)]
mod tests {
    use super::*;

    #[track_caller]
    fn check(text: &str, expected: Option<(i64, i64)>) {
        let found = parse(text.as_bytes()).map(|figure| figure.mantissa);
        assert_eq!(found, expected.map(|(second, nanos)| second * 1_000_000_000 + nanos), "{text:?}");
    }

    #[test]
    fn stamps_become_seconds() {
        check("00:00:00", Some((0, 0)));
        check("10:11:12.345", Some((36_672, 345_000_000)));
        check("10:11:12,000000001", Some((36_672, 1)));
        check("1970-01-01T00:00:01Z", Some((1, 0)));
        check("1970-03-01 00:00:00", Some((59 * 86_400, 0)));
        check("2000-02-29 00:00:00.5", Some((951_782_400, 500_000_000)));
        check("2001-09-09T01:46:40+02:00", Some((1_000_000_000, 0)));
        check("09.09.2001 01:46:40", Some((1_000_000_000, 0)));
        check("2001/09/09 01:46:40", Some((1_000_000_000, 0)));
    }

    /// Source of the halves of a day: common practice, no source.
    #[test]
    fn halves_of_a_day_and_days_of_either_order_are_read() {
        let seconds = |text: &str| parse(text.as_bytes()).map(|figure| figure.to_f64());
        check("12:00:00 AM", Some((0, 0)));
        check("01:00:00.5 am", Some((3600, 500_000_000)));
        check("12:00:00PM", Some((12 * 3600, 0)));
        check("11:59:59 PM", Some((86_399, 0)));
        for (day, next) in
            [("03/11/2031", "04/11/2031"), ("11/03/2031", "11/04/2031"), ("12/11/2031", "13/11/2031")]
        {
            let (before, after) = (format!("{day} 11:59:59 PM"), format!("{next} 00:00:00"));
            assert_eq!(
                seconds(&after).zip(seconds(&before)).map(|(after, before)| after - before),
                Some(1.0)
            );
        }
    }

    #[test]
    fn anything_else_is_not_a_stamp() {
        for text in [
            "",
            "10:11",
            "24:00:00",
            "10:60:00",
            "10:11:12:13",
            "10:11:12.x",
            "13/13/2001 01:46:40",
            "0/09/2001 01:46:40",
            "13:46:40 PM",
            "00:46:40 AM",
            "01:46 PM",
            "a 10:11:12",
            "2001-13-01 00:00:00",
            "2001-09-09",
            "-1:00:00",
            "12.5",
            "\u{e9}:00:00",
        ] {
            check(text, None);
        }
    }
}
