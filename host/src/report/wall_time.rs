//! In: instants. Out: the time of day in a time zone, with the date where it is another day.

use jiff::Timestamp;
use jiff::tz::TimeZone;

/// `14:02`, or `2026-05-04 14:02` if `beside`, the instant that is read beside it, is on another day.
/// Unit: µs since 1970, UTC
pub fn minute(microseconds: i64, beside: i64, zone: &TimeZone) -> String {
    let zoned =
        |microseconds| Some(Timestamp::from_microsecond(microseconds).ok()?.to_zoned_datetime(zone.clone()));
    let Some(time) = zoned(microseconds) else { return format!("{microseconds} µs") };
    let is_same_day = zoned(beside).is_some_and(|beside| beside.date() == time.date());
    time.strftime(if is_same_day { "%H:%M" } else { "%Y-%m-%d %H:%M" }).to_string()
}

/// `2026-05-04 14:02:07`. Unit: µs since 1970, UTC
pub fn second(microseconds: i64, zone: &TimeZone) -> String {
    let time = Timestamp::from_microsecond(microseconds);
    time.map_or(format!("{microseconds} µs"), |time| {
        time.to_zoned_datetime(zone.clone()).strftime("%Y-%m-%d %H:%M:%S").to_string()
    })
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn times_are_those_of_the_zone() {
        let zone = TimeZone::fixed(jiff::tz::offset(2));
        // 2026-05-04T21:59:59Z, and two minutes and a second later.
        let (evening, night) = (1_777_931_999_000_000, 1_777_932_120_000_000);
        assert_eq!(minute(evening, evening, &zone), "23:59");
        assert_eq!(minute(night, evening, &zone), "2026-05-05 00:02");
        assert_eq!(minute(night, evening, &TimeZone::UTC), "22:02");
        assert_eq!(second(evening, &zone), "2026-05-04 23:59:59");
        assert_eq!(minute(i64::MAX, 0, &zone), format!("{} µs", i64::MAX));
    }
}
