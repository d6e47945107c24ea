//! In: one recording in the forms of further exporters. Out: every move at its settling time, or a refusal in words.

use std::process::Stdio;

use super::{Folder, PERIOD, Ran, samples, tail};

/// A header and a line for each row, made from its second, command and feedback.
fn rows(header: &str, row: impl Fn(f64, f64, f64) -> String) -> String {
    let line = |(at, (command, feedback)): (usize, (f64, f64))| {
        row(at as f64 * PERIOD, command, feedback).trim_end().to_owned() + "\n"
    };
    format!("{header}\n") + &samples(4).into_iter().enumerate().map(line).collect::<String>()
}

/// Measures `text` with a window of 0.01 mm; words of `options` are parted by blanks.
fn run(text: impl AsRef<[u8]>, options: &str) -> Ran {
    let folder = Folder::new("form");
    folder.write("axis.csv", text);
    let words: Vec<&str> = options.split_whitespace().collect();
    Ran::of(folder.command(&[&["axis.csv", "--format", "jsonl"], &words[..]].concat()).stdin(Stdio::null()))
}

/// All four moves settle after the exponential tail of the recording.
#[track_caller]
fn check(text: impl AsRef<[u8]>, options: &str) -> Ran {
    let ran = run(text, options);
    let expected = (0, "settled settled settled settled");
    assert_eq!((ran.status, ran.outcomes().as_str()), expected, "{}", ran.stderr);
    for line in ran.lines() {
        let seconds = |name: &str| line[name].as_f64().expect("a figure");
        let (settling, half_width) = (seconds("settling_s"), seconds("settling_95_s"));
        // The recording shares a clock with its command, which is not said here: so the command ends as late within its
        // period as it can.
        assert!(
            (settling - tail(0.01)).abs() < half_width.max(0.0025),
            "{options}: {settling} ± {half_width}"
        );
        assert!(half_width < 0.004, "{options}: ± {half_width}");
    }
    ran
}

/// The recording is refused in these words.
#[track_caller]
fn refused(text: impl AsRef<[u8]>, options: &str, words: &[&str]) {
    let ran = run(text, options);
    assert_eq!((ran.status, ran.out.as_str()), (1, ""), "{}", ran.stderr);
    ran.assert_stderr_has(words);
}

const W: &str = "--window 0.01";

/// A number with a point and two separators of thousands at most.
fn grouped(number: f64, decimals: usize, separator: char) -> String {
    let plain = format!("{:.decimals$}", number.abs());
    let (whole, rest) = plain.split_at(plain.find('.').unwrap_or(plain.len()));
    let mut text = String::new();
    for (at, digit) in whole.chars().enumerate() {
        if at > 0 && (whole.len() - at).is_multiple_of(3) {
            text.push(separator);
        }
        text.push(digit);
    }
    let is_negative = number < 0.0 && plain.chars().any(|digit| digit.is_ascii_digit() && digit != '0');
    format!("{}{text}{rest}", if is_negative { "-" } else { "" })
}

/// As [`grouped`], with a decimal comma and points.
fn german(number: f64, decimals: usize) -> String {
    grouped(number, decimals, '_').replace('.', ",").replace('_', ".")
}

#[test]
fn separators_of_thousands_are_read_where_the_decimal_sign_is_the_other_one() {
    let text = rows("Zeit [ms];Soll [mm];Ist [mm]", |t, c, f| {
        format!("{};{};{}", german(t * 1e3, 1), german(c, 4), german(f, 4))
    });
    assert!(text.contains("\n1.000,0;"));
    check(&text, W);
    let quoted = |t: f64, c: f64, f: f64| {
        let cells = [t, c, f].map(|figure| format!("\"{}\"", grouped(figure * 1e3, 1, ',')));
        cells.join(",")
    };
    let text = rows("\"Time [ms]\",\"Target position [um]\",\"Actual position [um]\"", quoted);
    assert!(text.contains("\"9,"));
    check(&text, "--window 10");
    let text = rows("Zeit [ms];Soll [um];Ist [um]", |t, c, f| {
        [t, c, f].map(|figure| grouped(figure * 1e3, 1, '\'')).join(";")
    });
    check(&text, "--window 10");
}

