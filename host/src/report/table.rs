//! In: measured moves. Out: a table for people, one block per axis and window, and a closing summary.

use std::collections::HashMap;

use comfy_table::{Cell, CellAlignment, Table, presets};

use super::cell::{TableField, cell, columns};
use super::field::Form;
use super::move_report::{MoveReport, definition_name};
use super::printable::printable;
use super::{number, reason, summary};

/// A column with its cells.
pub(crate) struct Column {
    pub(crate) heading: String,
    /// Columns are dropped from the highest number down; 0 never.
    pub(crate) spare: u8,
    pub(crate) is_text: bool,
    pub(crate) cells: Vec<String>,
}

/// The table as text, ending in a line break. Columns that don't fit into `width` characters are
/// dropped and named; `colour` adds ANSI colour to the outcome, which is always there as a word too.
pub fn table(reports: &[MoveReport], colour: bool, width: Option<usize>) -> String {
    let mut text = String::new();
    for (heading, moves) in blocks(reports) {
        text.push_str(&heading);
        text.push('\n');
        let (mut columns, dropped) = fitted(filled(&moves), width.unwrap_or(usize::MAX));
        let drawn = drawn(&mut columns);
        text.push_str(&if colour { coloured(&drawn) } else { drawn });
        for reason in reasons(&moves) {
            text.push_str(&format!("* {reason}\n"));
        }
        if !dropped.is_empty() {
            text.push_str(&format!("Too narrow for: {}\n", dropped.join(", ")));
        }
        text.push('\n');
    }
    text.push_str(&closing(reports));
    text
}

/// Moves with the same heading, in order of first appearance.
fn blocks(reports: &[MoveReport]) -> Vec<(String, Vec<&MoveReport>)> {
    let mut blocks: Vec<(String, Vec<&MoveReport>)> = Vec::new();
    let mut place: HashMap<String, usize> = HashMap::new();
    for report in reports {
        let heading = format!(
            "{} · {} · window ± {} {} for {} ms · {}",
            printable(&report.file),
            printable(&report.axis),
            number::plain_to(report.window, 6),
            printable(&report.unit),
            number::plain(1e3 * report.window_time_s),
            definition_name(report.definition)
        );
        let at = *place.entry(heading.clone()).or_insert(blocks.len());
        if at == blocks.len() {
            blocks.push((heading, Vec::new()));
        }
        blocks[at].1.push(report);
    }
    blocks
}

/// The columns of moves in the same unit.
fn filled(moves: &[&MoveReport]) -> Vec<Column> {
    let unit = moves.first().map_or_else(String::new, |report| printable(&report.unit));
    let decimals =
        moves.iter().map(|report| number::count_decimals(report.counts_per_unit)).max().unwrap_or(3);
    let column = |shown: TableField| {
        let text = |report: &&MoveReport| {
            let text = cell(&shown, report, decimals).unwrap_or(DASH.to_owned());
            let has_reason = shown.field.name == "outcome" && !report.reason.is_empty();
            text + if has_reason { "*" } else { "" }
        };
        Column {
            heading: heading(&shown, &unit),
            spare: shown.column.spare,
            is_text: shown.field.form == Form::Text,
            cells: moves.iter().map(text).collect(),
        }
    };
    columns(moves).into_iter().map(column).collect()
}

/// Title and unit of a column on two lines.
fn heading(shown: &TableField, unit: &str) -> String {
    let title = shown.column.title;
    let unit = shown.column.decimals.unit().replace("{unit}", unit);
    match unit.is_empty() {
        true => title.to_owned(),
        false => format!("{title}{}{unit}", if title.contains('\n') { ' ' } else { '\n' }),
    }
}

/// Stands for a value that does not exist, so that no column has holes.
pub(crate) const DASH: &str = "–";

/// The columns that fit into `width` characters, and the headings of those dropped.
pub(crate) fn fitted(mut columns: Vec<Column>, width: usize) -> (Vec<Column>, Vec<String>) {
    let mut dropped = Vec::new();
    while columns.iter().map(|column| column.width() + GAP).sum::<usize>() > width.saturating_add(GAP) {
        let Some((at, _)) =
            columns.iter().enumerate().filter(|(_, c)| c.spare > 0).max_by_key(|(_, c)| c.spare)
        else {
            break;
        };
        dropped.push(columns.remove(at).heading.replace("-\n", "").replace('\n', " ").trim().to_owned());
    }
    (columns, dropped)
}

/// Blanks between columns.
const GAP: usize = 2;

impl Column {
    fn width(&self) -> usize {
        let cells = self.cells.iter().map(|cell| cell.chars().count());
        cells.chain(self.heading.lines().map(|part| part.chars().count())).max().unwrap_or(0)
    }
}

