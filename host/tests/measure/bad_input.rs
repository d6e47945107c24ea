//! In: what people really export. Out: a message with file and line or a marked move, and every good move.

use super::{Folder, recording};

/// Measures `bytes` as `axis.csv`: exit status, outcomes of the moves, and messages on stderr.
#[track_caller]
fn check(what: &str, bytes: impl AsRef<[u8]>, expected: (i32, &str), messages: &[&str]) {
    let folder = Folder::new("bad");
    folder.write("axis.csv", bytes);
    let ran = folder.run("axis.csv --window 0.01 --format jsonl");
    assert_eq!((ran.status, ran.outcomes().as_str()), expected, "{what}: {}", ran.stderr);
    ran.assert_stderr_has(messages);
}

/// The good recording with its lines changed.
fn changed(change: impl FnOnce(&mut Vec<String>)) -> String {
    let mut lines = recording(4);
    change(&mut lines);
    lines.join("\n") + "\n"
}

/// Every row made anew from its cells.
fn cells(make: impl Fn(&[&str]) -> String) -> String {
    let remade = |line: &String| make(&line.split(',').collect::<Vec<_>>()) + "\n";
    recording(4).iter().map(remade).collect()
}

const ALL: (i32, &str) = (0, "settled settled settled settled");
const SECOND: (i32, &str) = (0, "settled untrusted settled settled");
const NONE: (i32, &str) = (1, "");

#[test]
fn a_single_lost_row_is_reported() {
    let folder = Folder::new("lost");
    folder.write("axis.csv", changed(|lines| drop(lines.remove(700))));
    let ran = folder.run("axis.csv --window 0.01 --format jsonl");
    assert_eq!((ran.status, ran.lines().len()), (0, 4));
    ran.assert_stderr_has(&["axis.csv, line 701: no rows for 0.002000 s before this one"]);
}

/// One bad row while the second move is under way costs no number: the move says that samples are missing.
#[track_caller]
fn check_hole(what: &str, bytes: impl AsRef<[u8]>, message: &str) {
    let folder = Folder::new("hole");
    folder.write("axis.csv", bytes);
    let ran = folder.run("axis.csv --window 0.01 --format jsonl");
    assert_eq!((ran.status, ran.outcomes().as_str()), ALL, "{what}: {}", ran.stderr);
    ran.assert_stderr_has(&[message]);
    let holes: Vec<_> =
        ran.lines().iter().map(|line| (line["gaps"].as_u64(), line["longest_gap_s"].as_f64())).collect();
    let none = (Some(0), None);
    assert_eq!(holes, [none, (Some(1), Some(0.002)), none, none], "{what}");
    assert!(
        ran.lines()[1]["reason"]
            .to_string()
            .contains("samples are missing elsewhere than at command end, entry and window time")
    );
}

/// Index of the line at which the feedback of the second stop came inside for good.
fn inside_again(lines: &[String]) -> usize {
    let folder = Folder::new("entry");
    folder.write("axis.csv", lines.join("\n") + "\n");
    let second = folder.run("axis.csv --window 0.01 --synchronous --format jsonl").lines().remove(1);
    let seconds = |name: &str| second[name].as_f64().expect("a time");
    // One row a millisecond after the header, from 0 on.
    1 + ((seconds("command_end_s") + seconds("settling_s")) * 1e3).ceil() as usize
}

