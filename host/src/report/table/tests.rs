//! In: invented moves. Out: what the table must show of them.

use super::*;
use crate::plot::fake::line;

fn moves() -> Vec<MoveLine> {
    let mut lines = vec![line(1, Some(0.083_214)), line(2, Some(0.0)), line(3, None), line(4, None)];
    lines[1].travel = -60.0;
    lines
}

fn widest(text: &str) -> usize {
    text.lines().map(|line| line.chars().count()).max().unwrap_or(0)
}

#[test]
fn every_move_is_a_row_with_its_settling_and_uncertainty() {
    let text = table(&moves(), false, Some(120));
    for expected in [
        "tray.csv · tray shuttle · window ± 0.01 mm for 10 ms · last-entry",
        "83.21 ± 0.42",
        "-60.000",
        "unsettled*",
        "* moves 3–4: outside the window at the end of the rest",
        "4 moves: 2 settled, 2 unsettled; median settling 41.61 ms, worst 83.21 ms (move 1)",
    ] {
        assert!(text.contains(expected), "{expected:?} missing in\n{text}");
    }
    assert!(!text.contains('\x1b'));
    assert!(!text.contains("Too narrow"), "{text}");
    assert!(widest(&text) <= 120, "{} wide:\n{text}", widest(&text));
}

#[test]
fn a_narrow_terminal_loses_columns_and_is_told_which() {
    let text = table(&moves(), false, Some(70));
    assert!(text.contains("Too narrow for: rest rms mm, first entry ms, confirmation ms"), "{text}");
    assert!(
        text.lines()
            .filter(|l| !l.starts_with("Too narrow") && !l.contains(';'))
            .all(|l| l.chars().count() <= 70),
        "{text}"
    );
    assert!(table(&moves(), false, Some(1)).contains("83.21 ± 0.42"), "the answer is never left out");
}

#[test]
fn colour_is_only_added() {
    let plain = table(&moves(), false, None);
    let coloured = table(&moves(), true, None);
    assert!(coloured.contains("\x1b[32msettled\x1b[0m") && coloured.contains("\x1b[31munsettled\x1b[0m"));
    let mut stripped = coloured;
    for code in ["\x1b[32m", "\x1b[31m", "\x1b[0m"] {
        stripped = stripped.replace(code, "");
    }
    assert_eq!(stripped, plain);
}

#[test]
fn axes_and_windows_are_separate_blocks() {
    let mut lines = moves();
    lines[2].axis = "dibble".to_owned();
    lines[3].window = 0.005;
    let text = table(&lines, false, None);
    assert_eq!(text.matches("last-entry").count(), 3, "{text}");
}

#[test]
fn no_moves_and_hostile_names_are_told_plainly() {
    assert_eq!(table(&[], true, Some(100)), "no moves\n");
    let mut odd = line(1, Some(0.05));
    odd.axis = "\x1b[2Jaxis\n".to_owned();
    odd.travel = f64::NAN;
    let text = table(&[odd], false, None);
    assert!(!text.contains('\x1b') && !text.contains("NaN"), "{text}");
}

#[test]
fn many_moves_of_one_reason_are_not_all_named() {
    let check = |numbers: &[u32], expected: &str| assert_eq!(ranges(numbers), expected);
    check(&[1, 3, 4, 5], "1, 3–5");
    let apart: Vec<u32> = (1..=23).map(|k| 3 * k).chain([70, 71]).collect();
    let named: Vec<String> = (1..=20).map(|k| (3 * k).to_string()).collect();
    check(&apart, &format!("{} and 5 more", named.join(", ")));
}
