//! In: the same moves in other units, columns, clocks. Out: the same numbers.

use serde_json::Value;

use super::{Folder, PERIOD, recording, samples};

/// Counts in one millimetre of the recordings here: 2^20 in 60 mm.
const COUNTS: f64 = 1_048_576.0 / 60.0;

/// The same moves in counts: time, command, feedback.
fn counts(command_share: f64) -> String {
    let row = |(row, (command, feedback)): (usize, (f64, f64))| {
        let command = (command * COUNTS * command_share).round();
        format!("{:.3};{command};{}\n", row as f64 / 1000.0, (feedback * COUNTS).round())
    };
    format!("t_s;command;feedback\n{}", samples(4).into_iter().enumerate().map(row).collect::<String>())
}

#[track_caller]
fn settlings(folder: &Folder, arguments: &str) -> Vec<f64> {
    let ran = folder.run(&format!("{arguments} --format jsonl"));
    assert_eq!((ran.status, ran.outcomes().as_str()), (0, "settled settled settled settled"), "{ran:?}");
    ran.lines().iter().map(|line| line["settling_s"].as_f64().expect("a figure")).collect()
}

/// Whether both give the same settling times within a sample.
#[track_caller]
fn check_alike(folder: &Folder, arguments: &str, other: &str) {
    let (found, other) = (settlings(folder, arguments), settlings(folder, other));
    let alike = found.iter().zip(&other).all(|(a, b)| (a - b).abs() <= 0.001);
    assert!(found.len() == other.len() && alike, "{arguments}: {found:?}, {other:?}");
}

#[test]
fn fractions_of_counts_are_exact() {
    let folder = Folder::with_axis("fractions");
    folder.write("counts.csv", counts(1.0));
    let lines = |scale: &str| {
        let ran = folder.run(&format!("counts.csv --window 0.01 --unit mm --format jsonl {scale}"));
        assert_eq!((ran.status, ran.lines().len(), ran.stderr.as_str()), (0, 4, ""), "{scale}");
        ran.out
    };
    let plain = lines("--counts-per-unit 1048576/60");
    for same in [
        "--counts-per-unit 262144/15",
        "--counts-per-unit 524288/30.0",
        "--encoder-resolution 1048576/1 --feed-constant 60/1",
        "--encoder-resolution 131072/1 --gear-ratio 8/1 --feed-constant 60/1",
        "--encoder-resolution 1048576/3 --gear-ratio 3/1 --feed-constant 60",
    ] {
        assert_eq!(lines(same), plain, "{same}");
    }
    assert_ne!(lines("--counts-per-unit 1048576/61"), plain);
    let first: Value = serde_json::from_str(plain.lines().next().expect("a line")).expect("JSON");
    assert_eq!((first["counts_per_unit"].as_f64(), first["unit"].as_str()), (Some(COUNTS), Some("mm")));
    check_alike(&folder, "counts.csv --window 0.01 --counts-per-unit 1048576/60", "axis.csv --window 0.01");
}

#[test]
fn a_command_may_count_differently_from_the_feedback() {
    let folder = Folder::with_axis("command");
    folder.write("half.csv", counts(0.5));
    folder.write("opposite.csv", counts(-3.0));
    let scale = "--window 0.01 --counts-per-unit 1048576/60";
    check_alike(&folder, &format!("half.csv {scale} --command-scale 2/1"), "axis.csv --window 0.01");
    check_alike(&folder, &format!("opposite.csv {scale} --command-scale -1/3"), "axis.csv --window 0.01");
    let ran = folder.run(&format!("half.csv {scale} --format jsonl"));
    // Half the command is another target, but for the one at 0, where every second move would be settled.
    assert_eq!((ran.status, ran.out.as_str()), (1, ""));
    ran.assert_stderr_has(&[
        "half.csv, line 2: column 'feedback'",
        "counted in another unit",
        "see the scales",
    ]);
}

#[test]
fn what_is_known_of_the_machine_is_used() {
    let folder = Folder::with_axis("machine");
    let first =
        |arguments: &str| folder.run(&format!("axis.csv --format jsonl {arguments}")).lines()[0].clone();
    let coarse = first("--window 0.01 --encoder-step 0.0075");
    assert!(
        coarse["reason"].as_str().is_some_and(|reason| reason.contains("below two encoder steps")),
        "{coarse}"
    );
    assert_eq!(first("--window 0.01 --encoder-step 0.001")["reason"], "");
    let (fast, slow) = (first("--window 0.01 --max-speed 200"), first("--window 0.01 --max-speed 10"));
    assert_eq!((fast["outcome"].as_str(), slow["outcome"].as_str()), (Some("settled"), Some("untrusted")));
    assert!(slow["reason"].as_str().is_some_and(|reason| reason.contains("feedback jumps")), "{slow}");
}

