//! In: the trends of all kinds. Out: the same, with lost parts only where they delay the machine.
//!
//! Axes move beside each other and the machine waits for the slowest, so their losses do not add up: the axis that lost most
//! sets the cycle. The kinds of one axis follow each other, and theirs do.

use std::collections::BTreeMap;

use super::TrendLine;

/// Removes lost parts from all axes but the one that lost most time, against zero and against the baseline each.
pub fn keep_parts_of_slowest(lines: &mut [TrendLine]) {
    let against_zero = slowest(lines, |line| Some(line.lost_s));
    let against_baseline = slowest(lines, |line| line.lost_against_baseline_s);
    for line in lines {
        line.lost_parts = line.lost_parts.filter(|_| Some(&line.axis) == against_zero.as_ref());
        let parts = line.lost_against_baseline_parts;
        line.lost_against_baseline_parts = parts.filter(|_| Some(&line.axis) == against_baseline.as_ref());
    }
}

/// The axis whose kinds together lost most. Unit: s
fn slowest(lines: &[TrendLine], lost_s: impl Fn(&TrendLine) -> Option<f64>) -> Option<String> {
    let mut axes: BTreeMap<&str, f64> = BTreeMap::new();
    for line in lines {
        *axes.entry(&line.axis).or_default() += lost_s(line).unwrap_or(0.0);
    }
    axes.into_iter().max_by(|a, b| a.1.total_cmp(&b.1)).map(|(axis, _)| axis.to_owned())
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn parts_are_those_of_the_axis_that_lost_most() {
        let line = |axis: &str, lost_s: f64, against: f64| TrendLine {
            axis: axis.to_owned(),
            lost_s,
            lost_against_baseline_s: Some(against),
            lost_parts: Some(lost_s / 2.0),
            lost_against_baseline_parts: Some(against / 2.0),
            ..TrendLine::default()
        };
        // The dibble always takes longest; the shuttle got slower, on both of its kinds.
        let mut lines = [line("shuttle", 20.0, 6.0), line("shuttle", 20.0, 6.0), line("dibble", 60.0, 10.0)];
        keep_parts_of_slowest(&mut lines);
        assert_eq!(lines.each_ref().map(|line| line.lost_parts), [None, None, Some(30.0)]);
        let against = lines.map(|line| line.lost_against_baseline_parts);
        assert_eq!(against, [Some(3.0), Some(3.0), None]);
    }
}
