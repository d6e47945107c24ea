//! In: the detected properties of a recording. Out: its layout, for messages and for the core.

use core::fmt;
use stillpoint_core::Fraction;

/// One of the three columns that are read.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord)]
pub enum Signal {
    /// Time of the row.
    Time,
    /// Commanded position.
    Command,
    /// Measured position.
    Feedback,
}

impl Signal {
    /// All three, in the order of the numbers of a row.
    pub const ALL: [Signal; 3] = [Signal::Time, Signal::Command, Signal::Feedback];

    /// The option that names its column.
    pub fn flag(self) -> &'static str {
        match self {
            Signal::Time => "--time",
            Signal::Command => "--command",
            Signal::Feedback => "--feedback",
        }
    }
}

impl fmt::Display for Signal {
    fn fmt(&self, out: &mut fmt::Formatter<'_>) -> fmt::Result {
        out.write_str(&self.flag()[2..])
    }
}

/// Noise of an analog command.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct CommandNoise {
    /// Standard deviation of one reading. Unit: command counts
    pub rms: f64,
    /// Half-width of the band within which a standing command stays. Unit: command counts
    pub dead_band: u32,
}

/// Layout of a recording.
#[derive(Clone, Debug, PartialEq)]
pub struct Layout {
    /// Column delimiter; a space means any run of spaces.
    pub delimiter: char,
    /// Decimal sign.
    pub decimal: char,
    /// Names of the time, command and feedback columns; time is `None` with a given rate.
    pub columns: (Option<String>, String, String),
    /// Name of the effort column, if one is read.
    pub effort: Option<String>,
    /// Name of the unit of position.
    pub unit: String,
    /// Unit: counts/unit
    pub counts_per_unit: Fraction,
    /// Feedback counts per command count, where both columns hold counts that differ.
    pub command_scale: (i32, i32),
    /// Rate of `tick`. Unit: ticks/s
    pub ticks_per_second: u32,
    /// Time of the first row on the recording's own clock. Unit: s
    pub origin_s: f64,
    /// Encoder step, detected from the changes of feedback. Unit: counts
    pub encoder_step: u32,
    /// Median time between samples. Unit: s
    pub sample_period_s: f64,
    /// Time between two commands, where it is longer than between two samples, or where they have times of their own;
    /// otherwise 0. Unit: s
    pub command_period_s: f64,
    /// Whether commands have times of their own, so that the sample that shows one is up to a sample period later.
    pub has_command_clock: bool,
    /// Noise of the command; none if it is digital.
    pub command_noise: Option<CommandNoise>,
    /// Notes for the user about decisions made while reading.
    pub notes: Vec<String>,
}
