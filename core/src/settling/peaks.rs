//! In: feedback and error from a move's start on. Out: how far it went, how fast, how wrong.

/// Samples over which a speed is taken: one count of an encoder is then an eighth of it.
const BLOCK: u32 = 8;

/// A distance and the time it took.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
pub struct Speed {
    /// Unit: counts
    pub distance: u32,
    /// Unit: ticks
    pub time: u32,
}

impl Speed {
    fn faster(self, other: Speed) -> bool {
        u64::from(self.distance) * u64::from(other.time.max(1))
            > u64::from(other.distance) * u64::from(self.time.max(1))
    }
}

/// Where a block of samples began, and how long ago.
#[derive(Clone, Copy, Debug, Default)]
struct Mark {
    feedback: i32,
    error: i32,
    age: u32,
}

/// Extremes since the start of a move.
#[derive(Clone, Debug, Default)]
pub struct Peaks {
    origin: i32,
    high: i32,
    low: i32,
    error: u32,
    count: u32,
    age: u32,
    mark: Mark,
    older: Mark,
    fastest: Speed,
}

impl Peaks {
    /// A move starts: this was read just before it.
    #[cold]
    pub fn restart(&mut self, feedback: i32, error: i32) {
        let mark = Mark { feedback, error, age: 0 };
        *self =
            Peaks { origin: feedback, error: error.unsigned_abs(), mark, older: mark, ..Peaks::default() };
    }

    /// Adds one sample.
    #[inline]
    pub fn step(&mut self, feedback: i32, error: i32, elapsed: u32) {
        let away = feedback.wrapping_sub(self.origin);
        self.high = self.high.max(away);
        self.low = self.low.min(away);
        self.error = self.error.max(error.unsigned_abs());
        self.age = self.age.saturating_add(elapsed);
        self.count += 1;
        if self.count == BLOCK {
            self.roll(feedback, error);
        }
    }

    fn roll(&mut self, feedback: i32, error: i32) {
        let distance = feedback.wrapping_sub(self.mark.feedback).unsigned_abs();
        let speed = Speed { distance, time: self.age };
        if speed.faster(self.fastest) {
            self.fastest = speed;
        }
        self.older = Mark { age: self.age, ..self.mark };
        self.mark = Mark { feedback, error, age: 0 };
        self.age = 0;
        self.count = 0;
    }

    /// Change of the error over the last eight to sixteen samples. Unit: counts, ticks
    pub fn secant(&self, error: i32) -> (u32, u32) {
        (error.wrapping_sub(self.older.error).unsigned_abs(), self.older.age.saturating_add(self.age))
    }

    /// Largest |error|. Unit: counts
    pub fn error(&self) -> u32 {
        self.error
    }

    /// Fastest feedback over eight samples.
    pub fn fastest(&self) -> Speed {
        self.fastest
    }

    /// Largest excursion beyond the target in the direction of travel. Unit: counts
    ///
    /// `target` is the feedback that would leave no error.
    pub fn overshoot(&self, target: i32, travel: i32) -> u32 {
        let target = target.wrapping_sub(self.origin);
        let beyond = if travel >= 0 {
            i64::from(self.high) - i64::from(target)
        } else {
            i64::from(target) - i64::from(self.low)
        };
        beyond.clamp(0, i64::from(u32::MAX)) as u32
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[track_caller]
    fn check(origin: i32, feedback: &[i32], target: i32, overshoot: u32, fastest: Speed) {
        let mut peaks = Peaks::default();
        peaks.restart(origin, target.wrapping_sub(origin));
        for &feedback in feedback {
            peaks.step(feedback, target.wrapping_sub(feedback), 10);
        }
        assert_eq!(peaks.overshoot(target, target.wrapping_sub(origin)), overshoot);
        assert_eq!(peaks.fastest(), fastest);
        assert_eq!(peaks.error(), target.wrapping_sub(origin).unsigned_abs());
    }

    #[test]
    fn overshoot_lies_beyond_the_target_on_either_side_and_across_the_wrap() {
        let none = Speed::default();
        check(0, &[50, 103, 99, 100], 100, 3, none);
        check(0, &[50, 90], 100, 0, none);
        check(0, &[-50, -103, -99], -100, 3, none);
        check(i32::MAX - 10, &[i32::MIN + 80, i32::MIN + 95], i32::MIN + 89, 6, none);
    }

    #[test]
    fn speed_is_the_fastest_of_whole_blocks() {
        let ramp: std::vec::Vec<i32> = (1..=20).map(|k| if k <= 8 { k } else { 8 + (k - 8) * 3 }).collect();
        check(0, &ramp, 1000, 0, Speed { distance: 24, time: 80 });
    }
}
