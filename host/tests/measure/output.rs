//! In: one good recording. Out: the same moves as table, JSON lines and CSV, for whoever reads them.

use std::io::{BufRead, BufReader};
use std::process::Stdio;

use serde_json::Value;

use super::{Folder, PERIOD, ROWS, recording, tail};

/// What the value of a field may be.
#[derive(Clone, Copy, Debug)]
enum Kind {
    Text,
    TextOrNull,
    Whole,
    Number,
    /// A number if, and only if, the move settled.
    Settled,
    NumberOrNull,
    Curve,
}

/// The contract of the JSON line, in its order.
const FIELDS: [(&str, Kind); 32] = [
    ("file", Kind::Text),
    ("axis", Kind::Text),
    ("move", Kind::Whole),
    ("start_s", Kind::Number),
    ("command_end_s", Kind::Number),
    ("travel", Kind::Number),
    ("peak_speed", Kind::Number),
    ("unit", Kind::Text),
    ("window", Kind::Number),
    ("window_time_s", Kind::Number),
    ("definition", Kind::Text),
    ("outcome", Kind::Text),
    ("reason", Kind::Text),
    ("settling_s", Kind::Settled),
    ("settling_u_s", Kind::Settled),
    ("first_entry_s", Kind::NumberOrNull),
    ("confirmation_s", Kind::NumberOrNull),
    ("stabilization_s", Kind::NumberOrNull),
    ("window_entries", Kind::Whole),
    ("overshoot", Kind::Number),
    ("peak_following_error", Kind::Number),
    ("error_at_command_end", Kind::Number),
    ("rest_error", Kind::NumberOrNull),
    ("rest_noise_rms", Kind::NumberOrNull),
    ("counts_per_unit", Kind::Number),
    ("ringing_hz", Kind::NumberOrNull),
    ("ringing_u_hz", Kind::NumberOrNull),
    ("damping_ratio", Kind::NumberOrNull),
    ("tail_s", Kind::NumberOrNull),
    ("signature", Kind::TextOrNull),
    ("settling_curve", Kind::Curve),
    ("settling_95_s", Kind::Settled),
];

fn is_kind(value: &Value, kind: Kind, settled: bool) -> bool {
    match kind {
        Kind::Text => value.is_string(),
        Kind::TextOrNull => value.is_string() || value.is_null(),
        Kind::Whole => value.is_u64(),
        Kind::Number => value.is_number(),
        Kind::Settled => value.is_number() == settled && value.is_null() != settled,
        Kind::NumberOrNull => value.is_number() || value.is_null(),
        Kind::Curve => value.as_array().is_some_and(|points| points.iter().all(is_point)),
    }
}

fn is_point(point: &Value) -> bool {
    matches!(point.as_array().map(Vec::as_slice),
        Some([window, settling]) if window.is_number() && (settling.is_number() || settling.is_null()))
}

#[track_caller]
fn check_contract(text: &str) {
    let line: Value = serde_json::from_str(text).expect("JSON");
    let settled = line["outcome"] == "settled";
    assert_eq!(line.as_object().expect("an object").len(), FIELDS.len(), "{text}");
    for (name, kind) in FIELDS {
        assert!(is_kind(&line[name], kind, settled), "{name} is {} in {text}", line[name]);
    }
    let places: Vec<_> = FIELDS.iter().map(|(name, _)| text.find(&format!("\"{name}\":"))).collect();
    assert!(places.is_sorted(), "{text}");
}

/// A recording whose moves have every outcome.
fn outcomes() -> String {
    let (lead, length, rest) = ROWS;
    let mut rows = recording(4);
    // The fourth row after the second command end holds nothing; the third rest is cut short.
    rows[1 + lead + 2 * length + rest + 4] = "0.804,,".to_owned();
    rows.truncate(1 + lead + 4 * length + 3 * rest + 85);
    rows.join("\n") + "\n"
}

#[test]
fn every_json_line_keeps_the_contract() {
    let folder = Folder::new("contract");
    folder.write("axis.csv", outcomes());
    let ran = folder.run("axis.csv --window 0.01 --format jsonl");
    assert_eq!(
        (ran.status, ran.outcomes().as_str()),
        (0, "settled untrusted settled interrupted"),
        "{}",
        ran.told
    );
    ran.out.lines().for_each(check_contract);
    let ran = folder.run("axis.csv --window 0.0001 --format jsonl");
    assert_eq!(ran.outcomes(), "settled untrusted settled unsettled");
    ran.out.lines().for_each(check_contract);
    for line in ran.lines() {
        assert!(line["reason"] != "", "too fine a window is told: {line}");
    }
}

#[test]
fn the_numbers_are_those_of_the_formula() {
    let folder = Folder::with_axis("formula");
    for window in [0.2, 0.05, 0.01, 0.003] {
        let ran = folder.run(&format!("axis.csv --window {window} --format jsonl"));
        let lines = ran.lines();
        assert_eq!((lines.len(), ran.told.as_str()), (4, ""));
        for (number, line) in lines.iter().enumerate() {
            let figure = |name: &str| line[name].as_f64().expect(name);
            let (lead, length, rest) = ROWS;
            let last = (lead + number * (length + rest) + length - 1) as f64 * PERIOD;
            let truth = last + tail(window) - figure("command_end_s");
            let settling = figure("settling_s");
            assert!((settling - truth).abs() <= PERIOD, "±{window}: {settling} s, by formula {truth} s");
            assert!((figure("confirmation_s") - settling - 0.01).abs() < 1e-9);
            let sign = if number % 2 == 0 { 1.0 } else { -1.0 };
            assert!((figure("travel") - sign * 10.0).abs() < 1e-9 && figure("overshoot") == 0.0, "{line}");
            assert_eq!((line["unit"].as_str(), line["move"].as_u64()), (Some("mm"), Some(number as u64 + 1)));
        }
    }
}

