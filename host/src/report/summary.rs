//! In: measured moves. Out: how many by outcome, and the median and worst settling of the settled.

use super::line::MoveLine;
use super::number;
use super::printable::printable;

/// The outcomes in the order in which they are told.
pub const OUTCOMES: [&str; 4] = ["settled", "unsettled", "interrupted", "untrusted"];

/// How many moves have each outcome, in the order of [`OUTCOMES`]; outcomes that don't occur are left out.
pub fn counts<'a>(lines: impl IntoIterator<Item = &'a MoveLine>) -> Vec<(&'a str, usize)> {
    let mut counts: Vec<(&str, usize)> = OUTCOMES.iter().map(|outcome| (*outcome, 0)).collect();
    for line in lines {
        match counts.iter_mut().find(|(outcome, _)| *outcome == line.outcome) {
            Some((_, count)) => *count += 1,
            None => counts.push((&line.outcome, 1)),
        }
    }
    counts.retain(|(_, count)| *count > 0);
    counts
}

/// The counts as words: `12 moves: 9 settled, 3 unsettled`.
pub fn counts_text<'a>(lines: impl IntoIterator<Item = &'a MoveLine>) -> String {
    let counts = counts(lines);
    let total: usize = counts.iter().map(|(_, count)| count).sum();
    if total == 0 {
        return "no moves".to_owned();
    }
    let each: Vec<String> = counts.iter().map(|(outcome, count)| format!("{count} {outcome}")).collect();
    format!("{total} move{}: {}", if total == 1 { "" } else { "s" }, each.join(", "))
}

/// Median and worst settling of the settled moves, as a sentence; none when nothing settled.
pub fn settling_text<'a>(lines: impl IntoIterator<Item = &'a MoveLine>) -> Option<String> {
    let mut settled: Vec<(f64, &MoveLine)> = lines
        .into_iter()
        .filter_map(|line| line.settling_s.map(|settling| (settling, line)))
        .filter(|(settling, _)| settling.is_finite())
        .collect();
    settled.sort_by(|a, b| a.0.total_cmp(&b.0));
    let (worst, line) = *settled.last()?;
    if settled.len() == 1 {
        return Some(format!("settling {} ms", number::milliseconds(worst, line.settling_u_s)));
    }
    let median = (settled[(settled.len() - 1) / 2].0 + settled[settled.len() / 2].0) / 2.0;
    let is_only_axis = settled.iter().all(|(_, other)| other.axis == line.axis);
    let axis = if is_only_axis { String::new() } else { format!(" of {}", printable(&line.axis)) };
    let places = line.settling_u_s.map_or(1, |u| number::decimals(2e3 * u));
    Some(format!(
        "median settling {} ms, worst {} ms (move {}{axis})",
        number::fixed(1e3 * median, places),
        number::fixed(1e3 * worst, places),
        line.number
    ))
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::plot::fake::line;

    #[test]
    fn counts_and_settling_are_told_in_order() {
        let check = |settlings: &[Option<f64>], counts: &str, settling: Option<&str>| {
            let lines: Vec<MoveLine> = settlings.iter().zip(1..).map(|(s, n)| line(n, *s)).collect();
            assert_eq!(counts_text(&lines), counts);
            assert_eq!(settling_text(&lines).as_deref(), settling);
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
        let mut other = line(1, Some(0.09));
        other.axis = "dibble".to_owned();
        let text = settling_text(&[line(1, Some(0.08)), other]);
        assert_eq!(text.as_deref(), Some("median settling 85.00 ms, worst 90.00 ms (move 1 of dibble)"));
    }

    #[test]
    fn unknown_outcomes_are_counted_too() {
        let mut odd = line(1, None);
        odd.outcome = "new".to_owned();
        assert_eq!(counts(&[odd, line(2, None)]), [("unsettled", 1), ("new", 1)]);
    }
}
