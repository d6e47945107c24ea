//! In: recordings whose signals are not plainly command and feedback of one clock. Out: the moves of the plain recording, a
//! question, or a refusal that says what to type; never a number that was not observed.

use super::{Folder, PERIOD, Ran, recording, samples};

/// Writes `axis.csv` with this header; `row` gives a line for the number of a row, its command and its feedback.
fn write(folder: &Folder, header: &str, row: impl Fn(usize, f64, f64) -> String) {
    let lines = samples(4).into_iter().enumerate();
    let lines: Vec<String> = lines.map(|(at, (command, feedback))| row(at, command, feedback)).collect();
    folder.write("axis.csv", format!("{header}\n{}\n", lines.join("\n")));
}

/// Time of a row. Unit: s
fn second(row: usize) -> f64 {
    row as f64 * PERIOD
}

fn run(folder: &Folder, options: &str) -> Ran {
    folder.run(&format!("axis.csv --window 0.01 --synchronous --format jsonl {options}"))
}

/// The settling times of four settled moves. Unit: s
#[track_caller]
fn settlings(ran: &Ran) -> Vec<f64> {
    assert_eq!((ran.status, ran.outcomes().as_str()), (0, "settled settled settled settled"), "{ran:?}");
    ran.lines().iter().map(|line| line["settling_s"].as_f64().expect("a figure")).collect()
}

/// Whether the settling times are those of the plain recording within `tolerance`. Unit: s
#[track_caller]
fn assert_plain(ran: &Ran, tolerance: f64) {
    let folder = Folder::new("plain");
    folder.write("axis.csv", recording(4).join("\n") + "\n");
    let (found, plain) = (settlings(ran), settlings(&run(&folder, "")));
    let alike = found.iter().zip(&plain).all(|(one, other)| (one - other).abs() <= tolerance);
    assert!(alike, "{found:?}, not {plain:?}: {}", ran.stderr);
}

#[track_caller]
fn assert_refused(ran: &Ran, parts: &[&str]) {
    assert_eq!((ran.status, ran.out.as_str()), (1, ""), "{ran:?}");
    ran.assert_stderr_has(parts);
}

#[test]
fn a_following_error_gives_the_feedback() {
    let folder = Folder::new("following");
    let error =
        |at, command: f64, feedback: f64| format!("{:.3},{command:.4},{:.4}", second(at), command - feedback);
    for name in ["following error [mm]", "Schleppfehler [mm]", "0x60F4 [mm]"] {
        write(&folder, &format!("t_s,command [mm],{name}"), error);
        let ran = run(&folder, "");
        assert_plain(&ran, 1e-9);
        ran.assert_stderr_has(&["feedback is command minus following error", "--feedback-scale"]);
    }
    write(&folder, "t_s,command [mm],x [mm]", error);
    assert_refused(&run(&folder, ""), &["no column name means feedback", "3 'x [mm]'"]);
    assert_plain(&run(&folder, "--following-error x"), 1e-9);
    assert_refused(&run(&folder, "--feedback x"), &["never follows the command", "--following-error COL"]);
    assert_eq!(run(&folder, "--following-error x --feedback x").status, 2);
    assert_refused(&run(&folder, "--following-error y"), &["there is no column 'y'"]);
    let opposite = |at, command: f64, feedback: f64| {
        format!("{:.3},{command:.4},{:.1}", second(at), 1e3 * (feedback - command))
    };
    write(&folder, "t_s,command [mm],lag [um]", opposite);
    assert_plain(&run(&folder, "--feedback-scale -1/1000"), 1e-9);
    // Where there is a feedback, it is not needed.
    let both = |at, command: f64, feedback: f64| {
        format!("{:.3},{command:.4},{:.4},{feedback:.4}", second(at), command - feedback)
    };
    write(&folder, "t_s,command [mm],following error [mm],feedback [mm]", both);
    let ran = run(&folder, "");
    assert_plain(&ran, 1e-9);
    assert_eq!(ran.stderr, "");
}

