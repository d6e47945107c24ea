//! In: recordings made here, given to the built `stillpoint window`. Out: whether it does what its manual says.

#[path = "../compare/made.rs"]
mod made;
#[path = "../program/mod.rs"]
mod program;

use made::{PERIOD, Tail, recording};
use program::{done, stillpoint};
use rand_pcg::Pcg32;
use rand_pcg::rand_core::Rng;
use serde_json::Value;

/// A file for one test; goes when the test is over.
struct File(std::path::PathBuf);

impl File {
    fn new(test: &str, text: impl AsRef<[u8]>) -> File {
        let path = std::env::temp_dir().join(format!("stillpoint-window-{}-{test}.csv", std::process::id()));
        std::fs::write(&path, text).expect("a file for the test");
        File(path)
    }

    fn name(&self) -> &str {
        self.0.to_str().expect("UTF-8")
    }

    fn json(&self, arguments: &[&str]) -> Value {
        let arguments = [&["window", self.name()], arguments, &["--format", "json"]].concat();
        serde_json::from_str(&done(&arguments)).expect("one JSON object")
    }
}

impl Drop for File {
    fn drop(&mut self) {
        std::fs::remove_file(&self.0).ok();
    }
}

fn number(value: &Value) -> f64 {
    value.as_f64().unwrap_or_else(|| panic!("{value} is no number"))
}

/// Stops whose height differs, in an order without dependence.
fn tails(count: usize) -> Vec<Tail> {
    let part = |at: usize| (at * 37 % 101) as f64 / 101.0;
    (0..count).map(|at| Tail { height: 0.3 + 0.4 * part(at), constant: 0.02, offset: 0.0 }).collect()
}

/// The slow twin: the largest errors of the forward moves after this time, in order. Half a sample period is taken off,
/// from where times count.
fn errors(tails: &[Tail], settling: f64) -> Vec<f64> {
    let after = (settling - 0.5 * PERIOD).max(0.0);
    let mut errors: Vec<f64> = tails.iter().step_by(2).map(|tail| tail.error(after)).collect();
    errors.sort_by(f64::total_cmp);
    errors
}

/// Of 30 moves the largest is the limit for 90 % at 95 %: Wilks needs 29.
#[test]
fn the_smallest_window_is_that_of_so_many_stops() {
    let tails = tails(60);
    let file = File::new("tails", recording(&tails, 10.0));
    for time in [0.02, 0.05, 0.08] {
        let result = file.json(&["--settling-ms", &format!("{}", 1e3 * time), "--share", "0.9"]);
        let kind = &result["kinds"][0];
        assert_eq!((&kind["moves"], &kind["moves_needed"]), (&30.into(), &29.into()), "{result}");
        let window = number(&kind["curve"][0]["window"]);
        // A sample or two more or less, and the rounding of joined windows.
        let (low, high) = (errors(&tails, time + 2.0 * PERIOD)[29], errors(&tails, time - PERIOD)[29]);
        assert!(low * 0.998 <= window && window <= high * 1.002, "{time}: {window}, {low} to {high}");
        assert_eq!(kind["curve"].as_array().map(Vec::len), Some(1));
        assert!(number(&kind["curve"][0]["window_low"]) < window);
        assert_eq!(
            kind["curve"][0]["window_high"],
            Value::Null,
            "30 moves are too few for a whole curve at 95 %"
        );
    }
    let few = file.json(&["--share", "0.95"]);
    assert_eq!(few["kinds"][0]["curve"], Value::Array(vec![]));
    assert_eq!(few["kinds"][0]["reason"], "59 moves are needed for 95 % of moves at 95 % confidence");
}

