//! In: options that describe recordings. Out: the choice of columns, and the scales.

use clap::Args;
use stillpoint_core::{Fraction, PositionFactor};

use super::option_value::character;
use crate::error::Error;
use crate::trace::choice::{Choice, fraction, ratio};
use crate::trace::ratio::Ratio;

#[derive(Args)]
#[command(next_help_heading = "Format of the recording (detected by default)")]
pub(super) struct Columns {
    /// Time column by name or number, optionally with its unit: `t:ms`
    #[arg(long, value_name = "COL")]
    time: Option<String>,
    /// Column of the commanded position, by name or number
    #[arg(long, value_name = "COL")]
    command: Option<String>,
    /// Column of the measured position, by name or number
    #[arg(long, value_name = "COL")]
    feedback: Option<String>,
    /// Column of the following error, command - feedback, where there is no feedback; by name or number
    #[arg(long, value_name = "COL", conflicts_with = "feedback")]
    following_error: Option<String>,
    /// Time column of the feedback, where it has a clock of its own; by name or number, with its unit as in t:ms
    #[arg(long, value_name = "COL", conflicts_with = "rate")]
    feedback_time: Option<String>,
    /// Column of the number of the product, for recordings of several; by name or number
    #[arg(long, value_name = "COL")]
    job: Option<String>,
    /// Rows per second, for a recording without a time column
    #[arg(long, value_name = "HZ", conflicts_with = "time", allow_negative_numbers = true)]
    rate: Option<String>,
    /// Column delimiter: `,` `;` `|`, a tab or a space
    #[arg(long, value_name = "CHAR", value_parser = character)]
    delimiter: Option<char>,
    /// Decimal sign: `.` or `,`
    #[arg(long, value_name = "CHAR", value_parser = character)]
    decimal: Option<char>,
}

#[derive(Args)]
#[command(next_help_heading = "Scales")]
pub(super) struct Scale {
    /// Name of the unit of position
    #[arg(long, value_name = "UNIT")]
    unit: Option<String>,
    /// Counts per unit, for columns in counts; a fraction is exact: 1048576/375
    #[arg(long, value_name = "N", allow_negative_numbers = true)]
    counts_per_unit: Option<String>,
    /// Encoder increments / motor revolutions (0x608F), instead of --counts-per-unit
    #[arg(long, value_name = "A/B", conflicts_with = "counts_per_unit", requires = "feed_constant")]
    encoder_resolution: Option<String>,
    /// Motor / shaft revolutions (0x6091), with --encoder-resolution
    #[arg(long, value_name = "A/B", requires = "encoder_resolution")]
    gear_ratio: Option<String>,
    /// Feed in units / shaft revolutions (0x6092), with --encoder-resolution
    #[arg(long, value_name = "A/B", requires = "encoder_resolution")]
    feed_constant: Option<String>,
    /// What the command column is multiplied with: units per volt, 2.5 or -1/3, or feedback counts per command count
    #[arg(long, value_name = "X", allow_hyphen_values = true)]
    command_scale: Option<String>,
    /// What the feedback column is multiplied with, if it differs; both have the unit of --unit then
    #[arg(long, value_name = "X", allow_hyphen_values = true)]
    feedback_scale: Option<String>,
    /// Smallest step of the encoder, in the unit of the recording
    #[arg(long, value_name = "S", allow_negative_numbers = true)]
    encoder_step: Option<String>,
    /// Largest speed of the machine, in units per second; faster feedback is a signal fault
    #[arg(long, value_name = "V", allow_negative_numbers = true, value_parser = speed)]
    max_speed: Option<f64>,
}

/// A speed above 0. Unit: unit/s
fn speed(text: &str) -> Result<f64, String> {
    let speed: Option<f64> = text.parse().ok().filter(|speed: &f64| speed.is_finite() && *speed > 0.0);
    speed.ok_or_else(|| "give a number above 0, in units per second".to_owned())
}

impl Columns {
    /// The given options; the reader of a recording detects the others.
    pub(super) fn choice(&self, scale: &Scale) -> Result<Choice, Error> {
        let Columns {
            time,
            command,
            feedback,
            following_error,
            feedback_time,
            job,
            rate,
            delimiter,
            decimal,
        } = self;
        Ok(Choice {
            time: time.clone(),
            command: command.clone(),
            feedback: feedback.clone(),
            following_error: following_error.clone(),
            feedback_time: feedback_time.clone(),
            job: job.clone(),
            effort: None,
            without_command: false,
            rate: rate.as_deref().map(|rate| fraction("--rate", rate)).transpose()?,
            unit: scale.unit.clone(),
            counts_per_unit: scale.counts_per_unit()?,
            command_scale: ratio_of("--command-scale", &scale.command_scale)?,
            feedback_scale: ratio_of("--feedback-scale", &scale.feedback_scale)?,
            delimiter: *delimiter,
            decimal: *decimal,
        })
    }
}

impl Scale {
    /// Smallest step of the encoder. Unit: that of the recording
    pub(super) fn encoder_step(&self) -> Result<Option<Fraction>, Error> {
        fraction_of("--encoder-step", &self.encoder_step)
    }

    /// Largest speed of the machine. Unit: unit/s
    pub(super) fn max_speed(&self) -> Option<f64> {
        self.max_speed
    }

    fn counts_per_unit(&self) -> Result<Option<Fraction>, Error> {
        let Some(resolution) = fraction_of("--encoder-resolution", &self.encoder_resolution)? else {
            return fraction_of("--counts-per-unit", &self.counts_per_unit);
        };
        let gear = fraction_of("--gear-ratio", &self.gear_ratio)?.unwrap_or(Fraction::ONE);
        let feed = fraction_of("--feed-constant", &self.feed_constant)?.unwrap_or(Fraction::ONE);
        let factor = PositionFactor {
            encoder_resolution: pair("--encoder-resolution", resolution)?,
            gear_ratio: pair("--gear-ratio", gear)?,
            feed_constant: pair("--feed-constant", feed)?,
        };
        factor
            .counts_per_unit()
            .map(Some)
            .map_err(|unusable| wrong("--encoder-resolution", &resolution.to_string(), &unusable.to_string()))
    }
}

/// The value of an option that takes a fraction.
fn fraction_of(option: &str, text: &Option<String>) -> Result<Option<Fraction>, Error> {
    text.as_deref().map(|text| fraction(option, text)).transpose()
}

/// The value of an option that takes a fraction with a sign.
fn ratio_of(option: &str, text: &Option<String>) -> Result<Option<Ratio>, Error> {
    text.as_deref().map(|text| ratio(option, text)).transpose()
}

/// Numerator and denominator as the objects of a drive hold them.
fn pair(option: &str, value: Fraction) -> Result<(u32, u32), Error> {
    match (u32::try_from(value.numerator()), u32::try_from(value.denominator())) {
        (Ok(upper), Ok(lower)) => Ok((upper, lower)),
        _ => Err(wrong(option, &value.to_string(), "needs more than 32 bits")),
    }
}

fn wrong(option: &str, value: &str, wrong: &str) -> Error {
    let remedy = "give whole numbers such as 16777216/1".to_owned();
    Error::Option { option: option.to_owned(), value: value.to_owned(), wrong: wrong.to_owned(), remedy }
}
