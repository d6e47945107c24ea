//! In: options by which moves are measured. Out: those of the engine.

use clap::{Args, ValueEnum};
use stillpoint_core::{Definition, Fraction};

use super::recording_options::Scale;
use crate::error::Error;
use crate::measure::{MeasureOptions, Wrap};
use crate::trace::choice::{fraction, position};

#[derive(Args)]
pub(super) struct Measuring {
    /// How long feedback must stay inside to count; 0 for not at all
    #[arg(long, value_name = "T", default_value = "10", value_parser = milliseconds)]
    #[arg(allow_negative_numbers = true)]
    window_time_ms: f64,
    /// How long the command must stand to end a move; never less than three samples
    #[arg(long, value_name = "T", default_value = "20", value_parser = milliseconds)]
    #[arg(allow_negative_numbers = true)]
    rest_time_ms: f64,
    /// Where the command stood before the first row, in the unit of the recording; for a step in that row
    #[arg(long, value_name = "P", allow_hyphen_values = true)]
    from: Option<String>,
    /// Which definition of settling time is reported
    #[arg(long, value_enum, default_value = "last-entry")]
    definition: DefinitionName,
    /// Command and samples share a clock, as in a trace that the drive wrote itself
    ///
    /// Otherwise the command ended at any time since the sample before, and settling times count from the middle of
    /// that sample period, with an uncertainty that covers it.
    #[arg(long)]
    synchronous: bool,
    /// Distance after which positions begin anew, in the unit of the recording: 360; 0: they never do
    ///
    /// Without it, a move during which a position jumps by close to a whole turn is untrusted.
    #[arg(long, value_name = "TURN", allow_negative_numbers = true)]
    wrap: Option<String>,
    /// How far a noisy command may be from its mean while it stands, in the unit of the recording; 0 for not at all
    ///
    /// Without it, 4.5 times the noise of the command, if it is noisy.
    #[arg(long, value_name = "X", value_parser = dead_band, allow_negative_numbers = true)]
    command_dead_band: Option<f64>,
}

#[derive(Clone, Copy, ValueEnum)]
enum DefinitionName {
    /// Command end to the last entry into the window
    LastEntry,
    /// First crossing into the window to staying inside (ISO 9283, 7.4)
    #[value(name = "iso-9283")]
    Iso9283,
    /// Command end to the window held for the window time (CiA 402, statusword bit 10)
    TargetReached,
}

impl Measuring {
    /// The options of the engine. Unit of `window`: that of the recording
    pub(super) fn options(&self, window: Fraction, scale: &Scale) -> Result<MeasureOptions, Error> {
        Ok(MeasureOptions {
            window,
            window_time_ms: self.window_time_ms,
            rest_time_ms: self.rest_time_ms,
            definition: match self.definition {
                DefinitionName::LastEntry => Definition::LastEntry,
                DefinitionName::Iso9283 => Definition::Iso9283,
                DefinitionName::TargetReached => Definition::TargetReached,
            },
            from: self.from.as_deref().map(|text| position("--from", text)).transpose()?,
            encoder_step: scale.encoder_step()?,
            max_speed: scale.max_speed(),
            synchronous: self.synchronous,
            wrap: self.wrap()?,
            command_dead_band: self.command_dead_band,
        })
    }

    fn wrap(&self) -> Result<Wrap, Error> {
        match self.wrap.as_deref() {
            None => Ok(Wrap::Unknown),
            Some("0") => Ok(Wrap::Never),
            Some(turn) => fraction("--wrap", turn).map(Wrap::Turn),
        }
    }
}

/// The value of `--window`. Unit: that of the recording
pub(super) fn window(text: &str) -> Result<Fraction, Error> {
    fraction("--window", text).map_err(|_| Error::window(text))
}

/// A width of 0 or more. Unit: that of the recording
fn dead_band(text: &str) -> Result<f64, String> {
    let width: Option<f64> = text.parse().ok().filter(|width: &f64| width.is_finite() && *width >= 0.0);
    width.ok_or_else(|| "give a number from 0 in the unit of the recording, such as 0.01".to_owned())
}

/// A time that settings can count, whatever the recording. Unit: ms
fn milliseconds(text: &str) -> Result<f64, String> {
    let time: Option<f64> = text.parse().ok().filter(|time| (0.0..=LONGEST_MS).contains(time));
    time.ok_or_else(|| format!("give milliseconds from 0 to {LONGEST_MS}"))
}

/// What the coarsest clock of a recording can count: 2^30 µs. Unit: ms
const LONGEST_MS: f64 = 1_073_741.0;
