//! In: a stretch of time and a zone. Out: ticks at round local times, the date where a day begins.

use jiff::Timestamp;
use jiff::civil::{DateTime, Time};
use jiff::tz::TimeZone;

use super::scale::Tick;

const DAY: i64 = 86_400;
/// Round distances of ticks; those below a day divide it. Unit: s
const STEPS: [i64; 26] = [
    1,
    2,
    5,
    10,
    15,
    30,
    60,
    120,
    300,
    600,
    900,
    1800,
    3600,
    7200,
    10_800,
    21_600,
    43_200,
    DAY,
    2 * DAY,
    7 * DAY,
    14 * DAY,
    28 * DAY,
    91 * DAY,
    182 * DAY,
    364 * DAY,
    3640 * DAY,
];

/// About `count` ticks at most, their values in seconds since 1970, UTC. Unit of the stretch: µs since 1970, UTC
pub(super) fn local_ticks((from, to): (i64, i64), count: usize, zone: &TimeZone) -> Vec<Tick> {
    let length = to.saturating_sub(from) / 1_000_000;
    let is_enough = |step: &&i64| length / **step <= count.max(1) as i64;
    let step = STEPS.iter().find(is_enough).copied().unwrap_or(STEPS[STEPS.len() - 1]);
    let (Some(first), Some(last)) = (civil_seconds(from, zone), civil_seconds(to, zone)) else {
        return Vec::new();
    };
    // An hour that a clock skips or repeats shifts instants by at most a day.
    let places = first.div_euclid(step)..=last.div_euclid(step) + 1;
    let mut instants: Vec<(i64, DateTime)> = places
        .filter_map(|place| instant(place * step, zone))
        .filter(|(at, _)| (from..=to).contains(at))
        .collect();
    instants.dedup_by_key(|(at, _)| *at);
    let mut before: Option<DateTime> = None;
    let tick = |(at, local): (i64, DateTime)| {
        let text = text(local, before.replace(local), step);
        Tick { value: at as f64 * 1e-6, text: Some(text) }
    };
    instants.into_iter().map(tick).collect()
}

/// Local time as seconds since 1970-01-01 00:00, local. Unit of the instant: µs since 1970, UTC
fn civil_seconds(at: i64, zone: &TimeZone) -> Option<i64> {
    let local = zone.to_datetime(Timestamp::from_microsecond(at).ok()?);
    Some(local.to_zoned_datetime(TimeZone::UTC).ok()?.timestamp().as_second())
}

/// When the clock of the zone reads this, and what it reads. Unit: µs since 1970, UTC
fn instant(civil_seconds: i64, zone: &TimeZone) -> Option<(i64, DateTime)> {
    let local = TimeZone::UTC.to_datetime(Timestamp::from_second(civil_seconds).ok()?);
    let zoned = local.to_zoned_datetime(zone.clone()).ok()?;
    Some((zoned.timestamp().as_microsecond(), zoned.datetime()))
}

/// The time, with the date on the first tick and on the first of a day; or the day, with the year likewise.
fn text(local: DateTime, before: Option<DateTime>, step: i64) -> String {
    let is_new_day = before.is_none_or(|before| before.date() != local.date());
    let is_new_year = before.is_none_or(|before| before.year() != local.year());
    let form = match step {
        DAY.. if is_new_year => "%Y-%m-%d",
        DAY.. => "%m-%d",
        ..60 => "%H:%M:%S",
        _ if is_new_day && local.time() == Time::midnight() => "%m-%d",
        _ if is_new_day => "%m-%d %H:%M",
        _ => "%H:%M",
    };
    local.strftime(form).to_string()
}

#[cfg(test)]
mod tests {
    use super::*;

    /// 2026-05-04T21:00:00Z. Unit: µs since 1970
    const EVENING: i64 = 1_777_928_400_000_000;
    const HOUR: i64 = 3_600_000_000;

    fn texts(length: i64, count: usize, zone: &TimeZone) -> Vec<String> {
        local_ticks((EVENING, EVENING + length), count, zone)
            .into_iter()
            .filter_map(|tick| tick.text)
            .collect()
    }

    #[test]
    fn ticks_are_round_on_the_clock_of_the_zone() {
        let two_ahead = TimeZone::fixed(jiff::tz::offset(2));
        assert_eq!(texts(2 * HOUR, 4, &two_ahead), ["05-04 23:00", "23:30", "05-05", "00:30", "01:00"]);
        assert_eq!(texts(2 * HOUR, 4, &TimeZone::UTC), ["05-04 21:00", "21:30", "22:00", "22:30", "23:00"]);
        assert_eq!(texts(HOUR / 120, 6, &TimeZone::UTC)[..2], ["21:00:00", "21:00:05"]);
        // Half an hour beside others.
        let odd = TimeZone::fixed(jiff::tz::Offset::from_seconds(19_800).expect("an offset"));
        assert_eq!(texts(2 * HOUR, 2, &odd), ["05-05 03:00", "04:00"]);
        assert_eq!(
            texts(60 * 24 * HOUR, 6, &TimeZone::UTC),
            ["2026-05-07", "05-21", "06-04", "06-18", "07-02"]
        );
    }

    #[test]
    fn a_night_on_which_clocks_are_set_has_its_ticks_in_order() {
        let Ok(zone) = TimeZone::get("Europe/Berlin") else { return };
        // 2026-03-29T00:00:00Z, 01:00 local; at 02:00 the clock is set to 03:00.
        let night = 1_774_742_400_000_000;
        for (from, hours) in [(night, 4), (1_792_886_400_000_000, 4)] {
            let ticks = local_ticks((from, from + hours * HOUR), 6, &zone);
            assert!(ticks.is_sorted_by(|a, b| a.value < b.value) && ticks.len() >= 3, "{ticks:?}");
        }
        let ticks = local_ticks((night, night + 2 * HOUR), 3, &zone);
        let texts: Vec<String> = ticks.into_iter().filter_map(|tick| tick.text).collect();
        assert_eq!(texts, ["03-29 01:00", "03:00", "04:00"]);
    }

    #[test]
    fn no_stretch_has_many_ticks() {
        for (from, to) in [(0, 0), (i64::MIN, i64::MAX), (EVENING, EVENING + 1), (0, EVENING), (5, 4)] {
            assert!(local_ticks((from, to), 6, &TimeZone::UTC).len() < 12, "{from} {to}");
        }
    }
}
