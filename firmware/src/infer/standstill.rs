//! In: feedback. Out: how long it has stood still within a band, and its mean there.

/// A time in which feedback stays within a band.
#[derive(Clone, Copy, Debug, Default)]
pub(super) struct Standstill {
    low: i32,
    high: i32,
    /// Unit: samples
    held: u32,
    /// Samples in the sum.
    summed: u32,
    /// Reference of the sum. Unit: counts
    anchor: i32,
    sum: i64,
}

impl Standstill {
    /// Adds a sample; one outside the band of ± `still` begins a new standstill. Returns its length so far.
    /// Unit: counts, samples
    ///
    /// The sum restarts after each half of `rest`.
    pub(super) fn step(&mut self, still: u32, rest: u32, feedback: i32) -> u32 {
        if feedback.wrapping_sub(self.low) < 0 {
            self.low = feedback;
        }
        if self.high.wrapping_sub(feedback) < 0 {
            self.high = feedback;
        }
        if self.high.wrapping_sub(self.low).unsigned_abs() > still.saturating_mul(2) {
            *self = Standstill { low: feedback, high: feedback, anchor: feedback, ..Standstill::default() };
        }
        if self.is_half(rest) {
            (self.summed, self.sum) = (0, 0);
        }
        self.held = self.held.saturating_add(1);
        self.summed = self.summed.saturating_add(1);
        self.sum = self.sum.saturating_add(i64::from(feedback.wrapping_sub(self.anchor)));
        self.held
    }

    /// Whether half a rest has just been summed.
    pub(super) fn is_half(&self, rest: u32) -> bool {
        self.summed == rest / 2
    }

    /// Mean of the samples since the sum restarted. Unit: counts
    pub(super) fn mean(&self) -> i32 {
        let count = i64::from(self.summed.max(1));
        self.anchor.wrapping_add((self.sum + count / 2).div_euclid(count) as i32)
    }
}