/// The sample after the last one outside: at most a period after the crossing that `measure` interpolates.
#[test]
fn the_time_for_a_window_is_the_measured_one_in_whole_samples() {
    let file = File::new("time", recording(&tails(60), 10.0));
    let result = file.json(&["--window", "0.05", "--share", "0.9"]);
    let point = &result["kinds"][0]["curve"][0];
    let measured = done(&["measure", file.name(), "--window", "0.05", "--format", "jsonl"]);
    let lines = measured.lines().map(|line| serde_json::from_str::<Value>(line).expect("JSON"));
    let forward = lines.filter(|line| number(&line["travel"]) > 0.0);
    let slowest = forward.map(|line| number(&line["settling_s"])).fold(0.0, f64::max);
    let time = number(&point["settling_s"]);
    assert!((slowest..=slowest + PERIOD).contains(&time), "{slowest}: {result}");
    assert_eq!(number(&point["window"]), 0.05, "{result}");
}

/// The words of README.md are those of the program, for the recording that comes with it.
#[test]
fn the_example_of_the_readme_is_what_the_program_says() {
    let package = std::path::Path::new(env!("CARGO_MANIFEST_DIR"));
    let file = package.join("recordings/transplanter_tray_shuttle_80_moves.csv").display().to_string();
    let readme = std::fs::read_to_string(package.join("../README.md")).expect("README.md");
    let window = between(&done(&["window", &file, "--settling-ms", "60"]), "must be ", " mm or wider");
    assert!(readme.contains(&window), "README.md does not have {window:?}");
    let time = between(&done(&["window", &file, "--window", &window[3..]]), "settles in ", " ms or less");
    assert!(time.parse::<f64>().is_ok_and(|time| time <= 60.0), "{time}");
}

/// Random stops, and a time and a window as a person types them.
fn drawn(random: &mut Pcg32) -> (Vec<Tail>, String, String) {
    let mut even =
        |low: f64, high: f64| low + (high - low) * f64::from(random.next_u32()) / f64::from(u32::MAX);
    let constant = even(0.005, 0.03);
    let tails =
        (0..60).map(|_| Tail { height: even(0.1, 0.8), constant: constant * even(0.9, 1.1), offset: 0.0 });
    let tails = tails.collect();
    (tails, format!("{:.2}", 1e3 * constant * even(0.2, 3.0)), format!("{:.4}", even(0.02, 0.3)))
}

/// The number between two words of the first line.
fn between(text: &str, before: &str, after: &str) -> String {
    let line = text.lines().next().expect("an answer");
    let found = line.split_once(before).and_then(|(_, rest)| rest.split_once(after));
    found.unwrap_or_else(|| panic!("no number between {before:?} and {after:?} in {line}")).0.to_owned()
}

/// What is printed for a time holds for that time, what is printed for a window for that window, and the one is never better
/// than the other.
#[test]
fn the_window_printed_for_a_time_and_the_time_printed_for_that_window_agree() {
    for seed in 0..12 {
        let (tails, time, window) = drawn(&mut Pcg32::new(seed, 4));
        let file = File::new("agree", recording(&tails, 10.0));
        let window_for = |time: &str| {
            between(&done(&["window", file.name(), "--share", "0.9", "--settling-ms", time]), "± ", " mm or")
        };
        let time_for = |window: &str| {
            between(
                &done(&["window", file.name(), "--share", "0.9", "--window", window]),
                "settles in ",
                " ms or",
            )
        };
        let figure = |text: &str| text.parse::<f64>().expect("a number");
        let needed = window_for(&time);
        assert!(figure(&time_for(&needed)) <= figure(&time), "{seed}: {time} ms, ± {needed}");
        let settled = time_for(&window);
        let of_window = file.json(&["--share", "0.9", "--window", &window]);
        let of_time = || file.json(&["--share", "0.9", "--settling-ms", &settled]);
        assert!(figure(&window_for(&settled)) <= figure(&window), "{seed}: {of_window} {}", of_time());
        for kind in of_window["kinds"].as_array().expect("kinds") {
            let low = kind["curve"][0]["window_low"].as_f64().unwrap_or(0.0);
            assert!(low <= figure(&window), "{seed}: {kind}");
        }
    }
}

