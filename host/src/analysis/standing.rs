//! In: the changes of a series, in order. Out: those that stand, and the stretches of those that were undone.

use std::ops::Range;

/// A later level undoes a change if it goes back by more than this share of it.
const UNDONE: f64 = 0.5;
/// What is left of a change that was undone stands only if it is more than this share of the level before: a tenth, as in
/// the headline.
const SMALLEST: f64 = 0.1;

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

/// Which changes are left of a series.
#[derive(Clone, Debug, Default, PartialEq)]
pub struct Standing {
    /// The changes that no later one has undone; the first says since when the series is not what it was.
    pub changes: Vec<Change>,
    /// Stretches between a change and what undid it. Unit: s
    pub excursions: Vec<Range<f64>>,
}

/// Sorts out the changes of a series, whose levels are finite. A change that goes back over earlier ones removes them;
/// then it is one from where they began, and stands only if it is still large enough.
pub fn standing(changes: &[Change]) -> Standing {
    let mut left = Standing::default();
    for change in changes {
        let mut from = *change;
        while let Some(last) = left.changes.pop_if(|last| undoes(change.after_s, last)) {
            left.excursions.push(last.time_s..change.time_s);
            from = Change { time_s: change.time_s, before_s: last.before_s, after_s: change.after_s };
        }
        let is_rest = from.before_s != change.before_s;
        let is_small = (from.after_s - from.before_s).abs() <= SMALLEST * from.before_s.abs();
        left.changes.extend(Some(from).filter(|_| !(is_rest && is_small)));
    }
    left
}

/// Whether a level lies back over more than half of an earlier change.
fn undoes(level: f64, change: &Change) -> bool {
    let step = change.after_s - change.before_s;
    (change.after_s - level) * step.signum() > UNDONE * step.abs()
}

#[cfg(test)]
mod tests {
    use super::*;

    /// What is left of the changes of a series of levels, one each second.
    fn of(levels: &[f64]) -> Standing {
        let change = |(at, pair): (usize, &[f64])| Change {
            time_s: at as f64 + 1.0,
            before_s: pair[0],
            after_s: pair[1],
        };
        let changes: Vec<Change> = levels.windows(2).enumerate().map(change).collect();
        standing(&changes)
    }

    /// Times of the standing changes.
    fn check(levels: &[f64], expected: &[f64]) {
        let found: Vec<f64> = of(levels).changes.iter().map(|change| change.time_s).collect();
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
        check(&[20.0, 40.0, 28.0], &[2.0]);
        check(&[40.0, 20.0, 40.0, 60.0], &[3.0]);
    }

    #[test]
    fn excursions_are_the_stretches_between() {
        assert_eq!(of(&[20.0, 40.0, 20.0, 40.0]).excursions, [1.0..2.0]);
        assert_eq!(of(&[20.0, 30.0, 40.0, 20.0]).excursions, [2.0..3.0, 1.0..3.0]);
        assert_eq!(of(&[20.0, 40.0]).excursions, []);
    }
}
