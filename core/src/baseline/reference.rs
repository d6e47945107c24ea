//! In: the first values of a kind. Out: a scale on which every later value has a bounded score.
//!
//! The scale is rough on purpose: it only says where "far away" begins. What the scores of good moves
//! look like is learnt on from them, so an error of the scale costs sharpness and never a false alarm.

/// Values from which a scale is made.
pub(super) const FIRST: usize = 20;
/// One unit of the scale as a score.
pub(crate) const UNIT: i32 = 256;
/// Largest score: 2.5 units. One wild move counts as that and no more.
pub(super) const FURTHEST: i32 = 640;
/// Score of a move that never settled. Eight of them with one such among them are no alarm, with three they are soon.
pub(super) const UNSETTLED: i32 = 1280;

/// Range between the quartiles of a normal distribution. Unit: standard deviations
const QUARTILES: f32 = 1.349;

/// What a move tells of its kind.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Evidence {
    /// A time, or any other value that is better when small. Unit: ticks, or that of the value
    Value(u32),
    /// It never settled: worse than any value.
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

/// The first values, in order of size.
#[derive(Clone, Copy, Debug, Default)]
pub(crate) struct First {
    heights: [u32; FIRST],
    count: u8,
}

impl First {
    /// Adds one; whether all are there.
    pub(crate) fn step(&mut self, evidence: Evidence) -> bool {
        let before = usize::from(self.count);
        let mut height = evidence.height();
        for other in self.heights.iter_mut().take(before) {
            if height < *other {
                core::mem::swap(&mut height, other);
            }
        }
        if let Some(place) = self.heights.get_mut(before) {
            *place = height;
            self.count += 1;
        }
        usize::from(self.count) == FIRST
    }

    /// All of them as scores.
    pub(crate) fn scores(&self, reference: &Reference) -> impl Iterator<Item = i32> {
        let reference = *reference;
        self.heights.into_iter().map(move |height| reference.score(Evidence::from_height(height)))
    }

    /// Middle of the first values; none if half of them are unsettled. Unit: that of the values
    pub(crate) fn median(&self) -> Option<u32> {
        let [below, above] = [self.heights[FIRST / 2 - 1], self.heights[FIRST / 2]];
        (above < u32::MAX).then(|| below / 2 + above / 2 + (below & above & 1))
    }

    /// A scale about `median`, on which no unit is smaller than `least`.
    pub(crate) fn reference(&self, median: u32, least: f32) -> Reference {
        let [lower, upper] = [self.heights[FIRST / 4], self.heights[FIRST - 1 - FIRST / 4]];
        // An unsettled quartile has no distance; the other half stands for both.
        let range =
            if upper < u32::MAX { upper - lower } else { (median - lower.min(median)).saturating_mul(2) };
        Reference { median, unit: (range as f32 / QUARTILES).max(least).max(1.0) }
    }
}

/// Middle and unit of the scale.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Reference {
    /// Score 0. Unit: that of the values
    pub median: u32,
    /// Score [`UNIT`] above it. Unit: that of the values
    pub unit: f32,
}

impl Reference {
    /// Distance from the median, at most [`FURTHEST`] either way; beyond that if unsettled.
    #[inline]
    pub fn score(&self, evidence: Evidence) -> i32 {
        let Evidence::Value(value) = evidence else { return UNSETTLED };
        let away = (i64::from(value) - i64::from(self.median)).clamp(-(1 << 30), 1 << 30) as i32;
        let score = away as f32 * UNIT as f32 / self.unit;
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
    fn the_scale_is_that_of_the_middle_half() {
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