#[test]
fn a_bad_row_marks_its_move_and_no_other() {
    // Line 702 is in the second move.
    for (what, row, message) in [
        ("word", "0.700,zz,1", "axis.csv, line 702: command holds 'zz', which is not a number"),
        ("empty cell", "0.700,4.9,", "line 702: feedback holds ''"),
        ("short row", "0.700,4.9", "line 702: the row ends before feedback"),
        ("NaN", "0.700,NaN,nan", "line 702: command holds 'NaN'"),
        ("infinity", "0.700,4.9,inf", "line 702: feedback holds 'inf'"),
        ("time back", "0.600,4.9,5.1", "line 702: time 0.6 s does not continue from 0.699 s"),
        ("time twice", "0.699,4.9,5.1", "line 702: time 0.699 s does not continue from 0.699 s"),
        ("time far ahead", "999,4.9,5.1", "line 702: time 999 s does not continue"),
        ("beyond 2^31", "0.700,99999999999,5.1", "line 702: command 99999999999 is beyond 2^31 counts"),
        ("huge", "0.700,4.9,-1e17", "line 702: feedback -100000000000000000 is beyond 2^31 counts"),
        ("beyond any", "0.700,4.9,1e300", "line 702: feedback holds '1e300'"),
        ("quote", "\"0.700,4.9,5.1", "line 702: time holds"),
        ("escape", "0.700,\u{1b}[2J,5.1", "line 702: command holds '\u{FFFD}[2J'"),
        ("binary", "\0\0\u{7}\0", "line 702: time holds"),
    ] {
        check_hole(what, changed(|lines| lines[701] = row.to_owned()), message);
    }
    let repeated = changed(|lines| lines.insert(701, lines[700].clone()));
    check("row twice", repeated, ALL, &["line 702: time 0.699 s does not continue from 0.699 s"]);
    let lost = changed(|lines| drop(lines.drain(690..750)));
    check("rows lost", lost, SECOND, &["line 691: no rows for 0.061000 s before this one"]);
    let long = changed(|lines| lines.insert(701, "9".repeat(3 << 20)));
    check("long line", long, ALL, &["line 702: the line is longer than 1 MiB"]);
    let unobserved = changed(|lines| {
        // The second row inside the window: the window time is not observed.
        let entry = inside_again(lines);
        lines[entry + 1] = "calm".to_owned();
    });
    check("within the window time", unobserved, SECOND, &["time holds 'calm'"]);
    let calm = changed(|lines| lines[550] = "calm".to_owned());
    check("in the rest after settling", calm, ALL, &["axis.csv, line 551: time holds 'calm'"]);
}

#[test]
fn a_torn_end_costs_one_row() {
    let whole = changed(|_| ());
    for cut in [2, 8, 16] {
        let messages = ["axis.csv: the last line (2101) is incomplete and was ignored"];
        check("torn", &whole[..whole.len() - cut], ALL, if cut == 2 { &[] } else { &messages });
    }
    let wide: Vec<u8> = format!("\u{feff}{whole}").encode_utf16().flat_map(u16::to_le_bytes).collect();
    check("UTF-16", &wide, ALL, &[]);
    check("torn UTF-16", &wide[..wide.len() - 21], ALL, &["the last line (2101) is incomplete"]);
    check("half of UTF-16", &wide[..24_001], (0, "settled"), &["incomplete"]);
    check("start of UTF-16", &wide[..3], NONE, &["axis.csv, line 1: no rows of numbers"]);
}

