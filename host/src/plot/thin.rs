//! In: moves with thousands of samples. Out: lines of one point per column of pixels, and not too many of them.

use std::collections::HashMap;

use super::{Shown, told};

/// Most lines drawn over each other: more only turn black, and the file heavy.
const MOST_LINES: usize = 60;

/// Time from command end (s), |error|.
type Line = Vec<(f64, f64)>;

/// The line of one move in the overlay.
#[derive(Clone, Debug)]
pub(super) struct Trace<'a> {
    pub(super) outcome: &'a str,
    /// Time from command end (s), largest |error| around it.
    pub(super) points: Line,
    /// Where its mark stands.
    pub(super) mark: Option<(f64, f64)>,
    settling_s: Option<f64>,
}

/// The largest |error| in each of `columns` equal parts of 0 to `end`, not below `floor`; none without
/// samples after command end.
pub(super) fn trace<'a>(shown: &Shown<'a>, end: f64, columns: usize, floor: f64) -> Option<Trace<'a>> {
    let line = shown.line;
    let mut points: Line = Vec::new();
    let mut last_column = None;
    for (t, error) in told::finite(&shown.stretch.points) {
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
    let settled = line.last_entry_s().0.filter(|s| s.is_finite()).map(|s| (s, line.window));
    let mark = settled.unwrap_or((last.0.min(end), last.1));
    Some(Trace { outcome: &line.outcome, points, mark: Some(mark), settling_s: line.settling_s })
}

fn column(t: f64, end: f64, columns: usize) -> usize {
    (t / end * columns as f64).max(0.0) as usize
}

/// The traces worth drawing, settled ones first: a fair share of each outcome, evenly spread over the
/// recording, and always the slowest settled one.
pub(super) fn chosen<'a, 'b>(traces: &'b [Trace<'a>]) -> Vec<&'b Trace<'a>> {
    let most = if traces.len() <= MOST_LINES { usize::MAX } else { MOST_LINES };
    let mut kinds: Vec<(&str, Vec<&Trace>)> = Vec::new();
    let mut place: HashMap<&str, usize> = HashMap::new();
    for trace in traces {
        let at = *place.entry(trace.outcome).or_insert(kinds.len());
        if at == kinds.len() {
            kinds.push((trace.outcome, Vec::new()));
        }
        kinds[at].1.push(trace);
    }
    kinds.sort_by_key(|(outcome, _)| *outcome != "settled");
    let share = most / kinds.len().max(1);
    let mut chosen = Vec::new();
    for (_, moves) in kinds {
        let step = moves.len().div_ceil(share.max(1)).max(1);
        let slowest = moves.iter().copied().reduce(|a, b| if slower(b, a) { b } else { a });
        chosen.extend(moves.iter().copied().step_by(step));
        chosen.extend(slowest.filter(|slowest| !chosen.iter().any(|one| std::ptr::eq(*one, *slowest))));
    }
    chosen
}

/// A step between points so many times the usual one is a gap. Thinned samples have steps of up to about
/// four times their median, and jitter of the clock stays far below.
const GAP: f64 = 12.0;

/// `points`, in order of time, split where samples are missing.
pub(super) fn runs(points: &[(f64, f64)]) -> Vec<&[(f64, f64)]> {
    let mut steps: Vec<f64> = points.windows(2).map(|pair| pair[1].0 - pair[0].0).collect();
    steps.sort_by(f64::total_cmp);
    let longest = steps.get(steps.len() / 2).map_or(f64::INFINITY, |usual| GAP * usual);
    points.chunk_by(|a, b| !(longest > 0.0 && b.0 - a.0 > longest)).collect()
}

fn slower(a: &Trace, b: &Trace) -> bool {
    a.settling_s.unwrap_or(0.0) > b.settling_s.unwrap_or(0.0)
}

/// Smallest and largest |error| of all traces in each column that any of them reaches.
pub(super) fn range(traces: &[Trace], end: f64, columns: usize) -> (Line, Line) {
    let mut reach = vec![(f64::INFINITY, 0.0f64); columns + 1];
    for (t, error) in traces.iter().flat_map(|trace| &trace.points) {
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
    use crate::plot::decimate::Keeper;

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
            let mut keeper = Keeper::new(256);
            // Runs of equal values put both extremes of a pair at its beginning.
            (0..length).for_each(|i| keeper.take(f64::from(i), f64::from(i / 300).sin()));
            assert_eq!(runs(&keeper.points()).len(), 1, "{length}");
        }
    }
}
