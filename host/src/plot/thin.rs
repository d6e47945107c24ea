//! In: moves with thousands of samples. Out: lines of one point per column of pixels, and not too many of them.

use stillpoint_core::Outcome;

use super::{PlottedMove, caption};

/// Most lines drawn over each other: more only turn black, and the file heavy.
const MOST_LINES: usize = 60;

/// Time from command end (s), |error|.
type Points = Vec<(f64, f64)>;

/// The line of one move in the overlay.
#[derive(Clone, Debug)]
pub(super) struct OverlayLine {
    pub(super) outcome: Outcome,
    /// Time from command end (s), largest |error| around it.
    pub(super) points: Points,
    /// Where its mark stands.
    pub(super) mark: Option<(f64, f64)>,
    settling_s: Option<f64>,
}

/// The largest |error| in each of `columns` equal parts of 0 to `end`, not below `floor`; none without
/// samples after command end.
pub(super) fn overlay_line(shown: &PlottedMove, end: f64, columns: usize, floor: f64) -> Option<OverlayLine> {
    let report = shown.report;
    let mut points: Points = Vec::new();
    let mut last_column = None;
    for (t, error) in caption::finite(&shown.samples.points) {
        if t < 0.0 || t > end * 1.02 {
            continue;
        }
        let at = column(t, end, columns);
        let size = error.abs().max(floor);
        match points.last_mut() {
            Some(last) if last_column == Some(at) => {
                if size > last.1 {
                    *last = (t, size);
                }
            }
            _ => points.push((t, size)),
        }
        last_column = Some(at);
    }
    let last = *points.last()?;
    let settled = report.last_entry_s().0.filter(|s| s.is_finite()).map(|s| (s, report.window));
    let mark = settled.unwrap_or((last.0.min(end), last.1));
    Some(OverlayLine { outcome: report.outcome, points, mark: Some(mark), settling_s: report.settling_s })
}

fn column(t: f64, end: f64, columns: usize) -> usize {
    (t / end * columns as f64).max(0.0) as usize
}

/// The lines worth drawing, settled ones first: a fair share of each outcome, evenly spread over the
/// recording, and always the slowest settled one.
pub(super) fn drawn(all: &[OverlayLine]) -> Vec<&OverlayLine> {
    let most = if all.len() <= MOST_LINES { usize::MAX } else { MOST_LINES };
    let mut outcomes: Vec<Outcome> = Vec::new();
    for line in all {
        if !outcomes.contains(&line.outcome) {
            outcomes.push(line.outcome);
        }
    }
    outcomes.sort_by_key(|outcome| *outcome != Outcome::Settled);
    let share = most / outcomes.len().max(1);
    let mut drawn: Vec<&OverlayLine> = Vec::new();
    for outcome in outcomes {
        let lines: Vec<&OverlayLine> = all.iter().filter(|line| line.outcome == outcome).collect();
        let step = lines.len().div_ceil(share.max(1)).max(1);
        let slowest = lines.iter().copied().reduce(|a, b| if is_slower(b, a) { b } else { a });
        drawn.extend(lines.iter().copied().step_by(step));
        drawn.extend(slowest.filter(|slowest| !drawn.iter().any(|one| std::ptr::eq(*one, *slowest))));
    }
    drawn
}
/// A step between points that is this many times the median step is a gap. Thinned samples have steps of up to about
/// four times their median, and jitter of the clock stays far below.
const GAP: f64 = 12.0;

/// `points`, in order of time, split where samples are missing.
pub(super) fn runs(points: &[(f64, f64)]) -> Vec<&[(f64, f64)]> {
    let mut steps: Vec<f64> = points.windows(2).map(|pair| pair[1].0 - pair[0].0).collect();
    steps.sort_by(f64::total_cmp);
    let longest = steps.get(steps.len() / 2).map_or(f64::INFINITY, |usual| GAP * usual);
    points.chunk_by(|a, b| !(longest > 0.0 && b.0 - a.0 > longest)).collect()
}

fn is_slower(a: &OverlayLine, b: &OverlayLine) -> bool {
    a.settling_s.unwrap_or(0.0) > b.settling_s.unwrap_or(0.0)
}

/// Smallest and largest |error| of all lines in each column that any of them reaches.
pub(super) fn range(lines: &[OverlayLine], end: f64, columns: usize) -> (Points, Points) {
    let mut reach = vec![(f64::INFINITY, 0.0f64); columns + 1];
    for (t, error) in lines.iter().flat_map(|line| &line.points) {
        if let Some((low, high)) = reach.get_mut(column(*t, end, columns)) {
            (*low, *high) = (low.min(*error), high.max(*error));
        }
    }
    let width = end / columns.max(1) as f64;
    let reached = || reach.iter().enumerate().filter(|(_, (low, _))| low.is_finite());
    let middle = |i: usize| (i as f64 + 0.5) * width;
    (
        reached().map(|(i, (low, _))| (middle(i), *low)).collect(),
        reached().map(|(i, (_, high))| (middle(i), *high)).collect(),
    )
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::plot::decimate::Decimator;

    #[test]
    fn a_line_is_split_at_gaps_only() {
        let check = |times: &mut dyn Iterator<Item = f64>, expected: &[usize]| {
            let points: Vec<(f64, f64)> = times.map(|t| (t, t.sin())).collect();
            let lengths: Vec<usize> = runs(&points).iter().map(|run| run.len()).collect();
            assert_eq!(lengths, expected);
        };
        check(&mut std::iter::empty(), &[]);
        check(&mut [1.0].into_iter(), &[1]);
        check(&mut [1.0, 9.0].into_iter(), &[2]);
        check(&mut (0..100).map(f64::from), &[100]);
        check(&mut (0..100).filter(|i| !(40..60).contains(i)).map(f64::from), &[40, 40]);
        check(&mut (0..100).map(|_| 1.0), &[100]);
    }

    #[test]
    fn thinning_makes_no_gaps() {
        for length in [500, 2_500, 9_999, 100_000] {
            let mut decimator = Decimator::new(256);
            // Runs of equal values put both extremes of a pair at its beginning.
            (0..length).for_each(|i| decimator.push(f64::from(i), f64::from(i / 300).sin()));
            assert_eq!(runs(&decimator.points()).len(), 1, "{length}");
        }
    }
}
