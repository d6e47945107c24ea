//! In: arguments, right and wrong. Out: exit status, what is on stdout and what on stderr.

use super::Folder;

/// Runs `arguments`; stdout must contain every part of `out` and stderr every part of `messages`; where these are empty,
/// nothing at all may be written.
#[track_caller]
fn check(folder: &Folder, arguments: &str, status: i32, out: &[&str], messages: &[&str]) {
    let ran = folder.run(arguments);
    assert_eq!(ran.status, status, "{arguments}: {ran:?}");
    for part in out {
        assert!(ran.out.contains(part), "{arguments}: {part:?} is not in {:?}", ran.out);
    }
    assert!(!out.is_empty() || ran.out.is_empty(), "{arguments}: unexpected: {:?}", ran.out);
    ran.assert_stderr_has(messages);
}

#[test]
fn help_is_on_stdout_with_examples() {
    let folder = Folder::new("help");
    let parts = [
        "Usage: stillpoint measure",
        "Examples:",
        "--window",
        "ISO 9283",
        "0x608F",
        "reads standard input",
        "--feedback-scale",
        "--from",
        "Exit status: 0 done",
    ];
    check(&folder, "--help", 0, &parts, &[]);
}

#[test]
fn wrong_arguments_are_refused_before_anything_is_measured() {
    let folder = Folder::with_axis("arguments");
    let good = "axis.csv --window 0.01";
    check(&folder, "", 2, &[], &["--window <W>", "<FILE>"]);
    check(&folder, "axis.csv", 2, &[], &["--window <W>"]);
    for window in ["0", "-1", "-0.01", "inf", "NaN", "much", "0.01mm", "1/0", "1e300"] {
        let message =
            format!("--window {window}: a position window must be a plain number larger than 0; give");
        check(&folder, &format!("axis.csv --window {window}"), 2, &[], &[&message]);
    }
    for time in ["-1", "-0.001", "nan", "inf", "1e300", "2e6", "soon"] {
        for option in ["--window-time-ms", "--rest-time-ms"] {
            let messages = [time, option, "give milliseconds from 0 to 1073741"];
            check(&folder, &format!("{good} {option} {time}"), 2, &[], &messages);
        }
    }
    for speed in ["0", "-1", "nan", "inf", "fast"] {
        let messages = [speed, "--max-speed", "give a number above 0"];
        check(&folder, &format!("{good} --max-speed {speed}"), 2, &[], &messages);
    }
    for option in ["--delimiter", "--decimal"] {
        check(&folder, &format!("{good} {option} tab"), 2, &[], &["tab", option, "give a single character"]);
    }
    for option in ["--rate", "--encoder-step", "--counts-per-unit", "--command-scale", "--feedback-scale"] {
        for figure in ["0", "nan", "1/0", "x", "1e300"] {
            let message = format!("{option} {figure}: ");
            check(
                &folder,
                &format!("{good} {option} {figure}"),
                2,
                &[],
                &[&message, "give a number above 0 such as"],
            );
        }
    }
    for figure in ["nan", "1/0", "x", "1e300"] {
        check(&folder, &format!("{good} --from {figure}"), 2, &[], &[&format!("--from {figure}: ")]);
    }
    check(
        &folder,
        &format!("{good} --from 1e10"),
        2,
        &[],
        &["--from 10000000000: is beyond the 2^31 counts"],
    );
    for option in ["--rate", "--encoder-step", "--counts-per-unit"] {
        check(&folder, &format!("{good} {option} -4"), 2, &[], &["is below 0"]);
    }
}

