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
    /// The place of its recording among those that are told apart; 0 if none are.
    pub(super) source: usize,
    /// Time from command end (s), largest |error| around it.
    pub(super) points: Points,
    /// Where samples are missing: time from command end (s).
    pub(super) gaps: Points,
    /// Where its mark stands.
    pub(super) mark: Option<(f64, f64)>,
    settling_s: Option<f64>,
}

impl OverlayLine {
    /// The same, of the recording at this place.
    pub(super) fn of_source(self, source: usize) -> Self {
        Self { source, ..self }
    }
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
    let gaps = shown.samples.gaps.clone();
    Some(OverlayLine {
        outcome: report.outcome,
        source: 0,
        points,
        gaps,
        mark: Some(mark),
        settling_s: report.settling_s,
    })
}

fn column(t: f64, end: f64, columns: usize) -> usize {
    (t / end * columns as f64).max(0.0) as usize
}

/// The lines worth drawing, settled ones first: a fair share of each outcome of each recording, evenly spread over it, and
/// always the slowest settled one.
pub(super) fn drawn(all: &[OverlayLine]) -> Vec<&OverlayLine> {
    let most = if all.len() <= MOST_LINES { usize::MAX } else { MOST_LINES };
    let mut groups: Vec<(Outcome, usize)> = Vec::new();
    for line in all {
        if !groups.contains(&(line.outcome, line.source)) {
            groups.push((line.outcome, line.source));
        }
    }
    groups.sort_by_key(|(outcome, _)| *outcome != Outcome::Settled);
    let share = most / groups.len().max(1);
    let mut drawn: Vec<&OverlayLine> = Vec::new();
    for group in groups {
        let lines: Vec<&OverlayLine> =
            all.iter().filter(|line| (line.outcome, line.source) == group).collect();
        let step = lines.len().div_ceil(share.max(1)).max(1);
        let slowest = lines.iter().copied().reduce(|a, b| if is_slower(b, a) { b } else { a });
        drawn.extend(lines.iter().copied().step_by(step));
        drawn.extend(slowest.filter(|slowest| !drawn.iter().any(|one| std::ptr::eq(*one, *slowest))));
    }
    drawn
}

/// `points`, in order of time, split where samples are missing.
pub(super) fn runs<'a>(points: &'a [(f64, f64)], gaps: &[(f64, f64)]) -> Vec<&'a [(f64, f64)]> {
    let mut gaps = gaps.iter().peekable();
    let is_whole = |a: &(f64, f64), b: &(f64, f64)| {
        while gaps.next_if(|gap| gap.1 <= a.0).is_some() {}
        gaps.peek().is_none_or(|gap| gap.0 >= b.0)
    };
    points.chunk_by(is_whole).collect()
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

    #[test]
    fn a_line_is_split_at_gaps_only() {
        let check = |times: &mut dyn Iterator<Item = f64>, gaps: &[(f64, f64)], expected: &[usize]| {
            let points: Vec<(f64, f64)> = times.map(|t| (t, t.sin())).collect();
            let lengths: Vec<usize> = runs(&points, gaps).iter().map(|run| run.len()).collect();
            assert_eq!(lengths, expected);
        };
        check(&mut std::iter::empty(), &[], &[]);
        check(&mut [1.0].into_iter(), &[], &[1]);
        check(&mut (0..100).map(f64::from), &[], &[100]);
        // Few points of a calm stretch, or samples at a slow rate.
        check(&mut (0..100).filter(|i| !(40..60).contains(i)).map(f64::from), &[], &[80]);
        check(&mut (0..100).filter(|i| !(40..60).contains(i)).map(f64::from), &[(39.0, 60.0)], &[40, 40]);
        check(&mut (0..100).map(f64::from), &[(-3.0, 0.0), (8.0, 9.0), (98.0, 99.0)], &[9, 90, 1]);
        // Thinned to every tenth point.
        check(&mut (0..10).map(|i| f64::from(10 * i)), &[(11.0, 12.0), (15.0, 16.0), (99.0, 200.0)], &[2, 8]);
    }
}
