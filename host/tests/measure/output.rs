//! In: one good recording. Out: the same moves as table, JSON lines and CSV, for whoever reads them.

use std::io::{BufRead, BufReader};
use std::process::Stdio;

use serde_json::Value;
use stillpoint::report::field::{Field, Form};
use stillpoint::report::move_report::FIELDS;

use super::{Folder, PERIOD, ROWS, recording, tail};

/// The contract: these names in this order stay for ever; fields that came later stand behind them.
const FIRST_FIELDS: [&str; 32] = [
    "file",
    "axis",
    "move",
    "start_s",
    "command_end_s",
    "travel",
    "peak_speed",
    "unit",
    "window",
    "window_time_s",
    "definition",
    "outcome",
    "reason",
    "settling_s",
    "settling_u_s",
    "first_entry_s",
    "confirmation_s",
    "stabilization_s",
    "window_entries",
    "overshoot",
    "peak_following_error",
    "error_at_command_end",
    "rest_error",
    "rest_noise_rms",
    "counts_per_unit",
    "ringing_hz",
    "ringing_u_hz",
    "damping_ratio",
    "tail_s",
    "signature",
    "settling_curve",
    "settling_95_s",
];

/// Fields that hold a value if, and only if, the move settled.
const ONLY_SETTLED: [&str; 3] = ["settling_s", "settling_u_s", "settling_95_s"];

/// Fields that may be null.
const OPTIONAL: [&str; 10] = [
    "first_entry_s",
    "confirmation_s",
    "stabilization_s",
    "rest_error",
    "rest_noise_rms",
    "ringing_hz",
    "ringing_u_hz",
    "damping_ratio",
    "tail_s",
    "signature",
];

fn names() -> Vec<&'static str> {
    FIELDS.iter().map(|field| field.name).collect()
}

fn is_form(value: &Value, form: Form) -> bool {
    match form {
        Form::Text => value.is_string(),
        Form::Whole => value.is_u64(),
        Form::Number => value.is_number(),
        Form::Curve => value.as_array().is_some_and(|points| points.iter().all(is_point)),
    }
}

fn is_point(point: &Value) -> bool {
    matches!(point.as_array().map(Vec::as_slice),
        Some([window, settling]) if window.is_number() && (settling.is_number() || settling.is_null()))
}

/// Every field of the table is in the line, in its order, and nothing else.
#[track_caller]
fn check_contract(text: &str) {
    let line: Value = serde_json::from_str(text).expect("JSON");
    let settled = line["outcome"] == "settled";
    assert_eq!(line.as_object().expect("an object").len(), FIELDS.len(), "{text}");
    for Field { name, form, .. } in FIELDS {
        let value = &line[name];
        if ONLY_SETTLED.contains(name) {
            assert_eq!((value.is_number(), value.is_null()), (settled, !settled), "{name} in {text}");
        } else if FIRST_FIELDS.contains(name) {
            let may_be_null = OPTIONAL.contains(name) && value.is_null();
            assert!(may_be_null || is_form(value, *form), "{name} is {value} in {text}");
        } else {
            assert!(value.is_null() || is_form(value, *form), "{name} is {value} in {text}");
        }
    }
    let places: Vec<_> = names().iter().map(|name| text.find(&format!("\"{name}\":"))).collect();
    assert!(places.is_sorted(), "{text}");
}

#[test]
fn the_names_of_the_contract_come_first() {
    assert_eq!(names()[..FIRST_FIELDS.len()], FIRST_FIELDS);
}

/// A field that is in the table but not measured is null in every move.
#[test]
fn every_field_holds_a_value_in_some_move() {
    let folder = Folder::with_axis("values");
    let mut lines = folder.run("axis.csv --window 0.01 --format jsonl").lines();
    folder.write("axis.csv", outcomes());
    lines.extend(folder.run("axis.csv --window 0.01 --format jsonl").lines());
    for recording in [ringing(), two_modes()] {
        folder.write("axis.csv", recording);
        lines.extend(folder.run("axis.csv --window 0.01 --format jsonl").lines());
    }
    let empty = |name: &&str| lines.iter().all(|line| line[*name].is_null());
    assert_eq!(names().into_iter().filter(empty).collect::<Vec<_>>(), Vec::<&str>::new());
}

/// A recording of one move that rings at 20 Hz on top of a tail.
fn ringing() -> String {
    let row = |k: u32| {
        let (ms, since) = (f64::from(k), f64::from(k.saturating_sub(200)) / 1000.0);
        let command = ((ms - 100.0) / 100.0).clamp(0.0, 1.0);
        let swing = 0.2 * (-8.0 * since).exp() * (std::f64::consts::TAU * 20.0 * since).cos();
        let error = if k < 100 { 0.0 } else { command * (swing + 0.1 * (-since / 0.05).exp()) };
        format!("{},{command},{:.4}\n", ms / 1000.0, command - error)
    };
    let rows: String = (0..1000).map(row).collect();
    format!("time,command,feedback\n{rows}")
}

/// A recording of one move that rings at 20 and at 23 Hz.
fn two_modes() -> String {
    let row = |k: u32| {
        let (ms, since) = (f64::from(k), f64::from(k.saturating_sub(200)) / 1000.0);
        let command = ((ms - 100.0) / 100.0).clamp(0.0, 1.0);
        let wave = |size: f64, decay: f64, hz: f64| {
            size * (-decay * since).exp() * (std::f64::consts::TAU * hz * since).cos()
        };
        let error = if k < 100 { 0.0 } else { command * (wave(0.2, 2.0, 20.0) + wave(0.1, 3.0, 23.0)) };
        format!("{},{command},{:.4}\n", ms / 1000.0, command - error)
    };
    let rows: String = (0..2500).map(row).collect();
    format!("time,command,feedback\n{rows}")
}

