//! In: errors. Out: whether the following error has lasted longer than its time-out (statusword bit 13).

use crate::settings::Settings;

/// Compares the time for which the error is beyond its window (0x6065) with the time-out (0x6066).
///
/// The flag is set when the error has been outside for longer than the time-out, and cleared when it is inside.
/// "Longer" excludes the time-out itself: our choice, the standard's text was not at hand.
#[derive(Clone, Debug, Default)]
pub(crate) struct Following {
    outside: bool,
    /// Unit: ticks
    outside_for: u32,
}

impl Following {
    /// Adds one error, `elapsed` ticks after the last; returns the flag.
    pub(crate) fn step(&mut self, settings: &Settings, error: i32, elapsed: u32) -> bool {
        if error.unsigned_abs() > settings.following_error_window {
            return self.beyond(settings, elapsed);
        }
        *self = Following::default();
        false
    }

    fn beyond(&mut self, settings: &Settings, elapsed: u32) -> bool {
        self.outside_for = if self.outside { self.outside_for.saturating_add(elapsed) } else { 0 };
        self.outside = true;
        let time_out = settings.following_error_time_out;
        time_out == 0 || self.outside_for > time_out
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::settings::Parameters;

    #[track_caller]
    fn check(time_out: u32, errors: &[i32], expected: &[u8]) {
        let parameters = Parameters {
            following_error_window: 100,
            following_error_time_out: time_out,
            ..Parameters::at(1_000_000)
        };
        let settings = Settings::new(parameters).unwrap();
        let mut following = Following::default();
        let found: std::vec::Vec<u8> =
            errors.iter().map(|error| u8::from(following.step(&settings, *error, 10))).collect();
        assert_eq!(found, expected);
    }

    #[test]
    fn only_what_lasts_longer_than_the_time_out_counts() {
        check(20, &[101, 101, 101, 101, 100, 101], &[0, 0, 0, 1, 0, 0]);
        check(0, &[0, -101, 0], &[0, 1, 0]);
        check(10, &[i32::MIN, 100, i32::MIN, i32::MIN, i32::MIN], &[0, 0, 0, 0, 1]);
    }
}
