//! Real machines: open recordings measured independently beforehand.
//!
//! Sources: the geared stepper and the step drive in `tests/recordings` (MIT, notices beside them);
//! the truths are last command change to last sample outside + 1, found by a whole-array script.

use std::path::PathBuf;

use stillpoint::measure::MeasureOptions;
use stillpoint::report::move_report::MoveReport;
use stillpoint::trace::Choice;
use stillpoint_tests::published::path;
use stillpoint_tests::recording::{measured, moves, options};

/// Recordings of a folder whose names begin with the text, in order.
fn recordings(folder: &str, begin: &str) -> Vec<PathBuf> {
    let files =
        std::fs::read_dir(path(folder)).expect("a folder").map(|entry| entry.expect("an entry").path());
    let named =
        |path: &PathBuf| path.file_name().is_some_and(|name| name.to_string_lossy().starts_with(begin));
    let mut files: Vec<PathBuf> = files.filter(named).collect();
    files.sort();
    assert!(!files.is_empty(), "{folder} has no recordings {begin}…");
    files
}

fn geared(begin: &str) -> Vec<PathBuf> {
    recordings("recordings/geared-motor", begin)
}

/// Longest sample period there: 6 ms with jitter. Unit: s
const SAMPLE: f64 = 0.0075;

#[test]
fn geared_motor_runs_settle_at_the_known_times() {
    // By name: 1000, 2000, 3000, 3500, 4000 step/s.
    let truths = [0.0738, 0.3113, 0.3963, 0.3420, 0.3532];
    let files = geared("07_r07");
    assert_eq!(files.len(), truths.len(), "{files:?}");
    let mut inside_at_end = 0;
    for (file, truth) in files.iter().zip(truths) {
        let lines = moves(file, &options("5"));
        let [line] = lines.as_slice() else { panic!("{} moves in {}", lines.len(), file.display()) };
        let settling = line.settling_s.expect("settled");
        assert!(settling <= truth + 1e-4 && settling >= truth - SAMPLE, "{settling}, known {truth}");
        inside_at_end += usize::from(line.first_entry_s == Some(0.0));
        println!("ran {}: {settling:.4} s", file.display());
    }
    assert_eq!(inside_at_end, 4, "inside at the command end and then outside again");
}

#[test]
fn worn_runs_never_settle() {
    let unsettled = |files: Vec<PathBuf>| {
        for file in files {
            let lines = moves(&file, &options("5"));
            assert!(!lines.is_empty(), "no moves in {}", file.display());
            for line in lines {
                assert_eq!((line.outcome.word(), line.settling_s), ("unsettled", None), "{}", file.display());
            }
            println!("ran {}: unsettled", file.display());
        }
    };
    unsettled(geared("07_r01"));
    unsettled(geared("07_r02").into_iter().take(3).collect());
}

#[test]
fn a_rest_that_ends_too_early_is_interrupted() {
    for file in geared("07_rold__10_20_0_1000_2940") {
        let lines = moves(&file, &MeasureOptions { window_time_ms: 50.0, ..options("5") });
        let [line] = lines.as_slice() else { panic!("{} moves", lines.len()) };
        assert_eq!((line.outcome.word(), line.settling_s), ("interrupted", None));
        println!("ran {}: interrupted", file.display());
    }
}

fn step_drive(window: &str) -> Vec<MoveReport> {
    moves(&path("recordings/step-drive/pid_step.csv"), &options(window))
}

#[test]
fn the_step_drive_settles_in_seconds_and_once_later() {
    let lines = step_drive("6");
    let (forward, back): (Vec<&MoveReport>, Vec<&MoveReport>) =
        lines.iter().partition(|line| line.travel > 0.0);
    for line in &forward {
        let settling = line.settling_s.expect("settled");
        assert!((3.0..=3.4).contains(&settling), "forward {settling}");
    }
    let mut times: Vec<f64> = back.iter().map(|line| line.settling_s.expect("settled")).collect();
    times.sort_by(f64::total_cmp);
    assert_eq!((forward.len(), back.len()), (4, 4));
    let (late, others) = times.split_last().expect("return moves");
    assert!((late - 4.51).abs() <= 0.004, "one return move is late: {late}");
    assert!(others.iter().all(|settling| (3.2..=3.5).contains(settling)), "{others:?}");
    println!("ran step drive, window 6: {} moves", lines.len());
}

#[test]
fn a_window_below_the_encoder_step_is_named_as_the_reason() {
    let lines = step_drive("2.5");
    assert_eq!(lines.len(), 8);
    for line in lines.iter().filter(|line| line.travel < 0.0) {
        assert_eq!((line.outcome.word(), line.settling_s), ("unsettled", None));
    }
    for line in &lines {
        assert!(line.reason.contains("below two encoder steps"), "{}", line.reason);
    }
    println!("ran step drive, window 2.5: {} moves", lines.len());
}

/// An invented recording, as no published one has this motion.
#[test]
fn a_sine_without_rest_gives_no_moves() {
    let mut text = String::from("t_s,command_mm,feedback_mm\n");
    for k in 0..20_000 {
        let at = |k: f64| 40.0 * (k * 0.004).sin();
        text +=
            &format!("{:.4},{:.4},{:.4}\n", f64::from(k) * 0.001, at(f64::from(k)), at(f64::from(k) - 3.0));
    }
    let file = std::env::temp_dir().join(format!("stillpoint-sine-{}.csv", std::process::id()));
    std::fs::write(&file, text).expect("a file is written");
    let measured = measured(&file, &options("0.01"), &Choice::default());
    std::fs::remove_file(&file).ok();
    let (lines, summary) = measured.expect("it can be read");
    assert!(lines.is_empty(), "{} moves", lines.len());
    assert!(summary.notes.iter().any(|note| note.contains("never comes to rest")), "{:?}", summary.notes);
}