#[test]
fn each_definition_is_reported_as_such() {
    let folder = Folder::with_axis("definitions");
    let line = |definition: &str| {
        let ran = folder.run(&format!("axis.csv --window 0.01 --format jsonl --definition {definition}"));
        assert_eq!(ran.outcomes(), "settled settled settled settled");
        ran.lines()[0].clone()
    };
    let last = line("last-entry");
    assert_eq!(folder.run("axis.csv --window 0.01 --format jsonl").lines()[0], last, "it is the default");
    let (iso, target) = (line("iso-9283"), line("target-reached"));
    assert_eq!((&iso["definition"], &target["definition"]), (&"iso-9283".into(), &"target-reached".into()));
    assert_eq!(iso["settling_s"], last["stabilization_s"]);
    // The bit is set at a sample, the first one after the window time.
    let figure = |line: &Value, name: &str| line[name].as_f64().expect("a figure");
    let late = figure(&target, "settling_s") - figure(&last, "confirmation_s");
    assert!((0.0..PERIOD).contains(&late), "{late}");
}

#[test]
fn rows_without_time_come_at_the_rate() {
    let folder = Folder::with_axis("rate");
    let without_time = |line: String| line.split_once(',').map(|(_, rest)| rest.to_owned()).expect("columns");
    let lines: Vec<String> = recording(4).into_iter().map(without_time).collect();
    folder.write("rows.csv", lines.join("\n"));
    folder.write("bare.csv", lines[1..].join("\n"));
    check_alike(&folder, "rows.csv --window 0.01 --rate 1000", "axis.csv --window 0.01");
    check_alike(&folder, "rows.csv --window 0.01 --rate 3000/3", "axis.csv --window 0.01");
    check_alike(
        &folder,
        "bare.csv --window 0.01 --rate 1e3 --command 1 --feedback 2",
        "axis.csv --window 0.01",
    );
    let twice = settlings(&folder, "rows.csv --window 0.01 --rate 500 --window-time-ms 20");
    let once = settlings(&folder, "axis.csv --window 0.01");
    assert!(
        twice.iter().zip(&once).all(|(twice, once)| (twice - 2.0 * once).abs() < 1e-4),
        "{twice:?} {once:?}"
    );
    let ran = folder.run("rows.csv --window 0.01");
    assert_eq!(ran.status, 1);
    ran.assert_stderr_has(&["rows.csv, line 1: no time column", "--rate HZ"]);
    let ran = folder.run("axis.csv --window 0.01 --rate 1000 --format jsonl");
    assert_eq!(ran.lines().len(), 4);
    ran.assert_stderr_has(&["axis.csv: --rate is given, so time column 't_s' is not used"]);
}

#[test]
fn columns_are_chosen_by_name_or_number_and_time_has_its_unit() {
    let folder = Folder::with_axis("columns");
    let swap = |line: String| {
        let cells: Vec<&str> = line.split(',').collect();
        let seconds: Option<f64> = cells[0].parse().ok();
        let time = seconds.map_or("n".to_owned(), |seconds| (seconds * 1000.0).round().to_string());
        format!("{};x;{};{time}", cells[2], cells[1])
            .replace("feedback [mm]", "a")
            .replace("command [mm]", "b")
    };
    folder.write("odd.csv", recording(4).into_iter().map(swap).collect::<Vec<_>>().join("\n"));
    let good = "axis.csv --window 0.01";
    check_alike(&folder, "odd.csv --window 0.01 --time n:ms --command b --feedback a", good);
    check_alike(&folder, "odd.csv --window 0.01 --time 4:ms --command 3 --feedback 1 --delimiter ;", good);
    let ran = folder.run("odd.csv --window 0.01 --time n:ms --command c --feedback a");
    assert_eq!(ran.status, 1);
    ran.assert_stderr_has(&["odd.csv, line 1: there is no column 'c' for command", "--command", "3 'b'"]);
}

/// A recording in volts, of which command and feedback have other scales, and the second has a fraction without end.
fn volts() -> String {
    let row = |(row, (command, feedback)): (usize, (f64, f64))| {
        format!("{:.3};{:.6};{:.6}\n", row as f64 / 1000.0, command * 0.4, feedback * -0.3)
    };
    format!("t;cmd;act\ns;V;V\n{}", samples(4).into_iter().enumerate().map(row).collect::<String>())
}

