//! In: `--plot` with every kind of name. Out: a picture that holds the moves, or a reason why not.

use super::{Folder, is_written, recording};

#[test]
fn every_kind_of_picture_is_drawn() {
    let folder = Folder::with_axis("pictures");
    for (name, starts) in
        [("a.svg", "<svg"), ("a.SVG", "<svg"), ("a.png", "\u{89}PNG"), ("a.html", "<!doctype html")]
    {
        let ran = folder.run(&format!("axis.csv --window 0.01 --format jsonl --plot {name}"));
        assert_eq!((ran.status, ran.lines().len(), ran.stderr.as_str()), (0, 4, ""), "{name}");
        let bytes = std::fs::read(folder.path(name)).expect("a picture");
        let start: String = bytes.iter().take(200).map(|byte| char::from(*byte)).collect();
        assert!(start.to_lowercase().contains(&starts.to_lowercase()), "{name} begins {start:?}");
        assert!(bytes.len() > 10_000, "{name}: {} bytes", bytes.len());
    }
    let svg = std::fs::read_to_string(folder.path("a.svg")).expect("text");
    assert!(svg.trim_end().ends_with("</svg>") && svg.matches("<path").count() > 4);
}

#[test]
fn missing_rows_are_drawn_and_a_calm_stretch_is_no_gap() {
    let folder = Folder::new("gaps");
    let picture = |rows: Vec<String>| {
        folder.write("axis.csv", rows.join("\n") + "\n");
        let ran = folder.run("axis.csv --window 0.01 --plot a.svg --plot-move 1");
        assert_eq!(ran.status, 0, "{ran:?}");
        std::fs::read_to_string(folder.path("a.svg")).expect("a picture")
    };
    let mut lines = recording(2);
    assert!(!picture(lines.clone()).contains(">gap<"));
    lines.drain(340..380);
    assert!(picture(lines).contains(">gap<"));
    // At 100 Hz: inside at once, calm for three seconds, outside once.
    let feedback = |row: usize| match row {
        0..60 => 0.0,
        60..64 => 0.9,
        360..364 => 0.95,
        _ => 1.0,
    };
    let row = |row: usize| format!("{:.2},{},{}", row as f64 * 0.01, i32::from(row >= 60), feedback(row));
    let mut rows: Vec<String> = (0..500).map(row).collect();
    rows.insert(0, "t_s,command [mm],feedback [mm]".to_owned());
    assert!(!picture(rows).contains(">gap<"));
}

#[test]
fn the_move_to_draw_large_is_the_users_choice() {
    let folder = Folder::with_axis("large");
    let ran = folder.run("axis.csv --window 0.01 --format jsonl --plot second.svg --plot-move 2");
    assert_eq!((ran.status, ran.stderr.as_str()), (0, ""));
    folder.run("axis.csv --window 0.01 --format jsonl --plot third.svg --plot-move 3");
    let read = |name: &str| std::fs::read_to_string(folder.path(name)).expect("a picture");
    assert!(read("second.svg").to_lowercase().contains("move 2"));
    assert_ne!(read("second.svg"), read("third.svg"));
    let ran = folder.run("axis.csv --window 0.01 --format jsonl --plot none.svg --plot-move 99");
    assert_eq!(ran.status, 0);
    ran.assert_stderr_has(&["there is no move 99 to draw large"]);
    assert!(is_written(&folder.path("none.svg"), 10_000));
}

#[test]
fn a_picture_that_can_not_be_written_costs_no_numbers() {
    let folder = Folder::with_axis("unwritable");
    let ran = folder.run("axis.csv --window 0.01 --format jsonl --plot nowhere/a.svg");
    assert_eq!((ran.status, ran.lines().len()), (1, 4));
    ran.assert_stderr_has(&["nowhere/a.svg", "cannot be written"]);
    folder.write("empty.csv", "");
    folder.write("old.svg", "the picture of yesterday");
    assert_eq!(folder.run("empty.csv --window 0.01 --plot old.svg").status, 1);
    assert_eq!(std::fs::read(folder.path("old.svg")).expect("a file"), b"the picture of yesterday");
}

/// A move of 60 mm in the direction of `sign`, then a decaying oscillation that begins with an overshoot. Unit: mm
fn overshooting(sign: f64, overshoot: f64) -> String {
    let row = |at: i32| {
        let part = f64::from(at.clamp(50, 350) - 50) / 300.0;
        let command = 60.0 * sign * part * part * (3.0 - 2.0 * part);
        let after = f64::from((at - 350).max(0));
        let beyond = 1.6 * overshoot * (-after / 60.0).exp() * (after * std::f64::consts::PI / 60.0).sin();
        let lag = 0.3 * (std::f64::consts::PI * part).sin();
        format!("{:.3},{command:.4},{:.4}\n", f64::from(at) * 0.001, command + sign * (beyond - lag))
    };
    "t_s,command [mm],feedback [mm]\n".to_owned() + &(0..900).map(row).collect::<String>()
}

/// The places of the first line that is drawn in this colour, in pixels.
fn line_of(svg: &str, colour: &str) -> Vec<(f64, f64)> {
    let is_it = |line: &&str| {
        line.starts_with("<path")
            && line.contains(&format!("fill=\"none\" stroke-linejoin=\"round\" stroke=\"{colour}\""))
    };
    let line = svg.lines().find(is_it).expect("a line");
    let places = line.split('"').nth(1).expect("a path").split(['M', 'L']);
    places
        .filter_map(|place| place.split_once(' '))
        .map(|(x, y)| (x.parse().expect("x"), y.parse().expect("y")))
        .collect()
}

