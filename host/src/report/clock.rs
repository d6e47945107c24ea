//! In: where the recording's clock stands at some readings. Out: any instant on the recording's own clock.

/// How many restarts of the clock are remembered; a move spans one at most before it is untrusted.
const MARKS: usize = 8;

/// Ties the core's ticks to the recording's own clock.
#[derive(Clone, Debug)]
pub struct Clock {
    ticks_per_second: f64,
    /// Ticks since the first reading, and the second they stand for; oldest first.
    marks: Vec<(u64, f64)>,
}

impl Clock {
    /// A clock that reads `origin_s` at the first reading.
    pub fn new(ticks_per_second: u32, origin_s: f64) -> Clock {
        Clock { ticks_per_second: f64::from(ticks_per_second), marks: vec![(0, origin_s)] }
    }

    /// From `now` on, the recording's clock reads `second`. Unit: ticks since the first reading, s
    pub fn set(&mut self, now: u64, second: f64) {
        if self.marks.len() == MARKS {
            self.marks.remove(0);
        }
        self.marks.push((now, second));
    }

    /// The recording's clock at `now`. Unit: s
    pub fn second(&self, now: u64) -> f64 {
        let mark = self.marks.iter().rev().find(|mark| mark.0 <= now).or(self.marks.first());
        let second = mark.map_or(0.0, |mark| mark.1 + (now as f64 - mark.0 as f64) / self.ticks_per_second);
        // No clock is read to better than a nanosecond; more digits would only be noise.
        (second * 1e9).round() / 1e9
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn the_last_mark_before_an_instant_counts() {
        let mut clock = Clock::new(1000, -0.5);
        assert_eq!(clock.second(1500), 1.0);
        clock.set(2000, 40.0);
        assert_eq!((clock.second(1999), clock.second(2500)), (1.499, 40.5));
        (0..20).for_each(|k| clock.set(3000 + k, 0.0));
        assert_eq!(clock.second(3019), 0.0);
    }
}
