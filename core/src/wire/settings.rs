//! In: the parameters of an axis. Out: the payload that carries them, and the parameters again, unchecked.

use serde::{Deserialize, Serialize};

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

/// What is asked of one axis; see [`settings::Parameters`] for each, in the same order and units.
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
    /// Unit: feedback counts per command count, upper and lower part
    pub command_scale: (i32, i32),
    /// Unit: feedback counts
    pub encoder_step: u32,
    /// Unit: feedback counts
    pub jump: u32,
    /// Which settling time is reported as such.
    pub definition: Definition,
    /// No command can be tapped: the command end is inferred from feedback. Not a setting of the core.
    pub inferred: bool,
}

/// Field names in order, as an [`Invalid`] gives them.
const NAMES: [&str; 11] = [
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
];

/// What is accepted for one axis; the answer to `Apply`, and to `Identify` one per axis.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq, Serialize, Deserialize)]
pub struct Settings {
    /// Axis, from 0.
    pub axis: u8,
    /// The last `Apply` was refused: this parameter, counted from 0, broke its rule.
    pub refused: Option<u8>,
    /// Accepted, and not yet in force: told again when they are, at the start of the next move.
    pub pending: bool,
    /// What is accepted.
    pub parameters: Parameters,
}

impl Settings {
    /// What to answer: what is in force now, and which parameter was refused, if any.
    pub fn new(axis: u8, in_force: &settings::Parameters, refused: Option<Invalid>) -> Settings {
        let place = |invalid: Invalid| NAMES.iter().position(|name| *name == invalid.parameter);
        // A parameter without a place here would still be told as refused.
        let refused = refused.map(|invalid| place(invalid).map_or(u8::MAX, |place| place as u8));
        Settings { axis, refused, pending: false, parameters: in_force.into() }
    }

    /// Name of the refused parameter.
    pub fn refused_name(&self) -> Option<&'static str> {
        let place = usize::from(self.refused?);
        Some(NAMES.get(place).copied().unwrap_or("a parameter of a later version"))
    }
}

impl From<&settings::Parameters> for Parameters {
    fn from(parameters: &settings::Parameters) -> Parameters {
        // Taken apart, so that a new parameter does not compile until it has a place here.
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
            inferred: false,
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
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn every_parameter_that_can_be_refused_has_its_name() {
        let broken = |change: fn(&mut settings::Parameters)| {
            let mut parameters = settings::Parameters::default();
            change(&mut parameters);
            settings::Settings::new(parameters).err()
        };
        let cases: [fn(&mut settings::Parameters); 8] = [
            |p| p.ticks_per_second = 0,
            |p| p.window = 1 << 31,
            |p| p.window_time = u32::MAX,
            |p| p.rest_time = 0,
            |p| p.following_error_time_out = u32::MAX,
            |p| p.command_scale = (0, 1),
            |p| p.encoder_step = 0,
            |p| p.jump = 0,
        ];
        for case in cases {
            let invalid = broken(case).unwrap();
            let sent = Settings::new(1, &settings::Parameters::default(), Some(invalid));
            assert_eq!(sent.refused_name(), Some(invalid.parameter));
        }
    }
}
