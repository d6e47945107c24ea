//! In: recordings that need an answer. Out: whether what the message says to type gives every move.

use std::process::Stdio;

use super::{Folder, Ran, recording};

/// Every row of the good recording, made from its second, command and feedback.
fn rows(header: &str, row: impl Fn(f64, f64, f64) -> String) -> String {
    let make = |line: String| {
        let cells: Vec<f64> = line.split(',').map(|cell| cell.parse().expect("a figure")).collect();
        row(cells[0], cells[1], cells[2]) + "\n"
    };
    let header = if header.is_empty() { String::new() } else { format!("{header}\n") };
    header + &recording(4).into_iter().skip(1).map(make).collect::<String>()
}

/// The recording needs an answer: without, stderr has the message and the remedy; with what is typed, all four moves come.
#[track_caller]
fn check(text: &str, before: &[&str], message: &[&str], typed: &[&str]) {
    let folder = Folder::new("remedy");
    folder.write("axis.csv", text);
    let run = |options: &[&str]| {
        let common = ["axis.csv", "--window", "0.01", "--format", "jsonl"];
        Ran::of(folder.command(&[&common, options].concat()).stdin(Stdio::null()))
    };
    let asked = run(before);
    let all = (0, "settled settled settled settled");
    assert_ne!((asked.status, asked.outcomes().as_str()), all, "nothing was asked: {}", asked.stderr);
    asked.assert_stderr_has(message);
    let ran = run(typed);
    assert_eq!((ran.status, ran.outcomes().as_str()), all, "{}", ran.stderr);
    let settling = ran.lines()[0]["settling_s"].as_f64().expect("a figure");
    assert!((settling - super::tail(0.01)).abs() < 0.002, "{typed:?}: {settling}");
}

fn plain(t: f64, c: f64, f: f64) -> String {
    format!("{t:.3},{c:.4},{f:.4}")
}

#[test]
fn the_unit_of_time_that_is_asked_for_is_accepted() {
    let milliseconds = |header: &str| rows(header, |t, c, f| format!("{:.0},{c:.4},{f:.4}", t * 1e3));
    check(&milliseconds("t,cmd,act"), &[], &["steps of 1 are coarser", "--time t:ms"], &["--time", "t:ms"]);
    check(&milliseconds("t,cmd,act"), &[], &["or --rate HZ"], &["--rate", "1000"]);
    check(&milliseconds(""), &[], &["--time 1:ms"], &["--time", "1:ms", "--command", "2", "--feedback", "3"]);
    let typed = ["--time", "cycle time:ms"];
    check(&milliseconds("cycle time,cmd,act"), &[], &["--time 'cycle time':ms"], &typed);
    let typed = ["--time", "Time [tick]:ms"];
    let message = ["unknown unit 'tick'", "--time 'Time [tick]':ms"];
    check(&milliseconds("Time [tick],cmd,act"), &[], &message, &typed);
    let still = rows("t,cmd,act", |_, c, f| format!("7,{c:.4},{f:.4}"));
    check(
        &still,
        &[],
        &["never increases; choose another column with --time, or give --rate HZ"],
        &["--rate", "1000"],
    );
    let far = rows("t [s],cmd,act", |t, c, f| format!("{:.0},{c:.4},{f:.4}", t * 1e9));
    check(&far, &[], &["too far apart", "--time 't [s]':ms (or s, us, ns"], &["--time", "t [s]:ns"]);
    let twice = rows("t_s,cmd,act", |t, c, f| format!("{:.2},{c:.4},{f:.4}", (t * 100.0).floor() / 100.0));
    check(
        &twice,
        &[],
        &["time stamps repeat", "with --rate 1000 the rows are equally spaced"],
        &["--rate", "1000"],
    );
}

