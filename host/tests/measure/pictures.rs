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