#[test]
fn a_signal_that_never_follows_is_no_feedback() {
    let folder = Folder::new("unlike");
    let parts =
        ["axis.csv, line 2: column 'feedback'", "never follows the command: in 4 moves", "--feedback COL"];
    let speed = |at: usize, command: f64, _: f64| {
        let before = samples(4)[at.saturating_sub(1)].0;
        format!("{:.3},{command:.4},{:.3}", second(at), (command - before) / PERIOD)
    };
    write(&folder, "t_s,command,feedback", speed);
    assert_refused(&run(&folder, ""), &parts);
    write(&folder, "t_s,command,feedback", |at, command, _| format!("{:.3},{command:.4},0.002", second(at)));
    assert_refused(&run(&folder, ""), &parts);
    write(&folder, "t_s,command,feedback", |at, command, feedback| {
        format!("{:.3},{command:.4},{:.4}", second(at), command - feedback)
    });
    assert_refused(&run(&folder, ""), &parts);
    // An axis that does not get far is one, though.
    write(&folder, "t_s,command,feedback", |at, command, _| {
        format!("{:.3},{command:.4},{:.4}", second(at), 0.3 * command + 0.1)
    });
    let ran = run(&folder, "");
    assert_eq!((ran.status, ran.outcomes().as_str()), (0, "unsettled unsettled unsettled unsettled"));
    ran.assert_stderr_has(&["in no move does feedback travel as far as the command"]);
}

#[test]
fn feedback_on_a_clock_of_its_own_meets_the_command_of_its_time() {
    let folder = Folder::new("clocks");
    let skewed = |header: &str, skew: f64| {
        // The feedback is that of its own time, between two rows.
        let all = samples(4);
        write(&folder, header, |at, command, feedback| {
            let next = all.get(at + 1).map_or(feedback, |next| next.1);
            let between = feedback + (next - feedback) * skew / PERIOD;
            format!("{:.4},{command:.4},{:.4},{between:.5}", second(at), second(at) + skew)
        });
    };
    skewed("t_cmd [s],cmd [mm],t_fb [s],fb [mm]", 0.0004);
    let ran = run(&folder, "");
    assert_plain(&ran, 0.0006);
    ran.assert_stderr_has(&["feedback has times of its own in column 't_fb [s]'", "interpolated"]);
    assert_plain(&run(&folder, "--time t_cmd --feedback-time t_fb"), 0.0006);
    run(&folder, "--time t_cmd").assert_stderr_has(&["'t_fb [s]' is a time, too", "--feedback-time"]);
    skewed("t [s],Soll [mm],t [s],Ist [mm]", 0.0);
    assert_plain(&run(&folder, ""), 0.0003);
    // The command in every fourth row of its own, so that its column ends early.
    let all = samples(4);
    write(&folder, "t_cmd,cmd,t_fb,fb", |at, _, feedback| match all.get(4 * at) {
        Some((command, _)) => format!("{:.3},{command:.4},{:.3},{feedback:.4}", second(4 * at), second(at)),
        None => format!(",,{:.3},{feedback:.4}", second(at)),
    });
    assert_plain(&run(&folder, ""), 0.004);
}

