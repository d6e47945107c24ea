//! The story of a drift as `alarms` prints it: how much, since when, how sure, and how it ended.

use std::process::Command;

use stillpoint::store::devices::Axis;
use stillpoint::store::log::Log;
use stillpoint_core::wire::alarm::{Alarm, AlarmEvent, AlarmState};
use stillpoint_core::wire::drift::{Baseline, Drift, Promise, Restart};
use stillpoint_core::wire::message::Message;
use stillpoint_core::wire::settings::{DriftConfig, Parameters, Settings};

use super::kinds::{RATE, Start};
use super::*;

/// Moves of kind 1 are the even ones, one in 20 s; times and lengths of the store are those of the monitor's clock.
fn stored(name: &str, hole: bool) -> Scratch {
    let place = Scratch::new(name);
    let (unit, source) = ("mm".to_owned(), "test".to_owned());
    let (name, counts_per_unit) = ("shuttle".to_owned(), 1000.0);
    let axis = Axis { axis: 0, name, unit, counts_per_unit, window: None, source };
    let mut start = Start::at(1, BEGIN);
    let drift = DriftConfig { false_alarms_per_axis_month_milli: 1000, ..DriftConfig::default() };
    let parameters = Parameters { drift, ticks_per_second: RATE as u32, ..Parameters::default() };
    start.send(&Message::Settings(Settings { parameters, ..Settings::default() }));
    start.meet(1, 2);
    start.run((0, 7200), (1, 2), 0.050);
    start.send(&Message::Baseline(Baseline { kind: 1, provisional: true, ..Baseline::default() }));
    start.run((7200, 8010), (1, 2), 0.0548);
    if hole {
        // A move of the other kind: only its number is missing.
        start.lose();
    }
    start.run((8010, 9000), (1, 2), 0.0548);
    // The 360 moves of the kind up to two hours, and half an hour of others.
    let (number, moves, promise) = (900, 450, Promise::Held);
    let begin = Drift { kind: 1, number, moves, promise, change: 4_800, middle: 50_000, ..Drift::default() };
    let begin = Drift { score: 300, since: 360, since_earliest: 345, since_latest: 375, ..begin };
    start.send(&Message::Drift(begin));
    start.send(&Message::Alarm(alarm(900, AlarmEvent::AlarmOccurs, AlarmState::Unacknowledged)));
    start.run((9000, 10_800), (1, 2), 0.050);
    start.send(&Message::Drift(Drift { number: 1080, moves: 540, score: 0, returned: true, ..begin }));
    start.send(&Message::Alarm(alarm(1080, AlarmEvent::ReturnToNormal, AlarmState::Normal)));
    start.run((10_800, 12_600), (1, 2), 0.0548);
    start.send(&Message::Drift(Drift { number: 1260, moves: 630, since: 540, since_latest: 0, ..begin }));
    start.send(&Message::Restart(Restart { kind: 1, at: 12_600 * RATE, ..Restart::default() }));
    start.run((12_600, 12_700), (1, 2), 0.0548);
    start.send(&Message::Drift(Drift { number: 1270, moves: 5, since: 1, since_latest: 0, ..begin }));
    let mut log = Log::open(&place.0, &Options::default(), None, vec![axis]).expect("a store");
    log.push(&start.bytes, BEGIN + 12_700_000_000);
    log.finish().expect("room");
    place
}

fn alarm(number: u32, event: AlarmEvent, state: AlarmState) -> Alarm {
    let at = u64::from(number) * 10 * RATE;
    Alarm { alarm: 1, number, kind: 1, value: 300, limit: 256, at, event, state, ..Alarm::default() }
}

fn alarms(place: &Scratch, form: &str) -> String {
    let mut command = Command::new(env!("CARGO_BIN_EXE_stillpoint"));
    command.args(["alarms", "--store", &place.text(), "--format", form]).env("TZ", "UTC");
    String::from_utf8(command.output().expect("it runs").stdout).expect("UTF-8")
}

/// The clock at a number of seconds after the begin.
fn clock(seconds: i64, form: &str) -> String {
    jiff::Timestamp::from_microsecond(BEGIN + seconds * 1_000_000).expect("a time").strftime(form).to_string()
}

#[test]
fn each_drift_has_one_story() {
    let place = stored("drifts", false);
    let minute = |seconds| clock(seconds, "%H:%M");
    let second = |seconds| clock(seconds, "%Y-%m-%d %H:%M:%S");
    let text = alarms(&place, "table");
    let kind = "shuttle, +60 mm at 600 mm/s (kind 1)";
    let by = "slower by 4.8 ms (9.6 %)";
    let chance = "one such alarm a month comes by chance";
    // The first move of the change is the 361st of the kind, number 722; a command ends 0.25 s before its full ten.
    let interval = format!("since {} ({} to {})", minute(7219), minute(6919), minute(7519));
    let provisional = "against provisional limits: the baseline still grows";
    let again = format!("again, first at {}", minute(8999));
    let expected = [
        format!(
            "{kind}, {}: {by} {interval}, {provisional}, {chance}; back at baseline at {}",
            second(8999),
            second(10_799)
        ),
        format!(
            "{kind}, {}: {by} since {}, {provisional}, {chance}; {again}; the watch over it began anew at {}",
            second(12_599),
            minute(10_819),
            second(12_600)
        ),
        format!(
            "{kind}, {}: {by} since {}, {provisional}, {chance}; it stands",
            second(12_699),
            minute(12_639)
        ),
    ];
    let stories: Vec<&str> = text.lines().filter(|line| line.starts_with("shuttle, ")).collect();
    assert_eq!(stories, expected, "{text}");
    assert!(text.lines().next().is_some_and(|head| {
        head.split_whitespace().eq(["at", "axis", "alarm", "subject", "state", "priority", "who"])
    }));
    let lines: Vec<serde_json::Value> =
        alarms(&place, "jsonl").lines().map(|line| serde_json::from_str(line).expect("JSON")).collect();
    let story = format!("{by} {interval}, {provisional}, {chance}");
    assert_eq!((lines[0]["story"].as_str(), lines[1]["story"].is_null()), (Some(story.as_str()), true));
}

#[test]
fn no_time_is_stated_where_moves_are_missing() {
    let text = alarms(&stored("drifts-hole", true), "table");
    let first = text.lines().find(|line| line.starts_with("shuttle, ")).expect("a story");
    assert!(first.contains("slower by 4.8 ms (9.6 %), against provisional limits"), "{text}");
}
