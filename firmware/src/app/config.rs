//! In: the parameters a host sends for an axis. Out: the same checked, and the limits of the stages around the core.

use stillpoint_core::drift::DriftSettings;
use stillpoint_core::wire::settings;
use stillpoint_core::{Invalid, Parameters, Settings};

use crate::health::{self, most_change};
use crate::infer;
use crate::sampler::Raw;
use crate::tap::Register;

/// How an axis is measured and monitored; every part is checked.
#[derive(Clone, Copy, Debug, PartialEq)]
pub(super) struct AxisConfig {
    /// Of the measurement.
    pub(super) settings: Settings,
    /// Of the drift detection.
    pub(super) drift: DriftSettings,
    /// No command is tapped: it is inferred from feedback.
    pub(super) inferred: bool,
}

impl AxisConfig {
    /// A tapped command and the default drift detection.
    pub(super) fn tapped(settings: Settings) -> AxisConfig {
        AxisConfig { settings, drift: DriftSettings::at(settings.ticks_per_second), inferred: false }
    }

    /// Checks what a host sends; the error names the parameter that breaks its rule.
    pub(super) fn new(sent: &settings::Parameters) -> Result<AxisConfig, Invalid> {
        let settings = Settings::new(Parameters::from(sent))?;
        let drift = DriftSettings::new(sent.drift_config())?;
        Ok(AxisConfig { settings, drift, inferred: sent.inferred })
    }

    /// The message that this is accepted for an axis, and which parameter was refused.
    pub(super) fn message(&self, axis: u8, refused: Option<Invalid>) -> settings::Settings {
        let message = settings::Settings::new(axis, &self.settings, refused);
        let drift = (&self.drift).into();
        let parameters = settings::Parameters { inferred: self.inferred, drift, ..message.parameters };
        settings::Settings { parameters, ..message }
    }

    /// Whether a change between the two invalidates the state of the axis.
    pub(super) fn invalidates(&self, other: &AxisConfig) -> bool {
        let scale = |config: &AxisConfig| config.settings.command_scale;
        self.inferred || other.inferred || scale(self) != scale(other)
    }
}

/// Limits of the signal checks. The widths of the counters are known from `raw`, the rates of the inputs are not.
/// Unit of `period`: ticks
pub(super) fn health_limits(settings: &Settings, inferred: bool, raw: &Raw, period: u32) -> health::Limits {
    let bits = |register: Register| if matches!(register, Register::Half(_)) { 16 } else { 32 };
    let most = |register| most_change(bits(register), u32::MAX, 1);
    let feedback = most(raw.feedback);
    if !inferred {
        return health::Limits::new(settings, period, (most(raw.command), feedback));
    }
    // Feedback stands in for the command that is not tapped.
    let limits = health::Limits::new(settings, period, (feedback, feedback));
    health::Limits { scale: (1, 1), still: (limits.still.1, limits.still.1), ..limits }
}

/// Limits of the inference: the band is a quarter of the window, at least an encoder step; the rest is the rest
/// time. Unit of `period`: ticks
pub(super) fn inference_limits(settings: &Settings, period: u32) -> infer::Limits {
    let still = (settings.window / 4).max(settings.encoder_step);
    let rest = settings.rest_time.checked_div(period).unwrap_or(0).max(8);
    infer::Limits { still, rest, period }
}
