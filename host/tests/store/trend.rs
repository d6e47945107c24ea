//! A slowdown that is known beforehand, from frames through the store to the line of its trend.

use std::process;

use stillpoint::checksum::FastCrc;
use stillpoint_core::wire::frame::{Payload, encode};
use stillpoint_core::wire::header::{Direction, Numbers};
use stillpoint_core::wire::message::Message;
use stillpoint_core::wire::record::{Move, Outcome, flag};
use stillpoint_core::wire::status::Hello;

use super::*;

/// Unit: ticks/s
const RATE: u64 = 1_000_000;
/// A move each ten seconds, for four hours.
const MOVES: u64 = 4 * 360;
/// Growth of the settling time. Unit: s per hour
const SLOPE: f64 = 0.002;

/// Moves that settle in `settling` seconds ± half a millisecond, and their frames; the share `unsettled` of them does
/// not settle within its rest. Both functions get the hours since the beginning.
fn moves(settling: impl Fn(f64) -> f64, unsettled: impl Fn(f64) -> f64) -> (Vec<Move>, Vec<u8>) {
    let mut state = 1_u32;
    let mut chance = || {
        state = state.wrapping_mul(1_664_525).wrapping_add(1_013_904_223);
        f64::from(state >> 16) / 65_536.0
    };
    let mut made = |number: u64| {
        let hours = number as f64 / 360.0;
        let time = settling(hours) + (chance() - 0.5) * 1e-3;
        let settled = chance() >= unsettled(hours);
        Move {
            flags: if settled { flag::SETTLING } else { 0 },
            outcome: if settled { Outcome::Settled } else { Outcome::Unsettled },
            number: number as u32,
            start: number * 10 * RATE - RATE / 2,
            duration: RATE / 2,
            travel: 10_000,
            settling: if settled { (time * RATE as f64) as u32 } else { 0 },
            ..Move::default()
        }
    };
    let moves: Vec<Move> = (1..=MOVES).map(&mut made).collect();
    let hello = Hello { axes: 1, ticks_per_second: RATE as u32, board: "test", ..Hello::default() };
    let mut numbers = Numbers::new(Direction::FromDevice, 1);
    let mut bytes = vec![];
    for message in std::iter::once(Message::Hello(hello)).chain(moves.iter().copied().map(Message::Move)) {
        let mut buffer = [0; stillpoint_core::wire::LONGEST_FRAME];
        let header = numbers.next_header(message.priority());
        bytes.extend_from_slice(encode::<FastCrc>(&header, &message, &mut buffer).expect("it fits"));
    }
    (moves, bytes)
}

pub(crate) fn trend(store: &str, more: &[&str]) -> process::Output {
    let command = process::Command::new(env!("CARGO_BIN_EXE_stillpoint"))
        .args([&["trend", "--store", store], more].concat())
        .output();
    command.expect("it runs")
}

#[test]
fn a_known_slowdown_is_found_with_its_slope_and_its_limit() {
    let place = Scratch::new("trend");
    let mut log = place.log(&Options::default());
    log.push(&moves(|hours| 0.020 + SLOPE * hours, |_| 0.0).1, BEGIN);
    log.finish().expect("room");
    let output = trend(&place.text(), &["--format", "jsonl", "--limit-ms", "29.5", "--baseline-ms", "20"]);
    let text = String::from_utf8(output.stdout).expect("UTF-8");
    let lines: Vec<serde_json::Value> =
        text.lines().map(|line| serde_json::from_str(line).expect("JSON")).collect();
    let [line] = lines.as_slice() else { panic!("{text}") };
    let figure = |name: &str| line[name].as_f64().unwrap_or_else(|| panic!("{name} in {line}"));
    assert_eq!((line["axis"].as_str(), figure("moves")), (Some("axis 0"), MOVES as f64));
    let (low, high) = (figure("slope_low_s_per_h"), figure("slope_high_s_per_h"));
    assert!(low < SLOPE && SLOPE < high && high - low < SLOPE / 2.0, "{low} to {high}");
    assert_eq!(figure("mann_kendall_p"), 0.001, "no smaller one is stated: {line}");
    assert_eq!(line["change_points"], serde_json::json!([]), "a ramp is no step");
    // 28 ms at the end, so 45 min to go. No curve was sent.
    let (earliest, likely) = (figure("limit_earliest_s"), figure("limit_likely_s"));
    assert!(900.0 < earliest && earliest < likely && (likely - 2700.0).abs() < 500.0, "{line}");
    assert_eq!(line["limit_by"], "settling times");
    // On average 4 ms more than the baseline.
    let lost = figure("lost_against_baseline_s");
    assert!((lost / (0.004 * MOVES as f64) - 1.0).abs() < 0.02, "{lost}");
    let table = String::from_utf8(trend(&place.text(), &[]).stdout).expect("UTF-8");
    assert!(table.contains("axis 0") && table.contains("first interval"), "{table}");
}