#[test]
fn regular_blanks_hold_and_others_are_bad_rows() {
    let folder = Folder::new("blanks");
    let header = "t_s,command [mm],feedback [mm]";
    let held = |every: usize, lost: usize| {
        move |at: usize, command: f64, feedback: f64| {
            let command =
                if at.is_multiple_of(every) && at != lost { format!("{command:.4}") } else { String::new() };
            format!("{:.3},{command},{feedback:.4}", second(at))
        }
    };
    write(&folder, header, held(4, usize::MAX));
    let ran = run(&folder, "");
    assert_plain(&ran, 0.004);
    ran.assert_stderr_has(&["command is written in one of 4 rows; in the others it counts as held"]);
    // The command ended within its own period.
    let width = |line: &serde_json::Value| line["settling_95_s"].as_f64().expect("a figure");
    assert!(ran.lines().iter().all(|line| width(line) < 0.001), "{ran:?}");
    let ran = folder.run("axis.csv --window 0.01 --format jsonl");
    assert!(ran.lines().iter().all(|line| (0.0019..0.0021).contains(&width(line))), "{ran:?}");
    // One more blank than usual.
    write(&folder, header, held(4, 700));
    let ran = run(&folder, "");
    assert_eq!(ran.outcomes(), "settled settled settled settled");
    let missing =
        "samples are missing elsewhere than at command end, entry and window time (1 place, longest 4 ms)";
    assert_eq!(ran.lines()[1]["reason"], missing);
    ran.assert_stderr_has(&["line 703: command holds ''"]);
    write(&folder, header, |at, command, feedback| {
        let feedback = if at % 3 == 1 { format!("{feedback:.4}") } else { String::new() };
        format!("{:.3},{command:.4},{feedback}", second(at))
    });
    let ran = run(&folder, "");
    assert_plain(&ran, 0.003);
    ran.assert_stderr_has(&["feedback is written in one of 3 rows; the others are no samples"]);
    write(&folder, header, |at, command, feedback| match at % 2 {
        0 => format!("{:.3},{command:.4},", second(at)),
        _ => format!("{:.3},,{feedback:.4}", second(at)),
    });
    assert_plain(&run(&folder, ""), 0.002);
    write(&folder, header, |at, command, feedback| {
        let command = if at * at % 97 == 4 { String::new() } else { format!("{command:.4}") };
        format!("{:.3},{command},{feedback:.4}", second(at))
    });
    let lines = run(&folder, "").lines();
    assert!(lines.len() == 4 && lines.iter().all(|line| line["gaps"].as_u64() > Some(0)), "{lines:?}");
}

/// The recording as degrees from 355 on: 3 deg for each mm.
fn rotary(folder: &Folder, header: &str, scale: f64, wrap: impl Fn(f64) -> f64) {
    write(folder, header, |at, command, feedback| {
        let [command, feedback] = [command, feedback].map(|mm| scale * wrap(355.0 + 3.0 * mm));
        format!("{:.3},{command:.4},{feedback:.4}", second(at))
    });
}

#[test]
fn a_jump_by_a_turn_is_a_question_that_wrap_answers() {
    let folder = Folder::new("wrap");
    let header = "t_s,command [deg],feedback [deg]";
    let plain = |ran: &Ran| {
        let lines = ran.lines();
        let line = |line: &serde_json::Value| (line["travel"].to_string(), line["settling_s"].to_string());
        lines.iter().map(line).collect::<Vec<_>>()
    };
    rotary(&folder, header, 1.0, |deg| deg);
    let expected = run(&folder, "");
    assert_eq!((plain(&expected)[0].0.as_str(), expected.stderr.as_str()), ("30.0", ""));
    rotary(&folder, header, 1.0, |deg| deg % 360.0);
    let ran = run(&folder, "");
    assert_eq!(ran.outcomes(), "untrusted untrusted untrusted untrusted");
    for line in ran.lines() {
        assert!(line["settling_s"].is_null() && line["first_entry_s"].is_null(), "{line}");
        assert!(line["reason"].as_str().is_some_and(|reason| reason.contains("whole turn")), "{line}");
    }
    ran.assert_stderr_has(&["in 4 moves", "give --wrap 360", "--wrap 0"]);
    assert_eq!(plain(&run(&folder, "--wrap 360")), plain(&expected));
    assert_eq!(run(&folder, "--wrap 0").lines()[0]["travel"], -330.0);
    let ran = run(&folder, "--wrap 6.283185307");
    assert_eq!(ran.status, 2);
    ran.assert_stderr_has(&["--wrap 6.283185307", "a whole number", "the nearest is --wrap 6.2832"]);
    // From 359 to 1 in steps of a degree.
    let small = |at: usize, offset: usize| (359 + at.saturating_sub(100 + offset).min(2)) % 360;
    let rows = (0..400).map(|at| format!("{:.3},{},{}\n", second(at), small(at, 0), small(at, 2)));
    folder.write("axis.csv", format!("{header}\n{}", rows.collect::<String>()));
    assert_eq!(run(&folder, "").outcomes(), "untrusted");
    let lines = run(&folder, "--wrap 360").lines();
    assert_eq!((&lines[0]["travel"], &lines[0]["outcome"]), (&2.0.into(), &"settled".into()));
    // Counts have no turn, so both signals must jump alike.
    let options = "--counts-per-unit 100 --unit deg";
    rotary(&folder, "t_s,command,feedback", 100.0, |deg| (deg % 360.0 * 100.0).round() / 100.0);
    let counts = |options: &str| folder.run(&format!("axis.csv --window 3 --format jsonl {options}"));
    let ran = counts("");
    assert_eq!(ran.outcomes(), "untrusted untrusted untrusted untrusted");
    ran.assert_stderr_has(&["give --wrap TURN"]);
    assert_eq!(counts("--wrap 36000").outcomes(), "settled settled settled settled");
    let wrapped = folder.run(&format!("axis.csv --window 0.03 --format jsonl {options} --wrap 360"));
    assert_eq!(wrapped.outcomes(), "settled settled settled settled");
}

