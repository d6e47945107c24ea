//! In: the parameters of an axis. Out: the payload that carries them; and the parameters decoded from it, unchecked.

use serde::{Deserialize, Serialize};

use super::appended;
use crate::drift;
use crate::settings::{self, Invalid};

/// Which published definition the reported settling time follows.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq, Serialize, Deserialize)]
pub enum Definition {
    /// Command end to the last entry into the window.
    #[default]
    LastEntry,
    /// First crossing into the window to staying inside.
    Iso9283,
    /// Command end to the window having been held for the window time.
    TargetReached,
}

/// Drift settings of one axis; see [`drift::DriftConfig`] for each field. 0 in a field means its default.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq, Serialize, Deserialize)]
pub struct DriftConfig {
    /// Unit: 1/1000 alarms/month
    pub false_alarms_per_axis_month_milli: u32,
    /// Unit: per mille
    pub smallest_change_permille: u32,
    /// Unit: ticks
    pub smallest_change: u32,
    /// Unit: moves/hour
    pub moves_per_hour: u32,
    /// Unit: moves of a kind
    pub baseline: u32,
}

/// Parameters of one axis; see [`settings::Parameters`] for each field, in the same order and units.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq, Serialize, Deserialize)]
pub struct Parameters {
    /// Unit: ticks/s
    pub ticks_per_second: u32,
    /// Unit: feedback counts
    pub window: u32,
    /// Unit: ticks
    pub window_time: u32,
    /// Unit: ticks
    pub rest_time: u32,
    /// Unit: feedback counts
    pub following_error_window: u32,
    /// Unit: ticks
    pub following_error_time_out: u32,
    /// Numerator and denominator. Unit: feedback counts per command count
    pub command_scale: (i32, i32),
    /// Unit: feedback counts
    pub encoder_step: u32,
    /// Unit: feedback counts
    pub jump: u32,
    /// Which time is reported as the settling time.
    pub definition: Definition,
    /// Whether the command end is inferred from feedback, because no command can be tapped. No setting of the core.
    pub inferred: bool,
    /// Drift settings.
    #[serde(deserialize_with = "appended")]
    pub drift: DriftConfig,
    /// Whether command and samples share a clock. Since version 2; before, settling times counted from the sample.
    #[serde(deserialize_with = "appended")]
    pub synchronous: bool,
    /// Distance after which positions begin anew; 0 if they don't. Since version 2. Unit: feedback counts
    #[serde(deserialize_with = "appended")]
    pub turn: u32,
    /// What was rounded off when the window became whole counts. Since version 2. Unit: 1/256 counts
    #[serde(deserialize_with = "appended")]
    pub window_fraction: u8,
    /// Duration of a baseline, a part of the drift settings; 0 means its default. Since version 2. Unit: minutes
    #[serde(deserialize_with = "appended")]
    pub baseline_minutes: u32,
    /// Limits that a person sets. Since version 2.
    #[serde(deserialize_with = "appended")]
    pub limits: Limits,
}

/// Limits of an axis, or of one kind of its moves, that a person sets; alarms compare the moves with them.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq, Serialize, Deserialize)]
pub struct Limits {
    /// Longest settling time; 0 means no limit. Unit: ticks
    pub settling: u32,
    /// Share of the moves that may settle later; 0 means the default. Unit: per mille
    pub settling_permille: u32,
    /// Share of the moves that may not settle; 0 means no limit. Unit: per mille
    pub unsettled_permille: u32,
    /// Number of the kind on its axis; 0 means every kind.
    pub kind: u32,
}

/// Field names in order, as in an [`Invalid`]; drift settings and limits stand there one by one.
const NAMES: [&str; 24] = [
    "ticks_per_second",
    "window",
    "window_time",
    "rest_time",
    "following_error_window",
    "following_error_time_out",
    "command_scale",
    "encoder_step",
    "jump",
    "definition",
    "inferred",
    "false_alarms_per_axis_month",
    "smallest_change_permille",
    "smallest_change",
    "moves_per_hour",
    "baseline",
    "synchronous",
    "turn",
    "window_fraction",
    "baseline_minutes",
    "settling_limit",
    "settling_limit_permille",
    "unsettled_limit_permille",
    "limited_kind",
];

