//! In: two samples; +∞ is a value that never came. Out: the differences of all their pairs, by rank.
//!
//! No list of pairs is made: a difference is found by bisection, which counts those below in O(m + n).

use super::quantile::sorted;
use super::theil_sen::{key, number};

/// Later minus earlier, where two values that never came are equal.
pub fn difference(after: f64, before: f64) -> f64 {
    if after == before { 0.0 } else { after - before }
}

/// All differences `after − before`.
#[derive(Clone, Debug)]
pub struct Differences {
    before: Vec<f64>,
    after: Vec<f64>,
}

impl Differences {
    /// `None` if a sample is empty, or a value is NaN or −∞.
    pub fn new(before: &[f64], after: &[f64]) -> Option<Differences> {
        let is_odd = |value: &f64| value.is_nan() || *value == f64::NEG_INFINITY;
        if before.is_empty() || after.is_empty() || before.iter().chain(after).any(is_odd) {
            return None;
        }
        Some(Differences { before: sorted(before), after: sorted(after) })
    }

    /// Numbers of values before and after.
    pub fn sizes(&self) -> (usize, usize) {
        (self.before.len(), self.after.len())
    }

    /// Number of pairs.
    pub fn count(&self) -> u64 {
        self.before.len() as u64 * self.after.len() as u64
    }

    /// The difference with this rank from 1, clamped to the ranks there are.
    pub fn ranked(&self, rank: u64) -> f64 {
        let rank = rank.clamp(1, self.count());
        first(|candidate| self.up_to(candidate) >= rank)
    }

    /// The median difference (Hodges–Lehmann); NaN where the two middle ones are −∞ and +∞.
    pub fn median(&self) -> f64 {
        let count = self.count();
        let (low, high) = (self.ranked(count.div_ceil(2)), self.ranked(count / 2 + 1));
        if low == high { low } else { low.midpoint(high) }
    }

    /// Pairs whose difference is at most `limit`.
    fn up_to(&self, limit: f64) -> u64 {
        self.up_to_of_before(limit).map(|count| count as u64).sum()
    }

    /// For each value before, in rising order: its pairs whose difference is at most `limit`.
    pub(super) fn up_to_of_before(&self, limit: f64) -> impl Iterator<Item = usize> + '_ {
        let mut count = 0;
        self.before.iter().map(move |before| {
            while self.after.get(count).is_some_and(|after| difference(*after, *before) <= limit) {
                count += 1;
            }
            count
        })
    }

    /// For each value after, in falling order: its pairs whose difference is at most `limit`.
    pub(super) fn up_to_of_after(&self, limit: f64) -> impl Iterator<Item = usize> + '_ {
        let mut above = self.before.len();
        self.after.iter().rev().map(move |after| {
            while above > 0 && difference(*after, self.before[above - 1]) <= limit {
                above -= 1;
            }
            self.before.len() - above
        })
    }

    /// The same samples in the other order.
    pub(super) fn reversed(&self) -> Differences {
        Differences { before: self.after.clone(), after: self.before.clone() }
    }
}

/// The smallest number, −∞ and +∞ included, from which on `holds` is true, if it is false below one number and true from
/// there on; +∞ if it is never true.
pub(super) fn first(holds: impl Fn(f64) -> bool) -> f64 {
    let (mut low, mut high) = (key(f64::NEG_INFINITY) - 1, key(f64::INFINITY));
    while high - low > 1 {
        let middle = low + (high - low) / 2;
        if holds(number(middle)) { high = middle } else { low = middle }
    }
    number(high)
}

#[cfg(test)]
mod tests {
    use super::*;
    use rand_pcg::Pcg32;
    use rand_pcg::rand_core::Rng;

    /// The slow twin: every pair.
    fn slow(before: &[f64], after: &[f64]) -> Vec<f64> {
        let pairs = before.iter().flat_map(|x| after.iter().map(|y| difference(*y, *x)));
        sorted(&pairs.collect::<Vec<f64>>())
    }

    /// Values on a grid with ties, zeros and some that never came.
    fn drawn(random: &mut Pcg32, count: usize) -> Vec<f64> {
        let mut one = || match random.next_u32() % 10 {
            0 => 0.0,
            1 => f64::INFINITY,
            _ => f64::from(random.next_u32() % 40) * 0.1,
        };
        (0..count).map(|_| one()).collect()
    }

    #[test]
    fn every_rank_is_that_of_the_listed_pairs() {
        let mut random = Pcg32::new(1, 1);
        for case in 0..60 {
            let before = drawn(&mut random, 1 + case % 11);
            let after = drawn(&mut random, 1 + case % 7);
            let (found, all) = (Differences::new(&before, &after).unwrap(), slow(&before, &after));
            assert_eq!(found.count(), all.len() as u64);
            for (at, expected) in all.iter().enumerate() {
                assert_eq!(found.ranked(at as u64 + 1), *expected, "{before:?} {after:?} {at}");
            }
        }
    }

    #[test]
    fn counts_are_those_of_the_listed_pairs() {
        let mut random = Pcg32::new(2, 2);
        for case in 0..60 {
            let before = sorted(&drawn(&mut random, 1 + case % 9));
            let after = sorted(&drawn(&mut random, 1 + case % 8));
            let found = Differences::new(&before, &after).unwrap();
            for limit in slow(&before, &after).into_iter().chain([0.05, -9.0, 9.0]) {
                let near = |x: &f64, y: &f64| usize::from(difference(*y, *x) <= limit);
                let of_before = before.iter().map(|x| after.iter().map(|y| near(x, y)).sum());
                let of_after = after.iter().rev().map(|y| before.iter().map(|x| near(x, y)).sum());
                let expected: (Vec<usize>, Vec<usize>) = (of_before.collect(), of_after.collect());
                let counts = (found.up_to_of_before(limit).collect(), found.up_to_of_after(limit).collect());
                assert_eq!(counts, expected, "{before:?} {after:?} {limit}");
            }
        }
    }

    #[test]
    fn what_never_came_is_later_than_any_number() {
        const NEVER: f64 = f64::INFINITY;
        let median = |before: &[f64], after: &[f64]| Differences::new(before, after).unwrap().median();
        assert_eq!(median(&[1.0], &[NEVER]), NEVER);
        assert_eq!(median(&[NEVER], &[1.0]), f64::NEG_INFINITY);
        assert_eq!(median(&[NEVER; 3], &[NEVER; 2]), 0.0);
        assert_eq!(median(&[1.0, 2.0], &[4.0, 4.0]), 2.5);
        assert!(median(&[1.0, NEVER], &[5.0]) == f64::NEG_INFINITY);
        assert!(median(&[1.0, NEVER], &[5.0, NEVER]) == 2.0);
        assert!(Differences::new(&[], &[1.0]).is_none() && Differences::new(&[f64::NAN], &[1.0]).is_none());
    }
}