#[test]
fn analog_signals_have_scales() {
    let folder = Folder::with_axis("analog");
    folder.write("volts.csv", volts());
    let scales = "--command-scale 2.5 --feedback-scale -10/3";
    check_alike(&folder, &format!("volts.csv --window 0.01 --unit mm {scales}"), "axis.csv --window 0.01");
    // In volts of the command, where only the feedback has a scale.
    let ran = folder.run("volts.csv --window 0.004 --feedback-scale -4/3 --format jsonl");
    let lines = ran.lines();
    assert_eq!(
        (ran.outcomes().as_str(), &lines[0]["unit"]),
        ("settled settled settled settled", &"V".into())
    );
    assert!((lines[0]["travel"].as_f64().expect("a figure") - 4.0).abs() < 1e-5, "{}", lines[0]);
    ran.assert_stderr_has(&["positions and the window are in V; --command-scale X", "give mm"]);
    // Counts of a converter, with as many counts in a millimetre as the drive has.
    let half = "--counts-per-unit 1048576/60 --feedback-scale 1/2";
    let counts = counts(1.0);
    let double = |line: &str| match line.rsplit_once(';') {
        Some((rest, cell)) => match cell.parse::<f64>() {
            Ok(figure) => format!("{rest};{}\n", figure * 2.0),
            Err(_) => format!("{line}\n"),
        },
        None => String::new(),
    };
    folder.write("double.csv", counts.lines().map(double).collect::<String>());
    check_alike(&folder, &format!("double.csv --window 0.01 {half}"), "axis.csv --window 0.01");
}

#[test]
fn columns_of_different_units_are_not_mixed() {
    let folder = Folder::with_axis("mixed");
    for (units, options, messages) in [
        ("s;V;mm", "", ["command is in V, but feedback in mm", "give --command-scale X, the mm in one V"]),
        ("s;mm;V", "", ["command is in mm, but feedback in V", "give --feedback-scale X, the mm in one V"]),
        ("s;V;", "", ["command is in V, but feedback has no unit", "give --command-scale X"]),
        ("s;;V", "", ["feedback is in V, but command has no unit", "give --feedback-scale X"]),
        (
            "s;m;mm",
            "",
            ["command is in m, but feedback in mm", "give --feedback-scale 1/1000, the m in one mm"],
        ),
        (
            "s;deg;rev",
            "",
            ["command is in deg, but feedback in rev", "give --feedback-scale 360/1, the deg in"],
        ),
        (
            "s;V;V",
            "--unit mm",
            ["positions are in V, not in mm", "give --command-scale X --feedback-scale X, the mm"],
        ),
        (
            "s;V;V",
            "--unit mm --command-scale 2",
            ["positions are in V, not in mm", "give --feedback-scale X, the mm"],
        ),
    ] {
        folder.write("mixed.csv", volts().replace("s;V;V", units));
        let ran = folder.run(&format!("mixed.csv --window 0.01 {options}"));
        assert_eq!((ran.status, ran.out.as_str()), (1, ""), "{units} {options}");
        ran.assert_stderr_has(&messages);
    }
}

#[test]
fn a_step_in_the_first_row_starts_where_the_command_stood() {
    let folder = Folder::new("from");
    // Half a second of a step from 2 mm to 5 mm, of which the recorder shows nothing before the step.
    let row = |row: usize| {
        let feedback = 5.0 - 3.0 * (-(row as f64) * 0.001 / 0.02).exp();
        format!("{:.3},5.0000,{feedback:.4}\n", 7.0 + row as f64 * 0.001)
    };
    let rows: String = (0..500).map(row).collect();
    folder.write("step.csv", format!("t_s,command [mm],feedback [mm]\n{rows}"));
    folder.write(
        "whole.csv",
        format!("t_s,command [mm],feedback [mm]\n6.900,2.0000,2.0000\n6.999,2.0000,2.0000\n{rows}"),
    );
    let ran = folder.run("step.csv --window 0.01");
    assert_eq!(ran.status, 0);
    ran.assert_stderr_has(&["the command never moves", "give --from P"]);
    for plot in ["", "--plot stops.svg"] {
        let ran = folder.run(&format!("step.csv --window 0.01 --from 2 --format jsonl {plot}"));
        assert_eq!((ran.outcomes().as_str(), ran.stderr.as_str()), ("settled", ""));
        let line = &ran.lines()[0];
        let figure = |name: &str| line[name].as_f64().expect("a figure");
        assert_eq!((figure("travel"), figure("start_s"), figure("command_end_s")), (3.0, 6.999, 7.0));
        assert!((figure("settling_s") - 0.02 * f64::ln(3.0 / 0.01)).abs() < 0.001, "{line}");
        let whole = &folder.run("whole.csv --window 0.01 --format jsonl").lines()[0];
        assert_eq!((&line["settling_s"], &line["reason"]), (&whole["settling_s"], &whole["reason"]));
    }
    // In counts, and without time stamps.
    let count = |line: &str| {
        let cells: Vec<f64> = line.split(',').skip(1).map(|cell| cell.parse().expect("a figure")).collect();
        format!("{:.0},{:.0}\n", cells[0] * -500.0, cells[1] * 1000.0)
    };
    folder.write("counts.csv", format!("command,feedback\n{}", rows.lines().map(count).collect::<String>()));
    let ran = folder.run("counts.csv --rate 1000 --counts-per-unit 1000 --command-scale -2 --window 0.01 --from 2 --format jsonl");
    assert_eq!(ran.outcomes(), "settled", "{ran:?}");
    assert_eq!(
        (ran.lines()[0]["travel"].as_f64(), ran.lines()[0]["start_s"].as_f64()),
        (Some(3.0), Some(-0.001))
    );
}
