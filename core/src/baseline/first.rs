//! In: the first 32 values of a kind. Out: their range and middle, around which the distribution is laid out.

/// Number of first values.
pub(crate) const FIRST: usize = 32;

/// Value of a move for the drift detector.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Evidence {
    /// A settling time, or another value for which smaller is better. Unit: ticks, or that of the value
    Value(u32),
    /// The move did not settle: worse than any value.
    Unsettled,
}

impl Evidence {
    /// The value with an explained factor divided out.
    pub fn without(self, factor: f32) -> Evidence {
        match self {
            Evidence::Value(value) => Evidence::Value((value as f32 / factor) as u32),
            Evidence::Unsettled => Evidence::Unsettled,
        }
    }

    fn from_height(height: u32) -> Evidence {
        if height == u32::MAX { Evidence::Unsettled } else { Evidence::Value(height) }
    }

    fn height(self) -> u32 {
        match self {
            Evidence::Value(value) => value.min(FURTHEST),
            Evidence::Unsettled => u32::MAX,
        }
    }
}

/// Larger values count as this one; distances between values then fit 32 bits.
const FURTHEST: u32 = 1 << 30;

/// The first values, in order of size; `u32::MAX` stands for unsettled.
#[derive(Clone, Copy, Debug, Default)]
pub(crate) struct First {
    heights: [u32; FIRST],
    count: u8,
}

impl First {
    /// Adds a value; returns whether all are present.
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

    /// The values.
    pub(crate) fn values(&self) -> impl Iterator<Item = Evidence> {
        self.heights.into_iter().map(Evidence::from_height)
    }

    /// The second smallest and the second largest settled value; `None` if half of the values are unsettled. Unit: that
    /// of the values
    pub(crate) fn range(&self) -> Option<(u32, u32)> {
        let settled = self.heights.iter().filter(|height| **height < u32::MAX).count();
        let upper = self.heights.get(settled.checked_sub(2)?)?;
        (settled > FIRST / 2).then_some((self.heights[1], *upper))
    }

    /// Mean of the settled values. Unit: that of the values
    pub(crate) fn mean(&self) -> f32 {
        let settled = self.heights.iter().filter(|height| **height < u32::MAX);
        let (count, sum) = settled.fold((0, 0.0), |(count, sum), height| (count + 1, sum + *height as f32));
        sum / (count as f32).max(1.0)
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[track_caller]
    fn check(values: impl Fn(u32) -> Evidence, range: Option<(u32, u32)>, mean: f32) {
        let mut first = First::default();
        let full = (0..FIRST as u32).map(|k| first.step(values(k * 7 % 32))).last();
        assert_eq!((full, first.range(), first.mean()), (Some(true), range, mean));
    }

    #[test]
    fn the_range_leaves_an_outlier_out_on_either_side() {
        check(|k| Evidence::Value(1000 + 10 * k), Some((1010, 1300)), 1155.0);
        check(|k| Evidence::Value(if k == 3 { 0 } else { 1000 }), Some((1000, 1000)), 968.75);
        check(|k| if k < 15 { Evidence::Unsettled } else { Evidence::Value(k) }, Some((16, 30)), 23.0);
        check(|k| if k < 16 { Evidence::Unsettled } else { Evidence::Value(k) }, None, 23.5);
        check(|_| Evidence::Value(0), Some((0, 0)), 0.0);
    }
}