#[test]
fn whole_turns_in_the_recordings_of_others_are_no_wraps() {
    let folder = Folder::new("turns");
    // A full turn by a step of the command: feedback does not jump.
    let rows = samples(1).into_iter().enumerate().map(|(at, (command, feedback))| {
        let step = if command > 0.0 { 360 } else { 0 };
        format!("{:.3},{step},{:.4}\n", second(at), 36.0 * feedback)
    });
    folder.write("axis.csv", format!("t_s,command [deg],feedback [deg]\n{}", rows.collect::<String>()));
    let ran = run(&folder, "");
    assert!(!ran.out.contains("whole turn") && ran.lines().len() == 1, "{ran:?}");
}

/// Sums of twelve uniform numbers: close to normal ones of variance 1.
fn normal(seed: &mut u64) -> f64 {
    let uniform = (0..12).map(|_| {
        *seed = seed.wrapping_mul(6_364_136_223_846_793_005).wrapping_add(1_442_695_040_888_963_407);
        (*seed >> 33) as f64 / f64::from(1u32 << 31)
    });
    uniform.sum::<f64>() - 6.0
}

/// The time from the command end until the tail reaches the window: the truth, without noise. Unit: s
fn truth(window: f64) -> f64 {
    super::tail(window)
}

#[test]
fn a_noisy_command_has_the_moves_of_the_same_one_without_noise() {
    let folder = Folder::new("noisy");
    let header = "t_s,command [mm],feedback [mm]";
    let noisy = |rms: f64, seed: u64| {
        let seed = std::cell::Cell::new(seed);
        let noise = move || {
            let mut state = seed.get();
            let noise = normal(&mut state);
            seed.set(state);
            noise
        };
        move |at: usize, command: f64, feedback: f64| {
            format!("{:.3},{:.4},{:.4}", second(at), command + rms * noise(), feedback + 0.0005 * noise())
        }
    };
    let (mut covered, mut errors) = (0, vec![]);
    for seed in 0..25 {
        write(&folder, header, noisy(0.003, seed));
        let ran = folder.run("axis.csv --window 0.02 --format jsonl");
        let found = settlings(&ran);
        ran.assert_stderr_has(&["the command is noisy, 0.00", "--command-dead-band"]);
        for (line, settling) in ran.lines().iter().zip(found) {
            let off = settling - truth(0.02);
            covered += usize::from(off.abs() <= line["settling_95_s"].as_f64().expect("a figure"));
            errors.push(off);
            let travel = line["travel"].as_f64().expect("a figure").abs();
            assert!((travel - 10.0).abs() < 0.002, "seed {seed}: {line}");
            assert!(line["reason"].as_str().is_some_and(|reason| reason.contains("noisy")), "{line}");
        }
    }
    let mean = errors.iter().sum::<f64>() / errors.len() as f64;
    let largest = errors.iter().fold(0.0, |largest: f64, error| largest.max(error.abs()));
    println!(
        "100 moves: {covered} covered, {:.2} ms off on average, {:.2} at most",
        1e3 * mean,
        1e3 * largest
    );
    // The command is smooth at its end: it takes 13 ms for the last dead band.
    assert!(covered >= 85 && mean.abs() < 0.003 && largest < 0.009);
    // Without a dead band it never rests.
    let ran = run(&folder, "--command-dead-band 0");
    assert_eq!((ran.status, ran.out.as_str()), (0, ""));
    ran.assert_stderr_has(&["never comes to rest", "--command-dead-band X"]);
    let ran = folder.run("axis.csv --window 0.02 --format jsonl --command-dead-band 0.02");
    assert_eq!(ran.outcomes(), "settled settled settled settled");
    ran.assert_stderr_has(&["stands while within 0.02 mm"]);
    assert_eq!(run(&folder, "--command-dead-band -1").status, 2);
}

