//! In: the parameters a host sends for an axis. Out: the same checked, and the limits of the stages around the core.

use stillpoint_core::drift::DriftSettings;
use stillpoint_core::wire::settings;
use stillpoint_core::{Invalid, Parameters, Settings};

use crate::health::{self, most_change};
use crate::infer;
use crate::sampler::Raw;
use crate::tap::Register;

/// Limits that a person sets for the stops of an axis; [`StopLimits::new`] checks them.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
pub(super) struct StopLimits {
    /// Longest settling time; 0 means no limit. Unit: ticks
    pub(super) settling: u32,
    /// Share of the moves that may settle later; 0 means the default. Unit: per mille
    pub(super) settling_permille: u32,
    /// Share of the moves that may not settle; 0 means no limit. Unit: per mille
    pub(super) unsettled_permille: u32,
    /// Number of the kind on its axis; 0 means every kind.
    pub(super) kind: u32,
}

impl StopLimits {
    /// Checks what a host sends; the error names the limit that breaks its rule.
    fn new(sent: &settings::Limits) -> Result<StopLimits, Invalid> {
        let settings::Limits { settling, settling_permille, unsettled_permille, kind } = *sent;
        let broken = |parameter| Err(Invalid { parameter, rule: "at most 999 per mille" });
        if settling_permille > 999 {
            return broken("settling_limit_permille");
        }
        if unsettled_permille > 999 {
            return broken("unsettled_limit_permille");
        }
        Ok(StopLimits { settling, settling_permille, unsettled_permille, kind })
    }
}

impl From<StopLimits> for settings::Limits {
    fn from(limits: StopLimits) -> settings::Limits {
        let StopLimits { settling, settling_permille, unsettled_permille, kind } = limits;
        settings::Limits { settling, settling_permille, unsettled_permille, kind }
    }
}

/// How an axis is measured and monitored; every part is checked.
#[derive(Clone, Copy, Debug, PartialEq)]
pub(super) struct AxisConfig {
    /// Of the measurement.
    pub(super) settings: Settings,
    /// Of the drift detection.
    pub(super) drift: DriftSettings,
    /// No command is tapped: it is inferred from feedback.
    pub(super) inferred: bool,
    /// That a person sets.
    pub(super) limits: StopLimits,
}

impl AxisConfig {
    /// A tapped command and the default drift detection.
    pub(super) fn tapped(settings: Settings) -> AxisConfig {
        let drift = DriftSettings::at(settings.ticks_per_second);
        AxisConfig { settings, drift, inferred: false, limits: StopLimits::default() }
    }

    /// Checks what a host sends; the error names the parameter that breaks its rule.
    pub(super) fn new(sent: &settings::Parameters) -> Result<AxisConfig, Invalid> {
        let settings = Settings::new(Parameters::from(sent))?;
        let drift = DriftSettings::new(sent.drift_config())?;
        Ok(AxisConfig { settings, drift, inferred: sent.inferred, limits: StopLimits::new(&sent.limits)? })
    }

    /// The message that this is accepted for an axis, and which parameter was refused.
    pub(super) fn message(&self, axis: u8, refused: Option<Invalid>) -> settings::Settings {
        let message = settings::Settings::new(axis, &self.settings, refused);
        let drift = (&self.drift).into();
        let parameters = settings::Parameters {
            inferred: self.inferred,
            drift,
            baseline_minutes: self.drift.baseline_minutes,
            limits: self.limits.into(),
            ..message.parameters
        };
        settings::Settings { parameters, ..message }
    }

    /// Whether a change between the two invalidates the state of the axis.
    pub(super) fn invalidates(&self, other: &AxisConfig) -> bool {
        let scale = |config: &AxisConfig| config.settings.command_scale;
        self.inferred || other.inferred || scale(self) != scale(other)
    }

    /// Whether the two differ in nothing but their limits: baselines then hold for both.
    pub(super) fn is_same_but_limits(&self, other: &AxisConfig) -> bool {
        *self == AxisConfig { limits: self.limits, ..*other }
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