/// A single point may as well be a decimal sign, so those rows are not read, and the recording is not trusted.
#[test]
fn a_recording_of_which_a_tenth_can_not_be_read_fails_but_gives_its_moves() {
    let text = rows("Zeit [ms];Soll [mm];Ist [mm]", |t, c, f| {
        format!("{};{};{}", german(t * 1e3, 0), german(c, 4), german(f, 4))
    });
    let ran = run(&text, W);
    assert_eq!((ran.status, ran.outcomes().as_str()), (1, "settled settled"), "{}", ran.stderr);
    let words = "axis.csv, line 1002: 1100 of 2100 rows can't be read, the first because time holds '1.000'";
    ran.assert_stderr_has(&[words, "export numbers without separators of thousands"]);
    let share = |every: usize| {
        let lines = text.replace('.', "");
        let lines: Vec<String> = lines
            .lines()
            .enumerate()
            .map(|(at, line)| if at > 0 && at % every == 0 { "?;?;?".to_owned() } else { line.to_owned() })
            .collect();
        run(lines.join("\n"), W)
    };
    let (tenth, less) = (share(9), share(11));
    assert_eq!((tenth.status, tenth.lines().len()), (1, 4), "{}", tenth.stderr);
    tenth.assert_stderr_has(&["line 10: 233 of 2100 rows can't be read", "correct these rows"]);
    assert_eq!((less.status, less.lines().len()), (0, 4), "{}", less.stderr);
}

/// Lines of time, name and value, with a third signal whose value is `state`.
fn log(time: impl Fn(f64) -> String, state: impl Fn(f64) -> Option<&'static str>, delimiter: char) -> String {
    let comma = |line: String| if delimiter == ';' { line.replace('.', ",") } else { line };
    rows(&["time", "tag", "value"].join(&delimiter.to_string()), |t, c, f| {
        let (time, d) = (time(t), delimiter);
        let values = [("Axis1.SetPos", format!("{c:.4}")), ("Axis1.ActPos", format!("{f:.4}"))]
            .map(|(tag, value)| format!("{time}{d}{tag}{d}{}\n", comma(value)));
        let state = state(t).map(|state| format!("{time}{d}Axis1.InPos{d}{state}\n")).unwrap_or_default();
        values.concat() + &state
    })
}

#[test]
fn other_signals_of_a_log_may_have_any_value() {
    let seconds = |t: f64| format!("{t:.3}");
    check(log(seconds, |t| (t == 1.5).then_some("RUN"), ','), W);
    check(log(seconds, |t| (t == 0.0).then_some("FALSE"), ','), W);
    let state = |t: f64| Some(if t < 0.7 { "VERDADEIRO" } else { "FALSO" });
    check(log(|t| format!("11:59:{:06.3}", 50.0 + t), state, ';'), W);
}

#[test]
fn quoted_decimal_commas_stand_between_commas() {
    let quoted = |t: f64, c: f64, f: f64| {
        [t, c, f].map(|figure| format!("\"{figure:.4}\"").replace('.', ",")).join(",")
    };
    let text = rows("\"Zeit [s]\",\"Soll [mm]\",\"Ist [mm]\"", quoted);
    check(&text, W);
    check(&text, "--window 0.01 --delimiter , --decimal ,");
    // Whole numbers without quotes between them.
    let mixed = rows("Zeit [ms],Soll [mm],Ist [mm]", |t, c, f| {
        format!(
            "{:.0},{}",
            t * 1e3,
            [c, f].map(|figure| format!("\"{figure:.4}\"").replace('.', ",")).join(",")
        )
    });
    check(&mixed, W);
    // 1,000 may be a thousand or one.
    let whole = rows("\"Time [s]\",\"Target\",\"Actual\"", |t, c, f| {
        [t + 1.0, c + 1.0, f + 1.0]
            .map(|figure| format!("\"{}\"", format!("{figure:.3}").replace('.', ",")))
            .join(",")
    });
    refused(&whole, W, &["no rows of numbers", "export with ';' between columns"]);
    check(&whole, "--window 0.01 --decimal ,");
}

