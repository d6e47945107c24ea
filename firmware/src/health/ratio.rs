//! In: travels of command and feedback. Out: the interval that holds their ratio, and its simplest fraction.

/// Moves that must agree before a ratio is known: one may slip, two may slip alike.
const AGREEING: u8 = 3;

/// A non-negative ratio, numerator and denominator.
pub(super) type Part = (u32, u32);

/// Feedback counts per command count, without sign.
///
/// Each move gives an interval; the ratio lies in the intersection of those of all moves that agree.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(super) struct Ratio {
    low: Part,
    high: Part,
    moves: u8,
}

impl Default for Ratio {
    fn default() -> Ratio {
        Ratio { low: (0, 1), high: (1, 0), moves: 0 }
    }
}

impl Ratio {
    /// Adds a move; `tolerance` is the largest error of both travels. Unit: command counts, feedback counts
    ///
    /// A move that contradicts the moves before starts anew.
    pub(super) fn step(&mut self, travels: (u32, u32), tolerance: (u32, u32)) {
        let low = (travels.1.saturating_sub(tolerance.1), travels.0.saturating_add(tolerance.0));
        let high = (travels.1.saturating_add(tolerance.1), travels.0.saturating_sub(tolerance.0));
        let narrow = Ratio {
            low: if less(self.low, low) { low } else { self.low },
            high: if less(high, self.high) { high } else { self.high },
            moves: self.moves.saturating_add(1),
        };
        *self = if less(narrow.high, narrow.low) { Ratio { low, high, moves: 1 } } else { narrow };
    }

    /// Enough moves agree.
    pub(super) fn is_known(&self) -> bool {
        self.moves >= AGREEING
    }

    /// Whether the ratio certainly differs from `other` by more than one part in `part`.
    pub(super) fn differs(&self, other: Part, part: u32) -> bool {
        let beyond = |small: Part, large: Part| {
            // large > small × (part + 1) / part
            let product = |upper: u32, lower: u32| u128::from(upper) * u128::from(lower);
            product(large.0, small.1) * u128::from(part) > product(small.0, large.1) * (u128::from(part) + 1)
        };
        beyond(other, self.low) || beyond(self.high, other)
    }

    /// The fraction with the smallest numerator and denominator in the interval; `None` until enough moves agree.
    ///
    /// Both ends of the interval are expanded as continued fractions up to their first different term: the path down
    /// the Stern–Brocot tree to the first fraction between them.
    pub(super) fn simplest(&self) -> Option<Part> {
        if !self.is_known() {
            return None;
        }
        let [mut low, mut high] =
            [self.low, self.high].map(|(upper, lower)| (u64::from(upper), u64::from(lower)));
        let (mut last, mut before) = ((1_u64, 0_u64), (0_u64, 1_u64));
        // 32-bit parts end after at most 46 terms, the Fibonacci numbers being the longest.
        for _ in 0..48 {
            let whole = low.0.checked_div(low.1)?;
            let exact = whole * low.1 == low.0;
            let apart = high.0.checked_div(high.1).is_none_or(|above| above > whole);
            let term = if exact {
                whole
            } else if apart {
                whole + 1
            } else {
                whole
            };
            let next = |last: u64, before: u64| term.checked_mul(last)?.checked_add(before);
            (last, before) = ((next(last.0, before.0)?, next(last.1, before.1)?), last);
            if exact || apart {
                let found = (u32::try_from(last.0).ok()?, u32::try_from(last.1).ok()?);
                return (found.0 > 0).then_some(found);
            }
            let rest = |(upper, lower): (u64, u64)| (lower, upper - whole * lower);
            (low, high) = (rest(high), rest(low));
        }
        None
    }
}

/// `a < b`; a denominator of zero is infinite.
fn less(a: Part, b: Part) -> bool {
    u64::from(a.0) * u64::from(b.1) < u64::from(b.0) * u64::from(a.1)
}

#[cfg(test)]
mod tests {
    use super::*;

    #[track_caller]
    fn check(travels: &[(u32, u32)], tolerance: (u32, u32), expected: Option<Part>) {
        let mut ratio = Ratio::default();
        travels.iter().for_each(|&travels| ratio.step(travels, tolerance));
        assert_eq!(ratio.simplest(), expected);
    }

    #[test]
    fn three_moves_that_agree_give_the_simplest_fraction() {
        check(&[(1000, 1000); 3], (0, 4), Some((1, 1)));
        check(&[(1000, 1000); 2], (0, 4), None);
        check(&[(10_000, 16_668), (10_000, 16_665), (30_000, 50_003)], (0, 4), Some((5, 3)));
        check(&[(3_600_000, 3_650_001), (36_000, 36_499), (7_200_000, 7_300_000)], (0, 8), Some((73, 72)));
        check(&[(10_000, 3), (20_000, 5), (30_000, 8)], (0, 1), Some((1, 3_334)));
        check(&[(u32::MAX, u32::MAX - 1); 3], (0, 0), Some((u32::MAX - 1, u32::MAX)));
        check(&[(1_134_903_170, 1_836_311_903); 3], (0, 0), Some((1_836_311_903, 1_134_903_170)));
        check(&[(0, 5); 3], (9, 9), None);
    }

    #[test]
    fn a_move_that_contradicts_starts_anew() {
        check(&[(1000, 1000), (1000, 1000), (1000, 900)], (0, 4), None);
        check(&[(1000, 900), (1000, 1000), (1000, 1001), (2000, 1999)], (0, 4), Some((1, 1)));
    }

    #[test]
    fn a_difference_needs_the_whole_interval() {
        let mut ratio = Ratio::default();
        (0..3).for_each(|_| ratio.step((1000, 1030), (0, 4)));
        assert!(ratio.differs((1, 1), 64) && !ratio.differs((1, 1), 32) && !ratio.differs((1026, 1000), 64));
        assert!(ratio.differs((2, 1), 64) && !ratio.differs((103, 100), 1000));
    }
}