#[test]
fn csv_and_table_tell_the_same_moves() {
    let folder = Folder::with_axis("forms");
    let lines = folder.run("axis.csv --window 0.01 --format jsonl").lines();
    let rows = folder.run("axis.csv --window 0.01 --format csv").out;
    let mut reader = csv::Reader::from_reader(rows.as_bytes());
    let names: Vec<&str> = FIELDS.iter().map(|(name, _)| *name).collect();
    assert_eq!(reader.headers().expect("a header").iter().collect::<Vec<_>>(), names);
    let rows: Vec<csv::StringRecord> = reader.records().map(|row| row.expect("a row")).collect();
    assert_eq!(rows.len(), lines.len());
    for (row, line) in rows.iter().zip(&lines) {
        let settling: f64 = row[13].parse().expect("a figure");
        assert_eq!((Some(settling), &row[11]), (line["settling_s"].as_f64(), "settled"));
    }
    let table = folder.run("axis.csv --window 0.01").out;
    assert!(table.starts_with("axis.csv · axis · window ± 0.01 mm for 10 ms · last-entry\n"), "{table}");
    assert!(table.contains("4 moves: 4 settled; median settling 79.") && !table.contains('\x1b'), "{table}");
}

#[test]
fn the_table_fits_the_terminal() {
    let folder = Folder::with_axis("columns");
    for (columns, narrow) in [("60", true), ("80", true), ("90", true), ("120", false)] {
        let mut command = folder.command(&["axis.csv", "--window", "0.01"]);
        let ran = super::Ran::of(command.env("COLUMNS", columns).env("NO_COLOR", "1"));
        let widest = |line: &&str| line.chars().count();
        let rows: Vec<&str> = ran.out.lines().filter(|line| !line.starts_with("Too narrow for: ")).collect();
        let width = rows[1..7].iter().map(widest).max().expect("rows");
        assert!(width <= columns.parse().expect("a number"), "{columns}: {}", ran.out);
        assert_eq!(rows.len() < ran.out.lines().count(), narrow, "{columns}: {}", ran.out);
        assert!(ran.out.contains("settling") && ran.out.contains("outcome"), "{}", ran.out);
    }
}

#[test]
fn standard_input_is_a_recording_too() {
    let folder = Folder::with_axis("stdin");
    let bytes = recording(4).join("\r\n").into_bytes();
    let piped = folder.pipe("- --window 0.01 --format jsonl", &bytes);
    let named = folder.run("axis.csv --window 0.01 --format jsonl");
    assert_eq!((piped.status, piped.told.as_str()), (0, ""));
    let numbers = |ran: &super::Ran| -> Vec<Value> {
        let without_names = |mut line: Value| {
            line.as_object_mut().map(|fields| (fields.remove("file"), fields.remove("axis")));
            line
        };
        ran.lines().into_iter().map(without_names).collect()
    };
    assert_eq!(numbers(&piped), numbers(&named));
    assert_eq!(piped.lines()[0]["file"], "-");
    let nothing = folder.run("- --window 0.01");
    assert_eq!(nothing.status, 1);
    nothing.assert_tells(&["standard input: is empty"]);
}

#[test]
fn whoever_reads_may_stop_at_any_time() {
    let folder = Folder::new("head");
    folder.write("long.csv", recording(300).join("\n"));
    for form in ["jsonl", "csv", "table"] {
        let mut command = folder.command(&["long.csv", "long.csv", "--window", "0.01", "--format", form]);
        command.args(["--plot", &format!("{form}.svg")]).stdout(Stdio::piped()).stderr(Stdio::piped());
        let mut child = command.spawn().expect("the binary runs");
        let mut first = String::new();
        // The pipe closes behind the first line, as `head -1` does.
        BufReader::with_capacity(64, child.stdout.take().expect("a pipe"))
            .read_line(&mut first)
            .expect("a line");
        assert!(!first.is_empty());
        let ran = super::Ran::from(child.wait_with_output().expect("the binary ends"));
        assert_eq!((ran.status, ran.told.as_str()), (0, ""), "{form}");
        assert!(
            super::is_written(&folder.path(&format!("{form}.svg")), 10_000),
            "{form}: the picture is drawn"
        );
    }
}

#[cfg(target_os = "linux")]
#[test]
fn a_full_disk_is_told_once_and_a_deaf_stderr_stops_nothing() {
    let folder = Folder::with_axis("full");
    let full =
        || std::fs::File::options().write(true).open("/dev/full").expect("a device that is always full");
    for form in ["jsonl", "csv", "table"] {
        let mut command = folder.command(&["axis.csv", "axis.csv", "--window", "0.01", "--format", form]);
        let ran = super::Ran::of(command.stdout(full()));
        assert_eq!((ran.status, ran.told.matches("check the disk").count()), (1, 1), "{form}: {}", ran.told);
    }
    for (arguments, status) in [("axis.csv none.csv --window 0.01", 1), ("axis.csv --window 0", 2)] {
        let words: Vec<&str> = arguments.split(' ').collect();
        assert_eq!(super::Ran::of(folder.command(&words).stderr(full())).status, status, "{arguments}");
    }
}
