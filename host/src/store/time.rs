//! In: an instant as text. Out: microseconds since 1970, UTC; and back.

use jiff::{SignedDuration, Timestamp};
use serde::Serializer;

use crate::error::Error;

/// Now, by this computer's clock. Unit: µs since 1970, UTC
pub fn now() -> i64 {
    Timestamp::now().as_microsecond()
}

/// An instant as RFC 3339. Input unit: µs since 1970, UTC
pub fn text(microseconds: i64) -> String {
    // The calendar ends with the year 9999; beyond, the number itself is written.
    Timestamp::from_microsecond(microseconds)
        .map_or(format!("{microseconds} µs"), |time| format!("{time:.6}"))
}

/// The same in a file. Input unit: µs since 1970, UTC
pub fn serialize<S: Serializer>(microseconds: &i64, serializer: S) -> Result<S::Ok, S::Error> {
    serializer.serialize_str(&text(*microseconds))
}

/// `2026-05-04T10:11:12Z`, a date, or how long ago: `90s`, `30m`, `2h`, `3d`. Unit: µs since 1970, UTC
pub fn parse(option: &str, value: &str, now: i64) -> Result<i64, Error> {
    let value = value.trim();
    let read = ago(value).and_then(|ago| now.checked_sub(ago)).or_else(|| {
        let time = value.parse::<Timestamp>().ok();
        let date = || format!("{value}T00:00:00Z").parse::<Timestamp>().ok();
        time.or_else(date).map(Timestamp::as_microsecond)
    });
    read.ok_or_else(|| Error::Option {
        option: option.to_owned(),
        value: value.to_owned(),
        wrong: "is no time".to_owned(),
        remedy: "give 2026-05-04T10:00:00Z, a date, or how long ago: 30m, 2h, 3d".to_owned(),
    })
}

/// A length of time in words. Unit: µs
fn ago(value: &str) -> Option<i64> {
    let (number, unit) = value.split_at_checked(value.len().checked_sub(1)?)?;
    let seconds = match unit {
        "s" => 1,
        "m" => 60,
        "h" => 3600,
        "d" => 86_400,
        _ => return None,
    };
    let number = number.parse::<u32>().ok()?;
    i64::try_from(SignedDuration::from_secs(i64::from(number) * seconds).as_micros()).ok()
}

#[cfg(test)]
mod tests {
    use super::*;

    #[track_caller]
    fn check(value: &str, expected: Option<i64>) {
        assert_eq!(parse("--since", value, 1_000_000_000_000_000).ok(), expected, "{value}");
    }

    #[test]
    fn times_as_people_write_them() {
        check("1970-01-01T00:00:01Z", Some(1_000_000));
        check("1970-01-01T01:00:00.5+01:00", Some(500_000));
        check("1970-01-02", Some(86_400_000_000));
        check("2h", Some(999_992_800_000_000));
        check(" 90s ", Some(999_999_910_000_000));
        for wrong in ["", "h", "yesterday", "-2h", "1970-13-01", "2 h", "é"] {
            check(wrong, None);
        }
        assert_eq!(text(1_500_000), "1970-01-01T00:00:01.500000Z");
        assert_eq!(text(i64::MAX), format!("{} µs", i64::MAX));
    }
}