#[test]
fn an_oscilloscope_of_eight_bits_is_measured() {
    let folder = Folder::new("scope");
    // 20 V in 256 steps; 1 V is 1 mm. Noise makes the last bit change.
    let step = 20.0 / 256.0;
    let mut covered = 0;
    for seed in 0..10 {
        let seed = std::cell::Cell::new(seed);
        write(&folder, "time,ch1,ch2\ns,V,V", |at, command, feedback| {
            let mut state = seed.get();
            let [command, feedback] =
                [command, feedback].map(|volts| ((volts / step + 0.4 * normal(&mut state)).round()) * step);
            seed.set(state);
            format!("{:.3},{command:.6},{feedback:.6}", second(at))
        });
        let ran = folder.run("axis.csv --command ch1 --feedback ch2 --window 0.25 --format jsonl");
        assert_eq!(ran.lines().len(), 4, "{ran:?}");
        for line in ran.lines() {
            assert!((line["travel"].as_f64().expect("a figure").abs() - 10.0).abs() < step, "{line}");
            let reason = line["reason"].as_str().expect("a text");
            assert!(reason.contains("noisy"), "{line}");
            let off = line["settling_s"].as_f64().expect("settled") - truth(0.25);
            covered += usize::from(off.abs() <= line["settling_95_s"].as_f64().expect("a figure"));
            // The command takes 30 ms for the last two steps of the converter.
            assert!(off.abs() < 0.03, "{off}: {line}");
        }
    }
    println!("40 moves: {covered} covered");
    assert!(covered >= 24);
}

#[test]
fn a_noisy_sine_gives_no_moves_and_a_digital_command_is_as_it_was() {
    let folder = Folder::new("sine");
    for period in [50.0, 700.0, 3000.0] {
        let mut seed = 3;
        let rows = (0..12_000).map(|at| {
            let position = 10.0 * (at as f64 * core::f64::consts::TAU / period).cos();
            let command = position + 0.003 * normal(&mut seed);
            format!("{:.3},{command:.4},{position:.4}\n", second(at))
        });
        folder.write("axis.csv", format!("t_s,command [mm],feedback [mm]\n{}", rows.collect::<String>()));
        for options in ["", "--command-dead-band 0.0135"] {
            let ran = run(&folder, options);
            assert_eq!((ran.status, ran.out.as_str()), (0, ""), "{period} {options}");
            ran.assert_stderr_has(&["never comes to rest"]);
        }
    }
    folder.write("axis.csv", recording(4).join("\n") + "\n");
    let (plain, none) = (run(&folder, ""), run(&folder, "--command-dead-band 0"));
    assert_eq!((plain.out.as_str(), plain.stderr.as_str()), (none.out.as_str(), ""));
}
