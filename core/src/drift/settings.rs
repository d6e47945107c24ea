//! In: the drift configuration of one axis. Out: [`DriftSettings`], which hold a checked configuration, and the run
//! length.

use core::ops::Deref;

use crate::drift::SUBGROUP;
use crate::settings::Invalid;

/// Hours of a month: a twelfth of 365.25 days.
const HOURS: f32 = 730.5;

/// Configuration of drift detection for one axis; [`DriftSettings::new`] checks it.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct DriftConfig {
    /// Set rate of false alarms of the whole axis while nothing changes. Unit: alarms/month
    pub false_alarms_per_axis_month: f32,
    /// Smallest change worth an alarm, as a part of the mean of the baseline. Unit: per mille
    pub smallest_change_permille: u32,
    /// Smallest change worth an alarm, as a time; the larger of the two counts. At most 2^30.
    /// Unit: ticks, or that of the values
    pub smallest_change: u32,
    /// Moves of the axis in an hour of work, of all kinds. Unit: moves/hour
    pub moves_per_hour: u32,
    /// Number of values monitored per move, such as settling time, damping and tail; they share the set rate.
    pub values_per_move: u32,
    /// Length of a baseline, 48 to 1,000,000. Unit: moves of the kind
    pub baseline: u32,
    /// Shortest time that a baseline spans, at most 100,000. Unit: minutes
    pub baseline_minutes: u32,
    /// Part of the smallest change up to which a lasting change raises no more alarms than the set rate, at most 900.
    /// Unit: per mille
    pub quiet_permille: u32,
}

impl DriftConfig {
    /// One false alarm a month, a smallest change of 10 % or 2 ms, two moves a second, a baseline of 500 moves and a
    /// day; for time stamps that count at this rate. Unit: ticks/s
    pub const fn at(ticks_per_second: u32) -> DriftConfig {
        let smallest_change = ticks_per_second.div_ceil(500);
        DriftConfig {
            false_alarms_per_axis_month: 1.0,
            smallest_change_permille: 100,
            smallest_change: if smallest_change == 0 { 1 } else { smallest_change },
            moves_per_hour: 7200,
            values_per_move: 1,
            baseline: 500,
            baseline_minutes: 1440,
            quiet_permille: 500,
        }
    }
}

/// A checked [`DriftConfig`]; its fields are read through this type.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct DriftSettings {
    config: DriftConfig,
    run_length: f32,
}

impl DriftSettings {
    /// [`DriftConfig::at`], whose parameters keep every rule.
    pub fn at(ticks_per_second: u32) -> DriftSettings {
        DriftSettings::of(DriftConfig::at(ticks_per_second))
    }

    /// Checks every parameter; the error names the first that breaks its rule.
    pub fn new(config: DriftConfig) -> Result<DriftSettings, Invalid> {
        let broken = |parameter, rule| Err(Invalid { parameter, rule });
        // Written so that NaN is refused too.
        if !(config.false_alarms_per_axis_month >= 0.001 && config.false_alarms_per_axis_month <= 1000.0) {
            return broken("false_alarms_per_axis_month", "0.001 to 1000");
        }
        if config.smallest_change_permille > 10_000 {
            return broken("smallest_change_permille", "at most 10000");
        }
        if config.smallest_change > 1 << 30 {
            return broken("smallest_change", "at most 2^30 ticks");
        }
        if config.smallest_change == 0 && config.smallest_change_permille == 0 {
            return broken("smallest_change", "more than 0, or smallest_change_permille");
        }
        if config.moves_per_hour == 0 || config.moves_per_hour > 1_000_000 {
            return broken("moves_per_hour", "1 to 1000000");
        }
        if config.values_per_move == 0 || config.values_per_move > 16 {
            return broken("values_per_move", "1 to 16");
        }
        if config.baseline < 48 || config.baseline > 1_000_000 {
            return broken("baseline", "48 to 1000000 moves");
        }
        if config.baseline_minutes > 100_000 {
            return broken("baseline_minutes", "at most 100000");
        }
        if config.quiet_permille > 900 {
            return broken("quiet_permille", "at most 900");
        }
        Ok(DriftSettings::of(config))
    }

    fn of(config: DriftConfig) -> DriftSettings {
        let month = config.moves_per_hour as f32 * HOURS;
        let moves = month * config.values_per_move as f32 / config.false_alarms_per_axis_month;
        DriftSettings { config, run_length: moves.max(SHORTEST) }
    }

    /// Mean run length: moves from one false alarm to the next. The same for every kind, so that the false alarms of a
    /// kind are in proportion to its moves. Unit: moves
    pub fn run_length(&self) -> f32 {
        self.run_length
    }

    /// Run length of both sums together, of which only one can err at the edge of a quiet part. Unit: subgroups
    pub(super) fn subgroups(&self) -> f32 {
        let sums = if self.quiet_permille > 0 { 2.0 } else { 1.0 };
        self.run_length / sums / SUBGROUP as f32
    }

    /// The smallest change of a kind with this mean. Unit: that of the values
    pub(super) fn smallest(&self, mean: f32) -> f32 {
        (mean * self.smallest_change_permille as f32 / 1000.0).max(self.smallest_change as f32).max(1.0)
    }
}

/// Least run length, a hundred subgroups: for a shorter one the formula of the limits does not hold. Unit: moves
const SHORTEST: f32 = 800.0;

impl Deref for DriftSettings {
    type Target = DriftConfig;

    fn deref(&self) -> &DriftConfig {
        &self.config
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn check(change: impl Fn(&mut DriftConfig), refused: Option<&str>) {
        let mut config = DriftConfig::at(1_000_000);
        change(&mut config);
        assert_eq!(DriftSettings::new(config).err().map(|invalid| invalid.parameter), refused, "{config:?}");
    }

    #[test]
    fn a_refusal_names_the_parameter() {
        check(|_| (), None);
        assert_eq!(DriftSettings::new(DriftConfig::at(1_000_000)), Ok(DriftSettings::at(1_000_000)));
        check(|config| config.false_alarms_per_axis_month = f32::NAN, Some("false_alarms_per_axis_month"));
        check(|config| config.false_alarms_per_axis_month = 0.0, Some("false_alarms_per_axis_month"));
        check(|config| config.smallest_change_permille = 10_001, Some("smallest_change_permille"));
        check(|config| config.smallest_change = u32::MAX, Some("smallest_change"));
        check(
            |config| (config.smallest_change, config.smallest_change_permille) = (0, 0),
            Some("smallest_change"),
        );
        check(|config| config.moves_per_hour = 0, Some("moves_per_hour"));
        check(|config| config.values_per_move = 17, Some("values_per_move"));
        check(|config| config.baseline = 47, Some("baseline"));
        check(|config| config.baseline_minutes = 100_001, Some("baseline_minutes"));
        check(|config| config.baseline_minutes = 100_000, None);
        check(|config| config.quiet_permille = 901, Some("quiet_permille"));
    }

    #[test]
    fn one_alarm_a_month_at_two_moves_a_second_is_five_million_moves() {
        assert_eq!(DriftSettings::new(DriftConfig::at(1_000_000)).unwrap().run_length(), 5_259_600.0);
    }
}
