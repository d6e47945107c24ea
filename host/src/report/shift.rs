//! In: measured moves of a shift, one by one. Out: per axis and tenth of the shift, how many settled, and how soon.

use comfy_table::{CellAlignment, Table, presets};
use stillpoint_core::Outcome;

use super::move_report::MoveReport;
use super::number::fixed;
use super::printable::printable;
use crate::analysis::density;
use crate::analysis::quantile::rank;

mod recent;
pub mod watch;

/// Parts into which a shift is cut.
const PARTS: usize = 10;
/// Too few moves to find a gap in their distribution.
const FEWEST: u64 = 50;

/// One axis in one part of the shift.
#[derive(Clone, Debug, Default)]
struct Part {
    moves: usize,
    unsettled: usize,
    /// Settling times of the settled. Unit: ms
    settling: Vec<f64>,
}

impl Part {
    /// Cells of one row: moves, share settled, mean, median, 95 % quantile and longest settling time. Quantiles are ranks
    /// among the settled and the unsettled, which rank behind; no median where hardly any move settles near it.
    fn cells(&self) -> [String; 6] {
        let mut settling = self.settling.clone();
        settling.sort_by(f64::total_cmp);
        let shown = |ms: Option<f64>| ms.map_or("–".to_owned(), |ms| fixed(ms, 1));
        let judged = (settling.len() + self.unsettled) as u64;
        let quantile = |share| {
            let rank = rank(share, judged)?;
            settling.get(rank as usize).copied()
        };
        let longest = settling.last().copied();
        let in_gap = judged >= FEWEST && density::is_empty(|share| quantile(share).or(longest), judged);
        let count = settling.len() as f64;
        let mean = (count > 0.0).then(|| settling.iter().sum::<f64>() / count);
        [
            self.moves.to_string(),
            format!("{} %", fixed(100.0 * count / self.moves as f64, 1)),
            shown(mean),
            shown(quantile(0.5).filter(|_| !in_gap)),
            shown(quantile(0.95)),
            shown(longest),
        ]
    }
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
            part.unsettled += usize::from(report.outcome == Outcome::Unsettled);
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
            "from\nmin",
            "moves",
            "settled",
            "mean\nms",
            "median\nms",
            "95 %\nms",
            "worst\nms",
        ]);
        for (name, window, parts) in &self.axes {
            for (number, part) in parts.iter().enumerate().filter(|(_, part)| part.moves > 0) {
                let named = |text: &str| if number == 0 { printable(text) } else { String::new() };
                let from = fixed(number as f64 * self.seconds / 60.0 / PARTS as f64, 1);
                table.add_row([named(name), named(window), from].into_iter().chain(part.cells()));
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
    fn moves_that_did_not_settle_rank_behind() {
        let mut shift = ShiftSummary::new(600.0);
        for settling in [Some(0.010), None, None, None] {
            shift.push(&MoveReport { command_end_s: 1.0, ..report(1, settling) });
        }
        let text = shift.text();
        let row: Vec<&str> = text.lines().nth(2).unwrap_or_default().split_whitespace().collect();
        assert_eq!(row[5..], ["0.0", "4", "25.0", "%", "10.0", "–", "–", "10.0"], "{text}");
    }

    #[test]
    fn a_median_in_a_gap_is_not_stated() {
        let mut shift = ShiftSummary::new(600.0);
        for number in 0..60 {
            let settling = Some(if number % 2 == 0 { 0.0 } else { 0.02 });
            shift.push(&MoveReport { command_end_s: 1.0, ..report(number + 1, settling) });
        }
        let text = shift.text();
        let row: Vec<&str> = text.lines().nth(2).unwrap_or_default().split_whitespace().collect();
        assert_eq!(row[9..], ["10.0", "–", "20.0", "20.0"], "{text}");
    }

    #[test]
    fn each_part_counts_its_own_moves() {
        let mut shift = ShiftSummary::new(600.0);
        for (second, settling) in [(1.0, Some(0.010)), (2.0, Some(0.030)), (59.0, None), (601.0, Some(0.1))] {
            shift.push(&MoveReport { command_end_s: second, ..report(1, settling) });
        }
        let text = shift.text();
        let rows: Vec<Vec<&str>> = text.lines().map(|line| line.split_whitespace().collect()).collect();
        // Of 10, 30 and "not settled" the median is 30.
        assert_eq!(rows[2][5..], ["0.0", "3", "66.7", "%", "20.0", "30.0", "30.0", "30.0"], "{text}");
        assert_eq!(rows[3], ["9.0", "1", "100.0", "%", "100.0", "100.0", "100.0", "100.0"], "{text}");
    }
}
