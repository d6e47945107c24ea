//! A slowdown that is known beforehand, from frames through the store to the line of its trend.

use std::process;

use stillpoint_core::wire::crc::LargeTable;
use stillpoint_core::wire::frame::{Payload, encode};
use stillpoint_core::wire::header::{Numbers, Way};
use stillpoint_core::wire::message::Message;
use stillpoint_core::wire::record::{Move, flag};
use stillpoint_core::wire::status::Hello;

use super::*;

/// Unit: ticks/s
const RATE: u64 = 1_000_000;
/// A move each ten seconds, for four hours.
const MOVES: u64 = 4 * 360;
/// What settling grows by. Unit: s per hour
const SLOPE: f64 = 0.002;

/// From 20 ms on, give or take half a millisecond.
fn moves() -> Vec<u8> {
    let mut numbers = Numbers::new(Way::FromDevice, 1);
    let mut bytes = vec![];
    let mut say = |message: &Message| {
        let mut buffer = [0; stillpoint_core::wire::LONGEST_FRAME];
        let header = numbers.take(message.priority());
        bytes.extend_from_slice(encode::<LargeTable>(&header, message, &mut buffer).expect("it fits"));
    };
    say(&Message::Hello(Hello { axes: 1, ticks_per_second: RATE as u32, board: "test", ..Hello::default() }));
    let mut chance = 1_u32;
    for number in 1..=MOVES {
        let command_end = number * 10 * RATE;
        chance = chance.wrapping_mul(1_664_525).wrapping_add(1_013_904_223);
        let noise = (f64::from(chance >> 16) / 65_536.0 - 0.5) * 1e-3;
        let settling = 0.020 + SLOPE * number as f64 / 360.0 + noise;
        say(&Message::Move(Move {
            flags: flag::SETTLING,
            number: number as u32,
            start: command_end - RATE / 2,
            duration: RATE / 2,
            travel: 10_000,
            settling: (settling * RATE as f64) as u32,
            ..Move::default()
        }));
    }
    bytes
}

fn trend(store: &str, more: &[&str]) -> process::Output {
    let command = process::Command::new(env!("CARGO_BIN_EXE_stillpoint"))
        .args([&["trend", "--store", store], more].concat())
        .output();
    command.expect("it runs")
}

#[test]
fn a_known_slowdown_is_told_with_its_slope_and_its_limit() {
    let place = Scratch::new("trend");
    let mut log = place.log(&Options::default());
    log.hear(&moves(), BEGIN);
    log.finish().expect("room");
    let output = trend(&place.text(), &["--format", "jsonl", "--limit-ms", "32", "--baseline-ms", "20"]);
    let text = String::from_utf8(output.stdout).expect("UTF-8");
    let lines: Vec<serde_json::Value> =
        text.lines().map(|line| serde_json::from_str(line).expect("JSON")).collect();
    let [line] = lines.as_slice() else { panic!("{text}") };
    let figure = |name: &str| line[name].as_f64().unwrap_or_else(|| panic!("{name} in {line}"));
    assert_eq!((line["axis"].as_str(), figure("moves")), (Some("axis 0"), MOVES as f64));
    let (low, high) = (figure("slope_low_s_per_h"), figure("slope_high_s_per_h"));
    assert!(low < SLOPE && SLOPE < high && high - low < SLOPE / 2.0, "{low} to {high}");
    assert!(figure("mann_kendall_p") < 1e-6, "{line}");
    assert_eq!(line["change_points"], serde_json::json!([]), "a ramp is no step");
    // 28 ms at the end, so two hours to go.
    let (earliest, latest) = (figure("limit_earliest_s"), figure("limit_latest_s"));
    assert!(earliest < 7200.0 && 7200.0 < latest && latest - earliest < 3600.0, "{earliest} to {latest}");
    // On average 4 ms more than the baseline.
    let lost = figure("lost_against_baseline_s");
    assert!((lost / (0.004 * MOVES as f64) - 1.0).abs() < 0.02, "{lost}");
    let table = String::from_utf8(trend(&place.text(), &[]).stdout).expect("UTF-8");
    assert!(table.contains("axis 0") && table.lines().count() == 3, "{table}");
}

#[test]
fn what_makes_no_trend_is_said() {
    let place = Scratch::new("trend-short");
    let (mut line, mut log) = (Line::new(8), place.log(&Options::default()));
    hear(&mut log, &line.run(100), BEGIN);
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
        let told = String::from_utf8_lossy(&refused.stderr).into_owned();
        assert!(refused.status.code() == Some(2) && told.contains("--limit-ms"), "{wrong}: {told}");
    }
}
