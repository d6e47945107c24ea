//! In: errors after the command end, and their turning points. Out: the share of the time for which feedback stands.
//!
//! A smooth swing spends a third of its time in the middle half of its range; what stands and jumps spends next to none
//! there. So no speed has to be compared with any threshold, and neither noise nor encoder steps matter.

/// Samples between turning points.
#[derive(Clone, Copy, Debug, Default)]
pub(crate) struct Standing {
    /// The last turning point. Unit: counts
    extreme: i32,
    /// The middle half of the last swing: its least error, and its width, 0 before the first. Unit: counts
    least: i32,
    width: u32,
    /// Samples since the first swing ended, and those of them in the middle half.
    samples: u32,
    crossing: u32,
}

impl Standing {
    /// Adds one error. Unit: counts
    pub(crate) fn step(&mut self, error: i32) {
        if self.width > 0 {
            self.samples = self.samples.saturating_add(1);
            let crosses = error.wrapping_sub(self.least) as u32 <= self.width;
            self.crossing = self.crossing.saturating_add(u32::from(crosses));
        }
    }

    /// Adds many errors, with no turning point among them. Unit: counts
    pub(crate) fn add(&mut self, errors: &[i32]) {
        if self.width > 0 {
            let (least, width) = (self.least, self.width);
            let crossing = errors.iter().filter(|error| error.wrapping_sub(least) as u32 <= width).count();
            self.samples = self.samples.saturating_add(errors.len() as u32);
            self.crossing = self.crossing.saturating_add(crossing as u32);
        }
    }

    /// Adds a turning point, the first or another. Unit: counts
    pub(crate) fn turn(&mut self, extreme: i32, another: bool) {
        let before = core::mem::replace(&mut self.extreme, extreme);
        if another {
            let range = extreme.max(before).wrapping_sub(extreme.min(before)) as u32;
            self.least = extreme.min(before).wrapping_add((range / 4) as i32);
            self.width = (range / 2).max(1);
        }
    }

    /// Share of the time for which feedback stands; none before two turning points. Unit: 1/16
    pub(crate) fn share(&self) -> Option<u8> {
        let samples = u64::from(self.samples);
        let standing = samples.saturating_sub(3 * u64::from(self.crossing));
        (16 * standing).checked_div(samples).map(|share| share.min(15) as u8)
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use std::vec::Vec;

    /// The share for errors whose turning points are at these places.
    fn share(errors: &[i32], turns: &[usize]) -> Option<u8> {
        let mut standing = Standing::default();
        for (k, error) in errors.iter().enumerate() {
            standing.step(*error);
            if turns.contains(&k) {
                standing.turn(*error, turns.first() != Some(&k));
            }
        }
        standing.share()
    }

    /// Slow twin: the part of all errors after the second turning point that lie in the middle half of the swing before.
    fn slow(errors: &[i32], turns: &[usize]) -> Option<u8> {
        let middle = |k: usize| {
            let (before, last) = (turns.iter().rposition(|turn| *turn < k)?, errors[k]);
            let (one, other) = (errors[turns[before.checked_sub(1)?]], errors[turns[before]]);
            let quarter = (one - other).abs() / 4;
            let least = one.min(other) + quarter;
            Some((least..=least + ((one - other).abs() / 2).max(1)).contains(&last))
        };
        let found: Vec<bool> = (0..errors.len()).filter_map(middle).collect();
        let crossing = found.iter().filter(|crosses| **crosses).count();
        let share = (16 * found.len().saturating_sub(3 * crossing)).checked_div(found.len())?;
        Some(share.min(15) as u8)
    }

    #[track_caller]
    fn check(errors: &[i32], turns: &[usize], expected: core::ops::RangeInclusive<u8>) {
        let found = share(errors, turns);
        assert_eq!(found, slow(errors, turns));
        assert!(found.is_some_and(|share| expected.contains(&share)), "{found:?}");
        let mut many = Standing::default();
        let mut from = 0;
        for turn in turns {
            many.add(&errors[from..=*turn]);
            many.turn(errors[*turn], from > 0);
            from = turn + 1;
        }
        many.add(&errors[from..]);
        assert_eq!(many.share(), found);
    }

    #[test]
    fn a_sine_never_stands_and_steps_nearly_always_do() {
        let sine = |k: usize| (1000.0 * (k as f64 * core::f64::consts::PI / 100.0).sin()) as i32;
        let sine: Vec<i32> = (0..1000).map(sine).collect();
        let turns: Vec<usize> = (0..10).map(|k| 50 + 100 * k).collect();
        check(&sine, &turns, 0..=0);
        let steps: Vec<i32> = sine.iter().map(|error| error.signum() * 1000).collect();
        check(&steps, &turns, 15..=15);
        // A third of the time on the way.
        let way = |k: usize| {
            (3 * ((k as i32 + 50) % 100 - 50)).clamp(-50, 50)
                * if ((k + 50) / 100).is_multiple_of(2) { 1 } else { -1 }
        };
        let ramps: Vec<i32> = (0..1000).map(way).collect();
        check(&ramps, &turns, 7..=9);
        assert_eq!(share(&sine, &[50]), None);
    }
}