#[test]
fn the_columns_that_are_asked_for_are_accepted() {
    let columns = |header: &str| rows(header, plain);
    check(
        &columns("t,a,b"),
        &[],
        &["no column name means command", "--command"],
        &["--command", "a", "--feedback", "b"],
    );
    check(&columns("t,cmd,b"), &[], &["no column name means feedback", "--feedback"], &["--feedback", "3"]);
    let twice = columns("t,x,x");
    check(
        &twice,
        &["--command", "x"],
        &["several columns are called 'x'; give the number of one"],
        &["--command", "2", "--feedback", "3"],
    );
    let four = rows("", |t, c, f| format!("{t:.3},{c:.4},{f:.4},1"));
    let typed = ["--time", "1", "--command", "2", "--feedback", "3"];
    check(&four, &[], &["4 columns without names; choose the columns by number"], &typed);
    let short = rows("t,command", |t, c, f| format!("{t:.3},{c:.4},{f:.4},5,6"));
    let typed = ["--time", "1:s", "--command", "2", "--feedback", "3"];
    check(
        &short,
        &[],
        &["the header has 2 columns, but the rows have 5", "--time 1:s --command 2 --feedback 3"],
        &typed,
    );
    let words = rows("t_s,command,x,feedback", |t, c, f| format!("{t:.3},{c:.4},{f:.4},none"));
    check(
        &words,
        &["--feedback", "feedback"],
        &["feedback holds 'none'", "choose other columns with"],
        &["--feedback", "x"],
    );
    let sorted = |signal: &str, at: usize| rows("", |t, c, f| format!("{t:.3},{signal},{:.4}", [c, f][at]));
    let log = format!("t_s,tag,value\n{}{}", sorted("cmd", 0), sorted("act", 1));
    let mut lines: Vec<&str> = log.lines().collect();
    let by_time = |line: &&str| {
        line.split(',').next().and_then(|cell| cell.parse().ok()).map_or(-1, |t: f64| (t * 1e3) as i64)
    };
    lines.sort_by_key(by_time);
    let folder = Folder::new("sorted");
    folder.write("axis.csv", &log);
    folder
        .run("axis.csv --window 0.01")
        .assert_stderr_has(&["the lines are sorted by name", "sort the lines by time"]);
    folder.write("axis.csv", lines.join("\n"));
    assert_eq!(
        folder.run("axis.csv --window 0.01 --format jsonl").outcomes(),
        "settled settled settled settled"
    );
}

#[test]
fn the_scales_that_are_asked_for_are_accepted() {
    let counts = |header: &str| rows(header, |t, c, f| format!("{t:.3},{:.0},{:.0}", c * 1e4, f * 1e4));
    let whole = counts("t_s,cmd [counts],act [counts]");
    let message =
        ["the columns are in counts, not in mm; give the number of counts in one mm with --counts-per-unit"];
    check(&whole, &["--unit", "mm"], &message, &["--unit", "mm", "--counts-per-unit", "10000"]);
    let broken = rows("t_s,cmd,act", plain);
    check(&broken, &["--counts-per-unit", "5"], &["is not a whole number", "omit --counts-per-unit"], &[]);
    let half = rows("t_s,cmd [V],act", |t, c, f| format!("{t:.3},{:.6},{f:.4}", c / 4.0));
    check(
        &half,
        &[],
        &["command is in V, but feedback has no unit; give --command-scale X"],
        &["--command-scale", "4"],
    );
    let rate = rows("cmd,act", |_, c, f| format!("{c:.4},{f:.4}"));
    let message =
        ["can't be represented exactly", "give rows per second with fewer digits, such as 4000 or 1000/3"];
    check(&rate, &["--rate", "1000.0000000123"], &message, &["--rate", "1000"]);
}

/// A column of words makes no event log of a recording whose rows come at a rate.
#[test]
fn a_column_of_words_is_no_column_of_names() {
    let one_move = |_: f64, c: f64, f: f64| format!("{c:.4},{f:.4},{}", if c < 5.0 { "near" } else { "far" });
    let folder = Folder::new("words");
    folder.write("axis.csv", rows("", one_move).lines().take(600).collect::<Vec<_>>().join("\n"));
    let ran = folder.run("axis.csv --window 0.01 --rate 1000 --format jsonl");
    assert_eq!((ran.status, ran.outcomes().as_str()), (0, "settled"), "{}", ran.stderr);
}
