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

/// `05-04 14:02`, where the year is known. Unit: µs since 1970, UTC
pub fn day(microseconds: i64, zone: &TimeZone) -> String {
    let time = Timestamp::from_microsecond(microseconds);
    time.map_or(format!("{microseconds} µs"), |time| {
        time.to_zoned_datetime(zone.clone()).strftime("%m-%d %H:%M").to_string()
    })
}

/// Name of the zone of no offset.
pub const UTC: &str = "UTC";
/// Other names of it, of the time-zone database.
const ALSO_UTC: [&str; 7] = ["Etc/UTC", "Etc/UCT", "Etc/Universal", "Etc/Zulu", "UCT", "Universal", "Zulu"];

/// Name of a zone, `Europe/Berlin`; `UTC` where the computer has none; `this computer's zone` where it has no name.
pub fn zone(zone: &TimeZone) -> String {
    let is_utc = *zone == TimeZone::UTC || zone.iana_name().is_some_and(|name| ALSO_UTC.contains(&name));
    if is_utc || zone.is_unknown() {
        return UTC.to_owned();
    }
    let offset = || zone.to_fixed_offset().map(|offset| format!("UTC{offset}")).ok();
    let name = zone.iana_name().map(str::to_owned).or_else(offset);
    name.unwrap_or_else(|| "this computer's zone".to_owned())
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn zones_have_names() {
        let berlin = TimeZone::get("Europe/Berlin").unwrap_or(TimeZone::UTC);
        let name = if berlin == TimeZone::UTC { "UTC" } else { "Europe/Berlin" };
        assert_eq!(zone(&berlin), name);
        assert_eq!([zone(&TimeZone::UTC), zone(&TimeZone::unknown())], ["UTC", "UTC"]);
        let etc = TimeZone::get("Etc/UTC").unwrap_or(TimeZone::UTC);
        assert_eq!(zone(&etc), "UTC");
        assert_eq!(zone(&TimeZone::fixed(jiff::tz::offset(2))), "UTC+02");
    }

    #[test]
    fn times_are_those_of_the_zone() {
        let zone = TimeZone::fixed(jiff::tz::offset(2));
        // 2026-05-04T21:59:59Z, and two minutes and a second later.
        let (evening, night) = (1_777_931_999_000_000, 1_777_932_120_000_000);
        assert_eq!(minute(evening, evening, &zone), "23:59");
        assert_eq!(minute(night, evening, &zone), "2026-05-05 00:02");
        assert_eq!(minute(night, evening, &TimeZone::UTC), "22:02");
        assert_eq!(second(evening, &zone), "2026-05-04 23:59:59");
        assert_eq!(day(evening, &zone), "05-04 23:59");
        assert_eq!(minute(i64::MAX, 0, &zone), format!("{} µs", i64::MAX));
    }
}
