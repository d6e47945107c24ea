//! In: measured moves of a shift, one by one. Out: per axis and tenth of the shift, how many settled, and how soon.

use comfy_table::{CellAlignment, Table, presets};

use super::move_report::MoveReport;
use super::number::fixed;
use super::printable::printable;

pub mod watch;

/// Parts into which a shift is cut.
const PARTS: usize = 10;

/// One axis in one part of the shift.
#[derive(Clone, Debug, Default)]
struct Part {
    moves: usize,
    /// Settling times of the settled. Unit: ms
    settling: Vec<f64>,
}

/// The moves of a shift so far.
#[derive(Clone, Debug)]
pub struct ShiftSummary {
    seconds: f64,
    axes: Vec<(String, String, Vec<Part>)>,
}

impl ShiftSummary {
    /// A shift of this length. Unit: s
    pub fn new(seconds: f64) -> ShiftSummary {
        ShiftSummary { seconds, axes: Vec::new() }
    }

    /// Adds a move.
    pub fn push(&mut self, report: &MoveReport) {
        let place = self.axes.iter().position(|axis| axis.0 == report.axis).unwrap_or_else(|| {
            let window = format!("± {} {}", report.window, report.unit);
            self.axes.push((report.axis.clone(), window, vec![Part::default(); PARTS]));
            self.axes.len() - 1
        });
        let part = (report.command_end_s / self.seconds * PARTS as f64).max(0.0) as usize;
        let parts = self.axes.get_mut(place).map(|axis| &mut axis.2);
        if let Some(part) = parts.and_then(|parts| parts.get_mut(part.min(PARTS - 1))) {
            part.moves += 1;
            part.settling.extend(report.settling_s.map(|settling| settling * 1e3));
        }
    }

    /// The table.
    pub fn text(&self) -> String {
        let mut table = Table::new();
        table.load_style(presets::NOTHING);
        table.set_header([
            "axis",
            "window",
            "from min",
            "moves",
            "settled",
            "median ms",
            "95 % ms",
            "worst ms",
        ]);
        for (name, window, parts) in &self.axes {
            for (number, part) in parts.iter().enumerate().filter(|(_, part)| part.moves > 0) {
                let mut settling = part.settling.clone();
                settling.sort_by(f64::total_cmp);
                let quantile = |share: f64| {
                    let last = settling.len().checked_sub(1);
                    let at = last.map(|last| (last as f64 * share).round() as usize);
                    at.and_then(|at| settling.get(at)).map_or("–".to_owned(), |ms| fixed(*ms, 1))
                };
                table.add_row([
                    if number == 0 { printable(name) } else { String::new() },
                    if number == 0 { printable(window) } else { String::new() },
                    fixed(number as f64 * self.seconds / 60.0 / PARTS as f64, 1),
                    part.moves.to_string(),
                    format!("{} %", fixed(100.0 * part.settling.len() as f64 / part.moves as f64, 1)),
                    quantile(0.5),
                    quantile(0.95),
                    quantile(1.0),
                ]);
            }
        }
        table.column_iter_mut().skip(2).for_each(|column| column.set_cell_alignment(CellAlignment::Right));
        table.lines().map(|line| line.trim_end().to_owned() + "\n").collect()
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::report::fixture::report;

    #[test]
    fn each_part_counts_its_own_moves() {
        let mut shift = ShiftSummary::new(600.0);
        for (second, settling) in [(1.0, Some(0.010)), (2.0, Some(0.030)), (59.0, None), (601.0, Some(0.1))] {
            shift.push(&MoveReport { command_end_s: second, ..report(1, settling) });
        }
        let text = shift.text();
        let rows: Vec<Vec<&str>> = text.lines().map(|line| line.split_whitespace().collect()).collect();
        assert_eq!(rows[1][5..], ["0.0", "3", "66.7", "%", "30.0", "30.0", "30.0"], "{text}");
        assert_eq!(rows[2], ["9.0", "1", "100.0", "%", "100.0", "100.0", "100.0"], "{text}");
    }
}