#[test]
fn an_overshoot_is_never_cut() {
    let folder = Folder::new("overshoot");
    for (sign, overshoot) in [(1.0, 0.5), (-1.0, 0.5), (1.0, 5.0), (-1.0, 5.0)] {
        folder.write("axis.csv", overshooting(sign, overshoot));
        let ran = folder.run("axis.csv --window 0.05 --plot a.svg");
        assert_eq!(ran.status, 0, "{ran:?}");
        let svg = std::fs::read_to_string(folder.path("a.svg")).expect("a picture");
        // The clip of the first picture is its frame.
        let clip = svg.lines().find(|line| line.starts_with("<clipPath")).expect("a clip");
        let side = |name: &str| {
            let text = clip.split(&format!(" {name}=\"")).nth(1).and_then(|text| text.split('"').next());
            text.expect("a side").parse::<f64>().expect("a number")
        };
        let (left, top, height) = (side("x"), side("y"), side("height"));
        let line = line_of(&svg, "#0b4f83");
        let end = svg
            .lines()
            .find(|line| line.starts_with("<line") && line.contains("stroke-width=\"1.4\""))
            .expect("command end");
        let end: f64 = end.split('"').nth(1).and_then(|x| x.parse().ok()).expect("x");
        let after: Vec<f64> =
            line.iter().filter(|place| place.0 > end.max(left)).map(|place| place.1).collect();
        assert!(after.len() > 50, "{}", after.len());
        let extreme = if sign > 0.0 {
            after.iter().copied().fold(0.0, f64::max)
        } else {
            after.iter().copied().fold(1e9, f64::min)
        };
        assert!(extreme > top && extreme < top + height, "{sign} {overshoot}: {extreme} in {top} + {height}");
    }
}

#[test]
fn recordings_differ_by_colour_and_dash_and_names_where_they_differ() {
    let folder = Folder::new("several");
    let name = |line: &str| format!("greenhouse_hall_2_transplanter_{line}_of_line_4_left_tray_shuttle.csv");
    folder.write(&name("A"), overshooting(1.0, 0.1));
    folder.write(&name("B"), overshooting(1.0, 0.4));
    let ran = folder.run(&format!("{} {} --window 0.05 --plot a.svg", name("A"), name("B")));
    assert_eq!(ran.status, 0, "{ran:?}");
    let svg = std::fs::read_to_string(folder.path("a.svg")).expect("a picture");
    let drawn = |colour: &str, dash: &str| {
        svg.lines().any(|line| {
            line.starts_with("<path")
                && line.contains(&format!("stroke=\"{colour}\""))
                && line.contains("stroke-dasharray") != dash.is_empty()
        })
    };
    assert!(drawn("#2f6690", "9 4") && drawn("#1a1a1a", ""), "{svg}");
    let texts: Vec<&str> = svg.lines().filter(|line| line.starts_with("<text")).collect();
    for line in ["_A_", "_B_"] {
        let named = texts.iter().filter(|text| text.contains(line) && text.contains('…')).count();
        assert!(named >= 2, "{line} in the subject and in the key: {texts:?}");
    }
}

/// A recording with an effort column.
fn with_effort() -> String {
    let effort = |line: (usize, &str)| match line.0 {
        0 => format!("{},Force [N]\n", line.1),
        row => format!("{},{}\n", line.1, row % 50),
    };
    overshooting(1.0, 0.5).lines().enumerate().map(effort).collect()
}

#[test]
fn speed_and_effort_stand_below_the_stop() {
    let folder = Folder::new("strips");
    folder.write("axis.csv", with_effort());
    let picture = |more: &str| {
        let ran = folder.run(&format!("axis.csv --window 0.05 --plot a.svg {more}"));
        assert_eq!(ran.status, 0, "{ran:?}");
        std::fs::read_to_string(folder.path("a.svg")).expect("a picture")
    };
    let (plain, speed) = (picture(""), picture("--show speed"));
    let both = picture("--show speed,effort --effort 4");
    let has = |svg: &str| {
        ["(mm/s)", "commanded", "effort: Force [N]", "error cut"].map(|text| svg.matches(text).count())
    };
    assert_eq!(has(&plain)[..3], [0, 0, 0]);
    assert_eq!((&has(&speed)[..3], &has(&both)[..3]), (&[1, 1, 0][..], &[1, 1, 1][..]));
    let height = |svg: &str| -> f64 {
        let height = svg.split(" height=\"").nth(1).and_then(|text| text.split('"').next());
        height.and_then(|height| height.parse().ok()).expect("a height")
    };
    assert!(height(&plain) < height(&speed) && height(&speed) < height(&both));
    // Not one of the numbers depends on what is drawn.
    let lines = |more: &str| folder.run(&format!("axis.csv --window 0.05 --format jsonl{more}")).out;
    assert_eq!(lines(""), lines(" --plot b.svg --show speed,effort --effort 4"));
}

#[test]
fn what_can_not_be_drawn_is_refused_in_words() {
    let folder = Folder::new("no_strips");
    folder.write("axis.csv", with_effort());
    for (more, status, parts) in [
        ("--plot a.svg --show effort", 2, ["--show effort", "give --effort COL"]),
        ("--plot a.svg --show speed --effort 4", 2, ["--effort 4", "add effort to --show"]),
        ("--plot a.svg --show effort --effort torque", 1, ["no column 'torque'", "Force [N]"]),
        ("--show speed", 2, ["--plot", "required"]),
    ] {
        let ran = folder.run(&format!("axis.csv --window 0.05 {more}"));
        assert_eq!((ran.status, ran.out.as_str()), (status, ""), "{more}");
        ran.assert_stderr_has(&parts);
    }
    assert!(!folder.path("a.svg").exists());
}