/// The columns as text, without blanks at the ends of lines.
pub(crate) fn drawn(columns: &mut [Column]) -> String {
    let mut table = Table::new();
    table.load_style(presets::NOTHING);
    table.set_header(columns.iter().map(|column| Cell::new(&column.heading)));
    for row in 0..columns.first().map_or(0, |column| column.cells.len()) {
        table.add_row(columns.iter_mut().map(|column| std::mem::take(&mut column.cells[row])));
    }
    for (at, column) in table.column_iter_mut().enumerate() {
        column.set_padding((0, GAP as u16));
        let alignment = if columns[at].is_text { CellAlignment::Left } else { CellAlignment::Right };
        column.set_cell_alignment(alignment);
    }
    table.lines().map(|line| line.trim_end().to_owned() + "\n").collect()
}

/// The drawn table with each outcome in its colour, found by its place under the heading.
fn coloured(drawn: &str) -> String {
    let at = drawn.lines().find_map(|line| line.find("outcome").map(|byte| line[..byte].chars().count()));
    let paint = |line: &str| {
        let (byte, _) = line.char_indices().nth(at?)?;
        let (before, rest) = line.split_at(byte);
        let outcome = rest.split([' ', '*']).next()?;
        let code = [("settled", 32), ("unsettled", 31), ("interrupted", 33), ("untrusted", 35)]
            .into_iter()
            .find(|(name, _)| *name == outcome)?
            .1;
        Some(format!("{before}\x1b[{code}m{outcome}\x1b[0m{}\n", &rest[outcome.len()..]))
    };
    drawn.lines().map(|line| paint(line).unwrap_or_else(|| format!("{line}\n"))).collect()
}

/// Every reason once, with the moves it is about: `moves 3, 7–9: …`; figures only where it is about one move.
pub(crate) fn reasons(moves: &[&MoveReport]) -> Vec<String> {
    let mut reasons: Vec<(&str, Vec<u32>)> = Vec::new();
    let mut place: HashMap<String, usize> = HashMap::new();
    for report in moves.iter().filter(|report| !report.reason.is_empty()) {
        let at = *place.entry(reason::without_figures(&report.reason)).or_insert(reasons.len());
        if at == reasons.len() {
            reasons.push((&report.reason, Vec::new()));
        }
        reasons[at].1.push(report.number);
    }
    let sentence = |(reason, numbers): (&str, Vec<u32>)| match numbers.as_slice() {
        [only] => format!("move {only}: {}", printable(reason)),
        several => format!("moves {}: {}", ranges(several), printable(&reason::without_figures(reason))),
    };
    reasons.into_iter().map(sentence).collect()
}

/// Runs of moves that are named; of the others only the number is written.
const RUNS: usize = 20;

/// `1, 3–5` for 1, 3, 4, 5.
fn ranges(numbers: &[u32]) -> String {
    let (mut text, mut remaining) = (Vec::new(), numbers.len());
    for run in numbers.chunk_by(|a, b| a.checked_add(1) == Some(*b)).take(RUNS) {
        let [first, last] = [run.first(), run.last()].map(|end| end.copied().unwrap_or_default());
        text.push(if first == last { first.to_string() } else { format!("{first}–{last}") });
        remaining -= run.len();
    }
    let more = if remaining == 0 { String::new() } else { format!(" and {remaining} more") };
    text.join(", ") + &more
}

fn closing(reports: &[MoveReport]) -> String {
    let counts = summary::counts_text(reports);
    summary::settling_text(reports)
        .map_or(format!("{counts}\n"), |settling| format!("{counts}; {settling}\n"))
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::report::fixture::report;

    fn moves() -> Vec<MoveReport> {
        let mut reports =
            vec![report(1, Some(0.083_214)), report(2, Some(0.0)), report(3, None), report(4, None)];
        reports[1].travel = -60.0;
        reports
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
    fn a_narrow_terminal_drops_columns_and_names_them() {
        let text = table(&moves(), false, Some(70));
        assert!(text.contains("Too narrow for: rest rms mm, first entry ms, confirmation ms"), "{text}");
        assert!(
            text.lines()
                .filter(|l| !l.starts_with("Too narrow") && !l.contains(';'))
                .all(|l| l.chars().count() <= 70),
            "{text}"
        );
        assert!(table(&moves(), false, Some(1)).contains("83.21 ± 0.42"), "the answer is never dropped");
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
        let mut reports = moves();
        reports[2].axis = "dibble".to_owned();
        reports[3].window = 0.005;
        let text = table(&reports, false, None);
        assert_eq!(text.matches("last-entry").count(), 3, "{text}");
    }

    #[test]
    fn no_moves_and_hostile_names_are_printed_plainly() {
        assert_eq!(table(&[], true, Some(100)), "no moves\n");
        let mut odd = report(1, Some(0.05));
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
}
