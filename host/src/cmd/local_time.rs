//! In: a time as people write it on the day, `14:00`, or two. Out: the instant or the interval, in a time zone.

use jiff::civil::{Date, DateTime, Time};
use jiff::tz::TimeZone;
use jiff::{Timestamp, ToSpan};

use crate::error::Error;
use crate::store::time;

/// Days before today on which a time of day may lie: one on which a clock is set may lack it.
const DAYS: i64 = 2;

/// Where a time of day lies.
#[derive(Clone, Debug)]
pub(super) struct LocalTime {
    /// Unit: µs since 1970, UTC
    pub(super) now: i64,
    pub(super) zone: TimeZone,
}

impl LocalTime {
    /// Now, in this computer's time zone.
    pub(super) fn here() -> LocalTime {
        LocalTime { now: time::now(), zone: TimeZone::system() }
    }

    /// A date and time, RFC 3339 or of the zone; how long ago; or a time of day, the last one until now.
    /// Unit: µs since 1970, UTC
    pub(super) fn last(&self, option: &str, text: &str) -> Result<i64, Error> {
        self.read(option, text, |clock| self.days(clock, self.now, -DAYS..=0).rfind(|at| *at <= self.now))
    }

    /// From `--since` to `--until`, each as [`LocalTime::last`] reads it; open without. Unit: µs since 1970, UTC
    pub(super) fn interval(&self, since: Option<&str>, until: Option<&str>) -> Result<(i64, i64), Error> {
        let read = |option, text: Option<&str>, open| text.map_or(Ok(open), |text| self.last(option, text));
        let found = (read("--since", since, i64::MIN)?, read("--until", until, i64::MAX)?);
        if found.0 < found.1 {
            return Ok(found);
        }
        Err(Error::Option {
            option: "--until".to_owned(),
            value: until.unwrap_or_default().to_owned(),
            wrong: "ends before it begins".to_owned(),
            remedy: format!("give a time after {}, when --since begins", time::text(found.0)),
        })
    }

    /// The same as [`LocalTime::last`]; a time of day is the first one after `since`.
    pub(super) fn first_after(&self, since: i64, option: &str, text: &str) -> Result<i64, Error> {
        self.read(option, text, |clock| self.days(clock, since, 0..=DAYS).find(|at| *at > since))
    }

    fn read(&self, option: &str, text: &str, at: impl Fn(Time) -> Option<i64>) -> Result<i64, Error> {
        let text = text.trim();
        let clock = ["%H:%M", "%H:%M:%S%.f"].iter().find_map(|form| Time::strptime(form, text).ok());
        if let Some(at) = clock.and_then(at) {
            return Ok(at);
        }
        let civil = ["%Y-%m-%d %H:%M", "%Y-%m-%d %H:%M:%S%.f", "%Y-%m-%dT%H:%M", "%Y-%m-%dT%H:%M:%S%.f"];
        let civil = civil.iter().find_map(|form| DateTime::strptime(form, text).ok());
        let date = || Date::strptime("%Y-%m-%d", text).ok().map(DateTime::from);
        if let Some(zoned) =
            civil.or_else(date).and_then(|civil| civil.to_zoned_datetime(self.zone.clone()).ok())
        {
            return Ok(zoned.timestamp().as_microsecond());
        }
        time::parse(option, text, self.now).map_err(|_| Error::Option {
            option: option.to_owned(),
            value: text.to_owned(),
            wrong: "is no time".to_owned(),
            remedy: "give 14:00, 2026-05-04 14:00 or 2026-05-04 (all in this computer's time zone), \
                2026-05-04T10:00:00Z, or how long ago: 30m, 2h, 3d"
                .to_owned(),
        })
    }

    /// A time of day on some days around an instant, in their order.
    fn days(
        &self,
        clock: Time,
        around: i64,
        days: std::ops::RangeInclusive<i64>,
    ) -> impl DoubleEndedIterator<Item = i64> + use<> {
        let day = Timestamp::from_microsecond(around)
            .unwrap_or_default()
            .to_zoned_datetime(self.zone.clone())
            .date();
        let zone = self.zone.clone();
        let on = move |away: i64| -> Option<jiff::ZonedDateTime> {
            day.checked_add(away.days()).ok()?.to_datetime(clock).to_zoned_datetime(zone.clone()).ok()
        };
        let at: Vec<i64> = days.filter_map(on).map(|zoned| zoned.timestamp().as_microsecond()).collect();
        at.into_iter()
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    /// 2026-06-02T10:00:00Z: noon in a zone two hours ahead.
    const NOW: i64 = 1_780_394_400_000_000;
    const MINUTE: i64 = 60_000_000;

    fn in_zone(zone: TimeZone) -> LocalTime {
        LocalTime { now: NOW, zone }
    }

    #[test]
    fn a_time_of_day_is_the_last_one_and_an_end_the_first_after_its_beginning() {
        let here = in_zone(TimeZone::fixed(jiff::tz::offset(2)));
        let last = |text: &str| (here.last("--at", text).unwrap() - NOW) / MINUTE;
        assert_eq!(
            ["11:30", "12:00", "12:01", "2026-06-02 10:00", "15m"].map(last),
            [-30, 0, -1439, -120, -15]
        );
        assert_eq!(last("2026-06-02"), -720);
        assert_eq!(last("2026-06-02T10:00:00+02:00"), -120);
        assert_eq!(here.last("--at", "11:59:59.5").unwrap(), NOW - 500_000);
        let end = |since: &str, until: &str| {
            let since = here.last("A", since).unwrap();
            (here.first_after(since, "B", until).unwrap() - since) / MINUTE
        };
        // The beginning is yesterday's, and so is the end, or today's.
        assert_eq!([end("22:00", "23:30"), end("22:00", "01:00"), end("11:00", "11:00")], [90, 180, 1440]);
    }

    #[test]
    fn an_interval_is_open_without_an_end_and_begins_before_it_ends() {
        let here = in_zone(TimeZone::fixed(jiff::tz::offset(2)));
        let found = |since, until| here.interval(since, until).unwrap();
        assert_eq!(found(None, None), (i64::MIN, i64::MAX));
        assert_eq!(found(Some("11:30"), Some("15m")), (NOW - 30 * MINUTE, NOW - 15 * MINUTE));
        let message = here.interval(Some("11:30"), Some("11:20")).unwrap_err().to_string();
        let remedy = "--until 11:20: ends before it begins; give a time after 2026-06-02T09:30:00.000000Z";
        assert!(message.starts_with(remedy), "{message}");
    }

    #[test]
    fn a_day_on_which_the_clock_is_set_has_its_times() {
        let Ok(zone) = TimeZone::get("Europe/Berlin") else { return };
        // 2026-03-29 01:30 CET is half an hour before clocks are set to 03:00.
        let here = LocalTime { now: 1_774_744_200_000_000, zone };
        let next = here.first_after(here.now, "B", "03:30").unwrap();
        assert_eq!((next - here.now) / MINUTE, 60);
    }

    #[test]
    fn what_is_no_time_is_refused_with_a_remedy() {
        let here = in_zone(TimeZone::UTC);
        for wrong in ["", "25:00", "14", "noon", "12:60"] {
            let message = here.last("--at", wrong).unwrap_err().to_string();
            assert!(message.contains("is no time; give 14:00"), "{wrong}: {message}");
        }
    }
}