/// Accepted settings of one axis; the answer to `Apply`, and one for each axis to `Identify`.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq, Serialize, Deserialize)]
pub struct Settings {
    /// Axis, from 0.
    pub axis: u8,
    /// If the last `Apply` was refused: position of the parameter that broke its rule, from 0.
    pub refused: Option<u8>,
    /// Whether the settings are not yet in force. They are sent again when they are, at the start of the next move.
    pub pending: bool,
    /// Accepted parameters.
    pub parameters: Parameters,
}

impl Settings {
    /// The answer to a command: the parameters in force, and the parameter that was refused, if any.
    pub fn new(axis: u8, in_force: &settings::Parameters, refused: Option<Invalid>) -> Settings {
        let position = |invalid: Invalid| NAMES.iter().position(|name| *name == invalid.parameter);
        // A parameter that is missing in the list is still reported as refused.
        let refused = refused.map(|invalid| position(invalid).map_or(u8::MAX, |position| position as u8));
        Settings { axis, refused, pending: false, parameters: in_force.into() }
    }

    /// Name of the refused parameter.
    pub fn refused_name(&self) -> Option<&'static str> {
        let position = usize::from(self.refused?);
        Some(NAMES.get(position).copied().unwrap_or("a parameter of a later version"))
    }
}

impl From<&settings::Parameters> for Parameters {
    fn from(parameters: &settings::Parameters) -> Parameters {
        // Destructured, so that a new parameter does not compile until it is encoded here.
        let settings::Parameters {
            ticks_per_second,
            window,
            window_time,
            rest_time,
            following_error_window,
            following_error_time_out,
            command_scale,
            encoder_step,
            jump,
            definition,
            synchronous,
            turn,
            window_fraction,
        } = *parameters;
        Parameters {
            ticks_per_second,
            window,
            window_time,
            rest_time,
            following_error_window,
            following_error_time_out,
            command_scale,
            encoder_step,
            jump,
            definition: match definition {
                settings::Definition::LastEntry => Definition::LastEntry,
                settings::Definition::Iso9283 => Definition::Iso9283,
                settings::Definition::TargetReached => Definition::TargetReached,
            },
            synchronous,
            turn,
            window_fraction,
            // No parameters of the core.
            ..Parameters::default()
        }
    }
}

impl From<&Parameters> for settings::Parameters {
    fn from(sent: &Parameters) -> settings::Parameters {
        settings::Parameters {
            ticks_per_second: sent.ticks_per_second,
            window: sent.window,
            window_time: sent.window_time,
            rest_time: sent.rest_time,
            following_error_window: sent.following_error_window,
            following_error_time_out: sent.following_error_time_out,
            command_scale: sent.command_scale,
            encoder_step: sent.encoder_step,
            jump: sent.jump,
            definition: match sent.definition {
                Definition::LastEntry => settings::Definition::LastEntry,
                Definition::Iso9283 => settings::Definition::Iso9283,
                Definition::TargetReached => settings::Definition::TargetReached,
            },
            synchronous: sent.synchronous,
            turn: sent.turn,
            window_fraction: sent.window_fraction,
        }
    }
}

impl From<&drift::DriftSettings> for DriftConfig {
    fn from(settings: &drift::DriftSettings) -> DriftConfig {
        DriftConfig {
            // At most a million, for which single precision is off by at most a tenth.
            false_alarms_per_axis_month_milli: (settings.false_alarms_per_axis_month * 1000.0 + 0.5) as u32,
            smallest_change_permille: settings.smallest_change_permille,
            smallest_change: settings.smallest_change,
            moves_per_hour: settings.moves_per_hour,
            baseline: settings.baseline,
        }
    }
}

