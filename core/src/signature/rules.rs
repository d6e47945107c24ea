//! In: the evidence of a stop. Out: its signature.
//!
//! Comparisons only, in this order; the first that holds decides. METHOD.md, *Signature*, has the reason of each
//! threshold.

use super::Signature;
use super::evidence::Evidence;
use crate::settings::Settings;

/// A stop that settles within this is clean. Unit: 1/s
const CLEAN: u32 = 100;
/// Falls to a quarter that are longer are slow. Unit: ms
const SLOW: i64 = 60;
/// The same where the error comes back from beyond the target. Unit: ms
const SLOW_BEYOND: i64 = 200;
/// Share of standing, from which feedback sticks and jumps. Unit: 1/16
const STICKS: u8 = 8;

impl Evidence {
    /// The signature of the stop.
    pub(crate) fn signature(&self, settings: &Settings) -> Signature {
        if self.settled && self.time <= settings.ticks_per_second / CLEAN {
            Signature::Clean
        } else if self.is_sustained(settings) {
            Signature::Hunting
        } else if self.is_noisy(settings) {
            Signature::Unsure
        } else if self.stands_outside(settings) {
            Signature::Offset
        } else {
            self.approach(settings)
        }
    }

    /// Noise makes turning points, even with the larger hysteresis.
    fn is_noisy(&self, settings: &Settings) -> bool {
        self.noise > settings.window.max(settings.encoder_step.saturating_mul(6))
    }

    /// The error goes to and fro in the last third of the rest as much as before.
    fn is_sustained(&self, settings: &Settings) -> bool {
        let still = (settings.window / 2).max(self.noise).max(settings.encoder_step.saturating_mul(3));
        let as_before = u64::from(self.last_range) * 10 > u64::from(self.middle_range) * 9;
        // Noise on a drift turns too, but the thirds of a drift lie beside each other. A quick oscillation passes for
        // noise in second differences.
        let swings = self.last_range / 2 > self.noise && self.overlap > self.last_range / 2;
        self.last_range > still && as_before && self.late_turns >= 2 && (swings || !self.is_noisy(settings))
    }

    /// The error stands beyond the window, and does not drift.
    fn stands_outside(&self, settings: &Settings) -> bool {
        let (window, rest, step) = (settings.window, self.rest.unsigned_abs(), settings.encoder_step);
        let still = (window / 4).max(self.noise.saturating_add(step)).max(step.saturating_mul(2));
        // Two deviations, as the middle of a range scatters by less than one.
        let unmoved = (window / 8).max(step).max(self.noise / 4);
        let drifts = self.last_shift > unmoved || self.middle_range <= still && self.shift > unmoved;
        let far = u64::from(rest) * 10 > u64::from(window) * 9;
        !self.settled && far && self.last_range <= still && !drifts
    }

    /// How the error comes in.
    fn approach(&self, settings: &Settings) -> Signature {
        let smooth = self.standing.is_some_and(|share| share < STICKS);
        match self.turning_points {
            3.. => Signature::Ringing,
            2 if self.settled && smooth => Signature::Ringing,
            2 => Signature::Unsure,
            _ if self.is_near(settings) => Signature::Unsure,
            _ if self.exit < 0 => self.beyond(settings),
            1 => Signature::Unsure,
            _ => self.behind(settings),
        }
    }

    /// The error was never further out than noise and steps may take it.
    fn is_near(&self, settings: &Settings) -> bool {
        let beyond = self.peak.saturating_sub(settings.window);
        beyond <= (self.noise / 8 * 5).max(settings.encoder_step)
    }

    /// The last error outside was beyond the target.
    fn beyond(&self, settings: &Settings) -> Signature {
        let lead = -i64::from(self.cruise_lag.unwrap_or(0));
        let slow = i64::from(self.fall.min(self.time)) > milliseconds(settings, SLOW_BEYOND);
        let leads = is_noticeable(settings, lead) && i64::from(self.fall) <= 22 * lead;
        if slow && !leads { Signature::Creep } else { Signature::Overshoot }
    }

    /// The last error outside was behind the target.
    fn behind(&self, settings: &Settings) -> Signature {
        let Some(lag) = self.cruise_lag.map(i64::from) else { return Signature::Unsure };
        let fall = i64::from(self.fall.max(self.mean_fall));
        let runs_out = self.settled || self.exit.unsigned_abs() < self.peak / 4;
        if is_noticeable(settings, lag) && runs_out && fall <= 22 * lag {
            Signature::Lag
        } else if fall >= 28 * lag && fall > milliseconds(settings, SLOW) {
            Signature::Creep
        } else {
            Signature::Unsure
        }
    }
}

