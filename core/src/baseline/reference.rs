//! In: the first 20 values of a kind. Out: median and unit, which give every later value a bounded score.
//!
//! Median and unit are rough. Mean and scatter of the scores of good moves are estimated from many more moves, so an
//! error of the unit costs sensitivity and never a false alarm.

/// Number of first values, which give median and unit.
pub(super) const FIRST: usize = 20;
/// Score of a value one unit above the median.
pub(crate) const UNIT: i32 = 256;
/// Largest score: 2.5 units, so that one outlier has a bounded effect.
pub(super) const FURTHEST: i32 = 640;
/// Score of an unsettled move. One unsettled move in a subgroup of eight raises no alarm; three soon do.
pub(super) const UNSETTLED: i32 = 1280;

/// Interquartile range of a normal distribution. Unit: standard deviations
const QUARTILES: f32 = 1.349;

/// Value of a move for the drift detector.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Evidence {
    /// A settling time, or another value for which smaller is better. Unit: ticks, or that of the value
    Value(u32),
    /// The move did not settle: worse than any value.
    Unsettled,
}

impl Evidence {
    fn from_height(height: u32) -> Evidence {
        if height == u32::MAX { Evidence::Unsettled } else { Evidence::Value(height) }
    }

    fn height(self) -> u32 {
        match self {
            Evidence::Value(value) => value.min(u32::MAX - 1),
            Evidence::Unsettled => u32::MAX,
        }
    }
}

/// The first values, in order of size; `u32::MAX` stands for unsettled.
#[derive(Clone, Copy, Debug, Default)]
pub(crate) struct First {
    heights: [u32; FIRST],
    count: u8,
}

impl First {
    /// Adds a value; returns whether all 20 are present.
    pub(crate) fn step(&mut self, evidence: Evidence) -> bool {
        let before = usize::from(self.count);
        let mut height = evidence.height();
        for other in self.heights.iter_mut().take(before) {
            if height < *other {
                core::mem::swap(&mut height, other);
            }
        }
        if let Some(last) = self.heights.get_mut(before) {
            *last = height;
            self.count += 1;
        }
        usize::from(self.count) == FIRST
    }

    /// Scores of the first values.
    pub(crate) fn scores(&self, reference: &Reference) -> impl Iterator<Item = i32> {
        let reference = *reference;
        self.heights.into_iter().map(move |height| reference.score(Evidence::from_height(height)))
    }

    /// Median of the first values; `None` if half of them are unsettled. Unit: that of the values
    pub(crate) fn median(&self) -> Option<u32> {
        let [below, above] = [self.heights[FIRST / 2 - 1], self.heights[FIRST / 2]];
        (above < u32::MAX).then(|| below / 2 + above / 2 + (below & above & 1))
    }

    /// Median, and the unit from the quartiles, at least `least`. Unit of `least`: that of the values
    pub(crate) fn reference(&self, median: u32, least: f32) -> Reference {
        let [lower, upper] = [self.heights[FIRST / 4], self.heights[FIRST - 1 - FIRST / 4]];
        // If the upper quartile is unsettled, twice the lower half of the range replaces the whole.
        let range =
            if upper < u32::MAX { upper - lower } else { (median - lower.min(median)).saturating_mul(2) };
        Reference { median, unit: (range as f32 / QUARTILES).max(least).max(1.0) }
    }
}

/// Median and unit of the first values of a kind.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Reference {
    /// Value with score 0. Unit: that of the values
    pub median: u32,
    /// Distance above the median that has score 256. Unit: that of the values
    pub unit: f32,
}

impl Reference {
    /// Score of a value: its distance from the median in units, cut off at ±640 (2.5 units); 1280 if unsettled.
    pub fn score(&self, evidence: Evidence) -> i32 {
        let Evidence::Value(value) = evidence else { return UNSETTLED };
        let distance = (i64::from(value) - i64::from(self.median)).clamp(-(1 << 30), 1 << 30) as i32;
        let score = distance as f32 * UNIT as f32 / self.unit;
        score.clamp(-FURTHEST as f32, FURTHEST as f32) as i32
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn check(values: impl Fn(u32) -> Evidence, median: Option<u32>, unit: f32) {
        let mut first = First::default();
        let full = (0..FIRST as u32).map(|k| first.step(values(k * 7 % 20))).last();
        assert_eq!((full, first.median()), (Some(true), median));
        assert_eq!(median.map(|median| first.reference(median, 3.0).unit), median.map(|_| unit));
    }

    #[test]
    fn the_unit_comes_from_the_quartiles() {
        check(|k| Evidence::Value(1000 + 10 * k), Some(1095), 90.0 / QUARTILES);
        check(
            |k| Evidence::Value(if k == 3 { u32::MAX - 1 } else { 1000 + 10 * k }),
            Some(1105),
            90.0 / QUARTILES,
        );
        check(|k| if k < 9 { Evidence::Unsettled } else { Evidence::Value(k) }, Some(18), 8.0 / QUARTILES);
        check(|k| if k < 11 { Evidence::Unsettled } else { Evidence::Value(k) }, None, 0.0);
        check(|_| Evidence::Value(0), Some(0), 3.0);
    }

    #[test]
    fn scores_are_bounded() {
        let reference = Reference { median: 1000, unit: 100.0 };
        for (value, score) in [(1000, 0), (1100, 256), (950, -128), (0, -640), (u32::MAX, 640)] {
            assert_eq!(reference.score(Evidence::Value(value)), score, "{value}");
        }
        assert_eq!(reference.score(Evidence::Unsettled), UNSETTLED);
    }
}