impl Parameters {
    /// The drift configuration: what the message leaves open has its default at the message's tick rate.
    pub fn drift_config(&self) -> drift::DriftConfig {
        let (sent, default) = (&self.drift, drift::DriftConfig::at(self.ticks_per_second));
        let or_default = |value: u32, default: u32| if value == 0 { default } else { value };
        drift::DriftConfig {
            false_alarms_per_axis_month: match sent.false_alarms_per_axis_month_milli {
                0 => default.false_alarms_per_axis_month,
                milli => milli as f32 / 1000.0,
            },
            smallest_change_permille: or_default(
                sent.smallest_change_permille,
                default.smallest_change_permille,
            ),
            smallest_change: or_default(sent.smallest_change, default.smallest_change),
            moves_per_hour: or_default(sent.moves_per_hour, default.moves_per_hour),
            values_per_move: default.values_per_move,
            baseline: or_default(sent.baseline, default.baseline),
            baseline_minutes: or_default(self.baseline_minutes, default.baseline_minutes),
            ..default
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn every_parameter_that_can_be_refused_has_its_name() {
        let broken = |change: fn(&mut settings::Parameters)| {
            let mut parameters = settings::Parameters::at(1_000_000);
            change(&mut parameters);
            settings::Settings::new(parameters).err()
        };
        let cases: [fn(&mut settings::Parameters); 9] = [
            |p| p.ticks_per_second = 0,
            |p| p.window = 1 << 31,
            |p| p.window_time = u32::MAX,
            |p| p.rest_time = 0,
            |p| p.following_error_time_out = u32::MAX,
            |p| p.command_scale = (0, 1),
            |p| p.encoder_step = 0,
            |p| p.jump = 0,
            |p| p.turn = 1,
        ];
        for case in cases {
            let invalid = broken(case).unwrap();
            let sent = Settings::new(1, &settings::Parameters::at(1_000_000), Some(invalid));
            assert_eq!(sent.refused_name(), Some(invalid.parameter));
        }
    }

    #[test]
    fn every_drift_setting_that_can_be_refused_has_its_name() {
        let good = DriftConfig {
            false_alarms_per_axis_month_milli: 250,
            smallest_change_permille: 50,
            smallest_change: 800,
            moves_per_hour: 60,
            baseline: 100,
        };
        let config_of = |drift: DriftConfig| {
            Parameters { drift, ..(&settings::Parameters::at(1_000_000)).into() }.drift_config()
        };
        let config = config_of(good);
        assert_eq!((config.false_alarms_per_axis_month, config.smallest_change_permille), (0.25, 50));
        assert_eq!((config.smallest_change, config.moves_per_hour, config.baseline), (800, 60, 100));
        assert_eq!(config_of(DriftConfig::default()), drift::DriftConfig::at(1_000_000));
        for false_alarms_per_axis_month_milli in 1..=1_000_000 {
            let one = DriftConfig { false_alarms_per_axis_month_milli, ..good };
            assert_eq!(DriftConfig::from(&drift::DriftSettings::new(config_of(one)).unwrap()), one);
        }
        assert_eq!(DriftConfig::from(&drift::DriftSettings::new(config).unwrap()), good);
        let parameters = Parameters { baseline_minutes: 100_001, ..Parameters::default() };
        let invalid = drift::DriftSettings::new(parameters.drift_config()).unwrap_err();
        let sent = Settings::new(1, &settings::Parameters::at(1_000_000), Some(invalid));
        assert_eq!((sent.refused, sent.refused_name()), (Some(19), Some("baseline_minutes")));
        let cases = [
            DriftConfig { false_alarms_per_axis_month_milli: u32::MAX, ..good },
            DriftConfig { smallest_change_permille: u32::MAX, ..good },
            DriftConfig { smallest_change: u32::MAX, ..good },
            DriftConfig { moves_per_hour: u32::MAX, ..good },
            DriftConfig { baseline: 47, ..good },
        ];
        for (position, case) in cases.iter().enumerate() {
            let invalid = drift::DriftSettings::new(config_of(*case)).unwrap_err();
            let sent = Settings::new(1, &settings::Parameters::at(1_000_000), Some(invalid));
            assert_eq!(
                (sent.refused, sent.refused_name()),
                (Some(11 + position as u8), Some(invalid.parameter))
            );
        }
    }
}