/// A cruise lag that is more than a sample of a control loop. Unit: ticks
fn is_noticeable(settings: &Settings, lag: i64) -> bool {
    lag * 10 > milliseconds(settings, 7)
}

/// Unit: ticks
fn milliseconds(settings: &Settings, milliseconds: i64) -> i64 {
    i64::from(settings.ticks_per_second) * milliseconds / 1000
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::settings::Parameters;

    /// A stop that comes in from behind within 100 ms, with a window of 100 counts and ticks of 1 µs.
    fn stop() -> Evidence {
        Evidence {
            settled: true,
            time: 100_000,
            peak: 1000,
            exit: 101,
            noise: 8,
            fall: 60_000,
            mean_fall: 60_000,
            ..Evidence::default()
        }
    }

    #[track_caller]
    fn check(expected: Signature, evidence: Evidence) {
        let settings = Settings::new(Parameters { window: 100, ..Parameters::at(1_000_000) }).unwrap();
        assert_eq!(evidence.signature(&settings), expected, "{evidence:?}");
    }

    #[test]
    fn a_stop_within_10_ms_is_clean_whatever_it_does() {
        check(Signature::Clean, Evidence { time: 10_000, turning_points: 5, ..stop() });
        check(Signature::Unsure, Evidence { time: 10_001, noise: 101, ..stop() });
    }

    #[test]
    fn a_tail_is_compared_with_the_lag_in_cruise() {
        check(Signature::Lag, Evidence { cruise_lag: Some(20_000), ..stop() });
        check(Signature::Unsure, Evidence { cruise_lag: Some(2_500), ..stop() });
        check(Signature::Unsure, Evidence { cruise_lag: Some(2_000), ..stop() });
        check(Signature::Creep, Evidence { cruise_lag: Some(2_000), fall: 60_001, ..stop() });
        check(Signature::Creep, Evidence { cruise_lag: Some(-40), mean_fall: 60_001, ..stop() });
        check(Signature::Lag, Evidence { cruise_lag: Some(701), fall: 15_000, mean_fall: 1, ..stop() });
        check(Signature::Unsure, Evidence { cruise_lag: Some(700), fall: 15_000, mean_fall: 1, ..stop() });
        check(Signature::Unsure, stop());
    }

    #[test]
    fn an_error_that_still_runs_out_is_lag_only_if_it_has_fallen() {
        let running = Evidence { settled: false, cruise_lag: Some(20_000), ..stop() };
        check(Signature::Lag, Evidence { exit: 249, ..running });
        check(Signature::Unsure, Evidence { exit: 250, ..running });
    }

    #[test]
    fn turning_points_make_ringing() {
        check(Signature::Ringing, Evidence { turning_points: 3, ..stop() });
        check(Signature::Ringing, Evidence { turning_points: 2, standing: Some(7), ..stop() });
        check(Signature::Unsure, Evidence { turning_points: 2, standing: Some(8), ..stop() });
        check(Signature::Unsure, Evidence { turning_points: 1, ..stop() });
    }

    #[test]
    fn an_error_that_comes_back_is_an_overshoot_unless_it_takes_long() {
        let beyond = Evidence { exit: -101, turning_points: 1, ..stop() };
        check(Signature::Overshoot, beyond);
        check(Signature::Creep, Evidence { time: 200_001, fall: 200_001, ..beyond });
        check(
            Signature::Overshoot,
            Evidence { time: 200_001, fall: 200_001, cruise_lag: Some(-10_000), ..beyond },
        );
        check(Signature::Unsure, Evidence { peak: 105, ..beyond });
    }

    #[test]
    fn what_never_ends_is_hunting_and_what_stands_outside_an_offset() {
        let moving = Evidence {
            settled: false,
            last_range: 400,
            middle_range: 420,
            overlap: 390,
            late_turns: 2,
            ..stop()
        };
        check(Signature::Hunting, moving);
        check(Signature::Hunting, Evidence { noise: 150, ..moving });
        check(Signature::Unsure, Evidence { noise: 150, overlap: 200, ..moving });
        check(Signature::Ringing, Evidence { middle_range: 445, turning_points: 9, ..moving });
        let still = Evidence { settled: false, rest: -300, last_range: 25, exit: -300, ..stop() };
        check(Signature::Offset, still);
        check(Signature::Overshoot, Evidence { last_shift: 13, ..still });
        check(Signature::Overshoot, Evidence { shift: 13, ..still });
        check(Signature::Offset, Evidence { shift: 13, middle_range: 26, ..still });
        check(Signature::Overshoot, Evidence { rest: -90, ..still });
    }
}
