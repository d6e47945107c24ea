//! In: numbers of frames of moves, start by start. Out: whether each is new, and which were all heard; in bounded memory.

use std::collections::{BTreeMap, VecDeque};

/// Starts that are remembered; then the one that was heard first is forgotten.
const MOST_STARTS: usize = 64;

/// Ranges of a start that are remembered; then the lowest hole counts as heard. A line that loses every other frame of a
/// shift has fewer.
const MOST_RANGES: usize = 4096;

/// The numbers that were heard.
#[derive(Debug, Default)]
pub(super) struct HeardNumbers {
    /// By start: first and last number of each range, both inclusive.
    starts: BTreeMap<u32, BTreeMap<u32, u32>>,
    /// The starts, in the order in which they were first heard.
    order: VecDeque<u32>,
}

impl HeardNumbers {
    /// Notes a number; false if it was heard before.
    pub(super) fn insert(&mut self, boot: u32, number: u32) -> bool {
        if !self.starts.contains_key(&boot) {
            self.order.push_back(boot);
            if self.order.len() > MOST_STARTS
                && let Some(first) = self.order.pop_front()
            {
                self.starts.remove(&first);
            }
        }
        let ranges = self.starts.entry(boot).or_default();
        let below = ranges.range(..=number).next_back().map(|(first, last)| (*first, *last));
        if below.is_some_and(|(_, last)| last >= number) {
            return false;
        }
        let above = number.checked_add(1).and_then(|next| ranges.remove(&next));
        let touches = |last: u32| last.checked_add(1) == Some(number);
        let first = below.filter(|(_, last)| touches(*last)).map_or(number, |(first, _)| first);
        ranges.insert(first, above.unwrap_or(number));
        if ranges.len() > MOST_RANGES
            && let (Some((first, _)), Some((_, last))) = (ranges.pop_first(), ranges.pop_first())
        {
            ranges.insert(first, last);
        }
        true
    }

    /// Whether all numbers from one to another were heard, both inclusive.
    pub(super) fn has_all(&self, boot: u32, from: u32, to: u32) -> bool {
        let ranges = self.starts.get(&boot);
        let range = ranges.and_then(|ranges| ranges.range(..=from).next_back());
        range.is_some_and(|(_, last)| *last >= to)
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use std::collections::BTreeSet;

    #[test]
    fn each_number_is_new_once_and_ranges_are_whole() {
        let (mut heard, mut twin, mut chance) = (HeardNumbers::default(), BTreeSet::new(), 1_u32);
        for _ in 0..5000 {
            chance = chance.wrapping_mul(1_664_525).wrapping_add(1_013_904_223);
            let (boot, number) = (chance >> 31, (chance >> 8) % 3000);
            assert_eq!(heard.insert(boot, number), twin.insert((boot, number)));
            let to = number + (chance >> 3) % 8;
            let all = (number..=to).all(|one| twin.contains(&(boot, one)));
            assert_eq!(heard.has_all(boot, number, to), all, "{boot}: {number} to {to}");
        }
        assert!(heard.insert(0, u32::MAX) && !heard.insert(0, u32::MAX) && heard.insert(0, u32::MAX - 1));
    }

    #[test]
    fn memory_is_bounded_whatever_comes() {
        let mut heard = HeardNumbers::default();
        (0..10_000).for_each(|number| assert!(heard.insert(1, 2 * number)));
        assert_eq!(heard.starts[&1].len(), MOST_RANGES);
        // The latest are still known apart.
        assert!(!heard.insert(1, 19_998) && heard.insert(1, 19_997));
        (0..10_000).for_each(|boot| assert!(heard.insert(100 + boot, 0)));
        assert_eq!((heard.starts.len(), heard.order.len()), (MOST_STARTS, MOST_STARTS));
    }
}