#[test]
fn a_cycle_is_as_much_shorter_as_its_waits() {
    let file = File::new("cycle", recording(&tails(60), 10.0));
    let cycle = ["--share", "0.9", "--cycle-s", "2.6", "--wait-ms", "140", "--moves-per-cycle", "2"];
    let result = file.json(&[&cycle[..], &["--settling-ms", "40"]].concat());
    let point = &result["kinds"][0]["curve"][0];
    assert!((number(&point["cycle_s"]) - 2.4).abs() < 1e-9, "{point}");
    assert!((number(&point["parts_per_hour"]) - 1500.0).abs() < 1e-6);
    let text = done(&[&["window", file.name()], &cycle[..]].concat());
    assert!(text.contains("parts") && text.contains("cycle"), "{text}");
}

/// The whole curve falls, is no finer than samples, and says where it says nothing.
#[test]
fn the_curve_falls_and_names_its_limits() {
    let mut all = tails(240);
    // All stops end within a count of 10 µm.
    all.iter_mut().for_each(|tail| tail.constant = 0.01);
    let coarse: String = recording(&all, 10.0)
        .lines()
        .map(|line| match line.split(',').collect::<Vec<&str>>()[..] {
            [time, command, feedback] if time != "t_s" => {
                let rounded = |text: &str| (text.parse::<f64>().expect("a number") * 100.0).round() / 100.0;
                format!("{time},{:.2},{:.2}\n", rounded(command), rounded(feedback))
            }
            _ => line.to_owned() + "\n",
        })
        .collect();
    let file = File::new("coarse", coarse);
    let result = file.json(&["--share", "0.9"]);
    let points = result["kinds"][0]["curve"].as_array().expect("points").clone();
    assert!(points.len() > 8, "{result}");
    let windows: Vec<f64> = points.iter().map(|point| number(&point["window"])).collect();
    assert!(windows.is_sorted_by(|a, b| a >= b), "{windows:?}");
    for point in &points {
        let (window, high, low) =
            (number(&point["window"]), number(&point["window_high"]), &point["window_low"]);
        assert!(window <= high && low.as_f64().is_none_or(|low| low <= window), "{point}");
        let time = number(&point["settling_s"]);
        let expected = match () {
            () if window < 0.02 - 1e-9 => Value::from("encoder step"),
            () if time > 0.0 && time < 5.0 * PERIOD => Value::from("sample period"),
            () => Value::Null,
        };
        assert_eq!(point["limited_by"], expected, "{point}");
    }
    let narrow = file.json(&["--share", "0.9", "--window", "0.01"]);
    assert_eq!(narrow["kinds"][0]["curve"][0]["limited_by"], "encoder step");
    let quick = file.json(&["--share", "0.9", "--settling-ms", "3"]);
    assert_eq!(quick["kinds"][0]["curve"][0]["limited_by"], "sample period");
    let text = done(&["window", file.name(), "--share", "0.9", "--window", "0.01"]);
    assert!(text.contains("* below two encoder steps of 0.01 mm"), "{text}");
    assert!(text.lines().all(|line| line.chars().count() <= 100), "{text}");
}

#[test]
fn pictures_and_refusals() {
    let file = File::new("pictures", recording(&tails(60), 10.0));
    let folder = std::env::temp_dir();
    for end in ["svg", "png", "html"] {
        let path = folder.join(format!("stillpoint-window-{}.{end}", std::process::id()));
        let name = path.display().to_string();
        done(&["window", file.name(), "--share", "0.9", "--settling-ms", "40", "--plot", &name]);
        assert!(std::fs::metadata(&path).is_ok_and(|file| file.len() > 5_000), "{end}");
        std::fs::remove_file(&path).ok();
    }
    for (arguments, part) in [
        (&["--settling-ms", "40", "--window", "0.05"][..], "cannot be used with"),
        (&["--share", "95"], "0.95"),
        (&["--wait-ms", "5"], "--cycle-s"),
        (&["--settling-ms", "-1"], "milliseconds from 0"),
        (&["--plot", "a.pdf"], ".svg"),
    ] {
        let output = stillpoint(&[&["window", file.name()], arguments].concat());
        let message = String::from_utf8_lossy(&output.stderr);
        assert_eq!((output.status.code(), message.contains(part)), (Some(2), true), "{message}");
    }
}
