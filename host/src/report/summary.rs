//! In: measured moves. Out: how many by outcome, and the median and worst settling of the settled.

use stillpoint_core::Outcome;

use super::move_report::MoveReport;
use super::number;
use super::printable::printable;

/// The outcomes in the order in which they are counted.
pub const OUTCOMES: [Outcome; 4] =
    [Outcome::Settled, Outcome::Unsettled, Outcome::Interrupted, Outcome::Untrusted];

/// How many moves have each outcome, in the order of [`OUTCOMES`]; outcomes that don't occur are not listed.
pub fn counts<'a>(reports: impl IntoIterator<Item = &'a MoveReport>) -> Vec<(Outcome, usize)> {
    let mut counts = OUTCOMES.map(|outcome| (outcome, 0));
    for report in reports {
        counts
            .iter_mut()
            .filter(|(outcome, _)| *outcome == report.outcome)
            .for_each(|(_, count)| *count += 1);
    }
    counts.into_iter().filter(|(_, count)| *count > 0).collect()
}

/// The counts as words: `12 moves: 9 settled, 3 unsettled`.
pub fn counts_text<'a>(reports: impl IntoIterator<Item = &'a MoveReport>) -> String {
    let counts = counts(reports);
    let total: usize = counts.iter().map(|(_, count)| count).sum();
    if total == 0 {
        return "no moves".to_owned();
    }
    let each: Vec<String> =
        counts.iter().map(|(outcome, count)| format!("{count} {}", outcome.word())).collect();
    format!("{}: {}", number::count(total, "move"), each.join(", "))
}

/// Median and worst settling of the settled moves, as a sentence; none when nothing settled.
pub fn settling_text<'a>(reports: impl IntoIterator<Item = &'a MoveReport>) -> Option<String> {
    let mut settled: Vec<(f64, &MoveReport)> = reports
        .into_iter()
        .filter_map(|report| report.settling_s.map(|settling| (settling, report)))
        .filter(|(settling, _)| settling.is_finite())
        .collect();
    settled.sort_by(|a, b| a.0.total_cmp(&b.0));
    let (worst, report) = *settled.last()?;
    if settled.len() == 1 {
        return Some(format!("settling {} ms", number::milliseconds(worst, report.settling_u_s)));
    }
    let median = (settled[(settled.len() - 1) / 2].0 + settled[settled.len() / 2].0) / 2.0;
    let is_only_axis = settled.iter().all(|(_, other)| other.axis == report.axis);
    let axis = if is_only_axis { String::new() } else { format!(" of {}", printable(&report.axis)) };
    let places = report.settling_u_s.map_or(1, |u| number::decimals(2e3 * u));
    Some(format!(
        "median settling {} ms, worst {} ms (move {}{axis})",
        number::fixed(1e3 * median, places),
        number::fixed(1e3 * worst, places),
        report.number
    ))
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::report::fixture::report;

    #[test]
    fn counts_and_settling_come_in_order() {
        let check = |settlings: &[Option<f64>], counts: &str, settling: Option<&str>| {
            let reports: Vec<MoveReport> = settlings.iter().zip(1..).map(|(s, n)| report(n, *s)).collect();
            assert_eq!(counts_text(&reports), counts);
            assert_eq!(settling_text(&reports).as_deref(), settling);
        };
        check(&[], "no moves", None);
        check(&[None], "1 move: 1 unsettled", None);
        check(
            &[Some(0.08), None, Some(0.06), Some(0.09)],
            "4 moves: 3 settled, 1 unsettled",
            Some("median settling 80.00 ms, worst 90.00 ms (move 4)"),
        );
        check(
            &[Some(0.08), Some(0.06)],
            "2 moves: 2 settled",
            Some("median settling 70.00 ms, worst 80.00 ms (move 1)"),
        );
    }

    #[test]
    fn the_worst_move_is_named_with_its_axis_where_there_are_several() {
        let mut other = report(1, Some(0.09));
        other.axis = "dibble".to_owned();
        let text = settling_text(&[report(1, Some(0.08)), other]);
        assert_eq!(text.as_deref(), Some("median settling 85.00 ms, worst 90.00 ms (move 1 of dibble)"));
    }
}