/// A time of day, from shortly before noon or midnight on. Unit: s
fn clock(before: &str, after: &str, t: f64) -> String {
    if t < 1.6 { format!("{before}{:06.3}", 58.4 + t) } else { format!("{after}{:06.3}", t - 1.6) }
}

#[test]
fn a_column_of_clock_times_is_time() {
    let cells = |t: f64, c: f64, f: f64| {
        format!("{}\t{c:.4}\t{f:.4}", clock("23:59:", "24:00:", t).replace("24:", "00:")).replace('.', ",")
    };
    let text = rows("Uhrzeit\tSollposition [mm]\tIstposition [mm]", cells);
    check(text, W).assert_stderr_has(&[]);
    // Midnight while the third move settles.
    let night = |t: f64, c: f64, f: f64| {
        let before =
            if t < 1.35 { format!("23:59:{:06.3}", 58.65 + t) } else { format!("00:00:{:06.3}", t - 1.35) };
        format!("{before},{c:.4},{f:.4}")
    };
    check(rows("Time,Command [mm],Actual [mm]", night), W).assert_stderr_has(&[]);
    let noon = |t: f64, c: f64, f: f64| {
        format!("03.11.2031;{};{c:.4};{f:.4}", clock("11:59:", "12:00:", t))
            .replace('.', ",")
            .replace("03,11,", "03.11.")
    };
    check(rows("Datum;Uhrzeit;Sollposition [mm];Istposition [mm]", noon), W);
    check(rows("Tag;Stempel;Sollposition [mm];Istposition [mm]", noon), W);
}

#[test]
fn dates_with_strokes_and_the_halves_of_a_day_are_read() {
    let stamped = |before: &'static str, after: &'static str, end: [&'static str; 2]| {
        move |t: f64| clock(before, after, t) + end[usize::from(t >= 1.6)]
    };
    let comma = |stamp: String| stamp.replace('.', ",");
    let noon = stamped("03/11/2031 11:59:", "03/11/2031 12:00:", ["", ""]);
    check(rows("Zeitstempel;Soll [mm];Ist [mm]", |t, c, f| comma(format!("{};{c:.4};{f:.4}", noon(t)))), W);
    check(log(|t| comma(noon(t)), |_| Some("VERDADEIRO"), ';'), W);
    check(log(noon, |_| None, ','), W);
    check(log(|t| comma(clock("11:59:", "12:00:", t)), |_| None, ';'), W);
    let half = stamped("11/03/2031 11:59:", "11/03/2031 12:00:", [" AM", " PM"]);
    check(rows("Timestamp,Command [mm],Actual [mm]", |t, c, f| format!("{},{c:.4},{f:.4}", half(t))), W);
    // Over midnight day and month matter: only one order can be meant, or none is read.
    let night = stamped("28/11/2031 23:59:", "29/11/2031 00:00:", ["", ""]);
    check(rows("Timestamp,Command [mm],Actual [mm]", |t, c, f| format!("{},{c:.4},{f:.4}", night(t))), W);
}

#[test]
fn a_scope_whose_units_are_words_needs_two_names() {
    let cells = |t: f64, c: f64, f: f64| format!("{:.6E},{:.5E},{:.5E},", t - 0.2, c, f);
    let text = rows("Record Length,2100,,\nSource,CH1,CH2,\nSecond,Volt,Volt,", cells);
    let words = [
        "line 2: no column name means command or feedback",
        "name them with --command and --feedback",
        "2 'CH1'",
    ];
    refused(&text, W, &words);
    check(&text, "--window 0.01 --command CH1 --feedback CH2 --command-scale 1 --feedback-scale 1");
    let none = rows("a,b,c", |t, c, f| format!("{t:.3},{c:.4},{f:.4}"));
    refused(
        &none,
        W,
        &["no column name means time, command or feedback", "--time, --command and --feedback"],
    );
    check(&none, "--window 0.01 --time a:s --command b --feedback c");
}

