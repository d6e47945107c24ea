//! In: the changes of a series, in order. Out: those that stand.

/// A later level undoes a change if it goes back by more than this share of it.
const UNDONE: f64 = 0.5;

/// A change of level or slope in hot running.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Change {
    /// Start of the first interval after it. Unit: s
    pub time_s: f64,
    /// Statistic of the segment before it; +∞: not settled. Unit: s
    pub before_s: f64,
    /// Statistic of the segment after it; +∞: not settled. Unit: s
    pub after_s: f64,
}

/// The changes that no later one has undone, with finite levels; the first of them says since when the series is not
/// what it was. A change that goes back over earlier ones removes them, and stands only if it goes beyond where they
/// began by more than half of them.
pub fn standing(changes: &[Change]) -> Vec<Change> {
    let mut standing: Vec<Change> = Vec::new();
    for change in changes {
        let mut from = *change;
        while let Some(last) = standing.pop_if(|last| undoes(change.after_s, last)) {
            from = Change { time_s: change.time_s, before_s: last.before_s, after_s: change.after_s };
            if (from.after_s - from.before_s).abs() <= UNDONE * (last.after_s - last.before_s).abs() {
                from.after_s = from.before_s;
            }
        }
        standing.extend(Some(from).filter(|from| from.after_s != from.before_s));
    }
    standing
}

/// Whether a level lies back over more than half of an earlier change.
fn undoes(level: f64, change: &Change) -> bool {
    let step = change.after_s - change.before_s;
    (change.after_s - level) * step.signum() > UNDONE * step.abs()
}

#[cfg(test)]
mod tests {
    use super::*;

    /// Times of the standing changes of a series of levels, one each second.
    fn check(levels: &[f64], expected: &[f64]) {
        let change = |(at, pair): (usize, &[f64])| Change {
            time_s: at as f64 + 1.0,
            before_s: pair[0],
            after_s: pair[1],
        };
        let changes: Vec<Change> = levels.windows(2).enumerate().map(change).collect();
        let found: Vec<f64> = standing(&changes).iter().map(|change| change.time_s).collect();
        assert_eq!(found, expected, "{levels:?}");
    }

    #[test]
    fn what_was_undone_does_not_stand() {
        check(&[20.0], &[]);
        check(&[20.0, 40.0], &[1.0]);
        check(&[20.0, 30.0, 40.0], &[1.0, 2.0]);
        check(&[20.0, 40.0, 20.0], &[]);
        check(&[20.0, 40.0, 21.0, 40.0], &[3.0]);
        check(&[20.0, 30.0, 40.0, 20.0], &[]);
        check(&[20.0, 30.0, 40.0, 32.0], &[1.0]);
        check(&[20.0, 40.0, 35.0], &[1.0, 2.0]);
        check(&[20.0, 40.0, 5.0], &[2.0]);
        check(&[40.0, 20.0, 40.0, 60.0], &[3.0]);
    }
}