/// The lines of a trend in JSON.
pub(crate) fn lines(store: &str, more: &[&str]) -> Vec<serde_json::Value> {
    let output = trend(store, &[&["--format", "jsonl"], more].concat());
    let text = String::from_utf8(output.stdout).expect("UTF-8");
    text.lines().map(|line| serde_json::from_str(line).expect("JSON")).collect()
}

/// The slow twin of an interval's median: all its moves in a row, those that did not settle at the end.
fn medians(moves: &[Move]) -> Vec<Option<f64>> {
    let interval = |wire: &Move| (wire.start + wire.duration) / RATE / 300;
    let median = |of: &[Move]| {
        let time = |wire: &Move| (wire.outcome == Outcome::Settled).then_some(wire.settling);
        let mut row: Vec<Option<u32>> = of.iter().map(time).collect();
        row.sort_by_key(|time| time.unwrap_or(u32::MAX));
        row[(row.len() - 1) / 2].map(|time| f64::from(time) / RATE as f64)
    };
    moves.chunk_by(|a, b| interval(a) == interval(b)).filter(|of| of.len() >= 5).map(median).collect()
}

#[test]
fn an_axis_that_no_longer_settles_does_not_get_better() {
    let place = Scratch::new("trend-unsettled");
    // The moves that do settle get faster, and that is all that used to be looked at.
    let (moves, bytes) = moves(|hours| 0.020 - 0.0005 * hours, |hours| 0.2 * hours);
    let mut log = place.log(&Options::default());
    log.push(&bytes, BEGIN);
    log.finish().expect("room");
    let unsettled = moves.iter().filter(|wire| wire.outcome == Outcome::Unsettled).count();
    let twin = medians(&moves);
    let beyond = twin.iter().filter(|median| median.is_none()).count();
    assert!(beyond > 10 && twin.iter().position(Option::is_none) > Some(10), "{twin:?}");
    let lines = lines(&place.text(), &["--limit-ms", "40"]);
    let [line] = lines.as_slice() else { panic!("{lines:?}") };
    assert_eq!(line["settles_now"], false, "{line}");
    assert_eq!(line["time_to_limit"], "reached", "{line}");
    assert_eq!(line["unsettled"], unsettled as u64, "{line}");
    assert!(line["not_settled_intervals"].as_u64().expect("a count").abs_diff(beyond as u64) <= 2, "{line}");
    let share = |name: &str| line[name].as_f64().unwrap_or_else(|| panic!("{name} in {line}"));
    // On average 0.2 per hour, over the first 200 of 240 minutes and over the last 40.
    assert!((share("unsettled_share_before") - 0.33).abs() < 0.05, "{line}");
    assert!((share("unsettled_share_now") - 0.73).abs() < 0.05, "{line}");
    assert_eq!((share("unsettled_p"), share("unsettled_exact_p")), (0.001, 0.001), "{line}");
    assert!(share("lost_against_baseline_s") >= 0.0, "an axis that fails gains nothing: {line}");
    let listed: u64 = line["unsettled_intervals"]
        .as_array()
        .expect("a list")
        .iter()
        .map(|interval| interval[1].as_u64().expect("a count"))
        .sum();
    assert_eq!(listed, unsettled as u64);
    let table = String::from_utf8(trend(&place.text(), &["--limit-ms", "40"]).stdout).expect("UTF-8");
    assert!(table.contains("not settled") && table.contains("beyond since "), "{table}");
    assert!(table.contains("fails more often: axis 0 none"), "{table}");
    let csv = String::from_utf8(trend(&place.text(), &["--format", "csv"]).stdout).expect("UTF-8");
    assert!(csv.contains(",false,") && csv.contains("unsettled_intervals"), "{csv}");
}

#[test]
fn too_few_moves_for_a_trend_are_reported() {
    let place = Scratch::new("trend-short");
    let (mut line, mut log) = (Line::new(8), place.log(&Options::default()));
    push(&mut log, &line.run(100), BEGIN);
    log.finish().expect("room");
    let short = trend(&place.text(), &["--format", "jsonl"]);
    let text = String::from_utf8(short.stdout).expect("UTF-8");
    assert!(text.lines().count() > 2, "{text}");
    // Ten seconds are one interval: a level, and no slope.
    for line in text.lines() {
        let line: serde_json::Value = serde_json::from_str(line).expect("JSON");
        assert!(line["slope_s_per_h"].is_null() && line["moves"].as_u64() > Some(0), "{line}");
    }
    for wrong in ["0", "-3", "NaN"] {
        let refused = trend(&place.text(), &[&format!("--limit-ms={wrong}")]);
        let stderr = String::from_utf8_lossy(&refused.stderr).into_owned();
        assert!(refused.status.code() == Some(2) && stderr.contains("--limit-ms"), "{wrong}: {stderr}");
    }
}