#[test]
fn arguments_that_do_not_go_together_are_refused() {
    let folder = Folder::with_axis("together");
    for (arguments, message) in [
        ("--encoder-resolution 1048576/1", "--feed-constant"),
        ("--gear-ratio 3/1", "--encoder-resolution"),
        ("--encoder-resolution 9/1 --feed-constant 1/1 --counts-per-unit 5", "cannot be used with"),
        ("--encoder-resolution 9999999999/1 --feed-constant 1/1", "needs more than 32 bits"),
        ("--command-scale 1/9999999999999999999", "is not a number of up to 18 digits"),
        ("--rate 1000 --time t_s", "cannot be used with"),
        ("--plot-move 2", "--plot"),
        ("--plot stops.svg --plot-move 0", "--plot-move"),
        ("--plot stops.bmp", "the name must end in .svg, .png or .html"),
        ("--plot stops", "the name must end in"),
        ("--format xml", "possible values: table, jsonl, csv"),
        ("--definition loose", "last-entry, iso-9283, target-reached"),
        ("--delimiter x", "use one of , ; |"),
        ("--decimal ;", "use '.' or ','"),
        ("--colour", "unexpected argument"),
    ] {
        check(&folder, &format!("axis.csv --window 0.01 {arguments}"), 2, &[], &[message]);
    }
    assert!(!folder.path("stops.bmp").exists());
    folder.write("counts.csv", "t_s,command,feedback\n0,1,1\n0.001,2,2\n");
    let ran = folder.run("counts.csv --window 1 --counts-per-unit 1 --command-scale 1/9999999999");
    assert_eq!((ran.status, ran.out.as_str()), (2, ""));
    ran.assert_stderr_has(&["counts.csv: --command-scale", "needs more than 31 bits; give fewer digits"]);
}

#[test]
fn a_file_that_can_not_be_used_does_not_stop_the_others() {
    let folder = Folder::with_axis("files");
    folder.write("empty.csv", "");
    let ran = folder.run("axis.csv empty.csv missing.csv axis.csv --window 0.01 --format jsonl");
    assert_eq!((ran.status, ran.lines().len()), (1, 8), "{}", ran.stderr);
    ran.assert_stderr_has(&[
        "stillpoint: empty.csv: is empty",
        "stillpoint: missing.csv: can't be read",
        "check the name",
    ]);
    // Where nothing was read, there is no line about moves.
    check(&folder, "empty.csv --window 0.01", 1, &[], &["empty.csv: is empty"]);
    check(&folder, "empty.csv axis.csv --window 0.01", 1, &["4 moves: 4 settled"], &["empty.csv: is empty"]);
}

#[test]
fn an_argument_that_does_not_fit_one_recording_is_reported_with_it() {
    let folder = Folder::with_axis("fit");
    let fine = (0..400).map(|row| format!("0.{row:06},{},0\n", row / 200)).collect::<String>();
    folder.write("fast.csv", format!("t_s,command [mm],feedback [mm]\n{fine}"));
    let ran = folder.run("fast.csv axis.csv --window 0.01 --window-time-ms 20000 --format jsonl");
    assert_eq!((ran.status, ran.lines().len()), (2, 4), "{ran:?}");
    ran.assert_stderr_has(&[
        "stillpoint: fast.csv: --window-time-ms 20000: can't be counted",
        "from 0 to 10737",
    ]);
    let ran = folder.run("axis.csv --window 1e9 --format jsonl");
    assert_eq!((ran.status, ran.out.as_str()), (2, ""), "{ran:?}");
    ran.assert_stderr_has(&["axis.csv: --window 1000000000: is wider than the 2^31 counts"]);
}

#[test]
fn edges_of_times_are_accepted() {
    let folder = Folder::with_axis("edges");
    for times in ["--window-time-ms 0", "--rest-time-ms 0", "--window-time-ms 200", "--rest-time-ms 280"] {
        let ran = folder.run(&format!("axis.csv --window 0.01 --format jsonl {times}"));
        assert_eq!((ran.status, ran.outcomes().as_str()), (0, "settled settled settled settled"), "{times}");
    }
    let ran = folder.run("axis.csv --window 0.01 --format jsonl --window-time-ms 1073741");
    assert_eq!(ran.outcomes(), "interrupted interrupted interrupted interrupted");
    // No rest is that long, so no move ever ends.
    let ran = folder.run("axis.csv --window 0.01 --format jsonl --rest-time-ms 1000");
    assert_eq!((ran.status, ran.out.as_str()), (0, ""));
    ran.assert_stderr_has(&["axis.csv: the command never comes to rest"]);
}