#[test]
fn two_oscillations_are_told_apart() {
    let folder = Folder::new("two_modes");
    folder.write("axis.csv", two_modes());
    let lines = folder.run("axis.csv --window 0.01 --format jsonl").lines();
    let near = |name: &str, truth: f64, within: f64| {
        let value = lines[0][name].as_f64().unwrap_or_else(|| panic!("{name} in {}", lines[0]));
        assert!((value - truth).abs() < within, "{name}: {value}");
    };
    let damping = |decay: f64, hz: f64| decay / (std::f64::consts::TAU * hz).hypot(decay);
    for (mode, hz, decay, size) in [("first", 20.0, 2.0, 0.2), ("second", 23.0, 3.0, 0.1)] {
        near(&format!("{mode}_mode_hz"), hz, 0.01);
        near(&format!("{mode}_mode_damping"), damping(decay, hz), 2e-4);
        near(&format!("{mode}_mode_amplitude"), size, 1e-3);
    }
    assert!(lines[0]["damping_ratio"].is_null(), "one oscillation does not describe it: {}", lines[0]);
}

/// A recording whose moves have every outcome, and a job.
fn outcomes() -> String {
    let (lead, length, rest) = ROWS;
    let mut rows = recording(4);
    // Rows after the second command end hold nothing, for longer than the window time; the third rest is cut short.
    let end = 1 + lead + 2 * length + rest;
    rows[end + 4..end + 20].fill("0.804,,".to_owned());
    rows.truncate(1 + lead + 4 * length + 3 * rest + 85);
    rows.iter_mut()
        .zip([",job"].into_iter().chain(std::iter::repeat(",7")))
        .for_each(|(row, job)| *row += job);
    rows.join("\n") + "\n"
}

#[test]
fn every_json_line_holds_the_contract() {
    let folder = Folder::new("contract");
    folder.write("axis.csv", outcomes());
    let ran = folder.run("axis.csv --window 0.01 --format jsonl");
    assert_eq!(
        (ran.status, ran.outcomes().as_str()),
        (0, "settled untrusted settled interrupted"),
        "{}",
        ran.stderr
    );
    ran.out.lines().for_each(check_contract);
    let ran = folder.run("axis.csv --window 0.0001 --format jsonl");
    assert_eq!(ran.outcomes(), "settled untrusted settled unsettled");
    ran.out.lines().for_each(check_contract);
    for line in ran.lines() {
        assert!(line["reason"] != "", "too fine a window has a reason: {line}");
    }
}

#[test]
fn the_numbers_are_those_of_the_formula() {
    let folder = Folder::with_axis("formula");
    for window in [0.2, 0.05, 0.01, 0.003] {
        let ran = folder.run(&format!("axis.csv --window {window} --format jsonl"));
        let lines = ran.lines();
        assert_eq!((lines.len(), ran.stderr.as_str()), (4, ""));
        for (number, line) in lines.iter().enumerate() {
            let figure = |name: &str| line[name].as_f64().expect(name);
            // From the true end of the profile, which the core estimates.
            let truth = tail(window);
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
fn csv_and_table_show_the_same_moves() {
    let folder = Folder::with_axis("forms");
    let lines = folder.run("axis.csv --window 0.01 --format jsonl").lines();
    let rows = folder.run("axis.csv --window 0.01 --format csv").out;
    let mut reader = csv::Reader::from_reader(rows.as_bytes());
    assert_eq!(reader.headers().expect("a header").iter().collect::<Vec<_>>(), names());
    let rows: Vec<csv::StringRecord> = reader.records().map(|row| row.expect("a row")).collect();
    assert_eq!(rows.len(), lines.len());
    for (row, line) in rows.iter().zip(&lines) {
        let settling: f64 = row[13].parse().expect("a figure");
        assert_eq!((Some(settling), &row[11]), (line["settling_s"].as_f64(), "settled"));
    }
    let table = folder.run("axis.csv --window 0.01").out;
    assert!(table.starts_with("axis.csv · axis · window ± 0.01 mm for 10 ms · last-entry\n"), "{table}");
    assert!(table.contains("4 moves: 4 settled; median settling 78.") && !table.contains('\x1b'), "{table}");
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
    assert_eq!((piped.status, piped.stderr.as_str()), (0, ""));
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
    nothing.assert_stderr_has(&["standard input: is empty"]);
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
        assert_eq!((ran.status, ran.stderr.as_str()), (0, ""), "{form}");
        assert!(
            super::is_written(&folder.path(&format!("{form}.svg")), 10_000),
            "{form}: the picture is drawn"
        );
    }
}

#[cfg(target_os = "linux")]
#[test]
fn a_full_disk_is_reported_once_and_a_full_stderr_stops_nothing() {
    let folder = Folder::with_axis("full");
    let full =
        || std::fs::File::options().write(true).open("/dev/full").expect("a device that is always full");
    for form in ["jsonl", "csv", "table"] {
        let mut command = folder.command(&["axis.csv", "axis.csv", "--window", "0.01", "--format", form]);
        let ran = super::Ran::of(command.stdout(full()));
        assert_eq!(
            (ran.status, ran.stderr.matches("check the disk").count()),
            (1, 1),
            "{form}: {}",
            ran.stderr
        );
    }
    for (arguments, status) in [("axis.csv none.csv --window 0.01", 1), ("axis.csv --window 0", 2)] {
        let words: Vec<&str> = arguments.split(' ').collect();
        assert_eq!(super::Ran::of(folder.command(&words).stderr(full())).status, status, "{arguments}");
    }
}