/// The command every 4 ms, feedback every 0.5 ms, each with its time, side by side.
fn two_rates() -> String {
    let points = |step: usize| -> Vec<(f64, f64)> {
        let feedbacks = samples(4).into_iter().map(|sample| if step == 2 { sample.0 } else { sample.1 });
        feedbacks.enumerate().step_by(step).map(|(at, figure)| (at as f64, figure)).collect()
    };
    let (commands, feedbacks) = (points(2), points(1));
    let line = |at: usize| {
        let cell = |points: &[(f64, f64)]| {
            points.get(at).map_or(";".to_owned(), |(time, figure)| format!("{time:.2};{figure:.4}"))
        };
        format!("{};{}\n", cell(&commands), cell(&feedbacks)).replace('.', ",")
    };
    "t_cmd;cmd;t_fb;fb\n".to_owned() + &(0..feedbacks.len()).map(line).collect::<String>()
}

#[test]
fn two_time_columns_without_unit_are_both_named_by_the_remedy() {
    let typed = "--time t_cmd:ms --feedback-time t_fb:ms";
    refused(two_rates(), W, &["time column 't_fb' has no unit", &format!("give {typed} (or s, us, ns")]);
    check(two_rates(), &format!("{W} {typed}"));
    check(two_rates(), &format!("{W} --time t_cmd:ms --feedback-time t_fb"));
    let half = run(two_rates(), &format!("{W} --time t_cmd:ms"));
    assert_eq!((half.status, half.lines().len()), (1, 4), "{}", half.stderr);
    half.assert_stderr_has(&[
        "1050 of 2100 rows can't be read",
        "give --feedback-time t_fb, which is a time, too",
    ]);
    let other = run(two_rates(), &format!("{W} --time t_cmd:ms --feedback-time t_fb:s"));
    assert_eq!((other.status, other.out.as_str()), (1, ""), "{}", other.stderr);
    other.assert_stderr_has(&[
        "'t_cmd' is in ms, but 't_fb' in s",
        "give --time t_cmd:ms --feedback-time t_fb:ms",
    ]);
}

#[test]
fn the_rate_of_repeated_stamps_is_suggested() {
    let text = rows("time_ms,command [mm],feedback [mm]", |t, c, f| {
        format!("{},{c:.4},{f:.4}", (t * 1e3 / 4.0 + 1e-9).floor())
    });
    let ran = run(&text, W);
    ran.assert_stderr_has(&["time stamps repeat", "with --rate 4000 the rows are equally spaced"]);
    let typed = run(&text, "--window 0.01 --rate 4000 --window-time-ms 2.5 --rest-time-ms 5");
    assert_eq!((typed.status, typed.outcomes().as_str()), (0, "settled settled settled settled"));
}

#[test]
fn an_unsorted_log_is_to_be_sorted() {
    let text = log(|t| format!("{t:.3}"), |_| None, ',');
    let mut lines: Vec<&str> = text.lines().collect();
    (11..lines.len() - 4).step_by(20).for_each(|at| lines.swap(at, at + 3));
    let ran = run(lines.join("\n"), W);
    ran.assert_stderr_has(&["lines are not in the order of time; sort them by time"]);
    let second = |line: &&str| line.split(',').next().and_then(|cell| cell.parse().ok()).unwrap_or(-1.0);
    lines.sort_by(|one, other| f64::total_cmp(&second(one), &second(other)));
    let sorted = check(lines.join("\n"), W);
    assert!(!sorted.stderr.contains("order of time"), "{}", sorted.stderr);
}
