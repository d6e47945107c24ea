//! In: attempts that fail. Out: how long to wait before each next one: longer and longer, and not all at once.

use std::hash::{BuildHasher, RandomState};
use std::time::Duration;

/// First wait.
const SHORTEST: Duration = Duration::from_millis(500);

/// Waits double up to this one. Both are our own choice: a power cycle of a monitor takes seconds, and a machine that is
/// off for the night must not be asked every moment.
const LONGEST: Duration = Duration::from_secs(30);

/// Waits between attempts.
#[derive(Debug)]
pub(super) struct BackOff {
    wait: Duration,
    chance: RandomState,
}

impl Default for BackOff {
    fn default() -> BackOff {
        BackOff { wait: SHORTEST, chance: RandomState::new() }
    }
}

impl BackOff {
    /// The wait before the next attempt. Half of it is left to chance, so that several programs that lost one line do not
    /// come back at one moment.
    pub(super) fn next_wait(&mut self) -> Duration {
        let share = self.chance.hash_one(self.wait) as f64 / u64::MAX as f64;
        let wait = self.wait.mul_f64(0.5 + 0.5 * share);
        self.wait = (2 * self.wait).min(LONGEST);
        wait
    }

    /// An attempt has succeeded.
    pub(super) fn reset(&mut self) {
        *self = BackOff::default();
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn waits_double_up_to_a_bound_and_differ() {
        let waits: Vec<Vec<Duration>> = (0..50)
            .map(|_| {
                let mut back_off = BackOff::default();
                (0..9).map(|_| back_off.next_wait()).collect()
            })
            .collect();
        for (at, longest) in [0.5, 1.0, 2.0, 4.0, 8.0, 16.0, 30.0, 30.0, 30.0].into_iter().enumerate() {
            let longest = Duration::from_secs_f64(longest);
            assert!(waits.iter().all(|waits| waits[at] >= longest / 2 && waits[at] <= longest));
            assert!(waits.iter().any(|other| other[at] != waits[0][at]));
        }
        let mut back_off = BackOff::default();
        (0..5).for_each(|_| _ = back_off.next_wait());
        back_off.reset();
        assert!(back_off.next_wait() <= SHORTEST);
    }
}
