//! In: time stamps that wrap. Out: time since the first reading, which does not.

/// The instant of the last reading, by the time stamps and since the first reading.
#[derive(Clone, Copy, Debug, Default)]
pub(super) struct Clock {
    tick: Option<u32>,
    now: u64,
}

impl Clock {
    /// Advances to the time stamp of a reading. Unit: ticks, wrapping
    ///
    /// A time stamp that stands still or goes back adds no time; the core marks its reading as faulty.
    pub(super) fn advance(&mut self, tick: u32) {
        let elapsed = self.tick.replace(tick).map_or(0, |last| tick.wrapping_sub(last));
        if elapsed <= u32::MAX / 2 {
            self.now += u64::from(elapsed);
        }
    }

    /// Time since the first reading. Unit: ticks
    pub(super) fn now(&self) -> u64 {
        self.now
    }

    /// Instant of a reading taken at `tick`, now or before. Unit: ticks since the first reading
    pub(super) fn instant(&self, tick: u32) -> u64 {
        let age = self.tick.unwrap_or(0).wrapping_sub(tick);
        self.now.saturating_sub(u64::from(age))
    }

    /// Time since the first reading. Unit: µs, from ticks/s
    pub(super) fn microseconds(&self, ticks_per_second: u32) -> i64 {
        let rate = u64::from(ticks_per_second.max(1));
        let whole = (self.now / rate).saturating_mul(1_000_000);
        i64::try_from(whole.saturating_add(self.now % rate * 1_000_000 / rate)).unwrap_or(i64::MAX)
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn time_passes_over_the_end_of_the_ticks_and_never_back() {
        let mut clock = Clock::default();
        for (tick, now) in [(u32::MAX - 9, 0), (10, 20), (10, 20), (5, 20), (105, 120)] {
            clock.advance(tick);
            assert_eq!(clock.now(), now, "{tick}");
        }
        assert_eq!((clock.instant(105), clock.instant(55), clock.instant(5)), (120, 70, 20));
        assert_eq!((clock.microseconds(1_000_000), clock.microseconds(0)), (120, 120_000_000));
    }
}
