//! The story of a drift as `alarms` prints it: how much, since when, how sure, how far it went, and how it ended.

use std::collections::BTreeMap;
use std::process::Command;

use stillpoint::store::devices::Axis;
use stillpoint::store::log::Log;
use stillpoint_core::wire::alarm::{Alarm, AlarmEvent, AlarmState, Subject};
use stillpoint_core::wire::drift::{Baseline, Drift, Promise, Restart};
use stillpoint_core::wire::message::Message;
use stillpoint_core::wire::settings::{DriftConfig, Parameters, Settings};

use super::kinds::{RATE, Start};
use super::program::done;
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

fn json(place: &Scratch, command: &str, more: &[&str]) -> Vec<serde_json::Value> {
    let text = done(&[&[command, "--store", &place.text(), "--format", "jsonl"], more].concat());
    text.lines().map(|line| serde_json::from_str(line).expect("JSON")).collect()
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

/// Mean settling of kind 1 in each five minutes from one instant to another, computed from single moves. Unit: s
fn means(place: &Scratch, (from, to): (u64, u64)) -> Vec<f64> {
    let mut groups: BTreeMap<u64, Vec<f64>> = BTreeMap::new();
    for line in json(place, "moves", &["--no-curves"]) {
        let interval = (line["command_end_s"].as_f64().expect("a time") / 300.0) as u64 * 300;
        if (from..to).contains(&interval)
            && line["kind"].as_str().is_some_and(|kind| kind.ends_with("(kind 1)"))
        {
            groups.entry(interval).or_default().push(line["settling_s"].as_f64().expect("a time"));
        }
    }
    let groups = groups.into_values().filter(|times| times.len() >= 5);
    groups.map(|times| times.iter().sum::<f64>() / times.len() as f64).collect()
}

/// `slower by 4.8 ms (9.6 %)` of a baseline of 50 ms.
fn slower(mean: f64) -> String {
    let change = 1e3 * mean - 50.0;
    let direction = if change < 0.0 { "faster" } else { "slower" };
    format!("{direction} by {:.1} ms ({:.1} %)", change.abs(), 2.0 * change.abs())
}

#[test]
fn each_drift_has_one_story() {
    let place = stored("drifts", false);
    let most = |within| means(&place, within).into_iter().fold(0.0, f64::max);
    let [first, second_most, third] =
        [(8700, 10_800), (12_300, 12_600), (12_600, 12_700)].map(|within| slower(most(within)));
    assert!(first.starts_with("slower by 5.") || first.starts_with("slower by 4."), "{first}");
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
    let mean = "by the mean of the moves that settled";
    let expected = [
        format!(
            "{kind}, {}: {by} {interval}, {provisional}, {chance}; {mean}, at most {first}; back at baseline at {}",
            second(8999),
            second(10_799)
        ),
        format!(
            "{kind}, {}: {by} since {}, {provisional}, {chance}; {again}; {mean}, at most {second_most}; the watch over it began anew at {}",
            second(12_599),
            minute(10_819),
            second(12_600)
        ),
        format!(
            "{kind}, {}: {by} since {}, {provisional}, {chance}; {mean}, now {third}; it stands",
            second(12_699),
            minute(12_639)
        ),
    ];
    let stories: Vec<&str> = text.lines().filter(|line| line.starts_with("shuttle, ")).collect();
    assert_eq!(stories, expected, "{text}");
    let mut head = text.lines();
    assert_eq!(head.next(), Some("times in UTC"));
    assert!(head.next().is_some_and(|head| {
        head.split_whitespace().eq(["at", "axis", "alarm", "subject", "state", "priority", "who"])
    }));
    assert!(
        text.lines().filter(|line| !line.starts_with("shuttle, ")).all(|line| line.len() <= 80),
        "{text}"
    );
    let lines = json(&place, "alarms", &[]);
    let story = format!("{by} {interval}, {provisional}, {chance}");
    assert_eq!((lines[0]["story"].as_str(), lines[1]["story"].is_null()), (Some(story.as_str()), true));
    let figure = |name: &str| lines[0][name].as_f64().map(|seconds| slower(0.050 + seconds));
    let figures = ["drift_s", "drift_last_s", "drift_most_s"].map(figure);
    assert_eq!(figures, [Some(by.to_owned()), None, Some(first)], "it has ended: {}", lines[0]);
}

/// A drift that stands began when `alarms` and `trend` say, in the same minute and under the same word.
#[test]
fn a_trend_dates_a_drift_as_its_story_does() {
    let place = stored("drifts-trend", false);
    let lines = json(&place, "trend", &["--kind", "1"]);
    let since = lines[0]["drift_since_s"].as_f64().expect("it stands") as i64 - BEGIN / 1_000_000;
    assert_eq!(since, 12_639, "{}", lines[0]);
    let until = jiff::Timestamp::from_microsecond(BEGIN + 10_900_000_000).expect("a time").to_string();
    let lines = json(&place, "trend", &["--kind", "1", "--until", &until]);
    assert!(lines[0]["drift_since_s"].is_null(), "none stood then: {}", lines[0]);
}

#[test]
fn a_time_without_moves_is_no_good_news() {
    let place = stored("drifts-none", false);
    let span = format!(
        "no moves in this period; the store holds moves from {} to {} (UTC)",
        clock(9, "%Y-%m-%d %H:%M:%S"),
        clock(12_699, "%Y-%m-%d %H:%M:%S")
    );
    for command in ["alarms", "trend", "moves"] {
        let run = |form: &str| {
            let mut run = Command::new(env!("CARGO_BIN_EXE_stillpoint"));
            run.args([command, "--store", &place.text(), "--until", "2026-01-01", "--format", form]);
            let output = run.env("TZ", "UTC").output().expect("it runs");
            [output.stdout, output.stderr].map(|text| String::from_utf8(text).expect("UTF-8"))
        };
        let [table, notes] = run("table");
        assert_eq!((table.trim_end(), notes.as_str()), (span.as_str(), ""), "{command}");
        let [lines, notes] = run("jsonl");
        assert_eq!((lines.as_str(), notes.trim_end()), ("", span.as_str()), "{command}");
    }
}

/// Each alarm that is open says what to type next, until that is done.
#[test]
fn an_open_alarm_says_what_to_do_next() {
    let place = Scratch::new("drifts-next");
    let next = |steps: &[(AlarmEvent, AlarmState)]| {
        place.clear();
        let mut start = Start::at(1, BEGIN);
        start.meet(1, 2);
        start.run((0, 100), (1, 2), 0.050);
        for (number, (event, state)) in (1..).zip(steps) {
            let step = Alarm { subject: Subject::Drift, ..alarm(number, *event, *state) };
            start.send(&Message::Alarm(step));
            // A monitor sends its open alarms again when it is identified.
            start.send(&Message::Alarm(step));
        }
        let mut log = Log::open(&place.0, &Options::default(), None, vec![]).expect("a store");
        log.push(&start.bytes, BEGIN + 100_000_000);
        log.finish().expect("room");
        let table = alarms(&place, "table");
        let lines = json(&place, "alarms", &[]).into_iter();
        let fields: Vec<String> = lines.filter_map(|line| Some(line["next"].as_str()?.to_owned())).collect();
        let words = table.lines().filter_map(|line| line.strip_prefix("next: ")).map(str::to_owned).collect();
        (fields, words)
    };
    let (raised, seen) = (
        (AlarmEvent::AlarmOccurs, AlarmState::Unacknowledged),
        (AlarmEvent::Acknowledge, AlarmState::Acknowledged),
    );
    let check = |steps: &[(AlarmEvent, AlarmState)], field: &str, words: &str| {
        let (fields, sentences): (Vec<String>, Vec<String>) = next(steps);
        assert_eq!((fields, sentences), (vec![field.to_owned()], vec![words.to_owned()]));
    };
    let of = "axis 0, alarm 1, drift:";
    check(
        &[raised],
        "acknowledge 1",
        &format!("{of} `stillpoint device SOURCE acknowledge 1 --store PATH --who NAME`"),
    );
    check(
        &[raised, seen],
        "declare 0",
        &format!("{of} repair it, then `stillpoint device SOURCE declare 0 --store PATH --who NAME`"),
    );
    let normal = (AlarmEvent::ReturnToNormal, AlarmState::Normal);
    assert_eq!(next(&[raised, seen, normal]), (vec![], vec![]));
}

#[test]
fn no_time_is_stated_where_moves_are_missing() {
    let text = alarms(&stored("drifts-hole", true), "table");
    let first = text.lines().find(|line| line.starts_with("shuttle, ")).expect("a story");
    assert!(first.contains("slower by 4.8 ms (9.6 %), against provisional limits"), "{text}");
}