#[test]
fn files_that_hold_no_recording_are_refused_with_the_reason() {
    let header = &recording(0)[0];
    check("empty", "", NONE, &["stillpoint: axis.csv: is empty; export"]);
    check("blank lines", "\n\n \n", NONE, &["is empty"]);
    check("header only", format!("{header}\n"), NONE, &["axis.csv, line 1: no rows of numbers"]);
    check(
        "only NaN",
        cells(|cells| format!("{},nan,nan", cells[0])),
        NONE,
        &["axis.csv, line", "no rows of numbers"],
    );
    check(
        "one row",
        recording(0)[..2].join("\n"),
        NONE,
        &["axis.csv, line 2: there is only one readable row"],
    );
    check(
        "no feedback",
        cells(|cells| cells[..2].join(",")),
        NONE,
        &["line 1", "feedback", "--feedback", "2 'command"],
    );
    check("no command", cells(|cells| format!("{},{}", cells[0], cells[2])), NONE, &["line 1", "--command"]);
    check("no time", cells(|cells| cells[1..].join(",")), NONE, &["line 1: no time column", "--rate HZ"]);
    check(
        "time stands",
        cells(|cells| format!("5.0,{},{}", cells[1], cells[2])).replacen("5.0", "t", 1),
        NONE,
        &["never increases"],
    );
    check(
        "units differ",
        changed(|lines| lines[0] = "t_s,command [mm],feedback [deg]".into()),
        NONE,
        &["command is in mm, but feedback in deg"],
    );
    check("zeros", vec![0; 100_000], NONE, &["axis.csv, line 1: no rows"]);
    check("one endless line", vec![b'1'; 3 << 20], NONE, &["axis.csv, line 1: no rows"]);
    let noise = (0..200_000_u32).map(|at| (at.wrapping_mul(2_654_435_761) >> 13) as u8).collect::<Vec<_>>();
    check("noise", noise, NONE, &["stillpoint: axis.csv, line "]);
}

#[test]
fn recordings_without_moves_give_the_reason() {
    let still = cells(|cells| {
        format!("{},{},{}", cells[0], cells[1].parse().map_or("command", |_: f64| "5.0"), cells[2])
    });
    check("still", still, (0, ""), &["axis.csv: the command never moves"]);
    let sine = |row: usize| {
        let angle = row as f64 / 50.0;
        format!("{:.3},{:.4},{:.4}\n", row as f64 / 1000.0, angle.sin() * 5.0, (angle - 0.1).sin() * 5.0)
    };
    let sine: String = (0..3000).map(sine).collect();
    check("sine", format!("t_s,command,feedback\n{sine}"), (0, ""), &["the command never comes to rest"]);
    check("two rows", recording(0)[..3].join("\n"), (0, ""), &["the command never moves"]);
}

#[test]
fn a_recording_may_begin_and_end_anywhere() {
    let late = changed(|lines| drop(lines.drain(1..201)));
    check("starts in a move", late, ALL, &[]);
    let early = |rows: usize| changed(|lines| lines.truncate(rows + 1));
    let note = ["axis.csv: the recording ends before its last move does; that move is left out"];
    check("ends in a move", early(1700), (0, "settled settled settled"), &note);
    check("ends before it is known to rest", early(1810), (0, "settled settled settled"), &note);
    check("ends outside", early(1850), (0, "settled settled settled unsettled"), &[]);
    check("ends in the window time", early(1880), (0, "settled settled settled interrupted"), &[]);
    let joined = changed(|lines| lines.extend_from_within(1..));
    check(
        "joined",
        joined,
        (0, &[ALL.1; 2].join(" ")),
        &["axis.csv, line 2102: time starts again at 0 s after 2.099 s"],
    );
    // What was read before other columns begin is measured all the same.
    let other = changed(|lines| lines.insert(1001, "t_s,feedback [mm],command [mm]".into()));
    check("second header", other, (1, "settled settled"), &["axis.csv, line 1002: a second header differs"]);
}

#[test]
fn wrong_units_by_a_thousand_are_noticed() {
    let folder = Folder::with_axis("thousand");
    let ran = folder.run("axis.csv --window 10.5 --format jsonl");
    assert_eq!((ran.status, ran.out.as_str()), (0, ""));
    ran.assert_stderr_has(&[
        "the command moves 4 times, but never further than the window of 10.5 mm: are the units right?",
    ]);
    for window in ["0.0001", "0.00001", "1e-9"] {
        let ran = folder.run(&format!("axis.csv --window {window} --format jsonl"));
        assert_eq!((ran.status, ran.lines().len()), (0, 4), "{window}");
        for line in ran.lines() {
            let reason = line["reason"].as_str().expect("text").to_owned();
            assert!(reason.contains("the window is below two encoder steps"), "{window}: {reason:?}");
        }
    }
    let far = cells(|cells| {
        let far = |cell: &str| {
            cell.parse().map_or(cell.to_owned(), |figure: f64| format!("{}", (figure * 1e9).round()))
        };
        format!("{},{},{}", cells[0], far(cells[1]), far(cells[2]))
    });
    folder.write("far.csv", &far);
    folder
        .run("far.csv --window 0.01")
        .assert_stderr_has(&["far.csv: positions are so large", "check their unit"]);
    folder.write("counts.csv", far.replace("[mm]", "[counts]"));
    folder
        .run("counts.csv --window 5")
        .assert_stderr_has(&["positions span 2^31 counts or more", "are wrong"]);
}

