//! In: what a command wrote, on stdout, on stderr or into a file. Out: whether all of it is safe to show.

use std::path::Path;
use std::process::{Command, Output};

/// Characters that move a cursor, end a line, turn the order of letters, or hide; not the program's own list.
const HOSTILE: [(u32, u32); 12] = [
    (0x00, 0x1F),
    (0x7F, 0x9F),
    (0x061C, 0x061C),
    (0x200E, 0x200F),
    (0x2028, 0x202E),
    (0x2066, 0x2069),
    (0xFDD0, 0xFDEF),
    (0xFEFF, 0xFEFF),
    (0xFFFE, 0xFFFF),
    (0x1_FFFE, 0x1_FFFF),
    (0xE_0000, 0xE_007F),
    (0x10_FFFE, 0x10_FFFF),
];

fn is_hostile(c: char) -> bool {
    HOSTILE.iter().any(|(first, last)| (*first..=*last).contains(&u32::from(c)))
}

/// Runs the program, and looks at both of its ways out; returns its stdout and its exit status.
#[track_caller]
pub(crate) fn run(arguments: &[&str]) -> (String, i32) {
    run_in(&std::env::temp_dir(), arguments)
}

/// The same in a folder.
#[track_caller]
pub(crate) fn run_in(folder: &Path, arguments: &[&str]) -> (String, i32) {
    let mut command = Command::new(env!("CARGO_BIN_EXE_stillpoint"));
    let Output { status, stdout, stderr } =
        command.args(arguments).current_dir(folder).output().expect("it runs");
    let [stdout, stderr] = [stdout, stderr].map(|bytes| String::from_utf8(bytes).expect("UTF-8"));
    text(&stdout, &format!("stdout of {arguments:?}"));
    text(&stderr, &format!("stderr of {arguments:?}"));
    let status = status.code().expect("it ends by itself");
    assert!(status != 101 && !stderr.contains("panicked"), "{arguments:?}: {stderr}");
    (stdout, status)
}

/// The same where it must do its work.
#[track_caller]
pub(crate) fn done(arguments: &[&str]) -> String {
    let (stdout, status) = run(arguments);
    let stderr =
        || Command::new(env!("CARGO_BIN_EXE_stillpoint")).args(arguments).output().expect("runs").stderr;
    assert_eq!(status, 0, "{arguments:?}: {}", String::from_utf8_lossy(&stderr()));
    stdout
}

/// No character that is not for reading, except the ends of lines.
#[track_caller]
pub(crate) fn text(text: &str, place: &str) {
    let hostile = text.chars().find(|c| *c != '\n' && is_hostile(*c));
    assert_eq!(hostile, None, "{place}: {text:?}");
}

/// No cell that a spreadsheet would calculate.
#[track_caller]
pub(crate) fn cells(table: &str, place: &str) -> usize {
    text(table, place);
    let mut reader = csv::ReaderBuilder::new().has_headers(false).from_reader(table.as_bytes());
    let mut count = 0;
    for row in reader.records() {
        for cell in &row.expect("CSV") {
            let is_formula = cell.trim_start().starts_with(['=', '+', '-', '@', '＝', '＋', '－', '＠']);
            assert!(!is_formula || cell.parse::<f64>().is_ok_and(f64::is_finite), "{place}: {cell:?}");
            count += usize::from(cell.starts_with("'="));
        }
    }
    count
}

/// A file that was written: text, markup, picture or page.
#[track_caller]
pub(crate) fn file(path: &Path) {
    let (place, bytes) = (path.display().to_string(), std::fs::read(path).expect("a file"));
    match path.extension().and_then(|extension| extension.to_str()) {
        Some("png") => chunks(&bytes),
        Some("pdf") => {
            for (program, options) in
                [("pdftotext", &[][..]), ("pdfinfo", &[]), ("pdfinfo", &["-struct-text"])]
            {
                let mut command = Command::new(program);
                command.args(options).arg(path);
                if program == "pdftotext" {
                    command.arg("-");
                }
                let output = command.output().expect("poppler-utils is installed");
                assert!(output.status.success(), "{program} {options:?}");
                text(&String::from_utf8_lossy(&output.stdout).replace('\u{C}', ""), program);
            }
        }
        Some("csv") => drop(cells(&String::from_utf8(bytes).expect("UTF-8"), &place)),
        _ => {
            let markup = String::from_utf8(bytes).expect("UTF-8");
            text(&markup, &place);
            assert!(!markup.contains("<hostile>") && !markup.contains("onload=\"x"), "{place}");
            assert!(markup.contains("&lt;hostile&gt;"), "{place}: the name is there, as text");
        }
    }
}

/// A PNG has pixels and no text.
fn chunks(mut bytes: &[u8]) {
    bytes = bytes.strip_prefix(b"\x89PNG\r\n\x1a\n").expect("a PNG");
    while let Some((head, rest)) = bytes.split_first_chunk::<8>() {
        let length = u32::from_be_bytes(head[..4].try_into().expect("four")) as usize;
        assert!(
            ["IHDR", "IDAT", "IEND", "pHYs", "sRGB", "gAMA"].iter().any(|name| name.as_bytes() == &head[4..])
        );
        bytes = &rest[length + 4..];
    }
}
