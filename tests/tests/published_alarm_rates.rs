//! Alarm rates against published group 05: exact.
//!
//! Sources, as the catalogue says: the key figures of ANSI/ISA-18.2-2016, 16.4, tables 5 and 6, through a public secondary
//! text; bins fixed from the start are common practice; chatter is from secondary texts. Chattering,
//! busiest and stale alarms have no published cases: theirs are counted by hand.

use std::time::Duration;

use serde_json::{Value, json};
use stillpoint_tests::alarm_rate::*;
use stillpoint_tests::published;

const HOUR: u64 = 3600;

fn period(from_s: u64, until_s: u64) -> Period {
    Period { from: Duration::from_secs(from_s), until: Duration::from_secs(until_s) }
}

/// An alarm that clears at once.
fn short(alarm: u32, at_s: f64) -> Annunciation {
    let at = Duration::from_secs_f64(at_s);
    Annunciation { at, alarm, cleared: Some(at) }
}

#[test]
fn event_lists_have_the_published_rates() {
    let Some(file) = published::json("published/05_alarm_rates.json") else { return };
    for case in file["cases"].as_array().unwrap() {
        let events = case["events_s"].as_array().unwrap();
        let given: Vec<Annunciation> = events.iter().map(|at| short(0, at.as_f64().unwrap())).collect();
        let rate = AlarmRate::new(&given, period(0, case["hours"].as_u64().unwrap() * HOUR)).unwrap();
        let floods: Vec<[usize; 2]> = rate.floods.iter().map(|flood| [flood.first, flood.end]).collect();
        let found = json!({
            "events_s": case["events_s"],
            "hours": case["hours"],
            "total": rate.total,
            "avg_per_hour": rate.average_per_hour,
            "bins_10min": rate.bins,
            "pct_bins_over_10": rate.bins_over_10_percent,
            "max_fixed_10min": rate.most_in_a_bin,
            "max_sliding_10min": rate.most_in_10_min,
            "floods_bins_start_end_exclusive": floods,
            "flood_time_pct": rate.flood_time_percent,
        });
        assert_eq!(&found, case);
        assert_eq!(rate.average_per_10_min, rate.average_per_hour / 6.0);
        assert_eq!(rate.outside, 0);
        println!("ran 05 rates: {} events", rate.total);
    }
}

#[test]
fn benchmarks_are_the_published_ones() {
    let Some(file) = published::json("published/05_alarm_lifecycle.json") else { return };
    let marks = &file["benchmarks"];
    let hourly = &marks["average_per_hour_per_operator"];
    assert_eq!(json!(AVERAGE_PER_HOUR.0), json!(hourly["very_likely_acceptable"].as_f64()));
    assert_eq!(json!(AVERAGE_PER_HOUR.1), json!(hourly["max_manageable"].as_f64()));
    assert_eq!(json!(AVERAGE_PER_10_MIN.0), json!(marks["average_per_10min"]["acceptable"].as_f64()));
    assert_eq!(json!(AVERAGE_PER_10_MIN.1), json!(marks["average_per_10min"]["max_manageable"].as_f64()));
    let says = |key: &str, text: String| assert!(marks[key].as_str().unwrap().contains(&text), "{text}");
    let minutes = TEN_MINUTES.as_secs() / 60;
    says("flood_start", format!(">{FLOOD_START} alarms in {minutes} min"));
    says("flood_end", format!("<{FLOOD_END} alarms in {minutes} min"));
    says("chatter", format!(">={} occurrences per minute", CHATTER.0));
    assert_eq!(CHATTER.1, Duration::from_secs(60));
    says("stale", format!(">{} h active", STALE.as_secs() / HOUR));
    assert!(matches!(marks["flood_start"], Value::String(_)));
}

#[test]
fn floods_begin_over_ten_and_end_below_five() {
    // Annunciations in each bin, and the floods: first bin, end, count.
    let check = |bins: &[usize], expected: &[(usize, usize, usize)]| {
        let bin = |(bin, count): (usize, &usize)| vec![short(0, bin as f64 * 600.0); *count];
        let given: Vec<Annunciation> = bins.iter().enumerate().flat_map(bin).collect();
        let rate = AlarmRate::new(&given, period(0, bins.len() as u64 * 600)).unwrap();
        let floods: Vec<_> = rate.floods.iter().map(|flood| (flood.first, flood.end, flood.count)).collect();
        assert_eq!((&rate.bins[..], &floods[..]), (bins, expected));
    };
    check(&[10, 4, 0], &[]);
    check(&[11, 5, 4, 10], &[(0, 2, 16)]);
    check(&[0, 11, 10, 5], &[(1, 4, 26)]);
    check(&[11, 4, 11], &[(0, 1, 11), (2, 3, 11)]);
}

#[test]
fn the_busiest_and_the_chattering_are_named() {
    let at =
        [(7, 0.0), (7, 30.0), (7, 59.9), (8, 0.0), (8, 30.0), (8, 60.0), (9, 5.0), (7, 900.0), (5, 3599.0)];
    let given: Vec<Annunciation> = at.iter().map(|(alarm, at)| short(*alarm, *at)).collect();
    let rate = AlarmRate::new(&given, period(0, HOUR)).unwrap();
    assert_eq!(rate.by_alarm, [(7, 4), (8, 3), (5, 1), (9, 1)]);
    // Three in 60 s, the last instant excluded.
    assert_eq!(rate.chattering, [(7, 3)]);
    assert_eq!(rate.top_share_percent(1), 100.0 * 4.0 / 9.0);
    assert_eq!(rate.top_share_percent(10), 100.0);
    // The period excludes its last instant and counts what lies outside.
    let rate = AlarmRate::new(&given, period(30, 3599)).unwrap();
    assert_eq!((rate.total, rate.outside), (5, 4));
    assert_eq!(AlarmRate::new(&given, period(10, 10)), None);
    assert_eq!(AlarmRate::new(&given, period(10, 9)), None);
    let endless = Period { from: Duration::ZERO, until: Duration::MAX };
    assert_eq!(AlarmRate::new(&given, endless), None);
    assert_eq!(AlarmRate::new(&[], period(0, HOUR)).unwrap().top_share_percent(3), 0.0);
}

#[test]
fn stale_alarms_stood_for_more_than_a_day() {
    let standing = |alarm, at_h: u64, cleared_h: Option<u64>| Annunciation {
        at: Duration::from_secs(at_h * HOUR),
        alarm,
        cleared: cleared_h.map(|hour| Duration::from_secs(hour * HOUR)),
    };
    let given = [
        standing(1, 50, Some(74)),
        standing(2, 50, Some(75)),
        standing(3, 10, Some(48)),
        standing(4, 10, Some(49)),
        standing(5, 60, None),
        // Raised again while it stands: still one alarm.
        standing(5, 90, None),
        standing(6, 130, None),
    ];
    // Days 2 to 6 from the origin: 48 h to 144 h.
    let rate = AlarmRate::new(&given, period(48 * HOUR, 144 * HOUR)).unwrap();
    let stale: Vec<_> = rate.stale.iter().map(|one| (one.alarm, one.stood.as_secs() / HOUR)).collect();
    assert_eq!(stale, [(5, 84), (4, 39), (2, 25)]);
    // Alarm 2 is stale at hour 74, alarm 5 from hour 84 on: both on the second day.
    assert_eq!(rate.most_stale_on_a_day, 2);
    assert_eq!((rate.total, rate.outside), (5, 2));
}
