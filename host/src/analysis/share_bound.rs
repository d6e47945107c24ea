//! In: how many of some moves kept a limit. Out: which share of all such moves keeps it at least, with a confidence.
//!
//! The lower end of the interval of Clopper and Pearson (Biometrika 26, 1934), one-sided: the largest share for which as
//! many or more moves would keep the limit with a probability of no more than 1 − confidence. Exact for independent moves.
//! For a share of moves and their settling times it says the same as [`super::tolerance::upper_rank`].

use super::exact::at_least;

/// Of a probability, as in [`super::tolerance`].
const ROUNDING: f64 = 1e-12;
/// Moves beyond which nobody records more to show a share.
const MOST: usize = 10_000_000;

/// Whether `kept` of `count` moves show that a share of all such moves keeps the limit.
pub fn is_shown(kept: usize, count: usize, share: f64, confidence: f64) -> bool {
    count > 0 && at_least(kept as u64, count as u64, share) <= 1.0 - confidence + ROUNDING
}

/// The largest share that is shown; 0 where none is.
pub fn lower_bound(kept: usize, count: usize, confidence: f64) -> f64 {
    let (mut shown, mut not_shown) = (0.0, 1.0);
    // Each round halves the distance; 60 of them are beyond the digits of a number.
    for _ in 0..60 {
        let middle = (shown + not_shown) / 2.0;
        if is_shown(kept, count, middle, confidence) { shown = middle } else { not_shown = middle }
    }
    shown
}

/// Fewest moves, of which `broken` do not keep the limit, that show the share; `None` beyond ten million.
pub fn needed(broken: usize, share: f64, confidence: f64) -> Option<usize> {
    let shows = |count: usize| is_shown(count - broken, count, share, confidence);
    let mut enough = broken + 1;
    while !shows(enough) {
        enough = enough.saturating_mul(2);
        if enough > MOST {
            return None;
        }
    }
    let mut fewer = broken.max(enough / 2);
    while enough - fewer > 1 {
        let middle = (fewer + enough) / 2;
        if shows(middle) { enough = middle } else { fewer = middle }
    }
    Some(enough)
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::analysis::tolerance::{fewest, upper_rank};

    /// The slow twin: every number of moves from none on.
    #[test]
    fn the_numbers_needed_are_those_counted_one_by_one() {
        for share in [0.5, 0.9, 0.95, 0.99] {
            for broken in [0, 1, 2, 5] {
                let counted = (broken + 1..).find(|count| is_shown(count - broken, *count, share, 0.95));
                assert_eq!(needed(broken, share, 0.95), counted, "{broken} {share}");
            }
            assert_eq!(needed(0, share, 0.95), Some(fewest(share, 0.95)));
        }
        // Wilks' 299 stops without a failure; the others by scipy 1.17.1 `binom.cdf`.
        assert_eq!([0, 1, 2, 3].map(|broken| needed(broken, 0.99, 0.95)), [299, 473, 628, 773].map(Some));
        assert_eq!(needed(1_000_000, 0.999, 0.95), None);
    }

    /// `scipy.stats.beta.ppf(0.05, kept, count - kept + 1)` of scipy 1.17.1; with none broken 0.05^(1/count).
    #[test]
    fn bounds_are_those_of_clopper_and_pearson() {
        for (kept, count, expected) in
            [(299, 299, 0.05_f64.powf(1.0 / 299.0)), (1, 1, 0.05), (28, 30, 0.804_673_956), (0, 10, 0.0)]
        {
            let found = lower_bound(kept, count, 0.95);
            assert!((found - expected).abs() < 1e-6, "{kept} of {count}: {found}");
        }
        assert_eq!(lower_bound(0, 0, 0.95), 0.0);
    }

    /// A limit is kept by the share exactly where the settling time of the tolerance limit is within it.
    #[test]
    fn it_agrees_with_the_tolerance_limit_and_its_own_bound() {
        for count in 1..400 {
            for broken in [0, 1, 3, 20].into_iter().filter(|broken| *broken <= count) {
                for share in [0.9, 0.99] {
                    let shown = is_shown(count - broken, count, share, 0.95);
                    let ranked = upper_rank(count, share, 0.95).is_some_and(|rank| rank <= count - broken);
                    assert_eq!(shown, ranked, "{broken} of {count}, {share}");
                    assert_eq!(
                        shown,
                        lower_bound(count - broken, count, 0.95) >= share,
                        "{broken} of {count}"
                    );
                }
            }
        }
    }
}