#[test]
fn thousands_of_columns_are_no_trouble() {
    let filler = |word: &str| [word; 20_000].join(",");
    let ones = filler("1");
    // The head, which is looked at beforehand, holds only zeros; the move comes later.
    let row = |row: i32| {
        let (command, feedback) =
            (f64::from((row - 40).clamp(0, 4)) * 0.25, f64::from((row - 42).clamp(0, 4)) * 0.25);
        format!("{:.3},{ones},{command:.4},{feedback:.4}\n", f64::from(row) / 1000.0)
    };
    let text =
        format!("t_s,{},command,feedback\n{}", filler("nothing"), (0..80).map(row).collect::<String>());
    check("20000 columns", text, (0, "settled"), &[]);
}

#[test]
fn a_long_rest_before_the_first_move_hides_nothing() {
    let calm = |row: usize| format!("{:.3},0.0000,0.0000,{}\n", row as f64 / 1000.0 - 60.0, "0".repeat(20));
    let moves = recording(1).into_iter().skip(1).map(|line| format!("{line},0\n"));
    let text =
        format!("t_s,command,feedback,more\n{}", (0..60_000).map(calm).chain(moves).collect::<String>());
    let folder = Folder::new("calm");
    for ran in [folder.pipe("- --window 0.01 --format jsonl", text.as_bytes()), {
        folder.write("axis.csv", &text);
        folder.run("axis.csv --window 0.01 --format jsonl")
    }] {
        assert_eq!((ran.status, ran.outcomes().as_str(), ran.stderr.as_str()), (0, "settled", ""));
        let settling = ran.lines()[0]["settling_s"].as_f64().expect("a figure");
        assert!((settling - super::tail(0.01)).abs() < 0.003, "{settling}");
    }
}

#[test]
fn paths_that_are_no_files_are_reported() {
    let folder = Folder::with_axis("places");
    std::fs::create_dir(folder.path("folder.csv")).expect("a folder");
    for (name, message) in [
        ("folder.csv", "folder.csv: is a folder; name a recording in it"),
        ("none.csv", "none.csv: can't be read"),
        ("axis.csv/none.csv", "axis.csv/none.csv: can't be read"),
    ] {
        let ran = folder.run(&format!("{name} axis.csv --window 0.01 --format jsonl"));
        assert_eq!((ran.status, ran.lines().len()), (1, 4), "{name}");
        ran.assert_stderr_has(&[message, "; "]);
    }
}

#[cfg(unix)]
#[test]
fn names_of_any_bytes_are_accepted_and_shown_harmlessly() {
    use std::os::unix::ffi::OsStrExt as _;
    let folder = Folder::with_axis("names");
    let name = std::ffi::OsStr::from_bytes(b"a\xff\x1b[2J\n.csv");
    std::fs::write(folder.0.join(name), changed(|lines| lines[701] = "x".into())).expect("a file");
    let mut command = folder.command(&["--window", "0.01"]);
    let ran = super::Ran::of(command.arg(name));
    assert_eq!(ran.status, 0);
    assert!(ran.stderr.contains(", line 702: ") && !ran.stderr.contains('\u{1b}'), "{:?}", ran.stderr);
    assert!(ran.stderr.lines().count() == 1 && !ran.out.contains('\u{1b}'), "{ran:?}");
}
